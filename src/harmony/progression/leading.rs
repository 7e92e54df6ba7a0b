//! Voice leading from one chord of a progression to the next.
//!
//! Input: two [`Naming`]s. Output: one [`VoiceStep`] a voice. Units: half steps, negative is down.
//! Method: of two voicings of as many keys each key goes to the one in its place; else every note takes the nearest of the next chord, of two equally
//! near ones the lower. Limits: a voice that enters or leaves is not told.

use crate::harmony::named::{Naming, VoiceStep};
use crate::harmony::pitch::{Degree, PitchSet, Spelled};
use crate::harmony::readings::resolution::nearest;

/// How each voice of `from` gets to `to`, lowest first; empty where one of them has no name.
pub fn voice_leading(from: &Naming, to: &Naming) -> Vec<VoiceStep> {
    if !from.notes.is_empty() && from.notes.len() == to.notes.len() {
        let pairs = from.notes.iter().zip(&to.notes);
        return pairs
            .filter_map(|(a, b)| {
                let half_steps = (b.midi - a.midi).0;
                Some(VoiceStep {
                    from: a.name,
                    to: b.name,
                    half_steps: i8::try_from(half_steps).ok()?,
                })
            })
            .collect();
    }
    let (Some(first), Some(second)) = (from.names.first(), to.names.first()) else {
        return Vec::new();
    };
    let goals: PitchSet = second
        .degrees
        .iter()
        .map(|(name, _)| name.class())
        .collect();
    let step = |&(name, _): &(Spelled, Degree)| {
        let half_steps = nearest(name.class(), goals);
        let landed = name.class().up(i32::from(half_steps));
        let to = second.degrees.iter().find(|(to, _)| to.class() == landed);
        to.map(|&(to, _)| VoiceStep {
            from: name,
            to,
            half_steps,
        })
    };
    first.degrees.iter().filter_map(step).collect()
}
