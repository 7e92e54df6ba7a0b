//! Hears notes on a piano whose own notes were learned.
//!
//! Input: a [`SpectrumFrame`] a hop, and a [`PianoProfile`]. Output: [`NoteEvidence`]. Units: probabilities 0 to 1.
//! Method: our own. The network hears as on any piano (to look for partials where this piano has them was measured and brings nothing:
//! it was trained on typical places, and its taps reach two rows beside them). Beside it, the frame is explained as a sum of the learned
//! notes of the keys that may sound ([`Mixture`]). What a key that is in doubt brings to that sum, and how much worse the frame
//! is explained without it, moves its log-odds, the more the better the frame is explained at all: an octave that the key
//! below explains as well falls, a soft inner voice without which partials have no source rises.
//! Limits: what is needed lags behind a strike as the long window does, so it hinders a key that begins only by and by over its
//! first [`WitnessWeights::settles`] frames. Where piano, room or microphone have changed since the lesson, less is explained and the
//! mixture steps back; it then brings less (see [`WitnessWeights`]).

use super::evidence::{NoteEstimator, NoteEvidence};
use super::network::{Model, NetworkEstimator};
use crate::piano::{KeyPlaces, Mixture, PianoProfile, spectra};
use crate::spectrum::{LOG_BINS, SpectrumFrame};
use crate::units::{PIANO_KEYS, log_odds, probability};
use std::collections::VecDeque;

/// What the mixture says of a key, as natural logarithms.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Witness {
    /// How much worse the frame is explained without it, beside how badly it is explained with it.
    pub need: f32,
    /// How far the sum is from the frame: the divergence of the mixture.
    pub unexplained: f32,
}

/// How a [`Witness`] moves log-odds.
///
/// The four weights come from `examples/profile_points/fit.py`: of an upright and a grand that the network had not met, dry, in one room,
/// and in another room than the lesson's, 1,200 voicings in all; of either piano alone they are nearly the same.
/// Exactly the keys, of 200 held voicings on each of three other pianos, by networks that had not met them, without and with a profile
/// (`examples/profile_points`, learned from another dynamic layer, but for `grand-disklavier`, which has one):
///
/// | lesson and playing | `grand-steinway` | `grand-disklavier` | `grand-yamaha-c3` |
/// | --- | --- | --- | --- |
/// | dry | 0.675, 0.715 | 0.690, 0.770 | 0.660, 0.695 |
/// | in one room | 0.610, 0.625 | 0.550, 0.610 | 0.610, 0.655 |
/// | in different rooms | 0.610, 0.625 | 0.550, 0.570 | 0.610, 0.640 |
///
/// So it brings 2 to 8 points where the lesson was heard as the playing is, and 2 to 3 elsewhere.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WitnessWeights {
    /// Keys below this probability explain nothing.
    pub candidate: f32,
    /// Log-odds where both logarithms are 0.
    pub always: f32,
    /// Log-odds for each factor e of need.
    pub need: f32,
    /// Log-odds for each factor e of divergence.
    pub unexplained: f32,
    /// What each factor e of divergence adds to [`WitnessWeights::need`].
    pub need_unexplained: f32,
    /// At most so many log-odds are added or taken.
    pub most: f32,
    /// Logarithm of the divergence up to which the mixture is trusted.
    pub trusted: f32,
    /// And of that from which nothing is believed.
    pub strange: f32,
    /// Frames after which a key that begins to sound must be needed.
    pub settles: u32,
}

impl Default for WitnessWeights {
    fn default() -> Self {
        Self {
            candidate: 0.01,
            always: 2.58,
            need: 0.43,
            unexplained: -1.04,
            need_unexplained: -0.10,
            most: 3.0,
            trusted: 1.8,
            strange: 2.5,
            settles: 16,
        }
    }
}

impl WitnessWeights {
    /// Log-odds for the key of which this was seen.
    fn says(&self, Witness { need, unexplained }: Witness) -> f32 {
        let a_need = self.need + self.need_unexplained * unexplained;
        let says = self.always + self.unexplained * unexplained + a_need * need;
        let believed = (self.strange - unexplained) / (self.strange - self.trusted);
        says.clamp(-self.most, self.most) * believed.clamp(0.0, 1.0)
    }
}

/// Of more keys the likeliest explain the frame.
const MOST_CANDIDATES: usize = 16;
/// So many keys a frame are left out to see how much they are needed; the others are believed to be needed as before.
const ASKED_A_FRAME: usize = 2;
/// A key is in doubt up to these log-odds (0.993 likely).
const SURE_LOG_ODDS: f32 = 5.0;
/// Less need than this counts as this.
const LEAST_NEED: f32 = 1e-4;
/// Frames explained better than this (divergence) count as this.
const LEAST_UNEXPLAINED: f32 = 0.1;

/// The network on a learned piano.
pub struct OwnPianoEstimator {
    network: NetworkEstimator,
    tuning: WitnessWeights,
    mixture: Mixture,
    /// What is seen of each key that is in doubt, once it was asked for.
    seen: [Option<Witness>; PIANO_KEYS],
    /// Frames since its need was worked out.
    asked_before: [u32; PIANO_KEYS],
    /// Frames since the key began to sound.
    age: [u32; PIANO_KEYS],
    candidates: Vec<usize>,
    /// Spectra of the frames that the network has not judged yet.
    waiting: VecDeque<[f32; LOG_BINS]>,
}

