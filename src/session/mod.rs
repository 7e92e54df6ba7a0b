//! Sessions: the use cases as threads and loops, for any program that wants them.
//!
//! Input: a recording, a sound input, a pass over the keys. Output: what was heard, or news of it while it is heard.
//! Units: as each states. Method: [`recording`] reads a file, `live` owns the listening thread (with it `pace` and `last_minute`),
//! [`lesson`] learns a piano,
//! [`contained`] keeps a fault of lidprop to the work in which it showed. Each has an error of its own that says what happened; what to do about it is said where commands are known.
//! Limits: draws nothing, prints nothing, knows no options.

pub mod contained;
#[cfg(feature = "live")]
pub mod last_minute;
pub mod lesson;
#[cfg(feature = "live")]
pub mod live;
#[cfg(feature = "live")]
pub mod pace;
pub mod recording;
#[cfg(feature = "live")]
pub mod steady_listener;
