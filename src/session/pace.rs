//! Whether listening keeps up, and what is done where it does not: the whole policy.
//!
//! Input: how much sound each reading of the input brought. Output: in how many hops notes are heard anew, once it changes.
//! Units: frames at the internal rate; hops of [`HOP_SAMPLES`] (23 ms).
//! Method: our own, four rules. An input that is read every few milliseconds brings little at a time unless the work on the last reading
//! took long; so what a reading brings is how far listening lags.
//! 1. A reading of more than [`LATE`] is late. [`BEHIND`] of sound in late readings that follow each other and get no shorter means
//!    falling behind: notes are then heard in every second hop, if that is not enough in every fourth, and no wider.
//!    The hops between are taken as sounding like the last, so times stay true.
//! 2. Late readings that get shorter are no falling behind: the computer slept or was busy for a moment, and what waited is worked off.
//! 3. After [`CALM`] of sound without a late reading the hop is halved again.
//! 4. If that fails within [`CALM`], the next calm must be twice as long, up to [`LONGEST_CALM`]: no to and fro on a slow computer.
//!
//! Limits: where even every fourth hop is too much, the capture skips to the newest sound and counts what it skipped.

use crate::spectrum::HOP_SAMPLES;
use crate::units::count::plural;
use crate::units::{SampleRate, SampleSpan, Seconds};

const fn milliseconds(count: u64) -> SampleSpan {
    SampleSpan::new(count * SampleRate::INTERNAL.get() as u64 / 1000)
}

/// A reading that brings more than this is late: four hops, more than any input hands over at once.
pub const LATE: SampleSpan = milliseconds(93);
/// Sound in late readings before the hop is widened.
pub const BEHIND: SampleSpan = milliseconds(300);
/// Sound in readings in time before it is narrowed.
pub const CALM: SampleSpan = milliseconds(10_000);
/// Where narrowing keeps failing: this much.
pub const LONGEST_CALM: SampleSpan = milliseconds(320_000);
/// The widest hop: 93 ms, the length of the short window, so that no sound goes unheard.
const WIDEST: u32 = 4;

/// Decides how many hops apart notes are heard.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pace {
    hops: u32,
    /// The reading before.
    before: SampleSpan,
    /// Sound in late readings that got no shorter, since the last one in time; and in readings since the last late one.
    late: SampleSpan,
    in_time: SampleSpan,
    /// How much must come in time before the hop is narrowed.
    calm: SampleSpan,
    /// True from a narrowing until it has held for [`CALM`].
    on_trial: bool,
}

impl Default for Pace {
    fn default() -> Self {
        Self {
            hops: 1,
            before: SampleSpan::ZERO,
            late: SampleSpan::ZERO,
            in_time: SampleSpan::ZERO,
            calm: CALM,
            on_trial: false,
        }
    }
}

impl Pace {
    /// Takes what one reading brought; the number of hops, if it changes now.
    pub fn step(&mut self, reading: SampleSpan) -> Option<u32> {
        let before = std::mem::replace(&mut self.before, reading);
        if reading > LATE {
            if before > LATE && reading >= before {
                self.late += reading;
            }
            self.in_time = SampleSpan::ZERO;
            if self.late >= BEHIND && self.hops < WIDEST {
                self.late = SampleSpan::ZERO;
                if std::mem::take(&mut self.on_trial) {
                    self.calm = SampleSpan::new(2 * self.calm.get()).min(LONGEST_CALM);
                }
                self.hops *= 2;
                return Some(self.hops);
            }
        } else if reading > SampleSpan::ZERO {
            self.late = SampleSpan::ZERO;
            self.in_time += reading;
            if self.on_trial && self.in_time >= CALM {
                self.on_trial = false;
                self.calm = CALM;
            }
            if self.hops > 1 && self.in_time >= self.calm {
                self.in_time = SampleSpan::ZERO;
                self.on_trial = true;
                self.hops /= 2;
                return Some(self.hops);
            }
        }
        None
    }
}

/// What a change to `hops` means, in a sentence.
pub fn pace_sentence(hops: u32) -> String {
    if hops == 1 {
        return "listening keeps up again".into();
    }
    format!(
        "this computer is too busy to keep up: notes are heard only every {:.0} ms for now; close other programs",
        1000.0 * hop_length(hops).get()
    )
}

