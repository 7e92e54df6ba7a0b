//! Voicing: which keys.
//!
//! Input: notes or symbols as a player types them. Output: [`typed::Typed`] voicings, one of them in all twelve keys.
//! Units: MIDI numbers. Method: see the modules. Limits: see the modules.

pub mod all_keys;
pub mod typed;
