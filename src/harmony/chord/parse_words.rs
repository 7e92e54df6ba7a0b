//! From the words of a chord symbol to its degrees.
//!
//! Input: the words that [`super::parse`] has read, in any order. Output: a [`DegreeSet`]. Units: degrees.
//! Method: the first number stacks thirds up to it, later ones only add their note; `11` over a major third is the suspended ninth
//! chord; an alteration takes the place of the plain degree of its number (Brandt and Roemer, 1976; Levine, 1995, ch. 2).
//! Limits: words that contradict each other are not refused; the last rule wins.

use crate::harmony::pitch::{Degree, DegreeSet};

/// What has been read of one chord.
#[derive(Default)]
pub(super) struct SymbolWords {
    pub minor: bool,
    pub diminished: bool,
    pub half_diminished: bool,
    pub augmented: bool,
    /// The last word was "maj": the next number brings a major seventh.
    pub major_word: bool,
    pub triangle: bool,
    pub major_seventh: bool,
    pub sus2: bool,
    pub sus4: bool,
    pub power: bool,
    pub sixth: bool,
    /// The number that stacks thirds: 7, 9, 11 or 13.
    pub stack: Option<u8>,
    pub alt: bool,
    pub altered: DegreeSet,
    pub added: DegreeSet,
    pub omitted_numbers: u16,
}

impl SymbolWords {
    pub(super) fn is_untouched(&self) -> bool {
        !(self.minor
            || self.diminished
            || self.half_diminished
            || self.augmented
            || self.major_word
            || self.sus2
            || self.sus4)
            && !(self.power || self.sixth || self.alt)
            && self.stack.is_none()
            && self.altered.is_empty()
            && self.added.is_empty()
    }

    /// The degrees all this adds up to.
    pub(super) fn degrees(&self) -> DegreeSet {
        let mut set = const { DegreeSet::of("1") };
        let small_third = self.minor || self.diminished || self.half_diminished;
        let suspended = self.sus2 || self.sus4;
        let stack = self
            .stack
            .or((self.triangle && !self.sixth || self.half_diminished || self.alt).then_some(7))
            // Phrygian: a suspended chord with a flat ninth is a dominant, its seventh written or not.
            .or((self.sus4 && self.altered.contains(Degree::FLAT_NINTH)).then_some(7));
        let major_seventh = self.major_seventh || (self.triangle && self.stack.is_none());
        if self.alt {
            return const { DegreeSet::of("1 3 b7 b9 #9 #11 b13") }.union(self.added);
        }
        let eleven_suspends =
            stack == Some(11) && !small_third && !major_seventh && !self.augmented;
        if self.sus2 {
            set = set.with(Degree::SECOND);
        }
        if self.sus4 || (eleven_suspends && !suspended) {
            set = set.with(Degree::FOURTH);
        }
        if small_third {
            set = set.with(Degree::MINOR_THIRD);
        } else if !suspended && !eleven_suspends && !self.power {
            set = set.with(Degree::THIRD);
        }
        set = set.with(if self.diminished || self.half_diminished {
            Degree::FLAT_FIFTH
        } else if self.augmented {
            Degree::SHARP_FIFTH
        } else {
            Degree::FIFTH
        });
        if self.sixth {
            set = set.with(Degree::SIXTH);
        }
        if let Some(number) = stack {
            set = set.with(if major_seventh {
                Degree::MAJOR_SEVENTH
            } else if self.diminished {
                Degree::DIMINISHED_SEVENTH
            } else {
                Degree::MINOR_SEVENTH
            });
            if number >= 9 {
                set = set.with(Degree::NINTH);
            }
            if (number == 11 && !eleven_suspends) || (number == 13 && self.minor && !major_seventh)
            {
                set = set.with(Degree::ELEVENTH);
            }
            if number == 13 {
                set = set.with(Degree::THIRTEENTH);
            }
        }
        // An alteration takes the place of the plain degree of its number, an addition does not.
        for degree in self.altered.iter() {
            let number = degree.number();
            if number == 3 {
                set = set.without(Degree::THIRD);
            }
            set = set
                .iter()
                .filter(|d| d.number() != number || self.altered.contains(*d) || number == 7)
                .collect();
        }
        set.union(self.altered).union(self.added)
    }
}
