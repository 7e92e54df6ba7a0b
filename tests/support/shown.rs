//! What the live screen would show of a recording, in sample time: the listener and the answers, fed without waiting.

use lidprop::answer::Answers;
use lidprop::answer::settle::Standing;
use lidprop::harmony::{AnalysisOptions, Style};
use lidprop::listener::{Listener, ListenerOptions};
use lidprop::spectrum::HOP_SAMPLES;
use lidprop::units::{SamplePos, SampleRate};

/// A change of the shown answer.
#[derive(Debug, Clone, PartialEq)]
pub struct Shown {
    /// Seconds from the start of the sound.
    pub at: f64,
    /// The best name (`None`: it says that there is none) and how final it is; `None` where nothing is shown.
    pub answer: Option<(Option<String>, Standing)>,
    /// Seconds of the strike of the chord that is shown.
    pub struck: Option<f64>,
}

/// All changes of the answer while `samples`, and then `silence` seconds of nothing, are heard.
pub fn shown(samples: &[f32], silence: f64) -> Vec<Shown> {
    let mut changes: Vec<Shown> = Vec::new();
    listen(samples, silence, |answers, at| {
        let answer = answers.shown();
        let now = Shown {
            at,
            answer: answer.map(|answer| {
                (
                    answer
                        .best()
                        .map(|name| name.chord.symbol(Style::default())),
                    answer.standing,
                )
            }),
            struck: answer.map(|answer| seconds(answer.struck)),
        };
        let same = |last: &Shown| (&last.answer, last.struck) == (&now.answer, now.struck);
        if !changes.last().is_some_and(same) {
            changes.push(now);
        }
    });
    changes
}

/// Hears `samples`, and then `silence` seconds of nothing; after each hop looks at the answers, and at how many seconds have been heard.
pub fn listen(samples: &[f32], silence: f64, mut look: impl FnMut(&Answers, f64)) {
    let mut listener = Listener::new(ListenerOptions::default());
    let mut answers = Answers::new(AnalysisOptions::default());
    let after = vec![0.0; (silence * f64::from(SampleRate::INTERNAL.get())) as usize];
    let mut events = Vec::new();
    let blocks = samples.chunks(HOP_SAMPLES);
    for block in blocks.chain(after.chunks(HOP_SAMPLES)) {
        listener.push(block, &mut events);
        for event in events.drain(..) {
            answers.hear(&event);
        }
        answers.catch_up();
        look(&answers, seconds(listener.position()));
    }
}

fn seconds(at: SamplePos) -> f64 {
    at.seconds(SampleRate::INTERNAL).get()
}
