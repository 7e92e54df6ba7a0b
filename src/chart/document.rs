//! The result document: the serde types that every export is made from, schema `lidprop/2`.
//!
//! Input: what the listener heard and harmony named. Output: JSON by serde; these types are the one source.
//! Units: seconds from the start of the recording (millisecond precision), MIDI numbers, hertz, shares 0 to 1.
//! Method: our own; `tests/schema.rs` checks `src/chart/lidprop-2.schema.json` against what is written.
//! Limits: times are as precise as the analysis hop allows (about 23 ms).

use crate::harmony::Verdict;
use crate::listener::Certainty;
use crate::playing::beats::is_swung;
use crate::units::{MidiNote, Seconds};
use serde::{Deserialize, Serialize};
use std::borrow::Cow;
use std::collections::BTreeMap;

/// A word of a table (a note name, a degree, a kind of reading): borrowed when we write it, owned when it was read from a file.
pub type Word = Cow<'static, str>;

/// The name of this version of the document.
///
/// An optional field may be added without a new version: readers ignore fields that they do not know, and a field that is left out is not known,
/// which says nothing of what it would hold. The version changes where a field goes, gets another name, type, unit or meaning, or becomes required.
pub const SCHEMA: &str = "lidprop/2";

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
    /// Length of the recording; where only a part was read, the end of that.
    pub seconds: Seconds,
    /// The part that was read; absent where it was all.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub part: Option<PartRead>,
    /// Frequency of A4 on this piano; `None` where nothing sounded.
    pub tuning_hz: Option<f64>,
    /// Every struck note, by start.
    pub notes: Notes,
    /// Every stretch in which the set of held notes stays put, by start.
    pub chords: Chords,
    /// When the sustaining pedal is down, by start; empty where it stays up, absent where that is not known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pedal: Option<Vec<PedalDown>>,
    /// The harmony of what is played, by start, apart from what is held; absent where chords are held for study throughout, so that what is held is
    /// the harmony. Where a recording has both, what is held stands here as well, and says so.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub harmony: Option<Vec<HarmonyStretch>>,
    /// The beats of what is played; empty where it is free.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub beats: Vec<Seconds>,
    /// Those of the beats that begin a bar; empty where no bars are believed.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub downbeats: Vec<Seconds>,
    /// How the beats and bars lie; absent where none are believed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rhythm: Option<Rhythm>,
    /// The notes of the highest voice of what is played, counted from 0.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub melody: Vec<usize>,
    /// The key that holds longest; `None` where no chord was heard, or in playing where no key is believed.
    pub key: Option<String>,
    /// Cadences and two-five-ones; `first` and `last` count the chords from 0.
    pub cadences: Vec<Cadence>,
    /// What made this document; `None` where it is not known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub provenance: Option<Provenance>,
    /// How the recording sounds beside what was fingered, where the user has stated it: all else is as fingered.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sounding: Option<SoundedOff>,
    /// What was noticed about the sound (clipping, damage, silence), one sentence each.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub warnings: Vec<String>,
    /// What the player marked while it was heard, by time.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub marks: Vec<PlayerMark>,
}

/// A mark of the player.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PlayerMark {
    /// When the marked chord began; where none was on the screen, when the mark was made.
    pub at: Seconds,
    /// What the player typed to it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub word: Option<String>,
}

/// The part of a recording that was read. All times are those of the whole recording.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PartRead {
    /// Where it begins.
    pub from: Seconds,
    /// Where it ends.
    pub to: Seconds,
}

/// What made a document: enough to make it again from the same recording.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Provenance {
    /// Version of lidprop.
    pub version: String,
    /// The weights by which notes were heard, as 16 hexadecimal digits.
    pub model: String,
    /// What the user has stated.
    pub options: StatedOptions,
    /// The recording: the SHA-256 (FIPS 180-4) of its file in 64 hexadecimal digits; absent of what is no file.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sha256: Option<String>,
}

impl StatedOptions {
    /// True where the piano's pitch was stated, by itself or with the piano.
    pub fn states_pitch(&self) -> bool {
        self.a4_hz.is_some() || self.piano.is_some()
    }
}

/// What the user has stated, as far as it has any part in what was heard and how it is read.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct StatedOptions {
    /// The pitch of A4 that was expected.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub a4_hz: Option<f64>,
    /// The learned piano on which it was heard.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub piano: Option<String>,
    /// The key that was stated.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub key: Option<String>,
    /// The scale that was stated, where it is neither plain major nor plain minor.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scale: Option<Word>,
    /// From when on it was to be read.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from: Option<Seconds>,
    /// Up to when it was to be read.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub to: Option<Seconds>,
    /// How far it was said to sound above what was fingered, in half steps.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub half_steps: Option<f64>,
    /// The tempo that was stated, in beats a minute.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bpm: Option<f64>,
    /// The beats in a bar that were stated.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub meter: Option<usize>,
    /// The beats before the first bar that were stated.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pickup: Option<usize>,
    /// How symbols are printed, where it is not as usual.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub style: Option<Word>,
    /// How notes are spelled, where it is not as usual.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub spelling: Option<Word>,
}

/// A recording that sounds off what was fingered, as an old record or cassette does.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SoundedOff {
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
    /// Level of the key at its strike in dBFS, of its first four partials: a full-scale sine has 0.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub level: Option<f64>,
    /// How hard it was struck beside the others of its recording, as MIDI counts velocity, 1 to 127; absent while a recording goes on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub velocity: Option<u8>,
    /// Probability that the key really sounded, 0 to 1.
    pub confidence: f32,
    /// The same in a word.
    pub certainty: Certainty,
}

