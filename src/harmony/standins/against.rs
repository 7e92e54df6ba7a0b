//! What the notes of a stand-in are to the chord it stands for.
//!
//! Input: the original chord and a stand-in. Output: each note with its degree over the original root; how far the voices move between chords.
//! Units: half steps. Method: over a dominant every note has its name as a tension (b9, #9, #11, b13), else its plain interval; the distance is the
//! least sum of steps in which every note of either chord has a partner. Limits: pitch classes; which octave is the voicing's.

use crate::harmony::chord::Chord;
use crate::harmony::function::Class;
use crate::harmony::named::NotesByDegree;
use crate::harmony::pitch::{Degree, DegreeSet, PitchSet};
use crate::harmony::readings::resolution::nearest;
use crate::harmony::speller::Speller;

/// Every note of `stand_in` with its degree over `original`, chord tones first.
pub(crate) fn degrees_over(original: &Chord, stand_in: &Chord, speller: &Speller) -> NotesByDegree {
    let root = original.root.class();
    let notes = speller.notes(stand_in.pitches(), &counted_from(stand_in));
    let sounds = |wanted: u8| notes.iter().any(|(class, _)| class.above(root) == wanted);
    let class = Class::of(original.degrees);
    let dominant = matches!(class, Class::Dominant | Class::Suspended);
    let seventh = sounds(10) || sounds(11);
    let degree = |half_steps: u8| {
        if let Some(own) = original.degrees.at(half_steps) {
            return own;
        }
        match half_steps {
            3 if !dominant && !sounds(4) => Degree::MINOR_THIRD,
            6 if !dominant && !sounds(7) && (class != Class::Major || sounds(3) && !sounds(4)) => {
                Degree::FLAT_FIFTH
            }
            // Without a seventh it is the sixth of a sixth chord.
            9 if !dominant && !seventh => Degree::SIXTH,
            other => Degree::ABOVE_A_ROOT[usize::from(other)],
        }
    };
    let mut named: NotesByDegree = notes
        .iter()
        .map(|&(class, name)| (name, degree(class.above(root))))
        .collect();
    named.sort_by_key(|&(_, degree)| degree);
    named
}

/// A fraction of two chords is counted from the lower one.
pub(crate) fn counted_from(chord: &Chord) -> Chord {
    match chord.lower {
        Some((root, degrees)) => Chord::new(root, degrees),
        None => *chord,
    }
}

/// The tensions among degrees.
pub(crate) fn tensions(degrees: &NotesByDegree) -> DegreeSet {
    degrees
        .iter()
        .map(|&(_, degree)| degree)
        .filter(|degree| degree.is_tension())
        .collect()
}

/// Half steps that the voices move from one set of notes to another.
pub(crate) fn moves(from: PitchSet, to: PitchSet) -> u8 {
    let one_way = |a: PitchSet, b: PitchSet| -> u8 {
        a.iter().map(|class| nearest(class, b).unsigned_abs()).sum()
    };
    one_way(from, to).max(one_way(to, from))
}
