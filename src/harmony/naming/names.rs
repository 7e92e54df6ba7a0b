//! Names written out: a candidate as symbol, label and degrees, and fractions of two triads.
//!
//! Input: candidates with their scores, what sounds, a context. Output: [`Name`]s. Units: scores 0 to 1.
//! Method: the chord of a candidate, written in each of the ways a [`Name`] has.
//! Limits: of fractions only those of two complete triads, one above the other.

use super::candidate::Candidate;
use crate::harmony::chord::quality::TRIADS;
use crate::harmony::chord::{Chord, Style, label};
use crate::harmony::context::Context;
use crate::harmony::named::Name;
use crate::harmony::pitch::spelled::with_octave;
use crate::harmony::pitch::{PitchClass, PitchSet};
use crate::harmony::sounding::Sounding;
use crate::harmony::speller::{Speller, degree_names};
use crate::units::MidiNote;

/// The notes with octaves, lowest first, spelled for the best name.
pub(crate) fn notes(sounding: &Sounding, best: Option<&Chord>, speller: &Speller) -> Vec<String> {
    let mut midis: Vec<MidiNote> = sounding.notes.iter().map(|n| n.midi).collect();
    midis.sort_unstable();
    midis.dedup();
    midis
        .into_iter()
        .map(|midi| with_octave(speller.note(PitchClass::from(midi), best), midi))
        .collect()
}

/// One candidate written out.
pub(crate) fn name_of(
    candidate: &Candidate,
    score: f32,
    set: PitchSet,
    speller: &Speller,
    context: &Context,
) -> Name {
    let chord = candidate.chord(speller);
    let symbol = chord.symbol(context.style);
    let on_chart = chord.on_chart();
    Name {
        chart: if on_chart == chord {
            symbol.clone()
        } else {
            on_chart.symbol(context.style)
        },
        symbol,
        ascii: chord.symbol(Style::Ascii),
        label: label::write(&chord, candidate.sounding()),
        root: chord.root.name().into(),
        score,
        degrees: degree_names(&chord, &speller.notes(set, &chord)),
    }
}

/// Two complete triads, one above the other: a fraction of two chords.
pub(crate) fn fraction(sounding: &Sounding, speller: &Speller, context: &Context) -> Option<Name> {
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
            symbol: chord.symbol(context.style),
            ascii: chord.symbol(Style::Ascii),
            chart: chord.symbol(context.style),
            label: label::write(&chord, high_degrees),
            root: lower.name().into(),
            score: 0.0,
            degrees: degree_names(&from_lower, &speller.notes(chord.pitches(), &from_lower)),
        })
    })
}
