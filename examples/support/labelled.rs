//! What the examples that fit weights read of a labelled piece.

use lidprop::playing::PlayedNote;
use lidprop::units::{MidiNote, Seconds, Share};
use serde_json::Value;
use std::error::Error;

/// A number of the labels.
///
/// # Errors
/// If it is none.
pub fn number(value: &Value) -> Result<f64, &'static str> {
    value.as_f64().ok_or("no number")
}

/// The notes of a clip of a `truth.json`, by start.
///
/// # Errors
/// If it has none, or one of them lacks its key, times or velocity.
pub fn notes(clip: &Value) -> Result<Vec<PlayedNote>, Box<dyn Error>> {
    let mut notes = Vec::new();
    for note in clip["notes"].as_array().ok_or("a clip without notes")? {
        notes.push(PlayedNote {
            midi: MidiNote::new(number(&note["midi"])? as u8)?,
            start: Seconds::new(number(&note["onset"])?)?,
            end: Seconds::new(number(&note["offset"])?)?,
            strength: Share::clamped(number(&note["velocity"])? as f32 / 127.0),
            confidence: Share::ONE,
        });
    }
    notes.sort_by(|a, b| a.start.get().total_cmp(&b.start.get()));
    Ok(notes)
}
