//! Draws the live screen.
//!
//! Input: the state, an area, a buffer of characters. Output: the buffer, filled.
//! Units: columns and rows. Method: our own layout. From above: the keyboard; the answer, large, and beside it the chords before; what it stands
//! for and where it goes, its keys, what else it can be called; pitch classes; the last chords; the input; the keys to press. What does not fit
//! is left out from the least needed on, the name last. Words and shapes carry the meaning, colour and weight repeat it.
//! Limits: a name that is wider than the screen is cut; messages are wrapped.

use super::keys::picture;
use super::large::large;
use super::shapes::Shapes;
use super::{Live, Music, PastChord, Status};
use crate::answer::settle::{Answer, Standing};
use crate::chart::entries::marks;
use crate::chart::marked::Marked;
use crate::chart::written;
use crate::harmony::{self, Naming, Reading, Verdict};
use crate::listener::Certainty;
use crate::spectrum::HOP_SAMPLES;
use crate::units::count::plural;
use crate::units::{SampleRate, SampleSpan};
use crate::view::ink::{Ink, Palette};
use crate::view::likelihood;
use crate::view::lines::stand_ins_words;
use crate::view::names::others_worth_showing;
use crate::view::notes::{clock, legends, note_text, notes_text};
use crate::view::places::does;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;
use std::fmt::Display;

/// Pillars are so many rows high at most.
const MOST_PILLARS: usize = 14;
/// Rows of the keyboard without its pillars: the keys, two rows of names, one left free.
const KEYBOARD_ROWS: usize = 4;
/// From this many rows on there is a keyboard above the name, whatever the name could take.
const WITH_KEYBOARD: usize = 14;
/// Lines that stand below the name before letters are larger or the keyboard is drawn.
const SAID_ROWS: usize = 3;
/// Columns between large letters and the chords before.
const BESIDE: usize = 3;
/// Rows of the pitch classes: bars, names, one left free.
const CLASS_ROWS: usize = 4;
/// Bars of the pitch classes are so many rows high at most.
const MOST_CLASS_ROWS: u16 = 6;
/// Names of the pitch classes as they stand under their bars.
const CLASSES: [&str; 12] = [
    "C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B",
];
/// Columns of one bar and the gap after it.
const CLASS_COLUMNS: u16 = 3;
/// Below this level in dBFS while notes sound, the advice is to come nearer: noise then hides what is played softly.
const TOO_QUIET_DBFS: f32 = -45.0;
/// The bottom of the level bar, dBFS.
const METER_FLOOR_DBFS: f32 = -60.0;
/// Columns of the level bar.
const METER_COLUMNS: usize = 12;
/// Names shown after the best one.
const OTHER_NAMES: usize = 3;

/// Draws the whole screen.
pub fn draw(live: &Live, palette: Palette, area: Rect, buffer: &mut Buffer) {
    let mut page = Page {
        area,
        buffer,
        top: area.y,
        palette,
    };
    if live.help {
        return help(live, &mut page);
    }
    let bottom = footer(live, &mut page);
    let room = bottom.saturating_sub(page.top);
    let face = Face::of(live, page.columns(), usize::from(room), palette);
    if face.pillars > 0 {
        keyboard(live, face.pillars, &mut page);
        page.skip(1);
    }
    show_face(&face, &mut page);
    pitch_classes(live, bottom, &mut page);
}

/// What stands in the middle of the screen: the name, what is said of it, and how many rows of pillars are left above.
struct Face {
    letters: Option<Vec<String>>,
    style: Style,
    /// The name where it is small, and how it stands.
    title: String,
    /// The chords before, beside large letters.
    beside: Vec<String>,
    lines: Vec<String>,
    pillars: usize,
}

