//! The reason of a reading, with the notes that tell it.
//!
//! Input: a [`Reason`], the chord the notes stand for, a speller. Output: [`Why`]. Units: none.
//! Method: the notes it speaks of are spelled for the chord the notes stand for. Limits: none.

use super::draft::Reason;
use crate::harmony::chord::Chord;
use crate::harmony::chord::quality::TRIADS;
use crate::harmony::named::Why;
use crate::harmony::pitch::{Degree, DegreeSet, PitchClass, Spelled};
use crate::harmony::speller::Speller;

/// The root of an upper structure as the chord below spells it, unless the triad then holds a double accidental: Eb over A7, not D#.
fn triad_root(of_chord: Spelled, triad: DegreeSet) -> Spelled {
    let doubled = triad
        .iter()
        .any(|d| of_chord.degree(d).accidentals().abs() > 1);
    if doubled {
        Spelled::usual(of_chord.class())
    } else {
        of_chord
    }
}

impl Reason {
    pub(super) fn why(self, speller: &Speller, chord: &Chord) -> Why {
        let at = |degree: Degree| speller.degree(chord.root, degree, chord.degrees);
        let note = |class: PitchClass| speller.note(class, Some(chord));
        let (third, seventh) = (at(Degree::THIRD), at(Degree::MINOR_SEVENTH));
        match self {
            Reason::GuideTones => Why::GuideTones { third, seventh },
            Reason::Suspended => Why::Suspended {
                fourth: at(Degree::FOURTH),
            },
            Reason::Second => Why::Second { seventh },
            Reason::Itself => Why::Itself,
            Reason::RootInBass => Why::RootInBass,
            Reason::SeventhAndTensions => Why::SeventhAndTensions { seventh },
            Reason::TritonePair => Why::TritonePair { third, seventh },
            Reason::Upper(roots) => Why::Upper {
                triads: roots
                    .iter()
                    .zip(TRIADS)
                    .flat_map(|(roots, triad)| roots.iter().map(move |root| (root, triad)))
                    .map(|(root, triad)| Chord::new(triad_root(note(root), triad), triad))
                    .collect(),
                third,
                seventh,
            },
            Reason::TriadOverBass => Why::TriadOverBass,
            Reason::Enriches(replaced) => Why::Enriches {
                sounds: note(replaced.up(2)),
                replaced: note(replaced),
            },
            Reason::Delays => Why::Delays,
            Reason::HalfWhole => Why::HalfWhole,
            Reason::CommonTone => Why::CommonTone,
            Reason::PassingUp => Why::PassingUp,
            Reason::PassingDown => Why::PassingDown,
            Reason::Auxiliary => Why::Auxiliary,
            Reason::Rootless => Why::Rootless,
            Reason::Fourths(low) => Why::Fourths { lowest: note(low) },
        }
    }
}
