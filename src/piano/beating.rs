//! Beating unisons: strings of one key that are not quite in tune with each other.
//!
//! Input: mono samples of a sustained note and the string that fits it. Output: a [`Beating`].
//! Units: cents between the strings, dB of waxing and waning.
//! Method: our own. Two strings `c` cents apart make partial n beat at `f_n (2^(c/1200) - 1)`, so the beats of all partials tell one
//! number. Each partial is brought to 0 Hz and averaged over 40 ms; what its level in dB does beside a smooth fall is compared with
//! such beats for every c of a grid, and the c that explains most of all partials together wins.
//! Limits: beats slower than one in the time heard are not told from decay; a single string with false beats reads the same.

use super::decay::until_sunk;
use super::partials::StiffString;
use crate::units::{Cents, SampleRate};
use serde::{Deserialize, Serialize};
use std::f64::consts::TAU;

/// Partials heard.
const PARTIALS: u32 = 8;
/// Samples averaged into one point of the level (40 ms).
const STEP: usize = 882;
/// Least and greatest distance looked for, in cents.
const NEAREST_CENTS: f64 = 0.5;
const FARTHEST_CENTS: f64 = 30.0;
const GRID_CENTS: f64 = 0.1;
/// Beats must repeat at least this often in the time heard.
const FEWEST_BEATS: f64 = 1.5;
/// Share of what the levels do beside falling that beats must explain.
const EXPLAINED: f64 = 0.45;
/// Beats weaker than this (dB from crest to trough) disturb nobody.
const FAINTEST_DB: f64 = 3.0;
/// At most this far (dB) below the strongest partial is one heard.
const AUDIBLE_DB: f64 = 40.0;

/// How the strings of one key beat.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Beating {
    /// Distance of the two strings that are heard most, in cents.
    pub cents: f64,
    /// From crest to trough, in dB, mean over the partials.
    pub depth_db: f64,
}

/// The beats of the note in `sound`; `None` where there are none to speak of.
pub fn find_beating(sound: &[f32], string: StiffString) -> Option<Beating> {
    let step_seconds = STEP as f64 / f64::from(SampleRate::INTERNAL.get());
    let levels: Vec<(f64, Vec<f64>)> = (1..=PARTIALS)
        .map(|n| string.partial(f64::from(n)))
        .filter(|&hertz| hertz < 6000.0)
        .map(|hertz| (hertz, levels_of(sound, hertz)))
        .collect();
    let mean = |levels: &[f64]| levels.iter().sum::<f64>() / levels.len().max(1) as f64;
    let loudest = levels.iter().map(|(_, l)| mean(l)).fold(f64::MIN, f64::max);
    let waves: Vec<(f64, Vec<f64>)> = levels
        .into_iter()
        .filter(|(_, l)| l.len() >= 12 && mean(l) > loudest - AUDIBLE_DB)
        .map(|(hertz, l)| (hertz, beside_smooth_fall(&l)))
        .collect();
    let total: f64 = waves.iter().flat_map(|(_, w)| w).map(|x| x * x).sum();
    if waves.is_empty() || total <= 0.0 {
        return None;
    }
    let mut best: Option<(f64, f64, f64)> = None;
    let steps = ((FARTHEST_CENTS - NEAREST_CENTS) / GRID_CENTS) as u32;
    for step in 0..=steps {
        let cents = NEAREST_CENTS + f64::from(step) * GRID_CENTS;
        let ratio = Cents::measured(cents).ratio() - 1.0;
        let (mut explained, mut swing, mut heard) = (0.0, 0.0, 0);
        for (hertz, wave) in &waves {
            let beats = hertz * ratio * step_seconds;
            let repeats = beats * wave.len() as f64;
            if beats > 0.4 || repeats < FEWEST_BEATS {
                continue;
            }
            let (mut re, mut im) = (0.0, 0.0);
            for (i, x) in wave.iter().enumerate() {
                let (sin, cos) = (TAU * beats * i as f64).sin_cos();
                re += x * cos;
                im += x * sin;
            }
            let count = wave.len() as f64;
            explained += 2.0 * (re * re + im * im) / count;
            swing += 4.0 * (re * re + im * im).sqrt() / count;
            heard += 1;
        }
        let share = explained / total;
        if heard > 0 && best.is_none_or(|best| share > best.0) {
            best = Some((share, cents, swing / f64::from(heard)));
        }
    }
    best.filter(|&(share, _, depth)| share > EXPLAINED && depth > FAINTEST_DB)
        .map(|(_, cents, depth_db)| Beating { cents, depth_db })
}

