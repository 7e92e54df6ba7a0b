//! A sound input of a sound server on this computer, read from the server's own socket.
//!
//! Input: the environment, as the server's own programs read it (`PULSE_SERVER`, `PULSE_RUNTIME_PATH` or `XDG_RUNTIME_DIR`; `PULSE_SOURCE`;
//! `PULSE_COOKIE`). Output: blocks for the [`Writer`], faults for the [`Counters`].
//! Units: frames at the rate of the server's input; bytes on the socket.
//! Method: PulseAudio's native protocol ([`messages`]), which PipeWire speaks as well; one thread reads the socket. ALSA's way to the same server
//! has a second thread that takes each packet in pieces, wakes itself over a pipe at each and then the reader: some 5,500 system calls a second
//! behind a player that had asked for little delay. The input's own rate and channels are asked for, so that the server resamples nothing.
//! Limits: a socket on this computer only. Where the server is elsewhere, where the user's own ALSA configuration says which server or input is
//! meant, or where the server refuses, [`open`] gives nothing, and ALSA's way is left. What a server throws away because this program was stopped for
//! longer than the server keeps sound (some ten seconds) is not told.

mod messages;

use super::InputInfo;
use super::direct::PERIOD;
use super::inputs::quietly;
use super::reading::Reading;
use super::ring::{Counters, Writer};
use super::watch::Fault;
use crate::units::SampleRate;
use alsa::{Direction, Output, PCM};
use messages::{Inbox, Packet, Recording, Reply, Server, Wanted};
use std::env;
use std::ffi::OsStr;
use std::io::{self, ErrorKind, Read, Write};
use std::os::unix::net::UnixStream;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

/// This share of a period is handed on at once; smaller pieces, as a server sends them where a player has asked it for little delay, wait for the next,
/// since each would wake the listening thread.
const ENOUGH: f64 = 0.9;
/// How long the server may take for an answer.
const ANSWERS_WITHIN: Duration = Duration::from_secs(2);
/// How often the end is looked for while nothing comes.
const PATIENCE: Duration = Duration::from_millis(100);
/// How ALSA's way to such a server calls itself.
const PLUGIN: &str = "ALSA <-> PulseAudio PCM";
/// The names under which ALSA opens the server's default input, and what stands before the name of another one.
const DEFAULTS: [&str; 2] = ["default", "pulse"];
const NAMED: &str = "pulse:";
/// Bytes that prove to the server who connects, where the socket does not.
const COOKIE: usize = 256;

/// An input of the server, opened and not yet read.
pub struct Source {
    socket: UnixStream,
    recording: Recording,
}

/// Opens the input of the sound server that `info` leads to; nothing where there is no such server, or not on this way.
pub fn open(info: &InputInfo) -> Option<Source> {
    let name = info.id.strip_prefix(NAMED);
    if name.is_none() && !DEFAULTS.contains(&info.id.as_str()) {
        return None;
    }
    if configured_by_the_user() || !leads_to_server(info) {
        return None;
    }
    let (socket, wish) = (socket_path()?, Recording::of(info));
    let source = Source::connect(&socket, name, wish).ok()?;
    // The length of a piece was asked for in bytes, which are another time at another rate or with other channels.
    match source.recording {
        own if own == wish => Some(source),
        own => Source::connect(&socket, name, own).ok(),
    }
}

impl Source {
    fn connect(socket: &Path, name: Option<&str>, wish: Recording) -> io::Result<Self> {
        let mut socket = UnixStream::connect(socket)?;
        socket.set_read_timeout(Some(ANSWERS_WITHIN))?;
        socket.set_write_timeout(Some(ANSWERS_WITHIN))?;
        let mut server = Server::default();
        ask(&mut socket, &server.introduce(&cookie()))?;
        ask(&mut socket, &server.name_program("lidprop"))?;
        let wanted = match name {
            Some(name) => Wanted::This(name.to_owned()),
            None => env::var("PULSE_SOURCE").map_or(Wanted::Default, Wanted::First),
        };
        let created = ask(&mut socket, &server.record(&wanted, wish, PERIOD))?;
        let recording = messages::recording(&created)
            .filter(|recording| recording.channels > 0 && SampleRate::new(recording.rate).is_ok())
            .ok_or(ErrorKind::InvalidData)?;
        socket.set_read_timeout(Some(PATIENCE))?;
        Ok(Self { socket, recording })
    }

    /// `info` with what the server delivers.
    pub fn describe(&self, info: &InputInfo) -> InputInfo {
        InputInfo {
            rate: SampleRate::new(self.recording.rate).unwrap_or(info.rate),
            channels: self.recording.channels,
            format: "32-bit float".to_owned(),
            ..info.clone()
        }
    }

