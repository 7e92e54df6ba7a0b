//! Formats that are recognised only to be named, so that a refusal says what was given and what can be done.
//!
//! Input: the first bytes of a file. Output: the refusal, or nothing where the format may be one that is read. Units: bytes from the start.
//! Method: a table of first bytes as the formats' own descriptions give them; transport streams by the repeated byte of ISO/IEC 13818-1.
//! Limits: a format that begins with something else (a tag put before it) is not recognised.

use crate::audio::AudioError;

/// What a refused file is.
#[derive(Debug, Clone, Copy)]
enum Is {
    /// Sound, coded so.
    Coded(&'static str),
    /// A container whose sound can be taken out by others.
    Container(&'static str),
    /// Something that holds no sound, as the end of a sentence.
    NoSound(&'static str),
}

use Is::{Coded, Container, NoSound};

/// Bytes, where they stand, and what a file is that has them.
const REFUSED: &[(usize, &[u8], Is)] = &[
    (0, &[0x30, 0x26, 0xB2, 0x75], Coded("Windows Media Audio")),
    (0, &[0xFF, 0xFC], Coded("MPEG layer 2")),
    (0, &[0xFF, 0xFD], Coded("MPEG layer 2")),
    (0, b"#!AMR", Coded("AMR")),
    (28, b"Speex   ", Coded("Speex")),
    (0, &[0x0B, 0x77], Coded("AC-3")),
    (0, b"wvpk", Coded("WavPack")),
    (0, b"TTA1", Coded("True Audio")),
    (0, b"MAC ", Coded("Monkey's Audio")),
    (0, b"DSD ", Coded("DSD")),
    (0, b"FRM8", Coded("DSD")),
    (0, b".snd", Container("AU")),
    // the first half of the GUID that stands for RIFF
    (
        0,
        &[b'r', b'i', b'f', b'f', 0x2E, 0x91, 0xCF, 0x11],
        Container("W64"),
    ),
    (8, b"AVI ", Container("AVI")),
    (0, b"FLV\x01", Container("Flash video")),
    (0, b".RMF", Container("RealMedia")),
    (0, &[0, 0, 1, 0xBA], Container("an MPEG program stream")),
    (0, b"MThd", NoSound("MIDI, which holds notes and no sound")),
    (8, b"RMID", NoSound("MIDI, which holds notes and no sound")),
    (0, b"PK\x03\x04", NoSound("a ZIP archive and no recording")),
    (0, b"%PDF", NoSound("a PDF document and no recording")),
];

/// Packets of a transport stream begin with this byte, every 188 bytes, or every 192 after four of a time code.
const SYNC: u8 = 0x47;

/// Why a file that starts with `head` is refused, where its first bytes say so.
pub fn refused(name: &str, head: &[u8]) -> Option<AudioError> {
    let has = |&&(at, bytes, _): &&(usize, &[u8], Is)| {
        head.get(at..).is_some_and(|rest| rest.starts_with(bytes))
    };
    let synced = |at: usize, every: usize| {
        head.get(at) == Some(&SYNC) && head.get(at + every) == Some(&SYNC)
    };
    let is = match REFUSED.iter().find(has) {
        Some(&(_, _, is)) => is,
        None if synced(0, 188) || synced(4, 192) => Container("an MPEG transport stream"),
        None => return None,
    };
    let name = name.to_owned();
    Some(match is {
        Coded(codec) => AudioError::UnknownCodec {
            name,
            codec: codec.into(),
        },
        Container(container) => AudioError::UnknownContainer {
            name,
            container: container.into(),
        },
        NoSound(what) => AudioError::NoSound {
            name,
            what: what.into(),
        },
    })
}

/// What AAC is that is not read, by the first bytes of its AudioSpecificConfig (ISO/IEC 14496-3, section 1.6.2.1).
pub fn aac_extension(config: Option<&[u8]>) -> &'static str {
    const LC: u8 = 2;
    // Their channels lie four bits further on.
    const RATE_IN_FULL: u8 = 15;
    let Some(&[first, second, ..]) = config else {
        return "HE-AAC or another extension of AAC-LC";
    };
    let (object, rate, channels) = (
        first >> 3,
        (first & 7) << 1 | second >> 7,
        second >> 3 & 0xF,
    );
    match object {
        LC if rate != RATE_IN_FULL && channels > 2 => "AAC of more than two channels",
        LC => "an extension of AAC-LC",
        5 | 29 => "HE-AAC",
        _ => "AAC of another kind than AAC-LC",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_format_is_named_twice_and_none_that_is_read() {
        for &(at, bytes, _) in REFUSED {
            let mut head = vec![0; at];
            head.extend(bytes);
            let fits = REFUSED.iter().filter(|(at, bytes, _)| {
                head.get(*at..).is_some_and(|rest| rest.starts_with(bytes))
            });
            assert_eq!(fits.count(), 1, "{bytes:?}");
        }
        for read in [
            &b"RIFF\0\0\0\0WAVE"[..],
            b"fLaC",
            b"OggS",
            b"\0\0\0\x1cftyp",
            b"ID3",
            b"\xff\xfb",
            b"FORM\0\0\0\0AIFF",
        ] {
            assert!(refused("x", read).is_none(), "{read:?}");
        }
    }

    #[test]
    fn aac_is_named_by_what_keeps_it_from_being_read() {
        assert_eq!(
            aac_extension(Some(&[0x12, 0x30])),
            "AAC of more than two channels"
        );
        assert_eq!(aac_extension(Some(&[0x2B, 0x92])), "HE-AAC");
        assert!(aac_extension(None).contains("HE-AAC"));
    }
}
