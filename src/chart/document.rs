//! The result document: the serde types that every export is made from, schema `lidprop/1`.
//!
//! Input: what the listener heard and harmony named. Output: JSON by serde; these types are the one source.
//! Units: seconds from the start of the recording (millisecond precision), MIDI numbers, hertz, shares 0 to 1.
//! Method: our own; `tests/schema.rs` checks `src/chart/lidprop-1.schema.json` against what is written.
//! Limits: times are as precise as the analysis hop allows (about 23 ms).

use crate::harmony::{Cadence, Name, Reading, Verdict};
use crate::listener::Certainty;
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
    /// The key that holds longest; `None` where no chord was heard.
    pub key: Option<String>,
    /// Cadences and two-five-ones; `first` and `last` count the chords from 0.
    pub cadences: Vec<Cadence>,
    /// How the recording sounds beside what was fingered, where the user has stated it: all else is as fingered.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sounding: Option<Sounding>,
    /// What was noticed about the sound (clipping, damage, silence), one sentence each.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub warnings: Vec<String>,
}

/// A recording that sounds off what was fingered, as an old record or cassette does.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Sounding {
    /// How far it sounds above what was fingered, in half steps; negative is lower.
    pub half_steps: f64,
    /// The sounding key, to the nearest half step; `None` where no chord was heard.
    pub key: Option<String>,
}

/// How certain one note of a chord is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct KeyMark {
    /// The key.
    pub midi: MidiNote,
    /// Probability that it is there, 0 to 1.
    pub confidence: f32,
    /// The same in a word.
    pub certainty: Certainty,
    /// True where its octave cannot be told: it may be no more than the ringing of the key one or two octaves below.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub octave_open: bool,
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
    /// How certain each of them is.
    pub marks: Vec<KeyMark>,
    /// True where two hands cannot hold what sounds, so that the pedal must; false says nothing.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub pedal: bool,
    /// Their names with octaves, spelled for the best name.
    pub notes: Vec<String>,
    /// Name of the lowest note with octave.
    pub bass: String,
    /// How sure the names are; with `no-good-name` the notes are the answer.
    pub verdict: Verdict,
    /// Names it can have, best first.
    pub names: Vec<Name>,
    /// What it can stand for, likeliest first.
    pub readings: Vec<Reading>,
    /// What it does between the chord before and the chord after.
    pub place: Place,
}

/// The place of a chord in its progression.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Place {
    /// The local key, say `Eb major`.
    pub key: String,
    /// How sure the local key is, 0 to 1.
    pub key_confidence: f32,
    /// Roman numeral in the local key; of the chord it stands for, if it is a stand-in.
    pub numeral: String,
    /// What it does, in words.
    pub function: String,
    /// The chord it stands for here, in plain ASCII, if it is a stand-in.
    pub stands_for: Option<String>,
}
