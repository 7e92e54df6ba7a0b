//! From samples to frames, inputs and evidence: what must hold whatever the sound.

use lidprop::notes::network::dense::ROW;
use lidprop::notes::network::estimator::DOUBT;
use lidprop::notes::network::features::{Features, INPUTS};
use lidprop::notes::network::model::INTERVALS;
use lidprop::notes::{Model, NetworkEstimator, NoteEstimator, NoteEvidence};
use lidprop::spectrum::{Analyser, HOP_SAMPLES, SpectrumFrame};
use lidprop::units::{Hertz, MidiNote, PIANO_KEYS};

#[path = "support/random_model.rs"]
mod random_model;
use random_model::{Sizes, Tensor};

const RATE: f64 = 22_050.0;

/// Every frame of `sound`, delivered `block` samples at a time.
fn frames(sound: &[f32], block: usize, a4: Hertz) -> Vec<SpectrumFrame> {
    let mut analyser = Analyser::new(a4);
    let mut frame = SpectrumFrame::default();
    let mut frames = Vec::new();
    for mut rest in sound.chunks(block) {
        while analyser.next_frame(&mut rest, &mut frame) {
            frames.push(frame.clone());
        }
    }
    frames
}

fn sine(hertz: f64, amplitude: f64, samples: usize) -> Vec<f32> {
    (0..samples)
        .map(|n| (amplitude * (std::f64::consts::TAU * hertz / RATE * n as f64).sin()) as f32)
        .collect()
}

/// Decaying partials of some keys, struck one after the other.
fn playing(samples: usize) -> Vec<f32> {
    let mut sound = vec![0.0_f32; samples];
    for (i, f0) in [98.0, 220.0, 277.2, 415.3, 1046.5].into_iter().enumerate() {
        for (n, out) in sound.iter_mut().enumerate().skip(3000 * i) {
            let t = (n - 3000 * i) as f64 / RATE;
            let tone: f64 = (1..=6)
                .map(|h| (std::f64::consts::TAU * f0 * f64::from(h) * t).sin() / f64::from(h))
                .sum();
            *out += (0.1 * tone * (-1.5 * t).exp()) as f32;
        }
    }
    sound
}

fn loudest_row(magnitudes: &[f32]) -> usize {
    (0..magnitudes.len())
        .max_by(|&a, &b| magnitudes[a].total_cmp(&magnitudes[b]))
        .unwrap()
}

#[test]
fn frames_are_the_same_whatever_the_block_size() {
    let sound = playing(20_000);
    let whole = frames(&sound, sound.len(), Hertz::CONCERT_A4);
    assert_eq!(whole.len(), sound.len() / HOP_SAMPLES);
    for block in [1, 7, 511, 512, 513, 1024, 4096] {
        assert!(
            frames(&sound, block, Hertz::CONCERT_A4) == whole,
            "blocks of {block}"
        );
    }
}

#[test]
fn a_frame_hears_its_last_sample_and_none_after_it() {
    // The window is zero at its first sample and nearly so at its last: a click shows best some samples inside.
    let mut sound = vec![0.0_f32; 4 * HOP_SAMPLES];
    sound[2 * HOP_SAMPLES - 64] = 1.0;
    let frames = frames(&sound, 333, Hertz::CONCERT_A4);
    let heard: Vec<bool> = frames
        .iter()
        .map(|f| f.short.iter().any(|&m| m > 0.0))
        .collect();
    assert_eq!(heard, [false, true, true, true]);
    assert_eq!(frames[1].rms, (1.0 / HOP_SAMPLES as f32).sqrt());
    assert_eq!(frames[2].rms, 0.0);
}

