//! Bars: which beats are downbeats.
//!
//! Input: beats, units, the chords found so far. Output: [`BarTrack`]. Units: beats; shares 0 to 1.
//! Method: each beat is weighed by the bass that is struck on it, by a change of harmony and by its accent (Goto, J. New Music Research 30, 2001: chord
//! changes decide the half-note and bar levels); the best way to lay bars of one meter over the beats, with leaps dear, by dynamic programming.
//! Limits: meters of two, three and four beats; a change of meter is told as a leap.

use super::PlayedNote;
use super::beats::BeatTrack;
use super::evidence::{BeatPlace, Unit};
use super::search::Found;

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

/// The weights of the bars. Set on `performances.jsonl.gz` and the scenes of `training/playing_scenes.py`.
#[derive(Debug, Clone, Copy)]
pub struct BarTuning {
    /// How much speaks for a downbeat: that the pitch classes change; the accent; a bass note; a new bass note; how many beats the longest low and
    /// the longest high note last; that anything is struck; that the harmony changes.
    pub features: [f32; 8],
    /// What a leap in the count costs.
    pub leap: f32,
    /// How much bars of three must be better than bars of four.
    pub three: f32,
}

impl Default for BarTuning {
    fn default() -> Self {
        Self {
            features: [6.1, -2.3, 2.2, -1.9, 0.5, 0.5, -1.8, 2.1],
            leap: 15.0,
            three: 0.12,
        }
    }
}

/// Lays bars over the beats; `meter` and the number of beats before the first bar where the user states them.
pub(crate) fn bars(
    beats: &BeatTrack,
    units: &[Unit],
    found: &[Found],
    notes: &[PlayedNote],
    meter: Option<usize>,
    pickup: Option<usize>,
    tuning: &BarTuning,
) -> BarTrack {
    let count = beats.beats.len();
    if count < 6 {
        return BarTrack::default();
    }
    let rows = features(beats, units, found, notes);
    let strength = downbeat_strengths(&rows, tuning);
    let mut best: Option<(f32, BarTrack)> = None;
    for candidate in meter.map_or(vec![4, 3], |m| vec![m]) {
        let (value, downbeats, confidence) = lay(&strength, candidate, pickup, tuning);
        let value = value / count as f32 - if candidate == 3 { tuning.three } else { 0.0 };
        if best.as_ref().is_none_or(|b| value > b.0) {
            best = Some((
                value,
                BarTrack {
                    downbeats,
                    meter: candidate,
                    confidence,
                },
            ));
        }
    }
    best.map(|b| b.1).unwrap_or_default()
}

/// What tells a downbeat from other beats; for the order see [`BarTuning::features`].
const FEATURES: usize = 8;

/// The features of every beat.
fn features(
    beats: &BeatTrack,
    units: &[Unit],
    found: &[Found],
    notes: &[PlayedNote],
) -> Vec<[f32; FEATURES]> {
    let count = beats.beats.len();
    let mut out = vec![[0.0_f32; FEATURES]; count];
    let beat = super::evidence::beat_length(beats);
    let mut bass_before = None;
    let mut before = [0.0_f32; 12];
    for (nth, unit) in units.iter().enumerate() {
        let BeatPlace::Beat(at) = unit.place else {
            continue;
        };
        // up to the next beat
        let next = units.get(nth + 1).filter(|u| u.place == BeatPlace::Between);
        let mut classes = unit.classes;
        if let Some(next) = next {
            for (c, n) in classes.iter_mut().zip(next.classes) {
                *c += n;
            }
        }
        let both: f32 = classes.iter().zip(before).map(|(a, b)| a * b).sum();
        let size = |c: &[f32; 12]| c.iter().map(|x| x * x).sum::<f32>().sqrt();
        let row = &mut out[at];
        row[0] = 1.0 - both / (size(&classes) * size(&before)).max(1e-6);
        before = classes;
        let accent: f32 = unit.classes.iter().sum();
        row[1] = accent / (accent + 1.0);
        if let Some((midi, _)) = unit.bass {
            let low = ((64.0 - f32::from(midi)) / 16.0).clamp(0.0, 1.0);
            row[2] = low;
            if low > 0.0 && bass_before.is_some_and(|b: u8| b % 12 != midi % 12) {
                row[3] = low;
            }
            if low > 0.0 {
                bass_before = Some(midi);
            }
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
        row[4] = longest(true);
        row[5] = longest(false);
        row[6] = if struck.is_empty() { 0.0 } else { 1.0 };
    }
    for pair in found.windows(2) {
        let border = pair[1].from;
        let changes = pair[0].takes.first().map(|t| t.0) != pair[1].takes.first().map(|t| t.0);
        if let (BeatPlace::Beat(at), true) = (units[border].place, changes) {
            out[at][7] = 1.0;
        }
    }
    out
}

/// How much speaks for each beat to be a downbeat, mean 0.
fn downbeat_strengths(features: &[[f32; FEATURES]], tuning: &BarTuning) -> Vec<f32> {
    let mut strength: Vec<f32> = features
        .iter()
        .map(|row| row.iter().zip(tuning.features).map(|(f, w)| f * w).sum())
        .collect();
    let mean = strength.iter().sum::<f32>() / strength.len().max(1) as f32;
    strength.iter_mut().for_each(|s| *s -= mean);
    strength
}

/// The best count of `meter` over the beats: value, downbeats, confidence.
fn lay(
    strength: &[f32],
    meter: usize,
    pickup: Option<usize>,
    tuning: &BarTuning,
) -> (f32, Vec<usize>, f32) {
    let profile = |place: usize| -> f32 {
        match (meter, place) {
            (_, 0) => 1.0,
            (4, 2) => 0.2,
            (4, _) => -0.6,
            (3, _) => -0.5,
            _ => -1.0,
        }
    };
    let count = strength.len();
    let mut best: Vec<f32> = (0..meter)
        .map(|place| match pickup {
            Some(beats) if (place + beats) % meter != 0 => -1e6,
            _ => strength[0] * profile(place),
        })
        .collect();
    let mut came: Vec<Vec<usize>> = vec![(0..meter).collect()];
    for &s in &strength[1..] {
        let (mut next, mut from) = (vec![0.0; meter], vec![0; meter]);
        for place in 0..meter {
            let usual = (place + meter - 1) % meter;
            let (mut value, mut source) = (best[usual], usual);
            for (other, &old) in best.iter().enumerate() {
                if old - tuning.leap > value {
                    (value, source) = (old - tuning.leap, other);
                }
            }
            next[place] = value + s * profile(place);
            from[place] = source;
        }
        best = next;
        came.push(from);
    }
    let mut order: Vec<f32> = best.clone();
    order.sort_by(|a, b| b.total_cmp(a));
    let lead = (order[0] - order[1]) / (count as f32).sqrt();
    let mut place = (0..meter)
        .max_by(|&a, &b| best[a].total_cmp(&best[b]))
        .unwrap_or(0);
    let value = best[place];
    let mut downbeats = Vec::new();
    for beat in (0..count).rev() {
        if place == 0 {
            downbeats.push(beat);
        }
        place = came[beat][place];
    }
    downbeats.reverse();
    (value, downbeats, 1.0 - (-1.2 * lead).exp())
}
