//! The chords of a recording in their places: searched once, written as often as they are asked for.
//!
//! Input: the chords of a recording. Output: [`Interpreted`]: each chord with its names, readings and place; the key and the cadences.
//! Units: chord numbers from 0. Method: one [`Interpretation`] of all chords; names and readings are worked out of what was found when a
//! chord is written. While chords are still coming in, [`Newest`] keeps the last ones.
//! Limits: what was found is kept while it is written, some kilobytes a chord.

use crate::answer::names::Names;
use crate::chart::document::HeardChord;
use crate::chart::entries::{heard_chord, sounding_span};
use crate::chart::expected::expected_of_held;
use crate::chart::pedal::pedal_must_be_down;
use crate::chart::recording::Wording;
use crate::harmony::standins::Expected;
use crate::harmony::{
    AnalysisOptions, Cadence, Given, InPlace, Interpretation, Key, Naming, Style, interpret,
};
use crate::listener::{ChordSpan, NoteSpan};
use std::sync::Arc;

/// The chords of a recording, each in its place.
#[derive(Debug, Clone)]
pub struct Interpreted<'a> {
    spans: &'a [ChordSpan],
    notes: &'a [NoteSpan],
    interpretation: Arc<Interpretation>,
}

impl<'a> Interpreted<'a> {
    pub(super) fn of(
        spans: &'a [ChordSpan],
        notes: &'a [NoteSpan],
        options: &AnalysisOptions,
    ) -> Self {
        let given: Vec<Given> = spans.iter().map(given).collect();
        Self {
            spans,
            notes,
            interpretation: Arc::new(interpret(&given, options)),
        }
    }

    /// The key that holds longest; `None` where no chord was heard.
    pub fn key(&self) -> Option<Key> {
        self.interpretation.longest_key(|at| self.lasts(at))
    }

    /// The same, where it is believed.
    pub fn believed_key(&self) -> Option<Key> {
        self.interpretation
            .longest_believed_key(|at| self.lasts(at))
    }

    fn lasts(&self, at: usize) -> u64 {
        let span = &self.spans[at];
        span.end.get().saturating_sub(span.start.get())
    }

    /// Cadences by first chord.
    pub fn cadences(&self) -> &[Cadence] {
        self.interpretation.cadences()
    }

    /// The chords with their namings, one by one.
    pub fn namings(&self) -> impl Iterator<Item = (&'a ChordSpan, Naming)> {
        let naming = |(at, span)| (span, self.interpretation.naming(at));
        self.spans.iter().enumerate().map(naming)
    }

    /// The chords with their namings and places, one by one.
    pub fn placed(&self) -> PlacedChords<'a> {
        PlacedChords {
            interpreted: self.clone(),
            next: 0,
            first_note: 0,
            ahead: None,
        }
    }

    /// The chords as the document has them, one by one.
    pub fn chords(&self, style: Style) -> ChordsInPlace<'a> {
        ChordsInPlace {
            placed: self.placed(),
            style,
        }
    }
}

/// A chord of a recording with all that is said of it, as values.
#[derive(Debug, Clone)]
pub struct PlacedChord<'a> {
    /// The chord as it was heard.
    pub span: &'a ChordSpan,
    /// True where the pedal must hold what two hands cannot.
    pub pedal: bool,
    /// What it can be called and what it stands for.
    pub naming: Naming,
    /// What it does between its neighbours.
    pub place: InPlace,
    /// What would be expected there, if it is surely a stand-in and the place does not say so.
    pub expected: Option<Expected>,
}

/// The chords of a recording in their places, one by one; those without notes are left out.
#[derive(Debug, Clone)]
pub struct PlacedChords<'a> {
    interpreted: Interpreted<'a>,
    next: usize,
    /// All notes before this one are over.
    first_note: usize,
    /// The naming of the next chord, where it was looked at already.
    ahead: Option<(usize, Naming)>,
}

/// The chords of a recording, written one by one; those without notes are left out.
#[derive(Debug, Clone)]
pub struct ChordsInPlace<'a> {
    placed: PlacedChords<'a>,
    style: Style,
}

impl Iterator for ChordsInPlace<'_> {
    type Item = HeardChord;

    fn next(&mut self) -> Option<HeardChord> {
        loop {
            let placed = self.placed.next()?;
            let PlacedChord {
                span,
                pedal,
                naming,
                place,
                expected,
            } = &placed;
            let chord = heard_chord(span, *pedal, naming, place, expected.as_ref(), self.style);
            if chord.is_some() {
                return chord;
            }
        }
    }
}

impl<'a> Iterator for PlacedChords<'a> {
    type Item = PlacedChord<'a>;

