//! The partials of one sustained note, and the stiff string that makes them.
//!
//! Input: mono samples of a note after its strike, and about where it lies. Output: [`Partial`]s, then a [`StiffString`].
//! Units: hertz, cents, dBFS (a full-scale sine has 0 dB).
//! Method: a Hann-windowed FFT; a peak stands where a steady sine would (see `spectrum/peak.rs`). Then `f_n = n f_0 sqrt(1 + B n^2)`: for each B of a fine grid the best f_0 is
//! the weighted median of what the partials say, and B is the one with the least sum of absolute deviations, drawn towards what is
//! typical of the key (F. Rigaud, B. David, L. Daudet, JASA 133, 2013, fit f_0 and B jointly with such a prior).
//! Limits: with fewer than four partials, as in the top octave, B is little more than the typical value.

use crate::spectrum::peak::offset_of_sine;
use crate::spectrum::window::PowerSpectrum;
use crate::units::{Cents, Dbfs, SampleRate};

/// Partials looked for: beyond, they are too faint, or crowd.
pub const MOST_PARTIALS: usize = 30;
/// Above this nothing is left at the internal rate.
const HIGHEST_HZ: f64 = 10_400.0;
/// A partial lies within this many cents of where the string so far puts it.
const SEARCH_CENTS: f64 = 28.0;
/// The first partials are looked for more widely: the piano may be out of tune.
const FIRST_SEARCH_CENTS: f64 = 45.0;
/// A partial stands this far (dB) above the median of what lies around it.
const ABOVE_NOISE_DB: f64 = 12.0;
/// A partial this far (dB) below the strongest is left out.
const FAINTEST_DB: f64 = 75.0;
/// Natural logarithm of the factor by which B usually differs from the typical one.
const TYPICAL_SPREAD: f64 = 0.7;
/// Error of a partial's place that is taken for granted, in cents.
const PLACE_ERROR_CENTS: f64 = 1.0;
/// Power of a full-scale sine summed over its largest Hann bin and the two beside it.
const THREE_BINS: f64 = 1.5;

/// One partial of a note.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Partial {
    /// Its number, 1 for the fundamental.
    pub number: u32,
    /// Its frequency.
    pub hertz: f64,
    /// Its level.
    pub level: Dbfs,
}

/// A string by its pitch and stiffness: `f_n = n f_0 sqrt(1 + B n^2)`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StiffString {
    /// f_0, in hertz.
    pub f0: f64,
    /// B, without unit.
    pub stiffness: f64,
    /// Mean distance of the partials from the string, in cents.
    pub spread_cents: f64,
}

impl StiffString {
    /// A string whose first partial is at `first` hertz.
    pub fn with_first_partial(first: f64, stiffness: f64) -> Self {
        Self {
            f0: first / (1.0 + stiffness).sqrt(),
            stiffness,
            spread_cents: 0.0,
        }
    }

    /// Frequency of partial `n`, in hertz.
    pub fn partial(&self, n: f64) -> f64 {
        n * self.f0 * (1.0 + self.stiffness * n * n).sqrt()
    }
}

/// Finds the partials of the note in `sound` and the string that fits them.
///
/// `typical` says about where the string lies; what lies so near to a partial of `others` that it may be theirs is left out. `None` if too little stands out of the noise.
pub fn fit_note(
    sound: &[f32],
    typical: StiffString,
    others: &[StiffString],
) -> Option<(StiffString, Vec<Partial>)> {
    let length = window_for(typical.partial(1.0), sound.len())?;
    let mut spectrum = PowerSpectrum::new(length);
    let power = spectrum.process(&sound[..length]);
    let bin_hz = f64::from(SampleRate::INTERNAL.get()) / length as f64;
    let mut string = typical;
    let mut partials: Vec<Partial> = Vec::new();
    let mut asked = 0;
    for number in 1..=MOST_PARTIALS as u32 {
        let expected = string.partial(f64::from(number));
        if expected > HIGHEST_HZ {
            break;
        }
        // what another string may have moved or drowned
        let reach = (expected * (Cents::measured(SEARCH_CENTS).ratio() - 1.0)).max(2.5 * bin_hz);
        let shared = others.iter().any(|other| {
            (1..=2 * MOST_PARTIALS as u32)
                .any(|n| (other.partial(f64::from(n)) - expected).abs() < reach)
        });
        if shared {
            continue;
        }
        asked += 1;
        let reach = if partials.len() < 3 {
            FIRST_SEARCH_CENTS
        } else {
            SEARCH_CENTS
        };
        if let Some(partial) = peak_near(power, bin_hz, number, expected, reach) {
            partials.push(partial);
            if partials.len() >= 2 {
                string = fit(&partials, typical)?;
            }
        }
    }
    let strongest = loudest(&partials);
    partials.retain(|p| p.level.get() > strongest - FAINTEST_DB);
    // a bass note shows most of its partials, a treble note its first
    if partials.is_empty() || partials.len() < asked.min(3) {
        return None;
    }
    let string = fit(&partials, typical)?;
    partials.retain(|p| {
        let off = Cents::of_ratio(p.hertz / string.partial(f64::from(p.number)));
        off.get().abs() < SEARCH_CENTS
    });
    Some((string, partials))
}

