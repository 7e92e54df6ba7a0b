//! A reading before its notes are named, and what it is made from.
//!
//! Input: what sounds, its names, speller and context ([`Scene`]). Output: [`Draft`]s with their reason ([`Reason`]).
//! Units: costs in natural-log units. Method: plain data, filled by one function a kind of reading.
//! Limits: none.

use crate::harmony::chord::Chord;
use crate::harmony::context::Context;
use crate::harmony::named::ReadingKind;
use crate::harmony::pitch::{PitchClass, PitchSet};
use crate::harmony::sounding::Voicing;
use crate::harmony::speller::Speller;

/// What the readings are made from.
pub(crate) struct Scene<'a> {
    pub heard: Voicing,
    /// The names it can have, best first, with what each costs more than the best.
    pub names: &'a [(Chord, f32)],
    pub speller: &'a Speller,
    pub context: &'a Context,
}

impl Scene<'_> {
    /// The best name.
    pub fn best(&self) -> Option<Chord> {
        self.names.first().map(|&(chord, _)| chord)
    }

    /// True if the next chord stands on this root.
    pub fn falls_to(&self, root: PitchClass) -> bool {
        self.context
            .after
            .is_some_and(|after| after.root.class() == root)
    }
}

/// A reading before its notes are named.
#[derive(Debug, Clone)]
pub(crate) struct Draft {
    pub kind: ReadingKind,
    /// The chord it stands for.
    pub chord: Chord,
    /// More chords of the same family, roots only.
    pub family: Vec<PitchClass>,
    /// Lower is likelier.
    pub cost: f32,
    /// Where it goes, likeliest first.
    pub targets: [Option<Chord>; 3],
    pub why: Reason,
}

/// The reason of a reading; its notes are named only if it is listed.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Reason {
    GuideTones,
    Suspended,
    Second,
    Itself,
    RootInBass,
    SeventhAndTensions,
    TritonePair,
    /// Roots of the major and of the minor triads over the guide tones.
    Upper([PitchSet; 2]),
    TriadOverBass,
    Enriches(PitchClass),
    Delays,
    HalfWhole,
    CommonTone,
    PassingUp,
    PassingDown,
    Auxiliary,
    Rootless,
    Fourths(PitchClass),
}
