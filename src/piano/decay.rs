//! How a note dies away: fast at first, slower later.
//!
//! Input: mono samples from just after the strike to before the damper. Output: a [`Decay`].
//! Units: dB a second, seconds. Method: two straight lines that meet, fitted to the level in dB by least squares for every place
//! where they may meet (the two stages: G. Weinreich, "Coupled piano strings", JASA 62, 1977).
//! Limits: what falls into the room's noise is left out; notes shorter than 0.4 s have one rate.

use crate::spectrum::HOP_SAMPLES;
use crate::units::SampleRate;
use serde::{Deserialize, Serialize};

/// Shortest stage of its own, in hops (0.2 s).
const SHORTEST_STAGE: usize = 9;
/// Levels this far (dB) above the least one still belong to the note.
const ABOVE_FLOOR_DB: f64 = 4.0;

/// The fall of a note.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Decay {
    /// Fall at first, dB a second.
    pub early: f64,
    /// Fall later, dB a second.
    pub late: f64,
    /// When the second stage begins, seconds after the strike.
    pub turns: f64,
}

/// Fits the fall of `sound`; `None` if there is less than 0.4 s of it.
pub fn fit_decay(sound: &[f32]) -> Option<Decay> {
    let hop_seconds = HOP_SAMPLES as f64 / f64::from(SampleRate::INTERNAL.get());
    let db: Vec<f64> = sound
        .chunks_exact(HOP_SAMPLES)
        .map(|hop| {
            let power: f64 = hop.iter().map(|&x| f64::from(x) * f64::from(x)).sum();
            10.0 * (power / HOP_SAMPLES as f64).max(1e-14).log10()
        })
        .collect();
    let floor = db.iter().copied().fold(f64::MAX, f64::min) + ABOVE_FLOOR_DB;
    let db = until_sunk(&db, floor);
    if db.len() < 2 * SHORTEST_STAGE {
        return None;
    }
    let best = (SHORTEST_STAGE..=db.len() - SHORTEST_STAGE)
        .filter_map(|turn| two_lines(db, turn).map(|lines| (turn, lines)))
        .min_by(|a, b| a.1.2.total_cmp(&b.1.2))?;
    let (turn, (early, late, _)) = best;
    Some(Decay {
        early: -early / hop_seconds,
        late: -late / hop_seconds,
        turns: turn as f64 * hop_seconds,
    })
}

/// The levels up to the last one above `floor`.
pub(super) fn until_sunk(levels: &[f64], floor: f64) -> &[f64] {
    let last = levels.iter().rposition(|&level| level > floor);
    &levels[..last.map_or(0, |last| last + 1)]
}

/// Least squares of `level + early min(i, turn) + late max(i - turn, 0)`: both slopes a hop, and the sum of squares.
fn two_lines(db: &[f64], turn: usize) -> Option<(f64, f64, f64)> {
    let row = |i: usize| [1.0, i.min(turn) as f64, i.saturating_sub(turn) as f64];
    let (mut normal, mut right) = ([[0.0; 3]; 3], [0.0; 3]);
    for (i, &y) in db.iter().enumerate() {
        let x = row(i);
        for a in 0..3 {
            right[a] += x[a] * y;
            for b in 0..3 {
                normal[a][b] += x[a] * x[b];
            }
        }
    }
    let determinant = |m: [[f64; 3]; 3]| {
        m[0][0] * (m[1][1] * m[2][2] - m[1][2] * m[2][1])
            - m[0][1] * (m[1][0] * m[2][2] - m[1][2] * m[2][0])
            + m[0][2] * (m[1][0] * m[2][1] - m[1][1] * m[2][0])
    };
    let whole = determinant(normal);
    if whole.abs() < 1e-9 {
        return None;
    }
    // Cramer's rule
    let [level, early, late] = [0, 1, 2].map(|column| {
        let mut replaced = normal;
        (0..3).for_each(|a| replaced[a][column] = right[a]);
        determinant(replaced) / whole
    });
    let squares = db
        .iter()
        .enumerate()
        .map(|(i, y)| {
            let x = row(i);
            (y - level - early * x[1] - late * x[2]).powi(2)
        })
        .sum();
    Some((early, late, squares))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_rates_of_a_two_stage_decay_and_where_it_turns_are_found() {
        let rate = f64::from(SampleRate::INTERNAL.get());
        let sound: Vec<f32> = (0..60_000)
            .map(|i| {
                let t = f64::from(i) / rate;
                let db = if t < 0.6 {
                    -30.0 * t
                } else {
                    -18.0 - 8.0 * (t - 0.6)
                };
                (10f64.powf(db / 20.0) * (std::f64::consts::TAU * 440.0 * t).sin()) as f32
            })
            .collect();
        let decay = fit_decay(&sound).unwrap();
        assert!((decay.early - 30.0).abs() < 1.5, "{decay:?}");
        assert!((decay.late - 8.0).abs() < 0.5, "{decay:?}");
        assert!((decay.turns - 0.6).abs() < 0.06, "{decay:?}");
    }
}