impl Face {
    /// Fills `rows`: the name comes first, then what it is in one line and its keys, then large letters, then the keyboard.
    fn of(live: &Live, columns: usize, rows: usize, palette: Palette) -> Self {
        let (name, mut standing, style) = title(live, palette);
        let mut small = format!("{name}   {standing}");
        let mut lines = if live.hidden() {
            Vec::new()
        } else {
            lines(live, columns)
        };
        if small.chars().count() > columns {
            if live.hidden() {
                // What to do is no sign.
                small.clone_from(&name);
                lines.push(std::mem::take(&mut standing));
            } else {
                // the sign alone, so that it is not cut
                small = format!("{name} {}", standing.chars().next().unwrap_or(' '));
            }
        }
        let before = if live.hidden() {
            Vec::new()
        } else {
            chords_before(live)
        };
        let keyboard = if rows >= WITH_KEYBOARD {
            KEYBOARD_ROWS + 1
        } else {
            0
        };
        let said = lines.len().min(SAID_ROWS);
        let letters = live.look.large.then(|| {
            let room = rows.saturating_sub(1 + said + keyboard);
            large(&name, columns, room, live.look.shapes.part_blocks)
        });
        let letters = letters.flatten().filter(|_| live.answer().is_some());
        let wide = letters
            .iter()
            .flatten()
            .map(|row| row.chars().count())
            .max();
        let wide = wide.unwrap_or_default().max(standing.chars().count());
        let needed = before.iter().map(|text| text.chars().count()).max();
        let beside =
            letters.is_some() && needed.is_some_and(|needed| wide + BESIDE + needed <= columns);
        if !beside && let Some(newest) = before.first() {
            let earlier = before[1..].join("  ");
            lines.insert(
                lines.len().min(2),
                format!("{newest}   {earlier}").trim_end().to_owned(),
            );
        }
        lines = lines
            .iter()
            .flat_map(|line| fitted(line, columns))
            .collect();
        let height = letters.as_ref().map_or(0, Vec::len);
        let rest = rows.saturating_sub(height + 1);
        let kept = lines
            .len()
            .min(rest.saturating_sub(KEYBOARD_ROWS + 1).max(SAID_ROWS));
        let above = rest.saturating_sub(kept);
        let pillars = match above.saturating_sub(KEYBOARD_ROWS) {
            few @ 0..=7 => few,
            many => (many - CLASS_ROWS).min(MOST_PILLARS),
        };
        let keyboard = if pillars > 0 {
            KEYBOARD_ROWS + pillars
        } else {
            0
        };
        lines.truncate(rest.saturating_sub(keyboard));
        Self {
            title: if letters.is_some() { standing } else { small },
            letters,
            style,
            beside: if beside { before } else { Vec::new() },
            lines,
            pillars,
        }
    }
}

/// The name of what is on the screen, how it stands, and how that looks.
fn title(live: &Live, palette: Palette) -> (String, String, Style) {
    let lost = live.status.is_lost();
    if live.hidden() {
        let ask = "guess first: space shows the answer".to_owned();
        return ("?".to_owned(), ask, palette.strong());
    }
    let Some(answer) = live.answer() else {
        let (name, standing) = if lost {
            ("no input", "! nothing can be heard")
        } else {
            ("listening", "")
        };
        return (name.to_owned(), standing.to_owned(), palette.faint());
    };
    let name = symbol(answer, live.look.style).unwrap_or_else(|| "no name".to_owned());
    let (standing, style) = match answer.standing {
        _ if lost => ("! input lost; this was the last chord", palette.faint()),
        Standing::Provisional => ("~ not settled yet", palette.provisional()),
        Standing::Settled => ("= settled", palette.strong()),
        Standing::LetGo => (". let go", palette.faint()),
    };
    (name, standing.to_owned(), style)
}

fn symbol(answer: &Answer, style: harmony::Style) -> Option<String> {
    answer.best().map(|name| name.chord.symbol(style))
}

/// The chord before and the four before that, the newest first.
fn chords_before(live: &Live) -> Vec<String> {
    let before = live.on_screen().before.iter().rev();
    let names = before.map(|answer| {
        let keys = || written::notes(&answer.naming.notes).join(" ");
        symbol(answer, live.look.style).unwrap_or_else(keys)
    });
    let lead = |(nth, name): (usize, String)| match nth {
        0 => format!("before {name}"),
        _ => name,
    };
    names.enumerate().map(lead).collect()
}

fn show_face(face: &Face, page: &mut Page<'_>) {
    let faint = page.palette.faint();
    match &face.letters {
        Some(letters) => {
            let top = page.top;
            letters.iter().for_each(|row| page.row(row, face.style));
            let wide = face.beside.iter().map(|text| text.chars().count()).max();
            let column = page.columns().saturating_sub(wide.unwrap_or_default());
            // the row of the standing is free there as well
            for (row, text) in (top..=page.top).zip(&face.beside) {
                page.at(row, column as u16, text, faint);
            }
            page.row(&face.title, faint);
        }
        None => page.row(&face.title, face.style),
    }
    for line in &face.lines {
        page.row(line, Style::new());
    }
}

