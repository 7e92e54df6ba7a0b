//! Readings of diminished chords: what they delay, pass between, enrich, and the family they belong to.
//!
//! Input: a [`Scene`]. Output: [`Draft`]s. Units: costs in natural-log units. Method and sources: see [`super`].
//! Limits: a diminished seventh is rooted on its bass; bare diminished triads have no reading of their own.

use super::costs::COSTS as C;
use super::draft::{Draft, Reason, Scene};
use super::resolution::{DOMINANT, MAJOR_SEVENTH, MAJOR_SIXTH, MINOR_SEVENTH, both_falls};
use super::support::support;
use crate::harmony::chord::Chord;
use crate::harmony::chord::quality::bits;
use crate::harmony::named::ReadingKind;
use crate::harmony::pitch::{DegreeSet, PitchClass};

/// More notes than this are no diminished chord to the ear any more.
const MOST_NOTES: u32 = 5;

/// Roots of the diminished chords within the set: the bass; of a diminished major seventh also its one root, where the next chord stands on it.
fn roots(scene: &Scene) -> impl Iterator<Item = PitchClass> {
    const SEVENTH: u16 = bits("1 b3 b5 bb7");
    const MAJOR_SEVENTH: u16 = bits("1 b3 b5 7");
    // A major third or a fourth tells of another chord.
    const THIRD_OR_FOURTH: u16 = bits("3 4");
    let (set, bass) = (scene.heard.set, scene.heard.bass);
    PitchClass::all().filter(move |&root| {
        let relative = set.seen_from(root).bits();
        (relative & SEVENTH == SEVENTH && root == bass)
            || (relative & MAJOR_SEVENTH == MAJOR_SEVENTH
                && relative & THIRD_OR_FOURTH == 0
                && (root == bass || scene.falls_to(root)))
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
        let major_seventh = relative & const { bits("7") } != 0;
        let named = if major_seventh {
            const { DegreeSet::of("1 b3 b5 7") }
        } else {
            full
        };
        let chord = Chord::new(speller.root(root, named), named);
        let tonic = |degrees| Chord::new(speller.root(root, degrees), degrees);
        // Over another bass the next chord is reached by that: #ivdim7 passes to the fifth of I.
        let next = scene.context.after.map(|after| after.lowest().class());
        let previous = scene.context.before.map(|before| before.root.class());
        if major_seventh {
            let plain = Chord::new(speller.root(root, full), full);
            let targets = [Some(tonic(MAJOR_SEVENTH)), None, None];
            let replaced = root.up(9);
            out.push(Draft {
                kind: ReadingKind::EnrichedDiminishedSeventh,
                chord: plain,
                family: Vec::new(),
                cost: C.enriched_diminished,
                targets,
                why: Reason::Enriches(replaced),
            });
        }
        let falls = next == Some(root);
        let delayed = tonic(MAJOR_SEVENTH);
        let tonics = [Some(delayed), Some(tonic(MAJOR_SIXTH)), None];
        let bonus = if falls { C.delay_falls } else { 0.0 };
        let base = if major_seventh {
            C.delayed_tonic
        } else {
            C.delayed_tonic_plain
        };
        out.push(Draft {
            kind: ReadingKind::DelayedTonic,
            chord: delayed,
            family: Vec::new(),
            cost: base - bonus,
            targets: tonics,
            why: Reason::Delays,
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
                C.common_tone
            } else {
                C.common_tone_unconfirmed
            };
            out.push(Draft {
                kind: ReadingKind::CommonToneDiminished,
                chord,
                family: Vec::new(),
                cost,
                targets: [Some(to), None, None],
                why: Reason::CommonTone,
            });
            let up = next == Some(root.up(1));
            let minor_up = Chord::new(speller.root(root.up(1), MINOR_SEVENTH), MINOR_SEVENTH);
            let to = scene.context.after.filter(|_| up).unwrap_or(minor_up);
            out.push(Draft {
                kind: ReadingKind::PassingDiminished,
                chord,
                family: Vec::new(),
                cost: match (up, previous == Some(root.up(-1))) {
                    (true, true) => C.between_neighbours,
                    (true, false) => C.passing,
                    (false, _) => C.passing_up_unconfirmed,
                },
                targets: [Some(to), None, None],
                why: Reason::PassingUp,
            });
            let down = next == Some(root.up(-1));
            let minor_down = Chord::new(speller.root(root.up(-1), MINOR_SEVENTH), MINOR_SEVENTH);
            let to = scene.context.after.filter(|_| down).unwrap_or(minor_down);
            out.push(Draft {
                kind: ReadingKind::PassingDiminished,
                chord,
                family: Vec::new(),
                cost: match (down, previous == Some(root.up(1))) {
                    (true, true) => C.between_neighbours,
                    (true, false) => C.passing,
                    (false, _) => C.passing_down_unconfirmed,
                },
                targets: [Some(to), None, None],
                why: Reason::PassingDown,
            });
            let auxiliary = previous == Some(root) && falls;
            let cost = if auxiliary {
                C.between_neighbours
            } else {
                C.auxiliary_unconfirmed
            };
            out.push(Draft {
                kind: ReadingKind::AuxiliaryDiminished,
                chord,
                family: Vec::new(),
                cost,
                targets: tonics,
                why: Reason::Auxiliary,
            });
        }
    }
}

/// A root of a diminished chord within the set, whatever the bass.
fn family_root(scene: &Scene) -> Option<PitchClass> {
    const SEVENTH: u16 = bits("1 b3 b5 bb7");
    const MAJOR_SEVENTH: u16 = bits("1 b3 b5 7");
    PitchClass::all().find(|&root| {
        let relative = scene.heard.set.seen_from(root).bits();
        relative == SEVENTH || relative == MAJOR_SEVENTH
    })
}

/// The half-whole scale that holds the whole set: its dominants lie minor thirds apart.
pub(crate) fn half_whole_family(scene: &Scene, out: &mut Vec<Draft>) {
    const HALF_WHOLE: u16 = bits("1 b9 #9 3 b5 5 13 b7");
    const GUIDE_TONES: u16 = bits("3 b7");
    let set = scene.heard.set;
    let Some(first) = family_root(scene).and_then(|root| {
        (1..=3)
            .map(|step| root.up(step))
            .find(|&d| set.seen_from(d).bits() & !HALF_WHOLE == 0)
    }) else {
        return;
    };
    let family: Vec<PitchClass> = (0..4).map(|k| first.up(3 * k)).collect();
    // The one whose third and seventh sound, or that key and next chord ask for.
    let likely = |root: PitchClass| {
        let guide_tones = set.seen_from(root).bits() & GUIDE_TONES;
        C.guide_tone_of_family * guide_tones.count_ones() as f32
            + support(root, DOMINANT, scene.context)
    };
    let likeliest = family
        .iter()
        .copied()
        .reduce(|a, b| if likely(b) > likely(a) { b } else { a })
        .unwrap_or(first);
    let degrees = const { DegreeSet::of("1 3 5 b7 b9") };
    let chord = Chord::new(scene.speller.root_of_dominant(likeliest, degrees), degrees);
    let [target, ..] = both_falls(chord.root, DegreeSet::EMPTY, scene);
    out.push(Draft {
        kind: ReadingKind::HalfWholeFamily,
        chord,
        family,
        cost: C.half_whole_family,
        targets: [target, None, None],
        why: Reason::HalfWhole,
    });
}
