//! Tunes for the search of stand-ins: a typed chart, or a recording that was taken, as chords with lengths and what is sung over them.
//!
//! Input: a [`TypedChart`] and a typed melody, or a [`Recording`] document. Output: a [`Tune`]. Units: beats.
//! Method: changes keep their beats; a voicing is taken by its best name. Of a recording the harmony of what is played is taken where there is one,
//! else the held chords, each by its first name; beats are those that were heard, or half seconds where none are believed; the melody is that of its highest voice.
//! Limits: bars without a chord part what is around them no more than a rest would; one metre where there is a melody.

use super::document::Recording;
use super::melody::{MelodyError, read_melody};
use super::typed::{Bar, ChartChord, TypedChart};
use crate::harmony::standins::{MelodyNote, Tune, TuneBar, TuneChord, TuneError};
use crate::harmony::{Chord, Context, Key, Verdict, name_chord};
use crate::units::Seconds;

/// Why there is no tune.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NoTune {
    /// A voicing has no name to look for stand-ins by.
    #[error("bar {bar}: the voicing there has no good name; write a chord symbol in its place")]
    Unnamed {
        /// From 1.
        bar: usize,
    },
    /// No chord at all.
    #[error("there is no chord in it; stand-ins need at least one")]
    NoChords,
    /// A melody over bars of different lengths.
    #[error(
        "bar {bar} is in {metre} and bar 1 is not; a melody needs one metre throughout, so leave it out or write the parts apart"
    )]
    OtherMetre {
        /// From 1.
        bar: usize,
        /// Its metre.
        metre: String,
    },
    /// The melody cannot be read.
    #[error(transparent)]
    Melody(#[from] MelodyError),
    /// Melody and chords do not fit.
    #[error(transparent)]
    Tune(#[from] TuneError),
}

/// The tune of a typed chart in a stated key (else its own), with a typed melody if there is one.
///
/// # Errors
/// If a voicing has no name, there is no chord, or the melody cannot be read or does not fit.
pub fn tune_of_chart(
    chart: &TypedChart,
    melody: Option<&str>,
    key: Option<Key>,
) -> Result<Tune, NoTune> {
    let starts: Vec<f32> = chart
        .bars
        .iter()
        .scan(0.0, |at, bar| {
            let start = *at;
            *at += f32::from(bar.metre.beats);
            Some(start)
        })
        .collect();
    let mut chords = Vec::new();
    for change in chart.changes() {
        let bar = change.bar + 1;
        let chord = match change.chord {
            ChartChord::Silent => continue,
            ChartChord::Symbol(chord) => chord,
            ChartChord::Voicing(sounding) => {
                let naming = name_chord(&sounding, &Context::default());
                let best = naming
                    .names
                    .first()
                    .filter(|_| naming.verdict != Verdict::NoGoodName);
                best.ok_or(NoTune::Unnamed { bar })?.chord
            }
        };
        chords.push(TuneChord {
            chord,
            bar,
            at: starts.get(change.bar).copied().unwrap_or(0.0) + change.beat as f32,
            beats: change.beats as f32,
            melody: Vec::new(),
        });
    }
    if chords.is_empty() {
        return Err(NoTune::NoChords);
    }
    let bar = |bar: &Bar| TuneBar {
        beats: bar.metre.beats,
        unit: bar.metre.unit,
    };
    let tune = Tune {
        bars: chart.bars.iter().map(bar).collect(),
        melody: Vec::new(),
        chords,
        key: key.or(chart.key),
    };
    let (Some(melody), Some(first)) = (melody, chart.bars.first()) else {
        return Ok(tune);
    };
    if let Some((at, bar)) = chart
        .bars
        .iter()
        .enumerate()
        .find(|(_, bar)| bar.metre != first.metre)
    {
        return Err(NoTune::OtherMetre {
            bar: at + 1,
            metre: bar.metre.to_string(),
        });
    }
    let notes = read_melody(melody, first.metre.beats)?;
    Ok(tune.with_melody(&notes)?)
}

/// Seconds of a beat where none are believed.
const NO_BEATS: f64 = 0.5;
/// Beats of a bar where none are believed.
const NO_METRE: u8 = 4;

/// The tune of a recording that was taken, in a stated key.
///
/// # Errors
/// If no chord in it has a name.
pub fn tune_of_recording(recording: &Recording, key: Option<Key>) -> Result<Tune, NoTune> {
    let named = |text: Option<&String>| text.and_then(|ascii| ascii.parse::<Chord>().ok());
    let stretches: Vec<(Seconds, Seconds, Chord)> = match &recording.harmony {
        Some(harmony) => {
            let with_name = harmony
                .iter()
                .map(|h| (h.start, h.end, named(h.names.first().map(|n| &n.ascii))));
            with_name
                .filter_map(|(start, end, chord)| Some((start, end, chord?)))
                .collect()
        }
        None => {
            let good = recording
                .chords
                .iter()
                .filter(|c| c.verdict != Verdict::NoGoodName);
            let with_name =
                good.map(|c| (c.start, c.end, named(c.names.first().map(|n| &n.ascii))));
            with_name
                .filter_map(|(start, end, chord)| Some((start, end, chord?)))
                .collect()
        }
    };
    let clock = Clock::of(recording);
    let mut chords: Vec<TuneChord> = Vec::new();
    for (start, end, chord) in stretches {
        let (at, beats) = (clock.beat(start), clock.beat(end) - clock.beat(start));
        match chords.last_mut() {
            // A chord struck again is one chord.
            Some(last) if last.chord == chord => last.beats = at + beats - last.at,
            _ if beats > 0.0 => chords.push(TuneChord {
                chord,
                bar: (at / f32::from(clock.metre)) as usize + 1,
                at,
                beats,
                melody: Vec::new(),
            }),
            _ => {}
        }
    }
    let Some(end) = chords.last().map(|last| last.at + last.beats) else {
        return Err(NoTune::NoChords);
    };
    let melody: Vec<MelodyNote> = recording
        .melody
        .iter()
        .filter_map(|&nth| recording.notes.get(nth))
        .map(|note| {
            (
                note.midi,
                clock.beat(note.start),
                clock.beat(note.end).min(end),
            )
        })
        .filter(|&(_, at, to)| to > at)
        .map(|(midi, at, to)| (midi, at, to - at))
        .collect();
    let bars = (end / f32::from(clock.metre)).ceil() as usize;
    let tune = Tune {
        bars: vec![TuneBar::of_quarters(clock.metre); bars.max(1)],
        melody: Vec::new(),
        chords,
        key,
    };
    Ok(tune.with_melody(&melody)?)
}

/// Seconds as beats.
struct Clock {
    /// Heard beats, counted from the first downbeat on.
    beats: Vec<f64>,
    metre: u8,
}

impl Clock {
    fn of(recording: &Recording) -> Self {
        let meter = recording
            .rhythm
            .and_then(|r| r.meter)
            .and_then(|m| u8::try_from(m).ok());
        Self {
            beats: recording.beats.iter().map(|b| b.get()).collect(),
            metre: meter.filter(|&m| m > 0).unwrap_or(NO_METRE),
        }
    }

    /// The place of a moment in beats, to the nearest quarter of one.
    fn beat(&self, at: Seconds) -> f32 {
        let at = at.get();
        let after = self.beats.partition_point(|&beat| beat <= at);
        let exact = match (
            after.checked_sub(1).map(|i| self.beats[i]),
            self.beats.get(after),
        ) {
            (Some(before), Some(&next)) if next > before => {
                (after - 1) as f64 + (at - before) / (next - before)
            }
            (Some(last), None) if self.beats.len() > 1 => {
                let each = (last - self.beats[0]) / (self.beats.len() - 1) as f64;
                (after - 1) as f64 + (at - last) / each.max(0.1)
            }
            (None, Some(_)) => 0.0,
            _ => at / NO_BEATS,
        };
        ((4.0 * exact).round() / 4.0) as f32
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(chart: &str, melody: Option<&str>) -> Result<Tune, NoTune> {
        tune_of_chart(&chart.parse().unwrap(), melody, None)
    }

    #[test]
    fn changes_keep_their_beats_and_the_melody_lies_over_them() {
        let tune = told(
            "key: C\n| Dm7 G7 | % | Cmaj7 | F3 A3 C4 E4 |",
            Some("A4=2 B4=2 | rest=4 | E5=4"),
        )
        .unwrap();
        let places: Vec<(usize, f32, f32)> =
            tune.chords.iter().map(|c| (c.bar, c.at, c.beats)).collect();
        assert_eq!(places[0], (1, 0.0, 2.0));
        assert_eq!(places[2], (2, 4.0, 2.0));
        assert_eq!(places[4], (3, 8.0, 4.0));
        assert_eq!(
            tune.chords[5].chord.symbol(crate::harmony::Style::Ascii),
            "Fmaj7"
        );
        assert_eq!(tune.chords[1].melody[0].midi.get(), 71);
        assert_eq!(tune.key.unwrap().to_string(), "C major");
    }

    #[test]
    fn what_is_no_tune_is_told_with_its_bar() {
        let wrong =
            |chart: &str, melody: Option<&str>| told(chart, melody).unwrap_err().to_string();
        assert!(
            wrong("| C | C3 C#3 D3 |", None)
                .starts_with("bar 2: the voicing there has no good name")
        );
        assert!(wrong("| N.C. |", None).starts_with("there is no chord in it"));
        assert!(
            wrong("| C |", Some("C5=4 | D5=4"))
                .starts_with("the melody lasts 8 beats and the chords 4")
        );
        assert!(wrong("| C |\nmetre: 3/4\n| F |", Some("C5=4")).starts_with("bar 2 is in 3/4"));
        assert!(wrong("| C |", Some("X")).starts_with("bar 1 of the melody: 'X' is no note"));
    }
}
