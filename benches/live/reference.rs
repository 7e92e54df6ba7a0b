//! What listening takes without a sound server and a screen: the windows, the hops, the rules.
//!
//! Input: a clip's samples. Output: the answers that would be shown, in sample time. Units: seconds from the start of the clip.
//! Method: the listener and the smoothing policy of the screen, fed without waiting.
//! Limits: the listener starts anew with each clip, while the live one has heard the clips before.

use crate::shown::shown;
use crate::terminal::Screen;

/// Silence after a clip, seconds.
const AFTER: f64 = 1.0;

/// The changes of the answer: when, and what would stand on the screen.
pub fn answers(samples: &[f32]) -> Vec<(f64, Screen)> {
    shown(samples, AFTER)
        .into_iter()
        .map(|change| {
            let screen = Screen {
                answer: change.answer,
                ..Screen::default()
            };
            (change.at, screen)
        })
        .collect()
}
