//! The key of the whole piece.
//!
//! Input: notes, and the chords found. Output: how likely each of the 24 keys is home. Units: natural-log units; probabilities.
//! Method: a conditional logit (McFadden 1974) over how the notes lie in the scale, how the chords fit the key, how long its tonic chord stands, and its mode. Each
//! counts by how much of the playing stands on dominants and diminished chords: where many degrees have dominants of their own, as in jazz, notes say less and
//! the tonic chord says more.
//! The weights were fitted; of excerpts of half a minute left out in five folds 0.87 of the keys are right, of own scenes 0.85, and what is said to be p likely is there that often.
//! Limits: one key for all; where the playing modulates for good, the key of most of it.

use super::PlayedNote;
use super::key::{KEYS, lies_in};
use crate::harmony::function::{Class, fit};
use crate::harmony::progression::best_path::key_at;
use crate::harmony::{Key, Mode, PitchClass};

/// How many features a key has.
pub const FEATURES: usize = 8;
/// How much each feature speaks for a key, in the order of [`features`]. Fitted by `training/playing_level.py` on what `examples/home_keys.rs` prints
/// of the sets of `training/playing_scenes.py`.
const WEIGHTS: [f32; FEATURES] = [9.29, 5.19, 6.17, 0.22, -1.55, 7.42, 3.48, -9.74];
/// Longest time for which a note or a chord counts, in seconds.
const LONGEST_NOTE: f64 = 2.0;
const LONGEST_CHORD: f64 = 8.0;

/// A chord of the playing, as far as the key goes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SoundingChord {
    /// How long it stands, in seconds.
    pub lasts: f64,
    /// Its root.
    pub root: PitchClass,
    /// What kind of chord it is.
    pub class: Class,
    /// How sure it is, 0 to 1.
    pub sure: f32,
}

/// Each key with what speaks for it. `chords` are weighed as the search finds them; the fit saw them as they are named, which is nearly the same.
/// how the notes lie in its scale, how the chords fit it, the share of its tonic chord, whether it is minor; then the same
/// times the share of dominants and diminished chords.
pub fn features(notes: &[PlayedNote], chords: &[SoundingChord]) -> [(Key, [f32; FEATURES]); KEYS] {
    let mut classes = [0.0_f32; 12];
    for note in notes {
        let lasts = (note.end.get() - note.start.get()).clamp(0.0, LONGEST_NOTE);
        classes[usize::from(note.midi.get() % 12)] += lasts.sqrt() as f32;
    }
    let sum = classes.iter().sum::<f32>().max(1e-9);
    let all = chords
        .iter()
        .map(|chord| chord.lasts.min(LONGEST_CHORD))
        .sum::<f64>()
        .max(1e-9);
    let driving: f64 = chords
        .iter()
        .filter(|chord| drives(chord.class))
        .map(|chord| chord.lasts)
        .sum::<f64>()
        / chords
            .iter()
            .map(|chord| chord.lasts)
            .sum::<f64>()
            .max(1e-9);
    std::array::from_fn(|k| {
        let key = key_at(k);
        let tonic = key.tonic.class();
        let (mut fitting, mut resting) = (0.0, 0.0);
        for chord in chords {
            let share = f64::from(chord.sure) * chord.lasts.min(LONGEST_CHORD) / all;
            fitting -= share * f64::from(fit(chord.root, chord.class, key));
            if chord.root == tonic && chord.class.rests(key.mode) {
                resting += share;
            }
        }
        let plain = [
            f64::from(lies_in(&classes, key) / sum),
            fitting,
            resting,
            f64::from(u8::from(key.mode == Mode::Minor)),
        ];
        let row = std::array::from_fn(|i| match plain.get(i) {
            Some(&feature) => feature as f32,
            None => (driving * plain[i - plain.len()]) as f32,
        });
        (key, row)
    })
}

/// True for chords that lead on.
const fn drives(class: Class) -> bool {
    matches!(
        class,
        Class::Dominant | Class::HalfDiminished | Class::Diminished | Class::DiminishedMajor
    )
}

/// How likely each key is home, in the order of [`key_at`]; the sum is 1.
pub(crate) fn likely(notes: &[PlayedNote], chords: &[SoundingChord]) -> [f32; KEYS] {
    let worth = features(notes, chords)
        .map(|(_, row)| row.iter().zip(WEIGHTS).map(|(f, w)| f * w).sum::<f32>());
    let best = worth.iter().copied().fold(f32::MIN, f32::max);
    let sum: f32 = worth.iter().map(|w| (w - best).exp()).sum();
    worth.map(|w| (w - best).exp() / sum)
}
