//! Note names: letters with accidentals, and which of them a degree gets.
//!
//! Input: a root, a degree. Output: [`Spelled`] names.
//! Units: letters and accidentals (-1 is one flat); places on the line of fifths, C is 0, G is 1, F is -1.
//! Method: the letter follows the number of the degree; roots in a key are chosen on the line of fifths around the tonic
//! (Temperley, The Cognition of Basic Musical Structures, 2001, ch. 5); what is readable in a key stands with [`super::key`].
//! Limits: one name a pitch class and chord; melodic spelling is not attempted.

use super::class::PitchClass;
use super::degree::{Degree, LETTER_FIFTHS};
use crate::units::MidiNote;
use std::fmt;
use std::str::FromStr;

/// A note name without octave: a letter and its accidentals.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Spelled {
    /// 0 is C, 6 is B.
    letter: u8,
    /// -3 to 3: flats are negative.
    accidentals: i8,
}

const LETTERS: [char; 7] = ['C', 'D', 'E', 'F', 'G', 'A', 'B'];
const LETTER_CLASS: [i8; 7] = [0, 2, 4, 5, 7, 9, 11];

/// How notes are spelled.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Spelling {
    /// By the letter of the degree, double accidentals and all.
    Theory,
    /// The name a player reads fastest.
    #[default]
    Readable,
}

impl Spelling {
    /// The word by which it is asked for.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Theory => "theory",
            Self::Readable => "readable",
        }
    }
}

impl Spelled {
    /// The name at `place` on the line of fifths (C is 0, F# is 6, Gb is -6); places from -15 to 19.
    pub const fn at_fifths(place: i8) -> Self {
        let letter = (place + 1).rem_euclid(7);
        // Letters in the order of fifths, from F.
        const ORDER: [u8; 7] = [3, 0, 4, 1, 5, 2, 6];
        Self {
            letter: ORDER[letter as usize],
            accidentals: (place + 1).div_euclid(7),
        }
    }

    /// A letter from A to G with its accidentals, three at most.
    pub(crate) fn of(letter: char, accidentals: i8) -> Option<Self> {
        let letter = LETTERS.iter().position(|&l| l == letter)? as u8;
        (accidentals.abs() <= 3).then_some(Self {
            letter,
            accidentals,
        })
    }

    /// Place on the line of fifths.
    pub const fn fifths(self) -> i8 {
        LETTER_FIFTHS[self.letter as usize] + 7 * self.accidentals
    }

    /// The usual name of a pitch class where nothing else is known: C, Db, D, Eb, E, F, F#, G, Ab, A, Bb, B.
    pub const fn usual(class: PitchClass) -> Self {
        const PLACES: [i8; 12] = [0, -5, 2, -3, 4, -1, 6, 1, -4, 3, -2, 5];
        Self::at_fifths(PLACES[class.get() as usize])
    }

    /// The name of `class` whose place on the line of fifths is the first at or above `lowest`.
    pub const fn from_window(class: PitchClass, lowest: i8) -> Self {
        let place = (class.get() as i8 * 7) % 12;
        Self::at_fifths(lowest + (place - lowest).rem_euclid(12))
    }

    /// Its pitch class.
    pub const fn class(self) -> PitchClass {
        PitchClass::new((LETTER_CLASS[self.letter as usize] + self.accidentals) as i32)
    }

    /// Flats are negative.
    pub const fn accidentals(self) -> i8 {
        self.accidentals
    }

    /// The name of `degree` above this root, by its letter.
    pub const fn degree(self, degree: Degree) -> Self {
        Self::at_fifths(self.fifths() + degree.fifths())
    }

    /// True for E#, B#, Cb and Fb.
    pub const fn is_white_key_with_accidental(self) -> bool {
        self.accidentals != 0 && matches!(self.class().get(), 0 | 2 | 4 | 5 | 7 | 9 | 11)
    }

    /// How hard the name is to read: 0 for a white key, 1 for a black one, more for odd and double accidentals.
    pub const fn trouble(self) -> u32 {
        match self.accidentals.unsigned_abs() {
            0 => 0,
            1 if self.is_white_key_with_accidental() => 3,
            1 => 1,
            more => 3 + 2 * more as u32,
        }
    }

    /// The letter.
    pub const fn letter(self) -> char {
        LETTERS[self.letter as usize]
    }
}

/// Every name by letter, from three flats to three sharps.
const NAMES: [[&str; 7]; 7] = [
    ["Cbbb", "Cbb", "Cb", "C", "C#", "C##", "C###"],
    ["Dbbb", "Dbb", "Db", "D", "D#", "D##", "D###"],
    ["Ebbb", "Ebb", "Eb", "E", "E#", "E##", "E###"],
    ["Fbbb", "Fbb", "Fb", "F", "F#", "F##", "F###"],
    ["Gbbb", "Gbb", "Gb", "G", "G#", "G##", "G###"],
    ["Abbb", "Abb", "Ab", "A", "A#", "A##", "A###"],
    ["Bbbb", "Bbb", "Bb", "B", "B#", "B##", "B###"],
];

