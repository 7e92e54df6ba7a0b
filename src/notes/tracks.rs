//! Note tracks: when each key was struck, struck again and let go.
//!
//! Input: one [`NoteEvidence`] a frame and how strongly each key sounds. Output: a [`TrackedStrike`] for each note that has begun, and later
//! a [`TrackedNote`] once it has ended.
//! Units: times in analysis frames, confidence, probability and strength 0 to 1, powers in squares of linear amplitude.
//! Method: our own. 'Sounding' says that there is a note and until when; 'struck' says when it began: the centre of its peak
//! around the frame in which the note was first believed. A note whose own strike is hidden among others takes the time at which most keys
//! were struck about then. Its confidence is the mean of 'sounding' over its life, made surer by a factor on its log-odds. A peak of 'struck' while the key is held is a second note.
//! A strike is told as soon as it is sure that its note will be told, and at the time that the note will have: so each note has one strike,
//! and none is taken back. Sure it is once the note has lasted for [`TrackRules::shortest`] frames and can no longer turn out to have been cut
//! short by another strike of its key.
//! Limits: a strike is told [`TrackRules::ahead`] frames after the note is first believed (93 ms), a strike of a held key three to
//! four frames after its peak, a doubtful one after [`TrackRules::lasting`] frames (0.6 s), an end [`TrackRules::patience`] frames late; short notes of
//! which no strike was heard are dropped.

use super::NoteEvidence;
use super::strength::KeyLoudness;
use crate::units::{HopIndex, HopSpan, PIANO_KEYS, PianoKey, log_odds, probability};
use std::ops::RangeInclusive;

/// Frames of 'struck' and of powers that are remembered; at least `back + ahead + 2 * BESIDE`.
const REMEMBERED: usize = 16;
/// Over its life a note is surer than the mean of its frames says: by this factor, in log-odds. Fitted on two pianos that the network had not
/// met with `training/practice.py` and `training/reliability.py` (see `training/README.md`).
const SURER_THAN_A_FRAME: f32 = 1.9;
/// Frames either side that belong to a peak of 'struck'.
const BESIDE: HopSpan = HopSpan::new(2);
/// One frame.
const A_FRAME: HopSpan = HopSpan::new(1);

/// Thresholds of the tracker. Probabilities are calibrated, and 0.5 is the natural border; times were set by reasoning and then
/// varied on the measuring corpus, where none of them matters by more than a point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrackRules {
    /// A note begins when 'sounding' reaches this probability.
    pub begin: f32,
    /// It ends when 'sounding' stays below this probability for [`TrackRules::patience`] frames.
    pub end: f32,
    /// Frames below `end` before a note is over.
    pub patience: HopSpan,
    /// A held key was struck again when 'struck' peaks at this probability or higher.
    pub again: f32,
    /// Frames that must lie between two strikes of one key.
    pub apart: HopSpan,
    /// A strike is looked for from so many frames before the note is believed (the long window hears low keys late) ...
    pub back: HopSpan,
    /// ... to so many after.
    pub ahead: HopSpan,
    /// A strike below this probability is hidden: the note takes the time of other keys struck about then.
    pub hidden: f32,
    /// A strike below this probability is doubtful, and its note must last for [`TrackRules::lasting`] frames.
    pub doubtful: f32,
    /// Frames after which a note is one even if no strike was heard.
    pub lasting: HopSpan,
    /// Notes of fewer frames are dropped.
    pub shortest: HopSpan,
}

impl Default for TrackRules {
    fn default() -> Self {
        Self {
            begin: 0.5,
            end: 0.5,
            patience: HopSpan::new(3),
            again: 0.5,
            apart: HopSpan::new(4),
            back: HopSpan::new(8),
            ahead: HopSpan::new(4),
            hidden: 0.3,
            doubtful: 0.2,
            lasting: HopSpan::new(25),
            shortest: HopSpan::new(4),
        }
    }
}

/// A note that has begun: its [`TrackedNote`] will follow.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrackedStrike {
    /// The key.
    pub key: PianoKey,
    /// Centre of the frames in which its strike was heard, the same as the note will have.
    pub struck: f64,
    /// Probability that the key did sound so far, as the note will have it over its life.
    pub probability: f32,
    /// The largest power of the key in the frames from its strike on ([`KeyLoudness::powers`]).
    pub power: f32,
}

