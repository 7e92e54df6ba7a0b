//! The recordings in `test-audio` are what `truth.json` says they are.

use lidprop::audio::{self, SampleSource};
use lidprop::units::{Hertz, MidiNote, SampleRate};
use serde::Deserialize;
use std::collections::BTreeSet;
use std::f64::consts::TAU;
use std::path::{Path, PathBuf};

#[derive(Deserialize)]
struct Truth {
    clips: Vec<Clip>,
}

#[derive(Deserialize)]
struct Clip {
    file: String,
    kind: String,
    a4_hz: f64,
    rate: u32,
    seconds: f64,
    notes: Vec<Note>,
    chords: Vec<Chord>,
    #[serde(default)]
    attempts: Vec<Attempt>,
}

#[derive(Deserialize)]
struct Note {
    midi: u8,
    onset: f64,
    offset: f64,
}

#[derive(Deserialize)]
struct Chord {
    start: f64,
    end: f64,
    midi: Vec<u8>,
}

#[derive(Deserialize)]
struct Attempt {
    start: f64,
    end: f64,
    target_midi: Vec<u8>,
    played_midi: Vec<u8>,
    right: bool,
    missing: Vec<u8>,
    extra: Vec<u8>,
}

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("test-audio")
}

fn clips() -> Vec<Clip> {
    let text = std::fs::read_to_string(folder().join("truth.json")).unwrap();
    serde_json::from_str::<Truth>(&text).unwrap().clips
}

fn samples(file: &str) -> (u32, Vec<f32>) {
    let mut source = audio::open(folder().join(file)).unwrap();
    let samples = source.read_all().unwrap();
    (source.info().rate.get(), samples)
}

/// Power of one frequency in `samples`: the squared magnitude of a single Hann-windowed Fourier coefficient.
fn power_at(samples: &[f32], frequency: f64) -> f64 {
    let rate = f64::from(SampleRate::INTERNAL.get());
    let (mut re, mut im) = (0.0, 0.0);
    for (n, &sample) in samples.iter().enumerate() {
        let window = 0.5 - 0.5 * (TAU * n as f64 / samples.len() as f64).cos();
        let (sin, cos) = (TAU * frequency * n as f64 / rate).sin_cos();
        re += window * f64::from(sample) * cos;
        im += window * f64::from(sample) * sin;
    }
    re * re + im * im
}

#[test]
fn recordings_come_to_less_than_eight_megabytes_with_their_sources_named() {
    let bytes: u64 = clips()
        .iter()
        .map(|clip| std::fs::metadata(folder().join(&clip.file)).unwrap().len())
        .sum();
    assert!(bytes <= 8_000_000, "{bytes} bytes");
    let sources = std::fs::read_to_string(folder().join("LICENCES.md")).unwrap();
    for clip in clips() {
        assert!(
            sources.contains(&clip.file),
            "{} names no source",
            clip.file
        );
    }
}

#[test]
fn every_recording_has_the_rate_and_length_that_the_truth_states() {
    for clip in clips() {
        let (rate, samples) = samples(&clip.file);
        assert_eq!(rate, clip.rate, "{}", clip.file);
        let seconds = samples.len() as f64 / f64::from(SampleRate::INTERNAL.get());
        // Two samples of the file at its own rate and two after resampling.
        let tolerance = 2.0 / f64::from(rate) + 2.0 / f64::from(SampleRate::INTERNAL.get());
        assert!(
            (seconds - clip.seconds).abs() <= tolerance,
            "{}: {seconds} s",
            clip.file
        );
    }
}

#[test]
fn no_key_is_struck_while_it_is_held_and_all_lies_within_the_recording() {
    for clip in clips() {
        for (place, note) in clip.notes.iter().enumerate() {
            assert!(0.0 < note.onset && note.onset < note.offset && note.offset < clip.seconds);
            for later in &clip.notes[place + 1..] {
                let apart = later.midi != note.midi || later.onset >= note.offset;
                assert!(apart, "{}: {} at {} s", clip.file, note.midi, later.onset);
            }
        }
        assert_eq!(clip.notes.is_empty(), clip.kind == "none", "{}", clip.file);
    }
}

#[test]
fn every_chord_is_made_of_notes_struck_at_its_start() {
    for clip in clips() {
        for chord in &clip.chords {
            assert!(chord.midi.is_sorted() && chord.start < chord.end);
            for key in &chord.midi {
                // Rolled chords take up to 0.3 s.
                let struck =
                    |n: &&Note| n.midi == *key && (0.0..0.3).contains(&(n.onset - chord.start));
                assert!(
                    clip.notes.iter().any(|n| struck(&n)),
                    "{}: {key} at {} s",
                    clip.file,
                    chord.start
                );
            }
        }
    }
}

#[test]
fn attempts_are_right_exactly_where_the_pitch_classes_of_the_target_were_played() {
    let drills: Vec<Clip> = clips()
        .into_iter()
        .filter(|clip| clip.kind == "drill")
        .collect();
    assert!(!drills.is_empty());
    for clip in drills {
        let classes = |keys: &[u8]| keys.iter().map(|key| key % 12).collect::<BTreeSet<_>>();
        let roots: BTreeSet<u8> = clip
            .attempts
            .iter()
            .map(|a| a.target_midi[0] % 12)
            .collect();
        assert_eq!(roots.len(), 12, "{} goes through twelve keys", clip.file);
        assert!(
            clip.attempts.iter().any(|a| !a.right),
            "{} has slips",
            clip.file
        );
        for attempt in &clip.attempts {
            let (wanted, played) = (classes(&attempt.target_midi), classes(&attempt.played_midi));
            assert_eq!(
                attempt.right,
                wanted == played,
                "{} at {} s",
                clip.file,
                attempt.start
            );
            assert!(attempt.missing.iter().eq(wanted.difference(&played)));
            assert!(attempt.extra.iter().eq(played.difference(&wanted)));
            assert!(attempt.start < attempt.end);
        }
    }
}

/// In the middle octaves a struck key is stronger at its own fundamental than a quarter tone to either side; a wrong key,
/// a wrong pitch of the piano or a wrong onset would not be. Keys beside another sounding key are left out: with half a
/// second of sound their lines touch.
#[test]
fn struck_keys_sound_at_their_pitch_after_their_onset() {
    for clip in clips() {
        let (_, samples) = samples(&clip.file);
        let rate = f64::from(SampleRate::INTERNAL.get());
        let a4 = Hertz::new(clip.a4_hz).unwrap();
        for note in clip
            .notes
            .iter()
            .filter(|note| (55..=80).contains(&note.midi))
        {
            let crowded = clip.notes.iter().any(|other| {
                let together = other.onset < note.offset && note.onset < other.offset + 0.3;
                together && (1..=2).contains(&other.midi.abs_diff(note.midi))
            });
            if crowded {
                continue;
            }
            let start = note.onset + 0.05;
            let end = note.offset.min(start + 0.5);
            let sounding = &samples[(start * rate) as usize..(end * rate) as usize];
            let fundamental = MidiNote::new(note.midi).unwrap().frequency(a4).get();
            let power =
                |half_steps: f64| power_at(sounding, fundamental * (half_steps / 12.0).exp2());
            assert!(
                power(0.0) > power(-0.5).max(power(0.5)),
                "{}: {} at {:.2} s is not at its pitch",
                clip.file,
                note.midi,
                note.onset
            );
        }
    }
}
