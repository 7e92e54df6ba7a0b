//! `lidprop logbook`: what was practised, how it goes, what is due.
//!
//! Input: the user's logbook. Output: tables, CSV, JSON, a page; an export; deletion. Units: as the columns say.
//! Method: [`crate::store::logbook`]. Limits: one logbook a user of the system; players share it.

use super::clock::{Moment, day_text};
use super::drill::PLAYER;
use super::error::{CliError, CommandResult};
use super::targets::must_be_own;
use crate::harmony::{PitchClass, Spelled};
use crate::practice::tally::Overview;
use crate::publish::practice::write_page;
use crate::store::file::write_private;
use crate::store::logbook::{EXPORT_FORMAT, Logbook, LogbookError};
use crate::units::count::plural;
use crate::view::ink::Ink;
use crate::view::logbook::print_overview;
use clap::{Args, ValueEnum};
use std::fs::File;
use std::io::{self, BufReader, IsTerminal, Write};
use std::path::{Path, PathBuf};

/// Shows what was practised, how it goes and what is due next
#[derive(Debug, Args)]
#[command(after_long_help = "\
The logbook lies in your data folder and can be read by you alone; nothing of it leaves your computer. What is due follows FSRS-6, a published schedule of
spaced repetition. An export has one line of JSON per attempt and can be taken in on another computer; no attempt is taken in twice.")]
pub struct LogbookArgs {
    /// Whose practice is shown
    #[arg(long, value_name = "NAME", default_value = PLAYER, conflicts_with_all = ["players", "export", "import", "forget", "yes"])]
    pub player: String,

    /// List everybody who has played
    #[arg(long, conflicts_with_all = ["write", "export", "import", "forget", "yes"])]
    pub players: bool,

    /// Write this instead of the text
    #[arg(long, value_name = "FORMAT")]
    pub write: Option<LogbookFormat>,

    /// Write every attempt of every player to this file
    #[arg(long, value_name = "FILE", conflicts_with_all = ["write", "import", "forget"])]
    pub export: Option<PathBuf>,

    /// Take in what another logbook has exported
    #[arg(long, value_name = "FILE", conflicts_with_all = ["write", "forget"])]
    pub import: Option<PathBuf>,

    /// Delete all that is kept of this player, after asking
    #[arg(long, value_name = "NAME", conflicts_with = "write")]
    pub forget: Option<String>,

    /// Delete without asking
    #[arg(long, requires = "forget", conflicts_with_all = ["write", "export", "import"])]
    pub yes: bool,
}

/// A format of the logbook.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum LogbookFormat {
    /// A row for each chord in each form on each root
    Csv,
    /// All that the tables are made of
    Json,
    /// One HTML file to look at or to print: tables with bars
    Page,
}

/// Runs the command.
///
/// # Errors
/// If the logbook cannot be used, or a file or standard output not be written.
pub fn run(args: &LogbookArgs) -> CommandResult {
    let mut logbook = Logbook::open(&Logbook::path_of_user()?)?;
    if let Some(path) = &args.export {
        return export(&logbook, path);
    }
    if let Some(path) = &args.import {
        return import(&mut logbook, path);
    }
    if let Some(player) = &args.forget {
        return forget(&mut logbook, player, args.yes);
    }
    let mut out = io::stdout();
    if args.players {
        let players = logbook.players()?;
        return players
            .iter()
            .try_for_each(|player| writeln!(out, "{player}"))
            .map_err(CliError::from_stdout);
    }
    let today = Moment::now().day;
    let overview = logbook.overview(&args.player, today)?;
    if overview.items.is_empty() && args.write.is_none() {
        return Err(nothing_kept(&logbook, &args.player)?);
    }
    match args.write {
        None => print_overview(&overview, today, Ink::of_stdout(), &mut out),
        Some(LogbookFormat::Json) => serde_json::to_writer_pretty(&mut out, &overview)
            .map_err(io::Error::from)
            .and_then(|()| writeln!(out)),
        Some(LogbookFormat::Csv) => write_csv(&overview, &mut out),
        Some(LogbookFormat::Page) => {
            let date = day_text(today).unwrap_or_default();
            write_page(&overview, today, &date, &mut out)
        }
    }
    .map_err(CliError::from_stdout)
}

