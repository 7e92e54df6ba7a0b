//! What is played, as the document has it.
//!
//! Input: the notes of a recording. Output: [`Performance`]: harmony, beats, bars, key, melody. Units: seconds with millisecond precision.
//! Method: [`crate::playing`] reads the notes where they are played and not held. Limits: those of that module.

use crate::chart::document::{HarmonyName, HarmonyStretch, Rhythm};
use crate::chart::entries::thousandths;
use crate::chart::recording::Wording;
use crate::harmony::chord::label;
use crate::harmony::{Key, Style};
use crate::listener::NoteSpan;
use crate::playing::texture::{Texture, TextureRule, texture};
use crate::playing::{PlayedNote, PlayingRead, RankedChord, Stated, StatedRhythm, Stretch, read};
use crate::units::{SampleRate, Seconds, hundredths};

/// What is played.
#[derive(Debug, Clone, PartialEq)]
pub struct Performance {
    /// The harmony, by start.
    pub harmony: Vec<HarmonyStretch>,
    /// The same as values.
    pub stretches: Vec<Stretch>,
    /// The beats; empty where it is free.
    pub beats: Vec<Seconds>,
    /// Those that begin a bar.
    pub downbeats: Vec<Seconds>,
    /// How they lie.
    pub rhythm: Option<Rhythm>,
    /// The notes of the highest voice, counted from 0.
    pub melody: Vec<usize>,
    /// The key that holds longest, where one is believed.
    pub key: Option<Key>,
}

/// Reads the notes, by start; `None` where chords are held for study.
pub(super) fn performance(
    notes: &[NoteSpan],
    naming: &Wording,
    rhythm: StatedRhythm,
) -> Option<Performance> {
    let played: Vec<PlayedNote> = notes
        .iter()
        .map(|span| PlayedNote {
            midi: span.note.midi,
            start: span.start.seconds(SampleRate::INTERNAL),
            end: span.end.seconds(SampleRate::INTERNAL),
            strength: span.note.strength,
            confidence: span.note.confidence,
        })
        .collect();
    if texture(&played, &TextureRule::default()) == Texture::Held {
        return None;
    }
    let stated = Stated {
        rhythm,
        key: naming.analysis.key,
        spelling: naming.analysis.spelling,
    };
    let reading = read(&played, &stated);
    let beats: Vec<Seconds> = reading
        .beats
        .beats
        .iter()
        .filter_map(|beat| Seconds::new(beat.time).ok())
        .map(Seconds::to_millis_precision)
        .collect();
    let rhythm = found_rhythm(&reading);
    let mut stretches = reading.harmony;
    stretches.retain(|stretch| !stretch.chords.is_empty());
    Some(Performance {
        harmony: stretches
            .iter()
            .map(|stretch| entry(stretch, naming.style))
            .collect(),
        stretches,
        downbeats: reading.bars.downbeats.iter().map(|&b| beats[b]).collect(),
        rhythm,
        beats,
        melody: reading.melody,
        key: reading.key.map(|(key, _)| key),
    })
}

fn entry(stretch: &Stretch, style: Style) -> HarmonyStretch {
    HarmonyStretch {
        start: stretch.start.to_millis_precision(),
        end: stretch.end.to_millis_precision(),
        names: stretch.chords.iter().map(|c| name(c, style)).collect(),
        key: stretch.key.map(|key| key.to_string()),
        key_confidence: thousandths(stretch.key_confidence.get()),
        numeral: stretch.numeral.as_ref().map(ToString::to_string),
        function: stretch.role.map(|role| role.words().to_owned()),
        stands_for: stretch.stands_for.map(|c| c.symbol(Style::Ascii)),
    }
}

fn name(ranked: &RankedChord, style: Style) -> HarmonyName {
    let chord = &ranked.chord;
    HarmonyName {
        symbol: chord.symbol(style),
        ascii: chord.symbol(Style::Ascii),
        label: label::write(chord, chord.sounding()),
        score: thousandths(ranked.confidence.get()),
    }
}

fn found_rhythm(reading: &PlayingRead) -> Option<Rhythm> {
    let mut steps: Vec<f64> = reading
        .beats
        .beats
        .windows(2)
        .map(|pair| pair[1].time - pair[0].time)
        .collect();
    steps.sort_by(f64::total_cmp);
    let median = *steps.get(steps.len() / 2)?;
    let bars = &reading.bars;
    Some(Rhythm {
        bpm: hundredths(60.0 / median),
        beat_confidence: thousandths(reading.beats.confidence),
        meter: (!bars.downbeats.is_empty()).then_some(bars.meter),
        bar_confidence: thousandths(bars.confidence),
        second_eighth: reading.beats.second_eighth.map(thousandths),
    })
}
