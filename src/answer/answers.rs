//! Events in, one settled answer out: the same for the screen, for lines, for tests and for measurements.
//!
//! Input: the listener's [`Event`]s. Output: the [`Answer`] to show now, the keys that sound, the names of chords that have ended, the harmony so far where
//! music is played (see [`crate::playing::so_far`]).
//! Units: times in frames at the internal rate.
//! Method: joins [`Names`] and [`Settle`]; time is that of the events, no clock is read.
//! Limits: all events of a frame must have come before [`Answers::catch_up`].

use super::names::Names;
use super::settle::{Answer, Settle};
use crate::harmony::{AnalysisOptions, InPlace, NamedNote, Naming};
use crate::listener::{ChordNote, ChordState, Event, NoteSpan};
use crate::playing::so_far::HarmonySoFar;
use crate::playing::{PlayedNote, Stated};
use crate::units::{SamplePos, SampleRate, Seconds};

/// What sounds now, and what was last told of it.
#[derive(Debug, Clone)]
pub struct Answers {
    names: Names,
    settle: Settle,
    /// What was last said to sound.
    sounding: Option<ChordState>,
    /// Its notes, as the chord that they make spells them.
    note_names: Vec<NamedNote>,
    harmony: HarmonySoFar,
}

impl Answers {
    /// Nothing heard yet.
    pub fn new(options: AnalysisOptions) -> Self {
        Self {
            names: Names::new(options),
            settle: Settle::default(),
            sounding: None,
            note_names: Vec::new(),
            harmony: HarmonySoFar::new(stated(options)),
        }
    }

    /// Takes what the listener tells; of a chord that has ended, gives its place and its final names, if it has notes.
    pub fn hear(&mut self, event: &Event) -> Option<(InPlace, Naming)> {
        follow_harmony(&mut self.harmony, event);
        match event {
            Event::Frame(frame) => self.settle.frame(frame),
            Event::Sounding(state) => {
                let named = self.names.of_sounding(&state.notes, &state.possible);
                self.note_names.clone_from(&named.1.notes);
                self.settle.hear(state, named);
                self.sounding = Some(state.clone());
            }
            Event::Chord(span) => return self.names.of_ended(span),
            Event::Struck(_) | Event::Note(_) => {}
        }
        None
    }

    /// The sound has ended: what is open of the harmony has settled.
    pub fn end(&mut self) {
        self.harmony.end();
    }

    /// The harmony so far, where music is played and not chords held.
    pub fn harmony(&self) -> &HarmonySoFar {
        &self.harmony
    }

    /// Weighs what was heard so far; to be called once all events of the last frame have been taken.
    pub fn catch_up(&mut self) {
        self.settle.catch_up();
    }

    /// The answer to show now.
    pub fn shown(&self) -> Option<&Answer> {
        self.settle.shown()
    }

    /// The notes that sound now; unlike the answer they follow at once.
    pub fn sounding(&self) -> &[ChordNote] {
        self.sounding.as_ref().map_or(&[], |state| &state.notes)
    }

    /// These notes, as the chord that they make spells them.
    pub fn note_names(&self) -> &[NamedNote] {
        &self.note_names
    }

    /// How chords are named.
    pub fn options(&self) -> AnalysisOptions {
        self.names.options()
    }

    /// Names from now on in another key or spelling, and what is shown again.
    pub fn name_with(&mut self, options: AnalysisOptions) {
        self.names.name_with(options);
        self.harmony.state(stated(options));
        let names = &self.names;
        self.settle
            .rename(|notes, possible| names.of_sounding(notes, possible));
        if let Some(state) = &self.sounding {
            let (_, naming) = names.of_sounding(&state.notes, &state.possible);
            self.note_names = naming.notes;
        }
    }
}

/// Tells `harmony` what the listener tells, as far as it is about playing.
pub fn follow_harmony(harmony: &mut HarmonySoFar, event: &Event) {
    match event {
        Event::Frame(frame) => harmony.reach(seconds(frame.at)),
        Event::Struck(strike) => {
            harmony.struck(strike.key, seconds(strike.at), strike.probability);
        }
        Event::Note(span) => harmony.ended(played_note(span)),
        Event::Sounding(_) | Event::Chord(_) => {}
    }
}

/// How playing is read where chords are named so.
pub fn stated(options: AnalysisOptions) -> Stated {
    Stated {
        key: options.key,
        spelling: options.spelling,
        ..Stated::default()
    }
}

fn seconds(at: SamplePos) -> Seconds {
    at.seconds(SampleRate::INTERNAL)
}

/// A note as [`crate::playing`] reads it.
pub(crate) fn played_note(span: &NoteSpan) -> PlayedNote {
    PlayedNote {
        midi: span.note.midi,
        start: seconds(span.start),
        end: seconds(span.end),
        strength: span.note.strength,
        confidence: span.note.confidence,
    }
}

/// Which answers are final, each told once: for whoever wants a chord and not its coming and going.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Settled {
    /// The time up to which chords were told.
    told: Option<SamplePos>,
    /// The answer that was told last.
    last: Option<(SamplePos, SamplePos)>,
}

