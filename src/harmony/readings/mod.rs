//! Readings: what a set of notes stands for, kept apart from what it is called.
//!
//! Input: what sounds, its names, the context. Output: [`Reading`](super::Reading)s, likeliest first. Units: scores 0 to 1 that add up to less
//! than 1: what is left is that the notes mean no more than their name says.
//! Method: each kind is one function, all are listed in `ranked`. Sources: rootless voicings, upper structures and tritone substitution:
//! Levine, The Jazz Piano Book, 1989, ch. 5, 7, 9 and 14; common-tone, passing and auxiliary diminished chords and the delayed tonic: Nettles and
//! Graf, 1997, and Levine, 1995, ch. 4; the half-whole family: Levine, 1995, ch. 4. Limits: what comes next settles most of it:
//! see [`super::progression`] for the choice in context.

pub(crate) mod costs;
pub(crate) mod diminished;
pub(crate) mod dominants;
pub(crate) mod draft;
pub(crate) mod others;
pub(crate) mod own;
pub(crate) mod ranked;
pub(crate) mod resolution;
pub(crate) mod support;
pub(crate) mod why;
