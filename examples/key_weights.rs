//! Sets the weights of `playing::key`: tries steps from those in use on labelled pieces, given as notes, and keeps what reads more keys right.
//!
//!     cargo run --example key_weights ROUNDS [WEIGHT=VALUE...] TRUTH.json...
//!
//! Pieces are those of `training/playing_scenes.py` (`many`, `many_harsh`). Prints, for those it looks at and for those held out (every third song), the mean key
//! score (the relative key counts half, as in the labelled corpora) and the share of labelled time with the right root, before and after, and the weights.

#[path = "support/labelled.rs"]
mod labelled;
#[path = "support/labelled_key.rs"]
mod labelled_key;

use labelled::{notes, number};
use labelled_key::{class, key_score, labelled_key};
use lidprop::harmony::Mode;
use lidprop::playing::key::KeyTuning;
use lidprop::playing::{PlayedNote, Stated, Tuning, read_with};
use serde_json::Value;
use std::error::Error;

/// A labelled piece.
struct Piece {
    held_out: bool,
    notes: Vec<PlayedNote>,
    key: (u8, Mode),
    /// Begin, end and root of each labelled chord.
    roots: Vec<(f64, f64, u8)>,
}

/// A weight, by how it is reached.
type Weight = fn(&mut KeyTuning) -> &mut f32;

const WEIGHTS: [(&str, Weight); 8] = [
    ("notes", |t| &mut t.notes),
    ("chords", |t| &mut t.chords),
    ("tonic", |t| &mut t.tonic),
    ("home", |t| &mut t.home),
    ("change", |t| &mut t.change),
    ("distance", |t| &mut t.distance),
    ("sureness", |t| &mut t.sureness),
    ("believed", |t| &mut t.believed),
];
const FACTORS: [f32; 4] = [0.6, 0.8, 1.25, 1.6];
/// How much the roots count beside the key.
const ROOTS: f64 = 1.0;

fn main() -> Result<(), Box<dyn Error>> {
    let mut arguments = std::env::args().skip(1);
    let rounds: usize = arguments.next().ok_or("how many rounds?")?.parse()?;
    let mut best = KeyTuning::default();
    let mut pieces = Vec::new();
    for path in arguments {
        let stated = WEIGHTS.iter().find_map(|(name, weight)| {
            let value = path.strip_prefix(name)?.strip_prefix('=')?;
            Some((weight, value.parse()))
        });
        if let Some((weight, value)) = stated {
            *weight(&mut best) = value?;
            continue;
        }
        let truth: Value = serde_json::from_str(&std::fs::read_to_string(&path)?)?;
        for clip in truth["clips"].as_array().ok_or("no clips")? {
            pieces.push(piece(clip)?);
        }
    }
    let (held_out, set): (Vec<Piece>, Vec<Piece>) = pieces.into_iter().partition(|p| p.held_out);
    let mut worth = score(&set, &best);
    println!("before: {worth:?}, held out {:?}", score(&held_out, &best));
    for round in 0..rounds {
        let before = worth;
        for (name, weight) in WEIGHTS {
            for factor in FACTORS {
                let mut tried = best;
                *weight(&mut tried) *= factor;
                let score = score(&set, &tried);
                if total(score) > total(worth) + 5e-4 {
                    println!("{round} {name} {:.3}: {score:?}", weight(&mut tried));
                    (best, worth) = (tried, score);
                }
            }
        }
        if before == worth {
            break;
        }
    }
    println!(
        "after: {worth:?}, held out {:?}\n{best:#?}",
        score(&held_out, &best)
    );
    Ok(())
}

fn total((key, root): (f64, f64)) -> f64 {
    key + ROOTS * root
}

fn piece(clip: &Value) -> Result<Piece, Box<dyn Error>> {
    let mut roots = Vec::new();
    for chord in clip["chords"].as_array().ok_or("no chords")? {
        let label = chord["label"].as_str().ok_or("no label")?;
        let root = class(label.split([':', '/']).next().unwrap_or_default())?;
        roots.push((number(&chord["start"])?, number(&chord["end"])?, root));
    }
    Ok(Piece {
        held_out: clip["condition"] == "heldout",
        notes: notes(clip)?,
        key: labelled_key(clip)?,
        roots,
    })
}

/// Mean key score, and share of labelled time with the right root.
fn score(pieces: &[Piece], key: &KeyTuning) -> (f64, f64) {
    let tuning = Tuning {
        key: *key,
        ..Tuning::default()
    };
    let half = pieces.len().div_ceil(2);
    let parts = std::thread::scope(|scope| {
        let threads: Vec<_> = pieces
            .chunks(half.max(1))
            .map(|part| {
                scope.spawn(|| {
                    part.iter()
                        .map(|piece| judge(piece, &tuning))
                        .collect::<Vec<_>>()
                })
            })
            .collect();
        threads
            .into_iter()
            .filter_map(|thread| thread.join().ok())
            .flatten()
            .collect::<Vec<_>>()
    });
    let sum = parts.iter().fold([0.0; 3], |sum, part| {
        [sum[0] + part[0], sum[1] + part[1], sum[2] + part[2]]
    });
    (sum[0] / parts.len() as f64, sum[1] / sum[2])
}

/// Key score, seconds with the right root, labelled seconds.
fn judge(piece: &Piece, tuning: &Tuning) -> [f64; 3] {
    let reading = read_with(&piece.notes, &Stated::default(), tuning);
    let key = reading
        .key
        .map_or(0.0, |(key, _)| key_score(key, piece.key));
    let (mut right, mut all) = (0.0, 0.0);
    for &(start, end, root) in &piece.roots {
        all += end - start;
        for stretch in &reading.harmony {
            let Some(chord) = stretch.chords.first() else {
                continue;
            };
            if chord.chord.root.class().get() == root {
                right += (stretch.end.get().min(end) - stretch.start.get().max(start)).max(0.0);
            }
        }
    }
    [key, right, all]
}
