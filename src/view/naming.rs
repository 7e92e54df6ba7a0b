//! Names and readings of one set of notes, printed for reading.
//!
//! Input: a [`Naming`]. Output: lines of text. Units: scores in hundredths.
//! Method: the keys first, then the names with the degree of every note, then what the notes stand for and where that goes:
//! players think from symbol to notes, so the keyboard comes before the symbol. Limits: lines are not wrapped.

use crate::harmony::voicing::all_keys::InKey;
use crate::harmony::{Name, Naming, Reading, Resolution, Sounding, Spelled, Verdict, Word};
use crate::listener::Certainty;
use crate::view::ink::Ink;
use crate::view::keyboard::{KeyRange, KeyShapes, one_line};
use std::collections::BTreeMap;
use std::io::{self, Write};

/// A name less likely than this is not shown: its score would read 0.00.
const LEAST_SHOWN: f32 = 0.005;
/// Readings shown unless there are fewer.
const MOST_SHOWN: usize = 8;

/// Prints names and readings; `symbol` is what the user typed, if it was one.
///
/// # Errors
/// If nothing can be written.
pub fn print_naming(
    sounding: &Sounding,
    symbol: Option<String>,
    naming: &Naming,
    ink: Ink,
    out: &mut dyn Write,
) -> io::Result<()> {
    let keys = || sounding.notes.iter().map(|note| note.midi);
    let range = KeyRange::around(keys(), usize::from(ink.columns).saturating_sub(2).max(37));
    if let Some(symbol) = symbol {
        writeln!(out, "{}", ink.strong(symbol))?;
    }
    let keyboard = one_line(
        keys().map(|key| (key, Certainty::Sure)),
        range,
        &KeyShapes::BLOCKS,
    );
    writeln!(out, "{}", keyboard.trim_end())?;
    write!(out, "{}", naming.notes.join(" "))?;
    match sounding.stated_bass {
        Some(bass) => writeln!(
            out,
            "   over {}",
            sounding.typed[usize::from(bass.get())].unwrap_or(Spelled::usual(bass))
        )?,
        None => writeln!(out)?,
    }
    let names = naming.names.iter().filter(|name| name.score >= LEAST_SHOWN);
    match naming.verdict {
        Verdict::Named => writeln!(out, "\nnames")?,
        Verdict::Undecided if names.clone().count() == 1 => {
            writeln!(out, "\nundecided; the one name that may do")?
        }
        Verdict::Undecided => writeln!(out, "\nundecided; the likeliest names")?,
        Verdict::NoGoodName if names.clone().next().is_none() => {
            writeln!(out, "\nno name: the notes are the answer")?
        }
        Verdict::NoGoodName => writeln!(
            out,
            "\nno good name: the notes are the answer; the least bad names"
        )?,
    }
    let width = names
        .clone()
        .map(|n| n.symbol.chars().count())
        .max()
        .unwrap_or(0);
    for name in names {
        print_name(name, width, ink, out)?;
    }
    if !naming.readings.is_empty() {
        writeln!(out, "\nwhat it can stand for")?;
    }
    for reading in naming.readings.iter().take(MOST_SHOWN) {
        print_reading(reading, ink, out)?;
    }
    Ok(())
}

fn print_name(name: &Name, width: usize, ink: Ink, out: &mut dyn Write) -> io::Result<()> {
    let symbol = format!("{:<width$}", name.symbol);
    write!(
        out,
        "  {}  {:.2}  {}",
        ink.strong(symbol),
        name.score,
        degrees_text(&name.degrees)
    )?;
    if name.chart == name.symbol {
        writeln!(out)
    } else {
        writeln!(out, "  {}", ink.faint(format!("on a chart {}", name.chart)))
    }
}

fn print_reading(reading: &Reading, ink: Ink, out: &mut dyn Write) -> io::Result<()> {
    writeln!(
        out,
        "  {}  {}  {:.2}",
        ink.strong(&reading.stands_for),
        reading.kind,
        reading.score
    )?;
    let missing = if reading.missing.is_empty() {
        String::new()
    } else {
        format!("; without {}", reading.missing.join(" "))
    };
    writeln!(out, "      {}{missing}", degrees_text(&reading.degrees))?;
    writeln!(out, "      {}", ink.faint(&reading.why))?;
    for resolution in &reading.resolves_to {
        writeln!(
            out,
            "      to {}: {}",
            resolution.to,
            voices_text(resolution)
        )?;
    }
    Ok(())
}

fn degrees_text(degrees: &BTreeMap<Word, Word>) -> String {
    let mut pairs: Vec<(&Word, &Word)> = degrees.iter().collect();
    pairs.sort_by_key(|(_, degree)| {
        let number = degree.trim_start_matches(['b', '#']);
        let side = match degree.chars().next() {
            Some('b') => -1,
            Some('#') => 1,
            _ => 0,
        };
        (number.parse::<u8>().unwrap_or(0), side)
    });
    pairs
        .iter()
        .map(|(note, degree)| format!("{degree} {note}"))
        .collect::<Vec<_>>()
        .join(", ")
}

fn voices_text(resolution: &Resolution) -> String {
    let step = |half_steps: i8| match half_steps {
        0 => "stays".to_owned(),
        up if up > 0 => format!("up {up}"),
        down => format!("down {}", -down),
    };
    resolution
        .voices
        .iter()
        .map(|voice| {
            if voice.half_steps == 0 {
                format!("{} stays", voice.from)
            } else {
                format!("{} {} to {}", voice.from, step(voice.half_steps), voice.to)
            }
        })
        .collect::<Vec<_>>()
        .join(", ")
}

/// Prints a voicing in all keys, a line a key.
///
/// # Errors
/// If nothing can be written.
pub fn print_all_keys(keys: &[InKey], ink: Ink, out: &mut dyn Write) -> io::Result<()> {
    let width = keys
        .iter()
        .map(|k| k.symbol.chars().count())
        .max()
        .unwrap_or(0);
    let notes_width = keys
        .iter()
        .map(|k| k.notes.join(" ").chars().count())
        .max()
        .unwrap_or(0);
    for key in keys {
        let symbol = format!("{:<width$}", key.symbol);
        writeln!(
            out,
            "{}  {:<notes_width$}  {}",
            ink.strong(symbol),
            key.notes.join(" "),
            degrees_text(&key.degrees)
        )?;
    }
    Ok(())
}
