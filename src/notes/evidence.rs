//! The one small interface behind which every way of hearing notes sits.
//!
//! Input: a [`SpectrumFrame`] (one hop of analysis). Output: [`NoteEvidence`] for the 88 keys.
//! Units: probabilities 0 to 1, index 0 is A0 (MIDI 21), index 87 is C8 (MIDI 108).
//! Method: an estimator may remember earlier frames; the same frames in the same order give the same evidence,
//! however they were delivered. Limits: `step` neither fails nor allocates after construction.

use crate::spectrum::SpectrumFrame;
use crate::units::PIANO_KEYS;

/// What one frame says of each key of the piano.
#[derive(Debug, Clone, PartialEq)]
pub struct NoteEvidence {
    /// Probability that the key's string sounds (struck, and neither damped nor faded), by piano index.
    pub sounding: [f32; PIANO_KEYS],
    /// Probability that the key was struck within the last few frames, by piano index.
    pub onset: [f32; PIANO_KEYS],
    /// Probability that the sustain pedal is down; `None` from who cannot tell.
    pub pedal: Option<f32>,
}

impl Default for NoteEvidence {
    fn default() -> Self {
        Self {
            sounding: [0.0; PIANO_KEYS],
            onset: [0.0; PIANO_KEYS],
            pedal: None,
        }
    }
}

impl NoteEvidence {
    /// The evidence folded to twelve pitch classes (index 0 is C): for each, the strongest of its octaves.
    pub fn chroma(&self) -> [f32; 12] {
        let mut chroma = [0.0_f32; 12];
        for (index, &p) in self.sounding.iter().enumerate() {
            let pitch_class = (index + 21) % 12;
            chroma[pitch_class] = chroma[pitch_class].max(p);
        }
        chroma
    }
}

/// A way of hearing which keys sound.
pub trait NoteEstimator: Send {
    /// Takes the next frame and writes to `out` the evidence of the frame [`NoteEstimator::delay`] frames before it (nothing before the first).
    fn step(&mut self, frame: &SpectrumFrame, out: &mut NoteEvidence);

    /// How many frames evidence comes late: 0 where a frame is judged at once.
    fn delay(&self) -> usize {
        0
    }

    /// After the last frame: writes the evidence of the next one that is still to come. Nothing comes of a frame that was judged at once.
    fn step_past_end(&mut self, out: &mut NoteEvidence) {
        *out = NoteEvidence::default();
    }

    /// Forgets all earlier frames.
    fn reset(&mut self);
}
