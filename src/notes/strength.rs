//! How strongly each key sounds in one frame, beside the others and by itself.
//!
//! Input: a [`SpectrumFrame`]. Output: [`KeyLoudness`] of the 88 keys.
//! Units: shares 0 to 1, 1 for the strongest key of the frame; powers in squares of linear amplitude, a full-scale sine has 1.
//! Method: our own: partials 1 to 4 on the log-frequency axis, added up; of the long window for the shares, of the short one, which a strike
//! fills at once, for the powers.
//! Limits: a share is relative to its own frame, so a soft passage reads like a loud one; keys that share partials lend each other strength,
//! and in the short window keys below C3 do so with their neighbours, which it does not tell apart.

use crate::spectrum::SpectrumFrame;
use crate::spectrum::log_frequency::{A0_BIN, BINS_PER_OCTAVE};
use crate::units::PIANO_KEYS;

/// How many bins above a key's fundamental its partials 1 to 4 lie: `36 log2(n)`, rounded.
const PARTIALS: [usize; 4] = [0, BINS_PER_OCTAVE, 57, 2 * BINS_PER_OCTAVE];

/// How strongly each key sounds, by piano index.
#[derive(Debug, Clone, PartialEq)]
pub struct KeyLoudness {
    /// The root of the sum of its first four partials over the largest such sum of the frame, 0 to 1.
    pub shares: [f32; PIANO_KEYS],
    /// The sum of the squares of its first four partials in the short window.
    pub powers: [f32; PIANO_KEYS],
}

impl Default for KeyLoudness {
    fn default() -> Self {
        Self {
            shares: [0.0; PIANO_KEYS],
            powers: [0.0; PIANO_KEYS],
        }
    }
}

impl KeyLoudness {
    /// Takes the next frame.
    pub fn measure(&mut self, frame: &SpectrumFrame) {
        let mut most = 1e-9_f32;
        for (key, share) in self.shares.iter_mut().enumerate() {
            *share = partials(&frame.long, key).sum();
            most = most.max(*share);
        }
        for share in &mut self.shares {
            *share = (*share / most).sqrt();
        }
        for (key, power) in self.powers.iter_mut().enumerate() {
            *power = partials(&frame.short, key).map(|a| a * a).sum();
        }
    }
}

/// Magnitudes of the first four partials of a key, as far as the axis goes.
fn partials(magnitudes: &[f32], key: usize) -> impl Iterator<Item = &f32> {
    let fundamental = A0_BIN + BINS_PER_OCTAVE / 12 * key;
    PARTIALS
        .iter()
        .filter_map(move |above| magnitudes.get(fundamental + above))
}
