//! What a melody note is to a chord under it: chord tone, available tension, avoid note or clash.
//!
//! Input: a pitch class and a chord; the length and stress of the note. Output: [`NoteStanding`], and how much it weighs ([`SungOver`]).
//! Units: beats; weight 1 is one beat of clash on a strong beat. Method: available tensions lie a whole step above a chord tone, a half step above one
//! is an avoid note; dominants take every altered tension but the eleventh over their third; a chord tone has only one form at a time, and so has a
//! tension that the symbol states (Nettles and Graf, 1997, on chord scales and avoid notes; Levine, 1995, ch. 3).
//! Limits: the melody is on top; voicings that hide a clash, and styles that live by it, are the player's.

use super::tune::{Stress, Sung};
use crate::harmony::chord::Chord;
use crate::harmony::function::Class;
use crate::harmony::pitch::{Degree, DegreeSet, PitchClass};

/// What a note is to a chord.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoteStanding {
    /// It belongs to the chord.
    ChordTone(Degree),
    /// A tension that the chord takes.
    Tension(Degree),
    /// A half step above a chord tone.
    Avoid {
        /// What it is to the root.
        degree: Degree,
        /// The chord tone below it.
        above: Degree,
    },
    /// Another form of a note that the chord has.
    Clash {
        /// What it is to the root.
        degree: Degree,
        /// The form that the chord has.
        with: Degree,
    },
}

impl NoteStanding {
    /// What it is to the root.
    pub const fn degree(self) -> Degree {
        match self {
            Self::ChordTone(degree)
            | Self::Tension(degree)
            | Self::Avoid { degree, .. }
            | Self::Clash { degree, .. } => degree,
        }
    }

    /// True for avoid notes and clashes.
    pub const fn collides(self) -> bool {
        matches!(self, Self::Avoid { .. } | Self::Clash { .. })
    }

    /// How much a beat of it hurts: a clash is heard as a wrong chord, an avoid note as a chord that hides itself.
    const fn severity(self) -> f32 {
        match self {
            Self::ChordTone(_) | Self::Tension(_) => 0.0,
            Self::Avoid { .. } => 0.8,
            Self::Clash { .. } => 1.0,
        }
    }

    /// In words of the trade: `the 11, a half step above its 3: avoid note`.
    pub fn words(self) -> String {
        match self {
            Self::ChordTone(degree) => format!("its {degree}"),
            Self::Tension(degree) => format!("its {degree}, an available tension"),
            Self::Avoid { degree, above } => {
                format!("the {degree}, a half step above its {above}: avoid note")
            }
            Self::Clash { degree, with } => format!("the {degree} against its {with}: clash"),
        }
    }
}

/// What `class` is to `chord`; a fraction of two chords is counted from the lower one.
pub fn standing(class: PitchClass, chord: &Chord) -> NoteStanding {
    let root = chord.lower.map_or(chord.root, |(root, _)| root).class();
    let set = chord.pitches().seen_from(root);
    let note = class.above(root);
    let has = |half_steps: i32| set.contains(PitchClass::new(half_steps));
    let own = |half_steps: u8| {
        let stated = chord.lower.map_or(chord.degrees, |(_, degrees)| degrees);
        let flat = match half_steps {
            3 if !has(4) => Degree::MINOR_THIRD,
            6 if !has(7) => Degree::FLAT_FIFTH,
            other => Degree::ABOVE_A_ROOT[usize::from(other)],
        };
        stated.at(half_steps).unwrap_or(flat)
    };
    if set.contains(PitchClass::new(i32::from(note))) {
        return NoteStanding::ChordTone(own(note));
    }
    let class_of = Class::of(degrees_of(chord));
    let degree = own(note);
    let clash = |with: u8| NoteStanding::Clash {
        degree,
        with: own(with),
    };
    if let Some(with) = other_form(note, class_of, has) {
        return clash(with);
    }
    let below = (note + 11) % 12;
    let foreign_bass = chord
        .bass
        .is_some_and(|b| b.class().above(root) == below && !has_upper(chord, below));
    if has(i32::from(below)) && !takes_half_step(note, class_of) || foreign_bass {
        return NoteStanding::Avoid {
            degree,
            above: own(below),
        };
    }
    NoteStanding::Tension(degree)
}

/// All degrees of a chord, those of a fraction counted from its lower root.
fn degrees_of(chord: &Chord) -> DegreeSet {
    chord.lower.map_or(chord.degrees, |(_, degrees)| degrees)
}

/// True if the chord has the note without its bass.
fn has_upper(chord: &Chord, half_steps: u8) -> bool {
    chord.sounding().at(half_steps).is_some()
}

