//! The pitch of the piano: how far its A4 stands from where we look, found from the sound and followed.
//!
//! Input: the long window's power spectrum, a hop at a time. Output: the frequency of A4 with a confidence, or nothing yet.
//! Units: hertz and cents. Range: within [`REACH_CENTS`] of the pitch it started from (425 to 455 Hz around 440).
//! Method: peaks of the spectrum that have the shape of a steady sine under a Hann window and have stood still for a
//! while; upper partials that are no octaves of a lower peak's are left out, the octaves are corrected for the string's
//! stiffness; what is left is gathered modulo a semitone in a histogram that forgets, whose mode is the offset. The
//! position of a peak is that of a single sine (see `spectrum/peak.rs`).
//! Limits: an offset is known modulo a semitone only: a piano 60 cents low reads as 40 high unless started near it.
//! Real pianos are stretched, so that two players' registers may differ by some cents.

use super::peak::{offset_of_sine, share_above};
use super::stiffness::{inharmonicity, partial_stretch};
use super::window::PowerSpectrum;
use super::{HOP_SAMPLES, LONG_WINDOW_SAMPLES};
use crate::units::{Cents, Hertz, SampleRate, Share};

/// How far from its start the follower goes: 440 Hz -> 424.5 to 456 Hz.
pub const REACH_CENTS: f64 = 62.0;

const BIN_HZ: f64 = SampleRate::INTERNAL.get() as f64 / LONG_WINDOW_SAMPLES as f64;
/// Peaks are looked at every fourth frame (93 ms): neighbouring long windows share most of their samples.
const HOPS_A_LOOK: usize = 4;
const LOOKS_A_SECOND: f64 = SampleRate::INTERNAL.get() as f64 / (HOP_SAMPLES * HOPS_A_LOOK) as f64;
/// Below this a bin is too wide in cents; peaks down to [`LOWEST_ROOT_HZ`] are still known as roots of partials.
const LOWEST_HZ: f64 = 100.0;
/// Above this partials crowd and stretch.
const HIGHEST_HZ: f64 = 2500.0;
const LOWEST_ROOT_HZ: f64 = 40.0;
/// At most so many peaks a look, the strongest first.
const MOST_PEAKS: usize = 40;
/// Peaks weaker than this beside the strongest (-50 dB) are left out.
const FAINTEST: f32 = 1e-5;
/// Peaks below this power (-90 dBFS) are noise of the converter.
const SILENT: f32 = 1e-9;
/// A steady sine's neighbours stand where the Hann kernel says, within this share of the peak.
const SHAPE_TOLERANCE: f32 = 0.12;
/// Mains hum stands still at multiples of these and is no piano.
const MAINS_HZ: [f64; 2] = [50.0, 60.0];
/// So near to a multiple a peak counts as hum.
const HUM_WIDTH_HZ: f64 = 0.3;
/// A steady peak moves less than this from look to look (in FFT bins; 0.1 is 1 cent at 440 Hz).
const STILL_BINS: f64 = 0.1;
/// One cell a cent.
const CELLS: usize = 100;
/// Spread of one peak over the cells (cents): unisons, stretch and the error of the peak's place.
const SPREAD_CENTS: f64 = 5.0;
/// The histogram forgets with this time constant of sounding (seconds).
const MEMORY_SECONDS: f64 = 8.0;
/// Share of the weight within [`NEAR_CENTS`] of the mode, above which the mode is trusted.
const TRUSTED: f64 = 0.5;
const NEAR_CENTS: f64 = 12.0;
/// So much weight must have come in (about a second of a held chord).
const ENOUGH: f64 = 20.0;
/// The follower lets the pitch be within this of the estimate (cents).
const DEAD_ZONE_CENTS: f64 = 1.5;
/// Beyond the dead zone it closes the gap with this time constant (seconds).
const FOLLOW_SECONDS: f64 = 2.0;

/// A pitch of A4 found in sound.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TuningEstimate {
    /// Frequency of A4.
    pub a4: Hertz,
    /// Share of the tonal sound that agrees with it; 0.24 says nothing (all offsets alike), 0.9 is a piano in tune with itself.
    pub confidence: Share,
}

/// A tonal peak: where it stands and how strong it is.
#[derive(Debug, Clone, Copy, Default)]
struct Peak {
    /// Position in FFT bins.
    bin: f64,
    power: f32,
}

/// Finds and follows the pitch of A4 through a stream of frames.
pub struct TuningFollower {
    start: Hertz,
    hops: usize,
    peaks: Vec<Peak>,
    before: Vec<Peak>,
    /// Weight of tonal sound by offset from `start`, modulo a semitone; cell c holds c cents.
    histogram: [f64; CELLS],
    /// Smoothing kernel by distance in cells, twice round, so that any cell's is one stretch of it.
    kernel: [f64; 2 * CELLS],
    /// Offset from `start` in cents, once known.
    offset_cents: Option<f64>,
}

