//! A typed progression, printed for reading: one line a chord, then the cadences.
//!
//! Input: an [`AnalysedChart`]. Output: lines of text. Units: bars from 1. Method: what a player writes under a chart: numeral, function, stand-in and
//! the voices that move into the next chord; a local key is told where it changes. Limits: lines are not wrapped.

use super::ink::Ink;
use super::spelling::Hand;
use crate::chart::analysed::{AnalysedChange, AnalysedChart};
use crate::harmony::{Cadence, Key};
use std::io::{self, Write};

/// One row before it is set in columns.
struct Row {
    bar: String,
    chord: String,
    numeral: String,
    function: String,
    moves: String,
}

/// Prints a progression; with `more` also what each voice does.
///
/// # Errors
/// If nothing can be written.
pub fn print_progression(
    chart: &AnalysedChart,
    more: bool,
    hand: Hand,
    ink: Ink,
    out: &mut dyn Write,
) -> io::Result<()> {
    let changes = chart.analysed();
    let rows: Vec<Row> = changes
        .iter()
        .map(|change| row(change, hand, ink))
        .collect();
    let width = |of: fn(&Row) -> &String| {
        let columns = rows.iter().map(|row| of(row).chars().count());
        columns.max().unwrap_or(0)
    };
    let (bar, chord) = (width(|row| &row.bar), width(|row| &row.chord));
    let (numeral, function) = (width(|row| &row.numeral), width(|row| &row.function));
    let mut key: Option<Key> = None;
    let mut told = 0;
    for (change, row) in changes.iter().zip(&rows) {
        // A section may begin in a bar that only repeats a chord.
        for section in (told..=change.change.bar).filter_map(|bar| chart.section(bar)) {
            writeln!(out, "{}", ink.strong(format!("[{section}]")))?;
        }
        told = change.change.bar + 1;
        let local = change.place.map(|place| place.key);
        if local.is_some() && local != key {
            key = local;
            let name = local.map(|key| key.to_string()).unwrap_or_default();
            writeln!(out, "{}", ink.faint(format!("in {name}")))?;
        }
        let symbol = format!("{:<chord$}", row.chord);
        let line = format!(
            "{:>bar$}  {}  {:<numeral$}  {:<function$}  {}",
            row.bar,
            ink.strong(symbol),
            row.numeral,
            row.function,
            ink.faint(&row.moves)
        );
        writeln!(out, "{}", line.trim_end())?;
        if more {
            print_more(change, bar, hand, out)?;
        }
    }
    for cadence in chart.interpretation.cadences() {
        writeln!(out, "{}", cadence_line(cadence, &changes))?;
    }
    Ok(())
}

fn row(analysed: &AnalysedChange, hand: Hand, ink: Ink) -> Row {
    let change = analysed.change;
    let beat = change.beat;
    let name = analysed.naming.names.first();
    let name = name.map_or("N.C.".to_owned(), |name| hand.chord(&name.chord));
    let stands_for = analysed.place.and_then(|place| place.stands_for);
    let chord = match stands_for {
        Some(chord) if name.starts_with(&hand.chord(&chord)) => name,
        Some(chord) => format!("{name} = {} without root", hand.chord(&chord)),
        None => name,
    };
    Row {
        bar: if beat == 0.0 {
            format!("{}", change.bar + 1)
        } else {
            format!("{}.{}", change.bar + 1, beat + 1.0)
        },
        chord,
        numeral: analysed
            .place
            .map_or(String::new(), |place| ink.signs(place.numeral.to_string())),
        function: analysed
            .place
            .map_or(String::new(), |place| place.role.to_string()),
        moves: hand.moves(&analysed.moves),
    }
}

fn print_more(
    change: &AnalysedChange,
    indent: usize,
    hand: Hand,
    out: &mut dyn Write,
) -> io::Result<()> {
    if let Some(name) = change.naming.names.first() {
        writeln!(out, "{:indent$}    {}", "", hand.degrees(&name.degrees))?;
    }
    if !change.moves.is_empty() {
        writeln!(out, "{:indent$}    {}", "", hand.voices(&change.moves))?;
    }
    Ok(())
}

/// `two-five-one to C major, bars 1 to 3`.
fn cadence_line(cadence: &Cadence, changes: &[AnalysedChange]) -> String {
    let bar = |chord: usize| changes.get(chord).map_or(0, |c| c.change.bar + 1);
    let (first, last) = (bar(cadence.first), bar(cadence.last));
    let bars = if first == last {
        format!("bar {first}")
    } else {
        format!("bars {first} to {last}")
    };
    let marks = [
        (cadence.stand_in, ", its dominant a stand-in"),
        (cadence.substitute, ", its dominant the tritone substitute"),
    ];
    let marks: String = marks.iter().filter(|m| m.0).map(|m| m.1).collect();
    format!("{} to {}, {bars}{marks}", cadence.kind, cadence.to)
}
