//! Names of typed voicings against what practitioners accept, the whole vocabulary in all keys and inversions, and random sets.

#[path = "support/told.rs"]
mod told;

use lidprop::chart::document::Naming;
use lidprop::harmony::chord::quality::QUALITIES;
use lidprop::harmony::{Chord, Context, Degree, Key, PitchClass, Sounding, Spelled, Verdict};
use lidprop::units::Share;
use serde::Deserialize;
use told::name_chord;

#[derive(Deserialize)]
struct Case {
    notes: String,
    key: Option<String>,
    before: Option<String>,
    after: Option<String>,
    #[serde(default)]
    no_good_name: bool,
    accepted: Vec<String>,
}

impl Case {
    fn spelled(&self) -> Vec<Spelled> {
        self.notes.split(' ').map(|n| n.parse().unwrap()).collect()
    }

    fn context(&self) -> Context {
        let chord = |text: &Option<String>| text.as_ref().map(|t| t.parse::<Chord>().unwrap());
        let key = self.key.as_ref().map(|k| k.parse::<Key>().unwrap());
        Context {
            key,
            before: chord(&self.before),
            after: chord(&self.after),
            ..Context::default()
        }
    }
}

/// Each note above the one before, from C3.
fn stacked(classes: impl IntoIterator<Item = PitchClass>) -> Vec<u8> {
    let mut last = 47;
    classes
        .into_iter()
        .map(|class| {
            last += 1 + class.above(PitchClass::new(i32::from(last) + 1));
            last
        })
        .collect()
}

/// Same root and notes; the bass as accepted, or simply the lowest note where none is written.
fn is_accepted(name: &str, accepted: &str) -> bool {
    let (ours, theirs): (Chord, Chord) = (name.parse().unwrap(), accepted.parse().unwrap());
    let same_notes = ours.degrees.pitches() == theirs.degrees.pitches()
        || ours.sounding().pitches() == theirs.sounding().pitches();
    ours.root.class() == theirs.root.class()
        && same_notes
        && theirs
            .bass
            .is_none_or(|b| b.class() == ours.lowest().class())
        && theirs.lower.map(|(r, d)| (r.class(), d)) == ours.lower.map(|(r, d)| (r.class(), d))
}

fn rank(case: &Case, naming: &Naming) -> Option<usize> {
    naming
        .names
        .iter()
        .position(|n| case.accepted.iter().any(|a| is_accepted(&n.ascii, a)))
}

/// How many of a set of cases are right.
#[derive(Debug, PartialEq)]
struct Tally {
    cases: usize,
    first: usize,
    three: usize,
    /// Spelled as listed when the notes were typed by name.
    typed: usize,
    /// Spelled as listed from the keys alone.
    keys: usize,
    /// Expected calibration error of the first name's score.
    calibration: f64,
}

impl Tally {
    /// What is right today, case by case: one less is a loss that somebody has to have wanted.
    #[track_caller]
    fn has_at_least(&self, least: Tally) {
        assert_eq!(self.cases, least.cases, "another set of cases");
        let enough = [
            self.first >= least.first,
            self.three >= least.three,
            self.typed >= least.typed,
            self.keys >= least.keys,
            self.calibration <= least.calibration,
        ];
        assert_eq!(enough, [true; 5], "{self:?} where {least:?} was reached");
    }
}

