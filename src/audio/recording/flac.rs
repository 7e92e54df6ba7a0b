//! FLAC whose header counts the last, shorter block.
//!
//! Input: a FLAC file. Output: the same bytes, the smallest block size in the header put right where it has to be.
//! Units: bytes from the start. Method: RFC 9639, section 8.2: the smallest block is stated without the last one, so that equal
//! sizes mean blocks of one size. Some encoders count the last one too; the frames themselves say that all blocks are of one
//! size (section 9.1.1: the bit after the sync code), and the decoder, which goes by the header, would find none of them.
//! Limits: a file that begins with something else than the FLAC marker is left alone.

use std::io::{self, Read, Seek, SeekFrom};
use symphonia::core::io::MediaSource;

const MARKER: &[u8; 4] = b"fLaC";
/// Where the smallest block size stands: after the marker and the header of the first metadata block; the largest follows.
const SMALLEST_AT: u64 = 8;
const HEADER_BYTES: usize = 12;
/// A metadata block of more bytes is a picture at most; beyond so many blocks there is no sound.
const MOST_BLOCKS: usize = 1000;
/// The sync code of a frame in a stream of blocks of one size.
const FIXED_SYNC: [u8; 2] = [0xff, 0xf8];

/// The size to be read in place of the smallest one; `None` where the header is right. The position is changed.
///
/// # Errors
/// If the file cannot be read.
pub fn right_smallest_block(file: &mut (impl Read + Seek)) -> io::Result<Option<[u8; 2]>> {
    match look(file) {
        // what ends too early is told by the decoder
        Err(error) if error.kind() == io::ErrorKind::UnexpectedEof => Ok(None),
        other => other,
    }
}

fn look(file: &mut (impl Read + Seek)) -> io::Result<Option<[u8; 2]>> {
    let mut header = [0; HEADER_BYTES];
    file.seek(SeekFrom::Start(0))?;
    file.read_exact(&mut header)?;
    if !header.starts_with(MARKER) || header[8..10] == header[10..12] {
        return Ok(None);
    }
    file.seek(SeekFrom::Start(MARKER.len() as u64))?;
    for _ in 0..MOST_BLOCKS {
        let mut block = [0; 4];
        file.read_exact(&mut block)?;
        let length = u32::from_be_bytes([0, block[1], block[2], block[3]]);
        file.seek(SeekFrom::Current(i64::from(length)))?;
        let last = block[0] & 0x80 != 0;
        if last {
            let mut sync = [0; 2];
            file.read_exact(&mut sync)?;
            return Ok((sync == FIXED_SYNC).then_some([header[10], header[11]]));
        }
    }
    Ok(None)
}

/// A source that reads another smallest block size than its header states.
pub struct Corrected<S> {
    source: S,
    position: u64,
    smallest: [u8; 2],
}

impl<S: Seek> Corrected<S> {
    /// Over `source`, from its start.
    ///
    /// # Errors
    /// If it cannot be rewound.
    pub fn new(mut source: S, smallest: [u8; 2]) -> io::Result<Self> {
        source.seek(SeekFrom::Start(0))?;
        Ok(Self {
            source,
            position: 0,
            smallest,
        })
    }
}

impl<S: Read> Read for Corrected<S> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let count = self.source.read(buffer)?;
        for (at, &byte) in (SMALLEST_AT..).zip(&self.smallest) {
            let within = at.checked_sub(self.position).map(|at| at as usize);
            if let Some(there) = within.filter(|&at| at < count) {
                buffer[there] = byte;
            }
        }
        self.position += count as u64;
        Ok(count)
    }
}

impl<S: Seek> Seek for Corrected<S> {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        self.position = self.source.seek(to)?;
        Ok(self.position)
    }
}

impl<S: MediaSource> MediaSource for Corrected<S> {
    fn is_seekable(&self) -> bool {
        self.source.is_seekable()
    }

    fn byte_len(&self) -> Option<u64> {
        self.source.byte_len()
    }
}
