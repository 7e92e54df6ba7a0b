//! The second look at a recording: what a frame says once it is known what comes after.
//!
//! Input: of each frame the keys in question, with their memory g and h3 as [`super::estimator`] names them. Output: [`NoteEvidence`], later by
//! [`DELAY`] frames, with the pedal. Units: probabilities 0 to 1.
//! Method: a second memory runs backward in time (M. Schuster, K. K. Paliwal, "Bidirectional recurrent neural networks", 1997), here from
//! `AHEAD` frames after a block of `BLOCK` frames on:
//! ```text
//! for the keys in question, from the last frame to the first:
//!   b  = (1 - u) b + u (Wn' h3 + bn')     u = sigmoid(Wz' h3 + bz')       a key out of question: b = 0
//!   h5 = relu(W5 [g, b, h3] + b5)
//!   sounding = o + (Wh' h5 + bh')[0]          onset = (Wh' h5 + bh')[1]                   (logits)
//! of all keys in question together:
//!   f  = [sum of h5 / (1 + number of keys), largest of h5, of each STRETCH of all keys the sum of sigmoid(sounding) and that of sigmoid(onset)]
//!   p  = relu(Wp f + bp)      v = sigmoid(Wv p + bv)     m = Wm p + bm        halves: forward, backward
//!   q  = (1 - v) q + v m      one half from the first frame to the last, one from the last to the first
//!   pedal down = Wq [q, p] + bq                                                          (logit)
//! ```
//! and then the keys in question ask each other once more ([`super::second_round`]).
//! Limits: memory grows with the keys in question, not with the sound; a block is worked out at once, so that the work comes in bursts. Live
//! sound cannot wait so long.

use super::dense::Activation;
use super::estimator::{DOUBT, sigmoid};
use super::keyed::{InputStretch, KeyedDense, padded};
use super::model::{Layer, STRETCH, STRETCHES, SecondLookLayers};
use super::second_round::SecondRound;
use crate::notes::evidence::NoteEvidence;
use crate::units::PIANO_KEYS;
use pulp::Simd;
use std::collections::VecDeque;

/// Frames that are answered at once (1.7 s).
const BLOCK: usize = 72;
/// Frames beyond them that are looked at (0.56 s).
const AHEAD: usize = 24;
/// The answer to a frame comes with the frame so many later.
pub const DELAY: usize = BLOCK + AHEAD - 1;

/// What is known of a key in question when its frame comes, as stretches of one row.
#[derive(Debug, Clone, Copy)]
pub struct KnownKey<'a> {
    /// Its piano index.
    pub key: usize,
    /// g and h3.
    pub memory: &'a [f32],
    /// h3.
    pub joined: &'a [f32],
    /// Of the memory that runs backward: the logit of u, and what is new.
    pub back: [&'a [f32]; 2],
}

/// One frame that waits for its future.
#[derive(Debug, Default)]
struct Waiting {
    /// The sound had ended.
    past_end: bool,
    /// The logit of every key before the neighbours were asked.
    opinions: Vec<f32>,
    /// The keys in question, and of each in their order g and h3, u, what is new, and b.
    keys: Vec<usize>,
    known: Vec<f32>,
    gate: Vec<f32>,
    new: Vec<f32>,
    back: Vec<f32>,
    /// h5 of each, and 'sounding' beside the opinion and 'onset', as logits.
    found: Vec<f32>,
    logits: Vec<[f32; 2]>,
    /// What is found of all of them together: p, then v and m.
    pedal: [Vec<f32>; 3],
    /// The two halves of q.
    pedal_memory: [Vec<f32>; 2],
}

/// Where things lie in the row of a key that the layers work on.
#[derive(Debug, Clone, Copy)]
struct Places {
    memory: usize,
    memory_len: usize,
    back: usize,
    joined: usize,
    last: usize,
    logits: usize,
    stride: usize,
}

/// The layers, and the frames that wait.
pub struct SecondLook {
    layers: SecondLookLayers,
    last: KeyedDense,
    head: KeyedDense,
    round: SecondRound,
    places: Places,
    /// A row a key in question.
    rows: Vec<f32>,
    starts: Vec<usize>,
    waiting: VecDeque<Waiting>,
    /// Frames that were answered, to be used again.
    spare: Vec<Waiting>,
    /// So many of the waiting frames are answered.
    ready: usize,
    /// The pedal's memory forward, up to the frames that wait.
    pedal: Vec<f32>,
}

