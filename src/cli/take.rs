//! `lidprop take`: reads recordings and writes their chart.
//!
//! Input: recordings. Output: a chart on the terminal, or one of the [`FORMATS`]; a file a recording with `--into`. In JSON lines, a recording that
//! fails is a line too: `{"file": ..., "error": ...}`.
//! Units: as the formats state. Method: a thread a recording, as many at once as there are cores; charts appear in the
//! order in which the files were named. What was noticed of a recording stands in its chart, and is told on standard error where another format is
//! written. A recording that cannot be read or written is told and does not stop the others, and so is
//! one in which lidprop itself fails (see [`crate::session::contained`]): what it gives is made whole before any of it is shown.
//! Where results go to standard output, no more than `AHEAD` wait for one that is long.
//! Limits: each thread holds one listener, so memory grows with the number of cores and not with that of files.

use super::against;
use super::error::{CliError, CommandResult, note, tell};
use super::interrupts::remove_unfinished_when_ended;
use super::options::{
    ArchiveOptions, NamingOptions, PartOptions, PianoOptions, PublishOptions, RhythmOptions,
};
use super::remedies::{InCommand, sentence};
use super::results::{each_once, folded, result_names};
use super::targets::may_write;
use crate::audio::AudioError;
use crate::chart::recording::Heard;
use crate::publish::{FORMATS, Format, JSON_LINES, WriteOptions, format, write_json_line};
use crate::session::contained::{contained, please_report};
use crate::session::done::{DoneLines, is_done};
use crate::session::recording::{RecordingOptions, read_recording};
use crate::store::file::{make_folder, write_whole};
use crate::store::lines::{LinesError, LinesFile};
use crate::units::Cents;
use crate::units::count::plural;
use crate::view::chart::{TIME_COLUMNS, print_chart_alone};
use crate::view::ink::Ink;
use crate::view::notes::Legends;
use crate::view::played::print_played_alone;
use clap::Args;
use clap::builder::{PossibleValue, PossibleValuesParser, TypedValueParser};
use indicatif::{ProgressBar, ProgressStyle};
use serde::Serialize;
use std::collections::HashMap;
use std::ffi::OsString;
use std::io::{self, BufWriter, IsTerminal, Seek, Write};
use std::path::{Component, Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Condvar, Mutex, PoisonError, mpsc};
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
  lidprop take --files-from tapes.txt --shard 3/10 --write jsonl --add-to part-3.jsonl --skip-done
  lidprop take homework.m4a --against chart.txt
  lidprop take --from 1:20 --to 1:40 lesson.m4a

A recording that cannot be read is told on standard error and does not stop the others; the exit code is then 1.")]
pub struct TakeArgs {
    /// Recordings to read, told by their content: WAV, FLAC, MP3, M4A, OGG, Opus, CAF, and the sound of MP4, MOV, MKV and WebM
    #[arg(required_unless_present = "files_from", value_name = "FILE")]
    pub files: Vec<PathBuf>,

    /// Write this instead of the chart
    #[arg(long, value_name = "FORMAT", value_parser = format_parser())]
    pub write: Option<&'static Format<Heard>>,

    /// Write one file per recording into this folder, named after the recording; made if it is not there
    #[arg(long, value_name = "DIR", requires = "write")]
    pub into: Option<PathBuf>,

    /// Write over files that lidprop did not write
    #[arg(long, requires = "into", conflicts_with = "add_to")]
    pub force: bool,

