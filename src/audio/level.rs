//! How loud it is, and what disturbs: peak and RMS levels, noise floor, hum of the mains.
//!
//! Input: mono samples at [`SampleRate::INTERNAL`]. Output: levels in [`Dbfs`], a noise floor, [`Hum`].
//! Units: dBFS as in AES17-2020 and IEC 61606: a sine whose peak is full scale has 0 dBFS RMS and 0 dBFS peak, so that
//! `rms_dbfs = 20 log10(sqrt(2) x_rms)` and `peak_dbfs = 20 log10(max |x|)`.
//! Method: levels a block of 50 ms; the noise floor is the level that a tenth of the blocks stays below (histogram of 1 dB).
//! Hum: see [`HumMeter`]. Limits: the floor of a recording without a pause is that of its quietest moments.

use crate::units::SampleRate;
use std::f64::consts::PI;

/// Samples a level block: 50 ms, longer than a period of the lowest piano tone (36 ms).
const BLOCK_SAMPLES: usize = SampleRate::INTERNAL.get() as usize / 20;

/// The bottom of the scale; digital silence stands here.
const BOTTOM_DB: usize = 120;

/// Share of blocks below the noise floor.
const FLOOR_SHARE: f64 = 0.1;

/// What the meters of a running input say.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Meter {
    /// Samples lost so far because the computer was too slow.
    pub dropped: u64,
    /// Runs of clipped samples so far.
    pub clipped: u64,
}

/// A level relative to full scale, dB; -120 and below is silence.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Dbfs(f64);

impl Dbfs {
    /// Digital silence.
    pub const SILENCE: Dbfs = Dbfs(-(BOTTOM_DB as f64));

    /// Of a peak magnitude (1 is full scale).
    pub fn from_peak(magnitude: f64) -> Self {
        if magnitude.is_nan() {
            Self::SILENCE
        } else {
            Self((20.0 * magnitude.log10()).max(Self::SILENCE.0))
        }
    }

    /// Of a mean square (1/2 is a full-scale sine).
    pub fn from_mean_square(mean_square: f64) -> Self {
        Self::from_peak((2.0 * mean_square).sqrt())
    }

    /// The number of dB, -120 or more.
    pub fn get(self) -> f64 {
        self.0
    }
}

/// Measures the level of a stream; constant memory.
#[derive(Debug, Clone)]
pub struct LevelMeter {
    block_peak: f32,
    block_square: f64,
    block_samples: usize,
    last: Level,
    peak: f32,
    square: f64,
    samples: u64,
    /// Blocks by their RMS level, 1 dB a class, class 0 at full scale.
    histogram: [u64; BOTTOM_DB + 1],
}

/// The level of one stretch of sound.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level {
    /// The largest magnitude.
    pub peak: Dbfs,
    /// The root mean square.
    pub rms: Dbfs,
}

impl Default for LevelMeter {
    fn default() -> Self {
        Self::new()
    }
}

impl LevelMeter {
    /// A meter that has heard nothing.
    pub fn new() -> Self {
        let silence = Level {
            peak: Dbfs::SILENCE,
            rms: Dbfs::SILENCE,
        };
        Self {
            block_peak: 0.0,
            block_square: 0.0,
            block_samples: 0,
            last: silence,
            peak: 0.0,
            square: 0.0,
            samples: 0,
            histogram: [0; BOTTOM_DB + 1],
        }
    }

    /// Hears `samples`. Does not allocate.
    pub fn push(&mut self, samples: &[f32]) {
        for &sample in samples {
            let square = f64::from(sample) * f64::from(sample);
            self.block_peak = self.block_peak.max(sample.abs());
            self.block_square += square;
            self.block_samples += 1;
            self.square += square;
            if self.block_samples == BLOCK_SAMPLES {
                self.close_block();
            }
        }
        self.samples += samples.len() as u64;
    }

    fn close_block(&mut self) {
        let rms = Dbfs::from_mean_square(self.block_square / BLOCK_SAMPLES as f64);
        self.last = Level {
            peak: Dbfs::from_peak(self.block_peak.into()),
            rms,
        };
        self.peak = self.peak.max(self.block_peak);
        self.histogram[(-rms.get()).clamp(0.0, BOTTOM_DB as f64) as usize] += 1;
        self.block_peak = 0.0;
        self.block_square = 0.0;
        self.block_samples = 0;
    }

    /// The level of the last whole block of 50 ms.
    pub fn now(&self) -> Level {
        self.last
    }

