//! Note tracks: when each key was struck, struck again and let go.
//!
//! Input: one [`NoteEvidence`] a frame and how strongly each key sounds. Output: a [`TrackedNote`] for each note that has ended.
//! Units: times in analysis frames, confidence and strength 0 to 1.
//! Method: our own. 'Sounding' says that there is a note and until when; 'struck' says when it began: the centre of its peak
//! around the frame in which the note was first believed. A note whose own strike is hidden among others takes the time at which most keys
//! were struck about then. Its confidence is the mean of 'sounding' over its life, made surer by a factor on its log-odds. A peak of 'struck' while the key is held is a second note.
//! Limits: a strike is known [`TrackRules::ahead`] frames after the note is first believed, a strike of a held key as late, an end
//! [`TrackRules::patience`] frames late; short notes of which no strike was heard are dropped.

use super::NoteEvidence;
use crate::units::{PIANO_KEYS, log_odds, probability};

/// Frames of 'struck' that are remembered; at least `back + ahead + 2 * BESIDE`.
const REMEMBERED: usize = 16;
/// Over its life a note is surer than the mean of its frames says: by this factor, in log-odds. Fitted on two pianos that the network had not
/// met with `training/practice.py` and `training/reliability.py` (see `training/README.md`).
const SURER_THAN_A_FRAME: f32 = 1.9;
/// Frames either side that belong to a peak of 'struck'.
const BESIDE: u64 = 2;

/// Thresholds of the tracker. Probabilities are calibrated, and 0.5 is the natural border; times were set by reasoning and then
/// varied on the measuring corpus, where none of them matters by more than a point. `again` was set on rendered playing (`training/README.md`).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrackRules {
    /// A note begins when 'sounding' reaches this probability.
    pub begin: f32,
    /// It ends when 'sounding' stays below this probability for [`TrackRules::patience`] frames.
    pub end: f32,
    /// Frames below `end` before a note is over.
    pub patience: u32,
    /// A held key was struck again when 'struck' peaks at this probability or higher.
    pub again: f32,
    /// Frames that must lie between two strikes of one key.
    pub apart: u64,
    /// A strike is looked for from so many frames before the note is believed (the long window hears low keys late) ...
    pub back: u64,
    /// ... to so many after.
    pub ahead: u64,
    /// A strike below this probability is hidden: the note takes the time of other keys struck about then.
    pub hidden: f32,
    /// A strike below this probability is doubtful, and its note must last for [`TrackRules::lasting`] frames.
    pub doubtful: f32,
    /// Frames after which a note is one even if no strike was heard.
    pub lasting: u64,
    /// Notes of fewer frames are dropped.
    pub shortest: u64,
}

impl Default for TrackRules {
    fn default() -> Self {
        Self {
            begin: 0.5,
            end: 0.5,
            patience: 3,
            again: 0.45,
            apart: 4,
            back: 8,
            ahead: 4,
            hidden: 0.3,
            doubtful: 0.2,
            lasting: 25,
            shortest: 4,
        }
    }
}

/// A note that has ended.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrackedNote {
    /// Piano index of the key, 0 to 87.
    pub key: usize,
    /// Centre of the frames in which its strike was heard.
    pub struck: f64,
    /// The frame in which it was first believed.
    pub start: u64,
    /// The first frame in which it was gone.
    pub end: u64,
    /// Probability that the key did sound over its life.
    pub confidence: f32,
    /// Mean strength over its life.
    pub strength: f32,
}

/// A key that sounds.
#[derive(Debug, Clone, Copy, Default)]
struct Held {
    start: u64,
    /// Known `ahead` frames after `start`.
    strike: Option<Strike>,
    frames: f32,
    probability: f32,
    strength: f32,
    /// Frames in a row below the end threshold.
    low: u32,
}

/// When a key was struck, and how sure that is.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Strike {
    /// Centre of the peak of 'struck'.
    at: f64,
    /// Its height.
    probability: f32,
}

/// Follows the 88 keys from frame to frame.
#[derive(Debug, Clone)]
pub struct NoteTracker {
    rules: TrackRules,
    held: [Option<Held>; PIANO_KEYS],
    /// Where the last note of each key was struck or ended: no later strike is looked for before it.
    free_from: [u64; PIANO_KEYS],
    /// 'Struck' of the last frames; that of frame n lies at n modulo [`REMEMBERED`].
    struck: [[f32; PIANO_KEYS]; REMEMBERED],
    /// How many frames were heard.
    heard: u64,
}

impl NoteTracker {
    /// A tracker to which no key sounds.
    ///
    /// # Panics
    /// If `rules` look back over more frames than are remembered.
    pub fn new(rules: TrackRules) -> Self {
        assert!(
            rules.back + rules.ahead + 2 * BESIDE <= REMEMBERED as u64,
            "{REMEMBERED} frames are remembered"
        );
        Self {
            rules,
            held: [None; PIANO_KEYS],
            free_from: [0; PIANO_KEYS],
            struck: [[0.0; PIANO_KEYS]; REMEMBERED],
            heard: 0,
        }
    }

