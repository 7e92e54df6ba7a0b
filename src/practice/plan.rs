//! Plans that a teacher hands out: what to practise, on which days, to which goal.
//!
//! Input: the text of a TOML file, a date's day of the week. Output: [`Plan`], or what is wrong with it and on which line.
//! Units: beats per minute, shares. Method: TOML 1.0 by the `toml` crate, fields that nobody knows are refused; each item is then read as if it had
//! been typed. Limits: no more than [`MOST_ITEMS`] items.
//!
//! ```
//! let plan = lidprop::practice::Plan::read("title = \"Sevenths\"\n[[item]]\nplay = \"maj7\"\norder = \"fifths\"\n", "here").unwrap();
//! assert_eq!(plan.items[0].exercise.title(), "maj7, root position, fifths");
//! ```

use super::exercise::{Exercise, Material, Order};
use super::target::KeyRange;
use crate::harmony::Spelled;
use serde::Deserialize;
use std::ops::Range;

/// Items of a plan at most.
pub const MOST_ITEMS: usize = 200;
/// Rounds of an item at most.
const MOST_ROUNDS: u32 = 20;
/// Tempos that a drill can have.
pub const TEMPOS: std::ops::RangeInclusive<f64> = 20.0..=300.0;

/// Days of the week, Monday first.
const DAYS: [&str; 7] = [
    "monday",
    "tuesday",
    "wednesday",
    "thursday",
    "friday",
    "saturday",
    "sunday",
];

/// The plans that come with the program: name, text.
pub const SHIPPED: [(&str, &str); 5] = [
    ("first-sevenths", include_str!("plans/first-sevenths.toml")),
    (
        "left-hand-two-five-one",
        include_str!("plans/left-hand-two-five-one.toml"),
    ),
    (
        "diminished-major-sevenths",
        include_str!("plans/diminished-major-sevenths.toml"),
    ),
    ("drop-two", include_str!("plans/drop-two.toml")),
    (
        "altered-dominants-by-ear",
        include_str!("plans/altered-dominants-by-ear.toml"),
    ),
];

/// What is wrong with a plan: one sentence.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{name}, line {line}: {reason}")]
pub struct PlanError {
    /// The file, as the user called it.
    pub name: String,
    /// The line, from 1.
    pub line: usize,
    /// Why.
    pub reason: String,
}

/// Something to practise on some days.
#[derive(Debug, Clone, PartialEq)]
pub struct Item {
    /// What.
    pub exercise: Exercise,
    /// The tempo, beats per minute, a chord a beat; free without.
    pub tempo: Option<f64>,
    /// How often through all keys.
    pub rounds: u32,
    /// By ear: the chord is played and not shown.
    pub listen: bool,
    /// The days of the week on which it is due, Monday first.
    pub days: [bool; 7],
    /// The share of right attempts from which the item is done.
    pub goal: Option<f64>,
}

