//! Where samples come from, in the one form in which the listener takes them.
//!
//! Input: a recording (see [`crate::audio::open`]). Output: blocks of mono samples at [`SampleRate::INTERNAL`].
//! Units: samples nominally -1 to 1 (full scale); sample 0 of the first block is time 0 of the recording.
//! Method: trait; decoder and resampler delay are already taken out. A sample that is no finite number, or lies more
//! than 60 dB above full scale ([`SAMPLE_LIMIT`]), becomes 0 and is counted: this is the only place where such samples exist.
//! Limits: a source is read once, forwards.

use crate::audio::AudioError;
use crate::units::clock::clock;
use crate::units::count::plural;
use crate::units::{SampleRate, SampleSpan, Seconds};
use std::fmt;

/// Magnitude above which a sample is taken for damage, not for sound: 60 dB above full scale. Floating-point
/// recordings exceed full scale by 20 dB at most in practice; a larger limit would let one bad sample drown a recording.
pub const SAMPLE_LIMIT: f32 = 1000.0;

/// Whether a source has more to give.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BlockState {
    /// There may be more after this block.
    More,
    /// This block is the last; it may be empty.
    Ended,
}

/// A stream of mono samples at [`SampleRate::INTERNAL`].
pub trait SampleSource {
    /// Replaces the contents of `out` by the next block. A block may be empty although more follows.
    ///
    /// # Errors
    /// If the recording cannot be read on; what was given before stays valid.
    fn next_block(&mut self, out: &mut Vec<f32>) -> Result<BlockState, AudioError>;

    /// Hears the source to its end, block by block.
    ///
    /// # Errors
    /// If it cannot be read on, or that of `hear`, which ends the reading.
    fn for_each_block<E: From<AudioError>>(
        &mut self,
        mut hear: impl FnMut(&[f32]) -> Result<(), E>,
    ) -> Result<(), E>
    where
        Self: Sized,
    {
        let mut block = Vec::new();
        loop {
            let state = self.next_block(&mut block)?;
            hear(&block)?;
            if state == BlockState::Ended {
                return Ok(());
            }
        }
    }

    /// All samples that are left.
    ///
    /// # Errors
    /// If it cannot be read on.
    fn read_all(&mut self) -> Result<Vec<f32>, AudioError>
    where
        Self: Sized,
    {
        let mut all = Vec::new();
        self.for_each_block(|block| {
            all.extend_from_slice(block);
            Ok::<_, AudioError>(())
        })?;
        Ok(all)
    }

    /// What the source is.
    fn info(&self) -> &SourceInfo;

    /// What was noticed so far that the user should know; complete once the source has ended.
    fn warnings(&self) -> Vec<SourceWarning>;
}

/// What a source is.
#[derive(Debug, Clone, PartialEq)]
pub struct SourceInfo {
    /// The path as given, or a name such as `standard input`.
    pub name: String,
    /// The container or file format, for people: `WAV`, `FLAC`, `M4A`.
    pub container: String,
    /// The coding of the samples, for people: `16-bit PCM`, `AAC-LC`.
    pub codec: String,
    /// Frames a second in the file.
    pub rate: SampleRate,
    /// Channels in the file.
    pub channels: usize,
    /// The length at [`SampleRate::INTERNAL`] as far as the file says; `None` where it does not.
    pub length: Option<SampleSpan>,
}

/// Something about a recording that the user should know although it could be read.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum SourceWarning {
    /// Packets that could not be decoded; silence stands in their place.
    DamagedPackets {
        /// How many.
        count: u64,
    },
    /// Stretches of which nothing could be found; silence stands in their place, so that later times are right.
    LostStretches {
        /// Seconds in all.
        seconds: f64,
    },
    /// The sound is not the one whose checksum the file carries.
    WrongChecksum,
    /// The file does not end where or how such files do.
    EndsOddly,
    /// The file ends before the length its header states.
    CutShort {
        /// Seconds missing.
        missing: f64,
    },
    /// Samples that were no finite number; silence stands in their place.
    BadSamples {
        /// How many.
        count: u64,
    },
    /// Runs of samples at full scale.
    Clipped {
        /// How many runs.
        runs: u64,
    },
    /// Nothing but silence.
    Silent,
    /// The channels cancel each other when added.
    ChannelsCancel,
    /// The recording ends before the part that was asked for does.
    EndsEarlier {
        /// Where it ends.
        end: Seconds,
        /// Where the part was to end.
        wanted: Seconds,
    },
}

impl fmt::Display for SourceWarning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::DamagedPackets { count } => {
                let were = if *count == 1 { "was" } else { "were" };
                write!(
                    f,
                    "{} {were} replaced by silence; copy the file again if a better one exists",
                    plural(*count as usize, "damaged packet")
                )
            }
            Self::LostStretches { seconds } => {
                write!(
                    f,
                    "the file is damaged: {seconds:.2} s of its sound are lost and silent here; copy the file again if a better one exists"
                )
            }
            Self::WrongChecksum => {
                write!(
                    f,
                    "the sound does not fit the file's own checksum, so some of it may be damaged; copy the file again if a better one exists"
                )
            }
            Self::EndsOddly => {
                write!(
                    f,
                    "the file does not end as such files do, so it may be cut short; what is there was read"
                )
            }
            Self::CutShort { missing } => {
                write!(
                    f,
                    "the file is cut short by {missing:.1} s; what is there was read"
                )
            }
            Self::BadSamples { count } => {
                let samples = match count {
                    1 => "1 sample was no finite number and was".to_owned(),
                    _ => format!("{count} samples were no finite numbers and were"),
                };
                write!(
                    f,
                    "{samples} replaced by silence; export the recording again"
                )
            }
            Self::Clipped { runs } => {
                write!(
                    f,
                    "the sound is clipped in {}; record again with less input level or further away",
                    plural(*runs as usize, "place")
                )
            }
            Self::Silent => {
                write!(
                    f,
                    "the recording is silent throughout; check the microphone and its permission, then record again"
                )
            }
            Self::EndsEarlier { end, wanted } => {
                write!(
                    f,
                    "the recording ends at {}, before {}; it was read to its end",
                    clock(*end),
                    clock(*wanted)
                )
            }
            Self::ChannelsCancel => {
                write!(
                    f,
                    "the channels cancel each other (one is inverted); export one channel alone"
                )
            }
        }
    }
}
