//! How chords, notes and degrees are written in one answer: one style, one way of naming notes, one kind of accidental.
//!
//! Input: values of harmony. Output: text. Units: none. Method: the signs follow the style: # and b in plain ASCII, else ♯ and ♭.
//! Limits: files keep plain English names.

use crate::harmony::{
    Chord, Degree, NamedNote, NoteNames, NotesByDegree, Spelled, Style, VoiceStep,
};

/// How an answer is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Hand {
    /// The style of symbols.
    pub style: Style,
    /// The way of naming notes.
    pub names: NoteNames,
}

impl Hand {
    fn is_ascii(self) -> bool {
        self.style == Style::Ascii
    }

    /// A chord symbol.
    pub fn chord(self, chord: &Chord) -> String {
        chord.symbol_in(self.style, self.names)
    }

    /// A note without its octave.
    pub fn note(self, note: Spelled) -> String {
        self.names.write(note, self.is_ascii())
    }

    /// A key with its octave.
    pub fn key(self, note: &NamedNote) -> String {
        format!("{}{}", self.note(note.name), note.octave())
    }

    /// A degree.
    pub fn degree(self, degree: Degree) -> String {
        if self.is_ascii() {
            degree.name().to_owned()
        } else {
            degree.name().replace('b', "♭").replace('#', "♯")
        }
    }

    /// Notes with their degrees: `3 D, ♭7 A♭`.
    pub fn degrees(self, degrees: &NotesByDegree) -> String {
        let pairs = degrees
            .iter()
            .map(|&(note, degree)| format!("{} {}", self.degree(degree), self.note(note)));
        pairs.collect::<Vec<_>>().join(", ")
    }

    /// What every voice does: `F down 1 to E, A stays`.
    pub fn voices(self, voices: &[VoiceStep]) -> String {
        let told = |voice: &VoiceStep| {
            let (from, to) = (self.note(voice.from), self.note(voice.to));
            match voice.half_steps {
                0 => format!("{from} stays"),
                up if up > 0 => format!("{from} up {up} to {to}"),
                down => format!("{from} down {} to {to}", -down),
            }
        };
        voices.iter().map(told).collect::<Vec<_>>().join(", ")
    }

    /// The voices that move, in short: `C>B A>G`.
    pub fn moves(self, voices: &[VoiceStep]) -> String {
        let moving = voices.iter().filter(|voice| voice.half_steps != 0);
        let told = moving.map(|voice| format!("{}>{}", self.note(voice.from), self.note(voice.to)));
        told.collect::<Vec<_>>().join(" ")
    }
}
