//! Reads one recording through the listener.
//!
//! Input: a path. Output: what was [`Heard`]. Units: progress as a share of the file, 0 to 1.
//! Method: block by block; but for the beginning, of which the piano's pitch is asked first, nothing of the sound is kept, so memory does
//! not grow with the length of the file.
//! Limits: a recording whose length the file does not state reports no progress.

use crate::audio::{self, AudioError, BlockState, SampleSource};
use crate::chart::recording::Heard;
use crate::harmony::AnalysisOptions;
use crate::listener::{Event, Listener, ListenerOptions};
use crate::spectrum::estimate_a4;
use crate::units::{FrameCount, SampleRate};
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};

/// How much of a recording's beginning is heard beforehand for the pitch of its piano: 20 s.
const TUNED_BY: FrameCount = FrameCount(20 * SampleRate::INTERNAL.get() as u64);

/// Samples of it that are heard at once.
const BLOCK: usize = 4096;

/// Reads the whole recording; `progress` is called with the share read so far.
///
/// Ends early, with what was heard until then, once `stop` is set.
///
/// # Errors
/// If the recording cannot be read.
pub fn read_recording(
    path: &Path,
    listening: &ListenerOptions,
    naming: AnalysisOptions,
    stop: &AtomicBool,
    mut progress: impl FnMut(f64),
) -> Result<Heard, AudioError> {
    let mut source = audio::open(path)?;
    let (mut beginning, mut block) = (Vec::new(), Vec::new());
    let mut state = BlockState::More;
    while state != BlockState::Ended && beginning.len() < TUNED_BY.0 as usize {
        state = source.next_block(&mut block)?;
        beginning.extend_from_slice(&block);
    }
    let found_a4 = estimate_a4(&beginning, listening.expected_a4()).map(|found| found.a4);
    let mut listener = Listener::new(ListenerOptions {
        found_a4,
        ..listening.clone()
    });
    let mut heard = Heard::new(path.display().to_string(), naming);
    let mut events: Vec<Event> = Vec::new();
    let length = source.info().length;
    let mut hear = |block: &[f32]| {
        listener.push(block, &mut events);
        events.drain(..).for_each(|event| heard.keep(event));
        if let Some(length) = length.filter(|length| length.0 > 0) {
            progress((listener.position().0 as f64 / length.0 as f64).min(1.0));
        }
    };
    let stopped = || stop.load(Ordering::Relaxed);
    for block in beginning.chunks(BLOCK).take_while(|_| !stopped()) {
        hear(block);
    }
    drop(beginning);
    while state != BlockState::Ended && !stopped() {
        state = source.next_block(&mut block)?;
        hear(&block);
    }
    listener.finish(&mut events);
    events.drain(..).for_each(|event| heard.keep(event));
    heard.close(listener.position(), listener.a4());
    heard.warnings = source.warnings().iter().map(ToString::to_string).collect();
    Ok(heard)
}
