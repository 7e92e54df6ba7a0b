//! A table for spreadsheets: one chord a row.
//!
//! Input: a [`Heard`] recording. Output: UTF-8 comma-separated values (RFC 4180) under a row of column names; `.` is the decimal point.
//! Units: seconds with three decimals, scores 0 to 1. Method: the rows are the chords of the [`Piece`].
//! Limits: spreadsheets take a cell that begins with `=`, `+`, `-` or `@` for a formula, so such a cell gets a space before it.

use crate::chart::piece::{Piece, PieceChord, PieceName};
use crate::chart::recording::Heard;
use crate::chart::written;
use crate::harmony::chord::label;
use crate::harmony::{Style, Verdict};
use std::io::{self, Write};

/// The columns.
const COLUMNS: [&str; 16] = [
    "start",
    "end",
    "name",
    "name_ascii",
    "label",
    "score",
    "verdict",
    "other_names",
    "key",
    "numeral",
    "function",
    "notes",
    "midi",
    "degrees",
    "stands_for",
    "reading",
];

/// Writes the table.
///
/// # Errors
/// If `out` cannot be written to.
pub fn write_csv(heard: &Heard, out: &mut dyn Write) -> io::Result<()> {
    let piece = Piece::of(heard);
    let mut table = ::csv::Writer::from_writer(out);
    table.write_record(COLUMNS)?;
    for chord in &piece.chords {
        table.write_record(row(chord, piece.style).map(no_formula))?;
    }
    table.flush()
}

fn row(chord: &PieceChord, style: Style) -> [String; COLUMNS.len()] {
    let best = chord.names.first();
    let name = |style| {
        best.map(|name| name.chord.symbol(style))
            .unwrap_or_default()
    };
    let words = |words: Vec<String>| words.join(" ");
    let label = |name: &PieceName| label::write(&name.chord, name.sounding);
    [
        format!("{:.3}", chord.start.get()),
        format!("{:.3}", chord.end.get()),
        name(style),
        name(Style::Ascii),
        best.map(label).unwrap_or_default(),
        best.map(|name| format!("{:.3}", name.score.get()))
            .unwrap_or_default(),
        verdict(chord.verdict).to_owned(),
        words(
            chord
                .names
                .iter()
                .skip(1)
                .map(|name| name.chord.symbol(style))
                .collect(),
        ),
        chord.key.map(|key| key.to_string()).unwrap_or_default(),
        chord.numeral.clone().unwrap_or_default(),
        chord.function.unwrap_or_default().to_owned(),
        words(chord.keys.iter().map(ToString::to_string).collect()),
        words(
            chord
                .keys
                .iter()
                .map(|key| key.midi.get().to_string())
                .collect(),
        ),
        words(
            chord
                .degrees
                .iter()
                .map(|(note, degree)| format!("{note}:{degree}"))
                .collect(),
        ),
        chord
            .stands_for
            .map(|chord| chord.symbol(style))
            .unwrap_or_default(),
        chord
            .reading
            .as_ref()
            .map(|reading| format!("{} {}", reading.kind, written::stands_for(reading, style)))
            .unwrap_or_default(),
    ]
}

fn verdict(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Named => "named",
        Verdict::Undecided => "undecided",
        Verdict::NoGoodName => "no-good-name",
    }
}

fn no_formula(cell: String) -> String {
    match cell.starts_with(['=', '+', '-', '@']) {
        true => format!(" {cell}"),
        false => cell,
    }
}
