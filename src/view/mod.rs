//! View: what was heard, for eyes.
//!
//! Input: [`crate::chart::recording::Heard`] recordings and live events. Output: text for a terminal.
//! Units: columns and rows of characters. Method: our own layouts; see the modules.
//! Limits: shapes carry the meaning, colour and weight only repeat it, so every view can be read without them.

pub mod chart;
pub mod comparison;
pub mod drill;
pub mod ink;
pub mod keyboard;
pub mod likelihood;
pub mod lines;
pub mod live;
pub mod logbook;
pub mod names;
pub mod naming;
pub mod notes;
pub mod places;
pub mod played;
pub mod printable;
pub mod progression;
pub mod spelling;
pub mod standins;
