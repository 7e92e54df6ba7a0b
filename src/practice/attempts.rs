//! Finds attempts: where keys are struck together, how long they sound, and what is believed of every key meanwhile.
//!
//! Input: the listener's events, in order. Output: an [`Attempt`] once it is over, and the one that lasts so far.
//! Units: samples at the internal rate; natural log-odds, -6 to 6, the mean of the frames of a stretch as of [`crate::notes::Beliefs`].
//! Method: strikes that follow each other closely are one attempt (a rolled chord too); two keys or more struck after a pause begin the next. It
//! ends where most of its keys are no longer believed, or where the next begins. What is believed is kept over stretches of several lengths
//! after the last strike, so that a mark may be given early where it is plain, and late where it is not. The last seconds of frames are kept, whatever the length of the sound.
//! Limits: chords struck less than a third of a second apart are one attempt. A single key struck alone is not an attempt.

use crate::listener::{Event, FrameReport, StruckKey};
use crate::units::{PIANO_KEYS, PianoKey, SamplePos, SampleRate, SampleSpan, log_odds};
use std::collections::VecDeque;

/// One frame says at most this for or against a key.
const MOST_LOG_ODDS: f32 = 6.0;
/// A frame judges what sounds so long before its end (30 ms), as the listener's network was trained.
const LOOK_BACK: SampleSpan = SampleSpan::new(661);
/// From a strike to the first moment whose frames hear its key well (50 ms): before, the short window holds less of it than of what was.
const SETTLES: SampleSpan = millis(50);
/// Strikes no further apart than this belong together (330 ms): a chord is rolled or gathered more closely, and nobody changes a whole chord so fast in a drill.
const TOGETHER: SampleSpan = millis(330);
/// From a strike to the moment when it is told, at the latest, in almost all cases (see [`StruckKey`]).
const TOLD_AFTER: SampleSpan = millis(250);
/// Keys that must be struck together for an attempt.
const FEWEST_KEYS: usize = 2;
/// What is heard after the last strike is kept over stretches of these lengths, in milliseconds.
pub const AFTER_MS: [u64; 5] = [250, 400, 600, 900, 1300];
/// How long a key that was struck alone after the chord may mend it.
pub const MENDS_WITHIN: SampleSpan = millis(2000);
/// How long a stretch is listened to after a key that mends.
const AFTER_MENDING: SampleSpan = millis(450);
/// What sounded before an attempt: the stretch that ends so long before its first strike, and is so long.
const BEFORE: [SampleSpan; 2] = [millis(60), millis(200)];
/// Frames are kept for so long.
const REMEMBERED: SampleSpan = millis(6000);
/// A key no longer sounds where its mean over three frames falls below these log-odds.
const SILENT_LOG_ODDS: f32 = -0.6;
/// A damper falls so long before the mean over three frames tells it (73 ms; that of one frame in the listener's engine is another): taken off the end.
const DAMPER_LAG: SampleSpan = SampleSpan::new(1600);
/// An attempt is not looked at for its end so early.
const SHORTEST: SampleSpan = millis(180);

const fn millis(ms: u64) -> SampleSpan {
    SampleSpan::new(ms * SampleRate::INTERNAL.get() as u64 / 1000)
}

/// What is believed of every key over a stretch.
#[derive(Debug, Clone, PartialEq)]
pub struct Evidence {
    /// From the last strike to the end of the stretch.
    pub after: SampleSpan,
    /// Natural log-odds a key, -6 to 6.
    pub log_odds: [f32; PIANO_KEYS],
}

/// A key struck in an attempt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Strike {
    /// The key.
    pub key: PianoKey,
    /// When.
    pub at: SamplePos,
}

/// Keys struck together, and what was heard of them.
#[derive(Debug, Clone, PartialEq)]
pub struct Attempt {
    /// The first strike.
    pub start: SamplePos,
    /// The last strike of those that belong together.
    pub last_strike: SamplePos,
    /// Where most of its keys were let go, or the next attempt began.
    pub end: SamplePos,
    /// What was struck together, by time.
    pub strikes: Vec<Strike>,
    /// Single keys that were struck after it, while it lasted.
    pub later: Vec<Strike>,
    /// What was believed of each key just before.
    pub before: [f32; PIANO_KEYS],
    /// What was heard, over ever longer stretches after the last strike; empty where there was no time for any.
    pub heard: Vec<Evidence>,
    /// What was heard after the last key that was struck later.
    pub mended: Option<Evidence>,
}

