//! One line that says how things stand, over and over.
//!
//! Input: a line. Output: on a terminal the line in the place of the one before, elsewhere a line of its own. Units: none.
//! Method: carriage return; cut and filled up to the width of the terminal. Limits: the width is that of when it began.

use crate::cli::CliError;
use crate::view::ink::{Ink, draws_screens};
use std::io::Write;
use std::time::Duration;

/// How often it is shown in place on a terminal.
const EVERY_ON_TERMINAL: Duration = Duration::from_millis(100);

/// The line, and when it was shown last.
#[derive(Debug)]
pub struct StatusLine {
    /// Columns of the terminal that are filled; `None` elsewhere.
    columns: Option<usize>,
    every: Duration,
    shown: Duration,
}

impl StatusLine {
    /// On standard output; where that is no terminal, a line is due once in so long.
    pub fn new(every_in_lines: Duration) -> Self {
        let on_terminal = draws_screens();
        Self {
            columns: on_terminal.then(|| usize::from(Ink::of_stdout().columns).saturating_sub(1)),
            every: if on_terminal {
                EVERY_ON_TERMINAL
            } else {
                every_in_lines
            },
            shown: Duration::ZERO,
        }
    }

    /// True if it is to be shown at `now`, which then counts as done.
    pub fn is_due(&mut self, now: Duration) -> bool {
        let due = now >= self.shown + self.every;
        if due {
            self.shown = now;
        }
        due
    }

    /// Shows `line` now.
    ///
    /// # Errors
    /// If `out` cannot be written to.
    pub fn show(&self, out: &mut impl Write, line: &str) -> Result<(), CliError> {
        let written = match self.columns {
            Some(columns) => {
                let cut: String = line.chars().take(columns).collect();
                write!(out, "\r{cut:columns$}")
            }
            None => writeln!(out, "{line}"),
        };
        written
            .and_then(|()| out.flush())
            .map_err(CliError::from_stdout)
    }

    /// Leaves the last line standing.
    ///
    /// # Errors
    /// If `out` cannot be written to.
    pub fn end(&self, out: &mut impl Write) -> Result<(), CliError> {
        match self.columns {
            Some(_) => writeln!(out).map_err(CliError::from_stdout),
            None => Ok(()),
        }
    }
}
