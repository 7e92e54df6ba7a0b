//! The reason of a reading, in one sentence.
//!
//! Input: a [`Draft`] and its [`Scene`]. Output: text. Units: none.
//! Method: a sentence for each [`Why`], with the notes it speaks of spelled for the chord the notes stand for.
//! Limits: English.

use super::draft::{Draft, Scene, Why};
use crate::harmony::chord::Chord;
use crate::harmony::chord::quality::TRIADS;
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

impl Why {
    pub(super) fn sentence(self, scene: &Scene, speller: &Speller, draft: &Draft) -> String {
        let chord = &draft.chord;
        let style = scene.context.style;
        let at = |degree: Degree| speller.degree(chord.root, degree, chord.degrees);
        let class = |c: PitchClass| speller.note(c, Some(chord));
        match self {
            Why::GuideTones => format!("{} and {} are its third and seventh", at(Degree::THIRD), at(Degree::MINOR_SEVENTH)),
            Why::Suspended => format!("{} stands in place of the third and falls to it", at(Degree::FOURTH)),
            Why::Second => format!("its root rises a fourth to the dominant, its seventh {} falls to the dominant's third", at(Degree::MINOR_SEVENTH)),
            Why::ThirdAndTensions => format!("{} is its third, the other notes are telling tensions", at(Degree::THIRD)),
            Why::SeventhAndTensions => format!("{} is its seventh, the other notes are telling tensions", at(Degree::MINOR_SEVENTH)),
            Why::TritonePair => {
                format!("the tritone {}-{} is third and seventh of both dominants, a tritone apart", at(Degree::THIRD), at(Degree::MINOR_SEVENTH))
            }
            Why::Upper(roots) => {
                let triads: Vec<String> = roots
                    .iter()
                    .zip(TRIADS)
                    .flat_map(|(roots, triad)| roots.iter().map(move |root| (root, triad)))
                    .map(|(root, triad)| Chord::new(triad_root(class(root), triad), triad).symbol(style))
                    .collect();
                let plural = if triads.len() > 1 { "s" } else { "" };
                format!("the triad{plural} {} over the guide tones {} and {}", triads.join(", "), at(Degree::THIRD), at(Degree::MINOR_SEVENTH))
            }
            Why::TriadOverBass => "a complete triad over a bass that does not belong to it".to_owned(),
            Why::Enriches(replaced) => {
                format!("{} stands a whole step above {}, in place of the diminished seventh", class(replaced.up(2)), class(replaced))
            }
            Why::Delays => "the diminished chord on the tonic falls to the tonic: third and fifth rise a half step".to_owned(),
            Why::HalfWhole => "all notes lie in one half-whole diminished scale, whose four dominants lie minor thirds apart".to_owned(),
            Why::CommonTone => "it shares a note with the chord it goes to; the other voices step".to_owned(),
            Why::PassingUp => "its root passes up a half step into the next root".to_owned(),
            Why::PassingDown => "its root passes down a half step into the next root".to_owned(),
            Why::Auxiliary => "it leaves a chord and returns to it over the same root".to_owned(),
            Why::Rootless => "third, seventh and tensions sound, the root is left to the bass".to_owned(),
            Why::Fourths(low) => format!("the notes lie in fourths from {} upwards", class(low)),
        }
    }
}
