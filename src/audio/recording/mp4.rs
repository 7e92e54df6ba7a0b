//! What an MP4 file says about when its sound starts: the edit list, which the decoder leaves alone; and where a file ends that was cut.
//!
//! Input: a seekable MP4 or M4A file. Output: [`Presentation`]: silence before the sound, and sound to be skipped; [`Extent`]: whether the
//! index is there, and how long the file was before it was cut.
//! Units: ticks of the media and movie time scales (ticks a second); bytes. Method: ISO/IEC 14496-12, boxes moov, trak, mdhd, edts, elst;
//! an empty edit (media time -1) delays the sound, the first other edit says at which tick of the media it starts. The decoder refuses a
//! box that is longer than the file, so a cut file is given the length that its boxes state ([`Stated`]).
//! Limits: only the first edits are read; a list that repeats or reorders parts of the sound is not followed.

use std::io::{self, Read, Seek, SeekFrom};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use symphonia::core::io::MediaSource;

/// When the sound of an MP4 track starts, in seconds; both 0 or more.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Presentation {
    /// Silence before the first sample.
    pub delay_seconds: f64,
    /// Decoded sound that comes before time 0: the encoder's priming.
    pub skip_seconds: f64,
    /// How long the track is shown; `None` where the list does not say.
    pub length_seconds: Option<f64>,
}

/// True if a file that starts with `head` (8 bytes or more) is an MP4.
pub fn is_mp4(head: &[u8]) -> bool {
    head.len() >= 8 && &head[4..8] == b"ftyp"
}

/// What the boxes of a file say about its extent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Extent {
    /// True if the index is there, whole: without it no sound can be found.
    pub has_index: bool,
    /// True if it is described as pictures are (HEIF, ISO/IEC 23008-12), which have no such index.
    pub is_picture: bool,
    /// Where the last box ends by its own word; beyond the file where that was cut.
    pub stated_end: u64,
}

/// Boxes that are walked at most; a fragment each second for a day has two.
const MOST_BOXES: usize = 200_000;

/// Walks the outermost boxes. The position is changed.
///
/// # Errors
/// If the file cannot be read.
pub fn extent<R: Read + Seek>(file: &mut R) -> io::Result<Extent> {
    let length = file.seek(SeekFrom::End(0))?;
    let mut extent = Extent {
        has_index: false,
        is_picture: false,
        stated_end: length,
    };
    let mut position = 0;
    for _ in 0..MOST_BOXES {
        let Some((name, _, size)) = box_at(file, position, length) else {
            break;
        };
        let Some(end) = position.checked_add(size).filter(|&end| end > position) else {
            break;
        };
        extent.has_index |= &name == b"moov" && end <= length;
        extent.is_picture |= &name == b"meta";
        if &name == b"mdat" {
            extent.stated_end = extent.stated_end.max(end);
        }
        position = end;
    }
    Ok(extent)
}

/// Name, length of the header and length of the whole box at `position`, which ends at `end` where it does not say how long it is.
fn box_at<R: Read + Seek>(file: &mut R, position: u64, end: u64) -> Option<([u8; 4], u64, u64)> {
    if position.checked_add(8)? > end {
        return None;
    }
    file.seek(SeekFrom::Start(position)).ok()?;
    let short_size = u64::from(be32(file).ok()?);
    let mut name = [0; 4];
    file.read_exact(&mut name).ok()?;
    let (header, size) = match short_size {
        0 => (8, end - position),
        1 => (16, be64(file).ok()?),
        size => (8, size),
    };
    (size >= header).then_some((name, header, size))
}

/// A file that was cut, with the length that it states. While its format is recognised, what is missing reads as zeros, since the end of a file is looked
/// at too; after that it reads as the end.
pub struct Stated<S> {
    source: S,
    position: u64,
    length: u64,
    recognised: Arc<AtomicBool>,
    /// Zeros that may still be given: a file that states terabytes is not read through.
    zeros_left: usize,
}

/// The end of a file is looked at for some kilobytes.
const MOST_ZEROS: usize = 1 << 20;

