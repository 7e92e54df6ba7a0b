//! The devices of reharmonising, how usual the trade says they are, and where it says so.
//!
//! Input: none. Output: [`Device`] with its words, [`Usage`] and source. Units: none.
//! Method: one table. A usage is our reading of how the named books present a device: as a rule of thumb for everybody, as something among
//! others, as a special colour. Chapters are those of the editions named; where we are sure of the subject but not of a number, the subject is named.
//! Limits: three authors teach one tradition, North American jazz of the second half of the twentieth century.

use std::fmt;

/// How usual a device is said to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Usage {
    /// Done without thinking.
    Everyday,
    /// Known to everybody.
    Common,
    /// A colour for a place.
    Occasional,
    /// Special.
    Rare,
}

impl Usage {
    /// In one word.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Everyday => "everyday",
            Self::Common => "common",
            Self::Occasional => "occasional",
            Self::Rare => "rare",
        }
    }
}

/// What is done to a chord, by the name that the trade has for it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Device {
    /// The same root and third in another colour.
    Colour,
    /// The same chord over another of its notes, so that the bass moves by step.
    Inversion,
    /// The dominant with its third delayed by the fourth.
    Suspended,
    /// The dominant a tritone away.
    TritoneSubstitute,
    /// Another chord that holds the guide tones of the dominant.
    RootlessDominant,
    /// The diminished seventh chords of the dominant with a flat ninth.
    DiminishedFamily,
    /// A diminished chord with its seventh raised.
    DiminishedMajorSeventh,
    /// A triad over the dominant.
    UpperStructure,
    /// The dominant on the flat seventh degree of where it goes.
    Backdoor,
    /// Another dominant of the same half-whole scale.
    MinorThirdDominant,
    /// A chord that shares its notes and its function within the key.
    Relative,
    /// A chord of the parallel key.
    ModalInterchange,
    /// The tonic delayed by the diminished chord on its own root.
    DelayedTonic,
    /// The second degree ahead of the dominant.
    RelatedTwo,
    /// The dominant of the next chord.
    SecondaryDominant,
    /// The substitute dominant of the next chord: a half step above it.
    SubstituteSecondary,
    /// The diminished seventh a half step from the next chord.
    PassingDiminished,
    /// A chord led into by its own dominant, another dominant or not.
    ExtendedDominant,
    /// The second degree and the dominant of the next chord.
    Chain,
    /// The same chord a half step away, before it comes back.
    SideSlip,
    /// The dominant of whose diminished chord this is the upper part.
    DominantOfDiminished,
}

impl Device {
    /// All of them.
    pub const ALL: [Self; 21] = [
        Self::Colour,
        Self::Inversion,
        Self::Suspended,
        Self::TritoneSubstitute,
        Self::RootlessDominant,
        Self::DiminishedFamily,
        Self::DiminishedMajorSeventh,
        Self::UpperStructure,
        Self::Backdoor,
        Self::MinorThirdDominant,
        Self::Relative,
        Self::ModalInterchange,
        Self::DelayedTonic,
        Self::RelatedTwo,
        Self::SecondaryDominant,
        Self::SubstituteSecondary,
        Self::PassingDiminished,
        Self::ExtendedDominant,
        Self::Chain,
        Self::SideSlip,
        Self::DominantOfDiminished,
    ];

