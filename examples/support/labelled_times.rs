//! Labelled pieces one after another, with the labelled times of their beats or downbeats.

use crate::labelled::{notes, number};
use lidprop::playing::PlayedNote;
use serde_json::Value;
use std::error::Error;

/// Looks at every piece of the `truth.json` files that the command line names: the path of its file, its name, its notes, and its times under `label` (s).
///
/// # Errors
/// If a file cannot be read, or a piece lacks something.
pub fn each_piece(
    label: &str,
    mut look: impl FnMut(&str, &str, &[PlayedNote], &[f64]),
) -> Result<(), Box<dyn Error>> {
    for path in std::env::args().skip(1) {
        let truth: Value = serde_json::from_str(&std::fs::read_to_string(&path)?)?;
        for clip in truth["clips"].as_array().ok_or("no clips")? {
            let name = clip["file"].as_str().ok_or("a clip without a file")?;
            let times = clip[label].as_array().ok_or("a clip without its times")?;
            let times: Vec<f64> = times.iter().map(number).collect::<Result<_, _>>()?;
            look(&path, name, &notes(clip)?, &times);
        }
    }
    Ok(())
}
