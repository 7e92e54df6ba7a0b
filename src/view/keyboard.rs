//! The keyboard in one line of text: one column a key, as keys stand side by side where they meet the fallboard.
//!
//! Input: sounding keys, each with its certainty, and the stretch of the keyboard to draw. Output: characters.
//! Units: one column a key (a semitone); certainty in three steps.
//! Method: our own. A silent white key is a low line, a silent black key a gap, so that the twos and threes of the
//! black keys show; each C carries the number of its octave. Sounding white keys fill the lower half of their
//! column, black keys the upper half; the shape shrinks with certainty.
//! Limits: keys beyond the drawn stretch are told by an arrow at its end only.

use crate::listener::Certainty;
use crate::units::MidiNote;

/// A stretch of the keyboard.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct KeyRange {
    lowest: u8,
    highest: u8,
}

/// Keys of an octave.
const OCTAVE: u8 = 12;
/// Where nothing has sounded yet, three octaves around middle C are drawn.
const MIDDLE_FROM: MidiNote = MidiNote::from_piano_index(27);
const MIDDLE_KEYS: usize = 37;

impl KeyRange {
    /// The whole piano.
    pub const PIANO: KeyRange = KeyRange {
        lowest: MidiNote::PIANO_LOWEST.get(),
        highest: MidiNote::PIANO_HIGHEST.get(),
    };

    /// From a C to a C around `notes`, in at most `max_keys` keys (at least one octave): all of them if they fit,
    /// else the stretch that holds most of them, the lower one of equals.
    pub fn around(notes: impl Iterator<Item = MidiNote>, max_keys: usize) -> Self {
        let mut counts = [0_usize; 128];
        for note in notes {
            counts[usize::from(note.get())] += 1;
        }
        let (Some(lowest), Some(highest)) = (
            counts.iter().position(|&count| count > 0),
            counts.iter().rposition(|&count| count > 0),
        ) else {
            return Self::octaves_from(MIDDLE_FROM, max_keys.min(MIDDLE_KEYS));
        };
        let octave = usize::from(OCTAVE);
        let from = lowest - lowest % octave;
        let whole = (highest - from).div_ceil(octave).max(2);
        let fitting = (max_keys.saturating_sub(1) / octave).max(1);
        if whole <= fitting {
            return Self::new(from, whole * octave);
        }
        let held =
            |start: usize| -> usize { counts[start..].iter().take(fitting * octave + 1).sum() };
        // `max_by_key` takes the last of equals, so the octaves are tried from above.
        let start = (0..=whole - fitting)
            .rev()
            .map(|octaves| from + octaves * octave)
            .max_by_key(|&start| held(start))
            .unwrap_or(from);
        Self::new(start, fitting * octave)
    }

    fn new(from: usize, semitones: usize) -> Self {
        let clip = |key: usize| {
            u8::try_from(key)
                .unwrap_or(u8::MAX)
                .clamp(Self::PIANO.lowest, Self::PIANO.highest)
        };
        Self {
            lowest: clip(from),
            highest: clip(from + semitones),
        }
    }

    /// As many octaves from `lowest` up as fit in `keys`, at least one.
    pub fn octaves_from(lowest: MidiNote, keys: usize) -> Self {
        let octaves = (keys.saturating_sub(1) / usize::from(OCTAVE)).max(1);
        Self::new(usize::from(lowest.get()), octaves * usize::from(OCTAVE))
    }

    /// The same with octaves added above, then below, as long as it has at most `keys` keys.
    pub fn widened_to(self, keys: usize) -> Self {
        let octave = usize::from(OCTAVE);
        let mut wide = self;
        while wide.keys() + octave <= keys && wide.highest < Self::PIANO.highest {
            wide = Self::new(usize::from(wide.lowest), wide.keys() - 1 + octave);
        }
        while wide.keys() + octave <= keys && wide.lowest >= Self::PIANO.lowest + OCTAVE {
            wide.lowest -= OCTAVE;
        }
        wide
    }

    /// How many keys it has: the columns of its picture without the arrows.
    pub const fn keys(self) -> usize {
        (self.highest - self.lowest) as usize + 1
    }

    /// Its keys from below.
    pub fn iter(self) -> impl Iterator<Item = MidiNote> {
        (self.lowest..=self.highest).filter_map(|number| MidiNote::new(number).ok())
    }

    /// True if the key lies in it.
    pub fn holds(self, key: MidiNote) -> bool {
        (self.lowest..=self.highest).contains(&key.get())
    }
}

/// True for the five black keys of the octave.
pub const fn is_black(key: MidiNote) -> bool {
    matches!(key.get() % OCTAVE, 1 | 3 | 6 | 8 | 10)
}

/// The characters a keyboard is drawn from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct KeyShapes {
    silent_white: char,
    silent_black: char,
    /// By certainty from inferred to sure.
    white: [char; 3],
    black: [char; 3],
    /// Numbers of the octaves 1 to 8, on their Cs.
    octaves: [char; 8],
    /// Told of keys below and above the drawn stretch.
    beyond: [char; 2],
}

