//! Readings that are neither dominants nor diminished: triads over a foreign bass, rootless voicings, stacks of fourths.
//!
//! Input: a [`Scene`]. Output: [`Draft`]s. Units: costs in natural-log units. Method and sources: see [`super`].
//! Limits: each kind looks at pitch classes and the bass only.

use super::costs::COSTS as C;
use super::draft::{Draft, Reason, Scene};
use super::resolution::DOMINANT;
use crate::harmony::chord::Chord;
use crate::harmony::chord::quality::{FIFTH, ROOT, SEVENTHS, SHAPES, Shape, THIRDS, TRIADS};
use crate::harmony::named::ReadingKind;
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
                    kind: ReadingKind::TriadOverBass,
                    chord,
                    family: Vec::new(),
                    cost: C.triad_over_bass,
                    targets: [None; 2],
                    why: Reason::TriadOverBass,
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
        let third_and_seventh = relative & THIRDS != 0 && relative & SEVENTHS != 0;
        if relative & ROOT != 0 || !third_and_seventh {
            continue;
        }
        let fits = |shape: &&Shape| {
            let missing = shape.mask & !relative & !ROOT;
            !shape.dominant
                && shape.third & THIRDS != 0
                && shape.fifth == FIFTH
                && shape.seventh & SEVENTHS != 0
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
            Some(key) if (shape.mask & !key.pitches().seen_from(root).bits()) == 0 => {
                C.rootless_other_in_key
            }
            _ => 0.0,
        };
        let minor = degrees.contains(Degree::MINOR_THIRD);
        let dominant = || Chord::new(scene.speller.root(root.up(5), DOMINANT), DOMINANT);
        let targets = [minor.then(dominant), None];
        out.push(Draft {
            kind: ReadingKind::RootlessVoicing,
            chord,
            family: Vec::new(),
            cost: C.rootless_other + shape.rarity - key_bonus,
            targets,
            why: Reason::Rootless,
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
            kind: ReadingKind::StackOfFourths,
            chord: best,
            family: Vec::new(),
            cost: C.fourths,
            targets: [None; 2],
            why: Reason::Fourths(low),
        });
    }
}
