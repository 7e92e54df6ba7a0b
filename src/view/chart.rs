//! The printed chart: what was played, chord by chord, for reading and for pipes.
//!
//! Input: a [`Heard`] recording. Output: lines of text; for each chord its time, the keys that sound as a picture, the
//! best names beside it, and below them the notes and what the chord stands for.
//! Units: minutes and seconds; columns of characters. Method: our own layout.
//! Limits: below about 60 columns names stand under the picture instead of beside it.

use crate::chart::document::HeardChord;
use crate::chart::marked::Marked;
use crate::chart::passages::Interpreted;
use crate::chart::recording::Heard;
use crate::harmony::Verdict;
use crate::listener::ChordSpan;
use crate::units::SampleRate;
use crate::view::ink::Ink;
use crate::view::keyboard::{KeyRange, one_line};
use crate::view::likelihood;
use crate::view::names::others_worth_showing;
use crate::view::notes::{Legend, Legends, clock, legends, notes_text, quarter_tone_off, wrapped};
use crate::view::places::numeral_in_key;
use crate::view::printable::printable;
use std::io::{self, Write};

/// Columns of the time and the gap after it.
pub const TIME_COLUMNS: usize = 10;
/// Columns that names and readings need beside the picture.
const NAME_COLUMNS: usize = 28;
/// Names after the best one.
const OTHER_NAMES: usize = 2;

/// Prints the chart of one recording, with what its signs mean.
///
/// # Errors
/// If `out` cannot be written to.
pub fn print_chart(heard: &Heard, ink: Ink, out: &mut dyn Write) -> io::Result<()> {
    let mut legends = Legends::default();
    print_chart_alone(heard, ink, &mut legends, out)?;
    end_with(&legends, ink, out)
}

/// What the signs mean, below a chart.
pub(super) fn end_with(legends: &Legends, ink: Ink, out: &mut dyn Write) -> io::Result<()> {
    if *legends != Legends::default() {
        writeln!(out)?;
    }
    legends.print(TIME_COLUMNS, ink, out)
}

/// Prints the chart of one recording, and notes which signs it uses.
///
/// # Errors
/// If `out` cannot be written to.
pub fn print_chart_alone(
    heard: &Heard,
    ink: Ink,
    signs: &mut Legends,
    out: &mut dyn Write,
) -> io::Result<()> {
    heading(heard, ink, out)?;
    let layout = Layout::for_recording(heard, ink);
    let interpreted = heard.interpreted();
    let marks = ByChord::of(heard);
    for (nth, (span, chord)) in spans_and_chords(heard, &interpreted).enumerate() {
        layout.print_chord(span, &chord, marks.sign(nth), ink, out)?;
        signs.add(signs_of(&chord));
    }
    if heard.chords.is_empty() {
        writeln!(out, "  no chord was heard")?;
    }
    writeln!(out)?;
    outline(heard, &interpreted, ink, out)?;
    print_marks(heard, &interpreted, ink, out)
}

/// What the signs of a printed chord mean.
pub(super) fn signs_of(chord: &HeardChord) -> impl Iterator<Item = Legend> {
    let pedal = chord.pedal.then_some(Legend::Pedal);
    let marks: Vec<Legend> = legends(&chord.marks).collect();
    marks.into_iter().chain(pedal).chain([Legend::Strip])
}

/// The marks of the player by the chords that have notes.
pub(super) struct ByChord(Vec<Option<usize>>);

impl ByChord {
    pub(super) fn of(heard: &Heard) -> Self {
        let spans = heard.chords.iter().filter(|span| !span.notes.is_empty());
        let chord = |mark: &Marked| mark.chord(spans.clone().map(|span| span.start));
        Self(heard.marks.iter().map(chord).collect())
    }

    /// What stands before the time of the chord of this number.
    pub(super) fn sign(&self, nth: usize) -> &'static str {
        if self.0.contains(&Some(nth)) { "*" } else { "" }
    }
}

