//! Figures of many clips, and the table.
//!
//! Input: what was seen of each chord. Output: medians, 95th percentiles and means beside what is asked for.
//! Units: as each row says. Method: nearest-rank percentiles. Limits: none.

use crate::terminal::Screen;
use lidprop::answer::settle::Standing;

/// What one held chord looked like.
#[derive(Debug, Clone, Default)]
pub struct Held {
    /// Seconds from the strike of the last key to the first name.
    pub first: Option<f64>,
    /// To the right name, marked settled.
    pub right: Option<f64>,
    /// To the first name that then stood long enough to be read.
    pub readable: Option<f64>,
    /// How often the shown name changed until the keys were let go.
    pub changes: usize,
    /// True if a name that is none of the accepted ones was ever marked settled.
    pub settled_wrong: bool,
}

/// A name is read in about so long, seconds: the eye rests on a word for 0.2 to 0.25 s (Rayner, Psychological Bulletin 124, 1998).
const READ: f64 = 0.25;

impl Held {
    /// Looks through what was seen, in order of time (seconds from the start of the clip).
    pub fn of(
        seen: impl Iterator<Item = (f64, Screen)>,
        strike: f64,
        release: f64,
        accepts: impl Fn(&str) -> bool,
    ) -> Self {
        let mut held = Self::default();
        let mut shown: Option<Option<String>> = None;
        let mut since = strike;
        for (at, screen) in seen.filter(|(at, _)| (strike..release).contains(at)) {
            let Some((name, standing)) = screen.answer else {
                continue;
            };
            if standing == Standing::LetGo {
                continue;
            }
            if let Some(name) = &name {
                held.first.get_or_insert(at - strike);
                if standing == Standing::Settled {
                    if accepts(name) {
                        held.right.get_or_insert(at - strike);
                    } else {
                        held.settled_wrong = true;
                    }
                }
            }
            match &shown {
                Some(before) if *before != name => {
                    held.changes += 1;
                    held.read(before, since, at, strike);
                    since = at;
                }
                // "no name" before the first name is no name that changes
                None if name.is_none() => continue,
                None => since = at,
                _ => {}
            }
            shown = Some(name);
        }
        if let Some(last) = shown {
            held.read(&last, since, release, strike);
        }
        held
    }

    /// A name that stood from one time to another.
    fn read(&mut self, name: &Option<String>, from: f64, to: f64, strike: f64) {
        if name.is_some() && to - from >= READ {
            self.readable.get_or_insert(from - strike);
        }
    }
}

/// The value below which `share` of all values lie, by nearest rank; `None` of none.
pub fn percentile(values: &[f64], share: f64) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let rank = (share * sorted.len() as f64).ceil() as usize;
    sorted.get(rank.max(1) - 1).copied()
}

/// Mean; `None` of none.
pub fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}

/// What is asked for: at least this, and better that; smaller is better.
#[derive(Debug, Clone, Copy)]
pub struct Asked {
    pub at_least: f64,
    pub aim: f64,
}

/// Prints the head of the table.
pub fn print_head() {
    println!("| figure | measured | at least | aim | |");
    println!("| --- | --- | --- | --- | --- |");
}

/// Prints a row whose values are each asked to be small.
pub fn print_row(
    figure: &str,
    measured: &[Option<f64>],
    asked: &[Asked],
    digits: usize,
    unit: &str,
) {
    let list = |values: &mut dyn Iterator<Item = Option<f64>>| -> String {
        let texts: Vec<String> = values
            .map(|value| value.map_or("none".into(), |value| format!("{value:.digits$}")))
            .collect();
        format!("{} {unit}", texts.join(" / "))
    };
    let below = |limit: fn(&Asked) -> f64| {
        measured
            .iter()
            .zip(asked)
            .all(|(value, asked)| value.is_some_and(|value| value <= limit(asked)))
    };
    let verdict = if below(|asked| asked.aim) {
        "as aimed at"
    } else if below(|asked| asked.at_least) {
        "good enough"
    } else {
        "MISSED"
    };
    println!(
        "| {figure} | {} | {} | {} | {verdict} |",
        list(&mut measured.iter().copied()),
        list(&mut asked.iter().map(|asked| Some(asked.at_least))),
        list(&mut asked.iter().map(|asked| Some(asked.aim))),
    );
}

/// Prints a row of which nothing is asked.
pub fn print_note(figure: &str, measured: &str) {
    println!("| {figure} | {measured} | | | |");
}
