//! Reads one recording through the listener.
//!
//! Input: a path, or samples. Output: what was [`Heard`], or every [`Event`]. Units: progress as a share of the file, 0 to 1.
//! Method: block by block; but for the beginning, of which the piano's pitch is asked first, nothing of the sound is kept, so memory does
//! not grow with the length of the file.
//! Limits: a recording whose length the file does not state reports no progress.

use crate::audio::{self, AudioError, BlockState, PartOfRecording, SampleSource};
use crate::chart::document::{Provenance, StatedOptions, Word};
use crate::chart::recording::{Heard, HeardSoFar, Wording};
use crate::harmony::{Spelling, Style};
use crate::listener::{Event, Listener, ListenerOptions};
use crate::notes::Model;
use crate::playing::StatedRhythm;
use crate::session::done::content_hash;
use crate::session::kept_sound::{Keep, KeptSource};
use crate::spectrum::estimate_a4;
use crate::units::{Cents, Part, SamplePos, SampleRate, SampleSpan, hundredths};
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};

/// How much of a recording's beginning is heard beforehand for the pitch of its piano: 20 s.
const TUNED_BY: SampleSpan = SampleSpan::new(20 * SampleRate::INTERNAL.get() as u64);

/// Samples that are heard at once.
const BLOCK: usize = 4096;

/// How a recording is read.
#[derive(Debug, Clone, Default)]
pub struct RecordingOptions {
    /// Which piano it is.
    pub listening: ListenerOptions,
    /// How chords are named.
    pub naming: Wording,
    /// How far the recording sounds off what was fingered, as the user has stated it.
    pub sounding_off: Option<Cents>,
    /// What the user has stated of the rhythm.
    pub rhythm: StatedRhythm,
    /// Which part is read: all of it unless the user says so. Times stay those of the whole.
    pub part: Part,
    /// Whether the sound itself is kept.
    pub keep: Keep,
    /// Whether the result says by its hash which file it is of; that reads the file once more.
    pub identify: bool,
}

/// Reads the whole recording; `progress` is called with the share read so far.
///
/// Ends early, with what was heard until then, once `stop` is set.
///
/// # Errors
/// If the recording cannot be read.
pub fn read_recording(
    path: &Path,
    options: &RecordingOptions,
    stop: &AtomicBool,
    progress: impl FnMut(f64),
) -> Result<Heard, AudioError> {
    let part = PartOfRecording::new(audio::open(path)?, options.part);
    // A file that opens and cannot be read fails below, with the reason.
    let identity = match options.identify {
        true => content_hash(path).ok().flatten(),
        false => None,
    };
    let mut source = KeptSource::new(part, options.keep);
    let mut heard = HeardSoFar::new(path.display().to_string(), options.naming);
    heard.reads(options.part);
    let listener = hear_source(&mut source, &options.listening, stop, progress, |event| {
        heard.keep(event);
    })?;
    if let Some(off) = options.sounding_off {
        heard.sounds_off(off);
    }
    heard.in_rhythm(options.rhythm);
    heard.heard_by(Provenance {
        sha256: identity,
        ..stated(options)
    });
    for warning in source.warnings() {
        heard.warn(warning.to_string());
    }
    if let Some(sound) = source.finish() {
        heard.keep_sound(sound);
    }
    Ok(heard.end(listener.position(), listener.a4()))
}

