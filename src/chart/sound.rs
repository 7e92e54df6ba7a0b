//! What is kept of the sound itself, for those who publish it.
//!
//! Input: none; this is the type. Output: [`KeptSound`]. Units: dBFS; bytes. Method: plain data, made while a recording is read.
//! Limits: the sound of recordings longer than [`KeptSound::LONGEST_SECONDS`] is not kept, so that memory does not grow with them; how loud they are is.

/// What is kept of the sound of a recording.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct KeptSound {
    /// Loudness of each stretch of [`KeptSound::STRETCH_SECONDS`] (dBFS, root mean square).
    pub loudness: Vec<f32>,
    /// The whole recording as a FLAC file, mono at 22.05 kHz with 16 bits; `None` where it was not asked for or is too long.
    pub flac: Option<Vec<u8>>,
    /// True where it was asked for and is too long.
    pub too_long: bool,
}

impl KeptSound {
    /// A loudness stands for so much of the sound.
    pub const STRETCH_SECONDS: f64 = 0.05;
    /// The longest recording whose sound is kept: half an hour, some 35 MB.
    pub const LONGEST_SECONDS: f64 = 1800.0;
}
