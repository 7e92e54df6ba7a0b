//! Practice: what is asked for, what was played instead, and what to practise next. Pure: no file, no clock, no sound.
//!
//! Input: an [`Exercise`], the listener's events, past marks. Output: [`Target`]s in an order, [`Attempt`]s, their [`Mark`]s, days on which
//! to practise again. Units: MIDI numbers, samples at the internal rate, seconds, days.
//! Method: an exercise is a list of targets ([`target`], [`exercise`]); attempts are found where keys are struck together ([`attempts`]); each
//! is weighed against its target, of which it is known what should sound (`mark`); where nobody was asked, the targets are laid along the
//! attempts ([`align`]); [`review`] says when a chord is due again, [`course`] leads a player through a list, live.
//! Limits: one chord an attempt; melodies and lines are not marked.

pub mod align;
pub mod attempts;
pub mod course;
pub mod exercise;
pub mod mark;
pub mod plan;
pub mod review;
pub mod tally;
pub mod target;

pub use attempts::{Attempt, AttemptFinder, Evidence};
pub use course::Course;
pub use exercise::{ChartStep, Exercise, ExerciseError, Material, Order, Progression};
pub use mark::{Mark, MarkRules, Outcome, Remark, Slip, mark};
pub use plan::{Plan, PlanError};
pub use target::{Form, KeyRange, Target};