/// Hears a source from beginning to end: `tell` gets each event in order, `progress` the share read so far. Gives the listener as it is then.
///
/// Ends early once `stop` is set.
///
/// # Errors
/// If the source cannot be read.
pub fn hear_source(
    source: &mut impl SampleSource,
    listening: &ListenerOptions,
    stop: &AtomicBool,
    mut progress: impl FnMut(f64),
    mut tell: impl FnMut(Event),
) -> Result<Listener, AudioError> {
    let (mut beginning, mut block) = (Vec::new(), Vec::new());
    let mut state = BlockState::More;
    while state != BlockState::Ended && beginning.len() < TUNED_BY.get() as usize {
        state = source.next_block(&mut block)?;
        beginning.extend_from_slice(&block);
    }
    // the same of every format, whatever its blocks are
    let tuned_by = &beginning[..beginning.len().min(TUNED_BY.get() as usize)];
    let found_a4 = estimate_a4(tuned_by, listening.expected_a4()).map(|found| found.a4);
    let mut listener = Listener::new(ListenerOptions {
        found_a4,
        looks_ahead: true,
        ..listening.clone()
    });
    let mut events = Vec::new();
    let length = source.info().length;
    let mut hear = |block: &[f32]| {
        hear_block(&mut listener, block, &mut events, &mut tell);
        if let Some(length) = length.filter(|length| length.get() > 0) {
            progress((listener.position().get() as f64 / length.get() as f64).min(1.0));
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
    hear_end(&mut listener, &mut events, tell);
    Ok(listener)
}

/// Hears all of `samples` (mono at [`SampleRate::INTERNAL`]) with `listener`, block by block, and ends the sound; `tell` gets each event in
/// order.
pub fn hear_samples(listener: &mut Listener, samples: &[f32], mut tell: impl FnMut(Event)) {
    let mut events = Vec::new();
    for block in samples.chunks(BLOCK) {
        hear_block(listener, block, &mut events, &mut tell);
    }
    hear_end(listener, &mut events, tell);
}

/// All that a listener tells of `samples`.
pub fn events_of(samples: &[f32], options: ListenerOptions) -> Vec<Event> {
    let mut events = Vec::new();
    let mut listener = Listener::new(options);
    hear_samples(&mut listener, samples, |event| events.push(event));
    events
}

fn hear_block(
    listener: &mut Listener,
    block: &[f32],
    events: &mut Vec<Event>,
    tell: impl FnMut(Event),
) {
    listener.push(block, events);
    events.drain(..).for_each(tell);
}

fn hear_end(listener: &mut Listener, events: &mut Vec<Event>, tell: impl FnMut(Event)) {
    listener.finish(events);
    events.drain(..).for_each(tell);
}

/// What reads a recording with these options, but for which recording it is.
pub(super) fn stated(options: &RecordingOptions) -> Provenance {
    let time = |position: SamplePos| position.seconds(SampleRate::INTERNAL);
    let part = options.part;
    let provenance = provenance(&options.listening, &options.naming);
    Provenance {
        options: StatedOptions {
            from: (part.from > SamplePos::START).then(|| time(part.from)),
            to: part.to.map(time),
            half_steps: options
                .sounding_off
                .map(|off| hundredths(off.get() / 100.0)),
            bpm: options.rhythm.bpm,
            meter: options.rhythm.meter,
            pickup: options.rhythm.pickup,
            ..provenance.options
        },
        ..provenance
    }
}

/// What hears a recording when it is asked to listen and to name so.
pub(super) fn provenance(listening: &ListenerOptions, naming: &Wording) -> Provenance {
    Provenance {
        version: env!("CARGO_PKG_VERSION").to_owned(),
        model: Model::embedded_id().to_owned(),
        options: StatedOptions {
            a4_hz: listening.a4.map(|a4| hundredths(a4.get())),
            piano: listening.piano.as_ref().map(|piano| piano.name.clone()),
            key: naming.analysis.key.map(|key| key.to_string()),
            scale: naming.analysis.scale.map(|scale| scale.name().into()),
            style: unusual(naming.style, Style::name),
            spelling: unusual(naming.analysis.spelling, Spelling::name),
            ..StatedOptions::default()
        },
        sha256: None,
    }
}

/// The word of a choice that is not the usual one.
fn unusual<T: Default + PartialEq>(chosen: T, name: fn(T) -> &'static str) -> Option<Word> {
    (chosen != T::default()).then(|| name(chosen).into())
}
