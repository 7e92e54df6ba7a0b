//! Beats: where a listener would tap.
//!
//! Input: `Strike`s. Output: beat times with confidence, and where the second eighth falls. Units: seconds, beats per minute, shares 0 to 1.
//! Method: dynamic programming over strikes that trades their weight against steady steps (Ellis, J. New Music Research 36, 2007); the tempo
//! by a comb of lags over the distances between strikes with a prior on tempo, in windows whose path is the best one (as in a tempogram:
//! Grosche and Mueller, IEEE Trans. ASLP 19, 2011), so that it may drift. The metrical level is chosen among multiples by what lies on and between beats (`level`).
//! Limits: a change of tempo within one window is found late; ornaments count as strikes.

use super::PlayedNote;
use super::level;
use super::strikes::{Strike, StrikeWeights};

/// One beat.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Beat {
    /// When, in seconds from the start.
    pub time: f64,
    /// How sure it is, 0 to 1.
    pub confidence: f32,
}

/// What was found of the beat.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct BeatTrack {
    /// The beats by time; empty where the playing is free.
    pub beats: Vec<Beat>,
    /// How sure the beat is over all, 0 to 1.
    pub confidence: f32,
    /// Where the second eighth falls between two beats, where eighths are played: 0.5 is even, 0.67 a triplet.
    pub second_eighth: Option<f32>,
}

impl BeatTrack {
    /// True where eighths are swung.
    pub fn swings(&self) -> bool {
        self.second_eighth.is_some_and(is_swung)
    }
}

/// True where a second eighth that falls at `place` between two beats is swung.
pub fn is_swung(place: f32) -> bool {
    place >= SWUNG
}

/// From here on eighths are swung: even ones played by hand stay below.
const SWUNG: f32 = 0.545;

/// The weights of the beat tracker. Set on `performances.jsonl.gz` and the scenes of `training/playing_scenes.py`, by hand from a first guess
/// (Ellis 2007 for tightness, the published preferred tempo of 80 to 120 a minute for the prior), then one by one.
#[derive(Debug, Clone, Copy)]
pub struct BeatTuning {
    /// The tempo that is likeliest before anything is heard (beats per minute).
    pub usual_bpm: f64,
    /// Width of the prior in octaves (standard deviation).
    pub bpm_octaves: f64,
    /// What a step that is a fifth too long or short costs, times 30, beside strikes of mean weight 1.
    pub tightness: f64,
    /// How much the lags 1 to 4 of the comb count.
    pub comb: [f64; 4],
    /// Length of a window of the tempo (s): long enough for two bars.
    pub window: f64,
    /// What a change of tempo by one per cent a second costs.
    pub drift: f64,
    /// How many beats must meet a strike, of four, before the beat is believed.
    pub least_met: f32,
}

impl Default for BeatTuning {
    fn default() -> Self {
        Self {
            usual_bpm: 92.0,
            bpm_octaves: 0.6,
            tightness: 6.0,
            comb: [1.0, 1.0, 0.3, 1.0],
            window: 12.0,
            drift: 0.15,
            least_met: 0.5,
        }
    }
}

/// Fewer strikes have no beat.
const FEWEST_STRIKES: usize = 8;
/// Slowest and fastest beat that is looked for (beats per minute).
const SLOWEST: f64 = 40.0;
const FASTEST: f64 = 216.0;
/// Tempi lie this much apart: 2 per cent.
const TEMPO_STEP: f64 = 1.02;
/// Half width of a meeting between beat and strike (s): the published tolerance of beat tracking is 70 ms.
pub(crate) const MEETS: f64 = 0.07;
/// Human timing around the beat (s, standard deviation of both strikes of a pair).
const TIMING: f64 = 0.03;
/// Cells of lag and time (s).
const CELL: f64 = 0.01;

