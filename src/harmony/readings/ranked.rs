//! The readings of a set of notes, likeliest first.
//!
//! Input: what sounds, its names, the context. Output: [`Reading`]s, likeliest first. Units: scores 0 to 1; with the chance that the notes mean no
//! more than their name says they add up to 1. Method: every kind of `KINDS` drafts what it sees, the drafts are put in order by cost, those of
//! one chord are made one, and the notes of the best are named. What is less likely than [`LEAST_SHARE`] is left out.
//! Limits: what comes next settles most of it: see [`crate::harmony::progression`] for the choice in context.

use super::costs::COSTS as C;
use super::diminished::{diminished, half_whole_family};
use super::dominants::{rootless_dominants, tritone_pair, upper_structures};
use super::draft::{Draft, Scene};
use super::others::{fourths, over_bass, rootless_others};
use super::own::own_functions;
use super::resolution::{DOMINANT, resolve};
use crate::harmony::chord::Chord;
use crate::harmony::context::Context;
use crate::harmony::function::{Class, Function, function};
use crate::harmony::named::{Reading, ReadingKind, Resolution};
use crate::harmony::pitch::{Degree, DegreeSet, PitchClass, Spelled};
use crate::harmony::sounding::Voicing;
use crate::harmony::speller::{Speller, degrees_of};
use crate::units::Share;

/// All kinds of reading.
pub(crate) const KINDS: [fn(&Scene, &mut Vec<Draft>); 9] = [
    own_functions,
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
/// A reading less likely than this is not listed: one in thirty.
const LEAST_SHARE: f32 = 1.0 / 30.0;
/// Most goals of a reading.
const MOST_GOALS: usize = 4;

/// Everything the notes can stand for; `names` are those they can have, best first, with what each costs more than the best.
pub(crate) fn readings(
    heard: Voicing,
    names: &[(Chord, f32)],
    speller: &Speller,
    context: &Context,
) -> Vec<Reading> {
    let scene = Scene {
        heard,
        names,
        speller,
        context,
    };
    let groups = grouped(drafts(&scene));
    let weight = |group: &[Draft]| (-group[0].cost).exp();
    let total: f32 = (-C.nothing_else).exp() + groups.iter().map(|g| weight(g)).sum::<f32>();
    groups
        .iter()
        .map(|group| (group, weight(group) / total))
        .take_while(|&(_, share)| share >= LEAST_SHARE)
        .take(MOST_READINGS)
        .map(|(group, share)| reading(&scene, group, share))
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

/// The drafts of one chord together, the likeliest first.
fn grouped(drafts: Vec<Draft>) -> Vec<Vec<Draft>> {
    let mut groups: Vec<Vec<Draft>> = Vec::with_capacity(drafts.len());
    for draft in drafts {
        match groups.iter_mut().find(|group| one_chord(&group[0], &draft)) {
            Some(group) => group.push(draft),
            None => groups.push(vec![draft]),
        }
    }
    groups
}

/// True if both drafts speak of one chord: the same degrees, or two dominants, on one root and bass.
fn one_chord(a: &Draft, b: &Draft) -> bool {
    let family = |draft: &Draft| draft.kind == ReadingKind::HalfWholeFamily;
    let bass = |draft: &Draft| draft.chord.bass.map(Spelled::class);
    a.chord.root.class() == b.chord.root.class()
        && bass(a) == bass(b)
        && family(a) == family(b)
        && (a.chord.degrees == b.chord.degrees || both_dominants(&a.chord, &b.chord))
}

/// True if both are dominants.
fn both_dominants(a: &Chord, b: &Chord) -> bool {
    const GUIDE_TONES: DegreeSet = DegreeSet::of("3 b7");
    let dominant = |chord: &Chord| GUIDE_TONES.minus(chord.degrees).is_empty();
    dominant(a) && dominant(b)
}

fn reading(scene: &Scene, group: &[Draft], share: f32) -> Reading {
    let draft = &group[0];
    let set = scene.heard.set;
    let chord = draft.chord;
    let root = chord.root.class();
    let relative = set.seen_from(root).bits();
    let heard = |d: &Degree| relative & (1 << d.half_steps()) != 0;
    // How the notes were typed tells of the chord they were typed for.
    let own = scene.best().is_some_and(|best| best.root.class() == root);
    let speller = if own {
        *scene.speller
    } else {
        scene.speller.by_function()
    };
    let sounding = speller.notes(set, &chord);
    let mut also: Vec<_> = Vec::new();
    for other in &group[1..] {
        if other.kind != draft.kind && also.iter().all(|&(kind, _)| kind != other.kind) {
            also.push((other.kind, other.why.why(&speller, &other.chord)));
        }
    }
    Reading {
        kind: draft.kind,
        also,
        chord,
        function: in_key(&chord, scene.context),
        family: draft
            .family
            .iter()
            .map(|&member| Chord::new(scene.speller.root_of_dominant(member, DOMINANT), DOMINANT))
            .collect(),
        score: Share::clamped(share),
        degrees: degrees_of(&chord, &sounding),
        tensions: chord
            .degrees
            .iter()
            .filter(|d| (d.is_tension() || d.is_altered()) && heard(d))
            .collect(),
        missing: chord.degrees.iter().filter(|d| !heard(d)).collect(),
        resolves_to: resolutions(scene, group, &sounding),
        why: draft.why.why(&speller, &chord),
    }
}

/// What a chord does in the key, if one is known.
fn in_key(chord: &Chord, context: &Context) -> Option<Function> {
    let after = context.after;
    let next = after.map(|next| (next.root.class(), Class::of(next.degrees)));
    let told = |key| function(chord.root.class(), chord.degrees, key, next);
    context.key.map(told)
}

/// The steps from what sounds to the next chords, likeliest first; the chord that does come next stands first, as it is given.
fn resolutions(
    scene: &Scene,
    group: &[Draft],
    sounding: &[(PitchClass, Spelled)],
) -> Vec<Resolution> {
    // A chord does not go to itself.
    let itself = |goal: &Chord| {
        both_dominants(goal, &group[0].chord) && goal.root.class() == group[0].chord.root.class()
    };
    let after = scene.context.after.filter(|after| !itself(after));
    let mut goals: Vec<Chord> = after.into_iter().collect();
    for &goal in group
        .iter()
        .flat_map(|draft| draft.targets.iter().flatten())
    {
        let class = goal.root.class();
        let told = scene.falls_to(class);
        let told_before = goals
            .iter()
            .any(|g| g.root.class() == class && Class::of(g.degrees) == Class::of(goal.degrees));
        if !told && !told_before && goals.len() < MOST_GOALS {
            goals.push(goal);
        }
    }
    // A diminished chord that passes up carries its root into the next.
    let root = group[0].chord.root.class();
    let passes = |goal: &Chord| {
        let up = group
            .iter()
            .any(|d| matches!(d.why, super::draft::Reason::PassingUp));
        (up && goal.lowest().class() == root.up(1)).then_some(root)
    };
    goals
        .into_iter()
        .map(|to| resolve(sounding, to, passes(&to), scene.speller))
        .collect()
}
