//! Keys: a tonic and a mode, and how they spell and hold notes.
//!
//! Input: names such as `Eb`, `F# minor`, `Cm`. Output: [`Key`].
//! Units: places on the line of fifths. Method: major, and minor with both its sevenths and sixths
//! (natural, harmonic and melodic forms together). Readable names avoid double accidentals, and E#, B#, Cb and Fb where the key does not
//! hold them. Limits: modes are told as the major or minor key they lean on.

use super::class::{PitchClass, PitchSet};
use super::degree::DegreeSet;
use super::spelled::{Spelled, read_spelled, with_octave};
use crate::units::MidiNote;
use std::fmt;
use std::str::FromStr;

/// Major or minor.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Mode {
    /// Major.
    Major,
    /// Minor, in any of its forms.
    Minor,
}

/// A key.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Key {
    /// Its tonic.
    pub tonic: Spelled,
    /// Major or minor.
    pub mode: Mode,
}

/// A scale on a tonic beside plain major and minor.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Scale {
    /// Minor with a major sixth.
    Dorian,
    /// Minor with a minor second.
    Phrygian,
    /// Major with a raised fourth.
    Lydian,
    /// Major with a minor seventh.
    Mixolydian,
    /// Natural minor.
    Aeolian,
    /// Minor with a minor second and a diminished fifth.
    Locrian,
    /// Major and minor at once: the first, fourth and fifth degrees carry dominant sevenths.
    Blues,
}

impl Scale {
    /// All of them, with their words.
    pub const ALL: [(&'static str, Scale); 7] = [
        ("dorian", Scale::Dorian),
        ("phrygian", Scale::Phrygian),
        ("lydian", Scale::Lydian),
        ("mixolydian", Scale::Mixolydian),
        ("aeolian", Scale::Aeolian),
        ("locrian", Scale::Locrian),
        ("blues", Scale::Blues),
    ];

    /// The word by which it is asked for.
    pub fn name(self) -> &'static str {
        Self::ALL
            .iter()
            .find(|&&(_, scale)| scale == self)
            .map_or("", |&(name, _)| name)
    }

    /// Its degrees.
    pub const fn degrees(self) -> DegreeSet {
        match self {
            Self::Dorian => const { DegreeSet::of("1 2 b3 4 5 6 b7") },
            Self::Phrygian => const { DegreeSet::of("1 b9 b3 4 5 b13 b7") },
            Self::Lydian => const { DegreeSet::of("1 2 3 #11 5 6 7") },
            Self::Mixolydian => const { DegreeSet::of("1 2 3 4 5 6 b7") },
            Self::Aeolian => const { DegreeSet::of("1 2 b3 4 5 b13 b7") },
            Self::Locrian => const { DegreeSet::of("1 b9 b3 4 b5 b13 b7") },
            Self::Blues => const { DegreeSet::of("1 2 b3 3 4 b5 5 6 b7") },
        }
    }

    /// The key it leans on: minor where its third is.
    pub const fn mode(self) -> Mode {
        match self {
            Self::Dorian | Self::Phrygian | Self::Aeolian | Self::Locrian => Mode::Minor,
            Self::Lydian | Self::Mixolydian | Self::Blues => Mode::Major,
        }
    }
}

/// A key as a user states it: `Eb`, `F minor`, `D dorian`, `F blues`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StatedKey {
    /// The key, or the one that the scale leans on.
    pub key: Key,
    /// The scale, where it is neither plain major nor plain minor.
    pub scale: Option<Scale>,
}

impl FromStr for StatedKey {
    type Err = NotAKey;
    fn from_str(text: &str) -> Result<Self, NotAKey> {
        let words: Vec<&str> = text.split_whitespace().collect();
        let word = words.last().map(|word| word.to_lowercase());
        let named = |(name, _): &&(&str, Scale)| word.as_deref() == Some(*name);
        let Some(&(_, scale)) = Scale::ALL.iter().find(named) else {
            let key = text.parse()?;
            return Ok(Self { key, scale: None });
        };
        let refused = || NotAKey {
            given: text.to_owned(),
        };
        let [tonic, .., _] = words[..] else {
            return Err(refused());
        };
        let lead: Key = tonic.parse().map_err(|_| refused())?;
        // "F minor blues" is a blues that leans on minor.
        let mode = if scale == Scale::Blues && words[1..].iter().any(|w| w.starts_with("min")) {
            Mode::Minor
        } else {
            scale.mode()
        };
        Ok(Self {
            key: Key { mode, ..lead },
            scale: Some(scale),
        })
    }
}

impl Key {
    /// The key of this mode on `class`, with the fewer accidentals in its signature; of those with six, F# major and Eb minor.
    pub const fn usual(class: PitchClass, mode: Mode) -> Self {
        let lowest = match mode {
            Mode::Major => -5,
            Mode::Minor => -3,
        };
        Self {
            tonic: Spelled::from_window(class, lowest),
            mode,
        }
    }

    /// Its signature: sharps, or flats if negative.
    pub const fn signature(self) -> i8 {
        match self.mode {
            Mode::Major => self.tonic.fifths(),
            Mode::Minor => self.tonic.fifths() - 3,
        }
    }

    /// Half steps of its scale above the tonic; in minor both sixths and both sevenths.
    pub const fn scale(self) -> PitchSet {
        match self.mode {
            Mode::Major => const { DegreeSet::of("1 2 3 4 5 6 7").pitches() },
            Mode::Minor => const { DegreeSet::of("1 2 b3 4 5 b13 6 b7 7").pitches() },
        }
    }

