//! The kinds of reading, one function each.
//!
//! Input: a [`Scene`]. Output: [`Draft`]s. Units: costs in natural-log units. Method and sources: see [`super::readings`].
//! Limits: each kind looks at pitch classes and the bass only.

use super::Context;
use super::degree::{Degree, DegreeSet};
use super::pitch::{PitchClass, PitchSet};
use super::quality::{SHAPES, Shape};
use super::readings::{Draft, Scene, Why};
use super::resolution::{DOMINANT, MAJOR_SEVENTH, MAJOR_SIXTH, MINOR_SEVENTH, target_of_dominant};
use super::symbol::Chord;

/// All kinds of reading.
pub(crate) const KINDS: [fn(&Scene, &mut Vec<Draft>); 7] = [
    rootless_dominants,
    tritone_pair,
    upper_structures,
    diminished,
    over_bass,
    rootless_others,
    fourths,
];

/// Cost of a diminished chord whose place both neighbours confirm: below that of any dominant it could stand for.
const BETWEEN_NEIGHBOURS: f32 = -1.4;

const TRIADS: [DegreeSet; 2] = [DegreeSet::of("1 3 5"), DegreeSet::of("1 b3 5")];

/// The dominant shape with the fewest words that holds `relative` (counted from a root that need not sound); its cost.
pub(crate) fn dominant_shape(relative: u16) -> Option<(&'static Shape, f32)> {
    let mut found: Option<(&'static Shape, f32)> = None;
    for shape in SHAPES.iter().filter(|s| s.dominant) {
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
        let cost = shape.quality.rarity + 0.15 * missing.count_ones() as f32;
        if found.is_none_or(|(_, best)| cost < best) {
            found = Some((shape, cost));
        }
    }
    found
}

/// What key and next chord say of a dominant on `root`: taken off its cost.
fn dominant_in_context(root: PitchClass, context: &Context) -> f32 {
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
            7 => 0.6,
            1 => 0.4,
            9 | 2 | 4 | 0 => 0.2,
            _ => 0.0,
        };
    }
    bonus
}

