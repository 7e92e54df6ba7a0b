//! Beliefs: how likely each key sounds over any stretch of the time just past.
//!
//! Input: one frame's log-odds of each key after another. Output: [`Beliefs`] over a stretch.
//! Units: natural log-odds; times in analysis frames. Method: prefix sums: the log-odds of a stretch are the sum at its end less the sum at its
//! start, so that any stretch costs the same. Sums of whole parts of a log-odd are exact however long the sound is.
//! Limits: the last [`REMEMBERED_SECONDS`] are remembered. The mean of the frames takes no account of how a sound dies away, and an octave
//! may be believed that is the ringing of the key below: it is told as it is, for who asks to weigh.

use crate::spectrum::HOP_SAMPLES;
use crate::units::{
    HopIndex, HopSpan, PIANO_KEYS, PianoKey, SampleRate, Share, log_odds, probability,
};

/// One frame says at most this for or against a key of a stretch.
pub(super) const MOST_LOG_ODDS: f32 = 6.0;
/// The mean over a stretch is surer than one frame is, by this factor in log-odds, and too low by so much before it: fitted on held
/// voicings of pianos that the network had not met (see `training/README.md`).
const SURER_THAN_A_FRAME: f32 = 1.3;
/// See [`SURER_THAN_A_FRAME`].
const TOO_LITTLE: f32 = 0.5;
/// Fractions of a log-odd, or of full strength, in which evidence is summed. Sums of whole numbers are exact however long the sound is;
/// where they run over they wrap, and their differences over a stretch are still right.
pub(super) const PARTS: f32 = 1024.0;

/// So much is remembered.
pub const REMEMBERED_SECONDS: usize = 60;
/// The same in analysis frames.
pub const REMEMBERED: HopSpan = HopSpan::new(
    (REMEMBERED_SECONDS * SampleRate::INTERNAL.get() as usize).div_ceil(HOP_SAMPLES) as u64,
);

/// Log-odds of the keys summed up over all frames so far, in `PARTS`.
#[derive(Debug, Clone, PartialEq)]
pub struct LogOddsSums([i32; PIANO_KEYS]);

impl LogOddsSums {
    /// Before the first frame.
    pub const NOTHING: Self = Self([0; PIANO_KEYS]);

    /// Takes what one frame says of each key.
    pub fn add(&mut self, sounding: &[f32; PIANO_KEYS]) {
        for (sum, &p) in self.0.iter_mut().zip(sounding) {
            let log_odds = log_odds(p).clamp(-MOST_LOG_ODDS, MOST_LOG_ODDS);
            *sum = sum.wrapping_add((log_odds * PARTS).round() as i32);
        }
    }

    /// Takes what one frame says of one key, at most [`MOST_LOG_ODDS`] either way.
    pub(super) fn add_to(&mut self, key: usize, log_odds: f32) {
        self.0[key] = self.0[key].wrapping_add((log_odds * PARTS).round() as i32);
    }

    /// Beliefs over the last `frames`, before which `before` was all.
    ///
    /// # Panics
    /// If there are no such frames.
    pub fn since(&self, before: &Self, frames: HopSpan) -> Beliefs {
        assert!(frames > HopSpan::ZERO, "beliefs are over a stretch of time");
        let n = frames.get() as f32 * PARTS;
        let mut mean_log_odds = [0.0; PIANO_KEYS];
        for (key, mean) in mean_log_odds.iter_mut().enumerate() {
            *mean = self.0[key].wrapping_sub(before.0[key]) as f32 / n;
        }
        Beliefs {
            frames,
            mean_log_odds,
        }
    }
}

/// What is believed of each key over a stretch of time.
#[derive(Debug, Clone, PartialEq)]
pub struct Beliefs {
    frames: HopSpan,
    mean_log_odds: [f32; PIANO_KEYS],
}

impl Beliefs {
    /// How many frames were heard in it.
    pub fn frames(&self) -> HopSpan {
        self.frames
    }

    /// Natural log-odds that the key sounds, the mean of the frames, -6 to 6.
    pub fn mean_log_odds(&self, key: PianoKey) -> f32 {
        self.mean_log_odds[key.index()]
    }

    /// Natural log-odds that the key sounds, summed over the frames: evidence for two stretches may be added.
    pub fn sum_log_odds(&self, key: PianoKey) -> f32 {
        self.mean_log_odds[key.index()] * self.frames.get() as f32
    }

    /// Probability that the key is held over the stretch, as of the keys of a held set.
    pub fn probability(&self, key: PianoKey) -> Share {
        Share::clamped(self.confidence(key))
    }

    pub(super) fn confidence(&self, key: PianoKey) -> f32 {
        probability(SURER_THAN_A_FRAME * (self.mean_log_odds(key) + TOO_LITTLE))
    }
}

/// What was heard in the last [`REMEMBERED`] frames, so that any stretch of them can be asked for. All memory (0.9 MB) is taken when it is made.
#[derive(Debug, Clone)]
pub struct RecentBeliefs {
    /// What had been heard before frame n lies at n modulo the length.
    sums: Vec<LogOddsSums>,
    heard: HopIndex,
}

impl Default for RecentBeliefs {
    fn default() -> Self {
        Self::new()
    }
}

