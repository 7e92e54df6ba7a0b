//! Hears notes on a piano whose own notes were learned.
//!
//! Input: a [`SpectrumFrame`] a hop, and a [`PianoProfile`]. Output: [`NoteEvidence`]. Units: probabilities 0 to 1.
//! Method: our own. The network hears as on any piano (to look for partials where this piano has them was measured and brings nothing:
//! it was trained on typical places, and its taps reach two rows beside them). Beside it, the long window's magnitudes are
//! explained as a sum of the learned spectra of the keys that may sound, by non-negative factorisation with the spectra held fixed
//! (Lee, Seung, NIPS 2000, Kullback-Leibler divergence). How much of the frame a key explains moves its log-odds: an octave that
//! the key below explains alone falls, a soft inner voice that is needed rises.
//! Limits: a key's share lags behind its strike as the long window does, so it may not hinder a key in its first
//! [`Tuning::settles`] frames; a microphone moved elsewhere changes the spectra, and what they say is limited to a few log-odds.

use super::evidence::{NoteEstimator, NoteEvidence};
use super::model::Model;
use super::network::NetworkEstimator;
use crate::piano::{KeyPlaces, PianoProfile, spectra};
use crate::spectrum::{LOG_BINS, SpectrumFrame};
use crate::units::PIANO_KEYS;

/// How much the learned spectra may say: chosen from a grid on held voicings of two pianos, each with weights that had not met it,
/// dry, in a room, and in another room than that of the lesson; `examples/profile_points` measures what it brings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tuning {
    /// Keys below this probability explain nothing.
    pub candidate: f32,
    /// The share of a frame at which a key is as likely as the network says.
    pub neutral: f32,
    /// Log-odds for each factor e of the share.
    pub weight: f32,
    /// At most so many log-odds are added or taken.
    pub most: f32,
    /// Frames after which a key that begins to sound must explain its share.
    pub settles: u32,
    /// Rounds of the factorisation a frame; it goes on from the frame before.
    pub rounds: u32,
}

impl Default for Tuning {
    fn default() -> Self {
        Self {
            candidate: 0.007,
            neutral: 0.015,
            weight: 0.9,
            most: 2.5,
            settles: 16,
            rounds: 6,
        }
    }
}

/// Below this a share counts as this.
const LEAST_SHARE: f32 = 1e-3;

/// The network on a learned piano.
pub struct OwnPianoEstimator {
    network: NetworkEstimator,
    tuning: Tuning,
    /// For each key, the magnitudes of its sustained note; each sums to 1.
    spectra: Vec<[f32; LOG_BINS]>,
    share: [f32; PIANO_KEYS],
    /// Frames since the key began to sound.
    age: [u32; PIANO_KEYS],
    candidates: Vec<usize>,
    sum: [f32; LOG_BINS],
}

impl OwnPianoEstimator {
    /// Lays out model and spectra; all memory is taken here.
    pub fn new(model: &Model, profile: &PianoProfile) -> Self {
        Self::with_tuning(model, profile, Tuning::default())
    }

    /// The same with another weight of what the spectra say, to measure it.
    pub fn with_tuning(model: &Model, profile: &PianoProfile, tuning: Tuning) -> Self {
        let places = KeyPlaces::of(profile);
        Self {
            network: NetworkEstimator::new(model),
            tuning,
            spectra: spectra::of_all_keys(profile, &places),
            share: [0.0; PIANO_KEYS],
            age: [0; PIANO_KEYS],
            candidates: Vec::with_capacity(PIANO_KEYS),
            sum: [0.0; LOG_BINS],
        }
    }

    /// With the model that comes with the program.
    pub fn embedded(profile: &PianoProfile) -> Self {
        Self::new(&Model::embedded(), profile)
    }

    /// Explains the frame by the candidates: `h_k <- h_k sum_b w_kb v_b / (W h)_b`, for spectra that sum to 1.
    fn explain(&mut self, frame: &SpectrumFrame) {
        let total: f32 = frame.long.iter().sum::<f32>().max(1e-9);
        for (key, share) in self.share.iter_mut().enumerate() {
            *share = if self.candidates.contains(&key) {
                share.max(1.0 / PIANO_KEYS as f32)
            } else {
                0.0
            };
        }
        for _ in 0..self.tuning.rounds {
            self.sum.fill(1e-9);
            for &key in &self.candidates {
                let share = self.share[key];
                for (sum, w) in self.sum.iter_mut().zip(&self.spectra[key]) {
                    *sum += share * w;
                }
            }
            for (sum, v) in self.sum.iter_mut().zip(&frame.long) {
                *sum = v / total / *sum;
            }
            for &key in &self.candidates {
                let factor: f32 = self
                    .sum
                    .iter()
                    .zip(&self.spectra[key])
                    .map(|(r, w)| r * w)
                    .sum();
                self.share[key] *= factor;
            }
        }
    }
}

impl NoteEstimator for OwnPianoEstimator {
    fn step(&mut self, frame: &SpectrumFrame, out: &mut NoteEvidence) {
        self.network.step(frame, out);
        let tuning = self.tuning;
        self.candidates.clear();
        for (key, &p) in out.sounding.iter().enumerate() {
            if p > tuning.candidate {
                self.candidates.push(key);
                self.age[key] += 1;
            } else {
                self.age[key] = 0;
            }
        }
        self.explain(frame);
        for &key in &self.candidates {
            let share = self.share[key].max(LEAST_SHARE);
            let says =
                (tuning.weight * (share / tuning.neutral).ln()).clamp(-tuning.most, tuning.most);
            let may_hinder = (self.age[key] as f32 / tuning.settles as f32).min(1.0);
            let says = if says < 0.0 { says * may_hinder } else { says };
            let p = &mut out.sounding[key];
            let odds = *p / (1.0 - *p).max(1e-7) * says.exp();
            *p = odds / (1.0 + odds);
        }
    }

    fn reset(&mut self) {
        self.network.reset();
        self.share = [0.0; PIANO_KEYS];
        self.age = [0; PIANO_KEYS];
    }
}
