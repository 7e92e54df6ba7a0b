//! Whether the header of a CAF file makes sense, which the decoder takes at its word.
//!
//! Input: a seekable CAF file. Output: what is wrong with its header, if anything is. Units: bytes.
//! Method: Apple Core Audio Format: a header of 8 bytes, then chunks of a name (4), a size (8, big-endian) and content; `desc` comes first.
//! Limits: what the chunks hold is left to the decoder.

use std::io::{self, Read, Seek, SeekFrom};

const MARKER: &[u8; 4] = b"caff";
const FILE_HEADER: u64 = 8;
const CHUNK_HEADER: u64 = 12;
/// A file has a dozen kinds of chunks.
const MOST_CHUNKS: usize = 1000;
/// Larger numbers than these are none of sound: bytes and frames of a packet, channels, bits of a sample.
const LARGEST: [(usize, u32); 4] = [(16, 1 << 20), (20, 1 << 20), (24, 256), (28, 64)];

/// True if a file that starts with `head` is CAF.
pub fn is_caf(head: &[u8]) -> bool {
    head.starts_with(MARKER)
}

/// The coding, for people: its four letters, which stand in the chunk `desc` after the rate.
pub fn coding(head: &[u8]) -> Option<String> {
    const CODING_AT: usize = (FILE_HEADER + CHUNK_HEADER) as usize + 8;
    let coding = is_caf(head).then(|| head.get(CODING_AT..CODING_AT + 4))??;
    let printable = coding.iter().all(|byte| (b' '..=b'~').contains(byte));
    let letters: String = coding.iter().map(|&byte| char::from(byte)).collect();
    Some(match letters.trim_end() {
        "aac" => "AAC in CAF".into(),
        letters if printable => format!("'{letters}' in CAF"),
        _ => "something unknown in CAF".into(),
    })
}

/// What is wrong with the header, as the end of a sentence. The position is changed.
///
/// # Errors
/// If the file cannot be read.
pub fn fault(file: &mut (impl Read + Seek), length: u64) -> io::Result<Option<&'static str>> {
    match look(file, length) {
        // what ends too early is told by the decoder
        Err(error) if error.kind() == io::ErrorKind::UnexpectedEof => Ok(None),
        other => other,
    }
}

fn look(file: &mut (impl Read + Seek), length: u64) -> io::Result<Option<&'static str>> {
    let mut position = FILE_HEADER;
    for _ in 0..MOST_CHUNKS {
        file.seek(SeekFrom::Start(position))?;
        let (mut name, mut size) = ([0; 4], [0; 8]);
        file.read_exact(&mut name)?;
        file.read_exact(&mut size)?;
        if &name == b"data" {
            break;
        }
        let end = u64::try_from(i64::from_be_bytes(size))
            .ok()
            .and_then(|size| (position + CHUNK_HEADER).checked_add(size))
            .filter(|&end| end <= length);
        let Some(end) = end else {
            return Ok(Some("a part of its header is longer than the file"));
        };
        if &name == b"desc" {
            let mut description = [0; 32];
            file.read_exact(&mut description)?;
            let beyond = |&(at, largest): &(usize, u32)| {
                let number = description[at..]
                    .first_chunk()
                    .copied()
                    .map(u32::from_be_bytes);
                number.is_none_or(|number| number > largest)
            };
            if LARGEST.iter().any(beyond) {
                return Ok(Some("its header claims packets that are none of sound"));
            }
        }
        position = end;
    }
    Ok(None)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Cursor;

    fn caf(bytes_a_packet: u32, chunk: i64) -> Vec<u8> {
        let mut file = b"caff\0\x01\0\0desc".to_vec();
        file.extend(32_i64.to_be_bytes());
        file.extend(44_100_f64.to_be_bytes());
        file.extend(b"lpcm\0\0\0\x02");
        for number in [bytes_a_packet, 1, 1, 16] {
            file.extend(number.to_be_bytes());
        }
        file.extend(b"kuki");
        file.extend(chunk.to_be_bytes());
        file.extend([0; 10]);
        file.extend(b"data\xff\xff\xff\xff\xff\xff\xff\xff");
        file
    }

    #[test]
    fn impossible_sizes_are_noticed_before_the_decoder_takes_them_at_their_word() {
        let fault = |file: Vec<u8>| fault(&mut Cursor::new(&file), file.len() as u64).unwrap();
        assert_eq!(fault(caf(2, 10)), None);
        assert!(fault(caf(0x2000_0002, 10)).unwrap().contains("packets"));
        for size in [1 << 60, -1] {
            assert!(fault(caf(2, size)).unwrap().contains("longer"));
        }
        assert_eq!(fault(b"caff".to_vec()), None);
    }
}
