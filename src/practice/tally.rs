//! What has come of practice: counts by key, chord type, slip and day.
//!
//! Input: counts of attempts. Output: [`Overview`]. Units: seconds, days since 1970-01-01 by the player's calendar, roots from C (0) to B (11).
//! Method: sums. Limits: what could not be told (unsure) counts for no accuracy.

use serde::Serialize;
use std::collections::BTreeMap;

/// Counts of attempts and their mean time.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Tally {
    /// Right ones.
    pub right: u32,
    /// Slips.
    pub slip: u32,
    /// Unsure ones.
    pub unsure: u32,
    /// Seconds of the right ones of which they are known, summed up.
    pub took_sum: f64,
    /// How many these are.
    pub took_count: u32,
}

impl Tally {
    /// All of them.
    pub fn attempts(&self) -> u32 {
        self.right + self.slip + self.unsure
    }

    /// Of those that could be told, the share that was right.
    pub fn accuracy(&self) -> Option<f64> {
        let told = self.right + self.slip;
        (told > 0).then(|| f64::from(self.right) / f64::from(told))
    }

    /// Mean seconds of right attempts.
    pub fn mean_time(&self) -> Option<f64> {
        (self.took_count > 0).then(|| self.took_sum / f64::from(self.took_count))
    }

    /// Both together.
    pub fn add(&mut self, other: &Tally) {
        self.right += other.right;
        self.slip += other.slip;
        self.unsure += other.unsure;
        self.took_sum += other.took_sum;
        self.took_count += other.took_count;
    }
}

/// One chord type in one form on one root, and how it goes.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Item {
    /// The chord without its root.
    pub chord_type: String,
    /// Its root.
    pub root: u8,
    /// The form.
    pub form: String,
    /// How it went.
    pub tally: Tally,
    /// Right ones in a row up to now.
    pub run: u32,
    /// When it is due again, days since 1970-01-01; `None` before the first that could be told.
    pub due_day: Option<i32>,
    /// The chance that it goes well today.
    pub recall: Option<f64>,
}

/// What the logbook tells of a player.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Overview {
    /// Who.
    pub player: String,
    /// All attempts.
    pub total: Tally,
    /// By root.
    pub keys: BTreeMap<u8, Tally>,
    /// By chord type.
    pub chord_types: BTreeMap<String, Tally>,
    /// Items, those that are due longest first, then those that are not due.
    pub items: Vec<Item>,
    /// Kinds of slips by chord type and root, most made first.
    pub slips: Vec<SlipCount>,
    /// By day, oldest first: right ones, slips, unsure ones.
    pub days: Vec<(i32, [u32; 3])>,
    /// Days in a row with practice, up to today or yesterday.
    pub streak_days: u32,
}

/// How often a kind of slip was made.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SlipCount {
    /// The chord without its root.
    pub chord_type: String,
    /// Its root.
    pub root: u8,
    /// The kind.
    pub word: String,
    /// How often.
    pub count: u32,
}

/// Days in a row with practice that end today or yesterday.
pub fn streak(days: &[(i32, [u32; 3])], today: i32) -> u32 {
    let mut next = today;
    let mut length = 0;
    for &(day, _) in days.iter().rev() {
        if day > today {
            continue;
        }
        if day == next || (length == 0 && day == today - 1) {
            length += 1;
            next = day - 1;
        } else {
            break;
        }
    }
    length
}

impl Overview {
    /// Items that are due on a day, those that are due longest first; what was never told right or wrong is due.
    pub fn due(&self, today: i32) -> impl Iterator<Item = &Item> {
        self.items
            .iter()
            .filter(move |item| item.due_day.is_none_or(|day| day <= today))
    }

    /// The roots of a chord type, those that go worst first.
    pub fn weakest(&self, chord_type: &str) -> Vec<u8> {
        let mut roots: BTreeMap<u8, Tally> = BTreeMap::new();
        for item in self
            .items
            .iter()
            .filter(|item| item.chord_type == chord_type)
        {
            roots.entry(item.root).or_default().add(&item.tally);
        }
        let mut sorted: Vec<(u8, Tally)> = roots.into_iter().collect();
        let key = |tally: &Tally| {
            (
                tally.accuracy().unwrap_or(0.0),
                -tally.mean_time().unwrap_or(0.0),
            )
        };
        sorted.sort_by(|(_, a), (_, b)| {
            let (a, b) = (key(a), key(b));
            a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1))
        });
        sorted.into_iter().map(|(root, _)| root).collect()
    }

    /// Right ones, slips and unsure ones of each of the last `weeks` weeks, oldest first; a week ends with today.
    pub fn weeks(&self, today: i32, weeks: usize) -> Vec<[u32; 3]> {
        let mut sums = vec![[0; 3]; weeks];
        for (day, counts) in &self.days {
            let ago = usize::try_from((today - day).max(0) / 7).unwrap_or(usize::MAX);
            if let Some(place) = weeks.checked_sub(ago + 1) {
                for (sum, count) in sums[place].iter_mut().zip(counts) {
                    *sum += count;
                }
            }
        }
        sums
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_streak_ends_today_or_yesterday_and_a_day_to_come_is_none() {
        let days = |days: &[i32]| days.iter().map(|&day| (day, [1, 0, 0])).collect::<Vec<_>>();
        assert_eq!(streak(&days(&[97, 99, 100]), 100), 2);
        assert_eq!(streak(&days(&[98, 99]), 100), 2);
        assert_eq!(streak(&days(&[97, 98]), 100), 0);
        assert_eq!(streak(&days(&[99, 100, 105]), 100), 2);
    }
}
