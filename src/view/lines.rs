//! One line a chord, for pipes and screen readers.
//!
//! Input: a chord and its naming. Output: one line of plain text.
//! Units: minutes and seconds. Method: our own; fields are two spaces apart, in the order in which they are asked for
//! at the piano: when, which keys, what it is called, what it stands for.
//! Limits: no escape sequences, no pictures.

use crate::harmony::{Naming, Verdict};
use crate::listener::ChordNote;
use crate::units::{FrameCount, SampleRate};
use crate::view::names::others_worth_showing;
use crate::view::notes::{clock, notes_text};
use std::fmt::Write;

/// Names after the best one.
const OTHER_NAMES: usize = 2;

/// The line of a chord struck at `at`.
pub fn chord_line(at: FrameCount, notes: &[ChordNote], naming: &Naming) -> String {
    let mut line = format!(
        "{}  {}",
        clock(at.seconds(SampleRate::INTERNAL)),
        notes_text(notes, &naming.notes)
    );
    let others = others_worth_showing(&naming.names, OTHER_NAMES);
    let others: Vec<&str> = others.iter().map(|name| name.symbol.as_str()).collect();
    let best = naming.names.first().map(|name| name.symbol.as_str());
    let written = match (naming.verdict, best) {
        (_, None) => write!(line, "  no name"),
        (Verdict::NoGoodName, Some(nearest)) => {
            write!(line, "  no good name, nearest {nearest}")
        }
        (_, Some(best)) if others.is_empty() => write!(line, "  {best}"),
        (_, Some(best)) => write!(line, "  {best}, or {}", others.join(", ")),
    };
    written.expect("text grows");
    if let Some(reading) = naming.readings.first() {
        write!(line, "  {} {}", reading.kind, reading.stands_for).expect("text grows");
        if let Some(resolution) = reading.resolves_to.first() {
            write!(line, ", goes to {}", resolution.to).expect("text grows");
        }
    }
    line
}
