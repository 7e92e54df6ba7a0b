//! Naming: every root and every quality against what sounds, as a ranked list.
//!
//! Input: [`Sounding`] and [`Context`]. Output: [`Naming`]. Units: costs in natural-log units (see [`super::score`]), scores 0 to 1.
//! Method: our own. For each of twelve roots each shape of the vocabulary is laid over the sounding set as bits; what is missing, added,
//! or strange in the bass costs; the cheapest reading a root survives; costs become probabilities by softmax with "no good name" as one more
//! candidate. Where notes are uncertain, every set of them that may sound is named (see `candidates.rs`). Limits: at most two notes beside a shape.

use super::candidates::{Candidate, Heard, ranked};
use super::degree::{Degree, DegreeSet};
use super::pitch::{PitchClass, PitchSet};
use super::readings;
use super::score::PENALTIES as P;
use super::speller::Speller;
use super::spelling::{Spelled, with_octave};
use super::symbol::{Chord, Style};
use super::{Context, Name, Naming, Sounding, Verdict, Word};
use crate::units::MidiNote;
use std::collections::BTreeMap;

/// Most names that are listed.
const MOST_NAMES: usize = 8;
/// As many are listed however unlikely they are.
const ALWAYS_LISTED: usize = 3;
/// Names less likely than this are not listed beyond those.
const LEAST_SCORE: f32 = 0.004;
/// A first name less likely than this, two to one, is no decision.
const DECIDED: f32 = 2.0 / 3.0;

/// Every name a set can have, with what it can stand for.
///
/// Never fails: without notes the lists are empty and the verdict is [`Verdict::NoGoodName`].
pub fn name_chord(sounding: &Sounding, context: &Context) -> Naming {
    let Some(heard) = Heard::of(sounding) else {
        return Naming {
            notes: Vec::new(),
            verdict: Verdict::NoGoodName,
            names: Vec::new(),
            readings: Vec::new(),
        };
    };
    let speller = Speller::new(sounding, context);
    let (mut candidates, none) = ranked(sounding, heard, context);
    if heard.set.len() == 1 {
        // A single note, doubled or not, is no chord.
        candidates.clear();
    }
    let mut names: Vec<Name> = Vec::with_capacity(MOST_NAMES);
    // How the notes were typed tells of the best name; others are spelled by their own degrees.
    let spellers = [speller, speller.by_function()];
    for (candidate, score) in candidates.iter().take(MOST_NAMES) {
        if names.len() < ALWAYS_LISTED || *score >= LEAST_SCORE {
            let speller = &spellers[names.len().min(1)];
            names.push(name_of(candidate, *score, heard.set, speller, context));
        }
    }
    let first = candidates.first().map_or(0.0, |c| c.1);
    let mut verdict = if none >= first {
        Verdict::NoGoodName
    } else {
        decided(first)
    };
    if verdict == Verdict::NoGoodName
        && let Some(mut fraction) = fraction(sounding, &speller, context)
    {
        // One more candidate beside the bare notes; the others share what it leaves.
        let odds = none * ((P.no_name - P.fraction) / P.temperature).exp();
        fraction.score = odds / (1.0 + odds);
        names.iter_mut().for_each(|n| n.score /= 1.0 + odds);
        verdict = decided(fraction.score);
        names.insert(0, fraction);
        names.truncate(MOST_NAMES);
    }
    let best = candidates.first().map(|(c, _)| c.chord(&speller));
    Naming {
        notes: notes(sounding, best.as_ref(), &speller),
        verdict,
        names,
        readings: readings::readings(heard, best, &speller, context),
    }
}

fn decided(first: f32) -> Verdict {
    if first < DECIDED {
        Verdict::Undecided
    } else {
        Verdict::Named
    }
}

/// The notes with octaves, lowest first, spelled for the best name.
fn notes(sounding: &Sounding, best: Option<&Chord>, speller: &Speller) -> Vec<String> {
    let mut midis: Vec<MidiNote> = sounding.notes.iter().map(|n| n.midi).collect();
    midis.sort_unstable();
    midis.dedup();
    midis
        .into_iter()
        .map(|midi| with_octave(speller.note(PitchClass::from(midi), best), midi))
        .collect()
}

fn name_of(
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
        label: super::label::write(&chord, candidate.sounding()),
        root: chord.root.name().into(),
        score,
        degrees: degree_names(&chord, &speller.notes(set, &chord)),
    }
}

/// Each sounding note by name with its degree; a note beside the chord is told by its interval, as a lowered third or fifth where
/// the plain one does not sound: what delays it stands in its place.
pub(crate) fn degree_names(
    chord: &Chord,
    sounding: &[(PitchClass, Spelled)],
) -> BTreeMap<Word, Word> {
    const BESIDE: [&str; 12] = [
        "1", "b9", "9", "#9", "3", "11", "#11", "5", "b13", "13", "b7", "7",
    ];
    let half_steps = |class: PitchClass| class.above(chord.root.class());
    let sounds = |wanted: u8| {
        sounding
            .iter()
            .any(|&(class, _)| half_steps(class) == wanted)
    };
    let beside = |half_steps: u8| match half_steps {
        3 if !sounds(4) => "b3",
        6 if !sounds(7) => "b5",
        other => BESIDE[other as usize],
    };
    let mut degrees = BTreeMap::new();
    for &(class, name) in sounding {
        let half_steps = half_steps(class);
        let degree = chord
            .degrees
            .at(half_steps)
            .map_or_else(|| beside(half_steps), Degree::name);
        degrees.insert(name.name().into(), degree.into());
    }
    degrees
}

/// Two complete triads, one above the other: a fraction of two chords.
fn fraction(sounding: &Sounding, speller: &Speller, context: &Context) -> Option<Name> {
    const TRIADS: [DegreeSet; 2] = [DegreeSet::of("1 3 5"), DegreeSet::of("1 b3 5")];
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
            label: super::label::write(&chord, high_degrees),
            root: lower.name().into(),
            score: 0.0,
            degrees: degree_names(&from_lower, &speller.notes(chord.pitches(), &from_lower)),
        })
    })
}
