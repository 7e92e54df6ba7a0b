//! A melody as it is typed: notes with their lengths in beats, bars between strokes.
//!
//! Input: text such as `G4=2 A4 B4 | C5=3 rest`. Output: notes with start and length in beats from the start. Units: beats; octaves by the usual
//! count, middle C is C4. Method: a word is a note name or `rest`; after `=` stands its length in beats, whole, as a decimal or as a
//! fraction (`=1/2`), one beat where nothing stands. A note without an octave lies nearest to the one before it, the first from C4 up. `hold` goes on with
//! the note before, over a bar line if need be. Every bar but the last must be full. Limits: one voice, one metre.

use crate::harmony::pitch::spelled::read_spelled;
use crate::harmony::standins::MelodyNote;
use crate::harmony::{PitchClass, Spelled};
use crate::units::MidiNote;

/// Why a typed melody cannot be read.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum MelodyError {
    /// A word is none.
    #[error(
        "bar {bar} of the melody: '{word}' is no note; write a letter from A to G with # or b, an octave and a length in beats if you like (Eb5=2), or rest or hold"
    )]
    NotANote {
        /// From 1.
        bar: usize,
        /// The word.
        word: String,
    },
    /// What stands after `=` is no length.
    #[error(
        "bar {bar} of the melody: '{word}' has no length that can be read; write beats, say Eb5=2, Eb5=1.5 or Eb5=1/2"
    )]
    NotALength {
        /// From 1.
        bar: usize,
        /// The word.
        word: String,
    },
    /// There is nothing to hold.
    #[error("bar {bar} of the melody: 'hold' has no note before it; write a note or rest")]
    NothingToHold {
        /// From 1.
        bar: usize,
    },
    /// The beats of a bar do not add up.
    #[error(
        "bar {bar} of the melody has {beats} beats and not {metre}; fill it with rest, or shorten a note"
    )]
    BarOff {
        /// From 1.
        bar: usize,
        /// Its beats.
        beats: f32,
        /// What it should have.
        metre: u8,
    },
    /// The key would lie beyond those that there are.
    #[error(
        "bar {bar} of the melody: '{word}' lies beyond the keys of a piano; write an octave from 1 to 7"
    )]
    NoSuchKey {
        /// From 1.
        bar: usize,
        /// The word.
        word: String,
    },
}

/// The first note without an octave lies from here up: C4.
const FIRST: u8 = 60;
/// Longest note, beats: sixteen bars of four.
const LONGEST: f32 = 64.0;

/// Reads a melody in a metre of `metre` beats.
///
/// ```
/// use lidprop::chart::melody::read_melody;
///
/// let notes = read_melody("G4=2 A B | C5=3 rest", 4).unwrap();
/// let told: Vec<(u8, f32, f32)> = notes.iter().map(|n| (n.0.get(), n.1, n.2)).collect();
/// assert_eq!(told, [(67, 0.0, 2.0), (69, 2.0, 1.0), (71, 3.0, 1.0), (72, 4.0, 3.0)]);
/// ```
///
/// # Errors
/// If a word is no note or a bar is not full; the sentence says in which bar.
pub fn read_melody(text: &str, metre: u8) -> Result<Vec<MelodyNote>, MelodyError> {
    let text = text.trim().trim_start_matches('|').trim_end_matches('|');
    let bars: Vec<&str> = text.split('|').collect();
    let mut notes: Vec<MelodyNote> = Vec::new();
    let mut sounds = false;
    for (nth, words) in bars.iter().enumerate() {
        let bar = nth + 1;
        let start = nth as f32 * f32::from(metre);
        let mut at = start;
        for word in words.split_whitespace() {
            let (name, beats) = length(word, bar)?;
            match name {
                "rest" => sounds = false,
                "hold" => match notes.last_mut().filter(|_| sounds) {
                    Some(note) => note.2 += beats,
                    None => return Err(MelodyError::NothingToHold { bar }),
                },
                name => {
                    let midi = key(name, notes.last().map(|n| n.0), bar)?;
                    notes.push((midi, at, beats));
                    sounds = true;
                }
            }
            at += beats;
        }
        let beats = at - start;
        let off = (beats - f32::from(metre)).abs() > 0.01;
        if off && (bar < bars.len() || beats > f32::from(metre)) {
            return Err(MelodyError::BarOff { bar, beats, metre });
        }
    }
    Ok(notes)
}

