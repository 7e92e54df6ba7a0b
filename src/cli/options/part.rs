//! Options that say which part of a recording is meant.
//!
//! Input: option texts. Output: a [`Part`]. Units: times as `m:ss`, `h:mm:ss` or seconds from the start of the recording.
//! Method: see [`crate::units::clock`]. Limits: one part for all recordings of a call.

use crate::cli::error::CliError;
use crate::units::clock::{clock, parse_clock};
use crate::units::{Part, SampleRate, Seconds};
use clap::Args;

/// Which part of a recording.
#[derive(Debug, Clone, Args)]
pub struct PartOptions {
    /// Read from this time on, as 1:20, 1:02:03 or in seconds; times stay those of the whole recording
    #[arg(long, value_name = "TIME", value_parser = parse_clock)]
    pub from: Option<Seconds>,

    /// Read up to this time
    #[arg(long, value_name = "TIME", value_parser = parse_clock)]
    pub to: Option<Seconds>,
}

impl PartOptions {
    /// The part.
    ///
    /// # Errors
    /// If it ends before it begins.
    pub fn part(&self) -> Result<Part, CliError> {
        let position = |time: Seconds| time.frames(SampleRate::INTERNAL);
        let part = Part {
            from: self.from.map(position).unwrap_or_default(),
            to: self.to.map(position),
        };
        match self.to {
            Some(to) if position(to) <= part.from => Err(CliError::Usage(format!(
                "--to {} does not lie after --from {}; give a later time",
                clock(to),
                clock(self.from.unwrap_or(Seconds::ZERO))
            ))),
            _ => Ok(part),
        }
    }
}
