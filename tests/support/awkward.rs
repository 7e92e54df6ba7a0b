//! Awkward inputs, made from the project's recordings and from headers written by hand. Each is called as in `tests/data/awkward_inputs.tsv`.

#[path = "command.rs"]
pub mod command;

use command::{recording, tone, wav, wav_of};

/// The file that `input` stands for.
pub fn make(input: &str) -> Vec<u8> {
    let (kind, how) = input.split_once(' ').unwrap_or((input, ""));
    match kind {
        "empty" => Vec::new(),
        "text" => b"Shopping: felt, tuning pins, tea.\n".to_vec(),
        "noise" => noise(how.parse().unwrap(), 40_000),
        "head" => head(how),
        "wav" => wave(how),
        "m4a" => m4a(how),
        "mkv" => mkv(how),
        "caf" => caf(how),
        "ogg" => ogg(how),
        "flac" => flac(how),
        "mp3" => mp3(how),
        _ => panic!("no input is called {input}"),
    }
}

fn note(name: &str) -> Vec<u8> {
    std::fs::read(recording("formats").join(name)).unwrap()
}

/// Bytes without an order (a linear congruential generator, Numerical Recipes).
pub fn noise(mut seed: u32, length: usize) -> Vec<u8> {
    let mut next = || {
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (seed >> 24) as u8
    };
    (0..length).map(|_| next()).collect()
}

/// Where `what` stands first.
fn place(bytes: &[u8], what: &[u8]) -> usize {
    let mut windows = bytes.windows(what.len());
    windows
        .position(|there| there == what)
        .expect("it is there")
}

fn replace(bytes: &mut [u8], what: &[u8], with: &[u8]) {
    let at = place(bytes, what);
    bytes[at..at + with.len()].copy_from_slice(with);
}

/// The beginning of a format, and nothing of sense after it.
fn head(of: &str) -> Vec<u8> {
    let begins: &[u8] = match of {
        "AU" => b".snd\0\0\0\x18\xff\xff\xff\xff\0\0\0\x03\0\0\xac\x44\0\0\0\x01",
        "W64" => b"riff\x2e\x91\xcf\x11\xa5\xd6\x28\xdb\x04\xc1\0\0",
        "AVI" => b"RIFF\0\x10\0\0AVI LIST",
        "FLV" => b"FLV\x01\x04\0\0\0\x09",
        "MIDI" => b"MThd\0\0\0\x06\0\0\0\x01\0\x60MTrk\0\0\0\x04\0\xff\x2f\0",
        "RMID" => b"RIFF\0\0\0\0RMIDdata",
        "ZIP" => b"PK\x03\x04\x14\0\0\0\0\0",
        "HEIC" => b"\0\0\0\x14ftypheic\0\0\0\0mif1\0\0\0\x0cmeta\0\0\0\0",
        "PDF" => b"%PDF-1.7\n",
        "WMA" => b"\x30\x26\xb2\x75\x8e\x66\xcf\x11",
        "AMR" => b"#!AMR\n",
        "AC-3" => b"\x0b\x77",
        "WavPack" => b"wvpk",
        "TTA" => b"TTA1",
        "PS" => b"\0\0\x01\xba\x44",
        "Speex" => b"OggS\0\x02\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\x01\x50Speex   ",
        "TS" => {
            let mut packets = [[0_u8; 188]; 8];
            packets.iter_mut().for_each(|packet| packet[0] = 0x47);
            return packets.concat();
        }
        "M2TS" => {
            let mut packets = [[0_u8; 192]; 8];
            packets.iter_mut().for_each(|packet| packet[4] = 0x47);
            return packets.concat();
        }
        _ => panic!("no format is called {of}"),
    };
    [begins, &[0; 2000]].concat()
}

/// One second of a tone.
fn wave(how: &str) -> Vec<u8> {
    let samples = tone();
    let bytes = 2 * samples.len() as u32;
    let mut whole = wav(22_050, &samples, bytes);
    let chunk = |name: &[u8; 4], content: &[u8]| {
        let size = (content.len() as u32).to_le_bytes();
        [&name[..], &size, content].concat()
    };
    match how {
        "with data size 0 and samples" => {
            whole[40..44].fill(0);
            whole
        }
        "with data size 0 and another chunk" => {
            whole[40..44].fill(0);
            whole.truncate(44);
            whole.extend(chunk(b"LIST", b"INFOxxxx"));
            whole
        }
        "with two data chunks" => {
            let second = chunk(b"data", &whole[44..]);
            whole.extend(chunk(b"LIST", b"INFOxxx"));
            whole.push(0);
            whole.extend(second);
            whole
        }
        "with 65535 channels" => {
            whole[22..24].fill(0xFF);
            whole
        }
        "with 0 channels" => {
            whole[22..24].fill(0);
            whole
        }
        "with 0 bits" => {
            whole[34..36].fill(0);
            whole
        }
        "with rate 0" => {
            whole[24..28].fill(0);
            whole
        }
        "cut" => {
            whole.truncate(30_000);
            whole
        }
        "header alone" => {
            whole.truncate(44);
            whole
        }
        "silent" => wav(22_050, &[0; 22_050], 44_100),
        "clipped" => {
            let loud: Vec<i16> = samples.iter().map(|&x| x.saturating_mul(20)).collect();
            wav(22_050, &loud, bytes)
        }
        "with opposite channels" => {
            let both: Vec<i16> = samples.iter().flat_map(|&x| [x, -x]).collect();
            let mut stereo = wav(22_050, &both, 2 * bytes);
            stereo[22] = 2;
            stereo[28..32].copy_from_slice(&88_200_u32.to_le_bytes());
            stereo[32] = 4;
            stereo
        }
        "of no numbers" | "of infinities" | "of 1e30" => {
            let bad = match how {
                "of no numbers" => f32::NAN,
                "of infinities" => f32::INFINITY,
                _ => 1e30,
            };
            let data: Vec<u8> = (0..samples.len())
                .map(|n| {
                    if n % 7 == 3 {
                        bad
                    } else {
                        0.1 * (n as f32 * 0.1).sin()
                    }
                })
                .flat_map(f32::to_le_bytes)
                .collect();
            wav_of(22_050, 3, 32, &data, data.len() as u32)
        }
        "RIFX" => {
            whole[3] = b'X';
            whole
        }
        _ => panic!("no WAV is {how}"),
    }
}