#[test]
fn a_sine_stands_at_the_row_of_its_key_within_a_third_of_a_semitone_in_both_windows() {
    for key in MidiNote::PIANO_LOWEST.get()..=MidiNote::PIANO_HIGHEST.get() {
        let note = MidiNote::new(key).unwrap();
        let frames = frames(
            &sine(note.frequency(Hertz::CONCERT_A4).get(), 0.5, 8192),
            8192,
            Hertz::CONCERT_A4,
        );
        let frame = frames.last().unwrap();
        let row = 3 + 3 * note.piano_index().unwrap();
        // Half an FFT bin, 1.35 and 5.4 Hz, must be less than a row for the place to be sure.
        if key >= 43 {
            assert!(
                loudest_row(&frame.long).abs_diff(row) <= 1,
                "key {key}, long window"
            );
        }
        if key >= 67 {
            assert!(
                loudest_row(&frame.short).abs_diff(row) <= 1,
                "key {key}, short window"
            );
        }
        // A Hann main lobe holds 1.5 times the power of its peak: 0.5 * sqrt(1.5) = 0.61 where a row holds all of it.
        let peak = frame.long[loudest_row(&frame.long)];
        assert!((0.42..0.62).contains(&peak), "key {key}: {peak}");
    }
}

#[test]
fn a_retuned_axis_moves_with_the_piano() {
    let low = Hertz::new(425.0).unwrap();
    let sound = sine(2.0 * low.get(), 0.5, 8192);
    let a5 = 3 + 3 * (81 - 21);
    assert_eq!(
        loudest_row(&frames(&sound, 512, low).last().unwrap().long),
        a5
    );
    assert_eq!(
        loudest_row(&frames(&sound, 512, Hertz::CONCERT_A4).last().unwrap().long),
        a5 - 2,
        "60 cents low"
    );
}

#[test]
fn silence_and_a_constant_leave_every_row_empty() {
    assert!(
        frames(&[0.0; 8192], 512, Hertz::CONCERT_A4)
            .iter()
            .all(|f| *f == SpectrumFrame::default())
    );
    let last = frames(&[0.3; 16_384], 512, Hertz::CONCERT_A4)
        .pop()
        .unwrap();
    assert!(
        last.long.iter().chain(&last.short[60..]).all(|&m| m < 1e-5),
        "{:?}",
        last.long
    );
}

#[test]
fn gain_changes_no_input_of_the_network() {
    let sound = playing(20_000);
    let inputs = |gain: f32| -> Vec<f32> {
        let scaled: Vec<f32> = sound.iter().map(|x| x * gain).collect();
        let mut features = Features::new();
        let mut out = vec![0.0; INPUTS * ROW];
        let mut all = Vec::new();
        for frame in frames(&scaled, 512, Hertz::CONCERT_A4) {
            features.step(&frame, &mut out, ROW);
            all.extend_from_slice(&out);
        }
        all
    };
    let reference = inputs(1.0);
    for gain in [0.1, 3.0] {
        let largest = inputs(gain)
            .iter()
            .zip(&reference)
            .map(|(a, b)| (a - b).abs())
            .fold(0.0, f32::max);
        // The one constant that gain does not move is 1e-6 beside the short window's largest magnitude.
        assert!(largest < 2e-4, "gain {gain}: {largest}");
    }
}

/// The network as its description says, key by key in f64.
struct Slow {
    tensors: Vec<Tensor>,
    sizes: Sizes,
    memory: Vec<Vec<f64>>,
}

fn sigmoid(x: f64) -> f64 {
    1.0 / (1.0 + (-x).exp())
}

impl Slow {
    fn new(sizes: Sizes, seed: u32) -> Self {
        Self {
            tensors: random_model::values(sizes, seed),
            sizes,
            memory: vec![vec![0.0; sizes.g]; PIANO_KEYS],
        }
    }

    fn tensor(&self, name: &str) -> &[f32] {
        &self.tensors.iter().find(|t| t.0 == name).unwrap().2
    }

    fn linear(&self, weight: &str, bias: &str, x: &[f64]) -> Vec<f64> {
        let rows = self.tensor(weight).chunks_exact(x.len());
        rows.zip(self.tensor(bias))
            .map(|(row, &b)| {
                f64::from(b)
                    + row
                        .iter()
                        .zip(x)
                        .map(|(&w, &x)| f64::from(w) * x)
                        .sum::<f64>()
            })
            .collect()
    }

