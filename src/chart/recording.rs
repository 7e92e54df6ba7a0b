//! From the listener's events to the result document.
//!
//! Input: [`Event`]s of one recording, in order, gathered by [`HeardSoFar`]. Output: [`Heard`], which no longer changes, and its
//! [`Recording`], made while it is written.
//! Units: times in frames at the internal rate as they come in, seconds with millisecond precision as they go out.
//! Method: only the spans are kept (some tens of bytes a note); names and readings are worked out passage by passage
//! (see [`super::passages`]) when they are asked for, so that the memory of a long recording is that of its spans.
//! Limits: a chord asked for twice is named twice.

use crate::chart::document::{Recording, SCHEMA, Sounding};
use crate::chart::entries::{heard_note, seconds};
use crate::chart::passages::{ChordsInPlace, Outline, outline};
use crate::harmony::{AnalysisOptions, Key};
use crate::listener::{ChordSpan, Event, NoteSpan};
use crate::units::{Cents, FrameCount, Hertz, hundredths};
use serde::{Serialize, Serializer};

/// A recording while it is heard.
#[derive(Debug, Clone, PartialEq)]
pub struct HeardSoFar {
    file: String,
    naming: AnalysisOptions,
    notes: Vec<NoteSpan>,
    chords: Vec<ChordSpan>,
    sounding_off: Option<Cents>,
    warnings: Vec<String>,
}

impl HeardSoFar {
    /// Nothing heard yet of `file`, as the user names it.
    pub fn new(file: impl Into<String>, naming: AnalysisOptions) -> Self {
        Self {
            file: file.into(),
            naming,
            notes: Vec::new(),
            chords: Vec::new(),
            sounding_off: None,
            warnings: Vec::new(),
        }
    }

    /// Keeps what the event tells of notes and chords that have ended.
    pub fn keep(&mut self, event: Event) {
        match event {
            Event::Note(span) => self.notes.push(span),
            Event::Chord(span) => self.chords.push(span),
            // what a chart does not hold
            _ => {}
        }
    }

    /// Keeps how far the recording sounds off what was fingered, as the user has stated it.
    pub fn sounds_off(&mut self, off: Cents) {
        self.sounding_off = Some(off);
    }

    /// Keeps what was noticed about the sound, one sentence.
    pub fn warn(&mut self, sentence: impl Into<String>) {
        self.warnings.push(sentence.into());
    }

    /// Ends the recording: its length, and the pitch of the piano.
    pub fn end(mut self, length: FrameCount, a4: Option<Hertz>) -> Heard {
        // Notes come as they end, and end in any order.
        self.notes.sort_by_key(|span| (span.start, span.note.midi));
        Heard {
            file: self.file,
            length,
            a4,
            notes: self.notes,
            chords: self.chords,
            sounding_off: self.sounding_off,
            warnings: self.warnings,
            naming: self.naming,
        }
    }
}

/// What was heard in one recording, as spans; made by [`HeardSoFar::end`].
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct Heard {
    /// The file as it was named by the user.
    pub file: String,
    /// Length of the recording.
    pub length: FrameCount,
    /// Frequency of A4 on this piano; `None` where nothing sounded.
    pub a4: Option<Hertz>,
    /// Struck notes by start.
    pub notes: Vec<NoteSpan>,
    /// Chords by start.
    pub chords: Vec<ChordSpan>,
    /// How far the recording sounds off what was fingered, as the user has stated it; the notes are as fingered.
    pub sounding_off: Option<Cents>,
    /// What was noticed about the sound, one sentence each.
    pub warnings: Vec<String>,
    /// How chords are named.
    pub naming: AnalysisOptions,
}

impl Heard {
    /// The chords with their names, each in its place between the others.
    pub fn chords(&self) -> ChordsInPlace<'_> {
        ChordsInPlace::new(&self.chords, &self.notes, self.naming)
    }

    /// The key that holds longest, and the cadences.
    pub fn outline(&self) -> Outline {
        outline(&self.chords, self.naming)
    }

    /// How the recording sounds beside what was fingered, with the sounding one of the fingered `key`.
    pub fn sounding(&self, key: Option<&str>) -> Option<Sounding> {
        let half_steps = self.sounding_off?.get() / 100.0;
        let sounding_key = |key: &str| {
            let key: Key = key.parse().ok()?;
            let by = half_steps.round() as i16;
            let class = key.tonic.class().up(i32::from(by));
            Some(Key::usual(class, key.mode).to_string())
        };
        Some(Sounding {
            half_steps,
            key: key.and_then(sounding_key),
        })
    }

    /// The document, whose lists are made while it is serialised.
    pub fn document(&self) -> Recording<Notes<'_>, Chords<'_>> {
        let Outline { key, cadences } = self.outline();
        Recording {
            schema: SCHEMA.to_owned(),
            file: self.file.clone(),
            seconds: seconds(self.length),
            // 0.01 Hz at A4 is 0.04 cents
            tuning_hz: self.a4.map(|a4| hundredths(a4.get())),
            notes: Notes(self),
            chords: Chords(self),
            sounding: self.sounding(key.as_deref()),
            key,
            cadences,
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

/// The chords of a recording, named while they are serialised.
#[derive(Debug, Clone, Copy)]
pub struct Chords<'a>(&'a Heard);

impl Serialize for Chords<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_seq(self.0.chords())
    }
}
