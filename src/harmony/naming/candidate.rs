//! A candidate: one way to name what sounds, before it is written out.
//!
//! Input: a root, a shape of the vocabulary, what is added and missing. Output: its degrees and its [`Chord`].
//! Units: half steps as bits seen from the root; costs in natural-log units (see [`super::penalties`]).
//! Method: plain data. Limits: made by [`super::weigh`] alone.

use crate::harmony::chord::Chord;
use crate::harmony::chord::quality::{Shape, bits};
use crate::harmony::pitch::{DegreeSet, PitchClass};
use crate::harmony::speller::Speller;

/// The staple left hand of a dominant, plain and altered: the same four notes on two roots a tritone apart.
pub(crate) const LEFT_HAND: u16 = bits("3 13 b7 9");
pub(crate) const LEFT_HAND_ALTERED: u16 = bits("3 b13 b7 #9");

/// One way to name what sounds.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Candidate {
    pub root: PitchClass,
    pub shape: &'static Shape,
    /// Notes beside the shape, as degrees.
    pub added: DegreeSet,
    /// Half steps of the shape that do not sound.
    pub missing: u16,
    /// The bass, if it is not the root.
    pub bass: Option<PitchClass>,
    /// What it costs before its surroundings and the notes beside it are weighed.
    pub before: f32,
    /// All that it costs.
    pub cost: f32,
}

impl Candidate {
    /// Degrees that sound.
    pub(crate) fn sounding(&self) -> DegreeSet {
        self.shape
            .quality
            .degrees
            .iter()
            .filter(|d| self.missing & (1 << d.half_steps()) == 0)
            .collect::<DegreeSet>()
            .union(self.added)
    }

    /// True if the root is left to the bass player.
    pub(crate) fn rootless(&self) -> bool {
        self.missing & 1 != 0
    }

    /// True of the staple left hand of a dominant, plain or altered: its root is left to the bass, and yet it is its name.
    pub(crate) fn is_left_hand(&self) -> bool {
        let sounds = self.sounding().pitches().bits();
        self.shape.dominant && (sounds == LEFT_HAND || sounds == LEFT_HAND_ALTERED)
    }

    /// True if both are written alike.
    pub(crate) fn says_the_same_as(&self, other: &Self) -> bool {
        let said = |c: &Self| c.missing & !c.shape.silent;
        (self.root, self.bass, self.added) == (other.root, other.bass, other.added)
            && std::ptr::eq(self.shape, other.shape)
            && said(self) == said(other)
    }

    /// The chord with its root spelled as `speller` finds best.
    pub(crate) fn chord(&self, speller: &Speller) -> Chord {
        let named = self.shape.quality.degrees.union(self.added);
        let root = if self.rootless() && self.shape.dominant {
            speller.root_of_dominant(self.root, named)
        } else {
            speller.root(self.root, named)
        };
        let said = self.missing & !self.shape.silent;
        Chord {
            root,
            degrees: named,
            omitted: named
                .iter()
                .filter(|d| said & (1 << d.half_steps()) != 0)
                .collect(),
            bass: self
                .bass
                .filter(|_| !self.rootless())
                .map(|bass| speller.bass(root, named, bass)),
            lower: None,
        }
    }
}
