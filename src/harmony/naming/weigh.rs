//! Weighing: what one quality on one root costs against what sounds.
//!
//! Input: a shape of the vocabulary, a root, what is heard, the surroundings. Output: a [`Candidate`], or nothing where the shape does not fit.
//! Units: costs in natural-log units (see [`super::penalties`]). Method: our own; sets are twelve bits seen from the root. What is missing comes
//! first, then the bass, the surroundings, and what is added. Limits: at most two notes beside a shape.

use super::candidate::{Candidate, LEFT_HAND, LEFT_HAND_ALTERED};
use super::penalties::PENALTIES as P;
use crate::harmony::chord::quality::{FIFTH, ROOT, SEVENTHS, Shape, THIRDS, bits};
use crate::harmony::context::Context;
use crate::harmony::pitch::{Degree, DegreeSet, PitchClass};
use crate::harmony::sounding::Voicing;

const MAJOR_THIRD: u16 = bits("3");
const MINOR_THIRD: u16 = bits("b3");
/// What stands for the third of a suspended chord.
const SUSPENDED: u16 = bits("2 4");
const FLAT_FIFTH: u16 = bits("b5");
const MINOR_SEVENTH: u16 = bits("b7");
/// What a dominant and a suspended one are known by.
const LEADS: DegreeSet = DegreeSet::of("3 b7");
const SUSPENDS: DegreeSet = DegreeSet::of("4 b7");
/// The staple left hand of two dominants, seen from the major seventh that it makes.
const ALSO_A_LEFT_HAND: u16 = bits("1 3 b5 7");
/// The sixth, or the diminished seventh that sounds like it.
const SIXTH: u16 = bits("6");

/// What the key and the neighbours say of one root.
pub(crate) struct Surroundings {
    scale: Option<u16>,
    fifth_degree: bool,
    /// The most that can be taken off the cost of a name here.
    pub most_bonus: f32,
    /// Half steps from the root down to the next chord's root.
    falls: Option<u8>,
    /// True if the next chord is a dominant, plain or suspended.
    next_leads: bool,
    /// True if the chord before is minor, on the fifth above the root.
    follows_its_two: bool,
}

impl Surroundings {
    /// The most that any surroundings can take off.
    pub(crate) const MOST: f32 = P.in_key + P.dominant_of_key + P.follows_its_two + P.falls_a_fifth;

    pub(crate) fn of(root: PitchClass, context: &Context) -> Self {
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
        let follows_its_two = context.before.is_some_and(|before| {
            before.degrees.contains(Degree::MINOR_THIRD) && before.root.class().above(root) == 7
        });
        let of_previous = if follows_its_two {
            P.follows_its_two
        } else {
            0.0
        };
        Self {
            most_bonus: P.guide_tones_lowest + of_key + of_previous + of_next,
            follows_its_two,
            scale: context
                .key_notes()
                .map(|notes| notes.seen_from(root).bits()),
            next_leads: context.after.is_some_and(|after| {
                LEADS.minus(after.degrees).is_empty() || SUSPENDS.minus(after.degrees).is_empty()
            }),
            fifth_degree: context
                .key
                .is_some_and(|k| root.above(k.tonic.class()) == 7),
            falls: context.after.map(|after| root.above(after.root.class())),
        }
    }

    fn bonus(&self, shape: &Shape, relative: u16) -> f32 {
        let mut bonus = 0.0;
        if self
            .scale
            .is_some_and(|scale| (relative | ROOT) & !scale == 0)
        {
            bonus += P.in_key;
        }
        if shape.dominant && self.fifth_degree {
            bonus += P.dominant_of_key;
        }
        if shape.dominant && self.follows_its_two {
            bonus += P.follows_its_two;
        }
        match self.falls {
            Some(7) if shape.dominant => bonus += P.falls_a_fifth,
            Some(7)
                if self.next_leads
                    && shape.third == MINOR_THIRD
                    && shape.seventh == MINOR_SEVENTH =>
            {
                bonus += P.two_before_its_five;
            }
            Some(1) if shape.dominant => bonus += P.falls_a_half_step,
            Some(11) if shape.quality.degrees.contains(Degree::FLAT_FIFTH) && !shape.dominant => {
                bonus += P.leads_up
            }
            _ => {}
        }
        bonus
    }
}

