//! From a pass over the keys to a profile.
//!
//! Input: a [`Lesson`]: the sound of the pass, and which key was heard when. Output: a [`PianoProfile`].
//! Units: times in [`SamplePos`]s at the internal rate. Method: strikes of one moment are one chord; each key's note is measured
//! from 60 ms after its strike to its end or the next strike, and partials shared with other keys that sound are left out. Of
//! several strikes of a key the one that was heard best counts.
//! Limits: a key that was heard as another cannot be told apart where its sound fits both; decay and beats are told of single notes only.

use super::beating::{Beating, find_beating};
use super::decay::{Decay, fit_decay};
use super::partials::{Partial, StiffString, fit_note, loudest};
use super::profile::{KeyProfile, PianoProfile, SCHEMA};
use crate::spectrum::stiffness::inharmonicity;
use crate::spectrum::{Analyser, HOP_SAMPLES, LOG_BINS, LONG_WINDOW_SAMPLES, SpectrumFrame};
use crate::units::{Cents, Hertz, MidiNote, SamplePos, hundredths};
use std::collections::BTreeMap;

/// Strikes within this time are one chord (120 ms).
const TOGETHER: u64 = 2646;
/// Left out after a strike (60 ms: the hammer's thump) and before the end (30 ms: the damper, and the time of judging).
const AFTER_STRIKE: u64 = 1323;
const BEFORE_END: u64 = 662;
/// More of a note (3.5 s) tells nothing new.
const LONGEST: u64 = 77_175;
/// A note struck before that ends within this time (0.5 s) of the strike leaves it alone.
const RINGS_ON: u64 = 11_025;
/// The spectrum is the mean over this long (1.2 s), of windows that lie in the note as a whole.
const SUSTAINED: u64 = 26_460;
/// Half steps from a key to the keys at its partials, where a ghost may be heard.
const PARTIAL_KEYS: [i16; 6] = [12, 19, 24, 28, 31, 36];
/// A key heard with less than these log-odds at another's partial is its ghost (0.985 likely: 0.9 in the mean of its frames).
const GHOST_LOG_ODDS: f64 = 4.2;
/// A note whose lower partials all hide among those of others is not measured: what is left above may be another's.
const HIGHEST_LOWEST_PARTIAL: u32 = 4;
/// A key farther (cents) from its place, or a string that fits worse, was heard wrongly.
const FARTHEST_CENTS: f64 = 60.0;
const WORST_SPREAD_CENTS: f64 = 8.0;
/// Sound between the partials that comes this near (dB) to them belongs to the key an octave below.
const OCTAVE_BELOW_DB: f64 = -18.0;

/// A key that was heard in the pass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Strike {
    /// The key.
    pub midi: MidiNote,
    /// When it was struck.
    pub start: SamplePos,
    /// When it was let go or lost.
    pub end: SamplePos,
    /// How surely it was heard: log-odds of the note's confidence.
    pub log_odds: f64,
}

/// A pass over the keys.
#[derive(Debug, Clone, PartialEq)]
pub struct Lesson {
    /// The sound, mono at the internal rate.
    pub samples: Vec<f32>,
    /// The keys that were heard.
    pub strikes: Vec<Strike>,
    /// Frequency of A4 on which the pass as a whole agrees.
    pub a4: Hertz,
}

/// Why nothing could be learned.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("no key could be measured")]
pub struct NothingLearned;

/// Measures every key that was heard.
///
/// # Errors
/// If none could be measured.
pub fn learn(name: &str, lesson: &Lesson) -> Result<PianoProfile, NothingLearned> {
    let mut best: BTreeMap<MidiNote, KeyProfile> = BTreeMap::new();
    let chords = chords(&lesson.strikes);
    for (index, chord) in chords.iter().enumerate() {
        let next = chords.get(index + 1).map(|next| next[0].start);
        for strike in chord {
            let Some(mut key) = measure(lesson, strike, next) else {
                continue;
            };
            let earlier = best.get(&strike.midi);
            key.strikes = earlier.map_or(1, |earlier| earlier.strikes + 1);
            if earlier.is_none_or(|earlier| key.own_log_odds >= earlier.own_log_odds) {
                best.insert(strike.midi, key);
            } else if let Some(earlier) = best.get_mut(&strike.midi) {
                earlier.strikes += 1;
            }
        }
    }
    if best.is_empty() {
        return Err(NothingLearned);
    }
    Ok(PianoProfile {
        schema: SCHEMA.to_owned(),
        name: name.to_owned(),
        a4: lesson.a4,
        keys: best.into_values().collect(),
    })
}

/// The strikes by moment, without ghosts.
fn chords(strikes: &[Strike]) -> Vec<Vec<Strike>> {
    let mut strikes = strikes.to_vec();
    strikes.sort_by_key(|strike| (strike.start, strike.midi));
    let mut chords: Vec<Vec<Strike>> = Vec::new();
    for strike in strikes {
        match chords.last_mut() {
            Some(chord) if strike.start.get() - chord[0].start.get() <= TOGETHER => {
                chord.push(strike)
            }
            _ => chords.push(vec![strike]),
        }
    }
    for chord in &mut chords {
        let all = chord.clone();
        chord.retain(|strike| !all.iter().any(|other| is_ghost(strike, other)));
    }
    chords
}

