//! The tune of `lidprop standin`, from whatever it was given as.
//!
//! Input: a typed progression, a chart file, MusicXML, or what `take` wrote; a typed melody. Output: a [`Tune`], or the sentence that says why not. Units: beats.
//! Method: the readers of [`crate::chart`] and [`crate::publish::musicxml::read`]; MusicXML is told by its first bytes. Limits: files are read whole.

use super::StandinArgs;
use crate::chart::document::Recording;
use crate::chart::tunes::{NoTune, tune_of_chart, tune_of_recording};
use crate::chart::typed::TypedChart;
use crate::cli::CliError;
use crate::harmony::Key;
use crate::harmony::standins::Tune;
use crate::publish::musicxml::read as musicxml;
use crate::store::file::{LARGEST_TEXT, read_text};
use std::fmt::Display;
use std::fs::File;
use std::io::Read;
use std::path::Path;

/// Reads it.
///
/// # Errors
/// If the progression or the melody cannot be read.
pub fn tune(args: &StandinArgs) -> Result<Tune, CliError> {
    let key = args.naming.context().key;
    let melody = args.melody.as_deref();
    if let Some(path) = &args.from {
        let text = read(path)?;
        let recording: Recording = serde_json::from_str(&text).map_err(|wrong| {
            CliError::failed(format!(
                "{} is not what take wrote: {wrong}; write it with `lidprop take --write json RECORDING`",
                path.display()
            ))
        })?;
        return tune_of_recording(&recording, key)
            .map_err(|wrong| CliError::failed(format!("{}: {wrong}", path.display())));
    }
    if let Some(path) = &args.chart {
        if looks_like_musicxml(path) {
            return of_musicxml(path, args, key);
        }
        let chart: TypedChart = read(path)?
            .parse()
            .map_err(|wrong| CliError::failed(format!("{}: {wrong}", path.display())))?;
        return tune_of_chart(&chart, melody, key).map_err(|wrong| match wrong {
            NoTune::Melody(_) | NoTune::Tune(_) => CliError::Usage(wrong.to_string()),
            _ => CliError::failed(format!("{}: {wrong}", path.display())),
        });
    }
    let usage = |wrong: String| CliError::Usage(wrong);
    let text = args.progression.as_deref().unwrap_or_default();
    let chart: TypedChart = text
        .parse()
        .map_err(|wrong| usage(format!("the progression, {wrong}")))?;
    tune_of_chart(&chart, melody, key).map_err(|wrong| usage(wrong.to_string()))
}

/// True where a file begins as markup or as a compressed folder does.
fn looks_like_musicxml(path: &Path) -> bool {
    let mut head = [0; 64];
    let read = File::open(path).and_then(|mut file| file.read(&mut head));
    read.is_ok_and(|count| musicxml::looks_like(&head[..count]))
}

fn of_musicxml(path: &Path, args: &StandinArgs, key: Option<Key>) -> Result<Tune, CliError> {
    if args.melody.is_some() {
        return Err(CliError::Usage(format!(
            "{} holds a melody of its own; leave --melody out, or type the chords",
            path.display()
        )));
    }
    let refuse = |why: &dyn Display| CliError::failed(format!("{}: {why}", path.display()));
    let file = File::open(path).map_err(|wrong| refuse(&wrong))?;
    let mut bytes = Vec::new();
    file.take(musicxml::LARGEST + 1)
        .read_to_end(&mut bytes)
        .map_err(|wrong| refuse(&wrong))?;
    let tune = musicxml::read_tune(&bytes).map_err(|wrong| refuse(&wrong))?;
    Ok(Tune {
        key: key.or(tune.key),
        ..tune
    })
}

fn read(path: &Path) -> Result<String, CliError> {
    read_text(path, LARGEST_TEXT).map_err(|wrong| {
        CliError::failed(format!(
            "cannot read {}: {wrong}; check the name and that it is a text file",
            path.display()
        ))
    })
}