/// The marks of the player, one a line: when, which chord, and what was typed to it.
pub(super) fn print_marks(
    heard: &Heard,
    interpreted: &Interpreted,
    ink: Ink,
    out: &mut dyn Write,
) -> io::Result<()> {
    if heard.marks.is_empty() {
        return Ok(());
    }
    let columns = usize::from(ink.columns).saturating_sub(TIME_COLUMNS);
    let chords: Vec<HeardChord> = interpreted.chords(heard.naming.style).collect();
    let mut head = "marked";
    for (mark, chord) in heard.marks.iter().zip(ByChord::of(heard).0) {
        let chord = chord.and_then(|nth| chords.get(nth)?.names.first());
        let name = chord.map_or(String::new(), |name| format!(" {}", name.symbol));
        let word = mark.word.as_ref().map(|word| format!(": {word}"));
        let at = clock(mark.at.seconds(SampleRate::INTERNAL));
        let text = format!("*{at}{name}{}", word.unwrap_or_default());
        for line in wrapped(&text, columns) {
            writeln!(out, "{:>8}  {line}", std::mem::take(&mut head))?;
        }
    }
    Ok(())
}

/// The chords with their spans; those without notes are left out.
pub(super) fn spans_and_chords<'a>(
    heard: &'a Heard,
    interpreted: &Interpreted<'a>,
) -> impl Iterator<Item = (&'a ChordSpan, HeardChord)> {
    let spans = heard.chords.iter().filter(|span| !span.notes.is_empty());
    spans.zip(interpreted.chords(heard.naming.style))
}

pub(super) fn heading(heard: &Heard, ink: Ink, out: &mut dyn Write) -> io::Result<()> {
    let end = clock(heard.length.seconds(SampleRate::INTERNAL));
    let time = if heard.part.is_whole() {
        end
    } else {
        let begins = heard.part.from.seconds(SampleRate::INTERNAL);
        format!("{} to {end}", clock(begins))
    };
    write!(out, "{}   {time}", ink.strong(&printable(&heard.file)))?;
    match heard.a4 {
        Some(a4) => writeln!(out, "   A4 at {:.1} Hz", a4.get())?,
        None => writeln!(out)?,
    }
    if let Some(off) = heard.sounding_off {
        let half_steps = off.get() / 100.0;
        let (by, way) = (
            half_steps.abs(),
            if half_steps < 0.0 { "lower" } else { "higher" },
        );
        let steps = if by == 1.0 { "half step" } else { "half steps" };
        writeln!(
            out,
            "  sounds {by} {steps} {way} than fingered; keys and names below are as fingered"
        )?;
    }
    let provenance = heard.provenance.as_ref();
    let stated = heard.sounding_off.is_some()
        || provenance.is_some_and(|provenance| provenance.options.states_pitch());
    let other = heard.a4.filter(|_| !stated).and_then(quarter_tone_off);
    if let Some(other) = other {
        writeln!(
            out,
            "  note: A4 lies a quarter tone from 440 Hz; if each key is a half step off, add --a4 {:.0}",
            other.get()
        )?;
    }
    for warning in &heard.warnings {
        writeln!(out, "  note: {warning}")?;
    }
    writeln!(out)
}

/// The key, and the cadences with their times.
fn outline(
    heard: &Heard,
    interpreted: &Interpreted,
    ink: Ink,
    out: &mut dyn Write,
) -> io::Result<()> {
    let columns = usize::from(ink.columns).saturating_sub(TIME_COLUMNS);
    let mut row = |mut head: String, text: &str| {
        wrapped(text, columns)
            .iter()
            .try_for_each(|line| writeln!(out, "{:>8}  {line}", std::mem::take(&mut head)))
    };
    match interpreted.believed_key() {
        Some(key) => {
            let sounding = heard
                .sounding_key(key)
                .map_or(String::new(), |key| format!(", sounding as {key}"));
            row("key".into(), &format!("mostly {key}{sounding}"))?;
        }
        None if heard.chords.is_empty() => {}
        None => row("key".into(), "no key holds")?,
    }
    let start = |chord: usize| {
        heard.chords.get(chord).map_or_else(String::new, |span| {
            clock(span.start.seconds(SampleRate::INTERNAL))
        })
    };
    for cadence in interpreted.cadences() {
        let how = match (cadence.stand_in, cadence.substitute) {
            (true, _) => ", its dominant a stand-in without root",
            (_, true) => ", its dominant the tritone substitute",
            _ => "",
        };
        let text = format!(
            "{} to {}{how}, until {}",
            cadence.kind,
            cadence.to,
            start(cadence.last)
        );
        row(start(cadence.first), &text)?;
    }
    Ok(())
}