    /// The notes of its scale.
    pub const fn pitches(self) -> PitchSet {
        self.scale().placed_on(self.tonic.class())
    }

    /// True if `name` is a note of the scale, spelled as the key spells it.
    pub fn holds(self, name: Spelled) -> bool {
        self.pitches().contains(name.class()) && self.spell(name.class()) == name
    }

    /// The name of a pitch class in this key: scale notes by their letter, others as the usual chromatic steps
    /// (flat 2, 3, 6 and 7, sharp 4; in minor the raised 6 and 7 too).
    pub const fn spell(self, class: PitchClass) -> Spelled {
        Spelled::from_window(class, self.tonic.fifths() - 5)
    }
}

impl Spelled {
    /// This name, or a simpler one where it has a double accidental, or is E#, B#, Cb or Fb and `key` does not hold it.
    #[must_use]
    pub fn readable(self, key: Option<Key>) -> Self {
        let held = key.is_some_and(|k| k.holds(self));
        if self.accidentals().abs() >= 2 || (self.is_white_key_with_accidental() && !held) {
            let usual = Self::usual(self.class());
            // A black key keeps the side it came from: F## b9 ... never turns a sharp chord's note into a flat.
            match usual.accidentals() {
                0 => usual,
                _ if self.accidentals() > 0 => Self::from_window(self.class(), 2),
                _ => Self::from_window(self.class(), -6),
            }
        } else {
            self
        }
    }
}

impl fmt::Display for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mode = match self.mode {
            Mode::Major => "major",
            Mode::Minor => "minor",
        };
        write!(f, "{} {mode}", self.tonic)
    }
}

/// A text that names no key.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("'{given}' is no key: write a tonic and major or minor, say Eb, F# minor or Cm")]
pub struct NotAKey {
    /// What was given.
    pub given: String,
}

impl FromStr for Key {
    type Err = NotAKey;
    fn from_str(text: &str) -> Result<Self, NotAKey> {
        let refused = || NotAKey {
            given: text.to_owned(),
        };
        let trimmed = text.trim();
        let mut chars = trimmed.chars();
        let first = chars.next().ok_or_else(refused)?;
        let upper: String = std::iter::once(first.to_ascii_uppercase())
            .chain(chars)
            .collect();
        let (tonic, rest) = read_spelled(&upper).ok_or_else(refused)?;
        let mode = match rest.trim_matches([' ', '-', ':', '_']) {
            "" if rest.trim() == "-" => Mode::Minor,
            "" if first.is_lowercase() => Mode::Minor,
            "" | "M" | "maj" | "major" | "Major" => Mode::Major,
            "m" | "mi" | "min" | "minor" | "Minor" => Mode::Minor,
            _ => return Err(refused()),
        };
        let key = Key { tonic, mode };
        if key.signature().abs() > 7 {
            Err(refused())
        } else {
            Ok(key)
        }
    }
}

/// The name of a key with its octave, middle C is C4: by `key` where one is known, else the usual name.
pub fn note_name_in(midi: MidiNote, key: Option<Key>) -> String {
    let class = PitchClass::from(midi);
    let spelled = key.map_or_else(|| Spelled::usual(class), |k| k.spell(class));
    with_octave(spelled, midi)
}

/// The usual name of a key with its octave: `Bb3`, `F#4`; middle C (MIDI 60) is C4.
///
/// ```
/// use lidprop::{harmony::note_name, units::MidiNote};
/// assert_eq!(note_name(MidiNote::new(60).unwrap()), "C4");
/// assert_eq!(note_name(MidiNote::new(58).unwrap()), "Bb3");
/// ```
pub fn note_name(midi: MidiNote) -> String {
    note_name_in(midi, None)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_are_read_as_musicians_write_them() {
        for (text, shown) in [
            ("C", "C major"),
            ("Eb", "Eb major"),
            ("F# minor", "F# minor"),
            ("Cm", "C minor"),
            ("c", "C minor"),
            ("Bb major", "Bb major"),
            ("C#m", "C# minor"),
        ] {
            assert_eq!(text.parse::<Key>().unwrap().to_string(), shown);
        }
        assert!("H".parse::<Key>().is_err());
        assert!("G# major".parse::<Key>().is_err());
    }

    #[test]
    fn modes_and_the_blues_are_read_with_the_key_they_lean_on() {
        for (text, key, scale) in [
            ("D dorian", "D minor", Some(Scale::Dorian)),
            ("F Mixolydian", "F major", Some(Scale::Mixolydian)),
            ("F blues", "F major", Some(Scale::Blues)),
            ("C minor blues", "C minor", Some(Scale::Blues)),
            ("Eb", "Eb major", None),
            ("F# minor", "F# minor", None),
        ] {
            let stated: StatedKey = text.parse().unwrap();
            assert_eq!(
                (stated.key.to_string().as_str(), stated.scale),
                (key, scale)
            );
        }
        for text in ["dorian", "H dorian", "F locri"] {
            assert!(text.parse::<StatedKey>().is_err(), "{text}");
        }
    }

    #[test]
    fn c_sharp_minor_holds_b_sharp_and_c_major_does_not() {
        let b_sharp: Spelled = "B#".parse().unwrap();
        assert!("C#m".parse::<Key>().unwrap().holds(b_sharp));
        assert!(!"C".parse::<Key>().unwrap().holds(b_sharp));
        assert_eq!(
            "F#".parse::<Key>()
                .unwrap()
                .spell(PitchClass::new(5))
                .to_string(),
            "E#"
        );
    }
}
