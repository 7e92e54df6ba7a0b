//! A tempo as an option.
//!
//! Input: option text. Output: beats per minute. Units: beats per minute. Method: within [`TEMPOS`]. Limits: none.

use crate::practice::plan::TEMPOS;

/// Reads a tempo.
///
/// # Errors
/// The sentence that says what is allowed.
pub fn parse_tempo(text: &str) -> Result<f64, String> {
    let tempo = text.parse().ok().filter(|tempo| TEMPOS.contains(tempo));
    tempo.ok_or_else(|| {
        format!(
            "give {} to {} beats per minute",
            TEMPOS.start(),
            TEMPOS.end()
        )
    })
}
