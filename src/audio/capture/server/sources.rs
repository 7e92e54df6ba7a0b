//! The microphones behind a sound server, by the names that the system's own settings show.
//!
//! Input: the server. Output: [`Source`]s. Units: rates in Hz.
//! Method: the Linux sound library knows one input for the whole server, but opens each source of it under [`ALSA_NAME`] and the source's name; so
//! sources are listed here and go under that name. Where one is read through that library, the server moves whoever listens to a source that vanishes
//! to another one and says nothing; so [`Presence`] looks for the source, and its stream is told dead once it is gone.
//! Limits: a server that does not answer has no sources. A source that is gone for less than [`LOOK_EVERY`] may not be missed.

use super::super::ring::Counters;
use super::super::watch::Fault;
use super::{ALSA_NAME, Talk};
use crate::units::SampleRate;
use pulseaudio::protocol::{Command, ProtocolError, SourceInfo, SourceInfoList};
use std::sync::Arc;
use std::sync::mpsc::{RecvTimeoutError, Sender, channel};
use std::thread;
use std::time::Duration;

/// How often a source that is heard is looked for.
const LOOK_EVERY: Duration = Duration::from_secs(1);

/// A source of sound that the server passes on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Source {
    /// What it is called in the system's settings.
    pub description: String,
    /// The name under which the sound library opens it.
    pub id: String,
    /// Frames a second.
    pub rate: SampleRate,
    /// Channels.
    pub channels: usize,
    /// True if it is what the computer plays, and no microphone.
    pub is_monitor: bool,
}

/// All sources, microphones first; none where no server answers.
pub fn sources() -> Vec<Source> {
    let listed = ask().unwrap_or_default();
    let mut sources: Vec<Source> = listed.iter().filter_map(source_of).collect();
    sources.sort_by_key(|source| source.is_monitor);
    sources
}

/// Looks for a source as long as this is kept.
pub struct Presence(#[expect(dead_code, reason = "held only to be dropped")] Sender<()>);

impl Presence {
    /// Of the source with this `id`, whose stream has these counters; `None` where there is no thread to be had.
    pub fn of(id: String, counters: Arc<Counters>) -> Option<Self> {
        let (kept, end) = channel();
        let look = move || {
            while let Err(RecvTimeoutError::Timeout) = end.recv_timeout(LOOK_EVERY) {
                // A server that does not answer ends the stream itself.
                if ask().is_ok_and(|listed| {
                    !listed.iter().any(|info| id_of(info).as_ref() == Some(&id))
                }) {
                    counters.set_fault(Fault::DeviceGone);
                    return;
                }
            }
        };
        let thread = thread::Builder::new().name("input watch".to_owned());
        thread.spawn(look).is_ok().then_some(Self(kept))
    }
}

fn id_of(info: &SourceInfo) -> Option<String> {
    Some(format!("{ALSA_NAME}:{}", info.name.to_str().ok()?))
}

fn source_of(info: &SourceInfo) -> Option<Source> {
    let name = info.name.to_str().ok()?;
    let description = info
        .description
        .as_ref()
        .and_then(|text| text.to_str().ok());
    Some(Source {
        description: description.unwrap_or(name).to_owned(),
        id: id_of(info)?,
        rate: SampleRate::new(info.sample_spec.sample_rate).ok()?,
        channels: usize::from(info.sample_spec.channels),
        is_monitor: info.monitor_of_sink_index.is_some(),
    })
}

fn ask() -> Result<SourceInfoList, ProtocolError> {
    Talk::begin()?.ask(&Command::GetSourceInfoList)
}
