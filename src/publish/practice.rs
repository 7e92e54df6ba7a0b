//! The logbook of a player as a page: how each key and chord type goes, how the weeks went, what is due.
//!
//! Input: an [`Overview`] and its day. Output: HTML with all that it needs inside. Units: shares in per cent, seconds, days.
//! Method: in the manner of the other pages ([`crate::publish::page`]); every bar stands beside its number, and no mark is told by colour alone.
//! Limits: nothing in it can be clicked; a list that has no end is cut where it says so.

use crate::harmony::Style;
use crate::practice::tally::{Overview, Tally};
use crate::publish::page::{head, signs};
use crate::units::count::plural;
use crate::view::drill::count_words;
use crate::view::logbook::{chord_name, root_name, when};
use maud::{Markup, PreEscaped, html};
use std::io::{self, Write};

/// Weeks of the trend.
const WEEKS: usize = 12;
/// Rows of what is due and of slips: two columns of a sheet of paper.
const ROWS: usize = 24;

/// Writes the page; `today` in days since 1970-01-01, `date` as it is written.
///
/// # Errors
/// If `out` cannot be written to.
pub fn write_page(
    overview: &Overview,
    today: i32,
    date: &str,
    out: &mut dyn Write,
) -> io::Result<()> {
    let title = format!("Practice of {}", overview.player);
    let total = &overview.total;
    let page = html! {
        (head(&title, false))
        header {
            h1 { (title) }
            p.facts {
                (date) " · " (plural(total.attempts() as usize, "attempt")) ": " (count_words([total.right, total.slip, total.unsure].map(|count| count as usize)))
                " · " (plural(overview.streak_days as usize, "day")) " in a row"
            }
        }
        main {
            @if total.attempts() == 0 { p { "Nothing has been practised yet." } } @else {
                h2 { "By key" }
                (tallies("Key", overview.keys.iter().map(|(&root, tally)| (with_signs(root_name(root)), tally))))
                h2 { "By chord type" }
                (tallies("Chord type", overview.chord_types.iter().map(|(name, tally)| (with_signs(name), tally))))
                (weeks(overview, today))
                (slips(overview))
                (due(overview, today))
            }
        }
        footer { p { "Written by lidprop " (env!("CARGO_PKG_VERSION")) ". What could not be told counts for no accuracy. Rest often; stop if anything hurts." } }
        (PreEscaped("</body></html>"))
    };
    writeln!(out, "{}", page.into_string())
}

fn with_signs(name: &str) -> String {
    signs(name, Style::default())
}

fn per_cent(share: f64) -> String {
    format!("{:.0}\u{a0}%", 100.0 * share)
}

/// A share as a bar of the width of its cell; its number stands beside it.
fn bar(share: f64) -> Markup {
    html! {
        svg.bar viewBox="0 0 100 8" preserveAspectRatio="none" aria-hidden="true" {
            rect.bar-all width="100" height="8" {}
            rect.bar-part width=(format!("{:.1}", 100.0 * share.clamp(0.0, 1.0))) height="8" {}
        }
    }
}

fn tallies<'a>(what: &str, rows: impl Iterator<Item = (String, &'a Tally)>) -> Markup {
    html! {
        table.practice {
            thead { tr { th scope="col" { (what) } th scope="col" { "Right" } td {} th scope="col" { "Seconds" } th scope="col" { "Attempts" } } }
            tbody { @for (name, tally) in rows {
                tr {
                    th scope="row" { (name) }
                    td { (tally.accuracy().map_or("–".to_owned(), per_cent)) }
                    td { @if let Some(share) = tally.accuracy() { (bar(share)) } }
                    td { (tally.mean_time().map_or("–".to_owned(), |time| format!("{time:.1}"))) }
                    td { (tally.attempts()) }
                }
            } }
        }
    }
}

/// The weeks since the first that is shown and not empty, this one last.
fn weeks(overview: &Overview, today: i32) -> Markup {
    let weeks = overview.weeks(today, WEEKS);
    let total = |week: &[u32; 3]| week.iter().sum::<u32>();
    let empty = weeks.iter().take_while(|week| total(week) == 0).count();
    let most = weeks.iter().map(total).max().unwrap_or(0);
    let name = |place: usize| match WEEKS - 1 - place {
        0 => "this week".to_owned(),
        1 => "last week".to_owned(),
        ago => format!("{ago} weeks ago"),
    };
    html! {
        @if most > 0 {
            h2 { "By week" }
            table.practice {
                thead { tr { th scope="col" { "Week" } th scope="col" { "Right" } td {} th scope="col" { "Attempts" } td {} } }
                tbody { @for (place, week) in weeks.iter().enumerate().skip(empty) {
                    @let told = week[0] + week[1];
                    @let share = f64::from(week[0]) / f64::from(told.max(1));
                    tr {
                        th scope="row" { (name(place)) }
                        td { @if told > 0 { (per_cent(share)) } @else { "–" } }
                        td { @if told > 0 { (bar(share)) } }
                        td { (total(week)) }
                        td { (bar(f64::from(total(week)) / f64::from(most))) }
                    }
                } }
            }
        }
    }
}

fn slips(overview: &Overview) -> Markup {
    html! {
        @if !overview.slips.is_empty() {
            h2 { "Slips most made" }
            table.practice {
                thead { tr { th scope="col" { "Chord" } th scope="col" { "Slip" } th scope="col" { "Times" } } }
                tbody { @for slip in overview.slips.iter().take(ROWS) {
                    tr { th scope="row" { (with_signs(&chord_name(slip.root, &slip.chord_type))) } td { (slip.word) } td { (slip.count) } }
                } }
            }
        }
    }
}

fn due(overview: &Overview, today: i32) -> Markup {
    let left_out = overview.items.len().saturating_sub(ROWS);
    html! {
        h2 { "Due next" }
        table.practice {
            thead { tr { th scope="col" { "Chord" } th scope="col" { "Form" } th scope="col" { "When" } th scope="col" { "Chance that it goes well" } } }
            tbody { @for item in overview.items.iter().take(ROWS) {
                tr {
                    th scope="row" { (with_signs(&chord_name(item.root, &item.chord_type))) }
                    td { (item.form) }
                    td { (when(item, today)) }
                    td { (item.recall.map_or("–".to_owned(), per_cent)) }
                }
            } }
        }
        @if left_out > 0 { p.soft { "And " (left_out) " more, due later." } }
    }
}
