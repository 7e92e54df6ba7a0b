//! A stand-in as it is told: its chords, what they are to the original, what they keep, how far out they go.
//!
//! Input: none; these are the types. Output: [`StandIn`] for whoever writes, shows or compares; [`Wish`], what the player asks for.
//! Units: beats, half steps, steps out 0 to [`FARTHEST`]. Method: plain data. Limits: nothing is written here.

use super::device::Device;
use super::melody::SungOver;
use crate::harmony::chord::Chord;
use crate::harmony::named::NotesByDegree;
use crate::harmony::pitch::{DegreeSet, Spelled};

/// How far out a stand-in can go at most.
pub const FARTHEST: u8 = 5;

/// What the player wishes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Wish {
    /// Answers wanted at most.
    pub most: usize,
    /// How far out to go: nothing beyond is told, and what goes as far comes first; `None` for anything, the usual first.
    pub out_to: Option<u8>,
}

impl Default for Wish {
    fn default() -> Self {
        Self {
            most: 5,
            out_to: None,
        }
    }
}

/// What is searched for: how many answers, how far out at most, and how far out is aimed at.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Search {
    pub most: usize,
    pub bound: Option<u8>,
    pub aim: Option<u8>,
}

impl From<&Wish> for Search {
    fn from(wish: &Wish) -> Self {
        Self {
            most: wish.most,
            bound: wish.out_to,
            aim: wish.out_to,
        }
    }
}

/// What of its function a stand-in keeps.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kept {
    /// It is a dominant of this root.
    Dominant(Spelled),
    /// It comes to this root from the side of the subdominant.
    SubdominantTo(Spelled),
    /// It prepares the dominant on this root.
    Prepares(Spelled),
    /// It is at home.
    Tonic,
    /// It is away from home.
    Subdominant,
    /// It leads into the next chord, on this root.
    LeadsTo(Spelled),
    /// It delays the chord that follows on its root.
    Delays,
    /// It colours what is there.
    Same,
    /// It leaves the function and comes back.
    Leaves,
}

impl Kept {
    /// In words.
    pub fn words(self) -> String {
        match self {
            Self::Dominant(goal) => format!("dominant of {goal}"),
            Self::SubdominantTo(goal) => format!("subdominant minor to {goal}"),
            Self::Prepares(dominant) => format!("prepares {dominant}7"),
            Self::Tonic => "tonic".into(),
            Self::Subdominant => "subdominant".into(),
            Self::LeadsTo(next) => format!("leads to {next}"),
            Self::Delays => "delays the tonic".into(),
            Self::Same => "same function".into(),
            Self::Leaves => "leaves the function and comes back".into(),
        }
    }
}

/// One of the chords that take a place.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// The chord.
    pub chord: Chord,
    /// Beats it lasts.
    pub beats: f32,
    /// Each note with its degree over the original, or over the dominant that the original stands for.
    pub degrees: NotesByDegree,
    /// The tensions among them.
    pub tensions: DegreeSet,
}

/// A stand-in for one chord.
#[derive(Debug, Clone, PartialEq)]
pub struct StandIn {
    /// The chords that take the place, in time; mostly one.
    pub parts: Vec<Part>,
    /// By what device.
    pub device: Device,
    /// What of the function is kept.
    pub kept: Kept,
    /// The chord that degrees are counted from.
    pub over: Chord,
    /// Notes shared with the original, as the stand-in spells them.
    pub common: Vec<Spelled>,
    /// Half steps that the voices move from the chord before; `None` at the start.
    pub from_before: Option<u8>,
    /// Half steps that they move to the chord after; `None` at the end.
    pub to_after: Option<u8>,
    /// How far out it goes, 0 to [`FARTHEST`].
    pub out: u8,
    /// What it costs: lower is likelier to be wanted.
    pub cost: f32,
    /// The melody over it.
    pub melody: Vec<SungOver>,
    /// The same in other forms: other colours, or beside the original where it stands alone.
    pub forms: Vec<Vec<Part>>,
}

impl StandIn {
    /// Its chords.
    pub fn chords(&self) -> impl Iterator<Item = Chord> + '_ {
        self.parts.iter().map(|part| part.chord)
    }

    /// The note that weighs most against it.
    pub fn worst(&self) -> Option<&SungOver> {
        let colliding = self.melody.iter().filter(|n| n.weight > 0.0);
        colliding.max_by(|a, b| a.weight.total_cmp(&b.weight))
    }
}