/// The beats of `strikes` between 0 and `length` seconds; `bpm` where the user states it.
pub(crate) fn track(
    notes: &[PlayedNote],
    strikes: &[Strike],
    length: f64,
    bpm: Option<f64>,
    tuning: &BeatTuning,
) -> BeatTrack {
    if strikes.len() < FEWEST_STRIKES {
        return BeatTrack::default();
    }
    let periods = tempo_path(strikes, length, bpm, tuning);
    let ways = match bpm {
        Some(_) => vec![beat_times(strikes, length, &periods, tuning)],
        None => ways_to_count(strikes, length, &periods, tuning),
    };
    let best = match bpm {
        Some(_) => Some(0),
        None => level::best(&ways, strikes, notes),
    };
    let times = best
        .and_then(|i| ways.into_iter().nth(i))
        .unwrap_or_default();
    judged(times, strikes, tuning)
}

/// A way to count.
#[derive(Debug, Clone, PartialEq)]
pub struct Way {
    /// The times of its beats (s).
    pub times: Vec<f64>,
    /// What tells it from the others.
    pub features: [f64; level::FEATURES],
}

/// The ways to count that are chosen from, for fitting the weights of that choice.
pub fn ways(notes: &[PlayedNote]) -> Vec<Way> {
    let length = notes.iter().map(|n| n.end.get()).fold(0.0, f64::max);
    let strikes = super::strikes::strikes(notes, StrikeWeights::default());
    let tuning = BeatTuning::default();
    if strikes.len() < FEWEST_STRIKES {
        return Vec::new();
    }
    let periods = tempo_path(&strikes, length, None, &tuning);
    ways_to_count(&strikes, length, &periods, &tuning)
        .into_iter()
        .filter_map(|times| {
            let features = level::features(&times, &strikes, notes)?;
            Some(Way { times, features })
        })
        .collect()
}

/// The beats at the tempo that was found, at twice and at half of it, and every second of these.
fn ways_to_count(
    strikes: &[Strike],
    length: f64,
    periods: &Periods,
    tuning: &BeatTuning,
) -> Vec<Vec<f64>> {
    let mut ways: Vec<Vec<f64>> = [0.5, 1.0, 2.0]
        .iter()
        .map(|&level| beat_times(strikes, length, &periods.times(level), tuning))
        .collect();
    for whole in [0, 1] {
        for first in [0, 1] {
            ways.push(ways[whole].iter().copied().skip(first).step_by(2).collect());
        }
    }
    ways
}

/// The periods that are considered (s).
fn tempi() -> Vec<f64> {
    let mut tempi = Vec::new();
    let mut bpm = SLOWEST;
    while bpm <= FASTEST {
        tempi.push(60.0 / bpm);
        bpm *= TEMPO_STEP;
    }
    tempi
}

/// The period of the beat (s) in windows, each at the middle of its window.
struct Periods {
    /// The middle of the first window (s).
    begins: f64,
    hop: f64,
    at: Vec<f64>,
}

impl Periods {
    /// The same at another level: `level` times as long.
    fn times(&self, level: f64) -> Self {
        Self {
            begins: self.begins,
            hop: self.hop,
            at: self.at.iter().map(|p| p * level).collect(),
        }
    }

    /// The period around `time`.
    fn around(&self, time: f64) -> f64 {
        let place = ((time - self.begins) / self.hop).round().max(0.0) as usize;
        self.at[place.min(self.at.len() - 1)]
    }
}

