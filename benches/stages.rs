//! What each stage costs, a hop at a time, beside the bare transforms.
//!
//! Run `cargo bench --bench stages`. Time a call is time a frame (512 samples, 23.2 ms of sound); "items" are samples of sound, so that
//! `22.05 Mitem/s` is 1000 times real time. The whole path is measured by `path`.

use divan::counter::ItemsCount;
use divan::{Bencher, black_box};
use lidprop::notes::network::features::{Features, INPUTS};
use lidprop::notes::{Model, NetworkEstimator, NoteEstimator, NoteEvidence};
use lidprop::spectrum::log_frequency::LogFrequencyMap;
use lidprop::spectrum::window::PowerSpectrum;
use lidprop::spectrum::{
    Analyser, HOP_SAMPLES, LOG_BINS, LONG_WINDOW_SAMPLES, SHORT_WINDOW_SAMPLES, SpectrumFrame,
    TuningFollower,
};
use lidprop::units::{Hertz, PIANO_KEYS};

#[path = "../tests/support/random_model.rs"]
mod random_model;

fn hop() -> ItemsCount {
    ItemsCount::new(HOP_SAMPLES)
}

fn main() {
    divan::main();
}

/// A chord of decaying partials, so that no stage meets silence.
fn chord(samples: usize) -> Vec<f32> {
    let tau = std::f32::consts::TAU / 22_050.0;
    (0..samples)
        .map(|n| {
            let t = n as f32;
            let decay = (-t / 40_000.0).exp();
            [131.0, 165.0, 196.0, 247.0_f32]
                .iter()
                .map(|f0| {
                    (1..8)
                        .map(|h| (tau * f0 * h as f32 * t).sin() / h as f32)
                        .sum::<f32>()
                })
                .sum::<f32>()
                * 0.05
                * decay
        })
        .collect()
}

fn frame_of_a_chord() -> SpectrumFrame {
    let mut frame = SpectrumFrame::default();
    let mut analyser = Analyser::new(Hertz::CONCERT_A4);
    let sound = chord(LONG_WINDOW_SAMPLES);
    let mut rest = &sound[..];
    while analyser.next_frame(&mut rest, &mut frame) {}
    frame
}

fn model(sizes: random_model::Sizes) -> Model {
    Model::from_bytes(&random_model::file(&random_model::values(sizes, 1)))
        .expect("a model that fits")
}

const AS_SHIPPED: random_model::Sizes = random_model::Sizes {
    p: 16,
    a: 144,
    d: 24,
    c: 120,
    h: 64,
    g: 96,
    l: 64,
};
const HALF: random_model::Sizes = random_model::Sizes {
    p: 8,
    a: 72,
    d: 24,
    c: 60,
    h: 32,
    g: 32,
    l: 24,
};

#[divan::bench(args = [LONG_WINDOW_SAMPLES, SHORT_WINDOW_SAMPLES])]
fn transform(bencher: Bencher, length: usize) {
    let sound = chord(length);
    let mut spectrum = PowerSpectrum::new(length);
    bencher
        .counter(hop())
        .bench_local(|| spectrum.process(black_box(&sound))[40]);
}

#[divan::bench(args = [LONG_WINDOW_SAMPLES, SHORT_WINDOW_SAMPLES])]
fn log_mapping(bencher: Bencher, length: usize) {
    let power = vec![0.5; length / 2 + 1];
    let map = LogFrequencyMap::new(length, Hertz::CONCERT_A4);
    let mut magnitudes = [0.0; LOG_BINS];
    bencher
        .counter(hop())
        .bench_local(|| map.apply(black_box(&power), &mut magnitudes));
}

#[divan::bench]
fn retuning(bencher: Bencher) {
    let mut map = LogFrequencyMap::new(LONG_WINDOW_SAMPLES, Hertz::CONCERT_A4);
    bencher.bench_local(|| map.retune(black_box(Hertz::CONCERT_A4)));
}

#[divan::bench]
fn following_the_tuning(bencher: Bencher) {
    let sound = chord(LONG_WINDOW_SAMPLES);
    let mut spectrum = PowerSpectrum::new(LONG_WINDOW_SAMPLES);
    let power = spectrum.process(&sound).to_vec();
    let mut follower = TuningFollower::new(Hertz::CONCERT_A4);
    bencher
        .counter(hop())
        .bench_local(|| follower.step(black_box(&power)));
}

#[divan::bench]
fn features(bencher: Bencher) {
    let frame = frame_of_a_chord();
    let mut features = Features::new();
    let mut out = vec![0.0; INPUTS * PIANO_KEYS];
    bencher
        .counter(hop())
        .bench_local(|| features.step(black_box(&frame), &mut out, PIANO_KEYS));
}

#[divan::bench]
fn features_and_network_embedded(bencher: Bencher) {
    notes(bencher, &Model::embedded());
}

/// With random weights about half of the keys are in question; in music fewer are.
#[divan::bench]
fn features_and_network_random(bencher: Bencher) {
    notes(bencher, &model(AS_SHIPPED));
}

#[divan::bench]
fn features_and_network_random_half_the_sizes(bencher: Bencher) {
    notes(bencher, &model(HALF));
}

fn notes(bencher: Bencher, model: &Model) {
    let frame = frame_of_a_chord();
    let mut estimator = NetworkEstimator::new(model);
    let mut out = NoteEvidence::default();
    bencher
        .counter(hop())
        .bench_local(|| estimator.step(black_box(&frame), &mut out));
}
