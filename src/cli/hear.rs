//! `lidprop hear`: listens and names the chords as they are played.
//!
//! Input: a sound input. Output: the live screen on a terminal; a line a chord elsewhere; JSON lines on request.
//! Units: times from the start of listening. Method: a listening thread ([`crate::session::live`]) tells, this one shows.
//! Limits: one input at a time.

use super::options::{NamingOptions, PianoOptions};
use crate::answer::answers::{follow_harmony, stated};
use crate::answer::{Answers, Settled, StandInsNow};
use crate::chart::document::{HarmonyStretch, HeardChord, HeardNote};
use crate::chart::entries::heard_note;
use crate::chart::passages::Newest;
use crate::chart::performance::harmony_stretch;
use crate::chart::recording::{Heard, Wording};
use crate::cli::error::tell;
use crate::cli::terminal::screen::{self, Screen};
use crate::cli::{CliError, CommandResult};
use crate::harmony::{InPlace, Naming, Style};
use crate::listener::{ChordNote, Event};
use crate::playing::Stretch;
use crate::playing::so_far::{HarmonySoFar, Told};
use crate::publish::{FORMATS, Format, WriteOptions, write_json_line};
use crate::session::contained::contained;
use crate::session::live::{
    Keep, Listening, ListeningError, ListeningOptions, News, naming_failed,
};
use crate::session::pace::{hop_length, loss_sentence, pace_sentence};
use crate::session::sitting::Sitting;
use crate::store::file::write_whole;
use crate::units::SamplePos;
use crate::view::chart::print_chart;
use crate::view::ink::{Ink, draws_screens};
use crate::view::lines::{chord_line, harmony_line, stand_ins_words};
use crate::view::live::Shapes;
use crate::view::played::print_played;
use clap::{Args, ValueEnum};
use serde::Serialize;
use std::cell::OnceCell;
use std::io::{self, Write};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::RecvTimeoutError;
use std::time::{Duration, Instant};

/// How often the end is looked for while nothing is heard.
const PATIENCE: Duration = Duration::from_millis(50);

/// What draws no screen: the options of the screen mean nothing beside it.
const WITHOUT_A_SCREEN: [&str; 2] = ["plain", "write"];

/// Listens to the piano and shows what is played as it is played
#[derive(Debug, Args)]
#[command(after_long_help = "\
On a terminal a screen is drawn; on leaving it the chart of all that was played is printed. Elsewhere, and with --plain, each chord is \
one line; where you play on instead of holding chords, each harmony is one as well, three seconds after it is over.
Keys: m marks the chord on the screen, w then types a word to the mark; k keeps the last minute; p pauses the screen; g guesses first, \
space shows the answer; l small or large name; s style of symbols; left, right, up, down and 0 the key; ? lists them; q quits.
Nothing is stored unless you ask: k writes the last minute as WAV with its JSON beside it, --chart FILE the chart of all, both with your marks.
Ask before you keep what others play or say, and mind your ears: keep monitors low, or use none at all.")]
pub struct HearArgs {
    /// The input to listen to, or a part of its name; without it, the system's default
    #[arg(long, value_name = "NAME")]
    pub device: Option<String>,

    /// Print one line per chord instead of drawing a screen
    #[arg(long)]
    pub plain: bool,

    /// Stream this instead: each note and each chord as soon as it has ended
    #[arg(long, value_name = "FORMAT", conflicts_with = "plain")]
    pub write: Option<StreamFormat>,

    /// Which piano it is.
    #[command(flatten)]
    pub piano: PianoOptions,

    /// Draw the screen from ASCII alone, for terminals that show boxes in the place of blocks; where the locale or the terminal
    /// says so, this goes without asking
    #[arg(long, conflicts_with_all = WITHOUT_A_SCREEN)]
    pub ascii: bool,

    /// Draw the chord symbol in small letters from the start
    #[arg(long, conflicts_with_all = WITHOUT_A_SCREEN)]
    pub small: bool,

    /// Hide each answer until it is asked for with the space bar
    #[arg(long, conflicts_with_all = WITHOUT_A_SCREEN)]
    pub guess_first: bool,

    /// Also show three chords that could stand in for the one just played
    #[arg(long, conflicts_with = "write")]
    pub standins: bool,

    /// On leaving, write the chart of all that was played, with marks and times: text, or by the ending of FILE another format, say .html or .json
    #[arg(long, value_name = "FILE", value_parser = ChartFile::read)]
    pub chart: Option<ChartFile>,

    /// Where the last minute is written when it is kept
    #[arg(long, value_name = "DIR", default_value = ".", conflicts_with_all = WITHOUT_A_SCREEN)]
    pub into: PathBuf,