    /// Which of many recordings are read, and where they go on.
    #[command(flatten)]
    pub archive: ArchiveOptions,

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
    #[arg(long, conflicts_with_all = ["against", "bpm", "metre", "pickup"])]
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
    let (ink, style) = Ink::for_style(args.naming.style);
    let mut naming = args.naming.wording();
    if args.write.is_none() {
        naming.style = style;
    }
    let options = RecordingOptions {
        listening,
        naming,
        sounding_off: args.sounding,
        rhythm: args.rhythm.stated()?,
        part,
        keep: args
            .write
            .map(|format| args.publish.keep(format))
            .unwrap_or_default(),
        identify: args.write.is_some_and(says_what_made_it),
    };
    if let Some(against) = &args.against {
        return against::run(args, against, &options, read);
    }
    let all = args.archive.all(&args.files)?;
    let output = Output::chosen(args, all.len(), &options, ink)?;
    let all = match output {
        Output::Folder { .. } | Output::Lines(..) => each_once(&all),
        Output::Chart { .. } | Output::Stdout(..) => all,
    };
    let jobs = plan(&all, &output, |file| args.archive.is_mine(file));
    if let (true, Some(shard)) = (jobs.is_empty(), args.archive.shard) {
        tell(&format!(
            "part {shard} of {} is empty",
            plural(all.len(), "recording")
        ));
    }
    let bar = match output.leaves_room_for_a_bar() {
        true => progress_bar(jobs.len()),
        false => ProgressBar::hidden(),
    };
    let stop = AtomicBool::new(false);
    let done_before = AtomicUsize::new(0);
    let mut failures = 0;
    let mut printed = Ok(());
    let readings = Readings {
        jobs: &jobs,
        read,
        options: &options,
        output: &output,
        bar: &bar,
        stop: &stop,
        skip_done: args.archive.skip_done,
        done_before: &done_before,
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
    match done_before.into_inner() {
        0 => {}
        done => tell(&format!(
            "{done} of {} {} done before",
            plural(jobs.len(), "recording"),
            if done == 1 { "was" } else { "were" }
        )),
    }
    let printed = printed.and_then(|()| output.end(&mut io::stdout().lock()));
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
        /// What the signs mean that were used: told once, after all charts.
        legends: Mutex<Legends>,
    },
    Stdout(&'static Format<Heard>, WriteOptions),
    Folder {
        format: &'static Format<Heard>,
        options: WriteOptions,
        folder: PathBuf,
        force: bool,
        keep_folders: bool,
    },
    /// A line each in one file, with what stands there already.
    Lines(Mutex<LinesFile>, Box<DoneLines>),
}

/// The ways in which lines of lidprop begin: what was heard, and why nothing was.
const LINE_BEGINNINGS: &[&str] = &["{\"schema\":\"lidprop/", "{\"file\":"];

/// True of the formats that say what made them.
fn says_what_made_it(format: &Format<Heard>) -> bool {
    ["json", JSON_LINES].contains(&format.name)
}

impl Output {
    fn chosen(
        args: &TakeArgs,
        recordings: usize,
        reading: &RecordingOptions,
        ink: Ink,
    ) -> Result<Self, CliError> {
        let archive = &args.archive;
        let tells_done = args.into.is_some() || archive.add_to.is_some();
        if archive.skip_done && !(tells_done && args.write.is_some_and(says_what_made_it)) {
            return Err(CliError::Usage(
                "--skip-done needs results that say what made them; add --write json --into DIR, or --write jsonl --add-to FILE".to_owned(),
            ));
        }
        let Some(format) = args.write else {
            return Ok(Self::Chart {
                ink,
                held: args.held,
                legends: Mutex::default(),
            });
        };
        let options = args
            .publish
            .asked(format, FORMATS, args.held, args.naming.style)?;
        if let Some(path) = &archive.add_to {
            return Self::adding_to(path, format, archive.skip_done, reading);
        }
        match &args.into {
            Some(folder) => {
                make_folder(folder).map_err(CliError::failed)?;
                Ok(Self::Folder {
                    format,
                    options,
                    folder: folder.clone(),
                    force: args.force,
                    keep_folders: archive.keep_folders,
                })
            }
            None if recordings == 1 || format.name == JSON_LINES => {
                Ok(Self::Stdout(format, options))
            }
            None => Err(CliError::Usage(format!(
                "{} recordings cannot share standard output as {}; say where to write with --into DIR",
                recordings, format.name
            ))),
        }
    }

    fn adding_to(
        path: &Path,
        format: &Format<Heard>,
        skip_done: bool,
        reading: &RecordingOptions,
    ) -> Result<Self, CliError> {
        if format.name != JSON_LINES {
            return Err(CliError::Usage(format!(
                "--add-to means nothing to {}; it belongs to --write {JSON_LINES}",
                format.name
            )));
        }
        let mut lines = LinesFile::open(path, LINE_BEGINNINGS).map_err(CliError::failed)?;
        let mut done = DoneLines::made_as(reading);
        if skip_done {
            lines
                .each_line(|line| done.keep(line))
                .map_err(CliError::failed)?;
        }
        Ok(Self::Lines(Mutex::new(lines), Box::new(done)))
    }

