//! A sound input of the sound server, recorded through the server's own socket.
//!
//! Input: an input's name; the environment (`PULSE_SOURCE`). Output: blocks for the [`Writer`], faults for the [`Counters`].
//! Units: frames at the rate of the server's input; bytes on the socket.
//! Method: whoever waits for sound reads the socket, and sleeps through packets that cannot be all it waits for. ALSA's way to the same server has a second thread that takes each packet in pieces, wakes itself over a pipe at each
//! and then the reader: some 5,500 system calls a second behind a player that had asked for little delay. The input's own rate and channels are asked for,
//! so that the server resamples nothing; an input asked for by name is not exchanged for another where it goes away, its recording ends.
//! Limits: where the server is elsewhere, where the user's own ALSA configuration says which server or input is
//! meant, or where the server refuses, [`open`] gives nothing, and ALSA's way is left. What a server throws away because this program was stopped for
//! longer than the server keeps sound (some ten seconds) is not told.

use super::super::InputInfo;
use super::super::direct::PERIOD;
use super::super::inputs::quietly;
use super::super::ring::{Counters, Writer};
use super::super::watch::Fault;
use super::arrivals::{Arrivals, WAITED};
use super::inbox::{Inbox, Packet};
use super::{ALSA_NAME, Talk, folder};
use crate::units::SampleRate;
use alsa::{Direction, Output, PCM};
use pulseaudio::protocol::stream::{BufferAttr, StreamFlags};
use pulseaudio::protocol::{ChannelMap, ChannelPosition, Command, CreateRecordStreamReply};
use pulseaudio::protocol::{
    Prop, Props, ProtocolError, RecordStreamParams, SampleFormat, SampleSpec,
};
use std::env;
use std::ffi::CString;
use std::io::{self, ErrorKind, Read};
use std::os::unix::net::UnixStream;
use std::path::PathBuf;
use std::sync::Arc;
use std::thread;
use std::time::{Duration, Instant};

/// How ALSA's way to such a server calls itself.
const PLUGIN: &str = "ALSA <-> PulseAudio PCM";
/// This share of a period is waited for where any sound is; smaller pieces, as a server sends them where a player has asked it for little delay, are not
/// worth a reading.
const ENOUGH: f64 = 0.9;
/// A reading that brings more than this was late, and there is more to come at once: the server hands on what it has kept.
const LATE: Duration = Duration::from_millis(93);
/// The names under which ALSA opens the server's default input.
const DEFAULTS: [&str; 2] = ["default", "pulse"];

/// An input of the server, opened and not yet read.
pub struct Recorded {
    socket: UnixStream,
    /// What came before it was read.
    came: Vec<u8>,
    kind: SampleSpec,
}

/// Opens the input of the sound server that `info` leads to; nothing where there is no such server, or not on this way.
pub fn open(info: &InputInfo) -> Option<Recorded> {
    let name = info
        .id
        .strip_prefix(ALSA_NAME)
        .and_then(|rest| rest.strip_prefix(':'));
    if name.is_none() && !DEFAULTS.contains(&info.id.as_str()) {
        return None;
    }
    if configured_by_the_user() || !leads_to_server(info) {
        return None;
    }
    let wish = SampleSpec {
        format: SampleFormat::Float32Le,
        channels: u8::try_from(info.channels).ok()?,
        sample_rate: info.rate.get(),
    };
    let recorded = Recorded::begin(name, wish).ok()?;
    // The length of a piece was asked for in bytes, which are another time at another rate or with other channels.
    match recorded.kind {
        own if own == wish => Some(recorded),
        own => Recorded::begin(name, own).ok(),
    }
}

impl Recorded {
    fn begin(name: Option<&str>, wish: SampleSpec) -> Result<Self, ProtocolError> {
        let mut talk = Talk::begin()?;
        let answer: CreateRecordStreamReply =
            talk.ask(&Command::CreateRecordStream(wanted(name, wish)))?;
        let kind = answer.sample_spec;
        if kind.format != wish.format
            || kind.channels == 0
            || SampleRate::new(kind.sample_rate).is_err()
        {
            return Err(io::Error::from(ErrorKind::InvalidData).into());
        }
        let (socket, came) = talk.end();
        Ok(Self { socket, came, kind })
    }

    /// `info` with what the server delivers.
    pub fn describe(&self, info: &InputInfo) -> InputInfo {
        InputInfo {
            rate: SampleRate::new(self.kind.sample_rate).unwrap_or(info.rate),
            channels: usize::from(self.kind.channels),
            format: "32-bit float".to_owned(),
            ..info.clone()
        }
    }