impl TuningFollower {
    /// Starts from the pitch that is expected; all memory is taken here.
    pub fn new(start: Hertz) -> Self {
        let kernel = std::array::from_fn(|cell| {
            let distance = wrapped(cell as f64) / SPREAD_CENTS;
            (-0.5 * distance * distance).exp()
        });
        Self {
            start,
            hops: 0,
            peaks: Vec::with_capacity(MOST_PEAKS),
            before: Vec::with_capacity(MOST_PEAKS),
            histogram: [0.0; CELLS],
            kernel,
            offset_cents: None,
        }
    }

    /// Starts with a pitch already found, for instance by [`estimate_a4`].
    pub fn starting_from(start: Hertz, found: Hertz) -> Self {
        let mut follower = Self::new(start);
        follower.offset_cents = Some(found.cents_above(start).get());
        follower
    }

    /// Hears the next frame: its long window's power spectrum ([`super::Analyser::long_power`]). Allocates nothing.
    ///
    /// # Panics
    /// If `power` is not the long window's.
    pub fn step(&mut self, power: &[f32]) {
        assert_eq!(
            power.len(),
            LONG_WINDOW_SAMPLES / 2 + 1,
            "the long window's power spectrum"
        );
        self.hops += 1;
        if self.hops.is_multiple_of(HOPS_A_LOOK) {
            self.look(power);
        }
    }

    fn look(&mut self, power: &[f32]) {
        std::mem::swap(&mut self.peaks, &mut self.before);
        find_peaks(power, &mut self.peaks);
        if self.gather() {
            self.follow();
        }
    }

    /// The pitch of A4 as followed so far: moves smoothly; `None` until enough tonal sound has agreed.
    pub fn a4(&self) -> Option<Hertz> {
        self.offset_cents.map(|cents| self.raised(cents))
    }

    /// The pitch of A4 at which the tonal sound of the last seconds agrees best; `None` until there was enough of it.
    pub fn estimate(&self) -> Option<TuningEstimate> {
        self.mode().map(|(cents, confidence)| TuningEstimate {
            a4: self.raised(cents),
            confidence: Share::clamped(confidence as f32),
        })
    }

    fn raised(&self, cents: f64) -> Hertz {
        self.start
            .raised_by(Cents::new(cents).unwrap_or(Cents::ZERO))
    }

    /// Adds what stood still since the last look to the histogram; says whether there was anything.
    fn gather(&mut self) -> bool {
        let strongest = self.peaks.iter().map(|p| p.power).fold(0.0, f32::max);
        let mut heard = false;
        let forget = (-1.0 / (LOOKS_A_SECOND * MEMORY_SECONDS)).exp();
        for i in 0..self.peaks.len() {
            let peak = self.peaks[i];
            let hertz = peak.bin * BIN_HZ;
            let still = self
                .before
                .iter()
                .any(|b| (b.bin - peak.bin).abs() < STILL_BINS);
            if !still || is_hum(hertz) || !(LOWEST_HZ..=HIGHEST_HZ).contains(&hertz) {
                continue;
            }
            let Some(stretch_cents) = self.stretch_as_partial(peak) else {
                continue;
            };
            if !heard {
                heard = true;
                self.histogram.iter_mut().for_each(|cell| *cell *= forget);
            }
            // The fourth root of power, so that one loud note does not outvote a chord; less where a bin is many cents wide.
            let weight = f64::from((peak.power / strongest).powf(0.25)) * (hertz / 400.0).min(1.0);
            let above = Cents::of_ratio(hertz / self.start.get()).get() - stretch_cents;
            self.histogram[(above.round() as i64).rem_euclid(CELLS as i64) as usize] += weight;
        }
        heard
    }

    /// How many cents stiffness raises this peak, if it can be a note's fundamental, second or fourth partial; `None` if it
    /// rather is the third, fifth, sixth, seventh .. partial of a peak below, which stands beside the tempered scale.
    fn stretch_as_partial(&self, peak: Peak) -> Option<f64> {
        let hertz = peak.bin * BIN_HZ;
        let mut stretch_cents = 0.0;
        for n in 2..=10_u32 {
            let root = hertz / f64::from(n);
            if root < LOWEST_ROOT_HZ {
                break;
            }
            let midi = 69.0 + 12.0 * (root / self.start.get()).log2();
            let stretch = partial_stretch(f64::from(n), inharmonicity(midi));
            let root_bin = peak.bin / f64::from(n) / stretch;
            let found = self
                .peaks
                .iter()
                .any(|p| (p.bin - root_bin).abs() < 0.35 && p.power > 0.03 * peak.power);
            match (found, n.is_power_of_two()) {
                (true, false) => return None,
                (true, true) => stretch_cents = Cents::of_ratio(stretch).get(),
                (false, _) => {}
            }
        }
        Some(stretch_cents)
    }

