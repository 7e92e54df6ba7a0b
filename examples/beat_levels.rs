//! Prints what `playing::level` weighs: for each piece of labelled corpora every way to count it, how far its beats are those of the labels, and its features.
//!
//!     cargo run --example beat_levels TRUTH.json...
//!
//! A line a way, with tabs: corpus, piece, number of the way, F-measure of the beats (70 ms; the first five seconds do not count), features.
//! `training/playing_level.py` fits the weights of `src/playing/level.rs` on these lines.

#[path = "support/labelled.rs"]
mod labelled;
#[path = "support/labelled_times.rs"]
mod labelled_times;

use labelled_times::each_piece;
use lidprop::playing::beats;
use std::error::Error;

fn main() -> Result<(), Box<dyn Error>> {
    each_piece("beats", |path, name, notes, labelled| {
        for (nth, way) in beats::ways(notes).iter().enumerate() {
            let features: Vec<String> = way.features.iter().map(|f| format!("{f:.5}")).collect();
            println!(
                "{path}\t{name}\t{nth}\t{:.4}\t{}",
                f_measure(labelled, &way.times),
                features.join(" ")
            );
        }
    })
}

fn f_measure(labelled: &[f64], found: &[f64]) -> f64 {
    let settled =
        |list: &[f64]| -> Vec<f64> { list.iter().copied().filter(|&t| t >= 5.0).collect() };
    let (labelled, found) = (settled(labelled), settled(found));
    let (mut met, mut next) = (0, 0);
    for time in &labelled {
        while next < found.len() && found[next] < time - 0.07 {
            next += 1;
        }
        if next < found.len() && found[next] <= time + 0.07 {
            met += 1;
            next += 1;
        }
    }
    2.0 * f64::from(met) / (labelled.len() + found.len()).max(1) as f64
}
