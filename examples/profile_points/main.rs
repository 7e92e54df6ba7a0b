//! Measures what a learned profile brings on a piano that the note model has not met.
//!
//! ```text
//! cargo run --release --example profile_points -- --pianos ../shared/pianos --piano upright-kawai \
//!     --learn-velocity 56 --velocity 96 [--model LEFT-OUT.safetensors] [--rooms ../shared/rooms --learn-room sim_room2_near.wav --room sim_room1_near.wav]
//! ```
//! Input: a folder of recorded single notes, and a model trained without that piano. Output: F over keys, exact sets and exact
//! pitch classes of held voicings, without a profile and with it.
//! Units: shares; velocities 1 to 127. Method: a pass over all keys is played with recordings of one dynamic layer and learned from
//! by the same code as `soundcheck --learn`; random voicings of three to nine keys are played with another layer, and read as `take` does.
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
use lidprop::notes::own_piano::Witness;
use lidprop::notes::{Model, NetworkEstimator, NoteEstimator, OwnPianoEstimator};
use lidprop::piano::{PianoProfile, findings};
use lidprop::session::lesson::Pass;
use lidprop::session::recording::hear_samples;
use lidprop::spectrum::{Analyser, HOP_SAMPLES, estimate_a4};
use lidprop::units::{Hertz, MidiNote};
use piano::Piano;
use player::{Performance, PlayedNote};
use sound::Sound;
use std::collections::BTreeSet;
use std::error::Error;
use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};
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
    /// How much harder or softer than that a single key may be struck
    #[arg(long, default_value_t = 12)]
    spread: i16,
    /// Draws the voicings
    #[arg(long, default_value_t = 41)]
    seed: u64,
    /// Writes what the mixture saw of each key in doubt to this file, in place of measuring; `fit.py` works out the weights from it
    #[arg(long, value_name = "FILE")]
    witnesses: Option<PathBuf>,
    /// Folder with room impulse responses
    #[arg(long, value_name = "DIR")]
    rooms: Option<PathBuf>,
    /// The room in which the voicings are played; dry without it
    #[arg(long, value_name = "FILE", requires = "rooms")]
    room: Option<String>,
    /// The room in which the lesson is played; dry without it
    #[arg(long, value_name = "FILE", requires = "rooms")]
    learn_room: Option<String>,
}