/// A note that has ended.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrackedNote {
    /// The key.
    pub key: PianoKey,
    /// Centre of the frames in which its strike was heard.
    pub struck: f64,
    /// The frame in which it was first believed.
    pub start: HopIndex,
    /// The first frame in which it was gone.
    pub end: HopIndex,
    /// Probability that the key did sound over its life.
    pub confidence: f32,
    /// Mean strength over its life.
    pub strength: f32,
    /// As its [`TrackedStrike`] has it.
    pub power: f32,
}

/// What the tracker has to tell.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Tracks {
    /// Notes that have begun.
    pub struck: Vec<TrackedStrike>,
    /// Notes that have ended; each was in `struck` before, or is so in the same frame.
    pub ended: Vec<TrackedNote>,
}

/// A key that sounds.
#[derive(Debug, Clone, Copy, Default)]
struct Held {
    start: HopIndex,
    /// Known `ahead` frames after `start`.
    strike: Option<Strike>,
    /// True once its strike was told.
    told: bool,
    frames: f32,
    probability: f32,
    strength: f32,
    /// Frames in a row below the end threshold.
    low: HopSpan,
}

impl Held {
    /// Probability that the key did sound so far.
    fn confidence(&self) -> f32 {
        let mean = self.probability / self.frames.max(1.0);
        probability(SURER_THAN_A_FRAME * log_odds(mean))
    }
}

/// When a key was struck, and how sure that is.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Strike {
    /// Centre of the peak of 'struck'.
    at: f64,
    /// Its height.
    probability: f32,
    /// The largest power since.
    power: f32,
}

/// Follows the 88 keys from frame to frame.
#[derive(Debug, Clone)]
pub struct NoteTracker {
    rules: TrackRules,
    held: [Option<Held>; PIANO_KEYS],
    /// Where the last note of each key was struck or ended: no later strike is looked for before it.
    free_from: [HopIndex; PIANO_KEYS],
    /// 'Struck' of the last frames; that of frame n lies at n modulo [`REMEMBERED`].
    struck: [[f32; PIANO_KEYS]; REMEMBERED],
    /// Powers of the same frames.
    powers: [[f32; PIANO_KEYS]; REMEMBERED],
    /// How many frames were heard.
    heard: HopIndex,
}

impl NoteTracker {
    /// A tracker to which no key sounds.
    ///
    /// # Panics
    /// If `rules` look back over more frames than are remembered.
    pub fn new(rules: TrackRules) -> Self {
        assert!(
            (rules.back + rules.ahead + BESIDE + BESIDE).get() <= REMEMBERED as u64,
            "{REMEMBERED} frames are remembered"
        );
        Self {
            rules,
            held: [None; PIANO_KEYS],
            free_from: [HopIndex::START; PIANO_KEYS],
            struck: [[0.0; PIANO_KEYS]; REMEMBERED],
            powers: [[0.0; PIANO_KEYS]; REMEMBERED],
            heard: HopIndex::START,
        }
    }

    /// Takes the next frame and appends the notes that are known to have begun and to have ended to `tracks`.
    pub fn step(&mut self, evidence: &NoteEvidence, loudness: &KeyLoudness, tracks: &mut Tracks) {
        let rules = self.rules;
        let now = self.heard;
        self.struck[place(now)] = evidence.onset;
        self.powers[place(now)] = loudness.powers;
        self.heard += A_FRAME;
        for key in PianoKey::all() {
            let sounding = evidence.sounding[key.index()];
            match self.held[key.index()] {
                None if sounding < rules.begin => continue,
                None => self.begin(key, now),
                Some(held) => {
                    if held.strike.is_none() && now >= held.start + rules.ahead {
                        self.find_strike(key);
                    }
                    if let Some(again) = self.struck_again(key) {
                        self.end(key, again, tracks);
                        self.begin(key, again);
                        self.find_strike(key);
                    }
                }
            }
            let Some(held) = &mut self.held[key.index()] else {
                continue;
            };
            held.frames += 1.0;
            held.probability += sounding;
            held.strength += loudness.shares[key.index()];
            held.low = if sounding < rules.end {
                held.low + A_FRAME
            } else {
                HopSpan::ZERO
            };
            let (told, low) = (held.told, held.low);
            if low >= rules.patience {
                self.end(key, self.heard.earlier(low), tracks);
            } else if !told && self.will_be_a_note(key) {
                self.tell_strike(key, tracks);
            }
        }
    }

