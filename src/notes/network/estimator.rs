//! The network that hears notes: one small set of weights shared by all keys, with a memory for each.
//!
//! Input: a [`SpectrumFrame`] a hop. Output: [`NoteEvidence`]. Units: probabilities 0 to 1, calibrated with the training's own scale and shift.
//! Method: our own, trained on mixes of recorded piano notes. For each key, from its inputs x ([`super::features`]):
//! ```text
//! h1 = relu(W1 x + b1)        glance p = wg [first units of h1] + bg
//! where p > DOUBT (elsewhere h2 = 0):
//!   h2 = relu(W2 h1 + b2)     first opinion o = wo h2 + bo
//! where o > DOUBT besides:
//!   s  = sum over keys of sigmoid(o) h2 / (1 + sum of sigmoid(o))         what sounds altogether
//!   c  = relu(Wc [h2 of the keys at INTERVALS from here, s] + bc)         zeros beyond the keyboard
//!   h3 = relu(W3 [c, h2] + b3)
//!   z  = sigmoid(Wz h3 + bz)   g = (1 - z) g + z (Wn h3 + bn)
//!   h4 = relu(W4 [g, h3] + b4)
//!   sounding = o + (Wh h4 + bh)[0]          onset = (Wh h4 + bh)[1]                   (logits)
//! elsewhere: g = 0, sounding = o, or p where there is none, onset = 2 DOUBT
//! ```
//! The memory is a recurrent unit whose gate sees the frame alone (Feng, Tung, Ahmed, Bengio, Hajimirsadeghi, "Were RNNs all we needed?",
//! 2024). Of a recording, [`super::second_look`] takes the place of the last two steps. Limits: live, it answers with the frame at hand, and
//! a step neither allocates nor fails.

use super::dense::{Activation, Dense, ROW};
use super::features::{Features, INPUTS};
use super::keyed::{InputStretch, KeyedDense, padded};
use super::model::{Calibration, INTERVALS, Layer, Model};
use super::second_look::{DELAY, KnownKey, SecondLook};
use crate::notes::evidence::{NoteEstimator, NoteEvidence};
use crate::spectrum::SpectrumFrame;
use crate::units::PIANO_KEYS;
use pulp::{Arch, Simd, WithSimd};

/// A key whose glance or first opinion (logits) is not above this is out of question: it is not looked at any further, and forgets.
pub const DOUBT: f32 = -5.0;
/// Empty rows either side of the keyboard, for neighbours beyond its ends.
pub(super) const MARGIN: usize = 36;

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

    /// As [`NetworkEstimator::new`], but answers to a frame only once it is known what comes after, and tells the pedal.
    pub fn looking_ahead(model: &Model) -> Self {
        let mut estimator = Self::new(model);
        estimator.network.look_ahead(model);
        estimator
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
        self.arch.dispatch(FramePass {
            network: &mut self.network,
            out,
        });
    }
}

impl NoteEstimator for NetworkEstimator {
    fn step(&mut self, frame: &SpectrumFrame, out: &mut NoteEvidence) {
        self.arch.dispatch(Look {
            features: &mut self.features,
            frame,
            inputs: self.network.inputs_mut(),
        });
        self.arch.dispatch(FramePass {
            network: &mut self.network,
            out,
        });
    }

    fn delay(&self) -> usize {
        if self.network.second_look.is_some() {
            DELAY
        } else {
            0
        }
    }

    fn step_past_end(&mut self, out: &mut NoteEvidence) {
        *out = NoteEvidence::default();
        if let Some(second_look) = &mut self.network.second_look {
            second_look.take_silence();
            self.arch.dispatch(Later { second_look, out });
        }
    }

    fn reset(&mut self) {
        self.features.reset();
        self.network.reset();
    }
}

/// The layers, and what they work on.
struct Network {
    /// For each input and each activation of the glance a row of all keys.
    by_activation: Vec<f32>,
    inputs: Rows,
    /// Over all keys.
    glance: [Dense; 2],
    glance_units: Rows,
    glance_logit: Rows,
    /// For each key, and for [`MARGIN`] keys beyond either end, a row of its inputs and activations.
    by_key: Vec<f32>,
    places: Places,
    /// Over the keys that a glance does not rule out: up to the first opinion.
    before_opinion: [KeyedDense; 3],
    /// Over the keys in question: up to the memory, and after it.
    context: KeyedDense,
    before_memory: [KeyedDense; 3],
    after_memory: [KeyedDense; 2],
    /// Of the memory that runs backward: its gate and what is new, for the second look.
    back: [KeyedDense; 2],
    second_look: Option<SecondLook>,
    /// Where the rows of the keys start that a glance does not rule out, and of those the ones in question.
    seen: Vec<usize>,
    asked: Vec<usize>,
    /// For each row of `by_key`, those beyond the keyboard included: whether the key is seen.
    is_seen: Vec<bool>,
    /// Memory of the context layer.
    some: Vec<usize>,
    /// What sounds altogether.
    summary: Vec<f32>,
    sounding: Calibration,
    onset: Calibration,
}

