//! What is heard in recordings, beside what was played: keys, names and roots, with a floor for each row of the table below.
//!
//! Twenty minutes of sound in all, which a build that is hardly optimised reads in some twenty seconds of one core; `make eval` reads the held
//! chords of `../shared/corpus` as well and is the finer measure. The corpora beside the project are looked for in `../shared`, or in the
//! folder that `LIDPROP_CORPORA` names; a row whose corpus is not there says SKIPPED. All recordings go through one call of the built program.

#[path = "support/command.rs"]
mod command;

use command::{Answer, Desk};
use lidprop::chart::document::Recording;
use lidprop::harmony::{Spelled, chord::label};
use serde::Deserialize;
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::sync::LazyLock;

/// What is counted; all are shares of what is right, 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Measure {
    /// F over the keys of held chords, each beside the chord heard that lies over it longest.
    KeysF,
    /// Held chords heard with exactly their keys.
    ExactKeys,
    /// Held chords whose first name has the root and the pitch classes of an accepted label.
    FirstName,
    /// F over struck notes: the same key, struck within 50 ms.
    StrikesF,
    /// The share of the labelled time in which the first name of the harmony, of what is held where there is none, has the root of the label.
    RootOverTime,
    /// The share of the time in which no chord is claimed.
    NothingClaimed,
}
use Measure::{ExactKeys, FirstName, KeysF, NothingClaimed, RootOverTime, StrikesF};

/// Some recordings of one corpus, and how well they are heard at least.
struct Row {
    corpus: &'static str,
    /// Which; empty for all of them.
    files: &'static [&'static str],
    floors: &'static [(Measure, f64)],
}

/// The floors. Each lies below what is measured by about one chord in the sample (held chords) or by two hundredths (playing): room for
/// processors that round otherwise, and no more. What raises a figure raises its floor.
const ROWS: &[Row] = &[
    // Held chords with the pedal of the written parts, a piano each: all of the project's own progressions.
    Row {
        corpus: "test-audio",
        files: &[
            "held-chords.flac",
            "borrowed-dominants.flac",
            "rolled-ballad.flac",
        ],
        floors: &[
            (KeysF, 0.93),
            (ExactKeys, 0.54),
            (FirstName, 0.91),
            (StrikesF, 0.94),
        ],
    },
    // Talk over the playing, through a telephone's band: the worst that is meant to be read.
    Row {
        corpus: "test-audio",
        files: &["phone-memo.flac"],
        floors: &[(KeysF, 0.97), (ExactKeys, 0.80), (FirstName, 0.90)],
    },
    // One chord type through twelve keys in a room: what was played, slips included.
    Row {
        corpus: "test-audio",
        files: &["twelve-keys.flac"],
        floors: &[(KeysF, 0.97), (ExactKeys, 0.75), (FirstName, 0.77)],
    },
    // No piano: nothing may be claimed.
    Row {
        corpus: "test-audio",
        files: &["before-class.flac"],
        floors: &[(NothingClaimed, 1.0)],
    },
    // Arrangements as they are played, on four pianos of which one was met in no training: clean, in rooms, over a phone, with noise and talk.
    Row {
        corpus: "corpus_played",
        files: &[],
        floors: &[(StrikesF, 0.95), (RootOverTime, 0.87)],
    },
    // Jazz as it is played: ballad, stride, comping, locked hands, each on three pianos.
    Row {
        corpus: "corpus_jazz",
        files: &[],
        floors: &[(StrikesF, 0.94), (RootOverTime, 0.91)],
    },
    // A real player on a real grand in a hall, in broken chords over the pedal (the other recording has no labelled chords).
    Row {
        corpus: "real",
        files: &["audio/broken-chords.ogg"],
        floors: &[(StrikesF, 0.93), (RootOverTime, 0.91)],
    },
];

#[derive(Deserialize)]
struct Truth {
    clips: Vec<Clip>,
}

#[derive(Deserialize, Clone)]
struct Clip {
    file: String,
    seconds: f64,
    notes: Vec<Note>,
    chords: Vec<Chord>,
    #[serde(default)]
    attempts: Vec<Attempt>,
}

#[derive(Deserialize, Clone)]
struct Note {
    midi: u8,
    onset: f64,
}

#[derive(Deserialize, Clone)]
struct Chord {
    start: f64,
    end: f64,
    label: String,
    accepted: Vec<String>,
    midi: BTreeSet<u8>,
}

#[derive(Deserialize, Clone)]
struct Attempt {
    start: f64,
    end: f64,
    played_midi: BTreeSet<u8>,
}

