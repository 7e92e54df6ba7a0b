//! From FFT bins to an axis on which a semitone has the same width everywhere.
//!
//! Input: a one-sided power spectrum of N/2 + 1 bins. Output: [`LOG_BINS`] magnitudes, 36 an octave.
//! Units: linear amplitude, as the power spectrum's (a full-scale sine has 1.0 where one row holds its whole main lobe's peak bin).
//! Method: our own. A row is a band a third of a semitone wide around `f_b = 27.5 * 2^((b-3)/36) * a4/440`. Where the
//! FFT is finer than the band, the row sums the power of the bins by their overlap with it; where it is coarser, the row
//! interpolates linearly between the two bins beside its centre. A sparse matrix whose rows are `[first, 1, 1, .., 1, last]`:
//! two weights and two positions a row, cheap enough to make anew whenever the tuning moves.
//! Limits: below 139 Hz (long window) neighbouring rows share FFT bins; nothing above Nyquist is seen.

use super::LOG_BINS;
use crate::units::{Hertz, SampleRate};

/// Rows of the axis an octave.
pub const BINS_PER_OCTAVE: usize = 36;
/// Row at which A0 (27.5 Hz where A4 is at 440 Hz) stands.
pub const A0_BIN: usize = 3;
const A0_HZ: f64 = 27.5;

/// One row: the bins from `first` to `last`, all weighing 1 but the two ends.
#[derive(Clone, Copy, Default)]
struct Row {
    first: usize,
    last: usize,
    first_weight: f32,
    last_weight: f32,
}

/// The map from one window's power spectrum to the log-frequency axis.
pub struct LogFrequencyMap {
    rows: [Row; LOG_BINS],
    /// Number of the last FFT bin, N/2.
    nyquist_bin: usize,
}

impl LogFrequencyMap {
    /// For a window of `length` samples at [`SampleRate::INTERNAL`] and a piano whose A4 is at `a4`.
    pub fn new(length: usize, a4: Hertz) -> Self {
        let mut map = Self {
            rows: [Row::default(); LOG_BINS],
            nyquist_bin: length / 2,
        };
        map.retune(a4);
        map
    }

    /// Moves the axis to another pitch of A4. Allocates nothing, takes a few microseconds.
    pub fn retune(&mut self, a4: Hertz) {
        let bin_hz = f64::from(SampleRate::INTERNAL.get()) / (2 * self.nyquist_bin) as f64;
        let tuning = a4.get() / Hertz::CONCERT_A4.get();
        let half_band = (0.5 / BINS_PER_OCTAVE as f64).exp2();
        for (b, row) in self.rows.iter_mut().enumerate() {
            let octaves = (b as f64 - A0_BIN as f64) / BINS_PER_OCTAVE as f64;
            let centre = A0_HZ * octaves.exp2() * tuning / bin_hz;
            let (low, high) = (centre / half_band, centre * half_band);
            *row = if high - low < 1.0 {
                Row::interpolating(centre, self.nyquist_bin)
            } else {
                Row::summing(low, high, self.nyquist_bin)
            };
        }
    }

    /// Writes the magnitude of each row: `sqrt(sum_k weight[b][k] * power[k])`.
    ///
    /// # Panics
    /// If `power` is no spectrum of this map's window.
    pub fn apply(&self, power: &[f32], magnitudes: &mut [f32; LOG_BINS]) {
        assert_eq!(
            power.len(),
            self.nyquist_bin + 1,
            "one window's power spectrum"
        );
        for (magnitude, row) in magnitudes.iter_mut().zip(&self.rows) {
            let mut energy =
                row.first_weight * power[row.first] + row.last_weight * power[row.last];
            if row.last > row.first + 1 {
                energy += sum(&power[row.first + 1..row.last]);
            }
            *magnitude = energy.sqrt();
        }
    }
}

impl Row {
    /// `E = (1 - t) P[j] + t P[j+1]` with `j = floor(centre)`, `t = centre - j`.
    fn interpolating(centre: f64, nyquist_bin: usize) -> Self {
        let t = centre - centre.floor();
        Self::within(
            centre.floor() as usize,
            1.0 - t,
            centre.floor() as usize + 1,
            t,
            nyquist_bin,
        )
    }

