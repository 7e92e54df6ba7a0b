//! The characters that the live screen is drawn from: block characters, or nothing but ASCII.
//!
//! Input: what the environment says of the terminal. Output: [`Shapes`]. Units: none.
//! Method: a table of each kind; which of them is used says [`crate::view::ink`].
//! Limits: a user who sees boxes asks for ASCII.

use crate::view::ink::draws_blocks;
use crate::view::keyboard::KeyShapes;
use std::env;

/// Characters by what they stand for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shapes {
    /// The row of keys.
    pub(super) keys: KeyShapes,
    /// Pillars and bars, from one eighth of a row to eight.
    pub(super) eighths: [char; 8],
    /// Pillars of notes that are likely, and of such as are only inferred.
    pub(super) likely: char,
    pub(super) inferred: char,
    /// The level's bar, filled and empty.
    pub(super) filled: char,
    pub(super) empty: char,
    /// The arrow keys: left and right, then down.
    pub(super) arrows: [&'static str; 2],
    /// True if letters can be drawn from half and quarter blocks.
    pub(super) part_blocks: bool,
}

impl Shapes {
    /// Block characters.
    pub const BLOCKS: Shapes = Shapes {
        keys: KeyShapes::BLOCKS,
        eighths: ['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'],
        likely: '▒',
        inferred: '░',
        filled: '■',
        empty: '·',
        arrows: ["←→", "↓"],
        part_blocks: true,
    };
    /// Nothing but ASCII.
    pub const ASCII: Shapes = Shapes {
        keys: KeyShapes::ASCII,
        eighths: ['_', '_', '_', '-', '-', '=', '#', '#'],
        likely: 'o',
        inferred: ':',
        filled: '#',
        empty: '.',
        arrows: ["left/right", "down"],
        part_blocks: false,
    };

    /// What suits the terminal.
    pub fn of_environment() -> Self {
        let read = |name: &str| env::var(name).ok();
        if draws_blocks(&read) {
            Self::BLOCKS
        } else {
            Self::ASCII
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn assert_blocks(blocks: bool, environment: &[(&str, &str)]) {
        let read = |name: &str| {
            let found = environment.iter().find(|(known, _)| *known == name);
            found.map(|(_, value)| (*value).to_owned())
        };
        assert_eq!(draws_blocks(&read), blocks, "{environment:?}");
    }

    #[test]
    fn the_locale_and_the_terminal_say_whether_blocks_can_be_drawn() {
        assert_blocks(true, &[]);
        assert_blocks(true, &[("LANG", "en_GB.UTF-8"), ("TERM", "xterm-256color")]);
        assert_blocks(true, &[("LC_ALL", ""), ("LANG", "C.utf8")]);
        assert_blocks(false, &[("LC_ALL", "C"), ("LANG", "en_GB.UTF-8")]);
        assert_blocks(false, &[("LANG", "de_DE.ISO-8859-1")]);
        assert_blocks(false, &[("LANG", "en_GB.UTF-8"), ("TERM", "linux")]);
    }
}
