//! Readings that are neither dominants nor diminished: triads over a foreign bass, rootless voicings, stacks of fourths.
//!
//! Input: a [`Scene`]. Output: [`Draft`]s. Units: costs in natural-log units. Method and sources: see [`super`].
//! Limits: each kind looks at pitch classes and the bass only.

use super::draft::{Draft, Scene, Why};
use super::resolution::DOMINANT;
use crate::harmony::chord::Chord;
use crate::harmony::chord::quality::{SHAPES, Shape, TRIADS};
use crate::harmony::pitch::{Degree, PitchClass, PitchSet};

/// A complete triad over a bass that does not belong to it.
pub(crate) fn over_bass(scene: &Scene, out: &mut Vec<Draft>) {
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
                    targets: [None; 2],
                    why: Why::TriadOverBass,
                });
            }
        }
    }
}

/// Major and minor seventh chords with a ninth or more whose root is left to the bass player.
pub(crate) fn rootless_others(scene: &Scene, out: &mut Vec<Draft>) {
    if scene.heard.set.len() < 3 {
        return;
    }
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
        // The commonest comes first.
        let Some(shape) = SHAPES.iter().find(fits) else {
            continue;
        };
        let degrees = shape.quality.degrees;
        let chord = Chord::new(scene.speller.root(root, degrees), degrees);
        let key_bonus = match scene.context.key {
            Some(key) if (shape.mask & !key.pitches().seen_from(root).bits()) == 0 => 0.3,
            _ => 0.0,
        };
        let minor = degrees.contains(Degree::MINOR_THIRD);
        let dominant = || Chord::new(scene.speller.root(root.up(5), DOMINANT), DOMINANT);
        let targets = [minor.then(dominant), None];
        out.push(Draft {
            kind: "rootless voicing",
            chord,
            family: Vec::new(),
            cost: 1.2 + shape.rarity - key_bonus,
            targets,
            why: Why::Rootless,
        });
    }
}

/// Three or more notes that lie in fourths.
pub(crate) fn fourths(scene: &Scene, out: &mut Vec<Draft>) {
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
            targets: [None; 2],
            why: Why::Fourths(low),
        });
    }
}
