//! The held voicings of a labelled corpus, and whether a name is among the accepted ones.
//!
//! Input: `truth.json` and the sound files beside it. Output: [`Clip`]s. Units: seconds from the start of a clip.
//! Method: names are compared by root and pitch classes, as the scoring program of the corpus does; a chord without labels is right under the
//! name that its keys have.
//! Limits: only clips of the kind `voicing` that hold one chord.

use crate::support::read_all;
use lidprop::harmony::chord::label;
use lidprop::harmony::{Chord, Context, PitchClass, PitchSet, Sounding, name_chord};
use lidprop::units::MidiNote;
use serde::Deserialize;
use serde::de::DeserializeOwned;
use std::path::Path;

/// A chord that is struck once and held.
pub struct Clip {
    /// The file, as `truth.json` names it.
    pub file: String,
    /// Mono sound at the internal rate.
    pub samples: Vec<f32>,
    /// When the last key of the chord is struck.
    pub strike: f64,
    /// When it is let go.
    pub release: f64,
    accepted: Vec<(PitchClass, PitchSet)>,
}

impl Clip {
    /// True if a printed symbol names the chord.
    pub fn accepts(&self, symbol: &str) -> bool {
        symbol
            .parse::<Chord>()
            .is_ok_and(|chord| self.accepted.contains(&sense(&chord)))
    }
}

/// What counts of a name: its root and its pitch classes, with a root that is left out counted in.
fn sense(chord: &Chord) -> (PitchClass, PitchSet) {
    let root = chord.root.class();
    (root, chord.pitches().with(root))
}

#[derive(Deserialize)]
struct Entry {
    file: String,
    kind: String,
    #[serde(default)]
    notes: Vec<Note>,
    #[serde(default)]
    chords: Vec<Labelled>,
}

#[derive(Deserialize)]
struct Note {
    midi: u8,
    onset: f64,
}

#[derive(Deserialize)]
struct Labelled {
    end: f64,
    #[serde(default)]
    accepted: Vec<String>,
}

#[derive(Deserialize)]
struct Truth<T> {
    clips: Vec<T>,
}

/// The clips of which `truth.json` of a corpus tells, each as far as it is asked for.
pub fn truth<T: DeserializeOwned>(corpus: &Path) -> Result<Vec<T>, String> {
    let path = corpus.join("truth.json");
    let text =
        std::fs::read(&path).map_err(|e| format!("{} cannot be read: {e}", path.display()))?;
    let truth: Truth<T> = serde_json::from_slice(&text)
        .map_err(|e| format!("{} is no truth: {e}", path.display()))?;
    Ok(truth.clips)
}

/// Reads `wanted` of the voicings in `corpus`, evenly spread over the list.
pub fn read(corpus: &Path, wanted: usize) -> Result<Vec<Clip>, String> {
    let voicings: Vec<Entry> = truth::<Entry>(corpus)?
        .into_iter()
        .filter(|clip| clip.kind == "voicing" && clip.chords.len() == 1)
        .collect();
    if voicings.is_empty() {
        return Err(format!(
            "{} holds no clip of the kind \"voicing\"",
            corpus.display()
        ));
    }
    let count = wanted.clamp(1, voicings.len());
    (0..count)
        .map(|n| clip(corpus, &voicings[n * voicings.len() / count]))
        .collect()
}

/// The name of the struck keys.
fn name_of(notes: &[Note]) -> Option<(PitchClass, PitchSet)> {
    let keys = notes
        .iter()
        .filter_map(|note| MidiNote::new(note.midi).ok());
    let sounding = Sounding::sure(keys);
    let naming = name_chord(&sounding, &Context::default());
    naming.names.first().map(|name| sense(&name.chord))
}

fn clip(corpus: &Path, entry: &Entry) -> Result<Clip, String> {
    let path = corpus.join(&entry.file);
    let mut source = lidprop::audio::open(&path).map_err(|e| e.to_string())?;
    let labels = &entry.chords[0].accepted;
    let accepted = match labels.is_empty() {
        true => name_of(&entry.notes).into_iter().collect(),
        false => labels
            .iter()
            .filter_map(|text| label::read(text).ok().flatten())
            .map(|chord| sense(&chord))
            .collect(),
    };
    Ok(Clip {
        file: entry.file.clone(),
        samples: read_all(&mut source),
        strike: entry
            .notes
            .iter()
            .map(|note| note.onset)
            .fold(0.0, f64::max),
        release: entry.chords[0].end,
        accepted,
    })
}
