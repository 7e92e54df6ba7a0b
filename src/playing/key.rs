//! The key: which of the 24 holds where, or none.
//!
//! Input: units with their weights by pitch class, and the chords found. Output: a key for each unit with its confidence, and the key of the whole.
//! Units: natural-log units; shares 0 to 1. Method: a hidden Markov model over 24 keys (Noland and Sandler, ISMIR 2006; profiles as in Krumhansl,
//! Cognitive Foundations of Musical Pitch, 1990, but counted over `performances.jsonl.gz`), with chords by their place in the key (`harmony::progression`).
//! Limits: modes count as the major or minor key they lean on.

use super::evidence::Unit;
use super::families::FAMILIES;
use super::search::{Found, Taken};
use crate::harmony::function::fit;
use crate::harmony::progression::best_path::key_at;
use crate::harmony::{BELIEVED_KEY, Key, Mode};
use std::sync::LazyLock;

/// The weights of the key. Set on `performances.jsonl.gz` and the scenes of `training/playing_scenes.py` (`examples/key_weights.rs`).
#[derive(Debug, Clone, Copy)]
pub struct KeyTuning {
    /// How much the notes of a full beat count.
    pub notes: f32,
    /// How much a chord counts for every beat that it lasts.
    pub chords: f32,
    /// How much it counts that a phrase begins or ends on the tonic.
    pub tonic: f32,
    /// How much it counts, for every beat, that a key is likely home (see `playing::home`).
    pub home: f32,
    /// What a change of key costs, before its distance.
    pub change: f32,
    /// What each fifth of distance adds.
    pub distance: f32,
    /// How much of a difference counts towards confidence: the notes of one bar are no independent witnesses.
    pub sureness: f32,
    /// Confidence below which no key is believed.
    pub believed: f32,
}

impl Default for KeyTuning {
    fn default() -> Self {
        Self {
            notes: 0.6,
            chords: 0.45,
            tonic: 0.94,
            home: 0.15,
            change: 7.5,
            distance: 0.6,
            sureness: 0.6,
            believed: BELIEVED_KEY,
        }
    }
}

pub(super) const KEYS: usize = 24;
/// Weight of notes by half steps above the tonic, counted over the songs of the set in each mode; major, then minor.
const PROFILES: [[f32; 12]; 2] = [
    [
        0.188, 0.005, 0.139, 0.006, 0.156, 0.090, 0.009, 0.184, 0.009, 0.134, 0.010, 0.087,
    ],
    [
        0.174, 0.007, 0.107, 0.157, 0.010, 0.130, 0.007, 0.171, 0.074, 0.016, 0.127, 0.030,
    ],
];

/// How the weights of the pitch classes lie in a key: the sum of each times the logarithm of how much commoner it is there than if all were equally common.
pub(super) fn lies_in(classes: &[f32; 12], key: Key) -> f32 {
    static COMMONER: LazyLock<[[f32; 12]; 2]> =
        LazyLock::new(|| PROFILES.map(|profile| profile.map(|share| (12.0 * share).ln())));
    let tonic = usize::from(key.tonic.class().get());
    let commoner = &COMMONER[usize::from(key.mode == Mode::Minor)];
    (0..12)
        .map(|i| classes[(tonic + i) % 12] * commoner[i])
        .sum()
}

/// The key of every unit.
#[derive(Debug, Clone, Default)]
pub(crate) struct Keys {
    /// Key and confidence by unit.
    pub units: Vec<(Key, f32)>,
    /// The key of the whole, with its confidence.
    pub whole: Option<(Key, f32)>,
}

