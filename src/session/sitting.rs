//! All that was played from the start of listening to its end, for the chart of it.
//!
//! Input: the [`News`] of listening, the player's marks. Output: what was [`Heard`].
//! Units: times in frames at the internal rate from the start of listening. Method: notes, chords and the pedal are kept as they end, in memory alone;
//! an input that fails meanwhile is noted with its time.
//! Limits: about 3 MB an hour; the sound itself is not kept.

use crate::chart::marked::Marked;
use crate::chart::recording::{Heard, HeardSoFar, Wording};
use crate::listener::{Event, ListenerOptions};
use crate::session::live::News;
use crate::session::recording::provenance;
use crate::units::{Hertz, SamplePos, SampleRate};

/// What was heard since listening began.
#[derive(Debug, Clone)]
pub struct Sitting {
    heard: HeardSoFar,
    input: String,
    at: SamplePos,
    a4: Option<Hertz>,
    marks: Vec<Marked>,
}

impl Sitting {
    /// Nothing heard yet.
    pub fn new(listening: &ListenerOptions, naming: Wording) -> Self {
        let mut heard = HeardSoFar::new("", naming);
        heard.heard_by(provenance(listening, &naming));
        Self {
            heard,
            input: String::new(),
            at: SamplePos::START,
            a4: None,
            marks: Vec::new(),
        }
    }

    /// Keeps what the news tell.
    pub fn follow(&mut self, news: &News) {
        match news {
            News::Input(name) if self.input.is_empty() => self.input.clone_from(name),
            News::Heard(events) => events.iter().for_each(|event| self.hear(event)),
            News::Trouble(sentence) => {
                let at = self.at.seconds(SampleRate::INTERNAL).get();
                self.heard.warn(format!("after {at:.0} s: {sentence}"));
            }
            _ => {}
        }
    }

    fn hear(&mut self, event: &Event) {
        match event {
            Event::Frame(frame) => {
                self.at = frame.at;
                self.a4 = frame.a4.or(self.a4);
            }
            Event::Chord(span) => self.at = self.at.max(span.end),
            Event::Note(span) => self.at = self.at.max(span.end),
            Event::Struck(_) | Event::Sounding(_) => return,
        }
        self.heard.keep(event.clone());
    }

    /// Keeps what the player has marked, by time.
    pub fn mark(&mut self, marks: Vec<Marked>) {
        self.marks = marks;
    }

    /// Ends it: what was heard, under the name of the input.
    pub fn end(self) -> Heard {
        let mut heard = self.heard.end(self.at, self.a4);
        heard.file = self.input;
        heard.marks = self.marks;
        heard
    }
}
