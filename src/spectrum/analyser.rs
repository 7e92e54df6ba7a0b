//! From a stream of samples to analysis frames: one each hop, both windows ending at its last sample.
//!
//! Input: mono samples at [`crate::units::SampleRate::INTERNAL`], -1 to 1, finite, in blocks of any size.
//! Output: a [`SpectrumFrame`] for every [`HOP_SAMPLES`]. Frame i (from 0) is made when sample `512 * (i + 1)` has arrived.
//! Units: linear amplitude. Method: [`PowerSpectrum`], then [`LogFrequencyMap`], for each window; samples before the start are zeros.
//! Limits: block sizes change nothing; after construction nothing allocates or fails. A struck note shows in
//! the short window after about 30 ms, in the long one after about 100 ms.

use super::log_frequency::LogFrequencyMap;
use super::window::PowerSpectrum;
use super::{HOP_SAMPLES, LONG_WINDOW_SAMPLES, SHORT_WINDOW_SAMPLES, SpectrumFrame};
use crate::units::{Hertz, SampleSpan};

/// Makes analysis frames of a stream of samples.
///
/// ```
/// use lidprop::spectrum::{Analyser, SpectrumFrame};
/// use lidprop::units::Hertz;
///
/// let mut analyser = Analyser::new(Hertz::CONCERT_A4);
/// let mut frame = SpectrumFrame::default();
/// let block = [0.0_f32; 1300];
/// let mut samples = &block[..];
/// let mut frames = 0;
/// while analyser.next_frame(&mut samples, &mut frame) {
///     frames += 1; // use `frame` here; the analyser may be retuned here too
/// }
/// assert_eq!(frames, 2);
/// ```
pub struct Analyser {
    /// The last long window of samples, then room for the hop that is being filled.
    history: Vec<f32>,
    /// How many samples of the next hop have arrived.
    filled: usize,
    long: Branch,
    short: Branch,
    a4: Hertz,
}

/// One window with its way to the log-frequency axis.
struct Branch {
    spectrum: PowerSpectrum,
    map: LogFrequencyMap,
}

impl Branch {
    fn new(length: usize, a4: Hertz) -> Self {
        Self {
            spectrum: PowerSpectrum::new(length),
            map: LogFrequencyMap::new(length, a4),
        }
    }

    fn process(&mut self, samples: &[f32], magnitudes: &mut [f32; super::LOG_BINS]) {
        self.map.apply(self.spectrum.process(samples), magnitudes);
    }
}

impl Analyser {
    /// Plans both transforms for a piano whose A4 is at `a4`; all memory is taken here.
    pub fn new(a4: Hertz) -> Self {
        Self {
            history: vec![0.0; LONG_WINDOW_SAMPLES + HOP_SAMPLES],
            filled: 0,
            long: Branch::new(LONG_WINDOW_SAMPLES, a4),
            short: Branch::new(SHORT_WINDOW_SAMPLES, a4),
            a4,
        }
    }

    /// Takes samples from the front of `samples` until a frame is complete, and writes it to `frame`.
    ///
    /// True: `frame` holds the next frame and `samples` what is left. False: all samples were taken, none completed a frame,
    /// and `frame` is as it was.
    pub fn next_frame(&mut self, samples: &mut &[f32], frame: &mut SpectrumFrame) -> bool {
        let taken = samples.len().min(HOP_SAMPLES - self.filled);
        let (now, later) = samples.split_at(taken);
        let start = LONG_WINDOW_SAMPLES + self.filled;
        self.history[start..start + taken].copy_from_slice(now);
        *samples = later;
        self.filled += taken;
        if self.filled < HOP_SAMPLES {
            return false;
        }
        self.filled = 0;
        self.history.copy_within(HOP_SAMPLES.., 0);
        let window = &self.history[..LONG_WINDOW_SAMPLES];
        self.long.process(window, &mut frame.long);
        self.short.process(
            &window[LONG_WINDOW_SAMPLES - SHORT_WINDOW_SAMPLES..],
            &mut frame.short,
        );
        let hop = &window[LONG_WINDOW_SAMPLES - HOP_SAMPLES..];
        frame.rms = (hop.iter().map(|&x| x * x).sum::<f32>() / HOP_SAMPLES as f32).sqrt();
        true
    }

    /// How many more samples complete the next frame: 1 to [`HOP_SAMPLES`].
    pub fn until_next_frame(&self) -> SampleSpan {
        SampleSpan::new((HOP_SAMPLES - self.filled) as u64)
    }

    /// Moves the log-frequency axis to another pitch of A4, from the next frame on. Allocates nothing.
    pub fn retune(&mut self, a4: Hertz) {
        if a4 != self.a4 {
            self.a4 = a4;
            self.long.map.retune(a4);
            self.short.map.retune(a4);
        }
    }

    /// The pitch of A4 on which the axis stands.
    pub fn a4(&self) -> Hertz {
        self.a4
    }

    /// The long window's one-sided power spectrum of the last frame, on the FFT's own bins (2.69 Hz); zeros before the first.
    pub fn long_power(&self) -> &[f32] {
        self.long.spectrum.power()
    }

    /// Forgets all samples; the tuning stays.
    pub fn reset(&mut self) {
        self.history.fill(0.0);
        self.filled = 0;
    }
}
