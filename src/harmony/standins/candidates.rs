//! Everything that could stand in one place: single chords, and two or three that share it.
//!
//! Input: a [`Slot`] and its length. Output: [`Candidate`]s, each with its device. Units: beats.
//! Method: every chord of the vocabulary on every root, and over the bass of the dominant, is held against the slot ([`super::relation`]); of what
//! passes, and of the chords that lead into it or on from it, pairs and threes are made. Limits: pairs take qualities that are written often
//! ([`COMMON_RARITY`]); the rest of the vocabulary stands alone.

use super::device::Device;
use super::relation::{self, Single, is_upper_structure, leads_to};
use super::slot::{Job, Slot};
use crate::harmony::chord::Chord;
use crate::harmony::chord::quality::{SHAPES, TRIADS};
use crate::harmony::function::Class;
use crate::harmony::pitch::{Degree, DegreeSet, PitchClass, PitchSet};
use std::sync::LazyLock;

/// Rarest quality, beside the others of its class, of a chord that shares its place with another.
const COMMON_RARITY: f32 = 0.4;
/// Rarest quality that is turned over or put on a foreign bass.
const TURNED_RARITY: f32 = 0.3;
/// Fewest beats that two chords can share, and three.
const TWO_SHARE: f32 = 2.0;
const THREE_SHARE: f32 = 3.0;

/// One or more chords that can take a place.
#[derive(Debug, Clone)]
pub(crate) struct Candidate {
    pub chords: Vec<Chord>,
    pub device: Device,
    /// Rarity of the rarest of their qualities.
    pub rarity: f32,
}

/// A quality as the search needs it.
struct Row {
    degrees: DegreeSet,
    class: Class,
    pitches: PitchSet,
    rarity: f32,
}

static ROWS: LazyLock<Vec<Row>> = LazyLock::new(|| {
    // How rare a colour is beside the others of its class: how usual the class is, the device says.
    let commonest = |class: Class| {
        let own = SHAPES.iter().filter(|shape| {
            Class::of(shape.quality.degrees) == class && shape.quality.degrees.len() >= 4
        });
        own.map(|shape| shape.rarity).fold(f32::INFINITY, f32::min)
    };
    let rows = SHAPES.iter().map(|shape| {
        let class = Class::of(shape.quality.degrees);
        Row {
            degrees: shape.quality.degrees,
            class,
            pitches: PitchSet::from_bits(shape.mask),
            rarity: (shape.rarity - commonest(class)).max(0.0),
        }
    });
    // A bare fifth says nothing of its function.
    rows.filter(|row| row.class != Class::Other && row.degrees.len() >= 3)
        .collect()
});

impl Row {
    fn on(&self, root: PitchClass) -> Single {
        Single {
            root,
            degrees: self.degrees,
            class: self.class,
            set: self.pitches.placed_on(root),
            rarity: self.rarity,
        }
    }
}

/// All candidates for a slot of so many beats.
pub(crate) fn candidates(slot: &Slot, beats: f32) -> Vec<Candidate> {
    let mut out = Vec::with_capacity(256);
    singles(slot, &mut out);
    over_other_basses(slot, &mut out);
    upper_structures(slot, &mut out);
    if beats >= TWO_SHARE {
        ahead(slot, &mut out);
        after(slot, beats, &mut out);
    }
    out
}

fn singles(slot: &Slot, out: &mut Vec<Candidate>) {
    for root in PitchClass::all() {
        for row in ROWS.iter() {
            let single = row.on(root);
            if let Some(device) = relation::device(slot, &single) {
                out.push(Candidate {
                    chords: vec![slot.chord(root, row.degrees)],
                    device,
                    rarity: row.rarity,
                });
            }
        }
    }
}

