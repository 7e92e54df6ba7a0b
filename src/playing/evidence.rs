//! Evidence: what every short stretch of time tells of the harmony.
//!
//! Input: notes, strikes, beats. Output: `Unit`s without gaps. Units: seconds; weights without a unit, about 1 for a full beat of chord.
//! Method: our own: time is cut at beats and half beats, or at strikes where the beat is not sure; each note weighs by being struck and by
//! lasting, less where it is melody or passing (chord tones, passing and neighbour notes as taught: Piston, Harmony, 1941, ch. 8).
//! Limits: borders of harmony lie on this grid.

use super::PlayedNote;
use super::beats::BeatTrack;
use super::strikes::Strike;

/// The weights of notes. Set on `performances.jsonl.gz` and the scenes of `training/playing_scenes.py`, from a first guess one by one.
#[derive(Debug, Clone, Copy)]
pub struct NoteWeights {
    /// Of being struck.
    pub struck: f32,
    /// Of lasting one beat.
    pub lasting: f32,
    /// Power of the strength: softer notes count little less, since inner voices are soft.
    pub strength_power: f32,
    /// Factor of the highest voice: a melody may leave the chord.
    pub melody: f32,
    /// Factor of a short note of the highest voice that is left by step.
    pub passing: f32,
    /// Factor of the lowest voice on weak places: a walking bass passes.
    pub walking: f32,
    /// Ringing notes lose half of their weight in so many seconds.
    pub half_life: f32,
}

impl Default for NoteWeights {
    fn default() -> Self {
        Self {
            struck: 0.5,
            lasting: 0.4,
            strength_power: 0.3,
            melody: 0.44,
            passing: 0.4,
            walking: 0.45,
            half_life: 1.0,
        }
    }
}

/// What a border between two units is to the beat.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum BeatPlace {
    /// A beat, by its number among the beats.
    Beat(usize),
    /// Between two beats.
    Between,
    /// The beat is not known here: a strike.
    Strike,
}

/// A short stretch of time.
#[derive(Debug, Clone)]
pub(crate) struct Unit {
    pub start: f64,
    pub end: f64,
    pub place: BeatPlace,
    /// Weight of every pitch class.
    pub classes: [f32; 12],
    /// The lowest note struck in it, with its weight: `(midi, weight)`.
    pub bass: Option<(u8, f32)>,
    /// The lowest note that sounds in it at all.
    pub lowest: Option<u8>,
    /// How much of it is the lowest voice's.
    pub low: [f32; 12],
    /// Weight of notes that are a single line in steps.
    pub run: f32,
    /// True if nothing sounds.
    pub silent: bool,
    /// Notes that begin in it: a range of indices.
    pub first: usize,
    pub last: usize,
}

/// Notes struck this little before a border belong to what begins there (s).
const EARLY: f64 = 0.07;
/// Share of a unit that a note from before must last to be its lowest.
const STAYS: f64 = 0.5;
/// Strikes nearer than this are one border where the beat is not known (s).
const APART: f64 = 0.14;
/// A beat this sure carries the grid.
const SURE_BEAT: f32 = 0.5;
/// A beat where none is known (s).
const NOMINAL_BEAT: f64 = 0.6;