fn rootless_dominants(scene: &Scene, out: &mut Vec<Draft>) {
    const THIRD: u16 = 1 << 4;
    const SEVENTH: u16 = 1 << 10;
    const TELLING: u16 = 1 << 1 | 1 << 3 | 1 << 6 | 1 << 8 | 1 << 9;
    if scene.heard.set.len() < 2 {
        return;
    }
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
        let chord = Chord::new(scene.speller.root(root, degrees), degrees);
        let tensions = degrees
            .iter()
            .filter(|d| relative & (1 << d.half_steps()) != 0)
            .collect();
        let key = scene.context.key;
        let targets = vec![
            target_of_dominant(root.up(5), tensions, key, scene.speller),
            target_of_dominant(root.up(-1), DegreeSet::EMPTY, key, scene.speller),
        ];
        let cost = base + shape_cost - dominant_in_context(root, scene.context);
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
fn tritone_pair(scene: &Scene, out: &mut Vec<Draft>) {
    let Some(best) = scene.best else { return };
    let dominant = DOMINANT
        .minus(best.sounding())
        .minus(DegreeSet::of("1 5"))
        .is_empty();
    if !dominant {
        return;
    }
    let partner = best.root.class().up(6);
    let relative = scene.heard.set.seen_from(partner).bits();
    let degrees = dominant_shape(relative).map_or(DOMINANT, |(shape, _)| shape.quality.degrees);
    let chord = Chord::new(scene.speller.root(partner, degrees), degrees);
    let key = scene.context.key;
    let targets = vec![
        target_of_dominant(partner.up(5), DegreeSet::EMPTY, key, scene.speller),
        target_of_dominant(partner.up(-1), DegreeSet::EMPTY, key, scene.speller),
    ];
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

fn upper_structures(scene: &Scene, out: &mut Vec<Draft>) {
    let set = scene.heard.set;
    for root in PitchClass::all() {
        let relative = set.seen_from(root).bits();
        if relative & (1 << 4 | 1 << 10) != (1 << 4 | 1 << 10) || relative & (1 << 11) != 0 {
            continue;
        }
        for top in PitchClass::all() {
            for triad in TRIADS {
                let notes = triad.pitches().placed_on(top);
                if notes.bits() & !set.bits() != 0 {
                    continue;
                }
                let from_root = notes.seen_from(root).bits();
                let tensions = from_root & !(1 | 1 << 4 | 1 << 7 | 1 << 10);
                if tensions.count_ones() < 2 {
                    continue;
                }
                let Some((shape, shape_cost)) = dominant_shape(relative) else {
                    continue;
                };
                let degrees = shape.quality.degrees;
                let mut chord = Chord::new(scene.speller.root(root, degrees), degrees);
                if relative & 1 == 0 {
                    chord.omitted = DegreeSet::of("1");
                }
                let upper = Chord::new(scene.speller.root(top, triad), triad);
                let key = scene.context.key;
                let targets = vec![target_of_dominant(root.up(5), degrees, key, scene.speller)];
                let cost = 1.2 + shape_cost + if relative & 1 == 0 { 0.6 } else { 0.0 }
                    - dominant_in_context(root, scene.context);
                out.push(Draft {
                    kind: "upper structure",
                    chord,
                    family: Vec::new(),
                    cost,
                    targets,
                    why: Why::Upper(upper),
                });
            }
        }
    }
}

fn diminished(scene: &Scene, out: &mut Vec<Draft>) {
    const TRIAD: u16 = 0b0000_0100_1001;
    const SEVENTH: u16 = 0b0010_0100_1001;
    const HALF_WHOLE: u16 = 0b0110_1101_1011;
    let set = scene.heard.set;
    let bass = scene.heard.bass;
    let speller = scene.speller;
    // A full diminished seventh is rooted on its bass; a diminished major seventh has one root only.
    let rooted: Vec<PitchClass> = PitchClass::all()
        .filter(|&r| {
            let relative = set.seen_from(r).bits();
            (relative & SEVENTH == SEVENTH && r == bass)
                || (relative & TRIAD == TRIAD
                    && relative & (1 << 11) != 0
                    && relative & 0b0011_0000 == 0)
        })
        .collect();
    for root in rooted {
        let relative = set.seen_from(root).bits();
        let full = DegreeSet::of("1 b3 b5 bb7");
        let major_seventh = relative & (1 << 11) != 0;
        let named = if major_seventh {
            DegreeSet::of("1 b3 b5 7")
        } else {
            full
        };
        let chord = Chord::new(speller.root(root, named), named);
        let tonic = |degrees| Chord::new(speller.root(root, degrees), degrees);
        let next = scene.context.after.map(|after| after.root.class());
        let previous = scene.context.before.map(|before| before.root.class());
        if major_seventh {
            let plain = Chord::new(speller.root(root, full), full);
            let targets = vec![tonic(MAJOR_SEVENTH)];
            let replaced = root.up(9);
            out.push(Draft {
                kind: "enriched diminished seventh",
                chord: plain,
                family: Vec::new(),
                cost: 1.4,
                targets,
                why: Why::Enriches(replaced),
            });
        }
        let falls = next == Some(root);
        let tonics = vec![tonic(MAJOR_SEVENTH), tonic(MAJOR_SIXTH)];
        let delayed = tonics[0];
        let bonus = if falls { 1.6 } else { 0.0 };
        let base = if major_seventh { 1.0 } else { 1.5 };
        out.push(Draft {
            kind: "delayed tonic",
            chord: delayed,
            family: Vec::new(),
            cost: base - bonus,
            targets: tonics.clone(),
            why: Why::Delays,
        });
        if !major_seventh {
            let shared = next.is_some_and(|n| set.contains(n) && n != root);
            let target = next.filter(|_| shared).unwrap_or(root);
            let to = scene
                .context
                .after
                .filter(|_| shared)
                .unwrap_or(tonic(MAJOR_SIXTH));
            let cost = if shared || target == root && falls {
                0.6
            } else {
                1.8
            };
            out.push(Draft {
                kind: "common-tone diminished",
                chord,
                family: Vec::new(),
                cost,
                targets: vec![to],
                why: Why::CommonTone,
            });
            let up = next == Some(root.up(1));
            let minor_up = Chord::new(speller.root(root.up(1), MINOR_SEVENTH), MINOR_SEVENTH);
            let to = scene.context.after.filter(|_| up).unwrap_or(minor_up);
            out.push(Draft {
                kind: "passing diminished",
                chord,
                family: Vec::new(),
                cost: match (up, previous == Some(root.up(-1))) {
                    (true, true) => BETWEEN_NEIGHBOURS,
                    (true, false) => 0.2,
                    (false, _) => 1.6,
                },
                targets: vec![to],
                why: Why::PassingUp,
            });
            let down = next == Some(root.up(-1));
            let minor_down = Chord::new(speller.root(root.up(-1), MINOR_SEVENTH), MINOR_SEVENTH);
            let to = scene.context.after.filter(|_| down).unwrap_or(minor_down);
            out.push(Draft {
                kind: "passing diminished",
                chord,
                family: Vec::new(),
                cost: match (down, previous == Some(root.up(1))) {
                    (true, true) => BETWEEN_NEIGHBOURS,
                    (true, false) => 0.2,
                    (false, _) => 2.0,
                },
                targets: vec![to],
                why: Why::PassingDown,
            });
            let auxiliary = previous == Some(root) && falls;
            let cost = if auxiliary { BETWEEN_NEIGHBOURS } else { 2.2 };
            out.push(Draft {
                kind: "auxiliary diminished",
                chord,
                family: Vec::new(),
                cost,
                targets: tonics,
                why: Why::Auxiliary,
            });
        }
        // The half-whole scales that hold the whole set: their dominants lie minor thirds apart.
        if let Some(first) = (1..=3)
            .map(|step| root.up(step))
            .find(|&d| set.seen_from(d).bits() & !HALF_WHOLE == 0)
        {
            let family: Vec<PitchClass> = (0..4).map(|k| first.up(3 * k)).collect();
            let likeliest = family
                .iter()
                .copied()
                .max_by(|a, b| {
                    dominant_in_context(*a, scene.context)
                        .total_cmp(&dominant_in_context(*b, scene.context))
                })
                .unwrap_or(first);
            let degrees = DegreeSet::of("1 3 5 b7 b9");
            let chord = Chord::new(speller.root(likeliest, degrees), degrees);
            let key = scene.context.key;
            let targets = family
                .iter()
                .map(|r| target_of_dominant(r.up(5), DegreeSet::EMPTY, key, speller))
                .collect();
            out.push(Draft {
                kind: "half-whole diminished family",
                chord,
                family,
                cost: 1.8,
                targets,
                why: Why::HalfWhole,
            });
        }
    }
}

/// A complete triad over a bass that does not belong to it.
fn over_bass(scene: &Scene, out: &mut Vec<Draft>) {
    let upper = scene.heard.set.without(scene.heard.bass);
    if upper.len() != 3 {
        return;
    }
    for root in upper.iter() {
        for triad in TRIADS {
            if triad.pitches().placed_on(root) == upper {
                let plain = Chord::new(scene.speller.root(root, triad), triad);
                let chord = Chord {
                    bass: Some(scene.speller.bass(plain.root, triad, scene.heard.bass)),
                    ..plain
                };
                out.push(Draft {
                    kind: "triad over bass",
                    chord,
                    family: Vec::new(),
                    cost: 1.3,
                    targets: Vec::new(),
                    why: Why::TriadOverBass,
                });
            }
        }
    }
}

/// Major and minor seventh chords with a ninth or more whose root is left to the bass player.
fn rootless_others(scene: &Scene, out: &mut Vec<Draft>) {
    for root in PitchClass::all() {
        let relative = scene.heard.set.seen_from(root).bits();
        let third_and_seventh = relative & 0b1_1000 != 0 && relative & 0b1100_0000_0000 != 0;
        if relative & 1 != 0 || !third_and_seventh {
            continue;
        }
        let fits = |shape: &&Shape| {
            let missing = shape.mask & !relative & !1;
            !shape.dominant
                && shape.third & 0b1_1000 != 0
                && shape.fifth == 1 << 7
                && shape.seventh & (1 << 10 | 1 << 11) != 0
                && relative & !shape.mask == 0
                && missing & !shape.silent == 0
        };
        let Some(shape) = SHAPES
            .iter()
            .filter(fits)
            .min_by(|a, b| a.quality.rarity.total_cmp(&b.quality.rarity))
        else {
            continue;
        };
        let degrees = shape.quality.degrees;
        let chord = Chord::new(scene.speller.root(root, degrees), degrees);
        let key_bonus = match scene.context.key {
            Some(key) if (shape.mask & !key.pitches().seen_from(root).bits()) == 0 => 0.3,
            _ => 0.0,
        };
        let minor = degrees.contains(Degree::MINOR_THIRD);
        let targets = if minor {
            vec![Chord::new(
                scene.speller.root(root.up(5), DOMINANT),
                DOMINANT,
            )]
        } else {
            Vec::new()
        };
        out.push(Draft {
            kind: "rootless voicing",
            chord,
            family: Vec::new(),
            cost: 1.2 + shape.quality.rarity - key_bonus,
            targets,
            why: Why::Rootless,
        });
    }
}

/// Three or more notes that lie in fourths.
fn fourths(scene: &Scene, out: &mut Vec<Draft>) {
    let set = scene.heard.set;
    let Some(best) = scene.best else { return };
    if set.len() < 3 || set.len() > 6 {
        return;
    }
    let lowest = set.iter().find(|&low| {
        let chain: PitchSet = (0..set.len() as i32).map(|k| low.up(5 * k)).collect();
        chain == set
    });
    if let Some(low) = lowest {
        out.push(Draft {
            kind: "stack of fourths",
            chord: best,
            family: Vec::new(),
            cost: 0.9,
            targets: Vec::new(),
            why: Why::Fourths(low),
        });
    }
}