    fn next(&mut self) -> Option<PlacedChord<'a>> {
        let Interpreted {
            spans,
            notes,
            interpretation,
        } = &self.interpreted;
        loop {
            let span: &'a ChordSpan = spans.get(self.next)?;
            let at = self.next;
            self.next += 1;
            let over = |note: &NoteSpan| note.end <= span.start;
            while notes.get(self.first_note).is_some_and(over) {
                self.first_note += 1;
            }
            let pedal = pedal_must_be_down(span, &notes[self.first_note..]);
            let Some(&place) = interpretation.in_place(at) else {
                continue;
            };
            let looked_at = self.ahead.take().filter(|(next, _)| *next == at);
            let naming = looked_at.map_or_else(|| interpretation.naming(at), |(_, naming)| naming);
            let following =
                (at + 1..spans.len()).find(|&next| interpretation.in_place(next).is_some());
            self.ahead = following.map(|next| (next, interpretation.naming(next)));
            let next = self.ahead.as_ref().map(|(_, naming)| naming);
            return Some(PlacedChord {
                span,
                pedal,
                expected: next.and_then(|next| expected_of_held(&naming, next, &place)),
                naming,
                place,
            });
        }
    }
}

/// The last chords while they come in: each is searched once, and written in its place as far as it can be told before the next is heard.
#[derive(Debug, Clone)]
pub struct Newest {
    names: Names,
    style: Style,
}

impl Newest {
    /// Nothing heard yet.
    pub fn new(naming: Wording) -> Self {
        Self {
            names: Names::new(naming.analysis),
            style: naming.style,
        }
    }

    /// Takes a chord that has ended and writes it in its place; `None` if it has no notes.
    pub fn hear(&mut self, span: &ChordSpan) -> Option<HeardChord> {
        let (place, naming) = self.names.of_ended(span)?;
        heard_chord(span, false, &naming, &place, None, self.style)
    }
}

fn given(span: &ChordSpan) -> Given {
    Given::Heard(sounding_span(span))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::harmony::voicing::typed::Typed;
    use crate::listener::Certainty;
    use crate::listener::ChordNote;
    use crate::units::{SamplePos, SampleRate, SampleSpan, Share};

    const SECOND: u64 = SampleRate::INTERNAL.get() as u64;

    /// Chords of one second each.
    fn heard(symbols: &[&str]) -> Vec<ChordSpan> {
        let note = |midi| ChordNote {
            midi,
            strength: Share::ONE,
            confidence: Share::ONE,
            certainty: Certainty::Sure,
        };
        let span = |(nth, symbol): (u64, &&str)| ChordSpan {
            start: SamplePos::new(nth * SECOND),
            end: SamplePos::new((nth + 1) * SECOND),
            notes: {
                let mut notes = Typed::read(&[symbol]).unwrap().sounding.notes;
                notes.sort_by_key(|note| note.midi);
                notes.iter().map(|heard| note(heard.midi)).collect()
            },
            possible: Vec::new(),
        };
        (0..).zip(symbols).map(span).collect()
    }

    fn interpreted(spans: &[ChordSpan]) -> Interpreted<'_> {
        Interpreted::of(spans, &[], &AnalysisOptions::default())
    }

    #[test]
    fn the_key_of_a_recording_is_the_one_that_holds_longest_not_the_one_with_most_chords() {
        let mut symbols = ["Cmaj7", "Am7", "Dm7", "G7"].repeat(25);
        symbols.extend(["Abmaj7", "Fm7", "Bbm7", "Eb7"].repeat(10));
        let mut spans = heard(&symbols);
        let key = |spans: &[ChordSpan]| interpreted(spans).key().map(|key| key.to_string());
        assert_eq!(key(&spans).as_deref(), Some("C major"));
        // the later ones last four seconds each: 160 s for 100
        let mut at = spans[100].start;
        for span in &mut spans[100..] {
            (span.start, span.end) = (at, at + SampleSpan::new(4 * SECOND));
            at = span.end;
        }
        assert_eq!(key(&spans).as_deref(), Some("Ab major"));
        assert_eq!(key(&[]), None);
    }

    #[test]
    fn chords_are_written_in_order_each_at_its_time_and_those_without_notes_are_left_out() {
        let mut spans = heard(&["Cmaj7", "Dm7", "G7", "Cmaj7"]);
        spans[1].notes.clear();
        let written: Vec<HeardChord> = interpreted(&spans).chords(Style::Signs).collect();
        let told: Vec<(f64, &str, &str)> = written
            .iter()
            .map(|chord| {
                let symbol = chord.names[0].symbol.as_str();
                (chord.start.get(), symbol, chord.place.numeral.as_str())
            })
            .collect();
        let expected = [
            (0.0, "C△7", "Imaj7"),
            (2.0, "G7", "V7"),
            (3.0, "C△7", "Imaj7"),
        ];
        assert_eq!(told, expected);
    }

    #[test]
    fn the_newest_chord_is_written_as_the_last_of_all_so_far() {
        let mut newest = Newest::new(Wording::default());
        let spans = heard(&["Cmaj7", "Am7", "Dm7", "G7", "Em7b5", "A7b9", "Dm6"].repeat(2));
        for (at, span) in spans.iter().enumerate() {
            let last = interpreted(&spans[..=at]).chords(Style::default()).last();
            assert_eq!(newest.hear(span), last, "chord {at}");
        }
        let silent = ChordSpan {
            notes: Vec::new(),
            ..spans[0].clone()
        };
        assert_eq!(newest.hear(&silent), None);
    }
}