impl<S> Stated<S> {
    /// `source`, which is at its start, as if it had `length` bytes.
    pub fn new(source: S, length: u64, recognised: Arc<AtomicBool>) -> Self {
        Self {
            source,
            position: 0,
            length,
            recognised,
            zeros_left: MOST_ZEROS,
        }
    }
}

impl<S: Read> Read for Stated<S> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let mut count = self.source.read(buffer)?;
        if count == 0 && !self.recognised.load(Ordering::Relaxed) {
            let missing = self.length.saturating_sub(self.position);
            let most = buffer.len().min(self.zeros_left);
            count = usize::try_from(missing).unwrap_or(usize::MAX).min(most);
            buffer[..count].fill(0);
            self.zeros_left -= count;
        }
        self.position += count as u64;
        Ok(count)
    }
}

impl<S: Seek> Seek for Stated<S> {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        let position = match to {
            SeekFrom::Start(position) => Some(position),
            SeekFrom::Current(offset) => self.position.checked_add_signed(offset),
            SeekFrom::End(offset) => self.length.checked_add_signed(offset),
        };
        let position = position.ok_or(io::ErrorKind::InvalidInput)?;
        self.position = self.source.seek(SeekFrom::Start(position))?;
        Ok(self.position)
    }
}

impl<S: MediaSource> MediaSource for Stated<S> {
    fn is_seekable(&self) -> bool {
        self.source.is_seekable()
    }

    fn byte_len(&self) -> Option<u64> {
        Some(self.length)
    }
}

/// The edit list of track `track_id`; `None` where there is none or it cannot be read.
pub fn presentation<R: Read + Seek>(file: &mut R, track_id: u32) -> Option<Presentation> {
    let end = file.seek(SeekFrom::End(0)).ok()?;
    let moov = find(file, Span { start: 0, end }, b"moov")?;
    let mvhd = find(file, moov, b"mvhd")?;
    let movie_scale = time_scale(file, mvhd)?;
    let mut rest = moov;
    while let Some(trak) = find(file, rest, b"trak") {
        rest.start = trak.end;
        let tkhd = find(file, trak, b"tkhd")?;
        if track_number(file, tkhd)? != track_id {
            continue;
        }
        let mdia = find(file, trak, b"mdia")?;
        let mdhd = find(file, mdia, b"mdhd")?;
        let media_scale = time_scale(file, mdhd)?;
        let edts = find(file, trak, b"edts")?;
        let elst = find(file, edts, b"elst")?;
        return edits(file, elst, movie_scale, media_scale);
    }
    None
}

/// The payload of a box, as byte positions in the file.
#[derive(Debug, Clone, Copy)]
struct Span {
    start: u64,
    end: u64,
}

/// The first box called `kind` within `span`.
fn find<R: Read + Seek>(file: &mut R, span: Span, kind: &[u8; 4]) -> Option<Span> {
    let mut position = span.start;
    while let Some((name, header, size)) = box_at(file, position, span.end) {
        let end = position.checked_add(size)?.min(span.end);
        if &name == kind {
            return Some(Span {
                start: position + header,
                end,
            });
        }
        position = end;
    }
    None
}

/// `timescale` of an mvhd or mdhd box: after two times of 4 bytes (version 0) or 8 (version 1).
fn time_scale<R: Read + Seek>(file: &mut R, span: Span) -> Option<f64> {
    let times = if version(file, span)? == 1 { 16 } else { 8 };
    file.seek(SeekFrom::Current(times)).ok()?;
    be32(file).ok().filter(|&scale| scale > 0).map(f64::from)
}

fn track_number<R: Read + Seek>(file: &mut R, span: Span) -> Option<u32> {
    let times = if version(file, span)? == 1 { 16 } else { 8 };
    file.seek(SeekFrom::Current(times)).ok()?;
    be32(file).ok()
}

/// Reads version and flags at the start of a full box.
fn version<R: Read + Seek>(file: &mut R, span: Span) -> Option<u8> {
    file.seek(SeekFrom::Start(span.start)).ok()?;
    be32(file).ok().map(|word| (word >> 24) as u8)
}

