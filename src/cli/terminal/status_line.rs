//! One line that says how things stand, over and over.
//!
//! Input: a line. Output: on a terminal the line in the place of the one before, elsewhere a line of its own. Units: none.
//! Method: carriage return. Limits: a shorter line must be padded by whoever writes it.

use crate::cli::CliError;
use std::io::Write;

/// Shows `line` now.
pub fn show(out: &mut impl Write, terminal: bool, line: &str) -> Result<(), CliError> {
    let written = if terminal {
        write!(out, "\r{line}")
    } else {
        writeln!(out, "{line}")
    };
    written
        .and_then(|()| out.flush())
        .map_err(CliError::from_stdout)
}

/// Leaves the last line standing.
pub fn end(out: &mut impl Write, terminal: bool) -> Result<(), CliError> {
    if terminal {
        writeln!(out).map_err(CliError::from_stdout)?;
    }
    Ok(())
}