/// A page that is written from above, row by row; what lies below its end is not written.
struct Page<'a> {
    area: Rect,
    buffer: &'a mut Buffer,
    top: u16,
    palette: Palette,
}

impl Page<'_> {
    fn row(&mut self, text: impl AsRef<str>, style: Style) {
        let top = self.top;
        self.at(top, 0, text, style);
        self.top += 1;
    }

    fn skip(&mut self, rows: u16) {
        self.top += rows;
    }

    /// Writes at a row of the screen and a column of the page; gives the column after the text.
    fn at(&mut self, row: u16, column: u16, text: impl AsRef<str>, style: Style) -> u16 {
        if row >= self.area.bottom() || column >= self.area.width {
            return column;
        }
        let width = usize::from(self.area.width - column);
        let (next, _) = self
            .buffer
            .set_stringn(self.area.x + column, row, text, width, style);
        next - self.area.x
    }

    fn columns(&self) -> usize {
        usize::from(self.area.width)
    }
}

fn keyboard(live: &Live, height: usize, page: &mut Page<'_>) {
    let music = live.on_screen();
    let (notes, names) = if live.hidden() || live.status.is_lost() {
        (&[][..], Vec::new())
    } else {
        let names = written::notes(music.answers.note_names());
        (music.answers.sounding(), names)
    };
    let picture = picture(notes, &names, page.columns(), height, &live.look.shapes);
    for pillar in &picture.pillars {
        page.row(pillar, page.palette.sounding());
    }
    page.row(&picture.keys, Style::new());
    for names in &picture.names {
        page.row(names, page.palette.strong());
    }
}

/// What is said of the answer, the most needed first: what it stands for, its keys, other names; then more of the same.
fn lines(live: &Live, columns: usize) -> Vec<String> {
    let (style, music) = (live.look.style, live.on_screen());
    let mut lines = Vec::new();
    if let Some(answer) = live.answer() {
        let does = does(&answer.naming, answer.place.as_ref(), style);
        let reading = does.as_ref().and_then(|does| does.reading);
        lines.extend(does.as_ref().map(|does| does.words.clone()));
        lines.push(notes_line(answer));
        lines.push(others_line(&answer.naming, style));
        if let Some(stand_ins) = &music.stand_ins {
            lines.push(stand_ins_words(stand_ins.chords(), style));
        }
        lines.extend(harmony(live, columns));
        lines.extend(reading.map(|reading| degrees_line(reading, style)));
        lines.extend(reading.map(voices_line));
    } else {
        lines.extend(harmony(live, columns));
    }
    lines.retain(|line| !line.is_empty());
    let ink = Ink::plain(0).or_ascii(live.look.shapes == Shapes::ASCII);
    lines.into_iter().map(|line| ink.signs(line)).collect()
}

/// The harmony so far, the newest at the right, and what it is in the key; what may still change is marked as an answer that has not settled.
fn harmony(live: &Live, columns: usize) -> Option<String> {
    let so_far = live.on_screen().answers.harmony();
    let settled = so_far.settled().map(|stretch| (stretch, ""));
    let open = so_far.open().iter().map(|stretch| (stretch, "~"));
    let all: Vec<_> = settled.chain(open).collect();
    let &(last, _) = all.last()?;
    if so_far.open().is_empty() {
        return None;
    }
    let mut place = String::new();
    if let Some(key) = so_far.key() {
        let numeral = last.numeral.as_ref().map(|n| format!(": {n}"));
        place = format!("   in {key}{}", numeral.unwrap_or_default());
    }
    let mut room = columns.saturating_sub(HARMONY.len() + place.chars().count());
    let mut entries: Vec<String> = Vec::new();
    for (stretch, mark) in all.iter().rev() {
        let Some(best) = stretch.chords.first() else {
            continue;
        };
        let entry = format!("  {mark}{}", best.chord.symbol(live.look.style));
        let Some(left) = room.checked_sub(entry.chars().count()) else {
            break;
        };
        room = left;
        entries.push(entry);
    }
    entries.reverse();
    (!entries.is_empty()).then(|| format!("{HARMONY}{}{place}", entries.concat()))
}

/// How the line of the harmony so far begins.
const HARMONY: &str = "harmony";