    /// `E = sum_k P[k] * overlap([k - 0.5, k + 0.5], [low, high])`; `high - low` is at least 1.
    fn summing(low: f64, high: f64, nyquist_bin: usize) -> Self {
        let first = (low + 0.5).floor();
        let last = (high + 0.5).floor();
        let (first_weight, last_weight) = (first + 0.5 - low, high - (last - 0.5));
        Self::within(
            first as usize,
            first_weight,
            last as usize,
            last_weight,
            nyquist_bin,
        )
    }

    /// Bins beyond Nyquist hold nothing.
    fn within(
        first: usize,
        first_weight: f64,
        last: usize,
        last_weight: f64,
        nyquist_bin: usize,
    ) -> Self {
        if first > nyquist_bin {
            Self::default()
        } else if last > nyquist_bin {
            // The bins up to Nyquist weigh 1 in a summing row; an interpolating row has none between its two.
            let last_weight = if first == nyquist_bin { 0.0 } else { 1.0 };
            Self {
                first,
                last: nyquist_bin,
                first_weight: first_weight as f32,
                last_weight,
            }
        } else {
            Self {
                first,
                last,
                first_weight: first_weight as f32,
                last_weight: last_weight as f32,
            }
        }
    }
}

/// The sum of `values` in eight interleaved lanes, which the compiler turns into vector code.
fn sum(values: &[f32]) -> f32 {
    let mut lanes = [0.0_f32; 8];
    let mut chunks = values.chunks_exact(lanes.len());
    for chunk in &mut chunks {
        for (lane, &value) in lanes.iter_mut().zip(chunk) {
            *lane += value;
        }
    }
    lanes.iter().sum::<f32>() + chunks.remainder().iter().sum::<f32>()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The definition, bin by bin.
    fn slow_energy(power: &[f32], b: usize, a4: f64) -> f64 {
        let df = 22_050.0 / (2 * (power.len() - 1)) as f64;
        let f = 27.5 * ((b as f64 - 3.0) / 36.0).exp2() * a4 / 440.0;
        let (lo, hi) = (
            f * (-1.0_f64 / 72.0).exp2() / df,
            f * (1.0_f64 / 72.0).exp2() / df,
        );
        let at = |k: usize| power.get(k).map_or(0.0, |&p| f64::from(p));
        if hi - lo >= 1.0 {
            (0..power.len())
                .map(|k| {
                    let overlap = (k as f64 + 0.5).min(hi) - (k as f64 - 0.5).max(lo);
                    at(k) * overlap.max(0.0)
                })
                .sum()
        } else {
            let c = f / df;
            let t = c - c.floor();
            (1.0 - t) * at(c as usize) + t * at(c as usize + 1)
        }
    }

    #[test]
    fn rows_are_the_overlaps_of_the_definition_for_both_windows_and_any_tuning() {
        for length in [2048, 8192] {
            let power: Vec<f32> = (0..=length / 2)
                .map(|k| 1.0 / (1 + (k * 7919) % 101) as f32)
                .collect();
            for a4 in [392.0, 425.0, 440.0, 441.3, 455.0, 480.0] {
                let mut magnitudes = [9.0; LOG_BINS];
                LogFrequencyMap::new(length, Hertz::new(a4).unwrap())
                    .apply(&power, &mut magnitudes);
                for (b, &m) in magnitudes.iter().enumerate() {
                    let expected = slow_energy(&power, b, a4).sqrt();
                    assert!(
                        (f64::from(m) - expected).abs() < 1e-5 * (1.0 + expected),
                        "{length} {a4} row {b}: {m} for {expected}"
                    );
                }
            }
        }
    }

    #[test]
    fn a_retuned_map_equals_a_new_one() {
        let a4 = Hertz::new(431.0).unwrap();
        let mut moved = LogFrequencyMap::new(8192, Hertz::CONCERT_A4);
        moved.retune(a4);
        let power: Vec<f32> = (0..=4096).map(|k| (k % 13) as f32).collect();
        let (mut left, mut right) = ([0.0; LOG_BINS], [0.0; LOG_BINS]);
        moved.apply(&power, &mut left);
        LogFrequencyMap::new(8192, a4).apply(&power, &mut right);
        assert_eq!(left, right);
    }
}