    /// Begins to hand on its sound.
    pub fn start(self, writer: Writer, counters: Arc<Counters>) -> Recording {
        let Self { socket, came, kind } = self;
        let mut recording = Recording {
            socket,
            patience: None,
            inbox: Inbox::default(),
            arrivals: Arrivals::default(),
            block: Vec::with_capacity(Inbox::SAMPLES),
            kind,
            enough: samples_in(PERIOD.mul_f64(ENOUGH), kind) / usize::from(kind.channels),
            writer,
            counters,
            is_over: false,
        };
        let taken = take_what_came(&came, &mut recording.inbox, &mut recording.block);
        recording.hand_on(taken);
        recording
    }
}

/// An input that is recorded while it is waited for.
pub struct Recording {
    socket: UnixStream,
    /// How long the socket is waited for; `None` before it is.
    patience: Option<Duration>,
    inbox: Inbox,
    arrivals: Arrivals,
    /// Samples of what has come.
    block: Vec<f32>,
    kind: SampleSpec,
    /// Frames that are waited for where no more are asked for.
    enough: usize,
    writer: Writer,
    counters: Arc<Counters>,
    is_over: bool,
}

impl Recording {
    /// Waits until `frames` are there (none: about a period), or for about `limit`, and hands on all that is there. Takes no memory and no lock.
    pub fn wait(&mut self, frames: usize, limit: Duration) {
        let until = Instant::now() + limit;
        let frames = frames.max(self.enough);
        let mut is_late = false;
        while is_late || self.writer.waiting() < frames {
            let left = until.saturating_duration_since(Instant::now());
            if left.is_zero() {
                return;
            }
            if self.is_over {
                return thread::sleep(left);
            }
            // What comes meanwhile waits in the socket.
            let missing = self.time_of(frames.saturating_sub(self.writer.waiting()));
            let asleep = self.arrivals.sleep(missing, Instant::now());
            if !asleep.is_zero() {
                thread::sleep(asleep.min(left));
            }
            is_late = self.take(limit) > LATE;
        }
    }

    fn time_of(&self, frames: usize) -> Duration {
        Duration::from_secs_f64(frames as f64 / f64::from(self.kind.sample_rate))
    }

    /// Waits for a packet, for `limit` at most; gives how much sound has come.
    fn take(&mut self, limit: Duration) -> Duration {
        let asked = Instant::now();
        let taken = self
            .be_patient(limit)
            .and_then(|()| take(&self.socket, &mut self.inbox, &mut self.block));
        let length = |samples: usize| self.time_of(samples / usize::from(self.kind.channels));
        let came = length(self.block.len());
        if let Ok(packet @ 1..) = taken {
            let now = Instant::now();
            // One that a server held up is longer, and says nothing of the next.
            let packet = length(packet).min(PERIOD);
            self.arrivals.came(came, packet, now, now - asked > WAITED);
        }
        self.hand_on(taken);
        came
    }

    /// Tells the system only where it changes.
    fn be_patient(&mut self, limit: Duration) -> Result<(), Fault> {
        if self.patience != Some(limit) {
            let set = self.socket.set_read_timeout(Some(limit));
            set.map_err(|_| Fault::SoundSystem)?;
            self.patience = Some(limit);
        }
        Ok(())
    }

    fn hand_on(&mut self, taken: Result<usize, Fault>) {
        let channels = usize::from(self.kind.channels);
        if let Err(fault) = taken.and_then(|_| whole_frames(&self.block, channels)) {
            self.counters.set_fault(fault);
            self.is_over = true;
            return;
        }
        if !self.block.is_empty() {
            self.writer.on_block(&self.block);
            self.block.clear();
        }
    }
}

/// Records an input as it is itself; `wish` stands where it has nothing of its own. All [`PERIOD`] of sound are handed over as soon as they are there.
fn wanted(name: Option<&str>, wish: SampleSpec) -> RecordStreamParams {
    let text = |text: &str| CString::new(text).ok();
    let mut props = Props::new();
    props.set(Prop::MediaName, c"what is played");
    RecordStreamParams {
        sample_spec: wish,
        channel_map: match wish.channels {
            1 => ChannelMap::mono(),
            2 => ChannelMap::stereo(),
            more => ChannelMap::new((0..more).map(|_| ChannelPosition::Aux0)),
        },
        // one that the user's environment names is where the recording begins; the server may go on with another
        source_name: match name {
            Some(name) => text(name),
            None => env::var("PULSE_SOURCE").ok().as_deref().and_then(text),
        },
        buffer_attr: BufferAttr {
            fragment_size: (samples_in(PERIOD, wish) * size_of::<f32>()) as u32,
            ..BufferAttr::default()
        },
        flags: StreamFlags {
            fix_rate: true,
            fix_channels: true,
            no_move: name.is_some(),
            // the server's own wake-ups are then as far apart as a fragment is long; adjust_latency halves them
            early_requests: true,
            ..StreamFlags::default()
        },
        props,
        ..RecordStreamParams::default()
    }
}

