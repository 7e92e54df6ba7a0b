//! What the keys in question tell each other once they know what comes before and after.
//!
//! Input: h5 of each key in question and q of all of them, as [`super::second_look`] names them. Output: what is added to the logits of those
//! keys. Units: logits.
//! Method: messages are passed once between the keys (J. Gilmer, S. S. Schoenholz, P. F. Riley, O. Vinyals, G. E. Dahl, "Neural message passing for
//! quantum chemistry", 2017):
//! ```text
//! t  = relu(Wt h5 + bt)
//! a  = relu(Wa [t of the keys at INTERVALS from here] + ba)             zeros beyond the keyboard, and where no key is in question
//! h6 = relu(W6 [a, h5, q] + b6)
//! added to sounding and to onset: Wh'' h6 + bh''
//! ```
//! Limits: a key out of question is told nothing and tells nothing.

use super::dense::Activation;
use super::estimator::MARGIN;
use super::keyed::{InputStretch, KeyedDense, padded};
use super::model::{INTERVALS, SecondRoundLayers};
use crate::units::PIANO_KEYS;
use pulp::Simd;

/// Where things lie in the row of a key.
#[derive(Debug, Clone, Copy)]
struct Places {
    found: usize,
    of_all: [usize; 2],
    logits: usize,
    stride: usize,
}

/// The layers, and a row for each key and for those beyond the keyboard.
pub struct SecondRound {
    tell: KeyedDense,
    among: KeyedDense,
    again: [KeyedDense; 2],
    places: Places,
    rows: Vec<f32>,
    starts: Vec<usize>,
    is_asked: [bool; PIANO_KEYS + 2 * MARGIN],
    some: Vec<usize>,
}

impl SecondRound {
    /// Lays out the layers for speed. `found` and `of_all` are the sizes of h5 and of one half of q.
    pub fn new(layers: &SecondRoundLayers, found: usize, of_all: usize) -> Self {
        let mut stride = 0;
        let mut place = |len: usize| {
            let begin = stride;
            stride += padded(len);
            begin
        };
        let told = place(layers.tell.outputs);
        let found_at = place(found);
        let q = [place(of_all), place(of_all)];
        let among = place(layers.among.outputs);
        let last = place(layers.last.outputs);
        let places = Places {
            found: found_at,
            of_all: q,
            logits: place(layers.head.outputs),
            stride,
        };
        let here = |begin: usize, len: usize| InputStretch {
            begin: begin as isize,
            len,
        };
        let around = INTERVALS
            .iter()
            .map(|&interval| InputStretch {
                begin: interval as isize * stride as isize + told as isize,
                len: layers.tell.outputs,
            })
            .collect();
        let known = vec![
            here(among, layers.among.outputs),
            here(found_at, found),
            here(q[0], of_all),
            here(q[1], of_all),
        ];
        let relu = Activation::Relu;
        Self {
            tell: KeyedDense::new(vec![here(found_at, found)], told, &layers.tell, relu),
            among: KeyedDense::new(around, among, &layers.among, relu),
            again: [
                KeyedDense::new(known, last, &layers.last, relu),
                KeyedDense::new(
                    vec![here(last, layers.last.outputs)],
                    places.logits,
                    &layers.head,
                    Activation::Linear,
                ),
            ],
            places,
            rows: vec![0.0; stride * (PIANO_KEYS + 2 * MARGIN)],
            starts: Vec::with_capacity(PIANO_KEYS),
            is_asked: [false; PIANO_KEYS + 2 * MARGIN],
            some: Vec::with_capacity(PIANO_KEYS),
        }
    }

    /// Adds to the logits of `keys` (piano indices) what they learn of each other. `found`: h5 of each, one after the other; `of_all`: the halves of q.
    #[inline(always)]
    pub fn add<S: Simd>(
        &mut self,
        simd: S,
        keys: &[usize],
        found: &[f32],
        of_all: &[Vec<f32>; 2],
        logits: &mut [[f32; 2]],
    ) {
        let places = self.places;
        self.is_asked.fill(false);
        self.starts.clear();
        let size = found.len() / keys.len().max(1);
        for (&key, found) in keys.iter().zip(found.chunks_exact(size.max(1))) {
            self.is_asked[MARGIN + key] = true;
            let start = (MARGIN + key) * places.stride;
            self.starts.push(start);
            let row = &mut self.rows[start..][..places.stride];
            row[places.found..][..size].copy_from_slice(found);
            for (&place, half) in places.of_all.iter().zip(of_all) {
                row[place..][..half.len()].copy_from_slice(half);
            }
        }
        self.tell.apply(simd, &mut self.rows, &self.starts);
        let is_zero = |at: usize| !self.is_asked[at / places.stride];
        self.among
            .apply_but_zeros(simd, &mut self.rows, &self.starts, is_zero, &mut self.some);
        for layer in &self.again {
            layer.apply(simd, &mut self.rows, &self.starts);
        }
        for (&start, logits) in self.starts.iter().zip(logits) {
            let added = &self.rows[start + places.logits..];
            logits[0] += added[0];
            logits[1] += added[1];
        }
    }
}