/// The longest window that the note's length allows, as far as longer ones still tell more.
fn window_for(first_partial: f64, samples: usize) -> Option<usize> {
    let wanted = match first_partial {
        f if f < 350.0 => 32_768,
        f if f < 1400.0 => 16_384,
        _ => 8_192,
    };
    [wanted, wanted / 2, wanted / 4]
        .into_iter()
        .find(|&length| length <= samples && length >= 4_096)
}

/// The strongest peak within `reach` cents of `expected`.
fn peak_near(
    power: &[f32],
    bin_hz: f64,
    number: u32,
    expected: f64,
    reach: f64,
) -> Option<Partial> {
    let away = Cents::measured(reach).ratio();
    let centre = expected / bin_hz;
    let first = ((centre / away).floor() as usize)
        .min((centre - 1.5) as usize)
        .max(2);
    let last = ((centre * away).ceil() as usize).max((centre + 1.5) as usize);
    if last + 2 >= power.len() {
        return None;
    }
    let at = (first..=last)
        .filter(|&k| power[k] >= power[k - 1] && power[k] > power[k + 1])
        .max_by(|&a, &b| power[a].total_cmp(&power[b]))?;
    let db = |power: f64| 10.0 * power.max(1e-20).log10();
    let here = db(f64::from(power[at]));
    // the noise: the median around, half way to the neighbouring partials
    let around = (0.35 * expected / f64::from(number) / bin_hz).max(6.0) as usize;
    let mut beside: Vec<f32> = (at.saturating_sub(around)..(at + around).min(power.len()))
        .filter(|k| k.abs_diff(at) > 3)
        .map(|k| power[k])
        .collect();
    beside.sort_by(f32::total_cmp);
    let noise = beside.get(beside.len() / 2).copied().unwrap_or(0.0);
    if here < db(f64::from(noise)) + ABOVE_NOISE_DB {
        return None;
    }
    let delta = offset_of_sine([at - 1, at, at + 1].map(|k| f64::from(power[k]).sqrt()));
    let sum = [at - 1, at, at + 1]
        .iter()
        .map(|&k| f64::from(power[k]))
        .sum::<f64>();
    Some(Partial {
        number,
        hertz: (at as f64 + delta.clamp(-0.6, 0.6)) * bin_hz,
        // half the square of its amplitude is the mean square of a sine
        level: Dbfs::from_mean_square(sum / THREE_BINS / 2.0),
    })
}

/// The stiff string nearest to the partials; `None` for no partials.
fn fit(partials: &[Partial], typical: StiffString) -> Option<StiffString> {
    let strongest = loudest(partials);
    // a partial 40 dB below the strongest counts a quarter: its place is less sure
    let weight = |p: &Partial| (1.0 + (strongest - p.level.get()) / 13.0).recip().max(0.1);
    let cost_at = |log_ratio: f64| {
        let stiffness = typical.stiffness * log_ratio.exp();
        let mut says: Vec<(f64, f64)> = partials
            .iter()
            .map(|p| {
                let n = f64::from(p.number);
                let f0 = p.hertz / n / (1.0 + stiffness * n * n).sqrt();
                (Cents::of_ratio(f0 / typical.f0).get(), weight(p))
            })
            .collect();
        let middle = weighted_median(&mut says)?;
        let total: f64 = says.iter().map(|s| s.1).sum();
        let away: f64 = says.iter().map(|s| s.1 * (s.0 - middle).abs()).sum();
        let prior = 0.5 * (log_ratio / TYPICAL_SPREAD).powi(2);
        Some((
            away / PLACE_ERROR_CENTS + prior,
            StiffString {
                f0: typical.f0 * Cents::measured(middle).ratio(),
                stiffness,
                spread_cents: away / total,
            },
        ))
    };
    let mut best: Option<(f64, StiffString)> = None;
    for step in -120..=120 {
        let candidate = cost_at(f64::from(step) * 0.02)?;
        if best.is_none_or(|best| candidate.0 < best.0) {
            best = Some(candidate);
        }
    }
    best.map(|(_, string)| string)
}

