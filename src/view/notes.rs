//! Notes and times as all views write them: doubtful notes marked, what the marks mean, times.
//!
//! Input: notes with their names and certainties; seconds. Output: text.
//! Units: minutes and seconds with tenths. Method: our own; one place, so that the printed chart and the live screen say the same.
//! Limits: names are spelled by whoever asks.

use crate::chart::document::KeyMark;
use crate::chart::entries::marks;
use crate::listener::{Certainty, ChordNote};
use crate::units::{Cents, Hertz};
use crate::view::ink::Ink;
use std::collections::BTreeSet;
use std::io::{self, Write};
use std::ops::RangeInclusive;

pub use crate::units::clock::clock;

/// What a sign of a chart or of the screen means.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Legend {
    /// The keyboard in one line.
    Strip,
    /// The rows below a bar.
    Bars,
    /// A note that is likely, or only inferred.
    Doubtful,
    /// A note whose octave is open.
    OctaveOpen,
    /// More than two hands can hold.
    Pedal,
    /// The other chart that there is.
    Held,
}

impl Legend {
    /// In words, with the signs of `ink`.
    pub const fn text(self, ink: Ink) -> &'static str {
        match self {
            Self::Strip if ink.ascii => {
                "O white key, # black key, o + . ' the less sure; numbers mark each C"
            }
            Self::Strip => "▄ white key, ▀ black key, ▖ ▘ . ' the less sure; numbers mark each C",
            Self::Bars => "below: numerals, keys as the bar begins, melody",
            Self::Doubtful => "A4? likely   (A4) perhaps only ringing along",
            Self::OctaveOpen => "A4~ its octave cannot be told: perhaps only the key below",
            Self::Pedal => "Ped. two hands cannot hold this, the pedal must",
            Self::Held => "--held shows the keys, chord by chord",
        }
    }
}

/// What the signs of charts mean, each told once however many charts are printed.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Legends(BTreeSet<Legend>);

impl IntoIterator for Legends {
    type Item = Legend;
    type IntoIter = std::collections::btree_set::IntoIter<Legend>;

    fn into_iter(self) -> Self::IntoIter {
        self.0.into_iter()
    }
}

impl Legends {
    /// A sign was used.
    pub fn add(&mut self, legends: impl IntoIterator<Item = Legend>) {
        self.0.extend(legends);
    }

    /// Prints them, `indent` columns from the left.
    ///
    /// # Errors
    /// If `out` cannot be written to.
    pub fn print(&self, indent: usize, ink: Ink, out: &mut dyn Write) -> io::Result<()> {
        let columns = usize::from(ink.columns).saturating_sub(indent);
        let lines = self.0.iter();
        lines
            .flat_map(|legend| wrapped(legend.text(ink), columns))
            .try_for_each(|line| writeln!(out, "{:indent$}{}", "", ink.faint(line)))
    }
}

/// `text` in lines of at most `columns`, broken at spaces; none for an empty text.
pub(super) fn wrapped(text: &str, columns: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split(' ') {
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= columns => {
                line.push(' ');
                line.push_str(word);
            }
            _ if word.is_empty() => {}
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

/// What the marks of [`notes_text`] mean: a legend for each kind that is there.
pub fn legends(marks: &[KeyMark]) -> impl Iterator<Item = Legend> {
    let doubtful = |mark: &KeyMark| mark.certainty != Certainty::Sure && !mark.octave_open;
    let used = [
        (marks.iter().any(doubtful), Legend::Doubtful),
        (
            marks.iter().any(|mark| mark.octave_open),
            Legend::OctaveOpen,
        ),
    ];
    used.into_iter()
        .filter(|(used, _)| *used)
        .map(|(_, legend)| legend)
}

/// As many cents from 440 Hz a pitch is nearly as far from that of a piano a half step lower or higher.
const QUARTER_TONE: RangeInclusive<f64> = 47.0..=60.0;

/// The other pitch of A4 that may be meant where this one was looked for around 440 Hz and found a quarter tone from it: then each key is one half step off.
pub fn quarter_tone_off(a4: Hertz) -> Option<Hertz> {
    let cents = a4.cents_above(Hertz::CONCERT_A4).get();
    let half_step = Cents::new(-100.0 * cents.signum()).ok()?;
    QUARTER_TONE
        .contains(&cents.abs())
        .then(|| a4.raised_by(half_step))
}

/// The notes lowest first by their `names`, the doubtful ones marked: `A4~` where only the octave is in doubt, else as [`note_text`].
pub fn notes_text(notes: &[ChordNote], names: &[String]) -> String {
    let marked = marks(notes)
        .into_iter()
        .zip(names)
        .map(|(mark, name)| match mark.octave_open {
            true => format!("{name}~"),
            false => note_text(name, mark.certainty),
        });
    marked.collect::<Vec<_>>().join(" ")
}

/// The name of a note, marked if it is doubtful: `A4`, `A4?`, `(A4)`.
pub fn note_text(name: &str, certainty: Certainty) -> String {
    match certainty {
        Certainty::Sure => name.to_owned(),
        Certainty::Likely => format!("{name}?"),
        Certainty::Inferred => format!("({name})"),
    }
}