/// How many samples of all channels so much sound has.
fn samples_in(time: Duration, kind: SampleSpec) -> usize {
    (f64::from(kind.sample_rate) * time.as_secs_f64()) as usize * usize::from(kind.channels)
}

fn whole_frames(block: &[f32], channels: usize) -> Result<(), Fault> {
    if block.len().is_multiple_of(channels) {
        Ok(())
    } else {
        Err(Fault::SoundSystem)
    }
}

/// Adds the samples to `block` that came with the answer, before anything was waited for; gives how many the last packet had.
fn take_what_came(came: &[u8], inbox: &mut Inbox, block: &mut Vec<f32>) -> Result<usize, Fault> {
    let space = inbox.space();
    let space = space.get_mut(..came.len()).ok_or(Fault::SoundSystem)?;
    space.copy_from_slice(came);
    inbox.came(came.len());
    hand_over(inbox, block)
}

/// Waits for what comes and adds its samples to `block`; gives how many the last packet had, 0 where none is whole. Takes no memory and no lock.
fn take(mut socket: &UnixStream, inbox: &mut Inbox, block: &mut Vec<f32>) -> Result<usize, Fault> {
    match socket.read(inbox.space()) {
        Ok(0) => return Err(Fault::SoundSystem),
        Ok(came) => inbox.came(came),
        Err(error) => {
            return match error.kind() {
                ErrorKind::WouldBlock | ErrorKind::TimedOut | ErrorKind::Interrupted => Ok(0),
                _ => Err(Fault::SoundSystem),
            };
        }
    }
    hand_over(inbox, block)
}

fn hand_over(inbox: &mut Inbox, block: &mut Vec<f32>) -> Result<usize, Fault> {
    let (mut killed, mut last) = (false, 0);
    let whole = inbox.empty(|packet| match packet {
        Packet::Sound(bytes) => {
            let samples = bytes.chunks_exact(size_of::<f32>());
            last = samples.len();
            block.extend(
                samples.map(|bytes| f32::from_le_bytes([bytes[0], bytes[1], bytes[2], bytes[3]])),
            );
        }
        Packet::RecordingEnded => killed = true,
        Packet::Other => {}
    });
    match (killed, whole) {
        (true, _) => Err(Fault::DeviceGone),
        (false, Ok(())) => Ok(last),
        (false, Err(_)) => Err(Fault::SoundSystem),
    }
}

/// True if the input is ALSA's way to the server.
fn leads_to_server(info: &InputInfo) -> bool {
    let asked = quietly(|| {
        let pcm = PCM::new(&info.id, Direction::Capture, true)?;
        let mut told = Output::buffer_open()?;
        pcm.dump(&mut told)?;
        Ok::<_, alsa::Error>(told.to_string().contains(PLUGIN))
    });
    asked.unwrap_or(false)
}

/// True if an ALSA configuration of the user says which server or which of its inputs is meant.
fn configured_by_the_user() -> bool {
    let home = env::home_dir().unwrap_or_default();
    let files = match env::var_os("ALSA_CONFIG_PATH") {
        Some(path) => vec![PathBuf::from(path)],
        None => vec![
            PathBuf::from("/etc/asound.conf"),
            home.join(".asoundrc"),
            folder("XDG_CONFIG_HOME")
                .unwrap_or_else(|| home.join(".config"))
                .join("alsa/asoundrc"),
        ],
    };
    files
        .into_iter()
        .filter_map(|file| std::fs::read_to_string(file).ok())
        .any(|text| says_which(&text))
}

fn says_which(configuration: &str) -> bool {
    configuration
        .lines()
        .filter(|line| !line.trim_start().starts_with('#'))
        .flat_map(|line| line.split(|c: char| !c.is_alphanumeric()))
        .any(|word| matches!(word, "device" | "server"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_configuration_that_names_an_input_or_a_server_is_left_to_alsa() {
        assert!(says_which(
            "pcm.!default {\n type pulse\n device \"lid.monitor\"\n}"
        ));
        assert!(says_which("pcm.!default { type pulse server studio }"));
        assert!(!says_which(
            "# device of old\npcm.!default { type pulse }\n"
        ));
    }

    #[test]
    fn a_server_that_goes_away_is_a_fault_of_the_sound_system() {
        let (ours, theirs) = UnixStream::pair().unwrap();
        drop(theirs);
        let outcome = take(&ours, &mut Inbox::default(), &mut Vec::new());
        assert_eq!(outcome, Err(Fault::SoundSystem));
    }
}