/// Names every case of a file; `shown` prints those that are not right.
fn tally(file: &str, shown: bool) -> Tally {
    let cases: Vec<Case> = serde_json::from_str(file).unwrap();
    let (mut first, mut three, mut typed_right, mut keys_right) = (0, 0, 0, 0);
    let mut bins = [(0.0, 0.0); 10];
    for case in &cases {
        let spelled = case.spelled();
        let numbers = stacked(spelled.iter().map(|s| s.class()));
        let bare = name_chord(&Sounding::of_midi(&numbers), &case.context());
        let mut typed = Sounding::of_midi(&numbers);
        spelled
            .iter()
            .for_each(|s| typed.typed[s.class().get() as usize] = Some(*s));
        let naming = name_chord(&typed, &case.context());
        let unnamed = case.no_good_name && naming.verdict != Verdict::Named;
        let rank = rank(case, &naming);
        if let Some(best) = naming.names.first() {
            let bin = &mut bins[((10.0 * best.score) as usize).min(9)];
            bin.0 += f64::from(best.score);
            bin.1 += f64::from(u8::from(rank == Some(0)));
        }
        let notes = |naming: &Naming| {
            naming
                .notes
                .iter()
                .map(|n| n.trim_end_matches(|c: char| c.is_ascii_digit()).to_owned())
                .collect::<Vec<_>>()
                .join(" ")
        };
        let right = [
            rank == Some(0) || unnamed,
            rank.is_some_and(|r| r < 3) || unnamed,
            notes(&naming) == case.notes,
            notes(&bare) == case.notes,
        ];
        first += usize::from(right[0]);
        three += usize::from(right[1]);
        typed_right += usize::from(right[2]);
        keys_right += usize::from(right[3]);
        if shown && right != [true; 4] {
            let names: Vec<_> = naming
                .names
                .iter()
                .take(4)
                .map(|n| format!("{} {:.2}", n.ascii, n.score))
                .collect();
            println!(
                "{}{} {rank:?} -> {:?} {names:?} accepted {:?}; typed {} keys {}",
                if right[0] { "  " } else { "! " },
                case.notes,
                naming.verdict,
                case.accepted,
                notes(&naming),
                notes(&bare)
            );
        }
        if case.no_good_name {
            assert_ne!(naming.verdict, Verdict::Named, "{}", case.notes);
        }
    }
    let share = |n: usize| n as f64 / cases.len() as f64;
    let apart: f64 = bins
        .iter()
        .map(|(said, true_share)| f64::abs(said - true_share))
        .sum();
    let calibration = apart / cases.len() as f64;
    println!(
        "{} cases: calibration error {calibration:.3}, first {:.3}, among three {:.3}, spelled {:.3}, spelled from keys alone {:.3}",
        cases.len(),
        share(first),
        share(three),
        share(typed_right),
        share(keys_right)
    );
    Tally {
        cases: cases.len(),
        first,
        three,
        typed: typed_right,
        keys: keys_right,
        calibration,
    }
}

#[test]
fn accepted_names_come_first_or_among_three() {
    tally(include_str!("data/voicing_names.json"), true).has_at_least(Tally {
        cases: 47,
        first: 47,
        three: 47,
        typed: 46,
        // One less than before: the flat fifth of G7 beside its flat ninth is written as #11, C#, where the case lists Db.
        keys: 39,
        calibration: 0.1,
    });
}

/// These were looked at whenever a penalty was mended.
#[test]
fn accepted_names_of_the_watched_voicings_come_first_or_among_three() {
    tally(include_str!("data/voicing_names_watched.json"), true).has_at_least(Tally {
        cases: 96,
        first: 96,
        three: 96,
        typed: 96,
        keys: 84,
        calibration: 0.07,
    });
}

/// These were written with the watched ones, before any of them was named, and never looked at since: only how many are right is printed.
#[test]
fn accepted_names_of_the_held_out_voicings_come_first_or_among_three() {
    tally(include_str!("data/voicing_names_held_out.json"), false).has_at_least(Tally {
        cases: 96,
        first: 92,
        three: 95,
        typed: 96,
        // One less than before, for the same #11.
        keys: 87,
        calibration: 0.08,
    });
}

/// What a listener that is right about its certainty reports of a voicing: some true keys only half sure, and of each certainty as
/// many false keys as it admits: three in four at octaves of true ones, else at twelfths and half steps.
fn uncertain(random: &mut fastrand::Rng, numbers: &[u8]) -> Vec<(u8, f32)> {
    let mut heard: Vec<(u8, f32)> = Vec::new();
    for &midi in numbers {
        let certain = if random.u8(..4) == 0 {
            0.5 + 0.49 * random.f32()
        } else {
            0.99
        };
        heard.push((midi, certain));
        if random.f32() < (1.0 - certain) / certain {
            let step = [12, 12, 12, -12, -12, 24, 19, 1][random.usize(..8)];
            heard.push(((i32::from(midi) + step) as u8, certain));
        }
    }
    heard.sort_by_key(|h| h.0);
    heard.dedup_by_key(|h| h.0);
    heard
}

