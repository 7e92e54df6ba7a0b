//! Notes: which keys sound, frame by frame, and when each was struck and let go.
//!
//! Input: one [`crate::spectrum::SpectrumFrame`] a hop. Output: [`NoteEvidence`] a hop, then note tracks ([`tracks`]) and the sets of
//! keys that are held together ([`held`]).
//! Units: probabilities 0 to 1; times in analysis frames.
//! Method: see each module. Limits: knows nothing of chord names.

pub mod evidence;
pub mod held;
pub mod network;
pub mod own_piano;
pub mod strength;
pub mod tracks;

pub use evidence::{NoteEstimator, NoteEvidence};
pub use network::{Model, ModelError, NetworkEstimator};
pub use own_piano::OwnPianoEstimator;
