//! A chord in its place, as far as a stand-in must know it: what it does, where it comes from, where it goes.
//!
//! Input: a tune and its interpretation. Output: [`Slot`]s with their [`Job`]. Units: none. Method: the role that the interpretation gives, told
//! apart further by the next chord: a dominant by its goal, a second degree by the dominant after it, a diminished chord by the dominant it stands for.
//! Limits: a job is one; a chord that ends one phrase and begins another is taken as what it ends.

use super::tune::Tune;
use crate::harmony::chord::Chord;
use crate::harmony::context::Context;
use crate::harmony::function::Class;
use crate::harmony::pitch::{Degree, DegreeSet, Key, Mode, PitchClass};
use crate::harmony::progression::{AnalysisOptions, Given, Interpretation, Role, interpret};
use crate::harmony::sounding::Sounding;
use crate::harmony::speller::Speller;

/// What a chord does where it stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Job {
    /// It wants to go on: the root of the dominant it is or stands for, and the root it goes to.
    Dominant {
        /// Root of the dominant.
        root: PitchClass,
        /// Where it goes.
        goal: PitchClass,
    },
    /// It prepares the dominant on this root.
    BeforeDominant {
        /// Root of the dominant.
        dominant: PitchClass,
    },
    /// It is at home, or stands for home, on this root.
    Tonic {
        /// Root of the tonic.
        root: PitchClass,
    },
    /// It has left home.
    Subdominant,
    /// A diminished chord that passes or delays.
    Diminished,
    /// None of these.
    Other,
}

/// A chord in its place.
#[derive(Debug, Clone)]
pub(crate) struct Slot {
    pub original: Chord,
    pub class: Class,
    pub key: Key,
    pub before: Option<Chord>,
    pub after: Option<Chord>,
    pub job: Job,
    pub speller: Speller,
}

impl Slot {
    /// A chord of these degrees, its root spelled as the key asks.
    pub(crate) fn chord(&self, root: PitchClass, degrees: DegreeSet) -> Chord {
        Chord::new(self.speller.root(root, degrees), degrees)
    }

    /// The chord that tensions are counted from: the dominant where there is one, else the original.
    pub(crate) fn reference(&self) -> Chord {
        const DOMINANT: DegreeSet = DegreeSet::of("1 3 5 b7");
        match self.job {
            Job::Dominant { root, .. } if root != self.original.root.class() => {
                self.chord(root, DOMINANT)
            }
            _ => self.original,
        }
    }
}

/// The slots of a tune.
pub(crate) fn slots(tune: &Tune) -> Vec<Slot> {
    let given: Vec<Given> = tune.chords.iter().map(|c| Given::Stated(c.chord)).collect();
    let progression = interpret(
        &given,
        &AnalysisOptions {
            key: tune.key,
            ..AnalysisOptions::default()
        },
    );
    (0..tune.chords.len())
        .map(|at| slot(tune, &progression, at))
        .collect()
}

/// The key in which the chord at a place of the tune is heard: the stated one, else the one that is found.
pub fn key_at(tune: &Tune, at: usize) -> Option<Key> {
    slots(tune).get(at).map(|slot| slot.key)
}

/// The slot as it would be with the chord that is expected there.
pub(crate) fn expected_slot(slot: &Slot, expected: Chord) -> Slot {
    let class = Class::of(expected.degrees);
    Slot {
        original: expected,
        class,
        job: job(&expected, class, slot.key, Role::Other, slot.after.as_ref()),
        ..slot.clone()
    }
}

fn slot(tune: &Tune, progression: &Interpretation, at: usize) -> Slot {
    let chord_at = |at: usize| tune.chords.get(at).map(|c| c.chord);
    let original = tune.chords[at].chord;
    let place = progression.in_place(at);
    let key = place.map_or(Key::usual(original.root.class(), Mode::Major), |p| p.key);
    let role = place.map_or(Role::Other, |p| p.role);
    let before = at.checked_sub(1).and_then(chord_at);
    slot_of(original, before, chord_at(at + 1), key, role)
}