    /// Ends all notes that still sound.
    pub fn finish(&mut self, tracks: &mut Tracks) {
        for key in PianoKey::all() {
            if self.held[key.index()].is_some() {
                self.end(key, self.heard, tracks);
            }
        }
    }

    /// True for each key that sounds now and did not just begin.
    pub fn sounding(&self) -> [bool; PIANO_KEYS] {
        self.held
            .map(|held| held.is_some_and(|held| held.frames >= 2.0 && held.low == HopSpan::ZERO))
    }

    fn begin(&mut self, key: PianoKey, start: HopIndex) {
        self.held[key.index()] = Some(Held {
            start,
            ..Held::default()
        });
    }

    fn end(&mut self, key: PianoKey, end: HopIndex, tracks: &mut Tracks) {
        if self.held[key.index()].is_some_and(|held| held.strike.is_none()) {
            self.find_strike(key);
        }
        let Some((held, strike)) = self.held[key.index()].and_then(|h| h.strike.map(|s| (h, s)))
        else {
            self.held[key.index()] = None;
            return;
        };
        if end >= held.start + self.least(strike) {
            if !held.told {
                self.tell_strike(key, tracks);
            }
            tracks.ended.push(TrackedNote {
                key,
                struck: strike.at,
                start: held.start,
                end,
                confidence: held.confidence(),
                strength: held.strength / held.frames.max(1.0),
                power: strike.power,
            });
        }
        self.held[key.index()] = None;
        self.free_from[key.index()] = end;
    }

    /// How long a note with this strike must last to be one.
    fn least(&self, strike: Strike) -> HopSpan {
        if strike.probability < self.rules.doubtful {
            self.rules.lasting
        } else {
            self.rules.shortest
        }
    }

    /// True once it is sure that the note of a key will be told when it has ended: it has lasted for long enough, and if the key turns out to have
    /// been struck again, that was no earlier.
    fn will_be_a_note(&self, key: PianoKey) -> bool {
        let Some((held, strike)) = self.held[key.index()].and_then(|h| h.strike.map(|s| (h, s)))
        else {
            return false;
        };
        let lasted = held.start + self.least(strike);
        let newest = self.newest();
        self.heard.earlier(held.low) >= lasted
            && frames(newest.earlier(BESIDE) + A_FRAME..=newest)
                .filter(|&at| at < lasted)
                .all(|at| !self.may_be_struck_again(key, held.start, at))
    }

    fn tell_strike(&mut self, key: PianoKey, tracks: &mut Tracks) {
        if let Some(held) = &mut self.held[key.index()]
            && let Some(strike) = held.strike
        {
            held.told = true;
            tracks.struck.push(TrackedStrike {
                key,
                struck: strike.at,
                probability: held.confidence(),
                power: strike.power,
            });
        }
    }

    /// The frame heard last.
    fn newest(&self) -> HopIndex {
        self.heard.earlier(A_FRAME)
    }

    /// 'Struck' of a frame that is remembered.
    fn struck(&self, key: PianoKey, frame: HopIndex) -> f32 {
        self.struck[place(frame)][key.index()]
    }

    /// Looks for the strike of a key that has begun to sound.
    fn find_strike(&mut self, key: PianoKey) {
        let rules = self.rules;
        let Some(start) = self.held[key.index()].map(|held| held.start) else {
            return;
        };
        let newest = self.newest().min(start + rules.ahead);
        let oldest = self.free_from[key.index()].max(start.earlier(rules.back));
        let first = oldest.min(newest);
        let peak = frames(first..=newest)
            .max_by(|&a, &b| self.struck(key, a).total_cmp(&self.struck(key, b)))
            .unwrap_or(start);
        let power = frames(peak.min(start)..=newest)
            .map(|frame| self.powers[place(frame)][key.index()])
            .fold(0.0, f32::max);
        let mut strike = Strike {
            at: self.centre(key, peak),
            probability: self.struck(key, peak),
            power,
        };
        if strike.probability < rules.hidden {
            strike.at = self.struck_together(key, start).unwrap_or(strike.at);
        }
        self.free_from[key.index()] = peak + rules.apart;
        if let Some(held) = &mut self.held[key.index()] {
            held.strike = Some(strike);
        }
    }

