//! Candidates: every root and every shape of the vocabulary laid over what sounds.
//!
//! Input: [`Sounding`] and [`Context`]. Output: candidates with costs and probabilities. Units: costs in natural-log units (see [`super::score`]).
//! Method: our own. Sets are twelve bits seen from the root; what is missing, added or strange in the bass costs; the cheapest shape of a
//! root survives; a doubtful note may be left out at the price of its certainty; costs become probabilities by softmax with "no good name" as one
//! more candidate. Limits: at most two notes beside a shape, at most two doubtful notes left out.

use super::degree::DegreeSet;
use super::pitch::{PitchClass, PitchSet};
use super::quality::{SHAPES, Shape};
use super::score::PENALTIES as P;
use super::speller::Speller;
use super::symbol::Chord;
use super::weighing::{Surroundings, weigh};
use super::{Context, Sounding};
use crate::units::MidiNote;

/// A name that costs this much more than the best is not looked for: its share would be below one in a hundred thousand.
const HOPELESS: f32 = 3.0;
/// Notes weaker than this may be left out of a name.
const DOUBTFUL: f32 = 0.6;

/// What the naming looks at: pitch classes, bass, lowest two notes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Heard {
    pub set: PitchSet,
    pub bass: PitchClass,
    /// The two lowest different pitch classes of the voicing, as a set.
    pub lowest_two: PitchSet,
}

impl Heard {
    /// `None` if nothing sounds.
    pub(crate) fn of(sounding: &Sounding) -> Option<Self> {
        let bass = sounding.bass()?;
        let mut midis: Vec<MidiNote> = sounding.notes.iter().map(|n| n.midi).collect();
        midis.sort_unstable();
        let mut lowest_two = PitchSet::EMPTY;
        for class in midis.into_iter().map(PitchClass::from) {
            if lowest_two.len() < 2 {
                lowest_two = lowest_two.with(class);
            }
        }
        Some(Self {
            set: sounding.pitches(),
            bass,
            lowest_two,
        })
    }
}

/// One way to name what sounds.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Candidate {
    pub root: PitchClass,
    pub shape: &'static Shape,
    /// Notes beside the shape, as degrees.
    pub added: DegreeSet,
    /// Half steps of the shape that do not sound.
    pub missing: u16,
    /// The bass, if it is not the root.
    pub bass: Option<PitchClass>,
    pub cost: f32,
    /// A doubtful note that this name leaves out.
    pub left_out: PitchSet,
}

impl Candidate {
    /// Degrees that sound.
    pub(crate) fn sounding(&self) -> DegreeSet {
        self.shape
            .quality
            .degrees
            .iter()
            .filter(|d| self.missing & (1 << d.half_steps()) == 0)
            .collect::<DegreeSet>()
            .union(self.added)
    }

    /// True if the root is left to the bass player.
    pub(crate) fn rootless(&self) -> bool {
        self.missing & 1 != 0
    }

    /// The chord with its root spelled as `speller` finds best.
    pub(crate) fn chord(&self, speller: &Speller) -> Chord {
        let named = self.shape.quality.degrees.union(self.added);
        let root = speller.root(self.root, named);
        let said = self.missing & !self.shape.silent;
        Chord {
            root,
            degrees: named,
            omitted: named
                .iter()
                .filter(|d| said & (1 << d.half_steps()) != 0)
                .collect(),
            bass: self
                .bass
                .filter(|_| !self.rootless())
                .map(|bass| speller.bass(root, named, bass)),
            lower: None,
        }
    }
}

/// Candidates, best first, with their probabilities, and the probability that none is good.
pub(crate) fn ranked(
    sounding: &Sounding,
    heard: Heard,
    context: &Context,
) -> (Vec<(Candidate, f32)>, f32) {
    let mut best: Vec<Candidate> = Vec::with_capacity(24);
    gather(heard, context, PitchSet::EMPTY, 0.0, &mut best);
    for (left_out, price) in doubtful(sounding) {
        let set = PitchSet::from_bits(heard.set.bits() & !left_out.bits());
        let rest = Sounding {
            notes: sounding
                .notes
                .iter()
                .copied()
                .filter(|n| !left_out.contains(PitchClass::from(n.midi)))
                .collect(),
            ..sounding.clone()
        };
        if let Some(fewer) = Heard::of(&rest).filter(|h| h.set == set) {
            gather(fewer, context, left_out, price, &mut best);
        }
    }
    best.sort_by(|a, b| a.cost.total_cmp(&b.cost));
    let weight = |cost: f32| (-cost / P.temperature).exp();
    let none = weight(if hardly_a_chord(sounding, heard) {
        P.no_name_of_few
    } else {
        P.no_name
    });
    let total: f32 = none + best.iter().map(|c| weight(c.cost)).sum::<f32>();
    (
        best.into_iter()
            .map(|c| (c, weight(c.cost) / total))
            .collect(),
        none / total,
    )
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

/// Sets of doubtful pitch classes that a name may leave out (one, or the two weakest), with their price:
/// the log-odds that the note is there, and never less than a little, so that a name with all notes wins where it is as good.
fn doubtful(sounding: &Sounding) -> Vec<(PitchSet, f32)> {
    let mut strongest = [0.0_f32; 12];
    for note in &sounding.notes {
        let class = PitchClass::from(note.midi).get() as usize;
        strongest[class] = strongest[class].max(note.weight.get());
    }
    let price = |w: f32| (w.max(0.02) / (1.0 - w)).ln().max(0.0) + 0.5 + w;
    let mut weak: Vec<(PitchClass, f32)> = PitchClass::all()
        .map(|class| (class, strongest[class.get() as usize]))
        .filter(|&(_, w)| w > 0.0 && w < DOUBTFUL)
        .collect();
    weak.sort_by(|a, b| a.1.total_cmp(&b.1));
    weak.truncate(2);
    let mut sets: Vec<(PitchSet, f32)> = weak
        .iter()
        .map(|&(class, w)| (PitchSet::EMPTY.with(class), price(w)))
        .collect();
    if let [(a, pa), (b, pb)] = sets[..] {
        sets.push((PitchSet::from_bits(a.bits() | b.bits()), pa + pb));
    }
    sets
}

/// The set without its `count` lowest notes: cheaper than counting them.
fn without_lowest(set: u16, count: u32) -> u16 {
    (0..count).fold(set, |set, _| set & set.wrapping_sub(1))
}

/// Adds the best candidate of every root to `best`, or betters the one that is there.
fn gather(
    heard: Heard,
    context: &Context,
    left_out: PitchSet,
    price: f32,
    best: &mut Vec<Candidate>,
) {
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
        if let Some(mut found) = champion {
            cheapest = cheapest.min(found.cost);
            found.cost += price;
            found.left_out = left_out;
            match best.iter_mut().find(|c| c.root == root) {
                Some(old) if old.cost <= found.cost => {}
                Some(old) => *old = found,
                None => best.push(found),
            }
        }
    }
}
