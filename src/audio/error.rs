//! What can go wrong with sound, each as one sentence: what, where and what to do.
//!
//! Input: none. Output: [`AudioError`]. Units: none.
//! Method: one variant for each thing a user can act on; the text names the file or device and the remedy.
//! Limits: the texts are English; they hold no cause chain beyond the system's own message.

use std::io;

/// Why a recording or an input cannot be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum AudioError {
    /// There is nothing at this path.
    #[error("{name}: there is no such file; check the spelling and the folder")]
    NotFound {
        /// The path as given.
        name: String,
    },
    /// The path is a folder.
    #[error("{name}: this is a folder; name the recordings in it, for example {name}/*.wav")]
    IsDirectory {
        /// The path as given.
        name: String,
    },
    /// The system denies reading.
    #[error(
        "{name}: reading is not permitted; change its permissions or copy it to a folder of your own"
    )]
    PermissionDenied {
        /// The path as given.
        name: String,
    },
    /// Reading failed part of the way.
    #[error("{name}: reading failed ({cause}); copy the file to a sound disk and try again")]
    Read {
        /// The path as given.
        name: String,
        /// What the system says.
        cause: io::Error,
    },
    /// The file has no bytes.
    #[error("{name}: the file is empty; record or copy it again")]
    Empty {
        /// The path as given.
        name: String,
    },
    /// The content is no known sound format.
    #[error(
        "{name}: the content is no sound format known here; give WAV, FLAC, MP3, M4A or OGG Vorbis"
    )]
    NotAudio {
        /// The path as given.
        name: String,
    },
    /// The format is known, the way the sound is coded is not.
    #[error(
        "{name}: the sound is coded as {codec}, which is not read here; convert it first: ffmpeg -i INPUT output.flac"
    )]
    UnknownCodec {
        /// The path as given.
        name: String,
        /// The trade's name of the codec.
        codec: String,
    },
    /// A header or the whole stream makes no sense.
    #[error(
        "{name}: the file is damaged or cut short ({what}); copy it again, or try: ffmpeg -i INPUT output.flac"
    )]
    Damaged {
        /// The path as given.
        name: String,
        /// Which part, in words.
        what: String,
    },
    /// A sample rate outside what is read.
    #[error(
        "{name}: the header claims {rate} samples a second; recordings of 4000 to 384000 are read, so record or export it again"
    )]
    UnusableRate {
        /// The path as given.
        name: String,
        /// The rate the header claims, Hz.
        rate: u32,
    },
    /// A header that is sound and no sound after it.
    #[error("{name}: the file holds no samples; record or export it again")]
    NoSamples {
        /// The path as given.
        name: String,
    },
    /// The machine has no input that opens.
    #[error(
        "no sound input was found on this computer; plug a microphone in, check that it is switched on in the system's sound settings, then run `lidprop soundcheck`"
    )]
    NoInput,
    /// No input has such a name.
    #[error("no sound input is called \"{wanted}\"; {}", suggestion(.nearest, .known))]
    NoSuchInput {
        /// What was asked for.
        wanted: String,
        /// The name most like it, where one is near.
        nearest: Option<String>,
        /// All names there are.
        known: Vec<String>,
    },
    /// Several inputs have that in their names.
    #[error("\"{wanted}\" fits several sound inputs ({}); give more of the name", .matches.join(", "))]
    AmbiguousInput {
        /// What was asked for.
        wanted: String,
        /// The names it fits.
        matches: Vec<String>,
    },
    /// Another program holds the input.
    #[error(
        "sound input \"{name}\" is in use by another program; close that program or choose another input with --device"
    )]
    InputBusy {
        /// The input.
        name: String,
    },
    /// The system denies the microphone.
    #[error(
        "the system does not permit the use of sound input \"{name}\"; allow the microphone for this terminal in the privacy settings (on Linux, join the group `audio`)"
    )]
    InputDenied {
        /// The input.
        name: String,
    },
    /// The input was there and is gone.
    #[error(
        "sound input \"{name}\" is gone ({cause}); plug it in again or choose another with --device"
    )]
    InputGone {
        /// The input.
        name: String,
        /// What was noticed.
        cause: String,
    },
    /// The input has only sample formats that cannot be used.
    #[error(
        "sound input \"{name}\" delivers {format}, which cannot be used; choose another input with --device"
    )]
    UnsupportedInput {
        /// The input.
        name: String,
        /// Its sample format or rate.
        format: String,
    },
    /// Any other refusal of the sound system.
    #[error(
        "sound input \"{name}\" cannot be opened ({cause}); run `lidprop soundcheck` to see which inputs work"
    )]
    InputFailed {
        /// The input.
        name: String,
        /// What the sound system says.
        cause: String,
    },
}

fn suggestion(nearest: &Option<String>, known: &[String]) -> String {
    match (nearest, known) {
        (Some(near), _) => format!("did you mean \"{near}\"?"),
        (None, []) => "there is none at all, so plug a microphone in".into(),
        (None, known) => format!("there are: {}", known.join(", ")),
    }
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
