//! A tune as the search for stand-ins sees it: chords with their place and length, and what is sung over each.
//!
//! Input: bars of chords, a melody counted in beats from the start. Output: [`Tune`]. Units: beats of the metre, as fractions; bars from 1.
//! Method: the chords of a bar share it evenly, whole beats first; a note that reaches over a change of chord is looked at over both.
//! Limits: no repeats (they are written out by whoever reads the chart).

use crate::harmony::chord::Chord;
use crate::harmony::pitch::Key;
use crate::units::MidiNote;

/// Where in the bar a note begins.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stress {
    /// The first beat; of four, the third too.
    Strong,
    /// Another beat.
    Weak,
    /// Between the beats.
    Off,
}

impl Stress {
    /// That of a place in the bar, in beats from its start.
    fn at(beat: f32, metre: u8) -> Self {
        const NEAR: f32 = 1e-3;
        let nearest = beat.round();
        if (beat - nearest).abs() > NEAR {
            Self::Off
        } else if nearest == 0.0 || metre.is_multiple_of(2) && nearest * 2.0 == f32::from(metre) {
            Self::Strong
        } else {
            Self::Weak
        }
    }

    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Strong => "strong beat",
            Self::Weak => "weak beat",
            Self::Off => "off the beat",
        }
    }
}

/// A melody note, as far as it sounds over one chord.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sung {
    /// The key.
    pub midi: MidiNote,
    /// Beats after the chord begins.
    pub at: f32,
    /// Beats it lasts over this chord.
    pub beats: f32,
    /// Where it begins.
    pub stress: Stress,
    /// True if it is entered and left by step: in passing.
    pub passing: bool,
}

/// A chord in its place.
#[derive(Debug, Clone, PartialEq)]
pub struct TuneChord {
    /// The chord.
    pub chord: Chord,
    /// The bar it begins in, from 1.
    pub bar: usize,
    /// Beats from the start of the tune.
    pub at: f32,
    /// Beats it lasts.
    pub beats: f32,
    /// What is sung over it.
    pub melody: Vec<Sung>,
}

/// How long a bar is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TuneBar {
    /// Its beats.
    pub beats: u8,
    /// The note that a beat is: 4 for a quarter.
    pub unit: u8,
}

impl TuneBar {
    /// So many quarters.
    pub const fn of_quarters(beats: u8) -> Self {
        Self { beats, unit: 4 }
    }
}

/// A melody note: its key, its start and its length in beats from the start of the tune.
pub type MelodyNote = (MidiNote, f32, f32);

/// Chords with their melody.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Tune {
    /// Its bars, in order.
    pub bars: Vec<TuneBar>,
    /// The melody, in time; each chord has what lies over it besides.
    pub melody: Vec<MelodyNote>,
    /// The chords, in time.
    pub chords: Vec<TuneChord>,
    /// The key, where it is stated.
    pub key: Option<Key>,
}

/// Why a tune cannot be put together.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum TuneError {
    /// A bar holds no chord.
    #[error("bar {bar} holds no chord; write one, or leave the bar out")]
    EmptyBar {
        /// From 1.
        bar: usize,
    },
    /// More chords than beats.
    #[error(
        "bar {bar} holds {chords} chords and only {beats} beats; give each chord a beat of its own"
    )]
    Crowded {
        /// From 1.
        bar: usize,
        /// How many chords.
        chords: usize,
        /// How many beats.
        beats: u8,
    },
    /// The melody goes on after the last chord.
    #[error(
        "the melody lasts {melody} beats and the chords {chords}; shorten the melody or add chords"
    )]
    MelodyTooLong {
        /// Beats of the melody.
        melody: f32,
        /// Beats of the chords.
        chords: f32,
    },
}

impl Tune {
    /// Bars of chords in a metre of `beats` a bar; the chords of a bar share it, the first ones getting what does not divide.
    ///
    /// # Errors
    /// If a bar is empty or has more chords than beats.
    pub fn of_bars(bars: &[Vec<Chord>], beats: u8, key: Option<Key>) -> Result<Self, TuneError> {
        let mut chords = Vec::new();
        for (nth, bar) in bars.iter().enumerate() {
            if bar.is_empty() {
                return Err(TuneError::EmptyBar { bar: nth + 1 });
            }
            if bar.len() > usize::from(beats) {
                return Err(TuneError::Crowded {
                    bar: nth + 1,
                    chords: bar.len(),
                    beats,
                });
            }
            let (each, more) = (
                usize::from(beats) / bar.len(),
                usize::from(beats) % bar.len(),
            );
            let mut at = (nth * usize::from(beats)) as f32;
            for (i, &chord) in bar.iter().enumerate() {
                let lasts = (each + usize::from(i < more)) as f32;
                chords.push(TuneChord {
                    chord,
                    bar: nth + 1,
                    at,
                    beats: lasts,
                    melody: Vec::new(),
                });
                at += lasts;
            }
        }
        Ok(Self {
            bars: vec![TuneBar::of_quarters(beats); bars.len()],
            melody: Vec::new(),
            chords,
            key,
        })
    }

