//! Names as values: a candidate with its chord and degrees, and fractions of two triads.
//!
//! Input: candidates with their scores, what sounds. Output: [`Name`]s. Units: scores 0 to 1.
//! Method: the chord of a candidate, spelled, with the degree of every note.
//! Limits: of fractions only those of two complete triads, one above the other.

use super::candidate::Candidate;
use crate::harmony::chord::Chord;
use crate::harmony::chord::quality::TRIADS;
use crate::harmony::named::{Name, NamedNote};
use crate::harmony::pitch::{PitchClass, PitchSet};
use crate::harmony::sounding::Sounding;
use crate::harmony::speller::{Speller, degrees_of};
use crate::units::{MidiNote, Share};

/// The notes, lowest first, as they were typed, else spelled for the best name.
pub(crate) fn notes(
    sounding: &Sounding,
    best: Option<&Chord>,
    speller: &Speller,
) -> Vec<NamedNote> {
    let mut midis: Vec<MidiNote> = sounding.notes.iter().map(|n| n.midi).collect();
    midis.sort_unstable();
    midis.dedup();
    midis
        .into_iter()
        .map(|midi| NamedNote {
            midi,
            name: sounding.typed[usize::from(PitchClass::from(midi).get())]
                .filter(|typed| typed.accidentals().abs() < 2)
                .unwrap_or_else(|| speller.note(PitchClass::from(midi), best)),
        })
        .collect()
}

/// The name that a candidate makes.
pub(crate) fn name_of(candidate: &Candidate, score: f32, set: PitchSet, speller: &Speller) -> Name {
    let chord = candidate.chord(speller);
    Name {
        sounding: candidate.sounding(),
        score: Share::clamped(score),
        degrees: degrees_of(&chord, &speller.notes(set, &chord)),
        chord,
    }
}

/// Two complete triads, one above the other: a fraction of two chords, with the `score` it is given.
pub(crate) fn fraction(sounding: &Sounding, score: Share, speller: &Speller) -> Option<Name> {
    let mut midis: Vec<MidiNote> = sounding.notes.iter().map(|n| n.midi).collect();
    midis.sort_unstable();
    let triad = |notes: &[MidiNote]| {
        let set: PitchSet = notes.iter().map(|&m| PitchClass::from(m)).collect();
        set.iter().find_map(|root| {
            TRIADS
                .iter()
                .find(|t| t.pitches().placed_on(root) == set)
                .map(|t| (root, *t))
        })
    };
    (3..midis.len().saturating_sub(2)).find_map(|cut| {
        let (low, low_degrees) = triad(&midis[..cut])?;
        let (high, high_degrees) = triad(&midis[cut..])?;
        let lower = speller.root(low, low_degrees);
        let chord = Chord {
            lower: Some((lower, low_degrees)),
            ..Chord::new(speller.root(high, high_degrees), high_degrees)
        };
        let from_lower = Chord::new(lower, low_degrees);
        Some(Name {
            chord,
            sounding: high_degrees,
            score,
            degrees: degrees_of(&from_lower, &speller.notes(chord.pitches(), &from_lower)),
        })
    })
}
