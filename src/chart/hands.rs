//! Which hand plays which key.
//!
//! Input: keys that are struck or held together, lowest first, and where the hands parted before. Output: how many of them the left hand takes.
//! Units: half steps, keys. Method: every way of parting is weighed, and the cheapest wins: a hand spans an octave with ease and a tenth at most, holds five
//! keys, stays in its own half of the keyboard, parts from the other where the gap is widest, and does not wander from where it was. The
//! considerations are those of Parncutt et al., An ergonomic model of keyboard fingering, Music Perception 14 (1997), taken for whole hands;
//! the weights are our own, in half steps.
//! Limits: crossed hands are not told; what the pedal holds counts as held by fingers.

use crate::units::MidiNote;

/// Widest stretch of one hand: a tenth.
const REACH: i32 = 16;
/// What it spans with ease: an octave.
const EASE: i32 = 12;
/// Keys of one hand.
const FINGERS: usize = 5;
/// Each half step beyond [`EASE`], and beyond [`REACH`].
const STRETCH: i32 = 3;
const BEYOND_REACH: i32 = 30;
/// A key too many for a hand.
const NO_FINGER: i32 = 40;
/// The left hand seldom goes above this key (F4), the right one seldom below that (G3); each half step costs.
const LEFT_TOP: i32 = 65;
const RIGHT_BOTTOM: i32 = 55;
const OUT_OF_PLACE: i32 = 2;
/// From middle C up a chord alone belongs to the right hand, below it to the left: each key on the other side costs a little.
const MIDDLE: i32 = 60;
const OTHER_SIDE: i32 = 2;
/// What it costs to take both hands: what one holds with ease, one plays.
const BOTH_HANDS: i32 = 9;
/// Half steps of the gap between the hands that count in its favour.
const GAP: i32 = 6;
/// Half steps by which the hands wander from where they parted are cheaper than others by this factor.
const WANDER: i32 = 4;

/// How many of `keys` (lowest first) the left hand takes; `before` is the key between the hands a moment ago.
pub fn left_hand_keys(keys: &[MidiNote], before: Option<MidiNote>) -> usize {
    let keys: Vec<i32> = keys.iter().map(|key| i32::from(key.get())).collect();
    let before = before.map(|key| i32::from(key.get()));
    (0..=keys.len())
        .min_by_key(|&left| cost(&keys, left, before))
        .unwrap_or(0)
}

/// The key between the hands: the lowest of the right, or just above the highest of the left.
pub fn parting(keys: &[MidiNote], left: usize) -> Option<MidiNote> {
    match keys.get(left) {
        Some(&key) => Some(key),
        None => keys.last().copied(),
    }
}

fn cost(keys: &[i32], left: usize, before: Option<i32>) -> i32 {
    let (low, high) = keys.split_at(left);
    let hand = |keys: &[i32]| {
        let span = keys
            .last()
            .zip(keys.first())
            .map_or(0, |(top, low)| top - low);
        STRETCH * (span - EASE).max(0)
            + BEYOND_REACH * (span - REACH).max(0)
            + NO_FINGER * keys.len().saturating_sub(FINGERS) as i32
    };
    let side =
        |keys: &[i32], out: &dyn Fn(i32) -> i32| keys.iter().map(|&key| out(key)).sum::<i32>();
    let left_out =
        |key: i32| OUT_OF_PLACE * (key - LEFT_TOP).max(0) + OTHER_SIDE * i32::from(key >= MIDDLE);
    let right_out = |key: i32| {
        OUT_OF_PLACE * (RIGHT_BOTTOM - key).max(0) + OTHER_SIDE * i32::from(key < MIDDLE)
    };
    let gap = match (low.last(), high.first()) {
        (Some(low), Some(high)) => (high - low).min(GAP),
        _ => 0,
    };
    let parted = high.first().or(low.last()).copied();
    let wandered = before
        .zip(parted)
        .map_or(0, |(before, now)| (before - now).abs() / WANDER);
    let both = if low.is_empty() || high.is_empty() {
        0
    } else {
        BOTH_HANDS
    };
    hand(low) + hand(high) + side(low, &left_out) + side(high, &right_out) + wandered + both - gap
}

#[cfg(test)]
mod tests {
    use super::*;

    fn left(keys: &[u8]) -> usize {
        let keys: Vec<MidiNote> = keys
            .iter()
            .map(|&key| MidiNote::new(key).unwrap())
            .collect();
        left_hand_keys(&keys, None)
    }

    #[test]
    fn hands_part_where_a_pianist_parts_them() {
        // a bass note and a chord; a shell below three notes; two hands an octave apart
        assert_eq!(left(&[36, 60, 64, 67, 71]), 1);
        assert_eq!(left(&[38, 48, 65, 69, 72]), 2);
        assert_eq!(left(&[48, 52, 55, 64, 67, 72]), 3);
        // close chords of one hand on their side of middle C
        assert_eq!(left(&[62, 65, 68, 73]), 0);
        assert_eq!(left(&[45, 48, 52, 55]), 4);
        assert_eq!(left(&[50, 53, 56, 61]), 4);
        assert_eq!(left(&[41, 48, 52, 57, 72]), 3);
        assert_eq!(left(&[]), 0);
    }

    #[test]
    fn no_hand_holds_more_than_it_can_reach_where_two_are_enough() {
        for low in 28..60_u8 {
            for span in [17, 20, 24, 28] {
                let keys = [low, low + 7, low + 12, low + span];
                let parted = left(&keys);
                let (a, b) = keys.split_at(parted);
                for hand in [a, b] {
                    let span = hand
                        .last()
                        .zip(hand.first())
                        .map_or(0, |(top, low)| top - low);
                    assert!(span <= 16, "{keys:?} parted at {parted}");
                }
            }
        }
    }
}
