//! Notes: which keys sound, frame by frame, and when each was struck and let go.
//!
//! Input: one [`crate::spectrum::SpectrumFrame`] a hop. Output: [`NoteEvidence`] a hop, then note tracks.
//! Units: probabilities 0 to 1; times in analysis frames.
//! Method: see each module. Limits: knows nothing of chord names.

pub mod dense;
pub mod evidence;
pub mod features;
pub mod keyed;
pub mod model;
pub mod network;
pub mod own_piano;
pub mod tracks;

pub use evidence::{NoteEstimator, NoteEvidence};
pub use model::{Model, ModelError};
pub use network::NetworkEstimator;
pub use own_piano::OwnPianoEstimator;
