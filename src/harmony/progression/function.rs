//! Function: what a chord does in a key, as a roman numeral and a word.
//!
//! Input: root, class of chord, key, and the next chord. Output: [`Class`], fit costs, numerals. Units: natural-log units, 0 is the commonest.
//! Method: numerals are counted from the major scale of the tonic in either mode (bIII, bVI, bVII), upper case for major thirds; secondary dominants,
//! substitute dominants and related second degrees as in Nettles and Graf, 1997, ch. 2 to 4; borrowed chords as there, ch. 5.
//! Limits: modes other than major and minor count as borrowing.

use crate::harmony::pitch::{Degree, DegreeSet, Key, Mode, PitchClass};

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

    /// True for chords a phrase can come to rest on in `mode`.
    pub fn rests(self, mode: Mode) -> bool {
        match mode {
            Mode::Major => self == Class::Major,
            Mode::Minor => matches!(self, Class::Minor | Class::MinorTonic),
        }
    }
}

/// Costs by half steps above the tonic.
type Fit = [f32; 12];

#[rustfmt::skip]
mod fit {
    use super::Fit;
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
        (Class::MinorTonic, Mode::Major) => fit::MAJOR_MINOR[degree] + 0.2,
        (Class::MinorTonic, Mode::Minor) => fit::MINOR_MINOR[degree] - 0.05,
        (Class::Dominant, Mode::Major) => fit::MAJOR_DOM[degree],
        (Class::Dominant, Mode::Minor) => fit::MINOR_DOM[degree],
        (Class::HalfDiminished, Mode::Major) => fit::MAJOR_HALF[degree],
        (Class::HalfDiminished, Mode::Minor) => fit::MINOR_HALF[degree],
        (Class::Diminished | Class::DiminishedMajor, _) => fit::DIMINISHED[degree],
        (Class::Suspended, _) => fit::SUSPENDED[degree],
        (Class::Other, _) => 1.5,
    }
}

/// A chord's numeral and what it does.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Function {
    /// As analysis writes it: `ii7`, `V7/ii`, `subV7`, `bVIImaj7`.
    pub numeral: String,
    /// In words: `tonic`, `secondary dominant`, `related ii`, `borrowed`.
    pub word: &'static str,
}

/// The degree of `root` in `key`, with its accidental, in the case of the third.
pub(crate) fn degree_numeral(root: PitchClass, minor: bool, key: Key) -> String {
    const UPPER: [&str; 12] = [
        "I", "bII", "II", "bIII", "III", "IV", "#IV", "V", "bVI", "VI", "bVII", "VII",
    ];
    let upper = UPPER[root.above(key.tonic.class()) as usize];
    let (sign, roman) = upper.split_at(upper.len() - upper.trim_start_matches(['b', '#']).len());
    format!(
        "{sign}{}",
        if minor {
            roman.to_lowercase()
        } else {
            roman.to_owned()
        }
    )
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
        _ if has(Degree::MAJOR_SEVENTH) => "maj7",
        _ if has(Degree::MINOR_SEVENTH) => "7",
        _ if has(Degree::SIXTH) => "6",
        _ => "",
    }
}

