//! Measures what a learned profile brings on a piano that the note model has not met.
//!
//! ```text
//! cargo run --release --example profile_points -- --pianos ../shared/pianos --piano upright-kawai \
//!     --learn-velocity 56 --velocity 96 [--model LEFT-OUT.safetensors] [--rooms ../shared/rooms --room sim_room1_near.wav]
//! ```
//! Input: a folder of recorded single notes, and a model trained without that piano. Output: F over keys, exact sets and exact
//! pitch classes of held voicings, without a profile and with it.
//! Units: shares; velocities 1 to 127. Method: a pass over all keys is played with recordings of one dynamic layer and learned from
//! as `soundcheck --learn --from` does; random voicings of three to nine keys are played with another layer, and read as `take` does.
//! Limits: keys that were not recorded are neighbours moved by a half step, so the piano is smoother than a real one.

#![allow(
    dead_code,
    reason = "the renderer's modules are shared, and used in part"
)]

#[path = "../render_test_audio/error.rs"]
mod error;
#[path = "../render_test_audio/piano.rs"]
mod piano;
#[path = "../render_test_audio/player.rs"]
mod player;
#[path = "../render_test_audio/sound.rs"]
mod sound;

use clap::Parser;
use lidprop::listener::{Event, Listener, ListenerOptions};
use lidprop::notes::own_piano::Tuning;
use lidprop::notes::{Model, NetworkEstimator, NoteEstimator, OwnPianoEstimator};
use lidprop::piano::{Lesson, PianoProfile, Strike, findings, learn};
use lidprop::spectrum::estimate_a4;
use lidprop::units::{Hertz, MidiNote};
use piano::Piano;
use player::{Performance, PlayedNote};
use sound::Sound;
use std::collections::BTreeSet;
use std::error::Error;
use std::path::PathBuf;
use std::sync::Arc;

/// What is measured.
#[derive(Parser)]
struct Options {
    /// Folder with one folder of recorded notes a piano
    #[arg(long, value_name = "DIR")]
    pianos: PathBuf,
    /// The piano
    #[arg(long, value_name = "NAME")]
    piano: String,
    /// Weights trained without it; without this, those that ship
    #[arg(long, value_name = "FILE")]
    model: Option<PathBuf>,
    /// How hard the keys of the lesson are struck
    #[arg(long, default_value_t = 56)]
    learn_velocity: u8,
    /// How hard the voicings are struck
    #[arg(long, default_value_t = 96)]
    velocity: u8,
    /// How many voicings
    #[arg(long, default_value_t = 120)]
    voicings: usize,
    /// Log-odds for each factor e of how much a key is needed, in place of the built-in value
    #[arg(long)]
    weight: Option<f32>,
    /// How much a key is needed when it is as likely as the network says, in place of the built-in value
    #[arg(long)]
    neutral: Option<f32>,
    /// Folder with room impulse responses
    #[arg(long, value_name = "DIR", requires = "room")]
    rooms: Option<PathBuf>,
    /// The room in which both are played; dry without it
    #[arg(long, value_name = "FILE")]
    room: Option<String>,
}

/// Seconds that a voicing is held, and from one to the next.
const HELD: f64 = 2.0;
const APART: f64 = 2.6;
/// Seconds from key to key in the lesson, and how long each is held.
const LESSON_APART: f64 = 2.6;
const LESSON_HELD: f64 = 2.2;
const A4: f64 = 440.0;
const SEED: u64 = 41;

/// A way of hearing: its name, the estimator, and the piano whose pitch is expected.
type Way = (
    &'static str,
    Box<dyn NoteEstimator>,
    Option<Arc<PianoProfile>>,
);

