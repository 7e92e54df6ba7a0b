//! The printed chart of playing: its harmony in bars.
//!
//! Input: a [`Heard`] recording and what is played in it. Output: lines of text: four bars to a line where bars are known, with their time; else a
//! line for each chord. Below the symbols stand the numerals, where a key is believed. Units: minutes and seconds; columns of characters.
//! Method: our own layout; a bar that has the harmony of the bar before is a repeat sign. Limits: below about 60 columns two bars to a line.

use crate::chart::document::HarmonyStretch;
use crate::chart::performance::Performance;
use crate::chart::recording::Heard;
use crate::units::Seconds;
use crate::view::chart::{TIME_COLUMNS, heading};
use crate::view::ink::Ink;
use crate::view::notes::clock;
use std::io::{self, Write};

/// Bars to a line, and to a short one.
const BARS: usize = 4;
const BARS_OF_FEW_COLUMNS: usize = 2;
/// Lines shorter than this are short (columns).
const FEW_COLUMNS: usize = 60;
/// A bar that is played as the one before.
const AS_BEFORE: &str = "./.";
/// A bar in which no chord is played.
const NO_CHORD: &str = "-";
/// Changes of harmony this little before a bar line belong to the bar (s).
const EARLY: f64 = 0.1;

/// Prints the chart of what is played.
///
/// # Errors
/// If `out` cannot be written to.
pub fn print_played(
    heard: &Heard,
    played: &Performance,
    ink: Ink,
    out: &mut dyn Write,
) -> io::Result<()> {
    heading(heard, ink, out)?;
    writeln!(out, "{:TIME_COLUMNS$}{}\n", "", about(played))?;
    if played.harmony.is_empty() {
        writeln!(out, "  no harmony was heard")?;
    } else if played.downbeats.len() < 2 {
        for stretch in &played.harmony {
            let symbol = symbol(stretch);
            let numeral = numeral(stretch);
            let line = format!(
                "{:>8}  {}  {}",
                clock(stretch.start),
                ink.strong(&symbol),
                ink.faint(&numeral)
            );
            writeln!(out, "{}", line.trim_end())?;
        }
    } else {
        bars(played, ink, out)?;
    }
    writeln!(
        out,
        "\n{:TIME_COLUMNS$}{}",
        "",
        ink.faint("--held shows the keys, chord by chord")
    )
}

/// `F major, 132 beats a minute, 4 to the bar, swung`: what is believed of it.
fn about(played: &Performance) -> String {
    let mut parts = vec![
        played
            .key
            .map_or_else(|| "no key holds".to_owned(), |key| key.to_string()),
    ];
    match &played.rhythm {
        Some(rhythm) => {
            parts.push(format!("{:.0} beats a minute", rhythm.bpm));
            parts.extend(rhythm.meter.map(|meter| format!("{meter} to the bar")));
            if rhythm.swung() {
                parts.push("swung".to_owned());
            }
        }
        None => parts.push("no beat holds".to_owned()),
    }
    parts.join(", ")
}

fn symbol(stretch: &HarmonyStretch) -> String {
    stretch
        .names
        .first()
        .map_or_else(String::new, |name| name.symbol.clone())
}

fn numeral(stretch: &HarmonyStretch) -> String {
    let mut text = stretch.numeral.clone().unwrap_or_default();
    if let Some(dominant) = &stretch.stands_for {
        text.push_str(&format!(" = {dominant}"));
    }
    text
}

/// One bar: its symbols and its numerals.
struct Bar {
    start: Seconds,
    symbols: String,
    numerals: String,
}

fn bars(played: &Performance, ink: Ink, out: &mut dyn Write) -> io::Result<()> {
    let written = written(played);
    let columns = usize::from(ink.columns);
    let to_a_line = if columns < FEW_COLUMNS {
        BARS_OF_FEW_COLUMNS
    } else {
        BARS
    };
    let room = columns.saturating_sub(TIME_COLUMNS + 1) / to_a_line;
    let widest = written
        .iter()
        .map(|bar| {
            bar.symbols
                .chars()
                .count()
                .max(bar.numerals.chars().count())
        })
        .max()
        .unwrap_or(0);
    let width = widest.min(room.saturating_sub(3)).max(4);
    for line in written.chunks(to_a_line) {
        let row = |text: &dyn Fn(&Bar) -> String, line_sign: char| {
            line.iter()
                .map(|bar| format!("{line_sign} {:<width$} ", text(bar)))
                .collect::<String>()
        };
        let symbols = row(&|bar| bar.symbols.clone(), '|');
        let numerals = row(&|bar| bar.numerals.clone(), ' ');
        writeln!(
            out,
            "{:>8}  {}|",
            clock(line[0].start),
            ink.strong(&symbols)
        )?;
        if !numerals.trim().is_empty() {
            writeln!(
                out,
                "{:TIME_COLUMNS$}{}",
                "",
                ink.faint(numerals.trim_end())
            )?;
        }
    }
    Ok(())
}