/// Seconds that a voicing is held, and from one to the next.
const HELD: f64 = 2.0;
const APART: f64 = 2.6;
/// Seconds from key to key in the lesson, and how long each is held.
const LESSON_APART: f64 = 2.6;
const LESSON_HELD: f64 = 2.2;
const A4: f64 = 440.0;
/// Frames that end this many seconds after a strike hear it.
const SETTLED: f64 = 0.095;

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
    let play = |performance: &Performance,
                seconds: f64,
                room: &Option<String>|
     -> Result<Vec<f32>, Box<dyn Error>> {
        let mut sound = piano.render(performance, A4, seconds)?;
        if let (Some(folder), Some(room)) = (&options.rooms, room) {
            sound.convolve(&Sound::read(&folder.join(room))?)?;
        }
        sound.normalise_peak(-6.0);
        Ok(sound.at_rate(Listener::RATE.get())?.samples)
    };

    let lesson = play(
        &pass_over_the_keys(&piano, options.learn_velocity),
        LESSON_APART * 89.0,
        &options.learn_room,
    )?;
    let mut pass = Pass::new(model.clone());
    pass.hear(&lesson).map_err(|e| e.to_string())?;
    let profile = Arc::new(pass.learned("measured")?);
    println!(
        "learned {} of 88 keys at A4 = {:.1} Hz, {} findings",
        profile.keys.len(),
        profile.a4.get(),
        findings(&profile).len()
    );

    let voicings = random_voicings(options.voicings, options.seed);
    let performance = held(&piano, &voicings, &options);
    let seconds = APART * voicings.len() as f64 + 2.0;
    let sound = play(&performance, seconds, &options.room)?;
    if let Some(path) = &options.witnesses {
        return write_witnesses(path, &sound, &voicings, &model, profile);
    }
    let ways: [Way; 2] = [
        (
            "without a profile",
            Box::new(NetworkEstimator::new(&model)),
            None,
        ),
        (
            "profile",
            Box::new(OwnPianoEstimator::new(&model, &profile)),
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

/// A line for each key in doubt in every fourth frame that hears a voicing: the network's log-odds, what the mixture saw, whether the key was held.
fn write_witnesses(
    path: &Path,
    sound: &[f32],
    voicings: &[BTreeSet<u8>],
    model: &Model,
    piano: Arc<PianoProfile>,
) -> Result<(), Box<dyn Error>> {
    let mut analyser = Analyser::new(piano.a4);
    let mut network = NetworkEstimator::new(model);
    let mut own = OwnPianoEstimator::new(model, &piano);
    let (mut frame, mut plain, mut moved) = Default::default();
    let mut file = BufWriter::new(File::create(path)?);
    let mut rest = sound;
    for count in 1.. {
        if !analyser.next_frame(&mut rest, &mut frame) {
            break;
        }
        network.step(&frame, &mut plain);
        own.step(&frame, &mut moved);
        let at = (count * HOP_SAMPLES) as f64 / f64::from(Listener::RATE.get()) - 0.5;
        let since = at.rem_euclid(APART);
        let Some(keys) = voicings.get((at / APART) as usize) else {
            continue;
        };
        if count % 4 != 0 || at < 0.0 || !(SETTLED..HELD).contains(&since) {
            continue;
        }
        for (index, seen) in own.seen().iter().enumerate() {
            let Some(seen) = seen else { continue };
            let held = keys.contains(&MidiNote::from_piano_index(index).get());
            let p = plain.sounding[index].clamp(1e-6, 1.0 - 1e-6);
            let network = (p / (1.0 - p)).ln();
            let Witness { need, unexplained } = seen;
            writeln!(
                file,
                "{network:.4} {need:.4} {unexplained:.4} {}",
                u8::from(held)
            )?;
        }
    }
    Ok(file.flush()?)
}

fn heard(listener: &mut Listener, sound: &[f32]) -> Vec<Event> {
    let mut kept = Vec::new();
    hear_samples(listener, sound, |event| {
        if matches!(event, Event::Note(_) | Event::Chord(_)) {
            kept.push(event);
        }
    });
    kept
}

/// Three to nine keys, two hands or one, now and then an octave doubled.
fn random_voicings(count: usize, seed: u64) -> Vec<BTreeSet<u8>> {
    const STEPS: [u8; 18] = [1, 2, 2, 3, 3, 3, 3, 4, 4, 4, 4, 5, 5, 5, 6, 7, 7, 12];
    let mut random = fastrand::Rng::with_seed(seed);
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

fn held(piano: &Piano, voicings: &[BTreeSet<u8>], options: &Options) -> Performance {
    let mut random = fastrand::Rng::with_seed(options.seed + 1);
    let mut performance = Performance::default();
    for (index, keys) in voicings.iter().enumerate() {
        let start = 0.5 + APART * index as f64;
        for &midi in keys {
            performance.notes.push(PlayedNote {
                midi,
                onset: start + 0.01 * random.f64(),
                offset: start + HELD.min(piano.longest_hold(midi) - 0.02),
                velocity: (i16::from(options.velocity)
                    + random.i16(-options.spread..=options.spread))
                .clamp(1, 127) as u8,
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
                .filter(|span| overlap(span.start.get(), span.end.get()) > 0.0)
                .max_by(|a, b| {
                    overlap(a.start.get(), a.end.get())
                        .total_cmp(&overlap(b.start.get(), b.end.get()))
                })
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
