//! Readings as a dominant: complete, rootless, as a tritone pair, as an upper structure over guide tones; and the second degree before one.
//!
//! Input: a [`Scene`]. Output: [`Draft`]s. Units: costs in natural-log units. Method and sources: see [`super`].
//! Limits: pitch classes and the bass only; a dominant that shows neither third nor seventh is not looked for.

use super::draft::{Draft, Scene, Why};
use super::resolution::{DOMINANT, Fall, target_of_dominant};
use crate::harmony::chord::Chord;
use crate::harmony::chord::quality::{DOMINANTS, Shape, TRIADS};
use crate::harmony::context::Context;
use crate::harmony::pitch::{DegreeSet, PitchClass, PitchSet, Spelled};

/// What it costs a rootless dominant that the one a tritone away sounds with its root: the bass then says which of the two it is.
const PARTNER_SOUNDS: f32 = 2.0;

/// The dominant shape with the fewest words that holds `relative` (counted from a root that need not sound); its cost.
pub(crate) fn dominant_shape(relative: u16) -> Option<(&'static Shape, f32)> {
    let mut found: Option<(&'static Shape, f32)> = None;
    for &shape in DOMINANTS.iter() {
        // The commonest come first.
        if found.is_some_and(|(_, best)| best <= shape.rarity) {
            break;
        }
        let missing = shape.mask & !relative;
        let plain_fifth = if shape.fifth == 1 << 7 {
            shape.fifth
        } else {
            0
        };
        let may_miss = shape.silent | plain_fifth | shape.third | shape.seventh | 1;
        if relative & !shape.mask != 0 || missing & !may_miss != 0 {
            continue;
        }
        let cost = shape.rarity + 0.15 * missing.count_ones() as f32;
        if found.is_none_or(|(_, best)| cost < best) {
            found = Some((shape, cost));
        }
    }
    found
}

/// What key and next chord say of a dominant on `root`: taken off its cost.
pub(crate) fn dominant_in_context(root: PitchClass, context: &Context) -> f32 {
    let mut bonus = 0.0;
    match context.after.map(|after| root.above(after.root.class())) {
        Some(7) => bonus += 1.5,
        Some(1) => bonus += 1.0,
        _ => {}
    }
    if let Some(key) = context.key {
        let degree = root.above(key.tonic.class());
        // The dominant and its substitute, then those of ii, IV and vi.
        bonus += match degree {
            7 => 1.0,
            1 => 0.4,
            9 | 2 | 4 | 0 => 0.2,
            _ => 0.0,
        };
    }
    bonus
}

/// Where a dominant on `root` goes: down a fifth, or as a substitute down a half step.
fn both_falls(root: Spelled, tensions: DegreeSet, scene: &Scene) -> [Option<Chord>; 2] {
    let (key, speller) = (scene.context.key, scene.speller);
    [
        Some(target_of_dominant(
            root,
            Fall::Fifth,
            tensions,
            key,
            speller,
        )),
        Some(target_of_dominant(
            root,
            Fall::HalfStep,
            DegreeSet::EMPTY,
            key,
            speller,
        )),
    ]
}

/// A dominant and the root a fifth below it, both on the flat or both on the sharp side: as the goal asks for, where that leaves the
/// dominant a plain name (C#7 to F#m, not Db7), else as the dominant does (F7 to Bbm, not A#m).
fn on_one_side(dominant: Spelled, goal: Spelled) -> (Spelled, Spelled) {
    let above_goal = Spelled::at_fifths(goal.fifths() + 1);
    if above_goal.accidentals().abs() < 2 && !above_goal.is_white_key_with_accidental() {
        (above_goal, goal)
    } else {
        (dominant, Spelled::at_fifths(dominant.fifths() - 1))
    }
}

/// The root of the dominant that sounds complete with its root, if the best name is one.
fn own_dominant(scene: &Scene) -> Option<PitchClass> {
    let best = scene.best?;
    DOMINANT
        .minus(best.sounding())
        .minus(const { DegreeSet::of("5") })
        .is_empty()
        .then_some(best.root.class())
}

/// The chord itself where its name says already that it leads on: a dominant, a suspended one, a second degree before its dominant.
pub(crate) fn leads_by_itself(scene: &Scene, out: &mut Vec<Draft>) {
    const SUSPENDED: DegreeSet = DegreeSet::of("1 4 b7");
    const SECOND: DegreeSet = DegreeSet::of("1 b3 b7");
    let Some(best) = scene.best else { return };
    let (sounding, root) = (best.sounding(), best.root.class());
    let chord = Chord { bass: None, ..best };
    let next = scene
        .context
        .after
        .map(|after| root.above(after.root.class()));
    let seventh_on = |up: i32| Chord::new(scene.speller.root(root.up(up), DOMINANT), DOMINANT);
    let draft = |kind, cost, targets, why| Draft {
        kind,
        chord,
        family: Vec::new(),
        cost,
        targets,
        why,
    };
    if own_dominant(scene).is_some() {
        let cost = 0.6 - dominant_in_context(root, scene.context);
        let targets = both_falls(best.root, sounding, scene);
        out.push(draft("dominant", cost, targets, Why::GuideTones));
    } else if SUSPENDED.minus(sounding).is_empty() {
        let [tonic, _] = both_falls(best.root, sounding, scene);
        let base = if root == scene.heard.bass { 0.8 } else { 1.3 };
        let cost = base - dominant_in_context(root, scene.context);
        out.push(draft(
            "suspended dominant",
            cost,
            [Some(seventh_on(0)), tonic],
            Why::Suspended,
        ));
    } else if SECOND.minus(sounding).is_empty() {
        let bonus = if next == Some(7) { 1.0 } else { 0.0 };
        out.push(draft(
            "related ii",
            1.0 - bonus,
            [Some(seventh_on(5)), None],
            Why::Second,
        ));
    }
}

pub(crate) fn rootless_dominants(scene: &Scene, out: &mut Vec<Draft>) {
    const THIRD: u16 = 1 << 4;
    const SEVENTH: u16 = 1 << 10;
    const TELLING: u16 = 1 << 1 | 1 << 3 | 1 << 6 | 1 << 8 | 1 << 9;
    if scene.heard.set.len() < 2 {
        return;
    }
    let partner_sounds = |root: PitchClass| own_dominant(scene) == Some(root.up(6));
    for root in PitchClass::all() {
        let relative = scene.heard.set.seen_from(root).bits();
        if relative & 1 != 0 || relative & (1 << 11) != 0 {
            continue;
        }
        let telling = (relative & TELLING).count_ones();
        let (why, base) = match (relative & THIRD != 0, relative & SEVENTH != 0) {
            (true, true) => (Why::GuideTones, 0.3),
            (true, false) if telling >= 2 => (Why::ThirdAndTensions, 2.4),
            (false, true) if telling >= 2 => (Why::SeventhAndTensions, 2.2),
            _ => continue,
        };
        let Some((shape, shape_cost)) = dominant_shape(relative) else {
            continue;
        };
        let degrees = shape.quality.degrees;
        let mut chord = Chord::new(scene.speller.root(root, degrees), degrees);
        let tensions = degrees
            .iter()
            .filter(|d| relative & (1 << d.half_steps()) != 0)
            .collect();
        let mut targets = both_falls(chord.root, tensions, scene);
        if let Some(goal) = targets[0] {
            let (dominant, goal_root) = on_one_side(chord.root, goal.root);
            if dominant != chord.root {
                targets = both_falls(dominant, tensions, scene);
                chord.root = dominant;
            }
            targets[0] = Some(Chord {
                root: goal_root,
                ..goal
            });
        }
        let mut cost = base + shape_cost - dominant_in_context(root, scene.context);
        if partner_sounds(root) {
            cost += PARTNER_SOUNDS;
        }
        out.push(Draft {
            kind: "rootless dominant",
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
    let Some(best) = scene.best else { return };
    let dominant = DOMINANT
        .minus(best.sounding())
        .minus(const { DegreeSet::of("1 5") })
        .is_empty();
    if !dominant {
        return;
    }
    let partner = best.root.class().up(6);
    let relative = scene.heard.set.seen_from(partner).bits();
    let degrees = dominant_shape(relative).map_or(DOMINANT, |(shape, _)| shape.quality.degrees);
    let chord = Chord::new(scene.speller.root(partner, degrees), degrees);
    let targets = both_falls(chord.root, DegreeSet::EMPTY, scene);
    let cost = 1.6 - dominant_in_context(partner, scene.context);
    out.push(Draft {
        kind: "tritone pair",
        chord,
        family: vec![best.root.class(), partner],
        cost,
        targets,
        why: Why::TritonePair,
    });
}

pub(crate) fn upper_structures(scene: &Scene, out: &mut Vec<Draft>) {
    const GUIDE_TONES: u16 = 1 << 4 | 1 << 10;
    const PLAIN: u16 = 1 | 1 << 4 | 1 << 7 | 1 << 10;
    let set = scene.heard.set;
    for root in PitchClass::all() {
        let relative = set.seen_from(root).bits();
        // Of a dominant that sounds with its root, the partner a tritone away has readings enough.
        let partner_sounds = relative & 1 == 0 && own_dominant(scene) == Some(root.up(6));
        if relative & GUIDE_TONES != GUIDE_TONES || relative & (1 << 11) != 0 || partner_sounds {
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
        let mut chord = Chord::new(scene.speller.root(root, degrees), degrees);
        let mut cost = 1.2 + shape_cost - dominant_in_context(root, scene.context);
        if relative & 1 == 0 {
            chord.omitted = const { DegreeSet::of("1") };
            cost += 0.6;
        }
        let key = scene.context.key;
        let target = target_of_dominant(chord.root, Fall::Fifth, degrees, key, scene.speller);
        out.push(Draft {
            kind: "upper structure",
            chord,
            family: Vec::new(),
            cost,
            targets: [Some(target), None],
            why: Why::Upper(triads),
        });
    }
}
