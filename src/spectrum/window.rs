//! One windowed transform: the last N samples become a one-sided power spectrum.
//!
//! Input: N samples, -1 to 1, oldest first. Output: N/2 + 1 powers, bin k at `k * rate / N`.
//! Units: `P[k] = (2 / sum(w))^2 * |X[k]|^2`, so a full-scale sine on a bin has P = 1 (amplitude 1, not its RMS);
//! the factor 2 also stands at 0 Hz and at Nyquist, where a constant of 1 therefore reads P = 4.
//! Method: periodic Hann window, `w[n] = 0.5 - 0.5 cos(2 pi n / N)` (F. J. Harris, "On the use of windows for harmonic
//! analysis with the DFT", Proc. IEEE 66, 1978), then a real FFT planned once.
//! Limits: no latency beyond the window itself; a sine half way between two bins reads 1.42 dB low.

use realfft::num_complex::Complex32;
use realfft::{RealFftPlanner, RealToComplex};
use std::sync::Arc;

/// The periodic Hann window of `length` samples: `w[n] = 0.5 - 0.5 cos(2 pi n / N)`, n = 0 to N - 1; its sum is N/2.
pub fn periodic_hann(length: usize) -> Vec<f32> {
    let step = std::f64::consts::TAU / length as f64;
    (0..length)
        .map(|n| (0.5 - 0.5 * (step * n as f64).cos()) as f32)
        .collect()
}

/// A planned, windowed real FFT with all the memory it needs.
pub struct PowerSpectrum {
    transform: Arc<dyn RealToComplex<f32>>,
    window: Vec<f32>,
    windowed: Vec<f32>,
    bins: Vec<Complex32>,
    scratch: Vec<Complex32>,
    power: Vec<f32>,
    /// `(2 / sum(w))^2`
    gain: f32,
}

impl PowerSpectrum {
    /// Plans a transform over `length` samples.
    ///
    /// # Panics
    /// If `length` is odd or below 2.
    pub fn new(length: usize) -> Self {
        assert!(
            length >= 2 && length.is_multiple_of(2),
            "a window has an even number of samples"
        );
        let transform = RealFftPlanner::<f32>::new().plan_fft_forward(length);
        let window = periodic_hann(length);
        let window_sum: f64 = window.iter().map(|&w| f64::from(w)).sum();
        Self {
            windowed: transform.make_input_vec(),
            bins: transform.make_output_vec(),
            scratch: transform.make_scratch_vec(),
            power: vec![0.0; length / 2 + 1],
            gain: (2.0 / window_sum).powi(2) as f32,
            window,
            transform,
        }
    }

    /// Transforms `samples` and returns their power spectrum; earlier calls leave no trace in it.
    ///
    /// # Panics
    /// If there are not exactly as many samples as the window has.
    pub fn process(&mut self, samples: &[f32]) -> &[f32] {
        assert_eq!(samples.len(), self.window.len(), "one window of samples");
        for ((out, &x), &w) in self.windowed.iter_mut().zip(samples).zip(&self.window) {
            *out = x * w;
        }
        self.transform
            .process_with_scratch(&mut self.windowed, &mut self.bins, &mut self.scratch)
            .expect("the buffers were made by this very transform");
        for (power, bin) in self.power.iter_mut().zip(&self.bins) {
            *power = self.gain * bin.norm_sqr();
        }
        &self.power
    }

    /// What the last [`PowerSpectrum::process`] returned; zeros before the first.
    pub fn power(&self) -> &[f32] {
        &self.power
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sine(length: usize, cycles: f64, amplitude: f64) -> Vec<f32> {
        let step = std::f64::consts::TAU * cycles / length as f64;
        (0..length)
            .map(|n| (amplitude * (step * n as f64 + 0.3).sin()) as f32)
            .collect()
    }

    #[test]
    fn an_on_bin_sine_reads_its_amplitude_and_half_of_it_on_either_side() {
        let power = PowerSpectrum::new(2048)
            .process(&sine(2048, 100.0, 0.5))
            .to_vec();
        assert!((power[100].sqrt() - 0.5).abs() < 1e-5);
        assert!((power[99].sqrt() - 0.25).abs() < 1e-5 && (power[101].sqrt() - 0.25).abs() < 1e-5);
        assert!(power[103].sqrt() < 1e-5 && power[0].sqrt() < 1e-5);
    }

    #[test]
    fn a_half_bin_sine_reads_1_42_db_low_on_both_neighbours() {
        let power = PowerSpectrum::new(2048)
            .process(&sine(2048, 100.5, 1.0))
            .to_vec();
        for bin in [100, 101] {
            let level_db = 10.0 * power[bin].log10();
            assert!((level_db + 1.42).abs() < 0.01, "{level_db} dB");
        }
    }

    #[test]
    fn a_constant_reads_twice_its_value_at_0_hz_and_silence_reads_nothing() {
        let mut spectrum = PowerSpectrum::new(64);
        let power = spectrum.process(&[0.25; 64]);
        assert!((power[0].sqrt() - 0.5).abs() < 1e-6);
        assert!(power[2..].iter().all(|&p| p < 1e-12));
        assert!(
            spectrum.process(&[0.0; 64]).iter().all(|&p| p == 0.0),
            "dirty scratch shows"
        );
    }

    #[test]
    fn the_fast_transform_agrees_with_the_defining_sum() {
        let mut state = 1_u32;
        let mut noise = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            f64::from(state) / f64::from(u32::MAX) * 2.0 - 1.0
        };
        for length in [2_usize, 6, 16, 60, 256, 1000] {
            let samples: Vec<f32> = (0..length).map(|_| noise() as f32).collect();
            let mut spectrum = PowerSpectrum::new(length);
            let _ = spectrum.process(&vec![0.7; length]);
            let fast = spectrum.process(&samples);
            for (k, &p) in fast.iter().enumerate() {
                let (mut re, mut im, mut sum) = (0.0, 0.0, 0.0);
                for (n, &x) in samples.iter().enumerate() {
                    let turn = std::f64::consts::TAU / length as f64;
                    let w = 0.5 - 0.5 * (turn * n as f64).cos();
                    let phase = turn * ((k * n) % length) as f64;
                    re += w * f64::from(x) * phase.cos();
                    im -= w * f64::from(x) * phase.sin();
                    sum += w;
                }
                let slow = (2.0_f64 / sum).powi(2) * (re * re + im * im);
                assert!(
                    (f64::from(p) - slow).abs() < 2e-6 * (1.0 + slow),
                    "{length}: bin {k}: {p} for {slow}"
                );
            }
        }
    }
}