/// How the keys of chords are drawn.
pub(super) struct Layout {
    range: KeyRange,
    /// Columns of the picture with its arrows.
    left: usize,
    /// Columns of names and readings.
    right: usize,
    beside: bool,
}

impl Layout {
    pub(super) fn for_recording(heard: &Heard, ink: Ink) -> Self {
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
        let left = range.keys() + 2;
        let right = if beside {
            room.saturating_sub(left)
        } else {
            room
        };
        Self {
            range,
            left,
            right,
            beside,
        }
    }

    pub(super) fn print_chord(
        &self,
        span: &ChordSpan,
        chord: &HeardChord,
        sign: &str,
        ink: Ink,
        out: &mut dyn Write,
    ) -> io::Result<()> {
        let sounding = span.notes.iter().map(|note| (note.midi, note.certainty));
        let picture = one_line(sounding, self.range, ink.keys());
        let mut left = vec![picture];
        let pedal = if chord.pedal { " Ped." } else { "" };
        let notes = notes_text(&span.notes, &chord.notes) + pedal;
        left.extend(wrapped(&notes, self.left));
        let names = wrapped(&names_text(chord), self.right)
            .into_iter()
            .map(|line| embolden(line, chord, ink));
        let reading = wrapped(&ink.signs(reading_text(chord)), self.right)
            .into_iter()
            .map(|line| ink.faint(line).to_string());
        let mut time = format!("{sign}{}", clock(chord.start));
        let mut row = |left: &str, right: &str| {
            let (columns, time) = (self.left, std::mem::take(&mut time));
            let line = format!("{time:>8}  {left:<columns$}  {right}");
            writeln!(out, "{}", line.trim_end())
        };
        if self.beside {
            let mut right = names.chain(reading);
            for left in &left {
                row(left, &right.next().unwrap_or_default())?;
            }
            right.try_for_each(|right| row("", &right))
        } else {
            row(&left[0], "")?;
            let below: Vec<String> = names.chain(left.drain(1..)).chain(reading).collect();
            below.iter().try_for_each(|line| row(line, ""))
        }
    }
}

/// The best name in bold, where the line begins with it.
fn embolden(line: String, chord: &HeardChord, ink: Ink) -> String {
    let best = chord.names.first().map(|name| name.symbol.as_str());
    match best.and_then(|best| Some((best, line.strip_prefix(best)?))) {
        Some((best, rest)) => format!("{}{rest}", ink.strong(best)),
        None => line,
    }
}

/// `Dm7(♭5)   or Fm6/D, A♭6/D`, and whether the best one can be relied on.
fn names_text(chord: &HeardChord) -> String {
    let Some(best) = chord.names.first() else {
        return "no good name".to_owned();
    };
    if chord.verdict == Verdict::NoGoodName {
        return format!("no good name, nearest {}", best.symbol);
    }
    let others = others_worth_showing(&chord.names, OTHER_NAMES);
    let others = likelihood::others(best, &others, chord.verdict, |name| name.symbol.clone());
    format!("{}   {others}", best.symbol).trim_end().to_owned()
}

/// `V7 in C major: rootless dominant G13(♭9), leads to Cmaj7`: the numeral, and for a stand-in what it stands for and where
/// that goes; or what would be expected in its place. Where no key is believed, only what it stands for.
fn reading_text(chord: &HeardChord) -> String {
    let place = &chord.place;
    let mut text = numeral_in_key(place).unwrap_or_default();
    let colon = if text.is_empty() { "" } else { ": " };
    if let (Some(_), Some(reading)) = (&place.stands_for, chord.readings.first()) {
        text.push_str(&format!("{colon}{} {}", reading.kind, reading.stands_for));
        if let Some(resolution) = reading.resolves_to.first() {
            text.push_str(&format!(", leads to {}", resolution.to));
        }
    }
    if let Some(stand_in) = &place.stand_in {
        text.push_str(&format!(
            "{colon}{} for {}",
            stand_in.device, stand_in.expected
        ));
    }
    text
}
