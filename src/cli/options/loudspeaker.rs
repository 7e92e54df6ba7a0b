//! Options of commands that play through the loudspeaker.
//!
//! Input: option texts, the user's answer. Output: how loud, and whether it may sound at all. Units: dBFS.
//! Method: before the first tone ever the user confirms that the loudspeaker is turned down; that is kept in the data folder, for all commands.
//! Limits: how loud the system plays what it is given, nobody here knows.

use crate::cli::error::{CliError, CommandResult};
use crate::store::file::{make_private_folder, write_private};
use crate::store::logbook::Logbook;
use crate::tone::SAFE_LEVEL;
use crate::units::Dbfs;
use crate::view::ink::in_columns_of;
use clap::Args;
use std::io::{self, IsTerminal, Write};
use std::path::PathBuf;

/// The group of the option by which a command plays aloud: each has one.
pub const ALOUD: &str = "aloud";
/// Louder than this no tone is played: full scale less 6 dB.
const LOUDEST: f64 = -6.0;
/// Quieter than this nothing is heard.
const QUIETEST: f64 = -60.0;

fn parse_volume(text: &str) -> Result<f64, String> {
    let volume = text
        .parse()
        .ok()
        .filter(|volume| (QUIETEST..=LOUDEST).contains(volume));
    volume.ok_or_else(|| format!("give {QUIETEST} to {LOUDEST} dBFS"))
}

/// How loud, and whether it may sound.
#[derive(Debug, Clone, Args)]
pub struct LoudspeakerOptions {
    /// How loud the tone is, in dBFS; without it, -24
    #[arg(long, value_name = "DB", allow_hyphen_values = true, value_parser = parse_volume)]
    pub volume: Option<f64>,

    /// You have turned the loudspeaker down: play without asking
    #[arg(long, requires = ALOUD)]
    pub sound_is_safe: bool,
}

impl LoudspeakerOptions {
    /// How loud.
    pub fn level(&self) -> Dbfs {
        self.volume.map_or(SAFE_LEVEL, Dbfs::new)
    }

    /// Before the first tone ever the player confirms that the loudspeaker is turned down; until then nothing sounds.
    ///
    /// # Errors
    /// If it is not confirmed.
    pub fn confirm(&self) -> CommandResult {
        let path = confirmed_at()?;
        if path.exists() {
            return Ok(());
        }
        if !self.sound_is_safe && !asked()? {
            return Err(CliError::Usage(
                "no tone is played before you have turned the loudspeaker or headphones down; then add --sound-is-safe once".to_owned(),
            ));
        }
        if let Some(folder) = path.parent() {
            make_private_folder(folder).map_err(CliError::failed)?;
        }
        write_private(&path, |out| {
            writeln!(out, "The loudspeaker was turned down.")
        })
        .map_err(CliError::failed)
    }
}

/// Where it is kept that the player has turned the loudspeaker down once.
fn confirmed_at() -> Result<PathBuf, CliError> {
    Ok(Logbook::path_of_user()?.with_file_name("sound-is-safe"))
}

fn asked() -> Result<bool, CliError> {
    if !io::stdin().is_terminal() {
        return Ok(false);
    }
    let mut out = io::stdout();
    let question = "Chords will be played through your loudspeaker or headphones. Turn them down now, and take headphones off until you have heard the first.\n\
         Have you? (yes/no) ";
    write!(out, "{}", in_columns_of(&out, question))
        .and_then(|()| out.flush())
        .map_err(CliError::from_stdout)?;
    let mut line = String::new();
    let read = io::stdin().read_line(&mut line);
    Ok(read.is_ok() && line.trim().eq_ignore_ascii_case("yes"))
}
