//! Search: every root and every shape of the vocabulary laid over what sounds.
//!
//! Input: [`Sounding`] and [`Context`]. Output: candidates with costs and probabilities. Units: costs in natural-log units (see [`super::penalties`]).
//! Method: our own. Sets are twelve bits seen from the root; what is missing, added or strange in the bass costs; the cheapest shape of a
//! root survives; costs become probabilities by softmax with "no good name" as one more candidate. Where notes are uncertain, this is done for
//! each set of them that may sound, and the probabilities of names are added up, weighed by those of the sets (total probability).
//! Limits: at most two notes beside a shape; at most three pitch classes are doubted, heard ones and possible ones together.

use super::candidate::Candidate;
use super::penalties::PENALTIES as P;
use super::weigh::{Surroundings, weigh};
use crate::harmony::chord::quality::SHAPES;
use crate::harmony::context::Context;
use crate::harmony::pitch::{PitchClass, PitchSet};
use crate::harmony::sounding::{Heard, Sounding, SoundingNote};
use crate::units::MidiNote;

/// A name that costs this much more than the best is not looked for: its share would be below one in a hundred thousand.
const HOPELESS: f32 = 3.0;
/// A pitch class less certain than this may not sound at all.
const CERTAIN: f32 = 0.98;
/// Of keys that are likelier there than not and yet are wrong, the share whose pitch class does not sound either: most are an octave off,
/// the commonest error in hearing many notes at once (Klapuri, IEEE Trans. Speech and Audio Processing 11, 2003).
const WRONG_CLASS: f32 = 0.25;
/// Nothing that is reported is taken to be less certain than this.
const LEAST_CERTAIN: f32 = 0.02;
/// Most pitch classes whose absence is considered: each doubles the work.
const MOST_DOUBTED: usize = 3;
/// So many pitch classes stay in a set that leaves some out.
const FEWEST_OF_A_CHORD: u32 = 3;

/// Candidates, best first, with their probabilities, and the probability that none is good.
///
/// A name's probability is the sum, over the sets of notes that may sound, of the set's probability times that of the name given the set.
pub(crate) fn ranked(
    sounding: &Sounding,
    heard: Heard,
    context: &Context,
) -> (Vec<(Candidate, f32)>, f32) {
    let weight = |cost: f32| (-cost / P.temperature).exp();
    let (mut named, mut none, mut total): (Vec<(Candidate, f32)>, f32, f32) =
        (Vec::with_capacity(24), 0.0, 0.0);
    let mut best: Vec<Candidate> = Vec::with_capacity(12);
    for (notes, probability) in likely_sets(sounding, heard) {
        best.clear();
        gather(notes, context, &mut best);
        let least = best.iter().map(|c| c.cost).fold(P.no_name, f32::min);
        // Players play chords: a set that has a good name is likelier by what its name costs less.
        let share = probability * (-least).exp();
        let unnamed = weight(if hardly_a_chord(sounding, notes) {
            P.no_name_of_few
        } else {
            P.no_name
        });
        let sum = unnamed + best.iter().map(|c| weight(c.cost)).sum::<f32>();
        total += share;
        none += share * unnamed / sum;
        for &candidate in &best {
            let likely = share * weight(candidate.cost) / sum;
            match named
                .iter_mut()
                .find(|(c, _)| c.says_the_same_as(&candidate))
            {
                Some((_, sum)) => *sum += likely,
                None => named.push((candidate, likely)),
            }
        }
    }
    for (candidate, likely) in &mut named {
        *likely /= total;
        // What the name costs over all sets; of one set alone the differences stay as they are.
        candidate.cost = -P.temperature * likely.max(f32::MIN_POSITIVE).ln();
    }
    named.sort_by(|a, b| b.1.total_cmp(&a.1));
    (named, none / total)
}

/// A pitch class of which it is not certain whether it sounds.
struct Doubt {
    class: PitchClass,
    /// Probability that it sounds.
    sounds: f32,
    /// True if it is likelier to sound than not.
    heard: bool,
}

/// The sets of notes that may sound, first the one that was heard: the same without some of the least certain pitch classes, and with
/// some that may sound too, of [`MOST_DOUBTED`] in all; each with the probability of just these notes, if notes err independently.
fn likely_sets(sounding: &Sounding, heard: Heard) -> Vec<(Heard, f32)> {
    let doubts = doubts(sounding, heard);
    let mut sets = Vec::with_capacity(1 << doubts.len());
    for otherwise in 0..1_usize << doubts.len() {
        let (mut left_out, mut joining, mut probability) = (PitchSet::EMPTY, PitchSet::EMPTY, 1.0);
        for (i, doubt) in doubts.iter().enumerate() {
            let sounds = doubt.heard == (otherwise & (1 << i) == 0);
            probability *= if sounds {
                doubt.sounds
            } else {
                1.0 - doubt.sounds
            };
            match (doubt.heard, sounds) {
                (true, false) => left_out = left_out.with(doubt.class),
                (false, true) => joining = joining.with(doubt.class),
                _ => {}
            }
        }
        if otherwise == 0 {
            sets.push((heard, probability));
        } else if (left_out.is_empty() || heard.set.len() - left_out.len() >= FEWEST_OF_A_CHORD)
            && let Some(other) = Heard::of(&with_and_without(sounding, joining, left_out))
        {
            sets.push((other, probability));
        }
    }
    sets
}