fn main() -> Result<(), Box<dyn Error>> {
    let options = Options::parse();
    let model = match &options.model {
        Some(path) => Model::from_bytes(&std::fs::read(path)?)?,
        None => Model::embedded(),
    };
    let piano = Piano::load(&options.pianos, &options.piano)?;
    let room = match (&options.rooms, &options.room) {
        (Some(folder), Some(room)) => Some(Sound::read(&folder.join(room))?),
        _ => None,
    };
    let play = |performance: &Performance, seconds: f64| -> Result<Vec<f32>, Box<dyn Error>> {
        let mut sound = piano.render(performance, A4, seconds)?;
        if let Some(room) = &room {
            sound.convolve(room)?;
        }
        sound.normalise_peak(-6.0);
        Ok(sound.at_rate(Listener::RATE.get())?.samples)
    };

    let lesson = play(
        &pass_over_the_keys(&piano, options.learn_velocity),
        LESSON_APART * 89.0,
    )?;
    let profile = learned(&lesson, &model)?;
    println!(
        "learned {} of 88 keys, {} findings",
        profile.keys.len(),
        findings(&profile).len()
    );

    let voicings = random_voicings(options.voicings);
    let performance = held(&piano, &voicings, options.velocity);
    let sound = play(&performance, APART * voicings.len() as f64 + 2.0)?;
    let built_in = Tuning::default();
    let tuning = Tuning {
        weight: options.weight.unwrap_or(built_in.weight),
        neutral: options.neutral.unwrap_or(built_in.neutral),
        ..built_in
    };
    let profile = Arc::new(profile);
    let ways: [Way; 2] = [
        (
            "without a profile",
            Box::new(NetworkEstimator::new(&model)),
            None,
        ),
        (
            "profile",
            Box::new(OwnPianoEstimator::with_tuning(&model, &profile, tuning)),
            Some(profile),
        ),
    ];
    for (name, estimator, piano) in ways {
        let found_a4 = estimate_a4(&sound, Hertz::CONCERT_A4).map(|found| found.a4);
        let options = ListenerOptions {
            found_a4,
            piano,
            ..ListenerOptions::default()
        };
        let mut listener = Listener::with_estimator(options, estimator);
        println!(
            "{name:22} {}",
            Score::of(&voicings, &heard(&mut listener, &sound))
        );
    }
    Ok(())
}

/// Every key once, from bottom to top.
fn pass_over_the_keys(piano: &Piano, velocity: u8) -> Performance {
    let note = |midi: u8| {
        let onset = 0.5 + LESSON_APART * f64::from(midi - 21);
        PlayedNote {
            midi,
            onset,
            offset: onset + LESSON_HELD.min(piano.longest_hold(midi) - 0.02),
            velocity,
        }
    };
    Performance {
        notes: (21..=108)
            .filter(|&midi| piano.longest_hold(midi) > 0.05)
            .map(note)
            .collect(),
        ..Performance::default()
    }
}

fn learned(lesson: &[f32], model: &Model) -> Result<PianoProfile, Box<dyn Error>> {
    let found_a4 = estimate_a4(lesson, Hertz::CONCERT_A4).map(|found| found.a4);
    let options = ListenerOptions {
        found_a4,
        ..ListenerOptions::default()
    };
    let mut listener = Listener::with_estimator(options, Box::new(NetworkEstimator::new(model)));
    let strikes = heard(&mut listener, lesson)
        .into_iter()
        .filter_map(|event| match event {
            Event::Note(span) => {
                let p = f64::from(span.note.confidence.get()).clamp(1e-4, 1.0 - 1e-4);
                Some(Strike {
                    midi: span.note.midi,
                    start: span.start,
                    end: span.end,
                    log_odds: (p / (1.0 - p)).ln(),
                })
            }
            _ => None,
        })
        .collect();
    let lesson = Lesson {
        samples: lesson.to_vec(),
        strikes,
        a4: listener.a4().unwrap_or(Hertz::CONCERT_A4),
    };
    Ok(learn("measured", &lesson)?)
}

fn heard(listener: &mut Listener, sound: &[f32]) -> Vec<Event> {
    let (mut events, mut kept) = (Vec::new(), Vec::new());
    for block in sound.chunks(4096) {
        listener.push(block, &mut events);
        kept.extend(
            events
                .drain(..)
                .filter(|event| matches!(event, Event::Note(_) | Event::Chord(_))),
        );
    }
    listener.finish(&mut events);
    kept.extend(events);
    kept
}

