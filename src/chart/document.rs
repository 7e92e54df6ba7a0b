//! The result document: the serde types that every export is made from, schema `lidprop/1`.
//!
//! Input: what the listener heard and harmony named. Output: JSON by serde; these types are the one source.
//! Units: seconds from the start of the recording (millisecond precision), MIDI numbers, hertz, shares 0 to 1.
//! Method: our own; `tests/schema.rs` checks `src/chart/lidprop-1.schema.json` against what is written.
//! Limits: times are as precise as the analysis hop allows (about 23 ms).

use crate::harmony::{Name, Reading};
use crate::units::{MidiNote, Seconds};
use serde::{Deserialize, Serialize};

/// The name of this version of the document.
pub const SCHEMA: &str = "lidprop/1";

/// All that was heard in one recording.
///
/// The two lists are type parameters so that a long recording can be written note by note and chord by chord
/// (see [`super::recording`]) with the same fields as one that is held in memory or read back.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Recording<Notes = Vec<HeardNote>, Chords = Vec<HeardChord>> {
    /// Always [`SCHEMA`].
    pub schema: String,
    /// The file as it was named by the user.
    pub file: String,
    /// Length of the recording.
    pub seconds: Seconds,
    /// Frequency of A4 on this piano; `None` where nothing sounded.
    pub tuning_hz: Option<f64>,
    /// Every struck note, by start.
    pub notes: Notes,
    /// Every stretch in which the set of held notes stays put, by start.
    pub chords: Chords,
    /// What was noticed about the sound (clipping, damage, silence), one sentence each.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub warnings: Vec<String>,
}

/// How certain a note is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Certainty {
    /// Could as well be the ringing of another note.
    Inferred,
    /// More likely there than not.
    Likely,
    /// There.
    Sure,
}

/// One struck note.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HeardNote {
    /// The key.
    pub midi: MidiNote,
    /// Its name with octave, middle C is C4.
    pub name: String,
    /// When it was struck.
    pub start: Seconds,
    /// When its damper fell, or its sound was lost.
    pub end: Seconds,
    /// How strongly it sounds beside the others, 0 to 1.
    pub strength: f32,
    /// Probability that the key really sounded, 0 to 1.
    pub confidence: f32,
    /// The same in a word.
    pub certainty: Certainty,
}

/// A stretch in which the set of held notes stays put.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HeardChord {
    /// When its first note was struck.
    pub start: Seconds,
    /// When it gave way.
    pub end: Seconds,
    /// The keys that sound, lowest first.
    pub midi: Vec<MidiNote>,
    /// Name of the lowest note with octave.
    pub bass: String,
    /// Names it can have, best first; empty if it has no good name.
    pub names: Vec<Name>,
    /// What it can stand for, likeliest first.
    pub readings: Vec<Reading>,
}
