//! `lidprop take A --against B`: one recording held against another, or against a typed chart.
//!
//! Input: the arguments of `take`. Output: what differs as text, or one of the [`COMPARISON_FORMATS`]. Units: as these state.
//! Method: a file that is text is read as a chart, anything else as a recording. Limits: one recording a call.

use super::error::{CliError, CommandResult, note, tell};
use super::remedies::{InCommand, sentence};
use super::take::{ReadRecording, TakeArgs};
use super::targets::may_write;
use crate::chart::comparison::Comparison;
use crate::chart::piece::Piece;
use crate::chart::typed::TypedChart;
use crate::publish::comparison::COMPARISON_FORMATS;
use crate::publish::{Format, WriteOptions};
use crate::session::kept_sound::Keep;
use crate::session::recording::RecordingOptions;
use crate::store::file::{make_folder, write_whole};
use crate::view::comparison::print_comparison;
use crate::view::ink::Ink;
use std::fs::File;
use std::io::{self, BufWriter, Read, Write};
use std::path::Path;
use std::sync::atomic::AtomicBool;

/// A chart that is longer is none (bytes).
const LONGEST_CHART: u64 = 1 << 16;

/// Holds the recording of `args` against `against`.
///
/// # Errors
/// If one of them cannot be read, or the result not be written.
pub fn run(
    args: &TakeArgs,
    against: &Path,
    options: &RecordingOptions,
    read: &ReadRecording<'_>,
) -> CommandResult {
    let [file] = args.files.as_slice() else {
        return Err(CliError::Usage(format!(
            "{} recordings cannot be held against one; name one of them",
            args.files.len()
        )));
    };
    let written = written(args)?;
    // The sound itself has no part in it.
    let options = RecordingOptions {
        keep: Keep::Nothing,
        ..options.clone()
    };
    let heard = |path: &Path| {
        let heard = read(path, &options, &AtomicBool::new(false), &mut |_| {})
            .map_err(|error| CliError::failed(sentence(&error, InCommand::Take)))?;
        for warning in &heard.warnings {
            tell(&note(&heard.file, warning));
        }
        Ok::<_, CliError>(Piece::of(&heard))
    };
    let second_name = against.display().to_string();
    let comparison = match text(against) {
        Some(text) => {
            let chart: TypedChart = text
                .parse()
                .map_err(|error| CliError::failed(format!("{second_name}: {error}")))?;
            Comparison::with_chart(&heard(file)?, &second_name, &chart)
        }
        None => Comparison::of_two(&heard(file)?, &heard(against)?),
    };
    match (written, &args.into) {
        (Some((format, options)), Some(folder)) => {
            make_folder(folder).map_err(CliError::failed)?;
            let mut name = file.file_stem().unwrap_or_default().to_owned();
            name.push(".");
            name.push(format.extension);
            let target = folder.join(name);
            may_write(&target, format.mark, args.force).map_err(CliError::Failed)?;
            write_whole(&target, |out| (format.write)(&comparison, &options, out))
                .map_err(CliError::failed)
        }
        (written, _) => {
            let mut out = BufWriter::new(io::stdout().lock());
            match written {
                Some((format, options)) => (format.write)(&comparison, &options, &mut out),
                None => {
                    print_comparison(&comparison, Ink::for_style(args.naming.style).0, &mut out)
                }
            }
            .and_then(|()| out.flush())
            .map_err(CliError::from_stdout)
        }
    }
}

/// The format that is asked for, of those that a comparison has.
fn written(
    args: &TakeArgs,
) -> Result<Option<(&'static Format<Comparison>, WriteOptions)>, CliError> {
    let Some(asked) = args.write else {
        return Ok(None);
    };
    let Some(format) = COMPARISON_FORMATS
        .iter()
        .find(|format| format.name == asked.name)
    else {
        let names: Vec<&str> = COMPARISON_FORMATS
            .iter()
            .map(|format| format.name)
            .collect();
        return Err(CliError::Usage(format!(
            "a comparison cannot be written as {}; give one of {}",
            asked.name,
            names.join(", ")
        )));
    };
    let options = args
        .publish
        .asked(format, COMPARISON_FORMATS, args.held, args.naming.style)?;
    Ok(Some((format, options)))
}

/// The whole of a file that is text; `None` for anything else, which is then told where it is read as a recording.
fn text(path: &Path) -> Option<String> {
    let file = File::open(path).ok()?;
    let metadata = file.metadata().ok()?;
    if !metadata.is_file() || metadata.len() > LONGEST_CHART {
        return None;
    }
    let mut text = String::new();
    file.take(LONGEST_CHART).read_to_string(&mut text).ok()?;
    (!text.trim().is_empty() && !text.contains('\0')).then_some(text)
}
