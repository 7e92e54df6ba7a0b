//! The readings of a set of notes, likeliest first.
//!
//! Input: what sounds, its best name, the context. Output: [`Reading`]s, likeliest first. Units: scores 0 to 1 that add up to 1.
//! Method: every kind of `KINDS` drafts what it sees, the drafts are put in order by cost, and the notes of the best are named.
//! Limits: what comes next settles most of it: see [`crate::harmony::progression`] for the choice in context.

use super::diminished::{diminished, half_whole_family};
use super::dominants::{leads_by_itself, rootless_dominants, tritone_pair, upper_structures};
use super::draft::{Draft, Reason, Scene};
use super::others::{fourths, over_bass, rootless_others};
use super::resolution::{DOMINANT, resolve};
use crate::harmony::chord::Chord;
use crate::harmony::context::Context;
use crate::harmony::named::{Reading, Resolution};
use crate::harmony::pitch::{Degree, PitchClass, Spelled};
use crate::harmony::sounding::Voicing;
use crate::harmony::speller::{Speller, degrees_of};
use crate::units::Share;

/// All kinds of reading.
pub(crate) const KINDS: [fn(&Scene, &mut Vec<Draft>); 9] = [
    leads_by_itself,
    rootless_dominants,
    tritone_pair,
    upper_structures,
    diminished,
    half_whole_family,
    over_bass,
    rootless_others,
    fourths,
];

/// Most readings that are listed.
const MOST_READINGS: usize = 12;

/// Everything the notes can stand for.
pub(crate) fn readings(
    heard: Voicing,
    best: Option<Chord>,
    speller: &Speller,
    context: &Context,
) -> Vec<Reading> {
    let scene = Scene {
        heard,
        best,
        speller,
        context,
    };
    let drafts = drafts(&scene);
    let total: f32 = drafts.iter().map(|d| (-d.cost).exp()).sum();
    drafts
        .iter()
        .take(MOST_READINGS)
        .map(|d| reading(&scene, d, total))
        .collect()
}

/// The readings before their notes are named, likeliest first.
pub(crate) fn drafts(scene: &Scene) -> Vec<Draft> {
    let mut drafts = Vec::with_capacity(16);
    for kind in KINDS {
        kind(scene, &mut drafts);
    }
    drafts.sort_by(|a, b| a.cost.total_cmp(&b.cost));
    drafts
}

fn reading(scene: &Scene, draft: &Draft, total: f32) -> Reading {
    let set = scene.heard.set;
    let chord = draft.chord;
    let root = chord.root.class();
    let relative = set.seen_from(root).bits();
    let heard = |d: &Degree| relative & (1 << d.half_steps()) != 0;
    // How the notes were typed tells of the chord they were typed for.
    let own = scene.best.is_some_and(|best| best.root.class() == root);
    let speller = if own {
        *scene.speller
    } else {
        scene.speller.by_function()
    };
    let sounding = speller.notes(set, &chord);
    Reading {
        kind: draft.kind,
        chord,
        family: draft
            .family
            .iter()
            .map(|&member| Chord::new(scene.speller.root(member, DOMINANT), DOMINANT))
            .collect(),
        score: Share::clamped((-draft.cost).exp() / total),
        degrees: degrees_of(&chord, &sounding),
        tensions: chord
            .degrees
            .iter()
            .filter(|d| (d.is_tension() || d.is_altered()) && heard(d))
            .collect(),
        missing: chord.degrees.iter().filter(|d| !heard(d)).collect(),
        resolves_to: resolutions(scene, draft, &sounding),
        why: draft.why.why(&speller, &chord),
    }
}

/// The steps from what sounds to the next chords, likeliest first; the chord that does come next is told as it is given.
fn resolutions(
    scene: &Scene,
    draft: &Draft,
    sounding: &[(PitchClass, Spelled)],
) -> Vec<Resolution> {
    let mut targets: Vec<Chord> = draft.targets.iter().flatten().copied().collect();
    if let Some(after) = scene.context.after {
        let before = targets.len();
        targets.retain(|to| to.root.class() != after.root.class());
        if targets.len() < before {
            targets.insert(0, after);
        }
    }
    let rises = matches!(draft.why, Reason::PassingUp).then_some(draft.chord.root.class());
    targets
        .into_iter()
        .map(|to| resolve(sounding, to, rises, scene.speller))
        .collect()
}
