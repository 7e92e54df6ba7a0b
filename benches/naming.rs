//! What naming costs: one call for a voicing, the names of a cluster, a symbol read, a progression analysed; all that is written of a recording
//! of 480 chords, beside naming each of them once by itself; and the whole command, from its start to its end, beside a program that does
//! nothing: the difference is what `name` costs its user.

use divan::{Bencher, black_box};
use lidprop::answer::names::sounding;
use lidprop::chart::passages::Newest;
use lidprop::chart::recording::{Heard, HeardSoFar, Wording};
use lidprop::harmony::voicing::typed::Typed;
use lidprop::harmony::{AnalysisOptions, Chord, Context, Given, Sounding, interpret, name_chord};
use lidprop::listener::{Certainty, ChordNote, ChordSpan, Event};
use lidprop::publish::write_json;
use lidprop::units::{MidiNote, SamplePos, SampleRate, Share};
use lidprop::view::chart::print_chart;
use lidprop::view::ink::Ink;
use std::io;
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

/// Chords of a long recording as it is heard: some keys less than certain, some that may have sounded.
fn long_recording() -> Heard {
    const CHORUS: [&str; 8] = [
        "Cmaj7",
        "Am7",
        "Dm9",
        "G13",
        "Em7b5",
        "A7b9",
        "Dm6",
        "Fdim(maj7)",
    ];
    const CONFIDENCES: [f32; 5] = [0.999, 0.95, 0.99, 0.9, 0.985];
    let second = u64::from(SampleRate::INTERNAL.get());
    let mut heard = HeardSoFar::new("long", Default::default());
    for nth in 0..480_usize {
        let symbol = CHORUS[nth % CHORUS.len()];
        let mut keys = Typed::read(&[symbol]).expect("a symbol").sounding.notes;
        keys.sort_by_key(|key| key.midi);
        let note = |(at, midi): (usize, MidiNote)| ChordNote {
            midi,
            strength: Share::ONE,
            confidence: Share::clamped(CONFIDENCES[(nth + at) % CONFIDENCES.len()]),
            certainty: Certainty::Sure,
        };
        let mut possible = note((0, MidiNote::new(40 + (nth % 30) as u8).expect("a key")));
        possible.confidence = Share::clamped(0.3);
        heard.keep(Event::Chord(ChordSpan {
            start: SamplePos::new(nth as u64 * second),
            end: SamplePos::new((nth as u64 + 1) * second),
            notes: keys
                .iter()
                .map(|key| key.midi)
                .enumerate()
                .map(note)
                .collect(),
            possible: if nth % 3 == 0 {
                vec![possible]
            } else {
                Vec::new()
            },
        }));
    }
    heard.end(SamplePos::new(480 * second), None)
}

/// What one search and one writing a chord cost, for comparison.
#[divan::bench]
fn each_of_480_chords_named_by_itself(bencher: Bencher) {
    let heard = long_recording();
    bencher.bench_local(|| {
        for span in &heard.chords {
            black_box(name_chord(&sounding(&span.notes, &[]), &Context::default()));
        }
    });
}

#[divan::bench]
fn json_of_480_chords(bencher: Bencher) {
    let heard = long_recording();
    bencher.bench_local(|| write_json(black_box(&heard), &mut io::sink()));
}

#[divan::bench]
fn chart_of_480_chords(bencher: Bencher) {
    let heard = long_recording();
    bencher.bench_local(|| print_chart(black_box(&heard), Ink::plain(100), &mut io::sink()));
}

#[divan::bench]
fn live_json_of_480_chords(bencher: Bencher) {
    let heard = long_recording();
    bencher.bench_local(|| {
        let mut newest = Newest::new(Wording::default());
        for span in &heard.chords {
            black_box(newest.hear(span));
        }
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
