//! Typed charts: the bars of a progression, as a player writes them into a plain text file or on the command line.
//!
//! Input: text. Output: a [`TypedChart`], bars of chords with their beats, or the place where reading stopped and what was expected there
//! ([`ChartError`]). Units: beats of the metre; lines and places (characters of a line) are counted from 1.
//! Method: line by line. A line of bars parts them by `|`; `%` repeats the bar before; the chords of a bar share its beats, the earlier ones get
//! what is left over, unless strokes (`Dm7 / G7 /`) count the beats. A chord is a symbol, `N.C.`, or a voicing: two notes or more with octaves
//! that rise (`F3 A3 C4 E4`), voicings of one bar parted by `;`. `[A]` begins a section; `key: Eb` stands before the first bar, `metre: 3/4`
//! before the bars it holds for; a line that begins with `#` is a comment.
//! Limits: repeats are written out; a bar does not go over the end of a line; `C6 A7` are two chords, never two high notes.

use crate::harmony::voicing::typed::{is_no_chord, read_note};
use crate::harmony::{
    AnalysisOptions, Chord, Given, Interpretation, Key, NoteNames, Sounding, SoundingNote,
    SymbolError, interpret,
};
use crate::units::Share;
use std::fmt;
use std::str::FromStr;

/// A typed chart.
///
/// ```
/// use lidprop::chart::typed::TypedChart;
/// use lidprop::harmony::AnalysisOptions;
///
/// let chart: TypedChart = "key: C\n| Dm7 G7 | F3 A3 C4 E4 | % |".parse().unwrap();
/// assert_eq!(chart.bars.len(), 3);
/// assert_eq!(chart.bars[0].chords[1].beats, 2.0);
/// // What lasts over a bar line is one chord to an analysis.
/// assert_eq!(chart.changes().len(), 3);
/// assert_eq!(chart.interpret(&AnalysisOptions::default()).key().unwrap().to_string(), "C major");
/// let wrong = "| Dm7 | Q7 |".parse::<TypedChart>().unwrap_err();
/// assert_eq!(wrong.place, 9);
/// ```
#[derive(Debug, Clone, PartialEq, Default)]
pub struct TypedChart {
    /// The key that the chart states.
    pub key: Option<Key>,
    /// Its bars.
    pub bars: Vec<Bar>,
}

/// One bar.
#[derive(Debug, Clone, PartialEq)]
pub struct Bar {
    /// The section that begins here.
    pub section: Option<String>,
    /// Its metre.
    pub metre: Metre,
    /// Its chords, at least one; their beats add up to those of the metre.
    pub chords: Vec<BarChord>,
}

/// A metre: so many beats a bar, each such a part of a whole note.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Metre {
    /// Beats of a bar, 1 to 32.
    pub beats: u8,
    /// The note that a beat is: 1, 2, 4, 8 or 16.
    pub unit: u8,
}

impl Default for Metre {
    /// 4/4, where a chart says nothing.
    fn default() -> Self {
        Self { beats: 4, unit: 4 }
    }
}

impl fmt::Display for Metre {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.beats, self.unit)
    }
}

/// A chord in its bar.
#[derive(Debug, Clone, PartialEq)]
pub struct BarChord {
    /// The chord.
    pub chord: ChartChord,
    /// Where it begins: beats from the beginning of the bar, 0 on the first.
    pub beat: f64,
    /// How many beats it lasts.
    pub beats: f64,
}

/// What stands on a chart in a chord's place.
#[derive(Debug, Clone, PartialEq)]
pub enum ChartChord {
    /// No chord is played.
    Silent,
    /// A chord symbol.
    Symbol(Chord),
    /// A voicing, its notes as they were typed.
    Voicing(Sounding),
}

impl ChartChord {
    /// As it is given to an analysis.
    pub fn given(&self) -> Given {
        match self {
            Self::Silent => Given::Voiced(Sounding::default()),
            &Self::Symbol(chord) => Given::Stated(chord),
            Self::Voicing(sounding) => Given::Voiced(sounding.clone()),
        }
    }
}

