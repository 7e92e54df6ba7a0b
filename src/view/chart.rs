//! The printed chart: what was played, chord by chord, for reading and for pipes.
//!
//! Input: a [`Heard`] recording. Output: lines of text; for each chord its time, the keys that sound as a picture, the
//! best names beside it, and below them the notes and what the chord stands for.
//! Units: minutes and seconds; columns of characters. Method: our own layout.
//! Limits: below about 60 columns names stand under the picture instead of beside it.

use crate::chart::document::{Certainty, HeardChord};
use crate::chart::recording::Heard;
use crate::harmony::{Verdict, note_name};
use crate::listener::{ChordNote, ChordSpan};
use crate::units::{SampleRate, Seconds};
use crate::view::ink::Ink;
use crate::view::keyboard::{KeyRange, KeyShapes, one_line};
use std::io::{self, Write};

/// Columns of the time and the gap after it.
const TIME_COLUMNS: usize = 10;
/// Columns that names and readings need beside the picture.
const NAME_COLUMNS: usize = 28;
/// Names shown a chord.
const NAMES_SHOWN: usize = 3;

/// Prints the chart of one recording.
///
/// # Errors
/// If `out` cannot be written to.
pub fn print_chart(heard: &Heard, ink: Ink, out: &mut dyn Write) -> io::Result<()> {
    heading(heard, ink, out)?;
    let layout = Layout::for_recording(heard, ink);
    let mut doubts = false;
    for (span, chord) in heard.chords.iter().zip(heard.chords()) {
        layout.print_chord(span, &chord, ink, out)?;
        doubts |= span
            .notes
            .iter()
            .any(|note| note.certainty != Certainty::Sure);
    }
    if heard.chords.is_empty() {
        writeln!(out, "  no chord was heard")?;
    }
    if doubts {
        let legend = "A4? likely   (A4) may be the ringing of another note";
        writeln!(out, "\n{:TIME_COLUMNS$}{}", "", ink.faint(legend))?;
    }
    Ok(())
}

fn heading(heard: &Heard, ink: Ink, out: &mut dyn Write) -> io::Result<()> {
    write!(
        out,
        "{}   {}",
        ink.strong(&heard.file),
        clock(heard.length.seconds(SampleRate::INTERNAL))
    )?;
    match heard.a4 {
        Some(a4) => writeln!(out, "   A4 at {:.1} Hz", a4.get())?,
        None => writeln!(out)?,
    }
    for warning in &heard.warnings {
        writeln!(out, "  note: {warning}")?;
    }
    writeln!(out)
}

struct Layout {
    range: KeyRange,
    /// Columns of the picture with its arrows, at least as many as the longest list of notes.
    left: usize,
    beside: bool,
}

impl Layout {
    fn for_recording(heard: &Heard, ink: Ink) -> Self {
        let columns = usize::from(ink.columns);
        let room = columns.saturating_sub(TIME_COLUMNS + 2);
        let keys = heard
            .chords
            .iter()
            .flat_map(|span| span.notes.iter().map(|note| note.midi));
        let beside_room = room.saturating_sub(NAME_COLUMNS);
        // Three octaves are the least in which two hands can be seen; with less, the names go below.
        let beside = beside_room > 36;
        let range = KeyRange::around(keys, if beside { beside_room } else { room });
        let longest = heard
            .chords
            .iter()
            .map(|span| notes_text(&span.notes).chars().count())
            .max()
            .unwrap_or(0);
        let left = (range.keys() + 2).max(longest.min(beside_room));
        Self {
            range,
            left,
            beside,
        }
    }

    fn print_chord(
        &self,
        span: &ChordSpan,
        chord: &HeardChord,
        ink: Ink,
        out: &mut dyn Write,
    ) -> io::Result<()> {
        let sounding = span.notes.iter().map(|note| (note.midi, note.certainty));
        let picture = one_line(sounding, self.range, &KeyShapes::BLOCKS);
        let notes = notes_text(&span.notes);
        let time = clock(chord.start);
        let indent = TIME_COLUMNS;
        if self.beside {
            let (left, names, reading) = (self.left, names_text(chord, ink), reading_text(chord));
            writeln!(out, "{time:>8}  {picture:<left$}  {names}")?;
            writeln!(out, "{:indent$}{notes:<left$}  {}", "", ink.faint(reading))
        } else {
            writeln!(out, "{time:>8}  {picture}")?;
            writeln!(out, "{:indent$}{}", "", names_text(chord, ink))?;
            writeln!(out, "{:indent$}{notes}", "")?;
            match reading_text(chord) {
                reading if reading.is_empty() => Ok(()),
                reading => writeln!(out, "{:indent$}{}", "", ink.faint(reading)),
            }
        }
    }
}

/// The notes lowest first, the doubtful ones marked.
pub fn notes_text(notes: &[ChordNote]) -> String {
    notes.iter().map(note_text).collect::<Vec<_>>().join(" ")
}

/// The name of a note, marked if it is doubtful: `A4`, `A4?`, `(A4)`.
pub fn note_text(note: &ChordNote) -> String {
    let name = note_name(note.midi);
    match note.certainty {
        Certainty::Sure => name,
        Certainty::Likely => format!("{name}?"),
        Certainty::Inferred => format!("({name})"),
    }
}

/// `Dm7(♭5)   or Fm6/D, A♭6/D`, and whether the best one can be relied on.
fn names_text(chord: &HeardChord, ink: Ink) -> String {
    let Some((best, others)) = chord.names.split_first() else {
        return "no good name".to_owned();
    };
    let lead = match chord.verdict {
        Verdict::Named => "or ",
        Verdict::Undecided => "as well ",
        Verdict::NoGoodName => return format!("no good name, nearest {}", best.symbol),
    };
    let others: Vec<&str> = others
        .iter()
        .take(NAMES_SHOWN - 1)
        .map(|name| name.symbol.as_str())
        .collect();
    if others.is_empty() {
        ink.strong(&best.symbol).to_string()
    } else {
        format!("{}   {lead}{}", ink.strong(&best.symbol), others.join(", "))
    }
}

/// `V7 in Eb major, for Bb13b9, to Ebmaj7`: the numeral, what the chord stands for, and where it goes.
fn reading_text(chord: &HeardChord) -> String {
    let place = &chord.place;
    if place.numeral.is_empty() {
        return String::new();
    }
    let mut text = format!("{} in {}", place.numeral, place.key);
    let reading = chord.readings.first();
    match (&place.stands_for, reading) {
        (Some(_), Some(reading)) => {
            text.push_str(&format!(", {} {}", reading.kind, reading.stands_for))
        }
        (Some(stands_for), None) => text.push_str(&format!(", stands for {stands_for}")),
        (None, _) => {}
    }
    if let Some(resolution) = reading.and_then(|reading| reading.resolves_to.first()) {
        text.push_str(&format!(", tends to {}", resolution.to));
    }
    text
}

/// A time as players say it: `1:07.4`, with hours where there are any.
pub fn clock(at: Seconds) -> String {
    let tenths = (at.get().max(0.0) * 10.0).round() as u64;
    let (seconds, tenth) = (tenths / 10, tenths % 10);
    let (hours, minutes, seconds) = (seconds / 3600, seconds / 60 % 60, seconds % 60);
    if hours > 0 {
        format!("{hours}:{minutes:02}:{seconds:02}.{tenth}")
    } else {
        format!("{minutes}:{seconds:02}.{tenth}")
    }
}
