//! Draws the live screen.
//!
//! Input: the state, an area, a buffer of characters. Output: the buffer, filled.
//! Units: columns and rows. Method: our own layout. From above: the keyboard; the answer; what it can also be called, what
//! it stands for and where it goes; pitch classes; the last chords; the input; the keys to press. What does not fit is left out from the least
//! needed on. Words and shapes carry the meaning, colour and weight repeat it.
//! Limits: below 30 columns or 8 rows only the keyboard and the answer are sure to be seen.

use super::keys::picture;
use super::large::large;
use super::shapes::Shapes;
use super::{Live, Music, PastChord, Status};
use crate::answer::settle::{Answer, Standing};
use crate::chart::entries::marks;
use crate::chart::marked::Marked;
use crate::chart::written;
use crate::harmony::{self, Naming, Reading, ReadingKind, Verdict};
use crate::listener::Certainty;
use crate::spectrum::HOP_SAMPLES;
use crate::units::{SampleRate, SampleSpan};
use crate::view::ink::Palette;
use crate::view::lines::stand_ins_words;
use crate::view::names::others_worth_showing;
use crate::view::notes::{clock, legends, note_text, notes_text};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// Rows of pillars: the least, and the share of the screen they may take.
const PILLARS: std::ops::RangeInclusive<u16> = 1..=8;
/// Rows of large letters.
const LARGE_ROWS: u16 = 8;
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
    let music = live.on_screen();
    let room = bottom.saturating_sub(page.top);
    keyboard(live, music, room, &mut page);
    page.skip(1);
    match music.answers.shown() {
        _ if live.hidden() => {
            page.row("?   listen first: space shows the answer", palette.strong())
        }
        Some(answer) => show_answer(live, answer, bottom, &mut page),
        None => page.row("listening", palette.faint()),
    }
    harmony(live, music, bottom, &mut page);
    let strip_rows = 4;
    if bottom.saturating_sub(page.top) >= strip_rows {
        page.skip(1);
    }
    pitch_classes(live, music, bottom, &mut page);
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

fn keyboard(live: &Live, music: &Music, room: u16, page: &mut Page<'_>) {
    let (notes, names) = if live.hidden() {
        (&[][..], Vec::new())
    } else {
        let names = written::notes(music.answers.note_names());
        (music.answers.sounding(), names)
    };
    let height = (room / 4).clamp(*PILLARS.start(), *PILLARS.end());
    let picture = picture(
        notes,
        &names,
        page.columns(),
        usize::from(height),
        &live.look.shapes,
    );
    for pillar in &picture.pillars {
        page.row(pillar, page.palette.sounding());
    }
    page.row(&picture.keys, Style::new());
    for names in &picture.names {
        page.row(names, page.palette.strong());
    }
}

fn show_answer(live: &Live, answer: &Answer, bottom: u16, page: &mut Page<'_>) {
    let palette = page.palette;
    let best = answer.best().map(|name| name.chord.symbol(live.look.style));
    let name = best.as_deref().unwrap_or("no name");
    let standing = match answer.standing {
        Standing::Provisional => "~ not settled yet",
        Standing::Settled => "= settled",
        Standing::LetGo => ". let go",
    };
    let style = match answer.standing {
        Standing::Provisional => palette.provisional(),
        Standing::Settled => palette.strong(),
        Standing::LetGo => palette.faint(),
    };
    let rows = bottom.saturating_sub(page.top + 4).min(LARGE_ROWS);
    match live
        .look
        .large
        .then(|| {
            large(
                name,
                page.columns(),
                usize::from(rows),
                live.look.shapes.part_blocks,
            )
        })
        .flatten()
    {
        Some(letters) => {
            letters.iter().for_each(|row| page.row(row, style));
            page.row(format!("{name}   {standing}"), palette.faint());
        }
        None => {
            let after = page.at(page.top, 0, name, style);
            page.at(page.top, after + 3, standing, palette.faint());
            page.skip(1);
        }
    }
    let mut line = |text: String, style| {
        if page.top < bottom && !text.is_empty() {
            page.row(text, style);
        }
    };
    line(notes_line(answer), Style::new());
    line(others_line(&answer.naming, live.look.style), Style::new());
    // What a chord does by itself is told beside its name.
    let reading = answer.naming.readings.first();
    if let Some(reading) = reading.filter(|reading| reading.kind != ReadingKind::Function) {
        line(reading_line(reading, live.look.style), Style::new());
        line(resolution_line(reading, live.look.style), Style::new());
    }
    if let Some(stand_ins) = &live.on_screen().stand_ins {
        let words = stand_ins_words(stand_ins.chords(), live.look.style);
        line(words, Style::new());
    }
}

