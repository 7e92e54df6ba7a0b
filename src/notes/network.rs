//! The network that hears notes: one small set of weights shared by all keys, with a memory for each.
//!
//! Input: a [`SpectrumFrame`] a hop. Output: [`NoteEvidence`]. Units: probabilities 0 to 1, calibrated with the training's own scale and shift.
//! Method: our own, trained on mixes of recorded piano notes. For each key, from its inputs x ([`super::features`]):
//! ```text
//! h1 = relu(W1 x + b1)        h2 = relu(W2 h1 + b2)        first opinion o = wo h2 + bo
//! c  = relu(Wc [h2 of the keys at INTERVALS from here] + bc)            zeros beyond the keyboard
//! h3 = relu(W3 [c, h2] + b3)
//! r  = sigmoid(Wir h3 + bir + Whr g + bhr)     z = sigmoid(Wiz h3 + biz + Whz g + bhz)       (gated recurrent unit, Cho et al.,
//! n  = tanh(Win h3 + bin + r (Whn g + bhn))    g = (1 - z) n + z g                            EMNLP 2014, as in PyTorch)
//! sounding = o + (Wh [g, h3] + bh)[0]          onset = (Wh [g, h3] + bh)[1]                   (logits)
//! ```
//! Limits: answers with the frame at hand, no look-ahead; a step neither allocates nor fails. One path serves live sound and files.

use super::dense::{Activation, Dense, ROW};
use super::evidence::{NoteEstimator, NoteEvidence};
use super::features::{Features, INPUTS};
use super::model::{Calibration, Layer, Model};
use crate::spectrum::SpectrumFrame;
use crate::units::PIANO_KEYS;
use pulp::{Arch, Simd, WithSimd};

/// Keys looked at around each key, in semitones, in the order of the context layer's inputs.
pub const INTERVALS: [i32; 27] = [
    0, 1, -1, 2, -2, 3, -3, 4, -4, 5, -5, 7, -7, 9, -9, 12, -12, 16, -16, 19, -19, 24, -24, 28,
    -28, 36, -36,
];
/// Zeros either side of the keyboard, for neighbours beyond its ends.
const MARGIN: usize = 36;
/// Room for a row that is read at an interval.
const WIDE_ROW: usize = MARGIN + ROW + MARGIN;

/// Hears notes with a [`Model`].
pub struct NetworkEstimator {
    features: Features,
    network: Network,
    arch: Arch,
}

impl NetworkEstimator {
    /// Lays out `model` for speed; all memory is taken here.
    pub fn new(model: &Model) -> Self {
        Self {
            features: Features::new(),
            network: Network::new(model),
            arch: Arch::new(),
        }
    }

    /// With the model that comes with the program.
    pub fn embedded() -> Self {
        Self::new(&Model::embedded())
    }

    /// The network alone, from `inputs` ([`INPUTS`] rows of [`PIANO_KEYS`]), to measure and check it beside the features.
    ///
    /// # Panics
    /// If `inputs` has another size.
    pub fn step_inputs(&mut self, inputs: &[f32], out: &mut NoteEvidence) {
        assert_eq!(
            inputs.len(),
            INPUTS * PIANO_KEYS,
            "one value for each input and key"
        );
        for (row, values) in self
            .network
            .inputs_mut()
            .chunks_exact_mut(ROW)
            .zip(inputs.chunks_exact(PIANO_KEYS))
        {
            row[..PIANO_KEYS].copy_from_slice(values);
        }
        self.arch.dispatch(Step {
            network: &mut self.network,
            out,
        });
    }
}

impl NoteEstimator for NetworkEstimator {
    fn step(&mut self, frame: &SpectrumFrame, out: &mut NoteEvidence) {
        self.features.step(frame, self.network.inputs_mut(), ROW);
        self.arch.dispatch(Step {
            network: &mut self.network,
            out,
        });
    }

    fn reset(&mut self) {
        self.features.reset();
        self.network.arena.fill(0.0);
    }
}

/// The layers, and the arena in which all their rows lie.
struct Network {
    arena: Vec<f32>,
    /// In the order in which they run, up to the memory's gates.
    layers: Vec<Dense>,
    /// Reads the memory's new state.
    head: Dense,
    opinion: Rows,
    /// The memory's state g, its gates r and z, then the two halves of its candidate: rows that follow each other.
    memory: Rows,
    logits: Rows,
    sounding: Calibration,
    onset: Calibration,
}

