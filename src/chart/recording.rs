//! From the listener's events to the result document.
//!
//! Input: [`Event`]s of one recording, in order, gathered by [`HeardSoFar`]. Output: [`Heard`], which no longer changes, and its
//! [`Recording`], made while it is written.
//! Units: times in frames at the internal rate as they come in, seconds with millisecond precision as they go out.
//! Method: only the spans are kept (some tens of bytes a note), and 16 bytes a frame of what is told of the pedal; the chords are interpreted once (see [`super::passages`]), and their names
//! and readings are written one by one while they are serialised.
//! Limits: whoever asks for two interpretations has every chord searched twice.

use crate::chart::document::{PartRead, Provenance, Recording, SCHEMA, SoundedOff};
use crate::chart::entries::{heard_note, pedal_down, seconds};
use crate::chart::marked::Marked;
use crate::chart::passages::{ChordsInPlace, Interpreted};
use crate::chart::pedalling::{PedalFrame, PedalSpan, pedal_spans};
use crate::chart::performance::{Performance, performance};
use crate::chart::sound::KeptSound;
use crate::chart::velocity::Velocities;
use crate::chart::written;
use crate::harmony::{AnalysisOptions, Key, Style};
use crate::listener::{ChordSpan, Event, NoteSpan};
use crate::playing::StatedRhythm;
use crate::units::{Cents, Hertz, Part, SamplePos, hundredths};
use serde::{Serialize, Serializer};

/// A recording while it is heard.
#[derive(Debug, Clone, PartialEq)]
pub struct HeardSoFar {
    file: String,
    naming: Wording,
    notes: Vec<NoteSpan>,
    chords: Vec<ChordSpan>,
    pedal: Vec<PedalFrame>,
    sounding_off: Option<Cents>,
    rhythm: StatedRhythm,
    part: Part,
    warnings: Vec<String>,
    provenance: Option<Provenance>,
    sound: Option<KeptSound>,
}

impl HeardSoFar {
    /// Nothing heard yet of `file`, as the user names it.
    pub fn new(file: impl Into<String>, naming: Wording) -> Self {
        Self {
            file: file.into(),
            naming,
            notes: Vec::new(),
            chords: Vec::new(),
            pedal: Vec::new(),
            sounding_off: None,
            rhythm: StatedRhythm::default(),
            part: Part::default(),
            warnings: Vec::new(),
            provenance: None,
            sound: None,
        }
    }

    /// Keeps which part of the recording is heard: times of events count from its beginning.
    pub fn reads(&mut self, part: Part) {
        self.part = part;
    }

    /// Keeps what the event tells of notes and chords that have ended.
    pub fn keep(&mut self, event: Event) {
        let begins = self.part.from.since_start();
        match event {
            Event::Note(mut span) => {
                span.start += begins;
                span.end += begins;
                self.notes.push(span);
            }
            Event::Chord(mut span) => {
                span.start += begins;
                span.end += begins;
                self.chords.push(span);
            }
            Event::Frame(frame) => self
                .pedal
                .extend(frame.evidence.pedal.map(|down| PedalFrame {
                    at: frame.at + begins,
                    down,
                })),
            // what a chart does not hold
            _ => {}
        }
    }

    /// Keeps how far the recording sounds off what was fingered, as the user has stated it.
    pub fn sounds_off(&mut self, off: Cents) {
        self.sounding_off = Some(off);
    }

    /// Keeps what the user has stated of the rhythm.
    pub fn in_rhythm(&mut self, rhythm: StatedRhythm) {
        self.rhythm = rhythm;
    }

    /// Keeps what was noticed about the sound, one sentence.
    pub fn warn(&mut self, sentence: impl Into<String>) {
        self.warnings.push(sentence.into());
    }

    /// Keeps what hears it.
    pub fn heard_by(&mut self, provenance: Provenance) {
        self.provenance = Some(provenance);
    }

    /// Keeps the sound itself.
    pub fn keep_sound(&mut self, sound: KeptSound) {
        self.sound = Some(sound);
    }

    /// Ends the recording: how long it was heard, and the pitch of the piano.
    pub fn end(mut self, length: SamplePos, a4: Option<Hertz>) -> Heard {
        // Notes come as they end, and end in any order.
        self.notes.sort_by_key(|span| (span.start, span.note.midi));
        Heard {
            file: self.file,
            length: length + self.part.from.since_start(),
            part: self.part,
            a4,
            notes: self.notes,
            chords: self.chords,
            pedal: (!self.pedal.is_empty()).then(|| pedal_spans(&self.pedal)),
            sounding_off: self.sounding_off,
            rhythm: self.rhythm,
            warnings: self.warnings,
            provenance: self.provenance,
            sound: self.sound,
            naming: self.naming,
            marks: Vec::new(),
        }
    }
}