    /// Takes the next frame and appends the notes that are known to have ended to `ended`.
    pub fn step(
        &mut self,
        evidence: &NoteEvidence,
        strength: &[f32; PIANO_KEYS],
        ended: &mut Vec<TrackedNote>,
    ) {
        let rules = self.rules;
        let now = self.heard;
        self.struck[now as usize % REMEMBERED] = evidence.onset;
        self.heard += 1;
        for (key, &strength) in strength.iter().enumerate() {
            let sounding = evidence.sounding[key];
            match self.held[key] {
                None if sounding < rules.begin => continue,
                None => self.begin(key, now),
                Some(held) => {
                    if held.strike.is_none() && now >= held.start + rules.ahead {
                        self.find_strike(key);
                    }
                    if let Some(again) = self.struck_again(key) {
                        self.end(key, again, ended);
                        self.begin(key, again);
                        self.find_strike(key);
                    }
                }
            }
            let Some(held) = &mut self.held[key] else {
                continue;
            };
            held.frames += 1.0;
            held.probability += sounding;
            held.strength += strength;
            held.low = if sounding < rules.end {
                held.low + 1
            } else {
                0
            };
            if held.low >= rules.patience {
                let gone = self.heard - u64::from(held.low);
                self.end(key, gone, ended);
            }
        }
    }

    /// Ends all notes that still sound.
    pub fn finish(&mut self, ended: &mut Vec<TrackedNote>) {
        for key in 0..PIANO_KEYS {
            if self.held[key].is_some() {
                self.end(key, self.heard, ended);
            }
        }
    }

    /// True for each key that sounds now and did not just begin.
    pub fn sounding(&self) -> [bool; PIANO_KEYS] {
        self.held
            .map(|held| held.is_some_and(|held| held.frames >= 2.0 && held.low == 0))
    }

    fn begin(&mut self, key: usize, start: u64) {
        self.held[key] = Some(Held {
            start,
            ..Held::default()
        });
    }

    fn end(&mut self, key: usize, end: u64, ended: &mut Vec<TrackedNote>) {
        if self.held[key].is_some_and(|held| held.strike.is_none()) {
            self.find_strike(key);
        }
        let Some((held, strike)) = self.held[key].take().and_then(|h| h.strike.map(|s| (h, s)))
        else {
            return;
        };
        self.free_from[key] = end;
        let rules = self.rules;
        let least = if strike.probability < rules.doubtful {
            rules.lasting
        } else {
            rules.shortest
        };
        if end >= held.start + least {
            let mean = held.probability / held.frames.max(1.0);
            ended.push(TrackedNote {
                key,
                struck: strike.at,
                start: held.start,
                end,
                confidence: probability(SURER_THAN_A_FRAME * log_odds(mean)),
                strength: held.strength / held.frames.max(1.0),
            });
        }
    }

    /// 'Struck' of a frame that is remembered.
    fn struck(&self, key: usize, frame: u64) -> f32 {
        self.struck[frame as usize % REMEMBERED][key]
    }

    /// Looks for the strike of a key that has begun to sound.
    fn find_strike(&mut self, key: usize) {
        let rules = self.rules;
        let Some(start) = self.held[key].map(|held| held.start) else {
            return;
        };
        let newest = (self.heard - 1).min(start + rules.ahead);
        let oldest = self.free_from[key].max(start.saturating_sub(rules.back));
        let first = oldest.min(newest);
        let peak = (first..=newest)
            .max_by(|&a, &b| self.struck(key, a).total_cmp(&self.struck(key, b)))
            .unwrap_or(start);
        let mut strike = Strike {
            at: self.centre(key, peak),
            probability: self.struck(key, peak),
        };
        if strike.probability < rules.hidden {
            strike.at = self.struck_together(key, start).unwrap_or(strike.at);
        }
        self.free_from[key] = peak + rules.apart;
        if let Some(held) = &mut self.held[key] {
            held.strike = Some(strike);
        }
    }

    /// The centre of the peak of 'struck' at a frame, each frame weighed by the square of its probability.
    fn centre(&self, key: usize, peak: u64) -> f64 {
        let newest = self.heard - 1;
        let (mut sum, mut moment) = (0.0, 0.0);
        for frame in peak.saturating_sub(BESIDE)..=(peak + BESIDE).min(newest) {
            let weight = f64::from(self.struck(key, frame)).powi(2) + 1e-12;
            sum += weight;
            moment += weight * frame as f64;
        }
        moment / sum
    }

    /// When most other keys were plainly struck, about the time at which this one begins to sound.
    fn struck_together(&self, key: usize, start: u64) -> Option<f64> {
        let about = start as f64 - self.rules.back as f64 - 1.0..start as f64 + BESIDE as f64;
        let others = self.held.iter().enumerate().filter(|&(k, _)| k != key);
        let times = others
            .filter_map(|(_, held)| held.and_then(|held| held.strike))
            .filter(|strike| strike.probability >= 0.5 && about.contains(&strike.at))
            .map(|strike| strike.at);
        let company = |at: f64| times.clone().filter(|t| (t - at).abs() < 1.5).count();
        times.clone().max_by_key(|&at| company(at))
    }

