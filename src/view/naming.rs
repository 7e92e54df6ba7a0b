//! Names and readings of one set of notes, printed for reading.
//!
//! Input: a [`Naming`]. Output: lines of text. Units: scores in hundredths.
//! Method: the keys first, then the names with the degree of every note, then what the notes stand for and where that goes:
//! players think from symbol to notes, so the keyboard comes before the symbol. Limits: lines are not wrapped.

use crate::chart::written;
use crate::harmony::voicing::all_keys::InKey;
use crate::harmony::{
    Chord, Degree, Name, Naming, NotesByDegree, Reading, Resolution, Sounding, Spelled, Style,
    Verdict,
};
use crate::listener::Certainty;
use crate::view::ink::Ink;
use crate::view::keyboard::{KeyRange, KeyShapes, one_line};
use std::io::{self, Write};

/// A name less likely than this is not shown: its score would read 0.00.
const LEAST_SHOWN: f32 = 0.005;
/// Readings shown unless there are fewer.
const MOST_SHOWN: usize = 8;

/// Prints names and readings, all symbols in `style`; `symbol` is the chord that the user typed, if it was one.
///
/// # Errors
/// If nothing can be written.
pub fn print_naming(
    sounding: &Sounding,
    symbol: Option<Chord>,
    naming: &Naming,
    style: Style,
    ink: Ink,
    out: &mut dyn Write,
) -> io::Result<()> {
    let keys = || sounding.notes.iter().map(|note| note.midi);
    let range = KeyRange::around(keys(), usize::from(ink.columns).saturating_sub(2).max(37));
    if let Some(symbol) = symbol {
        writeln!(out, "{}", ink.strong(symbol.symbol(style)))?;
    }
    let keyboard = one_line(
        keys().map(|key| (key, Certainty::Sure)),
        range,
        &KeyShapes::BLOCKS,
    );
    writeln!(out, "{}", keyboard.trim_end())?;
    write!(out, "{}", written::notes(&naming.notes).join(" "))?;
    match sounding.stated_bass {
        Some(bass) => writeln!(
            out,
            "   over {}",
            sounding.typed[usize::from(bass.get())].unwrap_or(Spelled::usual(bass))
        )?,
        None => writeln!(out)?,
    }
    let names = naming
        .names
        .iter()
        .filter(|name| name.score.get() >= LEAST_SHOWN);
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
        .map(|n| n.chord.symbol(style).chars().count())
        .max()
        .unwrap_or(0);
    for name in names {
        print_name(name, width, style, ink, out)?;
    }
    if !naming.readings.is_empty() {
        writeln!(out, "\nwhat it can stand for")?;
    }
    for reading in naming.readings.iter().take(MOST_SHOWN) {
        print_reading(reading, style, ink, out)?;
    }
    Ok(())
}

fn print_name(
    name: &Name,
    width: usize,
    style: Style,
    ink: Ink,
    out: &mut dyn Write,
) -> io::Result<()> {
    let (symbol, on_chart) = (name.chord.symbol(style), written::on_chart(name, style));
    let padded = format!("{symbol:<width$}");
    write!(
        out,
        "  {}  {:.2}  {}",
        ink.strong(padded),
        name.score.get(),
        degrees_text(&name.degrees)
    )?;
    if on_chart == symbol {
        writeln!(out)
    } else {
        writeln!(out, "  {}", ink.faint(format!("on a chart {on_chart}")))
    }
}

fn print_reading(reading: &Reading, style: Style, ink: Ink, out: &mut dyn Write) -> io::Result<()> {
    writeln!(
        out,
        "  {}  {}  {:.2}",
        ink.strong(written::stands_for(reading, style)),
        reading.kind,
        reading.score.get()
    )?;
    let missing = if reading.missing.is_empty() {
        String::new()
    } else {
        let missing: Vec<&str> = reading.missing.iter().map(Degree::name).collect();
        format!("; without {}", missing.join(" "))
    };
    writeln!(out, "      {}{missing}", degrees_text(&reading.degrees))?;
    writeln!(
        out,
        "      {}",
        ink.faint(written::why(&reading.why, style))
    )?;
    for resolution in &reading.resolves_to {
        writeln!(
            out,
            "      to {}: {}",
            resolution.to.symbol(style),
            voices_text(resolution)
        )?;
    }
    Ok(())
}

fn degrees_text(degrees: &NotesByDegree) -> String {
    let pairs = degrees
        .iter()
        .map(|(note, degree)| format!("{degree} {note}"));
    pairs.collect::<Vec<_>>().join(", ")
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

/// Prints a voicing in all keys, a line for each, its symbols in `style`.
///
/// # Errors
/// If nothing can be written.
pub fn print_all_keys(
    keys: &[InKey],
    style: Style,
    ink: Ink,
    out: &mut dyn Write,
) -> io::Result<()> {
    let written: Vec<(String, String)> = keys
        .iter()
        .map(|key| {
            let symbol = key.chord.map(|chord| chord.symbol(style));
            (
                symbol.unwrap_or_default(),
                written::notes(&key.notes).join(" "),
            )
        })
        .collect();
    let columns = |text: &String| text.chars().count();
    let width = written.iter().map(|(symbol, _)| columns(symbol)).max();
    let notes_width = written.iter().map(|(_, notes)| columns(notes)).max();
    let (width, notes_width) = (width.unwrap_or(0), notes_width.unwrap_or(0));
    for (key, (symbol, notes)) in keys.iter().zip(written) {
        let symbol = format!("{symbol:<width$}");
        writeln!(
            out,
            "{}  {notes:<notes_width$}  {}",
            ink.strong(symbol),
            degrees_text(&key.degrees)
        )?;
    }
    Ok(())
}