impl Settled {
    /// The answer that is shown, if it has settled and was not told under this name.
    pub fn newly<'a>(&mut self, answers: &'a Answers) -> Option<&'a Answer> {
        let answer = answers.shown().filter(|answer| answer.is_settled())?;
        let (struck, since, _) = answer.state();
        if self.last == Some((struck, since)) {
            return None;
        }
        self.last = Some((struck, since));
        self.told = self.told.max(Some(since));
        Some(answer)
    }

    /// True of a chord that has ended and never settled: neither it nor a later one was told.
    pub fn was_missed(&mut self, start: SamplePos) -> bool {
        let missed = self.told.is_none_or(|told| start > told);
        if missed {
            self.told = Some(start);
        }
        missed
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::harmony::{Key, Style};
    use crate::listener::{Certainty, ChordSpan, FrameReport};
    use crate::notes::NoteEvidence;
    use crate::units::{MidiNote, SampleRate, Share};

    const D_MINOR_7: &[u8] = &[50, 60, 65, 69];
    const G_7: &[u8] = &[43, 59, 62, 65];

    fn at(milliseconds: u64) -> SamplePos {
        SamplePos::new(milliseconds * u64::from(SampleRate::INTERNAL.get()) / 1000)
    }

    fn notes(keys: &[u8]) -> Vec<ChordNote> {
        let note = |&key| ChordNote {
            midi: MidiNote::new(key).unwrap(),
            strength: Share::ONE,
            confidence: Share::ONE,
            certainty: Certainty::Sure,
        };
        keys.iter().map(note).collect()
    }

    fn sounds(start: u64, now: u64, keys: &[u8], settled: bool) -> Event {
        Event::Sounding(ChordState {
            start: at(start),
            at: at(now),
            notes: notes(keys),
            possible: Vec::new(),
            settled,
        })
    }

    /// A frame in which these keys sound.
    fn frame(now: u64, keys: &[u8]) -> Event {
        let mut evidence = NoteEvidence::default();
        keys.iter()
            .for_each(|&key| evidence.sounding[usize::from(key - 21)] = 0.9);
        Event::Frame(FrameReport {
            at: at(now),
            rms: 0.1,
            evidence,
            chroma: [0.0; 12],
            a4: None,
        })
    }

    /// Hears events, and gives the names of answers that settle meanwhile, with the start of their chords.
    fn told(answers: &mut Answers, settled: &mut Settled, events: &[Event]) -> Vec<(String, u64)> {
        let mut told = Vec::new();
        for event in events {
            answers.hear(event);
            answers.catch_up();
            told.extend(settled.newly(answers).map(|answer| {
                let best = answer.best().map(|name| name.chord.symbol(Style::Letters));
                (best.unwrap_or_default(), answer.start.get())
            }));
        }
        told
    }

    #[test]
    fn a_chord_is_told_once_and_when_it_has_settled() {
        let (mut answers, mut settled) =
            (Answers::new(AnalysisOptions::default()), Settled::default());
        let early = [
            frame(1_000, D_MINOR_7),
            sounds(950, 1_000, D_MINOR_7, false),
        ];
        assert_eq!(told(&mut answers, &mut settled, &early), []);
        assert!(answers.shown().is_some(), "it is shown, as provisional");
        let later = [
            frame(1_100, D_MINOR_7),
            frame(1_120, D_MINOR_7),
            sounds(940, 1_200, D_MINOR_7, true),
            frame(1_220, D_MINOR_7),
        ];
        assert_eq!(
            told(&mut answers, &mut settled, &later),
            [("Dm7".to_owned(), at(950).get())]
        );
        let next = [
            frame(2_080, G_7),
            sounds(2_000, 2_100, G_7, true),
            frame(2_120, G_7),
        ];
        assert_eq!(
            told(&mut answers, &mut settled, &next),
            [("G7".to_owned(), at(2_000).get())]
        );
        assert!(!settled.was_missed(at(940)), "its end is no news");
    }

    #[test]
    fn a_chord_that_never_settled_is_told_at_its_end_but_not_after_a_later_one() {
        let mut settled = Settled::default();
        assert!(settled.was_missed(at(500)));
        assert!(!settled.was_missed(at(500)), "once");
        let mut answers = Answers::new(AnalysisOptions::default());
        let later = [
            frame(2_080, G_7),
            sounds(2_000, 2_100, G_7, true),
            frame(2_120, G_7),
        ];
        assert_eq!(told(&mut answers, &mut settled, &later).len(), 1);
        assert!(!settled.was_missed(at(1_500)));
        assert!(settled.was_missed(at(3_000)));
    }

    #[test]
    fn what_sounds_follows_at_once_and_its_names_follow_the_key() {
        let mut answers = Answers::new(AnalysisOptions::default());
        answers.hear(&sounds(0, 100, &[49, 65, 68], false));
        assert_eq!(answers.sounding().len(), 3);
        for (key, bass) in [("Db", "Db3"), ("C#", "C#3")] {
            answers.name_with(AnalysisOptions {
                key: key.parse::<Key>().ok(),
                ..AnalysisOptions::default()
            });
            assert_eq!(answers.note_names()[0].to_string(), bass);
        }
        answers.hear(&sounds(0, 200, &[], false));
        assert!(answers.sounding().is_empty());
    }

    #[test]
    fn only_a_chord_that_has_ended_has_final_names() {
        let mut answers = Answers::new(AnalysisOptions::default());
        assert_eq!(answers.hear(&frame(10, &[])), None);
        assert_eq!(answers.hear(&sounds(0, 100, G_7, true)), None);
        let ended = answers.hear(&Event::Chord(ChordSpan {
            start: at(0),
            end: at(900),
            notes: notes(G_7),
            possible: Vec::new(),
        }));
        let names = ended.expect("it has ended").1.names;
        assert_eq!(names[0].chord.symbol(Style::Letters), "G7");
    }
}