    /// End after this many seconds
    #[arg(long = "for", value_name = "SECONDS", value_parser = clap::value_parser!(u64).range(1..))]
    pub seconds: Option<u64>,

    /// How chords are named.
    #[command(flatten)]
    pub naming: NamingOptions,
}

/// A format that can be streamed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum StreamFormat {
    /// One JSON value per line: {"note": ...} and {"chord": ...} once they have ended, as in the document of `take`; {"harmony": ...} where music is
    /// played and chords are not held, once it has been over for three seconds and the next one stands; {"pace": {"hop": SECONDS}} where
    /// listening falls behind and hears notes less often, or keeps up again
    Json,
}

/// Runs the command.
///
/// # Errors
/// If there is no such input, it cannot be opened, or nothing can be written to standard output.
pub fn run(args: &HearArgs) -> CommandResult {
    let stop = stop_on_signals().map_err(|error| {
        CliError::failed(format!(
            "Ctrl-C would not be noticed ({error}); start lidprop from an ordinary terminal"
        ))
    })?;
    let options = ListeningOptions {
        device: args.device.clone(),
        listening: args.piano.listening()?,
    };
    let naming = args.naming.wording();
    let mut sitting = Sitting::new(&options.listening, naming);
    let begun = OnceCell::new();
    let start = || {
        let listening = Listening::start(options)?;
        begun.get_or_init(Instant::now);
        Ok(listening)
    };
    let length = args.seconds.map(Duration::from_secs);
    let ended = || {
        let heard_for = begun.get().map(Instant::elapsed);
        stop.load(Ordering::Relaxed)
            || length.is_some_and(|length| heard_for.is_some_and(|heard| heard >= length))
    };
    if let Some(chart) = &args.chart {
        chart.can_be_written()?;
    }
    let on_screen = args.write.is_none() && !args.plain && draws_screens();
    let keeps = on_screen || args.chart.is_some();
    let mut sit = |news: &News| {
        if keeps {
            sitting.follow(news);
        }
    };
    let mut out = io::stdout();
    let heard = if args.write.is_some() {
        let mut lines = JsonLines::new(args.naming.wording());
        let heard = follow(start()?, ended, &mut sit, |news| match news {
            News::Heard(events) => events
                .iter()
                .try_for_each(|event| lines.tell(event, &mut out)),
            News::Pace(hops) => write_json_line(&Line::pace(*hops), &mut out),
            _ => Ok(()),
        });
        heard.and_then(|()| lines.end(&mut out).map_err(CliError::from_stdout))
    } else if !on_screen {
        let (ink, style) = Ink::for_style(args.naming.style);
        let mut lines = PlainLines {
            answers: Answers::new(args.naming.wording().analysis),
            settled: Settled::default(),
            harmony: Told::default(),
            ink,
            style,
            stand_ins: args.standins.then(StandInsNow::default),
        };
        let heard = follow(start()?, ended, &mut sit, |news| match news {
            News::Heard(events) => lines.tell(events, &mut out),
            _ => Ok(()),
        });
        heard.and_then(|()| lines.end(&mut out).map_err(CliError::from_stdout))
    } else {
        let shapes = if args.ascii {
            Shapes::ASCII
        } else {
            Shapes::of_environment()
        };
        let style = match shapes == Shapes::ASCII {
            true => Style::Ascii,
            false => naming.style,
        };
        let naming = Wording { style, ..naming };
        let screen = Screen {
            naming,
            shapes,
            large: !args.small,
            guess_first: args.guess_first,
            stand_ins: args.standins,
            keep: Keep {
                naming: args.naming.wording(),
                marks: Vec::new(),
                into: args.into.clone(),
            },
        };
        screen::run(start, &screen, ended, &mut sitting)
    };
    let told = if keeps {
        let ink = Ink::of_stdout().or_ascii(args.ascii || args.naming.style == Style::Ascii);
        tell_sitting(sitting, args.chart.as_ref(), on_screen.then_some(ink))
    } else {
        Ok(())
    };
    heard.and(told)
}

