//! The profile of one piano as it is kept.
//!
//! Input and output: JSON by serde, schema `lidprop-piano/1`. Units: as each field says. Method: our own.
//! Limits: a profile holds for one piano in one room with one microphone, until the piano is tuned again.

use super::beating::Beating;
use super::decay::Decay;
use crate::spectrum::LOG_BINS;
use crate::units::{Hertz, MidiNote};
use serde::{Deserialize, Serialize};

/// The name of this version of the profile.
pub const SCHEMA: &str = "lidprop-piano/1";

/// Why a text is no profile.
#[derive(Debug, thiserror::Error)]
pub enum ProfileError {
    /// It is no JSON of this shape.
    #[error("it cannot be read ({0})")]
    Unreadable(#[from] serde_json::Error),
    /// It is of another version.
    #[error("it is of the schema {0:?}, not {SCHEMA:?}")]
    OtherSchema(String),
    /// A key or a value is none of a piano.
    #[error("{0} is no value of a piano's key")]
    OutOfRange(String),
}

/// What was learned of one piano.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PianoProfile {
    /// Always [`SCHEMA`].
    pub schema: String,
    /// The name its user gave it.
    pub name: String,
    /// Frequency of A4 when it was learned.
    pub a4: Hertz,
    /// Learned keys, lowest first.
    pub keys: Vec<KeyProfile>,
}

/// What was learned of one key.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct KeyProfile {
    /// The key.
    pub midi: MidiNote,
    /// The first partial's distance from equal temperament at the profile's A4, in cents.
    pub cents: f64,
    /// Stiffness B of `f_n = n f_0 sqrt(1 + B n^2)`.
    pub stiffness: f64,
    /// How it dies away; `None` where it was not held long enough to tell.
    pub decay: Option<Decay>,
    /// Levels of the partials from the first, in dB below the strongest; `None` where one did not stand out.
    pub partials_db: Vec<Option<f64>>,
    /// The sustained note on the log-frequency axis ([`crate::spectrum`], long window), in whole dB below its strongest row; `None` where
    /// other keys sounded with it.
    pub spectrum_db: Option<Vec<u8>>,
    /// How its unisons beat; `None` where they do not.
    pub beating: Option<Beating>,
    /// How surely its note was heard: log-odds of the note's confidence.
    pub own_log_odds: f64,
    /// Strikes it was learned from.
    pub strikes: u32,
}

impl PianoProfile {
    /// Reads what was kept.
    ///
    /// # Errors
    /// If the text is no profile of this version, or a value lies beyond any piano.
    pub fn from_json(text: &[u8]) -> Result<Self, ProfileError> {
        #[derive(Deserialize)]
        struct Version {
            schema: String,
        }
        let Version { schema } = serde_json::from_slice(text)?;
        if schema != SCHEMA {
            return Err(ProfileError::OtherSchema(schema));
        }
        let profile: Self = serde_json::from_slice(text)?;
        for key in &profile.keys {
            let midi = key.midi.get();
            let checks = [
                ("midi", f64::from(midi), 21.0..=108.0),
                ("cents", key.cents, -100.0..=100.0),
                ("stiffness", key.stiffness, 1e-6..=0.5),
                ("own_log_odds", key.own_log_odds, -40.0..=40.0),
            ];
            let rows = key.spectrum_db.as_ref().map_or(LOG_BINS, Vec::len);
            if rows != LOG_BINS {
                let key = format!("a spectrum of {rows} rows (key {midi})");
                return Err(ProfileError::OutOfRange(key));
            }
            for (what, value, allowed) in checks {
                if !allowed.contains(&value) {
                    let key = format!("{what} = {value} (key {midi})");
                    return Err(ProfileError::OutOfRange(key));
                }
            }
        }
        Ok(profile)
    }
}