/// A chord as long as it lasts, over bar lines too.
#[derive(Debug, Clone, PartialEq)]
pub struct Change {
    /// The bar in which it begins, from 0.
    pub bar: usize,
    /// Where in that bar: beats from its beginning.
    pub beat: f64,
    /// How many beats it lasts in all.
    pub beats: f64,
    /// The chord.
    pub chord: ChartChord,
}

impl TypedChart {
    /// A bar for every chord.
    pub fn of_chords(chords: impl IntoIterator<Item = Chord>) -> Self {
        let bar = |chord| {
            let metre = Metre::default();
            Bar {
                section: None,
                metre,
                chords: vec![BarChord {
                    chord: ChartChord::Symbol(chord),
                    beat: 0.0,
                    beats: f64::from(metre.beats),
                }],
            }
        };
        Self {
            key: None,
            bars: chords.into_iter().map(bar).collect(),
        }
    }

    /// The changes: its chords in a row, one that is repeated told once.
    pub fn changes(&self) -> Vec<Change> {
        let mut changes: Vec<Change> = Vec::new();
        for (bar, chords) in self.bars.iter().map(|bar| &bar.chords).enumerate() {
            for placed in chords {
                match changes.last_mut() {
                    Some(last) if last.chord == placed.chord => last.beats += placed.beats,
                    _ => changes.push(Change {
                        bar,
                        beat: placed.beat,
                        beats: placed.beats,
                        chord: placed.chord.clone(),
                    }),
                }
            }
        }
        changes
    }

    /// Keys, numerals, cadences and readings of its [`changes`](Self::changes), in this order; the key it states holds unless another is asked for.
    pub fn interpret(&self, options: &AnalysisOptions) -> Interpretation {
        let given: Vec<Given> = self.changes().iter().map(|c| c.chord.given()).collect();
        let options = AnalysisOptions {
            key: options.key.or(self.key),
            ..*options
        };
        interpret(&given, &options)
    }
}

/// A place of a chart that cannot be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{}place {place}: {found}; expected {expected}", .line.map_or(String::new(), |line| format!("line {line}, ")))]
pub struct ChartError {
    /// The line, from 1; `None` where the text is a single line.
    pub line: Option<usize>,
    /// The character of that line, from 1.
    pub place: usize,
    /// What stands there.
    pub found: String,
    /// What could have stood there.
    pub expected: String,
}

/// More bars than any piece has: whatever holds more is no chart.
const MOST_BARS: usize = 4096;
const EXPECTED_CHORD: &str =
    "a chord symbol, notes with octaves (F3 A3 C4 E4), % for the bar before, or N.C.";

impl FromStr for TypedChart {
    type Err = ChartError;
    fn from_str(text: &str) -> Result<Self, ChartError> {
        Self::read(text, NoteNames::English)
    }
}

impl TypedChart {
    /// Reads a chart whose notes are named in this way; its key line is in English letters.
    ///
    /// # Errors
    /// Where the chart cannot be read, with what was expected there.
    pub fn read(text: &str, names: NoteNames) -> Result<Self, ChartError> {
        let one_line = text.trim_end().lines().count() < 2;
        let mut reader = Reader {
            names,
            ..Reader::default()
        };
        for (nth, line) in text.lines().enumerate() {
            reader.line(line).map_err(|wrong| ChartError {
                line: (!one_line).then_some(nth + 1),
                place: wrong.place,
                found: wrong.found,
                expected: wrong.expected,
            })?;
        }
        if reader.chart.bars.is_empty() {
            return Err(ChartError {
                line: None,
                place: 1,
                found: "no bar in the whole chart".to_owned(),
                expected: "bars with | between them, say Dm7 | G7 | Cmaj7".to_owned(),
            });
        }
        Ok(reader.chart)
    }
}