impl Attempt {
    /// True if the key was struck in it.
    pub fn struck(&self, key: PianoKey) -> bool {
        self.strikes.iter().any(|strike| strike.key == key)
    }

    /// From the first strike to the last.
    pub fn spread(&self) -> SampleSpan {
        self.last_strike - self.start
    }

    /// From the first strike to the end.
    pub fn held(&self) -> SampleSpan {
        self.end - self.start
    }
}

/// A frame: the moment that it judges, and its log-odds.
#[derive(Debug, Clone)]
struct Heard {
    at: SamplePos,
    log_odds: [f32; PIANO_KEYS],
}

/// The attempt that lasts.
#[derive(Debug, Clone)]
struct Open {
    strikes: Vec<Strike>,
    later: Vec<Strike>,
    before: [f32; PIANO_KEYS],
    /// Where its keys were let go.
    let_go: Option<SamplePos>,
    /// Stretches that are complete already.
    heard: Vec<Evidence>,
    /// The last strike when they were taken.
    taken_for: SamplePos,
    /// What was heard after the last key that was struck later, once that stretch is complete, and when that key was struck.
    mended: Option<(SamplePos, Evidence)>,
}

impl Open {
    fn start(&self) -> SamplePos {
        self.strikes.iter().map(|s| s.at).min().unwrap_or_default()
    }

    fn last_strike(&self) -> SamplePos {
        self.strikes.iter().map(|s| s.at).max().unwrap_or_default()
    }

    fn takes(&self, strike: &Strike) -> bool {
        let again = self.strikes.iter().any(|own| own.key == strike.key);
        let near = |own: &Strike| own.at.distance(strike.at) <= TOGETHER;
        !again && self.strikes.iter().any(near)
    }
}

/// Finds attempts as events come in.
#[derive(Debug, Clone, Default)]
pub struct AttemptFinder {
    frames: VecDeque<Heard>,
    open: Option<Open>,
    /// Strikes that belong to no attempt yet, by time.
    waiting: Vec<Strike>,
    now: SamplePos,
}

impl AttemptFinder {
    /// Nothing heard yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes what the listener tells; gives an attempt that is over.
    pub fn hear(&mut self, event: &Event) -> Option<Attempt> {
        match event {
            Event::Frame(frame) => self.frame(frame),
            Event::Struck(struck) => self.strike(struck),
            _ => None,
        }
    }

    /// Ends the sound: gives the attempt that lasts.
    pub fn finish(&mut self) -> Option<Attempt> {
        self.waiting.clear();
        let open = self.open.take()?;
        let end = open.let_go.unwrap_or(self.now);
        Some(self.closed(open, end))
    }

    /// The attempt that lasts, as far as it was heard.
    pub fn lasting(&self) -> Option<Attempt> {
        let open = self.open.clone()?;
        let end = open.let_go.unwrap_or(self.now);
        Some(self.closed(open, end))
    }

    /// The moment up to which all was heard.
    pub fn now(&self) -> SamplePos {
        self.now
    }

    /// Forgets what lasts and waits: for what is not the player's.
    pub fn forget(&mut self) {
        self.open = None;
        self.waiting.clear();
    }

    fn frame(&mut self, frame: &FrameReport) -> Option<Attempt> {
        self.now = frame.at.earlier(LOOK_BACK);
        let mut odds = [0.0; PIANO_KEYS];
        for (odds, &p) in odds.iter_mut().zip(&frame.evidence.sounding) {
            *odds = log_odds(p).clamp(-MOST_LOG_ODDS, MOST_LOG_ODDS);
        }
        self.frames.push_back(Heard {
            at: self.now,
            log_odds: odds,
        });
        while self
            .frames
            .front()
            .is_some_and(|first| self.now - first.at > REMEMBERED)
        {
            self.frames.pop_front();
        }
        self.take_complete();
        self.look_for_end();
        self.sort_out().or_else(|| self.let_go_for_good())
    }

    /// The attempt whose keys were let go, once nothing can belong to it any more.
    fn let_go_for_good(&mut self) -> Option<Attempt> {
        let end = self.open.as_ref()?.let_go?;
        if !self.waiting.is_empty() || self.now < end + TOGETHER + TOLD_AFTER {
            return None;
        }
        let open = self.open.take()?;
        Some(self.closed(open, end))
    }

