//! A long progression, analysed passage by passage.
//!
//! Input: the chords of a recording. Output: each chord with its names, readings and place; the key and the cadences.
//! Units: chord numbers from 0. Method: harmony's best path over one passage at a time, with some chords before and
//! after it that are analysed again with the next, so that a passage's first and last chord see their neighbours.
//! Limits: a local key is decided from what lies within [`AROUND`] chords of the passage; memory is that of one passage.

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
/// Chords of the neighbouring passages that are heard with it: longer than any cadence.
pub const AROUND: usize = 16;

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

/// The last of `spans` in its place, as far as it can be told before the next chord is heard; only the chords shortly before it are looked at.
pub fn newest(spans: &[ChordSpan], options: AnalysisOptions) -> Option<HeardChord> {
    let span = spans.last()?;
    let own = spans.len() - 1..spans.len();
    analyse(spans, &own, options)
        .0
        .pop()
        .map(|analysed| heard_chord(span, false, analysed))
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