/// Cuts time into units and weighs the notes in each.
pub(crate) fn units(
    notes: &[PlayedNote],
    strikes: &[Strike],
    beats: &BeatTrack,
    melody: &[bool],
    weights: &NoteWeights,
) -> Vec<Unit> {
    let (Some(first), Some(last)) = (strikes.first(), strikes.last()) else {
        return Vec::new();
    };
    let end = notes
        .iter()
        .map(|n| n.end.get())
        .fold(last.time + 0.2, f64::max);
    let borders = borders(strikes, beats, first.time, end);
    let mut units: Vec<Unit> = borders
        .windows(2)
        .map(|pair| Unit {
            start: pair[0].0,
            end: pair[1].0,
            place: pair[0].1,
            classes: [0.0; 12],
            low: [0.0; 12],
            bass: None,
            lowest: None,
            run: 0.0,
            silent: true,
            first: 0,
            last: 0,
        })
        .collect();
    for unit in &mut units {
        unit.first = notes.partition_point(|n| n.start.get() < unit.start - EARLY);
        unit.last = notes.partition_point(|n| n.start.get() < unit.end - EARLY);
    }
    let beat = beat_length(beats);
    for (i, note) in notes.iter().enumerate() {
        let start = note.start.get() + EARLY;
        let at = units.partition_point(|u| u.end <= start);
        if at >= units.len() {
            continue;
        }
        let class = usize::from(note.midi.get() % 12);
        let sure = note.confidence.get();
        let strength = note.strength.get().max(0.05).powf(weights.strength_power);
        let mut factor = sure * strength;
        let lowest = is_lowest(notes, i);
        let stepwise = melody[i] && leaves_by_step(notes, i, beat);
        if melody[i] {
            factor *= weights.melody;
            if stepwise {
                factor *= weights.passing;
            }
        } else if !matches!(units[at].place, BeatPlace::Beat(_)) && lowest {
            factor *= weights.walking;
        }
        let alone = lone(notes, i);
        let end = note.end.get().max(note.start.get() + 0.05);
        for (nth, unit) in units[at..].iter_mut().enumerate() {
            if unit.start >= end - EARLY && nth > 0 {
                break;
            }
            let from = unit.start.max(note.start.get());
            let lasts = (unit.end.min(end) - from).max(0.0);
            let age = (from - note.start.get()).max(0.0) as f32;
            let rings = 0.5_f32.powf(age / weights.half_life);
            let mut weight = weights.lasting * (lasts / beat) as f32 * rings;
            if nth == 0 {
                weight += weights.struck;
                if unit.bass.is_none_or(|b| b.0 > note.midi.get()) {
                    unit.bass = Some((note.midi.get(), factor));
                }
            }
            weight *= factor;
            unit.classes[class] += weight;
            if lowest {
                unit.low[class] += weight;
            }
            if alone {
                unit.run += weight;
            }
            unit.silent = false;
            // what only rings over from the chord before is no bass
            let stays = nth == 0 || end - from >= STAYS * (unit.end - unit.start).max(0.5 * beat);
            if stays && unit.lowest.is_none_or(|l| l > note.midi.get()) {
                unit.lowest = Some(note.midi.get());
            }
        }
    }
    units
}

/// The usual length of a beat (s).
pub(crate) fn beat_length(beats: &BeatTrack) -> f64 {
    let mut steps: Vec<f64> = beats
        .beats
        .windows(2)
        .map(|p| p[1].time - p[0].time)
        .collect();
    steps.sort_by(f64::total_cmp);
    steps.get(steps.len() / 2).copied().unwrap_or(NOMINAL_BEAT)
}

fn borders(strikes: &[Strike], beats: &BeatTrack, first: f64, end: f64) -> Vec<(f64, BeatPlace)> {
    let mut borders: Vec<(f64, BeatPlace)> = Vec::new();
    let half = f64::from(beats.second_eighth.unwrap_or(0.5));
    let list = &beats.beats;
    for (i, beat) in list.iter().enumerate() {
        if beat.confidence < SURE_BEAT {
            continue;
        }
        borders.push((beat.time, BeatPlace::Beat(i)));
        if let Some(next) = list.get(i + 1) {
            borders.push((
                beat.time + half * (next.time - beat.time),
                BeatPlace::Between,
            ));
        }
    }
    // Where no beat is known, strikes are the grid.
    let beat = beat_length(beats);
    let mut free: Vec<(f64, BeatPlace)> = Vec::new();
    for strike in strikes {
        let at = borders.partition_point(|b| b.0 <= strike.time + EARLY);
        let within = at > 0 && at < borders.len() && borders[at].0 - borders[at - 1].0 < 1.2 * beat;
        let near = at > 0 && strike.time - borders[at - 1].0 < 0.6 * beat;
        if !within && !near && free.last().is_none_or(|f| strike.time - f.0 >= APART) {
            free.push((strike.time, BeatPlace::Strike));
        }
    }
    borders.extend(free);
    borders.sort_by(|a, b| a.0.total_cmp(&b.0));
    borders.retain(|b| b.0 < end);
    if borders.first().is_none_or(|b| b.0 > first + EARLY) {
        borders.insert(0, (first, BeatPlace::Strike));
    }
    borders.push((end, BeatPlace::Strike));
    filled(&borders, beat)
}