fn notes_line(answer: &Answer) -> String {
    let names = written::notes(&answer.naming.notes);
    let notes = notes_text(&answer.notes, &names);
    // A note that may be only the ringing of others makes no bass.
    let bass = answer
        .notes
        .iter()
        .zip(&names)
        .find(|(note, _)| note.certainty != Certainty::Inferred);
    match bass {
        Some((note, name)) => format!("notes {notes}   bass {}", note_text(name, note.certainty)),
        None => format!("notes {notes}"),
    }
}

fn others_line(naming: &Naming, style: harmony::Style) -> String {
    let others = others_worth_showing(&naming.names, OTHER_NAMES);
    let Some(best) = naming.names.first() else {
        return String::new();
    };
    let lead = match naming.verdict {
        Verdict::Named => "",
        Verdict::Undecided => "undecided, ",
        Verdict::NoGoodName => "no good name, this is the nearest; ",
    };
    let others = likelihood::others(best, &others, naming.verdict, |name| {
        name.chord.symbol(style)
    });
    let said = format!("{lead}{others}");
    said.trim_end_matches([',', ';', ' ']).to_owned()
}

/// `as E13(♭9): Ab 3, D b7, F b9, C# 13`: the keys as degrees of the chord that is stood for.
fn degrees_line(reading: &Reading, style: harmony::Style) -> String {
    let degree = |(note, degree): &(_, _)| pair(note, degree);
    let degrees: Vec<String> = reading.degrees.iter().map(degree).collect();
    let chord = reading.chord.symbol(style);
    format!("as {chord}: {}", degrees.join(", "))
}

fn pair(note: &impl Display, degree: &impl Display) -> String {
    format!("{note} {degree}")
}

/// `voices F > E, Ab > A, C stays`.
fn voices_line(reading: &Reading) -> String {
    let Some(resolution) = reading.resolves_to.first() else {
        return String::new();
    };
    let voices: Vec<String> = resolution
        .voices
        .iter()
        .map(|step| match step.from == step.to {
            true => format!("{} stays", step.from),
            false => format!("{} > {}", step.from, step.to),
        })
        .collect();
    format!("voices {}", voices.join(", "))
}

/// Twelve bars, and their names below; as high as there is room.
fn pitch_classes(live: &Live, bottom: u16, page: &mut Page<'_>) {
    let music = live.on_screen();
    let room = bottom.saturating_sub(page.top).saturating_sub(2);
    page.skip(1);
    let rows = room.min(MOST_CLASS_ROWS);
    if rows == 0 {
        return;
    }
    let top = page.top;
    for (class, (&share, name)) in music.chroma.iter().zip(CLASSES).enumerate() {
        let column = class as u16 * CLASS_COLUMNS;
        let share = if live.hidden() || live.status.is_lost() {
            0.0
        } else {
            share.clamp(0.0, 1.0)
        };
        let eighths = (share * f32::from(8 * rows)).round() as usize;
        for row in 0..rows {
            let filled = eighths
                .saturating_sub(8 * usize::from(rows - 1 - row))
                .min(8);
            let bar = filled
                .checked_sub(1)
                .map_or(' ', |n| live.look.shapes.eighths[n]);
            page.at(
                top + row,
                column,
                String::from_iter([bar; 2]),
                page.palette.sounding(),
            );
        }
        page.at(top + rows, column, name, page.palette.faint());
    }
    page.skip(rows + 1);
}

/// The rows at the bottom: past chords, the input, trouble or notice, the keys. Gives the first of their rows.
fn footer(live: &Live, page: &mut Page<'_>) -> u16 {
    let palette = page.palette;
    let mut row = page.area.bottom();
    let mut above = |page: &mut Page<'_>, text: String, style: Style, needed: u16| {
        if !text.is_empty() && row > page.area.y + needed {
            row -= 1;
            page.at(row, 0, text, style);
        }
    };
    above(page, help_line(live, page.columns()), palette.faint(), 9);
    if let Some(answer) = live.answer().filter(|_| !live.hidden()) {
        for legend in legends(&marks(&answer.notes)) {
            let text = legend.text(Ink::plain(0));
            for line in fitted(text, page.columns()).into_iter().rev() {
                above(page, line, palette.faint(), 20);
            }
        }
    }
    let (said, style) = match (&live.status.trouble, &live.status.notice) {
        _ if live.word.is_some() => {
            let word = live.word.as_deref().unwrap_or_default();
            let typed = format!("to the mark: {word}_   (Enter keeps it, Esc leaves it out)");
            (typed, palette.strong())
        }
        (Some(trouble), _) => (format!("! {trouble}"), palette.alarm()),
        (None, Some((notice, _))) => (notice.clone(), palette.strong()),
        (None, None) => (String::new(), Style::new()),
    };
    for line in wrapped(&said, page.columns()).iter().rev() {
        above(page, line.clone(), style, 1);
    }
    for line in fitted(&flags_line(live), page.columns()).into_iter().rev() {
        above(page, line, palette.strong(), 7);
    }
    let style = if live.status.clips() {
        palette.alarm()
    } else {
        Style::new()
    };
    above(page, input_line(live, page.columns()), style, 8);
    above(page, strip_line(live, page.columns()), Style::new(), 20);
    row
}

