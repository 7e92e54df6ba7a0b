//! Samples in: recordings and microphones become one stream of mono samples at the internal rate.
//!
//! Input: files of any usual format; sound inputs of the computer (feature `live`).
//! Output: mono `f32` at [`crate::units::SampleRate::INTERNAL`], time 0 at the first sample of the recording.
//! Units: full scale ±1; levels in dBFS. Method: symphonia decodes, rubato resamples, cpal captures; what they silently
//! get wrong is put right in [`recording::wave`], [`recording::mp4`] and [`recording::decode`]. hound serves for writing only: it misreads 24 bits in 32.
//! Limits: see each module.
//!
//! ```no_run
//! use lidprop::audio::{self, BlockState, SampleSource};
//! let mut source = audio::open("lesson.m4a")?;
//! let mut block = Vec::new();
//! while source.next_block(&mut block)? == BlockState::More {
//!     // hear the block
//! }
//! // hear the last block, then show source.warnings()
//! # Ok::<(), lidprop::audio::AudioError>(())
//! ```

pub mod capture;
pub mod downmix;
pub mod error;
pub mod level;
pub mod part;
pub mod recording;
pub mod resample;
pub mod source;

pub use error::AudioError;
pub use part::PartOfRecording;
pub use recording::{FileSource, open, open_stream};
pub use source::{BlockState, SampleSource, SourceInfo, SourceWarning};
