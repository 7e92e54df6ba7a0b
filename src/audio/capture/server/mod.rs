//! The sound server of Linux, asked by its own socket.
//!
//! Input: the environment, as the server's own programs read it (`PULSE_SERVER`, `PULSE_RUNTIME_PATH` or `XDG_RUNTIME_DIR`; `PULSE_COOKIE`);
//! questions. Output: answers. Units: none.
//! Method: the server's native protocol (crate `pulseaudio`), which PulseAudio speaks and PipeWire too. [`sources`] lists what can be recorded,
//! [`recording`] records it.
//! Limits: a socket on this computer only.

mod arrivals;
pub mod inbox;
pub mod recording;
pub mod sources;

use pulseaudio::protocol::{self, AuthParams, AuthReply, Command, CommandReply};
use pulseaudio::protocol::{Prop, Props, ProtocolError, SetClientNameReply};
use std::env;
use std::ffi::OsStr;
use std::io::{BufReader, ErrorKind};
use std::os::unix::net::UnixStream;
use std::path::PathBuf;
use std::time::Duration;

/// What the Linux sound library calls the server.
pub const ALSA_NAME: &str = "pulse";
/// How long the server may take for each answer.
const ANSWERS_WITHIN: Duration = Duration::from_secs(1);
/// Bytes that prove to the server who connects, where the socket does not.
const COOKIE: usize = 256;

/// A conversation with the server.
pub struct Talk {
    socket: BufReader<UnixStream>,
    version: u16,
    asked: u32,
}

impl Talk {
    /// Greets the server and says who asks.
    ///
    /// # Errors
    /// If there is no server on this computer, or it wants nothing of us.
    pub fn begin() -> Result<Self, ProtocolError> {
        let path = socket_path().ok_or_else(|| std::io::Error::from(ErrorKind::NotFound))?;
        let socket = UnixStream::connect(path)?;
        socket.set_read_timeout(Some(ANSWERS_WITHIN))?;
        socket.set_write_timeout(Some(ANSWERS_WITHIN))?;
        let mut talk = Self {
            socket: BufReader::new(socket),
            version: protocol::MAX_VERSION,
            asked: 0,
        };
        let answer: AuthReply = talk.ask(&Command::Auth(AuthParams {
            version: protocol::MAX_VERSION,
            supports_shm: false,
            supports_memfd: false,
            cookie: cookie(),
        }))?;
        talk.version = protocol::MAX_VERSION.min(answer.version);
        let mut who = Props::new();
        who.set(Prop::ApplicationName, c"lidprop");
        talk.ask::<SetClientNameReply>(&Command::SetClientName(who))?;
        Ok(talk)
    }

    /// What the server answers.
    ///
    /// # Errors
    /// If it refuses, or does not answer in time.
    pub fn ask<R: CommandReply>(&mut self, question: &Command) -> Result<R, ProtocolError> {
        protocol::write_command_message(self.socket.get_mut(), self.asked, question, self.version)?;
        self.asked += 1;
        let (_, answer) = protocol::read_reply_message(&mut self.socket, self.version)?;
        Ok(answer)
    }

    /// The socket, and what has already come of what follows.
    pub fn end(self) -> (UnixStream, Vec<u8>) {
        let came = self.socket.buffer().to_vec();
        (self.socket.into_inner(), came)
    }
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
}
