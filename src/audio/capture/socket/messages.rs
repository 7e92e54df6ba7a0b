//! The messages that a recording needs, of PulseAudio's native protocol.
//!
//! Input: wishes; bytes from the socket. Output: bytes for the socket; sound and what else was told.
//! Units: bytes; all numbers on the wire big-endian, samples little-endian 32-bit floats.
//! Method: version 14 of the protocol, which all later servers still speak, PipeWire's among them (PulseAudio 16.1: the file `PROTOCOL`,
//! `src/pulsecore/native-common.h` for the numbers, `tagstruct.h` for the fields). A packet has a head of 20 bytes (length, channel, offset of 64 bits, flags); on the
//! channel [`CONTROL`] its body is a list of fields, each after a letter for its type; on any other it is sound.
//! Limits: no shared memory, which is agreed on only where both sides ask for it.

use std::io::{self, ErrorKind};
use std::time::Duration;

/// Bytes before the body of a packet.
pub const HEAD: usize = 20;
/// The channel of what is no sound.
const CONTROL: u32 = u32::MAX;
/// The protocol that is spoken.
const VERSION: u32 = 14;
/// Stands where a number or a size is left to the server.
const ANY: u32 = u32::MAX;
/// Nothing that is asked for has a longer answer.
const LONGEST_ANSWER: usize = 1 << 16;
/// 32-bit floats, little-endian.
const FLOAT: u8 = 5;

// Numbers of messages.
const ERROR: u32 = 0;
const REPLY: u32 = 2;
const CREATE_RECORD_STREAM: u32 = 5;
const AUTH: u32 = 8;
const SET_CLIENT_NAME: u32 = 9;
const RECORD_STREAM_KILLED: u32 = 65;

/// How an input is recorded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Recording {
    /// Frames a second.
    pub rate: u32,
    /// Samples a frame.
    pub channels: usize,
}

impl Recording {
    /// How many samples of all channels so much sound has.
    pub fn samples_in(self, time: Duration) -> usize {
        (f64::from(self.rate) * time.as_secs_f64()) as usize * self.channels
    }
}

/// Which input of the server is recorded.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Wanted {
    /// The one that the server takes where none is named.
    Default,
    /// The one of this name to begin with; the server may go on with another one where it goes away, or where the user says so.
    First(String),
    /// The one of this name and no other: where it goes away, the recording ends.
    This(String),
}

/// What a packet is to a question.
pub enum Reply {
    /// Its answer, after the number of the question.
    Yes(Vec<u8>),
    /// Its refusal.
    No,
    /// Something else.
    NotYet,
}

/// The questions that are put to a server; each has a number of its own.
#[derive(Debug, Default)]
pub struct Server {
    asked: u32,
}

impl Server {
    /// Says who connects.
    pub fn introduce(&mut self, cookie: &[u8]) -> Vec<u8> {
        self.question(AUTH).number(VERSION).bytes(cookie).packet()
    }

    /// Says which program it is, for the server's own lists.
    pub fn name_program(&mut self, name: &str) -> Vec<u8> {
        let properties = [("application.name", name)];
        self.question(SET_CLIENT_NAME)
            .properties(&properties)
            .packet()
    }

    /// Records an input as it is itself; `wish` stands where it has nothing of its own. All `period` of sound are handed over as soon as they
    /// are there.
    pub fn record(&mut self, wanted: &Wanted, wish: Recording, period: Duration) -> Vec<u8> {
        let fragment = (wish.samples_in(period) * size_of::<f32>()) as u32;
        let (name, stays) = match wanted {
            Wanted::Default => (None, false),
            Wanted::First(name) => (Some(name.as_str()), false),
            Wanted::This(name) => (Some(name.as_str()), true),
        };
        self.question(CREATE_RECORD_STREAM)
            .sample_kind(wish)
            .channel_map(wish.channels)
            .number(ANY)
            .text(name)
            .number(ANY)
            .switches(&[false])
            .number(fragment)
            // no_remap, no_remix, fix_format, fix_rate, fix_channels, no_move; variable_rate, peak_detect, adjust_latency
            .switches(&[false, false, false, true, true, stays])
            .switches(&[false; 3])
            .properties(&[("media.name", "what is played")])
            .number(ANY)
            // early_requests: the server's own wake-ups are then as far apart as a fragment is long; adjust_latency halves them
            .switches(&[true])
            .packet()
    }

    fn question(&mut self, command: u32) -> Fields {
        self.asked += 1;
        Fields(Vec::new()).number(command).number(self.asked)
    }
}

/// How the recording of a positive answer to [`Server::record`] is, if it is one.
pub fn recording(answer: &[u8]) -> Option<Recording> {
    // Four numbers (channel, index, longest length, fragment), then the kind of samples; what follows is not needed.
    let kind = answer.get(4 * 5..)?;
    match *kind {
        [b'a', FLOAT, channels, a, b, c, d, ..] => Some(Recording {
            rate: u32::from_be_bytes([a, b, c, d]),
            channels: usize::from(channels),
        }),
        _ => None,
    }
}

