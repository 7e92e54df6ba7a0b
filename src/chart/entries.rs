//! Single notes and chords, from the listener's spans to the entries of the document.
//!
//! Input: spans, and what harmony says of them. Output: [`HeardNote`]s and [`HeardChord`]s.
//! Units: seconds with millisecond precision, shares with three decimals. Method: one function an entry.
//! Limits: none.

use crate::answer::names::sounding;
use crate::chart::document::{HeardChord, HeardNote, KeyMark, PedalDown};
use crate::chart::pedalling::PedalSpan;
use crate::chart::written;
use crate::harmony::standins::Expected;
use crate::harmony::{InPlace, Naming, Sounding, Style, note_name};
use crate::listener::{Certainty, ChordNote, ChordSpan, NoteSpan};
use crate::units::{SamplePos, SampleRate, Seconds};

/// A struck note as the document has it; `velocity` where all of its recording is known.
pub fn heard_note(span: &NoteSpan, velocity: Option<u8>) -> HeardNote {
    HeardNote {
        midi: span.note.midi,
        name: note_name(span.note.midi),
        start: seconds(span.start),
        end: seconds(span.end),
        strength: thousandths(span.note.strength.get()),
        level: Some((span.level.get() * 10.0).round() / 10.0),
        velocity,
        confidence: thousandths(span.note.confidence.get()),
        certainty: span.note.certainty,
    }
}

/// The pedal as the document has it.
pub(super) fn pedal_down(span: &PedalSpan) -> PedalDown {
    PedalDown {
        start: span.start.to_millis_precision(),
        end: span.end.to_millis_precision(),
        confidence: thousandths(span.confidence.get()),
    }
}

/// A chord that has ended as the naming takes it.
pub(super) fn sounding_span(span: &ChordSpan) -> Sounding {
    sounding(&span.notes, &span.possible)
}

/// A chord as the document has it, by its naming, its place and what would be expected there; `None` where it has no notes.
pub(super) fn heard_chord(
    span: &ChordSpan,
    pedal: bool,
    naming: &Naming,
    place: &InPlace,
    expected: Option<&Expected>,
    style: Style,
) -> Option<HeardChord> {
    let naming = written::naming(naming, style);
    Some(HeardChord {
        start: seconds(span.start),
        end: seconds(span.end),
        midi: span.notes.iter().map(|note| note.midi).collect(),
        marks: marks(&span.notes),
        pedal,
        bass: naming.notes.first()?.clone(),
        notes: naming.notes,
        verdict: naming.verdict,
        names: naming.names,
        readings: naming.readings,
        place: written::place(place, expected),
    })
}

/// How certain each note of a chord is, and whether its octave can be told.
pub fn marks(notes: &[ChordNote]) -> Vec<KeyMark> {
    notes
        .iter()
        .map(|note| KeyMark {
            midi: note.midi,
            confidence: thousandths(note.confidence.get()),
            certainty: note.certainty,
            octave_open: octave_is_open(note, notes),
        })
        .collect()
}

/// An upper octave shares all its partials with a sounding key below: where it is not sure, it may be that key's ringing alone.
fn octave_is_open(note: &ChordNote, notes: &[ChordNote]) -> bool {
    note.certainty != Certainty::Sure
        && notes.iter().any(|below| {
            [12, 24].contains(&(note.midi - below.midi).0) && below.confidence > note.confidence
        })
}

/// A time as the document has it.
pub fn seconds(at: SamplePos) -> Seconds {
    at.seconds(SampleRate::INTERNAL).to_millis_precision()
}

/// Shares are written with three decimals: finer is noise.
pub(super) fn thousandths(share: f32) -> f32 {
    (share * 1000.0).round() / 1000.0
}