/// Of `lost` samples in all, in a sentence: of the first, and again whenever they have become twice as many as `told`.
pub fn loss_sentence(lost: u64, told: &mut u64) -> Option<String> {
    (lost > 0 && lost >= 2 * *told).then(|| {
        *told = lost;
        let samples = plural(usize::try_from(lost).unwrap_or(usize::MAX), "sample");
        format!("{samples} lost so far, silent in what is heard: this computer is too busy; close other programs")
    })
}

/// The time between two hearings of notes that are `hops` apart.
pub fn hop_length(hops: u32) -> Seconds {
    SampleSpan::new(u64::from(hops) * HOP_SAMPLES as u64).seconds(SampleRate::INTERNAL)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lost_sound_is_told_at_once_and_not_without_end() {
        let mut told = 0;
        let sentences: Vec<String> = [0, 0, 512, 512, 700, 1024, 1500, 9000]
            .into_iter()
            .filter_map(|lost| loss_sentence(lost, &mut told))
            .collect();
        let lost: Vec<&str> = sentences
            .iter()
            .filter_map(|s| s.split(' ').next())
            .collect();
        assert_eq!(lost, ["512", "1024", "9000"]);
    }

    /// A computer on which hearing the notes of one hop takes `cost` of a hop's time. Plays `seconds` of sound to it; gives the hops
    /// after each change, with the second in which it came, and the longest wait of any sound, in seconds.
    fn run(pace: &mut Pace, cost: f64, seconds: f64) -> (Vec<(u64, u32)>, f64) {
        let (mut now, mut read, mut hops) = (0.0, 0.0, pace.hops);
        let (mut changes, mut longest) = (Vec::new(), 0.0_f64);
        while now < seconds {
            // between two readings the thread rests for 5 ms
            now += 0.005;
            let waiting: f64 = now - read;
            read = now;
            longest = longest.max(waiting);
            let frames = (waiting * f64::from(SampleRate::INTERNAL.get())) as u64;
            if let Some(wider) = pace.step(SampleSpan::new(frames)) {
                hops = wider;
                changes.push((now as u64, hops));
            }
            now += waiting * cost / f64::from(hops);
        }
        (changes, longest)
    }

    #[test]
    fn a_computer_that_keeps_up_hears_every_hop() {
        assert_eq!(run(&mut Pace::default(), 0.1, 60.0).0, []);
        assert_eq!(run(&mut Pace::default(), 0.6, 60.0).0, []);
    }

    #[test]
    fn a_computer_that_is_too_slow_by_half_hears_every_second_hop_and_does_not_lag() {
        let mut pace = Pace::default();
        let (changes, longest) = run(&mut pace, 1.5, 9.0);
        assert_eq!(changes, [(changes[0].0, 2)]);
        assert!(changes[0].0 <= 2, "told within two seconds: {changes:?}");
        assert!(longest < 0.6, "no sound waits longer: {longest} s");
        assert!(run(&mut pace, 1.5, 1.0).1 < 0.1, "and then little at all");
    }

    #[test]
    fn where_two_hops_are_too_much_every_fourth_is_heard() {
        let (changes, longest) = run(&mut Pace::default(), 3.0, 9.0);
        assert_eq!(
            changes.last().map(|change| change.1),
            Some(4),
            "{changes:?}"
        );
        assert!(longest < 1.0, "{longest} s");
    }

    #[test]
    fn it_comes_back_once_there_is_time_again() {
        let mut pace = Pace::default();
        run(&mut pace, 3.0, 5.0);
        let (changes, _) = run(&mut pace, 0.2, 60.0);
        let hops: Vec<u32> = changes.iter().map(|change| change.1).collect();
        assert_eq!(hops, [2, 1]);
    }

    #[test]
    fn on_a_slow_computer_it_tries_ever_more_seldom_to_come_back() {
        let mut pace = Pace::default();
        let (changes, _) = run(&mut pace, 1.5, 600.0);
        let narrowed: Vec<u64> = changes
            .iter()
            .filter(|change| change.1 == 1)
            .map(|change| change.0)
            .collect();
        assert!((3..8).contains(&narrowed.len()), "{changes:?}");
        let pauses: Vec<u64> = narrowed.windows(2).map(|pair| pair[1] - pair[0]).collect();
        assert!(
            pauses.is_sorted() && pauses[0] < pauses[pauses.len() - 1],
            "{pauses:?}"
        );
    }

    #[test]
    fn one_long_sleep_is_no_falling_behind() {
        let mut pace = Pace::default();
        for _ in 0..3 {
            assert_eq!(pace.step(milliseconds(2000)), None);
            for _ in 0..100 {
                assert_eq!(pace.step(milliseconds(10)), None);
            }
        }
    }
}
