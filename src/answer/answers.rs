//! Events in, one settled answer out: the same for the screen, for lines, for tests and for measurements.
//!
//! Input: the listener's [`Event`]s. Output: the [`Answer`] to show now, the keys that sound, the names of chords that have ended.
//! Units: times in frames at the internal rate.
//! Method: joins [`Names`] and [`Settle`]; time is that of the events, no clock is read.
//! Limits: all events of a frame must have come before [`Answers::catch_up`].

use super::names::Names;
use super::settle::{Answer, Settle};
use crate::harmony::{AnalysedChord, AnalysisOptions};
use crate::listener::{ChordNote, ChordState, Event};
use crate::units::FrameCount;

/// What sounds now, and what was last told of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Answers {
    names: Names,
    settle: Settle,
    /// What was last said to sound.
    sounding: Option<ChordState>,
    /// The names of its notes, as the chord that they make spells them.
    note_names: Vec<String>,
}

impl Answers {
    /// Nothing heard yet.
    pub fn new(options: AnalysisOptions) -> Self {
        Self {
            names: Names::new(options),
            settle: Settle::default(),
            sounding: None,
            note_names: Vec::new(),
        }
    }

    /// Takes what the listener tells; of a chord that has ended, gives its final names.
    pub fn hear(&mut self, event: &Event) -> Option<AnalysedChord> {
        match event {
            Event::Frame(frame) => self.settle.frame(frame),
            Event::Sounding(state) => {
                let naming = self.names.of_sounding(&state.notes, &state.possible);
                self.note_names.clone_from(&naming.notes);
                self.settle.hear(state, naming);
                self.sounding = Some(state.clone());
            }
            Event::Chord(span) => return Some(self.names.of_ended(span)),
            Event::Note(_) => {}
        }
        None
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

    /// The names of these notes.
    pub fn note_names(&self) -> &[String] {
        &self.note_names
    }

    /// How chords are named.
    pub fn options(&self) -> AnalysisOptions {
        self.names.options()
    }

    /// Names from now on in another key or style, and what is shown again.
    pub fn name_with(&mut self, options: AnalysisOptions) {
        self.names.name_with(options);
        let names = &self.names;
        self.settle
            .rename(|notes, possible| names.of_sounding(notes, possible));
        if let Some(state) = &self.sounding {
            self.note_names = names.of_sounding(&state.notes, &state.possible).notes;
        }
    }
}

/// Which answers are final, each told once: for whoever wants a chord and not its coming and going.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Settled {
    /// The time up to which chords were told.
    told: Option<FrameCount>,
    /// The answer that was told last.
    last: Option<(FrameCount, FrameCount)>,
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
    pub fn was_missed(&mut self, start: FrameCount) -> bool {
        let missed = self.told.is_none_or(|told| start > told);
        if missed {
            self.told = Some(start);
        }
        missed
    }
}
