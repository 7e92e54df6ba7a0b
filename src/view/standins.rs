//! Stand-ins and voicings, printed for reading.
//!
//! Input: what is written of them. Output: lines of text. Units: half steps, beats.
//! Method: our own: the chord first, then why, what it is over the original, what the melody says, and how to play it: left hand, stroke, right hand.
//! Limits: lines are not wrapped.

use crate::chart::stand_ins::{
    StandInsFor, WrittenNote, WrittenStandIn, WrittenTune, WrittenVoicing,
};
use crate::view::ink::Ink;
use std::io::{self, Write};

/// Prints stand-ins for one chord.
///
/// # Errors
/// If nothing can be written.
pub fn print_stand_ins(answer: &StandInsFor, ink: Ink, out: &mut dyn Write) -> io::Result<()> {
    writeln!(
        out,
        "chord {}, bar {}: {}{}",
        answer.chord,
        answer.bar,
        ink.strong(&answer.symbol),
        answer
            .key
            .as_ref()
            .map_or(String::new(), |key| format!(" in {key}"))
    )?;
    if answer.stand_ins.is_empty() {
        writeln!(
            out,
            "  no stand-in within what was asked; go farther out, or see --rejected for what the melody rules out"
        )?;
    }
    for (nth, stand_in) in answer.stand_ins.iter().enumerate() {
        writeln!(out)?;
        print_one(Some(nth + 1), stand_in, ink, out)?;
    }
    if let Some(rejected) = &answer.rejected {
        writeln!(out, "\nrejected by the melody")?;
        for stand_in in rejected {
            let worst = stand_in
                .melody
                .iter()
                .filter(|n| n.weight > 0.0)
                .max_by(|a, b| a.weight.total_cmp(&b.weight));
            let why = worst.map_or(String::new(), |note| {
                format!(": {} is {}", note.note, over(note))
            });
            writeln!(
                out,
                "  {}  {}{why}",
                ink.strong(chords(stand_in)),
                stand_in.device
            )?;
        }
        if rejected.is_empty() {
            writeln!(out, "  nothing")?;
        }
    }
    Ok(())
}

fn chords(stand_in: &WrittenStandIn) -> String {
    stand_in
        .chords
        .iter()
        .map(|part| part.symbol.as_str())
        .collect::<Vec<_>>()
        .join(" ")
}

fn over(note: &WrittenNote) -> String {
    format!("{} (over {})", note.is, note.over)
}

fn print_one(
    nth: Option<usize>,
    stand_in: &WrittenStandIn,
    ink: Ink,
    out: &mut dyn Write,
) -> io::Result<()> {
    let number = nth.map_or(String::new(), |nth| format!("{nth}  "));
    writeln!(
        out,
        "{number}{}  {} ({}), {} out",
        ink.strong(chords(stand_in)),
        stand_in.device,
        stand_in.usage,
        stand_in.out
    )?;
    let degrees: Vec<String> = stand_in.chords.last().map_or(Vec::new(), |part| {
        part.degrees
            .iter()
            .map(|(note, degree)| format!("{degree} {note}"))
            .collect()
    });
    writeln!(
        out,
        "     {}; over {}: {}",
        stand_in.keeps,
        stand_in.over,
        degrees.join(", ")
    )?;
    let steps = |half_steps: Option<u8>, words: &str| {
        let unit = |n| if n == 1 { "half step" } else { "half steps" };
        half_steps.map(|n| format!("{n} {} {words}", unit(n)))
    };
    let mut moved: Vec<String> = [
        steps(stand_in.from_before, "from the chord before"),
        steps(stand_in.to_after, "to the chord after"),
    ]
    .into_iter()
    .flatten()
    .collect();
    if !stand_in.common.is_empty() {
        moved.insert(0, format!("keeps {}", stand_in.common.join(" ")));
    }
    writeln!(out, "     {}", ink.faint(moved.join("; ")))?;
    for note in stand_in.melody.iter().filter(|note| note.is.contains(' ')) {
        writeln!(out, "     melody {}: {}", note.note, over(note))?;
    }
    for part in &stand_in.chords {
        if let Some(voicing) = &part.voicing {
            print_voicing(&part.symbol, voicing, out)?;
        }
    }
    if !stand_in.forms.is_empty() {
        let forms: Vec<String> = stand_in.forms.iter().map(|form| form.join(" ")).collect();
        writeln!(
            out,
            "     {}",
            ink.faint(format!("or {}", forms.join(", ")))
        )?;
    }
    Ok(())
}