    /// True where the result of this recording is there already.
    fn has_result_of(
        &self,
        recording: &Path,
        target: Option<&Path>,
        options: &RecordingOptions,
    ) -> bool {
        match (self, target) {
            (Self::Lines(_, done), _) => done.has(recording),
            (_, Some(target)) => is_done(target, recording, options),
            _ => false,
        }
    }

    /// True where results wait in memory for their turn.
    fn is_in_order(&self) -> bool {
        matches!(self, Self::Chart { .. } | Self::Stdout(..))
    }

    /// What goes to standard output; `None` where results go to a folder.
    fn text(&self, heard: &Heard) -> io::Result<Option<SpooledTempFile>> {
        match self {
            Self::Chart { ink, held, legends } => {
                let mut used = Legends::default();
                let text = spooled(|out| {
                    match (!held).then(|| heard.performance()).flatten() {
                        Some(played) => {
                            print_played_alone(heard, &played, *ink, &mut used, out)?;
                        }
                        None => print_chart_alone(heard, *ink, &mut used, out)?,
                    }
                    writeln!(out)
                })?;
                let mut legends = legends.lock().unwrap_or_else(PoisonError::into_inner);
                legends.add(used);
                Ok(Some(text))
            }
            Self::Stdout(format, options) => {
                spooled(|out| (format.write)(heard, options, out)).map(Some)
            }
            Self::Folder { .. } | Self::Lines(..) => Ok(None),
        }
    }

    /// After the last chart.
    fn end(&self, out: &mut impl Write) -> io::Result<()> {
        match self {
            Self::Chart { ink, legends, .. } => {
                let legends = legends.lock().unwrap_or_else(PoisonError::into_inner);
                legends.print(TIME_COLUMNS, *ink, out)
            }
            _ => Ok(()),
        }
    }

    /// True unless what is printed may go, by a pipe, to the terminal on which a bar would be drawn.
    fn leaves_room_for_a_bar(&self) -> bool {
        matches!(self, Self::Folder { .. } | Self::Lines(..))
            || io::stdout().is_terminal()
            || stdout_is_a_file()
    }