/// What is wrong in a line.
struct Wrong {
    place: usize,
    found: String,
    expected: String,
}

impl Wrong {
    fn at(place: usize, found: impl Into<String>, expected: impl Into<String>) -> Self {
        Self {
            place,
            found: found.into(),
            expected: expected.into(),
        }
    }
}

/// A word with its place in the line.
#[derive(Debug, Clone)]
struct Word {
    place: usize,
    text: String,
}

/// The chart so far.
#[derive(Default)]
struct Reader {
    names: NoteNames,
    chart: TypedChart,
    metre: Metre,
    /// A section whose first bar is still to come.
    section: Option<String>,
}

impl Reader {
    fn line(&mut self, line: &str) -> Result<(), Wrong> {
        let indent = line.chars().take_while(|c| c.is_whitespace()).count();
        let trimmed = line.trim();
        if trimmed.is_empty() || trimmed.starts_with('#') {
            return Ok(());
        }
        if let Some((name, rest)) = trimmed.strip_prefix('[').and_then(|s| s.split_once(']')) {
            self.section = Some(name.trim().to_owned());
            return match rest.trim() {
                "" => Ok(()),
                _ => self.bars(rest, indent + name.chars().count() + 3),
            };
        }
        match trimmed.split_once(':') {
            Some((heading, value)) if heading.trim().chars().all(char::is_alphabetic) => {
                let gap = value.chars().take_while(|c| c.is_whitespace()).count();
                let place = indent + heading.chars().count() + gap + 2;
                match heading.trim() {
                    "" => self.bars(trimmed, indent + 1),
                    heading => self.heading(heading, value.trim(), indent + 1, place),
                }
            }
            _ => self.bars(trimmed, indent + 1),
        }
    }

    fn heading(
        &mut self,
        heading: &str,
        value: &str,
        start: usize,
        place: usize,
    ) -> Result<(), Wrong> {
        match heading.to_lowercase().as_str() {
            "key" if self.chart.bars.is_empty() => {
                let key = value.parse().map_err(|_| {
                    Wrong::at(
                        place,
                        format!("'{value}' is no key"),
                        "a tonic and major or minor, say Eb, F# minor or Cm",
                    )
                })?;
                self.chart.key = Some(key);
                Ok(())
            }
            "key" => Err(Wrong::at(
                start,
                "a key after the first bar",
                "the key line before all bars: keys that come later are found",
            )),
            "metre" | "meter" => {
                self.metre = metre(value).ok_or_else(|| {
                    Wrong::at(
                        place,
                        format!("'{value}' is no metre"),
                        "beats and their note, say 4/4, 3/4 or 6/8",
                    )
                })?;
                Ok(())
            }
            _ => Err(Wrong::at(
                start,
                format!("'{heading}:' is no line of a chart"),
                "key: or metre:, a section such as [A], bars with | between them, or # and a comment",
            )),
        }
    }

    /// Reads bars from `text`, whose first character stands at `start` of the line.
    fn bars(&mut self, text: &str, start: usize) -> Result<(), Wrong> {
        let mut segments: Vec<(usize, String)> = vec![(start, String::new())];
        for (at, c) in text.chars().enumerate() {
            match c {
                '|' => segments.push((start + at + 1, String::new())),
                _ => {
                    if let Some((_, bar)) = segments.last_mut() {
                        bar.push(c);
                    }
                }
            }
        }
        let last = segments.len() - 1;
        for (nth, (place, bar)) in segments.into_iter().enumerate() {
            if bar.trim().is_empty() {
                // Before the first bar line, after the last, and within a double one nothing stands.
                if nth == 0 || nth == last || bar.is_empty() {
                    continue;
                }
                return Err(Wrong::at(place, "an empty bar", EXPECTED_CHORD));
            }
            if self.chart.bars.len() == MOST_BARS {
                return Err(Wrong::at(
                    place,
                    format!("more than {MOST_BARS} bars"),
                    "a chart of one piece",
                ));
            }
            self.bar(&bar, place)?;
        }
        Ok(())
    }