fn print_voicing(symbol: &str, voicing: &WrittenVoicing, out: &mut dyn Write) -> io::Result<()> {
    writeln!(out, "     {symbol}: {}  {}", hands(voicing), voicing.kind)
}

/// Left hand, stroke, right hand.
fn hands(voicing: &WrittenVoicing) -> String {
    let (left, right) = voicing
        .notes
        .split_at(voicing.left.len().min(voicing.notes.len()));
    match (left.is_empty(), right.is_empty()) {
        (_, true) => left.join(" "),
        (true, _) => right.join(" "),
        _ => format!("{} | {}", left.join(" "), right.join(" ")),
    }
}

/// Prints the voicings of one chord, a line each.
///
/// # Errors
/// If nothing can be written.
pub fn print_voicings(voicings: &[WrittenVoicing], out: &mut dyn Write) -> io::Result<()> {
    let width = voicings.iter().map(|v| v.kind.len()).max().unwrap_or(0);
    for voicing in voicings {
        writeln!(out, "{:<width$}  {}", voicing.kind, hands(voicing))?;
    }
    Ok(())
}

/// Prints a whole tune with its stand-ins.
///
/// # Errors
/// If nothing can be written.
pub fn print_tune(tune: &WrittenTune, ink: Ink, out: &mut dyn Write) -> io::Result<()> {
    let line = |symbol: &dyn Fn(usize) -> String| -> String {
        let mut text = String::new();
        let mut bar = 0;
        for (at, chord) in tune.chords.iter().enumerate() {
            text.push_str(if at == 0 {
                ""
            } else if chord.bar == bar {
                " "
            } else {
                " | "
            });
            bar = chord.bar;
            text.push_str(&symbol(at));
        }
        text
    };
    writeln!(
        out,
        "original  {}",
        line(&|at| tune.chords[at].original.clone())
    )?;
    let with = |at: usize| {
        tune.chords[at]
            .stand_in
            .as_ref()
            .map_or(tune.chords[at].original.clone(), chords)
    };
    writeln!(out, "instead   {}", ink.strong(line(&with)))?;
    writeln!(out, "{} out all together", tune.out)?;
    if !tune.already.is_empty() {
        writeln!(out, "\nstand-ins that the original has already")?;
    }
    for mark in &tune.already {
        let tensions = if mark.tensions.is_empty() {
            String::new()
        } else {
            format!(", with {}", mark.tensions.join(" "))
        };
        writeln!(
            out,
            "  chord {}, bar {}: {} for {}, {}{tensions}",
            mark.chord, mark.bar, mark.symbol, mark.expected, mark.device
        )?;
    }
    for (at, chord) in tune.chords.iter().enumerate() {
        if let Some(stand_in) = &chord.stand_in {
            writeln!(
                out,
                "\nchord {}, bar {}, for {}:",
                at + 1,
                chord.bar,
                chord.original
            )?;
            print_one(None, stand_in, ink, out)?;
        }
    }
    writeln!(out, "\nhow to play it")?;
    for chord in &tune.chords {
        let symbols: Vec<&str> = match &chord.stand_in {
            Some(stand_in) => stand_in
                .chords
                .iter()
                .map(|part| part.symbol.as_str())
                .collect(),
            None => vec![chord.original.as_str()],
        };
        for (symbol, voicing) in symbols.iter().zip(&chord.voicings) {
            writeln!(
                out,
                "  {symbol:<10}  {:<32}  {}",
                hands(voicing),
                voicing.kind
            )?;
        }
    }
    Ok(())
}
