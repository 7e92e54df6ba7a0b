//! The printed chart of playing: its harmony in bars.
//!
//! Input: a [`Heard`] recording and what is played in it. Output: lines of text. Where bars are known: four to a line, with the time of the first; the
//! symbols lead, and below them stand the numerals, where a key is believed, the voicing of each bar (the keys that sound as it begins, the lowest with
//! its octave) and the melody. Else a line for each chord. Passages in which chords are held for study are shown as in the chart of what is held.
//! Units: minutes and seconds; columns of characters.
//! Method: our own layout; a bar that has the harmony of the bar before is a repeat sign. Limits: below about 60 columns two bars to a line; what is
//! wider than its bar ends with three dots.

use crate::chart::document::{HarmonyStretch, HeardChord};
use crate::chart::performance::Performance;
use crate::chart::recording::Heard;
use crate::harmony::{Key, PitchClass, Spelled};
use crate::playing::texture::Texture;
use crate::units::{MidiNote, SampleRate, Seconds};
use crate::view::chart::{
    ByChord, Layout, TIME_COLUMNS, end_with, heading, print_marks, signs_of, spans_and_chords,
};
use crate::view::ink::Ink;
use crate::view::notes::{Legend, Legends, clock};
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
/// What is left out.
const LEFT_OUT: &str = "...";
/// Changes of harmony this little before a bar line belong to the bar (s).
const EARLY: f64 = 0.1;
/// The voicing of a bar is that of the first seconds of it.
const BEGINNING: f64 = 1.0;

/// Prints the chart of what is played, with what its signs mean.
///
/// # Errors
/// If `out` cannot be written to.
pub fn print_played(
    heard: &Heard,
    played: &Performance,
    ink: Ink,
    out: &mut dyn Write,
) -> io::Result<()> {
    let mut legends = Legends::default();
    print_played_alone(heard, played, ink, &mut legends, out)?;
    end_with(&legends, ink, out)
}

/// Prints the chart of what is played, and notes which signs it uses.
///
/// # Errors
/// If `out` cannot be written to.
pub fn print_played_alone(
    heard: &Heard,
    played: &Performance,
    ink: Ink,
    signs: &mut Legends,
    out: &mut dyn Write,
) -> io::Result<()> {
    heading(heard, ink, out)?;
    writeln!(out, "{:TIME_COLUMNS$}{}\n", "", about(played))?;
    if played.harmony.is_empty() {
        writeln!(out, "  no harmony was heard")?;
    }
    let interpreted = heard.interpreted();
    let chords: Vec<_> = spans_and_chords(heard, &interpreted).collect();
    let layout = Layout::for_recording(heard, ink);
    let marks = ByChord::of(heard);
    let ends = played.passages.iter().skip(1).map(|p| Some(p.0));
    for (nth, (&(start, texture), end)) in
        played.passages.iter().zip(ends.chain([None])).enumerate()
    {
        if nth > 0 {
            writeln!(out)?;
        }
        let within = |at: Seconds| start <= at && end.is_none_or(|end| at < end);
        if texture == Texture::Held {
            let all = chords.iter().enumerate();
            for (nth, (span, chord)) in all.filter(|(_, (_, chord))| within(chord.start)) {
                layout.print_chord(span, chord, marks.sign(nth), ink, out)?;
                signs.add(signs_of(chord));
            }
            continue;
        }
        let passage = Passage {
            heard,
            harmony: played.harmony.iter().filter(|s| within(s.start)).collect(),
            downbeats: played
                .downbeats
                .iter()
                .copied()
                .filter(|&d| within(d))
                .collect(),
            key: played.key,
            melody: &played.melody,
            chords: chords
                .iter()
                .map(|(_, chord)| chord)
                .filter(|c| within(c.start))
                .collect(),
        };
        passage.print(ink, out)?;
    }
    if played.downbeats.len() >= 2 {
        signs.add([Legend::Bars]);
    }
    signs.add([Legend::Held]);
    if !heard.marks.is_empty() {
        writeln!(out)?;
    }
    print_marks(heard, &interpreted, ink, out)
}

/// `F major, 132 beats per minute, 4 to the bar, swung`: what is believed of it.
fn about(played: &Performance) -> String {
    let mut parts = vec![
        played
            .key
            .map_or_else(|| "no key holds".to_owned(), |key| key.to_string()),
    ];
    match &played.rhythm {
        Some(rhythm) => {
            parts.push(format!("{:.0} beats per minute", rhythm.bpm));
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
    } else if let Some(stand_in) = &stretch.stand_in {
        text.push_str(&format!(" for {}", stand_in.expected));
    }
    text
}

/// What is played in one passage.
struct Passage<'a> {
    heard: &'a Heard,
    harmony: Vec<&'a HarmonyStretch>,
    downbeats: Vec<Seconds>,
    /// Of the whole recording, as numbers of its notes.
    melody: &'a [usize],
    /// The keys as they sound together.
    chords: Vec<&'a HeardChord>,
    key: Option<Key>,
}

/// One bar: what stands in it, row by row.
struct Bar {
    start: Seconds,
    symbols: String,
    numerals: String,
    voicing: String,
    melody: String,
}

impl Bar {
    /// The rows, as they stand below each other.
    fn rows(&self) -> [&str; 4] {
        [&self.symbols, &self.numerals, &self.voicing, &self.melody]
    }
}

