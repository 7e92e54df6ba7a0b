//! Publish: what was heard, written for other programs and for people.
//!
//! Input: what is published: a [`Heard`] recording, a comparison, a sheet in all keys, stand-ins. Output: bytes of one of its formats: [`FORMATS`] are those of a recording,
//! [`comparison::COMPARISON_FORMATS`], [`sheet::SHEET_FORMATS`] and [`stand_ins::STAND_IN_FORMATS`] those of the others.
//! Units: seconds from the start of the recording. Method: one function a format, one row a format; all that a user may ask of them stands in
//! [`WriteOptions`]. All but JSON and labels write the same [`Piece`](crate::chart::piece::Piece).
//! Limits: a format writes what it can hold; only JSON holds everything.

mod captions;
pub mod comparison;
mod csv;
pub mod drill;
mod json;
mod labels;
mod midi;
pub mod musicxml;
mod options;
pub mod page;
pub mod practice;
pub mod sheet;
pub mod stand_ins;
mod text;

pub use json::{write_json, write_json_line};
pub use options::{PageOptions, What, WriteOptions};

use crate::chart::recording::Heard;
use std::io::{self, Write};

/// A way of writing down a `T`.
#[derive(Debug)]
pub struct Format<T: 'static> {
    /// The name by which the user asks for it.
    pub name: &'static str,
    /// What it holds, in a line.
    pub about: &'static str,
    /// The ending of its files, without the dot.
    pub extension: &'static str,
    /// Words near the beginning of each file by which lidprop knows it for its own; `None` where the format has no place for them.
    pub mark: Option<&'static str>,
    /// Options that mean something to it.
    pub heeds: &'static [Heeded],
    /// Writes one.
    pub write: fn(&T, &WriteOptions, &mut dyn Write) -> io::Result<()>,
}

/// A part of [`WriteOptions`] that only some formats heed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Heeded {
    /// [`WriteOptions::what`].
    What,
    /// [`WriteOptions::voices`].
    Voices,
    /// [`WriteOptions::page`].
    Page,
    /// The sound itself, where the recording kept it.
    Sound,
    /// [`WriteOptions::held`].
    Held,
    /// The house style of symbols, which comes with what is written.
    Style,
}

/// The formats of a recording: a new one is one row here and its file.
pub const FORMATS: &[Format<Heard>] = &[
    Format {
        name: "json",
        about: "everything: notes, chords, names and readings (schema lidprop/2)",
        extension: "json",
        mark: Some("\"lidprop/"),
        heeds: &[Heeded::Style],
        write: |heard, _, out| write_json(heard, out),
    },
    Format {
        name: JSON_LINES,
        about: "the same on one line per recording, several recordings after another; an error line where one fails",
        extension: "jsonl",
        mark: Some("\"lidprop/"),
        heeds: &[Heeded::Style],
        write: |heard, _, out| write_json_line(&heard.document(), out),
    },
    Format {
        name: "labels",
        about: "one line per chord: start, end, label, tab-separated (Harte et al. syntax)",
        extension: "lab",
        mark: None,
        heeds: &[],
        write: |heard, _, out| labels::write_labels(heard, out),
    },
    Format {
        name: "csv",
        about: "one row per chord, for spreadsheets: times, names, key, numeral, notes, degrees, reading",
        extension: "csv",
        mark: None,
        heeds: &[Heeded::Style],
        write: |heard, _, out| csv::write_csv(heard, out),
    },
    Format {
        name: "chart",
        about: "the chart as it is printed",
        extension: "txt",
        mark: None,
        heeds: &[Heeded::Held, Heeded::Style],
        write: |heard, options, out| text::write_chart(heard, options, out),
    },
    Format {
        name: "midi",
        about: "a MIDI file: notes, pedal, chord names and keys as markers, tempo where beats are known",
        extension: "mid",
        mark: Some(midi::MARK),
        heeds: &[Heeded::Voices],
        write: |heard, options, out| midi::write_midi(heard, options, out),
    },
    Format {
        name: "musicxml",
        about: "sheet music (MusicXML 4.0): chord symbols over a grand staff",
        extension: "musicxml",
        mark: Some(musicxml::MARK),
        heeds: &[Heeded::What, Heeded::Style],
        write: |heard, options, out| musicxml::write_musicxml(heard, options, out),
    },
    Format {
        name: "page",
        about: "one HTML file that shows and plays the recording: keyboards, staves, names, readings",
        extension: "html",
        mark: Some(page::MARK),
        heeds: &[Heeded::Page, Heeded::Sound, Heeded::Style],
        write: |heard, options, out| page::write_page(heard, options, out),
    },
    Format {
        name: "captions",
        about: "captions for a video (WebVTT): name, numeral, notes, reading",
        extension: "vtt",
        mark: Some(captions::MARK),
        heeds: &[Heeded::Style],
        write: |heard, _, out| captions::write_webvtt(heard, out),
    },
    Format {
        name: "subrip",
        about: "the same captions as SubRip",
        extension: "srt",
        mark: None,
        heeds: &[Heeded::Style],
        write: |heard, _, out| captions::write_subrip(heard, out),
    },
];

/// The format in which several recordings share one stream.
pub const JSON_LINES: &str = "jsonl";

/// The format of that name.
pub fn format(name: &str) -> Option<&'static Format<Heard>> {
    FORMATS.iter().find(|format| format.name == name)
}
