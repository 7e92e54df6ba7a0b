//! Publish: what was heard, written for other programs.
//!
//! Input: [`Heard`] recordings. Output: bytes of one of the [`FORMATS`].
//! Units: seconds from the start of the recording. Method: one function a format, one row a format.
//! Limits: a format writes what it can hold; only JSON holds everything.

pub mod drill;
mod json;
mod labels;

pub use json::{write_json, write_json_line};

use crate::chart::recording::Heard;
use std::io::{self, Write};

/// A way of writing down what was heard.
#[derive(Debug, Clone, Copy)]
pub struct Format {
    /// The name by which the user asks for it.
    pub name: &'static str,
    /// What it holds, in a line.
    pub about: &'static str,
    /// The ending of its files, without the dot.
    pub extension: &'static str,
    /// Writes one recording.
    pub write: fn(&Heard, &mut dyn Write) -> io::Result<()>,
}

/// All formats: a new one is one row here and its file.
pub const FORMATS: &[Format] = &[
    Format {
        name: "json",
        about: "everything: notes, chords, names and readings (schema lidprop/2)",
        extension: "json",
        write: write_json,
    },
    Format {
        name: "labels",
        about: "one chord a line: start, end, label, tab-separated (Harte et al. syntax)",
        extension: "lab",
        write: labels::write_labels,
    },
];

/// The format of that name.
pub fn format(name: &str) -> Option<&'static Format> {
    FORMATS.iter().find(|format| format.name == name)
}
