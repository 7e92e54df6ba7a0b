//! The keyboard of the live screen: pillars of strength over the keys, names of the notes below.
//!
//! Input: the notes that sound, the room there is. Output: rows of text with the notes at their columns.
//! Units: one or two columns a key; pillar heights in eighths of a row; strength 0 to 1.
//! Method: our own. The keys are the row of [`crate::view::keyboard`]; a pillar's fill tells how sure the note is
//! (full, half-toned, dotted), its height how strong. Names stand under their keys, in a second row where they would touch.
//! Limits: a keyboard that is too wide for the screen shows the middle, and moves by octaves to what sounds outside it.

use super::shapes::Shapes;
use crate::listener::{Certainty, ChordNote};
use crate::units::MidiNote;
use crate::view::keyboard::{KeyRange, one_line};
use crate::view::notes::note_text;

/// Columns beside the keys: the arrows of the keyboard row.
const ARROWS: usize = 2;
/// Where a keyboard begins that is too wide for the screen: C2, so that four octaves end above the treble staff's middle.
const NARROW_FROM: MidiNote = MidiNote::from_piano_index(15);

/// The keyboard, drawn.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Picture {
    /// The pillars, the top row first.
    pub pillars: Vec<String>,
    /// The row of keys.
    pub keys: String,
    /// The names below, two rows.
    pub names: [String; 2],
}

/// Draws `notes` with their `names` over a keyboard of at most `columns`, with pillars of `height` rows.
pub fn picture(
    notes: &[ChordNote],
    names: &[String],
    columns: usize,
    height: usize,
    shapes: &Shapes,
) -> Picture {
    let key_columns = if columns >= 2 * KeyRange::PIANO.keys() + ARROWS {
        2
    } else {
        1
    };
    let range = stretch(notes, columns.saturating_sub(ARROWS) / key_columns);
    let place = |key: MidiNote| {
        let below = range.iter().take_while(|&other| other < key).count();
        range.holds(key).then_some(1 + below * key_columns)
    };
    let marks = notes.iter().map(|note| (note.midi, note.certainty));
    let row = one_line(marks, range, &shapes.keys);
    Picture {
        pillars: (0..height)
            .rev()
            .map(|row| pillar_row(notes, row, height, key_columns, shapes, place))
            .collect(),
        keys: widened(&row, key_columns),
        names: name_rows(notes, names, columns, place),
    }
}

/// The keys to draw: the whole piano where it fits, else octaves from C2 on, moved to where the notes lie.
fn stretch(notes: &[ChordNote], keys: usize) -> KeyRange {
    if keys >= KeyRange::PIANO.keys() {
        return KeyRange::PIANO;
    }
    let middle = KeyRange::octaves_from(NARROW_FROM, keys);
    if notes.iter().all(|note| middle.holds(note.midi)) {
        middle
    } else {
        KeyRange::around(notes.iter().map(|note| note.midi), keys).widened_to(keys)
    }
}

fn pillar_row(
    notes: &[ChordNote],
    row: usize,
    height: usize,
    key_columns: usize,
    shapes: &Shapes,
    place: impl Fn(MidiNote) -> Option<usize>,
) -> String {
    let mut line = Line::default();
    for note in notes {
        let Some(column) = place(note.midi) else {
            continue;
        };
        // The weakest note that counts still stands one eighth high.
        let eighths = (note.strength.get() * (8 * height) as f32).round().max(1.0) as usize;
        let filled = eighths.saturating_sub(8 * row).min(8);
        if filled == 0 {
            continue;
        }
        let fill = match note.certainty {
            Certainty::Sure => shapes.eighths[filled - 1],
            Certainty::Likely => shapes.likely,
            Certainty::Inferred => shapes.inferred,
        };
        for offset in 0..key_columns {
            line.put(column + offset, fill);
        }
    }
    line.text()
}

/// Each key of the row `columns` wide: blocks grow, all else is followed by what lies beside it.
fn widened(row: &str, columns: usize) -> String {
    if columns == 1 {
        return row.to_owned();
    }
    let mut wide = String::new();
    for (index, shape) in row.chars().enumerate() {
        wide.push(shape);
        let arrow = index == 0 || index == row.chars().count() - 1;
        if !arrow {
            wide.push(match shape {
                '₁'..='₈' => '▁',
                '1'..='8' => '_',
                '▖' | '▘' | '.' | '\'' | 'o' | '+' => ' ',
                block => block,
            });
        }
    }
    wide
}

/// Names under their keys: on the first row if there is room after the last name there, else on the second.
fn name_rows(
    notes: &[ChordNote],
    names: &[String],
    columns: usize,
    place: impl Fn(MidiNote) -> Option<usize>,
) -> [String; 2] {
    let mut rows = [Line::default(), Line::default()];
    for (note, name) in notes.iter().zip(names) {
        let Some(column) = place(note.midi) else {
            continue;
        };
        let name = note_text(name, note.certainty);
        let width = name.chars().count();
        let column = column
            .saturating_sub(usize::from(width > 2))
            .min(columns.saturating_sub(width));
        // A third name that touches both rows would hide another; the list of notes below still has it.
        if let Some(row) = rows.iter_mut().find(|row| row.is_free_from(column)) {
            for (offset, letter) in name.chars().enumerate() {
                row.put(column + offset, letter);
            }
        }
    }
    rows.map(|row| row.text())
}

/// A row of characters that grows as it is written to.
#[derive(Default)]
struct Line(Vec<char>);

impl Line {
    fn put(&mut self, column: usize, letter: char) {
        if self.0.len() <= column {
            self.0.resize(column + 1, ' ');
        }
        self.0[column] = letter;
    }

    fn is_free_from(&self, column: usize) -> bool {
        self.0.is_empty() || self.0.len() < column
    }

    fn text(&self) -> String {
        self.0.iter().collect()
    }
}
