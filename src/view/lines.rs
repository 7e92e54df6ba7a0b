//! One line a chord, for pipes and screen readers.
//!
//! Input: a chord and its naming. Output: one line of plain text.
//! Units: minutes and seconds. Method: our own; fields are two spaces apart, in the order in which they are asked for
//! at the piano: when, which keys, what it is called, what it stands for.
//! Limits: no escape sequences, no pictures.

use crate::chart::written;
use crate::harmony::{Chord, InPlace, Name, Naming, Style, Verdict};
use crate::listener::ChordNote;
use crate::playing::Stretch;
use crate::units::{SamplePos, SampleRate};
use crate::view::likelihood;
use crate::view::names::others_worth_showing;
use crate::view::notes::{clock, notes_text};
use crate::view::places::{does, in_key};

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
pub fn chord_line(
    at: SamplePos,
    notes: &[ChordNote],
    naming: &Naming,
    place: Option<&InPlace>,
    style: Style,
) -> String {
    let mut line = format!(
        "{}  {}",
        clock(at.seconds(SampleRate::INTERNAL)),
        notes_text(notes, &written::notes(&naming.notes))
    );
    let others = others_worth_showing(&naming.names, OTHER_NAMES);
    let symbol = |name: &Name| name.chord.symbol(style);
    match (naming.verdict, naming.names.first()) {
        (_, None) => line.push_str("  no name"),
        (Verdict::NoGoodName, Some(nearest)) => {
            line.push_str(&format!("  no good name, nearest {}", symbol(nearest)));
        }
        (verdict, Some(best)) => {
            let others = likelihood::others(best, &others, verdict, symbol);
            let comma = if others.is_empty() { "" } else { ", " };
            line.push_str(&format!("  {}{comma}{others}", symbol(best)));
        }
    }
    if let Some(does) = does(naming, place, style) {
        line.push_str(&format!("  {}", does.words));
    }
    line
}

/// The line of a stretch of harmony, where music is played: `0:12.5  harmony Am7, vi7 in C major`.
pub fn harmony_line(stretch: &Stretch, style: Style) -> String {
    let at = clock(stretch.start);
    let name = stretch.chords.first();
    let name = name.map_or("no chord".to_owned(), |best| best.chord.symbol(style));
    let place = stretch.key.zip(stretch.numeral.as_ref());
    let place = place.and_then(|(key, numeral)| {
        in_key(stretch.key_confidence.get(), numeral, key).map(|place| format!(", {place}"))
    });
    let place = place.unwrap_or_default();
    format!("{at}  harmony {name}{place}")
}
