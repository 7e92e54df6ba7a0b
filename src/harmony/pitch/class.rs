//! Pitch classes and sets of them.
//!
//! Input: MIDI numbers. Output: [`PitchClass`] (0 is C) and [`PitchSet`] (one bit a class).
//! Units and ranges: classes 0 to 11, sets of 12 bits; bit 0 is the class the set is counted from.
//! Method: pitch-class sets as usual in music theory (Forte, The Structure of Atonal Music, 1973, ch. 1).
//! Limits: octaves are forgotten here; whoever needs the lowest note must keep it beside the set.

use crate::units::MidiNote;
use serde::{Deserialize, Serialize};

/// A note name without its octave: 0 is C, 11 is B.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct PitchClass(u8);

impl PitchClass {
    /// Any number of half steps above C, folded into one octave.
    pub const fn new(half_steps_above_c: i32) -> Self {
        Self(half_steps_above_c.rem_euclid(12) as u8)
    }

    /// 0 (C) to 11 (B).
    pub const fn get(self) -> u8 {
        self.0
    }

    /// The class `half_steps` above (below, if negative).
    pub const fn up(self, half_steps: i32) -> Self {
        Self::new(self.0 as i32 + half_steps)
    }

    /// Half steps from `lower` up to this class, 0 to 11.
    pub const fn above(self, lower: PitchClass) -> u8 {
        (self.0 + 12 - lower.0) % 12
    }

    /// All twelve, from C.
    pub fn all() -> impl Iterator<Item = PitchClass> {
        (0..12).map(PitchClass)
    }
}

impl From<MidiNote> for PitchClass {
    fn from(note: MidiNote) -> Self {
        Self(note.get() % 12)
    }
}

/// A set of pitch classes, one bit each.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct PitchSet(u16);

impl PitchSet {
    /// Nothing sounds.
    pub const EMPTY: PitchSet = PitchSet(0);

    /// The set with these twelve bits (higher bits are dropped).
    pub const fn from_bits(bits: u16) -> Self {
        Self(bits & 0xFFF)
    }

    /// The twelve bits.
    pub const fn bits(self) -> u16 {
        self.0
    }

    /// The set with `class` added.
    #[must_use]
    pub const fn with(self, class: PitchClass) -> Self {
        Self(self.0 | (1 << class.0))
    }

    /// The set with `class` taken out.
    #[must_use]
    pub const fn without(self, class: PitchClass) -> Self {
        Self(self.0 & !(1 << class.0))
    }

    /// True if `class` is in the set.
    pub const fn contains(self, class: PitchClass) -> bool {
        self.0 & (1 << class.0) != 0
    }

    /// How many classes are in it.
    pub const fn len(self) -> u32 {
        self.0.count_ones()
    }

    /// True if none is in it.
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// The same set counted from `root`: bit 0 is then the root.
    #[must_use]
    pub const fn seen_from(self, root: PitchClass) -> Self {
        let r = root.0 as u32;
        Self(((self.0 >> r) | (self.0 << (12 - r))) & 0xFFF)
    }

    /// The reverse of [`PitchSet::seen_from`]: a set counted from `root` as absolute classes.
    #[must_use]
    pub const fn placed_on(self, root: PitchClass) -> Self {
        self.seen_from(PitchClass::new(-(root.0 as i32)))
    }

    /// The classes in it, from C upwards.
    pub fn iter(self) -> impl Iterator<Item = PitchClass> {
        PitchClass::all().filter(move |&class| self.contains(class))
    }
}

impl FromIterator<PitchClass> for PitchSet {
    fn from_iter<I: IntoIterator<Item = PitchClass>>(classes: I) -> Self {
        classes.into_iter().fold(Self::EMPTY, Self::with)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn seen_from_its_root_a_chord_has_the_same_bits_in_every_key() {
        let dim_maj7 = PitchSet::from_bits(0b1000_0100_1001);
        for root in PitchClass::all() {
            let placed = dim_maj7.placed_on(root);
            assert!(placed.contains(root) && placed.contains(root.up(11)));
            assert_eq!(placed.seen_from(root), dim_maj7);
        }
    }

    #[test]
    fn classes_fold_and_count_upwards() {
        assert_eq!(PitchClass::new(-1).get(), 11);
        assert_eq!(PitchClass::new(2).above(PitchClass::new(11)), 3);
    }
}
