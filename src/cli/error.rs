//! Why a command could not do its work, and the exit code that says so.
//!
//! Input: errors of the stages below. Output: one sentence (what, where, what to do) and an exit code.
//! Units: exit codes as in [`EXIT_CODES_HELP`]. Method: our own.
//! Limits: the stages below say what happened; what to do about it is added here or by the command, which knows the options.

use crate::session::lesson::TooLong;
#[cfg(feature = "live")]
use crate::session::live::ListeningError;
use crate::store::pianos::PianoError;
use std::io;
use std::process::ExitCode;

/// The exit codes, as the help of the program shows them.
pub const EXIT_CODES_HELP: &str = "\
Exit codes: 0 done; 1 could not do it (one sentence on standard error says why); 2 wrong usage.
A closed pipe on standard output is a quiet end with 0.";

/// What a command returns.
pub type CommandResult = Result<(), CliError>;

/// Why a command stopped.
#[derive(Debug, thiserror::Error)]
pub enum CliError {
    /// It could not be done; the sentence says what, where and what to do.
    #[error("{0}")]
    Failed(String),
    /// It could not be done, and every reason was already told on standard error.
    #[error("already told")]
    AlreadyTold,
    /// The command line asks for something that makes no sense.
    #[error("{0}")]
    Usage(String),
    /// Nobody reads standard output any more.
    #[error("standard output was closed")]
    PipeClosed,
}

impl CliError {
    /// A failure with its sentence.
    pub fn failed(sentence: impl ToString) -> Self {
        Self::Failed(sentence.to_string())
    }

    /// A failure to write to standard output: a closed pipe is a quiet end, everything else is told.
    pub fn from_stdout(error: io::Error) -> Self {
        if error.kind() == io::ErrorKind::BrokenPipe {
            Self::PipeClosed
        } else {
            Self::Failed(format!(
                "cannot write to standard output: {error}; write to a folder with --into DIR instead"
            ))
        }
    }

    /// Tells the sentence on standard error, where there is one, and gives the exit code.
    pub fn tell(&self) -> ExitCode {
        match self {
            Self::PipeClosed => ExitCode::SUCCESS,
            Self::AlreadyTold => ExitCode::from(1),
            Self::Failed(sentence) => {
                tell(sentence);
                ExitCode::from(1)
            }
            Self::Usage(sentence) => {
                tell(sentence);
                ExitCode::from(2)
            }
        }
    }
}

#[cfg(feature = "live")]
impl From<ListeningError> for CliError {
    fn from(error: ListeningError) -> Self {
        match error {
            ListeningError::Input(error) => Self::failed(error),
            ListeningError::Fault => Self::failed(format!(
                "{error}, which is told above; start it again, and keep what is told for a report"
            )),
        }
    }
}

impl From<TooLong> for CliError {
    fn from(error: TooLong) -> Self {
        Self::failed(format!(
            "{error}; play each key once, for two or three seconds"
        ))
    }
}

impl From<PianoError> for CliError {
    fn from(error: PianoError) -> Self {
        match &error {
            PianoError::NotAName { .. } => Self::Usage(error.to_string()),
            PianoError::NoHome => Self::failed(format!("{error}; set HOME")),
            PianoError::Unreadable { .. } => Self::failed(format!(
                "{error}; learn the piano again with soundcheck --learn"
            )),
            PianoError::Unknown {
                nearest: Some(nearest),
                kept,
                ..
            } => Self::failed(format!(
                "{error}; did you mean '{nearest}'? kept are: {}",
                kept.join(", ")
            )),
            PianoError::Unknown { name, kept, .. } if kept.is_empty() => Self::failed(format!(
                "{error}; none is kept yet; learn it with lidprop soundcheck --learn \"{name}\""
            )),
            PianoError::Unknown { kept, .. } => {
                Self::failed(format!("{error}; kept are: {}", kept.join(", ")))
            }
            PianoError::Unwritten(error) => Self::failed(error),
        }
    }
}

/// Writes one sentence to standard error. That nobody reads it is no reason to stop.
pub fn tell(sentence: &str) {
    use std::io::Write;
    let _ = writeln!(io::stderr(), "lidprop: {sentence}");
}
