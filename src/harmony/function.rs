//! Function: what a chord does in a key, as a roman numeral and a word.
//!
//! Input: root, class of chord, key, and the next chord. Output: [`Class`], fit costs, numerals. Units: natural-log units, 0 is the commonest.
//! Method: numerals are counted from the major scale of the tonic in either mode (bIII, bVI, bVII), upper case for major thirds; secondary dominants,
//! substitute dominants and related second degrees as in Nettles and Graf, 1997, ch. 2 to 4; borrowed chords as there, ch. 5.
//! Limits: modes other than major and minor count as borrowing.

use crate::harmony::pitch::{Degree, DegreeSet, Key, Mode, PitchClass};
use std::fmt;

/// What kind of chord it is, as far as function goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Class {
    /// Major triad, sixth or seventh.
    Major,
    /// Minor triad or seventh.
    Minor,
    /// Minor with a major seventh or sixth: a minor tonic.
    MinorTonic,
    /// Major third and minor seventh.
    Dominant,
    /// Suspended fourth or second.
    Suspended,
    /// Half-diminished.
    HalfDiminished,
    /// Diminished triad or seventh.
    Diminished,
    /// Diminished major seventh.
    DiminishedMajor,
    /// Anything else.
    Other,
}

impl Class {
    /// All that have a function of their own.
    pub const NAMED: [Self; 8] = [
        Self::Major,
        Self::Minor,
        Self::MinorTonic,
        Self::Dominant,
        Self::Suspended,
        Self::HalfDiminished,
        Self::Diminished,
        Self::DiminishedMajor,
    ];
}

impl Class {
    /// The class of a chord with these degrees.
    pub fn of(degrees: DegreeSet) -> Self {
        let has = |d| degrees.contains(d);
        let minor_third = has(Degree::MINOR_THIRD);
        if has(Degree::FOURTH) || has(Degree::SECOND) {
            Class::Suspended
        } else if minor_third && has(Degree::FLAT_FIFTH) {
            match (has(Degree::MAJOR_SEVENTH), has(Degree::MINOR_SEVENTH)) {
                (true, _) => Class::DiminishedMajor,
                (_, true) => Class::HalfDiminished,
                _ => Class::Diminished,
            }
        } else if minor_third && (has(Degree::MAJOR_SEVENTH) || has(Degree::SIXTH)) {
            Class::MinorTonic
        } else if minor_third {
            Class::Minor
        } else if has(Degree::THIRD) && has(Degree::MINOR_SEVENTH) {
            Class::Dominant
        } else if has(Degree::THIRD) || has(Degree::FIFTH) {
            Class::Major
        } else {
            Class::Other
        }
    }

    /// True for chords with a minor third.
    const fn has_minor_third(self) -> bool {
        matches!(
            self,
            Class::Minor
                | Class::MinorTonic
                | Class::HalfDiminished
                | Class::Diminished
                | Class::DiminishedMajor
        )
    }

    /// True for chords a phrase can come to rest on in `mode`.
    pub fn rests(self, mode: Mode) -> bool {
        match mode {
            Mode::Major => self == Class::Major,
            Mode::Minor => matches!(self, Class::Minor | Class::MinorTonic),
        }
    }
}

/// Costs by half steps above the tonic.
///
/// All values were set by hand: 0 for the chord that a key is known by (I, V7; i, V7), some tenths for the other chords of its scale, about 1 for
/// secondary and substitute dominants, 1.2 to 1.5 for what is borrowed from the parallel key, 1.8 to 2.5 for the rest; the order within each
/// table follows how often Nettles and Graf, 1997, ch. 2 to 5, use the chord. None is fitted; the claims of `tests/harmony_readings.rs`
/// and the local keys of the labelled tunes (`tests/harmony_corpus.rs`) check them together.
type Fit = [f32; 12];

/// A minor tonic (with sixth or major seventh) in a major key is rarer than the minor chord it would be borrowed as.
const MINOR_TONIC_IN_MAJOR: f32 = 0.2;
/// In a minor key it is at home more than a plain minor chord.
const MINOR_TONIC_IN_MINOR: f32 = -0.05;
/// A chord of no known class fits no key well.
const OTHER: f32 = 1.5;

