//! An evening at an upright in a rented practice room, as the listener would tell it: a few chords with times.
#![allow(dead_code, reason = "each test file uses a part of it")]

use lidprop::listener::{Certainty, ChordNote, ChordSpan, ChordState, Event, FrameReport};
use lidprop::notes::NoteEvidence;
use lidprop::units::{Hertz, MidiNote, SamplePos, SampleRate, Seconds, Share};

/// A note by number, strength and how sure it is.
pub fn note(midi: u8, strength: f32, certainty: Certainty) -> ChordNote {
    let confidence = match certainty {
        Certainty::Sure => 0.98,
        Certainty::Likely => 0.7,
        Certainty::Inferred => 0.4,
    };
    ChordNote {
        midi: MidiNote::new(midi).unwrap(),
        strength: Share::clamped(strength),
        confidence: Share::clamped(confidence),
        certainty,
    }
}

/// Sure notes of falling strength.
pub fn notes(midi: &[u8]) -> Vec<ChordNote> {
    let strength = |place: usize| 0.95 - 0.12 * place as f32;
    midi.iter()
        .enumerate()
        .map(|(place, &midi)| note(midi, strength(place), Certainty::Sure))
        .collect()
}

/// A time in frames at the internal rate.
pub fn at(seconds: f64) -> SamplePos {
    Seconds::new(seconds).unwrap().frames(SampleRate::INTERNAL)
}

pub fn span(start: f64, end: f64, midi: &[u8]) -> ChordSpan {
    ChordSpan {
        start: at(start),
        end: at(end),
        notes: notes(midi),
        possible: Vec::new(),
    }
}

/// Two-five-ones in which the five is a diminished major seventh, with a last chord that is not quite sure.
pub fn chords() -> Vec<ChordSpan> {
    let mut chords = vec![
        span(0.42, 2.31, &[38, 60, 65, 69]),
        span(2.36, 4.2, &[41, 56, 59, 64]),
        span(4.28, 6.9, &[36, 59, 64, 67]),
        span(7.05, 9.0, &[40, 56, 62, 67, 71]),
        span(9.1, 11.4, &[45, 55, 60, 64]),
        span(64.2, 66.0, &[50, 65, 68, 73]),
    ];
    if let Some(last) = chords.last_mut() {
        last.notes.insert(0, note(38, 0.2, Certainty::Inferred));
        last.notes[2].certainty = Certainty::Likely;
    }
    chords
}

/// What sounds at `seconds`, struck at `start`.
pub fn state(start: f64, seconds: f64, notes: Vec<ChordNote>, settled: bool) -> Event {
    Event::Sounding(ChordState {
        start: at(start),
        at: at(seconds),
        notes,
        possible: Vec::new(),
        settled,
    })
}

/// An analysis frame in which `midi` sound at this level.
pub fn frame(seconds: f64, rms: f32, midi: &[u8]) -> Event {
    let mut evidence = NoteEvidence::default();
    for (place, &midi) in midi.iter().enumerate() {
        evidence.sounding[usize::from(midi - 21)] = 0.97 - 0.04 * place as f32;
    }
    Event::Frame(FrameReport {
        at: at(seconds),
        rms,
        chroma: evidence.chroma(),
        evidence,
        a4: (!midi.is_empty()).then(|| Hertz::new(436.4).unwrap()),
    })
}
