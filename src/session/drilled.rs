//! Marks a recording of a drill.
//!
//! Input: a path, and what may have been played in it. Output: [`Drilled`]. Units: seconds from the start of the recording.
//! Method: the recording is heard as `take` hears it, by the rules of a live drill; the targets are then laid along the attempts
//! ([`crate::practice::align`]). Of the sound nothing is kept but what was believed during the attempts.
//! Limits: a recording of one exercise.

use super::recording::hear_source;
use crate::audio::{self, AudioError, SampleSource};
use crate::listener::ListenerOptions;
use crate::practice::align::{MarkedAttempt, Played, mark_attempts};
use crate::practice::{AttemptFinder, MarkRules};
use crate::units::{SampleRate, Seconds};
use std::path::Path;
use std::sync::atomic::AtomicBool;

/// What was marked in a recording.
#[derive(Debug, Clone)]
pub struct Drilled {
    /// The attempts, in order.
    pub attempts: Vec<MarkedAttempt>,
    /// How long the recording is.
    pub length: Seconds,
    /// What is wrong with the recording, in sentences.
    pub warnings: Vec<String>,
}

/// Marks the attempts of a recording; `progress` is called with the share read so far. Ends early once `stop` is set.
///
/// # Errors
/// If the recording cannot be read.
pub fn mark_recording(
    path: &Path,
    listening: &ListenerOptions,
    played: Played,
    rules: &MarkRules,
    stop: &AtomicBool,
    progress: impl FnMut(f64),
) -> Result<Drilled, AudioError> {
    let mut source = audio::open(path)?;
    let mut finder = AttemptFinder::new();
    let mut attempts = Vec::new();
    let listener = hear_source(&mut source, listening, stop, progress, |event| {
        attempts.extend(finder.hear(&event));
    })?;
    attempts.extend(finder.finish());
    Ok(Drilled {
        attempts: mark_attempts(attempts, played, rules),
        length: listener.position().seconds(SampleRate::INTERNAL),
        warnings: source.warnings().iter().map(ToString::to_string).collect(),
    })
}
