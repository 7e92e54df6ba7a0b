//! Recordings: files of any usual format as a source of samples.
//!
//! Input: a path, or any byte stream. Output: a [`FileSource`] of mono blocks at [`crate::units::SampleRate::INTERNAL`].
//! Units: full scale ±1. Method: [`open`] is the chain; [`wave`], [`mp4`], `flac` and [`decode`] put right what the decoders get wrong, `caf` refuses what they take at its word; `opus` decodes
//! what they leave alone; `refused` names what is not read, `ogg` and `matroska` notice an end that is missing.
//! Limits: see each module.

mod caf;
pub mod decode;
mod flac;
mod matroska;
pub mod mp4;
mod ogg;
mod open;
mod opus;
mod refused;
pub mod wave;

pub use open::{FileSource, open, open_stream};
