//! `truth.json`: what was played in each take.
//!
//! Field names follow the evaluation corpus, so that one scoring program reads both.

use crate::error::RenderError;
use crate::player::{Attempt, PlayedChord, PlayedNote};
use crate::sound::write_bytes;
use crate::takes::{Kind, Take};
use serde::Serialize;
use std::path::Path;

/// The truth of all takes.
pub struct Truth(Vec<Clip>);

/// One take.
#[derive(Debug, Serialize)]
pub struct Clip {
    file: &'static str,
    title: &'static str,
    kind: Kind,
    piano: &'static str,
    condition: &'static str,
    seed: u64,
    #[serde(skip_serializing_if = "Option::is_none")]
    key: Option<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    bpm: Option<f64>,
    a4_hz: f64,
    rate: u32,
    seconds: f64,
    notes: Vec<PlayedNote>,
    chords: Vec<PlayedChord>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    attempts: Vec<Attempt>,
}

impl Clip {
    /// What was played in `take`, notes in order of time.
    pub fn of(take: Take) -> Self {
        let mut notes = take.performance.notes;
        notes.sort_by(|a, b| a.onset.total_cmp(&b.onset));
        Self {
            file: take.file,
            title: take.title,
            kind: take.kind,
            piano: take.piano.unwrap_or_default(),
            condition: take.condition,
            seed: take.seed,
            key: take.key,
            bpm: take.bpm,
            a4_hz: take.a4,
            rate: take.microphone.rate,
            seconds: take.seconds,
            notes,
            chords: take.performance.chords,
            attempts: take.performance.attempts,
        }
    }
}

impl Truth {
    const VERSION: u32 = 1;
    const ABOUT: &str =
        "written by examples/render_test_audio; times in seconds, chord labels in academic syntax";

    /// The truth of `clips`.
    pub fn of(clips: Vec<Clip>) -> Self {
        Self(clips)
    }

    /// Writes the file, one clip a line.
    ///
    /// # Errors
    /// If the folder cannot be written to.
    pub fn write(&self, path: &Path) -> Result<(), RenderError> {
        let lines = self
            .0
            .iter()
            .map(serde_json::to_string)
            .collect::<Result<Vec<_>, _>>()
            .map_err(|e| RenderError::file(path, e))?;
        let (version, about, clips) = (Self::VERSION, Self::ABOUT, lines.join(",\n"));
        let text =
            format!("{{\"version\":{version},\"about\":\"{about}\",\"clips\":[\n{clips}\n]}}\n");
        write_bytes(path, text.as_bytes())
    }
}