    /// Writes the line of a recording that cannot be read where lines are kept; where they go to standard output, gives it.
    fn line_of_failure(&self, path: &Path, error: &str) -> Option<SpooledTempFile> {
        let line = Failed {
            file: path.display().to_string(),
            error,
        };
        match self {
            Self::Stdout(format, _) if format.name == JSON_LINES => {
                spooled(|out| write_json_line(&line, out)).ok()
            }
            Self::Lines(lines, done) if !done.has_failure(path, error) => {
                let mut text = Vec::new();
                // What does not fit there either is told on standard error all the same.
                let _ = write_json_line(&line, &mut text).map(|()| add_line(lines, &text));
                None
            }
            _ => None,
        }
    }
}

fn add_line(lines: &Mutex<LinesFile>, line: &[u8]) -> Result<(), LinesError> {
    let mut lines = lines.lock().unwrap_or_else(PoisonError::into_inner);
    lines.add(line)
}

/// True if standard output goes to a file on the disk.
fn stdout_is_a_file() -> bool {
    #[cfg(unix)]
    let own = std::os::fd::AsFd::as_fd(&io::stdout()).try_clone_to_owned();
    #[cfg(windows)]
    let own = std::os::windows::io::AsHandle::as_handle(&io::stdout()).try_clone_to_owned();
    let metadata = own.and_then(|own| std::fs::File::from(own).metadata());
    metadata.is_ok_and(|metadata| metadata.is_file())
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

/// One recording of this call.
struct Job<'a> {
    recording: &'a Path,
    /// The file its result goes to, if it goes to one; or why it cannot be done at all.
    target: Result<Option<PathBuf>, String>,
}

/// The recordings of this call, each with its target; one whose target another recording of the whole list has already is refused.
fn plan<'a>(
    files: &'a [PathBuf],
    output: &Output,
    is_mine: impl Fn(&Path) -> bool,
) -> Vec<Job<'a>> {
    let Output::Folder {
        format,
        folder,
        force,
        keep_folders,
        ..
    } = output
    else {
        let mine = files.iter().filter(|file| is_mine(file));
        return mine
            .map(|recording| Job {
                recording,
                target: Ok(None),
            })
            .collect();
    };
    let names: Vec<Result<PathBuf, String>> = match keep_folders {
        true => files.iter().map(|file| name_below_folders(file)).collect(),
        false => files
            .iter()
            .zip(result_names(files))
            .map(|(file, name)| name.map(PathBuf::from).ok_or_else(|| no_recording(file)))
            .collect(),
    };
    let remedy = match keep_folders {
        true => "",
        false => "add --keep-folders, or ",
    };
    let mut taken: HashMap<OsString, &Path> = HashMap::new();
    let mut target = |file: &'a Path, name: Result<PathBuf, String>, is_mine: bool| {
        let mut name = name?.into_os_string();
        name.push(".");
        name.push(format.extension);
        let target = folder.join(&name);
        if let Some(other) = taken.get(&folded(&name)) {
            return Err(format!(
                "{}: its result would overwrite that of {} in {}; {remedy}read it in a call of its own with another --into",
                file.display(),
                other.display(),
                target.display()
            ));
        }
        taken.insert(folded(&name), file);
        if is_mine {
            may_write(&target, format.mark, *force)?;
        }
        Ok(Some(target))
    };
    files
        .iter()
        .zip(names)
        .filter_map(|(recording, name)| {
            let is_mine = is_mine(recording);
            let target = target(recording, name, is_mine);
            is_mine.then_some(Job { recording, target })
        })
        .collect()
}

fn no_recording(file: &Path) -> String {
    format!(
        "{}: this names no recording; give the path of a file",
        file.display()
    )
}

/// The path, below the folder of results, of a recording's result, without its ending.
fn name_below_folders(file: &Path) -> Result<PathBuf, String> {
    let name = file.file_stem().ok_or_else(|| no_recording(file))?;
    let mut path = PathBuf::new();
    for part in file
        .parent()
        .iter()
        .flat_map(|folders| folders.components())
    {
        match part {
            Component::Normal(folder) => path.push(folder),
            Component::ParentDir => {
                return Err(format!(
                    "{}: '..' in its path leads out of the folder of results; name it without, or leave --keep-folders out",
                    file.display()
                ));
            }
            Component::Prefix(_) | Component::RootDir | Component::CurDir => {}
        }
    }
    Ok(path.join(name))
}

/// Why a recording gave no result, and what stands for it on standard output, if anything does.
struct Failure {
    sentence: String,
    line: Option<SpooledTempFile>,
}

/// What a recording gave.
#[derive(Default)]
struct Given {
    /// What is to be printed, if anything is.
    text: Option<SpooledTempFile>,
    /// What is to be told of it, a sentence each.
    noticed: Vec<String>,
}

type Outcome = Result<Given, Failure>;

/// The recordings of one call on their way through the threads.
struct Readings<'a> {
    jobs: &'a [Job<'a>],
    read: &'a ReadRecording<'a>,
    options: &'a RecordingOptions,
    output: &'a Output,
    bar: &'a ProgressBar,
    stop: &'a AtomicBool,
    skip_done: bool,
    done_before: &'a AtomicUsize,
}

/// How far a recording is read ahead of the one whose result is due; results wait in memory.
const AHEAD: usize = 32;

/// Steps of the progress bar a recording.
const STEPS: u64 = 1000;

