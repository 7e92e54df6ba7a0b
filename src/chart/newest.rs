//! The newest chord of what is heard live, as the document has it.
//!
//! Input: chords as they end. Output: a [`HeardChord`] each. Units: those of the document.
//! Method: [`Names`] keeps the chords before it and names it in its place. Limits: the chord after it is not known yet, nor is its pedal told.

use super::document::HeardChord;
use super::entries::heard_chord;
use crate::answer::names::Names;
use crate::harmony::AnalysisOptions;
use crate::listener::ChordSpan;

/// Chords as they end, each after those before it.
#[derive(Debug, Clone, PartialEq)]
pub struct Newest {
    names: Names,
}

impl Newest {
    /// Nothing heard yet.
    pub fn new(options: AnalysisOptions) -> Self {
        Self {
            names: Names::new(options),
        }
    }

    /// The chord that has just ended, in its place as far as it can be told before the next chord is heard.
    pub fn push(&mut self, span: &ChordSpan) -> HeardChord {
        heard_chord(span, false, self.names.of_ended(span))
    }
}