impl OwnPianoEstimator {
    /// Lays out model and spectra; all memory is taken here.
    pub fn new(model: &Model, profile: &PianoProfile) -> Self {
        Self::beside(NetworkEstimator::new(model), profile)
    }

    /// As [`OwnPianoEstimator::new`], but answers only once it is known what comes after.
    pub fn looking_ahead(model: &Model, profile: &PianoProfile) -> Self {
        Self::beside(NetworkEstimator::looking_ahead(model), profile)
    }

    fn beside(network: NetworkEstimator, profile: &PianoProfile) -> Self {
        let places = KeyPlaces::of(profile);
        Self {
            network,
            tuning: WitnessWeights::default(),
            mixture: Mixture::new(&spectra::of_all_keys(profile, &places)),
            seen: [None; PIANO_KEYS],
            asked_before: [0; PIANO_KEYS],
            age: [0; PIANO_KEYS],
            candidates: Vec::with_capacity(PIANO_KEYS),
            waiting: VecDeque::new(),
        }
    }

    /// With the model that comes with the program.
    pub fn embedded(profile: &PianoProfile) -> Self {
        Self::new(&Model::embedded(), profile)
    }

    /// What is seen of each key that is in doubt at the last frame, by piano index; its need may be some frames older.
    pub fn seen(&self) -> &[Option<Witness>; PIANO_KEYS] {
        &self.seen
    }

    /// The keys that may sound, the likeliest first.
    fn choose_candidates(&mut self, sounding: &[f32; PIANO_KEYS]) {
        self.candidates.clear();
        for (key, &p) in sounding.iter().enumerate() {
            if p > self.tuning.candidate {
                self.candidates.push(key);
                self.age[key] += 1;
            } else {
                self.age[key] = 0;
            }
        }
        self.candidates
            .sort_unstable_by(|&a, &b| sounding[b].total_cmp(&sounding[a]).then(a.cmp(&b)));
        self.candidates.truncate(MOST_CANDIDATES);
    }

    /// Sees what the mixture says of the candidates in doubt; the need of those that have waited longest is worked out anew.
    fn look(&mut self, sounding: &[f32; PIANO_KEYS]) {
        let unexplained = self.mixture.divergence().max(LEAST_UNEXPLAINED);
        self.candidates
            .retain(|&key| log_odds(sounding[key]) < SURE_LOG_ODDS);
        let before = std::mem::replace(&mut self.seen, [None; PIANO_KEYS]);
        for &key in &self.candidates {
            self.asked_before[key] = before[key].map_or(u32::MAX, |_| self.asked_before[key] + 1);
            self.seen[key] = before[key].map(|before| Witness {
                unexplained: unexplained.ln(),
                ..before
            });
        }
        for _ in 0..ASKED_A_FRAME.min(self.candidates.len()) {
            let longest = self.candidates.iter().copied();
            let Some(key) = longest.max_by_key(|&key| self.asked_before[key]) else {
                return;
            };
            self.asked_before[key] = 0;
            self.seen[key] = Some(Witness {
                need: (self.mixture.need(key) / unexplained).max(LEAST_NEED).ln(),
                unexplained: unexplained.ln(),
            });
        }
    }
}

impl NoteEstimator for OwnPianoEstimator {
    fn step(&mut self, frame: &SpectrumFrame, out: &mut NoteEvidence) {
        self.network.step(frame, out);
        if self.delay() == 0 {
            self.weigh(&frame.long, out);
            return;
        }
        self.waiting.push_back(frame.long);
        if self.waiting.len() > self.delay() {
            self.weigh_oldest(out);
        }
    }

    fn delay(&self) -> usize {
        self.network.delay()
    }

    fn step_past_end(&mut self, out: &mut NoteEvidence) {
        self.network.step_past_end(out);
        self.weigh_oldest(out);
    }

    fn reset(&mut self) {
        self.network.reset();
        self.mixture.reset();
        self.seen = [None; PIANO_KEYS];
        self.asked_before = [0; PIANO_KEYS];
        self.age = [0; PIANO_KEYS];
        self.waiting.clear();
    }
}

impl OwnPianoEstimator {
    fn weigh_oldest(&mut self, out: &mut NoteEvidence) {
        if let Some(long) = self.waiting.pop_front() {
            self.weigh(&long, out);
        }
    }

    /// Moves what the network said of a frame by what the mixture sees in its `long` spectrum.
    fn weigh(&mut self, long: &[f32; LOG_BINS], out: &mut NoteEvidence) {
        self.choose_candidates(&out.sounding);
        self.mixture.explain(long, &self.candidates);
        self.look(&out.sounding);
        for (key, seen) in self.seen.iter().enumerate() {
            let Some(seen) = seen else { continue };
            let says = self.tuning.says(*seen);
            let may_hinder = (self.age[key] as f32 / self.tuning.settles as f32).min(1.0);
            let says = if says < 0.0 { says * may_hinder } else { says };
            let p = &mut out.sounding[key];
            *p = probability(log_odds(*p) + says);
        }
    }
}
