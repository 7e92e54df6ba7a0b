//! A voicing or a progression in all keys, on one sheet.
//!
//! Input: a [`Sheet`]: for each key its chords. Output: bytes of one of [`SHEET_FORMATS`]. Units: in MIDI, `LASTS` seconds a chord.
//! Method: the page has three columns of four cells, which fit one page of A4 or Letter; MusicXML has three measures to a line, MIDI one chord after another.
//! Limits: no key signatures, so that each cell stands by itself.

use crate::chart::piece::{Hand, Piece, PieceChord, PieceName, PieceNote, Voice};
use crate::harmony::voicing::all_keys::InKey;
use crate::harmony::{Chord, NamedNote, NotesByDegree, Style, Verdict};
use crate::listener::Certainty;
use crate::publish::musicxml::score::{Score, hands};
use crate::publish::musicxml::{self, write_score};
use crate::publish::page::{self, degrees, footer, head, keyboard::Keyboard, staff, symbols};
use crate::publish::{Format, Heeded, What, WriteOptions, midi};
use crate::units::{MidiNote, Seconds, Share};
use maud::{Markup, PreEscaped, html};
use std::io::{self, Write};
use std::ops::Range;

/// Seconds of a chord.
const LASTS: f64 = 2.0;
/// Velocity of a note.
const SHEET_VELOCITY: u8 = 90;
/// Columns of the sheet.
const COLUMNS: usize = 3;

/// So many chords of a progression have room for a staff each; of a longer one the notes are named.
const STAVES: usize = 4;

/// What is written in all keys.
#[derive(Debug, Clone, PartialEq)]
pub struct Sheet {
    /// What it is, as it was typed.
    pub title: String,
    /// The chords of each key, in the order of the keys.
    pub keys: Vec<Vec<InKey>>,
    /// House style of chord symbols.
    pub style: Style,
}

/// The formats of a sheet.
pub const SHEET_FORMATS: &[Format<Sheet>] = &[
    Format {
        name: "page",
        about: "one HTML file with staves and keyboards, three columns, one page of paper",
        extension: "html",
        mark: Some(page::MARK),
        heeds: &[Heeded::Page],
        write: write_page,
    },
    Format {
        name: "musicxml",
        about: "sheet music (MusicXML 4.0), three chords to a line",
        extension: "musicxml",
        mark: Some(musicxml::MARK),
        heeds: &[],
        write: |sheet, _, out| write_musicxml(sheet, out),
    },
    Format {
        name: "midi",
        about: "a MIDI file, two seconds per chord",
        extension: "mid",
        mark: Some(midi::MARK),
        heeds: &[Heeded::Voices],
        write: |sheet, options, out| midi::write_piece(&piece(sheet), options, out),
    },
];

fn write_musicxml(sheet: &Sheet, out: &mut dyn Write) -> io::Result<()> {
    let mut score = Score::of(&piece(sheet), What::Voicings, &sheet.title);
    let of_key = sheet.keys.first().map_or(1, Vec::len);
    let line = if of_key > 1 { of_key } else { COLUMNS };
    for measure in score.measures.iter_mut().step_by(line).skip(1) {
        measure.new_line = true;
    }
    write_score(&score, sheet.style, out)
}

/// The chords one after another, as if they had been played.
fn piece(sheet: &Sheet) -> Piece {
    let at = |nth: usize| Seconds::new(nth as f64 * LASTS).unwrap_or(Seconds::ZERO);
    let all = || sheet.keys.iter().flatten().enumerate();
    let chord = |(nth, in_key): (usize, &InKey)| {
        let keys = in_key.notes.clone();
        stated_chord(
            in_key.chord,
            at(nth)..at(nth + 1),
            keys,
            in_key.degrees.clone(),
        )
    };
    let notes = all().flat_map(|(nth, in_key)| {
        let [right, left] = hands(&in_key.notes, &mut None);
        stated_notes(&[right, left], at(nth)..at(nth + 1))
    });
    Piece {
        file: sheet.title.clone(),
        begins: Seconds::ZERO,
        length: at(all().count()),
        a4: None,
        key: None,
        played: false,
        notes: notes.collect(),
        chords: all().map(chord).collect(),
        pedal: None,
        grid: None,
        style: sheet.style,
        warnings: Vec::new(),
        marks: Vec::new(),
        sections: Vec::new(),
    }
}