#[rustfmt::skip]
mod fit {
    use crate::harmony::function::Fit;
    //                              I    bII  II   bIII III  IV   #IV  V    bVI  VI   bVII VII
    pub const MAJOR_MAJOR: Fit   = [0.0, 1.4, 2.2, 1.5, 2.5, 0.35, 2.5, 0.9, 1.4, 2.5, 1.2, 2.5];
    pub const MAJOR_MINOR: Fit   = [1.7, 2.2, 0.2, 2.2, 0.5, 1.1, 1.8, 1.2, 2.2, 0.4, 2.0, 1.5];
    pub const MAJOR_DOM: Fit     = [0.8, 0.6, 0.6, 1.1, 0.8, 1.0, 1.3, 0.0, 1.1, 0.7, 0.9, 0.9];
    pub const MAJOR_HALF: Fit    = [1.8, 1.8, 0.8, 2.0, 0.9, 1.8, 0.8, 1.2, 2.0, 1.1, 2.0, 0.7];
    pub const MINOR_MAJOR: Fit   = [1.9, 0.9, 2.2, 0.5, 2.5, 1.5, 2.5, 1.3, 0.4, 2.5, 0.9, 2.5];
    pub const MINOR_MINOR: Fit   = [0.05, 2.2, 1.5, 2.2, 2.2, 0.3, 2.2, 1.0, 2.2, 2.0, 1.6, 2.2];
    pub const MINOR_DOM: Fit     = [0.8, 0.6, 0.8, 1.0, 1.4, 0.9, 1.4, 0.0, 0.7, 1.2, 0.7, 1.2];
    pub const MINOR_HALF: Fit    = [1.8, 2.0, 0.1, 2.0, 1.5, 1.5, 1.3, 1.0, 2.0, 0.7, 2.0, 1.3];
    pub const DIMINISHED: Fit    = [0.8, 0.7, 1.0, 0.7, 1.1, 1.1, 0.7, 1.1, 0.8, 1.1, 1.1, 0.4];
    pub const SUSPENDED: Fit     = [1.0, 1.5, 0.7, 1.5, 1.0, 1.0, 1.5, 0.2, 1.5, 0.8, 1.2, 1.2];
}

/// How well a chord of this class on `root` fits `key`: lower is better.
pub(crate) fn fit(root: PitchClass, class: Class, key: Key) -> f32 {
    let degree = root.above(key.tonic.class()) as usize;
    match (class, key.mode) {
        (Class::Major, Mode::Major) => fit::MAJOR_MAJOR[degree],
        (Class::Major, Mode::Minor) => fit::MINOR_MAJOR[degree],
        (Class::Minor, Mode::Major) => fit::MAJOR_MINOR[degree],
        (Class::Minor, Mode::Minor) => fit::MINOR_MINOR[degree],
        (Class::MinorTonic, Mode::Major) => fit::MAJOR_MINOR[degree] + MINOR_TONIC_IN_MAJOR,
        (Class::MinorTonic, Mode::Minor) => fit::MINOR_MINOR[degree] + MINOR_TONIC_IN_MINOR,
        (Class::Dominant, Mode::Major) => fit::MAJOR_DOM[degree],
        (Class::Dominant, Mode::Minor) => fit::MINOR_DOM[degree],
        (Class::HalfDiminished, Mode::Major) => fit::MAJOR_HALF[degree],
        (Class::HalfDiminished, Mode::Minor) => fit::MINOR_HALF[degree],
        (Class::Diminished | Class::DiminishedMajor, _) => fit::DIMINISHED[degree],
        (Class::Suspended, _) => fit::SUSPENDED[degree],
        (Class::Other, _) => OTHER,
    }
}

/// What a chord does in its key.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Role {
    /// The tonic, or a chord that stands for it.
    Tonic,
    /// The subdominant, or a chord that stands for it.
    Subdominant,
    /// The dominant, or a chord that stands for it.
    Dominant,
    /// The dominant of another degree.
    SecondaryDominant,
    /// The dominant a tritone away from the one it stands for.
    SubstituteDominant,
    /// The dominant on the flat seventh degree.
    BackdoorDominant,
    /// A dominant seventh that rests, on the first or fourth degree.
    BluesDominant,
    /// The second degree before a dominant that is not the key's own.
    RelatedTwo,
    /// Taken from the parallel key.
    Borrowed,
    /// A diminished chord that falls to the chord on its own root.
    Delayed,
    /// A diminished chord on the seventh degree.
    LeadingTone,
    /// A diminished chord that rises into the next root.
    PassingDiminished,
    /// Another diminished chord.
    Diminished,
    /// None of these.
    Other,
}

