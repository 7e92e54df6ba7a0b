//! What to practise, from files: a typed chart, a document.
//!
//! Input: a path. Output: [`Material`]. Units: none. Method: [`TypedChart`] reads charts, serde documents. Limits: of a chart the chords one after another, without
//! its rhythm; of a document its last chord of three keys or more.

use crate::chart::document::Recording;
use crate::chart::typed::{ChartChord, TypedChart};
use crate::cli::error::CliError;
use crate::practice::{ChartStep, Material};
use crate::store::file::{LARGEST_TEXT, read_text};
use crate::units::MidiNote;
use std::path::Path;

/// Fewer keys are no voicing.
const FEWEST_KEYS: usize = 3;

fn text_of(path: &Path) -> Result<String, CliError> {
    let refuse = |why: &dyn std::fmt::Display| {
        CliError::failed(format!(
            "{}: it cannot be read ({why}); check the spelling and the folder",
            path.display()
        ))
    };
    read_text(path, LARGEST_TEXT).map_err(|error| refuse(&error))
}

/// The chords of a typed chart.
///
/// # Errors
/// If it cannot be read, or has no chord.
pub fn of_chart(path: &Path) -> Result<Material, CliError> {
    let chart: TypedChart = text_of(path)?
        .parse()
        .map_err(|error| CliError::failed(format!("{}: {error}", path.display())))?;
    let steps: Vec<ChartStep> = chart
        .changes()
        .into_iter()
        .filter_map(|change| match change.chord {
            ChartChord::Silent => None,
            ChartChord::Symbol(chord) => Some(ChartStep::Symbol(chord)),
            ChartChord::Voicing(sounding) => Some(ChartStep::Keys(
                sounding.notes.iter().map(|note| note.midi).collect(),
            )),
        })
        .collect();
    if steps.is_empty() {
        return Err(CliError::failed(format!(
            "{}: the chart has no chord; write bars as | Dm7 G7 | Cmaj7 |",
            path.display()
        )));
    }
    Ok(Material::Chart(steps))
}

/// The last voicing of a document.
///
/// # Errors
/// If it cannot be read, or has none.
pub fn of_document(path: &Path) -> Result<Material, CliError> {
    let document: Recording = serde_json::from_str(&text_of(path)?).map_err(|error| {
        CliError::failed(format!(
            "{}: this is no document of lidprop ({error}); give what `lidprop take --write json` has written",
            path.display()
        ))
    })?;
    let voicings = document.chords.iter().rev().map(|chord| &chord.midi);
    let keys: Option<Vec<MidiNote>> = voicings
        .filter(|keys| keys.len() >= FEWEST_KEYS)
        .map(|keys| keys.to_vec())
        .next();
    let keys = keys.ok_or_else(|| {
        CliError::failed(format!(
            "{}: no chord of three keys or more was heard in it; play the voicing again and keep it",
            path.display()
        ))
    })?;
    Ok(Material::of_keys(keys)?)
}
