//! Harmony: what a set of keys can be called, what it stands for and where it goes. Pure: knows nothing of audio.
//!
//! Input: [`Sounding`] (notes, bass, weights) and a [`Context`]. Output: ranked [`Name`]s and [`Reading`]s.
//! Units: MIDI numbers and pitch classes; scores 0 to 1.
//! Method: one table of chord qualities, every candidate root weighed. Limits: see the modules.

use crate::units::{MidiNote, Share};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// One note to be named.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SoundingNote {
    /// The key.
    pub midi: MidiNote,
    /// How much it counts (certainty times strength); [`Share::ONE`] for typed notes.
    pub weight: Share,
}

/// One name a set of notes can have.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Name {
    /// As printed on a chart, in the chosen style.
    pub symbol: String,
    /// The same in plain ASCII.
    pub ascii: String,
    /// In the academic label syntax (Harte et al., ISMIR 2005).
    pub label: String,
    /// Name of the root.
    pub root: String,
    /// Probability that a practitioner would use this name, 0 to 1; all names of a set add up to at most 1.
    pub score: f32,
    /// Each sounding note (by name) with its degree in this chord.
    pub degrees: BTreeMap<String, String>,
}

/// Something a set of notes can stand for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    /// The kind of reading, in a word of the trade (say, `rootless dominant`).
    pub kind: String,
    /// The chord it stands for, as printed.
    pub stands_for: String,
}

/// What the naming knows of the surroundings.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Context {}
