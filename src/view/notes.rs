//! Notes and times as all views write them: doubtful notes marked, what the marks mean, times.
//!
//! Input: notes with their names and certainties; seconds. Output: text.
//! Units: minutes and seconds with tenths. Method: our own; one place, so that the printed chart and the live screen say the same.
//! Limits: names are spelled by whoever asks.

use crate::chart::document::KeyMark;
use crate::chart::entries::marks;
use crate::listener::{Certainty, ChordNote};

pub use crate::units::clock::clock;

/// What the marks of [`notes_text`] mean: a line for each kind that is there.
pub fn legends(marks: &[KeyMark]) -> impl Iterator<Item = &'static str> {
    let doubtful = |mark: &KeyMark| mark.certainty != Certainty::Sure && !mark.octave_open;
    let used = [
        (
            marks.iter().any(doubtful),
            "A4? likely   (A4) perhaps only ringing along",
        ),
        (
            marks.iter().any(|mark| mark.octave_open),
            "A4~ its octave cannot be told: perhaps only the key below",
        ),
    ];
    used.into_iter()
        .filter(|(used, _)| *used)
        .map(|(_, legend)| legend)
}

/// The notes lowest first by their `names`, the doubtful ones marked: `A4~` where only the octave is in doubt, else as [`note_text`].
pub fn notes_text(notes: &[ChordNote], names: &[String]) -> String {
    let marked = marks(notes)
        .into_iter()
        .zip(names)
        .map(|(mark, name)| match mark.octave_open {
            true => format!("{name}~"),
            false => note_text(name, mark.certainty),
        });
    marked.collect::<Vec<_>>().join(" ")
}

/// The name of a note, marked if it is doubtful: `A4`, `A4?`, `(A4)`.
pub fn note_text(name: &str, certainty: Certainty) -> String {
    match certainty {
        Certainty::Sure => name.to_owned(),
        Certainty::Likely => format!("{name}?"),
        Certainty::Inferred => format!("({name})"),
    }
}
