//! Which names are worth a reader's time.
//!
//! Input: the ranked names of a chord. Output: those to show beside the best one.
//! Units: scores 0 to 1. Method: our own, the same for every view. Limits: files hold all names; only views leave some out.

use crate::chart::document;
use crate::harmony;

/// A name less likely than this beside the best one is noise on a chart: one in fifty.
const LEAST_SCORE: f32 = 0.02;

/// A name that stands in a list by how likely it is.
pub trait Ranked {
    /// Its score, 0 to 1.
    fn score(&self) -> f32;
}

impl Ranked for harmony::Name {
    fn score(&self) -> f32 {
        self.score.get()
    }
}

impl Ranked for document::Name {
    fn score(&self) -> f32 {
        self.score
    }
}

/// The names after the best one that are likely enough to be shown, `most` at most.
pub fn others_worth_showing<N: Ranked>(names: &[N], most: usize) -> Vec<&N> {
    names
        .iter()
        .skip(1)
        .filter(|name| name.score() >= LEAST_SCORE)
        .take(most)
        .collect()
}
