//! What can be said of one set of notes: names, readings, resolutions, as values.
//!
//! Input: none; these are the types. Output: [`Naming`] for whoever writes, shows or compares.
//! Units: scores 0 to 1; half steps. Method: plain data. Limits: nothing is written here; how a chord is printed is decided where it is.

use super::chord::Chord;
use super::function::Function;
use super::pitch::spelled::{octave, with_octave};
use super::pitch::{Degree, DegreeSet, Spelled};
use crate::units::{MidiNote, Share};
use serde::{Deserialize, Serialize};
use std::fmt;

/// A key of the piano under the name that it has in its chord.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct NamedNote {
    /// The key.
    pub midi: MidiNote,
    /// Its name, without octave.
    pub name: Spelled,
}

impl NamedNote {
    /// The octave that its name counts it in; middle C is in 4.
    pub fn octave(&self) -> i16 {
        octave(self.name, self.midi)
    }
}

/// With its octave: `Eb4`; middle C is C4.
impl fmt::Display for NamedNote {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&with_octave(self.name, self.midi))
    }
}

/// Sounding notes with their degrees, in musical order: the root, the other chord tones, then the tensions.
pub type NotesByDegree = Vec<(Spelled, Degree)>;

/// One name a set of notes can have.
#[derive(Debug, Clone, PartialEq)]
pub struct Name {
    /// The chord it says.
    pub chord: Chord,
    /// The degrees of it that sound; of a fraction of two chords, those of the upper one.
    pub sounding: DegreeSet,
    /// Probability that a practitioner would use this name; all names of a set add up to at most 1.
    pub score: Share,
    /// Each sounding note with its degree in this chord, counted from [`Name::root`].
    pub degrees: NotesByDegree,
}

impl Name {
    /// The root; of a fraction of two chords that of the lower one.
    pub fn root(&self) -> Spelled {
        self.chord.lower.map_or(self.chord.root, |(root, _)| root)
    }

    /// True if both say the same root, sounding degrees and bass, however surely.
    pub fn says_the_same_as(&self, other: &Self) -> bool {
        let bass = |name: &Self| name.chord.bass.map(Spelled::class);
        (self.chord.root, self.sounding, self.chord.lower)
            == (other.chord.root, other.sounding, other.chord.lower)
            && bass(self) == bass(other)
    }
}

/// What kind of thing a set of notes stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum ReadingKind {
    /// A dominant that sounds with its root.
    Dominant,
    /// A dominant whose third is delayed by a fourth.
    SuspendedDominant,
    /// The second degree before its dominant.
    RelatedTwo,
    /// A dominant whose root is left out: a stand-in.
    RootlessDominant,
    /// The dominant a tritone away, which shares third and seventh.
    TritonePair,
    /// A triad over the guide tones of a dominant.
    UpperStructure,
    /// What the chord itself does in its key, or between its neighbours.
    Function,
    /// A diminished seventh with its seventh raised by a whole step.
    EnrichedDiminishedSeventh,
    /// A diminished chord on the tonic that falls to it.
    DelayedTonic,
    /// A diminished seventh that shares a note with the chord it goes to.
    CommonToneDiminished,
    /// A diminished seventh between two roots.
    PassingDiminished,
    /// A diminished seventh that leaves a chord and returns to it.
    AuxiliaryDiminished,
    /// The four dominants of one half-whole diminished scale.
    HalfWholeFamily,
    /// A complete triad over a bass that does not belong to it.
    TriadOverBass,
    /// A seventh chord, no dominant, whose root is left to the bass player.
    RootlessVoicing,
    /// Notes in fourths.
    StackOfFourths,
}

impl ReadingKind {
    /// True of what a chord does under a name of its own: it stands for no other.
    pub const fn is_own(self) -> bool {
        matches!(
            self,
            Self::Dominant | Self::SuspendedDominant | Self::RelatedTwo | Self::Function
        )
    }

    /// In words of the trade.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Dominant => "dominant",
            Self::SuspendedDominant => "suspended dominant",
            Self::RelatedTwo => "related ii",
            Self::RootlessDominant => "rootless dominant",
            Self::TritonePair => "tritone substitute",
            Self::UpperStructure => "upper structure",
            Self::Function => "function",
            Self::EnrichedDiminishedSeventh => "diminished seventh, a note raised",
            Self::DelayedTonic => "tonic diminished",
            Self::CommonToneDiminished => "common-tone diminished",
            Self::PassingDiminished => "passing diminished",
            Self::AuxiliaryDiminished => "auxiliary diminished",
            Self::HalfWholeFamily => "dominants of the diminished scale",
            Self::TriadOverBass => "slash chord",
            Self::RootlessVoicing => "rootless voicing",
            Self::StackOfFourths => "quartal voicing",
        }
    }
}