/// Whether `strike` is rather a part of `other`: less sure, and at one of its partials or gone in half its time.
fn is_ghost(strike: &Strike, other: &Strike) -> bool {
    let length = |strike: &Strike| strike.end.get().saturating_sub(strike.start.get());
    strike.log_odds < GHOST_LOG_ODDS
        && strike.log_odds < other.log_odds
        && (PARTIAL_KEYS.contains(&(strike.midi - other.midi).0)
            || 2 * length(strike) < length(other))
}

fn measure(lesson: &Lesson, strike: &Strike, next: Option<SamplePos>) -> Option<KeyProfile> {
    let start = strike.start.get() + AFTER_STRIKE;
    let end = next
        .map_or(strike.end.get(), |next| strike.end.get().min(next.get()))
        .saturating_sub(BEFORE_END)
        .min(start + LONGEST)
        .min(lesson.samples.len() as u64);
    let sound = lesson.samples.get(start as usize..end as usize)?;
    let typical = typical_string(strike.midi, lesson.a4);
    let sounding_with_it: Vec<&Strike> = lesson
        .strikes
        .iter()
        .filter(|other| other.midi != strike.midi && !is_ghost(other, strike))
        .filter(|other| other.start.get() < end && other.end.get() > start)
        .collect();
    let others: Vec<StiffString> = sounding_with_it
        .iter()
        .map(|other| typical_string(other.midi, lesson.a4))
        .collect();
    let (string, partials) = fit_note(sound, typical, &others)?;
    if partials.first()?.number > HIGHEST_LOWEST_PARTIAL {
        return None;
    }
    let tempered = strike.midi.frequency(lesson.a4).get();
    let off = Cents::of_ratio(string.partial(1.0) / tempered).get();
    if off.abs() > FARTHEST_CENTS || string.spread_cents > WORST_SPREAD_CENTS {
        return None;
    }
    // what was struck before may ring into its first moments
    let alone = sounding_with_it
        .iter()
        .all(|other| other.start < strike.start && other.end.get() < start + RINGS_ON);
    if alone && sounds_an_octave_below(sound, string, &partials) {
        return None;
    }
    let strongest = loudest(&partials);
    let mut partials_db = vec![None; partials.last()?.number as usize];
    for partial in &partials {
        partials_db[partial.number as usize - 1] = Some(tenths(strongest - partial.level.get()));
    }
    Some(KeyProfile {
        midi: strike.midi,
        cents: hundredths(off),
        stiffness: (string.stiffness * 1e7).round() / 1e7,
        decay: alone.then(|| rounded_decay(sound)).flatten(),
        partials_db,
        spectrum_db: alone
            .then(|| sustained_spectrum(lesson, start, end))
            .flatten(),
        beating: alone.then(|| rounded_beating(sound, string)).flatten(),
        own_log_odds: hundredths(strike.log_odds),
        strikes: 1,
    })
}

/// The mean of the long window's magnitudes over a note heard alone, in dB below the strongest row; `None` of a note too short for it.
fn sustained_spectrum(lesson: &Lesson, start: u64, end: u64) -> Option<Vec<u8>> {
    let end = end.min(start + SUSTAINED);
    let sound = lesson.samples.get(start as usize..end as usize)?;
    let mut analyser = Analyser::new(lesson.a4);
    let mut frame = SpectrumFrame::default();
    let (mut rest, mut heard, mut sum) = (sound, 0, [0.0; LOG_BINS]);
    while analyser.next_frame(&mut rest, &mut frame) {
        heard += HOP_SAMPLES;
        if heard >= LONG_WINDOW_SAMPLES {
            sum.iter_mut().zip(&frame.long).for_each(|(s, m)| *s += m);
        }
    }
    let strongest = sum.iter().copied().fold(0.0, f32::max);
    let below = |magnitude: &f32| (20.0 * (strongest / magnitude.max(1e-12)).log10()).round();
    (strongest > 0.0).then(|| {
        sum.iter()
            .map(|m| below(m).clamp(0.0, 255.0) as u8)
            .collect()
    })
}

/// Whether there is as much sound half way between the partials as an octave below would bring.
fn sounds_an_octave_below(sound: &[f32], string: StiffString, partials: &[Partial]) -> bool {
    let below = StiffString {
        f0: string.f0 / 2.0,
        stiffness: string.stiffness / 4.0,
        ..string
    };
    if below.partial(1.0) < 27.0 {
        return false;
    }
    let Some((_, with_octave)) = fit_note(sound, below, &[]) else {
        return false;
    };
    let between = with_octave
        .iter()
        .filter(|p| p.number % 2 == 1 && p.number < 9);
    loudest(between) > loudest(partials) + OCTAVE_BELOW_DB
}

fn typical_string(midi: MidiNote, a4: Hertz) -> StiffString {
    StiffString::with_first_partial(
        midi.frequency(a4).get(),
        inharmonicity(f64::from(midi.get())),
    )
}

/// Kept with the digits that mean something.
fn rounded_decay(sound: &[f32]) -> Option<Decay> {
    fit_decay(sound).map(|decay| Decay {
        early: hundredths(decay.early),
        late: hundredths(decay.late),
        turns: hundredths(decay.turns),
    })
}

fn rounded_beating(sound: &[f32], string: StiffString) -> Option<Beating> {
    find_beating(sound, string).map(|beating| Beating {
        cents: tenths(beating.cents),
        depth_db: tenths(beating.depth_db),
    })
}

fn tenths(x: f64) -> f64 {
    (x * 10.0).round() / 10.0
}