    fn bar(&mut self, text: &str, start: usize) -> Result<(), Wrong> {
        let parts = parts(text, start)?;
        let chords = match &parts[..] {
            [part] if part.len() == 1 && part[0].text == "%" => self.repeated(part[0].place)?,
            _ => {
                let mut drafts = Vec::new();
                for part in &parts {
                    read_part(part, self.names, &mut drafts)?;
                }
                placed(drafts, self.metre, start, text)?
            }
        };
        self.chart.bars.push(Bar {
            section: self.section.take(),
            metre: self.metre,
            chords,
        });
        Ok(())
    }

    fn repeated(&self, place: usize) -> Result<Vec<BarChord>, Wrong> {
        match self.chart.bars.last() {
            Some(bar) if bar.metre == self.metre => Ok(bar.chords.clone()),
            Some(_) => Err(Wrong::at(
                place,
                "% after a change of metre",
                "the chords of the bar",
            )),
            None => Err(Wrong::at(
                place,
                "% in the first bar",
                "a chord: there is no bar before",
            )),
        }
    }
}

fn metre(text: &str) -> Option<Metre> {
    let (beats, unit) = text.split_once('/')?;
    let (beats, unit) = (beats.trim().parse().ok()?, unit.trim().parse().ok()?);
    let readable = (1..=32).contains(&beats) && [1, 2, 4, 8, 16].contains(&unit);
    readable.then_some(Metre { beats, unit })
}

/// The words of a bar, in the parts that `;` makes; what stands in parentheses stays together.
fn parts(text: &str, start: usize) -> Result<Vec<Vec<Word>>, Wrong> {
    let mut parts: Vec<Vec<Word>> = vec![Vec::new()];
    let mut word: Option<Word> = None;
    let mut open = 0_usize;
    for (place, c) in (start..).zip(text.chars()) {
        match c {
            '(' => open += 1,
            ')' => open = open.saturating_sub(1),
            ':' => {
                return Err(Wrong::at(
                    place,
                    "a repeat sign",
                    "bars written out, % for the bar before",
                ));
            }
            _ => {}
        }
        let parts_words = open == 0 && (c.is_whitespace() || c == ',' || c == ';');
        if parts_words {
            if let (Some(word), Some(part)) = (word.take(), parts.last_mut()) {
                part.push(word);
            }
            if c == ';' {
                parts.push(Vec::new());
            }
        } else {
            let word = word.get_or_insert_with(|| Word {
                place,
                text: String::new(),
            });
            word.text.push(c);
        }
    }
    if let (Some(word), Some(part)) = (word, parts.last_mut()) {
        part.push(word);
    }
    match parts.iter().position(Vec::is_empty) {
        Some(_) => Err(Wrong::at(start, "a ; without chords", EXPECTED_CHORD)),
        None => Ok(parts),
    }
}

/// A chord before its beats are known, and the strokes after it.
struct Draft {
    chord: ChartChord,
    strokes: u8,
}

/// Reads the chords of a part: one voicing, or symbols and strokes.
fn read_part(words: &[Word], names: NoteNames, drafts: &mut Vec<Draft>) -> Result<(), Wrong> {
    let strokes = words.iter().rev().take_while(|w| w.text == "/").count();
    let notes = &words[..words.len() - strokes];
    if let Some(sounding) = voicing(notes, names) {
        drafts.push(Draft {
            chord: ChartChord::Voicing(sounding),
            strokes: u8::try_from(strokes).unwrap_or(u8::MAX),
        });
        return Ok(());
    }
    let mut left = words.iter();
    while let Some(word) = left.next() {
        match word.text.as_str() {
            "/" => match drafts.last_mut() {
                Some(draft) => draft.strokes = draft.strokes.saturating_add(1),
                None => {
                    return Err(Wrong::at(
                        word.place,
                        "a stroke before any chord",
                        EXPECTED_CHORD,
                    ));
                }
            },
            "%" => {
                return Err(Wrong::at(
                    word.place,
                    "% beside a chord",
                    "% alone in its bar: it repeats the whole bar before",
                ));
            }
            text if is_no_chord(text) => drafts.push(Draft {
                chord: ChartChord::Silent,
                strokes: 0,
            }),
            _ => {
                let text = with_its_words(&word.text, &mut left);
                let chord = Chord::read(&text, names).map_err(|wrong| refused(word, &wrong))?;
                drafts.push(Draft {
                    chord: ChartChord::Symbol(chord),
                    strokes: 0,
                });
            }
        }
    }
    Ok(())
}

