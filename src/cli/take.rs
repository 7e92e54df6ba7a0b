//! `lidprop take`: reads recordings and writes their chart.
//!
//! Input: recordings. Output: a chart on the terminal, or one of the [`FORMATS`]; a file a recording with `--into`. In JSON lines, a recording that
//! fails is a line too: `{"file": ..., "error": ...}`.
//! Units: as the formats state. Method: a thread a recording, as many at once as there are cores; charts appear in the
//! order in which the files were named. What was noticed of a recording stands in its chart, and is told on standard error where another format is
//! written. A recording that cannot be read or written is told and does not stop the others, and so is
//! one in which lidprop itself fails (see [`crate::session::contained`]): what it gives is made whole before any of it is shown.
//! Limits: each thread holds one listener, so memory grows with the number of cores and not with that of files.

use super::against;
use super::error::{CliError, CommandResult, tell};
use super::interrupts::remove_unfinished_when_ended;
use super::options::{NamingOptions, PartOptions, PianoOptions, PublishOptions, RhythmOptions};
use super::remedies::{InCommand, sentence};
use super::results::{each_once, folded, result_names};
use super::targets::may_write;
use crate::audio::AudioError;
use crate::chart::recording::Heard;
use crate::publish::{FORMATS, Format, JSON_LINES, WriteOptions, format, write_json_line};
use crate::session::contained::{contained, please_report};
use crate::session::recording::{RecordingOptions, read_recording};
use crate::store::file::{make_folder, write_whole};
use crate::units::Cents;
use crate::view::chart::print_chart;
use crate::view::ink::Ink;
use crate::view::played::print_played;
use clap::Args;
use clap::builder::{PossibleValue, PossibleValuesParser, TypedValueParser};
use indicatif::{ProgressBar, ProgressStyle};
use serde::Serialize;
use std::collections::HashMap;
use std::ffi::OsString;
use std::io::{self, BufWriter, Seek, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc;
use std::thread;
use tempfile::SpooledTempFile;

/// Reads recordings and shows the chart of what is played: keys, notes, names and readings
#[derive(Debug, Args)]
#[command(after_long_help = "\
Examples:
  lidprop take lesson.m4a
  lidprop take --write json --into charts monday.wav tuesday.flac
  lidprop take --write labels lesson.m4a > lesson.lab
  lidprop take --write midi --voices --into band rehearsal.m4a
  lidprop take --write jsonl archive/*.flac > archive.jsonl
  lidprop take homework.m4a --against chart.txt
  lidprop take --from 1:20 --to 1:40 lesson.m4a

A recording that cannot be read is told on standard error and does not stop the others; the exit code is then 1.")]
pub struct TakeArgs {
    /// Recordings to read, told by their content: WAV, FLAC, MP3, M4A, OGG, Opus, CAF, and the sound of MP4, MOV, MKV and WebM
    #[arg(required = true, value_name = "FILE")]
    pub files: Vec<PathBuf>,

    /// Write this instead of the chart
    #[arg(long, value_name = "FORMAT", value_parser = format_parser())]
    pub write: Option<&'static Format<Heard>>,

    /// Write one file a recording into this folder, named after the recording; made if it is not there
    #[arg(long, value_name = "DIR", requires = "write")]
    pub into: Option<PathBuf>,

    /// Write over files that lidprop did not write
    #[arg(long, requires = "into")]
    pub force: bool,

    /// How it is written.
    #[command(flatten)]
    pub publish: PublishOptions,

    /// Hold the recording against this one, or against a typed chart (bars between |), and show what differs
    #[arg(long, value_name = "FILE")]
    pub against: Option<PathBuf>,

    /// Which part of the recordings.
    #[command(flatten)]
    pub part: PartOptions,

    /// Which piano it is.
    #[command(flatten)]
    pub piano: PianoOptions,

    /// How far the recording sounds off what was fingered, in half steps (-1: a half step lower, 0.4: an old cassette); what is
    /// shown is as fingered
    #[arg(long, value_name = "HALF-STEPS", allow_hyphen_values = true, value_parser = parse_half_steps)]
    pub sounding: Option<Cents>,

    /// How the rhythm lies, where it is known.
    #[command(flatten)]
    pub rhythm: RhythmOptions,

    /// Show the keys held, chord by chord, where the chart of what is played would show its harmony
    #[arg(long)]
    pub held: bool,

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
pub(super) fn format_parser() -> impl TypedValueParser<Value = &'static Format<Heard>> {
    let names = FORMATS
        .iter()
        .map(|format| PossibleValue::new(format.name).help(format.about));
    PossibleValuesParser::new(names).try_map(|name| format(&name).ok_or("there is no such format"))
}

/// Reads the recording at a path as the options say, and tells the share read so far; ends early once it is asked to stop.
pub type ReadRecording<'a> = dyn Fn(&Path, &RecordingOptions, &AtomicBool, &mut dyn FnMut(f64)) -> Result<Heard, AudioError>
    + Sync
    + 'a;

/// Runs the command.
///
/// # Errors
/// If a recording could not be read or its result not be written.
pub fn run(args: &TakeArgs) -> CommandResult {
    remove_unfinished_when_ended();
    run_reading_with(args, &|path, options, stop, progress| {
        read_recording(path, options, stop, progress)
    })
}

/// The same with recordings read by `read`.
///
/// # Errors
/// If a recording could not be read or its result not be written.
pub fn run_reading_with(args: &TakeArgs, read: &ReadRecording<'_>) -> CommandResult {
    let part = args.part.part()?;
    let mut listening = args.piano.listening()?;
    if let Some(off) = args.sounding {
        listening.a4 = Some(listening.expected_a4().raised_by(off));
    }
    let options = RecordingOptions {
        listening,
        naming: args.naming.wording(),
        sounding_off: args.sounding,
        rhythm: args.rhythm.stated(),
        part,
        keep: args
            .write
            .map(|format| args.publish.keep(format))
            .unwrap_or_default(),
    };
    if let Some(against) = &args.against {
        return against::run(args, against, &options, read);
    }
    let output = Output::chosen(args)?;
    let files = match output {
        Output::Folder { .. } => each_once(&args.files),
        Output::Chart { .. } | Output::Stdout(..) => args.files.clone(),
    };
    let jobs = plan(&files, &output);
    let bar = progress_bar(jobs.len());
    let stop = AtomicBool::new(false);
    let mut failures = 0;
    let mut printed = Ok(());
    let readings = Readings {
        files: &files,
        jobs: &jobs,
        read,
        options: &options,
        output: &output,
        bar: &bar,
        stop: &stop,
    };
    readings.in_order(|outcome| match outcome {
        Err(failure) => {
            failures += 1;
            bar.suspend(|| tell(&failure.sentence));
            if let (Some(line), true) = (failure.line, printed.is_ok()) {
                printed = bar.suspend(|| print(line));
                stop.store(printed.is_err(), Ordering::Relaxed);
            }
        }
        Ok(given) => {
            bar.suspend(|| given.noticed.iter().for_each(|sentence| tell(sentence)));
            if let (Some(text), true) = (given.text, printed.is_ok()) {
                printed = bar.suspend(|| print(text));
                stop.store(printed.is_err(), Ordering::Relaxed);
            }
        }
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
    /// The chart; of the keys held, whatever is played.
    Chart {
        ink: Ink,
        held: bool,
    },
    Stdout(&'static Format<Heard>, WriteOptions),
    Folder {
        format: &'static Format<Heard>,
        options: WriteOptions,
        folder: PathBuf,
        force: bool,
    },
}

impl Output {
    fn chosen(args: &TakeArgs) -> Result<Self, CliError> {
        let Some(format) = args.write else {
            return Ok(Self::Chart {
                ink: Ink::of_stdout(),
                held: args.held,
            });
        };
        let options = args.publish.asked(format, FORMATS, args.held)?;
        match &args.into {
            Some(folder) => {
                make_folder(folder).map_err(CliError::failed)?;
                Ok(Self::Folder {
                    format,
                    options,
                    folder: folder.clone(),
                    force: args.force,
                })
            }
            None if args.files.len() == 1 || format.name == JSON_LINES => {
                Ok(Self::Stdout(format, options))
            }
            None => Err(CliError::Usage(format!(
                "{} recordings cannot share standard output as {}; say where to write with --into DIR",
                args.files.len(),
                format.name
            ))),
        }
    }

    /// What goes to standard output; `None` where results go to a folder.
    fn text(&self, heard: &Heard) -> io::Result<Option<SpooledTempFile>> {
        match self {
            Self::Chart { ink, held } => spooled(|out| {
                match (!held).then(|| heard.performance()).flatten() {
                    Some(played) => print_played(heard, &played, *ink, out)?,
                    None => print_chart(heard, *ink, out)?,
                }
                writeln!(out)
            })
            .map(Some),
            Self::Stdout(format, options) => {
                spooled(|out| (format.write)(heard, options, out)).map(Some)
            }
            Self::Folder { .. } => Ok(None),
        }
    }

    /// What goes to standard output of a recording that cannot be read; `None` where nothing does.
    fn text_of_failure(&self, path: &Path, error: &str) -> Option<SpooledTempFile> {
        let Self::Stdout(format, _) = self else {
            return None;
        };
        let line = Failed {
            file: path.display().to_string(),
            error,
        };
        let line = || spooled(|out| write_json_line(&line, out)).ok();
        (format.name == JSON_LINES).then(line).flatten()
    }
}

/// The line of a recording that cannot be read.
#[derive(Serialize)]
struct Failed<'a> {
    file: String,
    error: &'a str,
}

fn spooled(write: impl FnOnce(&mut dyn Write) -> io::Result<()>) -> io::Result<SpooledTempFile> {
    let mut out = BufWriter::new(SpooledTempFile::new(IN_MEMORY));
    write(&mut out)?;
    let mut text = out.into_inner()?;
    text.rewind()?;
    Ok(text)
}

/// Longer results wait in a temporary file: 4 MB, some hours as a chart.
const IN_MEMORY: usize = 4 << 20;

fn print(mut text: SpooledTempFile) -> io::Result<()> {
    let mut out = io::stdout().lock();
    io::copy(&mut text, &mut out)?;
    out.flush()
}

/// One recording and the file its result goes to, if it goes to one; or why it cannot be done at all.
type Job<'a> = Result<(&'a Path, Option<PathBuf>), String>;

/// Gives each recording its target; one whose target another recording has already is refused.
fn plan<'a>(files: &'a [PathBuf], output: &Output) -> Vec<Job<'a>> {
    let Output::Folder {
        format,
        folder,
        force,
        ..
    } = output
    else {
        return files
            .iter()
            .map(|file| Ok((file.as_path(), None)))
            .collect();
    };
    let mut taken: HashMap<OsString, &Path> = HashMap::new();
    let mut job = |(file, name): (&'a PathBuf, Option<OsString>)| {
        let mut name = name.ok_or_else(|| {
            format!(
                "{}: this names no recording; give the path of a file",
                file.display()
            )
        })?;
        name.push(".");
        name.push(format.extension);
        let target = folder.join(&name);
        if let Some(other) = taken.get(&folded(&name)) {
            return Err(format!(
                "{}: its result would overwrite that of {} in {}; read it in a call of its own with another --into",
                file.display(),
                other.display(),
                target.display()
            ));
        }
        may_write(&target, format.mark, *force)?;
        taken.insert(folded(&name), file);
        Ok((file.as_path(), Some(target)))
    };
    files
        .iter()
        .zip(result_names(files))
        .map(&mut job)
        .collect()
}

/// Why a recording gave no result, and what stands for it on standard output, if anything does.
struct Failure {
    sentence: String,
    line: Option<SpooledTempFile>,
}

/// What a recording gave.
struct Given {
    /// What is to be printed, if anything is.
    text: Option<SpooledTempFile>,
    /// What is to be told of it, a sentence each.
    noticed: Vec<String>,
}

type Outcome = Result<Given, Failure>;

/// The recordings of one call on their way through the threads.
struct Readings<'a> {
    files: &'a [PathBuf],
    jobs: &'a [Job<'a>],
    read: &'a ReadRecording<'a>,
    options: &'a RecordingOptions,
    output: &'a Output,
    bar: &'a ProgressBar,
    stop: &'a AtomicBool,
}

/// Steps of the progress bar a recording.
const STEPS: u64 = 1000;

impl Readings<'_> {
    /// Reads all recordings and hands on, in the order of the jobs, what is to be printed or the sentence of a failure.
    fn in_order(&self, mut hand_on: impl FnMut(Outcome)) {
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
                        let outcome = self.carry_out(job).map_err(|sentence| Failure {
                            line: self
                                .files
                                .get(index)
                                .and_then(|file| self.output.text_of_failure(file, &sentence)),
                            sentence,
                        });
                        if sender.send((index, outcome)).is_err() {
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

    fn carry_out(&self, job: &Job<'_>) -> Result<Given, String> {
        let mut told = 0;
        let outcome = job
            .as_ref()
            .map_err(String::clone)
            .and_then(|(path, target)| {
                let progress = |share| {
                    let reached = (share * STEPS as f64) as u64;
                    self.bar.inc(reached.saturating_sub(told));
                    told = told.max(reached);
                };
                contained(|| self.take(path, target.as_deref(), progress)).unwrap_or_else(|fault| {
                    Err(format!(
                        "{}: reading it was ended by {fault}; {}",
                        path.display(),
                        please_report()
                    ))
                })
            });
        self.bar.inc(STEPS - told);
        outcome
    }

    /// Reads one recording and writes its file, or gives what is to be printed.
    fn take(
        &self,
        path: &Path,
        target: Option<&Path>,
        mut progress: impl FnMut(f64),
    ) -> Result<Given, String> {
        if waits_for_a_writer(path) {
            let waiting = format!(
                "{}: waiting for a program that writes to it; Ctrl-C ends this",
                path.display()
            );
            self.bar.suspend(|| tell(&waiting));
        }
        let heard = (self.read)(path, self.options, self.stop, &mut progress)
            .map_err(|error| sentence(&error, InCommand::Take))?;
        let noticed = self.noticed(&heard);
        if let (
            Some(target),
            Output::Folder {
                format, options, ..
            },
        ) = (target, self.output)
        {
            return write_whole(target, |out| (format.write)(&heard, options, out))
                .map(|()| Given {
                    text: None,
                    noticed,
                })
                .map_err(|error| error.to_string());
        }
        let text = self.output.text(&heard).map_err(|error| {
            format!(
                "{}: its result found no room for temporary files ({error}); write to a folder with --into DIR instead",
                path.display()
            )
        })?;
        Ok(Given { text, noticed })
    }

    /// What is to be told of a recording: its chart says it by itself.
    fn noticed(&self, heard: &Heard) -> Vec<String> {
        match self.output {
            Output::Chart { .. } => Vec::new(),
            Output::Stdout(..) | Output::Folder { .. } => heard
                .warnings
                .iter()
                .map(|warning| format!("{}: note: {warning}", heard.file))
                .collect(),
        }
    }
}

/// True for a named pipe, which opens once something is written to it.
#[cfg(unix)]
fn waits_for_a_writer(path: &Path) -> bool {
    use std::os::unix::fs::FileTypeExt;
    path.symlink_metadata()
        .is_ok_and(|there| there.file_type().is_fifo())
}

#[cfg(not(unix))]
fn waits_for_a_writer(_: &Path) -> bool {
    false
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chart::recording::{HeardSoFar, Wording};
    use crate::units::SamplePos;
    use std::fs;

    /// Writes half of what it should of one recording, and then has a fault.
    static FAULTY: Format<Heard> = Format {
        name: "faulty",
        about: "a format that does not bear tuesdays",
        extension: "txt",
        mark: None,
        heeds: &[],
        write: |heard, _, out| {
            out.write_all(b"half of ")?;
            assert!(heard.file != "tuesday.wav", "a bad day");
            out.write_all(b"all")
        },
    };

    /// What each recording gives.
    fn outcomes(output: &Output) -> Vec<Result<Option<String>, String>> {
        let files = ["monday.wav", "tuesday.wav", "friday.wav"].map(PathBuf::from);
        let (bar, stop) = (ProgressBar::hidden(), AtomicBool::new(false));
        let readings = Readings {
            files: &files,
            jobs: &plan(&files, output),
            read: &|path, _, _, _| {
                let name = path.display().to_string();
                let heard = HeardSoFar::new(name, Wording::default());
                Ok(heard.end(SamplePos::START, None))
            },
            options: &RecordingOptions::default(),
            output,
            bar: &bar,
            stop: &stop,
        };
        let mut outcomes = Vec::new();
        readings.in_order(|outcome| {
            let told =
                outcome.map(|given| given.text.map(|text| io::read_to_string(text).unwrap()));
            outcomes.push(told.map_err(|failure| failure.sentence));
        });
        outcomes
    }

    #[test]
    fn a_fault_while_a_file_is_written_leaves_neither_half_of_it_nor_a_trace() {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("tuesday.txt"), "earlier").unwrap();
        let outcomes = outcomes(&Output::Folder {
            format: &FAULTY,
            options: WriteOptions::default(),
            folder: folder.path().to_owned(),
            force: true,
        });
        assert_eq!((&outcomes[0], &outcomes[2]), (&Ok(None), &Ok(None)));
        let sentence = outcomes[1].as_ref().unwrap_err();
        assert!(sentence.starts_with("tuesday.wav: ") && sentence.contains("a bad day"));
        let mut files: Vec<(String, String)> = fs::read_dir(folder.path())
            .unwrap()
            .map(|entry| {
                let path = entry.unwrap().path();
                let name = path.file_name().unwrap().to_string_lossy().into_owned();
                (name, fs::read_to_string(path).unwrap())
            })
            .collect();
        files.sort();
        let expected = [
            ("friday.txt", "half of all"),
            ("monday.txt", "half of all"),
            ("tuesday.txt", "earlier"),
        ];
        assert_eq!(
            files,
            expected.map(|(name, text)| (name.to_owned(), text.to_owned()))
        );
    }

    #[test]
    fn a_fault_while_a_result_is_made_prints_nothing_of_it() {
        let outcomes = outcomes(&Output::Stdout(&FAULTY, WriteOptions::default()));
        let whole = Ok(Some("half of all".to_owned()));
        assert_eq!((&outcomes[0], &outcomes[2]), (&whole, &whole));
        assert!(outcomes[1].is_err());
    }
}
