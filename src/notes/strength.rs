//! How strongly each key sounds beside the others in one frame.
//!
//! Input: a [`SpectrumFrame`]. Output: a share for each of 88 keys. Units: 0 to 1, 1 for the strongest key of the frame.
//! Method: our own: partials 1 to 4 on the log-frequency axis, added up.
//! Limits: relative to its own frame, so a soft passage reads like a loud one; keys that share partials lend each other strength.

use crate::spectrum::SpectrumFrame;
use crate::spectrum::log_frequency::A0_BIN;
use crate::units::PIANO_KEYS;

/// How strongly each key stands out beside the strongest: the root of the sum of its first four partials over the largest
/// such sum, 0 to 1.
pub(crate) fn key_strengths(frame: &SpectrumFrame, strengths: &mut [f32; PIANO_KEYS]) {
    let mut most = 1e-9_f32;
    for (key, strength) in strengths.iter_mut().enumerate() {
        let base = A0_BIN + 3 * key;
        // partials 1 to 4 lie 0, 36, 57 and 72 bins up
        *strength = [0, 36, 57, 72]
            .iter()
            .filter_map(|above| frame.long.get(base + above))
            .sum();
        most = most.max(*strength);
    }
    for strength in strengths {
        *strength = (*strength / most).sqrt();
    }
}
