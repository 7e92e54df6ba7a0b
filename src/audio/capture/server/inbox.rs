//! What comes from the socket of a recording, cut into packets.
//!
//! Input: bytes as they come. Output: [`Packet`]s. Units: bytes; samples are little-endian 32-bit floats.
//! Method: a packet has a head that tells its length and its channel (crate `pulseaudio`); on the channel of commands its body is a command, on any
//! other it is sound. Takes memory once: it is emptied by the thread that waits for sound.
//! Limits: no shared memory, which is agreed on only where both sides ask for it.

use pulseaudio::protocol::{CommandTag, DESCRIPTOR_SIZE, Descriptor, read_descriptor};
use std::io::ErrorKind;

/// The channel of what is no sound.
const CONTROL: u32 = u32::MAX;
/// The letter before a number in a command, which begins with its own.
const NUMBER: u8 = b'L';

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
        while let Some(mut head) = self.bytes[at..self.filled].get(..DESCRIPTOR_SIZE) {
            let head = read_descriptor(&mut head).map_err(|_| ErrorKind::InvalidData)?;
            let length = head.length as usize;
            if length > self.bytes.len() - DESCRIPTOR_SIZE {
                return Err(ErrorKind::InvalidData);
            }
            let from = at + DESCRIPTOR_SIZE;
            let Some(body) = self.bytes[..self.filled].get(from..from + length) else {
                break;
            };
            hand_over(packet(head, body));
            at = from + length;
        }
        self.bytes.copy_within(at..self.filled, 0);
        self.filled -= at;
        Ok(())
    }
}

fn packet(head: Descriptor, body: &[u8]) -> Packet<'_> {
    if head.channel != CONTROL {
        return Packet::Sound(body);
    }
    match *body {
        [NUMBER, a, b, c, d, ..]
            if u32::from_be_bytes([a, b, c, d]) == CommandTag::RecordStreamKilled as u32 =>
        {
            Packet::RecordingEnded
        }
        _ => Packet::Other,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use pulseaudio::protocol::{Command, MAX_VERSION, write_command_message};

    fn sound(body: &[u8]) -> Vec<u8> {
        let mut packet = (body.len() as u32).to_be_bytes().to_vec();
        packet.extend([0; DESCRIPTOR_SIZE - 4]);
        packet.extend(body);
        packet
    }

    fn command(command: &Command) -> Vec<u8> {
        let mut packet = Vec::new();
        write_command_message(&mut packet, 7, command, MAX_VERSION).unwrap();
        packet
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
        let other = command(&Command::Started(0));
        let bytes = [
            sound(&[1; 8]),
            other,
            sound(&[2; 4]),
            command(&Command::RecordStreamKilled(0)),
        ]
        .concat();
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
        inbox.space()[..DESCRIPTOR_SIZE].copy_from_slice(&[0xFF; DESCRIPTOR_SIZE]);
        inbox.came(DESCRIPTOR_SIZE);
        assert_eq!(
            inbox.empty(|_| panic!("it is none")),
            Err(ErrorKind::InvalidData)
        );
    }
}