    /// Words, usage, source.
    const fn row(self) -> (&'static str, Usage, &'static str) {
        use Usage::{Common, Everyday, Occasional, Rare};
        match self {
            Self::Colour => (
                "same root, other colour",
                Everyday,
                "Levine, The Jazz Piano Book, 1989, ch. 8 (altering notes)",
            ),
            Self::Inversion => (
                "inversion, bass by step",
                Common,
                "Levine, The Jazz Theory Book, 1995, ch. 14 (ascending and descending bass lines)",
            ),
            Self::Suspended => (
                "suspended dominant",
                Common,
                "Levine, The Jazz Piano Book, 1989, ch. 4 (sus chords)",
            ),
            Self::TritoneSubstitute => (
                "tritone substitute",
                Everyday,
                "Levine, The Jazz Piano Book, 1989, ch. 6, and The Jazz Theory Book, 1995, ch. 13",
            ),
            Self::RootlessDominant => (
                "guide tones kept, root left out",
                Common,
                "Levine, The Jazz Piano Book, 1989, ch. 7 (left-hand voicings)",
            ),
            Self::DiminishedFamily => (
                "diminished family",
                Everyday,
                "Levine, The Jazz Theory Book, 1995, ch. 3 (diminished scale harmony) and ch. 14",
            ),
            Self::DiminishedMajorSeventh => (
                "diminished major seventh",
                Occasional,
                "Levine, The Jazz Theory Book, 1995, ch. 3 (diminished scale harmony)",
            ),
            Self::UpperStructure => (
                "upper structure",
                Common,
                "Levine, The Jazz Piano Book, 1989, ch. 14 (upper structures)",
            ),
            Self::Backdoor => (
                "backdoor dominant",
                Common,
                "Coker, Elements of the Jazz Language, 1991 (back door)",
            ),
            Self::MinorThirdDominant => (
                "dominant a minor third away",
                Rare,
                "Levine, The Jazz Theory Book, 1995, ch. 3 (diminished scale harmony)",
            ),
            Self::Relative => (
                "same function, shared notes",
                Everyday,
                "Nettles and Graf, The Chord Scale Theory and Jazz Harmony, 1997, ch. 1 (functions)",
            ),
            Self::ModalInterchange => (
                "modal interchange",
                Common,
                "Nettles and Graf, 1997, ch. 5 (modal interchange)",
            ),
            Self::DelayedTonic => (
                "tonic delayed",
                Occasional,
                "Nettles and Graf, 1997 (diminished chords)",
            ),
            Self::RelatedTwo => (
                "related ii ahead",
                Everyday,
                "Levine, The Jazz Theory Book, 1995, ch. 13 (basic reharmonization)",
            ),
            Self::SecondaryDominant => (
                "secondary dominant",
                Everyday,
                "Nettles and Graf, 1997, ch. 2 to 4 (secondary dominants)",
            ),
            Self::SubstituteSecondary => (
                "substitute dominant of the next chord",
                Common,
                "Nettles and Graf, 1997, ch. 2 to 4 (substitute dominants)",
            ),
            Self::PassingDiminished => (
                "passing diminished",
                Common,
                "Levine, The Jazz Theory Book, 1995, ch. 14 (using the diminished chords)",
            ),
            Self::ExtendedDominant => (
                "extended dominant",
                Occasional,
                "Nettles and Graf, 1997, ch. 2 to 4 (extended dominants)",
            ),
            Self::Chain => (
                "ii and V of the next chord",
                Common,
                "Levine, The Jazz Theory Book, 1995, ch. 13 (II-V chains)",
            ),
            Self::SideSlip => (
                "side-slip",
                Rare,
                "Levine, The Jazz Theory Book, 1995, ch. 8 (playing outside)",
            ),
            Self::DominantOfDiminished => (
                "dominant that the diminished chord stands for",
                Common,
                "Levine, The Jazz Theory Book, 1995, ch. 3 and 14 (diminished chords)",
            ),
        }
    }

    /// True if its forms differ in their roots: a family of chords, not one chord in several colours.
    pub(crate) const fn is_family(self) -> bool {
        matches!(
            self,
            Self::RootlessDominant
                | Self::DiminishedFamily
                | Self::DiminishedMajorSeventh
                | Self::UpperStructure
                | Self::Relative
                | Self::ModalInterchange
                | Self::MinorThirdDominant
                | Self::PassingDiminished
                | Self::Suspended
                | Self::Backdoor
                | Self::DominantOfDiminished
        )
    }

    /// The device whose answer it belongs to: a diminished major seventh is a diminished seventh of the family, enriched.
    pub(crate) const fn answers_as(self) -> Self {
        match self {
            Self::DiminishedMajorSeventh => Self::DiminishedFamily,
            own => own,
        }
    }

    /// What kind of idea it is; a list should show different ones.
    pub(crate) const fn idea(self) -> Idea {
        match self {
            Self::Colour
            | Self::UpperStructure
            | Self::RootlessDominant
            | Self::DiminishedFamily
            | Self::DiminishedMajorSeventh => Idea::SameDominant,
            Self::SecondaryDominant | Self::SubstituteSecondary | Self::Chain => Idea::IntoTheNext,
            _ => Idea::OfItsOwn,
        }
    }

    /// In words of the trade.
    pub const fn words(self) -> &'static str {
        self.row().0
    }

    /// How usual the trade says it is.
    pub const fn usage(self) -> Usage {
        self.row().1
    }

    /// Where it says so.
    pub const fn source(self) -> &'static str {
        self.row().2
    }
}

/// Kinds of ideas.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Idea {
    /// The same chord in another dress.
    SameDominant,
    /// A dominant of the next chord.
    IntoTheNext,
    /// None that another device shares.
    OfItsOwn,
}

impl fmt::Display for Device {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.words())
    }
}
