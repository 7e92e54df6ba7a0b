//! Prints what `playing::bars` weighs: for each piece of labelled corpora the beats that are found, and what tells which of them are downbeats.
//!
//!     cargo run --example downbeats TRUTH.json...
//!
//! A line a beat, with tabs: corpus, piece, number of the beat, its time (s), how far the nearest labelled downbeat is (s), features. `training/playing_bars.py` fits the weights of
//! `src/playing/bars.rs` on these lines.

#[path = "support/labelled.rs"]
mod labelled;

use labelled::{notes, number};
use lidprop::playing::beats_with_features;
use serde_json::Value;
use std::error::Error;

fn main() -> Result<(), Box<dyn Error>> {
    for path in std::env::args().skip(1) {
        let truth: Value = serde_json::from_str(&std::fs::read_to_string(&path)?)?;
        for clip in truth["clips"].as_array().ok_or("no clips")? {
            let name = clip["file"].as_str().ok_or("a clip without a file")?;
            let labelled: Vec<f64> = clip["downbeats"]
                .as_array()
                .ok_or("a clip without downbeats")?
                .iter()
                .map(number)
                .collect::<Result<_, _>>()?;
            for (nth, (time, row)) in beats_with_features(&notes(clip)?).iter().enumerate() {
                let apart = labelled.iter().map(|l| (l - time).abs());
                let apart = apart.fold(f64::INFINITY, f64::min);
                let row: Vec<String> = row.iter().map(|f| format!("{f:.4}")).collect();
                println!(
                    "{path}\t{name}\t{nth}\t{time:.3}\t{apart:.3}\t{}",
                    row.join(" ")
                );
            }
        }
    }
    Ok(())
}