/// What was heard in a recording, as far as it is compared.
#[derive(Clone, Default)]
struct Heard {
    notes: Vec<Note>,
    chords: Vec<HeardChord>,
    /// Where hands play on: start, end and the label of the first name.
    harmony: Option<Vec<(f64, f64, Option<String>)>>,
}

#[derive(Clone)]
struct HeardChord {
    start: f64,
    end: f64,
    keys: BTreeSet<u8>,
    /// The label of the first name.
    name: Option<String>,
}

impl Heard {
    fn of(recording: Recording) -> Self {
        let notes = recording.notes.iter().map(|note| Note {
            midi: note.midi.get(),
            onset: note.start.get(),
        });
        let chords = recording.chords.iter().map(|chord| HeardChord {
            start: chord.start.get(),
            end: chord.end.get(),
            keys: chord.midi.iter().map(|key| key.get()).collect(),
            name: chord.names.first().map(|name| name.label.clone()),
        });
        let harmony = recording.harmony.as_ref().map(|stretches| {
            let stretches = stretches.iter().map(|stretch| {
                let name = stretch.names.first().map(|name| name.label.clone());
                (stretch.start.get(), stretch.end.get(), name)
            });
            stretches.collect()
        });
        Self {
            notes: notes.collect(),
            chords: chords.collect(),
            harmony,
        }
    }

    /// Start, end and first name of what leads: the harmony, or what is held.
    fn named(&self) -> Vec<(f64, f64, Option<String>)> {
        let held = || {
            let chords = self.chords.iter();
            let named = chords.map(|chord| (chord.start, chord.end, chord.name.clone()));
            named.collect()
        };
        self.harmony.clone().unwrap_or_else(held)
    }

    /// The chord that lies over a stretch of time longest.
    fn over(&self, start: f64, end: f64) -> Option<&HeardChord> {
        let shared = |chord: &HeardChord| chord.end.min(end) - chord.start.max(start);
        let over = self.chords.iter().filter(|chord| shared(chord) > 0.0);
        over.max_by(|a, b| shared(a).total_cmp(&shared(b)))
    }
}

fn folder(corpus: &str) -> PathBuf {
    let project = Path::new(env!("CARGO_MANIFEST_DIR"));
    if corpus == "test-audio" {
        return project.join(corpus);
    }
    let beside = std::env::var_os("LIDPROP_CORPORA");
    beside
        .map_or_else(|| project.join("../shared"), PathBuf::from)
        .join(corpus)
}

/// The true notes and chords of each recording of a row; `None`, loudly, where the corpus is not there.
fn truth(row: &Row) -> Option<Vec<Clip>> {
    let path = folder(row.corpus).join("truth.json");
    let Ok(text) = std::fs::read_to_string(&path) else {
        assert_ne!(row.corpus, "test-audio", "the project has this one");
        eprintln!(
            "SKIPPED: nothing is known of what is heard in {}; there is no {} (LIDPROP_CORPORA names the folder that holds it)",
            row.corpus,
            path.display()
        );
        return None;
    };
    let clips = serde_json::from_str::<Truth>(&text)
        .unwrap_or_else(|error| panic!("{}: {error}", path.display()))
        .clips;
    let wanted = |clip: &Clip| row.files.is_empty() || row.files.contains(&clip.file.as_str());
    let clips: Vec<Clip> = clips.into_iter().filter(wanted).collect();
    assert!(!clips.is_empty() && clips.len() >= row.files.len());
    Some(clips)
}

/// The answer of the one call that reads all recordings, and what was heard in each that was not lost.
static READ: LazyLock<(Answer, BTreeMap<String, Heard>)> = LazyLock::new(|| {
    let desk = Desk::new();
    let of_row = |row: &Row| {
        let clips = truth(row).unwrap_or_default();
        let path = |clip: &Clip| folder(row.corpus).join(&clip.file);
        clips.iter().map(path).collect::<Vec<_>>()
    };
    let paths: Vec<PathBuf> = ROWS.iter().flat_map(of_row).collect();
    let mut arguments: Vec<PathBuf> = ["take", "--write", "json", "--into", "out"]
        .iter()
        .map(PathBuf::from)
        .collect();
    arguments.extend(paths.iter().cloned());
    let answer = desk.run(arguments);
    let heard = paths.iter().filter_map(|path| {
        let stem = stem(&path.to_string_lossy());
        let text = std::fs::read_to_string(desk.path(&format!("out/{stem}.json"))).ok()?;
        let recording = serde_json::from_str(&text).expect("a whole document");
        Some((stem, Heard::of(recording)))
    });
    let heard = heard.collect();
    (answer, heard)
});

fn stem(file: &str) -> String {
    let stem = Path::new(file).file_stem().expect("a file has a name");
    stem.to_string_lossy().into_owned()
}