/// The numeral and function of a chord in `key`, with a view to the chord after it.
pub fn function(
    root: PitchClass,
    degrees: DegreeSet,
    key: Key,
    next: Option<(PitchClass, Class)>,
) -> Function {
    let class = Class::of(degrees);
    let degree = root.above(key.tonic.class());
    let minor = matches!(
        class,
        Class::Minor
            | Class::MinorTonic
            | Class::HalfDiminished
            | Class::Diminished
            | Class::DiminishedMajor
    );
    let plain = format!("{}{}", degree_numeral(root, minor, key), suffix(degrees));
    let to = |by: i32| next.filter(|(n, _)| *n == root.up(by));
    let of = |target: PitchClass, class: Class| {
        degree_numeral(
            target,
            matches!(
                class,
                Class::Minor | Class::MinorTonic | Class::HalfDiminished
            ),
            key,
        )
    };
    if class == Class::Dominant {
        if degree == 7 {
            return Function {
                numeral: plain,
                word: "dominant",
            };
        }
        if let Some((target, target_class)) = to(5) {
            if target == key.tonic.class() {
                return Function {
                    numeral: plain,
                    word: "dominant",
                };
            }
            return Function {
                numeral: format!("V7/{}", of(target, target_class)),
                word: "secondary dominant",
            };
        }
        if let Some((target, target_class)) = to(-1) {
            let home = target == key.tonic.class();
            let numeral = if home {
                "subV7".to_owned()
            } else {
                format!("subV7/{}", of(target, target_class))
            };
            return Function {
                numeral,
                word: "substitute dominant",
            };
        }
        if degree == 1 {
            return Function {
                numeral: "subV7".to_owned(),
                word: "substitute dominant",
            };
        }
        let target = root.up(5);
        if let Some(minor) = diatonic_third(target, key) {
            let target = degree_numeral(target, minor, key);
            if !matches!(degree, 0 | 5 | 10) {
                return Function {
                    numeral: format!("V7/{target}"),
                    word: "secondary dominant",
                };
            }
        }
        let word = match (degree, key.mode) {
            (10, _) => "backdoor dominant",
            (0 | 5, _) => "blues dominant",
            _ => "other",
        };
        return Function {
            numeral: plain,
            word,
        };
    }
    if matches!(class, Class::Minor | Class::HalfDiminished)
        && let Some((target, Class::Dominant)) = next
        && (target == root.up(5) || target == root.up(-1))
        && degree != 2
    {
        let goal = if target == root.up(5) {
            target.up(5)
        } else {
            target.up(-1)
        };
        if let Some(minor) = diatonic_third(goal, key)
            && goal != key.tonic.class()
        {
            let name = if class == Class::HalfDiminished {
                "iiø7"
            } else {
                "ii7"
            };
            return Function {
                numeral: format!("{name}/{}", degree_numeral(goal, minor, key)),
                word: "related ii",
            };
        }
    }
    Function {
        numeral: plain,
        word: word(class, degree, key.mode, to(1).is_some(), to(0).is_some()),
    }
}

/// Whether the scale chord on `class` has a minor third; `None` outside the scale.
fn diatonic_third(class: PitchClass, key: Key) -> Option<bool> {
    let scale = key.pitches();
    (scale.contains(class) && (scale.contains(class.up(3)) || scale.contains(class.up(4))))
        .then(|| !scale.contains(class.up(4)))
}

fn word(class: Class, degree: u8, mode: Mode, leads_up: bool, falls: bool) -> &'static str {
    match (class, mode, degree) {
        (Class::Diminished | Class::DiminishedMajor, _, _) if falls => "delayed chord",
        (Class::Diminished, _, 11) => "leading tone",
        (Class::Diminished, _, _) if leads_up => "passing diminished",
        (Class::Diminished | Class::DiminishedMajor, ..) => "diminished",
        (Class::Suspended, _, 7) => "dominant",
        (Class::Major, Mode::Major, 0) | (Class::Minor | Class::MinorTonic, Mode::Minor, 0) => {
            "tonic"
        }
        (Class::Minor, Mode::Major, 9 | 4) | (Class::Major, Mode::Minor, 3) => "tonic",
        (Class::Minor, Mode::Major, 2) | (Class::Major, Mode::Major, 5) => "subdominant",
        (Class::HalfDiminished, Mode::Minor, 2)
        | (Class::Minor | Class::MinorTonic, Mode::Minor, 5)
        | (Class::Major, Mode::Minor, 8) => "subdominant",
        (Class::Major, _, 7) | (Class::HalfDiminished, Mode::Major, 11) => "dominant",
        (Class::Minor | Class::MinorTonic, Mode::Major, 0 | 5 | 7)
        | (Class::Major, Mode::Major, 1 | 3 | 8 | 10)
        | (Class::HalfDiminished, Mode::Major, 2) => "borrowed",
        (Class::Major, Mode::Minor, 0 | 5) => "borrowed",
        _ => "other",
    }
}
