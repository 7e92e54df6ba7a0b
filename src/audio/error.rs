//! What can go wrong with sound, each in a few words: what and where.
//!
//! Input: none. Output: [`AudioError`]. Units: none.
//! Method: one variant for each thing a user can act on; the text names the file or device. What to do about it is said where the commands
//! and their options are known.
//! Limits: the texts are English; they hold no cause chain beyond the system's own message.

use crate::units::Seconds;
use crate::units::cause::in_words;
use crate::units::clock::clock;
use std::io;

/// Why a recording or an input cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum AudioError {
    /// There is nothing at this path.
    #[error("{name}: there is no such file")]
    NotFound {
        /// The path as given.
        name: String,
    },
    /// The path is a folder.
    #[error("{name}: this is a folder")]
    IsDirectory {
        /// The path as given.
        name: String,
    },
    /// The system denies reading.
    #[error("{name}: reading is not permitted")]
    PermissionDenied {
        /// The path as given.
        name: String,
    },
    /// Reading failed part of the way.
    #[error("{name}: reading failed ({})", in_words(.cause))]
    Read {
        /// The path as given.
        name: String,
        /// What the system says.
        cause: io::Error,
    },
    /// The file has no bytes.
    #[error("{name}: the file is empty")]
    Empty {
        /// The path as given.
        name: String,
    },
    /// The content is no known sound format.
    #[error("{name}: the content is no sound format known here")]
    NotAudio {
        /// The path as given.
        name: String,
    },
    /// The format is known, the way the sound is coded is not.
    #[error("{name}: the sound is coded as {codec}, which is not read here")]
    UnknownCodec {
        /// The path as given.
        name: String,
        /// The trade's name of the codec.
        codec: String,
    },
    /// The container is known and not read.
    #[error("{name}: this is {container}, which is not read here")]
    UnknownContainer {
        /// The path as given.
        name: String,
        /// The trade's name of the container.
        container: String,
    },
    /// The content is something known that holds no sound.
    #[error("{name}: this is {what}")]
    NoSound {
        /// The path as given.
        name: String,
        /// What it is, and that it holds no sound.
        what: String,
    },
    /// An M4A or MP4 whose index, which is mostly written last, is missing.
    #[error("{name}: this M4A or MP4 is cut short: its index, which is written last, is missing")]
    IndexLost {
        /// The path as given.
        name: String,
    },
    /// The path leads to a device of the system, which never ends.
    #[error("{name}: this is a device and no recording")]
    Device {
        /// The path as given.
        name: String,
    },
    /// The path is a dash, which elsewhere stands for standard input.
    #[error("{name}: there is no such file, and a dash does not stand for standard input here")]
    Dash {
        /// The dash.
        name: String,
    },
    /// A stream that goes on without an end.
    #[error("{name}: it goes on beyond {limit}")]
    Endless {
        /// The path as given.
        name: String,
        /// How much of a stream is read at most.
        limit: &'static str,
    },
    /// A header or the whole stream makes no sense.
    #[error("{name}: the file is damaged or cut short ({what})")]
    Damaged {
        /// The path as given.
        name: String,
        /// Which part, in words.
        what: String,
    },
    /// A sample rate outside what is read.
    #[error("{name}: the header claims {rate} samples per second, where 4000 to 384000 are read")]
    UnusableRate {
        /// The path as given.
        name: String,
        /// The rate the header claims, Hz.
        rate: u32,
    },
    /// A header that is sound and no sound after it.
    #[error("{name}: there is no sound in the file")]
    NoSamples {
        /// The path as given.
        name: String,
    },
    /// A part was asked for that begins where nothing is left.
    #[error("{name}: it ends at {}, before {}", clock(*.end), clock(*.wanted))]
    EndsBefore {
        /// The path as given.
        name: String,
        /// Where it ends.
        end: Seconds,
        /// Where the part was to begin.
        wanted: Seconds,
    },
    /// This build has no live sound.
    #[error("this lidprop was built without live sound")]
    NoLiveSound,
    /// The machine has no input that opens.
    #[error("no sound input was found on this computer")]
    NoInput,
    /// No input has such a name.
    #[error("no sound input is called \"{wanted}\"")]
    NoSuchInput {
        /// What was asked for.
        wanted: String,
        /// The name most like it, where one is near.
        nearest: Option<String>,
        /// All names there are.
        known: Vec<String>,
    },
    /// Several inputs have that in their names.
    #[error("\"{wanted}\" fits several sound inputs ({})", .matches.join(", "))]
    AmbiguousInput {
        /// What was asked for.
        wanted: String,
        /// The names it fits.
        matches: Vec<String>,
    },
    /// Another program holds the input.
    #[error("sound input \"{name}\" is in use by another program")]
    InputBusy {
        /// The input.
        name: String,
    },
    /// The system denies the microphone.
    #[error("the system does not permit the use of sound input \"{name}\"")]
    InputDenied {
        /// The input.
        name: String,
    },
    /// The input was there and is gone.
    #[error("sound input \"{name}\" is gone ({cause})")]
    InputGone {
        /// The input.
        name: String,
        /// What was noticed.
        cause: String,
    },
    /// The input has only sample formats that cannot be used.
    #[error("sound input \"{name}\" delivers {format}, which cannot be used")]
    UnsupportedInput {
        /// The input.
        name: String,
        /// Its sample format or rate.
        format: String,
    },
    /// The machine has no output that opens.
    #[error("no sound output was found on this computer")]
    NoOutput,
    /// The sound system does not play.
    #[error("the sound output cannot be used ({cause})")]
    OutputFailed {
        /// What the sound system says.
        cause: String,
    },
    /// Any other refusal of the sound system.
    #[error("sound input \"{name}\" cannot be opened ({cause})")]
    InputFailed {
        /// The input.
        name: String,
        /// What the sound system says.
        cause: String,
    },
}

impl AudioError {
    /// Sorts a system error on opening or reading `name` into what the user can act on.
    pub(crate) fn from_io(name: &str, cause: io::Error) -> Self {
        let name = name.to_owned();
        match cause.kind() {
            io::ErrorKind::NotFound => Self::NotFound { name },
            io::ErrorKind::PermissionDenied => Self::PermissionDenied { name },
            io::ErrorKind::IsADirectory => Self::IsDirectory { name },
            io::ErrorKind::UnexpectedEof => Self::Damaged {
                name,
                what: "it ends too early".into(),
            },
            _ => Self::Read { name, cause },
        }
    }

    pub(crate) fn damaged(name: &str, what: impl Into<String>) -> Self {
        Self::Damaged {
            name: name.to_owned(),
            what: what.into(),
        }
    }
}
