//! What naming costs: one call for a voicing, the names of a cluster, a symbol read, a progression analysed; and the whole command,
//! from its start to its end, beside a program that does nothing: the difference is what `name` costs its user.

use divan::{Bencher, black_box};
use lidprop::harmony::{AnalysisOptions, Chord, Context, Given, Sounding, interpret, name_chord};
use std::process::{Command, Stdio};

fn main() {
    divan::main();
}

/// A diminished major seventh, a rootless dominant, an altered dominant, a cluster.
const VOICINGS: [&[u8]; 4] = [
    &[50, 65, 68, 73],
    &[59, 64, 65, 69],
    &[43, 59, 63, 65, 70],
    &[60, 61, 62, 63, 64],
];

#[divan::bench(args = VOICINGS)]
fn one_naming_call(bencher: Bencher, midi: &[u8]) {
    let sounding = Sounding::of_midi(midi);
    let context = Context::default();
    bencher.bench_local(|| name_chord(black_box(&sounding), &context));
}

#[divan::bench(args = ["Ddim(maj7)", "G13(b9,#11)", "F#m7b5/C", "C|Abm"])]
fn one_symbol_read(symbol: &str) -> Chord {
    black_box(symbol)
        .parse()
        .expect("the symbol is in the grammar")
}

#[divan::bench]
fn a_progression_of_16_chords(bencher: Bencher) {
    let chord = |midi: &[u8]| Given::Heard(Sounding::of_midi(midi));
    let four = [
        chord(&[50, 60, 65, 69]),
        chord(&[55, 59, 65, 76]),
        chord(&[48, 59, 64, 67]),
        chord(&[57, 61, 67, 70]),
    ];
    let progression: Vec<Given> = four.iter().cycle().take(16).cloned().collect();
    let options = AnalysisOptions::default();
    bencher.bench_local(|| {
        let interpretation = interpret(black_box(&progression), &options);
        (0..interpretation.len())
            .map(|at| interpretation.naming(at).names.len())
            .sum::<usize>()
    });
}

fn start(program: &str, words: &[&str]) {
    let ended = Command::new(program)
        .args(words)
        .stdout(Stdio::null())
        .status()
        .expect("the program starts");
    assert!(ended.success());
}

#[divan::bench(sample_count = 200, sample_size = 1)]
fn start_to_end_of_an_empty_program() {
    start("true", &[]);
}

#[divan::bench(sample_count = 200, sample_size = 1)]
fn start_to_end_of_the_name_command() {
    start(
        env!("CARGO_BIN_EXE_lidprop"),
        &["name", "D4", "F4", "Ab4", "Db5", "--key", "A"],
    );
}