/// Rows of `by_activation`, one an activation.
#[derive(Debug, Clone, Copy)]
struct Rows {
    start: usize,
    count: usize,
}

impl Rows {
    fn starts(self) -> Vec<usize> {
        (0..self.count).map(|row| self.start + row * ROW).collect()
    }

    /// Its rows, one after the other.
    fn of(self, by_activation: &[f32]) -> std::slice::ChunksExact<'_, f32> {
        by_activation[self.start..][..self.count * ROW].chunks_exact(ROW)
    }
}

/// Where the activations of a key lie in its row of `by_key`.
#[derive(Debug, Clone, Copy)]
struct Places {
    inputs: BufferPart,
    glance_units: BufferPart,
    first: BufferPart,
    second: BufferPart,
    opinion: BufferPart,
    summary: BufferPart,
    context: BufferPart,
    joined: BufferPart,
    gate: BufferPart,
    candidate: BufferPart,
    memory: BufferPart,
    last: BufferPart,
    logits: BufferPart,
    back_gate: BufferPart,
    back_candidate: BufferPart,
    /// From one key's row to the next.
    stride: usize,
}

#[derive(Debug, Clone, Copy)]
struct BufferPart {
    begin: usize,
    len: usize,
}

impl BufferPart {
    fn here(self) -> InputStretch {
        InputStretch {
            begin: self.begin as isize,
            len: self.len,
        }
    }

    fn of(self, row: &[f32]) -> &[f32] {
        &row[self.begin..][..self.len]
    }

    fn of_mut(self, row: &mut [f32]) -> &mut [f32] {
        &mut row[self.begin..][..self.len]
    }
}

impl Places {
    fn new(model: &Model) -> Self {
        let mut stride = 0;
        let mut place = |len: usize| {
            let begin = stride;
            stride += padded(len);
            BufferPart { begin, len }
        };
        Self {
            inputs: place(INPUTS),
            glance_units: place(model.glance_units.outputs),
            first: place(model.first.outputs),
            second: place(model.second.outputs),
            opinion: place(model.opinion.outputs),
            summary: place(model.second.outputs),
            context: place(model.context.outputs),
            joined: place(model.joined.outputs),
            gate: place(model.gate.outputs),
            candidate: place(model.candidate.outputs),
            memory: place(model.gate.outputs),
            last: place(model.last.outputs),
            logits: place(model.head.outputs),
            back_gate: place(model.second_look.back_gate.outputs),
            back_candidate: place(model.second_look.back_candidate.outputs),
            stride,
        }
    }

    /// Where the row of the key at a piano index starts.
    fn row(&self, key: usize) -> usize {
        (MARGIN + key) * self.stride
    }

    /// The piano index of the key whose row starts at `row`.
    fn key(&self, row: usize) -> usize {
        row / self.stride - MARGIN
    }

    /// h2 of the key some semitones away.
    fn second_at(&self, interval: i32) -> InputStretch {
        InputStretch {
            begin: interval as isize * self.stride as isize + self.second.begin as isize,
            len: self.second.len,
        }
    }
}

