//! A recorded piano: plays a performance with recordings of its single notes.
//!
//! Input: a folder with `map.tsv` (file, midi, velocity, rate, seconds) and a file a note. Output: a dry mix.
//! Units: MIDI numbers, velocities 1 to 127, seconds.
//! Method: the nearest recorded note, moved by resampling; level grows with the square of velocity (Dannenberg,
//! "The Interpretation of MIDI Velocity", ICMC 2006); a damped string decays exponentially, slower in the bass.
//! Limits: a note cannot be held longer than its recording lasts.

use crate::error::RenderError;
use crate::player::{Performance, PlayedNote};
use crate::sound::{MIX_RATE, Sound, stretch};
use std::collections::HashMap;
use std::path::{Path, PathBuf};

/// How far the middle octaves (MIDI 48 to 76) of each recorded piano lie from 440 Hz, in cents: the median of the strongest
/// spectral peak near each fundamental over 1.5 s, 0.1 s after the strike. Truth about pitch is wrong by as much as these are.
const OWN_CENTS: &[(&str, f64)] = &[
    ("grand-disklavier", 5.5),
    ("grand-steinway", 3.6),
    ("grand-yamaha-c3", 5.9),
    ("grand-yamaha-c5", -0.2),
    ("upright-kawai", -4.3),
];

/// Keys above this have no damper on most pianos (MIDI number of F#6).
const HIGHEST_DAMPED: u8 = 90;

/// Farthest a recording is moved, in half steps: beyond, its body resonances sound wrong.
const FARTHEST_MOVE: u8 = 2;

/// Seconds that a recording must last beyond the note: its lead-in, and what a move upwards takes from its length.
const MARGIN: f64 = 0.3;

struct Recording {
    path: PathBuf,
    midi: u8,
    velocity: u8,
    seconds: f64,
}

/// The recorded notes of one piano.
pub struct Piano {
    recordings: Vec<Recording>,
    own_cents: f64,
}

impl Piano {
    /// Reads the list of recorded notes in `pianos/name`.
    ///
    /// # Errors
    /// If the list is missing or has a line that cannot be read.
    pub fn load(pianos: &Path, name: &str) -> Result<Self, RenderError> {
        let folder = pianos.join(name);
        let map = folder.join("map.tsv");
        let text = std::fs::read_to_string(&map).map_err(|e| RenderError::file(&map, e))?;
        let recordings = text
            .lines()
            .skip(1)
            .map(|line| {
                let bad = || RenderError::file(&map, format!("cannot read the line `{line}`"));
                let [file, midi, velocity, _rate, seconds] =
                    line.split('\t').collect::<Vec<_>>()[..]
                else {
                    return Err(bad());
                };
                Ok(Recording {
                    path: folder.join(file),
                    midi: midi.parse().map_err(|_| bad())?,
                    velocity: velocity.parse().map_err(|_| bad())?,
                    seconds: seconds.parse().map_err(|_| bad())?,
                })
            })
            .collect::<Result<_, RenderError>>()?;
        let own_cents = OWN_CENTS
            .iter()
            .find(|(known, _)| *known == name)
            .map(|&(_, cents)| cents)
            .ok_or_else(|| {
                RenderError::file(folder, "the pitch of this piano was never measured")
            })?;
        Ok(Self {
            recordings,
            own_cents,
        })
    }

    /// Plays `performance` with A4 at `a4` hertz into a sound of `seconds`.
    ///
    /// # Errors
    /// If a recording is missing, too far away or shorter than the note.
    pub fn render(
        &self,
        performance: &Performance,
        a4: f64,
        seconds: f64,
    ) -> Result<Sound, RenderError> {
        let cents = 1200.0 * (a4 / 440.0).log2() - self.own_cents;
        let mut mix = Sound::silence(seconds);
        let mut read = HashMap::new();
        for note in &performance.notes {
            let recording = self.nearest(note)?;
            if !read.contains_key(&recording.path) {
                read.insert(&recording.path, Sound::read(&recording.path)?);
            }
            let source = &read[&recording.path];
            let half_steps = f64::from(note.midi) - f64::from(recording.midi) + cents / 100.0;
            let mut samples = stretch(&source.samples, (-half_steps / 12.0).exp2())?;
            let attack = attack_sample(&samples);
            damp(&mut samples, attack, note)
                .map_err(|reason| RenderError::file(&recording.path, reason))?;
            let start = (note.onset * f64::from(MIX_RATE)).round() as usize;
            let gain = (f32::from(note.velocity) / f32::from(recording.velocity)).powi(2);
            mix.add(
                &samples[attack.saturating_sub(start)..],
                start.saturating_sub(attack),
                gain,
            );
        }
        Ok(mix)
    }

    /// How long `midi` can be held at most, in seconds: not at all where no recording is near.
    #[allow(dead_code, reason = "the takes are written so that every note lasts")]
    pub fn longest_hold(&self, midi: u8) -> f64 {
        self.recordings
            .iter()
            .filter(|recording| midi.abs_diff(recording.midi) <= FARTHEST_MOVE)
            .map(|recording| recording.seconds - MARGIN)
            .fold(0.0, f64::max)
    }

    /// Of the recordings that last long enough, the one nearest in pitch and loudness.
    fn nearest(&self, note: &PlayedNote) -> Result<&Recording, RenderError> {
        // A factor of e in velocity changes the tone about as much as a move by two half steps.
        let distance = |recording: &&Recording| {
            let louder = f64::from(note.velocity) / f64::from(recording.velocity);
            f64::from(note.midi.abs_diff(recording.midi)) + 2.0 * louder.ln().abs()
        };
        let long_enough = MARGIN + note.offset - note.onset;
        self.recordings
            .iter()
            .filter(|recording| note.midi.abs_diff(recording.midi) <= FARTHEST_MOVE)
            .filter(|recording| recording.seconds >= long_enough)
            .min_by(|a, b| distance(a).total_cmp(&distance(b)))
            .ok_or_else(|| {
                RenderError::Part(format!(
                    "no recording near MIDI {} lasts {long_enough:.2} s",
                    note.midi
                ))
            })
    }
}

/// Where the hammer strikes: the first sample above a tenth of the largest magnitude of the first 100 ms.
fn attack_sample(samples: &[f32]) -> usize {
    let beginning = &samples[..samples.len().min(MIX_RATE as usize / 10)];
    let peak = beginning
        .iter()
        .fold(0.0_f32, |peak, sample| sample.abs().max(peak));
    beginning
        .iter()
        .position(|sample| sample.abs() > 0.1 * peak)
        .unwrap_or(0)
}

/// Lets the damper fall on the string when the note ends: from there, `exp(-t / tau)`, and silence after 8 tau (-70 dB).
fn damp(samples: &mut Vec<f32>, attack: usize, note: &PlayedNote) -> Result<(), String> {
    let held = ((note.offset - note.onset) * f64::from(MIX_RATE)) as usize;
    let released = attack + held;
    if released > samples.len() {
        return Err(format!(
            "is shorter than a note of {:.2} s",
            note.offset - note.onset
        ));
    }
    if note.midi > HIGHEST_DAMPED {
        return Ok(());
    }
    // Felt stops a thin string within 50 ms and a wound bass string in three times that.
    let tau = f64::from(MIX_RATE)
        * (0.05 + 0.10 * ((60.0 - f64::from(note.midi)) / 39.0).clamp(0.0, 1.0));
    samples.truncate(released + (8.0 * tau) as usize);
    for (after, sample) in samples[released..].iter_mut().enumerate() {
        *sample *= (-(after as f64) / tau).exp() as f32;
    }
    Ok(())
}