/// The bars, each from its downbeat to the next; what is played before the first is a bar of its own.
fn written(played: &Performance) -> Vec<Bar> {
    let first = played.harmony.first().map_or(Seconds::ZERO, |s| s.start);
    let last = played.harmony.last().map_or(Seconds::ZERO, |s| s.end);
    let mut lines: Vec<Seconds> = Vec::with_capacity(played.downbeats.len() + 2);
    if played
        .downbeats
        .first()
        .is_some_and(|d| first.get() < d.get() - EARLY)
    {
        lines.push(first);
    }
    lines.extend(&played.downbeats);
    lines.push(last);
    let mut bars: Vec<Bar> = Vec::with_capacity(lines.len());
    // what the bar before holds, chord by chord
    let mut before: Vec<String> = Vec::new();
    let mut next = 0;
    for pair in lines.windows(2) {
        let (start, end) = (pair[0].get() - EARLY, pair[1].get() - EARLY);
        if end <= start {
            continue;
        }
        while next < played.harmony.len() && played.harmony[next].end.get() <= start + 2.0 * EARLY {
            next += 1;
        }
        let within: Vec<&HarmonyStretch> = played.harmony[next..]
            .iter()
            .take_while(|s| s.start.get() < end)
            .collect();
        let symbols: Vec<String> = within.iter().map(|s| symbol(s)).collect();
        let as_before = !symbols.is_empty() && symbols == before;
        let (text, numerals) = match (symbols.is_empty(), as_before) {
            (true, _) => (NO_CHORD.to_owned(), String::new()),
            (_, true) => (AS_BEFORE.to_owned(), String::new()),
            _ => (
                symbols.join("  "),
                within
                    .iter()
                    .map(|s| numeral(s))
                    .collect::<Vec<_>>()
                    .join("  "),
            ),
        };
        bars.push(Bar {
            start: pair[0],
            symbols: text,
            numerals: numerals.trim().to_owned(),
        });
        before = symbols;
    }
    bars
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chart::document::{HarmonyName, Rhythm};
    use crate::chart::recording::{HeardSoFar, Wording};
    use crate::units::SamplePos;

    fn seconds(at: f64) -> Seconds {
        Seconds::new(at).unwrap()
    }

    /// Chords by the second at which they begin; a bar lasts two seconds.
    fn played(chords: &[(f64, &str)], end: f64) -> Performance {
        let ends = chords.iter().skip(1).map(|c| c.0).chain([end]);
        Performance {
            stretches: Vec::new(),
            harmony: chords
                .iter()
                .zip(ends)
                .map(|(&(start, symbol), end)| HarmonyStretch {
                    start: seconds(start),
                    end: seconds(end),
                    names: vec![HarmonyName {
                        symbol: symbol.to_owned(),
                        ascii: symbol.to_owned(),
                        label: String::new(),
                        score: 1.0,
                    }],
                    key: None,
                    key_confidence: 0.0,
                    numeral: None,
                    function: None,
                    stands_for: None,
                })
                .collect(),
            beats: (0..20).map(|b| seconds(f64::from(b) * 0.5)).collect(),
            downbeats: (0..5).map(|b| seconds(f64::from(b) * 2.0)).collect(),
            rhythm: Some(Rhythm {
                bpm: 120.0,
                beat_confidence: 1.0,
                meter: Some(4),
                bar_confidence: 1.0,
                second_eighth: Some(0.66),
            }),
            melody: Vec::new(),
            key: Some("F major".parse().unwrap()),
        }
    }

    fn printed(played: &Performance, columns: u16) -> String {
        let heard = HeardSoFar::new("evening.wav", Wording::default()).end(SamplePos::START, None);
        let mut text = Vec::new();
        print_played(&heard, played, Ink::plain(columns), &mut text).unwrap();
        String::from_utf8(text).unwrap()
    }

    #[test]
    fn bars_stand_four_to_a_line_with_a_sign_for_a_repeated_one() {
        let chords = [
            (0.0, "F6"),
            (2.05, "Gm7"),
            (3.0, "C7"),
            (4.0, "F6"),
            (8.0, "Bb"),
        ];
        let text = printed(&played(&chords, 10.0), 80);
        assert!(
            text.contains("  0:00.0  | F6      | Gm7  C7 | F6      | ./.     |\n"),
            "{text}"
        );
        assert!(text.contains("  0:08.0  | Bb      |\n"), "{text}");
        assert!(
            text.contains("F major, 120 beats a minute, 4 to the bar, swung"),
            "{text}"
        );
        assert!(
            text.lines().all(|line| line.chars().count() <= 80),
            "{text}"
        );
    }

    #[test]
    fn a_narrow_line_holds_two_bars() {
        let chords = [(0.0, "F6"), (2.0, "Gm7"), (4.0, "C7")];
        let text = printed(&played(&chords, 10.0), 40);
        assert!(text.contains("  0:04.0  | C7   | ./.  |\n"), "{text}");
    }

    #[test]
    fn where_no_bars_are_known_each_chord_has_its_time() {
        let mut free = played(&[(0.0, "F6"), (2.5, "Gm7")], 10.0);
        (free.beats, free.downbeats, free.rhythm, free.key) = Default::default();
        let text = printed(&free, 80);
        assert!(text.contains("no key holds, no beat holds"), "{text}");
        assert!(text.contains("  0:02.5  Gm7\n"), "{text}");
    }
}