impl Readings<'_> {
    /// Reads all recordings and hands on, in the order of the jobs, what is to be printed or the sentence of a failure.
    fn in_order(&self, mut hand_on: impl FnMut(Outcome)) {
        let cores = thread::available_parallelism().map_or(1, usize::from);
        let next = AtomicUsize::new(0);
        let turn = Turn::default();
        let (sender, receiver) = mpsc::channel();
        thread::scope(|scope| {
            for _ in 0..cores.min(self.jobs.len()) {
                let (sender, next, turn) = (sender.clone(), &next, &turn);
                scope.spawn(move || {
                    while !self.stop.load(Ordering::Relaxed) {
                        let index = next.fetch_add(1, Ordering::Relaxed);
                        let Some(job) = self.jobs.get(index) else {
                            break;
                        };
                        if self.output.is_in_order() {
                            turn.wait_until_near(index);
                        }
                        let outcome = self.carry_out(job).map_err(|sentence| Failure {
                            line: self.output.line_of_failure(job.recording, &sentence),
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
                    turn.is_of(due);
                }
            }
        });
    }

    fn carry_out(&self, job: &Job<'_>) -> Result<Given, String> {
        let mut told = 0;
        let path = job.recording;
        let outcome = job.target.clone().and_then(|target| {
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
        if self.skip_done && self.output.has_result_of(path, target, self.options) {
            self.done_before.fetch_add(1, Ordering::Relaxed);
            return Ok(Given::default());
        }
        if waits_for_a_writer(path) {
            let waiting = format!(
                "{}: waiting for a program that writes to it; Ctrl-C ends this",
                path.display()
            );
            self.bar.suspend(|| tell(&waiting));
        }
        let heard = (self.read)(path, self.options, self.stop, &mut progress)
            .map_err(|error| sentence(&error, InCommand::Take))?;
        Ok(Given {
            text: self.hand_over(path, target, &heard)?,
            noticed: self.noticed(&heard),
        })
    }

    /// Writes what was heard to where it goes, or gives what is to be printed.
    fn hand_over(
        &self,
        path: &Path,
        target: Option<&Path>,
        heard: &Heard,
    ) -> Result<Option<SpooledTempFile>, String> {
        match (self.output, target) {
            (
                Output::Folder {
                    format, options, ..
                },
                Some(target),
            ) => make_folder(target.parent().unwrap_or(target))
                .and_then(|()| write_whole(target, |out| (format.write)(heard, options, out)))
                .map(|()| None)
                .map_err(|error| error.to_string()),
            (Output::Lines(lines, _), _) => {
                let mut line = Vec::new();
                write_json_line(&heard.document(), &mut line)
                    .map_err(|error| format!("{}: {error}", path.display()))
                    .and_then(|()| add_line(lines, &line).map_err(|error| error.to_string()))
                    .map(|()| None)
            }
            _ => self.output.text(heard).map_err(|error| {
                format!(
                    "{}: its result found no room for temporary files ({error}); write to a folder with --into DIR instead",
                    path.display()
                )
            }),
        }
    }

    /// What is to be told of a recording: its chart says it by itself.
    fn noticed(&self, heard: &Heard) -> Vec<String> {
        match self.output {
            Output::Chart { .. } => Vec::new(),
            Output::Stdout(..) | Output::Folder { .. } | Output::Lines(..) => heard
                .warnings
                .iter()
                .map(|warning| note(&heard.file, warning))
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

/// Whose turn it is to be handed on.
#[derive(Default)]
struct Turn {
    due: Mutex<usize>,
    moved: Condvar,
}

impl Turn {
    fn is_of(&self, index: usize) {
        *self.due.lock().unwrap_or_else(PoisonError::into_inner) = index;
        self.moved.notify_all();
    }

    /// Waits until no more than [`AHEAD`] are due before `index`. The one that is due never waits, so that it always goes on.
    fn wait_until_near(&self, index: usize) {
        let due = self.due.lock().unwrap_or_else(PoisonError::into_inner);
        let near = self.moved.wait_while(due, |due| index > *due + AHEAD);
        drop(near.unwrap_or_else(PoisonError::into_inner));
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
        let done_before = AtomicUsize::new(0);
        let jobs = plan(&files, output, |_| true);
        let readings = Readings {
            jobs: &jobs,
            read: &|path, _, _, _| {
                let name = path.display().to_string();
                let heard = HeardSoFar::new(name, Wording::default());
                Ok(heard.end(SamplePos::START, None))
            },
            options: &RecordingOptions::default(),
            output,
            bar: &bar,
            stop: &stop,
            skip_done: false,
            done_before: &done_before,
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
            keep_folders: false,
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
