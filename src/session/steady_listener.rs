//! A listener that goes on by itself after a fault of its own.
//!
//! Input: mono samples at the internal rate. Output: the [`Event`]s of a [`Listener`], and a sentence where one has failed.
//! Units: times in frames at the internal rate from the first sample, however many listeners have heard it since.
//! Method: whatever panics in the listener ends that listener ([`contained`]); a fresh one, tuned as the last one was, hears the next block.
//! Limits: the block in which the fault showed is not heard again, and what sounded then is told as what has just begun.

use super::contained::{Fault, contained, please_report};
use crate::listener::{Event, Listener, ListenerOptions};
use crate::units::{Hertz, SamplePos, SampleSpan};

/// Makes a listener.
type MakeListener = Box<dyn FnMut(ListenerOptions) -> Listener + Send>;

/// A listener, and how to make the next one.
pub struct SteadyListener {
    listener: Listener,
    options: ListenerOptions,
    make: MakeListener,
    /// How much was heard before this listener began.
    begun: SamplePos,
    /// How much was heard in all.
    heard: SamplePos,
    hear_every: u32,
    /// The fault that was told last.
    told: Option<Fault>,
}

impl SteadyListener {
    /// Begins to listen.
    pub fn new(options: ListenerOptions) -> Self {
        Self::making(options, Box::new(Listener::new))
    }

    fn making(options: ListenerOptions, mut make: MakeListener) -> Self {
        Self {
            listener: make(options.clone()),
            options,
            make,
            begun: SamplePos::START,
            heard: SamplePos::START,
            hear_every: 1,
            told: None,
        }
    }

    /// As [`Listener::hear_every`].
    pub fn hear_every(&mut self, frames: u32) {
        self.hear_every = frames;
        self.listener.hear_every(frames);
    }

    /// As [`Listener::a4`].
    pub fn a4(&self) -> Option<Hertz> {
        self.listener.a4()
    }

    /// As [`Listener::until_next_frame`].
    pub fn until_next_frame(&self) -> SampleSpan {
        self.listener.until_next_frame()
    }

    /// How much was heard in all.
    pub fn position(&self) -> SamplePos {
        self.heard
    }

    /// As [`Listener::push`]; gives a sentence if a fault showed that was not told just before.
    #[must_use]
    pub fn push(&mut self, samples: &[f32], events: &mut Vec<Event>) -> Option<String> {
        self.heard += SampleSpan::new(samples.len() as u64);
        self.watched(events, |listener, events| listener.push(samples, events))
    }

    /// As [`Listener::finish`]; gives a sentence if a fault showed that was not told just before.
    #[must_use]
    pub fn finish(&mut self, events: &mut Vec<Event>) -> Option<String> {
        self.watched(events, Listener::finish)
    }

    fn watched(
        &mut self,
        events: &mut Vec<Event>,
        work: impl FnOnce(&mut Listener, &mut Vec<Event>),
    ) -> Option<String> {
        let before = events.len();
        let fault = contained(|| work(&mut self.listener, events)).err();
        for event in &mut events[before..] {
            event.delay(self.begun.since_start());
        }
        let fault = fault?;
        self.begin_afresh();
        let sentence = format!(
            "listening was interrupted by {fault}; it goes on by itself; {}",
            please_report()
        );
        let is_new = self.told.as_ref() != Some(&fault);
        self.told = Some(fault);
        is_new.then_some(sentence)
    }