/// A symbol with the words that belong to it: `D over C7`, `C7 no 5`, `C7 (b9)`.
fn with_its_words(word: &str, left: &mut std::slice::Iter<'_, Word>) -> String {
    let mut text = word.to_owned();
    while let [next, ..] = left.as_slice() {
        let words = match (next.text.as_str(), left.as_slice()) {
            ("over" | "no" | "omit" | "without", [joins, of, ..]) => {
                format!("{} {}", joins.text, of.text)
            }
            (next, _) if next.starts_with('(') => next.to_owned(),
            _ => break,
        };
        left.nth(usize::from(!words.starts_with('(')));
        text = format!("{text} {words}");
    }
    text.trim_end().to_owned()
}

fn refused(word: &Word, wrong: &SymbolError) -> Wrong {
    let found = match wrong.found {
        Some(_) if wrong.place == 1 => format!("'{}' is no chord", wrong.text),
        Some(c) => format!("'{c}' in the chord symbol '{}'", wrong.text),
        None => format!("the end of the chord symbol '{}'", wrong.text),
    };
    Wrong::at(word.place + wrong.place - 1, found, wrong.expected)
}

/// The notes of a voicing: two or more words that are all notes with octaves, or numbers, and rise. Where every number could be that
/// of a chord (`C6 A7`), they are chords.
fn voicing(words: &[Word], names: NoteNames) -> Option<Sounding> {
    const ALSO_CHORDS: [&str; 3] = ["6", "7", "9"];
    if words.len() < 2 {
        return None;
    }
    let octave = |word: &Word| {
        let digits = word
            .text
            .trim_start_matches(|c: char| !c.is_ascii_digit() && c != '-');
        (!digits.is_empty()).then(|| digits.to_owned())
    };
    let octaves: Option<Vec<String>> = words.iter().map(octave).collect();
    if octaves?.iter().all(|o| ALSO_CHORDS.contains(&o.as_str())) {
        return None;
    }
    let mut sounding = Sounding::default();
    let mut below = None;
    for word in words {
        let (midi, spelled) = read_note(&word.text, 0, names).ok()?;
        if below.is_some_and(|below| midi <= below) {
            return None;
        }
        below = Some(midi);
        sounding.notes.push(SoundingNote {
            midi,
            weight: Share::ONE,
        });
        if spelled.is_some() {
            sounding.typed[usize::from(midi.get() % 12)] = spelled;
        }
    }
    Some(sounding)
}

