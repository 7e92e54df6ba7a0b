//! The spectrum of each key's sustained note on the log-frequency axis, from what was learned of its partials.
//!
//! Input: a [`PianoProfile`] and its [`KeyPlaces`]. Output: [`LOG_BINS`] magnitudes a key, for the long window.
//! Units: linear, each spectrum sums to 1; the axis stands on the piano's own A4.
//! Method: where the key or one near it was heard alone, as it was measured, moved by half steps. Elsewhere a partial is a line that the Hann window widens to `sin(pi d) / (pi d (1 - d^2))` at a distance of d FFT bins (Harris, Proc.
//! IEEE 66, 1978); lines add in power. Keys that were not learned take the levels of the nearest ones either side.
//! Limits: of keys that were not heard alone, the strike's thump and the wavering of partials are left out.

use super::keyboard::KeyPlaces;
use super::partials::StiffString;
use super::profile::{KeyProfile, PianoProfile};
use crate::spectrum::log_frequency::{BINS_PER_OCTAVE, LogFrequencyMap};
use crate::spectrum::{LOG_BINS, LONG_WINDOW_SAMPLES};
use crate::units::{Cents, Hertz, MidiNote, PIANO_KEYS, SampleRate};

/// FFT bins either side of a partial that its line reaches.
const LINE_BINS: i64 = 5;
/// A partial that did not stand out counts with this level below the strongest, in dB.
const UNSEEN_DB: f64 = 60.0;
/// Half steps over which a measured spectrum stands in for another key's.
const NEAR_KEYS: i16 = 5;

/// The spectra of all keys, by piano index.
pub fn of_all_keys(profile: &PianoProfile, places: &KeyPlaces) -> Vec<[f32; LOG_BINS]> {
    let map = LogFrequencyMap::new(LONG_WINDOW_SAMPLES, Hertz::CONCERT_A4);
    (0..PIANO_KEYS)
        .map(|index| {
            let midi = MidiNote::from_piano_index(index);
            if let Some(measured) = nearest_measured(profile, midi) {
                return measured;
            }
            let tempered = midi.frequency(Hertz::CONCERT_A4);
            let first = tempered
                .raised_by(Cents::measured(places.cents[index]))
                .get();
            let string = StiffString::with_first_partial(first, places.stiffness[index]);
            spectrum_of(string, &levels_of(profile, midi), &map)
        })
        .collect()
}

/// What was measured of the key, or else of the nearest ones either side, moved to the key; `None` if none is near.
fn nearest_measured(profile: &PianoProfile, midi: MidiNote) -> Option<[f32; LOG_BINS]> {
    let measured = profile
        .keys
        .iter()
        .filter(|key| (key.midi - midi).0.abs() <= NEAR_KEYS)
        .filter_map(|key| Some((key.midi, key.spectrum_db.as_deref()?)));
    let (mut below, mut above) = (None, None);
    for (key, rows) in measured {
        if key <= midi {
            below = Some((key, rows));
        }
        if key >= midi && above.is_none() {
            above = Some((key, rows));
        }
    }
    let mut sum = [0.0; LOG_BINS];
    for (key, rows) in [below, above].into_iter().flatten() {
        let by = i32::from((midi - key).0) * (BINS_PER_OCTAVE / 12) as i32;
        let moved = normalised(std::array::from_fn(|row| {
            let from = usize::try_from(row as i32 - by).ok();
            from.and_then(|from| rows.get(from))
                .map_or(0.0, |&db| 10f32.powf(-f32::from(db) / 20.0))
        }));
        sum.iter_mut().zip(moved).for_each(|(s, m)| *s += m);
    }
    (below.is_some() || above.is_some()).then(|| normalised(sum))
}

fn normalised(magnitudes: [f32; LOG_BINS]) -> [f32; LOG_BINS] {
    let sum: f32 = magnitudes.iter().sum::<f32>().max(1e-9);
    magnitudes.map(|m| m / sum)
}

/// Levels of the key's partials in dB below the strongest: its own, or the mean of the nearest learned keys either side.
fn levels_of(profile: &PianoProfile, midi: MidiNote) -> Vec<f64> {
    let below = profile.keys.iter().rfind(|key| key.midi <= midi);
    let above = profile.keys.iter().find(|key| key.midi >= midi);
    let level = |key: &KeyProfile, n: usize| {
        key.partials_db
            .get(n)
            .copied()
            .flatten()
            .unwrap_or(UNSEEN_DB)
    };
    let near: Vec<(&KeyProfile, f64)> = [below, above]
        .into_iter()
        .flatten()
        .map(|key| (key, 1.0 / (0.01 + f64::from((key.midi - midi).0.abs()))))
        .collect();
    let partials = near.iter().map(|(key, _)| key.partials_db.len()).max();
    let weight: f64 = near.iter().map(|(_, weight)| weight).sum();
    (0..partials.unwrap_or(0))
        .map(|n| near.iter().map(|(key, w)| w * level(key, n)).sum::<f64>() / weight)
        .collect()
}

fn spectrum_of(string: StiffString, levels_db: &[f64], map: &LogFrequencyMap) -> [f32; LOG_BINS] {
    let bin_hz = f64::from(SampleRate::INTERNAL.get()) / LONG_WINDOW_SAMPLES as f64;
    let mut power = vec![0.0_f32; LONG_WINDOW_SAMPLES / 2 + 1];
    for (n, db) in levels_db.iter().enumerate() {
        let at = string.partial(n as f64 + 1.0) / bin_hz;
        for k in at.round() as i64 - LINE_BINS..=at.round() as i64 + LINE_BINS {
            let Some(power) = usize::try_from(k).ok().and_then(|k| power.get_mut(k)) else {
                continue;
            };
            *power += (10f64.powf(-db / 10.0) * hann_line(k as f64 - at).powi(2)) as f32;
        }
    }
    let mut magnitudes = [0.0; LOG_BINS];
    map.apply(&power, &mut magnitudes);
    normalised(magnitudes)
}

/// `sin(pi d) / (pi d (1 - d^2))`, 1 at d = 0 and 1/2 at d = 1.
fn hann_line(d: f64) -> f64 {
    let near = |x: f64| x.abs() < 1e-6;
    if near(d) {
        1.0
    } else if near(d.abs() - 1.0) {
        0.5
    } else {
        let x = std::f64::consts::PI * d;
        x.sin() / (x * (1.0 - d * d))
    }
}
