//! From the listener's events to the result document.
//!
//! Input: [`Event`]s of one recording, in order. Output: a [`Recording`], made while it is written.
//! Units: times in frames at the internal rate as they come in, seconds with millisecond precision as they go out.
//! Method: only the spans are kept (some tens of bytes a note); names and readings are worked out when they are asked for,
//! so that the memory of a long recording is that of its notes and no more.
//! Limits: a chord asked for twice is named twice.

use crate::chart::document::{HeardChord, HeardNote, Recording, SCHEMA};
use crate::listener::{ChordSpan, Event, NoteSpan};
use crate::units::{FrameCount, Hertz, MidiNote, SampleRate, Seconds};
use serde::{Serialize, Serializer};

/// What was heard in one recording, as spans.
#[derive(Debug, Clone, PartialEq)]
pub struct Heard {
    /// The file as it was named by the user.
    pub file: String,
    /// Length of the recording.
    pub length: FrameCount,
    /// Frequency of A4 on this piano; `None` where nothing sounded.
    pub a4: Option<Hertz>,
    /// Struck notes in the order in which they ended.
    pub notes: Vec<NoteSpan>,
    /// Chords by start.
    pub chords: Vec<ChordSpan>,
    /// What was noticed about the sound, one sentence each.
    pub warnings: Vec<String>,
}

impl Heard {
    /// Nothing heard yet.
    pub fn new(file: impl Into<String>) -> Self {
        Self {
            file: file.into(),
            length: FrameCount(0),
            a4: None,
            notes: Vec::new(),
            chords: Vec::new(),
            warnings: Vec::new(),
        }
    }

    /// Keeps what the event tells of notes and chords that have ended.
    pub fn keep(&mut self, event: Event) {
        match event {
            Event::Note(span) => self.notes.push(span),
            Event::Chord(span) => self.chords.push(span),
            Event::Frame(_) | Event::Sounding(_) => {}
        }
    }

    /// Ends the recording: its length, and the pitch of the piano.
    pub fn close(&mut self, length: FrameCount, a4: Option<Hertz>) {
        self.length = length;
        self.a4 = a4;
        self.notes.sort_by_key(|span| (span.start, span.note.midi));
    }

    /// The chords with their names, one by one.
    pub fn chords(&self) -> impl Iterator<Item = HeardChord> + '_ {
        self.chords.iter().map(named)
    }

    /// The document, whose lists are made while it is serialised.
    pub fn document(&self) -> Recording<Notes<'_>, Chords<'_>> {
        Recording {
            schema: SCHEMA.to_owned(),
            file: self.file.clone(),
            seconds: seconds(self.length),
            tuning_hz: self.a4.map(|a4| hundredths(a4.get())),
            notes: Notes(self),
            chords: Chords(self),
            warnings: self.warnings.clone(),
        }
    }
}

/// The notes of a recording, made one by one while they are serialised.
#[derive(Debug, Clone, Copy)]
pub struct Notes<'a>(&'a Heard);

impl Serialize for Notes<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_seq(self.0.notes.iter().map(heard_note))
    }
}

/// The chords of a recording, named one by one while they are serialised.
#[derive(Debug, Clone, Copy)]
pub struct Chords<'a>(&'a Heard);

impl Serialize for Chords<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_seq(self.0.chords())
    }
}

/// A struck note as the document has it.
pub fn heard_note(span: &NoteSpan) -> HeardNote {
    HeardNote {
        midi: span.note.midi,
        name: note_name(span.note.midi),
        start: seconds(span.start),
        end: seconds(span.end),
        strength: thousandths(span.note.strength.get()),
        confidence: thousandths(span.note.confidence.get()),
        certainty: span.note.certainty,
    }
}

/// A chord with its names and readings as the document has it.
pub fn named(span: &ChordSpan) -> HeardChord {
    let midi: Vec<MidiNote> = span.notes.iter().map(|note| note.midi).collect();
    HeardChord {
        start: seconds(span.start),
        end: seconds(span.end),
        bass: midi.first().copied().map(note_name).unwrap_or_default(),
        midi,
        names: Vec::new(),
        readings: Vec::new(),
    }
}

/// A key's name with octave, black keys as flats; middle C is C4.
pub fn note_name(midi: MidiNote) -> String {
    const NAMES: [&str; 12] = [
        "C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B",
    ];
    let number = midi.get();
    format!(
        "{}{}",
        NAMES[usize::from(number % 12)],
        i16::from(number / 12) - 1
    )
}

fn seconds(at: FrameCount) -> Seconds {
    at.seconds(SampleRate::INTERNAL).to_millis_precision()
}

/// Shares are written with three decimals: finer is noise.
fn thousandths(share: f32) -> f32 {
    (share * 1000.0).round() / 1000.0
}

/// Pitch is written with two decimals: 0.01 Hz at A4 is 0.04 cents.
fn hundredths(hertz: f64) -> f64 {
    (hertz * 100.0).round() / 100.0
}