/// A plan.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// What it is called.
    pub title: String,
    /// What the teacher says to it.
    pub note: Option<String>,
    /// In order.
    pub items: Vec<Item>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PlanText {
    title: String,
    note: Option<String>,
    #[serde(default, rename = "item")]
    items: Vec<toml::Spanned<ItemText>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ItemText {
    play: toml::Spanned<String>,
    form: Option<toml::Spanned<String>>,
    order: Option<toml::Spanned<String>>,
    start: Option<toml::Spanned<String>>,
    range: Option<toml::Spanned<String>>,
    tempo: Option<toml::Spanned<f64>>,
    rounds: Option<toml::Spanned<u32>>,
    #[serde(default)]
    listen: bool,
    days: Option<toml::Spanned<Vec<String>>>,
    goal: Option<toml::Spanned<f64>>,
}

impl Plan {
    /// Reads the text of a plan that the user called `name`.
    ///
    /// # Errors
    /// If it is no plan, with the line.
    pub fn read(text: &str, name: &str) -> Result<Self, PlanError> {
        let refuse = |at: usize, reason: String| PlanError {
            name: name.to_owned(),
            line: text[..at.min(text.len())].matches('\n').count() + 1,
            reason,
        };
        let plan: PlanText = toml::from_str(text).map_err(|error| {
            let at = error.span().map_or(0, |span| span.start);
            refuse(at, error.message().replace('\n', ", "))
        })?;
        if plan.items.is_empty() {
            return Err(refuse(0, "the plan has no [[item]] to practise".to_owned()));
        }
        if plan.items.len() > MOST_ITEMS {
            return Err(refuse(0, format!("a plan has {MOST_ITEMS} items at most")));
        }
        let read = |item: &toml::Spanned<ItemText>| {
            Item::read(item.get_ref(), item.span()).map_err(|(span, why)| refuse(span.start, why))
        };
        Ok(Self {
            title: plan.title,
            note: plan.note,
            items: plan.items.iter().map(read).collect::<Result<_, _>>()?,
        })
    }

    /// The items that are due on a day of the week, 0 for Monday.
    pub fn due_on(&self, weekday: usize) -> impl Iterator<Item = &Item> {
        self.items.iter().filter(move |item| item.days[weekday % 7])
    }
}

type Refused = (Range<usize>, String);

/// A field that says so in its own words, read by what it is.
fn field<T, E: ToString>(
    field: Option<&toml::Spanned<String>>,
    read: impl FnOnce(&str) -> Result<T, E>,
) -> Result<Option<T>, Refused> {
    let Some(text) = field else { return Ok(None) };
    match read(text.get_ref()) {
        Ok(value) => Ok(Some(value)),
        Err(error) => Err((text.span(), error.to_string())),
    }
}

impl Item {
    fn read(item: &ItemText, whole: Range<usize>) -> Result<Self, Refused> {
        let play = &item.play;
        let words: Vec<String> = play
            .get_ref()
            .split_whitespace()
            .map(str::to_owned)
            .collect();
        let material = Material::read(&words).map_err(|error| (play.span(), error.to_string()))?;
        let start: Option<Spelled> = field(item.start.as_ref(), str::parse)?;
        let exercise = Exercise {
            material,
            form: field(item.form.as_ref(), str::parse)?,
            order: field(item.order.as_ref(), str::parse)?.unwrap_or(Order::Fourths),
            start: start.map(Spelled::class),
            range: field(item.range.as_ref(), str::parse)?.unwrap_or(KeyRange::PIANO),
        };
        exercise
            .round(0, &[])
            .map_err(|error| (whole, error.to_string()))?;
        let tempo = in_range(item.tempo.as_ref(), TEMPOS, "beats per minute")?;
        let goal = in_range(item.goal.as_ref(), 0.0..=1.0, "share of right attempts")?;
        let rounds = match &item.rounds {
            Some(rounds) if !(1..=MOST_ROUNDS).contains(rounds.get_ref()) => {
                let why = format!("{} rounds: 1 to {MOST_ROUNDS}", rounds.get_ref());
                return Err((rounds.span(), why));
            }
            Some(rounds) => *rounds.get_ref(),
            None => 1,
        };
        Ok(Self {
            exercise,
            tempo,
            rounds,
            listen: item.listen,
            days: days(item.days.as_ref())?,
            goal,
        })
    }
}

fn in_range(
    number: Option<&toml::Spanned<f64>>,
    range: std::ops::RangeInclusive<f64>,
    what: &str,
) -> Result<Option<f64>, Refused> {
    let Some(number) = number else {
        return Ok(None);
    };
    let value = *number.get_ref();
    if range.contains(&value) {
        return Ok(Some(value));
    }
    let why = format!("{value} {what}: {} to {}", range.start(), range.end());
    Err((number.span(), why))
}

/// Every day where none is stated.
fn days(stated: Option<&toml::Spanned<Vec<String>>>) -> Result<[bool; 7], Refused> {
    let Some(words) = stated else {
        return Ok([true; 7]);
    };
    let mut days = [false; 7];
    for word in words.get_ref() {
        let lower = word.to_lowercase();
        let day = DAYS
            .iter()
            .position(|day| lower.len() >= 3 && day.starts_with(&lower));
        match day {
            Some(day) => days[day] = true,
            None => {
                let why = format!("'{word}' is no day of the week: one of {}", DAYS.join(", "));
                return Err((words.span(), why));
            }
        }
    }
    Ok(days)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_plan_that_comes_with_the_program_can_be_read_and_has_something_for_a_week() {
        for (name, text) in SHIPPED {
            let plan = Plan::read(text, name).unwrap();
            let due = (0..7).filter(|&day| plan.due_on(day).next().is_some());
            assert!(due.count() >= 3, "{name}");
        }
    }

    #[test]
    fn what_is_wrong_is_told_with_its_line() {
        let told = |text: &str| Plan::read(text, "week.toml").unwrap_err().to_string();
        let plan =
            |field: &str| format!("title = \"Week\"\n\n[[item]]\nplay = \"maj7\"\n{field}\n");
        assert!(told("title = 3\n").starts_with("week.toml, line 1: "));
        assert!(told("title = \"Week\"\n").contains("no [[item]]"));
        for (field, words) in [
            ("order = \"sideways\"", "'sideways' is no order of keys"),
            ("form = \"drop 9\"", "'drop 9' is no form"),
            ("tempo = 900.0", "900 beats per minute: 20 to 300"),
            ("rounds = 0", "0 rounds: 1 to 20"),
            ("days = [\"someday\"]", "'someday' is no day"),
            ("tempi = 90", "unknown field `tempi`"),
            ("range = \"C5-C4\"", "no stretch of the keyboard"),
        ] {
            let told = told(&plan(field));
            assert!(
                told.starts_with("week.toml, line 5: ") && told.contains(words),
                "{told}"
            );
        }
        let unknown = "title = \"Week\"\n[[item]]\nplay = \"mayj7\"\n";
        assert!(
            told(unknown).starts_with("week.toml, line 3: "),
            "{}",
            told(unknown)
        );
    }

    #[test]
    fn days_may_be_written_short() {
        let text = "title = \"W\"\n[[item]]\nplay = \"7\"\ndays = [\"Mon\", \"thursday\"]\n";
        let plan = Plan::read(text, "w").unwrap();
        let due: Vec<usize> = (0..7)
            .filter(|&day| plan.due_on(day).next().is_some())
            .collect();
        assert_eq!(due, [0, 3]);
    }
}
