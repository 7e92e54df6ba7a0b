//! Fully connected layers over all keys at once.
//!
//! Input and output: rows of one activation for every key, side by side in one arena of f32.
//! Units: none. Method: `out[o][key] = relu(bias[o] + sum_k weight[o][k] * in[k][key])` with the keys along the vector lanes. A tile of
//! `TILE_VECTORS` vectors of keys and `TILE_OUTPUTS` outputs stays in registers over the whole sum; weights are packed once in
//! the order in which the sum reads them. Inputs are named by where their row starts in the arena, so that joining layers, or
//! reading a neighbour some keys away, moves no data. Vector instructions are chosen at run time (crate `pulp`).
//! Limits: sums are in f32; a machine with fused multiply-add and one without differ in the last bits.

use crate::units::PIANO_KEYS;
use pulp::Simd;

/// Columns a row needs room for: the keys, rounded up to the widest vector.
pub const ROW: usize = PIANO_KEYS.next_multiple_of(16);

const TILE_VECTORS: usize = 3;
const TILE_OUTPUTS: usize = 4;

/// What becomes of the sum.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Activation {
    /// Kept as it is.
    Linear,
    /// Negative values become 0.
    Relu,
}

/// One layer with packed weights.
#[derive(Debug, Clone)]
pub struct Dense {
    /// Where the row of each input starts in the arena.
    inputs: Vec<usize>,
    /// Where the row of each output starts.
    outputs: Vec<usize>,
    /// By tile of outputs, then by input, then by output within the tile.
    weights: Vec<[f32; TILE_OUTPUTS]>,
    bias: Vec<f32>,
    activation: Activation,
}

impl Dense {
    /// A layer that reads the rows at `inputs` and writes those at `outputs`; `weights` has a row of `inputs.len()` for each output.
    ///
    /// # Panics
    /// If the lengths do not fit each other.
    pub fn new(
        inputs: Vec<usize>,
        outputs: Vec<usize>,
        weights: &[f32],
        bias: &[f32],
        activation: Activation,
    ) -> Self {
        assert_eq!(
            weights.len(),
            inputs.len() * outputs.len(),
            "one weight for each pair"
        );
        assert_eq!(bias.len(), outputs.len(), "one bias an output");
        let mut packed =
            Vec::with_capacity(inputs.len() * outputs.len().next_multiple_of(TILE_OUTPUTS));
        for first in (0..outputs.len()).step_by(TILE_OUTPUTS) {
            for k in 0..inputs.len() {
                packed.push(std::array::from_fn(|o| {
                    weights
                        .get((first + o) * inputs.len() + k)
                        .copied()
                        .unwrap_or(0.0)
                }));
            }
        }
        Self {
            inputs,
            outputs,
            weights: packed,
            bias: bias.to_vec(),
            activation,
        }
    }

    /// Works the layer out for all keys. What a vector writes beyond the last key is zeros afterwards.
    ///
    /// # Panics
    /// If `arena` does not hold the rows the layer was made for.
    #[inline(always)]
    pub fn apply<S: Simd>(&self, simd: S, arena: &mut [f32]) {
        let vectors = PIANO_KEYS.div_ceil(S::F32_LANES);
        let tiles = self
            .weights
            .chunks_exact(self.inputs.len())
            .zip(self.outputs.chunks(TILE_OUTPUTS))
            .zip(self.bias.chunks(TILE_OUTPUTS));
        for ((weights, outputs), bias) in tiles {
            let mut vector = 0;
            while vector + TILE_VECTORS <= vectors {
                self.tile::<S, TILE_VECTORS>(
                    simd,
                    arena,
                    vector * S::F32_LANES,
                    weights,
                    outputs,
                    bias,
                );
                vector += TILE_VECTORS;
            }
            match vectors - vector {
                1 => self.tile::<S, 1>(simd, arena, vector * S::F32_LANES, weights, outputs, bias),
                2 => self.tile::<S, 2>(simd, arena, vector * S::F32_LANES, weights, outputs, bias),
                _ => {}
            }
        }
        for &row in &self.outputs {
            arena[row + PIANO_KEYS..row + vectors * S::F32_LANES].fill(0.0);
        }
    }

