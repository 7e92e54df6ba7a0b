//! Sessions: the use cases as threads and loops, for any program that wants them.
//!
//! Input: a recording, a sound input, a pass over the keys. Output: what was heard, or news of it while it is heard.
//! Units: as each states. Method: [`recording`] reads a file ([`kept_sound`] keeps its sound where a page wants it, [`done`] tells whether its result is there already), [`input`] is the one loop that reads a sound input, [`live`] the listening thread
//! that runs it (with it [`pace`], [`steady_listener`] and [`last_minute`]), [`lesson`] learns a piano, [`drilled`] marks a recording,
//! [`contained`] keeps a fault of lidprop to the work in which it showed. Each has an error of its own that says what happened; what to do
//! about it is said where commands are known.
//! Limits: draws nothing, prints nothing, knows no options.

pub mod done;
pub mod drilled;
pub mod input;
pub mod kept_sound;
pub mod last_minute;
pub mod lesson;
pub mod live;
pub mod pace;
pub mod recording;
pub mod sitting;
pub mod steady_listener;

pub use crate::contained;
