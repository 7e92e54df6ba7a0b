//! Leads through a drill: the course, the logbook and the tone in one, whoever shows it.
//!
//! Input: the listener's events, what the player asks for. Output: what to show: [`Shown`] marks, the present target. Units: seconds.
//! Method: a right mark is kept before it is shown; a slip once it can no longer be mended, at the latest after three seconds or with the next mark. While a tone of our own sounds, and
//! until its echo is gone, the course is deaf. Limits: one drill at a time.

use super::kept::Keeper;
use crate::audio::AudioError;
use crate::audio::playback::{Output, Playing};
use crate::cli::clock::Moment;
use crate::cli::error::CliError;
use crate::listener::Event;
use crate::practice::course::Given;
use crate::practice::{Course, Mark, Outcome, Target};
use crate::tone;
use crate::units::{Dbfs, SampleRate, SampleSpan, Seconds};

/// How long a chord of our own sounds, in seconds.
const TONE: f64 = 1.8;
/// From the end of a tone until its echo in the room, and what the sound system still holds, are gone.
const ECHO: f64 = 0.9;
/// After so long nothing mends a slip any more: three seconds.
const SETTLED: SampleSpan = SampleSpan::new(3 * SampleRate::INTERNAL.get() as u64);
/// A rest is proposed after so many minutes, and again.
const REST_MINUTES: u64 = 20;

/// A mark on its way to the player.
#[derive(Debug, Clone)]
pub struct Shown {
    /// What was asked for.
    pub target: Target,
    /// What came of it.
    pub given: Given,
}

/// The tone, where there is one.
pub struct Tone {
    output: Output,
    level: Dbfs,
    playing: Option<Playing>,
}

impl Tone {
    /// Opens the default output.
    ///
    /// # Errors
    /// If there is none that can be used.
    pub fn open(level: Dbfs) -> Result<Self, AudioError> {
        Ok(Self {
            output: Output::open()?,
            level,
            playing: None,
        })
    }
}

/// A drill that runs.
pub struct Leader {
    course: Course,
    keeper: Option<Keeper>,
    tone: Option<Tone>,
    /// The outcome of the last attempt at each target.
    outcomes: Vec<Option<Outcome>>,
    last: Option<Shown>,
    /// A slip or an unsure attempt that a single key may yet mend: kept once it cannot.
    unkept: Option<Shown>,
    rests: u64,
    /// The present target was played to the player already.
    played: Option<usize>,
    marked: [usize; 3],
}

impl Leader {
    /// Nothing played yet.
    pub fn new(course: Course, keeper: Option<Keeper>, tone: Option<Tone>) -> Self {
        Self {
            outcomes: vec![None; course.targets().len()],
            course,
            keeper,
            tone,
            last: None,
            unkept: None,
            rests: 0,
            played: None,
            marked: [0; 3],
        }
    }

    /// The course.
    pub fn course(&self) -> &Course {
        &self.course
    }

    /// The outcome of the last attempt at each target of the round.
    pub fn outcomes(&self) -> &[Option<Outcome>] {
        &self.outcomes
    }

    /// The last mark.
    pub fn last(&self) -> Option<&Shown> {
        self.last.as_ref()
    }

    /// True if chords are played to the player.
    pub fn is_by_ear(&self) -> bool {
        self.tone.is_some()
    }

    /// Right ones, slips, unsure ones.
    pub fn marked(&self) -> [usize; 3] {
        self.marked
    }

    /// Leaves the present target out.
    pub fn skip(&mut self) {
        self.course.skip();
    }

    /// Takes what the listener tells; gives the marks that can be given, each kept already.
    ///
    /// # Errors
    /// If the logbook cannot be written.
    pub fn hear(&mut self, events: &[Event]) -> Result<Vec<Shown>, CliError> {
        let mut shown = Vec::new();
        for event in events {
            if let Some(given) = self.course.hear(event) {
                shown.push(self.take(given)?);
            }
        }
        let now = self.course.now();
        if self
            .unkept
            .as_ref()
            .is_some_and(|waits| now > waits.given.struck + SETTLED)
        {
            self.flush()?;
        }
        Ok(shown)
    }

    /// Ends the sound: marks what still lasts.
    ///
    /// # Errors
    /// If the logbook cannot be written.
    pub fn finish(&mut self) -> Result<Option<Shown>, CliError> {
        let given = self.course.finish();
        let last = given.map(|given| self.take(given)).transpose()?;
        self.flush()?;
        Ok(last)
    }

    fn take(&mut self, given: Given) -> Result<Shown, CliError> {
        let target = self.course.targets()[given.place].clone();
        let shown = Shown { target, given };
        if shown.given.mends {
            // the slip that it mends was not kept yet: it counts as found
            self.unkept = None;
        }
        self.flush()?;
        if let Some(outcome) = self.outcomes.get_mut(shown.given.place) {
            *outcome = Some(shown.given.mark.outcome);
        }
        self.last = Some(shown.clone());
        if shown.given.mark.outcome == Outcome::Right {
            self.keep(&shown)?;
        } else {
            self.unkept = Some(shown.clone());
        }
        Ok(shown)
    }

    /// Keeps the mark that waits for being mended.
    fn flush(&mut self) -> Result<(), CliError> {
        match self.unkept.take() {
            Some(shown) => self.keep(&shown),
            None => Ok(()),
        }
    }

    fn keep(&mut self, shown: &Shown) -> Result<(), CliError> {
        let Given {
            mark,
            struck,
            took,
            spread,
            held,
            ..
        } = &shown.given;
        self.count(mark);
        let Some(keeper) = &mut self.keeper else {
            return Ok(());
        };
        let ago = (self.course.now() - *struck).seconds(SampleRate::INTERNAL);
        let moment = Moment::now().earlier(ago.get());
        keeper.keep(moment, &shown.target, mark, *took, *spread, *held)
    }

    fn count(&mut self, mark: &Mark) {
        let place = Outcome::ALL
            .iter()
            .position(|&outcome| outcome == mark.outcome);
        if let Some(place) = place {
            self.marked[place] += 1;
        }
    }

    /// Plays the present target to the player, where it was not played yet, or `again`; the course is deaf meanwhile.
    ///
    /// # Errors
    /// If the output fails.
    pub fn play(&mut self, again: bool) -> Result<(), AudioError> {
        let place = self.course.place();
        let (Some(tone), Some(target)) = (&mut self.tone, self.course.target()) else {
            return Ok(());
        };
        if self.played == Some(place) && !again {
            return Ok(());
        }
        self.played = Some(place);
        let held = Seconds::new(TONE).unwrap_or_default();
        let samples = tone::chord(&target.example(), held, tone.output.rate(), tone.level);
        let sounds = samples.len() as f64 / f64::from(tone.output.rate().get());
        tone.playing = Some(tone.output.play(samples.into())?);
        let deaf = Seconds::new(sounds + ECHO).unwrap_or_default();
        let deaf_until = self.course.now() + deaf.frames(SampleRate::INTERNAL).since_start();
        self.course.deaf_until(deaf_until);
        Ok(())
    }

    /// True while a tone of our own sounds.
    pub fn is_playing(&self) -> bool {
        let playing = self.tone.as_ref().and_then(|tone| tone.playing.as_ref());
        playing.is_some_and(|playing| !playing.is_over())
    }

    /// True once each time when a rest is due.
    pub fn wants_rest(&mut self) -> bool {
        let minutes = self.course.now().get() / (60 * u64::from(SampleRate::INTERNAL.get()));
        let due = minutes / REST_MINUTES;
        let new = due > self.rests;
        self.rests = due;
        new
    }
}