    /// The centre of the peak of 'struck' at a frame, each frame weighed by the square of its probability.
    fn centre(&self, key: PianoKey, peak: HopIndex) -> f64 {
        let (mut sum, mut moment) = (0.0, 0.0);
        for frame in frames(peak.earlier(BESIDE)..=(peak + BESIDE).min(self.newest())) {
            let weight = f64::from(self.struck(key, frame)).powi(2) + 1e-12;
            sum += weight;
            moment += weight * frame.get() as f64;
        }
        moment / sum
    }

    /// When most other keys were plainly struck, about the time at which this one begins to sound.
    fn struck_together(&self, key: PianoKey, start: HopIndex) -> Option<f64> {
        let start = start.get() as f64;
        let about = start - self.rules.back.get() as f64 - 1.0..start + BESIDE.get() as f64;
        let others = self
            .held
            .iter()
            .enumerate()
            .filter(|&(k, _)| k != key.index());
        let times = others
            .filter_map(|(_, held)| held.and_then(|held| held.strike))
            .filter(|strike| strike.probability >= 0.5 && about.contains(&strike.at))
            .map(|strike| strike.at);
        let company = |at: f64| times.clone().filter(|t| (t - at).abs() < 1.5).count();
        times.clone().max_by_key(|&at| company(at))
    }

    /// The frame in which a held key was struck again, told [`BESIDE`] frames later.
    fn struck_again(&self, key: PianoKey) -> Option<HopIndex> {
        let at = self.newest().checked_earlier(BESIDE)?;
        let held = self.held[key.index()]?;
        (held.strike.is_some() && self.may_be_struck_again(key, held.start, at)).then_some(at)
    }

    /// Whether a key that is held since `start` was struck again in a frame, by what is heard so far: 'struck' has a peak there.
    fn may_be_struck_again(&self, key: PianoKey, start: HopIndex, at: HopIndex) -> bool {
        let p = self.struck(key, at);
        p >= self.rules.again
            && at >= self.free_from[key.index()]
            && at >= start + BESIDE
            && frames(at.earlier(BESIDE)..=(at + BESIDE).min(self.newest()))
                .all(|frame| self.struck(key, frame) <= p)
    }
}

/// Where a frame lies among those that are remembered.
fn place(frame: HopIndex) -> usize {
    frame.get() as usize % REMEMBERED
}