/// The original turned over where its bass then moves by step, and chords over the bass of the dominant that make it suspended.
fn over_other_basses(slot: &Slot, out: &mut Vec<Candidate>) {
    let original = slot.original;
    let step = |a: PitchClass, b: PitchClass| matches!(a.above(b), 1 | 2 | 10 | 11);
    let neighbours = [slot.before, slot.after];
    if original.bass.is_none() && original.lower.is_none() {
        for degree in original
            .sounding()
            .iter()
            .filter(|d| d.number() != 1 && !d.is_tension())
        {
            let bass = original.root.degree(degree).readable(Some(slot.key));
            let near = neighbours
                .iter()
                .flatten()
                .all(|n| step(bass.class(), n.lowest().class()));
            if near && slot.after.is_some() {
                out.push(Candidate {
                    chords: vec![Chord {
                        bass: Some(bass),
                        ..original
                    }],
                    device: Device::Inversion,
                    rarity: 0.0,
                });
            }
        }
    }
    let (Job::Dominant { root: dominant, .. } | Job::BeforeDominant { dominant }) = slot.job else {
        return;
    };
    let bass = slot
        .chord(dominant, const { DegreeSet::of("1 3 5 b7") })
        .root;
    for root in PitchClass::all().filter(|&root| root != dominant) {
        for row in ROWS.iter().filter(|row| row.rarity <= TURNED_RARITY) {
            const SUSPENDED: PitchSet = DegreeSet::of("4 b7 9").pitches();
            const THIRDS: PitchSet = DegreeSet::of("b3 3 7 b13 #11").pitches();
            let over = row.pitches.placed_on(root).seen_from(dominant).bits();
            if matches!(row.class, Class::Major | Class::Minor)
                && over & SUSPENDED.bits() == SUSPENDED.bits()
                && over & THIRDS.bits() == 0
            {
                let plain = slot.chord(root, row.degrees);
                out.push(Candidate {
                    chords: vec![Chord {
                        bass: Some(bass),
                        ..plain
                    }],
                    device: Device::Suspended,
                    rarity: row.rarity,
                });
            }
        }
    }
}

fn upper_structures(slot: &Slot, out: &mut Vec<Candidate>) {
    const DOMINANT: DegreeSet = DegreeSet::of("1 3 5 b7");
    let Job::Dominant { root, .. } = slot.job else {
        return;
    };
    if slot.class != Class::Dominant {
        return;
    }
    let lower = slot.chord(root, DOMINANT).root;
    for top in PitchClass::all() {
        for triad in TRIADS {
            if is_upper_structure(triad.pitches().placed_on(top), root) {
                let chord = Chord {
                    lower: Some((lower, DOMINANT)),
                    ..slot.chord(top, triad)
                };
                out.push(Candidate {
                    chords: vec![chord],
                    device: Device::UpperStructure,
                    rarity: 0.0,
                });
            }
        }
    }
}

