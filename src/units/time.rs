//! Time as integers: positions and stretches, in samples and in analysis frames, which do not mix.
//!
//! Input: counts of samples or frames. Output: [`SamplePos`], [`SampleSpan`], [`HopIndex`], [`HopSpan`].
//! Units: a sample position counts audio frames (one sample a channel) at a known rate, the internal one where nothing else is said;
//! a hop index counts analysis frames, one each [`HOP_SAMPLES`](crate::spectrum::HOP_SAMPLES).
//! Method: a position minus a position is a span, a position plus a span is a position; two positions cannot be added.
//! Limits: never negative; what would be stays at 0, and what would run over stays at the largest value (in 26 million years at the internal rate).

use super::{SampleRate, Seconds};
use std::ops::{Add, AddAssign, Sub};

/// A type of positions, the type of their differences, and what may be done with both.
macro_rules! positions_and_spans {
    ($(#[$about_position:meta])* $position:ident, $(#[$about_span:meta])* $span:ident) => {
        $(#[$about_position])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default, Hash)]
        pub struct $position(u64);

        $(#[$about_span])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default, Hash)]
        pub struct $span(u64);

        impl $position {
            /// The first.
            pub const START: Self = Self(0);

            /// The position with this number, counted from 0.
            pub const fn new(number: u64) -> Self {
                Self(number)
            }

            /// Its number, counted from 0.
            pub const fn get(self) -> u64 {
                self.0
            }

            /// How far it lies from the start.
            pub const fn since_start(self) -> $span {
                $span(self.0)
            }

            /// The position so much earlier; the start if there is none.
            pub const fn earlier(self, by: $span) -> Self {
                Self(self.0.saturating_sub(by.0))
            }

            /// The position so much earlier, if there is one.
            pub const fn checked_earlier(self, by: $span) -> Option<Self> {
                match self.0.checked_sub(by.0) {
                    Some(number) => Some(Self(number)),
                    None => None,
                }
            }

            /// How far the two lie apart, whichever is earlier.
            pub const fn distance(self, other: Self) -> $span {
                $span(self.0.abs_diff(other.0))
            }
        }

        impl $span {
            /// Nothing.
            pub const ZERO: Self = Self(0);

            /// So many.
            pub const fn new(count: u64) -> Self {
                Self(count)
            }

            /// How many.
            pub const fn get(self) -> u64 {
                self.0
            }
        }

        impl Add<$span> for $position {
            type Output = Self;
            fn add(self, by: $span) -> Self {
                Self(self.0.saturating_add(by.0))
            }
        }

        impl AddAssign<$span> for $position {
            fn add_assign(&mut self, by: $span) {
                *self = *self + by;
            }
        }

        /// How much later this is than the other; nothing if it is earlier.
        impl Sub for $position {
            type Output = $span;
            fn sub(self, earlier: Self) -> $span {
                $span(self.0.saturating_sub(earlier.0))
            }
        }

        impl Add for $span {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self(self.0.saturating_add(other.0))
            }
        }

        impl AddAssign for $span {
            fn add_assign(&mut self, other: Self) {
                *self = *self + other;
            }
        }

        /// What is left of it; nothing if the other is longer.
        impl Sub for $span {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self(self.0.saturating_sub(other.0))
            }
        }
    };
}

positions_and_spans!(
    /// A position in a sound: the number of an audio frame at a known rate.
    SamplePos,
    /// A length of sound in audio frames at a known rate: the difference of two [`SamplePos`].
    SampleSpan
);

positions_and_spans!(
    /// The number of an analysis frame, counted from 0.
    HopIndex,
    /// A number of analysis frames: the difference of two [`HopIndex`].
    HopSpan
);

impl SamplePos {
    /// The same position in seconds.
    pub fn seconds(self, rate: SampleRate) -> Seconds {
        self.since_start().seconds(rate)
    }
}

impl SampleSpan {
    /// The same length in seconds.
    pub fn seconds(self, rate: SampleRate) -> Seconds {
        Seconds(self.0 as f64 / f64::from(rate.get()))
    }
}

/// From where to where a recording is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Part {
    /// The first sample that is read.
    pub from: SamplePos,
    /// The first one that is not; the end where it is `None`.
    pub to: Option<SamplePos>,
}

impl Part {
    /// True where it is the whole recording.
    pub fn is_whole(&self) -> bool {
        *self == Self::default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_lies_between_two_positions_leads_from_one_to_the_other() {
        let mut random = fastrand::Rng::with_seed(8);
        for _ in 0..1_000 {
            let (a, b) = (random.u64(..1 << 40), random.u64(..1 << 40));
            let (early, late) = (HopIndex::new(a.min(b)), HopIndex::new(a.max(b)));
            assert_eq!(early + (late - early), late);
            assert_eq!(late.checked_earlier(late - early), Some(early));
            assert_eq!(early.distance(late), late.distance(early));
        }
    }

    #[test]
    fn no_time_is_before_the_start_and_none_runs_over() {
        let (two, three) = (SamplePos::new(2), SampleSpan::new(3));
        assert_eq!(two.earlier(three), SamplePos::START);
        assert_eq!(two.checked_earlier(three), None);
        assert_eq!(SamplePos::START - two, SampleSpan::ZERO);
        assert_eq!(
            SamplePos::new(u64::MAX - 1) + three,
            SamplePos::new(u64::MAX)
        );
    }
}
