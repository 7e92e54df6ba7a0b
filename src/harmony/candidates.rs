//! Candidates: every root and every shape of the vocabulary laid over what sounds.
//!
//! Input: [`Sounding`] and [`Context`]. Output: candidates with costs and probabilities. Units: costs in natural-log units (see [`super::score`]).
//! Method: our own. Sets are twelve bits seen from the root; what is missing, added or strange in the bass costs; the cheapest shape of a
//! root survives; a doubtful note may be left out at the price of its certainty; costs become probabilities by softmax with "no good name" as one
//! more candidate. Limits: at most two notes beside a shape, at most two doubtful notes left out.

use super::degree::{Degree, DegreeSet};
use super::pitch::{PitchClass, PitchSet};
use super::quality::{SHAPES, Shape};
use super::score::PENALTIES as P;
use super::speller::Speller;
use super::symbol::Chord;
use super::{Context, Sounding};
use crate::units::MidiNote;

/// A name that costs this much more than the best is not looked for: a share below one in two thousand.
const HOPELESS: f32 = 4.0;
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
    let none = weight(P.no_name);
    let total: f32 = none + best.iter().map(|c| weight(c.cost)).sum::<f32>();
    (
        best.into_iter()
            .map(|c| (c, weight(c.cost) / total))
            .collect(),
        none / total,
    )
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
        for shape in SHAPES.iter() {
            let ceiling = champion.map_or(cheapest + HOPELESS, |c| c.cost);
            let least = shape.quality.rarity - surroundings.most_bonus;
            if least >= ceiling {
                break;
            }
            let said = (shape.mask & !relative & !shape.silent).count_ones();
            let extra = (relative & !shape.mask).count_ones();
            if said > 2
                || extra > 3
                || least + said as f32 * P.fifth + extra as f32 * P.foreign_bass >= ceiling
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

/// What the key and the neighbours say of one root.
struct Surroundings {
    scale: Option<u16>,
    fifth_degree: bool,
    /// The most that can be taken off the cost of a name here.
    most_bonus: f32,
    /// Half steps from the root down to the next chord's root.
    falls: Option<u8>,
}

impl Surroundings {
    fn of(root: PitchClass, context: &Context) -> Self {
        let of_key = if context.key.is_some() {
            P.in_key + P.dominant_of_key
        } else {
            0.0
        };
        let of_next = if context.after.is_some() {
            P.falls_a_fifth
        } else {
            0.0
        };
        Self {
            most_bonus: P.guide_tones_lowest + of_key + of_next,
            scale: context.key.map(|k| k.pitches().seen_from(root).bits()),
            fifth_degree: context
                .key
                .is_some_and(|k| root.above(k.tonic.class()) == 7),
            falls: context.after.map(|after| root.above(after.root.class())),
        }
    }

    fn bonus(&self, shape: &Shape, relative: u16) -> f32 {
        let mut bonus = 0.0;
        if self.scale.is_some_and(|scale| (relative | 1) & !scale == 0) {
            bonus += P.in_key;
        }
        if shape.dominant && self.fifth_degree {
            bonus += P.dominant_of_key;
        }
        match self.falls {
            Some(7) if shape.dominant => bonus += P.falls_a_fifth,
            Some(1) if shape.dominant => bonus += P.falls_a_half_step,
            Some(11) if shape.quality.degrees.contains(Degree::FLAT_FIFTH) && !shape.dominant => {
                bonus += P.leads_up
            }
            _ => {}
        }
        bonus
    }
}

/// Weighs one shape on one root; `None` if it does not fit or costs at least `ceiling`.
fn weigh(
    shape: &'static Shape,
    root: PitchClass,
    relative: u16,
    heard: Heard,
    around: &Surroundings,
    ceiling: f32,
) -> Option<Candidate> {
    let missing = shape.mask & !relative;
    let said = missing & !shape.silent;
    if said.count_ones() > 2 {
        return None;
    }
    let mut extra = relative & !shape.mask;
    let bass_half_steps = heard.bass.above(root);
    let bass_bit = 1_u16 << bass_half_steps;
    let foreign_bass = extra & bass_bit != 0;
    if foreign_bass {
        extra &= !bass_bit;
    }
    if extra.count_ones() > 2 {
        return None;
    }
    let mut cost = shape.quality.rarity;
    let rootless = missing & 1 != 0;
    let has_tension = relative & shape.mask & !(shape.third | shape.fifth | shape.seventh | 1) != 0;
    let guide_tones =
        missing & (shape.third | shape.seventh) == 0 && shape.third != 0 && shape.seventh != 0;
    // What is missing.
    let silent = missing & shape.silent;
    cost += P.silent_fifth * (silent & shape.fifth).count_ones() as f32;
    cost += P.silent_tension * (silent & !shape.fifth).count_ones() as f32;
    if silent.count_ones() >= 2 {
        cost += P.silent_pair;
    }
    if said & shape.fifth != 0 {
        let altered = shape.fifth != 1 << 7;
        if altered || rootless {
            return None;
        }
        cost += P.fifth;
    }
    if said & shape.third != 0 {
        // A suspension without its suspended note is nothing.
        if shape.third & 0b1_1000 == 0 || shape.third.count_ones() > 1 || rootless {
            return None;
        }
        cost += P.third;
    }
    if said & shape.seventh != 0 {
        if !has_tension || rootless || said & shape.third != 0 {
            return None;
        }
        cost += P.seventh;
    }
    if said & !(shape.third | shape.fifth | shape.seventh | 1) != 0 {
        return None;
    }
    if rootless {
        if !guide_tones || !has_tension || foreign_bass || extra != 0 {
            return None;
        }
        cost += if shape.dominant {
            P.dominant_root
        } else {
            P.other_root
        };
        if heard.set.len() < 4 {
            cost += P.thin_rootless;
        }
    }
    // The bass.
    if rootless {
        if bass_bit & (shape.third | shape.seventh) == 0 {
            cost += P.rootless_off_guide_tone;
        }
    } else if foreign_bass {
        if missing != 0 || extra != 0 || shape.third == 0 {
            return None;
        }
        cost += if shape.mask.count_ones() < 5 {
            P.foreign_bass
        } else {
            P.foreign_bass_under_many
        };
    } else if bass_half_steps != 0 {
        cost += match shape.degree_at[bass_half_steps as usize] {
            Some(Degree::SIXTH) => P.sixth_in_bass,
            Some(Degree::MAJOR_SEVENTH) => P.major_seventh_in_bass,
            Some(Degree::SECOND | Degree::FOURTH) | None => P.tension_in_bass,
            Some(degree) if degree.is_tension() => P.tension_in_bass,
            Some(degree) if degree.number() == 7 => P.third_inversion,
            Some(_) => P.inversion,
        };
    }
    if guide_tones
        && shape.dominant
        && heard.lowest_two.seen_from(root).bits() == shape.third | shape.seventh
    {
        cost -= P.guide_tones_lowest;
    }
    cost -= around.bonus(shape, relative);
    if cost >= ceiling {
        return None;
    }
    // What is added.
    let mut added = DegreeSet::EMPTY;
    while extra != 0 {
        let half_steps = extra.trailing_zeros() as u8;
        extra &= extra - 1;
        added = added.with(added_degree(shape, half_steps)?);
        cost += P.added + P.oddness[half_steps as usize];
    }
    let bass = (bass_half_steps != 0).then_some(heard.bass);
    (cost < ceiling).then_some(Candidate {
        root,
        shape,
        added,
        missing,
        bass,
        cost,
        left_out: PitchSet::EMPTY,
    })
}

/// What a note beside a shape can be called; `None` where it would be another form of a chord tone.
fn added_degree(shape: &Shape, half_steps: u8) -> Option<Degree> {
    let major_third = shape.third & (1 << 4) != 0;
    let suspended = shape.third & 0b10_0100 != 0;
    match half_steps {
        1 => Some(Degree::FLAT_NINTH),
        2 if !suspended => Some(Degree::NINTH),
        3 if major_third => Some(Degree::SHARP_NINTH),
        4 if !major_third && !suspended && shape.third != 0 => Some(Degree::FLAT_ELEVENTH),
        5 if !suspended => Some(Degree::ELEVENTH),
        6 if shape.fifth == 1 << 7 => Some(Degree::SHARP_ELEVENTH),
        8 if shape.fifth == 1 << 7 || shape.fifth == 1 << 6 => Some(Degree::FLAT_THIRTEENTH),
        9 if shape.seventh != 0 && shape.degree_at[9].is_none() => Some(Degree::THIRTEENTH),
        11 if shape.seventh & (1 << 9) != 0 && shape.third & (1 << 3) != 0 => {
            Some(Degree::MAJOR_SEVENTH)
        }
        _ => None,
    }
}