    fn strike(&mut self, struck: &StruckKey) -> Option<Attempt> {
        let key = struck.key.piano_key()?;
        let strike = Strike { key, at: struck.at };
        if let Some(open) = &mut self.open
            && open.takes(&strike)
        {
            open.strikes.push(strike);
            return None;
        }
        let place = self.waiting.partition_point(|other| other.at <= strike.at);
        self.waiting.insert(place, strike);
        self.sort_out()
    }

    /// Makes an attempt of strikes that wait, where there are enough; lets single ones go to the attempt that lasts once nothing can join them.
    fn sort_out(&mut self) -> Option<Attempt> {
        while let Some(&first) = self.waiting.first() {
            let mut group = vec![first];
            for strike in &self.waiting[1..] {
                let last = group[group.len() - 1].at;
                if strike.at - last <= TOGETHER && group.iter().all(|own| own.key != strike.key) {
                    group.push(*strike);
                }
            }
            if group.len() >= FEWEST_KEYS {
                self.waiting.retain(|strike| !group.contains(strike));
                return self.begin(group);
            }
            if self.now < first.at + TOGETHER + TOLD_AFTER {
                return None;
            }
            self.waiting.remove(0);
            if let Some(open) = &mut self.open
                && open.let_go.is_none_or(|end| first.at < end)
                && first.at > open.last_strike()
                && first.at - open.last_strike() <= MENDS_WITHIN
            {
                open.later.push(first);
            }
        }
        None
    }

    fn begin(&mut self, strikes: Vec<Strike>) -> Option<Attempt> {
        let start = strikes[0].at;
        let before = self
            .mean(
                start.earlier(BEFORE[0] + BEFORE[1]),
                start.earlier(BEFORE[0]),
            )
            .unwrap_or([-MOST_LOG_ODDS; PIANO_KEYS]);
        let new = Open {
            taken_for: start,
            strikes,
            later: Vec::new(),
            before,
            let_go: None,
            heard: Vec::new(),
            mended: None,
        };
        let open = self.open.replace(new)?;
        let end = open.let_go.map_or(start, |end| end.min(start));
        Some(self.closed(open, end))
    }

    /// Takes the stretches that have become complete, so that frames may be forgotten; anew where a later strike has joined.
    fn take_complete(&mut self) {
        let Some(mut open) = self.open.take() else {
            return;
        };
        let last = open.last_strike();
        if open.taken_for != last {
            open.heard.clear();
            open.taken_for = last;
        }
        while let Some(&after) = AFTER_MS.get(open.heard.len()) {
            let after = millis(after);
            if self.now < last + after || open.let_go.is_some_and(|end| end < last + after) {
                break;
            }
            let Some(log_odds) = self.mean(last + SETTLES, last + after) else {
                break;
            };
            open.heard.push(Evidence { after, log_odds });
        }
        if let Some(later) = open.later.last().map(|later| later.at)
            && open.mended.as_ref().is_none_or(|(at, _)| *at != later)
            && self.now >= later + AFTER_MENDING
        {
            open.mended = self
                .after_mending(later, later + AFTER_MENDING)
                .map(|heard| (later, heard));
        }
        self.open = Some(open);
    }

    /// Most keys of the attempt are silent: it has ended. Whether the next strikes are told yet or not, it is over for good after a moment.
    fn look_for_end(&mut self) {
        let Some(open) = &mut self.open else { return };
        let begun = open.last_strike() + SHORTEST;
        if open.let_go.is_some() || self.now < begun || self.frames.len() < 3 {
            return;
        }
        let last_frames = self.frames.range(self.frames.len() - 3..);
        let silent = |key: PianoKey| {
            let sum: f32 = last_frames
                .clone()
                .map(|frame| frame.log_odds[key.index()])
                .sum();
            sum / 3.0 < SILENT_LOG_ODDS
        };
        let silent_keys = open
            .strikes
            .iter()
            .filter(|strike| silent(strike.key))
            .count();
        if 2 * silent_keys > open.strikes.len() {
            open.let_go = Some(
                (self.now + LOOK_BACK)
                    .earlier(DAMPER_LAG)
                    .max(open.last_strike()),
            );
        }
    }

