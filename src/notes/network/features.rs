//! What the network hears of each key: the spectrum at the places that matter to it.
//!
//! Input: a [`SpectrumFrame`]. Output: [`INPUTS`] rows of [`PIANO_KEYS`] values, one column a key.
//! Units: compressed magnitudes 0 to 1, places -1 to 1.
//! Method: our own. Magnitudes over the frame's largest are compressed, `x = ln(1 + 300 mag / ref) / ln 301`; each key sees them
//! at the ratios of its partials, of its neighbours in the harmonic series and below itself, two rows either side, in both windows, and
//! at its first partials how much the short window has grown since the last one that shares no sample with it, both over the `ref` of now.
//! Partials stand where a typical string's stiffness puts them, `f_n = n f_1 sqrt((1 + B n^2) / (1 + B))`.
//! Limits: level is taken out (gain changes nothing) but for how far the frame lies below the loudest of the last seconds.

use crate::spectrum::log_frequency::{A0_BIN, BINS_PER_OCTAVE};
use crate::spectrum::stiffness::{inharmonicity, partial_stretch};
use crate::spectrum::{HOP_SAMPLES, LOG_BINS, SHORT_WINDOW_SAMPLES, SpectrumFrame};
use crate::units::{MidiNote, PIANO_KEYS, SampleRate};

/// Frequencies looked at, over the key's fundamental.
const RATIOS: [f64; 18] = [
    0.5,
    2.0 / 3.0,
    1.0,
    1.5,
    2.0,
    2.5,
    3.0,
    4.0,
    5.0,
    6.0,
    7.0,
    8.0,
    9.0,
    10.0,
    12.0,
    14.0,
    16.0,
    20.0,
];
/// Rows looked at around each ratio: two either side of it.
const NEIGHBOURS: i32 = 2;
/// Rows looked at around the fundamental: one, two and three semitones away.
const AROUND: [i32; 6] = [-9, -6, -3, 3, 6, 9];
/// Rows a window.
const TAPS: usize = RATIOS.len() * (2 * NEIGHBOURS as usize + 1) + AROUND.len();
/// Partials whose growth is looked at, one row either side of each.
const RISING: [f64; 8] = [1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0];
const RISING_NEIGHBOURS: i32 = 1;
/// Rows of growth.
const RISES: usize = RISING.len() * (2 * RISING_NEIGHBOURS as usize + 1);
/// Frames back to the last short window that shares no sample with the one at hand.
const BEFORE: usize = SHORT_WINDOW_SAMPLES / HOP_SAMPLES;
/// Place, its square, level beside the last seconds, short over long window.
const SCALARS: usize = 4;
/// Values the network hears of a key.
pub const INPUTS: usize = 2 * TAPS + RISES + SCALARS;

/// Gain before the logarithm: a partial 50 dB below the largest still reads 0.12.
const COMPRESSION: f32 = 300.0;
/// No frame counts as louder than its noise below this magnitude (-100 dBFS).
const SILENCE: f32 = 1e-5;
/// After this long the loudest moment counts half.
const PEAK_HALF_LIFE_SECONDS: f64 = 2.0;
/// A row that is none: reads 0.
const NOWHERE: u16 = LOG_BINS as u16;
/// Rows with those that are none, as many as let an index be cut to size in place of being checked.
const ROWS: usize = (LOG_BINS + 1).next_power_of_two();

/// Turns frames into the network's inputs, in memory of its own.
pub struct Features {
    /// For each tap of a window, for each key: the row it reads.
    taps: Vec<[u16; PIANO_KEYS]>,
    /// The same for the taps of growth.
    rises: Vec<[u16; PIANO_KEYS]>,
    /// Short windows of the last frames; the next frame takes the place of the oldest.
    earlier: [[f32; LOG_BINS]; BEFORE],
    oldest: usize,
    /// Compressed magnitudes of the window at hand, and zeros beyond the axis.
    compressed: [f32; ROWS],
    /// The loudest moment, forgetting.
    peak: f32,
    peak_decay: f32,
}

impl Default for Features {
    fn default() -> Self {
        Self::new()
    }
}

impl Features {
    /// Works out where each key looks.
    pub fn new() -> Self {
        let hops_a_half_life =
            PEAK_HALF_LIFE_SECONDS * f64::from(SampleRate::INTERNAL.get()) / HOP_SAMPLES as f64;
        Self {
            taps: taps(),
            rises: rises(),
            earlier: [[0.0; LOG_BINS]; BEFORE],
            oldest: 0,
            compressed: [0.0; ROWS],
            peak: 0.0,
            peak_decay: (-1.0 / hops_a_half_life).exp2() as f32,
        }
    }

    /// Forgets the loudest moment and the last frames.
    pub fn reset(&mut self) {
        self.peak = 0.0;
        self.earlier = [[0.0; LOG_BINS]; BEFORE];
    }

