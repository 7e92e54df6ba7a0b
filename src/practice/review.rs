//! When to practise something again: FSRS-6.
//!
//! Input: what is remembered of an item, the grade of a new attempt, days since the last. Output: what is remembered then; the day on which it is due.
//! Units: days; stability in days, difficulty 1 to 10, retrievability 0 to 1.
//! Method: the free spaced repetition scheduler, version 6, from its published formulas and its 21 published default weights (open-spaced-repetition,
//! "The Algorithm", 2025; Ye, Su, Cao, KDD 2022, for the model it grew from). Letters as there: S stability, D difficulty, R retrievability, G grade.
//! A table of values of the reference implementation holds it (tests below). Our own: an item is a chord type in one form on one root, and the grade
//! comes from the mark (see [`grade`]).
//! Limits: the weights are those published for words and facts; nothing is fitted to hands.

use super::mark::{Mark, Outcome};
use crate::units::Seconds;
use serde::{Deserialize, Serialize};

/// The published default weights w0 to w20 of version 6.
const W: [f64; 21] = [
    0.212, 1.2931, 2.3065, 8.2956, 6.4133, 0.8334, 3.0194, 0.001, 1.8722, 0.1666, 0.796, 1.4835,
    0.0614, 0.2629, 1.6483, 0.6014, 1.8729, 0.5425, 0.0912, 0.0658, 0.1542,
];
/// Bounds of the stability, in days.
const STABILITY: std::ops::RangeInclusive<f64> = 0.001..=36_500.0;
/// An item is due where the chance to recall it has fallen to this.
pub const WANTED_RECALL: f64 = 0.9;
/// Longest time to the next practice, in days.
const LONGEST_DAYS: f64 = 36_500.0;
/// Slower than this is hard.
const SLOW: f64 = 4.0;

/// How an attempt went: 1 to 4.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Grade {
    /// A slip.
    Again = 1,
    /// Right after a slip, or slowly.
    Hard = 2,
    /// Right.
    Good = 3,
    /// Right, and faster than this player is as a rule.
    Easy = 4,
}

/// The grade of a mark: a slip is 1, right after a slip or after more than four seconds 2, right 3, faster than the player's own median 4; `None`
/// for what could not be told.
pub fn grade(mark: &Mark, took: Option<Seconds>, median: Option<Seconds>) -> Option<Grade> {
    match mark.outcome {
        Outcome::Unsure => None,
        Outcome::Slip => Some(Grade::Again),
        Outcome::Right if !mark.clean() || took.is_some_and(|took| took.get() > SLOW) => {
            Some(Grade::Hard)
        }
        Outcome::Right => match (took, median) {
            (Some(took), Some(median)) if took.get() < median.get() => Some(Grade::Easy),
            _ => Some(Grade::Good),
        },
    }
}

/// What is remembered of an item.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Memory {
    /// S: after so many days the chance to recall it is 0.9.
    pub stability: f64,
    /// D, 1 to 10.
    pub difficulty: f64,
}

impl Memory {
    /// After the first attempt.
    pub fn first(grade: Grade) -> Self {
        Self {
            stability: W[grade as usize - 1],
            difficulty: first_difficulty(grade).clamp(1.0, 10.0),
        }
    }

    /// After one more attempt, `days` (whole days, 0 on the same day) after the last.
    #[must_use]
    pub fn after(self, grade: Grade, days: u32) -> Self {
        let (s, d) = (self.stability, self.difficulty);
        let r = self.recall(f64::from(days));
        let stability = if days == 0 {
            same_day(s, grade)
        } else if grade == Grade::Again {
            forgotten(s, d, r)
        } else {
            recalled(s, d, r, grade)
        };
        Self {
            stability: stability.clamp(*STABILITY.start(), *STABILITY.end()),
            difficulty: next_difficulty(d, grade),
        }
    }

    /// `R(t, S) = (1 + F t / S)^-w20`, where F makes R(S, S) 0.9: the chance to recall it after `days`.
    pub fn recall(self, days: f64) -> f64 {
        (1.0 + factor() * days / self.stability).powf(-W[20])
    }

    /// `I = S / F (r^(-1 / w20) - 1)`: whole days until the chance has fallen to [`WANTED_RECALL`], at least 1.
    pub fn days_until_due(self) -> u32 {
        let days = self.stability / factor() * (WANTED_RECALL.powf(-1.0 / W[20]) - 1.0);
        days.round().clamp(1.0, LONGEST_DAYS) as u32
    }
}

/// `F = 0.9^(-1 / w20) - 1`.
fn factor() -> f64 {
    0.9_f64.powf(-1.0 / W[20]) - 1.0
}

/// `D0(G) = w4 - e^(w5 (G - 1)) + 1`.
fn first_difficulty(grade: Grade) -> f64 {
    W[4] - (W[5] * (grade as u8 as f64 - 1.0)).exp() + 1.0
}

/// `D' = D - w6 (G - 3) (10 - D) / 9`, then `w7 D0(4) + (1 - w7) D'`.
fn next_difficulty(d: f64, grade: Grade) -> f64 {
    let moved = d - W[6] * (grade as u8 as f64 - 3.0) * (10.0 - d) / 9.0;
    (W[7] * first_difficulty(Grade::Easy) + (1.0 - W[7]) * moved).clamp(1.0, 10.0)
}

/// `S (1 + e^w8 (11 - D) S^-w9 (e^(w10 (1 - R)) - 1) h b)`, h = w15 if hard, b = w16 if easy.
fn recalled(s: f64, d: f64, r: f64, grade: Grade) -> f64 {
    let hard = if grade == Grade::Hard { W[15] } else { 1.0 };
    let easy = if grade == Grade::Easy { W[16] } else { 1.0 };
    let growth = W[8].exp() * (11.0 - d) * s.powf(-W[9]) * ((W[10] * (1.0 - r)).exp() - 1.0);
    s * (1.0 + growth * hard * easy)
}

/// `min(w11 D^-w12 ((S + 1)^w13 - 1) e^(w14 (1 - R)), S / e^(w17 w18))`.
fn forgotten(s: f64, d: f64, r: f64) -> f64 {
    let left = W[11] * d.powf(-W[12]) * ((s + 1.0).powf(W[13]) - 1.0) * (W[14] * (1.0 - r)).exp();
    left.min(s / (W[17] * W[18]).exp())
}

/// `S e^(w17 (G - 3 + w18)) S^-w19`, not less than S where it went well (G >= 2).
fn same_day(s: f64, grade: Grade) -> f64 {
    let factor = (W[17] * (grade as u8 as f64 - 3.0 + W[18])).exp() * s.powf(-W[19]);
    s * if grade >= Grade::Hard {
        factor.max(1.0)
    } else {
        factor
    }
}

#[cfg(test)]
#[path = "review_reference.rs"]
mod reference;
