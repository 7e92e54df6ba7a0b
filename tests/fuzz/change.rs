//! Changes of an input: some bytes, some numbers, some stretches, words of its language, parts of another.

use super::targets::Target;
use fastrand::Rng;
use std::mem::take;
use std::ops::Range;

/// No input is longer.
pub const LONGEST: usize = 64 << 10;

/// Numbers at which counts and sizes go over.
const EDGES: [u64; 12] = [
    0,
    1,
    0x7F,
    0x80,
    0xFF,
    0x7FFF,
    0x8000,
    0xFFFF,
    0x7FFF_FFFF,
    0xFFFF_FFFF,
    0x7FFF_FFFF_FFFF_FFFF,
    u64::MAX,
];

/// A changed `input`; `other` is one of the same target.
pub fn changed(input: &[u8], other: &[u8], target: &Target, random: &mut Rng) -> Vec<u8> {
    let mut bytes = input.to_vec();
    let most = 1 << random.u32(..4);
    for _ in 0..=random.usize(..most) {
        change(&mut bytes, other, target, random);
    }
    bytes.truncate(LONGEST);
    if random.bool() {
        mend_pages(&mut bytes);
    }
    bytes
}

/// Puts the checksums of Ogg pages right (RFC 3533, section 6), so that changes reach what lies behind them.
fn mend_pages(mut bytes: &mut [u8]) {
    while bytes.starts_with(b"OggS") && bytes.len() > 26 {
        let end = 27 + usize::from(bytes[26]);
        let lengths = bytes.get(27..end).unwrap_or_default().iter();
        let whole = end + lengths.map(|&length| usize::from(length)).sum::<usize>();
        let Some((page, rest)) = take(&mut bytes).split_at_mut_checked(whole) else {
            return;
        };
        page[22..26].fill(0);
        let sum = page.iter().fold(0_u32, |sum, &byte| {
            let shift = |sum: u32, _| (sum << 1) ^ ((sum >> 31) * 0x04c1_1db7);
            (0..8).fold(sum ^ (u32::from(byte) << 24), shift)
        });
        page[22..26].copy_from_slice(&sum.to_le_bytes());
        bytes = rest;
    }
}

fn change(bytes: &mut Vec<u8>, other: &[u8], target: &Target, random: &mut Rng) {
    if bytes.is_empty() {
        bytes.extend(other);
        return;
    }
    let within = match target.header {
        Some(header) if random.u8(..4) > 0 => header.min(bytes.len()),
        _ => bytes.len(),
    };
    let at = random.usize(..within);
    let longest = 1 << random.u32(..8);
    let stretch = at..(at + 1 + random.usize(..longest)).min(bytes.len());
    match random.u8(..15) {
        0 => bytes[at] ^= 1 << random.u32(..8),
        1 => bytes[at] = random.u8(..),
        2 => number(&mut bytes[at..], random),
        3 => drop(bytes.drain(stretch)),
        4 => {
            let copy = bytes[stretch].to_vec();
            let to = random.usize(..=bytes.len());
            bytes.splice(to..to, copy);
        }
        5 => bytes.truncate(at),
        6 => bytes[stretch].fill_with(|| random.u8(..)),
        7 | 8 => {
            if let Some(word) = random.choice(target.words) {
                let over = if random.bool() { 0 } else { word.len() };
                bytes.splice(at..(at + over).min(bytes.len()), word.iter().copied());
            }
        }
        9 if !other.is_empty() => {
            let from = random.usize(..other.len());
            let to = (from + random.usize(..256)).min(other.len());
            bytes.splice(stretch, other[from..to].iter().copied());
        }
        10 if !other.is_empty() => {
            bytes.truncate(at);
            bytes.extend(&other[random.usize(..other.len())..]);
        }
        // sizes and counts stand beside the words
        11 => {
            if let Some(word) = a_word(bytes, target, random) {
                let beside = if random.bool() {
                    word.end
                } else {
                    word.start.saturating_sub(4)
                };
                number(&mut bytes[beside..], random);
            }
        }
        // from one word to another, left out or once more
        12 => {
            let places =
                [0; 2].map(|_| a_word(bytes, target, random).map_or(at, |word| word.start));
            let piece = places[0].min(places[1])..places[0].max(places[1]);
            if random.bool() {
                bytes.drain(piece);
            } else {
                let copy = bytes[piece].to_vec();
                bytes.splice(at..at, copy);
            }
        }
        13 => {
            let digit = |byte: &u8| byte.is_ascii_digit();
            if let Some(from) = bytes[at..].iter().position(digit) {
                let from = at + from;
                let digits = bytes[from..].iter().take_while(|byte| digit(byte)).count();
                let other = EDGES[random.usize(..EDGES.len())].to_string();
                bytes.splice(from..from + digits, other.into_bytes());
            }
        }
        _ => {
            let repeated = bytes[stretch].repeat(1 + random.usize(..64));
            bytes.splice(at..at, repeated);
        }
    }
}

/// Where one of the words of the target stands.
fn a_word(bytes: &[u8], target: &Target, random: &mut Rng) -> Option<Range<usize>> {
    let word = *random.choice(target.words)?;
    let from = random.usize(..=bytes.len());
    let places = bytes.windows(word.len()).enumerate();
    let mut places = places.filter(|(_, there)| *there == word);
    let first = places.next()?.0;
    let at = places
        .find(|place| place.0 >= from)
        .map_or(first, |place| place.0);
    Some(at..at + word.len())
}

/// A number of one to eight bytes, at an edge or near what it was.
fn number(bytes: &mut [u8], random: &mut Rng) {
    let size = (1 << random.u32(..4)).min(bytes.len());
    let was = bytes[..size]
        .iter()
        .fold(0_u64, |number, &byte| number << 8 | u64::from(byte));
    let now = match random.bool() {
        true => EDGES[random.usize(..EDGES.len())],
        false => was.wrapping_add(random.u64(..64)).wrapping_sub(32),
    };
    let big = now.to_be_bytes();
    bytes[..size].copy_from_slice(&big[8 - size..]);
    if random.bool() {
        bytes[..size].reverse();
    }
}