impl SecondLook {
    /// Lays out the layers for speed. `memory` and `joined` are the sizes of g and h3.
    pub fn new(layers: &SecondLookLayers, memory: usize, joined: usize) -> Self {
        let mut stride = 0;
        let mut place = |len: usize| {
            let begin = stride;
            stride += padded(len);
            begin
        };
        let back = layers.back_gate.outputs;
        let places = Places {
            memory: place(memory),
            memory_len: memory,
            back: place(back),
            joined: place(joined),
            last: place(layers.last.outputs),
            logits: place(layers.head.outputs),
            stride,
        };
        let stretch = |begin: usize, len: usize| InputStretch {
            begin: begin as isize,
            len,
        };
        let inputs = vec![
            stretch(places.memory, memory),
            stretch(places.back, back),
            stretch(places.joined, joined),
        ];
        Self {
            last: KeyedDense::new(inputs, places.last, &layers.last, Activation::Relu),
            head: KeyedDense::new(
                vec![stretch(places.last, layers.last.outputs)],
                places.logits,
                &layers.head,
                Activation::Linear,
            ),
            round: SecondRound::new(
                &layers.second_round,
                layers.last.outputs,
                layers.pedal_gate.outputs / 2,
            ),
            places,
            rows: vec![0.0; places.stride * PIANO_KEYS],
            starts: Vec::with_capacity(PIANO_KEYS),
            waiting: VecDeque::with_capacity(DELAY + 1),
            spare: Vec::new(),
            ready: 0,
            pedal: vec![0.0; layers.pedal_gate.outputs / 2],
            layers: layers.clone(),
        }
    }

    /// Forgets all frames.
    pub fn reset(&mut self) {
        self.spare.extend(self.waiting.drain(..));
        self.ready = 0;
        self.pedal.fill(0.0);
    }

    /// Takes a frame: the logit of each key before the neighbours were asked, and what is known of those in question, each once.
    #[inline(always)]
    pub fn take<'a>(
        &mut self,
        opinions: impl Iterator<Item = f32>,
        keys: impl Iterator<Item = KnownKey<'a>>,
    ) {
        let mut frame = self.spare.pop().unwrap_or_default();
        frame.past_end = false;
        frame.opinions.clear();
        frame.opinions.extend(opinions);
        for list in [&mut frame.known, &mut frame.gate, &mut frame.new] {
            list.clear();
        }
        frame.keys.clear();
        for known in keys {
            frame.keys.push(known.key);
            frame.known.extend_from_slice(known.memory);
            frame.known.extend_from_slice(known.joined);
            frame.gate.extend(known.back[0].iter().map(|&u| sigmoid(u)));
            frame.new.extend_from_slice(known.back[1]);
        }
        self.waiting.push_back(frame);
    }

    /// After the end of the sound: as many frames in which nothing is in question as the next answer needs.
    pub fn take_silence(&mut self) {
        while self.ready == 0 && self.waiting.len() <= DELAY {
            let opinions = std::iter::repeat_n(2.0 * DOUBT, PIANO_KEYS);
            self.take(opinions, std::iter::empty());
            if let Some(frame) = self.waiting.back_mut() {
                frame.past_end = true;
            }
        }
    }

    /// Writes what is said of the frame [`DELAY`] frames before the last one, nothing where there is none.
    #[inline(always)]
    pub fn answer<S: Simd>(&mut self, simd: S, out: &mut NoteEvidence) {
        if self.ready == 0 && self.waiting.len() > DELAY {
            self.look_back();
            self.look_at_keys(simd);
            self.look_back_at_pedal();
            for frame in self.waiting.iter_mut().take(BLOCK) {
                let (keys, found) = (&frame.keys, &frame.found);
                let logits = &mut frame.logits;
                self.round
                    .add(simd, keys, found, &frame.pedal_memory, logits);
            }
            self.ready = BLOCK;
        }
        if self.ready == 0 {
            *out = NoteEvidence::default();
            return;
        }
        self.ready -= 1;
        let Some(frame) = self.waiting.pop_front() else {
            return;
        };
        let (sounding, onset) = (self.layers.sounding, self.layers.onset);
        for (key, &opinion) in frame.opinions.iter().enumerate() {
            out.sounding[key] = sounding.probability(opinion);
            out.onset[key] = onset.probability(2.0 * DOUBT);
        }
        for (&key, logits) in frame.keys.iter().zip(&frame.logits) {
            out.sounding[key] = sounding.probability(frame.opinions[key] + logits[0]);
            out.onset[key] = onset.probability(logits[1]);
        }
        let remembered = frame.pedal_memory.iter().chain([&frame.pedal[0]]).flatten();
        let logit = dot(&self.layers.pedal_out.weight, remembered) + self.layers.pedal_out.bias[0];
        out.pedal = Some(self.layers.pedal.probability(logit));
        self.spare.push(frame);
    }

    /// The memory of the keys that runs backward, over all frames that wait.
    #[inline(always)]
    fn look_back(&mut self) {
        let size = self.layers.back_gate.outputs;
        let mut state = vec![0.0; size * PIANO_KEYS];
        let mut asked_after = [false; PIANO_KEYS];
        for frame in self.waiting.iter_mut().rev() {
            frame.back.clear();
            let mut asked = [false; PIANO_KEYS];
            let of_keys = frame
                .gate
                .chunks_exact(size)
                .zip(frame.new.chunks_exact(size));
            for (&key, (gate, new)) in frame.keys.iter().zip(of_keys) {
                let state = &mut state[key * size..][..size];
                if !asked_after[key] {
                    state.fill(0.0);
                }
                asked[key] = true;
                remember(state, gate, new);
                frame.back.extend_from_slice(state);
            }
            asked_after = asked;
        }
    }

    /// What both memories say of the keys, frame by frame, and what the pedal's memory forward makes of it.
    #[inline(always)]
    fn look_at_keys<S: Simd>(&mut self, simd: S) {
        let places = self.places;
        let size = self.layers.last.outputs;
        let back = self.layers.back_gate.outputs;
        let mut pedal = self.pedal.clone();
        for (number, frame) in self.waiting.iter_mut().enumerate() {
            if number == BLOCK {
                self.pedal.copy_from_slice(&pedal);
            }
            self.starts.clear();
            self.starts
                .extend((0..frame.keys.len()).map(|i| i * places.stride));
            let each = frame.known.len() / frame.keys.len().max(1);
            let of_keys = frame
                .known
                .chunks_exact(each.max(1))
                .zip(frame.back.chunks_exact(back));
            for (row, (known, back)) in self.rows.chunks_exact_mut(places.stride).zip(of_keys) {
                let (memory, joined) = known.split_at(places.memory_len);
                row[places.memory..][..memory.len()].copy_from_slice(memory);
                row[places.joined..][..joined.len()].copy_from_slice(joined);
                row[places.back..][..back.len()].copy_from_slice(back);
            }
            self.last.apply(simd, &mut self.rows, &self.starts);
            self.head.apply(simd, &mut self.rows, &self.starts);
            frame.logits.clear();
            frame.found.clear();
            let mut found = vec![0.0_f32; 2 * (size + STRETCHES)];
            let (of_keys, many) = found.split_at_mut(2 * size);
            let (sum, largest) = of_keys.split_at_mut(size);
            for row in self.rows.chunks_exact(places.stride).take(frame.keys.len()) {
                frame
                    .logits
                    .push([row[places.logits], row[places.logits + 1]]);
                let last = &row[places.last..][..size];
                frame.found.extend_from_slice(last);
                for ((sum, largest), &h) in sum.iter_mut().zip(largest.iter_mut()).zip(last) {
                    *sum += h;
                    *largest = largest.max(h);
                }
            }
            sum.iter_mut()
                .for_each(|sum| *sum /= 1.0 + frame.keys.len() as f32);
            count_by_stretch(&frame.opinions, &frame.keys, &frame.logits, many);
            let [p, gate, new] = &mut frame.pedal;
            apply(&self.layers.pedal_in, &found, p);
            p.iter_mut().for_each(|p| *p = p.max(0.0));
            apply(&self.layers.pedal_gate, p, gate);
            gate.iter_mut().for_each(|v| *v = sigmoid(*v));
            apply(&self.layers.pedal_candidate, p, new);
            remember(&mut pedal, gate, new);
            frame.pedal_memory[0].clone_from(&pedal);
        }
    }

    /// The pedal's memory that runs backward.
    #[inline(always)]
    fn look_back_at_pedal(&mut self) {
        let size = self.pedal.len();
        let mut state = vec![0.0; size];
        let sounded = self.waiting.iter_mut().rev();
        for frame in sounded.skip_while(|frame| frame.past_end) {
            let [_, gate, new] = &frame.pedal;
            remember(&mut state, &gate[size..], &new[size..]);
            frame.pedal_memory[1].clone_from(&state);
        }
    }
}

