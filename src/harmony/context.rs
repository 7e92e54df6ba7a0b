//! What the naming knows of the surroundings, and how it should write.
//!
//! Input: a key, the neighbours, a style. Output: [`Context`]. Units: none.
//! Method: plain data. Limits: one chord before, one after; longer reaches are the progression's.

use super::chord::{Chord, Style};
use super::pitch::{Key, Spelling};

/// What the naming knows of the surroundings, and how it should write.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Context {
    /// The key, if known.
    pub key: Option<Key>,
    /// The chord before.
    pub before: Option<Chord>,
    /// The chord after.
    pub after: Option<Chord>,
    /// The house style of the symbols.
    pub style: Style,
    /// How notes are spelled.
    pub spelling: Spelling,
}