/// Of (value, weight) pairs, the value at which half the weight lies below, between the two that bracket it; sorts them.
fn weighted_median(pairs: &mut [(f64, f64)]) -> Option<f64> {
    pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
    let half = pairs.iter().map(|p| p.1).sum::<f64>() / 2.0;
    let mut below = 0.0;
    for (i, &(value, weight)) in pairs.iter().enumerate() {
        let reached = below + weight;
        if reached > half + 1e-9 {
            return Some(value);
        }
        if reached > half - 1e-9 {
            return Some(0.5 * (value + pairs.get(i + 1).map_or(value, |next| next.0)));
        }
        below = reached;
    }
    None
}

/// The level of the strongest partial, in dBFS.
pub(super) fn loudest<'a>(partials: impl IntoIterator<Item = &'a Partial>) -> f64 {
    let levels = partials.into_iter().map(|partial| partial.level.get());
    levels.fold(f64::MIN, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two seconds of a string struck softly, its partials falling by 3 dB each.
    fn played(string: StiffString, partials: u32) -> Vec<f32> {
        let rate = f64::from(SampleRate::INTERNAL.get());
        (0..44_100)
            .map(|i| {
                let t = f64::from(i) / rate;
                let sum: f64 = (1..=partials)
                    .map(|n| {
                        let f = string.partial(f64::from(n));
                        0.1 * 10f64.powf(-0.15 * f64::from(n))
                            * (-0.8 * t * f64::from(n).sqrt()).exp()
                            * (std::f64::consts::TAU * f * t + f64::from(n)).sin()
                    })
                    .sum();
                sum as f32
            })
            .collect()
    }

    #[test]
    fn pitch_and_stiffness_of_a_string_are_found_from_afar() {
        for (first, stiffness) in [(110.0, 2.1e-4), (262.9, 6.0e-4), (55.7, 0.9e-4)] {
            let truth = StiffString::with_first_partial(first, stiffness);
            let typical =
                StiffString::with_first_partial(first * Cents::measured(15.0).ratio(), 3.5e-4);
            let (found, partials) = fit_note(&played(truth, 14), typical, &[]).unwrap();
            let off = Cents::of_ratio(found.partial(1.0) / truth.partial(1.0)).get();
            assert!(off.abs() < 0.5, "{first} Hz: {off} cents");
            let ratio = found.stiffness / stiffness;
            assert!((0.93..1.07).contains(&ratio), "{first} Hz: B times {ratio}");
            assert!(partials.len() >= 12, "{}", partials.len());
        }
    }

    #[test]
    fn a_string_is_read_beneath_the_octave_that_sounds_with_it() {
        let low = StiffString::with_first_partial(130.8, 2.0e-4);
        let high = StiffString::with_first_partial(263.5, 4.0e-4);
        let both: Vec<f32> = played(low, 12)
            .iter()
            .zip(played(high, 12))
            .map(|(a, b)| a + b)
            .collect();
        let (found, partials) = fit_note(&both, low, &[high]).unwrap();
        assert!(
            Cents::of_ratio(found.partial(1.0) / 130.8).get().abs() < 0.5,
            "{found:?}"
        );
        assert!(partials.iter().all(|p| p.number != 2), "{partials:?}");
    }

    #[test]
    fn noise_is_no_string() {
        let mut random = fastrand::Rng::with_seed(3);
        let noise: Vec<f32> = (0..44_100).map(|_| random.f32() - 0.5).collect();
        let typical = StiffString::with_first_partial(220.0, 3e-4);
        assert_eq!(fit_note(&noise, typical, &[]), None);
    }
}
