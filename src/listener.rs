//! The engine: the only place where the stages meet. Live sound and recordings go through it alike.
//!
//! Input: mono samples at [`SampleRate::INTERNAL`], pushed in blocks of any size. Output: [`Event`]s in order of time.
//! Units: times in [`FrameCount`]s at the internal rate, from the first pushed sample.
//! Method: one `step` a hop: spectrum, note evidence, tracks, chord spans. Block sizes change nothing.
//! Limits: a chord is reported closed only once the next one is sure; memory does not grow with the length of the sound.

use crate::notes::NoteEvidence;
use crate::chart::document::Certainty;
use crate::units::{FrameCount, Hertz, MidiNote, SampleRate, Share};

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
pub enum Event {
    /// One analysis frame was heard.
    Frame(FrameReport),
    /// A note has ended.
    Note(NoteSpan),
    /// What sounds now has changed: a new chord, or a better opinion of the same one.
    Sounding(ChordState),
    /// A chord has ended; the final word on it.
    Chord(ChordSpan),
}

/// One analysis frame, for meters and the keyboard picture.
#[derive(Debug, Clone, PartialEq)]
pub struct FrameReport {
    /// The end of the frame's window.
    pub at: FrameCount,
    /// Root-mean-square of the last hop, linear, a full-scale sine has 0.707.
    pub rms: f32,
    /// Evidence for every key.
    pub evidence: NoteEvidence,
    /// Twelve pitch classes from C, 0 to 1.
    pub chroma: [f32; 12],
    /// Frequency of A4 as followed so far; `None` until enough has sounded.
    pub a4: Option<Hertz>,
}

/// A struck note that has ended.
#[derive(Debug, Clone, PartialEq)]
pub struct NoteSpan {
    /// The note itself.
    pub note: ChordNote,
    /// When it was struck.
    pub start: FrameCount,
    /// When it was damped or lost.
    pub end: FrameCount,
}

/// What sounds now.
#[derive(Debug, Clone, PartialEq)]
pub struct ChordState {
    /// When its first note was struck.
    pub start: FrameCount,
    /// When this was said.
    pub at: FrameCount,
    /// The notes, lowest first; empty when all is silent.
    pub notes: Vec<ChordNote>,
    /// True once the set has stayed put long enough to be trusted.
    pub settled: bool,
}

/// A chord from its first strike to where it gave way.
#[derive(Debug, Clone, PartialEq)]
pub struct ChordSpan {
    /// When its first note was struck.
    pub start: FrameCount,
    /// When it gave way.
    pub end: FrameCount,
    /// The notes, lowest first.
    pub notes: Vec<ChordNote>,
}

/// How to listen.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ListenerOptions {
    /// Frequency of A4 to start from; `None`: 440 Hz until the sound says otherwise.
    pub a4: Option<Hertz>,
}

/// Hears mono sound at [`SampleRate::INTERNAL`] and tells what sounds.
pub struct Listener {
    position: FrameCount,
}

impl Listener {
    /// The rate at which samples must be pushed.
    pub const RATE: SampleRate = SampleRate::INTERNAL;

    /// Makes a listener; all memory it needs is taken here.
    pub fn new(options: ListenerOptions) -> Self {
        let _ = options;
        Self { position: FrameCount(0) }
    }

    /// Hears `samples` (mono, -1 to 1, finite) and appends what they tell to `events`.
    pub fn push(&mut self, samples: &[f32], events: &mut Vec<Event>) {
        let _ = events;
        self.position = self.position + FrameCount(samples.len() as u64);
    }

    /// Ends the sound: closes notes and chords that are still open.
    pub fn finish(&mut self, events: &mut Vec<Event>) {
        let _ = events;
    }

    /// Frequency of A4 as followed so far; `None` until enough has sounded.
    pub fn a4(&self) -> Option<Hertz> {
        None
    }

    /// How many samples were heard.
    pub fn position(&self) -> FrameCount {
        self.position
    }
}
