//! Readings that are neither dominants nor diminished: slash chords, rootless voicings, stacks of fourths.
//!
//! Input: a [`Scene`]. Output: [`Draft`]s. Units: costs in natural-log units. Method and sources: see [`super`]; left hands without root are
//! those of Levine, The Jazz Piano Book, 1989, ch. 7: third, seventh and tensions of a seventh chord, third, sixth and ninth of a sixth chord.
//! Limits: each kind looks at pitch classes and the bass only.

use super::costs::COSTS as C;
use super::draft::{Draft, Reason, Scene};
use super::resolution::DOMINANT;
use super::support::support;
use crate::harmony::chord::Chord;
use crate::harmony::chord::quality::{FIFTH, ROOT, SEVENTHS, SHAPES, Shape, THIRDS, TRIADS, bits};
use crate::harmony::named::ReadingKind;
use crate::harmony::pitch::{Degree, DegreeSet, PitchClass, PitchSet};

const SIXTH: u16 = bits("6");

/// A complete triad over a bass that does not belong to it. Plain sevenths and sixths are no slash chords, though each is a triad and a note.
pub(crate) fn over_bass(scene: &Scene, out: &mut Vec<Draft>) {
    const PLAIN: DegreeSet = DegreeSet::of("1 b3 3 b5 5 6 bb7 b7 7");
    const MAJOR_SEVENTH_OVER_DIMINISHED: DegreeSet = DegreeSet::of("b3 b5 7");
    let upper = scene.heard.set.without(scene.heard.bass);
    if upper.len() != 3 {
        return;
    }
    let plain = scene.best().is_some_and(|best| {
        best.bass
            .is_none_or(|bass| best.pitches().contains(bass.class()))
            && best.omitted.is_empty()
            && best.degrees.minus(PLAIN).is_empty()
            && !MAJOR_SEVENTH_OVER_DIMINISHED.minus(best.degrees).is_empty()
            && best.degrees.pitches().placed_on(best.root.class()) == scene.heard.set
    });
    if plain {
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
                    targets: [None; 3],
                    why: Reason::TriadOverBass,
                });
            }
        }
    }
}

/// Seventh and sixth chords, no dominants, whose root is left to the bass player.
pub(crate) fn rootless_others(scene: &Scene, out: &mut Vec<Draft>) {
    let keys = scene.heard.set.len();
    if keys < 2 {
        return;
    }
    for root in PitchClass::all() {
        let relative = scene.heard.set.seen_from(root).bits();
        if relative & ROOT != 0 || relative & THIRDS == 0 {
            continue;
        }
        let Some(shape) = rootless_shape(relative) else {
            continue;
        };
        let degrees = shape.quality.degrees;
        let supported = support(root, degrees, scene.context);
        // Two keys alone are guide tones, and a bare triad the upper part of a seventh chord, only where something says of which chord.
        let bare =
            keys == 2 || relative & shape.mask & !(shape.third | shape.fifth | shape.seventh) == 0;
        if bare && supported < C.two_before_a_substitute {
            continue;
        }
        let chord = Chord::new(scene.speller.root(root, degrees), degrees);
        let minor =
            degrees.contains(Degree::MINOR_THIRD) && degrees.contains(Degree::MINOR_SEVENTH);
        let dominant = || Chord::new(scene.speller.root(root.up(5), DOMINANT), DOMINANT);
        let missing = (shape.mask & !relative).count_ones() - 1;
        // Sixth chords are the staple tonics of left hands, minor ones too.
        let rarity = match shape.seventh {
            SIXTH => shape.rarity.min(C.rootless_sixth),
            _ => shape.rarity,
        };
        let mut cost = C.rootless_other + rarity + C.note_missing * missing as f32 - supported;
        if scene.best().is_some_and(|best| best.bass.is_some()) {
            cost -= C.else_inverted;
        }
        if keys < 4 {
            cost += C.rootless_of_few;
        }
        const FAR: DegreeSet = DegreeSet::of("13 #11");
        if !degrees.and(FAR).is_empty() {
            cost += C.rootless_far;
        }
        if off_guide_tone(scene, root, shape) {
            cost += C.off_guide_tone;
        }
        if scene.heard.bass_is_stated {
            cost += C.another_bass_is_stated;
        }
        out.push(Draft {
            kind: ReadingKind::RootlessVoicing,
            chord,
            family: Vec::new(),
            cost,
            targets: [minor.then(dominant), None, None],
            why: Reason::Rootless,
        });
    }
}

/// True of a chord without root that rests on neither its third nor its seventh or sixth.
pub(crate) fn off_guide_tone(scene: &Scene, root: PitchClass, shape: &Shape) -> bool {
    (1 << scene.heard.bass.above(root)) & (shape.third | shape.seventh) == 0
}

/// The commonest chord, no dominant, whose left hand without root these notes are.
fn rootless_shape(relative: u16) -> Option<&'static Shape> {
    const NINTH: u16 = bits("9");
    let fits = |shape: &&Shape| {
        let missing = shape.mask & !relative & !ROOT;
        let sixth_chord = shape.seventh == SIXTH && shape.mask & NINTH != 0;
        let says_it = if sixth_chord {
            // The sixth and the ninth stand for root and seventh.
            relative & SIXTH != 0 && relative & NINTH != 0
        } else {
            shape.seventh & SEVENTHS != 0 && relative & shape.seventh != 0
        };
        !shape.dominant
            && shape.third & THIRDS != 0
            && relative & shape.third != 0
            && shape.fifth == FIFTH
            && says_it
            && relative & !shape.mask == 0
            && missing & !(shape.silent | FIFTH) == 0
    };
    SHAPES.iter().find(fits)
}

/// Three or more notes that lie in fourths.
pub(crate) fn fourths(scene: &Scene, out: &mut Vec<Draft>) {
    let set = scene.heard.set;
    let Some(best) = scene.best() else { return };
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
            targets: [None; 3],
            why: Reason::Fourths(low),
        });
    }
}
