//! What reharmonising costs: all stand-ins and voicings of a tune of 32 bars, beside the interpretation of the same bars that every chart needs; and
//! the stand-ins for one chord.

use divan::{Bencher, black_box};
use lidprop::harmony::standins::{Tune, Wish, reharmonise, stand_ins};
use lidprop::harmony::voicing::hands::{Hands, USUAL_SPAN};
use lidprop::harmony::voicing::leading::{Wanted, lead};
use lidprop::harmony::{AnalysisOptions, Chord, Given, interpret};

fn main() {
    divan::main();
}

/// 32 bars, four times eight, two chords in every fourth bar.
fn tune() -> Tune {
    const EIGHT: [&str; 8] = [
        "Cmaj7", "A7", "Dm7", "G7 Db7", "Em7b5", "A7b9", "Fm7", "Bb7 G7",
    ];
    let bar = |text: &str| -> Vec<Chord> {
        text.split(' ')
            .map(|symbol| symbol.parse().expect("a symbol"))
            .collect()
    };
    let bars: Vec<Vec<Chord>> = EIGHT
        .iter()
        .cycle()
        .take(32)
        .map(|text| bar(text))
        .collect();
    Tune::of_bars(&bars, 4, None).expect("bars with chords")
}

#[divan::bench]
fn interpretation_of_32_bars(bencher: Bencher) {
    let given: Vec<Given> = tune()
        .chords
        .iter()
        .map(|c| Given::Stated(c.chord))
        .collect();
    bencher.bench_local(|| interpret(black_box(&given), &AnalysisOptions::default()).len());
}

#[divan::bench]
fn stand_ins_and_voicings_of_32_bars(bencher: Bencher) {
    let tune = tune();
    bencher.bench_local(|| {
        let found = reharmonise(black_box(&tune), 3, 40);
        let chords = found
            .chosen
            .iter()
            .zip(&tune.chords)
            .flat_map(|(chosen, original)| match chosen {
                Some(stand_in) => stand_in.chords().collect(),
                None => vec![original.chord],
            });
        let wanted: Vec<Wanted> = chords.map(|chord| Wanted { chord, top: None }).collect();
        lead(&wanted, Hands::Both, USUAL_SPAN).len()
    });
}

#[divan::bench]
fn stand_ins_for_one_chord(bencher: Bencher) {
    let bars: Vec<Vec<Chord>> = ["Dm7", "G7", "Cmaj7"]
        .iter()
        .map(|symbol| vec![symbol.parse().expect("a symbol")])
        .collect();
    let tune = Tune::of_bars(&bars, 4, None).expect("bars with chords");
    bencher.bench_local(|| stand_ins(black_box(&tune), 1, &Wish::default()).len());
}
