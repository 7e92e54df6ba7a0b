//! The answer: what sounds now, as one name that a player can read.
//!
//! Input: what the listener tells, and names for it. Output: one answer that stays put while the playing does.
//! Units: times in frames at the internal rate. Method: see [`settle`].
//! Limits: knows nothing of screens; who names the notes hands the names in.

pub mod settle;