/// The length of the body that follows this head.
///
/// # Errors
/// If no answer is that long.
pub fn body_length(head: &[u8; HEAD]) -> io::Result<usize> {
    let length = number_at(head, 0) as usize;
    if length > LONGEST_ANSWER {
        return Err(ErrorKind::InvalidData.into());
    }
    Ok(length)
}

/// What a packet says to the one question that is open.
pub fn reply(head: &[u8; HEAD], mut body: Vec<u8>) -> Reply {
    match command(head, &body) {
        Some(REPLY) => Reply::Yes(body.split_off((2 * 5).min(body.len()))),
        Some(ERROR) => Reply::No,
        _ => Reply::NotYet,
    }
}

fn number_at(bytes: &[u8], at: usize) -> u32 {
    bytes.get(at..at + 4).map_or(0, |bytes| {
        u32::from_be_bytes([bytes[0], bytes[1], bytes[2], bytes[3]])
    })
}

/// The number of a message; none of a packet that is sound.
fn command(head: &[u8], body: &[u8]) -> Option<u32> {
    (number_at(head, 4) == CONTROL && body.first() == Some(&b'L')).then(|| number_at(body, 1))
}

/// The fields of a message.
struct Fields(Vec<u8>);

impl Fields {
    fn number(mut self, number: u32) -> Self {
        self.0.push(b'L');
        self.0.extend(number.to_be_bytes());
        self
    }

    fn switches(mut self, on: &[bool]) -> Self {
        self.0
            .extend(on.iter().map(|&on| if on { b'1' } else { b'0' }));
        self
    }

    fn text(mut self, text: Option<&str>) -> Self {
        match text {
            Some(text) => {
                self.0.push(b't');
                self.0.extend(text.bytes().filter(|&byte| byte != 0));
                self.0.push(0);
            }
            None => self.0.push(b'N'),
        }
        self
    }

    fn bytes(mut self, bytes: &[u8]) -> Self {
        self.0.push(b'x');
        self.0.extend((bytes.len() as u32).to_be_bytes());
        self.0.extend(bytes);
        self
    }

    fn properties(mut self, properties: &[(&str, &str)]) -> Self {
        self.0.push(b'P');
        for (name, value) in properties {
            // a value is a text with its end, as the server's own programs send it
            let value = [value.as_bytes(), &[0]].concat();
            self = self
                .text(Some(name))
                .number(value.len() as u32)
                .bytes(&value);
        }
        self.text(None)
    }

    fn sample_kind(mut self, wish: Recording) -> Self {
        self.0.extend([b'a', FLOAT, wish.channels as u8]);
        self.0.extend(wish.rate.to_be_bytes());
        self
    }

    /// Mono (0), left and right (1, 2), and places of no name (12 and on) for more.
    fn channel_map(mut self, channels: usize) -> Self {
        self.0.extend([b'm', channels as u8]);
        match channels {
            1 => self.0.push(0),
            2 => self.0.extend([1, 2]),
            more => self.0.extend((12..).take(more)),
        }
        self
    }

    fn packet(self) -> Vec<u8> {
        let mut packet = Vec::with_capacity(HEAD + self.0.len());
        packet.extend((self.0.len() as u32).to_be_bytes());
        packet.extend(CONTROL.to_be_bytes());
        packet.extend([0; HEAD - 8]);
        packet.extend(self.0);
        packet
    }
}

/// A packet of a recording.
#[derive(Debug, PartialEq, Eq)]
pub enum Packet<'a> {
    /// Samples.
    Sound(&'a [u8]),
    /// There will be no more: the input is gone.
    RecordingEnded,
    /// Something else.
    Other,
}

/// Bytes as they come, until they are whole packets. Takes memory once.
pub struct Inbox {
    bytes: Vec<u8>,
    filled: usize,
}

impl Default for Inbox {
    fn default() -> Self {
        Self {
            bytes: vec![0; Self::SIZE],
            filled: 0,
        }
    }
}

impl Inbox {
    /// A packet is as long as a fragment at most, some 4 kB; a server that was held up sends many at once.
    const SIZE: usize = 1 << 18;
    /// So many samples may lie in it.
    pub const SAMPLES: usize = Self::SIZE / size_of::<f32>();

    /// Where the next bytes go.
    pub fn space(&mut self) -> &mut [u8] {
        &mut self.bytes[self.filled..]
    }

    /// So many have come.
    pub fn came(&mut self, bytes: usize) {
        self.filled = (self.filled + bytes).min(self.bytes.len());
    }

