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
use super::naming::search::{Ranking, ranked};
use super::readings::ranked::readings;
use super::sounding::{Sounding, Voicing};
use super::speller::Speller;
use crate::units::Share;

/// Most names that are listed.
pub(crate) const MOST_NAMES: usize = 8;
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
    let Some(heard) = Voicing::of(sounding) else {
        return Naming::default();
    };
    naming_of(sounding, heard, ranked(sounding, heard, context), context)
}

/// The names that ranked candidates make, with what the notes can stand for.
pub(crate) fn naming_of(
    sounding: &Sounding,
    heard: Voicing,
    ranking: Ranking,
    context: &Context,
) -> Naming {
    let speller = Speller::new(sounding, context);
    let Ranking {
        mut candidates,
        none,
    } = ranking;
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
            names.push(name_of(candidate, *score, heard.set, speller));
        }
    }
    let first = candidates.first().map_or(0.0, |c| c.1);
    let least = candidates.first().map_or(0.0, |(c, _)| c.cost);
    let ranked = candidates.iter().map(|(c, _)| c.cost - least);
    let can_be: Vec<_> = names.iter().map(|name| name.chord).zip(ranked).collect();
    let mut verdict = if none >= first {
        Verdict::NoGoodName
    } else {
        decided(first)
    };
    // One more candidate beside the bare notes; the others share what it leaves.
    let odds = none * ((P.no_name - P.fraction) / P.temperature).exp();
    let score = Share::clamped(odds / (1.0 + odds));
    if verdict == Verdict::NoGoodName
        && let Some(fraction) = fraction(sounding, score, &speller)
    {
        for name in &mut names {
            name.score = Share::clamped(name.score.get() / (1.0 + odds));
        }
        verdict = decided(score.get());
        names.insert(0, fraction);
        names.truncate(MOST_NAMES);
    }
    let best = candidates.first().map(|(c, _)| c.chord(&speller));
    Naming {
        notes: notes(sounding, best.as_ref(), &speller),
        verdict,
        names,
        readings: readings(heard, &can_be, &speller.keeping(&can_be), context),
    }
}

fn decided(first: f32) -> Verdict {
    if first < DECIDED {
        Verdict::Undecided
    } else {
        Verdict::Named
    }
}