/// The frames from one to another.
fn frames(range: RangeInclusive<HopIndex>) -> impl Iterator<Item = HopIndex> + Clone {
    (range.start().get()..=range.end().get()).map(HopIndex::new)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Runs one key through (sounding, struck) pairs.
    fn tracks_of(frames: &[(f32, f32)]) -> Tracks {
        let mut tracker = NoteTracker::new(TrackRules::default());
        let mut tracks = Tracks::default();
        for &(sounding, struck) in frames {
            let mut evidence = NoteEvidence::default();
            evidence.sounding[40] = sounding;
            evidence.onset[40] = struck;
            tracker.step(&evidence, &KeyLoudness::default(), &mut tracks);
        }
        tracker.finish(&mut tracks);
        tracks
    }

    /// The same, and gives (struck, end) of its notes, in whole frames.
    fn notes_of(frames: &[(f32, f32)]) -> Vec<(u64, u64)> {
        tracks_of(frames)
            .ended
            .iter()
            .map(|note| (note.struck.round() as u64, note.end.get()))
            .collect()
    }

    /// Runs keys through random evidence of a kind that breaks what is broken easily: strikes close together, notes that waver at the border.
    fn assert_each_note_had_its_strike(seed: u64) -> (usize, usize) {
        let mut random = fastrand::Rng::with_seed(seed);
        let mut tracker = NoteTracker::new(TrackRules::default());
        let (mut notes, mut early) = (0, 0);
        let mut waiting: Vec<TrackedStrike> = Vec::new();
        let (mut level, mut strike_odds) = ([0.0_f32; PIANO_KEYS], [0.0_f32; PIANO_KEYS]);
        for frame in 0..4_000 {
            let mut tracks = Tracks::default();
            let mut evidence = NoteEvidence::default();
            for key in 0..PIANO_KEYS {
                if random.u8(0..12) == 0 {
                    level[key] = random.f32();
                    strike_odds[key] = random.f32();
                }
                evidence.sounding[key] = level[key] + 0.3 * (random.f32() - 0.5);
                let struck = random.f32() < 0.35 * strike_odds[key];
                evidence.onset[key] = if struck {
                    random.f32()
                } else {
                    0.1 * random.f32()
                };
            }
            let last = frame == 3_999;
            if last {
                tracker.finish(&mut tracks);
            } else {
                tracker.step(&evidence, &KeyLoudness::default(), &mut tracks);
            }
            early += tracks.struck.len();
            waiting.append(&mut tracks.struck);
            for note in tracks.ended {
                let own =
                    |strike: &TrackedStrike| (strike.key, strike.struck) == (note.key, note.struck);
                let place = waiting.iter().position(own);
                let place = place.unwrap_or_else(|| panic!("no strike of {note:?}, seed {seed}"));
                waiting.swap_remove(place);
                notes += 1;
            }
            for key in PianoKey::all() {
                let open = waiting.iter().filter(|strike| strike.key == key).count();
                assert!(open <= 1, "two strikes of one note, seed {seed}");
            }
        }
        assert!(
            waiting.is_empty(),
            "strikes without a note: {waiting:?}, seed {seed}"
        );
        (notes, early)
    }

    #[test]
    fn each_note_has_one_strike_before_it_and_each_strike_becomes_a_note() {
        for seed in 0..12 {
            let (notes, struck) = assert_each_note_had_its_strike(seed);
            assert_eq!(notes, struck);
            assert!(notes > 3_000, "{notes} notes are too few to mean much");
        }
    }

    #[test]
    fn a_strike_is_told_with_the_loudness_since_it_long_before_its_note_has_ended() {
        let mut tracker = NoteTracker::new(TrackRules::default());
        let (mut told, mut strike) = (None, None);
        for frame in 0..100_u16 {
            let mut tracks = Tracks::default();
            let (mut evidence, mut loudness) = (NoteEvidence::default(), KeyLoudness::default());
            evidence.sounding[40] = if (10..90).contains(&frame) { 0.9 } else { 0.02 };
            evidence.onset[40] = if frame == 10 || frame == 11 { 0.8 } else { 0.0 };
            // the strike is loudest in frame 12; what sounded before it was louder
            loudness.powers[40] = match frame {
                0..10 => 0.5,
                12 => 0.04,
                _ => 0.01,
            };
            tracker.step(&evidence, &loudness, &mut tracks);
            if let Some(&first) = tracks.struck.first() {
                assert!(strike.is_none(), "told once");
                (told, strike) = (Some(frame), Some(first));
            }
            assert!(tracks.ended.is_empty() || frame == 92);
        }
        let strike = strike.expect("it is told");
        assert!(
            (strike.struck - 10.5).abs() < 1e-3 && strike.power == 0.04,
            "{strike:?}"
        );
        assert!(strike.probability > 0.9, "{strike:?}");
        // four frames after the key is first believed
        assert_eq!(told, Some(14));
    }

    #[test]
    fn a_doubtful_strike_is_told_once_its_note_has_lasted() {
        let mut frames = vec![(0.1, 0.05); 4];
        frames.extend(vec![(0.6, 0.05); 10]);
        frames.extend([(0.1, 0.0); 5]);
        assert_eq!(
            tracks_of(&frames),
            Tracks::default(),
            "none is told to be taken back"
        );
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
        let ended = tracks_of(&frames).ended;
        assert_eq!(ended.len(), 1);
        assert!((ended[0].struck - 4.5).abs() < 1e-3, "{}", ended[0].struck);
        assert_eq!(ended[0].start, HopIndex::new(8));
    }

    #[test]
    fn a_key_whose_strike_is_hidden_was_struck_with_the_chord() {
        let mut tracker = NoteTracker::new(TrackRules::default());
        let mut tracks = Tracks::default();
        for frame in 0..40 {
            let mut evidence = NoteEvidence::default();
            for key in [30, 34, 37] {
                evidence.sounding[key] = if frame >= 5 { 0.9 } else { 0.0 };
                evidence.onset[key] = if frame == 5 || frame == 6 { 0.8 } else { 0.0 };
            }
            evidence.sounding[49] = if frame >= 10 { 0.7 } else { 0.1 };
            evidence.onset[49] = 0.01;
            tracker.step(&evidence, &KeyLoudness::default(), &mut tracks);
        }
        tracker.finish(&mut tracks);
        let ended = tracks.ended;
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
