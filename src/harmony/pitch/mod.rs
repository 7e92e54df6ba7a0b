//! Pitch: what one note is called.
//!
//! Input: MIDI notes, letters, names of keys. Output: [`PitchClass`], [`Degree`], [`Spelled`], [`Key`].
//! Units: half steps, places on the line of fifths. Method: see the modules.
//! Limits: equal temperament.

pub mod class;
pub mod degree;
pub mod key;
pub mod note_names;
pub mod spelled;

pub use class::{PitchClass, PitchSet};
pub use degree::{Degree, DegreeSet};
pub use key::{Key, Mode, Scale, StatedKey, note_name, note_name_in};
pub use note_names::NoteNames;
pub use spelled::{Spelled, Spelling};
