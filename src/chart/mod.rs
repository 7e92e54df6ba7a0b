//! The chart: what was heard over time, as one result document.
//!
//! Input: events of the [`crate::listener`], or a chart that was typed ([`typed`]). Output: a [`document::Recording`], a [`typed::TypedChart`].
//! Units: seconds from the start of the recording. Method: see the modules. Limits: none of its own.

pub mod analysed;
pub mod comparison;
pub mod document;
pub mod entries;
mod expected;
pub mod hands;
pub mod marked;
pub mod melody;
pub mod passages;
pub mod pedal;
pub mod pedalling;
pub mod performance;
pub mod piece;
pub mod recording;
pub mod sound;
pub mod stand_ins;
pub mod tunes;
pub mod typed;
pub mod velocity;
pub mod written;
