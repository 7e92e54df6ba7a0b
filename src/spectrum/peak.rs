//! Where between its bins a peak of a spectrum stands.
//!
//! Input: magnitudes of a local maximum and of the bins either side. Output: an offset in bins. Units: linear amplitude; bins, -1 to 1.
//! Method: under a Hann window the neighbours of a sine `delta` bins above its largest bin are `A+-/A0 = (1 +- delta) / (2 -+ delta)`, hence
//! `delta = 2 (A+ - A-) / (A- + 2 A0 + A+)` (T. Grandke, "Interpolation algorithms for discrete Fourier transforms of weighted signals", IEEE
//! Trans. Instrum. Meas. 32, 1983, in its three-point form).
//! Limits: exact for one steady sine; what beats or decays within the window moves it.

use std::ops::{Add, Div, Mul, Sub};

/// How far above the middle one of three bins a sine stands that has these magnitudes in them, under a Hann window.
pub(crate) fn offset_of_sine<T>([below, centre, above]: [T; 3]) -> T
where
    T: Copy + From<f32> + Add<Output = T> + Sub<Output = T> + Mul<Output = T> + Div<Output = T>,
{
    let two = T::from(2.0);
    two * (above - below) / (below + two * centre + above)
}

/// What the bin above the middle one has beside it if a sine stands `delta` bins above it.
pub(crate) fn share_above(delta: f32) -> f32 {
    (1.0 + delta) / (2.0 - delta)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::spectrum::window::PowerSpectrum;

    #[test]
    fn a_sine_anywhere_between_two_bins_is_placed_within_a_thousandth_of_a_bin() {
        const LENGTH: usize = 2048;
        let mut spectrum = PowerSpectrum::new(LENGTH);
        for tenth in -5..=5 {
            let delta = f64::from(tenth) / 10.0;
            let turn = std::f64::consts::TAU * (200.0 + delta) / LENGTH as f64;
            let sine: Vec<f32> = (0..LENGTH)
                .map(|n| (0.5 * (turn * n as f64 + 0.3).sin()) as f32)
                .collect();
            let power = spectrum.process(&sine);
            let magnitudes = [power[199], power[200], power[201]].map(f32::sqrt);
            let found = offset_of_sine(magnitudes);
            assert!((f64::from(found) - delta).abs() < 1e-3, "{delta}: {found}");
            let share = magnitudes[2] / magnitudes[1];
            assert!(
                (share - share_above(found)).abs() < 1e-3,
                "{delta}: {share}"
            );
        }
    }
}