/// Rows of the arena, one an activation.
#[derive(Debug, Clone, Copy)]
struct Rows {
    start: usize,
    count: usize,
    stride: usize,
    /// Column of the first key.
    first_key: usize,
}

impl Rows {
    /// Where the rows start, read `away` keys from here.
    fn at(self, away: i32) -> impl Iterator<Item = usize> {
        (0..self.count).map(move |row| {
            (self.start + row * self.stride + self.first_key)
                .checked_add_signed(away as isize)
                .expect("a row with a margin as wide as the widest interval")
        })
    }

    fn here(self) -> Vec<usize> {
        self.at(0).collect()
    }

    fn len(self) -> usize {
        self.count * self.stride
    }
}

/// Hands out rows of an arena.
#[derive(Default)]
struct Layout {
    len: usize,
}

impl Layout {
    fn rows(&mut self, count: usize) -> Rows {
        self.strided(count, ROW, 0)
    }

    fn wide_rows(&mut self, count: usize) -> Rows {
        self.strided(count, WIDE_ROW, MARGIN)
    }

    fn strided(&mut self, count: usize, stride: usize, first_key: usize) -> Rows {
        let rows = Rows {
            start: self.len,
            count,
            stride,
            first_key,
        };
        self.len += count * stride;
        rows
    }
}

impl Network {
    fn new(model: &Model) -> Self {
        let states = model.memory_state.inputs;
        let mut layout = Layout::default();
        let inputs = layout.rows(INPUTS);
        let first = layout.rows(model.first.outputs);
        let second = layout.wide_rows(model.second.outputs);
        let opinion = layout.rows(1);
        let context = layout.rows(model.context.outputs);
        let joined = layout.rows(model.joined.outputs);
        let memory = layout.rows(states);
        let gates = layout.rows(2 * states);
        let candidate_input = layout.rows(states);
        let candidate_state = layout.rows(states);
        let logits = layout.rows(2);

        let neighbours = INTERVALS
            .iter()
            .flat_map(|&interval| second.at(interval))
            .collect();
        let join = |left: Rows, right: Rows| left.at(0).chain(right.at(0)).collect::<Vec<_>>();
        let dense = |inputs: Vec<usize>, outputs: Rows, layer: &Layer, activation| {
            Dense::new(
                inputs,
                outputs.here(),
                &layer.weight,
                &layer.bias,
                activation,
            )
        };
        let (gate_layer, candidate_input_layer, candidate_state_layer) =
            split_gates(&model.memory_input, &model.memory_state);
        use Activation::{Linear, Relu};
        Self {
            arena: vec![0.0; layout.len],
            layers: vec![
                dense(inputs.here(), first, &model.first, Relu),
                dense(first.here(), second, &model.second, Relu),
                dense(second.here(), opinion, &model.opinion, Linear),
                dense(neighbours, context, &model.context, Relu),
                dense(join(context, second), joined, &model.joined, Relu),
                dense(join(joined, memory), gates, &gate_layer, Linear),
                dense(
                    joined.here(),
                    candidate_input,
                    &candidate_input_layer,
                    Linear,
                ),
                dense(
                    memory.here(),
                    candidate_state,
                    &candidate_state_layer,
                    Linear,
                ),
            ],
            head: dense(join(memory, joined), logits, &model.head, Linear),
            opinion,
            memory,
            logits,
            sounding: model.sounding,
            onset: model.onset,
        }
    }

    /// The rows of the inputs, which lie first in the arena.
    fn inputs_mut(&mut self) -> &mut [f32] {
        &mut self.arena[..INPUTS * ROW]
    }
}

/// Reset and update gates from `[input, state]` with their biases summed; then the candidate's two halves apart.
fn split_gates(input: &Layer, state: &Layer) -> (Layer, Layer, Layer) {
    let states = state.inputs;
    let joined = (0..2 * states)
        .flat_map(|o| [row(input, o), row(state, o)].concat())
        .collect();
    let gates = Layer {
        inputs: input.inputs + states,
        outputs: 2 * states,
        weight: joined,
        bias: input
            .bias
            .iter()
            .zip(&state.bias)
            .take(2 * states)
            .map(|(a, b)| a + b)
            .collect(),
    };
    let candidate = |layer: &Layer| Layer {
        inputs: layer.inputs,
        outputs: states,
        weight: layer.weight[2 * states * layer.inputs..].to_vec(),
        bias: layer.bias[2 * states..].to_vec(),
    };
    (gates, candidate(input), candidate(state))
}

