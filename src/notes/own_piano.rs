//! Hears notes on a piano whose own notes were learned.
//!
//! Input: a [`SpectrumFrame`] a hop, and a [`PianoProfile`]. Output: [`NoteEvidence`]. Units: probabilities 0 to 1.
//! Method: our own. The network hears as on any piano (to look for partials where this piano has them was measured and brings nothing:
//! it was trained on typical places, and its taps reach two rows beside them). Beside it, the long window's magnitudes are
//! explained as a sum of the learned spectra of the keys that may sound, by non-negative factorisation with the spectra held fixed
//! (Lee, Seung, NIPS 2000, Kullback-Leibler divergence). Then each key in turn is left out, the others may take over, and how much
//! worse the frame is explained without it is how much it is needed. That moves its log-odds: an octave that the key below explains
//! as well falls, a soft inner voice without which partials have no source rises.
//! Limits: what is needed lags behind a strike as the long window does, so it hinders a key that begins only by and by over its
//! first [`Tuning::settles`] frames; a microphone moved elsewhere changes the spectra, and what they say is limited to a few log-odds.

use super::evidence::{NoteEstimator, NoteEvidence};
use super::model::Model;
use super::network::NetworkEstimator;
use crate::piano::{KeyPlaces, PianoProfile, spectra};
use crate::spectrum::{LOG_BINS, SpectrumFrame};
use crate::units::PIANO_KEYS;

/// How much the learned spectra may say. Measured with `examples/profile_points` on an upright that the weights had not met, 120 held
/// voicings, exactly the keys: in a room 0.792 without a profile and 0.833 with it; dry 0.875 without and 0.808 with it, so there it
/// harms, and why is not known yet. With a weight of 0.6 in place of 0.3: 0.842 and 0.767. These voicings were looked at while the
/// values were chosen, so they are no figures for another piano.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tuning {
    /// Keys below this probability explain nothing.
    pub candidate: f32,
    /// How much a key is needed when it is as likely as the network says (divergence of a frame whose magnitudes sum to 1).
    pub neutral: f32,
    /// Log-odds for each factor e of that.
    pub weight: f32,
    /// At most so many log-odds are added or taken.
    pub most: f32,
    /// Frames after which a key that begins to sound must be needed.
    pub settles: u32,
    /// Rounds of the factorisation a frame; it goes on from the frame before.
    pub rounds: u32,
}

impl Default for Tuning {
    fn default() -> Self {
        Self {
            candidate: 0.007,
            neutral: 0.003,
            weight: 0.3,
            most: 2.5,
            settles: 16,
            rounds: 6,
        }
    }
}

/// Of more keys the likeliest explain the frame.
const MOST_CANDIDATES: usize = 24;
/// A share to begin with, and the least from which one grows again.
const FIRST_SHARE: f32 = 1.0 / PIANO_KEYS as f32;
const LEAST_SHARE: f32 = 1e-3;
/// Less need than this counts as this.
const LEAST_NEED: f32 = 1e-5;
/// Keeps quotients and logarithms finite, in magnitudes that sum to 1.
const TINY: f32 = 1e-9;

/// The network on a learned piano.
pub struct OwnPianoEstimator {
    network: NetworkEstimator,
    tuning: Tuning,
    /// For each key, the magnitudes of its sustained note; each sums to 1.
    spectra: Vec<[f32; LOG_BINS]>,
    /// What each key brings to the frame.
    share: [f32; PIANO_KEYS],
    /// Frames since the key began to sound.
    age: [u32; PIANO_KEYS],
    candidates: Vec<usize>,
    /// The frame's magnitudes, made to sum to 1.
    frame: [f32; LOG_BINS],
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
            frame: [0.0; LOG_BINS],
        }
    }

    /// With the model that comes with the program.
    pub fn embedded(profile: &PianoProfile) -> Self {
        Self::new(&Model::embedded(), profile)
    }

    fn choose_candidates(&mut self, sounding: &[f32; PIANO_KEYS]) {
        self.candidates.clear();
        for (key, &p) in sounding.iter().enumerate() {
            if p > self.tuning.candidate {
                self.candidates.push(key);
                self.age[key] += 1;
            } else {
                self.age[key] = 0;
                self.share[key] = 0.0;
            }
        }
        self.candidates
            .sort_unstable_by(|&a, &b| sounding[b].total_cmp(&sounding[a]).then(a.cmp(&b)));
        for key in self
            .candidates
            .drain(MOST_CANDIDATES.min(self.candidates.len())..)
        {
            self.share[key] = 0.0;
        }
    }

    /// Explains the frame by the candidates, from their shares of the frame before.
    fn explain(&mut self, frame: &SpectrumFrame) {
        let total = frame.long.iter().sum::<f32>().max(TINY);
        for (own, magnitude) in self.frame.iter_mut().zip(&frame.long) {
            *own = magnitude / total;
        }
        for &key in &self.candidates {
            let share = &mut self.share[key];
            *share = if *share > 0.0 {
                share.max(LEAST_SHARE)
            } else {
                FIRST_SHARE
            };
        }
        let mut share = self.share;
        self.fit(&mut share);
        self.share = share;
    }

    /// Some rounds of `h_k <- h_k sum_b w_kb v_b / (W h)_b` for the candidates whose share is not 0; the spectra sum to 1.
    fn fit(&self, share: &mut [f32; PIANO_KEYS]) {
        for _ in 0..self.tuning.rounds {
            let mut ratio = self.modelled(share);
            for (ratio, v) in ratio.iter_mut().zip(&self.frame) {
                *ratio = v / *ratio;
            }
            for &key in &self.candidates {
                let products = ratio.iter().zip(&self.spectra[key]).map(|(r, w)| r * w);
                share[key] *= products.sum::<f32>();
            }
        }
    }

    /// The sum of the candidates' spectra, each with its share.
    fn modelled(&self, share: &[f32; PIANO_KEYS]) -> [f32; LOG_BINS] {
        let mut sum = [TINY; LOG_BINS];
        for &key in self.candidates.iter().filter(|&&key| share[key] > 0.0) {
            for (sum, w) in sum.iter_mut().zip(&self.spectra[key]) {
                *sum += share[key] * w;
            }
        }
        sum
    }

    /// How far the modelled frame is from the real one: `sum_b v ln(v / y) - v + y`.
    fn divergence(&self, share: &[f32; PIANO_KEYS]) -> f32 {
        let modelled = self.modelled(share);
        let terms = self.frame.iter().zip(&modelled);
        terms
            .map(|(&v, &y)| v * ((v + TINY) / y).ln() - v + y)
            .sum()
    }

    /// How much worse the frame is explained without `key`, when the others have taken over what they can.
    fn need(&self, key: usize, explained: f32) -> f32 {
        let mut without = self.share;
        without[key] = 0.0;
        self.fit(&mut without);
        self.divergence(&without) - explained
    }
}

impl NoteEstimator for OwnPianoEstimator {
    fn step(&mut self, frame: &SpectrumFrame, out: &mut NoteEvidence) {
        self.network.step(frame, out);
        self.choose_candidates(&out.sounding);
        self.explain(frame);
        let (tuning, explained) = (self.tuning, self.divergence(&self.share));
        for &key in &self.candidates {
            let need = self.need(key, explained).max(LEAST_NEED);
            let says =
                (tuning.weight * (need / tuning.neutral).ln()).clamp(-tuning.most, tuning.most);
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
