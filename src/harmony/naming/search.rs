//! Search: every root and every shape of the vocabulary laid over what sounds.
//!
//! Input: [`Sounding`] and [`Context`]. Output: candidates with costs and probabilities. Units: costs in natural-log units (see [`super::penalties`]).
//! Method: our own. Sets are twelve bits seen from the root; what is missing, added or strange in the bass costs; the cheapest shape of a
//! root survives; costs become probabilities by softmax with "no good name" as one more candidate. Where notes are uncertain, this is done for
//! each set of them that may sound, and the probabilities of names are added up, weighed by those of the sets (total probability).
//! Surroundings only take something off, and never more than a known sum: one search that keeps all candidates within that sum of the best
//! ([`Found`]) ranks the names of a chord in any surroundings.
//! Limits: at most two notes beside a shape; at most three pitch classes are doubted, heard ones and possible ones together.

use super::candidate::Candidate;
use super::penalties::PENALTIES as P;
use super::weigh::{Surroundings, cost_around, taken_off_left_hand, weigh};
use crate::harmony::chord::quality::SHAPES;
use crate::harmony::context::Context;
use crate::harmony::pitch::{PitchClass, PitchSet};
use crate::harmony::sounding::{Sounding, SoundingNote, Voicing};
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
#[derive(Debug, Clone, Default)]
pub(crate) struct Ranking {
    pub candidates: Vec<(Candidate, f32)>,
    pub none: f32,
}

/// All that is needed to rank the names of what sounds in any surroundings.
///
/// For each set of notes that may sound, with its probability, every candidate that surroundings could make the best on its root.
#[derive(Debug, Clone)]
pub(crate) struct Found {
    sets: Vec<(Voicing, f32, Vec<Candidate>)>,
    /// What "no good name" costs, set by set.
    unnamed: Vec<f32>,
}

impl Found {
    /// Searches what sounds, once for all surroundings.
    pub(crate) fn of(sounding: &Sounding, heard: Voicing) -> Self {
        let likely = likely_sets(sounding, heard);
        let unnamed = likely.iter().map(|&(notes, _)| no_name(sounding, notes));
        Self {
            unnamed: unnamed.collect(),
            sets: likely
                .into_iter()
                .map(|(notes, probability)| {
                    let mut all = Vec::with_capacity(64);
                    gather(notes, &Context::default(), Surroundings::MOST, &mut all);
                    all.shrink_to_fit();
                    (notes, probability, all)
                })
                .collect(),
        }
    }

    /// The names in these surroundings: the same as [`ranked`] finds by a search of its own.
    pub(crate) fn ranked(&self, context: &Context) -> Ranking {
        let mut ranker = Ranker::default();
        let mut best = Vec::with_capacity(12);
        for ((notes, probability, all), &unnamed) in self.sets.iter().zip(&self.unnamed) {
            best.clear();
            let mut cheapest = f32::INFINITY;
            for on_root in all.chunk_by(|a, b| a.root == b.root) {
                let around = Surroundings::of(on_root[0].root, context);
                let relative = notes.set.seen_from(on_root[0].root).bits();
                let mut champion: Option<Candidate> = None;
                for candidate in on_root {
                    let ceiling = champion.map_or(cheapest + HOPELESS, |c| c.cost);
                    let cost = cost_around(candidate, relative, &around);
                    if cost < ceiling {
                        champion = Some(Candidate { cost, ..*candidate });
                    }
                }
                if let Some(found) = champion {
                    cheapest = cheapest.min(found.cost);
                    best.push(found);
                }
            }
            ranker.add(*probability, &best, unnamed);
        }
        ranker.finish()
    }
}

/// Names ranked by one search in these surroundings.
///
/// A name's probability is the sum, over the sets of notes that may sound, of the set's probability times that of the name given the set.
pub(crate) fn ranked(sounding: &Sounding, heard: Voicing, context: &Context) -> Ranking {
    let mut ranker = Ranker::default();
    let mut best: Vec<Candidate> = Vec::with_capacity(12);
    for (notes, probability) in likely_sets(sounding, heard) {
        best.clear();
        gather(notes, context, 0.0, &mut best);
        ranker.add(probability, &best, no_name(sounding, notes));
    }
    ranker.finish()
}

/// What "no good name" costs for a set of the notes.
fn no_name(sounding: &Sounding, notes: Voicing) -> f32 {
    if hardly_a_chord(sounding, notes) {
        P.no_name_of_few
    } else {
        P.no_name
    }
}

/// Adds up the probabilities of names over the sets of notes that may sound.
struct Ranker {
    named: Vec<(Candidate, f32)>,
    none: f32,
    total: f32,
}

impl Default for Ranker {
    fn default() -> Self {
        Self {
            named: Vec::with_capacity(24),
            none: 0.0,
            total: 0.0,
        }
    }
}

impl Ranker {
    /// Adds a set: its probability, the best candidate of every root, and what "no good name" costs.
    fn add(&mut self, probability: f32, best: &[Candidate], no_name: f32) {
        let weight = |cost: f32| (-cost / P.temperature).exp();
        let least = best.iter().map(|c| c.cost).fold(P.no_name, f32::min);
        // Players play chords: a set that has a good name is likelier by what its name costs less.
        let share = probability * (-least).exp();
        let unnamed = weight(no_name);
        let sum = unnamed + best.iter().map(|c| weight(c.cost)).sum::<f32>();
        self.total += share;
        self.none += share * unnamed / sum;
        for &candidate in best {
            let likely = share * weight(candidate.cost) / sum;
            match self
                .named
                .iter_mut()
                .find(|(c, _)| c.says_the_same_as(&candidate))
            {
                Some((_, sum)) => *sum += likely,
                None => self.named.push((candidate, likely)),
            }
        }
    }