/// A chord that nobody doubts, since it was stated.
pub fn stated_chord(
    chord: Option<Chord>,
    lasts: Range<Seconds>,
    keys: Vec<NamedNote>,
    degrees: NotesByDegree,
) -> PieceChord {
    let named = chord.map(|chord| PieceName {
        chord,
        sounding: chord.sounding(),
        score: Share::ONE,
    });
    PieceChord {
        start: lasts.start,
        end: lasts.end,
        names: named.into_iter().collect(),
        verdict: if chord.is_some() {
            Verdict::Named
        } else {
            Verdict::NoGoodName
        },
        certainty: vec![Certainty::Sure; keys.len()],
        keys,
        degrees,
        reading: None,
        stands_for: None,
        key: None,
        numeral: None,
        function: None,
        pedal: false,
    }
}

/// The notes of a right and a left hand, lowest first.
pub fn stated_notes([right, left]: &[Vec<NamedNote>; 2], lasts: Range<Seconds>) -> Vec<PieceNote> {
    let note = |note: NamedNote, hand, voice| PieceNote {
        note,
        start: lasts.start,
        end: lasts.end,
        velocity: SHEET_VELOCITY,
        certainty: Certainty::Sure,
        hand,
        voice,
    };
    let lower = left.iter().enumerate().map(|(place, &name)| {
        let voice = if place == 0 { Voice::Bass } else { Voice::Left };
        note(name, Hand::Left, voice)
    });
    let upper = right.iter().enumerate().map(|(place, &name)| {
        let top = place + 1 == right.len();
        let voice = if top { Voice::Top } else { Voice::Right };
        note(name, Hand::Right, voice)
    });
    lower.chain(upper).collect()
}

fn write_page(sheet: &Sheet, options: &WriteOptions, out: &mut dyn Write) -> io::Result<()> {
    let keys = sheet
        .keys
        .iter()
        .flatten()
        .flat_map(|chord| chord.notes.iter().map(|note| note.midi));
    let keyboard = Keyboard::around(keys);
    let title = options
        .page
        .title
        .clone()
        .unwrap_or_else(|| format!("{} in all keys", sheet.title));
    let mut before = None;
    let page = html! {
        (head(&title, false))
        (symbols(keyboard))
        header {
            h1 { (title) }
            @if let Some(note) = &options.page.note { p.note { (note) } }
        }
        main {
            div.sheet { @for chords in &sheet.keys { (cell(chords, keyboard, sheet.style, &mut before)) } }
        }
        (footer(false))
        (PreEscaped("</body></html>"))
    };
    writeln!(out, "{}", page.into_string())
}

fn cell(
    chords: &[InKey],
    keyboard: Keyboard,
    style: Style,
    before: &mut Option<MidiNote>,
) -> Markup {
    let symbol = |chord: &InKey| {
        chord
            .chord
            .map_or_else(|| names(chord, style), |chord| chord.symbol(style))
    };
    match chords {
        [chord] => {
            let midi: Vec<MidiNote> = chord.notes.iter().map(|note| note.midi).collect();
            html! {
                section.cell {
                    h2 { (symbol(chord)) }
                    (staff::picture(&hands(&chord.notes, before)))
                    (keyboard.picture(&midi, &format!("Keyboard: {}", names(chord, style))))
                    p.d { (degrees(&chord.degrees, style)) }
                }
            }
        }
        several => html! {
            section.cell {
                @if let Some(last) = several.last() { h2 { "to " (symbol(last)) } }
                @if several.len() <= STAVES {
                    div.chain { @for chord in several {
                        div { strong { (symbol(chord)) } (staff::picture(&hands(&chord.notes, before))) span.soft { (names(chord, style)) } }
                    } }
                } @else {
                    @for chord in several { p { strong { (symbol(chord)) } " " span.soft { (names(chord, style)) } } }
                }
            }
        },
    }
}

fn names(chord: &InKey, style: Style) -> String {
    let names: Vec<String> = chord
        .notes
        .iter()
        .map(|note| page::signs(&note.to_string(), style))
        .collect();
    names.join(" ")
}
