//! Bars: which beats are downbeats.
//!
//! Input: beats, units, the chords found so far. Output: [`BarTrack`]. Units: beats; shares 0 to 1.
//! Method: how likely each beat is a downbeat is told by a logistic regression over what happens on it and on the beats around it: the bass, long notes, a
//! change of harmony and of pitch classes (Goto, J. New Music Research 30, 2001: chord changes decide the half-note and bar levels); the best way to
//! lay bars of one meter over the beats, with leaps dear, by dynamic programming.
//! Limits: meters of three and four beats, or of what is stated; a change of meter is told as a leap.

use super::PlayedNote;
use super::beats::BeatTrack;
use super::evidence::{BeatPlace, Unit};
use super::level::unlike;
use super::search::Found;
use std::ops::Range;

/// Bars laid over the beats.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct BarTrack {
    /// Which beats are downbeats, by number.
    pub downbeats: Vec<usize>,
    /// Beats in a bar; 0 where no bars are known.
    pub meter: usize,
    /// How sure the bars are, 0 to 1.
    pub confidence: f32,
}

/// What a leap in the count costs, in log-odds: left out in five folds songs keep their bars with 8 to 40, and scenes best from 14 on.
const LEAP: f32 = 20.0;

/// Lays bars over the beats; `meter` and the number of beats before the first bar where the user states them.
pub(crate) fn bars(
    beats: &BeatTrack,
    units: &[Unit],
    found: &[Found],
    notes: &[PlayedNote],
    meter: Option<usize>,
    pickup: Option<usize>,
) -> BarTrack {
    let count = beats.beats.len();
    if count < 6 {
        return BarTrack::default();
    }
    let odds = downbeat_odds(&features(beats, units, found, notes));
    let meters = meter.map_or(vec![4, 3], |m| vec![m]);
    meters
        .into_iter()
        .map(|meter| lay(&odds, meter, pickup))
        .reduce(|best, next| if next.0 > best.0 { next } else { best })
        .map(|best| best.1)
        .unwrap_or_default()
}

/// What tells a downbeat from other beats: how much the pitch classes change from the beat before; a bass note; how many beats the longest low and the
/// longest high note last; that anything is struck; that the harmony changes; how much the pitch classes of two beats differ from those of the two before, and of four.
pub const FEATURES: usize = 8;
/// How many beats before and after one are asked as well.
const REACH: usize = 3;

/// How much each feature speaks for a downbeat, from [`REACH`] beats before it to as many after it. Fitted by `training/playing_bars.py` on the beats found in 612
/// excerpts of songs and 120 invented scenes, each also made harsher.
const WEIGHTS: [[f32; 2 * REACH + 1]; FEATURES] = [
    [-0.53, 0.00, 0.39, 0.01, -0.19, 0.17, -0.17],
    [-0.56, -0.07, -0.28, 1.43, -0.71, 0.36, -0.35],
    [0.16, -0.09, -0.27, 0.05, 0.00, -0.19, -0.04],
    [-0.04, -0.05, -0.09, 0.16, -0.03, -0.08, -0.09],
    [-0.01, 0.24, 0.03, -0.27, 0.18, 0.18, 0.08],
    [0.08, -0.08, -0.59, 0.15, -0.11, -0.36, -0.58],
    [-0.63, -0.53, -0.38, 1.00, -0.27, -0.38, -0.12],
    [1.01, -0.62, -2.01, 3.06, -1.59, -0.44, 1.09],
];

