//! `lidprop drill` live: asks, listens, marks.
//!
//! Input: a sound input; on a terminal keys of the computer, which are never needed. Output: a screen, or lines with `--plain` and in pipes.
//! Units: seconds. Method: the listening thread ([`crate::session::live`]) tells, [`Leader`] marks and keeps, this file shows.
//! Limits: one input.

use super::DrillArgs;
use super::kept::{Keeper, Sitting};
use super::leader::{Leader, Shown, Tone};
use super::screen;
use crate::cli::error::{CliError, CommandResult, tell};
use crate::cli::hear::stop_on_signals;
use crate::cli::remedies::{InCommand, sentence};
use crate::practice::{Course, Exercise, MarkRules, Outcome, Target};
use crate::session::live::{Listening, ListeningError, ListeningOptions, News};
use crate::session::pace::pace_sentence;
use crate::units::Seconds;
use crate::view::drill::{
    CARE, Showing, count_words, hint_words, key_names, mark_words, prompt_words, sign,
};
use crate::view::ink::{Ink, draws_screens};
use std::io::{self, Write};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::RecvTimeoutError;
use std::time::{Duration, Instant};

/// How often the end is looked for while nothing is heard.
const PATIENCE: Duration = Duration::from_millis(50);

/// Who listens gets one more hint whenever so much time has gone without finding the chord.
const HINT_AFTER: Duration = Duration::from_secs(12);

/// One exercise to go through now.
#[derive(Debug, Clone)]
pub struct Task {
    /// What.
    pub exercise: Exercise,
    /// Its targets, all rounds.
    pub targets: Vec<Target>,
    /// Beats a minute.
    pub tempo: Option<f64>,
    /// By ear.
    pub listen: bool,
}

/// Goes through the tasks one after another.
///
/// # Errors
/// If the input, the output or the logbook cannot be used.
pub fn run(args: &DrillArgs, tasks: &[Task]) -> CommandResult {
    let stop = stop_on_signals().map_err(|error| {
        CliError::failed(format!(
            "Ctrl-C would not be noticed ({error}); start lidprop from an ordinary terminal"
        ))
    })?;
    let end = End {
        stop,
        at: args
            .seconds
            .map(|seconds| Instant::now() + Duration::from_secs(seconds)),
    };
    let plain = args.plain || !draws_screens();
    for task in tasks {
        if end.is_there() {
            break;
        }
        let leader = leader(args, task)?;
        let options = ListeningOptions {
            device: args.device.clone(),
            listening: args.piano.listening()?,
        };
        let showing = args.show.unwrap_or(if task.listen {
            Showing::Hidden
        } else {
            Showing::Symbol
        });
        if plain {
            lines(
                &Listening::start(options)?,
                leader,
                task,
                showing,
                args,
                &end,
            )?;
        } else {
            let start = || Listening::start(options);
            screen::run(start, leader, task, showing, args, &end)?;
        }
    }
    Ok(())
}

/// When to end.
#[derive(Debug, Clone)]
pub struct End {
    stop: Arc<AtomicBool>,
    at: Option<Instant>,
}

impl End {
    /// True once it is time.
    pub fn is_there(&self) -> bool {
        self.stop.load(Ordering::Relaxed) || self.at.is_some_and(|at| Instant::now() >= at)
    }

    /// Ends.
    pub fn now(&self) {
        self.stop.store(true, Ordering::Relaxed);
    }
}

fn leader(args: &DrillArgs, task: &Task) -> Result<Leader, CliError> {
    let beat = task.tempo.and_then(|tempo| Seconds::new(60.0 / tempo).ok());
    let course = Course::new(task.targets.clone(), MarkRules::default(), beat);
    let keeper = (!args.unlogged)
        .then(|| {
            Keeper::open(Sitting {
                player: args.player().to_owned(),
                exercise: task.exercise.title(),
                tempo: task.tempo,
                piano: args.piano.piano.clone(),
                source: "live".to_owned(),
            })
        })
        .transpose()?;
    let tone = if task.listen {
        Some(Tone::open(args.loudspeaker.level())?)
    } else {
        None
    };
    Ok(Leader::new(course, keeper, tone))
}

/// A line a prompt and a line a mark.
fn lines(
    listening: &Listening,
    mut leader: Leader,
    task: &Task,
    showing: Showing,
    args: &DrillArgs,
    end: &End,
) -> CommandResult {
    let mut out = io::stdout();
    let (ink, style) = Ink::for_style(args.style);
    let mut say = |line: &str| -> CommandResult {
        writeln!(out, "{}", ink.signs(line.to_owned()))
            .and_then(|()| out.flush())
            .map_err(CliError::from_stdout)
    };
    say(&format!("{}. {CARE}", task.exercise.title()))?;
    if let Some(tempo) = task.tempo {
        say(&format!(
            "tempo {tempo} beats per minute, one chord per beat; it is not sounded"
        ))?;
    }
    let mut prompted = None;
    let mut opened = false;
    let (mut hints, mut hinted) = (0, Instant::now());
    while !end.is_there() {
        if opened && prompted != Some(leader.course().place()) {
            let place = leader.course().place();
            let Some(target) = leader.course().target() else {
                break;
            };
            let of = leader.course().targets().len();
            say(&format!(
                "{} of {of}: {}",
                place + 1,
                prompt_words(target, showing, style)
            ))?;
            prompted = Some(place);
            (hints, hinted) = (0, Instant::now());
            leader.play(false)?;
        }
        if let Some(target) = leader.course().target()
            && leader.is_by_ear()
            && hinted.elapsed() > HINT_AFTER
        {
            (hints, hinted) = (hints + 1, Instant::now());
            say(&format!("hint: {}", hint_words(target, hints, style)))?;
        }
        let news = match listening.news.recv_timeout(PATIENCE) {
            Ok(news) => news,
            Err(RecvTimeoutError::Timeout) => continue,
            Err(RecvTimeoutError::Disconnected) => return Err(ListeningError::Fault.into()),
        };
        match news {
            News::Input(name) => {
                opened = true;
                tell(&format!("listening to {name}; Ctrl-C ends"));
            }
            News::Trouble(sentence) | News::Fault(sentence) => tell(&sentence),
            News::Pace(hops) => tell(&pace_sentence(hops)),
            News::Heard(events) => {
                for shown in leader.hear(&events)? {
                    say(&mark_line(&shown))?;
                }
                listening.give_back(events);
                if leader.wants_rest() {
                    say(CARE)?;
                }
            }
            News::Meter(_) | News::Kept(_) => {}
        }
    }
    if let Some(shown) = leader.finish()? {
        say(&mark_line(&shown))?;
    }
    say(&count_words(leader.marked()))
}

/// `+ right Cdim(maj7): C4 Eb4 Gb4 B4; 1.4 s`
fn mark_line(shown: &Shown) -> String {
    let mark = &shown.given.mark;
    let target = &shown.target;
    let mut words = vec![key_names(target, mark.played())];
    words.push(mark_words(target, mark));
    if let (Outcome::Right, Some(took)) = (mark.outcome, shown.given.took) {
        words.push(format!("{:.1} s", took.get()));
    }
    words.retain(|word| !word.is_empty());
    let symbol = target.chord.symbol(crate::harmony::Style::Ascii);
    format!(
        "{} {} {symbol}: {}",
        sign(mark.outcome),
        mark.outcome.word(),
        words.join("; ")
    )
}

/// What to say where the tone cannot be played.
pub fn tone_failed(error: &crate::audio::AudioError) -> String {
    sentence(error, InCommand::Drill)
}
