//! Prints what `playing::bars` weighs: for each piece of labelled corpora the beats that are found, and what tells which of them are downbeats.
//!
//!     cargo run --example downbeats TRUTH.json...
//!
//! A line a beat, with tabs: corpus, piece, number of the beat, its time (s), how far the nearest labelled downbeat is (s), features. `training/playing_bars.py` fits the weights of
//! `src/playing/bars.rs` on these lines.

#[path = "support/labelled.rs"]
mod labelled;
#[path = "support/labelled_times.rs"]
mod labelled_times;

use labelled_times::each_piece;
use lidprop::playing::beats_with_features;
use std::error::Error;

fn main() -> Result<(), Box<dyn Error>> {
    each_piece("downbeats", |path, name, notes, labelled| {
        for (nth, (time, row)) in beats_with_features(notes).iter().enumerate() {
            let apart = labelled.iter().map(|l| (l - time).abs());
            let apart = apart.fold(f64::INFINITY, f64::min);
            let row: Vec<String> = row.iter().map(|f| format!("{f:.4}")).collect();
            println!(
                "{path}\t{name}\t{nth}\t{time:.3}\t{apart:.3}\t{}",
                row.join(" ")
            );
        }
    })
}
