//! How a chord gets its name, live and from a recording: as sound in its place between the chords around it.
//!
//! Input: notes as they are heard, those that may be there among them, and the chords before. Output: the names, and the place.
//! Units: shares 0 to 1; times in frames at the internal rate.
//! Method: [`sounding`] says what naming gets to know of notes, and is all there is of it; the progression that ends with the chord is
//! analysed, and the chord takes what it says of its last one.
//! Limits: what is told while it sounds knows no chord after it, and none before it that has not ended for sure: the listener tells of an
//! end only once the next chord is certain.

use crate::harmony::{
    AnalysedChord, AnalysisOptions, ChordForAnalysis, Naming, Sounding, SoundingNote,
    analyse_progression_with,
};
use crate::listener::{ChordNote, ChordSpan};
use std::collections::VecDeque;

/// Chords before the newest that are heard with it: longer than any cadence.
pub const AROUND: usize = 16;
/// Chords before the one that sounds now. A key that lasts shows in so many; more would cost a computer at the piano too much, since all
/// are named at every change of what sounds.
const AROUND_NOW: usize = 4;

/// The notes of a chord, and those that it may have had, as the naming takes them: each weighs what it is sure of. Soft notes weigh no less
/// than loud ones, since inner voices are played softly.
pub fn sounding(notes: &[ChordNote], possible: &[ChordNote]) -> Sounding {
    Sounding {
        notes: weighed(notes),
        possible: weighed(possible),
        ..Sounding::default()
    }
}

fn weighed(notes: &[ChordNote]) -> Vec<SoundingNote> {
    let note = |note: &ChordNote| SoundingNote {
        midi: note.midi,
        weight: note.confidence,
    };
    notes.iter().map(note).collect()
}

/// Names chords as they come, each after those before it.
#[derive(Debug, Clone, PartialEq)]
pub struct Names {
    options: AnalysisOptions,
    /// The chords that have ended last, the newest at the back; one more than [`AROUND`] at most.
    ended: VecDeque<Sounding>,
}

impl Names {
    /// Nothing heard yet.
    pub fn new(options: AnalysisOptions) -> Self {
        Self {
            options,
            ended: VecDeque::new(),
        }
    }

    /// How chords are named.
    pub fn options(&self) -> AnalysisOptions {
        self.options
    }

    /// From now on names in another key or style.
    pub fn name_with(&mut self, options: AnalysisOptions) {
        self.options = options;
    }

    /// The names of a chord that has ended, in its place after those before it.
    pub fn of_ended(&mut self, span: &ChordSpan) -> AnalysedChord {
        if self.ended.len() > AROUND {
            self.ended.pop_front();
        }
        self.ended.push_back(sounding(&span.notes, &span.possible));
        in_place(self.ended.iter().cloned(), self.options)
    }

    /// The names of what sounds now, after the chords that have ended.
    pub fn of_sounding(&self, notes: &[ChordNote], possible: &[ChordNote]) -> Naming {
        let count = if notes.is_empty() { 0 } else { AROUND_NOW };
        let before = self.ended.len().saturating_sub(count);
        let now = sounding(notes, possible);
        let chords = self.ended.range(before..).cloned().chain([now]);
        in_place(chords, self.options).naming
    }
}

/// The last of `chords` in its place.
///
/// # Panics
/// If there is none.
fn in_place(chords: impl Iterator<Item = Sounding>, options: AnalysisOptions) -> AnalysedChord {
    let chords: Vec<ChordForAnalysis> = chords
        .map(|sounding| ChordForAnalysis { sounding })
        .collect();
    analyse_progression_with(&chords, &options)
        .chords
        .pop()
        .expect("as many chords come back as were given")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::listener::Certainty;
    use crate::units::{FrameCount, MidiNote, Share};

    fn notes(keys: &[u8], confidence: f32) -> Vec<ChordNote> {
        let note = |&key| ChordNote {
            midi: MidiNote::new(key).unwrap(),
            strength: Share::ONE,
            confidence: Share::clamped(confidence),
            certainty: Certainty::Sure,
        };
        keys.iter().map(note).collect()
    }

    fn chord(keys: &[u8], possible: &[u8]) -> ChordSpan {
        ChordSpan {
            start: FrameCount(0),
            end: FrameCount(0),
            notes: notes(keys, 1.0),
            possible: notes(possible, 0.3),
        }
    }

    /// Two-five-one in A flat major, twice.
    fn in_a_flat() -> Names {
        let mut names = Names::new(AnalysisOptions::default());
        for keys in [&[46, 61, 65, 68], &[51, 61, 67, 70], &[44, 60, 63, 67]].repeat(2) {
            names.of_ended(&chord(keys, &[]));
        }
        names
    }

    #[test]
    fn a_chord_has_the_same_name_while_it_sounds_and_once_it_has_ended() {
        let mut names = in_a_flat();
        for keys in [&[46, 61, 65, 68], &[51, 61, 67, 72], &[44, 60, 63, 67]] {
            let while_it_sounds = names.of_sounding(&notes(keys, 1.0), &[]);
            let ended = names.of_ended(&chord(keys, &[])).naming;
            assert_eq!(while_it_sounds.notes, ended.notes, "{keys:?}");
            assert_eq!(
                while_it_sounds.names.first().map(|name| &name.symbol),
                ended.names.first().map(|name| &name.symbol)
            );
        }
    }

    #[test]
    fn what_sounds_is_spelled_in_the_key_of_the_chords_before() {
        let of_fourth =
            |names: &Names| names.of_sounding(&notes(&[49, 65, 68, 72], 1.0), &[]).notes;
        assert_eq!(of_fourth(&in_a_flat()), ["Db3", "F4", "Ab4", "C5"]);
    }

    #[test]
    fn notes_that_may_be_there_are_known_to_the_naming_in_both_ways() {
        let (keys, possible) = ([48, 64, 67], [71]);
        let told = sounding(&notes(&keys, 1.0), &notes(&possible, 0.3));
        assert_eq!((told.notes.len(), told.possible.len()), (3, 1));
        let mut names = Names::new(AnalysisOptions::default());
        let now = names.of_sounding(&notes(&keys, 1.0), &notes(&possible, 0.3));
        let ended = names.of_ended(&chord(&keys, &possible)).naming;
        assert_eq!(now, ended);
    }

    #[test]
    fn only_the_newest_chords_are_kept() {
        let mut names = Names::new(AnalysisOptions::default());
        for _ in 0..3 * AROUND {
            names.of_ended(&chord(&[48, 64, 67], &[]));
        }
        assert_eq!(names.ended.len(), AROUND + 1);
    }
}