/// What every key does: as many columns of it as rows demand, or a word each where those are wider than the screen.
fn help(live: &Live, page: &mut Page<'_>) {
    let [sideways, down] = live.look.shapes.arrows;
    let keys = [
        ("q", "quit", "quit"),
        ("?", "this list, and back", "back"),
        ("m", "mark this chord", "mark"),
        ("w", "a word for the mark", "word"),
        ("p", "pause the screen", "pause"),
        ("k", "keep the last minute", "keep"),
        ("g", "guess first", "guess"),
        ("space", "show the answer", "show"),
        ("l", "small or large name", "big"),
        ("s", "next style of symbols", "style"),
        (sideways, "key by fifths", "key"),
        (down, "minor or major", "mode"),
        ("0", "no key", "none"),
    ];
    let wide = keys.iter().map(|(key, ..)| key.chars().count()).max();
    let wide = wide.unwrap_or_default();
    let rows = usize::from(page.area.height).max(1);
    let (top, columns) = (page.area.y, page.columns());
    let list = keys.map(|(key, does, _)| format!("{key:>wide$}  {does}"));
    let column = |place: usize| place / rows * (wide + 22);
    let fits = |(place, text): (usize, &String)| column(place) + text.chars().count() <= columns;
    if list.iter().enumerate().all(fits) {
        for (place, text) in list.iter().enumerate() {
            let row = top + (place % rows) as u16;
            page.at(row, column(place) as u16, text, Style::new());
        }
        return;
    }
    let words = keys.map(|(key, _, word)| format!("{key} {word}"));
    for (row, line) in (top..).zip(packed(&words, columns)) {
        page.at(row, 0, line, Style::new());
    }
}

/// All of `pieces` in few lines: each goes to the first line of at most `columns` that has room for it.
fn packed(pieces: &[String], columns: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for piece in pieces {
        let length = 1 + piece.chars().count();
        let with_room = lines
            .iter_mut()
            .find(|line| line.chars().count() + length <= columns);
        match with_room {
            Some(line) => {
                line.push(' ');
                line.push_str(piece);
            }
            None => lines.push(piece.clone()),
        }
    }
    lines
}

/// `text` as it is where it fits, else [`wrapped`].
fn fitted(text: &str, columns: usize) -> Vec<String> {
    match text.chars().count() <= columns {
        true => vec![text.to_owned()],
        false => wrapped(text, columns),
    }
}

/// `text` in lines of at most `columns`: broken at spaces, and within a word that is longer.
pub(in crate::view) fn wrapped(text: &str, columns: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        let letters: Vec<char> = word.chars().collect();
        for part in letters.chunks(columns.max(1)) {
            match lines.last_mut() {
                Some(line) if line.chars().count() + 1 + part.len() <= columns => {
                    line.push(' ');
                    line.extend(part);
                }
                _ => lines.push(part.iter().collect()),
            }
        }
    }
    lines
}

fn help_line(live: &Live, columns: usize) -> String {
    let pause = if live.held.is_some() {
        "p go on"
    } else {
        "p pause"
    };
    let size = if live.look.large {
        "l small name"
    } else {
        "l large name"
    };
    let keys = [
        "q quit",
        "? all keys",
        "m mark",
        pause,
        "k keep last minute",
        "g guess first",
        size,
        "s style",
    ];
    let mut line = String::new();
    for key in keys {
        let gap = if line.is_empty() { 0 } else { 3 };
        if line.chars().count() + gap + key.chars().count() > columns {
            break;
        }
        line.extend(std::iter::repeat_n(' ', gap));
        line.push_str(key);
    }
    line
}