impl fmt::Display for ReadingKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.words())
    }
}

/// Why a set of notes stands for a chord, with the notes that tell it.
#[derive(Debug, Clone, PartialEq)]
pub enum Why {
    /// Third and seventh of the dominant sound.
    GuideTones {
        /// Its third.
        third: Spelled,
        /// Its seventh.
        seventh: Spelled,
    },
    /// The fourth stands in place of the third.
    Suspended {
        /// The fourth.
        fourth: Spelled,
    },
    /// The root rises a fourth to the dominant, the seventh falls to its third.
    Second {
        /// The seventh.
        seventh: Spelled,
    },
    /// Seventh and tensions, but no third.
    SeventhAndTensions {
        /// The seventh.
        seventh: Spelled,
    },
    /// One tritone is third and seventh of two dominants.
    TritonePair {
        /// The third of the chord it stands for.
        third: Spelled,
        /// Its seventh.
        seventh: Spelled,
    },
    /// Triads lie over the guide tones.
    Upper {
        /// The triads, major ones first.
        triads: Vec<Chord>,
        /// The third below them.
        third: Spelled,
        /// The seventh below them.
        seventh: Spelled,
    },
    /// A complete triad lies over a foreign bass.
    TriadOverBass,
    /// The chord does this by itself.
    Itself,
    /// The chord has its root in the bass.
    RootInBass,
    /// A note stands a whole step above the one it replaces.
    Enriches {
        /// The note that sounds.
        sounds: Spelled,
        /// The diminished seventh that it replaces.
        replaced: Spelled,
    },
    /// The diminished chord on the tonic falls to the tonic.
    Delays,
    /// All notes lie in one half-whole diminished scale.
    HalfWhole,
    /// A note is shared with the next chord.
    CommonTone,
    /// The root passes up a half step.
    PassingUp,
    /// The root passes down a half step.
    PassingDown,
    /// The same root is left and returned to.
    Auxiliary,
    /// Third, seventh and tensions sound without the root.
    Rootless,
    /// The notes lie in fourths.
    Fourths {
        /// The lowest of the stack.
        lowest: Spelled,
    },
}

/// Something a set of notes can stand for.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// The kind of reading.
    pub kind: ReadingKind,
    /// What else is true of the same chord, with its reason.
    pub also: Vec<(ReadingKind, Why)>,
    /// The chord it stands for; of a family the likeliest member.
    pub chord: Chord,
    /// What that chord does in the key, where one is known.
    pub function: Option<Function>,
    /// All chords of the family, where it stands for one of several.
    pub family: Vec<Chord>,
    /// How likely it is that the notes are meant so, beside the other readings and beside meaning no more than their name says.
    pub score: Share,
    /// Each sounding note with its degree in the chord it stands for.
    pub degrees: NotesByDegree,
    /// The tensions that sound.
    pub tensions: DegreeSet,
    /// Degrees of the chord that do not sound.
    pub missing: DegreeSet,
    /// Where it goes, likeliest first; first of all the chord after, where it is known.
    pub resolves_to: Vec<Resolution>,
    /// Why.
    pub why: Why,
}

impl Reading {
    /// True if it is of this kind, first of all or beside others.
    pub fn is_a(&self, kind: ReadingKind) -> bool {
        self.kind == kind || self.also.iter().any(|&(other, _)| other == kind)
    }

    /// The degrees of the chord that sound.
    pub const fn sounding(&self) -> DegreeSet {
        self.chord.degrees.minus(self.missing)
    }
}

/// Where a reading tends to go.
#[derive(Debug, Clone, PartialEq)]
pub struct Resolution {
    /// The chord it goes to.
    pub to: Chord,
    /// How each voice moves.
    pub voices: Vec<VoiceStep>,
}

/// One voice of a resolution.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct VoiceStep {
    /// The note that sounds.
    pub from: Spelled,
    /// The note it goes to.
    pub to: Spelled,
    /// Half steps up; negative is down, 0 stays.
    pub half_steps: i8,
}

/// How sure the naming is of itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// The first name is clearly the best.
    Named,
    /// Several names are about as good.
    Undecided,
    /// No name fits well: the notes are the answer.
    #[default]
    NoGoodName,
}

/// All that can be said of one set of notes; by default, of none.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Naming {
    /// The notes, lowest first.
    pub notes: Vec<NamedNote>,
    /// How sure the names are.
    pub verdict: Verdict,
    /// Names it can have, best first. With [`Verdict::NoGoodName`] they are the least bad ones.
    pub names: Vec<Name>,
    /// What it can stand for, likeliest first.
    pub readings: Vec<Reading>,
}
