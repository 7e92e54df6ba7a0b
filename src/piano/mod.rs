//! One particular piano: what its own notes have taught, key by key.
//!
//! Input: recorded notes of the piano and which key sounded when. Output: a [`PianoProfile`], to be kept and used.
//! Units: cents, hertz, decibels, seconds; each type states its own.
//! Method: partials by interpolated FFT, a stiff string fitted to them, two-stage decay, beats of unison strings, and smooth
//! curves over the keyboard for keys that were not played; see the modules.
//! Limits: knows nothing of chord names; the sound of one microphone in one place.

pub mod beating;
pub mod decay;
pub mod keyboard;
pub mod learn;
pub mod mixture;
pub mod partials;
pub mod profile;
pub mod spectra;

pub use keyboard::{Finding, KeyPlaces, findings};
pub use learn::{Lesson, NothingLearned, Strike, learn};
pub use mixture::Mixture;
pub use profile::{KeyProfile, PianoProfile, ProfileError};
