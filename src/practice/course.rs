//! A course: leads a player through the targets of an exercise, live.
//!
//! Input: targets, the listener's events, a tempo if there is one. Output: what is asked for now, marks as they are given.
//! Units: samples at the internal rate from the start of listening; seconds. Method: an attempt is marked as soon as its mark is plain
//! ([`mark_early`]), at the latest when it is over; a slip that a single key mends within a moment is marked once more. Without a tempo, right goes on to the next target, and
//! so does the third slip on one target ([`TRIES`]). With one, the first chord played is the first beat, and each attempt counts for the beat that it is nearest to.
//! Limits: what is heard while the course is deaf (its own tone) is nobody's attempt.

use super::attempts::{AFTER_MS, Attempt, AttemptFinder};
use super::mark::{Mark, MarkRules, Outcome, Remark, mark, mark_early};
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
    /// From the prompt, or the attempt before, to the first strike; `None` where a tempo sets the time.
    pub took: Option<Seconds>,
    /// From the first strike to the last.
    pub spread: SampleSpan,
    /// How long it was held as far as that is known.
    pub held: SampleSpan,
    /// True if it takes the place of the mark given before, of the same attempt.
    pub mends: bool,
}

/// An attempt that was marked.
#[derive(Debug, Clone, Copy)]
struct Marked {
    start: SamplePos,
    place: usize,
    took: Option<Seconds>,
    /// A single key may yet mend it.
    open: bool,
}

/// The state of a course.
#[derive(Debug, Clone)]
pub struct Course {
    targets: Vec<Target>,
    rules: MarkRules,
    finder: AttemptFinder,
    place: usize,
    /// From here the player's time is counted.
    prompted: SamplePos,
    tries: u32,
    /// Time to each target, where a tempo is set.
    beat: Option<SampleSpan>,
    /// The first beat.
    begun: Option<SamplePos>,
    marked: Option<Marked>,
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
            begun: None,
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

    /// The moment up to which all was heard.
    pub fn now(&self) -> SamplePos {
        self.finder.now()
    }

    /// Leaves the present target out.
    pub fn skip(&mut self) {
        if let (Some(beat), Some(begun)) = (self.beat, self.begun) {
            self.begun = Some(begun.earlier(beat));
        }
        self.go_on();
        self.prompted = self.finder.now();
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
            self.prompted = self.finder.now();
            return None;
        }
        let given = over.and_then(|attempt| self.weigh(&attempt, true));
        if given.is_some() || !matches!(event, Event::Frame(_)) {
            return given;
        }
        let lasting = self.finder.lasting();
        self.keep_time(lasting.as_ref());
        self.weigh(&lasting?, false)
    }

    /// Ends the sound.
    pub fn finish(&mut self) -> Option<Given> {
        let attempt = self.finder.finish()?;
        self.weigh(&attempt, true)
    }

    fn weigh(&mut self, attempt: &Attempt, over: bool) -> Option<Given> {
        // what is the program's own may be told of after it has ended
        if attempt.start < self.deaf_until {
            return None;
        }
        if let Some(marked) = self.marked
            && marked.start == attempt.start
        {
            return self.mend(marked, attempt);
        }
        let place = self.place_of(attempt)?;
        let target = self.targets.get(place)?;
        let complete = over || attempt.heard.len() == AFTER_MS.len();
        let mark = match mark_early(target, attempt, &self.rules) {
            Some(mark) => mark,
            None if complete => mark(target, attempt, &self.rules),
            None => return None,
        };
        Some(self.give(attempt, place, mark))
    }

    /// For which target an attempt counts.
    fn place_of(&self, attempt: &Attempt) -> Option<usize> {
        match (self.beat, self.begun) {
            (Some(beat), Some(begun)) => Some(beats_between(begun, attempt.start, beat)),
            _ => (attempt.start >= self.prompted + TOO_SOON).then_some(self.place),
        }
    }

    /// The mark of an attempt that was marked already, where a single key has mended it.
    fn mend(&mut self, marked: Marked, attempt: &Attempt) -> Option<Given> {
        if !marked.open || attempt.mended.is_none() {
            return None;
        }
        let target = self.targets.get(marked.place)?;
        let mark = mark(target, attempt, &self.rules);
        if mark.outcome != Outcome::Right {
            return None;
        }
        self.marked = Some(Marked {
            open: false,
            ..marked
        });
        if self.beat.is_none() && self.place == marked.place {
            self.go_on();
        }
        Some(self.given(attempt, marked.place, mark, marked.took, true))
    }

    fn give(&mut self, attempt: &Attempt, place: usize, mut mark: Mark) -> Given {
        let took = (attempt.start - self.prompted).seconds(SampleRate::INTERNAL);
        let took = self.beat.is_none().then_some(took);
        let corrects = self.marked.is_some_and(|last| {
            last.open
                && last.place == place
                && attempt.start - last.start < super::attempts::MENDS_WITHIN
        });
        let right = mark.outcome == Outcome::Right;
        if right && corrects {
            mark.remarks.insert(0, Remark::Corrected);
        }
        if let Some(took) = took {
            if hesitation(&self.times, took) {
                mark.hesitated(took);
            }
            if right {
                self.times.push(took.get());
            }
        }
        self.marked = Some(Marked {
            start: attempt.start,
            place,
            took,
            open: !right,
        });
        self.tries += u32::from(mark.outcome == Outcome::Slip);
        if self.beat.is_none() && (right || self.tries >= TRIES) {
            self.go_on();
        }
        // the time to the next runs from what was just played
        self.prompted = attempt.start;
        self.given(attempt, place, mark, took, false)
    }

    fn given(
        &self,
        attempt: &Attempt,
        place: usize,
        mark: Mark,
        took: Option<Seconds>,
        mends: bool,
    ) -> Given {
        Given {
            place,
            delay: (self.finder.now() - attempt.last_strike).seconds(SampleRate::INTERNAL),
            took,
            spread: attempt.spread(),
            held: attempt.held(),
            struck: attempt.start,
            mark,
            mends,
        }
    }

    fn go_on(&mut self) {
        self.place += 1;
        self.tries = 0;
    }

    /// Where a tempo is set, the first attempt is the first beat, and the target is that of the nearest beat.
    fn keep_time(&mut self, lasting: Option<&Attempt>) {
        let Some(beat) = self.beat else { return };
        if self.begun.is_none() {
            self.begun = lasting.map(|attempt| attempt.start);
        }
        if let Some(begun) = self.begun {
            self.place = beats_between(begun, self.finder.now(), beat);
        }
    }
}