    /// The attempt with what was heard of it until `end`.
    fn closed(&self, open: Open, end: SamplePos) -> Attempt {
        let last = open.last_strike();
        let mut heard = if open.taken_for == last {
            open.heard.clone()
        } else {
            Vec::new()
        };
        let taken = heard
            .last()
            .map_or(SampleSpan::ZERO, |evidence| evidence.after);
        // what is left of a stretch that the end has cut short, where it is worth it
        let cut_at = end.min(last + millis(AFTER_MS[AFTER_MS.len() - 1]));
        if cut_at > last + taken + SETTLES
            && let Some(log_odds) = self.mean(last + SETTLES, cut_at)
        {
            let after = cut_at - last;
            heard.push(Evidence { after, log_odds });
        }
        let mended = open.later.last().and_then(|later| match &open.mended {
            Some((at, heard)) if *at == later.at => Some(heard.clone()),
            _ => self.after_mending(later.at, end.min(later.at + AFTER_MENDING)),
        });
        let mut strikes = open.strikes.clone();
        strikes.sort_by_key(|strike| strike.at);
        Attempt {
            start: open.start(),
            last_strike: last,
            end: end.max(last),
            strikes,
            later: open.later,
            before: open.before,
            heard,
            mended,
        }
    }

    /// What was heard from a key struck at `from` until `until`.
    fn after_mending(&self, from: SamplePos, until: SamplePos) -> Option<Evidence> {
        let log_odds = self.mean(from + SETTLES, until)?;
        let after = until - from;
        Some(Evidence { after, log_odds })
    }

    /// Mean log-odds of the frames from `from` to before `to`; `None` where there is none, or they are forgotten.
    fn mean(&self, from: SamplePos, to: SamplePos) -> Option<[f32; PIANO_KEYS]> {
        let first = self.frames.partition_point(|frame| frame.at < from);
        let end = self.frames.partition_point(|frame| frame.at < to);
        if first >= end
            || self
                .frames
                .front()
                .is_none_or(|oldest| oldest.at > from + millis(25))
        {
            return None;
        }
        let mut mean = [0.0; PIANO_KEYS];
        for frame in self.frames.range(first..end) {
            for (mean, &odds) in mean.iter_mut().zip(&frame.log_odds) {
                *mean += odds;
            }
        }
        let frames = (end - first) as f32;
        mean.iter_mut().for_each(|mean| *mean /= frames);
        Some(mean)
    }
}

/// What a listener would tell of keys that are played, for tests.
#[cfg(test)]
pub(super) mod stage {
    use super::*;
    use crate::notes::NoteEvidence;
    use crate::units::{Dbfs, MidiNote, Share};

    pub const HOP: u64 = 512;

    /// Keys from and to times in seconds.
    pub fn chord(keys: &[u8], from: f64, to: f64) -> Vec<(u8, f64, f64)> {
        keys.iter().map(|&key| (key, from, to)).collect()
    }

    /// The events of so many seconds; strikes are told 0.18 s after, as the listener does.
    pub fn events(played: &[(u8, f64, f64)], seconds: f64) -> Vec<Event> {
        let rate = f64::from(SampleRate::INTERNAL.get());
        let mut events = Vec::new();
        let mut told = vec![false; played.len()];
        for frame in 1..(seconds * rate) as u64 / HOP {
            let at = frame * HOP;
            let moment = (at as f64 - 661.0) / rate;
            let mut evidence = NoteEvidence {
                sounding: [0.02; PIANO_KEYS],
                ..NoteEvidence::default()
            };
            for &(midi, from, to) in played {
                if (from..to).contains(&moment) {
                    evidence.sounding[usize::from(midi) - 21] = 0.97;
                }
            }
            events.push(Event::Frame(FrameReport {
                at: SamplePos::new(at),
                rms: 0.1,
                evidence,
                chroma: [0.0; 12],
                a4: None,
            }));
            for (told, &(midi, from, _)) in told.iter_mut().zip(played) {
                if !*told && moment > from + 0.18 {
                    *told = true;
                    events.push(Event::Struck(StruckKey {
                        key: MidiNote::new(midi).unwrap(),
                        at: SamplePos::new((from * rate) as u64),
                        probability: Share::ONE,
                        level: Dbfs::new(-20.0),
                    }));
                }
            }
        }
        events
    }
}

#[cfg(test)]
mod tests {
    use super::stage::{HOP, chord, events};
    use super::*;
    use crate::notes::NoteEvidence;

