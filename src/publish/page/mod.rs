//! A page: one HTML file that shows a recording and plays it, for a pupil, a band, or a sheet of paper.
//!
//! Input: a [`Heard`] recording. Output: HTML with all that it needs inside, the sound among it; nothing is fetched, and the page's own policy forbids it. Units: seconds,
//! minutes. Method: the whole of the recording as a strip (loudness, chords, keys), then a table of the chords, each with its keyboard and grand staff
//! ([`keyboard`], [`staff`]), its names with degrees, its reading in words, its numeral and key. The sound is FLAC, because browsers find places in it to the sample. Facts that the script needs
//! stand in the rows. Of many chords all words stand there, for whoever searches or has them read aloud, and the pictures of the later ones as shorthand, which the script
//! draws as a reader comes to them, or for paper; of their strip it draws what is in sight. Limits: keys light up by the notes that were heard; a recording longer than [`KeptSound::LONGEST_SECONDS`] comes without its sound.

pub mod glyphs;
pub mod keyboard;
mod shorthand;
pub mod staff;

use crate::chart::marked::Marked;
use crate::chart::piece::{Piece, PieceChord};
use crate::chart::recording::Heard;
use crate::chart::sound::KeptSound;
use crate::chart::written;
use crate::harmony::{Degree, NamedNote, Reading, ReadingKind, Spelled, Style, Verdict};
use crate::publish::musicxml::score::hands;
use crate::publish::{PageOptions, WriteOptions};
use crate::units::{MidiNote, SampleRate, Seconds};
use crate::view::notes::clock;
use crate::view::printable::printable;
use base64::engine::general_purpose::STANDARD;
use base64::write::EncoderWriter;
use keyboard::Keyboard;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use shorthand::Shorthand;
use std::fmt::Write as _;
use std::io::{self, Write};
use std::path::Path;

/// By this lidprop knows its own pages.
pub const MARK: &str = "name=\"generator\" content=\"lidprop ";
/// Forbids a page to fetch anything.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; media-src data:; img-src data:";
/// Chords with their pictures in a page of many; those of the others are drawn by the script as a reader comes to them, so that the page opens at once.
const PICTURED: usize = 200;
/// Columns of the picture of loudness at most.
const COLUMNS: usize = 2400;
/// Loudness (dBFS) that has no height in it.
const QUIET: f32 = -60.0;

/// Writes the page of a recording.
///
/// # Errors
/// If `out` cannot be written to.
pub fn write_page(heard: &Heard, options: &WriteOptions, out: &mut dyn Write) -> io::Result<()> {
    let piece = Piece::of(heard);
    let sound = heard.sound.as_ref();
    let flac = sound.and_then(|sound| sound.flac.as_deref());
    let page = RecordingPage {
        piece: &piece,
        sound,
        options: &options.page,
        has_sound: flac.is_some(),
    };
    out.write_all(page.before_sound().into_string().as_bytes())?;
    if let Some(flac) = flac {
        out.write_all(b"<audio preload=\"auto\" src=\"data:audio/flac;base64,")?;
        {
            let mut encoder = EncoderWriter::new(&mut *out, &STANDARD);
            encoder.write_all(flac)?;
            encoder.finish()?;
        }
        out.write_all(b"\"></audio>")?;
    }
    out.write_all(page.after_sound().into_string().as_bytes())?;
    writeln!(out, "</body></html>")
}

/// The head of any page, and the beginning of its body.
pub fn head(title: &str, covered: bool) -> Markup {
    html! {
        (DOCTYPE)
        (PreEscaped("<html lang=\"en\">"))
        head {
            meta charset="utf-8";
            meta name="viewport" content="width=device-width, initial-scale=1";
            meta name="generator" content=(format!("lidprop {}", env!("CARGO_PKG_VERSION")));
            meta http-equiv="Content-Security-Policy" content=(POLICY);
            title { (title) }
            style { (PreEscaped(include_str!("page.css"))) }
        }
        (PreEscaped(if covered { "<body class=\"covered\">" } else { "<body>" }))
    }
}

/// Signs that the pictures of a page refer to.
pub fn symbols(keyboard: Keyboard) -> Markup {
    html! { svg width="0" height="0" aria-hidden="true" style="position:absolute" { (staff::symbols()) (keyboard.symbols()) } }
}