impl Passage<'_> {
    fn print(&self, ink: Ink, out: &mut dyn Write) -> io::Result<()> {
        if self.downbeats.len() >= 2 {
            return self.print_bars(ink, out);
        }
        for stretch in &self.harmony {
            let symbol = symbol(stretch);
            let line = format!(
                "{:>8}  {}  {}",
                clock(stretch.start),
                ink.strong(&symbol),
                ink.faint(&ink.signs(numeral(stretch)))
            );
            writeln!(out, "{}", line.trim_end())?;
        }
        Ok(())
    }

    fn print_bars(&self, ink: Ink, out: &mut dyn Write) -> io::Result<()> {
        let bars = self.bars(ink);
        let columns = usize::from(ink.columns);
        let to_a_line = if columns < FEW_COLUMNS {
            BARS_OF_FEW_COLUMNS
        } else {
            BARS
        };
        let room = columns.saturating_sub(TIME_COLUMNS + 1) / to_a_line;
        let widest = bars
            .iter()
            .flat_map(Bar::rows)
            .map(|text| text.chars().count())
            .max()
            .unwrap_or(0);
        let width = widest.min(room.saturating_sub(3)).max(4);
        for line in bars.chunks(to_a_line) {
            let row = |nth: usize, sign: char| {
                line.iter()
                    .map(|bar| format!("{sign} {:<width$} ", fitting(bar.rows()[nth], width)))
                    .collect::<String>()
            };
            let time = clock(line[0].start);
            writeln!(out, "{time:>8}  {}|", ink.strong(&row(0, '|')))?;
            for nth in 1..4 {
                let text = row(nth, ' ');
                if !text.trim().is_empty() {
                    let text = text.trim_end();
                    writeln!(out, "{:TIME_COLUMNS$}{}", "", ink.faint(text))?;
                }
            }
        }
        Ok(())
    }

    /// The bars, each from its downbeat to the next; what is played before the first is a bar of its own.
    fn bars(&self, ink: Ink) -> Vec<Bar> {
        let first = self.harmony.first().map_or(Seconds::ZERO, |s| s.start);
        let last = self.harmony.last().map_or(Seconds::ZERO, |s| s.end);
        let mut lines: Vec<Seconds> = Vec::with_capacity(self.downbeats.len() + 2);
        if self
            .downbeats
            .first()
            .is_some_and(|d| first.get() < d.get() - EARLY)
        {
            lines.push(first);
        }
        lines.extend(&self.downbeats);
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
            while self
                .harmony
                .get(next)
                .is_some_and(|s| s.end.get() <= start + 2.0 * EARLY)
            {
                next += 1;
            }
            let within: Vec<&HarmonyStretch> = self.harmony[next..]
                .iter()
                .copied()
                .take_while(|s| s.start.get() < end)
                .collect();
            let symbols: Vec<String> = within.iter().map(|s| symbol(s)).collect();
            let numerals: Vec<String> = within.iter().map(|s| ink.signs(numeral(s))).collect();
            let (text, numerals) = match (symbols.is_empty(), symbols == before) {
                (true, _) => (NO_CHORD.to_owned(), String::new()),
                (_, true) => (AS_BEFORE.to_owned(), String::new()),
                _ => (symbols.join("  "), numerals.join("  ").trim().to_owned()),
            };
            bars.push(Bar {
                start: pair[0],
                symbols: text,
                numerals,
                voicing: self.voicing(start, end),
                melody: self.tune(start, end),
            });
            before = symbols;
        }
        bars
    }

    /// The most keys that sound together as the bar begins.
    fn voicing(&self, start: f64, end: f64) -> String {
        let begins = end.min(start + EARLY + BEGINNING);
        let chord = self
            .chords
            .iter()
            .filter(|c| c.start.get() < begins && c.end.get() > start + EARLY)
            .max_by_key(|c| c.notes.len());
        let Some(chord) = chord else {
            return String::new();
        };
        let names = chord.notes.iter().enumerate().map(|(nth, name)| match nth {
            0 => name.as_str(),
            _ => without_octave(name),
        });
        names.collect::<Vec<_>>().join(" ")
    }

    /// The notes of the highest voice that are struck in the bar.
    fn tune(&self, start: f64, end: f64) -> String {
        let notes = &self.heard.notes;
        let at = |&note: &usize| notes[note].start.seconds(SampleRate::INTERNAL).get();
        let from = self.melody.partition_point(|note| at(note) < start);
        let to = self.melody.partition_point(|note| at(note) < end);
        let names = self.melody[from..to.max(from)]
            .iter()
            .map(|&note| spelled(notes[note].note.midi, self.key));
        names.collect::<Vec<_>>().join(" ")
    }
}

/// The name of a key of the piano, in a musical key: of the twelve names from five fifths below the tonic to six above.
fn spelled(midi: MidiNote, key: Option<Key>) -> String {
    let class = PitchClass::new(i32::from(midi.get()));
    let Some(tonic) = key.map(|key| key.tonic.fifths()) else {
        return Spelled::usual(class).to_string();
    };
    (tonic - 5..=tonic + 6)
        .map(Spelled::at_fifths)
        .find(|name| name.class() == class)
        .unwrap_or_else(|| Spelled::usual(class))
        .to_string()
}

/// The name of a note without the number of its octave.
fn without_octave(name: &str) -> &str {
    name.trim_end_matches(|c: char| c.is_ascii_digit() || c == '-')
}

/// `text`, cut at a space so that it fits.
fn fitting(text: &str, columns: usize) -> String {
    if text.chars().count() <= columns {
        return text.to_owned();
    }
    let room = columns.saturating_sub(LEFT_OUT.len() + 1);
    let cut: String = text.chars().take(room + 1).collect();
    match cut.rfind(' ') {
        Some(at) => format!("{} {LEFT_OUT}", cut[..at].trim_end()),
        None => text.chars().take(columns).collect(),
    }
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
                    stand_in: None,
                    held: false,
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
            passages: vec![(Seconds::ZERO, Texture::Played)],
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
            text.contains("F major, 120 beats per minute, 4 to the bar, swung"),
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