/// Qualities that are written often, with a seventh or sixth, of one of these classes.
fn often(classes: &'static [Class]) -> impl Iterator<Item = &'static Row> {
    ROWS.iter().filter(move |row| {
        row.rarity <= COMMON_RARITY && classes.contains(&row.class) && row.degrees.len() >= 4
    })
}

/// A chord ahead of the one that stays, or of one that stands for it.
fn ahead(slot: &Slot, out: &mut Vec<Candidate>) {
    let original = slot.original;
    // What has just been said on this root is not said again in another colour.
    let said = |root: PitchClass| {
        slot.before
            .is_some_and(|before| before.root.class() == root)
    };
    let mut pair = |first: Chord, second: Chord, device: Device, rarity: f32| {
        out.push(Candidate {
            chords: vec![first, second],
            device,
            rarity,
        });
    };
    let root = original.root.class();
    match slot.job {
        Job::Dominant {
            root: dominant,
            goal,
        } if slot.class == Class::Dominant => {
            const DOMINANT: DegreeSet = DegreeSet::of("1 3 5 b7");
            let substitute = slot.chord(dominant.up(6), DOMINANT);
            let backdoor = slot.chord(goal.up(-2), DOMINANT);
            let to_minor = slot
                .after
                .is_some_and(|after| after.degrees.contains(Degree::MINOR_THIRD));
            for (led, device) in [
                (original, Device::RelatedTwo),
                (substitute, Device::TritoneSubstitute),
                (backdoor, Device::Backdoor),
            ] {
                let two = led.root.class().up(7);
                // Before a major goal the second degree has its own fifth.
                let twos = often(&[Class::Minor, Class::HalfDiminished])
                    .filter(|row| to_minor || row.class == Class::Minor);
                for row in twos.filter(|_| !said(two)) {
                    pair(slot.chord(two, row.degrees), led, device, row.rarity);
                }
            }
            pair(original, substitute, Device::TritoneSubstitute, 0.0);
            for row in
                often(&[Class::Suspended]).filter(|row| row.degrees.contains(Degree::MINOR_SEVENTH))
            {
                pair(
                    slot.chord(root, row.degrees),
                    original,
                    Device::Suspended,
                    row.rarity,
                );
            }
            for by in [1, -1] {
                pair(
                    slot.chord(root.up(by), original.degrees),
                    original,
                    Device::SideSlip,
                    0.0,
                );
            }
        }
        Job::Tonic { root: tonic } if root == tonic => {
            for row in ROWS.iter().filter(|row| {
                let delays = matches!(row.class, Class::DiminishedMajor | Class::Diminished);
                delays && row.degrees.len() >= 4
            }) {
                pair(
                    slot.chord(tonic, row.degrees),
                    original,
                    Device::DelayedTonic,
                    row.rarity,
                );
            }
        }
        Job::BeforeDominant { .. } => {
            for by in [1, -1] {
                pair(
                    slot.chord(root.up(by), original.degrees),
                    original,
                    Device::SideSlip,
                    0.0,
                );
            }
        }
        _ => {}
    }
    if !matches!(slot.job, Job::Diminished) && slot.class != Class::Diminished {
        for up in [7, 1] {
            let dominant = root.up(up);
            for row in often(&[Class::Dominant]).filter(|_| !said(dominant)) {
                pair(
                    slot.chord(dominant, row.degrees),
                    original,
                    Device::ExtendedDominant,
                    row.rarity,
                );
            }
        }
    }
}

/// Chords that lead on to the next, after the one that stays or in its place.
fn after(slot: &Slot, beats: f32, out: &mut Vec<Candidate>) {
    if matches!(slot.job, Job::Dominant { .. } | Job::Diminished) {
        return;
    }
    let original = slot.original;
    relatives_after(slot, out);
    let Some(next) = slot
        .after
        .map(|after| after.root.class())
        .filter(|&next| next != original.root.class())
    else {
        return;
    };
    let leading = PitchClass::all()
        .flat_map(|root| often(&[Class::Dominant, Class::Diminished]).map(move |row| row.on(root)));
    for single in leading {
        let Some(device) = leads_to(&single, next) else {
            continue;
        };
        let chord = slot.chord(single.root, single.degrees);
        let mut put = |chords: Vec<Chord>, device: Device| {
            out.push(Candidate {
                chords,
                device,
                rarity: single.rarity,
            });
        };
        put(vec![original, chord], device);
        if single.class != Class::Dominant {
            continue;
        }
        let minor_goal = slot
            .after
            .is_some_and(|a| a.degrees.contains(Degree::MINOR_THIRD));
        let two = if minor_goal && device == Device::SecondaryDominant {
            const { DegreeSet::of("1 b3 b5 b7") }
        } else {
            const { DegreeSet::of("1 b3 5 b7") }
        };
        let two = slot.chord(single.root.up(7), two);
        put(vec![two, chord], Device::Chain);
        if beats >= THREE_SHARE {
            put(vec![original, two, chord], Device::Chain);
        }
    }
}

/// The original, then a chord that shares its function.
fn relatives_after(slot: &Slot, out: &mut Vec<Candidate>) {
    let four = matches!(slot.job, Job::Subdominant | Job::Tonic { .. });
    for root in PitchClass::all() {
        for row in often(&[Class::Major, Class::Minor, Class::MinorTonic]) {
            let single = row.on(root);
            let device = relation::device(slot, &single);
            let useful = device == Some(Device::Relative)
                || device == Some(Device::ModalInterchange)
                    && four
                    && root == slot.original.root.class();
            if let (true, Some(device)) = (useful, device) {
                out.push(Candidate {
                    chords: vec![slot.original, slot.chord(root, row.degrees)],
                    device,
                    rarity: row.rarity,
                });
            }
        }
    }
}
