//! `lidprop name`: the names and readings of typed notes.

use super::CommandResult;
use clap::Args;

/// Names typed notes and says what they can stand for.
#[derive(Debug, Args)]
pub struct NameArgs {
    /// Notes (D4, F#, Bb3) or MIDI numbers, lowest first.
    #[arg(required = true)]
    pub notes: Vec<String>,
}

/// Runs the command.
///
/// # Errors
/// If a note name is none, or nothing could be written.
pub fn run(_args: &NameArgs) -> CommandResult {
    Ok(())
}