    fn relu(&self, layer: &str, x: &[f64]) -> Vec<f64> {
        let out = self.linear(&format!("{layer}.weight"), &format!("{layer}.bias"), x);
        out.into_iter().map(|v| v.max(0.0)).collect()
    }

    /// `inputs`: a row of keys for each input. Sounding and onset probability a key.
    fn step(&mut self, inputs: &[f32]) -> Vec<[f64; 2]> {
        let d = self.sizes.d;
        let doubt = f64::from(DOUBT);
        let opinion_of = |second: &Vec<f64>| self.linear("wo.weight", "wo.bias", second)[0];
        let (glances, second): (Vec<f64>, Vec<Vec<f64>>) = (0..PIANO_KEYS)
            .map(|key| {
                let x: Vec<f64> = (0..INPUTS)
                    .map(|i| f64::from(inputs[i * PIANO_KEYS + key]))
                    .collect();
                let first = self.relu("w1", &x);
                let glance = self.linear("wg.weight", "wg.bias", &first[..self.sizes.p])[0];
                let second = if glance > doubt {
                    self.relu("w2", &first)
                } else {
                    vec![0.0; d]
                };
                (glance, second)
            })
            .unzip();
        let mut summary = vec![0.0; d];
        let mut total = 1.0;
        for (glance, second) in glances.iter().zip(&second) {
            if *glance > doubt {
                let likely = sigmoid(opinion_of(second));
                total += likely;
                for (sum, found) in summary.iter_mut().zip(second) {
                    *sum += likely * found;
                }
            }
        }
        for sum in &mut summary {
            *sum /= total;
        }
        (0..PIANO_KEYS)
            .map(|key| {
                let neighbour = |away: i32| {
                    usize::try_from(key as i32 + away)
                        .ok()
                        .and_then(|k| second.get(k))
                };
                let around: Vec<f64> = INTERVALS
                    .iter()
                    .flat_map(|&away| neighbour(away).cloned().unwrap_or(vec![0.0; d]))
                    .chain(summary.iter().copied())
                    .collect();
                let joined = self.relu(
                    "w3",
                    &[self.relu("wc", &around), second[key].clone()].concat(),
                );
                let opinion = if glances[key] > doubt {
                    self.linear("wo.weight", "wo.bias", &second[key])[0]
                } else {
                    glances[key]
                };
                let &[scale_s, shift_s, scale_o, shift_o, ..] = self.tensor("calibration") else {
                    panic!("5 by 2")
                };
                let answer = move |sounding: f64, onset: f64| {
                    [
                        sigmoid(f64::from(scale_s) * sounding + f64::from(shift_s)),
                        sigmoid(f64::from(scale_o) * onset + f64::from(shift_o)),
                    ]
                };
                if opinion <= doubt {
                    self.memory[key].fill(0.0);
                    return answer(opinion, 2.0 * doubt);
                }
                let gate = self.linear("wz.weight", "wz.bias", &joined);
                let candidate = self.linear("wn.weight", "wn.bias", &joined);
                for (g, (z, n)) in self.memory[key].iter_mut().zip(gate.iter().zip(candidate)) {
                    let z = sigmoid(*z);
                    *g = (1.0 - z) * *g + z * n;
                }
                let last = self.relu("w4", &[self.memory[key].clone(), joined].concat());
                let head = self.linear("wh.weight", "wh.bias", &last);
                answer(opinion + head[0], head[1])
            })
            .collect()
    }
}

fn estimator(sizes: Sizes, seed: u32) -> NetworkEstimator {
    let bytes = random_model::file(&random_model::values(sizes, seed));
    NetworkEstimator::new(&Model::from_bytes(&bytes).unwrap())
}

