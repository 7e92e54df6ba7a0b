//! Progression: where the chords go.
//!
//! Input: what sounds, chord by chord. Output: [`Progression`]: keys, numerals, cadences. Units: confidences 0 to 1.
//! Method: `best_path` chooses, [`function`] and [`cadence`] say what was chosen, [`analysis`] joins them.
//! Limits: no rhythm.

pub mod analysis;
pub(crate) mod best_path;
pub mod cadence;
pub mod function;

pub use analysis::{
    AnalysedChord, AnalysisOptions, ChordForAnalysis, Progression, analyse_progression,
    analyse_progression_with,
};
pub use cadence::Cadence;
