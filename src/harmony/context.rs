//! What the naming knows of the surroundings.
//!
//! Input: a key, the neighbours, a way of spelling. Output: [`Context`]. Units: none.
//! Method: plain data. Limits: one chord before, one after; longer reaches are the progression's.

use super::chord::Chord;
use super::pitch::{Key, Spelling};

/// What the naming knows of the surroundings, and how it spells notes.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Context {
    /// The key, if known.
    pub key: Option<Key>,
    /// The chord before.
    pub before: Option<Chord>,
    /// The chord after.
    pub after: Option<Chord>,
    /// How notes are spelled.
    pub spelling: Spelling,
}