/// A stretch with the sustaining pedal down.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PedalDown {
    /// When it goes down.
    pub start: Seconds,
    /// When it comes up.
    pub end: Seconds,
    /// Probability that it is down between, 0 to 1.
    pub confidence: f32,
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
    /// What would be expected in its place, if it is surely a stand-in for that and `stands_for` does not say so.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stand_in: Option<StandInMark>,
}

/// What would be expected in the place of a chord that stands in for it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StandInMark {
    /// The chord that would be expected, in plain ASCII.
    pub expected: String,
    /// How it is replaced, in words of the trade.
    pub device: Word,
    /// The tensions that the chord has over what is expected.
    pub tensions: Vec<Word>,
}

/// A stretch of playing that has one harmony.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HarmonyStretch {
    /// When it begins.
    pub start: Seconds,
    /// When the next one begins, or the sound ends.
    pub end: Seconds,
    /// What it can be called, best first.
    pub names: Vec<HarmonyName>,
    /// The local key, say `Eb major`, where one is believed.
    pub key: Option<String>,
    /// How sure the local key is, 0 to 1.
    pub key_confidence: f32,
    /// Roman numeral in the local key.
    pub numeral: Option<String>,
    /// What it does, in words.
    pub function: Option<String>,
    /// The dominant that it stands for, in plain ASCII, if it stands for one.
    pub stands_for: Option<String>,
    /// What would be expected in its place, if it is surely a stand-in for that and `stands_for` does not say so.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stand_in: Option<StandInMark>,
    /// True of a chord that is held for study, amid playing: it is one of `chords`.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub held: bool,
}

/// One name of a harmony: the chord as written over the bar, whether or not all its notes sound.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HarmonyName {
    /// As printed on a chart, in the chosen style.
    pub symbol: String,
    /// The same in plain ASCII.
    pub ascii: String,
    /// In the academic label syntax (Harte et al., ISMIR 2005).
    pub label: String,
    /// How sure it is, 0 to 1.
    pub score: f32,
}

/// How beats and bars lie.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Rhythm {
    /// Beats a minute, the median.
    pub bpm: f64,
    /// How sure the beat is, 0 to 1.
    pub beat_confidence: f32,
    /// Beats in a bar; absent where no bars are believed.
    pub meter: Option<usize>,
    /// How sure the bars are, 0 to 1.
    pub bar_confidence: f32,
    /// Where the second eighth falls between two beats, where eighths are played: 0.5 is even, 0.67 a triplet.
    pub second_eighth: Option<f32>,
}

impl Rhythm {
    /// True where eighths are swung.
    pub fn swung(&self) -> bool {
        self.second_eighth.is_some_and(is_swung)
    }
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
    /// What else is true of the same chord.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub also: Vec<AlsoTrue>,
    /// Roman numeral of the chord it stands for, where a key is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub numeral: Option<String>,
    /// What that chord does in the key, in words, where one is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub function: Option<String>,
    /// The chord it stands for, as printed.
    pub stands_for: String,
    /// The same in plain ASCII.
    pub ascii: String,
    /// The same in the academic label syntax, holding exactly what sounds.
    pub label: String,
    /// How likely the notes are meant so, beside the other readings and beside meaning no more than their name says, 0 to 1.
    pub score: f32,
    /// Each sounding note (by name) with its degree in the chord it stands for.
    pub degrees: BTreeMap<Word, Word>,
    /// The tensions that sound, lowest degree first.
    pub tensions: Vec<Word>,
    /// Degrees of the chord that do not sound.
    pub missing: Vec<Word>,
    /// Where it goes, likeliest first.
    pub resolves_to: Vec<Resolution>,
    /// Why, in one sentence.
    pub why: String,
}

/// One more thing that is true of the chord of a reading.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AlsoTrue {
    /// The kind of reading, in words of the trade.
    pub kind: Word,
    /// Why, in one sentence.
    pub why: String,
}

/// Where a reading goes.
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

/// A close of a phrase.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Cadence {
    /// In words of the trade: `two-five-one`, `authentic cadence`, `deceptive cadence`, `plagal cadence`, `backdoor cadence`, `two-five`.
    pub kind: String,
    /// The key or tonic it leads to, say `Eb major`.
    pub to: String,
    /// Its first chord.
    pub first: usize,
    /// Its last chord.
    pub last: usize,
    /// True if the dominant is there only as a rootless stand-in.
    pub stand_in: bool,
    /// True if the dominant is the substitute a tritone away.
    pub substitute: bool,
}

/// A typed progression with what its chords do.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ProgressionDocument {
    /// Always [`SCHEMA`].
    pub schema: String,
    /// How many bars it has.
    pub bars: usize,
    /// The key of most chords.
    pub key: Option<String>,
    /// Its changes, in order.
    pub chords: Vec<ProgressionChord>,
    /// Cadences and two-five-ones; `first` and `last` count the chords from 0.
    pub cadences: Vec<Cadence>,
}

/// A chord of a typed progression.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ProgressionChord {
    /// The bar in which it begins, from 0.
    pub bar: usize,
    /// Beats from the beginning of that bar.
    pub beat: f64,
    /// How many beats it lasts.
    pub beats: f64,
    /// Names and readings.
    #[serde(flatten)]
    pub naming: Naming,
    /// Its place in the progression; absent where no chord is played.
    pub place: Option<Place>,
    /// How its voices go to the next chord.
    pub moves: Vec<VoiceStep>,
}

/// A voicing in one key.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct InKey {
    /// The chord, as printed; `None` where the notes have no good name.
    pub symbol: Option<String>,
    /// The same in plain ASCII.
    pub ascii: Option<String>,
    /// The keys, lowest first.
    pub midi: Vec<MidiNote>,
    /// The notes with octaves, lowest first.
    pub notes: Vec<String>,
    /// Each note by name with its degree.
    pub degrees: BTreeMap<Word, Word>,
}
