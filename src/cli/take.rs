//! `lidprop take`: reads recordings and writes their chart.
//!
//! Input: recordings. Output: a chart on the terminal, or one of the [`FORMATS`]; a file a recording with `--into`.
//! Units: as the formats state. Method: a thread a recording, as many at once as there are cores; charts appear in the
//! order in which the files were named. A recording that cannot be read or written is told and does not stop the others.
//! Limits: each thread holds one listener, so memory grows with the number of cores and not with that of files.

use super::error::{CliError, CommandResult, tell};
use super::options::{NamingOptions, PianoOptions};
use crate::chart::recording::Heard;
use crate::listener::ListenerOptions;
use crate::publish::{FORMATS, Format, format};
use crate::session::recording::read_recording;
use crate::store::file::{make_folder, write_whole};
use crate::units::Cents;
use crate::view::chart::print_chart;
use crate::view::ink::Ink;
use clap::Args;
use clap::builder::{PossibleValue, PossibleValuesParser, TypedValueParser};
use indicatif::{ProgressBar, ProgressStyle};
use std::collections::HashMap;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc;
use std::thread;

/// Reads recordings and shows the chart of what is played: keys, notes, names and readings
#[derive(Debug, Args)]
#[command(after_long_help = "\
Examples:
  lidprop take lesson.m4a
  lidprop take --write json --into charts monday.wav tuesday.flac
  lidprop take --write labels lesson.m4a > lesson.lab

A recording that cannot be read is told on standard error and does not stop the others; the exit code is then 1.")]
pub struct TakeArgs {
    /// Recordings to read: WAV, FLAC, MP3, M4A (AAC, ALAC) or OGG Vorbis, told by their content
    #[arg(required = true, value_name = "FILE")]
    pub files: Vec<PathBuf>,

    /// Write this instead of the chart
    #[arg(long, value_name = "FORMAT", value_parser = format_parser())]
    pub write: Option<&'static Format>,

    /// Write one file a recording into this folder, named after the recording; made if it is not there
    #[arg(long, value_name = "DIR", requires = "write")]
    pub into: Option<PathBuf>,

    /// Which piano it is.
    #[command(flatten)]
    pub piano: PianoOptions,

    /// How far the recording sounds off what was fingered, in half steps (-1: a half step lower, 0.4: an old cassette); what is
    /// shown is as fingered
    #[arg(long, value_name = "HALF-STEPS", allow_hyphen_values = true, value_parser = parse_half_steps)]
    pub sounding: Option<Cents>,

    /// How chords are named.
    #[command(flatten)]
    pub naming: NamingOptions,
}

/// Farthest that a recording may sound off: two whole tones, as turntables and tapes do at most.
const FARTHEST_OFF: f64 = 4.0;

fn parse_half_steps(text: &str) -> Result<Cents, String> {
    text.parse::<f64>()
        .ok()
        .filter(|half_steps| half_steps.abs() <= FARTHEST_OFF)
        .and_then(|half_steps| Cents::new(100.0 * half_steps).ok())
        .ok_or_else(|| {
            format!("give half steps from -{FARTHEST_OFF} to {FARTHEST_OFF}, say -1 or 0.4")
        })
}

/// Reads the names in the table of formats.
pub(super) fn format_parser() -> impl TypedValueParser<Value = &'static Format> {
    let names = FORMATS
        .iter()
        .map(|format| PossibleValue::new(format.name).help(format.about));
    PossibleValuesParser::new(names).try_map(|name| format(&name).ok_or("there is no such format"))
}

/// Runs the command.
///
/// # Errors
/// If a recording could not be read or its result not be written.
pub fn run(args: &TakeArgs) -> CommandResult {
    let output = Output::chosen(args)?;
    let mut listening = args.piano.listening()?;
    if let Some(off) = args.sounding {
        listening.a4 = Some(listening.expected_a4().raised_by(off));
    }
    let jobs = plan(&args.files, &output);
    let bar = progress_bar(jobs.len());
    let stop = AtomicBool::new(false);
    let mut failures = 0;
    let mut printed = Ok(());
    let readings = Readings {
        jobs: &jobs,
        args,
        listening: &listening,
        output: &output,
        bar: &bar,
        stop: &stop,
    };
    readings.in_order(|outcome| match outcome {
        Err(sentence) => {
            failures += 1;
            bar.suspend(|| tell(&sentence));
        }
        Ok(Some(heard)) if printed.is_ok() => {
            printed = bar.suspend(|| output.print(&heard));
            stop.store(printed.is_err(), Ordering::Relaxed);
        }
        Ok(_) => {}
    });
    bar.finish_and_clear();
    printed.map_err(CliError::from_stdout)?;
    if failures > 0 {
        Err(CliError::AlreadyTold)
    } else {
        Ok(())
    }
}

