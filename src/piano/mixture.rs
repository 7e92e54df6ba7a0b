//! A frame as a sum of the piano's own notes, and how much each of them is needed for it.
//!
//! Input: the long window's magnitudes ([`LOG_BINS`]) and the keys that may sound. Output: how far the sum is from the
//! frame, and how much farther it is without a key. Units: none; the magnitudes of a frame are made to sum to 1.
//! Method: non-negative factorisation with fixed spectra and the beta-divergence for beta = 1/2, under which soft partials count beside
//! loud ones (for music: E. Vincent, N. Bertin, R. Badeau, IEEE TASLP 18, 2010; the multiplicative rule with the exponent
//! 1 / (2 - beta): C. Fevotte, J. Idier, Neural Computation 23, 2011, after D. D. Lee, H. S. Seung, NIPS 2000). A string is struck at
//! one place whatever the touch, so that the order of strong and weak partials stays; a harder touch is brighter. Each key therefore has its
//! learned spectrum twice, darker and brighter. A few broad bumps stand for what is no note: noise, the thump, the room's tail.
//! Limits: goes on from the frame before, so that it settles over some frames after a change; no step allocates.

use crate::spectrum::LOG_BINS;
use crate::spectrum::log_frequency::{A0_BIN, BINS_PER_OCTAVE};
use crate::units::PIANO_KEYS;
use pulp::{Arch, Simd, WithSimd};

/// How much (dB an octave above the fundamental) the darker spectrum falls and the brighter one rises. On two pianos 4 was better than
/// 6, and either better than none.
const TOUCH_DB_AN_OCTAVE: f32 = 4.0;
/// Octaves over which touch changes the tone.
const TOUCH_OCTAVES: f32 = 5.0;
/// Spectra a key.
const TOUCHES: usize = 2;
/// Broad bumps over the axis.
const BUMPS: usize = 6;
const ATOMS: usize = TOUCHES * PIANO_KEYS + BUMPS;
/// Rounds a frame, from the shares of the frame before; and when the others take over what a key leaves.
const ROUNDS: usize = 4;
const ROUNDS_WITHOUT: usize = 3;
/// Added to the frame, whose magnitudes sum to 1: what is fainter does not count.
const FLOOR: f32 = 1e-5;
/// Keeps quotients finite.
const TINY: f32 = 1e-7;
/// What a key or a bump begins with, and the least from which it grows again.
const FIRST_SHARE: f32 = 0.02;
const LEAST_SHARE: f32 = 1e-5;
/// Sums side by side, which turn into vector code.
const LANES: usize = 8;

/// Explains frames by the notes of one piano.
pub struct Mixture {
    arch: Arch,
    parts: Parts,
    divergence: f32,
}

struct Parts {
    /// Spectra that each sum to 1: [`TOUCHES`] a key, then the bumps.
    atoms: Vec<[f32; LOG_BINS]>,
    shares: [f32; ATOMS],
    /// Atoms that take part in the frame.
    active: Vec<usize>,
    frame: [f32; LOG_BINS],
}

impl Mixture {
    /// Of a piano with these spectra, one a key; all memory is taken here.
    ///
    /// # Panics
    /// If there is not one spectrum for each key.
    pub fn new(spectra: &[[f32; LOG_BINS]]) -> Self {
        assert_eq!(spectra.len(), PIANO_KEYS, "one spectrum a key");
        let keys = spectra.iter().enumerate();
        let touched = keys.flat_map(|(key, spectrum)| {
            [-TOUCH_DB_AN_OCTAVE, TOUCH_DB_AN_OCTAVE].map(|db| touched(spectrum, key, db))
        });
        Self {
            arch: Arch::new(),
            parts: Parts {
                atoms: touched.chain((0..BUMPS).map(bump)).collect(),
                shares: [0.0; ATOMS],
                active: Vec::with_capacity(ATOMS),
                frame: [0.0; LOG_BINS],
            },
            divergence: 0.0,
        }
    }

    /// Explains the next frame by the keys at these piano indices.
    ///
    /// # Panics
    /// If one of `keys` is no piano index.
    pub fn explain(&mut self, magnitudes: &[f32; LOG_BINS], keys: &[usize]) {
        self.parts.take(magnitudes, keys);
        let mut shares = self.parts.shares;
        self.divergence = self.arch.dispatch(Fit {
            parts: &self.parts,
            shares: &mut shares,
            rounds: ROUNDS,
        });
        self.parts.shares = shares;
    }

    /// How far the sum is from the last frame: 0 where it explains it whole, and before the first.
    pub fn divergence(&self) -> f32 {
        self.divergence
    }

    /// How much farther the sum is from the last frame without the key, once the others have taken over what they can.
    ///
    /// # Panics
    /// If `key` is no piano index.
    pub fn need(&self, key: usize) -> f32 {
        assert!(key < PIANO_KEYS, "a piano index");
        let mut without = self.parts.shares;
        without[TOUCHES * key..][..TOUCHES].fill(0.0);
        let divergence = self.arch.dispatch(Fit {
            parts: &self.parts,
            shares: &mut without,
            rounds: ROUNDS_WITHOUT,
        });
        divergence - self.divergence
    }

