//! `lidprop take`: reads recordings.

use super::CommandResult;
use clap::Args;
use std::path::PathBuf;

/// Reads recordings and writes the chart of what is played.
#[derive(Debug, Args)]
pub struct TakeArgs {
    /// Recordings to read: WAV, FLAC, MP3, M4A (AAC, ALAC) or OGG Vorbis, told by content.
    #[arg(required = true, value_name = "FILE")]
    pub files: Vec<PathBuf>,
}

/// Runs the command.
///
/// # Errors
/// If a file could not be read or its result not be written.
pub fn run(_args: &TakeArgs) -> CommandResult {
    Ok(())
}