/// Writes the chart of all that was played where that is asked for; else prints it after a screen.
fn tell_sitting(
    sitting: Sitting,
    chart: Option<&ChartFile>,
    on_screen: Option<Ink>,
) -> CommandResult {
    let mut heard = sitting.end();
    let written = match chart {
        Some(chart) => match contained(|| chart.write(&heard)) {
            Ok(written) => written,
            Err(fault) => Err(CliError::failed(naming_failed(&fault))),
        },
        None => Ok(()),
    };
    let print = !heard.chords.is_empty() && (chart.is_none() || written.is_err());
    if let Some(ink) = on_screen.filter(|_| print) {
        heard.naming.style = ink.style(heard.naming.style);
        let printed = contained(|| {
            let out = &mut io::stdout().lock();
            match heard.performance() {
                Some(played) => print_played(&heard, &played, ink, out),
                None => print_chart(&heard, ink, out),
            }
        });
        match printed {
            Ok(printed) => printed.map_err(CliError::from_stdout)?,
            Err(fault) => tell(&naming_failed(&fault)),
        }
    }
    written
}

/// A file for the chart of all that was played, in the format of its ending.
#[derive(Debug, Clone)]
pub struct ChartFile {
    path: PathBuf,
    format: &'static Format<Heard>,
}

impl ChartFile {
    fn read(path: &str) -> Result<Self, String> {
        let path = PathBuf::from(path);
        let ending = path.extension().map_or("txt".into(), |ending| {
            ending.to_string_lossy().to_lowercase()
        });
        let format = FORMATS.iter().find(|format| format.extension == ending);
        let format = format.ok_or_else(|| {
            let known: Vec<String> = FORMATS
                .iter()
                .map(|format| format!(".{}", format.extension))
                .collect();
            format!(
                "no format ends in .{ending}; end the name in one of {}",
                known.join(", ")
            )
        })?;
        Ok(Self { path, format })
    }

    /// Found out before anything is played, not after.
    fn can_be_written(&self) -> Result<(), CliError> {
        if self.path.is_dir() {
            return Err(CliError::failed(format!(
                "{}: this is a folder; give --chart the name of a file in it",
                self.path.display()
            )));
        }
        if let Some(folder) = self.path.parent().filter(|f| !f.as_os_str().is_empty())
            && !folder.is_dir()
        {
            return Err(CliError::failed(format!(
                "{}: there is no folder {}; make it first, or give --chart another file",
                self.path.display(),
                folder.display()
            )));
        }
        if self.path.exists() {
            return Err(CliError::failed(format!(
                "{}: there is such a file already; give --chart a new name, so that nothing is lost",
                self.path.display()
            )));
        }
        Ok(())
    }

    fn write(&self, heard: &Heard) -> CommandResult {
        let options = WriteOptions::default();
        write_whole(&self.path, |out| (self.format.write)(heard, &options, out))
            .map_err(CliError::failed)?;
        tell(&format!("the chart is in {}", self.path.display()));
        Ok(())
    }
}

/// Set by SIGINT, SIGTERM and SIGHUP.
pub(super) fn stop_on_signals() -> io::Result<Arc<AtomicBool>> {
    use signal_hook::consts::{SIGINT, SIGTERM};
    let stop = Arc::new(AtomicBool::new(false));
    let mut signals = vec![SIGINT, SIGTERM];
    #[cfg(unix)]
    signals.push(signal_hook::consts::SIGHUP);
    for signal in signals {
        signal_hook::flag::register(signal, stop.clone())?;
    }
    Ok(stop)
}

/// Hands on news until the end; what is no music goes to standard error as well.
fn follow(
    mut listening: Listening,
    ended: impl Fn() -> bool,
    sit: &mut dyn FnMut(&News),
    mut hand_on: impl FnMut(&News) -> io::Result<()>,
) -> CommandResult {
    let mut told = 0;
    while !ended() {
        let news = match listening.news.recv_timeout(PATIENCE) {
            Ok(news) => news,
            Err(RecvTimeoutError::Timeout) => continue,
            Err(RecvTimeoutError::Disconnected) => return Err(ListeningError::Fault.into()),
        };
        match &news {
            News::Input(name) => tell(&format!("listening to {name}; Ctrl-C ends")),
            News::Trouble(sentence) | News::Fault(sentence) => tell(sentence),
            News::Pace(hops) => tell(&pace_sentence(*hops)),
            News::Meter(meter) => {
                loss_sentence(meter.dropped, &mut told)
                    .iter()
                    .for_each(|loss| tell(loss));
            }
            News::Heard(_) | News::Kept(_) => {}
        }
        sit(&news);
        match contained(|| hand_on(&news)) {
            Ok(handed_on) => handed_on.map_err(CliError::from_stdout)?,
            Err(fault) => tell(&naming_failed(&fault)),
        }
        if let News::Heard(events) = news {
            listening.give_back(events);
        }
    }
    listening.end();
    listening.news.try_iter().for_each(|news| sit(&news));
    Ok(())
}