/// The features of every beat.
pub(crate) fn features(
    beats: &BeatTrack,
    units: &[Unit],
    found: &[Found],
    notes: &[PlayedNote],
) -> Vec<[f32; FEATURES]> {
    let count = beats.beats.len();
    let mut out = vec![[0.0_f32; FEATURES]; count];
    let mut classes = vec![[0.0_f32; 12]; count];
    let beat = super::evidence::beat_length(beats);
    for (nth, unit) in units.iter().enumerate() {
        let BeatPlace::Beat(at) = unit.place else {
            continue;
        };
        classes[at] = unit.classes;
        // up to the next beat
        if let Some(next) = units.get(nth + 1)
            && next.place == BeatPlace::Between
        {
            for (c, n) in classes[at].iter_mut().zip(next.classes) {
                *c += n;
            }
        }
        let row = &mut out[at];
        if let Some((midi, _)) = unit.bass {
            row[1] = ((64.0 - f32::from(midi)) / 16.0).clamp(0.0, 1.0);
        }
        // how long what is struck here lasts
        let struck = &notes[unit.first..unit.last];
        let longest = |low: bool| {
            struck
                .iter()
                .filter(|n| (n.midi.get() < 55) == low)
                .map(|n| (n.end.get() - n.start.get()) / beat)
                .fold(0.0, f64::max)
                .min(4.0) as f32
        };
        row[2] = longest(true);
        row[3] = longest(false);
        row[4] = if struck.is_empty() { 0.0 } else { 1.0 };
    }
    for pair in found.windows(2) {
        let border = pair[1].from;
        let changes = pair[0].takes.first().map(|t| t.0) != pair[1].takes.first().map(|t| t.0);
        if let (BeatPlace::Beat(at), true) = (units[border].place, changes) {
            out[at][5] = 1.0;
        }
    }
    let together = |beats: Range<usize>| -> [f64; 12] {
        std::array::from_fn(|class| {
            classes[beats.clone()]
                .iter()
                .map(|c| f64::from(c[class]))
                .sum()
        })
    };
    for (at, row) in out.iter_mut().enumerate() {
        for (feature, span) in [(0, 1), (6, 2), (7, 4)] {
            let before = together(at.saturating_sub(span)..at);
            let after = together(at..(at + span).min(count));
            row[feature] = unlike(&before, &after) as f32;
        }
    }
    out
}

/// How likely each beat is a downbeat: log-odds, mean 0 over the beats.
fn downbeat_odds(features: &[[f32; FEATURES]]) -> Vec<f32> {
    let count = features.len();
    let mean: [f32; FEATURES] =
        std::array::from_fn(|k| features.iter().map(|row| row[k]).sum::<f32>() / count as f32);
    let mut odds: Vec<f32> = (0..count)
        .map(|at| {
            let around = at.saturating_sub(REACH)..(at + REACH + 1).min(count);
            around
                .map(|other| {
                    let place = other + REACH - at;
                    (0..FEATURES)
                        .map(|k| WEIGHTS[k][place] * (features[other][k] - mean[k]))
                        .sum::<f32>()
                })
                .sum()
        })
        .collect();
    let mean = odds.iter().sum::<f32>() / count.max(1) as f32;
    odds.iter_mut().for_each(|o| *o -= mean);
    odds
}

/// The best count of `meter` over the beats, and how far its downbeats stand out: in standard deviations of a sum of so many beats, to compare meters.
fn lay(odds: &[f32], meter: usize, pickup: Option<usize>) -> (f32, BarTrack) {
    let count = odds.len();
    let worth = |place: usize, at: usize| if place == 0 { odds[at] } else { 0.0 };
    let mut best: Vec<f32> = (0..meter)
        .map(|place| match pickup {
            Some(beats) if (place + beats) % meter != 0 => -1e6,
            _ => worth(place, 0),
        })
        .collect();
    let mut came: Vec<Vec<usize>> = vec![(0..meter).collect()];
    for at in 1..count {
        let (mut next, mut from) = (vec![0.0; meter], vec![0; meter]);
        for place in 0..meter {
            let usual = (place + meter - 1) % meter;
            let (mut value, mut source) = (best[usual], usual);
            for (other, &old) in best.iter().enumerate() {
                if old - LEAP > value {
                    (value, source) = (old - LEAP, other);
                }
            }
            next[place] = value + worth(place, at);
            from[place] = source;
        }
        best = next;
        came.push(from);
    }
    let mut order: Vec<f32> = best.clone();
    order.sort_by(|a, b| b.total_cmp(a));
    let lead = (order[0] - order.get(1).copied().unwrap_or(0.0)) / (count as f32).sqrt();
    let mut place = (0..meter)
        .max_by(|&a, &b| best[a].total_cmp(&best[b]))
        .unwrap_or(0);
    let share = 1.0 / meter as f32;
    let value = best[place] / (count as f32 * share * (1.0 - share)).sqrt();
    let mut downbeats = Vec::new();
    for beat in (0..count).rev() {
        if place == 0 {
            downbeats.push(beat);
        }
        place = came[beat][place];
    }
    downbeats.reverse();
    let track = BarTrack {
        downbeats,
        meter,
        confidence: pickup.map_or(RIGHT * (1.0 - (-SURE * lead).exp()), |_| 1.0),
    };
    (value, track)
}

/// How often bars with a clear lead are right, for songs left out in five folds: most others are counted at another level.
const RIGHT: f32 = 0.8;
/// How sure a lead makes, by the same: of those that lead by 0.4, six in ten are right.
const SURE: f32 = 4.0;