/// Whole beats from one moment to another, to the nearest.
fn beats_between(from: SamplePos, to: SamplePos, beat: SampleSpan) -> usize {
    let beats = (to - from).get() as f64 / beat.get().max(1) as f64;
    beats.round() as usize
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

#[cfg(test)]
mod tests {
    use super::super::attempts::stage::{chord, events};
    use super::super::exercise::{Exercise, Material, Order};
    use super::super::target::KeyRange;
    use super::*;

    fn targets() -> Vec<Target> {
        let exercise = Exercise {
            material: Material::read(&["7".to_owned()]).unwrap(),
            form: None,
            order: Order::Fourths,
            start: None,
            range: KeyRange::PIANO,
        };
        exercise.round(0, &[]).unwrap()
    }

    /// The marks that are given, and the course afterwards.
    fn course(played: &[(u8, f64, f64)], beat: Option<f64>, deaf: f64) -> (Vec<Given>, Course) {
        let beat = beat.map(|beat| Seconds::new(beat).unwrap());
        let mut course = Course::new(targets(), MarkRules::default(), beat);
        course.deaf_until(Seconds::new(deaf).unwrap().frames(SampleRate::INTERNAL));
        let last = played.iter().map(|note| note.2).fold(0.0, f64::max);
        let mut given = Vec::new();
        for event in events(played, last + 1.5) {
            given.extend(course.hear(&event));
        }
        given.extend(course.finish());
        (given, course)
    }

    fn outcomes(given: &[Given]) -> Vec<(usize, Outcome)> {
        given
            .iter()
            .map(|one| (one.place, one.mark.outcome))
            .collect()
    }

    const C7: [u8; 4] = [48, 52, 55, 58];
    const F7: [u8; 4] = [53, 57, 60, 63];

    #[test]
    fn right_goes_on_and_a_slip_is_asked_for_again() {
        let wrong = [48, 52, 55, 59];
        let played = [
            chord(&wrong, 1.0, 2.0),
            chord(&C7, 4.5, 5.5),
            chord(&F7, 7.0, 8.0),
        ]
        .concat();
        let (given, course) = course(&played, None, 0.0);
        assert_eq!(
            outcomes(&given),
            [(0, Outcome::Slip), (0, Outcome::Right), (1, Outcome::Right)]
        );
        assert_eq!(course.place(), 2);
        assert!((given[2].took.unwrap().get() - 2.5).abs() < 0.01);
    }

    #[test]
    fn a_right_mark_is_given_within_half_a_second_of_the_last_strike() {
        let (given, _) = course(&chord(&C7, 1.0, 3.0), None, 0.0);
        assert!(given[0].delay.get() < 0.5, "{:?}", given[0].delay);
    }

    #[test]
    fn the_third_slip_goes_on() {
        let wrong = [48, 52, 55, 59];
        let played: Vec<_> = (0..3)
            .flat_map(|n| chord(&wrong, 1.0 + 3.0 * f64::from(n), 2.0 + 3.0 * f64::from(n)))
            .collect();
        let (given, course) = course(&played, None, 0.0);
        assert_eq!((given.len(), course.place()), (3, 1));
    }

    #[test]
    fn a_single_key_mends_a_slip_and_the_mark_is_given_anew() {
        let mut played = chord(&[48, 52, 58], 1.0, 4.0);
        played.push((55, 2.2, 4.0));
        let (given, course) = course(&played, None, 0.0);
        assert_eq!(outcomes(&given), [(0, Outcome::Slip), (0, Outcome::Right)]);
        assert!(given[1].mends && !given[0].mends);
        assert_eq!(given[1].mark.remarks, [Remark::Corrected]);
        assert_eq!(course.place(), 1);
    }

    #[test]
    fn a_tempo_goes_on_from_the_first_chord_whatever_is_played() {
        let wrong = [53, 57, 60, 64];
        let played = [
            chord(&C7, 3.0, 4.0),
            chord(&wrong, 5.1, 6.0),
            chord(&[58, 62, 65, 68], 6.9, 8.0),
        ]
        .concat();
        let (given, _) = course(&played, Some(2.0), 0.0);
        assert_eq!(
            outcomes(&given),
            [(0, Outcome::Right), (1, Outcome::Slip), (2, Outcome::Right)]
        );
        assert_eq!(given[1].took, None);
    }

    #[test]
    fn what_sounds_while_the_course_is_deaf_is_nobodys() {
        let played = [chord(&C7, 1.0, 2.5), chord(&C7, 4.5, 5.5)].concat();
        let (given, _) = course(&played, None, 3.4);
        assert_eq!(outcomes(&given), [(0, Outcome::Right)]);
        assert!(
            (given[0].took.unwrap().get() - 1.1).abs() < 0.05,
            "{:?}",
            given[0].took
        );
    }
}
