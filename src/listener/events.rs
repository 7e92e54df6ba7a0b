//! What the listener tells: frames, strikes, notes, what sounds now, chords.
//!
//! Input: none; these are the types. Output: [`Event`]s for charts, views and sessions.
//! Units: times in [`SamplePos`]s at [`SampleRate::INTERNAL`](crate::units::SampleRate::INTERNAL), from the first sample; shares 0 to 1, levels in dBFS.
//! Method: plain data, no music: names are worked out by who receives it.
//! Limits: a strike is told when it is heard, a note and a chord when they have ended, what sounds now at every change.

use crate::notes::NoteEvidence;
use crate::units::{Dbfs, Hertz, MidiNote, SamplePos, SampleSpan, Share};
use serde::{Deserialize, Serialize};

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

/// A note as part of a chord.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChordNote {
    /// The key.
    pub midi: MidiNote,
    /// How strongly it sounds beside the others.
    pub strength: Share,
    /// Probability that it is there.
    pub confidence: Share,
    /// The same in a word.
    pub certainty: Certainty,
}

/// What the listener has to tell.
#[derive(Debug, Clone, PartialEq)]
#[expect(
    clippy::large_enum_variant,
    reason = "a box would allocate for every frame, the commonest event"
)]
pub enum Event {
    /// One analysis frame was heard.
    Frame(FrameReport),
    /// A key was struck: the beginning of a note that will be told once it has ended.
    Struck(StruckKey),
    /// A note has ended.
    Note(NoteSpan),
    /// What sounds now has changed: a new chord, or a better opinion of the same one.
    Sounding(ChordState),
    /// A chord has ended; the final word on it.
    Chord(ChordSpan),
}

impl Event {
    /// Moves all its times by `offset` later: for what a listener tells that has begun so much later than the sound.
    pub fn delay(&mut self, offset: SampleSpan) {
        let times: [Option<&mut SamplePos>; 2] = match self {
            Self::Frame(frame) => [Some(&mut frame.at), None],
            Self::Struck(strike) => [Some(&mut strike.at), None],
            Self::Note(span) => [Some(&mut span.start), Some(&mut span.end)],
            Self::Sounding(state) => [Some(&mut state.start), Some(&mut state.at)],
            Self::Chord(span) => [Some(&mut span.start), Some(&mut span.end)],
        };
        for time in times.into_iter().flatten() {
            *time += offset;
        }
    }
}

/// One analysis frame, for meters and the keyboard picture.
#[derive(Debug, Clone, PartialEq)]
pub struct FrameReport {
    /// The end of the frame's window.
    pub at: SamplePos,
    /// Root-mean-square of the last hop, linear, a full-scale sine has 0.707.
    pub rms: f32,
    /// Evidence for every key.
    pub evidence: NoteEvidence,
    /// Twelve pitch classes from C, 0 to 1.
    pub chroma: [f32; 12],
    /// Frequency of A4 as followed so far; `None` until enough has sounded.
    pub a4: Option<Hertz>,
}

/// A key that was struck, told as soon as that is sure.
///
/// For each there is later one [`NoteSpan`] with the same key and start, and for each of these there was one: none is taken back. It comes some
/// 0.16 to 0.2 s after the strike; where the strike itself was hardly heard (hidden among others, or very soft), 0.6 s after the note was first believed.
#[derive(Debug, Clone, PartialEq)]
pub struct StruckKey {
    /// The key.
    pub key: MidiNote,
    /// When it was struck.
    pub at: SamplePos,
    /// Probability that it was, by what was heard of its sound so far.
    pub probability: Share,
    /// The level of its first four partials in the loudest 93 ms from the strike on: 0 dBFS is a full-scale sine. Keys that share partials
    /// and were struck together read too loud, and below C3 so do neighbours.
    pub level: Dbfs,
}

/// A struck note that has ended.
#[derive(Debug, Clone, PartialEq)]
pub struct NoteSpan {
    /// The note itself.
    pub note: ChordNote,
    /// When it was struck.
    pub start: SamplePos,
    /// When it was damped or lost.
    pub end: SamplePos,
    /// The level at its strike, as its [`StruckKey`] has it.
    pub level: Dbfs,
}

/// What sounds now.
#[derive(Debug, Clone, PartialEq)]
pub struct ChordState {
    /// When its first note was struck.
    pub start: SamplePos,
    /// When this was said.
    pub at: SamplePos,
    /// The notes, lowest first; empty when all is silent.
    pub notes: Vec<ChordNote>,
    /// Keys that may be held as well, once that can be told: as in a chord that has ended.
    pub possible: Vec<ChordNote>,
    /// True once the set has stayed put long enough to be trusted.
    pub settled: bool,
}

/// A chord from its first strike to where it gave way.
#[derive(Debug, Clone, PartialEq)]
pub struct ChordSpan {
    /// When its first note was struck.
    pub start: SamplePos,
    /// When it gave way.
    pub end: SamplePos,
    /// The notes, lowest first.
    pub notes: Vec<ChordNote>,
    /// Notes that are likelier not there than there, and yet not out of the question, lowest first: a name may count on them.
    pub possible: Vec<ChordNote>,
}