fn edits<R: Read + Seek>(
    file: &mut R,
    elst: Span,
    movie_scale: f64,
    media_scale: f64,
) -> Option<Presentation> {
    let long = version(file, elst)? == 1;
    let count = be32(file).ok()?;
    let mut delay_seconds = 0.0;
    // Empty edits come first; more than a few of them make no sense.
    for _ in 0..count.min(8) {
        let (length, media_time) = if long {
            (be64(file).ok()?, be64(file).ok()? as i64)
        } else {
            (
                u64::from(be32(file).ok()?),
                i64::from(be32(file).ok()? as i32),
            )
        };
        be32(file).ok()?;
        let seconds = length as f64 / movie_scale;
        if media_time < 0 {
            delay_seconds += seconds;
            continue;
        }
        return Some(Presentation {
            delay_seconds,
            skip_seconds: media_time as f64 / media_scale,
            // Fragmented files state 0, since the length was not known when the list was written.
            length_seconds: (length > 0 && count == 1).then_some(seconds),
        });
    }
    None
}

fn be32<R: Read>(file: &mut R) -> io::Result<u32> {
    let mut bytes = [0; 4];
    file.read_exact(&mut bytes)?;
    Ok(u32::from_be_bytes(bytes))
}

fn be64<R: Read>(file: &mut R) -> io::Result<u64> {
    let mut bytes = [0; 8];
    file.read_exact(&mut bytes)?;
    Ok(u64::from_be_bytes(bytes))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Cursor;

    fn a_box(name: &[u8; 4], size: u32, content: usize) -> Vec<u8> {
        let mut whole = size.to_be_bytes().to_vec();
        whole.extend(name);
        whole.resize(8 + content, 0);
        whole
    }

    #[test]
    fn what_is_missing_reads_as_some_zeros_until_the_format_is_recognised() {
        let recognised = Arc::new(AtomicBool::new(false));
        let mut cut = Stated::new(Cursor::new(b"mdat"), u64::MAX / 2, recognised.clone());
        let mut all = Vec::new();
        cut.read_to_end(&mut all).unwrap();
        assert_eq!(all.len(), 4 + MOST_ZEROS);
        assert_eq!(cut.seek(SeekFrom::End(-8)).unwrap(), u64::MAX / 2 - 8);
        let mut again = Stated::new(Cursor::new(b"mdat"), 100, recognised.clone());
        recognised.store(true, Ordering::Relaxed);
        all.clear();
        again.read_to_end(&mut all).unwrap();
        assert_eq!(all, b"mdat");
    }

    #[test]
    fn a_cut_file_states_more_than_it_has_and_keeps_an_index_that_comes_first() {
        let (ftyp, moov) = (a_box(b"ftyp", 16, 8), a_box(b"moov", 20, 12));
        let (whole, cut) = (a_box(b"mdat", 108, 100), a_box(b"mdat", 108, 50));
        let extent = |boxes: &[&[u8]]| extent(&mut Cursor::new(boxes.concat())).unwrap();
        let of = |has_index, stated_end| Extent {
            has_index,
            is_picture: false,
            stated_end,
        };
        assert_eq!(extent(&[&ftyp, &moov, &whole]), of(true, 144));
        assert_eq!(extent(&[&ftyp, &moov, &cut]), of(true, 144));
        assert_eq!(extent(&[&ftyp, &whole, &moov]), of(true, 144));
        assert_eq!(extent(&[&ftyp, &cut]), of(false, 124));
        assert_eq!(extent(&[&ftyp, &whole, &moov[..15]]), of(false, 139));
        let picture = [&ftyp[..], &a_box(b"meta", 16, 8), &whole].concat();
        assert!(super::extent(&mut Cursor::new(picture)).unwrap().is_picture);
        // sizes that lead nowhere end the walk
        assert_eq!(extent(&[&a_box(b"ftyp", 3, 8)]), of(false, 16));
        let endless = [&[0, 0, 0, 1][..], b"mdat", &[0xFF; 8]].concat();
        assert!(!extent(&[&ftyp, &endless]).has_index);
    }
}
