//! What stands for live sound in a build that cannot listen: every input is refused, by one error.
//!
//! Input: none. Output: [`AudioError::NoLiveSound`]. Units: none.
//! Method: the interface of `device` and `inputs`; a [`Capture`] cannot be made, so its methods are never run.
//! Limits: none.

use super::{Block, InputInfo, Totals};
use crate::audio::AudioError;
use crate::units::{SamplePos, SampleSpan, Seconds};
use std::time::Duration;

/// An open sound input, of which a build without live sound has none.
#[derive(Debug)]
pub enum Capture {}

/// There is no list of inputs.
///
/// # Errors
/// Always: this build cannot listen.
pub fn list_inputs() -> Result<Vec<InputInfo>, AudioError> {
    Err(AudioError::NoLiveSound)
}

/// No input can be opened.
///
/// # Errors
/// Always: this build cannot listen.
pub fn open_input(_name: Option<&str>) -> Result<Capture, AudioError> {
    Err(AudioError::NoLiveSound)
}

impl Capture {
    /// What is open.
    pub fn info(&self) -> &InputInfo {
        match *self {}
    }

    /// The time reached, lost sound included.
    pub fn position(&self) -> SamplePos {
        match *self {}
    }

    /// What was lost and clipped so far.
    pub fn totals(&self) -> Totals {
        match *self {}
    }

    /// How long the device collects sound before it hands it over.
    pub fn device_delay(&self) -> Seconds {
        match *self {}
    }

    /// Waits until `sound` of new sound is there, or for `limit`.
    pub fn wait(&mut self, _sound: SampleSpan, _limit: Duration) {
        match *self {}
    }

    /// Replaces the contents of `out` by the sound since the last call.
    pub fn read(&mut self, _out: &mut Vec<f32>) -> Block {
        match *self {}
    }

    /// What the last [`Capture::read`] brought, before it was resampled.
    pub fn device_block(&self) -> &[f32] {
        match *self {}
    }

    /// Opens the same input again after it was lost.
    ///
    /// # Errors
    /// If it is not there yet.
    pub fn reopen(&mut self) -> Result<Block, AudioError> {
        match *self {}
    }
}
