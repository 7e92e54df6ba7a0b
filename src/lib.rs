//! Hears an acoustic piano: finds the keys that sound, ranks the names the chord can have and says what it stands for.
//!
//! The modules stand in the order in which sound flows. Imports point up this list only.
//!
//! ```text
//! microphone (cpal -> ring buffer) ┐
//!                                  ├> blocks of mono samples -> Listener -> events -> views and files
//! audio file (decode, resample)    ┘
//! ```

pub mod units;

pub mod answer;
pub mod audio;
pub mod chart;
pub mod cli;
pub mod harmony;
pub mod listener;
pub mod notes;
pub mod piano;
pub mod publish;
pub mod session;
pub mod spectrum;
pub mod store;
pub mod view;
