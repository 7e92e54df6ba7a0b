//! Options that say which piano is heard, shared by all commands that listen.
//!
//! Input: option texts. Output: how to listen. Units: hertz. Method: a learned piano is read from the user's data folder.
//! Limits: none.

use crate::cli::error::CliError;
use crate::listener::ListenerOptions;
use crate::store::pianos;
use crate::units::Hertz;
use clap::Args;
use std::sync::Arc;

/// Which piano is heard.
#[derive(Debug, Clone, Args)]
pub struct PianoOptions {
    /// Pitch of A4 to start from, in hertz; without it, it is found from the sound
    #[arg(long, value_name = "HZ", value_parser = parse_a4)]
    pub a4: Option<Hertz>,

    /// A piano that `lidprop soundcheck --learn NAME` has learned
    #[arg(long, value_name = "NAME")]
    pub piano: Option<String>,
}

impl PianoOptions {
    /// How to listen to this piano.
    ///
    /// # Errors
    /// If no piano of that name is kept, or what is kept cannot be read.
    pub fn listening(&self) -> Result<ListenerOptions, CliError> {
        let piano = self.piano.as_deref().map(pianos::load).transpose()?;
        Ok(ListenerOptions {
            a4: self.a4,
            piano: piano.map(Arc::new),
            ..ListenerOptions::default()
        })
    }
}

/// Pitches of A4 that are taken for a piano's, hertz: two whole tones either side of 440.
const A4_RANGE: std::ops::RangeInclusive<f64> = 350.0..=555.0;

fn parse_a4(text: &str) -> Result<Hertz, String> {
    text.parse()
        .ok()
        .filter(|hertz| A4_RANGE.contains(hertz))
        .and_then(|hertz| Hertz::new(hertz).ok())
        .ok_or_else(|| {
            format!(
                "A4 of a piano lies between {} and {} Hz",
                A4_RANGE.start(),
                A4_RANGE.end()
            )
        })
}
