//! A course: leads a player through the targets of an exercise, live.
//!
//! Input: targets, the listener's events, a tempo if there is one. Output: what is asked for now, marks as they are given.
//! Units: samples at the internal rate from the start of listening; seconds. Method: an attempt is marked as soon as its mark is plain
//! ([`mark_early`]), at the latest when it is over. Right goes on to the next target; a slip or an unsure attempt stays until it is mended, until
//! it was missed [`TRIES`] times, or until the next prompt where a tempo is set. An attempt that began before its prompt counts for the one before.
//! Limits: what is heard while the course is told to be deaf (its own tone) is nobody's attempt.

use super::attempts::{Attempt, AttemptFinder};
use super::mark::{Mark, MarkRules, Outcome, mark, mark_early};
use super::target::Target;
use crate::listener::Event;
use crate::units::{SamplePos, SampleRate, SampleSpan, Seconds};

/// After so many slips on one target the course goes on.
pub const TRIES: u32 = 3;
/// Slower than this many times the player's median is a hesitation.
const HESITATES: f64 = 2.5;
/// And slower than this, in seconds, whatever the median.
const LEAST_HESITATION: f64 = 2.0;
/// Attempts from which a median is worth something.
const ENOUGH_FOR_A_MEDIAN: usize = 4;
/// So long after a prompt nothing can be the answer to it (120 ms): nobody reads and plays a chord so fast.
const TOO_SOON: SampleSpan = SampleSpan::new(SampleRate::INTERNAL.get() as u64 * 12 / 100);

/// A mark as it is given.
#[derive(Debug, Clone, PartialEq)]
pub struct Given {
    /// The place of its target in the round.
    pub place: usize,
    /// The mark.
    pub mark: Mark,
    /// When it was struck.
    pub struck: SamplePos,
    /// From the last strike to the moment at which the mark is given.
    pub delay: Seconds,
    /// From the prompt, or the attempt before, to the first strike.
    pub took: Option<Seconds>,
    /// From the first strike to the last.
    pub spread: Seconds,
    /// How long it was held as far as that is known.
    pub held: Seconds,
    /// True if the next target is asked for now.
    pub goes_on: bool,
}

/// The state of a course.
#[derive(Debug, Clone)]
pub struct Course {
    targets: Vec<Target>,
    rules: MarkRules,
    finder: AttemptFinder,
    place: usize,
    /// When the present target was asked for.
    prompted: SamplePos,
    tries: u32,
    /// Time to each target, where a tempo is set.
    beat: Option<SampleSpan>,
    /// The start of the attempt that is marked already.
    marked: Option<SamplePos>,
    /// Nothing that begins before this is the player's.
    deaf_until: SamplePos,
    /// Times taken for right attempts.
    times: Vec<f64>,
}

impl Course {
    /// A course through these targets; `beat` is the time for each, where there is a tempo.
    pub fn new(targets: Vec<Target>, rules: MarkRules, beat: Option<Seconds>) -> Self {
        Self {
            targets,
            rules,
            finder: AttemptFinder::new(),
            place: 0,
            prompted: SamplePos::START,
            tries: 0,
            beat: beat.map(|beat| beat.frames(SampleRate::INTERNAL).since_start()),
            marked: None,
            deaf_until: SamplePos::START,
            times: Vec::new(),
        }
    }

    /// What is asked for now; `None` at the end.
    pub fn target(&self) -> Option<&Target> {
        self.targets.get(self.place)
    }

    /// All targets.
    pub fn targets(&self) -> &[Target] {
        &self.targets
    }

    /// The place of the present target.
    pub fn place(&self) -> usize {
        self.place
    }

    /// How long the present target has been asked for.
    pub fn waited(&self) -> Seconds {
        (self.finder.now() - self.prompted).seconds(SampleRate::INTERNAL)
    }

    /// The moment up to which all was heard.
    pub fn now(&self) -> SamplePos {
        self.finder.now()
    }

    /// Asks for the present target anew from now on: after a pause.
    pub fn prompt(&mut self) {
        self.prompted = self.finder.now();
    }

