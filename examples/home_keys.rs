//! Prints what `playing::home` weighs: for each piece of labelled corpora the 24 keys, how far each is that of the label (the relative key counts half), and its features.
//!
//!     cargo run --example home_keys TRUTH.json...
//!
//! A line a key, with tabs: corpus, piece, number of the key, score, features. `training/playing_level.py` fits the weights of `src/playing/home.rs` on these lines.

#[path = "support/labelled.rs"]
mod labelled;
#[path = "support/labelled_key.rs"]
mod labelled_key;

use labelled::notes;
use labelled_key::{key_score, labelled_key};
use lidprop::harmony::function::Class;
use lidprop::playing::home::{SoundingChord, features};
use lidprop::playing::{Stated, read};
use serde_json::Value;
use std::error::Error;

fn main() -> Result<(), Box<dyn Error>> {
    for path in std::env::args().skip(1) {
        let truth: Value = serde_json::from_str(&std::fs::read_to_string(&path)?)?;
        for clip in truth["clips"].as_array().ok_or("no clips")? {
            let name = clip["file"].as_str().ok_or("a clip without a file")?;
            let notes = notes(clip)?;
            let labelled = labelled_key(clip)?;
            let chords: Vec<SoundingChord> = read(&notes, &Stated::default())
                .harmony
                .iter()
                .filter_map(|stretch| {
                    let first = stretch.chords.first()?;
                    Some(SoundingChord {
                        lasts: stretch.end.get() - stretch.start.get(),
                        root: first.chord.root.class(),
                        class: Class::of(first.chord.degrees),
                        sure: first.confidence.get(),
                    })
                })
                .collect();
            for (number, (key, row)) in features(&notes, &chords).iter().enumerate() {
                let row: Vec<String> = row.iter().map(|f| format!("{f:.5}")).collect();
                println!(
                    "{path}\t{name}\t{number}\t{}\t{}",
                    key_score(*key, labelled),
                    row.join(" ")
                );
            }
        }
    }
    Ok(())
}