/// What was heard in one recording, as spans; made by [`HeardSoFar::end`].
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct Heard {
    /// The file as it was named by the user.
    pub file: String,
    /// Length of the recording; where only a part was read, the end of that.
    pub length: SamplePos,
    /// Which part was read.
    pub part: Part,
    /// Frequency of A4 on this piano; `None` where nothing sounded.
    pub a4: Option<Hertz>,
    /// Struck notes by start.
    pub notes: Vec<NoteSpan>,
    /// Chords by start.
    pub chords: Vec<ChordSpan>,
    /// When the sustaining pedal is down, by start; `None` where that is not known.
    pub pedal: Option<Vec<PedalSpan>>,
    /// How far the recording sounds off what was fingered, as the user has stated it; the notes are as fingered.
    pub sounding_off: Option<Cents>,
    /// What the user has stated of the rhythm.
    pub rhythm: StatedRhythm,
    /// What was noticed about the sound, one sentence each.
    pub warnings: Vec<String>,
    /// What heard it; `None` where that is not known.
    pub provenance: Option<Provenance>,
    /// What was kept of the sound, where that was asked for.
    pub sound: Option<KeptSound>,
    /// How chords are named.
    pub naming: Wording,
    /// What the player marked meanwhile, by time.
    pub marks: Vec<Marked>,
}

/// How the chords of a recording are interpreted, and how they are printed.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Wording {
    /// The key, where it is stated, and how notes are spelled.
    pub analysis: AnalysisOptions,
    /// House style of chord symbols.
    pub style: Style,
}

impl Heard {
    /// Every chord in its place between the others, the key that holds longest and the cadences: all that is written of chords is
    /// written from this.
    pub fn interpreted(&self) -> Interpreted<'_> {
        Interpreted::of(&self.chords, &self.notes, &self.naming.analysis)
    }

    /// What is played, read from the notes; `None` where chords are held for study throughout.
    pub fn performance(&self) -> Option<Performance> {
        performance(
            &self.notes,
            || self.interpreted(),
            &self.naming,
            self.rhythm,
        )
    }

    /// The sounding key, to the nearest half step, where `key` is the fingered one and the recording sounds off it.
    pub fn sounding_key(&self, key: Key) -> Option<Key> {
        let half_steps = self.sounding_off?.get() / 100.0;
        let class = key.tonic.class().up(half_steps.round() as i32);
        Some(Key::usual(class, key.mode))
    }

    /// The document, whose lists are made while it is serialised.
    pub fn document(&self) -> Recording<Notes<'_>, Chords<'_>> {
        let interpreted = self.interpreted();
        let played = self.performance();
        let key = match &played {
            Some(played) => played.key,
            None => interpreted.key(),
        };
        let key_text = |key: Key| key.to_string();
        let harmony = played.as_ref().map(|p| p.harmony.clone());
        let (beats, downbeats, rhythm, melody) = played
            .map(|p| (p.beats, p.downbeats, p.rhythm, p.melody))
            .unwrap_or_default();
        Recording {
            schema: SCHEMA.to_owned(),
            file: self.file.clone(),
            seconds: seconds(self.length),
            part: (!self.part.is_whole()).then(|| PartRead {
                from: seconds(self.part.from),
                to: seconds(self.length),
            }),
            // 0.01 Hz at A4 is 0.04 cents
            tuning_hz: self.a4.map(|a4| hundredths(a4.get())),
            notes: Notes(self),
            pedal: self
                .pedal
                .as_ref()
                .map(|spans| spans.iter().map(pedal_down).collect()),
            harmony,
            beats,
            downbeats,
            rhythm,
            melody,
            provenance: self.provenance.clone(),
            sounding: self.sounding_off.map(|off| SoundedOff {
                half_steps: off.get() / 100.0,
                key: key.and_then(|key| self.sounding_key(key)).map(key_text),
            }),
            key: key.map(key_text),
            cadences: interpreted
                .cadences()
                .iter()
                .map(written::cadence)
                .collect(),
            chords: Chords(interpreted.chords(self.naming.style)),
            warnings: self.warnings.clone(),
            marks: self.marks.iter().map(Marked::written).collect(),
        }
    }
}

/// The notes of a recording, made one by one while they are serialised.
#[derive(Debug, Clone, Copy)]
pub struct Notes<'a>(&'a Heard);

impl Serialize for Notes<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let velocities = Velocities::of(&self.0.notes);
        let entry = |note| heard_note(note, Some(velocities.velocity(note)));
        serializer.collect_seq(self.0.notes.iter().map(entry))
    }
}

/// The chords of a recording, named while they are serialised.
#[derive(Debug, Clone)]
pub struct Chords<'a>(ChordsInPlace<'a>);

impl Serialize for Chords<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_seq(self.0.clone())
    }
}
