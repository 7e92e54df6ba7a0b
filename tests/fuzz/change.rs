//! Changes of an input: some bytes, some numbers, some stretches, words of its language, parts of another.

use super::targets::Target;
use fastrand::Rng;

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
    bytes
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
    match random.u8(..12) {
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
        _ => {
            let repeated = bytes[stretch].repeat(1 + random.usize(..64));
            bytes.splice(at..at, repeated);
        }
    }
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