/// The last words of a page; of one that comes from sound with a word of caution.
pub fn footer(from_sound: bool) -> Markup {
    html! { footer { p { "Written by lidprop " (env!("CARGO_PKG_VERSION")) "." @if from_sound { " It tells what it heard: where a note is in doubt, trust your ears." } } } }
}

/// Notes with their degrees: `D 1 · F ♭3`.
pub fn degrees(degrees: &[(Spelled, Degree)], style: Style) -> Markup {
    let pair = |(note, degree): &(Spelled, Degree)| {
        format!(
            "{}\u{a0}{}",
            signs(note.name(), style),
            signs(degree.name(), style)
        )
    };
    let pairs: Vec<String> = degrees.iter().map(pair).collect();
    // A dot stays with what is before it.
    html! { (pairs.join("\u{a0}· ")) }
}

/// Accidentals as signs, unless plain letters were asked for.
pub fn signs(text: &str, style: Style) -> String {
    match style {
        Style::Ascii => text.to_owned(),
        _ => text.replace('b', "♭").replace('#', "♯"),
    }
}

/// A Roman numeral with its accidentals as signs: those before a numeral and in its brackets, not the letters of `sub`.
pub fn numeral_signs(numeral: &str, style: Style) -> String {
    if style == Style::Ascii {
        return numeral.to_owned();
    }
    let mut before = None;
    let sign = |letter: char| {
        let in_a_word = before
            .replace(letter)
            .is_some_and(|c: char| c.is_ascii_lowercase() && !"b#".contains(c));
        match letter {
            'b' if !in_a_word => '♭',
            '#' => '♯',
            other => other,
        }
    };
    numeral.chars().map(sign).collect()
}

fn note_names(keys: &[NamedNote], style: Style) -> String {
    let names: Vec<String> = keys
        .iter()
        .map(|key| signs(&key.to_string(), style))
        .collect();
    names.join(" ")
}

/// What a chord stands for, in words.
fn reading_words(reading: &Reading, style: Style) -> String {
    let mut words = format!(
        "{} {}: {}",
        reading.kind,
        written::stands_for(reading, style),
        written::why(&reading.why, style)
    );
    if let Some(to) = reading.resolves_to.first() {
        // Writing to a text cannot fail.
        let _ = write!(words, "; tends to {}", to.to.symbol(style));
    }
    words
}

struct RecordingPage<'a> {
    piece: &'a Piece,
    sound: Option<&'a KeptSound>,
    options: &'a PageOptions,
    has_sound: bool,
}

