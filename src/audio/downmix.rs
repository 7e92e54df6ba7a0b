//! Interleaved channels to mono, with a count of what is wrong with the samples.
//!
//! Input: interleaved samples of any channel count, full scale ±1. Output: one mono sample a frame.
//! Units: full scale ±1 in and out. Method: mean of all channels, `mono = (c_1 + .. + c_n) / n`, so that full scale stays
//! full scale. Non-finite samples become 0 (the rule stands in [`crate::audio::source`]).
//! Limits: channels of opposite sign cancel; [`Downmix::channels_cancel`] tells. Neither allocates nor blocks after `new`.

use crate::audio::source::SAMPLE_LIMIT;

/// Magnitude from which a sample counts as full scale: half a step of 16 bits below it, rounded up to the
/// largest 16-bit value that converters deliver (32767/32768 = 0.99997).
const FULL_SCALE: f32 = 0.9999;

/// Consecutive full-scale samples in one channel that make a clipped run. One alone is a normalised peak.
const CLIPPED_RUN: u32 = 3;

/// The mono sum counts as cancelled where its power is this share of the channels' mean power or less: -20 dB.
const CANCELLED: f64 = 0.01;

/// Folds interleaved channels to mono, sample by sample; frames may be split between blocks.
#[derive(Debug, Clone)]
pub struct Downmix {
    /// Length of the run of full-scale samples each channel is in, negative for the negative side.
    runs: Vec<i32>,
    channel: usize,
    sum: f32,
    clipped_runs: u64,
    bad_samples: u64,
    peak: f32,
    channel_power: f64,
    mono_power: f64,
}

impl Downmix {
    /// For frames of `channels` samples.
    ///
    /// # Panics
    /// If `channels` is 0.
    pub fn new(channels: usize) -> Self {
        assert!(channels > 0, "a frame has at least one channel");
        Self {
            runs: vec![0; channels],
            channel: 0,
            sum: 0.0,
            clipped_runs: 0,
            bad_samples: 0,
            peak: 0.0,
            channel_power: 0.0,
            mono_power: 0.0,
        }
    }

    /// Samples a frame.
    pub fn channels(&self) -> usize {
        self.runs.len()
    }

    /// Goes on with frames of `channels` samples; an unfinished frame is forgotten, the counts stay.
    ///
    /// # Panics
    /// If `channels` is 0.
    pub fn change_channels(&mut self, channels: usize) {
        assert!(channels > 0, "a frame has at least one channel");
        self.runs.clear();
        self.runs.resize(channels, 0);
        self.channel = 0;
        self.sum = 0.0;
    }

    /// Takes the next interleaved sample; gives the mono sample when it completes a frame.
    #[inline]
    pub fn push(&mut self, mut sample: f32) -> Option<f32> {
        if sample.is_nan() || sample.abs() > SAMPLE_LIMIT {
            self.bad_samples += 1;
            sample = 0.0;
        }
        let magnitude = sample.abs();
        self.peak = self.peak.max(magnitude);
        let run = &mut self.runs[self.channel];
        if magnitude >= FULL_SCALE {
            // Each side of zero is a run of its own: a clipped square wave has one every half period.
            *run = if sample > 0.0 {
                (*run).max(0).saturating_add(1)
            } else {
                (*run).min(0).saturating_sub(1)
            };
            self.clipped_runs += u64::from(run.unsigned_abs() == CLIPPED_RUN);
        } else {
            *run = 0;
        }
        self.channel_power += f64::from(sample * sample) / self.runs.len() as f64;
        self.sum += sample;
        self.channel += 1;
        if self.channel < self.runs.len() {
            return None;
        }
        let mono = self.sum / self.runs.len() as f32;
        self.mono_power += f64::from(mono * mono);
        self.channel = 0;
        self.sum = 0.0;
        Some(mono)
    }

    /// Runs of at least three full-scale samples in one channel so far.
    pub fn clipped_runs(&self) -> u64 {
        self.clipped_runs
    }

    /// Samples so far that were no finite number.
    pub fn bad_samples(&self) -> u64 {
        self.bad_samples
    }

    /// Largest magnitude in any channel so far.
    pub fn peak(&self) -> f32 {
        self.peak
    }

    /// True if the mono sum has lost 20 dB or more of the channels' power so far.
    pub fn channels_cancel(&self) -> bool {
        let mean_channel_power = self.channel_power / self.runs.len() as f64;
        self.runs.len() > 1
            && mean_channel_power > 0.0
            && self.mono_power <= CANCELLED * mean_channel_power
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mono(channels: usize, samples: &[f32]) -> (Vec<f32>, Downmix) {
        let mut downmix = Downmix::new(channels);
        let out = samples.iter().filter_map(|&s| downmix.push(s)).collect();
        (out, downmix)
    }

    #[test]
    fn the_mean_of_the_channels_keeps_full_scale() {
        assert_eq!(mono(2, &[1.0, 1.0, 0.5, -0.25]).0, [1.0, 0.125]);
        assert_eq!(mono(8, &[0.5; 8]).0, [0.5]);
    }

    #[test]
    fn samples_that_are_no_number_become_silence_and_are_counted() {
        let (out, downmix) = mono(
            1,
            &[f32::NAN, f32::INFINITY, f32::NEG_INFINITY, 3.0e38, 0.5],
        );
        assert_eq!(out, [0.0, 0.0, 0.0, 0.0, 0.5]);
        assert_eq!(downmix.bad_samples(), 4);
    }

    #[test]
    fn one_full_scale_peak_is_no_clipping_and_a_flat_top_is() {
        assert_eq!(mono(1, &[0.9, 1.0, 0.9, -1.0, 0.9]).1.clipped_runs(), 0);
        assert_eq!(mono(1, &[0.9, 1.0, 1.0, 1.0, 1.0, 0.9]).1.clipped_runs(), 1);
        assert_eq!(
            mono(2, &[1.0, 0.0, 1.0, 0.0, 1.0, 0.0]).1.clipped_runs(),
            1,
            "seen in one channel of two"
        );
    }

    #[test]
    fn an_inverted_channel_is_noticed() {
        assert!(mono(2, &[0.5, -0.5, -0.3, 0.3]).1.channels_cancel());
        assert!(!mono(2, &[0.5, 0.0, -0.3, 0.0]).1.channels_cancel());
    }
}