/// What is taken off a chord without its root whose notes, seen from that root, are the staple left hand of a dominant.
pub(crate) fn taken_off_left_hand(relative: u16) -> f32 {
    match relative {
        LEFT_HAND => P.left_hand,
        LEFT_HAND_ALTERED => P.left_hand_altered,
        _ => 0.0,
    }
}

/// Weighs one shape on one root; `None` if it does not fit or costs at least `ceiling`.
pub(crate) fn weigh(
    shape: &'static Shape,
    root: PitchClass,
    relative: u16,
    heard: Voicing,
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
    // A ninth (natural or sharp) that a seventh chord can carry is its own, also where it lies lowest.
    let its_tension = shape.seventh & SEVENTHS != 0
        && matches!(
            added_degree(shape, bass_half_steps),
            Some(Degree::NINTH | Degree::SHARP_NINTH)
        );
    let foreign_bass = extra & bass_bit != 0 && !its_tension;
    if foreign_bass {
        extra &= !bass_bit;
    }
    if extra.count_ones() > 2 {
        return None;
    }
    let mut cost = shape.rarity;
    let rootless = missing & ROOT != 0;
    let has_tension =
        relative & shape.mask & !(shape.third | shape.fifth | shape.seventh | ROOT) != 0;
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
        let altered = shape.fifth != FIFTH;
        // A power chord is nothing but its fifth.
        if altered || rootless || shape.third == 0 {
            return None;
        }
        cost += P.fifth;
    }
    if said & shape.third != 0 {
        // A suspension without its suspended note is nothing.
        if shape.third & THIRDS == 0 || shape.third.count_ones() > 1 || rootless {
            return None;
        }
        // Nor is a diminished or augmented fifth without the third that makes the triad.
        if shape.fifth != FIFTH {
            return None;
        }
        // Nor is a root alone.
        if said & shape.fifth != 0 {
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
    if said & !(shape.third | shape.fifth | shape.seventh | ROOT) != 0 {
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
        cost -= taken_off_left_hand(relative);
        if heard.bass_is_stated {
            cost += P.rootless_over_stated_bass;
        }
    }
    // Over its major seventh it costs enough as it is; a stated root says what it is.
    let told = heard.bass_is_stated && bass_half_steps == 0 || bass_half_steps == 11;
    if relative == ALSO_A_LEFT_HAND && !told {
        cost += P.also_a_left_hand;
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
        // A triad goes over its leading note, a major sixth chord is better named from elsewhere.
        if bass_half_steps == 11 && shape.seventh == SIXTH && shape.third == MAJOR_THIRD {
            cost += P.major_seventh_in_bass;
        }
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
    let before = cost;
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
        before,
        cost,
    })
}

/// What a candidate costs in other surroundings, to the last bit as [`weigh`] would say.
pub(crate) fn cost_around(candidate: &Candidate, relative: u16, around: &Surroundings) -> f32 {
    let mut cost = candidate.before - around.bonus(candidate.shape, relative);
    let mut extra = candidate.added.pitches().bits();
    while extra != 0 {
        cost += P.added + P.oddness[extra.trailing_zeros() as usize];
        extra &= extra - 1;
    }
    cost
}

/// What a note beside a shape can be called; `None` where it would be another form of a chord tone.
fn added_degree(shape: &Shape, half_steps: u8) -> Option<Degree> {
    let major_third = shape.third & MAJOR_THIRD != 0;
    let suspended = shape.third & SUSPENDED != 0;
    match half_steps {
        1 => Some(Degree::FLAT_NINTH),
        2 if !suspended => Some(Degree::NINTH),
        3 if major_third => Some(Degree::SHARP_NINTH),
        4 if !major_third && !suspended && shape.third != 0 => Some(Degree::FLAT_ELEVENTH),
        5 if !suspended => Some(Degree::ELEVENTH),
        6 if shape.fifth == FIFTH => Some(Degree::SHARP_ELEVENTH),
        8 if shape.fifth == FIFTH || shape.fifth == FLAT_FIFTH => Some(Degree::FLAT_THIRTEENTH),
        9 if shape.seventh != 0 && shape.degree_at[9].is_none() => Some(Degree::THIRTEENTH),
        11 if shape.seventh & SIXTH != 0 && shape.third & MINOR_THIRD != 0 => {
            Some(Degree::MAJOR_SEVENTH)
        }
        _ => None,
    }
}