    /// Leaves the present target out.
    pub fn skip(&mut self) {
        self.place += 1;
        self.tries = 0;
        self.prompt();
    }

    /// Until `until` all that sounds is the program's own, and nobody's attempt.
    pub fn deaf_until(&mut self, until: SamplePos) {
        self.deaf_until = self.deaf_until.max(until);
        self.finder.forget();
    }

    /// Takes what the listener tells; gives a mark where one can be given.
    pub fn hear(&mut self, event: &Event) -> Option<Given> {
        let over = self.finder.hear(event);
        if self.finder.now() < self.deaf_until {
            self.finder.forget();
            self.prompt();
            return None;
        }
        if let Some(attempt) = over {
            let given = self.weigh(&attempt, true);
            if given.is_some() {
                return given;
            }
        }
        let given = matches!(event, Event::Frame(_))
            .then(|| self.finder.lasting())
            .flatten()
            .and_then(|attempt| self.weigh(&attempt, false));
        if given.is_none() {
            self.keep_time();
        }
        given
    }

    /// Ends the sound.
    pub fn finish(&mut self) -> Option<Given> {
        let attempt = self.finder.finish()?;
        self.weigh(&attempt, true)
    }

    fn weigh(&mut self, attempt: &Attempt, over: bool) -> Option<Given> {
        let known = self.marked == Some(attempt.start);
        if known || attempt.start < self.prompted + TOO_SOON {
            return None;
        }
        let target = self.targets.get(self.place)?;
        // a slip may be mended by a single key: it is told once the moment for that is over, or the chord is
        let early = mark_early(target, attempt, &self.rules);
        let mark = match early {
            Some(mark) => mark,
            None if over || attempt.heard.len() == super::attempts::AFTER_MS.len() => {
                mark(target, attempt, &self.rules)
            }
            None => return None,
        };
        self.marked = Some(attempt.start);
        Some(self.give(attempt, mark))
    }

    fn give(&mut self, attempt: &Attempt, mut mark: Mark) -> Given {
        let took = (attempt.start - self.prompted).seconds(SampleRate::INTERNAL);
        if self.hesitates(took) {
            mark.hesitated(took);
        }
        let right = mark.outcome == Outcome::Right;
        if right {
            self.times.push(took.get());
        }
        self.tries += u32::from(mark.outcome == Outcome::Slip);
        let goes_on = self.beat.is_none() && (right || self.tries >= TRIES);
        let place = self.place;
        if goes_on {
            self.place += 1;
            self.tries = 0;
        }
        // the time to the next runs from what was just played
        self.prompted = attempt.start;
        let seconds = |span: SampleSpan| span.seconds(SampleRate::INTERNAL);
        Given {
            place,
            delay: seconds(self.finder.now() - attempt.last_strike),
            took: Some(took),
            spread: seconds(attempt.spread()),
            held: seconds(attempt.held()),
            struck: attempt.start,
            mark,
            goes_on,
        }
    }

    fn hesitates(&self, took: Seconds) -> bool {
        hesitation(&self.times, took)
    }

    /// Where a tempo is set, the next target comes when its time is there.
    fn keep_time(&mut self) {
        if let Some(beat) = self.beat
            && self.place < self.targets.len()
            && self.finder.now() >= self.prompted + beat
        {
            self.place += 1;
            self.tries = 0;
            self.prompt();
        }
    }
}

/// True if an attempt took far longer than the player's others did.
pub fn hesitation(times: &[f64], took: Seconds) -> bool {
    median(times)
        .filter(|_| times.len() >= ENOUGH_FOR_A_MEDIAN)
        .is_some_and(|median| took.get() > LEAST_HESITATION && took.get() > HESITATES * median)
}

/// The median of these numbers; `None` of none.
pub fn median(numbers: &[f64]) -> Option<f64> {
    let mut sorted = numbers.to_vec();
    sorted.sort_by(f64::total_cmp);
    let middle = sorted.len() / 2;
    match sorted.len() {
        0 => None,
        odd if odd % 2 == 1 => Some(sorted[middle]),
        _ => Some(0.5 * (sorted[middle - 1] + sorted[middle])),
    }
}
