//! Naming a chord: names and readings joined into one answer.
//!
//! Input: [`Sounding`] and [`Context`]. Output: [`Naming`]. Units: scores 0 to 1.
//! Method: our own. For each of twelve roots each shape of the vocabulary is laid over the sounding set as bits; what is missing, added,
//! or strange in the bass costs; the cheapest reading a root survives; costs become probabilities by softmax with "no good name" as one more
//! candidate ([`super::naming`]). What the notes stand for ([`super::readings`]) is told beside it.
//! Limits: at most two notes beside a shape.

use super::context::Context;
use super::named::{Name, Naming, Verdict};
use super::naming::names::{fraction, name_of, notes};
use super::naming::penalties::PENALTIES as P;
use super::naming::search::ranked;
use super::readings::written::readings;
use super::sounding::{Heard, Sounding};
use super::speller::Speller;

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
        readings: readings(heard, best, &speller, context),
    }
}

fn decided(first: f32) -> Verdict {
    if first < DECIDED {
        Verdict::Undecided
    } else {
        Verdict::Named
    }
}