/// The level of what lies near `hertz`, in dB, every 40 ms; up to where it has sunk by 40 dB.
fn levels_of(sound: &[f32], hertz: f64) -> Vec<f64> {
    let turn = TAU * hertz / f64::from(SampleRate::INTERNAL.get());
    let levels: Vec<f64> = sound
        .windows(2 * STEP)
        .step_by(STEP)
        .enumerate()
        .map(|(block, samples)| {
            let (mut re, mut im) = (0.0, 0.0);
            for (i, &x) in samples.iter().enumerate() {
                let window = 0.5 - 0.5 * (TAU * i as f64 / samples.len() as f64).cos();
                let (sin, cos) = (turn * (block * STEP + i) as f64).sin_cos();
                re += window * f64::from(x) * cos;
                im += window * f64::from(x) * sin;
            }
            10.0 * (re * re + im * im).max(1e-12).log10()
        })
        .collect();
    let loudest = levels.iter().copied().fold(f64::MIN, f64::max);
    until_sunk(&levels, loudest - AUDIBLE_DB).to_vec()
}

/// What is left when a parabola in time is taken out (both stages of the decay, bent into one curve).
fn beside_smooth_fall(levels: &[f64]) -> Vec<f64> {
    let middle = (levels.len() - 1) as f64 / 2.0;
    let basis = |i: usize| {
        let t = (i as f64 - middle) / middle.max(1.0);
        // Legendre polynomials are orthogonal over the whole; near enough over some dozens of points, in turn
        [1.0, t, 1.5 * t * t - 0.5]
    };
    let mut rest = levels.to_vec();
    for _ in 0..4 {
        for term in 0..3 {
            let (mut along, mut norm) = (0.0, 0.0);
            for (i, x) in rest.iter().enumerate() {
                let b = basis(i)[term];
                along += x * b;
                norm += b * b;
            }
            for (i, x) in rest.iter_mut().enumerate() {
                *x -= along / norm * basis(i)[term];
            }
        }
    }
    rest
}

#[cfg(test)]
mod tests {
    use super::*;

    fn two_strings(first: f64, cents: f64, share: f64) -> (Vec<f32>, StiffString) {
        let rate = f64::from(SampleRate::INTERNAL.get());
        let string = StiffString::with_first_partial(first, 3e-4);
        let apart = Cents::measured(cents).ratio();
        let sound = (0..66_150)
            .map(|i| {
                let t = f64::from(i) / rate;
                let sum: f64 = (1..=8)
                    .map(|n| {
                        let f = string.partial(f64::from(n));
                        let fall = (-0.9 * t).exp() / f64::from(n);
                        let phase = f64::from(n);
                        fall * ((TAU * f * t + phase).sin()
                            + share * (TAU * f * apart * t + 2.0 * phase).sin())
                    })
                    .sum();
                (0.1 * sum) as f32
            })
            .collect();
        (sound, string)
    }

    #[test]
    fn two_strings_a_few_cents_apart_are_heard_to_beat_by_that_much() {
        for (first, cents) in [(261.6, 3.0), (440.0, 6.5), (130.8, 8.0)] {
            let (sound, string) = two_strings(first, cents, 0.6);
            let found = find_beating(&sound, string).expect("they beat");
            assert!((found.cents - cents).abs() < 0.7, "{first} Hz: {found:?}");
            assert!(found.depth_db > 5.0, "{found:?}");
        }
    }

    #[test]
    fn strings_in_tune_do_not_beat() {
        for first in [130.8, 261.6, 880.0] {
            let (sound, string) = two_strings(first, 0.1, 0.6);
            assert_eq!(find_beating(&sound, string), None, "{first} Hz");
        }
    }
}
