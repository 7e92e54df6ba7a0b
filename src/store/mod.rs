//! Store: what is kept on the disk.
//!
//! Input: results and learned pianos. Output: files, whole or not at all; what was kept, read back.
//! Units: none. Method: see the modules; each has an error of its own that says what happened, and leaves commands to whoever has some.
//! Limits: one user's data folder; no locks between programs but those of the logbook.

pub mod file;
pub mod lines;
pub mod logbook;
pub mod pianos;