/// How many keys of each stretch sound, then how many were struck, by the logits of a frame.
#[inline(always)]
fn count_by_stretch(opinions: &[f32], keys: &[usize], logits: &[[f32; 2]], many: &mut [f32]) {
    let (sounding, struck) = many.split_at_mut(STRETCHES);
    struck.fill(STRETCH as f32 * sigmoid(2.0 * DOUBT));
    for (sum, opinions) in sounding.iter_mut().zip(opinions.chunks_exact(STRETCH)) {
        *sum = opinions.iter().map(|&opinion| sigmoid(opinion)).sum();
    }
    for (&key, logits) in keys.iter().zip(logits) {
        let opinion = opinions[key];
        sounding[key / STRETCH] += sigmoid(opinion + logits[0]) - sigmoid(opinion);
        struck[key / STRETCH] += sigmoid(logits[1]) - sigmoid(2.0 * DOUBT);
    }
}

/// `state = (1 - gate) state + gate new`.
#[inline(always)]
fn remember(state: &mut [f32], gate: &[f32], new: &[f32]) {
    for ((state, &gate), &new) in state.iter_mut().zip(gate).zip(new) {
        *state = (1.0 - gate) * *state + gate * new;
    }
}

#[inline(always)]
fn dot<'a>(weights: &[f32], values: impl IntoIterator<Item = &'a f32>) -> f32 {
    weights.iter().zip(values).map(|(w, v)| w * v).sum()
}

/// A small layer that is worked out once a frame.
#[inline(always)]
fn apply(layer: &Layer, values: &[f32], out: &mut Vec<f32>) {
    out.clear();
    let rows = layer.weight.chunks_exact(layer.inputs).zip(&layer.bias);
    out.extend(rows.map(|(row, bias)| dot(row, values) + bias));
}