/// Root and pitch classes of an academic label; `None` where it is none (some that the truth accepts have degrees that the syntax lacks).
fn meaning(text: &str) -> Option<(u8, u16)> {
    let chord = label::read(text).ok()??;
    Some((chord.root.class().get(), chord.pitches().bits()))
}

/// The pitch class of a label's root; `None` where it says that there is no chord.
fn root(label: &str) -> Option<u8> {
    let name = label.split([':', '/']).next().expect("a text has a start");
    let root: Option<Spelled> = name.parse().ok();
    assert!(root.is_some() || ["N", "X"].contains(&name), "{label}");
    root.map(|root| root.class().get())
}

/// Held keys by stretch of time, and the accepted labels: the attempts of a drill, slips included, or the chords.
fn held(clip: &Clip) -> Vec<(f64, f64, &BTreeSet<u8>)> {
    let attempts = clip.attempts.iter();
    if !clip.attempts.is_empty() {
        return attempts.map(|a| (a.start, a.end, &a.played_midi)).collect();
    }
    let chords = clip.chords.iter();
    chords.map(|c| (c.start, c.end, &c.midi)).collect()
}

/// What is right and out of how much, summed over recordings.
#[derive(Default)]
struct Count {
    right: f64,
    all: f64,
}

impl Count {
    fn add(&mut self, right: f64, all: f64) {
        self.right += right;
        self.all += all;
    }

    fn share(&self) -> f64 {
        assert!(self.all > 0.0, "there is something to compare with");
        self.right / self.all
    }
}

fn count(measure: Measure, clip: &Clip, heard: &Heard, count: &mut Count) {
    match measure {
        KeysF | ExactKeys => {
            for (start, end, keys) in held(clip) {
                let got = heard.over(start, end).map(|c| c.keys.clone());
                let got = got.unwrap_or_default();
                if measure == ExactKeys {
                    count.add(f64::from(u8::from(got == *keys)), 1.0);
                } else {
                    let both = got.intersection(keys).count();
                    count.add(2.0 * both as f64, (got.len() + keys.len()) as f64);
                }
            }
        }
        FirstName => {
            for chord in &clip.chords {
                let accepted = chord.accepted.iter().filter_map(|label| meaning(label));
                let accepted: Vec<_> = accepted.collect();
                assert!(!accepted.is_empty(), "{}", chord.label);
                let name = heard.over(chord.start, chord.end);
                let name = name.and_then(|c| c.name.as_deref()).and_then(meaning);
                let right = name.is_some_and(|name| accepted.contains(&name));
                count.add(f64::from(u8::from(right)), 1.0);
            }
        }
        StrikesF => {
            let both = matched(&clip.notes, &heard.notes);
            let all = clip.notes.len() + heard.notes.len();
            count.add(2.0 * both as f64, all as f64);
        }
        RootOverTime => {
            for chord in &clip.chords {
                let Some(wanted) = root(&chord.label) else {
                    continue;
                };
                let named = heard.named();
                let right = named
                    .iter()
                    .filter(|(_, _, name)| name.as_deref().and_then(root) == Some(wanted));
                let shared = right
                    .map(|(start, end, _)| end.min(chord.end) - start.max(chord.start))
                    .filter(|&shared| shared > 0.0);
                count.add(shared.sum(), chord.end - chord.start);
            }
        }
        NothingClaimed => {
            let claimed = heard.chords.iter().filter(|chord| chord.name.is_some());
            let claimed: f64 = claimed.map(|chord| chord.end - chord.start).sum();
            count.add(clip.seconds - claimed, clip.seconds);
        }
    }
}

/// How far a strike may be told from where it was.
const STRIKE_WITHIN: f64 = 0.05;

/// Pairs of a true and a heard note of the same key within [`STRIKE_WITHIN`]; each note in one pair at most. Key by key in order of time, where
/// taking the earliest that fits is best.
fn matched(truth: &[Note], heard: &[Note]) -> usize {
    let by_key = |notes: &[Note]| {
        let mut keys: BTreeMap<u8, Vec<f64>> = BTreeMap::new();
        for note in notes {
            keys.entry(note.midi).or_default().push(note.onset);
        }
        keys.values_mut().for_each(|at| at.sort_by(f64::total_cmp));
        keys
    };
    let (truth, heard) = (by_key(truth), by_key(heard));
    let mut pairs = 0;
    for (key, struck) in &truth {
        let mut candidates = heard.get(key).into_iter().flatten().peekable();
        for at in struck {
            while candidates.next_if(|&&h| h < at - STRIKE_WITHIN).is_some() {}
            let fits = candidates.next_if(|&&h| h <= at + STRIKE_WITHIN);
            pairs += usize::from(fits.is_some());
        }
    }
    pairs
}