fn nothing_kept(logbook: &Logbook, player: &str) -> Result<CliError, LogbookError> {
    let players = logbook.players()?;
    let sentence = if players.is_empty() {
        "the logbook is empty; practise with `lidprop drill`, or keep a recording with --keep of `lidprop drill --from FILE`".to_owned()
    } else {
        format!(
            "nothing is kept of '{player}'; give one of the players there are: {}",
            players.join(", ")
        )
    };
    Ok(CliError::failed(sentence))
}

fn write_csv(overview: &Overview, out: &mut impl Write) -> io::Result<()> {
    let mut table = csv::Writer::from_writer(out);
    table.write_record([
        "chord_type",
        "root",
        "form",
        "right",
        "slip",
        "unsure",
        "accuracy",
        "mean_seconds",
        "right_in_a_row",
        "due",
        "recall",
    ])?;
    for item in &overview.items {
        let number = |x: Option<f64>| x.map(|x| format!("{x:.3}")).unwrap_or_default();
        let root = Spelled::usual(PitchClass::new(item.root.into())).name();
        table.write_record([
            item.chord_type.as_str(),
            root,
            &item.form,
            &item.tally.right.to_string(),
            &item.tally.slip.to_string(),
            &item.tally.unsure.to_string(),
            &number(item.tally.accuracy()),
            &number(item.tally.mean_time()),
            &item.run.to_string(),
            &item.due_day.and_then(day_text).unwrap_or_default(),
            &number(item.recall),
        ])?;
    }
    table.flush()
}

fn export(logbook: &Logbook, path: &Path) -> CommandResult {
    let mut failed = None;
    let mut count = 0;
    must_be_own(path, EXPORT_FORMAT).map_err(CliError::Failed)?;
    let written = write_private(path, |out| match logbook.export(None, out) {
        Ok(written) => {
            count = written?;
            Ok(())
        }
        Err(error) => {
            failed = Some(error);
            Err(io::Error::other("the logbook cannot be read"))
        }
    });
    if let Some(error) = failed {
        return Err(error.into());
    }
    written.map_err(CliError::failed)?;
    say(&format!(
        "{} written to {}",
        plural(count, "attempt"),
        path.display()
    ))
}

fn import(logbook: &mut Logbook, path: &Path) -> CommandResult {
    let file = File::open(path).map_err(|error| {
        CliError::failed(format!(
            "{}: it cannot be read ({error}); check the spelling and the folder",
            path.display()
        ))
    })?;
    let new = logbook.import(BufReader::new(file))?;
    say(&format!(
        "{} taken in from {}",
        plural(new, "new attempt"),
        path.display()
    ))
}

fn forget(logbook: &mut Logbook, player: &str, without_asking: bool) -> CommandResult {
    if !logbook.players()?.iter().any(|known| known == player) {
        return Err(nothing_kept(logbook, player)?);
    }
    if !without_asking && !confirmed(player)? {
        return say("nothing was deleted");
    }
    let attempts = logbook.forget(player)?;
    say(&format!(
        "{} of {player} deleted",
        plural(attempts, "attempt")
    ))
}

/// Asks on the terminal; the name must be typed again.
fn confirmed(player: &str) -> Result<bool, CliError> {
    if !io::stdin().is_terminal() {
        return Err(CliError::Usage(format!(
            "deleting all that is kept of '{player}' has to be confirmed; run it on a terminal, or add --yes"
        )));
    }
    say(&format!(
        "This deletes all that is kept of {player} for good. Type the name again to confirm:"
    ))?;
    let mut line = String::new();
    let read = io::stdin().read_line(&mut line);
    Ok(read.is_ok() && line.trim() == player)
}

fn say(line: &str) -> CommandResult {
    writeln!(io::stdout(), "{line}").map_err(CliError::from_stdout)
}
