//! Stand-ins: which chord could go here, what it keeps of the chord it stands for, and whether it collides with the melody.
//!
//! Input: a [`Tune`] (chords with their lengths, a melody if there is one). Output: [`StandIn`]s for one chord ([`stand_ins`]), or several at once
//! over the whole tune ([`reharmonise`]). Units: beats; steps out of the key 0 to 5 ([`StandIn::out`]); costs in natural-log units.
//! Method: our own search. Every chord of the vocabulary on every root, also over other basses, as a triad over a dominant and as a chord led into by
//! another, is held against the function of the original ([`relation`](self)): what keeps it is a candidate, weighed by how usual the device is, by
//! voice leading to both neighbours and by the melody. Sources of the devices stand with each of them ([`Device::source`]).
//! Limits: chords of the original are taken as stated; rhythm and form beyond the beat are not looked at.

mod against;
mod answers;
mod candidates;
mod costs;
mod device;
mod melody;
mod nearest;
mod path;
mod recognised;
mod relation;
mod slot;
mod stand_in;
mod tune;
mod weigh;

pub use answers::{over_melody, rejected, stand_ins};
pub use device::{Device, Usage};
pub use melody::{NoteStanding, SungOver, standing};
pub use nearest::nearest;
pub use path::{Reharmonised, reharmonise};
pub use recognised::{Expected, Recognised, expected, recognised};
pub use slot::{Job, key_at};
pub use stand_in::{FARTHEST, Kept, Part, StandIn, Wish};
pub use tune::{MelodyNote, Stress, Sung, Tune, TuneBar, TuneChord, TuneError};
