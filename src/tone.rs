//! A tone of struck strings of our own, for ear training.
//!
//! Input: keys, how long they are held. Output: mono samples. Units: seconds, hertz; full scale is 1, the loudest sample stands at a stated level (dBFS).
//! Method: additive synthesis of two stiff strings a key, `f_n = n f_0 sqrt(1 + B n^2)` (Fletcher, JASA 36, 1964), 0.6 cents apart, each partial with
//! a fast decay and a slow one (Weinreich, JASA 62, 1977), a comb of the hammer's place at an eighth of the string, a short noise for the hammer's knock. Sines come
//! from a rotating phasor. A damper fades the end.
//! Limits: one dynamic; no pedal, no soundboard; nobody takes it for a recording.

use crate::units::{Dbfs, Hertz, MidiNote, SampleRate, Seconds};
use std::f64::consts::TAU;

/// Partials of a string at most.
const PARTIALS: u32 = 24;
/// No partial above this share of the sample rate.
const HIGHEST: f64 = 0.45;
/// Half the distance of the two strings of a key, in cents.
const APART_CENTS: f64 = 0.3;
/// Where the hammer strikes, as a share of the string.
const STRUCK_AT: f64 = 1.0 / 8.0;
/// From nothing to full, in seconds: no click.
const ATTACK: f64 = 0.003;
/// The damper takes so long to fall to a thousandth, in seconds.
const DAMPED: f64 = 0.25;
/// How loud the tone is unless the player says otherwise: a quiet loudspeaker first.
pub const SAFE_LEVEL: Dbfs = Dbfs::new(-24.0);

/// The stiffness B of a key's strings: least in the tenor, more at both ends (the shape of Rigaud, David, Daudet, JASA 133, 2013, fig. 8).
fn stiffness(key: MidiNote) -> f64 {
    let m = f64::from(key.get());
    (0.09 * m - 15.6).exp() * 2.0 + (-0.08 * m - 6.5).exp()
}

/// These keys struck together and held for so long, then damped; the loudest sample stands at `level`.
pub fn chord(keys: &[MidiNote], held: Seconds, rate: SampleRate, level: Dbfs) -> Vec<f32> {
    let seconds = held.get().max(0.0) + DAMPED;
    let length = (seconds * f64::from(rate.get())) as usize;
    let mut sound = vec![0.0_f64; length];
    for &key in keys {
        string(&mut sound, key, rate);
    }
    knock(&mut sound, rate);
    envelope(&mut sound, held, rate);
    let peak = sound.iter().fold(0.0_f64, |peak, x| peak.max(x.abs()));
    let gain = if peak > 0.0 {
        10_f64.powf(level.get() / 20.0) / peak
    } else {
        0.0
    };
    sound.iter().map(|x| (x * gain) as f32).collect()
}

/// Keys struck together.
#[derive(Debug, Clone, PartialEq)]
pub struct Struck {
    /// The keys.
    pub keys: Vec<MidiNote>,
    /// When, from the start of the sound.
    pub at: Seconds,
    /// How long they are held.
    pub held: Seconds,
}

/// All of these in one sound, each as [`chord`] gives it; the loudest sample stands at `level`.
pub fn played(all: &[Struck], rate: SampleRate, level: Dbfs) -> Vec<f32> {
    let mut sound: Vec<f32> = Vec::new();
    for struck in all {
        let from = (struck.at.get().max(0.0) * f64::from(rate.get())) as usize;
        let one = chord(&struck.keys, struck.held, rate, level);
        if sound.len() < from + one.len() {
            sound.resize(from + one.len(), 0.0);
        }
        sound[from..]
            .iter_mut()
            .zip(one)
            .for_each(|(sum, x)| *sum += x);
    }
    let peak = sound.iter().fold(0.0_f32, |peak, x| peak.max(x.abs()));
    if peak > 0.0 {
        let gain = 10_f32.powf(level.get() as f32 / 20.0) / peak;
        sound.iter_mut().for_each(|x| *x *= gain);
    }
    sound
}

/// Adds both strings of a key.
fn string(sound: &mut [f64], key: MidiNote, rate: SampleRate) {
    let rate = f64::from(rate.get());
    let f0 = key.frequency(Hertz::CONCERT_A4).get();
    let b = stiffness(key);
    for cents in [-APART_CENTS, APART_CENTS] {
        let f0 = f0 * (cents / 1200.0).exp2();
        for n in 1..=PARTIALS {
            let n = f64::from(n);
            let frequency = n * f0 * (1.0 + b * n * n).sqrt();
            if frequency > HIGHEST * rate {
                break;
            }
            let comb = (std::f64::consts::PI * n * STRUCK_AT).sin().abs() + 0.1;
            let level = comb * (-0.5 * (n - 1.0)).exp();
            // high partials die sooner, and so do high keys
            let slow = 0.25 + 0.0012 * frequency;
            partial(sound, frequency / rate, level, slow / rate);
        }
    }
}

