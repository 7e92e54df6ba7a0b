//! Whether an Ogg file has its end.
//!
//! Input: a seekable Ogg file. Output: true if its last page is whole and says that it is the last. Units: bytes.
//! Method: RFC 3533, section 6: pages begin with `OggS`; the type in byte 5 has bit 2 on the last page of a stream, and the segment table
//! after byte 26 says how long the page is.
//! Limits: a stream whose writer never marks its end reads like one that was cut.

use std::io::{self, Read, Seek, SeekFrom};

const MARKER: &[u8; 4] = b"OggS";
const TYPE_AT: usize = 5;
const LAST_PAGE: u8 = 0x04;
const SEGMENTS_AT: usize = 26;
/// The longest page: header, 255 lengths, 255 segments of 255 bytes.
const LONGEST_PAGE: u64 = 27 + 255 + 255 * 255;

/// True if a file that starts with `head` is Ogg.
pub fn is_ogg(head: &[u8]) -> bool {
    head.starts_with(MARKER)
}

/// True if the last page is there to its end and marked as the last. The position is changed.
///
/// # Errors
/// If the file cannot be read.
pub fn has_its_end(file: &mut (impl Read + Seek)) -> io::Result<bool> {
    let length = file.seek(SeekFrom::End(0))?;
    file.seek(SeekFrom::Start(length.saturating_sub(2 * LONGEST_PAGE)))?;
    let mut tail = Vec::new();
    file.take(2 * LONGEST_PAGE).read_to_end(&mut tail)?;
    let last = tail
        .windows(MARKER.len())
        .rposition(|bytes| bytes == MARKER);
    Ok(last.is_some_and(|at| page_is_whole_and_last(&tail[at..])))
}

fn page_is_whole_and_last(page: &[u8]) -> bool {
    let (Some(kind), Some(&segments)) = (page.get(TYPE_AT), page.get(SEGMENTS_AT)) else {
        return false;
    };
    let table = SEGMENTS_AT + 1..SEGMENTS_AT + 1 + usize::from(segments);
    let Some(lengths) = page.get(table.clone()) else {
        return false;
    };
    let body: usize = lengths.iter().map(|&length| usize::from(length)).sum();
    kind & LAST_PAGE != 0 && table.end + body <= page.len()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Cursor;

    fn page(kind: u8) -> Vec<u8> {
        let mut page = MARKER.to_vec();
        page.extend([0, kind]);
        page.resize(SEGMENTS_AT, 0);
        page.extend([2, 10, 20]);
        page.resize(page.len() + 30, b'x');
        page
    }

    #[test]
    fn only_a_whole_last_page_is_an_end() {
        let whole = [page(2), page(0), page(LAST_PAGE)].concat();
        assert!(has_its_end(&mut Cursor::new(&whole)).unwrap());
        for cut in [1, 29, 31, 40, 60, 100] {
            let cut = &whole[..whole.len() - cut];
            assert!(!has_its_end(&mut Cursor::new(cut)).unwrap());
        }
        assert!(!has_its_end(&mut Cursor::new(b"")).unwrap());
    }
}