/// Gives every chord of a bar its beats.
fn placed(
    drafts: Vec<Draft>,
    metre: Metre,
    start: usize,
    text: &str,
) -> Result<Vec<BarChord>, Wrong> {
    let whole = usize::from(metre.beats);
    let count = drafts.len();
    let counted: usize = drafts.iter().map(|d| 1 + usize::from(d.strokes)).sum();
    let with_strokes = counted > count;
    if with_strokes && counted != whole {
        return Err(Wrong::at(
            start,
            format!("{counted} beats in the bar '{}'", text.trim()),
            format!("{whole} in {metre}: a chord lasts a beat, and one more for each / after it"),
        ));
    }
    let mut beat = 0.0;
    let placed = drafts.into_iter().enumerate().map(|(nth, draft)| {
        let beats = if with_strokes {
            1.0 + f64::from(draft.strokes)
        } else if count <= whole {
            // The beats that are left over go to the earlier chords: two in 3/4 last two and one.
            (whole / count + usize::from(nth < whole % count)) as f64
        } else {
            whole as f64 / count as f64
        };
        let placed = BarChord {
            chord: draft.chord,
            beat,
            beats,
        };
        beat += beats;
        placed
    });
    Ok(placed.collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::harmony::Style;

    fn read(text: &str) -> TypedChart {
        text.parse().unwrap_or_else(|wrong| panic!("{wrong}"))
    }

    fn told(chord: &ChartChord) -> String {
        match chord {
            ChartChord::Silent => "N.C.".to_owned(),
            ChartChord::Symbol(chord) => chord.symbol(Style::Ascii),
            ChartChord::Voicing(sounding) => {
                let notes = sounding.notes.iter().map(|n| n.midi.get().to_string());
                notes.collect::<Vec<_>>().join("-")
            }
        }
    }

    /// Each bar as `chord:beats` words.
    fn bars(text: &str) -> Vec<String> {
        let chart = read(text);
        let bar = |bar: &Bar| {
            let chords = bar.chords.iter();
            let words = chords.map(|c| format!("{}:{}", told(&c.chord), c.beats));
            words.collect::<Vec<_>>().join(" ")
        };
        chart.bars.iter().map(bar).collect()
    }

    #[test]
    fn bars_share_their_beats_among_their_chords() {
        assert_eq!(
            bars("Dm7 | G7 Db7 | Cmaj7 Am7 D7"),
            ["Dm7:4", "G7:2 Db7:2", "Cmaj7:2 Am7:1 D7:1"]
        );
        assert_eq!(bars("metre: 3/4\n| Dm7 G7 |"), ["Dm7:2 G7:1"]);
        assert_eq!(
            bars("| Dm7 / / G7 | Cmaj7 / / / |"),
            ["Dm7:3 G7:1", "Cmaj7:4"]
        );
        assert_eq!(
            bars("metre: 2/4\n| C A7 Dm7 G7 |"),
            ["C:0.5 A7:0.5 Dm7:0.5 G7:0.5"]
        );
        // the beats of every bar add up to its metre
        for chart in [
            "C | Dm7 G7 | C A7 Dm7 | E F G A B",
            "metre: 5/4\nC | C D | C D E",
        ] {
            for bar in read(chart).bars {
                let sum: f64 = bar.chords.iter().map(|c| c.beats).sum();
                assert!((sum - f64::from(bar.metre.beats)).abs() < 1e-9);
                let mut beat = 0.0;
                for chord in &bar.chords {
                    assert!((chord.beat - beat).abs() < 1e-9);
                    beat += chord.beats;
                }
            }
        }
    }

    #[test]
    fn symbols_voicings_silence_and_repeated_bars_are_read() {
        assert_eq!(
            bars("| F3 A3 C4 E4 | F3 A3 B3 E4 | E3 G3 A3 D4 |"),
            ["53-57-60-64:4", "53-57-59-64:4", "52-55-57-62:4"]
        );
        assert_eq!(
            bars("| F3, A3, C4, E4; B2 F3 A3 D4 | % | N.C. |"),
            [
                "53-57-60-64:2 47-53-57-62:2",
                "53-57-60-64:2 47-53-57-62:2",
                "N.C.:4"
            ]
        );
        assert_eq!(bars("| 53 57 60 64 |"), ["53-57-60-64:4"]);
        // notes with octaves that are all numbers of chords, or that fall, are chords
        assert_eq!(bars("| C6 A7 | D9 G7 |"), ["C6:2 A7:2", "D9:2 G7:2"]);
        assert_eq!(bars("| C F | G7 |"), ["C:2 F:2", "G7:4"]);
        assert_eq!(
            bars("| C7 (b9, b13) | Fm |").len(),
            2,
            "spaces within parentheses"
        );
        assert_eq!(bars("| D over C7 | C7 no 5 |"), ["D|C7:4", "C7(no5):4"]);
    }

    #[test]
    fn key_metre_sections_and_comments_stand_on_lines_of_their_own() {
        let chart = read(
            "# a waltz of our own\nkey: F minor\nmetre: 3/4\n\n[A]\n| Fm6 | % ||\n[B] Gm7b5 | C7b9 |\nmeter: 4/4\n| Fm6 |\n",
        );
        assert_eq!(chart.key.unwrap().to_string(), "F minor");
        let sections: Vec<Option<&str>> = chart.bars.iter().map(|b| b.section.as_deref()).collect();
        assert_eq!(sections, [Some("A"), None, Some("B"), None, None]);
        let metres: Vec<String> = chart.bars.iter().map(|b| b.metre.to_string()).collect();
        assert_eq!(metres, ["3/4", "3/4", "3/4", "3/4", "4/4"]);
        let changes = chart.changes();
        let lengths: Vec<(usize, f64)> = changes.iter().map(|c| (c.bar, c.beats)).collect();
        assert_eq!(lengths, [(0, 6.0), (2, 3.0), (3, 3.0), (4, 4.0)]);
        let read = chart.interpret(&AnalysisOptions::default());
        let numerals: Vec<String> = (0..4)
            .map(|at| read.in_place(at).unwrap().numeral.to_string())
            .collect();
        assert_eq!(numerals, ["i6", "iiø7", "V7", "i6"]);
    }

    #[test]
    fn what_cannot_be_read_is_told_with_its_place() {
        for (text, line, place, words) in [
            ("Dm7 | Q7 | C", None, 7, "'Q7' is no chord"),
            ("Dm7 | G7x", None, 9, "'x' in the chord symbol 'G7x'"),
            (
                "| Dm7 |\n| G7 | Cmaj7( |",
                Some(2),
                14,
                "closing parenthesis",
            ),
            ("| Dm7 |  | C |", None, 8, "an empty bar"),
            ("| % |", None, 3, "no bar before"),
            ("| Dm7 % |", None, 7, "alone in its bar"),
            ("| / Dm7 |", None, 3, "before any chord"),
            ("| Dm7 / G7 |", None, 2, "3 beats"),
            ("|: Dm7 :|", None, 2, "written out"),
            ("key: H\n| C |", Some(1), 6, "'H' is no key"),
            ("| C |\nkey: F", Some(2), 1, "before all bars"),
            ("metre: 4/5\n| C |", Some(1), 8, "say 4/4"),
            ("tempo: 120\n| C |", Some(1), 1, "key: or metre:"),
            ("| C ; |", None, 2, "a ;"),
            ("# nothing\n", None, 1, "no bar"),
            ("", None, 1, "no bar"),
            ("| ♭♭♭ | 𝄪 |", None, 3, "is no chord"),
        ] {
            let wrong = text.parse::<TypedChart>().expect_err(text);
            assert_eq!((wrong.line, wrong.place), (line, place), "{text}: {wrong}");
            assert!(wrong.to_string().contains(words), "{text}: {wrong}");
        }
    }

    #[test]
    fn no_text_makes_the_reader_panic() {
        let mut random = fastrand::Rng::with_seed(17);
        let bits = [
            "Dm7", "|", " ", "%", "[", "]", "key:", "metre:", "/", ";", "(", ")", "C4", "E9", "#",
            "b", "\n", "𝄪", "ø", "N.C.", "over", "no", "127", "-1", ",",
        ];
        for _ in 0..20_000 {
            let text: String = (0..random.usize(..12))
                .map(|_| bits[random.usize(..bits.len())])
                .collect();
            let _ = text.parse::<TypedChart>();
        }
    }
}
