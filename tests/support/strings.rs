//! Stiff strings struck at given times, and recordings played at another speed.
#![allow(dead_code, reason = "each test file uses a part of it")]

use lidprop::piano::partials::StiffString;
use lidprop::units::SampleRate;
use std::f64::consts::TAU;

pub const RATE: f64 = SampleRate::INTERNAL.get() as f64;

/// Adds a string struck at `start` and damped at `end` (seconds), `gain` times 0.1 at its first partial.
pub fn strike(sound: &mut [f32], string: StiffString, start: f64, end: f64, gain: f64) {
    let first = (start * RATE) as usize;
    let last = (((end + 0.3) * RATE) as usize).min(sound.len());
    for n in 1..=16 {
        let f = string.partial(f64::from(n));
        if f > 9000.0 {
            break;
        }
        let level = 0.1 * gain * 10f64.powf(-0.12 * f64::from(n));
        let fall = 0.5 + 0.002 * f;
        for (i, out) in sound[first..last].iter_mut().enumerate() {
            let t = i as f64 / RATE;
            let damped = (-(t - (end - start)).max(0.0) / 0.05).exp();
            let attack = (t / 0.003).min(1.0);
            *out +=
                (level * attack * damped * (-fall * t).exp() * (TAU * f * t + f64::from(n)).sin())
                    as f32;
        }
    }
}

/// The sound played `speed(seconds)` times as fast (cubic interpolation through four samples, Catmull and Rom 1974).
pub fn at_speed(sound: &[f32], speed: impl Fn(f64) -> f64) -> Vec<f32> {
    let mut played = Vec::with_capacity(sound.len());
    let mut at = 1.0;
    while at + 3.0 < sound.len() as f64 {
        let i = at as usize;
        let t = (at - at.floor()) as f32;
        let [a, b, c, d] = [sound[i - 1], sound[i], sound[i + 1], sound[i + 2]];
        played.push(
            b + 0.5
                * t
                * (c - a + t * (2.0 * a - 5.0 * b + 4.0 * c - d + t * (3.0 * (b - c) + d - a))),
        );
        at += speed(at / RATE);
    }
    played
}

/// A 16-bit WAV file at the internal rate.
pub fn write_wav(path: &std::path::Path, sound: &[f32]) {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: SampleRate::INTERNAL.get(),
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(path, spec).unwrap();
    for x in sound {
        writer
            .write_sample((x.clamp(-1.0, 1.0) * 32_767.0) as i16)
            .unwrap();
    }
    writer.finalize().unwrap();
}
