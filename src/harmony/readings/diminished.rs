//! Readings of diminished chords: what they delay, pass between, enrich, and the family they belong to.
//!
//! Input: a [`Scene`]. Output: [`Draft`]s. Units: costs in natural-log units. Method and sources: see [`super`].
//! Limits: a diminished seventh is rooted on its bass; bare diminished triads have no reading of their own.

use super::dominants::dominant_in_context;
use super::draft::{Draft, Scene, Why};
use super::resolution::{Fall, MAJOR_SEVENTH, MAJOR_SIXTH, MINOR_SEVENTH, target_of_dominant};
use crate::harmony::chord::Chord;
use crate::harmony::pitch::{DegreeSet, PitchClass};

/// Cost of a diminished chord whose place both neighbours confirm: below that of any dominant it could stand for.
const BETWEEN_NEIGHBOURS: f32 = -1.4;

/// More notes than this are no diminished chord to the ear any more.
const MOST_NOTES: u32 = 5;

/// Roots of the diminished chords within the set: of a diminished seventh its bass, of a diminished major seventh its one root.
fn roots(scene: &Scene) -> impl Iterator<Item = PitchClass> {
    const TRIAD: u16 = 0b0000_0100_1001;
    const SEVENTH: u16 = 0b0010_0100_1001;
    let (set, bass) = (scene.heard.set, scene.heard.bass);
    PitchClass::all().filter(move |&root| {
        let relative = set.seen_from(root).bits();
        (relative & SEVENTH == SEVENTH && root == bass)
            || (relative & TRIAD == TRIAD
                && relative & (1 << 11) != 0
                && relative & 0b0011_0000 == 0)
    })
}

pub(crate) fn diminished(scene: &Scene, out: &mut Vec<Draft>) {
    let set = scene.heard.set;
    let speller = scene.speller;
    if set.len() > MOST_NOTES {
        return;
    }
    for root in roots(scene) {
        let relative = set.seen_from(root).bits();
        let full = const { DegreeSet::of("1 b3 b5 bb7") };
        let major_seventh = relative & (1 << 11) != 0;
        let named = if major_seventh {
            const { DegreeSet::of("1 b3 b5 7") }
        } else {
            full
        };
        let chord = Chord::new(speller.root(root, named), named);
        let tonic = |degrees| Chord::new(speller.root(root, degrees), degrees);
        let next = scene.context.after.map(|after| after.root.class());
        let previous = scene.context.before.map(|before| before.root.class());
        if major_seventh {
            let plain = Chord::new(speller.root(root, full), full);
            let targets = [Some(tonic(MAJOR_SEVENTH)), None];
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
        let delayed = tonic(MAJOR_SEVENTH);
        let tonics = [Some(delayed), Some(tonic(MAJOR_SIXTH))];
        let bonus = if falls { 1.6 } else { 0.0 };
        let base = if major_seventh { 1.0 } else { 1.5 };
        out.push(Draft {
            kind: "delayed tonic",
            chord: delayed,
            family: Vec::new(),
            cost: base - bonus,
            targets: tonics,
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
                targets: [Some(to), None],
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
                targets: [Some(to), None],
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
                targets: [Some(to), None],
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
    }
}

/// The half-whole scale that holds the whole set: its dominants lie minor thirds apart.
pub(crate) fn half_whole_family(scene: &Scene, out: &mut Vec<Draft>) {
    const HALF_WHOLE: u16 = 0b0110_1101_1011;
    let set = scene.heard.set;
    let Some(first) = roots(scene).next().and_then(|root| {
        (1..=3)
            .map(|step| root.up(step))
            .find(|&d| set.seen_from(d).bits() & !HALF_WHOLE == 0)
    }) else {
        return;
    };
    let family: Vec<PitchClass> = (0..4).map(|k| first.up(3 * k)).collect();
    // The one whose third and seventh sound, or that key and next chord ask for.
    let likely = |root: PitchClass| {
        let guide_tones = set.seen_from(root).bits() & (1 << 4 | 1 << 10);
        0.5 * guide_tones.count_ones() as f32 + dominant_in_context(root, scene.context)
    };
    let likeliest = family
        .iter()
        .copied()
        .reduce(|a, b| if likely(b) > likely(a) { b } else { a })
        .unwrap_or(first);
    let degrees = const { DegreeSet::of("1 3 5 b7 b9") };
    let (key, speller) = (scene.context.key, scene.speller);
    let chord = Chord::new(speller.root(likeliest, degrees), degrees);
    let target = target_of_dominant(chord.root, Fall::Fifth, DegreeSet::EMPTY, key, speller);
    out.push(Draft {
        kind: "half-whole diminished family",
        chord,
        family,
        cost: 1.8,
        targets: [Some(target), None],
        why: Why::HalfWhole,
    });
}