impl RecordingPage<'_> {
    fn before_sound(&self) -> Markup {
        let piece = self.piece;
        let title = self.options.title.clone();
        let title = title.unwrap_or_else(|| piece.stem());
        let title = printable(&title);
        let keyboard = self.keyboard();
        html! {
            (head(&title, self.options.covered))
            (symbols(keyboard))
            header {
                h1 { (title) }
                p.facts { (self.facts()) }
                @if let Some(note) = &self.options.note { p.note { (note) } }
                @for warning in &piece.warnings { p.soft { "Note: " (warning) } }
                @if self.sound.is_some_and(|sound| sound.too_long) {
                    p.soft { "The recording is longer than half an hour, so its sound is not in this page." }
                }
                @if self.options.covered {
                    p.screen { "Listen first. Names, notes and readings are covered. " button id="uncover" type="button" { "Show all answers" } }
                }
            }
            (PreEscaped("<main>"))
            @if piece.chords.is_empty() {
                p { "No chord was heard in this recording." }
            } @else {
                (self.strip())
                (self.marks())
                @if self.has_sound { (self.desk(keyboard)) }
                (self.table(keyboard))
            }
        }
    }

    fn after_sound(&self) -> Markup {
        html! {
            (PreEscaped("</main>"))
            (footer(true))
            @if !self.piece.chords.is_empty() {
                @if self.has_sound { script id="notes" type="application/json" { (PreEscaped(self.notes())) } }
                @if self.is_long() { script id="phrases" type="application/json" { (PreEscaped(Shorthand::of(self.keyboard()).json())) } }
                script { (PreEscaped(include_str!("page.js"))) }
            }
        }
    }

    /// What the player marked, with the chords.
    fn marks(&self) -> Markup {
        let piece = self.piece;
        let starts = || {
            piece
                .chords
                .iter()
                .map(|chord| chord.start.frames(SampleRate::INTERNAL))
        };
        let name = |mark: &Marked| {
            let chord = &piece.chords[mark.chord(starts())?];
            chord
                .names
                .first()
                .map(|name| name.chord.symbol(piece.style))
        };
        html! {
            @if !piece.marks.is_empty() {
                section {
                    h2 { "Marked" }
                    @for mark in &piece.marks {
                        p {
                            (clock(mark.at.seconds(SampleRate::INTERNAL)))
                            @if let Some(name) = name(mark) { " " span.a { (name) } }
                            @if let Some(word) = &mark.word { ": " (word) }
                        }
                    }
                }
            }
        }
    }

    fn facts(&self) -> String {
        let piece = self.piece;
        let file = Path::new(&piece.file)
            .file_name()
            .map(|name| printable(&name.to_string_lossy()).into_owned());
        let mut facts: Vec<String> = file.into_iter().collect();
        facts.push(match piece.begins.get() > 0.0 {
            true => format!("{} to {}", clock(piece.begins), clock(piece.length)),
            false => clock(piece.length),
        });
        facts.extend(piece.a4.map(|a4| format!("A4 at {:.1} Hz", a4.get())));
        facts.extend(
            piece
                .key
                .map(|key| format!("mostly {}", signs(&key.to_string(), piece.style))),
        );
        if let Some(grid) = &piece.grid {
            facts.push(format!("{:.0} beats per minute", grid.rhythm.bpm));
            facts.extend(grid.rhythm.meter.map(|meter| format!("{meter} to the bar")));
            facts.extend(grid.rhythm.swung().then(|| "swung".to_owned()));
        }
        facts.join(" · ")
    }

    /// Whether there are more chords than a browser draws at once.
    fn is_long(&self) -> bool {
        self.piece.chords.len() > PICTURED
    }

    fn keyboard(&self) -> Keyboard {
        let of_chords = self
            .piece
            .chords
            .iter()
            .flat_map(|chord| chord.keys.iter().map(|key| key.midi));
        Keyboard::around(of_chords.chain(self.piece.notes.iter().map(|note| note.note.midi)))
    }

    /// Start, end and key of each note, in milliseconds.
    fn notes(&self) -> String {
        let millis = |at: Seconds| (at.get() * 1000.0).round() as u64;
        let notes: Vec<[u64; 3]> = self
            .piece
            .notes
            .iter()
            .map(|note| {
                [
                    millis(note.start),
                    millis(note.end),
                    u64::from(note.note.midi.get()),
                ]
            })
            .collect();
        serde_json::to_string(&notes).unwrap_or_else(|_| "[]".to_owned())
    }

    fn strip(&self) -> Markup {
        let piece = self.piece;
        let (begins, ends) = (piece.begins.get(), piece.length.get());
        let length = (ends - begins).max(0.001);
        let share = |at: Seconds| format!("{:.4}", 100.0 * (at.get() - begins) / length);
        let width = |from: Seconds, to: Seconds| {
            format!(
                "{:.4}",
                100.0 * (to.get().min(ends) - from.get()).max(0.0) / length
            )
        };
        let mut keys: Vec<(String, Seconds, Seconds)> = Vec::new();
        for chord in &piece.chords {
            let Some(key) = chord.key.map(|key| signs(&key.to_string(), piece.style)) else {
                continue;
            };
            match keys.last_mut() {
                Some(last) if last.0 == key => last.2 = chord.end,
                _ => keys.push((key, chord.start, chord.end)),
            }
        }
        html! {
            section aria-labelledby="h-strip" {
                h2 id="h-strip" { "From beginning to end" }
                div.row.screen {
                    button id="closer" type="button" { "Closer" }
                    button id="wider" type="button" { "Wider" }
                    button id="whole" type="button" { "Whole" }
                    span.soft { @if self.has_sound { "Click into the strip to play from there." } @else { "Click into the strip to find the chord in the table." } }
                }
                div.strip tabindex="0" role="region" aria-label="Loudness, chords and keys over time; the table below says the same" {
                    div.long data-begins=(seconds(piece.begins)) data-length=(format!("{length:.3}")) aria-hidden="true" {
                        (self.loudness())
                        @for chord in piece.chords.iter().filter(|_| !self.is_long()) {
                            span.c style=(format!("left:{}%;width:{}%", share(chord.start), width(chord.start, chord.end))) { s.a { (name(chord, piece.style)) } }
                        }
                        @for (key, from, to) in &keys {
                            span.y style=(format!("left:{}%;width:{}%", share(*from), width(*from, *to))) { s.a { (key) } }
                        }
                        @if self.has_sound { b hidden {} i {} }
                    }
                }
            }
        }
    }

    /// How loud it is, as a shape around a middle line.
    fn loudness(&self) -> Markup {
        let Some(loudness) = self
            .sound
            .map(|sound| &sound.loudness)
            .filter(|loudness| !loudness.is_empty())
        else {
            return html! {};
        };
        let stretch = loudness.len().div_ceil(COLUMNS);
        let height = |db: &[f32]| {
            let loudest = db.iter().copied().fold(QUIET, f32::max);
            (50.0 * (1.0 - loudest.min(0.0) / QUIET)).round() as i32
        };
        let heights: Vec<i32> = loudness.chunks(stretch).map(height).collect();
        let mut path = String::from("M0 50");
        let below = heights
            .iter()
            .enumerate()
            .rev()
            .map(|(x, height)| (x, 50 + height));
        for (x, y) in heights
            .iter()
            .enumerate()
            .map(|(x, height)| (x, 50 - height))
            .chain(below)
        {
            // Writing to a text cannot fail.
            let _ = write!(path, "L{x} {y}");
        }
        html! { svg viewBox=(format!("0 0 {} 100", heights.len())) preserveAspectRatio="none" { path d=(path) {} } }
    }

    fn desk(&self, keyboard: Keyboard) -> Markup {
        let (begins, ends) = (seconds(self.piece.begins), seconds(self.piece.length));
        html! {
            section.desk aria-label="Player" {
                div.row {
                    button id="play" type="button" { "Play" }
                    span id="time" { (clock(self.piece.begins)) }
                    input id="at" type="range" min=(begins) max=(ends) step="0.05" value=(begins) aria-label="Place in the recording";
                    label { "Speed" select id="slow" {
                        option value="1" { "as played" }
                        @for percent in [90, 80, 70, 60, 50, 40] { option value=(format!("0.{}", percent / 10)) { (percent) " %" } }
                    } }
                    strong.a id="told" {}
                }
                div.row {
                    button id="this" type="button" { "Loop this chord" }
                    button id="here" type="button" { "Loop from here" }
                    button id="there" type="button" { "to here" }
                    button id="free" type="button" { "No loop" }
                    span.soft id="loop" role="status" { "No loop" }
                }
                div.a { (keyboard.by_keys("Keyboard; keys light up while they sound")) }
            }
        }
    }

    fn table(&self, keyboard: Keyboard) -> Markup {
        let columns = [
            ("s", "Time"),
            ("name", "Chord"),
            ("", "Keys"),
            ("", "Notes"),
            ("num", "Numeral"),
            ("key", "Key"),
            ("", "What it stands for"),
        ];
        let count = self.piece.chords.len();
        let mut before = None;
        let later = self.is_long().then(|| Shorthand::of(keyboard));
        html! {
            section aria-labelledby="h-table" {
                h2 id="h-table" { "Chord by chord" }
                div.row.screen {
                    label { "Find" input id="filter" type="search" placeholder="m7b5, V7, F major"; }
                    span.soft id="found" role="status" { (count) " of " (count) }
                }
                noscript { p.soft {
                    "Scripts are switched off in this browser: nothing here plays, sorts, finds or uncovers."
                    @if self.is_long() { " The first " (PICTURED) " chords have their pictures, the others only words." }
                } }
                table.many[self.is_long()] {
                    thead { tr {
                        @for (by, words) in columns {
                            @if by.is_empty() { th scope="col" { (words) } }
                            @else { th scope="col" data-by=(by) aria-sort=(if by == "s" { "ascending" } else { "none" }) { button type="button" { (words) } } }
                        }
                    } }
                    tbody { @for (nth, chord) in self.piece.chords.iter().enumerate() {
                        (self.row(chord, keyboard, later.as_ref().filter(|_| nth >= PICTURED), &mut before))
                    } }
                }
            }
        }
    }

    /// A chord; its pictures are drawn `later`, if by anything.
    fn row(
        &self,
        chord: &PieceChord,
        keyboard: Keyboard,
        later: Option<&Shorthand>,
        before: &mut Option<MidiNote>,
    ) -> Markup {
        let style = self.piece.style;
        let name = name(chord, style);
        let names = note_names(&chord.keys, style);
        let midi: Vec<MidiNote> = chord.keys.iter().map(|key| key.midi).collect();
        let key = chord
            .key
            .map(|key| signs(&key.to_string(), style))
            .unwrap_or_default();
        let numeral = chord
            .numeral
            .as_deref()
            .map(|numeral| numeral_signs(numeral, style))
            .unwrap_or_default();
        let at = clock(chord.start);
        html! {
            tr data-s=(seconds(chord.start)) data-e=(seconds(chord.end)) {
                td {
                    @if self.has_sound { button.from aria-label=(format!("Play from {at}")) { (at) } } @else { (at) }
                    @if self.options.covered { " " button.show aria-pressed="false" aria-label=(format!("Show the answer at {at}")) { "Show" } }
                }
                td { span.name { (name) } (also(chord, style)) }
                td { @if !midi.is_empty() {
                    @let described = format!("Keyboard: {names}");
                    @let pictures = html! { (keyboard.drawing(&midi)) (staff::picture(&hands(&chord.keys, before))) };
                    @match later {
                        None => { div.pics role="img" aria-label=(described) { (pictures) } }
                        Some(shorthand) => { div.pics role="img" aria-label=(described) data-p=(shorthand.shorten(pictures.into_string())) {} }
                    }
                } }
                td { (degrees(&chord.degrees, style)) @if chord.pedal { span.also { "held by the pedal" } } }
                td.num { (numeral) @if let Some(function) = chord.function { span.also { (function) } } }
                td.in { (key) }
                td { @if let Some(reading) = chord.reading.as_ref().filter(|reading| reading.kind != ReadingKind::Function) {
                    @if chord.stands_for.is_some() { (reading_words(reading, style)) }
                    @else if chord.verdict != Verdict::Named {
                        @let itself = chord.best().is_some_and(|best| best.chord == reading.chord);
                        span.also { @if !itself { "could also be: " } (reading_words(reading, style)) }
                    }
                } }
            }
        }
    }
}

