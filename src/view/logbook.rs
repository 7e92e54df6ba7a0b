//! The logbook in tables and bars.
//!
//! Input: an [`Overview`], the day. Output: text. Units: shares in per cent, seconds, days. Method: every bar stands beside its number.
//! Limits: bars are coarse where there are no block characters; the numbers say the same.

use super::drill::{count_words, sign};
use super::ink::Ink;
use crate::harmony::{PitchClass, Spelled};
use crate::practice::Outcome;
use crate::practice::tally::{Item, Overview, Tally};
use crate::units::count::plural;
use std::io::{self, Write};

/// Columns of a bar.
const BAR: usize = 20;
/// Weeks of the trend.
const WEEKS: usize = 12;
/// Rows of lists that have no end.
const ROWS: usize = 8;
/// Heights of a column of the trend.
const HEIGHTS: [char; 8] = ['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];
/// The same from ASCII alone.
const ASCII_HEIGHTS: [char; 8] = ['_', '.', '-', ':', '=', '+', '*', '#'];

/// Prints what is known of a player.
///
/// # Errors
/// If `out` cannot be written to.
pub fn print_overview(
    overview: &Overview,
    today: i32,
    ink: Ink,
    out: &mut impl Write,
) -> io::Result<()> {
    let total = &overview.total;
    writeln!(
        out,
        "{}   {}: {}",
        ink.strong(&overview.player),
        plural(total.attempts() as usize, "attempt"),
        count_words([total.right, total.slip, total.unsure].map(|count| count as usize))
    )?;
    let days = plural(overview.streak_days as usize, "day");
    writeln!(out, "{days} in a row\n")?;
    table(
        out,
        ink,
        "by key",
        overview
            .keys
            .iter()
            .map(|(&root, tally)| (root_name(root).to_owned(), tally)),
    )?;
    table(
        out,
        ink,
        "by chord type",
        overview
            .chord_types
            .iter()
            .map(|(name, tally)| (name.clone(), tally)),
    )?;
    trend(overview, today, ink, out)?;
    slips(overview, ink, out)?;
    due(overview, today, ink, out)
}

/// The usual name of a root.
pub(crate) fn root_name(root: u8) -> &'static str {
    Spelled::usual(PitchClass::new(root.into())).name()
}

fn table<'a>(
    out: &mut impl Write,
    ink: Ink,
    title: &str,
    rows: impl Iterator<Item = (String, &'a Tally)>,
) -> io::Result<()> {
    writeln!(out, "{}", ink.strong(title))?;
    for (name, tally) in rows {
        let accuracy = match tally.accuracy() {
            Some(share) => format!("{:4.0} %  {:BAR$}", 100.0 * share, bar(share, ink)),
            None => format!("   -    {:BAR$}", ""),
        };
        let time = tally
            .mean_time()
            .map_or("     -".to_owned(), |time| format!("{time:4.1} s"));
        writeln!(
            out,
            "  {name:12}  {accuracy}  {time}  {:5}",
            tally.attempts()
        )?;
    }
    writeln!(out)
}

fn bar(share: f64, ink: Ink) -> String {
    let full = if ink.ascii { "#" } else { "█" };
    full.repeat((share * BAR as f64).round() as usize)
}

/// Attempts and accuracy of each of the last weeks.
fn trend(overview: &Overview, today: i32, ink: Ink, out: &mut impl Write) -> io::Result<()> {
    let weeks = overview.weeks(today, WEEKS);
    let most = weeks
        .iter()
        .map(|counts| counts.iter().sum::<u32>())
        .max()
        .unwrap_or(0);
    if most == 0 {
        return Ok(());
    }
    writeln!(out, "{}", ink.strong("by week, this one last"))?;
    let heights = if ink.ascii { ASCII_HEIGHTS } else { HEIGHTS };
    let column = |share: f64| heights[((share * 7.0).round() as usize).min(7)];
    let attempts: String = weeks
        .iter()
        .map(|counts| match counts.iter().sum::<u32>() {
            0 => ' ',
            some => column(f64::from(some) / f64::from(most)),
        })
        .collect();
    let share = |[right, slip, _]: &[u32; 3]| {
        (right + slip > 0).then(|| f64::from(*right) / f64::from(right + slip))
    };
    let accuracy: String = weeks
        .iter()
        .map(|counts| share(counts).map_or(' ', column))
        .collect();
    writeln!(out, "  attempts      {attempts}  most in a week: {most}")?;
    let shares: Vec<String> = weeks
        .iter()
        .filter_map(|counts| Some(format!("{:.0}", 100.0 * share(counts)?)))
        .collect();
    writeln!(
        out,
        "  right         {accuracy}  per cent: {}",
        shares.join(" ")
    )?;
    writeln!(out)
}

fn slips(overview: &Overview, ink: Ink, out: &mut impl Write) -> io::Result<()> {
    if overview.slips.is_empty() {
        return Ok(());
    }
    writeln!(out, "{}", ink.strong("most frequent slips"))?;
    for slip in overview.slips.iter().take(ROWS) {
        let chord = chord_name(slip.root, &slip.chord_type);
        writeln!(
            out,
            "  {} {chord:14}  {:12}  {}",
            sign(Outcome::Slip),
            slip.word,
            plural(slip.count as usize, "time")
        )?;
    }
    writeln!(out)
}

/// A chord type on a root, as it is written.
pub(crate) fn chord_name(root: u8, chord_type: &str) -> String {
    let body = if chord_type == "maj" { "" } else { chord_type };
    format!("{}{body}", root_name(root))
}

fn due(overview: &Overview, today: i32, ink: Ink, out: &mut impl Write) -> io::Result<()> {
    writeln!(out, "{}", ink.strong("due next"))?;
    let due = overview.due(today).count();
    if due == 0 {
        writeln!(out, "  nothing is due today")?;
    }
    for item in overview.items.iter().take(ROWS) {
        let chord = chord_name(item.root, &item.chord_type);
        writeln!(out, "  {chord:14}  {:16}  {}", item.form, when(item, today))?;
    }
    if due > ROWS {
        writeln!(out, "  and {} more", due - ROWS)?;
    }
    Ok(())
}

/// When an item is due, in words.
pub(crate) fn when(item: &Item, today: i32) -> String {
    match item.due_day.map(|day| day - today) {
        None => "not told yet".to_owned(),
        Some(days) if days <= 0 => "today".to_owned(),
        Some(1) => "tomorrow".to_owned(),
        Some(days) => format!("in {days} days"),
    }
}