/// The form of the same chord tone, or of the same stated tension, that the chord has instead of `note`.
fn other_form(note: u8, class: Class, has: impl Fn(i32) -> bool) -> Option<u8> {
    let dominant = class == Class::Dominant;
    let diminished = matches!(class, Class::Diminished | Class::DiminishedMajor);
    if diminished {
        // The whole-step rule says it all.
        return None;
    }
    let first = |forms: &[u8]| forms.iter().copied().find(|&form| has(i32::from(form)));
    match note {
        2 if dominant => first(&[1, 3]),
        1 | 3 if dominant => first(&[2]),
        3 => first(&[4]),
        4 => first(&[3]),
        6 if matches!(class, Class::Minor | Class::MinorTonic) => first(&[7]),
        7 => first(&[8]).filter(|_| !dominant),
        8 if dominant => first(&[9]),
        9 if dominant => first(&[8]),
        10 => first(&[11]),
        11 => first(&[10]),
        _ => None,
    }
}

/// Tensions that a chord takes though they lie a half step above one of its notes.
fn takes_half_step(note: u8, class: Class) -> bool {
    match class {
        // b9, #9 over a stated b9's neighbour, #11, b13, 13 over a b13's neighbour; the 11 hides the third.
        Class::Dominant => note != 5 && note != 7,
        // b9 and b13 of a suspended dominant, and the third above the fourth's place.
        Class::Suspended => note != 6,
        _ => false,
    }
}

/// A melody note over a chord, with what it weighs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SungOver {
    /// The note.
    pub note: Sung,
    /// Which of the chords that share the place it is heard over.
    pub part: usize,
    /// What it is to the chord.
    pub standing: NoteStanding,
    /// 1 is one beat of clash on a strong beat; 0 where it belongs.
    pub weight: f32,
}

/// A note that weighs this much rejects a chord: half a beat of clash on a strong beat.
pub(crate) const TOO_MUCH: f32 = 0.5;
/// All notes together.
pub(crate) const TOO_MUCH_TOGETHER: f32 = 0.75;

/// Judges one note over one chord; `over_original` is the chord that the tune has there: what collides with it as badly is the tune's own.
pub(crate) fn judge(note: Sung, part: usize, chord: &Chord, over_original: &Chord) -> SungOver {
    let class = PitchClass::from(note.midi);
    let standing = standing(class, chord);
    let own = self::standing(class, over_original).severity();
    let stress = match note.stress {
        Stress::Strong => 1.0,
        Stress::Weak => 0.7,
        Stress::Off => 0.4,
    };
    // A passing note is on its way.
    let passing = if note.passing && note.stress != Stress::Strong {
        0.5
    } else {
        1.0
    };
    let weight = (standing.severity() - own).max(0.0) * note.beats * stress * passing;
    SungOver {
        note,
        part,
        standing,
        weight,
    }
}

/// True if the melody rejects the chord.
pub(crate) fn rejects(notes: &[SungOver]) -> bool {
    notes.iter().any(|n| n.weight >= TOO_MUCH)
        || notes.iter().map(|n| n.weight).sum::<f32>() >= TOO_MUCH_TOGETHER
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::harmony::pitch::Spelled;

    fn told(note: &str, symbol: &str) -> String {
        let note: Spelled = note.parse().unwrap();
        standing(note.class(), &symbol.parse().unwrap()).words()
    }

    #[test]
    fn avoid_notes_and_tensions_are_those_of_the_chord_scales() {
        for (note, symbol, expected) in [
            ("F", "Cmaj7", "the 11, a half step above its 3: avoid note"),
            ("F#", "Cmaj7", "its #11, an available tension"),
            ("D", "Cmaj7", "its 9, an available tension"),
            ("Eb", "Cmaj7", "the #9 against its 3: clash"),
            (
                "Ab",
                "Cmaj7",
                "the b13, a half step above its 5: avoid note",
            ),
            ("Bb", "Cmaj7", "the b7 against its 7: clash"),
            ("Db", "C7", "its b9, an available tension"),
            ("Eb", "C7", "its #9, an available tension"),
            ("F", "C7", "the 11, a half step above its 3: avoid note"),
            ("B", "C7", "the 7 against its b7: clash"),
            ("D", "C7b9", "the 9 against its b9: clash"),
            ("A", "C7b9b13", "the 13 against its b13: clash"),
            ("F", "Cm7", "its 11, an available tension"),
            ("A", "Cm7", "its 13, an available tension"),
            ("Ab", "Cm7", "the b13, a half step above its 5: avoid note"),
            ("Db", "Cm7", "the b9, a half step above its 1: avoid note"),
            ("E", "Cm7", "the 3 against its b3: clash"),
            ("D", "Cdim7", "its 9, an available tension"),
            ("B", "Cdim7", "its 7, an available tension"),
            ("Db", "Cdim7", "the b9, a half step above its 1: avoid note"),
            ("E", "Cdim7", "the 3, a half step above its b3: avoid note"),
            ("Db", "C7sus4", "its b9, an available tension"),
            ("G", "Cm7b5", "the 5, a half step above its b5: avoid note"),
            ("E", "Cmaj7", "its 3"),
        ] {
            assert_eq!(told(note, symbol), expected, "{note} over {symbol}");
        }
    }
}