fn row(layer: &Layer, output: usize) -> &[f32] {
    &layer.weight[output * layer.inputs..][..layer.inputs]
}

/// One frame, compiled for whatever vectors the machine has.
struct Step<'a> {
    network: &'a mut Network,
    out: &'a mut NoteEvidence,
}

impl WithSimd for Step<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        let Self { network: net, out } = self;
        for layer in &net.layers {
            layer.apply(simd, &mut net.arena);
        }
        remember(&mut net.arena[net.memory.start..], net.memory.len());
        net.head.apply(simd, &mut net.arena);
        let opinion = &net.arena[net.opinion.start..][..PIANO_KEYS];
        let (sounding, onset) = net.arena[net.logits.start..][..2 * ROW].split_at(ROW);
        for (key, &opinion) in opinion.iter().enumerate() {
            out.sounding[key] = net.sounding.probability(opinion + sounding[key]);
            out.onset[key] = net.onset.probability(onset[key]);
        }
    }
}

/// `r = sigmoid(..)`, `z = sigmoid(..)`, `n = tanh(i + r s)`, `g = (1 - z) n + z g`, where `rows` holds g, r, z, i and s before their
/// activation, `len` values each.
#[inline(always)]
fn remember(rows: &mut [f32], len: usize) {
    let (memory, rest) = rows.split_at_mut(len);
    let (reset, rest) = rest.split_at(len);
    let (update, rest) = rest.split_at(len);
    let (input, state) = rest.split_at(len);
    for ((((g, &r), &z), &i), &s) in memory
        .iter_mut()
        .zip(reset)
        .zip(update)
        .zip(input)
        .zip(state)
    {
        let z = sigmoid(z);
        let n = 2.0 * sigmoid(2.0 * (i + sigmoid(r) * s)) - 1.0;
        *g = (1.0 - z) * n + z * *g;
    }
}

impl Calibration {
    #[inline(always)]
    fn probability(self, logit: f32) -> f32 {
        sigmoid(self.scale * logit + self.shift)
    }
}

#[inline(always)]
fn sigmoid(x: f32) -> f32 {
    1.0 / (1.0 + exp(-x))
}

/// `e^x` within 3e-7 of its value, in plain arithmetic that turns into vector code; the ends of the range saturate.
///
/// `x = n ln 2 + r` with |r| at most 0.35; `e^r` by its Taylor series to the seventh power (next term: 5e-9); `2^n` by its exponent bits.
#[inline(always)]
fn exp(x: f32) -> f32 {
    /// ln 2 in two parts, the first with zeros at its end, so that n times it is exact.
    const LN_2: [f32; 2] = [0.693_359_4, -2.121_944_4e-4];
    /// Adding 1.5 * 2^23 leaves the nearest integer in the low bits of the sum.
    const TO_INTEGER: f32 = 12_582_912.0;
    let x = x.clamp(-87.0, 87.0);
    let shifted = x * std::f32::consts::LOG2_E + TO_INTEGER;
    let n = shifted - TO_INTEGER;
    let r = (x - n * LN_2[0]) - n * LN_2[1];
    let mut sum = 1.0;
    for divisor in [7.0, 6.0, 5.0, 4.0, 3.0, 2.0, 1.0] {
        sum = 1.0 + sum * r * (1.0 / divisor);
    }
    sum * f32::from_bits(shifted.to_bits().wrapping_add(127) << 23)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_exponential_is_right_to_single_precision_over_its_whole_range() {
        for i in -8700..=8700 {
            let x = i as f32 / 100.0;
            let right = f64::from(x).exp();
            assert!(
                (f64::from(exp(x)) / right - 1.0).abs() < 3e-7,
                "exp({x}) = {}",
                exp(x)
            );
        }
        assert!(exp(-1e9) < 1e-37 && exp(1e9).is_finite());
        assert_eq!(sigmoid(0.0), 0.5);
    }
}
