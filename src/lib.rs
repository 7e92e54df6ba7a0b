//! Hears an acoustic piano: finds the keys that sound, ranks the names the chord can have and says what it stands for.
//!
//! ```text
//! microphone (cpal -> ring buffer) ┐
//!                                  ├> blocks of mono samples -> Listener -> events -> answers, charts, views and files
//! audio file (decode, resample)    ┘
//! ```
//!
//! The modules stand in the order of their layers: each uses only modules above it. `tests/layers.rs` has the exact table and holds it.
//! What this page lists is for other programs; the other modules are the inside, open for the command, tests, benchmarks and examples, and may change.

// What comes from outside brings no panic: each `unwrap`, `expect` and `panic!` is refused by clippy or gives its reason.
#![cfg_attr(
    not(test),
    warn(clippy::unwrap_used, clippy::expect_used, clippy::panic)
)]

// What everything is counted in: samples, seconds, hertz, cents, keys, shares.
pub mod units;

// A fault, of lidprop or of a decoder, ends the work in which it shows and nothing else.
#[doc(hidden)]
pub mod contained;

// Recordings and microphones as one stream of mono samples.
pub mod audio;

// Samples as magnitudes on a log-frequency axis that follows the piano's tuning.
#[allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "it is given our own values only"
)]
#[doc(hidden)]
pub mod spectrum;

// One particular piano: what its own notes have taught.
#[doc(hidden)]
pub mod piano;

// A tone of struck strings of our own.
#[doc(hidden)]
pub mod tone;

// Which keys sound, frame by frame; when each was struck; which are held together.
#[allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "it is given our own values only"
)]
#[doc(hidden)]
pub mod notes;

// What a set of keys can be called, what it stands for, where it goes; knows nothing of sound.
pub mod harmony;

// What is played, read from notes: beats, bars, harmony, key, melody; knows nothing of sound.
#[allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "it is given our own values only"
)]
pub mod playing;

// The engine in which the stages of hearing meet: samples in, events out.
pub mod listener;

// What sounds now: one smoothed answer.
pub mod answer;

// What was heard over time, as one result document.
pub mod chart;

// What a player is asked for, how it is marked, when it is due again; knows no file and no clock.
#[doc(hidden)]
pub mod practice;

// The document and the live answer for eyes.
#[doc(hidden)]
pub mod view;

// The document written for other programs, and for paper.
pub mod publish;

// Whole files, learned pianos, the logbook.
#[doc(hidden)]
pub mod store;

// The use cases as threads and loops: read a recording, listen, learn a piano.
pub mod session;

// The command line: options, sentences, exit codes.
#[doc(hidden)]
pub mod cli;
