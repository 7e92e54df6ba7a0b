//! How a chord gets its name, live and from a recording: as sound in its place between the chords around it.
//!
//! Input: notes as they are heard, those that may be there among them, and the chords before. Output: the names, and the place.
//! Units: shares 0 to 1; times in frames at the internal rate.
//! Method: [`sounding`] says what naming gets to know of notes, and is all there is of it; the progression that ends with the chord is
//! analysed, and the chord takes what it says of its last one.
//! Limits: what is told while it sounds knows no chord after it, and none before it that has not ended for sure: the listener tells of an
//! end only once the next chord is certain.

use crate::harmony::{AnalysisOptions, Given, InPlace, Naming, Recent, Sounding, SoundingNote};
use crate::listener::{ChordNote, ChordSpan};

/// Chords before the one that sounds now. A key that lasts shows in so many; more would cost a computer at the piano too much, since the path
/// through all is found anew at every change of what sounds.
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
#[derive(Debug, Clone, Default)]
pub struct Names {
    /// The chords that have ended last.
    ended: Recent,
}

impl Names {
    /// Nothing heard yet.
    pub fn new(options: AnalysisOptions) -> Self {
        Self {
            ended: Recent::new(options),
        }
    }

    /// How chords are named.
    pub fn options(&self) -> AnalysisOptions {
        self.ended.options()
    }

    /// From now on names in another key or spelling.
    pub fn name_with(&mut self, options: AnalysisOptions) {
        self.ended.analyse_with(options);
    }

    /// A chord that has ended: its place after those before it, and its names there; `None` if it has no notes.
    pub fn of_ended(&mut self, span: &ChordSpan) -> Option<(InPlace, Naming)> {
        let ended = sounding(&span.notes, &span.possible);
        self.ended.take(&Given::Heard(ended))
    }

    /// The names of what sounds now, and its place after the chords that have ended; none of silence.
    pub fn of_sounding(
        &self,
        notes: &[ChordNote],
        possible: &[ChordNote],
    ) -> (Option<InPlace>, Naming) {
        let now = Given::Heard(sounding(notes, possible));
        let named = self.ended.peek(&now, AROUND_NOW);
        named.map_or_else(Default::default, |(place, naming)| (Some(place), naming))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::listener::Certainty;
    use crate::units::{MidiNote, SamplePos, Share};

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
            start: SamplePos::START,
            end: SamplePos::START,
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
            let while_it_sounds = names.of_sounding(&notes(keys, 1.0), &[]).1;
            let ended = names.of_ended(&chord(keys, &[])).unwrap().1;
            assert_eq!(while_it_sounds.notes, ended.notes, "{keys:?}");
            assert_eq!(
                while_it_sounds.names.first().map(|name| name.chord),
                ended.names.first().map(|name| name.chord)
            );
        }
    }

    #[test]
    fn what_sounds_is_spelled_in_the_key_of_the_chords_before() {
        let of_fourth = in_a_flat()
            .of_sounding(&notes(&[49, 65, 68, 72], 1.0), &[])
            .1;
        let spelled: Vec<String> = of_fourth.notes.iter().map(ToString::to_string).collect();
        assert_eq!(spelled, ["Db3", "F4", "Ab4", "C5"]);
    }

    #[test]
    fn notes_that_may_be_there_are_known_to_the_naming_in_both_ways() {
        let (keys, possible) = ([48, 64, 67], [71]);
        let told = sounding(&notes(&keys, 1.0), &notes(&possible, 0.3));
        assert_eq!((told.notes.len(), told.possible.len()), (3, 1));
        let mut names = Names::new(AnalysisOptions::default());
        let (_, now) = names.of_sounding(&notes(&keys, 1.0), &notes(&possible, 0.3));
        let ended = names.of_ended(&chord(&keys, &possible)).unwrap().1;
        assert_eq!(now, ended);
    }

    #[test]
    fn silence_has_no_names() {
        let mut names = in_a_flat();
        assert_eq!(names.of_sounding(&[], &[]), (None, Naming::default()));
        assert_eq!(names.of_ended(&chord(&[], &[])), None);
    }
}
