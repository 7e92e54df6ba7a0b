//! Options that say how the rhythm lies, where the user knows it.
//!
//! Input: option texts. Output: what is stated of tempo, meter and pickup. Units: beats per minute, beats.
//! Method: the meter as written at the head of a staff; of three eighths each, as in 6/8, a beat is a dotted quarter.
//! Limits: one tempo and one meter for the whole recording.

use crate::cli::error::CliError;
use crate::playing::StatedRhythm;
use clap::Args;

/// How the rhythm lies.
#[derive(Debug, Clone, Args)]
pub struct RhythmOptions {
    /// Tempo in beats per minute, where it is known; without it, beats are found
    #[arg(long, value_name = "BEATS", value_parser = parse_bpm)]
    pub bpm: Option<f64>,

    /// Metre, such as 3/4, where it is known; without it, bars are found
    #[arg(long, value_name = "METRE", alias = "meter", value_parser = parse_metre)]
    pub metre: Option<usize>,

    /// Beats before the first bar
    #[arg(long, value_name = "BEATS", requires = "metre")]
    pub pickup: Option<usize>,
}

impl RhythmOptions {
    /// What is stated.
    ///
    /// # Errors
    /// If the beats before the first bar fill one.
    pub fn stated(&self) -> Result<StatedRhythm, CliError> {
        if let (Some(beats), Some(pickup)) = (self.metre, self.pickup)
            && pickup >= beats
        {
            return Err(CliError::Usage(format!(
                "--pickup {pickup} is a whole bar of {beats} beats or more; give 0 to {}",
                beats - 1
            )));
        }
        Ok(StatedRhythm {
            bpm: self.bpm,
            meter: self.metre,
            pickup: self.pickup,
        })
    }
}

/// Slowest and fastest tempo that can be stated.
const SLOWEST: f64 = 40.0;
const FASTEST: f64 = 216.0;

fn parse_bpm(text: &str) -> Result<f64, String> {
    text.parse::<f64>()
        .ok()
        .filter(|bpm| (SLOWEST..=FASTEST).contains(bpm))
        .ok_or_else(|| format!("give beats per minute from {SLOWEST} to {FASTEST}, say 120"))
}

/// Most beats in a bar.
const MOST_BEATS: usize = 12;

/// Beats in a bar of this metre.
fn parse_metre(text: &str) -> Result<usize, String> {
    let number = |text: &str| text.trim().parse::<usize>().ok();
    let beats = text.split_once('/').and_then(|(above, below)| {
        let (above, below) = (number(above)?, number(below)?);
        match below {
            8 | 16 if above > 3 && above % 3 == 0 => Some(above / 3),
            2 | 4 | 8 | 16 => Some(above),
            _ => None,
        }
    });
    beats
        .filter(|beats| (2..=MOST_BEATS).contains(beats))
        .ok_or_else(|| "give a metre of two beats or more, say 4/4, 3/4 or 6/8".to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn metres_are_read_as_they_are_counted() {
        for (text, beats) in [
            ("4/4", 4),
            ("3/4", 3),
            ("2/2", 2),
            ("6/8", 2),
            ("12/8", 4),
            ("5/4", 5),
        ] {
            assert_eq!(parse_metre(text), Ok(beats), "{text}");
        }
        for text in ["4", "0/4", "4/0", "3/5", "x/4", "1/4", "400/4", ""] {
            assert!(parse_metre(text).is_err(), "{text}");
        }
        assert!(parse_bpm("120").is_ok() && parse_bpm("NaN").is_err() && parse_bpm("0").is_err());
    }
}