/// The harmony so far, the newest at the right, and what it is in the key; what may still change is marked as an answer that has not settled.
fn harmony(live: &Live, music: &Music, bottom: u16, page: &mut Page<'_>) {
    let so_far = music.answers.harmony();
    let settled = so_far.settled().map(|stretch| (stretch, ""));
    let open = so_far.open().iter().map(|stretch| (stretch, "~"));
    let all: Vec<_> = settled.chain(open).collect();
    let Some(&(last, _)) = all.last() else { return };
    if live.hidden() || so_far.open().is_empty() || page.top >= bottom {
        return;
    }
    let mut place = String::new();
    if let Some(key) = so_far.key() {
        let numeral = last.numeral.as_ref().map(|n| format!(": {n}"));
        place = format!("   in {key}{}", numeral.unwrap_or_default());
    }
    let mut room = page
        .columns()
        .saturating_sub(HARMONY.len() + place.chars().count());
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
    if entries.is_empty() {
        return;
    }
    entries.reverse();
    page.row(
        format!("{HARMONY}{}{place}", entries.concat()),
        Style::new(),
    );
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
    let others: Vec<String> = others_worth_showing(&naming.names, OTHER_NAMES)
        .iter()
        .map(|name| {
            let symbol = name.chord.symbol(style);
            format!("{symbol} {:.0} %", 100.0 * name.score.get())
        })
        .collect();
    let lead = match naming.verdict {
        Verdict::Named => "or",
        Verdict::Undecided => "undecided, perhaps",
        Verdict::NoGoodName => "no good name; nearest",
    };
    if others.is_empty() {
        String::new()
    } else {
        format!("{lead} {}", others.join(", "))
    }
}

/// `rootless dominant E13(b9): Ab 3, D b7, F b9, C# 13`.
fn reading_line(reading: &Reading, style: harmony::Style) -> String {
    let degrees: Vec<String> = reading
        .degrees
        .iter()
        .map(|(note, degree)| format!("{note} {degree}"))
        .collect();
    format!(
        "{} {}: {}",
        reading.kind,
        written::stands_for(reading, style),
        degrees.join(", ")
    )
}

/// `goes to Am: F > E, Ab > A`.
fn resolution_line(reading: &Reading, style: harmony::Style) -> String {
    match reading.resolves_to.first() {
        Some(resolution) => {
            let voices: Vec<String> = resolution
                .voices
                .iter()
                .map(|step| format!("{} > {}", step.from, step.to))
                .collect();
            let to = resolution.to.symbol(style);
            format!("goes to {to}: {}", voices.join(", "))
        }
        None => String::new(),
    }
}

/// Twelve bars, and their names below; as high as there is room, two rows at most.
fn pitch_classes(live: &Live, music: &Music, bottom: u16, page: &mut Page<'_>) {
    let rows = bottom.saturating_sub(page.top).saturating_sub(1).min(2);
    if rows == 0 {
        return;
    }
    let top = page.top;
    for (class, (&share, name)) in music.chroma.iter().zip(CLASSES).enumerate() {
        let column = class as u16 * CLASS_COLUMNS;
        let share = if live.hidden() {
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
            above(page, legend.to_owned(), palette.faint(), 20);
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
    above(page, said, style, 5);
    above(page, flags_line(live), palette.strong(), 7);
    let style = if live.status.clips() {
        palette.alarm()
    } else {
        Style::new()
    };
    above(page, input_line(live), style, 8);
    above(page, strip_line(live, page.columns()), Style::new(), 10);
    row
}

/// What every key does: as many columns of it as rows demand.
fn help(live: &Live, page: &mut Page<'_>) {
    let [sideways, down] = live.look.shapes.arrows;
    let keys = [
        ("q", "quit"),
        ("?", "this list, and back"),
        ("m", "mark this chord"),
        ("w", "a word to the mark"),
        ("p", "hold the screen"),
        ("k", "keep last minute"),
        ("g", "guess first"),
        ("space", "show the answer"),
        ("l", "small or large name"),
        ("s", "style of symbols"),
        (sideways, "key by fifths"),
        (down, "minor or major"),
        ("0", "no key"),
    ];
    let wide = keys.iter().map(|(key, _)| key.chars().count()).max();
    let wide = wide.unwrap_or_default();
    let rows = usize::from(page.area.height).max(1);
    let column = wide + 22;
    for (place, (key, does)) in keys.iter().enumerate() {
        let row = page.area.y + (place % rows) as u16;
        let text = format!("{key:>wide$}  {does}");
        page.at(row, (place / rows * column) as u16, text, Style::new());
    }
}

fn help_line(live: &Live, columns: usize) -> String {
    let pause = if live.held.is_some() {
        "p go on"
    } else {
        "p pause"
    };
    let keys = [
        "q quit",
        "? all keys",
        "m mark",
        pause,
        "k keep last minute",
        "g guess first",
        "l large",
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
        flags.push("PAUSED: the screen is held, the listening goes on".to_owned());
    }
    if live.status.hops > 1 {
        let wide = SampleSpan::new(u64::from(live.status.hops) * HOP_SAMPLES as u64);
        flags.push(format!(
            "BEHIND: this computer is busy, notes are heard every {:.0} ms",
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

fn input_line(live: &Live) -> String {
    let status: &Status = &live.status;
    let level = status.level_dbfs().map_or_else(
        || "no sound at all".to_owned(),
        |level| format!("{level:.0} dB"),
    );
    let word = if status.clips() {
        "  CLIPPED: less input level"
    } else if !live.music.answers.sounding().is_empty()
        && status
            .level_dbfs()
            .is_some_and(|level| level < TOO_QUIET_DBFS)
    {
        "  too quiet: come nearer"
    } else {
        ""
    };
    let a4 = status.a4.map_or_else(
        || "A4 not known yet".to_owned(),
        |a4| format!("A4 {:.1} Hz", a4.get()),
    );
    let dropped = match status.meter.dropped {
        0 => String::new(),
        dropped => format!("   {dropped} samples lost"),
    };
    format!(
        "level {} {level}{word}   {a4}{dropped}   {}",
        meter(status.level_dbfs(), &live.look.shapes),
        status.input
    )
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
