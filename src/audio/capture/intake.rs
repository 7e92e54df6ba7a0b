//! What comes out of the ring of a stream: sound at the internal rate, lost sound in its place.
//!
//! Input: the reader's end of a [`ring`](super::ring). Output: mono samples at [`SampleRate::INTERNAL`], and what was lost.
//! Units: full scale ±1; positions in frames at the internal rate since the start, lost sound included.
//! Method: a backlog too long to be worked off is skipped, lost frames become silence of the same length at the device's rate, by the rules of
//! [`super::watch`]; then all is resampled. So times stay true to the sample of the device's clock.
//! Limits: silence stands for ten seconds at most; what is beyond is only counted.

use super::ring::Reader;
use super::watch::{backlog_kept, gap, longest_reading};
use crate::audio::resample::{Resampler, internal_frames};
use crate::units::{SamplePos, SampleRate, SampleSpan};
use std::time::Duration;

/// Takes the sound of one stream after another.
pub struct Intake {
    rate: SampleRate,
    reader: Reader,
    resampler: Resampler,
    device_rate_block: Vec<f32>,
    position: SamplePos,
    skipped: u64,
}

impl Intake {
    /// For a stream at `rate`.
    pub fn new(reader: Reader, rate: SampleRate) -> Self {
        Self {
            rate,
            reader,
            resampler: Resampler::new(rate),
            // As long as a reading can be, so that it never has to grow.
            device_rate_block: Vec::with_capacity(longest_reading(rate)),
            position: SamplePos::START,
            skipped: 0,
        }
    }

    /// Goes on with a new stream, `away` after the last sound of the one before. Gives what is lost between, in its place.
    pub fn go_on(&mut self, reader: Reader, rate: SampleRate, away: SampleSpan) -> SampleSpan {
        // What was still on its way through the resampler is lost as well, and counts.
        let mut on_its_way = Vec::new();
        self.resampler.finish(&mut on_its_way);
        let lost = away + SampleSpan::new(on_its_way.len() as u64);
        self.rate = rate;
        self.reader = reader;
        self.resampler = Resampler::new(rate);
        self.position += lost;
        lost
    }

    /// As [`Reader::wait`].
    pub fn wait(&self, frames: usize, limit: Duration) {
        self.reader.wait(frames, limit);
    }

    /// Replaces the contents of `out` by the sound since the last call; never waits. Gives the lost sound that stands as silence at its start,
    /// and what was lost before that.
    pub fn read(&mut self, out: &mut Vec<f32>) -> (SampleSpan, SampleSpan) {
        out.clear();
        let skipped = backlog_kept(self.reader.waiting(), self.rate)
            .map_or(0, |keep| self.reader.skip_to_newest(keep) as u64);
        self.skipped += skipped;
        self.device_rate_block.clear();
        let taken = self.reader.take(&mut self.device_rate_block);
        let (silence, jumped) = self.fill_gap(taken.gap + skipped);
        self.resampler.process(&self.device_rate_block, out);
        self.position += SampleSpan::new(out.len() as u64) + jumped;
        (silence, jumped)
    }

    /// What the last [`Intake::read`] brought, before it was resampled: mono at the stream's rate, the gap as silence.
    pub fn device_block(&self) -> &[f32] {
        &self.device_rate_block
    }

    /// The time reached, lost sound included.
    pub fn position(&self) -> SamplePos {
        self.position
    }

    /// Frames skipped to catch up, at the rates of the streams.
    pub fn skipped(&self) -> u64 {
        self.skipped
    }

    /// Puts silence for `frames` lost at the device's rate before what was taken, so that what follows stays in step.
    fn fill_gap(&mut self, frames: u64) -> (SampleSpan, SampleSpan) {
        let gap = gap(frames, self.rate);
        let silence = std::iter::repeat_n(0.0, gap.silence as usize);
        self.device_rate_block.splice(0..0, silence);
        (
            SampleSpan::new(internal_frames(gap.silence, self.rate)),
            SampleSpan::new(internal_frames(gap.beyond, self.rate)),
        )
    }
}
