//! The key of a labelled piece, and how far another is right.

use lidprop::harmony::{Key, Mode, Spelled};
use serde_json::Value;
use std::error::Error;

/// A pitch class by its name.
///
/// # Errors
/// If it is none.
pub fn class(name: &str) -> Result<u8, Box<dyn Error>> {
    Ok(name.parse::<Spelled>()?.class().get())
}

/// Tonic and mode of the key of a clip.
///
/// # Errors
/// If it has none.
pub fn labelled_key(clip: &Value) -> Result<(u8, Mode), Box<dyn Error>> {
    let (tonic, mode) = clip["key"]
        .as_str()
        .ok_or("no key")?
        .split_once(':')
        .ok_or("no mode")?;
    let mode = if mode.starts_with("min") {
        Mode::Minor
    } else {
        Mode::Major
    };
    Ok((class(tonic)?, mode))
}

/// 1 for the labelled key, a half for its relative key.
pub fn key_score(key: Key, (tonic, mode): (u8, Mode)) -> f64 {
    let above = (12 + key.tonic.class().get() - tonic) % 12;
    match (key.mode == mode, mode, above) {
        (true, _, 0) => 1.0,
        (false, Mode::Major, 9) | (false, Mode::Minor, 3) => 0.5,
        _ => 0.0,
    }
}
