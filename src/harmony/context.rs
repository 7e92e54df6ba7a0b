//! What the naming knows of the surroundings.
//!
//! Input: a key, the neighbours, a way of spelling. Output: [`Context`]. Units: none.
//! Method: plain data. Limits: one chord before, one after; longer reaches are the progression's.

use super::chord::Chord;
use super::pitch::{Key, PitchSet, Scale, Spelling};

/// What the naming knows of the surroundings, and how it spells notes.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Context {
    /// The key, if known.
    pub key: Option<Key>,
    /// The scale on its tonic, where it is neither plain major nor plain minor.
    pub scale: Option<Scale>,
    /// The chord before.
    pub before: Option<Chord>,
    /// The chord after.
    pub after: Option<Chord>,
    /// How notes are spelled.
    pub spelling: Spelling,
}

impl Context {
    /// The notes of the key.
    pub(crate) fn key_notes(&self) -> Option<PitchSet> {
        let key = self.key?;
        Some(match self.scale {
            Some(scale) => scale.degrees().pitches().placed_on(key.tonic.class()),
            None => key.pitches(),
        })
    }

    /// True in a blues, where dominants rest.
    pub(crate) fn is_blues(&self) -> bool {
        self.scale == Some(Scale::Blues)
    }
}
