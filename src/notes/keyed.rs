//! Fully connected layers over some of the keys.
//!
//! Input and output: one row of activations a key in an arena of f32; a layer reads stretches of the row of a key, or of a row some keys
//! away, and writes a stretch of the key's own row.
//! Units: none. Method: `out[key][o] = relu(bias[o] + sum_k weight[o][k] * in[key][k])` with the outputs along the vector lanes. A tile of
//! `TILE_KEYS` keys and `TILE_VECTORS` vectors of outputs stays in registers over the whole sum. Where [`super::dense`] works all keys out
//! side by side, this costs in proportion to the keys that are asked for. Vector instructions are chosen at run time (crate `pulp`).
//! Limits: sums are in f32; a machine with fused multiply-add and one without differ in the last bits.

use super::dense::Activation;
use super::model::Layer;
use pulp::Simd;

/// Widest vector, to whose multiples the written stretch is rounded up.
const WIDEST: usize = 16;
const TILE_KEYS: usize = 4;
const TILE_VECTORS: usize = 3;

/// Room that `outputs` values need in a row.
pub const fn padded(outputs: usize) -> usize {
    outputs.next_multiple_of(WIDEST)
}

/// A stretch of activations that a layer reads.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stretch {
    /// Where it begins, counted from the start of the key's row; negative in the row of a key further down.
    pub begin: isize,
    /// How many values.
    pub len: usize,
}

/// One layer with packed weights.
#[derive(Debug, Clone)]
pub struct KeyedDense {
    inputs: Vec<Stretch>,
    /// Where the outputs begin in the key's row.
    output: usize,
    outputs: usize,
    /// A row of padded outputs for each input.
    weights: Vec<f32>,
    /// Padded.
    bias: Vec<f32>,
    activation: Activation,
}

impl KeyedDense {
    /// A layer that reads `inputs` one after the other and writes [`padded`] values from `output` on, those beyond the layer's own as zeros.
    ///
    /// # Panics
    /// If the inputs are not as many as the layer has.
    pub fn new(inputs: Vec<Stretch>, output: usize, layer: &Layer, activation: Activation) -> Self {
        let many: usize = inputs.iter().map(|stretch| stretch.len).sum();
        assert_eq!(many, layer.inputs, "one weight an input");
        let width = padded(layer.outputs);
        let mut weights = vec![0.0; many * width];
        for (o, row) in layer.weight.chunks_exact(many).enumerate() {
            for (packed, &weight) in weights.chunks_exact_mut(width).zip(row) {
                packed[o] = weight;
            }
        }
        let mut bias = layer.bias.clone();
        bias.resize(width, 0.0);
        Self {
            inputs,
            output,
            outputs: layer.outputs,
            weights,
            bias,
            activation,
        }
    }

    /// Works the layer out for the keys whose rows start at `rows`.
    ///
    /// # Panics
    /// If `arena` does not hold what the layer reads and writes there.
    #[inline(always)]
    pub fn apply<S: Simd>(&self, simd: S, arena: &mut [f32], rows: &[usize]) {
        let (tiles, rest) = rows.as_chunks::<TILE_KEYS>();
        for tile in tiles {
            self.keys(simd, arena, tile);
        }
        for &row in rest {
            self.keys(simd, arena, &[row]);
        }
    }

    #[inline(always)]
    fn keys<S: Simd, const K: usize>(&self, simd: S, arena: &mut [f32], rows: &[usize; K]) {
        let vectors = self.outputs.div_ceil(S::F32_LANES);
        let mut vector = 0;
        while vector + TILE_VECTORS <= vectors {
            self.tile::<S, K, TILE_VECTORS>(simd, arena, rows, vector * S::F32_LANES);
            vector += TILE_VECTORS;
        }
        match vectors - vector {
            1 => self.tile::<S, K, 1>(simd, arena, rows, vector * S::F32_LANES),
            2 => self.tile::<S, K, 2>(simd, arena, rows, vector * S::F32_LANES),
            _ => {}
        }
    }

    /// `V` vectors of outputs from `first` on, for `K` keys.
    #[inline(always)]
    fn tile<S: Simd, const K: usize, const V: usize>(
        &self,
        simd: S,
        arena: &mut [f32],
        rows: &[usize; K],
        first: usize,
    ) {
        let width = V * S::F32_LANES;
        let vectors = |values: &[f32]| -> [S::f32s; V] {
            let (values, _) = S::as_simd_f32s(&values[first..][..width]);
            *values.first_chunk().expect("a slice of V vectors")
        };
        let mut sums = [vectors(&self.bias); K];
        let mut weights = self.weights.chunks_exact(self.bias.len());
        for stretch in &self.inputs {
            let inputs: [&[f32]; K] = rows.map(|row| {
                let begin = row
                    .checked_add_signed(stretch.begin)
                    .expect("a margin as wide as the farthest neighbour");
                &arena[begin..][..stretch.len]
            });
            for (k, weights) in (0..stretch.len).zip(&mut weights) {
                let weights = vectors(weights);
                for (sum, input) in sums.iter_mut().zip(&inputs) {
                    let input = simd.splat_f32s(input[k]);
                    for (sum, &weight) in sum.iter_mut().zip(&weights) {
                        *sum = simd.mul_add_e_f32s(weight, input, *sum);
                    }
                }
            }
        }
        let zero = simd.splat_f32s(0.0);
        for (sum, &row) in sums.iter().zip(rows) {
            let (out, _) = S::as_mut_simd_f32s(&mut arena[row + self.output + first..][..width]);
            for (out, &sum) in out.iter_mut().zip(sum) {
                *out = match self.activation {
                    Activation::Linear => sum,
                    Activation::Relu => simd.max_f32s(sum, zero),
                };
            }
        }
    }
}