    /// Forgets all frames.
    pub fn reset(&mut self) {
        self.parts.shares = [0.0; ATOMS];
        self.divergence = 0.0;
    }
}

impl Parts {
    /// Takes over the frame and the keys, which start from where they were.
    fn take(&mut self, magnitudes: &[f32; LOG_BINS], keys: &[usize]) {
        let total = magnitudes.iter().sum::<f32>().max(1e-9);
        for (own, magnitude) in self.frame.iter_mut().zip(magnitudes) {
            *own = magnitude / total + FLOOR;
        }
        self.active.clear();
        for &key in keys {
            assert!(key < PIANO_KEYS, "a piano index");
            self.active.extend(TOUCHES * key..TOUCHES * key + TOUCHES);
        }
        self.active.extend(TOUCHES * PIANO_KEYS..ATOMS);
        let before = std::mem::replace(&mut self.shares, [0.0; ATOMS]);
        for &atom in &self.active {
            self.shares[atom] = match before[atom] {
                0.0 => FIRST_SHARE,
                share => share.max(LEAST_SHARE),
            };
        }
    }

    /// The sum of the atoms, each with its share.
    #[inline(always)]
    fn sum(&self, shares: &[f32; ATOMS]) -> [f32; LOG_BINS] {
        let mut sum = [TINY; LOG_BINS];
        for &atom in &self.active {
            let share = shares[atom];
            if share > 0.0 {
                for (sum, w) in sum.iter_mut().zip(&self.atoms[atom]) {
                    *sum += share * w;
                }
            }
        }
        sum
    }
}

/// Some rounds of `h_k <- h_k (sum_b w_kb v_b y_b^(-3/2) / sum_b w_kb y_b^(-1/2))^(2/3)` with `y = W h`, for the shares h that are not
/// 0; gives the divergence `sum_b 2 (sqrt(v_b) - sqrt(y_b))^2 / sqrt(y_b)`.
struct Fit<'a> {
    parts: &'a Parts,
    shares: &'a mut [f32; ATOMS],
    rounds: usize,
}

impl WithSimd for Fit<'_> {
    type Output = f32;

    #[inline(always)]
    fn with_simd<S: Simd>(self, _simd: S) -> f32 {
        let Self {
            parts,
            shares,
            rounds,
        } = self;
        let (mut more, mut less) = ([0.0; LOG_BINS], [0.0; LOG_BINS]);
        for _ in 0..rounds {
            let y = parts.sum(shares);
            for (((more, less), v), y) in more.iter_mut().zip(&mut less).zip(&parts.frame).zip(&y) {
                *less = 1.0 / y.sqrt();
                *more = v * *less / y;
            }
            for &atom in &parts.active {
                if shares[atom] > 0.0 {
                    let spectrum = &parts.atoms[atom];
                    let step = dot(spectrum, &more) / dot(spectrum, &less);
                    shares[atom] *= step.cbrt().powi(2);
                }
            }
        }
        let y = parts.sum(shares);
        let mut terms = [0.0; LOG_BINS];
        for ((term, v), y) in terms.iter_mut().zip(&parts.frame).zip(&y) {
            let root = y.sqrt();
            let off = v.sqrt() - root;
            *term = 2.0 * off * off / root;
        }
        dot(&terms, &[1.0; LOG_BINS])
    }
}

#[inline(always)]
fn dot(a: &[f32; LOG_BINS], b: &[f32; LOG_BINS]) -> f32 {
    const { assert!(LOG_BINS.is_multiple_of(LANES)) };
    let mut sums = [0.0; LANES];
    for (a, b) in a.chunks_exact(LANES).zip(b.chunks_exact(LANES)) {
        for ((sum, a), b) in sums.iter_mut().zip(a).zip(b) {
            *sum += a * b;
        }
    }
    sums.iter().sum()
}

/// A key's spectrum with so many dB more for each octave above its fundamental.
fn touched(spectrum: &[f32; LOG_BINS], key: usize, db_an_octave: f32) -> [f32; LOG_BINS] {
    let fundamental = (A0_BIN + BINS_PER_OCTAVE / 12 * key) as f32;
    normalised(std::array::from_fn(|row| {
        let octaves = (row as f32 - fundamental) / BINS_PER_OCTAVE as f32;
        let db = db_an_octave * octaves.clamp(-1.0, TOUCH_OCTAVES);
        spectrum[row] * 10f32.powf(db / 20.0)
    }))
}

/// `cos^2` bumps that overlap by half and together cover the axis evenly.
fn bump(index: usize) -> [f32; LOG_BINS] {
    let width = (LOG_BINS - 1) as f32 / (BUMPS - 1) as f32;
    normalised(std::array::from_fn(|row| {
        let away = (row as f32 / width - index as f32).clamp(-1.0, 1.0);
        (std::f32::consts::FRAC_PI_2 * away).cos().powi(2)
    }))
}

fn normalised(magnitudes: [f32; LOG_BINS]) -> [f32; LOG_BINS] {
    let sum = magnitudes.iter().sum::<f32>().max(1e-9);
    magnitudes.map(|m| m / sum)
}