    /// Writes the inputs of all keys: input i of the key at piano index k to `out[i * stride + k]`.
    ///
    /// # Panics
    /// If `out` does not hold [`INPUTS`] rows of `stride` values.
    #[inline(always)]
    pub fn step(&mut self, frame: &SpectrumFrame, out: &mut [f32], stride: usize) {
        assert!(
            stride >= PIANO_KEYS && out.len() == INPUTS * stride,
            "one row an input"
        );
        let largest = |magnitudes: &[f32]| magnitudes.iter().copied().fold(0.0, f32::max);
        let reference = largest(&frame.long).max(SILENCE);
        self.peak = reference.max(self.peak * self.peak_decay);
        let mut rows = out.chunks_exact_mut(stride);
        for window in [&frame.long, &frame.short] {
            compress(window, reference, &mut self.compressed);
            read(&self.taps, &self.compressed, &mut rows);
        }
        // What is compressed last is the short window; what it was is taken from it.
        let earlier = &mut self.earlier[self.oldest];
        self.oldest = (self.oldest + 1) % BEFORE;
        let mut was = [0.0; ROWS];
        compress(earlier, reference, &mut was);
        *earlier = frame.short;
        for (now, was) in self.compressed.iter_mut().zip(was) {
            *now -= was;
        }
        read(&self.rises, &self.compressed, &mut rows);
        let below_loudest = (reference / self.peak).log10().clamp(-3.0, 0.0) / 3.0;
        let short_over_long = ((largest(&frame.short) + 1e-6) / reference)
            .log10()
            .clamp(-1.5, 1.5);
        let mut fill = |value: &dyn Fn(usize) -> f32| {
            if let Some(row) = rows.next() {
                row[..PIANO_KEYS]
                    .iter_mut()
                    .enumerate()
                    .for_each(|(key, out)| *out = value(key));
            }
        };
        fill(&place);
        fill(&|key| place(key) * place(key));
        fill(&|_| below_loudest);
        fill(&|_| short_over_long);
    }
}

/// `x = ln(1 + 300 mag / ref) / ln 301`
#[inline(always)]
fn compress(magnitudes: &[f32; LOG_BINS], reference: f32, out: &mut [f32; ROWS]) {
    let gain = COMPRESSION / reference;
    let scale = 1.0 / (1.0 + COMPRESSION).ln();
    for (x, &magnitude) in out.iter_mut().zip(magnitudes) {
        *x = ln(1.0 + gain * magnitude) * scale;
    }
}

/// The natural logarithm of a positive, finite and normal x within 2e-7 of its size, in plain arithmetic that turns into vector code.
///
/// `x = 2^e m` with m from 0.71 to 1.41; `ln m = 2 artanh s` with `s = (m - 1) / (m + 1)`, by its series to the ninth power (next term: 7e-10).
#[inline(always)]
fn ln(x: f32) -> f32 {
    /// Bits of the root of a half.
    const HALF_ROOT: i32 = 0x3f35_04f3;
    let bits = x.to_bits() as i32;
    let e = (bits - HALF_ROOT) >> 23;
    let m = f32::from_bits((bits - (e << 23)) as u32);
    let s = (m - 1.0) / (m + 1.0);
    let z = s * s;
    let series = 1.0 + z * (1.0 / 3.0 + z * (1.0 / 5.0 + z * (1.0 / 7.0 + z * (1.0 / 9.0))));
    e as f32 * std::f32::consts::LN_2 + 2.0 * s * series
}

/// Writes what each key sees at each of `taps` into the next of `rows`.
#[inline(always)]
fn read<'a>(
    taps: &[[u16; PIANO_KEYS]],
    values: &[f32; ROWS],
    rows: &mut impl Iterator<Item = &'a mut [f32]>,
) {
    for (tap, row) in taps.iter().zip(rows) {
        for (value, &bin) in row.iter_mut().zip(tap) {
            *value = values[usize::from(bin) % ROWS];
        }
    }
}

/// Where a key lies: -1 for A0, 1 for C8.
fn place(piano_index: usize) -> f32 {
    let middle = (PIANO_KEYS - 1) as f32 / 2.0;
    (piano_index as f32 - middle) / middle
}

/// The bin of a key's fundamental.
fn fundamental(key: usize) -> i32 {
    A0_BIN as i32 + (BINS_PER_OCTAVE / 12 * key) as i32
}

/// The row at a bin, if there is one.
fn row(bin: i32) -> u16 {
    u16::try_from(bin)
        .ok()
        .filter(|&bin| bin < NOWHERE)
        .unwrap_or(NOWHERE)
}

/// For each of `ratios` the rows from `neighbours` below it to as many above.
fn around(ratios: &[f64], neighbours: i32) -> impl Iterator<Item = [u16; PIANO_KEYS]> {
    ratios.iter().flat_map(move |&ratio| {
        (-neighbours..=neighbours).map(move |neighbour| {
            std::array::from_fn(|key| {
                let b = inharmonicity(f64::from(MidiNote::from_piano_index(key).get()));
                let ratio = if ratio > 1.0 {
                    ratio * partial_stretch(ratio, b)
                } else {
                    ratio
                };
                let above = BINS_PER_OCTAVE as f64 * ratio.log2();
                row((f64::from(fundamental(key)) + above + 0.5).floor() as i32 + neighbour)
            })
        })
    })
}

fn taps() -> Vec<[u16; PIANO_KEYS]> {
    let beside = AROUND.map(|away| std::array::from_fn(|key| row(fundamental(key) + away)));
    around(&RATIOS, NEIGHBOURS).chain(beside).collect()
}

fn rises() -> Vec<[u16; PIANO_KEYS]> {
    around(&RISING, RISING_NEIGHBOURS).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_logarithm_is_right_to_single_precision() {
        for i in 0..20_000 {
            let x = 1.0005_f32.powi(i - 2_000);
            let right = f64::from(x).ln();
            assert!(
                (f64::from(ln(x)) - right).abs() < 2e-7 * right.abs().max(1.0),
                "ln({x}) = {}",
                ln(x)
            );
        }
        assert_eq!(ln(1.0), 0.0);
    }
}
