//! The answer: what sounds now, as one name that a player can read.
//!
//! Input: what the listener tells. Output: one answer that stays put while the playing does, and the names of what has ended.
//! Units: times in frames at the internal rate. Method: [`names`] has the one rule by which a chord gets its name, [`settle`] the rules by
//! which a name stays, [`answers`] joins them, [`stand_ins`] says what could stand there instead.
//! Limits: knows nothing of screens and of clocks.

pub mod answers;
pub mod names;
pub mod settle;
pub mod stand_ins;

pub use answers::{Answers, Settled};
pub use stand_ins::StandInsNow;