impl Role {
    /// In words of the trade.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Tonic => "tonic",
            Self::Subdominant => "subdominant",
            Self::Dominant => "dominant",
            Self::SecondaryDominant => "secondary dominant",
            Self::SubstituteDominant => "substitute dominant",
            Self::BackdoorDominant => "backdoor dominant",
            Self::BluesDominant => "blues dominant",
            Self::RelatedTwo => "related ii",
            Self::Borrowed => "borrowed",
            Self::Delayed => "tonic diminished",
            Self::LeadingTone => "leading tone",
            Self::PassingDiminished => "passing diminished",
            Self::Diminished => "diminished",
            Self::Other => "other",
        }
    }
}

impl fmt::Display for Role {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.words())
    }
}

/// A degree of a key, counted from its tonic in half steps, and the third of the chord on it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct KeyDegree {
    /// Half steps above the tonic, 0 to 11.
    pub half_steps: u8,
    /// True for a minor third.
    pub minor: bool,
}

impl KeyDegree {
    const fn of(root: PitchClass, minor: bool, key: Key) -> Self {
        Self {
            half_steps: root.above(key.tonic.class()),
            minor,
        }
    }
}

/// With its accidental, in the case of the third: `bIII`, `ii`.
impl fmt::Display for KeyDegree {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        const UPPER: [&str; 12] = [
            "I", "bII", "II", "bIII", "III", "IV", "#IV", "V", "bVI", "VI", "bVII", "VII",
        ];
        const LOWER: [&str; 12] = [
            "i", "bii", "ii", "biii", "iii", "iv", "#iv", "v", "bvi", "vi", "bvii", "vii",
        ];
        let names = if self.minor { LOWER } else { UPPER };
        f.write_str(names[usize::from(self.half_steps)])
    }
}

/// A roman numeral.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Numeral {
    /// A chord on a degree of the key.
    Of {
        /// The degree.
        degree: KeyDegree,
        /// The degrees of the chord.
        chord: DegreeSet,
    },
    /// The dominant of another degree.
    DominantOf(KeyDegree),
    /// The substitute dominant of the tonic, or of another degree.
    Substitute(Option<KeyDegree>),
    /// The suspended dominant of another degree.
    SuspendedDominantOf(KeyDegree),
    /// A diminished chord that rises a half step into another degree, as the chord on its leading tone.
    LeadingToneOf {
        /// The degree it rises to.
        degree: KeyDegree,
        /// The degrees of the chord.
        chord: DegreeSet,
    },
    /// A diminished chord that passes up: its degree counted as a raised one.
    Raised {
        /// Half steps above the tonic, 0 to 11.
        half_steps: u8,
        /// The degrees of the chord.
        chord: DegreeSet,
    },
    /// The second degree of another degree.
    TwoOf {
        /// The degree it leads to by its dominant.
        degree: KeyDegree,
        /// True if it is half-diminished.
        half_diminished: bool,
    },
}

/// As analysis writes it: `ii7`, `V7/ii`, `subV7`, `bVIImaj7`.
impl fmt::Display for Numeral {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::Of { degree, chord } => write!(f, "{degree}{}", suffix(chord)),
            Self::DominantOf(degree) => write!(f, "V7/{degree}"),
            Self::SuspendedDominantOf(degree) => write!(f, "V7sus4/{degree}"),
            Self::LeadingToneOf { degree, chord } => write!(f, "vii{}/{degree}", suffix(chord)),
            Self::Raised { half_steps, chord } => {
                const RAISED: [&str; 12] = [
                    "i", "#i", "ii", "#ii", "iii", "iv", "#iv", "v", "#v", "vi", "#vi", "vii",
                ];
                write!(f, "{}{}", RAISED[usize::from(half_steps)], suffix(chord))
            }
            Self::Substitute(None) => f.write_str("subV7"),
            Self::Substitute(Some(degree)) => write!(f, "subV7/{degree}"),
            Self::TwoOf {
                degree,
                half_diminished,
            } => {
                let two = if half_diminished { "iiø7" } else { "ii7" };
                write!(f, "{two}/{degree}")
            }
        }
    }
}

