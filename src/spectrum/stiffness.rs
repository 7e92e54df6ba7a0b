//! How a piano string's stiffness raises its partials.
//!
//! Input: a key and a partial's number. Output: the factor by which the partial stands above its place in the harmonic series.
//! Units: ratios; keys as (fractional) MIDI numbers. Method: the stiff string, `f_n = n f_0 sqrt(1 + B n^2)`, with a typical
//! piano's B as the sum of two asymptotes for the bass and treble bridges (F. Rigaud, B. David, L. Daudet, "A parametric model
//! and estimation techniques for the inharmonicity and tuning of the piano", JASA 133, 2013; coefficients in its form, ours).
//! Limits: a particular piano's B differs by a factor of two or three; small uprights lie above.

/// Stiffness B of a typical string: `exp(-0.0847 m - 5.82) + exp(0.0926 m - 13.64)`, m the MIDI number.
pub fn inharmonicity(midi: f64) -> f64 {
    (-0.0847 * midi - 5.82).exp() + (0.0926 * midi - 13.64).exp()
}

/// Frequency of partial `n` over n times the first partial's: `sqrt((1 + B n^2) / (1 + B))`.
pub fn partial_stretch(n: f64, b: f64) -> f64 {
    ((1.0 + b * n * n) / (1.0 + b)).sqrt()
}