/// The figures of a row by what was `heard` in a recording of that name.
fn figures(row: &Row, clips: &[Clip], heard: impl Fn(&str) -> Heard) -> Vec<(Measure, f64, f64)> {
    let figure = |&(measure, floor): &(Measure, f64)| {
        let mut sum = Count::default();
        for clip in clips {
            count(measure, clip, &heard(&stem(&clip.file)), &mut sum);
        }
        (measure, sum.share(), floor)
    };
    row.floors.iter().map(figure).collect()
}

#[track_caller]
fn assert_floors(corpus: &str) {
    let mut below = Vec::new();
    for row in ROWS.iter().filter(|row| row.corpus == corpus) {
        let Some(clips) = truth(row) else { return };
        let heard = |stem: &str| READ.1.get(stem).cloned().unwrap_or_default();
        for (measure, share, floor) in figures(row, &clips, heard) {
            let figure = format!("{measure:?} {share:.3} (floor {floor}) in {:?}", row.files);
            println!("{corpus}: {figure}");
            if share < floor {
                below.push(figure);
            }
        }
    }
    assert!(below.is_empty(), "{corpus}: {below:#?}");
}

#[test]
fn the_projects_own_recordings_are_heard_as_they_were_played() {
    assert_floors("test-audio");
}

#[test]
fn arrangements_are_heard_as_they_were_played() {
    assert_floors("corpus_played");
}

#[test]
fn jazz_is_heard_as_it_was_played() {
    assert_floors("corpus_jazz");
}

#[test]
fn a_real_player_is_heard_as_it_was_played() {
    assert_floors("real");
}

#[test]
fn no_recording_is_lost() {
    let (answer, heard) = &*READ;
    let clips = ROWS.iter().filter_map(truth).flatten();
    let lost: Vec<String> = clips
        .map(|clip| clip.file)
        .filter(|file| !heard.contains_key(&stem(file)))
        .collect();
    assert!(lost.is_empty(), "{lost:?}: {}", answer.err);
    assert_eq!((answer.code, answer.err.as_str()), (0, ""));
}

/// The floors mean something: who hears every key a half step too high, or nothing at all, is below each of them.
#[test]
fn whoever_hears_a_half_step_off_or_nothing_is_below_every_floor() {
    let a_half_step_up = |clip: &Clip| {
        let up = |keys: &BTreeSet<u8>| keys.iter().map(|key| key + 1).collect::<BTreeSet<u8>>();
        let name = |bits: u8| Spelled::usual(lidprop::harmony::PitchClass::new(i32::from(bits)));
        let notes = clip.notes.iter().map(|note| Note {
            midi: note.midi + 1,
            ..*note
        });
        let chords = clip.chords.iter().map(|chord| HeardChord {
            start: chord.start,
            end: chord.end,
            keys: up(&chord.midi),
            name: root(&chord.label).map(|root| format!("{}:maj", name((root + 1) % 12))),
        });
        Heard {
            harmony: None,
            notes: notes.collect(),
            chords: chords.collect(),
        }
    };
    for row in ROWS {
        let Some(clips) = truth(row) else { continue };
        let piano = row.floors.iter().all(|(m, _)| *m != NothingClaimed);
        let wrong = |stem: &str| {
            let clip = clips.iter().find(|clip| self::stem(&clip.file) == stem);
            a_half_step_up(clip.expect("a clip of the row"))
        };
        let nothing = |_: &str| Heard::default();
        let (wrong, nothing) = (figures(row, &clips, wrong), figures(row, &clips, nothing));
        for (measure, share, floor) in wrong.into_iter().chain(nothing) {
            assert_eq!(share < floor, piano, "{measure:?} {share}");
        }
    }
}

/// And whoever hears exactly what was played has full marks, so that a floor near 1 can be met.
#[test]
fn whoever_hears_what_was_played_has_full_marks() {
    for row in ROWS {
        let Some(clips) = truth(row) else { continue };
        let right = |stem: &str| {
            let clip = clips.iter().find(|clip| self::stem(&clip.file) == stem);
            let clip = clip.expect("a clip of the row");
            let stretches = held(clip).into_iter();
            let label = |start: f64| {
                let chord = clip.chords.iter().find(|chord| chord.start == start);
                chord.map(|chord| chord.label.clone())
            };
            Heard {
                harmony: None,
                notes: clip.notes.clone(),
                chords: stretches
                    .map(|(start, end, keys)| HeardChord {
                        start,
                        end,
                        keys: keys.clone(),
                        name: label(start),
                    })
                    .collect(),
            }
        };
        for (measure, share, _) in figures(row, &clips, right) {
            assert!(share > 1.0 - 1e-9, "{} {measure:?} {share}", row.corpus);
        }
    }
}
