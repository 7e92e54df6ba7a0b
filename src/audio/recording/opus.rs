//! Opus packets to samples, whatever container brought them.
//!
//! Input: the identification header of a track, then its packets. Output: interleaved `f32` at 48 kHz. Units: full scale ±1; frames at 48 kHz.
//! Method: `opus-pure` decodes (RFC 6716); the header is that of RFC 7845, section 5.1, whose numbers are little-endian, in MP4 (`dOps`) big-endian. Its gain is applied; its
//! pre-skip is told, and dropped by whoever reads on.
//! Limits: at most eight channels, in the orders of mapping family 1.

use opus_pure::{OpusDecoder, OpusMSDecoder};

/// Opus is decoded at this rate.
pub const RATE: u32 = 48_000;
/// The longest packet: 120 ms.
const LONGEST: usize = 5760;
/// The least that a header holds, with its magic word.
const HEADER: usize = 19;

/// A track of Opus.
pub struct OpusTrack {
    decoder: Kind,
    /// Samples a frame.
    pub channels: usize,
    /// Frames that come before the sound.
    pub pre_skip: u64,
    gain: f32,
}

enum Kind {
    Stereo(Box<OpusDecoder>),
    Surround(Box<OpusMSDecoder>),
}

impl OpusTrack {
    /// By its identification header, magic word included; `None` where that makes no sense.
    pub fn new(header: &[u8], big_endian: bool) -> Option<Self> {
        let header: &[u8; HEADER] = header.first_chunk()?;
        let number = |at: usize| match big_endian {
            true => u16::from_be_bytes([header[at], header[at + 1]]),
            false => u16::from_le_bytes([header[at], header[at + 1]]),
        };
        let channels = usize::from(header[9]);
        let decoder = match (header[18], channels) {
            (0, 1 | 2) => Kind::Stereo(Box::new(OpusDecoder::new(RATE as i32, channels).ok()?)),
            (family @ 1, 1..=8) => Kind::Surround(Box::new(
                OpusMSDecoder::new(RATE as i32, channels, family).ok()?,
            )),
            _ => return None,
        };
        let gain_db = f32::from(number(16) as i16) / 256.0;
        Some(Self {
            decoder,
            channels,
            pre_skip: u64::from(number(10)),
            gain: 10f32.powf(gain_db / 20.0),
        })
    }

    /// Decodes a packet into `out`; `None` where it is damaged.
    pub fn decode(&mut self, packet: &[u8], out: &mut Vec<f32>) -> Option<()> {
        out.resize(LONGEST * self.channels, 0.0);
        let frames = match &mut self.decoder {
            Kind::Stereo(decoder) => decoder.decode(packet, LONGEST, out),
            Kind::Surround(decoder) => decoder.decode(packet, LONGEST, out),
        };
        let frames = frames.unwrap_or(0);
        out.truncate(frames * self.channels);
        out.iter_mut().for_each(|sample| *sample *= self.gain);
        (frames > 0).then_some(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn header(pre_skip: [u8; 2], gain: [u8; 2], channels: u8, family: u8) -> Vec<u8> {
        let mut header = b"OpusHead\x01".to_vec();
        header.push(channels);
        header.extend(pre_skip);
        header.extend(48_000u32.to_le_bytes());
        header.extend(gain);
        header.push(family);
        header
    }

    #[test]
    fn numbers_are_read_from_the_end_that_their_container_uses() {
        let little = OpusTrack::new(&header([0x38, 0x01], [0, 0], 1, 0), false).unwrap();
        let big = OpusTrack::new(&header([0x01, 0x38], [0, 0], 2, 0), true).unwrap();
        assert_eq!((little.pre_skip, little.channels), (312, 1));
        assert_eq!((big.pre_skip, big.channels), (312, 2));
    }

    #[test]
    fn a_gain_of_minus_six_decibels_halves() {
        let track = OpusTrack::new(&header([0, 0], (-1541i16).to_le_bytes(), 1, 0), false).unwrap();
        assert!((track.gain - 0.5).abs() < 1e-3, "{}", track.gain);
    }

    #[test]
    fn a_header_without_sense_is_refused() {
        assert!(OpusTrack::new(b"OpusHead", false).is_none());
        assert!(OpusTrack::new(&header([0, 0], [0, 0], 0, 0), false).is_none());
        assert!(OpusTrack::new(&header([0, 0], [0, 0], 2, 9), false).is_none());
        let mut track = OpusTrack::new(&header([0, 0], [0, 0], 6, 1), false).unwrap();
        assert!(track.decode(&[], &mut Vec::new()).is_none() || track.channels == 6);
    }
}
