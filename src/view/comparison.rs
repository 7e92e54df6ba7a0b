//! A comparison as a text: what differs, where, and how.
//!
//! Input: a [`Comparison`]. Output: a line a place that differs. Units: minutes and seconds of the first, bars and beats of a chart. Method: our own layout.
//! Limits: places that agree are counted alone.

use crate::chart::comparison::{Agreement, Comparison, Place};
use crate::harmony::{Chord, Spelled, Style};
use crate::view::ink::Ink;
use crate::view::notes::clock;
use crate::view::printable::printable;
use std::io::{self, Write};

/// Prints the comparison.
///
/// # Errors
/// If `out` cannot be written to.
pub fn print_comparison(comparison: &Comparison, ink: Ink, out: &mut dyn Write) -> io::Result<()> {
    writeln!(
        out,
        "{} against {}\n",
        ink.strong(&printable(&comparison.first)),
        ink.strong(&printable(&comparison.second))
    )?;
    let places = comparison.places.len();
    let differing: Vec<&Place> = comparison
        .places
        .iter()
        .filter(|place| place.agreement != Agreement::Same)
        .collect();
    for place in &differing {
        writeln!(
            out,
            "{:>8}  {:<10}  {}",
            clock(place.at),
            of_second(place),
            what_differs(place, comparison.style)
        )?;
    }
    let gap = if differing.is_empty() { "" } else { "\n" };
    writeln!(
        out,
        "{gap}{:10}{} of {places} places agree",
        "",
        comparison.agreeing()
    )
}

/// Where it is in what the first is held against.
pub fn of_second(place: &Place) -> String {
    match (place.bar, place.second_at) {
        (Some((bar, beat)), _) if beat > 1.0 => format!("bar {bar}, {beat}"),
        (Some((bar, _)), _) => format!("bar {bar}"),
        (None, Some(at)) => clock(at),
        (None, None) => String::new(),
    }
}

/// `F7 expected, Fmaj7 heard: missing Eb, extra E`.
pub fn what_differs(place: &Place, style: Style) -> String {
    let first = |chords: &[Chord]| chords.first().map(|chord| chord.symbol(style));
    let keys = || {
        place
            .keys
            .iter()
            .map(ToString::to_string)
            .collect::<Vec<_>>()
            .join(" ")
    };
    let heard = first(&place.heard).unwrap_or_else(keys);
    let expected = first(&place.accepted).unwrap_or_else(|| "no chord".to_owned());
    match place.agreement {
        Agreement::Same => heard,
        Agreement::Missing => format!("{expected} expected, nothing heard"),
        Agreement::Extra => format!("{heard} heard, nothing expected"),
        Agreement::Differs => {
            let names = |notes: &[Spelled]| {
                notes
                    .iter()
                    .map(|note| note.name())
                    .collect::<Vec<_>>()
                    .join(" ")
            };
            let parts = [("missing", &place.missing), ("extra", &place.extra)];
            let parts = parts
                .iter()
                .filter(|(_, notes)| !notes.is_empty())
                .map(|(word, notes)| format!("{word} {}", names(notes)));
            let parts: Vec<String> = parts.collect();
            let colon = if parts.is_empty() { "" } else { ": " };
            format!(
                "{expected} expected, {heard} heard{colon}{}",
                parts.join(", ")
            )
        }
    }
}