/// The index before the sound, as it is written for the web.
fn index_first(mut whole: Vec<u8>) -> Vec<u8> {
    let (sound, index) = (place(&whole, b"mdat") - 4, place(&whole, b"moov") - 4);
    let moved = (whole.len() - index) as u32;
    let offsets = place(&whole, b"stco") + 8;
    let number =
        |at: usize, whole: &[u8]| u32::from_be_bytes(whole[at..at + 4].try_into().unwrap());
    for nth in 0..number(offsets, &whole) as usize {
        let at = offsets + 4 + 4 * nth;
        let offset = number(at, &whole) + moved;
        whole[at..at + 4].copy_from_slice(&offset.to_be_bytes());
    }
    [&whole[..sound], &whole[index..], &whole[sound..index]].concat()
}

fn m4a(how: &str) -> Vec<u8> {
    let mut whole = note("note.m4a");
    let length = whole.len();
    match how {
        "index first" => index_first(whole),
        "index first, two thirds of it" => {
            let mut whole = index_first(whole);
            whole.truncate(length * 2 / 3);
            whole
        }
        "index first, 99 % of it" => {
            let mut whole = index_first(whole);
            whole.truncate(length * 99 / 100);
            whole
        }
        "in fragments, two thirds of it" => {
            let mut whole = note("note-fragmented.m4a");
            whole.truncate(whole.len() * 2 / 3);
            whole
        }
        "two thirds of it" => {
            whole.truncate(length * 2 / 3);
            whole
        }
        "cut within its index" => {
            whole.truncate(length - 400);
            whole
        }
        "of six channels" => {
            // the AudioSpecificConfig: AAC-LC, 48 kHz or what it was, channel configuration 6
            let at = place(&whole, b"\x05\x80\x80\x80\x05\x12") + 6;
            whole[at] = whole[at] & 0x87 | 6 << 3;
            whole
        }
        "without sound" => {
            replace(&mut whole, b"soun", b"text");
            replace(&mut whole, b"mp4a", b"text");
            whole
        }
        _ => panic!("no M4A is {how}"),
    }
}

fn mkv(how: &str) -> Vec<u8> {
    let mut whole = note("note-aac.mkv");
    match how {
        "without sound" => {
            // TrackType, 2 for sound
            replace(&mut whole, b"\x83\x81\x02", b"\x83\x81\x01");
            replace(&mut whole, b"A_AAC", b"V_VP8");
            whole
        }
        "half of it" => {
            whole.truncate(whole.len() / 2);
            whole
        }
        _ => panic!("no MKV is {how}"),
    }
}

fn caf(how: &str) -> Vec<u8> {
    let mut whole = note("note-pcm.caf");
    match how {
        "whole" => {}
        "of GSM" => replace(&mut whole, b"lpcm", b"agsm"),
        _ => panic!("no CAF is {how}"),
    }
    whole
}

fn ogg(how: &str) -> Vec<u8> {
    let mut whole = note("note.ogg");
    match how {
        "whole" => {}
        "cut in its last page" => whole.truncate(whole.len() - 50),
        "without its last page" => {
            let last = whole.windows(4).rposition(|bytes| bytes == b"OggS");
            whole.truncate(last.expect("it has pages"));
        }
        _ => panic!("no OGG is {how}"),
    }
    whole
}

fn flac(how: &str) -> Vec<u8> {
    // where STREAMINFO keeps the checksum
    const MD5: std::ops::Range<usize> = 26..42;
    let mut whole = note("note.flac");
    match how {
        "with 200 bad bytes" => {
            let middle = whole.len() / 2;
            whole[middle..middle + 200].copy_from_slice(&noise(7, 200));
        }
        "with a wrong checksum" => whole[MD5].fill(0x5A),
        "with no checksum" => whole[MD5].fill(0),
        "half of it" => whole.truncate(whole.len() / 2),
        _ => panic!("no FLAC is {how}"),
    }
    whole
}

fn mp3(how: &str) -> Vec<u8> {
    let whole = note("note.mp3");
    match how {
        "half of it" => whole[..whole.len() / 2].to_vec(),
        "after noise" => [noise(3, 500), whole].concat(),
        _ => panic!("no MP3 is {how}"),
    }
}
