//! Fully connected layers over some of the keys.
//!
//! Input and output: one row of activations a key in an arena of f32; a layer reads stretches of the row of a key, or of a row some keys
//! away, and writes a stretch of the key's own row.
//! Units: none. Method: `out[key][o] = relu(bias[o] + sum_k weight[o][k] * in[key][k])` with the outputs along the vector lanes. A tile of
//! `TILE_KEYS` keys and `TILE_OUTPUTS` outputs stays in registers over the whole sum, which reads the tile's weights from end to end and the
//! inputs in fours; the weights of a tile of outputs stay in the nearest cache over all keys. Where [`super::dense`] works all keys out side by side, this costs in proportion to the keys that are asked for.
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
pub struct InputStretch {
    /// Where it begins, counted from the start of the key's row; negative in the row of a key further down.
    pub begin: isize,
    /// How many values.
    pub len: usize,
}

impl InputStretch {
    /// Where it begins for the key whose row starts at `row`.
    #[inline(always)]
    fn of(self, row: usize) -> usize {
        row.checked_add_signed(self.begin)
            .expect("a margin as wide as the farthest neighbour")
    }
}

/// One layer with packed weights.
#[derive(Debug, Clone)]
pub struct KeyedDense {
    inputs: Vec<InputStretch>,
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
    pub fn new(
        inputs: Vec<InputStretch>,
        output: usize,
        layer: &Layer,
        activation: Activation,
    ) -> Self {
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
        let quads = self.weights.len() / self.bias.len();
        let tiles = self.weights.chunks_exact(quads).zip(&self.bias);
        for (tile, (weights, bias)) in tiles.enumerate() {
            Tile {
                simd,
                arena,
                inputs: &self.inputs,
                weights,
                bias: Some(bias),
                output: self.output + tile * TILE_OUTPUTS,
                activation: self.activation,
            }
            .run(rows);
        }
    }

    /// As [`KeyedDense::apply`], but leaves out the inputs that are all zero: those that begin where `is_zero` says so. `some` is memory
    /// to work in.
    ///
    /// # Panics
    /// If `arena` does not hold what the layer reads and writes there.
    #[inline(always)]
    pub fn apply_but_zeros<S: Simd>(
        &self,
        simd: S,
        arena: &mut [f32],
        rows: &[usize],
        is_zero: impl Fn(usize) -> bool,
        some: &mut Vec<usize>,
    ) {
        for &row in rows {
            let (out, _) = arena[row + self.output..].as_chunks_mut();
            out[..self.bias.len()].copy_from_slice(&self.bias);
        }
        let quads = self.weights.len() / self.bias.len();
        let mut first = 0;
        for stretch in &self.inputs {
            let many = stretch.len.div_ceil(QUAD);
            some.clear();
            some.extend(rows.iter().filter(|&&row| !is_zero(stretch.of(row))));
            for (tile, weights) in self.weights.chunks_exact(quads).enumerate() {
                Tile {
                    simd,
                    arena,
                    inputs: std::slice::from_ref(stretch),
                    weights: &weights[first..first + many],
                    bias: None,
                    output: self.output + tile * TILE_OUTPUTS,
                    activation: Activation::Linear,
                }
                .run(some);
            }
            first += many;
        }
        if self.activation == Activation::Relu {
            for &row in rows {
                let out = &mut arena[row + self.output..][..self.bias.len() * TILE_OUTPUTS];
                out.iter_mut().for_each(|out| *out = out.max(0.0));
            }
        }
    }
}

/// One tile of outputs, for any keys.
struct Tile<'a, S> {
    simd: S,
    arena: &'a mut [f32],
    inputs: &'a [InputStretch],
    /// Of all the inputs, by quad.
    weights: &'a [[[f32; TILE_OUTPUTS]; QUAD]],
    /// `None` where the sum goes on from what stands there.
    bias: Option<&'a [f32; TILE_OUTPUTS]>,
    /// Where the outputs begin in a key's row.
    output: usize,
    activation: Activation,
}

impl<S: Simd> Tile<'_, S> {
    #[inline(always)]
    fn run(&mut self, rows: &[usize]) {
        let (groups, rest) = rows.as_chunks::<TILE_KEYS>();
        for group in groups {
            self.keys(group);
        }
        // each call reads all weights once, so that what is left is one tile as well
        match *rest {
            [a] => self.keys(&[a]),
            [a, b] => self.keys(&[a, b]),
            [a, b, c] => self.keys(&[a, b, c]),
            [a, b, c, d] => self.keys(&[a, b, c, d]),
            [a, b, c, d, e] => self.keys(&[a, b, c, d, e]),
            _ => {}
        }
    }

    #[inline(always)]
    fn keys<const K: usize>(&mut self, rows: &[usize; K]) {
        match S::F32_LANES {
            16 => self.sum_up::<K, 1>(rows),
            8 => self.sum_up::<K, 2>(rows),
            4 => self.sum_up::<K, 4>(rows),
            _ => self.sum_up::<K, TILE_OUTPUTS>(rows),
        }
    }

    /// The outputs, in `V` vectors, for `K` keys. Its loops go over constant ranges, which are unrolled, so that the sums stay in registers;
    /// of iterators that go together some are not.
    #[inline(always)]
    fn sum_up<const K: usize, const V: usize>(&mut self, rows: &[usize; K]) {
        let simd = self.simd;
        let zero = simd.splat_f32s(0.0);
        let mut sums = [[zero; V]; K];
        for key in 0..K {
            sums[key] = match self.bias {
                Some(bias) => vectors::<S, V>(bias),
                None => vectors::<S, V>(&self.arena[rows[key] + self.output..][..TILE_OUTPUTS]),
            };
        }
        let mut all_weights = self.weights;
        for stretch in self.inputs {
            let quads = stretch.len.div_ceil(QUAD);
            let (weights, others) = all_weights.split_at(quads);
            all_weights = others;
            let mut inputs: [&[[f32; QUAD]]; K] = [&[]; K];
            for key in 0..K {
                let begin = stretch.of(rows[key]);
                inputs[key] = self.arena[begin..][..quads * QUAD].as_chunks().0;
            }
            for (quad, weights) in weights.iter().enumerate() {
                let mut given = [&[0.0; QUAD]; K];
                for key in 0..K {
                    given[key] = &inputs[key][quad];
                }
                for k in 0..QUAD {
                    let weights = vectors::<S, V>(&weights[k]);
                    for key in 0..K {
                        let input = simd.splat_f32s(given[key][k]);
                        for v in 0..V {
                            sums[key][v] = simd.mul_add_e_f32s(weights[v], input, sums[key][v]);
                        }
                    }
                }
            }
        }
        for key in 0..K {
            let out = &mut self.arena[rows[key] + self.output..][..TILE_OUTPUTS];
            let (out, _) = S::as_mut_simd_f32s(out);
            for v in 0..V {
                out[v] = match self.activation {
                    Activation::Linear => sums[key][v],
                    Activation::Relu => simd.max_f32s(sums[key][v], zero),
                };
            }
        }
    }
}

/// One tile's worth of values as `V` vectors.
#[inline(always)]
fn vectors<S: Simd, const V: usize>(values: &[f32]) -> [S::f32s; V] {
    let (values, _) = S::as_simd_f32s(values);
    *values.first_chunk().expect("V vectors a tile")
}