/// A line a chord, as soon as its answer has settled, or when it ends where it never did; and where music is played and chords are not held,
/// a line for each harmony once it has settled.
struct PlainLines {
    answers: Answers,
    settled: Settled,
    harmony: Told,
    ink: Ink,
    /// House style of the symbols.
    style: Style,
    /// Where stand-ins are asked for.
    stand_ins: Option<StandInsNow>,
}

impl PlainLines {
    fn tell(&mut self, events: &[Event], out: &mut impl Write) -> io::Result<()> {
        for event in events {
            let ended = self.answers.hear(event);
            self.tell_settled(out)?;
            if let (Some((place, naming)), Event::Chord(span)) = (ended, event) {
                if self.settled.was_missed(span.start) {
                    self.tell_chord(span.start, &span.notes, (Some(&place), &naming), out)?;
                }
                if let Some(stand_ins) = &mut self.stand_ins {
                    stand_ins.ended(&naming);
                }
            }
        }
        self.answers.catch_up();
        self.tell_settled(out)?;
        self.tell_harmony(out)
    }

    fn tell_settled(&mut self, out: &mut impl Write) -> io::Result<()> {
        match self.settled.newly(&self.answers) {
            Some(answer) => {
                let named = (answer.place.as_ref(), &answer.naming);
                self.tell_chord(answer.start, &answer.notes, named, out)
            }
            None => Ok(()),
        }
    }

    fn tell_harmony(&mut self, out: &mut impl Write) -> io::Result<()> {
        for stretch in self.harmony.newly_settled(self.answers.harmony()) {
            let line = harmony_line(&stretch, self.style);
            writeln!(out, "{}", self.ink.signs(line))?;
            out.flush()?;
        }
        Ok(())
    }

    /// Nothing more is heard.
    fn end(&mut self, out: &mut impl Write) -> io::Result<()> {
        self.answers.end();
        self.tell_harmony(out)
    }

    fn tell_chord(
        &self,
        start: SamplePos,
        notes: &[ChordNote],
        (place, naming): (Option<&InPlace>, &Naming),
        out: &mut impl Write,
    ) -> io::Result<()> {
        let line = chord_line(start, notes, naming, place, self.style);
        write!(out, "{}", self.ink.signs(line))?;
        if let Some(stand_ins) = &self.stand_ins {
            let found = stand_ins.of_naming(naming, self.answers.options());
            let words = stand_ins_words(&found, self.style);
            let gap = if words.is_empty() { "" } else { "  " };
            write!(out, "{gap}{words}")?;
        }
        writeln!(out)?;
        out.flush()
    }
}

/// Each note and each chord that has ended, and each harmony of what is played, once it has settled and so has the next.
struct JsonLines {
    newest: Newest,
    harmony: HarmonySoFar,
    told: Told,
    style: Style,
}

#[derive(Serialize)]
#[serde(rename_all = "lowercase")]
enum Line {
    Note(HeardNote),
    Chord(Box<HeardChord>),
    Harmony(Box<HarmonyStretch>),
    Pace {
        /// Time between two hearings of notes, in seconds.
        hop: f64,
    },
}

impl Line {
    fn pace(hops: u32) -> Self {
        Self::Pace {
            hop: hop_length(hops).get(),
        }
    }
}

impl JsonLines {
    fn new(wording: Wording) -> Self {
        Self {
            newest: Newest::new(wording),
            harmony: HarmonySoFar::new(stated(wording.analysis)),
            told: Told::default(),
            style: wording.style,
        }
    }

    fn tell(&mut self, event: &Event, out: &mut impl Write) -> io::Result<()> {
        follow_harmony(&mut self.harmony, event);
        self.tell_harmony(out)?;
        let line = match event {
            Event::Note(span) => Line::Note(heard_note(span, None)),
            Event::Chord(span) => match self.newest.hear(span) {
                Some(chord) => Line::Chord(Box::new(chord)),
                None => return Ok(()),
            },
            // what a document does not hold
            _ => return Ok(()),
        };
        write_json_line(&line, out)
    }

    fn tell_harmony(&mut self, out: &mut impl Write) -> io::Result<()> {
        let ended = self.told.newly_ended(&self.harmony);
        self.write_harmony(&ended, out)
    }

    fn write_harmony(&self, stretches: &[Stretch], out: &mut impl Write) -> io::Result<()> {
        stretches.iter().try_for_each(|stretch| {
            let line = Line::Harmony(Box::new(harmony_stretch(stretch, self.style)));
            write_json_line(&line, out)
        })
    }

    /// Nothing more is heard.
    fn end(&mut self, out: &mut impl Write) -> io::Result<()> {
        self.harmony.end();
        let rest = self.told.newly_settled(&self.harmony);
        self.write_harmony(&rest, out)
    }
}