#[test]
fn the_network_agrees_with_its_description_for_sizes_that_fit_no_vector() {
    for (seed, sizes) in [
        (
            1,
            Sizes {
                p: 4,
                a: 13,
                d: 5,
                c: 9,
                h: 7,
                g: 6,
                l: 5,
            },
        ),
        (
            2,
            Sizes {
                p: 37,
                a: 112,
                d: 32,
                c: 56,
                h: 48,
                g: 48,
                l: 32,
            },
        ),
    ] {
        let mut slow = Slow::new(sizes, seed);
        let mut fast = estimator(sizes, seed);
        let mut evidence = NoteEvidence::default();
        let mut spread = 0.0_f64;
        for step in 0..4 {
            let inputs: Vec<f32> = (0..INPUTS * PIANO_KEYS)
                .map(|i| ((i * 7919 + step * 104_729) % 1009) as f32 / 1009.0)
                .collect();
            fast.step_inputs(&inputs, &mut evidence);
            for (key, [sounding, onset]) in slow.step(&inputs).into_iter().enumerate() {
                let difference = (f64::from(evidence.sounding[key]) - sounding)
                    .abs()
                    .max((f64::from(evidence.onset[key]) - onset).abs());
                assert!(difference < 1e-5, "step {step} key {key}: {difference}");
                spread = spread.max((sounding - 0.5).abs());
            }
        }
        assert!(spread > 0.01, "the weights say something");
    }
}

#[test]
fn the_same_frames_give_the_same_evidence_and_a_reset_forgets_everything() {
    let mut estimator = estimator(
        Sizes {
            p: 5,
            a: 16,
            d: 8,
            c: 8,
            h: 8,
            g: 8,
            l: 8,
        },
        5,
    );
    let frames = frames(&playing(12_000), 512, Hertz::CONCERT_A4);
    let hear = |estimator: &mut NetworkEstimator| -> Vec<NoteEvidence> {
        let mut evidence = NoteEvidence::default();
        frames
            .iter()
            .map(|frame| {
                estimator.step(frame, &mut evidence);
                evidence.clone()
            })
            .collect()
    };
    let first = hear(&mut estimator);
    assert!(hear(&mut estimator) != first, "the memory matters");
    estimator.reset();
    assert!(hear(&mut estimator) == first);
}

#[test]
fn the_embedded_model_fits_and_gives_probabilities_even_to_silence() {
    let mut estimator = NetworkEstimator::embedded();
    let mut evidence = NoteEvidence::default();
    for _ in 0..10 {
        estimator.step(&SpectrumFrame::default(), &mut evidence);
    }
    assert!(
        evidence
            .sounding
            .iter()
            .chain(&evidence.onset)
            .all(|p| (0.0..=1.0).contains(p))
    );
}

#[test]
fn a_file_that_is_no_model_is_refused_with_the_tensor_that_does_not_fit() {
    let sizes = Sizes {
        p: 1,
        a: 4,
        d: 3,
        c: 2,
        h: 3,
        g: 2,
        l: 4,
    };
    let refusal = |change: &dyn Fn(&mut Vec<Tensor>)| {
        let mut tensors = random_model::values(sizes, 1);
        change(&mut tensors);
        Model::from_bytes(&random_model::file(&tensors))
            .unwrap_err()
            .to_string()
    };
    assert_eq!(
        refusal(&|t| t.retain(|t| t.0 != "wc.bias")),
        "the note model lacks the tensor wc.bias"
    );
    assert_eq!(
        refusal(&|t| *t.iter_mut().find(|t| t.0 == "w3.bias").unwrap() =
            ("w3.bias", vec![2], vec![0.0; 2])),
        "the note model's tensor w3.bias has shape [2], not [3]"
    );
    assert_eq!(
        refusal(&|t| t.iter_mut().find(|t| t.0 == "wo.weight").unwrap().2[0] = f32::NAN),
        "the note model's tensor wo.weight holds a value that is not finite"
    );
    assert!(
        Model::from_bytes(b"no model")
            .unwrap_err()
            .to_string()
            .contains("no readable safetensors file")
    );
    assert!(Model::from_bytes(&[]).is_err());
}