impl Spelled {
    /// The name in plain ASCII: `Bb`, `F#`.
    pub const fn name(self) -> &'static str {
        NAMES[self.letter as usize][(self.accidentals + 3) as usize]
    }
}

impl fmt::Display for Spelled {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// A text that is no note name.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("'{given}' is no note name: write a letter from A to G with # or b, say F# or Bb")]
pub struct NotANoteName {
    /// What was given.
    pub given: String,
}

/// Reads a letter and up to two accidentals at the start of `text`; gives the rest back.
pub(crate) fn read_spelled(text: &str) -> Option<(Spelled, &str)> {
    let first = text.chars().next()?;
    let letter = LETTERS.iter().position(|&l| l == first)? as u8;
    let mut rest = &text[1..];
    let mut accidentals = 0_i8;
    while let Some(sign) = rest.chars().next() {
        let step = match sign {
            '#' | '♯' => 1,
            'b' | '♭' => -1,
            'x' | '𝄪' if accidentals == 0 => 2,
            '𝄫' if accidentals == 0 => -2,
            _ => break,
        };
        if accidentals.abs() >= 2 || accidentals * step < 0 {
            break;
        }
        accidentals += step;
        rest = &rest[sign.len_utf8()..];
    }
    Some((
        Spelled {
            letter,
            accidentals,
        },
        rest,
    ))
}

impl FromStr for Spelled {
    type Err = NotANoteName;
    fn from_str(text: &str) -> Result<Self, NotANoteName> {
        let refused = || NotANoteName {
            given: text.to_owned(),
        };
        let mut chars = text.chars();
        let upper: String = chars
            .next()
            .map(|c| c.to_ascii_uppercase())
            .into_iter()
            .chain(chars)
            .collect();
        match read_spelled(&upper) {
            Some((spelled, "")) => Ok(spelled),
            _ => Err(refused()),
        }
    }
}

/// `spelled` with the octave of `midi`; the octave is counted by the letter, so that Cb4 lies beside C4.
pub(crate) fn with_octave(spelled: Spelled, midi: MidiNote) -> String {
    format!("{spelled}{}", octave(spelled, midi))
}

/// The octave of a key under this name.
pub(crate) fn octave(spelled: Spelled, midi: MidiNote) -> i16 {
    let natural = i16::from(midi.get()) - i16::from(spelled.accidentals);
    natural.div_euclid(12) - 1
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_line_of_fifths_names_every_place_once() {
        for place in -15..=19 {
            let spelled = Spelled::at_fifths(place);
            assert_eq!(spelled.fifths(), place);
            assert_eq!(spelled.class(), PitchClass::new(i32::from(place) * 7));
        }
        assert_eq!(Spelled::at_fifths(6).to_string(), "F#");
        assert_eq!(Spelled::at_fifths(-6).to_string(), "Gb");
    }

    #[test]
    fn the_sharp_ninth_of_f7_is_g_sharp_by_its_letter() {
        let f: Spelled = "F".parse().unwrap();
        assert_eq!(f.degree(Degree::SHARP_NINTH).to_string(), "G#");
        let c_sharp: Spelled = "C#".parse().unwrap();
        assert_eq!(c_sharp.degree(Degree::THIRD).to_string(), "E#");
        assert_eq!(
            c_sharp.degree(Degree::THIRD).readable(None).to_string(),
            "F"
        );
        let gb: Spelled = "Gb".parse().unwrap();
        assert_eq!(gb.degree(Degree::DIMINISHED_SEVENTH).to_string(), "Fbb");
        assert_eq!(
            gb.degree(Degree::DIMINISHED_SEVENTH)
                .readable(None)
                .to_string(),
            "Eb"
        );
    }

    #[test]
    fn octaves_follow_the_letter() {
        let b3 = MidiNote::new(59).unwrap();
        assert_eq!(with_octave("Cb".parse().unwrap(), b3), "Cb4");
        assert_eq!(with_octave("B".parse().unwrap(), b3), "B3");
        assert_eq!(
            with_octave("B#".parse().unwrap(), MidiNote::new(60).unwrap()),
            "B#3"
        );
    }

    #[test]
    fn names_are_read_with_either_kind_of_sign() {
        assert_eq!("B♭".parse::<Spelled>().unwrap().to_string(), "Bb");
        assert_eq!("Fx".parse::<Spelled>().unwrap().to_string(), "F##");
        assert!("H".parse::<Spelled>().is_err());
        assert!("C#b".parse::<Spelled>().is_err());
        assert!("".parse::<Spelled>().is_err());
    }
}