/// Finds the keys from notes, and from chords where they were found already: `home` is how likely each key is that of the whole, where
/// none is stated; without it the key that holds longest counts as that.
pub(crate) fn keys(
    units: &[Unit],
    found: &[Found],
    home: Option<&[f32; KEYS]>,
    stated: Option<Key>,
    beat: f64,
    tuning: &KeyTuning,
) -> Keys {
    if units.is_empty() {
        return Keys::default();
    }
    let all: Vec<Key> = (0..KEYS).map(key_at).collect();
    let mut value: Vec<[f32; KEYS]> = units
        .iter()
        .map(|unit| {
            let total: f32 = unit.classes.iter().sum();
            let mass = tuning.notes * total / (total + 1.0);
            std::array::from_fn(|k| {
                if total > 0.0 {
                    mass * lies_in(&unit.classes, all[k]) / total
                } else {
                    0.0
                }
            })
        })
        .collect();
    for (nth, stretch) in found.iter().enumerate() {
        let Some(&(Taken::Chord(root, family), sure)) = stretch.takes.first() else {
            continue;
        };
        let class = FAMILIES[family].class();
        let edge = nth == 0 || nth + 1 == found.len();
        for unit in stretch.from..stretch.to {
            let lasts = ((units[unit].end - units[unit].start) / beat).min(2.0) as f32;
            for (k, key) in all.iter().enumerate() {
                let home = root == key.tonic.class() && class.rests(key.mode);
                value[unit][k] -= tuning.chords * lasts * sure * fit(root, class, *key);
                if home && edge && unit == stretch.from {
                    value[unit][k] += tuning.tonic * 2.0;
                }
                if home {
                    value[unit][k] += tuning.tonic * lasts * 0.25;
                }
            }
        }
    }
    if let Some(home) = home {
        for (values, unit) in value.iter_mut().zip(units) {
            let lasts = ((unit.end - unit.start) / beat).min(2.0) as f32;
            for (value, likely) in values.iter_mut().zip(home) {
                *value += tuning.home * lasts * likely;
            }
        }
    }
    if let Some(stated) = stated {
        for values in &mut value {
            for (k, key) in all.iter().enumerate() {
                if key.tonic.class() != stated.tonic.class() || key.mode != stated.mode {
                    values[k] -= 1e6;
                }
            }
        }
    }
    let path = best_keys(&value, tuning);
    // How sure: what the key is worth over its stretch beside the others.
    let mut out = Vec::with_capacity(units.len());
    let mut from = 0;
    let mut lengths = [(0.0_f64, 0.0_f64); KEYS];
    while from < path.len() {
        let to = from
            + path[from..]
                .iter()
                .take_while(|&&k| k == path[from])
                .count();
        let mut sums = [0.0_f32; KEYS];
        for values in &value[from..to] {
            for (sum, v) in sums.iter_mut().zip(values) {
                *sum += v;
            }
        }
        let own = sums[path[from]];
        let sure = 1.0
            / sums
                .iter()
                .map(|s| (tuning.sureness * (s - own)).exp())
                .sum::<f32>();
        out.extend((from..to).map(|_| (all[path[from]], sure)));
        let lasts = units[to - 1].end - units[from].start;
        lengths[path[from]].0 += lasts;
        lengths[path[from]].1 += lasts * f64::from(sure);
        from = to;
    }
    let whole = match home {
        Some(home) => (0..KEYS)
            .max_by(|&a, &b| home[a].total_cmp(&home[b]))
            .map(|k| (all[k], home[k])),
        None => (0..KEYS)
            .max_by(|&a, &b| lengths[a].0.total_cmp(&lengths[b].0))
            .filter(|&k| lengths[k].0 > 0.0)
            .map(|k| (all[k], (lengths[k].1 / lengths[k].0) as f32)),
    };
    Keys { units: out, whole }
}

fn best_keys(value: &[[f32; KEYS]], tuning: &KeyTuning) -> Vec<usize> {
    let change = |from: usize, to: usize| {
        if from == to {
            return 0.0;
        }
        let signature = |k: usize| (if k < 12 { k * 7 } else { (k + 3) * 7 }) % 12;
        let apart = (12 + signature(from) - signature(to)) % 12;
        tuning.change + tuning.distance * apart.min(12 - apart) as f32
    };
    let mut came: Vec<[u8; KEYS]> = Vec::with_capacity(value.len());
    let mut best = value[0];
    came.push([0; KEYS]);
    for here in &value[1..] {
        let mut next = [f32::NEG_INFINITY; KEYS];
        let mut from = [0_u8; KEYS];
        for to in 0..KEYS {
            for (k, old) in best.iter().enumerate() {
                let sum = old - change(k, to);
                if sum > next[to] {
                    next[to] = sum;
                    from[to] = k as u8;
                }
            }
            next[to] += here[to];
        }
        best = next;
        came.push(from);
    }
    let mut key = (0..KEYS)
        .max_by(|&a, &b| best[a].total_cmp(&best[b]))
        .unwrap_or(0);
    let mut path = vec![0; value.len()];
    for unit in (0..value.len()).rev() {
        path[unit] = key;
        key = usize::from(came[unit][key]);
    }
    path
}
