//! Spectra: windows of samples become magnitudes on a log-frequency axis that follows the piano's tuning.
//!
//! Input: mono samples at [`crate::units::SampleRate::INTERNAL`], -1 to 1. Output: one [`SpectrumFrame`] each [`HOP_SAMPLES`].
//! Units: linear amplitude (a full-scale sine has 1.0), one-sided. Method: see the modules.
//! Limits: a frame tells of the [`LONG_WINDOW_SAMPLES`] before its end.

pub mod analyser;
pub mod log_frequency;
pub(crate) mod peak;
pub mod stiffness;
pub mod tuning;
pub mod window;

pub use analyser::Analyser;
pub use tuning::{TuningEstimate, TuningFollower, estimate_a4};

/// Samples between two frames (23.2 ms at 22,050 Hz).
pub const HOP_SAMPLES: usize = 512;
/// The long window, which separates low notes (371.5 ms).
pub const LONG_WINDOW_SAMPLES: usize = 8192;
/// The short window, which answers fast (92.9 ms). Both windows end at the same sample.
pub const SHORT_WINDOW_SAMPLES: usize = 2048;
/// Bins of the log-frequency axis: 36 an octave (3 a semitone) from one semitone below A0.
pub const LOG_BINS: usize = 312;

/// One analysis frame: both windows on the log-frequency axis.
///
/// Bin `b` stands at `27.5 Hz * 2^((b - 3) / 36)`, times the tuning ratio the analyser follows.
#[derive(Debug, Clone, PartialEq)]
pub struct SpectrumFrame {
    /// Magnitudes of the long window, linear amplitude.
    pub long: [f32; LOG_BINS],
    /// Magnitudes of the short window, linear amplitude.
    pub short: [f32; LOG_BINS],
    /// Root-mean-square of the last [`HOP_SAMPLES`] samples, linear; a full-scale sine has 0.707.
    pub rms: f32,
}

impl Default for SpectrumFrame {
    fn default() -> Self {
        Self {
            long: [0.0; LOG_BINS],
            short: [0.0; LOG_BINS],
            rms: 0.0,
        }
    }
}