impl KeyShapes {
    /// Half and quarter blocks.
    pub const BLOCKS: KeyShapes = KeyShapes {
        silent_white: '▁',
        silent_black: ' ',
        white: ['.', '▖', '▄'],
        black: ['\'', '▘', '▀'],
        octaves: ['₁', '₂', '₃', '₄', '₅', '₆', '₇', '₈'],
        beyond: ['‹', '›'],
    };
    /// Nothing but ASCII.
    pub const ASCII: KeyShapes = KeyShapes {
        silent_white: '_',
        silent_black: ' ',
        white: ['.', 'o', 'O'],
        black: ['\'', '+', '#'],
        octaves: ['1', '2', '3', '4', '5', '6', '7', '8'],
        beyond: ['<', '>'],
    };

    /// The character of one key, sounding or silent.
    pub fn key(&self, key: MidiNote, sounding: Option<Certainty>) -> char {
        match sounding {
            Some(certainty) if is_black(key) => self.black[step(certainty)],
            Some(certainty) => self.white[step(certainty)],
            None if is_black(key) => self.silent_black,
            None if key.get().is_multiple_of(OCTAVE) => {
                let octave = usize::from(key.get() / OCTAVE).saturating_sub(2);
                self.octaves
                    .get(octave)
                    .copied()
                    .unwrap_or(self.silent_white)
            }
            None => self.silent_white,
        }
    }
}

fn step(certainty: Certainty) -> usize {
    match certainty {
        Certainty::Inferred => 0,
        Certainty::Likely => 1,
        Certainty::Sure => 2,
    }
}

/// Draws `range` in one line of `range.keys() + 2` columns: an arrow or a space, the keys, an arrow or a space.
pub fn one_line(
    sounding: impl Iterator<Item = (MidiNote, Certainty)>,
    range: KeyRange,
    shapes: &KeyShapes,
) -> String {
    let mut marks = [None; 128];
    let mut beyond = [' '; 2];
    for (key, certainty) in sounding {
        marks[usize::from(key.get())] = Some(certainty);
        if key.get() < range.lowest {
            beyond[0] = shapes.beyond[0];
        } else if key.get() > range.highest {
            beyond[1] = shapes.beyond[1];
        }
    }
    let mut line = String::with_capacity(4 * (range.keys() + 2));
    line.push(beyond[0]);
    line.extend(
        range
            .iter()
            .map(|key| shapes.key(key, marks[usize::from(key.get())])),
    );
    line.push(beyond[1]);
    line
}

#[cfg(test)]
mod tests {
    use super::*;

    fn note(number: u8) -> MidiNote {
        MidiNote::new(number).unwrap()
    }

    fn picture(keys: &[(u8, Certainty)], range: KeyRange) -> String {
        one_line(
            keys.iter().map(|&(key, certainty)| (note(key), certainty)),
            range,
            &KeyShapes::BLOCKS,
        )
    }

    #[test]
    fn silent_keys_show_the_twos_and_threes_of_the_black_keys() {
        assert_eq!(
            picture(
                &[],
                KeyRange {
                    lowest: 48,
                    highest: 72
                }
            ),
            " ₃ ▁ ▁▁ ▁ ▁ ▁₄ ▁ ▁▁ ▁ ▁ ▁₅ "
        );
    }

    #[test]
    fn sounding_keys_stand_low_on_white_and_high_on_black_and_shrink_with_doubt() {
        use Certainty::{Inferred, Likely, Sure};
        let keys = [
            (50, Sure),
            (53, Likely),
            (56, Sure),
            (61, Likely),
            (62, Inferred),
            (66, Inferred),
        ];
        assert_eq!(
            picture(
                &keys,
                KeyRange {
                    lowest: 48,
                    highest: 72
                }
            ),
            " ₃ ▄ ▁▖ ▁▀▁ ▁₄▘. ▁▁'▁ ▁ ▁₅ "
        );
    }

    #[test]
    fn keys_beyond_the_stretch_are_told_by_arrows() {
        let line = picture(
            &[(36, Certainty::Sure), (96, Certainty::Sure)],
            KeyRange {
                lowest: 48,
                highest: 60,
            },
        );
        assert!(line.starts_with('‹') && line.ends_with('›'), "{line}");
    }

    #[test]
    fn the_stretch_runs_from_c_to_c_around_what_sounds() {
        let range = KeyRange::around([note(50), note(73)].into_iter(), 88);
        assert_eq!((range.lowest, range.highest), (48, 84));
        let narrow = KeyRange::around([note(30), note(60), note(64), note(67)].into_iter(), 30);
        assert_eq!(
            (narrow.lowest, narrow.highest),
            (48, 72),
            "the two octaves that hold most, lowest first"
        );
        assert_eq!(
            KeyRange::around([note(21), note(108)].into_iter(), 88 + 12),
            KeyRange::PIANO
        );
        assert_eq!(KeyRange::around(std::iter::empty(), 26).keys(), 25);
    }

    #[test]
    fn every_picture_has_one_column_a_key_and_one_for_each_arrow() {
        for key in 0..=127 {
            let line = picture(&[(key, Certainty::Sure)], KeyRange::PIANO);
            assert_eq!(line.chars().count(), 90);
        }
    }
}
