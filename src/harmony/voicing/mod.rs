//! Voicing: which keys.
//!
//! Input: notes or symbols as a player types them. Output: [`typed::Typed`] voicings, one of them in all twelve keys; playable voicings of a
//! symbol ([`shapes`]), those of a progression led smoothly ([`leading`]).
//! Units: MIDI numbers. Method: see the modules. Limits: see the modules.

pub mod all_keys;
pub mod hands;
pub mod leading;
pub mod shapes;
pub mod typed;