/// The slot of a chord between its neighbours.
pub(crate) fn slot_of(
    original: Chord,
    before: Option<Chord>,
    after: Option<Chord>,
    key: Key,
    role: Role,
) -> Slot {
    let class = Class::of(original.degrees);
    let context = Context {
        key: Some(key),
        ..Context::default()
    };
    Slot {
        original,
        class,
        key,
        before,
        after,
        job: job(&original, class, key, role, after.as_ref()),
        speller: Speller::new(&Sounding::default(), &context),
    }
}

fn job(original: &Chord, class: Class, key: Key, role: Role, after: Option<&Chord>) -> Job {
    let root = original.root.class();
    let next = after.map(|after| (after.root.class(), Class::of(after.degrees)));
    let goes_to = |by: i32| next.is_some_and(|(n, _)| n == root.up(by));
    let tonic = key.tonic.class();
    match class {
        Class::Dominant | Class::Suspended => {
            let leads = goes_to(5) || goes_to(11);
            // The last chord of a tune leads nowhere any more.
            if next.is_none() {
                return Job::Tonic { root };
            }
            if role == Role::BluesDominant && !leads {
                return at_rest(root, tonic);
            }
            if class == Class::Suspended
                && !original.degrees.contains(Degree::MINOR_SEVENTH)
                && !leads
            {
                return at_rest(root, tonic);
            }
            // The backdoor dominant goes up a whole step.
            let backdoor = goes_to(2) && root == tonic.up(10);
            let goal = match next {
                Some((next, _)) if leads || backdoor => next,
                _ => root.up(5),
            };
            Job::Dominant { root, goal }
        }
        Class::Diminished | Class::DiminishedMajor => diminished(root, class, next),
        Class::HalfDiminished
            if root == tonic.up(11)
                && key.mode == Mode::Major
                && next.is_some_and(|(n, _)| n == tonic) =>
        {
            Job::Dominant {
                root: root.up(-4),
                goal: tonic,
            }
        }
        Class::Minor | Class::HalfDiminished | Class::MinorTonic
            if next.is_some_and(|(n, c)| {
                matches!(c, Class::Dominant | Class::Suspended)
                    && (n == root.up(5) || n == root.up(-1))
            }) =>
        {
            Job::BeforeDominant {
                dominant: if goes_to(5) { root.up(5) } else { root.up(-1) },
            }
        }
        _ => match role {
            Role::Tonic => Job::Tonic { root: tonic },
            Role::Subdominant => Job::Subdominant,
            Role::Borrowed if matches!(root.above(tonic), 0 | 3) => Job::Tonic { root: tonic },
            Role::Borrowed => Job::Subdominant,
            Role::Dominant => Job::Dominant {
                root: tonic.up(7),
                goal: tonic,
            },
            _ if class.rests(key.mode) && root == tonic => Job::Tonic { root: tonic },
            _ => Job::Other,
        },
    }
}

/// A seventh chord that rests, as in a blues.
fn at_rest(root: PitchClass, tonic: PitchClass) -> Job {
    if root == tonic {
        Job::Tonic { root }
    } else {
        Job::Subdominant
    }
}

/// A diminished seventh that leads up a half step, or down a fifth by one of its dominants, is one of them; a delay is not.
fn diminished(root: PitchClass, class: Class, next: Option<(PitchClass, Class)>) -> Job {
    let Some((next, _)) = next else {
        return Job::Diminished;
    };
    let leads_up = class == Class::Diminished && next == root.up(1);
    // Of a diminished major seventh, two dominants have their third and seventh in it: the root a whole step above, and a minor sixth above.
    let of_major = [root.up(2), root.up(8)]
        .into_iter()
        .find(|d| d.up(5) == next);
    match of_major.filter(|_| class == Class::DiminishedMajor && next != root) {
        Some(dominant) => Job::Dominant {
            root: dominant,
            goal: next,
        },
        None if leads_up => Job::Dominant {
            root: root.up(8),
            goal: next,
        },
        None => Job::Diminished,
    }
}