    /// The attempts found where keys are played from and to times in seconds.
    fn attempts(played: &[(u8, f64, f64)], seconds: f64) -> Vec<Attempt> {
        let mut finder = AttemptFinder::new();
        let events = events(played, seconds);
        let mut found: Vec<Attempt> = events
            .iter()
            .filter_map(|event| finder.hear(event))
            .collect();
        found.extend(finder.finish());
        found
    }

    fn seconds(at: SamplePos) -> f64 {
        at.get() as f64 / f64::from(SampleRate::INTERNAL.get())
    }

    #[test]
    fn chords_apart_are_attempts_that_begin_and_end_where_they_do() {
        let played = [
            chord(&[48, 51, 54, 59], 0.8, 2.4),
            chord(&[53, 56, 59, 64], 2.7, 4.5),
        ]
        .concat();
        let found = attempts(&played, 5.5);
        assert_eq!(found.len(), 2);
        for (attempt, (start, end)) in found.iter().zip([(0.8, 2.4), (2.7, 4.5)]) {
            assert!((seconds(attempt.start) - start).abs() < 0.005, "{start}");
            assert!(
                (seconds(attempt.end) - end).abs() < 0.1,
                "{} is not {end}",
                seconds(attempt.end)
            );
            assert_eq!(attempt.heard.len(), AFTER_MS.len());
            assert_eq!(attempt.strikes.len(), 4);
        }
    }

    #[test]
    fn a_rolled_chord_is_one_attempt_and_a_single_key_after_it_may_mend_it() {
        let mut played = vec![(48, 0.5, 3.0), (52, 0.62, 3.0), (55, 0.75, 3.0)];
        played.push((58, 1.6, 3.0));
        let found = attempts(&played, 4.0);
        assert_eq!(found.len(), 1);
        let later: Vec<usize> = found[0]
            .later
            .iter()
            .map(|strike| strike.key.index())
            .collect();
        assert_eq!((found[0].strikes.len(), later), (3, vec![58 - 21]));
        let mended = found[0].mended.as_ref().expect("it was listened to");
        assert!(mended.log_odds[58 - 21] > 2.0 && found[0].heard[0].log_odds[58 - 21] < -2.0);
    }

    #[test]
    fn a_chord_that_is_let_go_is_over_although_nothing_follows() {
        let mut finder = AttemptFinder::new();
        let mut events = events(&chord(&[48, 52, 55], 0.5, 1.0), 9.0);
        let over = events.drain(..).filter_map(|event| {
            let attempt = finder.hear(&event)?;
            Some((attempt, seconds(finder.now())))
        });
        let over: Vec<(Attempt, f64)> = over.collect();
        assert_eq!(over.len(), 1);
        assert!(over[0].1 < 2.0, "told at {} s", over[0].1);
    }

    #[test]
    fn what_mends_is_remembered_however_late_the_next_chord_comes() {
        let mut played = chord(&[48, 52, 58], 0.5, 12.0);
        played.push((55, 1.6, 12.0));
        let found = attempts(&[played, chord(&[53, 57, 60], 11.0, 12.0)].concat(), 13.0);
        let mended = found[0].mended.as_ref().expect("it was listened to");
        assert!(mended.log_odds[55 - 21] > 2.0);
    }

    #[test]
    fn a_key_alone_is_no_attempt() {
        assert_eq!(attempts(&[(60, 0.5, 1.5), (62, 1.5, 2.0)], 3.0), []);
    }

    #[test]
    fn what_still_sounds_from_before_is_told_apart_from_what_is_struck() {
        let played = [chord(&[48, 52, 55], 0.5, 4.0), chord(&[60, 64], 2.0, 4.0)].concat();
        let found = attempts(&played, 4.5);
        assert_eq!(found.len(), 2);
        let key = PianoKey::new(48 - 21).unwrap();
        assert!(!found[1].struck(key) && found[1].before[key.index()] > 2.0);
        assert!(found[1].heard[0].log_odds[key.index()] > 2.0);
    }

    #[test]
    fn memory_does_not_grow_with_the_length_of_the_sound() {
        let mut finder = AttemptFinder::new();
        for frame in 0..20_000_u64 {
            finder.hear(&Event::Frame(FrameReport {
                at: SamplePos::new(frame * HOP),
                rms: 0.0,
                evidence: NoteEvidence::default(),
                chroma: [0.0; 12],
                a4: None,
            }));
        }
        assert!(finder.frames.len() < 300);
    }
}
