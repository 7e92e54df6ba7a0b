//! `lidprop hear`: listens and names the chords as they are played.

use super::CommandResult;
use clap::Args;

/// Listens to the piano and names what is played.
#[derive(Debug, Args)]
pub struct HearArgs {
    /// The input to listen to, or a part of its name; without it, the system's default.
    #[arg(long, value_name = "NAME")]
    pub device: Option<String>,
}

/// Runs the command.
///
/// # Errors
/// If there is no such input, or it cannot be opened.
pub fn run(_args: &HearArgs) -> CommandResult {
    Ok(())
}