    /// The level of everything so far.
    pub fn overall(&self) -> Level {
        let mean_square = self.square / self.samples.max(1) as f64;
        Level {
            peak: Dbfs::from_peak(self.peak.max(self.block_peak).into()),
            rms: Dbfs::from_mean_square(mean_square),
        }
    }

    /// The level that a tenth of the blocks stays below, to 1 dB; `None` before the first block.
    pub fn noise_floor(&self) -> Option<Dbfs> {
        let blocks: u64 = self.histogram.iter().sum();
        let mut left = (blocks as f64 * FLOOR_SHARE).ceil() as u64;
        let classes = self.histogram.iter().enumerate().rev();
        for (class, &count) in classes {
            if count > 0 && count >= left {
                return Some(Dbfs(-(class as f64)));
            }
            left -= count;
        }
        None
    }
}

/// Hum of the mains.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hum {
    /// Frequency of the mains, 50 or 60 Hz.
    pub mains_hz: u32,
    /// Level of its first six multiples together.
    pub level: Dbfs,
}

/// Frequencies of the mains the world over.
const MAINS_HZ: [u32; 2] = [50, 60];

/// Multiples of the mains frequency that are looked at.
const MULTIPLES: usize = 6;

/// A multiple stands out if its power is this many times that of its surroundings: 12 dB.
const STANDS_OUT: f64 = 16.0;

/// Multiples that must stand out. A single piano tone brings one or two of them.
const HUM_MULTIPLES: usize = 3;

/// Hum below this level disturbs nothing.
const HUM_AUDIBLE: Dbfs = Dbfs(-80.0);

/// Samples a hum window: two seconds, so that 50 Hz parts from G1 (49 Hz), two bins away under a Hann window.
const HUM_SAMPLES: usize = 2 * SampleRate::INTERNAL.get() as usize;

/// How far beside a multiple its surroundings are measured, Hz: beyond the main lobe (1 Hz) and between the multiples.
const SURROUNDINGS_HZ: [f64; 4] = [-6.0, -3.5, 3.5, 6.0];

/// Finds the hum of the mains in the quietest two seconds of a stream.
///
/// Goertzel's recursion (1958) under a periodic Hann window at the first six multiples of 50 and 60 Hz and beside each; hum is
/// where at least three multiples stand 12 dB above their surroundings. Constant memory; 60 recursions a sample.
#[derive(Debug, Clone)]
pub struct HumMeter {
    /// Of each frequency: 2 cos w, and the two states.
    bins: Vec<Bin>,
    square: f64,
    samples: usize,
    /// The quietest window's mean square and what was found in it.
    quietest: Option<(f64, Option<Hum>)>,
}

#[derive(Debug, Clone, Copy)]
struct Bin {
    coefficient: f64,
    s1: f64,
    s2: f64,
}

impl Bin {
    fn at(hz: f64) -> Self {
        Self {
            coefficient: 2.0 * (2.0 * PI * hz / f64::from(SampleRate::INTERNAL.get())).cos(),
            s1: 0.0,
            s2: 0.0,
        }
    }

    /// Mean square of the sine at this frequency: under a Hann window of N samples (gain 1/2) a sine of amplitude a gives
    /// |X| = a N / 4, so that a^2 / 2 = 8 |X|^2 / N^2.
    fn take_mean_square(&mut self) -> f64 {
        let power = self.s1 * self.s1 + self.s2 * self.s2 - self.coefficient * self.s1 * self.s2;
        (self.s1, self.s2) = (0.0, 0.0);
        8.0 * power / (HUM_SAMPLES as f64 * HUM_SAMPLES as f64)
    }
}

/// Bins a multiple: itself and its surroundings.
const BINS_A_MULTIPLE: usize = 1 + SURROUNDINGS_HZ.len();

impl Default for HumMeter {
    fn default() -> Self {
        Self::new()
    }
}

impl HumMeter {
    /// A meter that has heard nothing.
    pub fn new() -> Self {
        let multiples = MAINS_HZ
            .iter()
            .flat_map(|&mains| (1..=MULTIPLES).map(move |n| f64::from(mains) * n as f64));
        let bins = multiples.flat_map(|hz| {
            std::iter::once(0.0)
                .chain(SURROUNDINGS_HZ)
                .map(move |beside| Bin::at(hz + beside))
        });
        Self {
            bins: bins.collect(),
            square: 0.0,
            samples: 0,
            quietest: None,
        }
    }