#[test]
fn uncertain_notes_are_named_better_by_their_certainty_than_as_if_all_were_sure() {
    let files = [
        include_str!("data/voicing_names.json"),
        include_str!("data/voicing_names_watched.json"),
    ];
    let cases: Vec<Case> = files
        .iter()
        .flat_map(|file| serde_json::from_str::<Vec<Case>>(file).unwrap())
        .filter(|case| !case.no_good_name)
        .collect();
    let mut random = fastrand::Rng::with_seed(23);
    let (mut weighed, mut sure, mut all) = ([0, 0], [0, 0], 0);
    for case in cases.iter().cycle().take(10 * cases.len()) {
        let numbers = stacked(case.spelled().iter().map(|s| s.class()));
        let heard = uncertain(&mut random, &numbers);
        let mut sounding = Sounding::of_midi(&heard.iter().map(|h| h.0).collect::<Vec<_>>());
        let count = |sounding: &Sounding, right: &mut [i32; 2]| {
            let rank = rank(case, &name_chord(sounding, &case.context()));
            right[0] += i32::from(rank == Some(0));
            right[1] += i32::from(rank.is_some_and(|r| r < 3));
        };
        count(&sounding, &mut sure);
        for (note, (_, certain)) in sounding.notes.iter_mut().zip(&heard) {
            note.weight = Share::clamped(*certain);
        }
        count(&sounding, &mut weighed);
        all += 1;
    }
    let share = |n: i32| f64::from(n) / f64::from(all);
    println!(
        "{all} uncertain voicings: first {:.3}, among three {:.3}; as if all were sure {:.3}, {:.3}",
        share(weighed[0]),
        share(weighed[1]),
        share(sure[0]),
        share(sure[1])
    );
    assert!(share(weighed[0]) >= share(sure[0]) + 0.02);
    assert!(share(weighed[1]) >= share(sure[1]) + 0.02);
}

#[test]
fn every_chord_of_the_vocabulary_is_found_on_every_root_and_inversion() {
    let (mut all, mut among_three, mut root_position, mut first) = (0, 0, 0, 0);
    let mut missed = std::collections::BTreeMap::<&str, Vec<String>>::new();
    for quality in QUALITIES {
        for root in PitchClass::all() {
            let classes: Vec<PitchClass> = quality
                .degrees
                .pitches()
                .iter()
                .map(|c| root.up(i32::from(c.get())))
                .collect();
            for inversion in 0..classes.len() {
                let rotated = classes[inversion..]
                    .iter()
                    .chain(&classes[..inversion])
                    .copied();
                let naming = name_chord(&Sounding::of_midi(&stacked(rotated)), &Context::default());
                let own = quality.degrees.pitches();
                let at = naming.names.iter().position(|n| {
                    let chord: Chord = n.ascii.parse().unwrap();
                    // A chord that divides the octave evenly is the same chord on each of its roots.
                    let root = if own
                        .seen_from(PitchClass::new(i32::from(chord.root.class().above(root))))
                        == own
                    {
                        chord.root.class()
                    } else {
                        root
                    };
                    // A flat fifth below a ninth is written as #11, the fifth left out.
                    let raised = chord.degrees.contains(Degree::SHARP_ELEVENTH);
                    let sounding = if raised && quality.degrees.contains(Degree::FLAT_FIFTH) {
                        chord.sounding().without(Degree::FIFTH)
                    } else {
                        chord.sounding()
                    };
                    chord.root.class() == root && sounding.pitches() == quality.degrees.pitches()
                        || chord.root.class() == root
                            && chord.pitches() == quality.degrees.pitches().placed_on(root)
                });
                all += 1;
                among_three += usize::from(at.is_some_and(|a| a < 3));
                if inversion == 0 {
                    root_position += 1;
                    first += usize::from(at == Some(0));
                }
                if root.get() == 0 && (at.is_none_or(|a| a >= 3) || inversion == 0 && at != Some(0))
                {
                    let names = naming
                        .names
                        .iter()
                        .take(4)
                        .map(|n| n.ascii.clone())
                        .collect::<Vec<_>>();
                    missed
                        .entry(quality.body)
                        .or_default()
                        .push(format!("{inversion}:{at:?}{names:?}"));
                }
            }
        }
    }
    missed.iter().for_each(|m| println!("{m:?}"));
    let share = |n: usize, of: usize| n as f64 / of as f64;
    println!(
        "among three {:.4} of {all}; first in root position {:.4} of {root_position}",
        share(among_three, all),
        share(first, root_position)
    );
    assert!(share(among_three, all) >= 0.99);
    assert!(share(first, root_position) >= 0.90);
}
