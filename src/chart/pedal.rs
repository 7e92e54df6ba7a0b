//! Where the pedal must hold what the hands cannot.
//!
//! Input: the notes of a recording, and a stretch of it. Output: whether the pedal is down there.
//! Units: half steps, frames at the internal rate. Method: our own: two hands, each over at most a tenth with at most
//! six keys, cannot hold everything that sounds at one moment.
//! Limits: a pedal under notes that the hands could hold as well leaves no trace in the notes, and is not told; strings that ring
//! along and wide rolls of very large hands may be taken for it.

use crate::listener::{Certainty, ChordSpan, NoteSpan};
use crate::units::{MidiNote, SamplePos};

/// Widest stretch of one hand in half steps: a tenth.
const REACH: i16 = 16;
/// Keys that one hand holds at most: a thumb may take two.
const FINGERS: usize = 6;
/// Notes count as sounding together once they overlap by this much (150 ms): a hand needs time to leave.
const OVERLAP: u64 = 3308;

/// Whether, at some moment of `span`, more sounds than two hands hold. `notes` are those of the recording, by start.
pub fn pedal_must_be_down(span: &ChordSpan, notes: &[NoteSpan]) -> bool {
    let before_end = notes.partition_point(|note| note.start < span.end);
    let within: Vec<&NoteSpan> = notes[..before_end]
        .iter()
        .filter(|note| note.end > span.start && note.note.certainty != Certainty::Inferred)
        .collect();
    within.iter().any(|latest| {
        let moment = SamplePos::new(latest.start.get().max(span.start.get()) + OVERLAP);
        let mut keys: Vec<MidiNote> = within
            .iter()
            .filter(|note| note.start <= latest.start && note.end >= moment)
            .map(|note| note.note.midi)
            .collect();
        keys.sort();
        keys.dedup();
        hands_for(&keys) > 2
    })
}

/// The fewest hands that hold `keys`, lowest first: each takes as much as it can from below.
fn hands_for(keys: &[MidiNote]) -> usize {
    let (mut hands, mut rest) = (0, keys);
    while let Some(&lowest) = rest.first() {
        let held = rest
            .iter()
            .take(FINGERS)
            .take_while(|&&key| (key - lowest).0 <= REACH)
            .count();
        rest = &rest[held..];
        hands += 1;
    }
    hands
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hands(keys: &[u8]) -> usize {
        let keys: Vec<MidiNote> = keys.iter().map(|&k| MidiNote::new(k).unwrap()).collect();
        hands_for(&keys)
    }

    #[test]
    fn a_two_handed_voicing_needs_no_pedal_and_a_chord_over_five_octaves_does() {
        assert_eq!(hands(&[36, 52, 60, 64, 67, 76]), 2);
        assert_eq!(hands(&[36, 43, 52, 59, 64, 71, 79, 88]), 3);
        assert_eq!(hands(&[60, 61, 62, 63, 64, 65, 66]), 2);
        assert_eq!(hands(&[]), 0);
    }
}
