//! What is played, as the document has it.
//!
//! Input: the notes and chords of a recording. Output: [`Performance`]: harmony, beats, bars, key, melody. Units: seconds with millisecond precision.
//! Method: the recording is parted into what is held and what is played ([`crate::playing::texture`]); [`crate::playing`] reads each passage that is
//! played by itself, and in a passage that is held each chord is the harmony. Limits: those of these modules.

use crate::answer::answers::played_note;
use crate::chart::document::{HarmonyName, HarmonyStretch, HeardChord, Rhythm};
use crate::chart::entries::thousandths;
use crate::chart::expected::expected_of_played;
use crate::chart::passages::Interpreted;
use crate::chart::recording::Wording;
use crate::chart::written::stand_in_mark;
use crate::harmony::chord::label;
use crate::harmony::{Key, SURE_KEY, Style};
use crate::listener::NoteSpan;
use crate::playing::texture::{Passage, Texture, TextureRule, passages};
use crate::playing::{PlayedNote, PlayingRead, RankedChord, Stated, StatedRhythm, Stretch, read};
use crate::units::{Seconds, hundredths};

/// What is played.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Performance {
    /// The harmony, by start.
    pub harmony: Vec<HarmonyStretch>,
    /// The same as values; `None` for a chord that is held.
    pub stretches: Vec<Option<Stretch>>,
    /// The beats; empty where it is free.
    pub beats: Vec<Seconds>,
    /// Those that begin a bar.
    pub downbeats: Vec<Seconds>,
    /// How they lie; of several passages that are played, in the longest.
    pub rhythm: Option<Rhythm>,
    /// The notes of the highest voice, counted from 0.
    pub melody: Vec<usize>,
    /// The key that holds longest, where one is believed.
    pub key: Option<Key>,
    /// When each passage begins and whether its chords are held for study.
    pub passages: Vec<(Seconds, Texture)>,
}

/// Reads the notes, by start; `None` where chords are held for study throughout.
pub(super) fn performance<'a>(
    notes: &[NoteSpan],
    interpreted: impl FnOnce() -> Interpreted<'a>,
    naming: &Wording,
    rhythm: StatedRhythm,
) -> Option<Performance> {
    let played: Vec<PlayedNote> = notes.iter().map(played_note).collect();
    let passages = passages(&played, &TextureRule::default());
    if passages.iter().all(|p| p.texture == Texture::Held) {
        return None;
    }
    let stated = Stated {
        rhythm,
        key: naming.analysis.key,
        spelling: naming.analysis.spelling,
    };
    let held: Vec<HeardChord> = match passages.len() {
        1 => Vec::new(),
        _ => interpreted().chords(naming.style).collect(),
    };
    let mut all = Performance::default();
    // how long each key holds, and the longest passage that is played
    let mut keys: Vec<(Key, f64)> = Vec::new();
    let mut longest = 0.0;
    for (nth, passage) in passages.iter().enumerate() {
        let (start, end) = limits(&played, &passages, nth);
        all.passages
            .push((start.to_millis_precision(), passage.texture));
        if passage.texture == Texture::Held {
            let named = held.iter().filter(|c| !c.names.is_empty());
            for chord in named.filter(|c| start <= c.start && c.start < end) {
                let entry = held_entry(chord);
                if let Some(key) = entry.key.as_deref().and_then(|key| key.parse().ok()) {
                    holds(key, entry.end.get() - entry.start.get(), &mut keys);
                }
                all.harmony.push(entry);
                all.stretches.push(None);
            }
            continue;
        }
        let reading = read(&played[passage.notes.clone()], &stated);
        let lasts = end.get() - start.get();
        if let Some((key, _)) = reading.key {
            holds(key, lasts, &mut keys);
        }
        if lasts > longest {
            longest = lasts;
            all.rhythm = found_rhythm(&reading);
        }
        all.add(reading, passage.notes.start, end, naming.style);
    }
    all.key = keys
        .into_iter()
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .map(|k| k.0);
    Some(all)
}

impl Performance {
    /// Adds what was read in a passage whose notes begin with number `first`; the next one begins at `end`.
    fn add(&mut self, reading: PlayingRead, first: usize, end: Seconds, style: Style) {
        let beats: Vec<Seconds> = reading
            .beats
            .beats
            .iter()
            .filter_map(|beat| Seconds::new(beat.time).ok())
            .map(Seconds::to_millis_precision)
            .collect();
        let downbeats = reading.bars.downbeats.iter().map(|&b| beats[b]);
        self.downbeats.extend(downbeats);
        self.beats.extend(beats);
        self.melody
            .extend(reading.melody.iter().map(|note| first + note));
        let named = |stretch: &Stretch| !stretch.chords.is_empty() && stretch.start < end;
        let mut stretches = reading.harmony.into_iter().filter(named).peekable();
        while let Some(stretch) = stretches.next() {
            let mut entry = harmony_stretch(&stretch, style);
            let expected = stretches
                .peek()
                .and_then(|next| expected_of_played(&stretch, next));
            entry.stand_in = expected.as_ref().map(stand_in_mark);
            if entry.end > end {
                entry.end = end.to_millis_precision();
            }
            self.harmony.push(entry);
            self.stretches.push(Some(stretch));
        }
    }
}

/// A key holds for so long.
fn holds(key: Key, lasts: f64, keys: &mut Vec<(Key, f64)>) {
    match keys.iter_mut().find(|k| k.0 == key) {
        Some(known) => known.1 += lasts,
        None => keys.push((key, lasts)),
    }
}

/// When a passage begins, and when the next one does; the last has no end.
fn limits(notes: &[PlayedNote], passages: &[Passage], nth: usize) -> (Seconds, Seconds) {
    let begins = |passage: &Passage| notes[passage.notes.start].start;
    let forever = Seconds::new(f64::MAX).unwrap_or(Seconds::ZERO);
    (
        begins(&passages[nth]),
        passages.get(nth + 1).map_or(forever, begins),
    )
}

/// A chord that is held, as harmony.
fn held_entry(chord: &HeardChord) -> HarmonyStretch {
    let sure = chord.place.key_confidence >= SURE_KEY;
    HarmonyStretch {
        start: chord.start,
        end: chord.end,
        names: chord
            .names
            .iter()
            .map(|name| HarmonyName {
                symbol: name.symbol.clone(),
                ascii: name.ascii.clone(),
                label: name.label.clone(),
                score: name.score,
            })
            .collect(),
        key: sure.then(|| chord.place.key.clone()),
        key_confidence: chord.place.key_confidence,
        numeral: sure.then(|| chord.place.numeral.clone()),
        function: sure.then(|| chord.place.function.clone()),
        stands_for: chord.place.stands_for.clone(),
        stand_in: chord.place.stand_in.clone(),
        held: true,
    }
}

/// A stretch of harmony as the document has it.
pub(crate) fn harmony_stretch(stretch: &Stretch, style: Style) -> HarmonyStretch {
    HarmonyStretch {
        start: stretch.start.to_millis_precision(),
        end: stretch.end.to_millis_precision(),
        names: stretch.chords.iter().map(|c| name(c, style)).collect(),
        key: stretch.key.map(|key| key.to_string()),
        key_confidence: thousandths(stretch.key_confidence.get()),
        numeral: stretch.numeral.as_ref().map(ToString::to_string),
        function: stretch.role.map(|role| role.words().to_owned()),
        stands_for: stretch.stands_for.map(|c| c.symbol(Style::Ascii)),
        stand_in: None,
        held: false,
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