    fn finish(mut self) -> Ranking {
        for (candidate, likely) in &mut self.named {
            *likely /= self.total;
            // What the name costs over all sets; of one set alone the differences stay as they are.
            candidate.cost = -P.temperature * likely.max(f32::MIN_POSITIVE).ln();
        }
        self.named.sort_by(|a, b| b.1.total_cmp(&a.1));
        Ranking {
            candidates: self.named,
            none: self.none / self.total,
        }
    }
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
fn likely_sets(sounding: &Sounding, heard: Voicing) -> Vec<(Voicing, f32)> {
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
            && let Some(other) = Voicing::of(&with_and_without(sounding, joining, left_out))
        {
            sets.push((other, probability));
        }
    }
    sets
}

/// The least certain pitch classes, at most [`MOST_DOUBTED`].
fn doubts(sounding: &Sounding, heard: Voicing) -> Vec<Doubt> {
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
fn hardly_a_chord(sounding: &Sounding, heard: Voicing) -> bool {
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

/// Adds the best candidate of every root to `best`; with some `slack`, all that come as near to it, each root's together.
fn gather(heard: Voicing, context: &Context, slack: f32, best: &mut Vec<Candidate>) {
    // From the bass up: the likeliest root first makes the search short.
    let mut cheapest = f32::INFINITY;
    for root in (0..12).map(|up| heard.bass.up(up)) {
        let first = best.len();
        let mut champion = f32::INFINITY;
        let relative = heard.set.seen_from(root).bits();
        let bass = 1_u16 << heard.bass.above(root);
        let surroundings = Surroundings::of(root, context);
        // What any name on this root costs at least, for a root that is not in the bass or does not sound.
        let place = match (root == heard.bass, relative & 1 != 0) {
            (true, _) => 0.0,
            (false, true) => P.inversion,
            (false, false) => P.dominant_root - taken_off_left_hand(relative),
        };
        for shape in SHAPES.iter() {
            let ceiling = champion.min(cheapest + HOPELESS) + slack;
            let least = shape.rarity + place - surroundings.most_bonus;
            if least >= ceiling {
                break;
            }
            let said = shape.mask & !relative & !shape.silent;
            let extra = relative & !shape.mask;
            // A foreign bass is no inversion: it costs what it costs in place of that.
            let instead = if extra & bass == 0 { 0.0 } else { place };
            if without_lowest(said, 2) != 0
                || without_lowest(extra, 3) != 0
                || least - instead
                    + (said & !1).count_ones() as f32 * P.fifth
                    + extra.count_ones() as f32 * P.foreign_bass
                    >= ceiling
            {
                continue;
            }
            if let Some(found) = weigh(shape, root, relative, heard, &surroundings, ceiling) {
                champion = champion.min(found.cost);
                if slack == 0.0 {
                    best.truncate(first);
                }
                best.push(found);
            }
        }
        cheapest = cheapest.min(champion);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::harmony::chord::Chord;
    use crate::harmony::chord::quality::QUALITIES;
    use crate::harmony::pitch::{Key, Mode, Spelled};
    use crate::units::Share;

    #[test]
    fn one_search_ranks_the_names_of_any_surroundings_as_a_search_in_them_would() {
        let mut random = fastrand::Rng::with_seed(5);
        for _ in 0..2_000 {
            let mut midi: Vec<u8> = (0..random.usize(1..=8))
                .map(|_| random.u8(36..=84))
                .collect();
            midi.sort_unstable();
            midi.dedup();
            let mut sounding = Sounding::of_midi(&midi);
            if random.bool() {
                for note in &mut sounding.notes {
                    note.weight = Share::clamped(0.5 + 0.6 * random.f32());
                }
                sounding.possible = Sounding::of_midi(&[random.u8(36..=84)]).notes;
                sounding.possible[0].weight = Share::clamped(0.5 * random.f32());
            }
            let heard = Voicing::of(&sounding).unwrap();
            let found = Found::of(&sounding, heard);
            for _ in 0..4 {
                let mut chord = || {
                    random.bool().then(|| {
                        let quality = &QUALITIES[random.usize(..QUALITIES.len())];
                        Chord::new(
                            Spelled::usual(PitchClass::new(random.i32(..12))),
                            quality.degrees,
                        )
                    })
                };
                let (before, after) = (chord(), chord());
                let mode = if random.bool() {
                    Mode::Major
                } else {
                    Mode::Minor
                };
                let key = Key::usual(PitchClass::new(random.i32(..12)), mode);
                let context = Context {
                    key: random.bool().then_some(key),
                    before,
                    after,
                    ..Context::default()
                };
                let (once, anew) = (found.ranked(&context), ranked(&sounding, heard, &context));
                let told = |ranking: &Ranking| {
                    let of = |&(c, likely): &(Candidate, f32)| {
                        (
                            c.root,
                            c.shape.quality.body,
                            c.added,
                            c.missing,
                            c.bass,
                            likely.to_bits(),
                        )
                    };
                    let candidates: Vec<_> = ranking.candidates.iter().map(of).collect();
                    (candidates, ranking.none.to_bits())
                };
                assert_eq!(told(&once), told(&anew), "{midi:?} in {context:?}");
            }
        }
    }
}
