//! The whole keyboard from the keys that were played.
//!
//! Input: a [`PianoProfile`]. Output: where the fundamental and the partials of all 88 keys lie, and what is amiss.
//! Units: cents from equal temperament at the profile's A4; stiffness B without unit.
//! Method: tuning: a robust local line over nine keys either side (LOWESS: W. S. Cleveland, JASA 74, 1979), since a tuned piano is
//! stretched smoothly. Stiffness: the learned keys' factors over the typical curve of two asymptotes (Rigaud, David, Daudet, JASA
//! 133, 2013), spread to their neighbours, and beyond them their mean.
//! Limits: of fewer than five learned keys no curve is drawn and none is called off pitch.

use super::profile::PianoProfile;
use crate::spectrum::stiffness::inharmonicity;
use crate::units::{MidiNote, PIANO_KEYS};

/// Keys either side that shape the curve at a key.
const REACH: f64 = 9.0;
/// Learned keys that make a curve.
const ENOUGH: usize = 5;
/// A key this far (cents) beside the curve is off pitch: beyond what a tuner leaves and the measurement errs by.
const OFF_PITCH_CENTS: f64 = 7.0;
/// Unisons this far (cents) apart are told.
const BEATING_CENTS: f64 = 1.5;
/// Keys over which a learned key's stiffness tells of its neighbours'.
const STIFFNESS_REACH: f64 = 4.0;

/// Where the strings of every key lie, by piano index.
#[derive(Debug, Clone, PartialEq)]
pub struct KeyPlaces {
    /// The first partial's distance from equal temperament, in cents.
    pub cents: [f64; PIANO_KEYS],
    /// Stiffness B.
    pub stiffness: [f64; PIANO_KEYS],
}

impl KeyPlaces {
    /// Of the piano that was learned.
    pub fn of(profile: &PianoProfile) -> Self {
        let curve = stretch_curve(profile);
        let known: Vec<(f64, f64)> = profile
            .keys
            .iter()
            .filter_map(|key| {
                let index = key.midi.piano_index()?;
                let factor = (key.stiffness / typical_stiffness(index)).ln();
                Some((index as f64, factor))
            })
            .collect();
        let mean = known.iter().map(|k| k.1).sum::<f64>() / known.len().max(1) as f64;
        let mut places = Self {
            cents: std::array::from_fn(|index| curve.map_or(0.0, |curve| curve[index])),
            stiffness: std::array::from_fn(|index| {
                // the mean counts as much as a learned key two reaches away
                let (mut sum, mut weight) = (0.135 * mean, 0.135);
                for &(at, factor) in &known {
                    let near = (-0.5 * ((at - index as f64) / STIFFNESS_REACH).powi(2)).exp();
                    sum += near * factor;
                    weight += near;
                }
                typical_stiffness(index) * (sum / weight).exp()
            }),
        };
        for key in &profile.keys {
            if let Some(index) = key.midi.piano_index() {
                places.cents[index] = key.cents;
                places.stiffness[index] = key.stiffness;
            }
        }
        places
    }
}

/// Something a tuner should hear of.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Finding {
    /// The key lies this many cents above the curve of its neighbours.
    OffPitch {
        /// Which key.
        midi: MidiNote,
        /// How far, in cents; negative is flat.
        cents: f64,
    },
    /// Strings of the key are this many cents apart.
    Beating {
        /// Which key.
        midi: MidiNote,
        /// How far apart, in cents.
        cents: f64,
    },
}

/// Keys far off pitch and unisons that beat, by key.
pub fn findings(profile: &PianoProfile) -> Vec<Finding> {
    let curve = stretch_curve(profile);
    let mut found = Vec::new();
    for key in &profile.keys {
        let midi = key.midi;
        if let (Some(curve), Some(index)) = (curve, midi.piano_index()) {
            let cents = key.cents - curve[index];
            if cents.abs() >= OFF_PITCH_CENTS {
                found.push(Finding::OffPitch { midi, cents });
            }
        }
        if let Some(beating) = key.beating.filter(|b| b.cents >= BEATING_CENTS) {
            let cents = beating.cents;
            found.push(Finding::Beating { midi, cents });
        }
    }
    found
}

fn typical_stiffness(index: usize) -> f64 {
    inharmonicity(f64::from(MidiNote::from_piano_index(index).get()))
}

/// The smooth tuning of all keys; `None` of too few.
fn stretch_curve(profile: &PianoProfile) -> Option<[f64; PIANO_KEYS]> {
    let points: Vec<(f64, f64)> = profile
        .keys
        .iter()
        .filter_map(|key| Some((key.midi.piano_index()? as f64, key.cents)))
        .collect();
    if points.len() < ENOUGH {
        return None;
    }
    let mut trust = vec![1.0; points.len()];
    for _ in 0..4 {
        let off: Vec<f64> = points
            .iter()
            .map(|&(x, y)| y - local_line(&points, &trust, x))
            .collect();
        let mut sizes: Vec<f64> = off.iter().map(|o| o.abs()).collect();
        sizes.sort_by(f64::total_cmp);
        // six times the median, as in the paper, and never below what measuring errs by
        let limit = (6.0 * sizes[sizes.len() / 2]).max(OFF_PITCH_CENTS);
        for (trust, off) in trust.iter_mut().zip(&off) {
            *trust = (1.0 - (off / limit).powi(2)).max(0.0).powi(2);
        }
    }
    Some(std::array::from_fn(|index| {
        local_line(&points, &trust, index as f64)
    }))
}

/// The value at `x` of the line that fits the points around it, near ones counting most (tricube).
fn local_line(points: &[(f64, f64)], trust: &[f64], x: f64) -> f64 {
    let mut away: Vec<f64> = points.iter().map(|p| (p.0 - x).abs()).collect();
    away.sort_by(f64::total_cmp);
    // where few keys are known the reach grows until it holds enough of them
    let reach = REACH.max(1.01 * away[ENOUGH - 1] + 1.0);
    let mut sums = [0.0; 5];
    for (&(at, y), trust) in points.iter().zip(trust) {
        let d = (at - x) / reach;
        let weight = (1.0 - d.abs().powi(3)).max(0.0).powi(3) * trust.max(1e-3);
        let terms = [1.0, d, d * d, y, d * y];
        sums.iter_mut()
            .zip(terms)
            .for_each(|(sum, term)| *sum += weight * term);
    }
    let [w, wd, wdd, wy, wdy] = sums;
    // a little is added to the slope's square, so that keys all on one side do not tilt the line
    let wdd = wdd + 0.02 * w;
    (wdd * wy - wd * wdy) / (w * wdd - wd * wd)
}
