//! `lidprop soundcheck`: inputs, level, noise.

use super::CommandResult;
use clap::Args;

/// Lists the inputs and shows the level of the chosen one.
#[derive(Debug, Args)]
pub struct SoundcheckArgs {
    /// The input to check, or a part of its name.
    #[arg(long, value_name = "NAME")]
    pub device: Option<String>,
}

/// Runs the command.
///
/// # Errors
/// If there is no such input, or it cannot be opened.
pub fn run(_args: &SoundcheckArgs) -> CommandResult {
    Ok(())
}