/// What follows the numeral.
fn suffix(degrees: DegreeSet) -> &'static str {
    let has = |d| degrees.contains(d);
    match Class::of(degrees) {
        Class::HalfDiminished => "ø7",
        Class::DiminishedMajor => "°(maj7)",
        Class::Diminished if has(Degree::DIMINISHED_SEVENTH) => "°7",
        Class::Diminished => "°",
        Class::Suspended if has(Degree::MINOR_SEVENTH) => "7sus4",
        Class::Suspended => "sus4",
        Class::Minor | Class::MinorTonic if has(Degree::MAJOR_SEVENTH) => "(maj7)",
        _ if has(Degree::SHARP_FIFTH) && has(Degree::MAJOR_SEVENTH) => "+maj7",
        _ if has(Degree::MAJOR_SEVENTH) => "maj7",
        _ if has(Degree::MINOR_SEVENTH) => "7",
        Class::Major if has(Degree::SHARP_FIFTH) => "+",
        _ if has(Degree::SIXTH) => "6",
        _ => "",
    }
}

/// A chord's numeral and what it does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Function {
    /// The numeral.
    pub numeral: Numeral,
    /// What it does.
    pub role: Role,
}

/// The numeral and function of a chord in `key`, with a view to the chord after it.
pub fn function(
    root: PitchClass,
    degrees: DegreeSet,
    key: Key,
    next: Option<(PitchClass, Class)>,
) -> Function {
    let class = Class::of(degrees);
    let plain = Numeral::Of {
        degree: KeyDegree::of(root, class.has_minor_third(), key),
        chord: degrees,
    };
    let above_tonic = root.above(key.tonic.class());
    if class == Class::Dominant {
        return of_dominant(root, plain, key, next);
    }
    if let Some(two) = two_of(root, class, key, next) {
        return two;
    }
    if let Some(suspended) = suspended_dominant_of(root, degrees, key, next) {
        return suspended;
    }
    let to = |by: i32| next.is_some_and(|(n, _)| n == root.up(by));
    let role = role(class, above_tonic, key.mode, to(1), to(0));
    Function {
        numeral: match (class, role) {
            (Class::DiminishedMajor, _)
                if to(1) && next.is_some_and(|(n, _)| n != key.tonic.class()) =>
            {
                Numeral::LeadingToneOf {
                    degree: KeyDegree::of(
                        root.up(1),
                        next.is_some_and(|(_, c)| c.has_minor_third()),
                        key,
                    ),
                    chord: degrees,
                }
            }
            (_, Role::PassingDiminished) => Numeral::Raised {
                half_steps: above_tonic,
                chord: degrees,
            },
            _ => plain,
        },
        role,
    }
}

/// A suspended dominant of another degree: one that falls a fifth to it, or becomes its plain dominant.
fn suspended_dominant_of(
    root: PitchClass,
    degrees: DegreeSet,
    key: Key,
    next: Option<(PitchClass, Class)>,
) -> Option<Function> {
    let seventh = const { DegreeSet::of("4 b7") }.minus(degrees).is_empty();
    let goal = root.up(5);
    let leads = match next? {
        (n, Class::Dominant) => n == root || n == goal,
        (n, _) => n == goal,
    };
    if !seventh || !leads || goal == key.tonic.class() {
        return None;
    }
    let minor = diatonic_third(goal, key)?;
    Some(Function {
        numeral: Numeral::SuspendedDominantOf(KeyDegree::of(goal, minor, key)),
        role: Role::SecondaryDominant,
    })
}