    /// `V` vectors of keys from `first_key` on, for one tile of outputs.
    #[inline(always)]
    fn tile<S: Simd, const V: usize>(
        &self,
        simd: S,
        arena: &mut [f32],
        first_key: usize,
        weights: &[[f32; TILE_OUTPUTS]],
        outputs: &[usize],
        bias: &[f32],
    ) {
        let width = V * S::F32_LANES;
        let zero = simd.splat_f32s(0.0);
        let mut sums = [[zero; V]; TILE_OUTPUTS];
        for (sum, &bias) in sums.iter_mut().zip(bias) {
            *sum = [simd.splat_f32s(bias); V];
        }
        for (&row, weights) in self.inputs.iter().zip(weights) {
            let (keys, _) = S::as_simd_f32s(&arena[row + first_key..][..width]);
            let keys: &[S::f32s; V] = keys.first_chunk().expect("a slice of V vectors");
            for (sum, &weight) in sums.iter_mut().zip(weights) {
                let weight = simd.splat_f32s(weight);
                for (sum, &key) in sum.iter_mut().zip(keys) {
                    *sum = simd.mul_add_e_f32s(weight, key, *sum);
                }
            }
        }
        for (sum, &row) in sums.iter().zip(outputs) {
            let (out, _) = S::as_mut_simd_f32s(&mut arena[row + first_key..][..width]);
            for (out, &sum) in out.iter_mut().zip(sum) {
                *out = match self.activation {
                    Activation::Linear => sum,
                    Activation::Relu => simd.max_f32s(sum, zero),
                };
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use pulp::WithSimd;

    struct Run<'a>(&'a Dense, &'a mut [f32]);
    impl WithSimd for Run<'_> {
        type Output = ();
        #[inline(always)]
        fn with_simd<S: Simd>(self, simd: S) {
            self.0.apply(simd, self.1);
        }
    }

    #[test]
    fn the_tiled_sum_agrees_with_the_plain_one_for_odd_sizes_and_shifted_rows() {
        for (inputs, outputs) in [(1, 1), (7, 5), (64, 6), (33, 12)] {
            let shift = |k: usize| (k * 5) % 11;
            let in_rows: Vec<usize> = (0..inputs).map(|k| k * 2 * ROW + shift(k)).collect();
            let start = inputs * 2 * ROW;
            let out_rows: Vec<usize> = (0..outputs).map(|o| start + o * ROW).collect();
            let weights: Vec<f32> = (0..inputs * outputs)
                .map(|i| ((i * 37) % 19) as f32 / 19.0 - 0.5)
                .collect();
            let bias: Vec<f32> = (0..outputs).map(|o| o as f32 / 7.0 - 0.3).collect();
            let mut arena: Vec<f32> = (0..start + outputs * ROW)
                .map(|i| ((i * 31) % 23) as f32 / 23.0 - 0.4)
                .collect();
            let before = arena.clone();
            let layer = Dense::new(
                in_rows.clone(),
                out_rows.clone(),
                &weights,
                &bias,
                Activation::Relu,
            );
            pulp::Arch::new().dispatch(Run(&layer, &mut arena));
            for o in 0..outputs {
                for key in 0..PIANO_KEYS {
                    let sum: f64 = (0..inputs)
                        .map(|k| {
                            f64::from(weights[o * inputs + k]) * f64::from(before[in_rows[k] + key])
                        })
                        .sum::<f64>()
                        + f64::from(bias[o]);
                    let got = f64::from(arena[out_rows[o] + key]);
                    assert!(
                        (got - sum.max(0.0)).abs() < 1e-5,
                        "{inputs}x{outputs} output {o} key {key}: {got} for {sum}"
                    );
                }
            }
            assert_eq!(arena[..start], before[..start], "inputs stay as they were");
        }
    }
}