/// What is struck freely and rings on counts for as long as it does, as under a beat: after the first beat cut at half beats.
fn filled(borders: &[(f64, BeatPlace)], beat: f64) -> Vec<(f64, BeatPlace)> {
    let mut out = Vec::with_capacity(borders.len());
    for (nth, &(time, place)) in borders.iter().enumerate() {
        out.push((time, place));
        let Some(next) = borders.get(nth + 1) else {
            break;
        };
        if place == BeatPlace::Strike {
            let halves = (2..).map(|half| time + 0.5 * beat * f64::from(half));
            let between = halves.take_while(|&at| at < next.0 - 0.25 * beat);
            out.extend(between.map(|at| (at, BeatPlace::Between)));
        }
    }
    out
}

/// True if the note is short and the next note of the highest voice lies a step away.
fn leaves_by_step(notes: &[PlayedNote], i: usize, beat: f64) -> bool {
    let note = &notes[i];
    notes[i + 1..]
        .iter()
        .take_while(|n| n.start.get() < note.start.get() + 0.75 * beat)
        .any(|n| {
            n.start.get() > note.start.get() + 0.06
                && (1..=2).contains(&(n.midi - note.midi).0.abs())
        })
}

/// True if no lower note sounds when this one is struck.
fn is_lowest(notes: &[PlayedNote], i: usize) -> bool {
    let note = &notes[i];
    around(notes, i).all(|n| n.midi >= note.midi)
}

/// True if nothing else but its octaves sounds while it begins, and its neighbours lie a step away.
fn lone(notes: &[PlayedNote], i: usize) -> bool {
    let note = &notes[i];
    let class = note.midi.get() % 12;
    let alone = around(notes, i).all(|n| n.midi.get() % 12 == class);
    let step = |n: Option<&PlayedNote>| {
        n.is_some_and(|n| {
            let apart = (n.midi - note.midi).0.abs() % 12;
            (1..=2).contains(&apart) || (10..=11).contains(&apart)
        })
    };
    let before = notes[..i]
        .iter()
        .rev()
        .find(|n| n.start.get() < note.start.get() - 0.05);
    let after = notes[i + 1..]
        .iter()
        .find(|n| n.start.get() > note.start.get() + 0.05);
    alone && (step(before) || step(after))
}

/// The other notes that sound while note `i` begins.
fn around(notes: &[PlayedNote], i: usize) -> impl Iterator<Item = &PlayedNote> {
    let note = &notes[i];
    let (from, to) = (note.start.get(), note.start.get() + 0.05);
    let first = i.saturating_sub(24);
    notes[first..]
        .iter()
        .enumerate()
        .take_while(move |(_, n)| n.start.get() <= to)
        .filter(move |(j, n)| first + j != i && n.end.get() > from + 0.05)
        .map(|(_, n)| n)
}

/// Which notes are the highest voice: nothing higher sounds when they are struck, and something lower does, or they go on from the last note of that voice.
pub(crate) fn melody(notes: &[PlayedNote]) -> Vec<bool> {
    let mut last: Option<u8> = None;
    (0..notes.len())
        .map(|i| {
            let midi = notes[i].midi;
            let mut lower = false;
            for other in around(notes, i) {
                if other.midi > midi {
                    return false;
                }
                lower = true;
            }
            let goes_on = last.is_some_and(|l| l.abs_diff(midi.get()) <= FARTHEST_LEAP);
            let highest = goes_on || (lower && last.is_none_or(|l| midi.get() + OCTAVE > l));
            if highest {
                last = Some(midi.get());
            }
            highest
        })
        .collect()
}

/// Farthest that a melody goes on without something below it, in half steps: a sixth.
const FARTHEST_LEAP: u8 = 9;
/// A note an octave or more below the last of the melody is not its next.
const OCTAVE: u8 = 12;