    /// Hands over all whole packets.
    ///
    /// # Errors
    /// If a packet is longer than any can be.
    pub fn empty(&mut self, mut hand_over: impl FnMut(Packet<'_>)) -> Result<(), ErrorKind> {
        let mut at = 0;
        while let Some(head) = self.bytes[at..self.filled].get(..HEAD) {
            let length = number_at(head, 0) as usize;
            if length > self.bytes.len() - HEAD {
                return Err(ErrorKind::InvalidData);
            }
            let from = at + HEAD;
            let Some(body) = self.bytes[..self.filled].get(from..from + length) else {
                break;
            };
            hand_over(match command(head, body) {
                Some(RECORD_STREAM_KILLED) => Packet::RecordingEnded,
                _ if number_at(head, 4) == CONTROL => Packet::Other,
                _ => Packet::Sound(body),
            });
            at = from + length;
        }
        self.bytes.copy_within(at..self.filled, 0);
        self.filled -= at;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sound(body: &[u8]) -> Vec<u8> {
        let mut packet = (body.len() as u32).to_be_bytes().to_vec();
        packet.extend([0; HEAD - 4]);
        packet.extend(body);
        packet
    }

    fn killed() -> Vec<u8> {
        Fields(Vec::new())
            .number(RECORD_STREAM_KILLED)
            .number(ANY)
            .number(0)
            .packet()
    }

    /// What is handed over when `bytes` come in pieces of `piece`.
    fn handed_over(bytes: &[u8], piece: usize) -> Vec<String> {
        let (mut inbox, mut told) = (Inbox::default(), Vec::new());
        for piece in bytes.chunks(piece) {
            inbox.space()[..piece.len()].copy_from_slice(piece);
            inbox.came(piece.len());
            inbox
                .empty(|packet| told.push(format!("{packet:?}")))
                .unwrap();
        }
        told
    }

    #[test]
    fn packets_are_the_same_however_the_bytes_come() {
        let other = Fields(Vec::new()).number(REPLY).number(7).packet();
        let bytes = [sound(&[1; 8]), other, sound(&[2; 4]), killed()].concat();
        let whole = handed_over(&bytes, bytes.len());
        assert_eq!(
            whole,
            [
                "Sound([1, 1, 1, 1, 1, 1, 1, 1])",
                "Other",
                "Sound([2, 2, 2, 2])",
                "RecordingEnded"
            ]
        );
        for piece in 1..30 {
            assert_eq!(handed_over(&bytes, piece), whole, "in pieces of {piece}");
        }
    }

    #[test]
    fn a_packet_longer_than_any_can_be_is_refused() {
        let mut inbox = Inbox::default();
        inbox.space()[..HEAD].copy_from_slice(&[0xFF; HEAD]);
        inbox.came(HEAD);
        assert_eq!(
            inbox.empty(|_| panic!("it is none")),
            Err(ErrorKind::InvalidData)
        );
        assert!(body_length(&[0xFF; HEAD]).is_err());
    }

    #[test]
    fn questions_stand_on_the_wire_as_the_protocol_says() {
        let mut server = Server::default();
        let auth = server.introduce(&[9; 2]);
        // length, channel, offset and flags; then command 8, question 1, version 14, two bytes
        let head = [&[0, 0, 0, 22][..], &[0xFF; 4], &[0; 12]].concat();
        let body = [
            &b"L\0\0\0\x08"[..],
            b"L\0\0\0\x01",
            b"L\0\0\0\x0e",
            b"x\0\0\0\x02\x09\x09",
        ]
        .concat();
        assert_eq!(auth, [head, body].concat());
        let name = server.name_program("ab");
        let property = b"Ptapplication.name\0L\0\0\0\x03x\0\0\0\x03ab\0N";
        assert_eq!(&name[HEAD + 10..], property);
    }

    #[test]
    fn an_answer_tells_the_rate_and_the_channels_of_the_input() {
        let numbers = Fields(Vec::new())
            .number(REPLY)
            .number(3)
            .number(0)
            .number(4)
            .number(9)
            .number(3_528);
        let body = numbers.sample_kind(Recording {
            rate: 44_100,
            channels: 1,
        });
        let packet = body.channel_map(1).packet();
        let mut head = [0; HEAD];
        head.copy_from_slice(&packet[..HEAD]);
        let Reply::Yes(answer) = reply(&head, packet[HEAD..].to_vec()) else {
            panic!("it is an answer");
        };
        let told = recording(&answer);
        assert_eq!(
            told,
            Some(Recording {
                rate: 44_100,
                channels: 1
            })
        );
        // cut off anywhere it is none
        for length in 0..4 * 5 + 7 {
            assert_eq!(recording(&answer[..length]), None, "{length}");
        }
        let refusal = Fields(Vec::new())
            .number(ERROR)
            .number(3)
            .number(1)
            .packet();
        assert!(matches!(reply(&head, refusal[HEAD..].to_vec()), Reply::No));
    }
}