    /// The frame in which a held key was struck again, told [`BESIDE`] frames later.
    fn struck_again(&self, key: usize) -> Option<u64> {
        let newest = self.heard - 1;
        let at = newest.checked_sub(BESIDE)?;
        let held = self.held[key]?;
        let p = self.struck(key, at);
        let peak = (at.saturating_sub(BESIDE)..=newest).all(|f| self.struck(key, f) <= p);
        (p >= self.rules.again
            && peak
            && held.strike.is_some()
            && at >= self.free_from[key]
            && at >= held.start + BESIDE)
            .then_some(at)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Runs one key through (sounding, struck) pairs and gives (struck, end) of its notes, in whole frames.
    fn notes_of(frames: &[(f32, f32)]) -> Vec<(u64, u64)> {
        let mut tracker = NoteTracker::new(TrackRules::default());
        let mut ended = Vec::new();
        for &(sounding, struck) in frames {
            let mut evidence = NoteEvidence::default();
            evidence.sounding[40] = sounding;
            evidence.onset[40] = struck;
            tracker.step(&evidence, &[0.5; PIANO_KEYS], &mut ended);
        }
        tracker.finish(&mut ended);
        ended
            .iter()
            .map(|note| (note.struck.round() as u64, note.end))
            .collect()
    }

    #[test]
    fn a_note_that_wavers_is_one_note_and_ends_where_it_last_was_likely() {
        let mut frames = vec![(0.0, 0.0); 3];
        frames.extend([(0.9, 0.8), (0.8, 0.2), (0.4, 0.0), (0.6, 0.0), (0.4, 0.0)]);
        frames.extend([(0.7, 0.0), (0.1, 0.0), (0.1, 0.0), (0.1, 0.0), (0.1, 0.0)]);
        assert_eq!(notes_of(&frames), [(3, 9)]);
    }

    #[test]
    fn a_held_key_that_is_struck_again_is_two_notes() {
        let mut frames = vec![(0.9, 0.8), (0.9, 0.6)];
        frames.extend([(0.9, 0.0); 8]);
        frames.push((0.9, 0.9));
        frames.extend([(0.9, 0.1); 5]);
        assert_eq!(notes_of(&frames), [(0, 10), (10, 16)]);
    }

    #[test]
    fn a_key_believed_late_was_struck_when_the_strike_was_heard_not_when_it_was_believed() {
        let mut frames = vec![(0.0, 0.0); 4];
        frames.extend([(0.1, 0.3), (0.2, 0.3), (0.3, 0.0), (0.4, 0.0)]);
        frames.extend([(0.8, 0.0); 20]);
        // heard alike in frames 4 and 5
        let mut tracker = NoteTracker::new(TrackRules::default());
        let mut ended = Vec::new();
        for (sounding, struck) in frames {
            let mut evidence = NoteEvidence::default();
            (evidence.sounding[40], evidence.onset[40]) = (sounding, struck);
            tracker.step(&evidence, &[0.5; PIANO_KEYS], &mut ended);
        }
        tracker.finish(&mut ended);
        assert_eq!(ended.len(), 1);
        assert!((ended[0].struck - 4.5).abs() < 1e-3, "{}", ended[0].struck);
        assert_eq!(ended[0].start, 8);
    }

    #[test]
    fn a_key_whose_strike_is_hidden_was_struck_with_the_chord() {
        let mut tracker = NoteTracker::new(TrackRules::default());
        let mut ended = Vec::new();
        for frame in 0..40 {
            let mut evidence = NoteEvidence::default();
            for key in [30, 34, 37] {
                evidence.sounding[key] = if frame >= 5 { 0.9 } else { 0.0 };
                evidence.onset[key] = if frame == 5 || frame == 6 { 0.8 } else { 0.0 };
            }
            evidence.sounding[49] = if frame >= 10 { 0.7 } else { 0.1 };
            evidence.onset[49] = 0.01;
            tracker.step(&evidence, &[0.5; PIANO_KEYS], &mut ended);
        }
        tracker.finish(&mut ended);
        assert_eq!(ended.len(), 4);
        assert!(
            ended.iter().all(|note| (note.struck - 5.5).abs() < 0.01),
            "{ended:?}"
        );
    }

    #[test]
    fn a_faint_beginning_must_last_to_be_a_note() {
        let seen = |frames: usize| {
            let mut all = vec![(0.1, 0.05); 4];
            all.extend(vec![(0.6, 0.05); frames]);
            all.extend([(0.1, 0.0); 5]);
            notes_of(&all).len()
        };
        assert_eq!((seen(10), seen(30)), (0, 1));
    }

    #[test]
    fn a_flash_of_three_frames_is_no_note() {
        assert_eq!(
            notes_of(&[
                (0.0, 0.0),
                (0.9, 0.9),
                (0.9, 0.1),
                (0.9, 0.1),
                (0.0, 0.0),
                (0.0, 0.0),
                (0.0, 0.0)
            ]),
            []
        );
    }
}
