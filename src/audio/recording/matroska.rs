//! Where a Matroska or WebM file ends by its own word.
//!
//! Input: its first bytes. Output: the length that its header states. Units: bytes.
//! Method: RFC 8794, section 4 (numbers of variable length), section 11.2.1 (EBML header); RFC 9559, section 5 (Segment).
//! Limits: what is recorded live states no length; a header longer than the bytes that are given is not followed.

const EBML: [u8; 4] = [0x1A, 0x45, 0xDF, 0xA3];
const SEGMENT: [u8; 4] = [0x18, 0x53, 0x80, 0x67];

/// True if a file that starts with `head` is Matroska or WebM.
pub fn is_matroska(head: &[u8]) -> bool {
    head.starts_with(&EBML)
}

/// The length of the whole file; `None` where it is not stated.
pub fn stated_length(head: &[u8]) -> Option<u64> {
    let (header, after) = number(head.strip_prefix(&EBML)?)?;
    let segment = after.get(usize::try_from(header?).ok()?..)?;
    let (length, after) = number(segment.strip_prefix(&SEGMENT)?)?;
    let before = head.len() - after.len();
    length?.checked_add(before as u64)
}

/// A number of one to eight bytes, `None` where all its bits are set, which stands for unknown; and what comes after it.
fn number(bytes: &[u8]) -> Option<(Option<u64>, &[u8])> {
    let length = bytes.first()?.leading_zeros() as usize + 1;
    let value = bytes.get(..length).filter(|_| length <= 8)?;
    let number = value
        .iter()
        .fold(0_u64, |number, &byte| number << 8 | u64::from(byte));
    let unmarked = number & ((1 << (7 * length)) - 1);
    let unknown = unmarked == (1 << (7 * length)) - 1;
    Some(((!unknown).then_some(unmarked), &bytes[length..]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_stated_length_is_read_and_one_that_is_not_known_is_none() {
        let head = |length: &[u8]| [&EBML[..], &[0x82, 1, 2], &SEGMENT, length, &[9; 20]].concat();
        assert_eq!(stated_length(&head(&[0x85])), Some(11 + 1 + 5));
        assert_eq!(stated_length(&head(&[0x41, 0x00])), Some(11 + 2 + 256));
        assert_eq!(
            stated_length(&head(&[0x01, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF])),
            None
        );
        assert_eq!(stated_length(&head(&[0xFF])), None);
        for cut in 0..=12 {
            assert_eq!(stated_length(&head(&[0x41, 0x00])[..cut]), None);
        }
        assert_eq!(stated_length(&[0; 40]), None);
    }
}
