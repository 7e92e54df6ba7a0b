//! Which names are worth a reader's time.
//!
//! Input: the ranked names of a chord. Output: those to show beside the best one.
//! Units: scores 0 to 1. Method: our own, the same for every view. Limits: files hold all names; only views leave some out.

use crate::harmony::Name;

/// A name less likely than this beside the best one is noise on a chart: one in fifty.
const LEAST_SCORE: f32 = 0.02;

/// The names after the best one that are likely enough to be shown, `most` at most.
pub fn others_worth_showing(names: &[Name], most: usize) -> Vec<&Name> {
    names
        .iter()
        .skip(1)
        .filter(|name| name.score >= LEAST_SCORE)
        .take(most)
        .collect()
}
