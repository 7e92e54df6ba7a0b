//! A comparison for other programs, and as a page.
//!
//! Input: a [`Comparison`]. Output: bytes of one of [`COMPARISON_FORMATS`]. Units: seconds of the first performance; bars and beats from 1.
//! Method: JSON by serde (schema [`SCHEMA`]); the page is a table with a keyboard for what was heard. Limits: a page of a comparison holds no sound.

use crate::chart::comparison::{Agreement, Comparison, Place};
use crate::publish::page::{self, footer, head, keyboard::Keyboard, symbols};
use crate::publish::{Format, Heeded, WriteOptions};
use crate::units::{MidiNote, Seconds};
use crate::view::comparison::{of_second, print_comparison, what_differs};
use crate::view::ink::Ink;
use crate::view::notes::clock;
use maud::{PreEscaped, html};
use serde::Serialize;
use std::borrow::Cow;
use std::io::{self, Write};
use std::path::Path;

/// The name of this version of the document.
pub const SCHEMA: &str = "lidprop/comparison-1";

/// The formats of a comparison.
pub const COMPARISON_FORMATS: &[Format<Comparison>] = &[
    Format {
        name: "json",
        about: "every place with what is accepted and what is heard",
        extension: "json",
        mark: Some("\"lidprop/"),
        heeds: &[Heeded::Style],
        write: |comparison, _, out| write_json(comparison, out),
    },
    Format {
        name: "chart",
        about: "what differs, one line per place",
        extension: "txt",
        mark: None,
        heeds: &[Heeded::Style],
        write: |comparison, _, out| print_comparison(comparison, Ink::plain(100), out),
    },
    Format {
        name: "page",
        about: "one HTML file: a table of all places",
        extension: "html",
        mark: Some(page::MARK),
        heeds: &[Heeded::Page, Heeded::Style],
        write: write_page,
    },
];

#[derive(Serialize)]
struct Document<'a> {
    schema: &'static str,
    first: &'a str,
    second: &'a str,
    agreeing: usize,
    places: Vec<Entry>,
}

#[derive(Serialize)]
struct Entry {
    agreement: &'static str,
    at: Seconds,
    #[serde(skip_serializing_if = "Option::is_none")]
    bar: Option<usize>,
    #[serde(skip_serializing_if = "Option::is_none")]
    beat: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    second_at: Option<Seconds>,
    accepted: Vec<String>,
    heard: Vec<String>,
    midi: Vec<MidiNote>,
    missing: Vec<&'static str>,
    extra: Vec<&'static str>,
}

fn write_json(comparison: &Comparison, out: &mut dyn Write) -> io::Result<()> {
    let style = comparison.style;
    let entry = |place: &Place| Entry {
        agreement: place.agreement.word(),
        at: place.at.to_millis_precision(),
        bar: place.bar.map(|bar| bar.0),
        beat: place.bar.map(|bar| bar.1),
        second_at: place.second_at,
        accepted: place
            .accepted
            .iter()
            .map(|chord| chord.symbol(style))
            .collect(),
        heard: place
            .heard
            .iter()
            .map(|chord| chord.symbol(style))
            .collect(),
        midi: place.keys.iter().map(|key| key.midi).collect(),
        missing: place.missing.iter().map(|note| note.name()).collect(),
        extra: place.extra.iter().map(|note| note.name()).collect(),
    };
    let document = Document {
        schema: SCHEMA,
        first: &comparison.first,
        second: &comparison.second,
        agreeing: comparison.agreeing(),
        places: comparison.places.iter().map(entry).collect(),
    };
    serde_json::to_writer_pretty(&mut *out, &document)?;
    writeln!(out)
}

fn write_page(
    comparison: &Comparison,
    options: &WriteOptions,
    out: &mut dyn Write,
) -> io::Result<()> {
    let style = comparison.style;
    let keyboard = Keyboard::around(
        comparison
            .places
            .iter()
            .flat_map(|place| place.keys.iter().map(|key| key.midi)),
    );
    let title = options.page.title.clone().unwrap_or_else(|| {
        format!(
            "{} against {}",
            file_name(&comparison.first),
            file_name(&comparison.second)
        )
    });
    let page = html! {
        (head(&title, false))
        (symbols(keyboard))
        header {
            h1 { (title) }
            p.facts { (comparison.agreeing()) " of " (comparison.places.len()) " places agree" }
            @if let Some(note) = &options.page.note { p.note { (note) } }
        }
        main {
            table {
                thead { tr { th scope="col" { "Time" } th scope="col" { "Place" } th scope="col" { "Accepted" } th scope="col" { "Keys heard" } th scope="col" { "How it agrees" } } }
                tbody { @for place in &comparison.places {
                    tr {
                        td data-l="heard at" { (clock(place.at)) }
                        td data-l="expected at" { (of_second(place)) }
                        td { span.name { (place.accepted.first().map(|chord| chord.symbol(style)).unwrap_or_default()) } }
                        td {
                            @let keys: Vec<MidiNote> = place.keys.iter().map(|key| key.midi).collect();
                            @let names: Vec<String> = place.keys.iter().map(|key| page::signs(&key.to_string(), style)).collect();
                            @if !keys.is_empty() { (keyboard.picture(&keys, &format!("Keyboard: {}", names.join(" ")))) }
                        }
                        @if place.agreement == Agreement::Same { td { "same: " (what_differs(place, style)) } }
                        @else { td.off { span.diff { (place.agreement.word()) } ": " (what_differs(place, style)) } }
                    }
                } }
            }
        }
        (footer(true))
        (PreEscaped("</body></html>"))
    };
    writeln!(out, "{}", page.into_string())
}

/// A path without its folders, which are nobody's concern on a page that is handed on.
fn file_name(path: &str) -> Cow<'_, str> {
    Path::new(path)
        .file_name()
        .map_or(Cow::Borrowed(path), |name| name.to_string_lossy())
}