/// Three to nine keys, two hands or one, now and then an octave doubled.
fn random_voicings(count: usize) -> Vec<BTreeSet<u8>> {
    const STEPS: [u8; 18] = [1, 2, 2, 3, 3, 3, 3, 4, 4, 4, 4, 5, 5, 5, 6, 7, 7, 12];
    let mut random = fastrand::Rng::with_seed(SEED);
    let mut voicings = Vec::new();
    while voicings.len() < count {
        let mut key = random.u8(30..58);
        let mut keys = BTreeSet::from([key]);
        if random.f32() < 0.35 {
            key = random.u8(54..64);
            keys.insert(key);
        }
        for _ in 0..random.u8(2..6) {
            key += random.choice(STEPS).unwrap_or(4);
            keys.insert(key);
        }
        if random.f32() < 0.35 {
            let doubled: Vec<u8> = keys.iter().copied().collect();
            keys.insert(random.choice(doubled).unwrap_or(48) + 12);
        }
        if (3..10).contains(&keys.len()) && keys.last().is_some_and(|&top| top <= 84) {
            voicings.push(keys);
        }
    }
    voicings
}

fn held(piano: &Piano, voicings: &[BTreeSet<u8>], velocity: u8) -> Performance {
    let mut random = fastrand::Rng::with_seed(SEED + 1);
    let mut performance = Performance::default();
    for (index, keys) in voicings.iter().enumerate() {
        let start = 0.5 + APART * index as f64;
        for &midi in keys {
            performance.notes.push(PlayedNote {
                midi,
                onset: start + 0.01 * random.f64(),
                offset: start + HELD.min(piano.longest_hold(midi) - 0.02),
                velocity: (i16::from(velocity) + random.i16(-12..=12)).clamp(1, 127) as u8,
            });
        }
    }
    performance
}

/// Right and wrong keys of all voicings.
#[derive(Default)]
struct Score {
    right: usize,
    extra: usize,
    missed: usize,
    exact: usize,
    classes: usize,
    voicings: usize,
}

impl Score {
    /// Each voicing against the chord that overlaps it most.
    fn of(voicings: &[BTreeSet<u8>], events: &[Event]) -> Self {
        let rate = f64::from(Listener::RATE.get());
        let mut score = Self::default();
        for (index, keys) in voicings.iter().enumerate() {
            let start = 0.5 + APART * index as f64;
            let overlap = |from: u64, to: u64| {
                (to as f64 / rate).min(start + HELD) - (from as f64 / rate).max(start)
            };
            let got: BTreeSet<u8> = events
                .iter()
                .filter_map(|event| match event {
                    Event::Chord(span) => Some(span),
                    _ => None,
                })
                .filter(|span| overlap(span.start.0, span.end.0) > 0.0)
                .max_by(|a, b| overlap(a.start.0, a.end.0).total_cmp(&overlap(b.start.0, b.end.0)))
                .map(|span| {
                    span.notes
                        .iter()
                        .map(|note| MidiNote::get(note.midi))
                        .collect()
                })
                .unwrap_or_default();
            let classes =
                |keys: &BTreeSet<u8>| keys.iter().map(|key| key % 12).collect::<BTreeSet<_>>();
            score.right += keys.intersection(&got).count();
            score.extra += got.difference(keys).count();
            score.missed += keys.difference(&got).count();
            score.exact += usize::from(got == *keys);
            score.classes += usize::from(classes(&got) == classes(keys));
            score.voicings += 1;
        }
        score
    }
}

impl std::fmt::Display for Score {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let wrong = (self.extra + self.missed) as f64;
        let share = |count: usize| count as f64 / self.voicings.max(1) as f64;
        write!(
            f,
            "note_f {:.3}  exact {:.3}  pcs {:.3}  ({} extra, {} missed, {} voicings)",
            2.0 * self.right as f64 / (2.0 * self.right as f64 + wrong).max(1.0),
            share(self.exact),
            share(self.classes),
            self.extra,
            self.missed,
            self.voicings
        )
    }
}
