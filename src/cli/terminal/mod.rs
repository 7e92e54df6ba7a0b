//! The terminal while something is heard: the live screen, and a line that says how things stand.
//!
//! Input: news of the listening thread, keys, lines. Output: what the terminal shows.
//! Units: none. Method: see the modules. Limits: needs live sound.

pub(super) mod screen;
pub(super) mod status_line;