/// A word without its length, and the length.
fn length(word: &str, bar: usize) -> Result<(&str, f32), MelodyError> {
    let Some((name, text)) = word.split_once('=') else {
        return Ok((word, 1.0));
    };
    let beats = match text.split_once('/') {
        Some((a, b)) => a
            .parse::<f32>()
            .ok()
            .zip(b.parse::<f32>().ok())
            .map(|(a, b)| a / b),
        None => text.parse::<f32>().ok(),
    };
    let beats = beats.filter(|&beats| beats > 0.0 && beats <= LONGEST);
    beats
        .map(|beats| (name, beats))
        .ok_or_else(|| MelodyError::NotALength {
            bar,
            word: word.to_owned(),
        })
}

/// The key of a note name.
fn key(name: &str, before: Option<MidiNote>, bar: usize) -> Result<MidiNote, MelodyError> {
    let refused = || MelodyError::NotANote {
        bar,
        word: name.to_owned(),
    };
    let mut letters = name.chars();
    let first = letters.next().ok_or_else(refused)?.to_ascii_uppercase();
    let upper: String = std::iter::once(first).chain(letters).collect();
    let (spelled, octave) = read_spelled(&upper).ok_or_else(refused)?;
    let number = if octave.is_empty() {
        nearest(spelled, before)
    } else {
        let octave: i32 = octave.parse().map_err(|_| refused())?;
        let natural = i32::from(spelled.class().get()) - i32::from(spelled.accidentals());
        12 * (octave.clamp(-2, 12) + 1) + natural.rem_euclid(12) + i32::from(spelled.accidentals())
    };
    let midi = u8::try_from(number).ok().filter(|n| (21..=108).contains(n));
    midi.and_then(|n| MidiNote::new(n).ok())
        .ok_or_else(|| MelodyError::NoSuchKey {
            bar,
            word: name.to_owned(),
        })
}

/// The key of this name that lies nearest to the note before, of two the lower.
fn nearest(name: Spelled, before: Option<MidiNote>) -> i32 {
    match before {
        None => i32::from(FIRST) + i32::from(name.class().above(PitchClass::new(i32::from(FIRST)))),
        Some(before) => {
            let up = i32::from(name.class().above(PitchClass::from(before)));
            i32::from(before.get()) + if up >= 6 { up - 12 } else { up }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(text: &str) -> Vec<(u8, f32, f32)> {
        read_melody(text, 4)
            .unwrap()
            .iter()
            .map(|n| (n.0.get(), n.1, n.2))
            .collect()
    }

    #[test]
    fn notes_lie_near_each_other_and_may_be_held_over_the_bar() {
        assert_eq!(
            told("G=3.5 A=1/2 | hold=2 Eb rest"),
            [(67, 0.0, 3.5), (69, 3.5, 2.5), (63, 6.0, 1.0)]
        );
        assert_eq!(
            told("B4 C C5 Bb"),
            [
                (71, 0.0, 1.0),
                (72, 1.0, 1.0),
                (72, 2.0, 1.0),
                (70, 3.0, 1.0)
            ]
        );
        assert_eq!(told("Cb5=4"), [(71, 0.0, 4.0)]);
        assert_eq!(told(""), []);
    }

    #[test]
    fn what_cannot_be_read_is_told_with_its_bar() {
        for (text, told) in [
            ("C5=4 | X", "bar 2 of the melody: 'X' is no note"),
            ("C5=4 | D=x", "bar 2 of the melody: 'D=x' has no length"),
            ("C5=3 | D", "bar 1 of the melody has 3 beats and not 4"),
            ("C5=5", "bar 1 of the melody has 5 beats and not 4"),
            (
                "rest hold",
                "bar 1 of the melody: 'hold' has no note before it",
            ),
            ("C9=4", "bar 1 of the melody: 'C9' lies beyond the keys"),
            ("C5=0", "bar 1 of the melody: 'C5=0' has no length"),
            ("C5=1/0", "bar 1 of the melody: 'C5=1/0' has no length"),
        ] {
            let wrong = read_melody(text, 4).unwrap_err().to_string();
            assert!(wrong.starts_with(told), "{text}: {wrong}");
        }
    }
}
