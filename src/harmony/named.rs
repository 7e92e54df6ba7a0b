//! What can be said of one set of notes: names, readings, resolutions, as they are written.
//!
//! Input: none; these are the types. Output: [`Naming`] for charts, documents and views.
//! Units: scores 0 to 1; half steps. Method: plain data that serde writes and reads.
//! Limits: text; the chords behind it are parsed from `ascii` where they are needed again.

use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// A word of a table (a note name, a degree, a kind of reading): borrowed when we write it, owned when it was read from a file.
pub type Word = std::borrow::Cow<'static, str>;

/// One name a set of notes can have.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Name {
    /// As printed on a chart, in the chosen style.
    pub symbol: String,
    /// The same in plain ASCII.
    pub ascii: String,
    /// The shortest symbol a band can play from, in the chosen style.
    pub chart: String,
    /// In the academic label syntax (Harte et al., ISMIR 2005).
    pub label: String,
    /// Name of the root.
    pub root: Word,
    /// Probability that a practitioner would use this name, 0 to 1; all names of a set add up to at most 1.
    pub score: f32,
    /// Each sounding note (by name) with its degree in this chord.
    pub degrees: BTreeMap<Word, Word>,
}

/// Something a set of notes can stand for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    /// The kind of reading, in words of the trade (say, `rootless dominant`).
    pub kind: Word,
    /// The chord it stands for, as printed.
    pub stands_for: String,
    /// The same in plain ASCII.
    pub ascii: String,
    /// The same in the academic label syntax, holding exactly what sounds.
    pub label: String,
    /// How likely it is beside the other readings of the same notes, 0 to 1.
    pub score: f32,
    /// Each sounding note (by name) with its degree in the chord it stands for.
    pub degrees: BTreeMap<Word, Word>,
    /// The tensions that sound, lowest degree first.
    pub tensions: Vec<Word>,
    /// Degrees of the chord that do not sound.
    pub missing: Vec<Word>,
    /// Where it tends to go, likeliest first.
    pub resolves_to: Vec<Resolution>,
    /// Why, in one sentence.
    pub why: String,
}

/// Where a reading tends to go.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Resolution {
    /// The chord it goes to, as printed.
    pub to: String,
    /// The same in plain ASCII.
    pub ascii: String,
    /// How each voice moves, by note name.
    pub voices: Vec<VoiceStep>,
}

/// One voice of a resolution.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct VoiceStep {
    /// The note that sounds.
    pub from: Word,
    /// The note it goes to.
    pub to: Word,
    /// Half steps up; negative is down, 0 stays.
    pub half_steps: i8,
}

/// How sure the naming is of itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// The first name is clearly the best.
    Named,
    /// Several names are about as good.
    Undecided,
    /// No name fits well: the notes are the answer.
    NoGoodName,
}

/// All that can be said of one set of notes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Naming {
    /// The notes, lowest first, with octaves.
    pub notes: Vec<String>,
    /// How sure the names are.
    pub verdict: Verdict,
    /// Names it can have, best first. With [`Verdict::NoGoodName`] they are the least bad ones.
    pub names: Vec<Name>,
    /// What it can stand for, likeliest first.
    pub readings: Vec<Reading>,
}
