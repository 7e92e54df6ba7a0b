//! The front end and the network agree with those the weights are trained with.
//!
//! tests/data/golden_frames.safetensors and golden_model.safetensors are written by training/golden.py: samples, the network's inputs of
//! some frames, and the probabilities of all frames for the weights beside them. Largest differences seen: inputs 3e-6, probabilities
//! 1.6e-5, of which 1.5e-5 is half a step of the file (AVX2; without fused multiply-add the last bits differ).

use lidprop::notes::network::features::{Features, INPUTS};
use lidprop::notes::{Model, NetworkEstimator, NoteEstimator, NoteEvidence};
use lidprop::spectrum::{Analyser, SpectrumFrame};
use lidprop::units::{Hertz, PIANO_KEYS};
use safetensors::{Dtype, SafeTensors};

const FRAMES: &[u8] = include_bytes!("data/golden_frames.safetensors");
const MODEL: &[u8] = include_bytes!("data/golden_model.safetensors");

fn golden(name: &str) -> Vec<f32> {
    let file = SafeTensors::deserialize(FRAMES).unwrap();
    let tensor = file.tensor(name).unwrap();
    let data = tensor.data();
    match tensor.dtype() {
        Dtype::I16 => {
            let steps = data.as_chunks().0.iter().map(|&b| i16::from_le_bytes(b));
            steps.map(|steps| f32::from(steps) / 32768.0).collect()
        }
        Dtype::F32 => {
            let values = data.as_chunks().0.iter();
            values.map(|&b| f32::from_le_bytes(b)).collect()
        }
        other => panic!("{name} is of {other:?}"),
    }
}

/// Calls `each` with every frame of the golden samples and its number.
fn hear(mut each: impl FnMut(usize, &SpectrumFrame)) -> usize {
    let samples = golden("samples");
    let mut analyser = Analyser::new(Hertz::CONCERT_A4);
    let mut frame = SpectrumFrame::default();
    let mut rest = &samples[..];
    let mut count = 0;
    while analyser.next_frame(&mut rest, &mut frame) {
        each(count, &frame);
        count += 1;
    }
    count
}

#[test]
fn inputs_of_the_network_agree_with_training_within_2e_5() {
    let [numbers, keys] = ["frames", "keys"]
        .map(|name| -> Vec<usize> { golden(name).iter().map(|&n| n as usize).collect() });
    let expected = golden("inputs");
    let mut features = Features::new();
    let mut inputs = vec![0.0; INPUTS * PIANO_KEYS];
    let mut checked = 0;
    hear(|number, frame| {
        features.step(frame, &mut inputs, PIANO_KEYS);
        let Some(at) = numbers.iter().position(|&n| n == number) else {
            return;
        };
        let expected = &expected[at * INPUTS * keys.len()..];
        for (input, expected) in expected.chunks(keys.len()).take(INPUTS).enumerate() {
            for (&key, &right) in keys.iter().zip(expected) {
                let got = inputs[input * PIANO_KEYS + key];
                assert!(
                    (got - right).abs() < 2e-5,
                    "frame {number} input {input} key {key}: {got} for {right}"
                );
            }
        }
        checked += 1;
    });
    assert_eq!(checked, numbers.len());
}

#[test]
fn probabilities_agree_with_training_within_1e_4() {
    let (sounding, onset) = (golden("sounding"), golden("onset"));
    let mut estimator = NetworkEstimator::new(&Model::from_bytes(MODEL).unwrap());
    let mut evidence = NoteEvidence::default();
    let mut largest = 0.0_f32;
    let frames = hear(|number, frame| {
        estimator.step(frame, &mut evidence);
        for key in 0..PIANO_KEYS {
            let at = number * PIANO_KEYS + key;
            largest = largest
                .max((evidence.sounding[key] - sounding[at]).abs())
                .max((evidence.onset[key] - onset[at]).abs());
        }
    });
    assert_eq!(frames * PIANO_KEYS, sounding.len());
    assert!(largest < 1e-4, "largest difference {largest}");
    let spread =
        |p: &[f32]| p.iter().copied().fold(0.0, f32::max) - p.iter().copied().fold(1.0, f32::min);
    assert!(
        spread(&sounding) > 0.2 && spread(&onset) > 0.2,
        "the golden weights say something"
    );
}

#[test]
fn the_second_look_agrees_with_training_within_1e_4_to_the_end_of_the_sound() {
    let (sounding, onset, pedal) = (
        golden("later_sounding"),
        golden("later_onset"),
        golden("pedal"),
    );
    let mut estimator = NetworkEstimator::looking_ahead(&Model::from_bytes(MODEL).unwrap());
    let mut evidence = NoteEvidence::default();
    let mut told = Vec::new();
    let frames = hear(|number, frame| {
        estimator.step(frame, &mut evidence);
        if number >= estimator.delay() {
            told.push(evidence.clone());
        }
    });
    while told.len() < frames {
        estimator.step_past_end(&mut evidence);
        told.push(evidence.clone());
    }
    let mut largest = 0.0_f32;
    for (number, evidence) in told.iter().enumerate() {
        for key in 0..PIANO_KEYS {
            let at = number * PIANO_KEYS + key;
            largest = largest
                .max((evidence.sounding[key] - sounding[at]).abs())
                .max((evidence.onset[key] - onset[at]).abs());
        }
        let down = evidence.pedal.expect("a second look tells the pedal");
        largest = largest.max((down - pedal[number]).abs());
    }
    assert!(largest < 1e-4, "largest difference {largest}");
    let spread =
        pedal.iter().copied().fold(0.0, f32::max) - pedal.iter().copied().fold(1.0, f32::min);
    assert!(
        spread > 0.05,
        "the golden weights say something of the pedal: {spread}"
    );
}
