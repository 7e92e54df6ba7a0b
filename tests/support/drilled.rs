//! A drill played by the program's own tone, with slips that were planned.
#![allow(dead_code, reason = "each test file uses a part of it")]

use lidprop::tone;
use lidprop::units::{Dbfs, MidiNote, SampleRate, Seconds};
use std::path::Path;

pub const RATE: SampleRate = SampleRate::INTERNAL;

/// Adds a chord that is held for `held` seconds from `at` on.
pub fn strike(sound: &mut Vec<f32>, keys: &[u8], at: f64, held: f64) {
    let keys: Vec<MidiNote> = keys
        .iter()
        .map(|&key| MidiNote::new(key).unwrap())
        .collect();
    let tone = tone::chord(&keys, Seconds::new(held).unwrap(), RATE, Dbfs::new(-14.0));
    let first = (at * f64::from(RATE.get())) as usize;
    sound.resize(sound.len().max(first + tone.len()), 0.0);
    for (sample, x) in sound[first..].iter_mut().zip(tone) {
        *sample += x;
    }
}

/// Chords one after another, two seconds apart from 0.8 s on, and a second of silence.
pub fn chords(chords: &[&[u8]]) -> Vec<f32> {
    let mut sound = Vec::new();
    for (n, keys) in chords.iter().enumerate() {
        strike(&mut sound, keys, 0.8 + 2.0 * n as f64, 1.5);
    }
    sound.resize(sound.len() + RATE.get() as usize, 0.0);
    sound
}

/// The same as a WAV file.
pub fn wav(sound: &[f32], path: &Path) {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: RATE.get(),
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(path, spec).expect("the folder can be written");
    for &x in sound {
        writer
            .write_sample((x * 32_000.0) as i16)
            .expect("the disk has room");
    }
    writer.finalize().expect("the disk has room");
}

/// Diminished major sevenths in fourths from C: the third without its middle key, the fifth with a wrong top, the sixth on a wrong root.
pub fn six_with_three_slips() -> Vec<f32> {
    chords(&[
        &[48, 51, 54, 59],
        &[53, 56, 59, 64],
        &[58, 61, 69],
        &[51, 54, 57, 62],
        &[56, 59, 62, 68],
        &[63, 66, 69, 74],
    ])
}
