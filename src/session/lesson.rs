//! A lesson: a pass over the keys of a piano, from which it is learned.
//!
//! Input: the sound of keys played one after another, block by block. Output: a [`PianoProfile`].
//! Units: mono samples at [`SampleRate::INTERNAL`]; cents, keys. Method: once all is heard, the piano's pitch is found from the pass as a
//! whole, the listener says at that pitch which key was played when, and [`crate::piano`] measures it.
//! Limits: at most `LONGEST_MINUTES`; keys that the listener does not hear are not learned.

use super::recording::hear_samples;
use crate::listener::{Event, Listener, ListenerOptions};
use crate::notes::{Model, NetworkEstimator};
use crate::piano::{Lesson, NothingLearned, PianoProfile, Strike, learn};
use crate::spectrum::{estimate_a4, tuning::wrapped};
use crate::units::{Hertz, MidiNote, SampleRate, log_odds};
use std::collections::BTreeSet;

/// Longer passes are refused.
const LONGEST_MINUTES: usize = 30;
/// The piano's pitch is asked of stretches of this length.
const STRETCH_SECONDS: usize = 10;

/// A pass that goes on for longer than anybody needs for 88 keys.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("the pass is longer than {LONGEST_MINUTES} minutes")]
pub struct TooLong;

/// A pass over the keys while it is heard.
pub struct Pass {
    model: Model,
    listener: Listener,
    samples: Vec<f32>,
    keys: BTreeSet<MidiNote>,
    events: Vec<Event>,
}

impl Pass {
    /// Nothing heard yet; notes are heard by `model`.
    pub fn new(model: Model) -> Self {
        let estimator = Box::new(NetworkEstimator::new(&model));
        Self {
            model,
            listener: Listener::with_estimator(ListenerOptions::default(), estimator),
            samples: Vec::new(),
            keys: BTreeSet::new(),
            events: Vec::new(),
        }
    }

    /// Hears the next block; says which key ended last, if one has.
    ///
    /// # Errors
    /// If the pass has become too long.
    pub fn hear(&mut self, block: &[f32]) -> Result<Option<MidiNote>, TooLong> {
        let most = LONGEST_MINUTES * 60 * SampleRate::INTERNAL.get() as usize;
        if self.samples.len() + block.len() > most {
            return Err(TooLong);
        }
        self.samples.extend_from_slice(block);
        self.listener.push(block, &mut self.events);
        let mut last = None;
        for event in self.events.drain(..) {
            if let Event::Note(span) = event {
                last = Some(span.note.midi);
                self.keys.insert(span.note.midi);
            }
        }
        Ok(last)
    }

    /// From now on tells of keys less often, to save work; what is learned does not change.
    pub fn hear_every(&mut self, hops: u32) {
        self.listener.hear_every(hops);
    }

    /// Keys heard so far.
    pub fn keys(&self) -> usize {
        self.keys.len()
    }

    /// Keys between the lowest and the highest heard so far that were not, lowest first.
    pub fn skipped(&self) -> Vec<MidiNote> {
        let (Some(first), Some(last)) = (self.keys.first(), self.keys.last()) else {
            return Vec::new();
        };
        let between = (first.get()..last.get()).filter_map(|number| MidiNote::new(number).ok());
        between.filter(|key| !self.keys.contains(key)).collect()
    }

    /// Ends the pass and measures the keys.
    ///
    /// # Errors
    /// If none could be measured.
    pub fn learned(self, name: &str) -> Result<PianoProfile, NothingLearned> {
        let a4 = pitch_of(&self.samples).unwrap_or(Hertz::CONCERT_A4);
        let lesson = Lesson {
            strikes: strikes(&self.samples, a4, &self.model),
            samples: self.samples,
            a4,
        };
        learn(name, &lesson)
    }
}

/// The pitch of A4 on which the pass as a whole agrees best: of what each stretch of it says, the one to which the others are nearest,
/// a semitone more or less being the same; `None` if none says anything.
///
/// A follower that goes along from the lowest key would start from the flattest strings, take their stretch for the piano's pitch, and may end
/// a semitone off; over the whole pass the middle octaves have the majority.
fn pitch_of(samples: &[f32]) -> Option<Hertz> {
    let start = Hertz::CONCERT_A4;
    let stretches = samples.chunks(STRETCH_SECONDS * SampleRate::INTERNAL.get() as usize);
    let found: Vec<Hertz> = stretches
        .filter_map(|stretch| estimate_a4(stretch, start))
        .map(|estimate| estimate.a4)
        .collect();
    let away = |a: Hertz, b: Hertz| wrapped(a.cents_above(b).get()).abs();
    let from_all = |a: Hertz| found.iter().map(|&b| away(a, b)).sum::<f64>();
    let best = found.iter().copied();
    best.min_by(|&a, &b| from_all(a).total_cmp(&from_all(b)))
}

/// Which keys are heard when in a pass on a piano of this pitch.
fn strikes(samples: &[f32], a4: Hertz, model: &Model) -> Vec<Strike> {
    let options = ListenerOptions {
        a4: Some(a4),
        found_a4: Some(a4),
        ..ListenerOptions::default()
    };
    let mut listener = Listener::with_estimator(options, Box::new(NetworkEstimator::new(model)));
    listener.hold_pitch();
    let mut strikes = Vec::new();
    hear_samples(&mut listener, samples, |event| {
        if let Event::Note(span) = event {
            strikes.push(Strike {
                midi: span.note.midi,
                start: span.start,
                end: span.end,
                log_odds: f64::from(log_odds(span.note.confidence.get())),
            });
        }
    });
    strikes
}