    /// Reads it on a thread of its own.
    ///
    /// # Errors
    /// If the system has no thread left.
    pub fn start(self, mut writer: Writer, counters: Arc<Counters>) -> io::Result<Reading> {
        let Self { socket, recording } = self;
        let mut inbox = Inbox::default();
        let enough = recording.samples_in(PERIOD.mul_f64(ENOUGH));
        let mut block = Vec::with_capacity(enough + Inbox::SAMPLES);
        let work = move |stopped: &AtomicBool| {
            while !stopped.load(Ordering::Relaxed) {
                let taken = take(&socket, &mut inbox, &mut block);
                if let Err(fault) = taken.and_then(|()| whole_frames(&block, recording)) {
                    counters.set_fault(fault);
                    return;
                }
                if block.len() >= enough {
                    writer.on_block(&block);
                    block.clear();
                }
            }
        };
        Reading::start(work)
    }
}

impl Recording {
    fn of(info: &InputInfo) -> Self {
        Self {
            rate: info.rate.get(),
            channels: info.channels,
        }
    }
}

fn whole_frames(block: &[f32], recording: Recording) -> Result<(), Fault> {
    if block.len().is_multiple_of(recording.channels) {
        Ok(())
    } else {
        Err(Fault::SoundSystem)
    }
}

/// Waits for what comes and adds its samples to `block`. Takes no memory and no lock.
fn take(mut socket: &UnixStream, inbox: &mut Inbox, block: &mut Vec<f32>) -> Result<(), Fault> {
    match socket.read(inbox.space()) {
        Ok(0) => return Err(Fault::SoundSystem),
        Ok(came) => inbox.came(came),
        Err(error) => {
            return match error.kind() {
                ErrorKind::WouldBlock | ErrorKind::TimedOut | ErrorKind::Interrupted => Ok(()),
                _ => Err(Fault::SoundSystem),
            };
        }
    }
    let mut killed = false;
    let whole = inbox.empty(|packet| match packet {
        Packet::Sound(bytes) => {
            let samples = bytes.chunks_exact(size_of::<f32>());
            block.extend(
                samples.map(|bytes| f32::from_le_bytes([bytes[0], bytes[1], bytes[2], bytes[3]])),
            );
        }
        Packet::RecordingEnded => killed = true,
        Packet::Other => {}
    });
    match (killed, whole) {
        (true, _) => Err(Fault::DeviceGone),
        (false, Ok(())) => Ok(()),
        (false, Err(_)) => Err(Fault::SoundSystem),
    }
}

/// Sends a message and gives back what the answer says.
fn ask(socket: &mut UnixStream, message: &[u8]) -> io::Result<Vec<u8>> {
    socket.write_all(message)?;
    loop {
        let mut head = [0; messages::HEAD];
        socket.read_exact(&mut head)?;
        let mut body = vec![0; messages::body_length(&head)?];
        socket.read_exact(&mut body)?;
        match messages::reply(&head, body) {
            Reply::Yes(says) => return Ok(says),
            Reply::No => return Err(ErrorKind::ConnectionRefused.into()),
            Reply::NotYet => {}
        }
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

fn socket_path() -> Option<PathBuf> {
    match env::var_os("PULSE_SERVER") {
        Some(server) => socket_of(&server),
        None => folder("PULSE_RUNTIME_PATH")
            .or_else(|| folder("XDG_RUNTIME_DIR").map(|runtime| runtime.join("pulse")))
            .map(|folder| folder.join("native")),
    }
}

/// The socket that `PULSE_SERVER` names, if it names one and nothing else: `[{machine}][unix:]/path`.
fn socket_of(server: &OsStr) -> Option<PathBuf> {
    let server = server.to_str()?;
    let address = match server.strip_prefix('{') {
        Some(rest) => rest.split_once('}')?.1,
        None => server,
    };
    let path = address.strip_prefix("unix:").unwrap_or(address);
    (path.starts_with('/') && !path.contains(' ')).then(|| PathBuf::from(path))
}

fn folder(variable: &str) -> Option<PathBuf> {
    env::var_os(variable)
        .filter(|folder| !folder.is_empty())
        .map(PathBuf::from)
}

/// What the server has left for its user; zeros where there is nothing: it knows its user by the socket as well.
fn cookie() -> Vec<u8> {
    let home = env::home_dir().unwrap_or_default();
    let settings = folder("XDG_CONFIG_HOME").unwrap_or_else(|| home.join(".config"));
    [
        folder("PULSE_COOKIE"),
        Some(settings.join("pulse/cookie")),
        Some(home.join(".pulse-cookie")),
    ]
    .into_iter()
    .flatten()
    .filter_map(|path| std::fs::read(path).ok())
    .find(|cookie| cookie.len() == COOKIE)
    .unwrap_or_else(|| vec![0; COOKIE])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_socket_on_this_computer_is_a_way_to_the_server() {
        let socket = |server: &str| socket_of(OsStr::new(server));
        let native = Some(PathBuf::from("/run/user/1000/pulse/native"));
        for server in [
            "unix:/run/user/1000/pulse/native",
            "/run/user/1000/pulse/native",
            "{4b2f}unix:/run/user/1000/pulse/native",
        ] {
            assert_eq!(socket(server), native, "{server}");
        }
        for server in [
            "tcp:studio:4713",
            "studio",
            "",
            "{4b2f",
            "/a/native /b/native",
        ] {
            assert_eq!(socket(server), None, "{server}");
        }
    }

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