    /// Hears `samples`. Does not allocate.
    pub fn push(&mut self, samples: &[f32]) {
        for &sample in samples {
            let phase = 2.0 * PI * self.samples as f64 / HUM_SAMPLES as f64;
            let x = f64::from(sample) * 0.5 * (1.0 - phase.cos());
            for bin in &mut self.bins {
                let s0 = x + bin.coefficient * bin.s1 - bin.s2;
                (bin.s2, bin.s1) = (bin.s1, s0);
            }
            self.square += f64::from(sample) * f64::from(sample);
            self.samples += 1;
            if self.samples == HUM_SAMPLES {
                self.close_window();
            }
        }
    }

    fn close_window(&mut self) {
        let found = MAINS_HZ
            .iter()
            .zip(self.bins.chunks_exact_mut(MULTIPLES * BINS_A_MULTIPLE));
        let hum = found
            .filter_map(|(&mains_hz, bins)| hum_in(mains_hz, bins))
            .max_by(|a, b| a.level.get().total_cmp(&b.level.get()));
        if self.quietest.is_none_or(|(square, _)| self.square < square) {
            self.quietest = Some((self.square, hum));
        }
        self.square = 0.0;
        self.samples = 0;
    }

    /// The hum in the quietest two seconds so far; `None` where there is none, or two seconds have not passed.
    pub fn hum(&self) -> Option<Hum> {
        self.quietest.and_then(|(_, hum)| hum)
    }
}

fn hum_in(mains_hz: u32, bins: &mut [Bin]) -> Option<Hum> {
    let (mut standing_out, mut mean_square) = (0, 0.0);
    for multiple in bins.chunks_exact_mut(BINS_A_MULTIPLE) {
        let here = multiple[0].take_mean_square();
        let beside = multiple[1..]
            .iter_mut()
            .map(Bin::take_mean_square)
            .sum::<f64>()
            / SURROUNDINGS_HZ.len() as f64;
        if here > STANDS_OUT * beside {
            standing_out += 1;
            mean_square += here;
        }
    }
    let level = Dbfs::from_mean_square(mean_square);
    (standing_out >= HUM_MULTIPLES && level > HUM_AUDIBLE).then_some(Hum { mains_hz, level })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tones(seconds: f64, amplitude_and_hz: &[(f64, f64)]) -> Vec<f32> {
        let rate = f64::from(SampleRate::INTERNAL.get());
        let mut seed = 1u32;
        (0..(seconds * rate) as usize)
            .map(|n| {
                seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                let noise = 1e-4 * (f64::from(seed) / f64::from(u32::MAX) - 0.5);
                let sum: f64 = amplitude_and_hz
                    .iter()
                    .map(|(a, hz)| a * (2.0 * PI * hz * n as f64 / rate).sin())
                    .sum();
                (sum + noise) as f32
            })
            .collect()
    }

    #[test]
    fn a_full_scale_sine_reads_zero_dbfs_peak_and_rms() {
        let mut meter = LevelMeter::new();
        meter.push(&tones(1.0, &[(1.0, 440.0)]));
        let level = meter.overall();
        assert!(
            level.peak.get().abs() < 0.01 && level.rms.get().abs() < 0.02,
            "{level:?}"
        );
        assert_eq!(Dbfs::from_peak(0.0), Dbfs::SILENCE);
    }

    #[test]
    fn the_noise_floor_is_that_of_the_pauses() {
        let mut meter = LevelMeter::new();
        meter.push(&tones(1.0, &[(0.001, 3000.0)]));
        meter.push(&tones(3.0, &[(0.5, 440.0)]));
        let floor = meter.noise_floor().unwrap().get();
        assert!((floor + 60.0).abs() <= 1.0, "{floor}");
    }

    #[test]
    fn hum_is_told_with_its_mains_frequency_and_level() {
        for mains in MAINS_HZ {
            let hz = f64::from(mains);
            let mut meter = HumMeter::new();
            meter.push(&tones(
                4.0,
                &[(0.01, hz), (0.01, 2.0 * hz), (0.005, 3.0 * hz)],
            ));
            let hum = meter.hum().expect("hum is there");
            assert_eq!(hum.mains_hz, mains);
            // 0.01^2 + 0.01^2 + 0.005^2 as amplitudes squared: -36.5 dBFS.
            assert!((hum.level.get() + 36.5).abs() < 0.5, "{hum:?}");
        }
    }

    #[test]
    fn a_low_piano_tone_is_no_hum() {
        for hz in [49.0, 51.9, 61.7, 98.0, 103.8] {
            let mut meter = HumMeter::new();
            let partials: Vec<(f64, f64)> = (1..10)
                .map(|n| (0.1 / f64::from(n), f64::from(n) * hz))
                .collect();
            meter.push(&tones(4.0, &partials));
            assert_eq!(meter.hum(), None, "{hz} Hz");
        }
    }
}