impl Network {
    fn new(model: &Model) -> Self {
        use Activation::{Linear, Relu};
        let mut len = 0;
        let mut rows = |count: usize| {
            let start = len;
            len += count * ROW;
            Rows { start, count }
        };
        let inputs = rows(INPUTS);
        let glance_units = rows(model.glance_units.outputs);
        let glance_logit = rows(1);
        let dense = |inputs: Rows, outputs: Rows, layer: &Layer, activation| {
            Dense::new(
                inputs.starts(),
                outputs.starts(),
                &layer.weight,
                &layer.bias,
                activation,
            )
        };
        let places = Places::new(model);
        let keyed = |inputs: Vec<InputStretch>, output: BufferPart, layer: &Layer, activation| {
            KeyedDense::new(inputs, output.begin, layer, activation)
        };
        let around = INTERVALS
            .iter()
            .map(|&interval| places.second_at(interval))
            .chain([places.summary.here()])
            .collect();
        let joined = || vec![places.joined.here()];
        Self {
            by_activation: vec![0.0; len],
            inputs,
            glance: [
                dense(inputs, glance_units, &model.glance_units, Relu),
                dense(glance_units, glance_logit, &model.glance, Linear),
            ],
            glance_units,
            glance_logit,
            by_key: vec![0.0; places.row(PIANO_KEYS + MARGIN)],
            before_opinion: [
                keyed(vec![places.inputs.here()], places.first, &model.first, Relu),
                keyed(
                    vec![places.glance_units.here(), places.first.here()],
                    places.second,
                    &model.second,
                    Relu,
                ),
                keyed(
                    vec![places.second.here()],
                    places.opinion,
                    &model.opinion,
                    Linear,
                ),
            ],
            context: keyed(around, places.context, &model.context, Relu),
            before_memory: [
                keyed(
                    vec![places.context.here(), places.second.here()],
                    places.joined,
                    &model.joined,
                    Relu,
                ),
                keyed(joined(), places.gate, &model.gate, Linear),
                keyed(joined(), places.candidate, &model.candidate, Linear),
            ],
            after_memory: [
                keyed(
                    vec![places.memory.here(), places.joined.here()],
                    places.last,
                    &model.last,
                    Relu,
                ),
                keyed(vec![places.last.here()], places.logits, &model.head, Linear),
            ],
            back: [
                (places.back_gate, &model.second_look.back_gate),
                (places.back_candidate, &model.second_look.back_candidate),
            ]
            .map(|(output, layer)| keyed(joined(), output, layer, Linear)),
            second_look: None,
            places,
            seen: Vec::with_capacity(PIANO_KEYS),
            asked: Vec::with_capacity(PIANO_KEYS),
            is_seen: vec![false; PIANO_KEYS + 2 * MARGIN],
            some: Vec::with_capacity(PIANO_KEYS),
            summary: vec![0.0; model.second.outputs],
            sounding: model.sounding,
            onset: model.onset,
        }
    }

    /// From now on answers with the second look.
    fn look_ahead(&mut self, model: &Model) {
        let (memory, joined) = (model.gate.outputs, model.joined.outputs);
        self.second_look = Some(SecondLook::new(&model.second_look, memory, joined));
    }

    /// The rows of the inputs.
    fn inputs_mut(&mut self) -> &mut [f32] {
        &mut self.by_activation[self.inputs.start..][..self.inputs.count * ROW]
    }

    fn reset(&mut self) {
        self.by_key.fill(0.0);
        if let Some(second_look) = &mut self.second_look {
            second_look.reset();
        }
    }

    /// Hands inputs over to the own rows of the keys that a glance does not rule out, and lets the others forget.
    #[inline(always)]
    fn see(&mut self) {
        let places = self.places;
        self.seen.clear();
        let glance = &self.by_activation[self.glance_logit.start..][..PIANO_KEYS];
        for (key, &glance) in glance.iter().enumerate() {
            let start = places.row(key);
            self.is_seen[MARGIN + key] = glance > DOUBT;
            if self.is_seen[MARGIN + key] {
                self.seen.push(start);
            } else {
                let row = &mut self.by_key[start..][..places.stride];
                places.second.of_mut(row).fill(0.0);
                places.memory.of_mut(row).fill(0.0);
            }
        }
        for &start in &self.seen {
            let key = places.key(start);
            let own = &mut self.by_key[start..][..places.stride];
            for (place, rows) in [
                (places.inputs, self.inputs),
                (places.glance_units, self.glance_units),
            ] {
                let rows = rows.of(&self.by_activation);
                for (to, row) in place.of_mut(own).iter_mut().zip(rows) {
                    *to = row[key];
                }
            }
        }
    }

    /// Sums up what sounds altogether, notes which keys are in question, and lets the others forget.
    #[inline(always)]
    fn ask(&mut self) {
        let places = self.places;
        self.asked.clear();
        self.summary.fill(0.0);
        let mut total = 1.0;
        for &start in &self.seen {
            let row = &mut self.by_key[start..][..places.stride];
            let opinion = row[places.opinion.begin];
            let likely = sigmoid(opinion);
            total += likely;
            for (sum, &found) in self.summary.iter_mut().zip(places.second.of(row)) {
                *sum += likely * found;
            }
            if opinion > DOUBT {
                self.asked.push(start);
            } else {
                places.memory.of_mut(row).fill(0.0);
            }
        }
        for sum in &mut self.summary {
            *sum /= total;
        }
        for &start in &self.asked {
            let row = &mut self.by_key[start..][..places.stride];
            places.summary.of_mut(row).copy_from_slice(&self.summary);
        }
    }