    fn begin_afresh(&mut self) {
        let options = ListenerOptions {
            found_a4: self.listener.a4().or(self.options.found_a4),
            ..self.options.clone()
        };
        self.listener = (self.make)(options);
        self.listener.hear_every(self.hear_every);
        self.begun = self.heard;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::notes::{NoteEstimator, NoteEvidence};
    use crate::spectrum::{HOP_SAMPLES, SpectrumFrame};
    use crate::units::{MidiNote, SampleRate};

    /// Hears one key in each frame and fails in some of them.
    struct OneKey {
        key: usize,
        frames: u32,
        fails_in: Vec<u32>,
    }

    impl NoteEstimator for OneKey {
        fn step(&mut self, _: &SpectrumFrame, out: &mut NoteEvidence) {
            self.frames += 1;
            if self.fails_in.contains(&self.frames) {
                panic!("frame {} cannot be heard", self.frames);
            }
            *out = NoteEvidence::default();
            out.sounding[self.key] = 0.99;
            out.onset[self.key] = if self.frames == 1 { 0.99 } else { 0.0 };
        }

        fn reset(&mut self) {}
    }

    /// Every listener after the first hears the key above that of the one before, and the first ones fail in these of their frames.
    fn failing(faults: Vec<Vec<u32>>) -> SteadyListener {
        let mut faults = faults.into_iter();
        let mut key = 38;
        SteadyListener::making(
            ListenerOptions::default(),
            Box::new(move |options| {
                key += 1;
                let estimator = OneKey {
                    key,
                    frames: 0,
                    fails_in: faults.next().unwrap_or_default(),
                };
                Listener::with_estimator(options, Box::new(estimator))
            }),
        )
    }

    /// A hop of sound that is no silence.
    fn hop() -> Vec<f32> {
        (0..HOP_SAMPLES)
            .map(|n| if n % 2 == 0 { 0.1 } else { -0.1 })
            .collect()
    }

    fn frame_times(events: &[Event]) -> Vec<u64> {
        let at = |event: &Event| match event {
            Event::Frame(frame) => Some(frame.at.get()),
            _ => None,
        };
        events.iter().filter_map(at).collect()
    }

    #[test]
    fn after_a_fault_a_fresh_listener_goes_on_in_the_same_time() {
        let mut steady = failing(vec![vec![40]]);
        let (mut events, mut told) = (Vec::new(), Vec::new());
        for nth in 1..=120 {
            told.extend(steady.push(&hop(), &mut events).map(|said| (nth, said)));
        }
        let (nth, sentence) = &told[0];
        assert_eq!((told.len(), *nth), (1, 40));
        assert!(sentence.contains("frame 40 cannot be heard"), "{sentence}");
        assert!(sentence.contains("please report it"), "{sentence}");
        assert_eq!(sentence.lines().count(), 1);

        let times = frame_times(&events);
        let expected: Vec<u64> = (1..=120)
            .filter(|&hop| hop != 40)
            .map(|hop| hop * HOP_SAMPLES as u64)
            .collect();
        assert_eq!(times, expected, "each frame but the lost one, in its time");

        assert_eq!(steady.finish(&mut events), None);
        let fault_at = SamplePos::new(40 * HOP_SAMPLES as u64);
        let last = events.iter().rev().find_map(|event| match event {
            Event::Note(span) => Some(span.clone()),
            _ => None,
        });
        let last = last.expect("the fresh listener has heard its key");
        assert_eq!(last.note.midi, MidiNote::from_piano_index(40));
        assert!(last.start >= fault_at && last.end > last.start, "{last:?}");
        let hundredth = SampleSpan::new(SampleRate::INTERNAL.get() as u64 / 100);
        assert!(last.start < fault_at + SampleSpan::new(10 * hundredth.get()));
    }

    #[test]
    fn a_fault_that_comes_again_is_told_once_and_another_one_is_told() {
        let mut steady = failing(vec![vec![3], vec![3], vec![3], vec![5]]);
        let mut events = Vec::new();
        let told: Vec<String> = (0..20)
            .filter_map(|_| steady.push(&hop(), &mut events))
            .collect();
        assert_eq!(told.len(), 2, "{told:?}");
        assert!(told[0].contains("frame 3") && told[1].contains("frame 5"));
        assert_eq!(frame_times(&events).len(), 20 - 4);
    }
}
