//! A long progression, analysed passage by passage.
//!
//! Input: the chords of a recording. Output: each chord with its names, readings and place; the key and the cadences.
//! Units: chord numbers from 0. Method: harmony's best path over one passage at a time, with some chords before and
//! after it that are analysed again with the next, so that a passage's first and last chord see their neighbours.
//! Limits: a local key is decided from what lies within [`AROUND`] chords of the passage; memory is that of one passage.

use crate::answer::names::AROUND;
use crate::chart::document::HeardChord;
use crate::chart::entries::{heard_chord, sounding_span};
use crate::chart::pedal::pedal_must_be_down;
use crate::harmony::{
    AnalysedChord, AnalysisOptions, Cadence, ChordForAnalysis, analyse_progression_with,
};
use crate::listener::{ChordSpan, NoteSpan};
use std::collections::HashMap;
use std::ops::Range;
use std::vec;

/// Chords of one passage: some minutes of playing, and some hundred kilobytes of names.
const PASSAGE: usize = 96;

/// The key and the cadences of a recording.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Outline {
    /// The key that holds longest.
    pub key: Option<String>,
    /// Cadences by first chord.
    pub cadences: Vec<Cadence>,
}

/// The chords of a recording, named passage by passage.
pub struct ChordsInPlace<'a> {
    spans: &'a [ChordSpan],
    notes: &'a [NoteSpan],
    options: AnalysisOptions,
    next: usize,
    /// All notes before this one are over.
    first_note: usize,
    passage: vec::IntoIter<AnalysedChord>,
}

impl<'a> ChordsInPlace<'a> {
    pub(super) fn new(
        spans: &'a [ChordSpan],
        notes: &'a [NoteSpan],
        options: AnalysisOptions,
    ) -> Self {
        Self {
            spans,
            notes,
            options,
            next: 0,
            first_note: 0,
            passage: Vec::new().into_iter(),
        }
    }
}

impl Iterator for ChordsInPlace<'_> {
    type Item = HeardChord;

    fn next(&mut self) -> Option<HeardChord> {
        let span = self.spans.get(self.next)?;
        if self.passage.len() == 0 {
            let own = self.next..(self.next + PASSAGE).min(self.spans.len());
            self.passage = analyse(self.spans, &own, self.options).0.into_iter();
        }
        self.next += 1;
        let over = |note: &NoteSpan| note.end <= span.start;
        while self.notes.get(self.first_note).is_some_and(over) {
            self.first_note += 1;
        }
        let pedal = pedal_must_be_down(span, &self.notes[self.first_note..]);
        self.passage
            .next()
            .map(|analysed| heard_chord(span, pedal, analysed))
    }
}

/// The key and the cadences of `spans`.
pub(super) fn outline(spans: &[ChordSpan], options: AnalysisOptions) -> Outline {
    let mut cadences = Vec::new();
    let mut held: HashMap<String, u64> = HashMap::new();
    for first in (0..spans.len()).step_by(PASSAGE) {
        let own = first..(first + PASSAGE).min(spans.len());
        let (chords, of_passage) = analyse(spans, &own, options);
        cadences.extend(of_passage);
        for (chord, span) in chords.iter().zip(&spans[own]) {
            *held.entry(chord.key.clone()).or_default() += span.end.0.saturating_sub(span.start.0);
        }
    }
    // The name decides between equals, so that the same recording always gets the same key.
    let key = held
        .into_iter()
        .max_by(|a, b| a.1.cmp(&b.1).then_with(|| b.0.cmp(&a.0)))
        .map(|(key, _)| key);
    Outline { key, cadences }
}

