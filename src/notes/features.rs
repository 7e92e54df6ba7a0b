//! What the network hears of each key: the spectrum at the places that matter to it.
//!
//! Input: a [`SpectrumFrame`]. Output: [`INPUTS`] rows of [`PIANO_KEYS`] values, one column a key.
//! Units: compressed magnitudes 0 to 1, places -1 to 1.
//! Method: our own. Magnitudes over the frame's largest are compressed, `x = ln(1 + 300 mag / ref) / ln 301`; each key sees them
//! at the ratios of its partials, of its neighbours in the harmonic series and below itself, two rows either side, in both windows.
//! Partials stand where a typical string's stiffness puts them, `f_n = n f_1 sqrt((1 + B n^2) / (1 + B))`.
//! Limits: level is taken out (gain changes nothing) but for how far the frame lies below the loudest of the last seconds.

use crate::spectrum::log_frequency::{A0_BIN, BINS_PER_OCTAVE};
use crate::spectrum::stiffness::{inharmonicity, partial_stretch};
use crate::spectrum::{HOP_SAMPLES, LOG_BINS, SpectrumFrame};
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
/// Place, its square, level beside the last seconds, short over long window.
const SCALARS: usize = 4;
/// Values the network hears of a key.
pub const INPUTS: usize = 2 * TAPS + SCALARS;

/// Gain before the logarithm: a partial 50 dB below the largest still reads 0.12.
const COMPRESSION: f32 = 300.0;
/// No frame counts as louder than its noise below this magnitude (-100 dBFS).
const SILENCE: f32 = 1e-5;
/// After this long the loudest moment counts half.
const PEAK_HALF_LIFE_SECONDS: f64 = 2.0;
/// A row that is none: reads 0.
const NOWHERE: u16 = LOG_BINS as u16;

/// Turns frames into the network's inputs, in memory of its own.
pub struct Features {
    /// For each tap of a window, for each key: the row it reads.
    taps: Vec<[u16; PIANO_KEYS]>,
    /// Compressed magnitudes of the window at hand, and a zero beyond the axis.
    compressed: [f32; LOG_BINS + 1],
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
            compressed: [0.0; LOG_BINS + 1],
            peak: 0.0,
            peak_decay: (-1.0 / hops_a_half_life).exp2() as f32,
        }
    }

    /// Forgets the loudest moment.
    pub fn reset(&mut self) {
        self.peak = 0.0;
    }

    /// Writes the inputs of all keys: input i of the key at piano index k to `out[i * stride + k]`.
    ///
    /// # Panics
    /// If `out` does not hold [`INPUTS`] rows of `stride` values.
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
            self.compress(window, reference);
            for (tap, row) in self.taps.iter().zip(&mut rows) {
                for (value, &bin) in row.iter_mut().zip(tap) {
                    *value = self.compressed[usize::from(bin)];
                }
            }
        }
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

    /// `x = ln(1 + 300 mag / ref) / ln 301`
    fn compress(&mut self, magnitudes: &[f32; LOG_BINS], reference: f32) {
        let gain = COMPRESSION / reference;
        let scale = 1.0 / (1.0 + COMPRESSION).ln();
        for (x, &magnitude) in self.compressed.iter_mut().zip(magnitudes) {
            *x = (1.0 + gain * magnitude).ln() * scale;
        }
    }
}

/// Where a key lies: -1 for A0, 1 for C8.
fn place(piano_index: usize) -> f32 {
    let middle = (PIANO_KEYS - 1) as f32 / 2.0;
    (piano_index as f32 - middle) / middle
}

fn taps() -> Vec<[u16; PIANO_KEYS]> {
    let bins_a_semitone = (BINS_PER_OCTAVE / 12) as i32;
    let fundamental = |key: usize| A0_BIN as i32 + bins_a_semitone * key as i32;
    let row = |bin: i32| {
        u16::try_from(bin)
            .ok()
            .filter(|&bin| bin < NOWHERE)
            .unwrap_or(NOWHERE)
    };
    let mut taps = Vec::with_capacity(TAPS);
    for ratio in RATIOS {
        for neighbour in -NEIGHBOURS..=NEIGHBOURS {
            taps.push(std::array::from_fn(|key| {
                let b = inharmonicity(f64::from(MidiNote::from_piano_index(key).get()));
                let ratio = if ratio > 1.0 {
                    ratio * partial_stretch(ratio, b)
                } else {
                    ratio
                };
                let above = BINS_PER_OCTAVE as f64 * ratio.log2();
                row((f64::from(fundamental(key)) + above + 0.5).floor() as i32 + neighbour)
            }));
        }
    }
    for away in AROUND {
        taps.push(std::array::from_fn(|key| row(fundamental(key) + away)));
    }
    taps
}
