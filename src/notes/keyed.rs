//! Fully connected layers over some of the keys.
//!
//! Input and output: one row of activations a key in an arena of f32; a layer reads stretches of the row of a key, or of a row some keys
//! away, and writes a stretch of the key's own row.
//! Units: none. Method: `out[key][o] = relu(bias[o] + sum_k weight[o][k] * in[key][k])` with the outputs along the vector lanes. A tile of
//! `TILE_KEYS` keys and `TILE_OUTPUTS` outputs stays in registers over the whole sum, which reads the tile's weights from end to end and the
//! inputs in fours. Where [`super::dense`] works all keys out side by side, this costs in proportion to the keys that are asked for.
//! Vector instructions are chosen at run time (crate `pulp`).
//! Limits: sums are in f32; a machine with fused multiply-add and one without differ in the last bits.

use super::dense::Activation;
use super::model::Layer;
use pulp::Simd;

/// Outputs worked out together, as many as the widest vector has lanes; what is written is rounded up to whole tiles.
const TILE_OUTPUTS: usize = 16;
const TILE_KEYS: usize = 6;
/// Inputs read at a time, so that one look at the bounds serves them all.
const QUAD: usize = 4;

/// Room that `values` activations need in a row. What is beyond them stays zero.
pub const fn padded(values: usize) -> usize {
    values.next_multiple_of(TILE_OUTPUTS)
}

/// A stretch of activations that a layer reads: one that has room as [`padded`] says.
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
    /// By tile of outputs, then by quad of inputs, then by input.
    weights: Vec<[[f32; TILE_OUTPUTS]; QUAD]>,
    /// By tile.
    bias: Vec<[f32; TILE_OUTPUTS]>,
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
        let value = |values: &[f32], at: usize| values.get(at).copied().unwrap_or(0.0);
        let tiles = layer.outputs.div_ceil(TILE_OUTPUTS);
        let mut weights = Vec::new();
        for tile in 0..tiles {
            let output = |lane: usize| tile * TILE_OUTPUTS + lane;
            let mut first = 0;
            for stretch in &inputs {
                for quad in (0..stretch.len).step_by(QUAD) {
                    let weight = |k: usize, lane: usize| {
                        let input = quad + k;
                        if input < stretch.len {
                            value(&layer.weight, output(lane) * many + first + input)
                        } else {
                            0.0
                        }
                    };
                    weights.push(std::array::from_fn(|k| {
                        std::array::from_fn(|lane| weight(k, lane))
                    }));
                }
                first += stretch.len;
            }
        }
        let bias = (0..tiles)
            .map(|tile| std::array::from_fn(|lane| value(&layer.bias, tile * TILE_OUTPUTS + lane)))
            .collect();
        Self {
            inputs,
            output,
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
        // each call reads all weights once, so that what is left is one tile as well
        match *rest {
            [a] => self.keys(simd, arena, &[a]),
            [a, b] => self.keys(simd, arena, &[a, b]),
            [a, b, c] => self.keys(simd, arena, &[a, b, c]),
            [a, b, c, d] => self.keys(simd, arena, &[a, b, c, d]),
            [a, b, c, d, e] => self.keys(simd, arena, &[a, b, c, d, e]),
            _ => {}
        }
    }

    #[inline(always)]
    fn keys<S: Simd, const K: usize>(&self, simd: S, arena: &mut [f32], rows: &[usize; K]) {
        let quads = self.weights.len() / self.bias.len();
        let tiles = self.weights.chunks_exact(quads).zip(&self.bias);
        for (tile, (weights, bias)) in tiles.enumerate() {
            let output = self.output + tile * TILE_OUTPUTS;
            match S::F32_LANES {
                16 => self.tile::<S, K, 1>(simd, arena, rows, weights, bias, output),
                8 => self.tile::<S, K, 2>(simd, arena, rows, weights, bias, output),
                4 => self.tile::<S, K, 4>(simd, arena, rows, weights, bias, output),
                _ => self.tile::<S, K, TILE_OUTPUTS>(simd, arena, rows, weights, bias, output),
            }
        }
    }

    /// One tile of outputs, in `V` vectors, for `K` keys.
    #[inline(always)]
    fn tile<S: Simd, const K: usize, const V: usize>(
        &self,
        simd: S,
        arena: &mut [f32],
        rows: &[usize; K],
        weights: &[[[f32; TILE_OUTPUTS]; QUAD]],
        bias: &[f32; TILE_OUTPUTS],
        output: usize,
    ) {
        let vectors = |values: &[f32; TILE_OUTPUTS]| -> [S::f32s; V] {
            let (values, _) = S::as_simd_f32s(values);
            *values.first_chunk().expect("V vectors a tile")
        };
        let mut sums = [vectors(bias); K];
        let mut weights = weights.iter();
        for stretch in &self.inputs {
            let quads = stretch.len.div_ceil(QUAD);
            let inputs: [&[[f32; QUAD]]; K] = rows.map(|row| {
                let begin = row
                    .checked_add_signed(stretch.begin)
                    .expect("a margin as wide as the farthest neighbour");
                arena[begin..][..quads * QUAD].as_chunks().0
            });
            for (quad, weights) in (0..quads).zip(&mut weights) {
                let mut given = [&[0.0; QUAD]; K];
                for (given, inputs) in given.iter_mut().zip(inputs) {
                    *given = &inputs[quad];
                }
                for (k, weights) in weights.iter().enumerate() {
                    let weights = vectors(weights);
                    for (sum, input) in sums.iter_mut().zip(given) {
                        let input = simd.splat_f32s(input[k]);
                        for (sum, &weight) in sum.iter_mut().zip(&weights) {
                            *sum = simd.mul_add_e_f32s(weight, input, *sum);
                        }
                    }
                }
            }
        }
        let zero = simd.splat_f32s(0.0);
        for (sum, &row) in sums.iter().zip(rows) {
            let (out, _) = S::as_mut_simd_f32s(&mut arena[row + output..][..TILE_OUTPUTS]);
            for (out, &sum) in out.iter_mut().zip(sum) {
                *out = match self.activation {
                    Activation::Linear => sum,
                    Activation::Relu => simd.max_f32s(sum, zero),
                };
            }
        }
    }
}