/// A dominant: of the key, of another degree, or a substitute, by where it goes; else by where it could.
fn of_dominant(
    root: PitchClass,
    plain: Numeral,
    key: Key,
    next: Option<(PitchClass, Class)>,
) -> Function {
    let told = |numeral, role| Function { numeral, role };
    let above_tonic = root.above(key.tonic.class());
    let to = |by: i32| next.filter(|(n, _)| *n == root.up(by));
    let home = |target: PitchClass| target == key.tonic.class();
    let goal = |target, class: Class| {
        let minor = matches!(
            class,
            Class::Minor | Class::MinorTonic | Class::HalfDiminished
        );
        KeyDegree::of(target, minor, key)
    };
    if above_tonic == 7 {
        return told(plain, Role::Dominant);
    }
    if let Some((target, class)) = to(5) {
        return if home(target) {
            told(plain, Role::Dominant)
        } else {
            told(
                Numeral::DominantOf(goal(target, class)),
                Role::SecondaryDominant,
            )
        };
    }
    if let Some((target, class)) = to(-1) {
        let of = (!home(target)).then(|| goal(target, class));
        return told(Numeral::Substitute(of), Role::SubstituteDominant);
    }
    if above_tonic == 1 {
        return told(Numeral::Substitute(None), Role::SubstituteDominant);
    }
    let target = root.up(5);
    if let Some(minor) = diatonic_third(target, key)
        && !matches!(above_tonic, 0 | 5 | 10)
    {
        let degree = KeyDegree::of(target, minor, key);
        return told(Numeral::DominantOf(degree), Role::SecondaryDominant);
    }
    let role = match above_tonic {
        10 => Role::BackdoorDominant,
        0 | 5 => Role::BluesDominant,
        _ => Role::Other,
    };
    told(plain, role)
}

/// The second degree before a dominant, or its substitute, that leads to another degree of the key.
fn two_of(
    root: PitchClass,
    class: Class,
    key: Key,
    next: Option<(PitchClass, Class)>,
) -> Option<Function> {
    let (dominant, Class::Dominant) = next? else {
        return None;
    };
    let goal = if dominant == root.up(5) {
        dominant.up(5)
    } else if dominant == root.up(-1) {
        dominant.up(-1)
    } else {
        return None;
    };
    if !matches!(class, Class::Minor | Class::HalfDiminished)
        || root.above(key.tonic.class()) == 2
        || goal == key.tonic.class()
    {
        return None;
    }
    let minor = diatonic_third(goal, key)?;
    Some(Function {
        numeral: Numeral::TwoOf {
            degree: KeyDegree::of(goal, minor, key),
            half_diminished: class == Class::HalfDiminished,
        },
        role: Role::RelatedTwo,
    })
}

/// Whether the scale chord on `class` has a minor third; `None` outside the scale.
fn diatonic_third(class: PitchClass, key: Key) -> Option<bool> {
    let scale = key.pitches();
    (scale.contains(class) && (scale.contains(class.up(3)) || scale.contains(class.up(4))))
        .then(|| !scale.contains(class.up(4)))
}

fn role(class: Class, degree: u8, mode: Mode, leads_up: bool, falls: bool) -> Role {
    match (class, mode, degree) {
        (Class::Diminished | Class::DiminishedMajor, _, _) if falls => Role::Delayed,
        (Class::Diminished, _, 11) => Role::LeadingTone,
        (Class::Diminished, _, _) if leads_up => Role::PassingDiminished,
        (Class::Diminished | Class::DiminishedMajor, ..) => Role::Diminished,
        (Class::Suspended, _, 7) => Role::Dominant,
        (Class::Major, Mode::Major, 0) | (Class::Minor | Class::MinorTonic, Mode::Minor, 0) => {
            Role::Tonic
        }
        (Class::Minor, Mode::Major, 9 | 4) | (Class::Major, Mode::Minor, 3) => Role::Tonic,
        (Class::Minor, Mode::Major, 2) | (Class::Major, Mode::Major, 5) => Role::Subdominant,
        (Class::HalfDiminished, Mode::Minor, 2)
        | (Class::Minor | Class::MinorTonic, Mode::Minor, 5)
        | (Class::Major, Mode::Minor, 8) => Role::Subdominant,
        (Class::Major, _, 7) | (Class::HalfDiminished, Mode::Major, 11) => Role::Dominant,
        (Class::Minor | Class::MinorTonic, Mode::Major, 0 | 5 | 7)
        | (Class::Major, Mode::Major, 1 | 3 | 8 | 10)
        | (Class::HalfDiminished, Mode::Major, 2) => Role::Borrowed,
        (Class::Major, Mode::Minor, 0 | 5) => Role::Borrowed,
        _ => Role::Other,
    }
}