fn flags_line(live: &Live) -> String {
    let mut flags = Vec::new();
    if live.held.is_some() {
        flags.push("PAUSED: the screen stands still, listening goes on".to_owned());
    }
    if live.status.hops > 1 {
        let wide = SampleSpan::new(u64::from(live.status.hops) * HOP_SAMPLES as u64);
        flags.push(format!(
            "BEHIND: this computer is busy; notes are heard every {:.0} ms",
            1000.0 * wide.seconds(SampleRate::INTERNAL).get()
        ));
    }
    if live.look.guess_first {
        flags.push("guess first".to_owned());
    }
    if let Some(key) = live.naming().key {
        flags.push(format!("key {key}"));
    }
    flags.join("   ")
}

/// The level with what is wrong with it, then what else fits: what was lost, the pitch, the input.
fn input_line(live: &Live, columns: usize) -> String {
    let status: &Status = &live.status;
    let a4 = status.a4.map_or_else(
        || "A4 not known yet".to_owned(),
        |a4| format!("A4 {:.1} Hz", a4.get()),
    );
    let lost = match status.meter.dropped {
        0 => String::new(),
        lost => format!("{} lost", plural(lost as usize, "sample")),
    };
    let (head, rest) = if status.is_lost() {
        let head = "level none: the input is lost".to_owned();
        (head, vec![status.input.clone()])
    } else {
        let level = level_words(live);
        let bar = meter(status.level_dbfs(), &live.look.shapes);
        let with_bar = format!("level {bar} {level}");
        let head = match with_bar.chars().count() <= columns {
            true => with_bar,
            false => format!("level {level}"),
        };
        (head, vec![lost, a4, status.input.clone()])
    };
    rest.into_iter().fold(head, |line, part| {
        let fits = line.chars().count() + 3 + part.chars().count() <= columns;
        match fits && !part.is_empty() {
            true => format!("{line}   {part}"),
            false => line,
        }
    })
}

/// `-23 dB`, and what is wrong with it.
fn level_words(live: &Live) -> String {
    let status = &live.status;
    let level = status.level_dbfs();
    let word = if status.clips() {
        "  CLIPPED: less input level"
    } else if !live.music.answers.sounding().is_empty()
        && level.is_some_and(|level| level < TOO_QUIET_DBFS)
    {
        "  too quiet: come nearer"
    } else {
        ""
    };
    let level = level.map_or_else(
        || "no sound at all".to_owned(),
        |level| format!("{level:.0} dB"),
    );
    format!("{level}{word}")
}

fn meter(level_dbfs: Option<f32>, shapes: &Shapes) -> String {
    let share = level_dbfs.map_or(0.0, |level| {
        (1.0 - level / METER_FLOOR_DBFS).clamp(0.0, 1.0)
    });
    let filled = (share * METER_COLUMNS as f32).round() as usize;
    (0..METER_COLUMNS)
        .map(|column| {
            if column < filled {
                shapes.filled
            } else {
                shapes.empty
            }
        })
        .collect()
}

/// The numbers of the chords of the past that are marked.
fn marked_past(live: &Live, music: &Music) -> Vec<usize> {
    let past = music.past.iter().map(|chord| chord.at);
    // The chord that sounds is told as past only once it has ended; until then its mark is not that of the one before.
    let sounding = music.answers.shown().map(|answer| answer.start);
    let last = music.past.back().map(|chord| chord.at);
    let starts = past.chain(sounding.filter(|&start| last.is_none_or(|last| start > last)));
    let of = |mark: &Marked| mark.chord(starts.clone());
    live.marks.iter().filter_map(of).collect()
}

/// The last chords, the newest at the right; as many as fit.
fn strip_line(live: &Live, columns: usize) -> String {
    let music = live.on_screen();
    let marked = marked_past(live, music);
    let entry = |place: usize, chord: &PastChord| {
        let mark = if marked.contains(&place) { "*" } else { "" };
        let at = clock(chord.at.seconds(SampleRate::INTERNAL));
        format!("{at} {mark}{}", chord.name)
    };
    let skip = usize::from(live.hidden());
    let mut entries: Vec<String> = Vec::new();
    let mut used = 0;
    for (place, chord) in music.past.iter().enumerate().rev().skip(skip) {
        let entry = entry(place, chord);
        let width = entry.chars().count() + if entries.is_empty() { 0 } else { 3 };
        if used + width > columns {
            break;
        }
        used += width;
        entries.push(entry);
    }
    entries.reverse();
    entries.join("   ")
}