/// The least certain pitch classes, at most [`MOST_DOUBTED`].
fn doubts(sounding: &Sounding, heard: Heard) -> Vec<Doubt> {
    // A class sounds unless all its keys are wrong.
    let mut absent = [1.0_f32; 12];
    for note in &sounding.notes {
        let wrong = 1.0 - note.weight.get();
        absent[PitchClass::from(note.midi).get() as usize] *= if wrong <= 0.5 {
            wrong * WRONG_CLASS
        } else {
            wrong
        };
    }
    for note in &sounding.possible {
        let class = PitchClass::from(note.midi);
        if !heard.set.contains(class) {
            absent[class.get() as usize] *= 1.0 - note.weight.get();
        }
    }
    let mut doubts: Vec<Doubt> = PitchClass::all()
        .filter(|&class| sounding.stated_bass != Some(class))
        .map(|class| {
            let sounds = 1.0 - absent[class.get() as usize];
            let heard = heard.set.contains(class);
            Doubt {
                class,
                sounds: if heard {
                    sounds.max(LEAST_CERTAIN)
                } else {
                    sounds
                },
                heard,
            }
        })
        .filter(|doubt| (LEAST_CERTAIN..CERTAIN).contains(&doubt.sounds))
        .collect();
    let certainty = |doubt: &Doubt| (doubt.sounds - 0.5).abs();
    doubts.sort_by(|a, b| certainty(a).total_cmp(&certainty(b)));
    doubts.truncate(MOST_DOUBTED);
    doubts
}

/// What sounds, with some of the pitch classes that may, and without some that were heard.
fn with_and_without(sounding: &Sounding, joining: PitchSet, left_out: PitchSet) -> Sounding {
    let of = |set: PitchSet| move |note: &&SoundingNote| set.contains(PitchClass::from(note.midi));
    let stay = sounding.notes.iter().filter(|note| !of(left_out)(note));
    let join = sounding.possible.iter().filter(of(joining));
    Sounding {
        notes: stay.chain(join).copied().collect(),
        possible: Vec::new(),
        ..*sounding
    }
}

/// True of an interval other than a fifth above its bass, and of a cluster: three keys or more, each at most a whole step above the one before.
fn hardly_a_chord(sounding: &Sounding, heard: Heard) -> bool {
    if heard.set.len() < 3 {
        return !heard.set.contains(heard.bass.up(7));
    }
    let mut midis: Vec<MidiNote> = sounding.notes.iter().map(|n| n.midi).collect();
    midis.sort_unstable();
    midis.windows(2).all(|pair| (pair[1] - pair[0]).0 <= 2)
}

/// The set without its `count` lowest notes: cheaper than counting them.
fn without_lowest(set: u16, count: u32) -> u16 {
    (0..count).fold(set, |set, _| set & set.wrapping_sub(1))
}

/// Adds the best candidate of every root to `best`.
fn gather(heard: Heard, context: &Context, best: &mut Vec<Candidate>) {
    // From the bass up: the likeliest root first makes the search short.
    let mut cheapest = f32::INFINITY;
    for root in (0..12).map(|up| heard.bass.up(up)) {
        let mut champion: Option<Candidate> = None;
        let relative = heard.set.seen_from(root).bits();
        let surroundings = Surroundings::of(root, context);
        // What any name on this root costs at least, for a root that is not in the bass or does not sound.
        let place = match (root == heard.bass, relative & 1 != 0) {
            (true, _) => 0.0,
            (false, true) => P.inversion,
            (false, false) => P.dominant_root,
        };
        for shape in SHAPES.iter() {
            let ceiling = champion.map_or(cheapest + HOPELESS, |c| c.cost);
            let least = shape.rarity + place - surroundings.most_bonus;
            if least >= ceiling {
                break;
            }
            let said = shape.mask & !relative & !shape.silent;
            let extra = relative & !shape.mask;
            if without_lowest(said, 2) != 0
                || without_lowest(extra, 3) != 0
                || least
                    + (said & !1).count_ones() as f32 * P.fifth
                    + extra.count_ones() as f32 * P.foreign_bass
                    >= ceiling
            {
                continue;
            }
            if let Some(found) = weigh(shape, root, relative, heard, &surroundings, ceiling) {
                champion = Some(found);
            }
        }
        if let Some(found) = champion {
            cheapest = cheapest.min(found.cost);
            best.push(found);
        }
    }
}