    /// Beats it lasts.
    pub fn beats(&self) -> f32 {
        self.chords.last().map_or(0.0, |last| last.at + last.beats)
    }

    /// The bar at this many beats from the start, counted from 0, and where in it: beats from its beginning.
    pub fn place(&self, at: f32) -> (usize, f32) {
        place(&self.bars, at)
    }

    /// Lays a melody over it: notes with their start and length in beats from the start of the tune, in time.
    ///
    /// # Errors
    /// If the melody lasts longer than the chords.
    pub fn with_melody(mut self, notes: &[MelodyNote]) -> Result<Self, TuneError> {
        const STEP: u8 = 2;
        let ends = notes
            .iter()
            .map(|&(_, at, beats)| at + beats)
            .fold(0.0, f32::max);
        if ends > self.beats() + 1e-3 {
            return Err(TuneError::MelodyTooLong {
                melody: ends,
                chords: self.beats(),
            });
        }
        let step = |a: MidiNote, b: MidiNote| (1..=STEP).contains(&a.get().abs_diff(b.get()));
        for (i, &(midi, at, beats)) in notes.iter().enumerate() {
            let before = i.checked_sub(1).and_then(|b| notes.get(b));
            let by_step = |other: Option<&MelodyNote>| other.is_some_and(|n| step(n.0, midi));
            let passing = by_step(before) && by_step(notes.get(i + 1));
            let bars = &self.bars;
            for chord in &mut self.chords {
                let from = at.max(chord.at);
                let lasts = (at + beats).min(chord.at + chord.beats) - from;
                if lasts > 1e-3 {
                    let (bar, beat) = place(bars, from);
                    let metre = bars.get(bar).map_or(1, |bar| bar.beats);
                    chord.melody.push(Sung {
                        midi,
                        at: from - chord.at,
                        beats: lasts,
                        stress: Stress::at(beat, metre),
                        passing,
                    });
                }
            }
        }
        self.melody = notes.to_vec();
        Ok(self)
    }
}

/// The bar at this many beats, from 0, and the beat in it; after the last bar others like it follow.
fn place(bars: &[TuneBar], at: f32) -> (usize, f32) {
    const NEAR: f32 = 1e-3;
    let mut start = 0.0;
    for (nth, bar) in bars.iter().enumerate() {
        let beats = f32::from(bar.beats.max(1));
        if at < start + beats - NEAR {
            return (nth, (at - start).max(0.0));
        }
        if nth + 1 == bars.len() {
            let on = (at + NEAR - start).rem_euclid(beats) - NEAR;
            return (nth, on.max(0.0));
        }
        start += beats;
    }
    (0, at)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn chords(symbols: &[&str]) -> Vec<Chord> {
        symbols.iter().map(|s| s.parse().unwrap()).collect()
    }

    #[test]
    fn chords_share_a_bar_and_a_held_note_lies_over_both() {
        let bars = [chords(&["Dm7", "G7"]), chords(&["Cmaj7"])];
        let tune = Tune::of_bars(&bars, 3, None).unwrap();
        let places: Vec<(f32, f32)> = tune.chords.iter().map(|c| (c.at, c.beats)).collect();
        assert_eq!(places, [(0.0, 2.0), (2.0, 1.0), (3.0, 3.0)]);
        let c5 = MidiNote::new(72).unwrap();
        let tune = tune.with_melody(&[(c5, 1.0, 1.5)]).unwrap();
        assert_eq!(tune.chords[0].melody[0].beats, 1.0);
        assert_eq!(tune.chords[1].melody[0].beats, 0.5);
        assert_eq!(tune.chords[1].melody[0].stress, Stress::Weak);
        assert!(tune.chords[2].melody.is_empty());
    }

    #[test]
    fn what_does_not_fit_is_told_with_its_bar() {
        let told = |wrong: TuneError| wrong.to_string();
        let empty = Tune::of_bars(&[chords(&["C"]), vec![]], 4, None).unwrap_err();
        assert!(told(empty).starts_with("bar 2 holds no chord"));
        let crowded = Tune::of_bars(&[chords(&["C", "F", "G", "C"])], 3, None).unwrap_err();
        assert!(told(crowded).contains("4 chords and only 3 beats"));
        let tune = Tune::of_bars(&[chords(&["C"])], 4, None).unwrap();
        let long = tune
            .with_melody(&[(MidiNote::new(60).unwrap(), 3.0, 2.0)])
            .unwrap_err();
        assert!(told(long).starts_with("the melody lasts 5 beats and the chords 4"));
    }
}
