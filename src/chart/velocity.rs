//! How hard each key was struck beside the others of a recording.
//!
//! Input: the notes of a recording with their levels. Output: a velocity for each, 1 to 127.
//! Units: dB; velocities as MIDI counts them.
//! Method: a key's level at its strike, less what its place on the keyboard adds to it (`BY_OCTAVE`), over the median of the recording, to which
//! velocity 64 is given. From level to velocity: `v = 64 * 10^(dB / 40)`, the concave curve by which the sounds of an instrument answer velocity
//! (MIDI Manufacturers Association, Downloadable Sounds Level 1: gain in dB is `40 log10(v / 127)`).
//! Limits: no sound says how far the microphone was, so a soft recording reads like a loud one, and one note alone as 64; keys that are struck together
//! and share partials read too loud.

use crate::listener::NoteSpan;
use crate::units::MidiNote;

/// What the level of a key's first four partials lies above that of the whole keyboard struck alike, in dB, at the middle of each octave from
/// A0 to A7: the mean of eleven dynamic layers of five recorded pianos (`training/key_levels.py`).
const BY_OCTAVE: [f64; 8] = [-4.7, 0.2, 0.3, 1.8, 0.6, 1.5, -6.0, -22.8];
/// The middle of the first of these octaves, as a MIDI number.
const FIRST_MIDDLE: f64 = 26.5;
const OCTAVE: f64 = 12.0;
/// Half of the notes are struck softer than this.
pub const MIDDLE_VELOCITY: u8 = 64;
/// dB that ten times the velocity bring.
const DB_A_DECADE: f64 = 40.0;

/// From levels to velocities, for one recording.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Velocities {
    /// The median of the levels, each less what its key adds.
    middle_db: f64,
}

impl Velocities {
    /// Of the notes of one recording.
    pub fn of(notes: &[NoteSpan]) -> Self {
        let mut levels: Vec<f64> = notes.iter().map(struck_db).collect();
        levels.sort_by(f64::total_cmp);
        Self {
            middle_db: levels.get(levels.len() / 2).copied().unwrap_or(0.0),
        }
    }

    /// How hard this note was struck, 1 to 127.
    pub fn velocity(self, note: &NoteSpan) -> u8 {
        let louder = struck_db(note) - self.middle_db;
        let velocity = f64::from(MIDDLE_VELOCITY) * 10.0_f64.powf(louder / DB_A_DECADE);
        velocity.round().clamp(1.0, 127.0) as u8
    }
}

/// The level at the strike without what the key's place adds.
fn struck_db(note: &NoteSpan) -> f64 {
    note.level.get() - added_by_place(note.note.midi)
}

/// [`BY_OCTAVE`], straight between the middles of octaves and level beyond them.
fn added_by_place(midi: MidiNote) -> f64 {
    let last = (BY_OCTAVE.len() - 1) as f64;
    let octaves = ((f64::from(midi.get()) - FIRST_MIDDLE) / OCTAVE).clamp(0.0, last);
    let below = (octaves as usize).min(BY_OCTAVE.len() - 2);
    let share = octaves - below as f64;
    BY_OCTAVE[below] * (1.0 - share) + BY_OCTAVE[below + 1] * share
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::listener::{Certainty, ChordNote};
    use crate::units::{Dbfs, SamplePos, Share};

    fn struck(midi: u8, db: f64) -> NoteSpan {
        NoteSpan {
            note: ChordNote {
                midi: MidiNote::new(midi).unwrap(),
                strength: Share::clamped(1.0),
                confidence: Share::clamped(1.0),
                certainty: Certainty::Sure,
            },
            start: SamplePos::START,
            end: SamplePos::new(9_000),
            level: Dbfs::new(db),
        }
    }

    #[test]
    fn louder_is_never_softer_and_gain_changes_nothing() {
        let levels = [-41.0, -38.5, -30.0, -22.0, -12.0, -3.0];
        let velocities = |gain: f64| {
            let notes: Vec<_> = levels.iter().map(|db| struck(60, db + gain)).collect();
            let of = Velocities::of(&notes);
            notes
                .iter()
                .map(|note| of.velocity(note))
                .collect::<Vec<_>>()
        };
        let loud = velocities(0.0);
        assert!(loud.is_sorted() && loud[0] < loud[5], "{loud:?}");
        assert_eq!(loud[3], 64, "the median");
        assert_eq!(velocities(-20.0), loud);
    }

    #[test]
    fn twelve_decibels_are_twice_the_velocity() {
        let notes = [struck(60, -42.041), struck(60, -30.0), struck(60, -17.959)];
        let of = Velocities::of(&notes);
        assert_eq!(
            notes.each_ref().map(|note| of.velocity(note)),
            [32, 64, 127]
        );
    }

    #[test]
    fn the_top_octave_struck_alike_is_no_softer_though_its_partials_are() {
        let notes = [struck(62, -20.0), struck(62, -20.0), struck(110, -44.0)];
        let of = Velocities::of(&notes);
        assert!(
            (60..=70).contains(&of.velocity(&notes[2])),
            "{}",
            of.velocity(&notes[2])
        );
    }
}