/// Where results go.
enum Output {
    Chart(Ink),
    Stdout(&'static Format),
    Folder(&'static Format, PathBuf),
}

impl Output {
    fn chosen(args: &TakeArgs) -> Result<Self, CliError> {
        match (args.write, &args.into) {
            (None, _) => Ok(Self::Chart(Ink::of_stdout())),
            (Some(format), Some(folder)) => {
                make_folder(folder).map_err(CliError::failed)?;
                Ok(Self::Folder(format, folder.clone()))
            }
            (Some(format), None) if args.files.len() == 1 => Ok(Self::Stdout(format)),
            (Some(format), None) => Err(CliError::Usage(format!(
                "{} recordings cannot share standard output as {}; say where to write with --into DIR",
                args.files.len(),
                format.name
            ))),
        }
    }

    fn print(&self, heard: &Heard) -> io::Result<()> {
        let mut out = BufWriter::new(io::stdout().lock());
        match self {
            Self::Chart(ink) => {
                print_chart(heard, *ink, &mut out)?;
                writeln!(out)?;
            }
            Self::Stdout(format) => (format.write)(heard, &mut out)?,
            Self::Folder(..) => {}
        }
        out.flush()
    }
}

/// One recording and the file its result goes to, if it goes to one; or why it cannot be done at all.
type Job<'a> = Result<(&'a Path, Option<PathBuf>), String>;

/// Gives each recording its target; one whose target another recording has already is refused.
fn plan<'a>(files: &'a [PathBuf], output: &Output) -> Vec<Job<'a>> {
    let Output::Folder(format, folder) = output else {
        return files
            .iter()
            .map(|file| Ok((file.as_path(), None)))
            .collect();
    };
    let mut taken: HashMap<String, &Path> = HashMap::new();
    let mut job = |file: &'a PathBuf| {
        let stem = file.file_stem().ok_or_else(|| {
            format!(
                "{}: this names no recording; give the path of a file",
                file.display()
            )
        })?;
        let mut name = stem.to_owned();
        name.push(".");
        name.push(format.extension);
        // Some file systems do not tell upper from lower case.
        let key = name.to_string_lossy().to_lowercase();
        let target = folder.join(name);
        if let Some(other) = taken.get(&key) {
            return Err(format!(
                "{}: its result would overwrite that of {} in {}; read it in a call of its own with another --into",
                file.display(),
                other.display(),
                target.display()
            ));
        }
        taken.insert(key, file);
        Ok((file.as_path(), Some(target)))
    };
    files.iter().map(&mut job).collect()
}

/// The recordings of one call on their way through the threads.
struct Readings<'a> {
    jobs: &'a [Job<'a>],
    args: &'a TakeArgs,
    listening: &'a ListenerOptions,
    output: &'a Output,
    bar: &'a ProgressBar,
    stop: &'a AtomicBool,
}

/// Steps of the progress bar a recording.
const STEPS: u64 = 1000;

impl Readings<'_> {
    /// Reads all recordings and hands on, in the order of the jobs, what is to be printed or the sentence of a failure.
    fn in_order(&self, mut hand_on: impl FnMut(Result<Option<Heard>, String>)) {
        let cores = thread::available_parallelism().map_or(1, usize::from);
        let next = AtomicUsize::new(0);
        let (sender, receiver) = mpsc::channel();
        thread::scope(|scope| {
            for _ in 0..cores.min(self.jobs.len()) {
                let (sender, next) = (sender.clone(), &next);
                scope.spawn(move || {
                    while !self.stop.load(Ordering::Relaxed) {
                        let index = next.fetch_add(1, Ordering::Relaxed);
                        let Some(job) = self.jobs.get(index) else {
                            break;
                        };
                        if sender.send((index, self.carry_out(job))).is_err() {
                            break;
                        }
                    }
                });
            }
            drop(sender);
            let mut waiting = HashMap::new();
            let mut due = 0;
            for (index, outcome) in receiver {
                waiting.insert(index, outcome);
                while let Some(outcome) = waiting.remove(&due) {
                    hand_on(outcome);
                    due += 1;
                }
            }
        });
    }

    fn carry_out(&self, job: &Job<'_>) -> Result<Option<Heard>, String> {
        let mut told = 0;
        let outcome = job
            .as_ref()
            .map_err(String::clone)
            .and_then(|(path, target)| {
                let mut heard = read_recording(
                    path,
                    self.listening,
                    self.args.naming.analysis(),
                    self.stop,
                    |share| {
                        let reached = (share * STEPS as f64) as u64;
                        self.bar.inc(reached.saturating_sub(told));
                        told = told.max(reached);
                    },
                )
                .map_err(|error| error.to_string())?;
                heard.sounding_off = self.args.sounding;
                match (target, self.output) {
                    (Some(target), Output::Folder(format, _)) => {
                        write_whole(target, |out| (format.write)(&heard, out))
                            .map_err(|error| error.to_string())?;
                        Ok(None)
                    }
                    _ => Ok(Some(heard)),
                }
            });
        self.bar.inc(STEPS - told);
        outcome
    }
}

/// A bar on standard error; it hides itself where that is no terminal.
fn progress_bar(recordings: usize) -> ProgressBar {
    let bar = ProgressBar::new(recordings as u64 * STEPS);
    bar.set_style(
        ProgressStyle::with_template("reading {wide_bar} {percent:>3} %  {eta} to go")
            .unwrap_or_else(|_| ProgressStyle::default_bar()),
    );
    bar
}