fn seconds(at: Seconds) -> String {
    format!("{:.3}", at.get())
}

fn name(chord: &PieceChord, style: Style) -> String {
    chord.best().map_or_else(
        || "no good name".to_owned(),
        |name| name.chord.symbol(style),
    )
}

/// The other names that are worth a word.
fn also(chord: &PieceChord, style: Style) -> Markup {
    let best = chord.names.first().map_or(0.0, |name| name.score.get());
    let others: Vec<String> = match chord.verdict {
        Verdict::NoGoodName => chord
            .names
            .iter()
            .take(1)
            .map(|name| format!("nearest {}", name.chord.symbol(style)))
            .collect(),
        _ => chord
            .names
            .iter()
            .skip(1)
            .filter(|name| name.score.get() > 0.1 * best)
            .map(|name| name.chord.symbol(style))
            .collect(),
    };
    html! { @if !others.is_empty() { span.also { @if chord.verdict != Verdict::NoGoodName { "or " } (others.join(", ")) } } }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn accidentals_of_a_numeral_are_signs_and_its_words_stay() {
        for (written, shown) in [
            ("biii°7", "♭iii°7"),
            ("subV7/IV", "subV7/IV"),
            ("subV7/bII", "subV7/♭II"),
            ("V7(b9,#11)", "V7(♭9,♯11)"),
        ] {
            assert_eq!(numeral_signs(written, Style::default()), shown);
        }
        assert_eq!(numeral_signs("bII", Style::Ascii), "bII");
    }
}
