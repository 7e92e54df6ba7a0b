//! Why a command could not do its work, and the exit code that says so.
//!
//! Input: errors of the stages below. Output: one sentence (what, where, what to do) and an exit code.
//! Units: exit codes as in [`EXIT_CODES_HELP`]. Method: our own.
//! Limits: the stages below say what happened; what to do about it comes from [`super::remedies`], or from the command that fails.

use super::remedies::{self, InCommand};
use crate::audio::AudioError;
use crate::session::lesson::TooLong;
use crate::session::live::ListeningError;
use crate::store::logbook::LogbookError;
use crate::store::pianos::PianoError;
use crate::units::cause::in_words;
use crate::view::ink::in_columns_of;
use crate::view::printable::printable;
use std::fmt::Display;
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
    /// A recording or an input cannot be used.
    #[error(transparent)]
    Sound(#[from] AudioError),
    /// Standard output takes no more.
    #[error("cannot write to standard output: {0}")]
    Stdout(io::Error),
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
            Self::Stdout(error)
        }
    }

    /// Tells on standard error what happened in `command` and what to do, where there is something to tell, and gives the exit code.
    pub fn tell(&self, command: InCommand) -> ExitCode {
        let (sentence, code) = match self {
            Self::PipeClosed => return ExitCode::SUCCESS,
            Self::AlreadyTold => return ExitCode::from(1),
            Self::Failed(sentence) => (sentence.clone(), 1),
            Self::Sound(error) => (remedies::sentence(error, command), 1),
            Self::Stdout(_) => (
                format!("{self}; {}", remedies::for_standard_output(command)),
                1,
            ),
            Self::Usage(sentence) => (sentence.clone(), 2),
        };
        tell(&sentence);
        ExitCode::from(code)
    }
}

impl From<ListeningError> for CliError {
    fn from(error: ListeningError) -> Self {
        match error {
            ListeningError::Input(error) => Self::Sound(error),
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
            PianoError::Unreadable { .. } => {
                Self::failed(format!("{error}; {}", remedies::LEARN_AGAIN))
            }
            PianoError::Unknown {
                nearest: Some(nearest),
                kept,
                ..
            } => Self::failed(format!(
                "{error}; did you mean '{nearest}'? these are kept: {}",
                kept.join(", ")
            )),
            PianoError::Unknown { name, kept, .. } if kept.is_empty() => {
                Self::failed(format!("{error}; {}", remedies::learn_it(name)))
            }
            PianoError::Unknown { kept, .. } => {
                Self::failed(format!("{error}; these are kept: {}", kept.join(", ")))
            }
            PianoError::Unwritten(error) => Self::failed(error),
            PianoError::NoEarlier { .. } => Self::failed(format!(
                "{error}; there is one once a piano has been learned twice"
            )),
            PianoError::Unremoved { .. } => {
                Self::failed(format!("{error}; change the permissions of its folder"))
            }
        }
    }
}

impl From<LogbookError> for CliError {
    fn from(error: LogbookError) -> Self {
        let remedy = match &error {
            LogbookError::NoHome => "set HOME",
            LogbookError::Unwritten(_) => return Self::failed(error),
            LogbookError::Damaged { .. } => {
                "move it away and put a backup in its place, or begin a new one; nothing was changed"
            }
            LogbookError::Foreign { .. } => "move it away; nothing was changed",
            LogbookError::Newer { .. } => "update lidprop; nothing was changed",
            LogbookError::ReadOnly { .. } => "change its permissions",
            LogbookError::Busy { .. } => "end that program, or try again",
            LogbookError::NotAnExport { .. } => {
                "give a file that `lidprop logbook --export FILE` has written"
            }
            LogbookError::Other { .. } => "check the file and its folder",
        };
        Self::failed(format!("{error}; {remedy}"))
    }
}

/// What was noticed of a recording, as a sentence.
pub fn note(file: impl Display, warning: impl Display) -> String {
    format!("{file}: note: {warning}")
}

/// Writes one sentence to standard error, on one line whatever names it holds but for a narrow terminal. That nobody reads it is no reason to stop.
pub fn tell(sentence: &str) {
    use std::io::Write;
    let mut err = io::stderr();
    let line = format!("lidprop: {}", printable(&in_words(&sentence)));
    let _ = writeln!(err, "{}", in_columns_of(&err, &line));
}
