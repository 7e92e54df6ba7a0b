//! The microphones behind a sound server of Linux, by the names that the system's own settings show.
//!
//! Input: the server's socket. Output: [`Source`]s. Units: rates in Hz.
//! Method: the server's own protocol (`pulseaudio`), which PulseAudio speaks and PipeWire too. The Linux sound library knows one input for the whole
//! server, but opens each source of it under [`ALSA_NAME`] and the source's name; so sources are listed here and read as every other input is.
//! A server moves whoever listens to a source that vanishes to another one and says nothing; so [`Presence`] looks for the source, and its stream is told
//! dead once it is gone.
//! Limits: a server on this machine only. One that does not answer within [`PATIENCE`] has no sources. A source that is gone for less than
//! [`LOOK_EVERY`] may not be missed.

use super::ring::Counters;
use super::watch::Fault;
use crate::units::SampleRate;
use pulseaudio::protocol::{self, AuthParams, AuthReply, Command, Prop, Props};
use pulseaudio::protocol::{ProtocolError, SetClientNameReply, SourceInfo, SourceInfoList};
use std::io::BufReader;
use std::os::unix::net::UnixStream;
use std::sync::Arc;
use std::sync::mpsc::{RecvTimeoutError, Sender, channel};
use std::thread;
use std::time::Duration;

/// What the Linux sound library calls the server.
pub const ALSA_NAME: &str = "pulse";
/// How long the server may take for each answer.
const PATIENCE: Duration = Duration::from_millis(500);

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

/// Greets the server, says who asks, and asks.
fn ask() -> Result<SourceInfoList, ProtocolError> {
    let Some(path) = pulseaudio::socket_path_from_env() else {
        return Ok(SourceInfoList::default());
    };
    let socket = UnixStream::connect(path)?;
    socket.set_read_timeout(Some(PATIENCE))?;
    socket.set_write_timeout(Some(PATIENCE))?;
    let mut socket = BufReader::new(socket);
    let cookie = pulseaudio::cookie_path_from_env().and_then(|path| std::fs::read(path).ok());
    let greeting = Command::Auth(AuthParams {
        version: protocol::MAX_VERSION,
        supports_shm: false,
        supports_memfd: false,
        cookie: cookie.unwrap_or_default(),
    });
    protocol::write_command_message(socket.get_mut(), 0, &greeting, protocol::MAX_VERSION)?;
    let (_, reply) = protocol::read_reply_message::<AuthReply>(&mut socket, protocol::MAX_VERSION)?;
    let version = protocol::MAX_VERSION.min(reply.version);
    let mut who = Props::new();
    who.set(Prop::ApplicationName, c"lidprop");
    protocol::write_command_message(socket.get_mut(), 1, &Command::SetClientName(who), version)?;
    protocol::read_reply_message::<SetClientNameReply>(&mut socket, version)?;
    protocol::write_command_message(socket.get_mut(), 2, &Command::GetSourceInfoList, version)?;
    let (_, sources) = protocol::read_reply_message::<SourceInfoList>(&mut socket, version)?;
    Ok(sources)
}
