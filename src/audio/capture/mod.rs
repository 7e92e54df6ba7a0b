//! Live sound: a microphone becomes mono blocks at the internal rate, and every trouble on the way is told.
//!
//! Input: a sound input of the computer. Output: blocks of mono samples at [`SampleRate::INTERNAL`] and a [`StreamState`].
//! Units: full scale ±1; positions in frames at the internal rate since the start, lost sound included.
//! Method: `device` owns the stream, which on Linux `server` or `direct` reads, `ring` carries its sound, `intake` brings it to the internal rate,
//! `inputs` lists what there is, with what stands behind a sound server (`server`), [`watch`] holds the rules: when a stream is dead, what a gap becomes, what of a backlog is heard. A build
//! without the feature `live` has `absent` in the place of all but these rules: all else
//! is compiled in every build.
//! Limits: after a stall of more than two seconds the listener goes on with the newest quarter second.

#[cfg(not(feature = "live"))]
mod absent;
pub mod cards;
#[cfg(feature = "live")]
mod device;
#[cfg(all(feature = "live", target_os = "linux"))]
mod direct;
#[cfg(feature = "live")]
pub mod inputs;
#[cfg(feature = "live")]
pub mod intake;
#[cfg(all(feature = "live", target_os = "linux"))]
mod reading;
#[cfg(feature = "live")]
pub mod ring;
#[cfg(all(feature = "live", target_os = "linux"))]
mod server;
pub mod watch;

#[cfg(not(feature = "live"))]
pub use absent::{Capture, list_inputs, open_input};
#[cfg(feature = "live")]
pub use device::{Capture, open_input};
#[cfg(feature = "live")]
pub use inputs::list_inputs;
pub use watch::{Fault, Loss, StreamState};

use crate::units::{SampleRate, SampleSpan};

/// A sound input.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct InputInfo {
    /// The name for people.
    pub name: String,
    /// The name that stays the same over restarts; may be given instead.
    pub id: String,
    /// True for the one that is used where none is named.
    pub is_default: bool,
    /// Frames a second it will be opened with.
    pub rate: SampleRate,
    /// Channels, folded to one.
    pub channels: usize,
    /// Sample format, for people.
    pub format: String,
    /// True if it is a source of a sound server, by its own name.
    pub behind_server: bool,
    /// True if it is what the computer plays, and no microphone.
    pub is_monitor: bool,
}

/// What one [`Capture::read`] brought.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Block {
    /// How the stream is now.
    pub state: StreamState,
    /// Lost sound in this block, at the internal rate; it stands as silence at the block's start.
    pub gap: SampleSpan,
    /// Lost sound beyond ten seconds, for which no silence stands: to be added to a clock that counts samples.
    pub jumped: SampleSpan,
}

/// Totals since the capture was opened, over reopenings.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Totals {
    /// Frames lost because the ring was full, at the device's rate.
    pub dropped: u64,
    /// Frames skipped to catch up, at the device's rate.
    pub skipped: u64,
    /// Overruns that the sound system reported.
    pub overruns: u64,
    /// Runs of samples at full scale.
    pub clipped_runs: u64,
}
