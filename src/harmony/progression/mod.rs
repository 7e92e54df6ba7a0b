//! Progression: where the chords go.
//!
//! Input: chords, heard, voiced or stated. Output: [`Interpretation`]: keys, numerals, cadences, and names when they are asked for. Units: confidences 0 to 1.
//! Method: `best_path` chooses, [`function`](super::function) and [`cadence`] say what was chosen, [`analysis`] joins them.
//! Limits: no rhythm.

pub mod analysis;
pub(crate) mod best_path;
pub mod cadence;
pub(crate) mod costs;
pub mod leading;
pub(crate) mod searched;

pub use super::function::{KeyDegree, Numeral, Role};
pub use analysis::{
    AnalysisOptions, BELIEVED_KEY, InPlace, Interpretation, Recent, SURE_KEY, interpret,
};
pub use cadence::{Cadence, CadenceKind};
pub use searched::Given;