/// Adds one partial: cycles a sample, level, and how fast it falls (natural logarithm a sample).
fn partial(sound: &mut [f64], cycles: f64, level: f64, slow: f64) {
    let (sin, cos) = (TAU * cycles).sin_cos();
    let (mut x, mut y) = (0.0, 1.0);
    let (fast_step, slow_step) = ((-4.0 * slow).exp(), (-slow).exp());
    let (mut fast, mut late) = (0.75 * level, 0.25 * level);
    for sample in sound {
        *sample += x * (fast + late);
        (x, y) = (x * cos + y * sin, y * cos - x * sin);
        fast *= fast_step;
        late *= slow_step;
    }
}

/// Twenty milliseconds of noise where the hammer meets the strings, from a fixed seed.
fn knock(sound: &mut [f64], rate: SampleRate) {
    let rate = f64::from(rate.get());
    let mut random = fastrand::Rng::with_seed(1);
    let mut low = 0.0;
    for (n, sample) in sound.iter_mut().take((0.02 * rate) as usize).enumerate() {
        low += 0.1 * (random.f64() - 0.5 - low);
        *sample += 0.6 * low * (-(n as f64) / (0.005 * rate)).exp();
    }
}

fn envelope(sound: &mut [f64], held: Seconds, rate: SampleRate) {
    let rate = f64::from(rate.get());
    for (n, sample) in sound.iter_mut().enumerate() {
        let t = n as f64 / rate;
        let damped = (t - held.get()).max(0.0);
        *sample *= (t / ATTACK).min(1.0) * 10_f64.powf(-3.0 * damped / DAMPED);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE: SampleRate = SampleRate::INTERNAL;

    fn keys(numbers: &[u8]) -> Vec<MidiNote> {
        numbers.iter().map(|&n| MidiNote::new(n).unwrap()).collect()
    }

    #[test]
    fn the_loudest_sample_stands_at_the_level_and_both_ends_are_silent() {
        for level in [-24.0, -6.0] {
            let sound = chord(
                &keys(&[48, 52, 55]),
                Seconds::new(1.0).unwrap(),
                RATE,
                Dbfs::new(level),
            );
            let peak = sound.iter().fold(0.0_f32, |peak, x| peak.max(x.abs()));
            assert!((20.0 * f64::from(peak).log10() - level).abs() < 1e-3);
            assert_eq!(sound[0], 0.0);
            assert!(sound[sound.len() - 1].abs() < 2e-3 * peak);
            // no click: the first sample after silence is small
            assert!(sound[1].abs() < 0.05 * peak);
        }
    }

    #[test]
    fn chords_in_turn_sound_when_they_are_struck_and_never_above_the_level() {
        let seconds = |s| Seconds::new(s).unwrap();
        let struck = |numbers: &[u8], at, held| Struck {
            keys: keys(numbers),
            at: seconds(at),
            held: seconds(held),
        };
        let all = [
            struck(&[48, 52, 55], 0.0, 0.4),
            struck(&[72], 0.1, 0.3),
            struck(&[50, 53, 57], 1.0, 0.4),
        ];
        let sound = played(&all, RATE, SAFE_LEVEL);
        let loudest = |from: f64, to: f64| {
            let place = |s: f64| (s * f64::from(RATE.get())) as usize;
            let part = &sound[place(from)..place(to).min(sound.len())];
            part.iter().fold(0.0_f32, |peak, x| peak.max(x.abs()))
        };
        let peak = loudest(0.0, 2.0);
        assert!((20.0 * f64::from(peak).log10() - SAFE_LEVEL.get()).abs() < 1e-3);
        assert!(loudest(0.8, 0.99) < 1e-2 * peak, "silence before the third");
        assert!(loudest(1.0, 1.3) > 0.3 * peak);
        assert!(played(&[], RATE, SAFE_LEVEL).is_empty());
    }

    #[test]
    fn a_phasor_that_turns_is_a_sine() {
        let mut sound = vec![0.0; 5_000];
        partial(&mut sound, 0.0123, 1.0, 0.0);
        for (n, x) in sound.iter().enumerate() {
            assert!((x - (TAU * 0.0123 * n as f64).sin()).abs() < 1e-9, "{n}");
        }
    }

    #[test]
    fn no_key_of_the_piano_makes_more_than_the_rate_can_hold() {
        for midi in [21, 60, 108] {
            let sound = chord(&keys(&[midi]), Seconds::new(0.5).unwrap(), RATE, SAFE_LEVEL);
            assert!(sound.iter().all(|x| x.is_finite()), "{midi}");
        }
        assert!(
            chord(&[], Seconds::ZERO, RATE, SAFE_LEVEL)
                .iter()
                .all(|x| x.abs() <= 0.07)
        );
    }
}
