//! Typed input: notes by name or MIDI number, or a chord symbol.
//!
//! Input: the words a user typed. Output: a [`Typed`], or a sentence that says which word is wrong.
//! Units: octaves by the usual count, middle C is C4. Method: a single word is a symbol unless it is a number; several words are
//! notes. A note without an octave lies above the one before it, the first from C3 up. A symbol is voiced in close position.
//! Limits: `A7` alone is the chord, not the key A7; write its MIDI number, or two notes.

use crate::harmony::chord::{Chord, SymbolError};
use crate::harmony::pitch::spelled::read_spelled;
use crate::harmony::pitch::{Degree, PitchClass, Spelled};
use crate::harmony::sounding::{Sounding, SoundingNote};
use crate::units::{MidiNote, Share};

/// What was typed.
#[derive(Debug, Clone, PartialEq)]
pub struct Typed {
    /// The notes.
    pub sounding: Sounding,
    /// The symbol, if one was typed.
    pub symbol: Option<Chord>,
}

/// Why typed words cannot be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum TypedError {
    /// Nothing was typed.
    #[error("no notes were given; type some, say D4 F4 Ab4 Db5, or a chord symbol")]
    Nothing,
    /// The sign of a chart for "no chord".
    #[error(
        "'{0}' stands on a chart where no chord is played: there is nothing to name; type notes or a chord symbol"
    )]
    NoChord(String),
    /// A word among others is no note.
    #[error(
        "'{0}' is no note: write a letter from A to G with # or b and an octave if you like (F#4, Bb), or a MIDI number from 0 to 127"
    )]
    NotANote(String),
    /// The single word is no chord symbol.
    #[error(transparent)]
    NotASymbol(#[from] SymbolError),
    /// There is no key left above the notes so far.
    #[error("'{0}' would lie above the highest MIDI note (127, G9); write lower octaves")]
    TooHigh(String),
}

/// How charts write that no chord is played.
const NO_CHORD: [&str; 4] = ["N.C.", "N.C", "NC", "n.c."];
/// Where notes without an octave begin: C3.
const FIRST: u8 = 48;

impl Typed {
    /// Reads words; each may itself hold several words (a quoted list).
    ///
    /// ```
    /// use lidprop::harmony::voicing::typed::Typed;
    /// assert_eq!(Typed::read(&["D4 F4 Ab4 Db5"]).unwrap().sounding.notes.len(), 4);
    /// assert!(Typed::read(&["G13(b9)"]).unwrap().symbol.is_some());
    /// assert!(Typed::read(&["D4", "H4"]).is_err());
    /// assert!(Typed::read(&["N.C."]).unwrap_err().to_string().contains("no chord is played"));
    /// ```
    ///
    /// # Errors
    /// If there is no word, a word among several is no note, or a single word is no chord symbol.
    pub fn read<S: AsRef<str>>(words: &[S]) -> Result<Self, TypedError> {
        let words: Vec<&str> = words
            .iter()
            .flat_map(|w| w.as_ref().split([' ', ',', '\t']).filter(|w| !w.is_empty()))
            .collect();
        match words[..] {
            [] => Err(TypedError::Nothing),
            [word] if is_no_chord(word) => Err(TypedError::NoChord(word.to_owned())),
            [word] if word.bytes().all(|b| b.is_ascii_digit()) => Self::notes(&words),
            [word] => Ok(Self::of_symbol(word.parse()?)),
            _ => Self::notes(&words).or_else(|wrong| {
                // A symbol may hold spaces: "C7 omit 3".
                words
                    .join(" ")
                    .parse()
                    .map(Self::of_symbol)
                    .map_err(|_| wrong)
            }),
        }
    }

    /// A chord in close position, its bass from C3 up.
    pub fn of_symbol(chord: Chord) -> Self {
        let root = chord.root.class();
        let bass = chord.lowest().class();
        let mut sounding = Sounding::default();
        let mut low = FIRST - 1;
        let mut put = |class: PitchClass| {
            low += 1 + class.above(PitchClass::new(i32::from(low) + 1));
            if let Ok(midi) = MidiNote::new(low) {
                sounding.notes.push(SoundingNote {
                    midi,
                    weight: Share::ONE,
                });
            }
        };
        put(bass);
        if let Some((lower, degrees)) = chord.lower {
            degrees
                .iter()
                .skip(1)
                .for_each(|d| put(lower.class().up(i32::from(d.half_steps()))));
        }
        let mut upper: Vec<Degree> = chord.sounding().iter().collect();
        // Over a bass of its own the rest is stacked from there; tensions keep their place above the seventh.
        upper.sort_by_key(|d| {
            if chord.bass.is_some() {
                root.up(i32::from(d.half_steps())).above(bass)
            } else {
                d.half_steps() + 12 * u8::from(d.is_tension())
            }
        });
        upper
            .into_iter()
            .map(|d| root.up(i32::from(d.half_steps())))
            .filter(|&class| class != bass)
            .for_each(put);
        // The names that the symbol itself holds; its other notes follow from their degrees.
        [
            chord.bass,
            chord.lower.map(|(root, _)| root),
            Some(chord.root),
        ]
        .into_iter()
        .flatten()
        .for_each(|name| sounding.typed[name.class().get() as usize] = Some(name));
        Self {
            sounding,
            symbol: Some(chord),
        }
    }

