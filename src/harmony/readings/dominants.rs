//! Readings as a dominant: rootless, as the tritone substitute, as an upper structure over guide tones.
//!
//! Input: a [`Scene`]. Output: [`Draft`]s. Units: costs in natural-log units. Method and sources: see [`super`].
//! Limits: pitch classes and the bass only; a dominant that does not show both third and seventh is not looked for.

use super::costs::COSTS as C;
use super::draft::{Draft, Reason, Scene};
use super::others::off_guide_tone;
use super::resolution::{DOMINANT, both_falls};
use super::support::support;
use crate::harmony::chord::Chord;
use crate::harmony::chord::quality::{DOMINANTS, FIFTH, ROOT, Shape, TRIADS, bits};
use crate::harmony::named::ReadingKind;
use crate::harmony::pitch::{DegreeSet, PitchClass, PitchSet};

/// The dominant shape with the fewest words that holds `relative` (counted from a root that need not sound); its cost.
pub(crate) fn dominant_shape(relative: u16) -> Option<(&'static Shape, f32)> {
    let mut found: Option<(&'static Shape, f32)> = None;
    for &shape in DOMINANTS.iter() {
        // The commonest come first.
        if found.is_some_and(|(_, best)| best <= shape.rarity) {
            break;
        }
        let missing = shape.mask & !relative;
        let plain_fifth = shape.fifth & FIFTH;
        let may_miss = shape.silent | plain_fifth | shape.third | shape.seventh | ROOT;
        if relative & !shape.mask != 0 || missing & !may_miss != 0 {
            continue;
        }
        let cost = shape.rarity + C.note_missing * missing.count_ones() as f32;
        if found.is_none_or(|(_, best)| cost < best) {
            found = Some((shape, cost));
        }
    }
    found
}

/// The root of the dominant that sounds complete with its root, if the best name is one.
fn own_dominant(scene: &Scene) -> Option<PitchClass> {
    let best = scene.best()?;
    DOMINANT
        .minus(best.sounding())
        .minus(const { DegreeSet::of("5") })
        .is_empty()
        .then_some(best.root.class())
}

/// Dominants whose root is left to the bass player. Third and seventh must sound; the one exception are the dominants of the diminished scale
/// that a bare diminished major seventh stands for, one of which has no third there.
pub(crate) fn rootless_dominants(scene: &Scene, out: &mut Vec<Draft>) {
    const GUIDE_TONES: u16 = bits("3 b7");
    const MAJOR_SEVENTH: u16 = bits("7");
    const ALTERED: DegreeSet = DegreeSet::of("b9 #9 #5 b13 b5 #11");
    /// A diminished major seventh, seen from the dominant a fifth below its raised seventh's tritone: fifth, seventh, flat ninth, sharp eleventh.
    const DIMINISHED_MAJOR: u16 = bits("5 b7 b9 b5");
    if scene.heard.set.len() < 2 {
        return;
    }
    let partner_sounds = |root: PitchClass| own_dominant(scene) == Some(root.up(6));
    for root in PitchClass::all() {
        let relative = scene.heard.set.seen_from(root).bits();
        if relative & (ROOT | MAJOR_SEVENTH) != 0 {
            continue;
        }
        let (why, base) = if relative & GUIDE_TONES == GUIDE_TONES {
            (Reason::GuideTones, C.rootless_guide_tones)
        } else if relative == DIMINISHED_MAJOR {
            (Reason::SeventhAndTensions, C.rootless_without_third)
        } else {
            continue;
        };
        let Some((shape, shape_cost)) = dominant_shape(relative) else {
            continue;
        };
        let degrees = shape.quality.degrees;
        let chord = Chord::new(scene.speller.root_of_dominant(root, degrees), degrees);
        let tensions = degrees
            .iter()
            .filter(|d| relative & (1 << d.half_steps()) != 0)
            .collect();
        let targets = both_falls(chord.root, tensions, scene);
        let mut cost = base + shape_cost - support(root, degrees, scene.context);
        if !degrees.and(ALTERED).is_empty() {
            cost += C.rootless_altered;
        }
        if partner_sounds(root) {
            cost += C.partner_sounds;
        }
        if relative & GUIDE_TONES == GUIDE_TONES && off_guide_tone(scene, root, shape) {
            cost += C.off_guide_tone;
        }
        if scene.heard.bass_is_stated {
            cost += C.another_bass_is_stated;
        }
        out.push(Draft {
            kind: ReadingKind::RootlessDominant,
            chord,
            family: Vec::new(),
            cost,
            targets,
            why,
        });
    }
}

/// The two lowest-cost guide-tone roots of a tritone in the set: each is the other's substitute.
pub(crate) fn tritone_pair(scene: &Scene, out: &mut Vec<Draft>) {
    let Some(best) = scene.best() else { return };
    let dominant = DOMINANT
        .minus(best.sounding())
        .minus(const { DegreeSet::of("1 5") })
        .is_empty();
    if !dominant {
        return;
    }
    let partner = best.root.class().up(6);
    let relative = scene.heard.set.seen_from(partner).bits();
    // The partner of a plain seventh is written as one; its flat fifth and ninth come from the other root.
    let plain = best.degrees.minus(DOMINANT).is_empty();
    let degrees = match dominant_shape(relative) {
        Some((shape, _)) if !plain => shape.quality.degrees,
        _ => DOMINANT,
    };
    let chord = Chord::new(scene.speller.root_of_dominant(partner, degrees), degrees);
    let targets = both_falls(chord.root, DegreeSet::EMPTY, scene);
    let cost = C.tritone_pair - support(partner, degrees, scene.context);
    out.push(Draft {
        kind: ReadingKind::TritonePair,
        chord,
        family: vec![best.root.class(), partner],
        cost,
        targets,
        why: Reason::TritonePair,
    });
}

pub(crate) fn upper_structures(scene: &Scene, out: &mut Vec<Draft>) {
    const GUIDE_TONES: u16 = bits("3 b7");
    const MAJOR_SEVENTH: u16 = bits("7");
    const PLAIN: u16 = bits("1 3 5 b7");
    let set = scene.heard.set;
    for root in PitchClass::all() {
        let relative = set.seen_from(root).bits();
        // Of a dominant that sounds with its root, the partner a tritone away has readings enough.
        let partner_sounds = relative & ROOT == 0 && own_dominant(scene) == Some(root.up(6));
        if relative & GUIDE_TONES != GUIDE_TONES || relative & MAJOR_SEVENTH != 0 || partner_sounds
        {
            continue;
        }
        // Triads that hold two tensions or more.
        let triads = TRIADS.map(|triad| {
            set.iter()
                .filter(|&top| {
                    let notes = triad.pitches().placed_on(top);
                    let tensions = notes.seen_from(root).bits() & !PLAIN;
                    notes.bits() & !set.bits() == 0 && tensions.count_ones() >= 2
                })
                .collect::<PitchSet>()
        });
        if triads == [PitchSet::EMPTY; 2] {
            continue;
        }
        let Some((shape, shape_cost)) = dominant_shape(relative) else {
            continue;
        };
        let degrees = shape.quality.degrees;
        let mut chord = Chord::new(scene.speller.root_of_dominant(root, degrees), degrees);
        let mut cost = C.upper_structure + shape_cost - support(root, degrees, scene.context);
        if relative & ROOT == 0 {
            chord.omitted = const { DegreeSet::of("1") };
            cost += C.upper_structure_rootless;
        }
        let [target, ..] = both_falls(chord.root, degrees, scene);
        out.push(Draft {
            kind: ReadingKind::UpperStructure,
            chord,
            family: Vec::new(),
            cost,
            targets: [target, None, None],
            why: Reason::Upper(triads),
        });
    }
}