    /// The offset from the start in cents, nearest to the present one, and the share of the weight near it.
    fn mode(&self) -> Option<(f64, f64)> {
        let total: f64 = self.histogram.iter().sum();
        if total < ENOUGH {
            return None;
        }
        let smoothed = |at: usize| -> f64 {
            // Four sums side by side, which turn into vector code.
            const { assert!(CELLS.is_multiple_of(4)) };
            let mut sums = [0.0; 4];
            let (weights, _) = self.histogram.as_chunks::<4>();
            let (kernel, _) = self.kernel[CELLS - at..].as_chunks::<4>();
            for (weights, kernel) in weights.iter().zip(kernel) {
                for (sum, (weight, share)) in sums.iter_mut().zip(weights.iter().zip(kernel)) {
                    *sum += weight * share;
                }
            }
            sums.iter().sum()
        };
        let (top, _) = (0..CELLS)
            .map(|c| (c, smoothed(c)))
            .fold((0, -1.0), |best, x| if x.1 > best.1 { x } else { best });
        let (mut near, mut moment) = (0.0, 0.0);
        for (c, &weight) in self.histogram.iter().enumerate() {
            let distance = wrapped(c as f64 - top as f64);
            if distance.abs() <= NEAR_CENTS {
                near += weight;
                moment += weight * distance;
            }
        }
        let present = self.offset_cents.unwrap_or(0.0);
        let cents = present + wrapped(top as f64 + moment / near - present);
        Some((cents, near / total))
    }

    fn follow(&mut self) {
        let Some((cents, confidence)) = self.mode() else {
            return;
        };
        if confidence < TRUSTED {
            return;
        }
        let Some(present) = self.offset_cents else {
            self.offset_cents = Some(cents);
            return;
        };
        let gap = cents - present;
        if gap.abs() > DEAD_ZONE_CENTS {
            let step = gap / (LOOKS_A_SECOND * FOLLOW_SECONDS);
            self.offset_cents = Some((present + step).clamp(-REACH_CENTS, REACH_CENTS));
        }
    }
}

/// The pitch of A4 in the beginning of a recording: hears all of `samples` (mono, at [`SampleRate::INTERNAL`]) and says at
/// which pitch within half a semitone of `start` its tonal sound agrees; `None` if there is too little of it or no agreement.
pub fn estimate_a4(samples: &[f32], start: Hertz) -> Option<TuningEstimate> {
    let mut spectrum = PowerSpectrum::new(LONG_WINDOW_SAMPLES);
    let mut window = vec![0.0; LONG_WINDOW_SAMPLES];
    let mut follower = TuningFollower::new(start);
    for step in samples.chunks_exact(HOP_SAMPLES * HOPS_A_LOOK) {
        window.copy_within(step.len().., 0);
        window[LONG_WINDOW_SAMPLES - step.len()..].copy_from_slice(step);
        follower.look(spectrum.process(&window));
    }
    follower
        .estimate()
        .filter(|estimate| f64::from(estimate.confidence.get()) >= TRUSTED)
}

/// Brought to -50 .. 50 cents by whole semitones.
pub(crate) fn wrapped(cents: f64) -> f64 {
    cents - 100.0 * (cents / 100.0).round()
}

/// Whether a steady peak may be mains hum.
fn is_hum(hertz: f64) -> bool {
    MAINS_HZ
        .iter()
        .any(|&mains| (hertz - mains * (hertz / mains).round()).abs() < HUM_WIDTH_HZ)
}

/// Local maxima of the spectrum that have the shape of one steady sine, the strongest [`MOST_PEAKS`] of them.
fn find_peaks(power: &[f32], peaks: &mut Vec<Peak>) {
    peaks.clear();
    let lowest = (LOWEST_ROOT_HZ / BIN_HZ) as usize;
    let highest = (HIGHEST_HZ / BIN_HZ) as usize;
    let strongest = power[lowest..=highest].iter().copied().fold(0.0, f32::max);
    let threshold = (strongest * FAINTEST).max(SILENT);
    for k in lowest..=highest {
        let (below, here, above) = (power[k - 1], power[k], power[k + 1]);
        if here < threshold || here < below || here <= above {
            continue;
        }
        let (below, centre, above) = (below.sqrt(), here.sqrt(), above.sqrt());
        let delta = offset_of_sine([below, centre, above]);
        if (above / centre - share_above(delta)).abs() > SHAPE_TOLERANCE {
            continue;
        }
        let peak = Peak {
            bin: k as f64 + f64::from(delta),
            power: here,
        };
        if peaks.len() < MOST_PEAKS {
            peaks.push(peak);
        } else if let Some(weakest) = peaks.iter_mut().min_by(|a, b| a.power.total_cmp(&b.power))
            && weakest.power < here
        {
            *weakest = peak;
        }
    }
}