fn tempo_path(strikes: &[Strike], length: f64, bpm: Option<f64>, tuning: &BeatTuning) -> Periods {
    let tempi = tempi();
    let hop = tuning.window / 4.0;
    // whole steps before the first strike that its window holds: a passage of a long recording costs what it lasts
    let begins = ((strikes[0].time - tuning.window) / hop).floor().max(0.0) * hop;
    let count = ((length - begins) / hop).ceil().max(0.0) as usize + 1;
    let prior: Vec<f64> = tempi
        .iter()
        .map(|&period| {
            let said = bpm.unwrap_or(tuning.usual_bpm);
            let octaves = (60.0 / period / said).log2();
            // a stated tempo is kept to within some per cent
            let width = if bpm.is_some() {
                0.06
            } else {
                tuning.bpm_octaves
            };
            -0.5 * (octaves / width).powi(2)
        })
        .collect();
    let mut best: Vec<f64> = Vec::new();
    let mut came: Vec<Vec<u16>> = Vec::with_capacity(count);
    for window in 0..count {
        let middle = begins + window as f64 * hop;
        let here = comb(strikes, middle, &tempi, tuning);
        let mut next = vec![f64::NEG_INFINITY; tempi.len()];
        let mut from = vec![0_u16; tempi.len()];
        for (i, value) in next.iter_mut().enumerate() {
            if window == 0 {
                *value = 0.0;
            } else {
                for (j, &old) in best.iter().enumerate() {
                    let steps = i.abs_diff(j) as f64;
                    // beyond a third the change is a leap to another level: as dear as any
                    let change = (tuning.drift * steps * 2.0).min(3.0);
                    if old - change > *value {
                        *value = old - change;
                        from[i] = j as u16;
                    }
                }
            }
            *value += here[i] + prior[i] * 0.25;
        }
        best = next;
        came.push(from);
    }
    let mut at = vec![0.0; count];
    let mut tempo = (0..tempi.len())
        .max_by(|&a, &b| best[a].total_cmp(&best[b]))
        .unwrap_or(0);
    for window in (0..count).rev() {
        at[window] = tempi[tempo];
        tempo = came[window][tempo] as usize;
    }
    Periods { begins, hop, at }
}

/// How well each period fits the distances between the strikes around `middle`: log-odds-like, 0 where nothing is struck.
fn comb(strikes: &[Strike], middle: f64, tempi: &[f64], tuning: &BeatTuning) -> Vec<f64> {
    let half = tuning.window / 2.0;
    let first = strikes.partition_point(|s| s.time < middle - half);
    let end = strikes.partition_point(|s| s.time <= middle + half);
    let within = &strikes[first..end];
    let cells = (6.2 / CELL) as usize;
    let mut lags = vec![0.0_f64; cells];
    let mut energy = 1e-9;
    for (i, a) in within.iter().enumerate() {
        energy += a.weight * a.weight;
        for b in &within[i + 1..] {
            let cell = ((b.time - a.time) / CELL).round() as usize;
            if cell >= cells {
                break;
            }
            lags[cell] += a.weight * b.weight;
        }
    }
    // Timing blurs distances; the window makes long ones rarer.
    let reach = (3.0 * TIMING / CELL) as usize;
    let kernel: Vec<f64> = (0..=reach)
        .map(|i| (-0.5 * (i as f64 * CELL / TIMING).powi(2)).exp())
        .collect();
    let blurred: Vec<f64> = (0..cells)
        .map(|c| {
            let mut sum = lags[c];
            for (i, k) in kernel.iter().enumerate().skip(1) {
                sum += k
                    * (lags.get(c + i).copied().unwrap_or(0.0)
                        + if c >= i { lags[c - i] } else { 0.0 });
            }
            sum / energy / (1.0 - (c as f64 * CELL / tuning.window).min(0.8))
        })
        .collect();
    let at = |lag: f64| {
        let place = lag / CELL;
        let cell = place as usize;
        let share = place - cell as f64;
        match (blurred.get(cell), blurred.get(cell + 1)) {
            (Some(a), Some(b)) => a * (1.0 - share) + b * share,
            _ => 0.0,
        }
    };
    let total: f64 = tuning.comb.iter().sum();
    tempi
        .iter()
        .map(|&period| {
            let sum: f64 = tuning
                .comb
                .iter()
                .enumerate()
                .map(|(k, weight)| weight * at(period * (k + 1) as f64))
                .sum();
            4.0 * sum / total
        })
        .collect()
}

