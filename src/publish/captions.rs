//! Captions that run below a video: WebVTT and SubRip.
//!
//! Input: a [`Heard`] recording. Output: UTF-8 text, lines end in LF; cues by start, one at a time, each of one or two lines.
//! Units: hours, minutes, seconds, milliseconds. Method: WebVTT, W3C Candidate Recommendation 2019, section 4; SubRip as the public readers take it. A cue shows
//! a chord: its name with its numeral, below it what it stands for and its notes. Chords that follow each other faster than [`READABLE`] share a cue.
//! Limits: SubRip knows no escapes, so `<` and `>` are left out of it.

use crate::chart::piece::{Piece, PieceChord};
use crate::chart::recording::Heard;
use crate::harmony::Style;
use std::io::{self, Write};

/// The note at the head of the file.
pub const MARK: &str = "NOTE lidprop ";
/// The shortest time in which a cue can be read (ms).
const READABLE: u64 = 1_200;
/// A cue stays this long after its chord where nothing follows (ms).
const LINGERS: u64 = 1_500;
/// Characters to a line, as broadcasters hold it.
const LINE: usize = 42;

/// One cue.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Cue {
    start: u64,
    end: u64,
    lines: Vec<String>,
}

/// Writes WebVTT.
///
/// # Errors
/// If `out` cannot be written to.
pub fn write_webvtt(heard: &Heard, out: &mut dyn Write) -> io::Result<()> {
    writeln!(out, "WEBVTT\n\n{MARK}{}", env!("CARGO_PKG_VERSION"))?;
    for cue in cues(&Piece::of(heard)) {
        writeln!(out, "\n{} --> {}", time(cue.start, '.'), time(cue.end, '.'))?;
        for line in &cue.lines {
            let line = line
                .replace('&', "&amp;")
                .replace('<', "&lt;")
                .replace('>', "&gt;");
            writeln!(out, "{line}")?;
        }
    }
    Ok(())
}

/// Writes SubRip.
///
/// # Errors
/// If `out` cannot be written to.
pub fn write_subrip(heard: &Heard, out: &mut dyn Write) -> io::Result<()> {
    for (number, cue) in (1..).zip(cues(&Piece::of(heard))) {
        let gap = if number > 1 { "\n" } else { "" };
        writeln!(
            out,
            "{gap}{number}\n{} --> {}",
            time(cue.start, ','),
            time(cue.end, ',')
        )?;
        for line in &cue.lines {
            writeln!(out, "{}", line.replace(['<', '>'], ""))?;
        }
    }
    Ok(())
}

fn time(millis: u64, point: char) -> String {
    let (seconds, millis) = (millis / 1000, millis % 1000);
    format!(
        "{:02}:{:02}:{:02}{point}{millis:03}",
        seconds / 3600,
        seconds / 60 % 60,
        seconds % 60
    )
}

/// The cues of a piece: none overlaps the next, none is empty.
fn cues(piece: &Piece) -> Vec<Cue> {
    let millis = |at: crate::units::Seconds| (at.get() * 1000.0).round() as u64;
    let chords = &piece.chords;
    let mut cues = Vec::new();
    let mut at = 0;
    while at < chords.len() {
        let start = millis(chords[at].start);
        let mut past = at + 1;
        while chords
            .get(past)
            .is_some_and(|next| millis(next.start) < start + READABLE)
        {
            past += 1;
        }
        let next = chords
            .get(past)
            .map_or(millis(piece.length).max(start), |next| millis(next.start));
        let end = (millis(chords[past - 1].end) + LINGERS)
            .max(start + READABLE)
            .min(next);
        let lines = match &chords[at..past] {
            [chord] => alone(chord, piece.style),
            several => together(several, piece.style),
        };
        if end > start {
            cues.push(Cue { start, end, lines });
        }
        at = past;
    }
    cues
}

fn alone(chord: &PieceChord, style: Style) -> Vec<String> {
    let place = chord
        .numeral
        .as_ref()
        .zip(chord.key)
        .map(|(numeral, key)| format!("   {numeral} in {key}"));
    let first = format!("{}{}", name(chord, style), place.unwrap_or_default());
    let notes: Vec<String> = chord.keys.iter().map(ToString::to_string).collect();
    let notes = notes.join(" ");
    let reading = chord
        .stands_for
        .map(|stands| format!("for {}: ", stands.symbol(style)))
        .unwrap_or_default();
    let second = [
        format!("{reading}{notes}"),
        notes,
        reading.trim_end_matches([' ', ':']).to_owned(),
    ];
    let second = second.into_iter().find(|line| line.chars().count() <= LINE);
    [Some(first), second]
        .into_iter()
        .flatten()
        .filter(|line| !line.is_empty())
        .collect()
}

/// Several chords on one line, as many as it holds, and their numerals below.
fn together(chords: &[PieceChord], style: Style) -> Vec<String> {
    let names = joined(chords.iter().map(|chord| name(chord, style)), "  –  ");
    let numerals = joined(
        chords.iter().filter_map(|chord| chord.numeral.clone()),
        " – ",
    );
    names.into_iter().chain(numerals).collect()
}

fn joined(words: impl Iterator<Item = String>, by: &str) -> Option<String> {
    let mut line = String::new();
    for word in words {
        let more = if line.is_empty() {
            word
        } else {
            format!("{line}{by}{word}")
        };
        if more.chars().count() > LINE {
            return Some(format!("{line} …"));
        }
        line = more;
    }
    (!line.is_empty()).then_some(line)
}

fn name(chord: &PieceChord, style: Style) -> String {
    chord.best().map_or_else(
        || "no good name".to_owned(),
        |name| name.chord.symbol(style),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_may_pass_a_hundred_hours() {
        assert_eq!(time(0, '.'), "00:00:00.000");
        assert_eq!(time(3_723_004, ','), "01:02:03,004");
        assert_eq!(time(100 * 3_600_000, '.'), "100:00:00.000");
    }

    #[test]
    fn a_line_ends_before_it_is_too_long() {
        let words = ["Dm7(♭5)"; 9].map(str::to_owned);
        let line = joined(words.into_iter(), "  –  ").unwrap();
        assert!(
            line.ends_with('…') && line.chars().count() <= LINE + 2,
            "{line}"
        );
        assert_eq!(joined(std::iter::empty(), " "), None);
    }
}