    /// `g = (1 - z) g + z n` for the keys in question.
    #[inline(always)]
    fn remember(&mut self) {
        let places = self.places;
        for &start in &self.asked {
            let row = &mut self.by_key[start..][..places.stride];
            let (before, memory) = row.split_at_mut(places.memory.begin);
            for ((g, &z), &n) in memory
                .iter_mut()
                .zip(places.gate.of(before))
                .zip(places.candidate.of(before))
            {
                let z = sigmoid(z);
                *g = (1.0 - z) * *g + z * n;
            }
        }
    }

    /// What is said of the frame at hand.
    #[inline(always)]
    fn answer<S: Simd>(&mut self, simd: S, out: &mut NoteEvidence) {
        for layer in &self.after_memory {
            layer.apply(simd, &mut self.by_key, &self.asked);
        }
        let places = self.places;
        for (key, opinion) in self.opinions().enumerate() {
            out.sounding[key] = self.sounding.probability(opinion);
            out.onset[key] = self.onset.probability(2.0 * DOUBT);
        }
        for &start in &self.asked {
            let row = &self.by_key[start..];
            let logits = places.logits.of(row);
            let key = places.key(start);
            let opinion = row[places.opinion.begin];
            out.sounding[key] = self.sounding.probability(opinion + logits[0]);
            out.onset[key] = self.onset.probability(logits[1]);
        }
        out.pedal = None;
    }

    /// Hands the frame at hand to the second look, and writes what that says of the one whose turn it is.
    #[inline(always)]
    fn answer_later<S: Simd>(&mut self, simd: S, out: &mut NoteEvidence) {
        for layer in &self.back {
            layer.apply(simd, &mut self.by_key, &self.asked);
        }
        let Some(mut second_look) = self.second_look.take() else {
            return;
        };
        let places = self.places;
        let known = self.asked.iter().map(|&start| {
            let row = &self.by_key[start..];
            KnownKey {
                key: places.key(start),
                memory: places.memory.of(row),
                joined: places.joined.of(row),
                back: [places.back_gate.of(row), places.back_candidate.of(row)],
            }
        });
        second_look.take(self.opinions(), known);
        second_look.answer(simd, out);
        self.second_look = Some(second_look);
    }

    /// The logit of every key before its neighbours were asked, by piano index.
    #[inline(always)]
    fn opinions(&self) -> impl Iterator<Item = f32> {
        let places = self.places;
        let glance = &self.by_activation[self.glance_logit.start..][..PIANO_KEYS];
        glance.iter().enumerate().map(move |(key, &glance)| {
            if self.is_seen[MARGIN + key] {
                self.by_key[places.row(key) + places.opinion.begin]
            } else {
                glance
            }
        })
    }
}

/// The inputs of one frame, compiled for whatever vectors the machine has.
struct Look<'a> {
    features: &'a mut Features,
    frame: &'a SpectrumFrame,
    inputs: &'a mut [f32],
}

impl WithSimd for Look<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, _simd: S) {
        self.features.step(self.frame, self.inputs, ROW);
    }
}

/// And the layers.
struct FramePass<'a> {
    network: &'a mut Network,
    out: &'a mut NoteEvidence,
}

impl WithSimd for FramePass<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        let Self { network: net, out } = self;
        for layer in &net.glance {
            layer.apply(simd, &mut net.by_activation);
        }
        net.see();
        for layer in &net.before_opinion {
            layer.apply(simd, &mut net.by_key, &net.seen);
        }
        net.ask();
        // keys that are not seen say nothing to their neighbours; the summary, which is no neighbour's, lies in the key's own row
        let is_zero = |at: usize| !net.is_seen[at / net.places.stride];
        let some = &mut net.some;
        net.context
            .apply_but_zeros(simd, &mut net.by_key, &net.asked, is_zero, some);
        for layer in &net.before_memory {
            layer.apply(simd, &mut net.by_key, &net.asked);
        }
        net.remember();
        if net.second_look.is_some() {
            net.answer_later(simd, out);
        } else {
            net.answer(simd, out);
        }
    }
}

/// What the second look says of the frame whose turn it is.
struct Later<'a> {
    second_look: &'a mut SecondLook,
    out: &'a mut NoteEvidence,
}

impl WithSimd for Later<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        self.second_look.answer(simd, self.out);
    }
}

impl Calibration {
    #[inline(always)]
    pub(super) fn probability(self, logit: f32) -> f32 {
        sigmoid(self.scale * logit + self.shift)
    }
}

#[inline(always)]
pub(super) fn sigmoid(x: f32) -> f32 {
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