/// The chords `own` in their place, and the cadences that begin among them.
fn analyse(
    spans: &[ChordSpan],
    own: &Range<usize>,
    options: AnalysisOptions,
) -> (Vec<AnalysedChord>, Vec<Cadence>) {
    let around = own.start.saturating_sub(AROUND)..(own.end + AROUND).min(spans.len());
    let heard: Vec<ChordForAnalysis> = spans[around.clone()]
        .iter()
        .map(|span| ChordForAnalysis {
            sounding: sounding_span(span),
        })
        .collect();
    let progression = analyse_progression_with(&heard, &options);
    let chords = progression
        .chords
        .into_iter()
        .skip(own.start - around.start)
        .take(own.len())
        .collect();
    let cadences = progression
        .cadences
        .into_iter()
        .map(|cadence| Cadence {
            first: cadence.first + around.start,
            last: cadence.last + around.start,
            ..cadence
        })
        .filter(|cadence| own.contains(&cadence.first))
        .collect();
    (chords, cadences)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chart::newest::Newest;
    use crate::harmony::voicing::typed::Typed;
    use crate::listener::Certainty;
    use crate::listener::ChordNote;
    use crate::units::{FrameCount, SampleRate, Share};

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
            start: FrameCount(nth * SECOND),
            end: FrameCount((nth + 1) * SECOND),
            notes: {
                let mut notes = Typed::read(&[symbol]).unwrap().sounding.notes;
                notes.sort_by_key(|note| note.midi);
                notes.iter().map(|heard| note(heard.midi)).collect()
            },
            possible: Vec::new(),
        };
        (0..).zip(symbols).map(span).collect()
    }

    /// Seven chords, so that they lie otherwise over each border of two passages; the last three go to D minor.
    const CHORUS: [&str; 7] = ["Cmaj7", "Am7", "Dm7", "G7", "Em7b5", "A7b9", "Dm6"];

    fn choruses(count: usize) -> Vec<&'static str> {
        CHORUS.iter().copied().cycle().take(count).collect()
    }

    fn whole(spans: &[ChordSpan]) -> crate::harmony::Progression {
        let chords: Vec<ChordForAnalysis> = spans
            .iter()
            .map(|span| ChordForAnalysis {
                sounding: sounding_span(span),
            })
            .collect();
        analyse_progression_with(&chords, &AnalysisOptions::default())
    }

    #[test]
    fn a_progression_of_many_passages_is_read_as_if_it_were_one() {
        // shorter than a passage, just one, one more, with a last passage shorter than what is heard around it, and two borders
        for count in [50, PASSAGE, PASSAGE + 1, 2 * PASSAGE + 5, 2 * PASSAGE + 60] {
            let spans = heard(&choruses(count));
            let expected = whole(&spans);
            let read: Vec<HeardChord> =
                ChordsInPlace::new(&spans, &[], AnalysisOptions::default()).collect();
            assert_eq!(read.len(), count);
            for (at, (read, expected)) in read.iter().zip(&expected.chords).enumerate() {
                assert_eq!(read.start.get().round() as usize, at);
                assert_eq!(
                    (&read.place.key, &read.place.numeral, &read.place.function),
                    (&expected.key, &expected.numeral, &expected.function),
                    "chord {at} of {count}"
                );
                assert_eq!(read.place.stands_for, expected.stands_for);
                assert_eq!(read.names, expected.naming.names, "chord {at} of {count}");
                assert_eq!(read.readings, expected.naming.readings);
            }
        }
    }

    #[test]
    fn a_cadence_over_the_border_of_two_passages_is_told_once_with_its_place_in_the_whole() {
        let count = 3 * PASSAGE;
        let spans = heard(&choruses(count));
        let cadences = outline(&spans, AnalysisOptions::default()).cadences;
        assert_eq!(cadences, whole(&spans).cadences);
        assert!(cadences.is_sorted_by_key(|cadence| cadence.first));
        // each chorus goes home by two-five-one from its third chord, and to D minor from its fifth
        let expected: Vec<(usize, usize, &str)> = (0..count - 2)
            .filter_map(|at| match at % CHORUS.len() {
                4 => Some((at, at + 2, "D minor")),
                _ => None,
            })
            .collect();
        let to_d_minor: Vec<(usize, usize, &str)> = cadences
            .iter()
            .filter(|cadence| cadence.kind == "two-five-one")
            .map(|cadence| (cadence.first, cadence.last, cadence.to.as_str()))
            .collect();
        assert_eq!(to_d_minor, expected);
        let over = |border: usize| {
            let over = |c: &&(usize, usize, &str)| c.0 < border && border <= c.1;
            expected.iter().filter(over).count()
        };
        let borders = [PASSAGE, 2 * PASSAGE];
        assert!(
            borders.iter().any(|&border| over(border) > 0),
            "one of the cadences lies over a border"
        );
    }

    #[test]
    fn a_key_that_comes_with_a_new_passage_is_heard_from_its_first_chord() {
        let mut symbols: Vec<&str> = ["Cmaj7", "Am7", "Dm7", "G7"]
            .into_iter()
            .cycle()
            .take(PASSAGE)
            .collect();
        symbols.extend(["Ebm7", "Ab7", "Dbmaj7", "Bbm7"].iter().cycle().take(40));
        let spans = heard(&symbols);
        let keys: Vec<String> = ChordsInPlace::new(&spans, &[], AnalysisOptions::default())
            .map(|chord| chord.place.key)
            .collect();
        assert!(keys[..PASSAGE].iter().all(|key| key == "C major"));
        assert!(keys[PASSAGE..].iter().all(|key| key == "Db major"));
    }

    #[test]
    fn the_key_of_a_recording_is_the_one_that_holds_longest_not_the_one_with_most_chords() {
        let mut symbols = ["Cmaj7", "Am7", "Dm7", "G7"].repeat(25);
        symbols.extend(["Abmaj7", "Fm7", "Bbm7", "Eb7"].repeat(10));
        let mut spans = heard(&symbols);
        let key = |spans: &[ChordSpan]| outline(spans, AnalysisOptions::default()).key;
        assert_eq!(key(&spans).as_deref(), Some("C major"));
        // the later ones last four seconds each: 160 s for 100
        let mut at = spans[100].start;
        for span in &mut spans[100..] {
            (span.start, span.end) = (at, at + FrameCount(4 * SECOND));
            at = span.end;
        }
        assert_eq!(key(&spans).as_deref(), Some("Ab major"));
        assert_eq!(key(&[]), None);
    }

    #[test]
    fn the_newest_chord_is_read_as_the_last_of_the_whole() {
        let symbols = choruses(AROUND + 1);
        let spans = heard(&symbols);
        let expected = whole(&spans).chords.pop().unwrap();
        let mut newest = Newest::new(AnalysisOptions::default());
        let newest = spans.iter().map(|span| newest.push(span)).last().unwrap();
        assert_eq!(newest.names, expected.naming.names);
        assert_eq!(newest.place.numeral, expected.numeral);
        assert_eq!(newest.start.get().round() as usize, AROUND);
    }
}
