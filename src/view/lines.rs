//! One line a chord, for pipes and screen readers.
//!
//! Input: a chord and its naming. Output: one line of plain text.
//! Units: minutes and seconds. Method: our own; fields are two spaces apart, in the order in which they are asked for
//! at the piano: when, which keys, what it is called, what it stands for.
//! Limits: no escape sequences, no pictures.

use crate::chart::written;
use crate::harmony::{Chord, Name, Naming, ReadingKind, Style, Verdict};
use crate::listener::ChordNote;
use crate::units::{SamplePos, SampleRate};
use crate::view::names::others_worth_showing;
use crate::view::notes::{clock, notes_text};
use std::fmt::Write;

/// Names after the best one.
const OTHER_NAMES: usize = 2;

/// `stand-ins Db7, Bdim7, Dm7 G7sus4`: the chords of each; nothing where there is none.
pub fn stand_ins_words(stand_ins: &[Vec<Chord>], style: Style) -> String {
    let chords = |chords: &Vec<Chord>| {
        let symbols: Vec<String> = chords.iter().map(|chord| chord.symbol(style)).collect();
        symbols.join(" ")
    };
    let all: Vec<String> = stand_ins.iter().map(chords).collect();
    match all.is_empty() {
        true => String::new(),
        false => format!("stand-ins {}", all.join(", ")),
    }
}

/// The line of a chord struck at `at`, its symbols in `style`.
#[allow(clippy::expect_used, reason = "writing to a String does not fail")]
pub fn chord_line(at: SamplePos, notes: &[ChordNote], naming: &Naming, style: Style) -> String {
    let mut line = format!(
        "{}  {}",
        clock(at.seconds(SampleRate::INTERNAL)),
        notes_text(notes, &written::notes(&naming.notes))
    );
    let others = others_worth_showing(&naming.names, OTHER_NAMES);
    let symbol = |name: &Name| name.chord.symbol(style);
    let others: Vec<String> = others.into_iter().map(symbol).collect();
    let best = naming.names.first().map(symbol);
    let written = match (naming.verdict, best) {
        (_, None) => write!(line, "  no name"),
        (Verdict::NoGoodName, Some(nearest)) => {
            write!(line, "  no good name, nearest {nearest}")
        }
        (_, Some(best)) if others.is_empty() => write!(line, "  {best}"),
        (_, Some(best)) => write!(line, "  {best}, or {}", others.join(", ")),
    };
    written.expect("text grows");
    let reading = naming.readings.first();
    if let Some(reading) = reading.filter(|reading| reading.kind != ReadingKind::Function) {
        let stands_for = written::stands_for(reading, style);
        write!(line, "  {} {stands_for}", reading.kind).expect("text grows");
        if let Some(resolution) = reading.resolves_to.first() {
            write!(line, ", goes to {}", resolution.to.symbol(style)).expect("text grows");
        }
    }
    line
}