impl RecentBeliefs {
    /// Nothing heard yet.
    pub fn new() -> Self {
        Self {
            sums: vec![LogOddsSums::NOTHING; REMEMBERED.get() as usize + 1],
            heard: HopIndex::START,
        }
    }

    /// Takes the sums after one frame more.
    pub fn push(&mut self, sums: &LogOddsSums) {
        self.heard += HopSpan::new(1);
        let place = self.place(self.heard);
        self.sums[place].clone_from(sums);
    }

    /// The first frame that is not heard yet.
    pub fn heard(&self) -> HopIndex {
        self.heard
    }

    /// Beliefs over the frames from `from` to before `to`; `None` where there is no frame between them, or some are not heard yet or forgotten.
    pub fn over(&self, from: HopIndex, to: HopIndex) -> Option<Beliefs> {
        let remembered = self.heard.earlier(REMEMBERED) <= from && to <= self.heard;
        (from < to && remembered)
            .then(|| self.sums[self.place(to)].since(&self.sums[self.place(from)], to - from))
    }

    fn place(&self, frame: HopIndex) -> usize {
        (frame.get() % self.sums.len() as u64) as usize
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Mean log-odds of the frames, from its definition.
    fn slow_mean(frames: &[[f32; PIANO_KEYS]], key: PianoKey) -> f64 {
        let odds = |frame: &[f32; PIANO_KEYS]| {
            let p = f64::from(frame[key.index()]).clamp(1e-4, 1.0 - 1e-4);
            (p / (1.0 - p)).ln().clamp(-6.0, 6.0)
        };
        frames.iter().map(odds).sum::<f64>() / frames.len() as f64
    }

    fn random_frame(random: &mut fastrand::Rng) -> [f32; PIANO_KEYS] {
        std::array::from_fn(|_| match random.u8(0..8) {
            0 => 0.0,
            1 => 1.0,
            _ => random.f32(),
        })
    }

    #[test]
    fn beliefs_over_any_stretch_are_the_mean_of_its_frames() {
        let mut random = fastrand::Rng::with_seed(60);
        let remembered = REMEMBERED.get() as usize;
        let frames: Vec<_> = (0..2 * remembered + 77)
            .map(|_| random_frame(&mut random))
            .collect();
        // near the end of the numbers, so that the sums run over
        let mut sums = LogOddsSums([i32::MAX - 5_000; PIANO_KEYS]);
        let mut recent = RecentBeliefs::new();
        let place = recent.place(HopIndex::START);
        recent.sums[place].clone_from(&sums);
        for (heard, frame) in frames.iter().enumerate() {
            sums.add(frame);
            recent.push(&sums);
            if heard % 50 != 7 {
                continue;
            }
            let oldest = (heard + 1).saturating_sub(remembered);
            let from = random.usize(oldest..=heard);
            let to = random.usize(from + 1..=heard + 1);
            let [a, b] = [from, to].map(|frame| HopIndex::new(frame as u64));
            let beliefs = recent.over(a, b).expect("it is remembered");
            assert_eq!(beliefs.frames(), b - a);
            for key in PianoKey::all() {
                let expected = slow_mean(&frames[from..to], key);
                let mean = f64::from(beliefs.mean_log_odds(key));
                // half a part a frame, and the precision of the numbers
                assert!((mean - expected).abs() < 0.6 / 1024.0, "{from} to {to}");
                let sum = f64::from(beliefs.sum_log_odds(key));
                assert!((sum - mean * (to - from) as f64).abs() < 1e-2);
            }
        }
        assert_eq!(recent.sums.len(), remembered + 1, "no more than is stated");
    }

    #[test]
    fn what_is_not_heard_yet_or_forgotten_or_no_time_at_all_is_not_believed() {
        let mut random = fastrand::Rng::with_seed(61);
        let (mut sums, mut recent) = (LogOddsSums::NOTHING, RecentBeliefs::new());
        let over = |recent: &RecentBeliefs, from: u64, to: u64| {
            recent.over(HopIndex::new(from), HopIndex::new(to))
        };
        assert_eq!(over(&recent, 0, 0), None);
        for _ in 0..REMEMBERED.get() + 10 {
            sums.add(&random_frame(&mut random));
            recent.push(&sums);
        }
        let heard = recent.heard().get();
        assert!(over(&recent, 10, heard).is_some(), "all that is remembered");
        assert_eq!(over(&recent, 9, heard), None, "a frame too old");
        assert_eq!(over(&recent, 20, heard + 1), None, "a frame too new");
        assert_eq!(over(&recent, 30, 30), None);
        assert_eq!(over(&recent, 30, 29), None);
    }

    #[test]
    fn a_key_that_is_held_is_believed_and_one_in_doubt_for_half_the_time_is_not_sure() {
        let (mut sums, mut recent) = (LogOddsSums::NOTHING, RecentBeliefs::new());
        for frame in 0..40 {
            let mut sounding = [0.02; PIANO_KEYS];
            sounding[39] = 0.95;
            sounding[51] = if frame < 20 { 0.4 } else { 0.6 };
            sums.add(&sounding);
            recent.push(&sums);
        }
        let beliefs = recent.over(HopIndex::START, recent.heard()).unwrap();
        let believed = |index| beliefs.probability(PianoKey::new(index).unwrap()).get();
        assert!(believed(39) > 0.95 && believed(40) < 0.05);
        assert!((0.4..0.8).contains(&believed(51)), "{}", believed(51));
    }
}
