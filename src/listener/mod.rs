//! The listener: sound in, events out.
//!
//! Input: mono samples at [`crate::units::SampleRate::INTERNAL`]. Output: [`Event`]s in order of time.
//! Units: as [`events`] and [`engine`] state. Method: [`engine`] joins spectrum, notes and held sets; [`events`] has what it tells.
//! Limits: knows nothing of chord names.

pub mod engine;
pub mod events;

pub use engine::{Listener, ListenerOptions};
pub use events::{Certainty, ChordNote, ChordSpan, ChordState, Event, FrameReport, NoteSpan};