    fn notes(words: &[&str]) -> Result<Self, TypedError> {
        let mut sounding = Sounding::default();
        let mut above = FIRST;
        for word in words {
            let (midi, spelled) = read_note(word, above)?;
            above = midi.get().saturating_add(1);
            sounding.notes.push(SoundingNote {
                midi,
                weight: Share::ONE,
            });
            if spelled.is_some() {
                sounding.typed[PitchClass::from(midi).get() as usize] = spelled;
            }
        }
        Ok(Self {
            sounding,
            symbol: None,
        })
    }
}

/// True of what charts write where no chord is played.
pub(crate) fn is_no_chord(word: &str) -> bool {
    NO_CHORD.contains(&word)
}

/// Reads one note; without an octave it lies at or above MIDI number `from`.
pub(crate) fn read_note(word: &str, from: u8) -> Result<(MidiNote, Option<Spelled>), TypedError> {
    let refused = || TypedError::NotANote(word.to_owned());
    if word.bytes().all(|b| b.is_ascii_digit()) {
        let midi = word
            .parse()
            .ok()
            .and_then(|n| MidiNote::new(n).ok())
            .ok_or_else(refused)?;
        return Ok((midi, None));
    }
    let mut chars = word.chars();
    let first = chars.next().ok_or_else(refused)?.to_ascii_uppercase();
    let upper: String = std::iter::once(first).chain(chars).collect();
    let (spelled, octave) = read_spelled(&upper).ok_or_else(refused)?;
    let number = if octave.is_empty() {
        i32::from(from) + i32::from(spelled.class().above(PitchClass::new(i32::from(from))))
    } else {
        // The octave is counted by the letter: Cb4 lies just below C4.
        let octave: i32 = octave
            .parse()
            .ok()
            .filter(|o| (-1..=9).contains(o))
            .ok_or_else(refused)?;
        let natural = i32::from(spelled.class().get()) - i32::from(spelled.accidentals());
        12 * (octave + 1) + natural.rem_euclid(12) + i32::from(spelled.accidentals())
    };
    let midi = u8::try_from(number)
        .ok()
        .and_then(|n| MidiNote::new(n).ok());
    midi.map(|midi| (midi, Some(spelled)))
        .ok_or_else(|| TypedError::TooHigh(word.to_owned()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn numbers(words: &[&str]) -> Vec<u8> {
        Typed::read(words)
            .unwrap()
            .sounding
            .notes
            .iter()
            .map(|n| n.midi.get())
            .collect()
    }

    #[test]
    fn notes_are_read_with_and_without_octaves_and_as_numbers() {
        assert_eq!(numbers(&["D4", "F4", "Ab4", "Db5"]), [62, 65, 68, 73]);
        assert_eq!(numbers(&["F# C E B"]), [54, 60, 64, 71]);
        assert_eq!(numbers(&["50", "65", "68", "73"]), [50, 65, 68, 73]);
        assert_eq!(numbers(&["Cb4", "B#3"]), [59, 60]);
        assert_eq!(numbers(&["60"]), [60]);
    }

    #[test]
    fn the_word_that_is_no_note_is_named() {
        assert_eq!(
            Typed::read(&["D4", "F4", "Q4"]),
            Err(TypedError::NotANote("Q4".into()))
        );
        assert_eq!(
            Typed::read(&["60", "200"]),
            Err(TypedError::NotANote("200".into()))
        );
        assert_eq!(Typed::read::<&str>(&[]), Err(TypedError::Nothing));
        assert_eq!(
            Typed::read(&["C4", "B9"]),
            Err(TypedError::TooHigh("B9".into()))
        );
    }

    #[test]
    fn a_symbol_is_voiced_from_its_bass() {
        assert_eq!(numbers(&["C/E"]), [52, 55, 60]);
        assert_eq!(numbers(&["Ddim(maj7)"]), [50, 53, 56, 61]);
        assert_eq!(numbers(&["C13(no5)"]), [48, 52, 58, 62, 69]);
    }
}