/// Beats by dynamic programming over cells of time (Ellis 2007, eq. 2), the first of them where the periods begin.
fn beat_times(strikes: &[Strike], length: f64, periods: &Periods, tuning: &BeatTuning) -> Vec<f64> {
    let last = strikes.last().map_or(0.0, |s| s.time).min(length);
    let begins = periods.begins;
    let cells = ((last - begins + 0.2) / CELL).ceil().max(0.0) as usize + 1;
    let mean = strikes.iter().map(|s| s.weight).sum::<f64>() / strikes.len() as f64;
    let mut strength = vec![0.0_f64; cells];
    let width = 0.02;
    for strike in strikes {
        let middle = ((strike.time - begins) / CELL).round() as isize;
        for offset in -6_isize..=6 {
            let cell = middle + offset;
            if cell >= 0 && (cell as usize) < cells {
                let apart = begins + cell as f64 * CELL - strike.time;
                strength[cell as usize] +=
                    strike.weight / mean * (-0.5 * (apart / width).powi(2)).exp();
            }
        }
    }
    let mut score = vec![0.0_f64; cells];
    // steps back in cells; 0 where the count begins
    let mut before = vec![0_u16; cells];
    for cell in 0..cells {
        let period = periods.around(begins + cell as f64 * CELL) / CELL;
        let nearest = (period / 1.8).max(1.0) as usize;
        let farthest = (period * 1.8) as usize;
        let mut best = 0.0;
        for step in nearest..=farthest.min(cell) {
            let off = (step as f64 / period).ln();
            let value = score[cell - step] - tuning.tightness * 30.0 * off * off;
            if value > best {
                best = value;
                before[cell] = step as u16;
            }
        }
        score[cell] = strength[cell] + best;
    }
    // The last beat: the best within the last period.
    let period = periods.around(last) / CELL;
    let from = cells.saturating_sub(period as usize + 1);
    let Some(mut cell) = (from..cells).max_by(|&a, &b| score[a].total_cmp(&score[b])) else {
        return Vec::new();
    };
    let mut times = Vec::new();
    loop {
        times.push(begins + cell as f64 * CELL);
        if before[cell] == 0 {
            break;
        }
        cell -= usize::from(before[cell]);
    }
    times.reverse();
    // Beats before the first strike were not played.
    let began = strikes[0].time - MEETS;
    times.retain(|&t| t >= began);
    times
}

/// Confidence of every beat: how many of the beats around it meet a strike; beats that are not believed are left out.
fn judged(times: Vec<f64>, strikes: &[Strike], tuning: &BeatTuning) -> BeatTrack {
    let nearest = |time: f64| {
        let at = strikes.partition_point(|s| s.time < time);
        [at.checked_sub(1), Some(at)]
            .into_iter()
            .flatten()
            .filter_map(|i| strikes.get(i))
            .min_by(|a, b| (a.time - time).abs().total_cmp(&(b.time - time).abs()))
            .filter(|s| (s.time - time).abs() <= MEETS)
    };
    let met: Vec<f32> = times
        .iter()
        .map(|&t| if nearest(t).is_some() { 1.0 } else { 0.0 })
        .collect();
    let beats: Vec<Beat> = times
        .iter()
        .enumerate()
        .map(|(i, &time)| {
            let (from, to) = (i.saturating_sub(4), (i + 5).min(met.len()));
            let around = &met[from..to];
            Beat {
                time,
                confidence: around.iter().sum::<f32>() / around.len() as f32,
            }
        })
        .collect();
    let confidence = beats.iter().map(|b| b.confidence).sum::<f32>() / beats.len().max(1) as f32;
    let second_eighth = second_eighth(&times, strikes);
    BeatTrack {
        beats: if confidence >= tuning.least_met {
            beats
        } else {
            Vec::new()
        },
        confidence,
        second_eighth,
    }
}

/// The median place of strikes in the middle third between two beats.
fn second_eighth(times: &[f64], strikes: &[Strike]) -> Option<f32> {
    let mut places: Vec<f32> = Vec::new();
    for pair in times.windows(2) {
        let from = strikes.partition_point(|s| s.time < pair[0]);
        for strike in strikes[from..].iter().take_while(|s| s.time < pair[1]) {
            let place = (strike.time - pair[0]) / (pair[1] - pair[0]);
            if (0.4..0.76).contains(&place) {
                places.push(place as f32);
            }
        }
    }
    if places.len() < 4 {
        return None;
    }
    places.sort_by(f32::total_cmp);
    Some(places[places.len() / 2])
}
