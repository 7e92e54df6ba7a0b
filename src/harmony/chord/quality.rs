//! The vocabulary: every chord quality, one line each.
//!
//! Input: none. Output: [`QUALITIES`], which naming, symbols, labels and stand-ins read.
//! Units: degrees; rarity in natural-log units, 0 for the commonest: `exp(-rarity)` is how often it is written beside a plain triad.
//! Method: the chord types of published lead-sheet practice: B = Brandt and Roemer, Standardized Chord Symbol Notation, 1976;
//! L = Levine, The Jazz Theory Book, 1995; N = Nettles and Graf, The Chord Scale Theory and Jazz Harmony, 1997. Rarities are our own ranking
//! in steps of a quarter; what matters is their order, a step moves only ties.
//! Limits: other combinations are written as the nearest row with notes added or left out.

use crate::harmony::pitch::{Degree, DegreeSet};
use std::sync::LazyLock;

/// One chord quality.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Quality {
    /// What follows the root in a plain-ASCII symbol: `m7`, `7b9`, `dim(maj7)`.
    pub body: &'static str,
    /// Its degrees.
    pub degrees: DegreeSet,
    /// Degrees that players leave out without a word.
    pub silent: DegreeSet,
    /// How rarely it is written.
    pub rarity: f32,
    /// Which of the sources in the module's description lists it.
    pub source: char,
}

const fn row(
    body: &'static str,
    degrees: &str,
    silent: &str,
    rarity: f32,
    source: char,
) -> Quality {
    Quality {
        body,
        degrees: DegreeSet::of(degrees),
        silent: DegreeSet::of(silent),
        rarity,
        source,
    }
}

/// Every quality that has a symbol of its own.
#[rustfmt::skip]
pub const QUALITIES: &[Quality] = &[
    // triads and their relatives
    row("",            "1 3 5",               "",      0.0,  'B'),
    row("m",           "1 b3 5",              "",      0.0,  'B'),
    row("dim",         "1 b3 b5",             "",      0.5,  'B'),
    row("aug",         "1 3 #5",              "",      0.5,  'B'),
    row("(b5)",        "1 3 b5",              "",      2.0,  'B'),
    row("sus4",        "1 4 5",               "",      0.5,  'B'),
    row("sus2",        "1 2 5",               "",      0.6,  'B'),
    row("5",           "1 5",                 "",      0.75, 'B'),
    // added notes and sixths
    row("6",           "1 3 5 6",             "",      0.4,  'B'),
    row("m6",          "1 b3 5 6",            "",      0.5,  'B'),
    row("6/9",         "1 3 5 6 9",           "5",     0.4,  'B'),
    row("m6/9",        "1 b3 5 6 9",          "5",     0.75, 'B'),
    row("6/9#11",      "1 3 5 6 9 #11",       "5",     1.25, 'L'),
    row("add9",        "1 3 5 9",             "",      0.6,  'B'),
    row("madd9",       "1 b3 5 9",            "",      0.7,  'B'),
    row("add#9",       "1 3 5 #9",            "",      1.25, 'B'),
    row("add11",       "1 3 5 11",            "",      1.25, 'B'),
    row("add#11",      "1 3 5 #11",           "",      1.25, 'B'),
    row("madd11",      "1 b3 5 11",           "",      1.0,  'B'),
    row("madd9add11",  "1 b3 5 9 11",         "",      1.25, 'N'),
    // major sevenths
    row("maj7",        "1 3 5 7",             "5",     0.1,  'B'),
    row("maj9",        "1 3 5 7 9",           "5",     0.3,  'B'),
    row("maj13",       "1 3 5 7 9 13",        "5 9",   0.75,  'L'),
    row("maj7#11",     "1 3 5 7 #11",         "5",     0.5,  'L'),
    row("maj9#11",     "1 3 5 7 9 #11",       "5",     0.6,  'L'),
    row("maj13#11",    "1 3 5 7 9 #11 13",    "5 9",   0.7,  'L'),
    row("maj7#5",      "1 3 #5 7",            "",      0.6,  'L'),
    row("maj9#5",      "1 3 #5 7 9",          "",      1.0,  'L'),
    row("maj7#5#11",   "1 3 #5 7 #11",        "",      1.0,  'L'),
    row("maj7b5",      "1 3 b5 7",            "",      0.6,  'B'),
    row("maj7sus4",    "1 4 5 7",             "",      1.25,  'N'),
    // minor sevenths
    row("m7",          "1 b3 5 b7",           "5",     0.05, 'B'),
    row("m9",          "1 b3 5 b7 9",         "5",     0.3,  'B'),
    row("m11",         "1 b3 5 b7 9 11",      "5 9",   0.4,  'B'),
    row("m13",         "1 b3 5 b7 9 11 13",   "5 9 11", 0.9, 'B'),
    row("m7#5",        "1 b3 #5 b7",          "",      1.25, 'B'),
    row("m(maj7)",     "1 b3 5 7",            "5",     0.4,  'B'),
    row("m(maj9)",     "1 b3 5 7 9",          "5",     0.6,  'L'),
    row("m7b5",        "1 b3 b5 b7",          "",      0.2,  'B'),
    row("m9b5",        "1 b3 b5 b7 9",        "",      0.6,  'L'),
    row("m11b5",       "1 b3 b5 b7 9 11",     "9",     0.75, 'L'),
    // diminished sevenths
    row("dim7",        "1 b3 b5 bb7",         "",      0.2,  'B'),
    row("dim(maj7)",   "1 b3 b5 7",           "",      0.5,  'L'),
    row("dim7(maj7)",  "1 b3 b5 bb7 7",       "",      0.75, 'L'),
    row("dim7add9",    "1 b3 b5 bb7 9",       "",      1.0,  'L'),
    // dominants
    row("7",           "1 3 5 b7",            "5",     0.0,  'B'),
    row("9",           "1 3 5 b7 9",          "5",     0.25, 'B'),
    row("13",          "1 3 5 b7 9 13",       "5 9",   0.3,  'B'),
    row("7#11",        "1 3 5 b7 #11",        "5",     0.5,  'L'),
    row("9#11",        "1 3 5 b7 9 #11",      "5",     0.5,  'L'),
    row("13#11",       "1 3 5 b7 9 #11 13",   "5 9",   0.6,  'L'),
    row("7b13",        "1 3 5 b7 b13",        "",      0.75, 'L'),
    row("9b13",        "1 3 5 b7 9 b13",      "",      0.9,  'L'),
    row("7b5",         "1 3 b5 b7",           "",      0.5,  'B'),
    row("9b5",         "1 3 b5 b7 9",         "",      0.9,  'B'),
    row("7#5",         "1 3 #5 b7",           "",      0.4,  'B'),
    row("9#5",         "1 3 #5 b7 9",         "",      0.6,  'B'),
    row("7#5#11",      "1 3 #5 b7 #11",       "",      0.8,  'L'),
    row("9#5#11",      "1 3 #5 b7 9 #11",     "",      0.8,  'L'),
    row("7b9",         "1 3 5 b7 b9",         "5",     0.25, 'B'),
    row("7#9",         "1 3 5 b7 #9",         "5",     0.35, 'B'),
    row("7b9#9",       "1 3 5 b7 b9 #9",      "5",     1.0,  'L'),
    row("7b9#11",      "1 3 5 b7 b9 #11",     "5",     0.6,  'L'),
    row("7#9#11",      "1 3 5 b7 #9 #11",     "5",     0.7,  'L'),
    row("7b9b13",      "1 3 5 b7 b9 b13",     "",      0.6,  'L'),
    row("7#9b13",      "1 3 5 b7 #9 b13",     "",      0.6,  'L'),
    row("7b5b9",       "1 3 b5 b7 b9",        "",      0.95, 'B'),
    row("7b5#9",       "1 3 b5 b7 #9",        "",      1.05, 'B'),
    row("7#5b9",       "1 3 #5 b7 b9",        "",      0.5,  'B'),
    row("7#5#9",       "1 3 #5 b7 #9",        "",      0.45, 'B'),
    row("7#5b9#9",     "1 3 #5 b7 b9 #9",     "",      0.9,  'L'),
    row("7#5b9#11",    "1 3 #5 b7 b9 #11",    "",      0.9,  'L'),
    row("7#5#9#11",    "1 3 #5 b7 #9 #11",    "",      0.9,  'L'),
    row("7#5b9#9#11",  "1 3 #5 b7 b9 #9 #11", "",      1.1,  'L'),
    row("13b9",        "1 3 5 b7 b9 13",      "5",     0.45, 'L'),
    row("13#9",        "1 3 5 b7 #9 13",      "5",     0.6,  'L'),
    row("13b9#11",     "1 3 5 b7 b9 #11 13",  "5",     0.7,  'L'),
    row("7alt",        "1 3 b7 b9 #9 #11 b13", "",     1.0,  'L'),
    // suspended dominants
    row("7sus4",       "1 4 5 b7",            "",      0.3,  'B'),
    row("9sus4",       "1 4 5 b7 9",          "5",     0.3,  'B'),
    row("13sus4",      "1 4 5 b7 9 13",       "5 9",   0.5,  'L'),
    row("7sus4b9",     "1 4 5 b7 b9",         "5",     0.7,  'L'),
    row("13sus4b9",    "1 4 5 b7 b9 13",      "5",     0.8,  'L'),
];

/// Degrees as bits of a set counted from the root.
pub(crate) const fn bits(degrees: &str) -> u16 {
    DegreeSet::of(degrees).pitches().bits()
}

/// The root.
pub(crate) const ROOT: u16 = bits("1");
/// The perfect fifth.
pub(crate) const FIFTH: u16 = bits("5");
/// A minor or a major third.
pub(crate) const THIRDS: u16 = bits("b3 3");
/// A minor or a major seventh.
pub(crate) const SEVENTHS: u16 = bits("b7 7");

/// A quality prepared for matching: everything as bits and costs by half step above the root.
#[derive(Debug)]
pub(crate) struct Shape {
    pub quality: &'static Quality,
    /// How rarely it is written.
    pub rarity: f32,
    /// Its notes, bit 0 is the root.
    pub mask: u16,
    /// Notes that may be left out without a word.
    pub silent: u16,
    /// The degree at each half step.
    pub degree_at: [Option<Degree>; 12],
    pub third: u16,
    pub fifth: u16,
    pub seventh: u16,
    /// True for chords with a major third and a minor seventh.
    pub dominant: bool,
}

impl Shape {
    fn of(quality: &'static Quality) -> Self {
        let degrees = quality.degrees;
        let own = |wanted: &str| degrees.and(DegreeSet::of(wanted)).pitches().bits();
        let mut degree_at = [None; 12];
        for degree in degrees.iter() {
            degree_at[degree.half_steps() as usize] = Some(degree);
        }
        Self {
            quality,
            rarity: quality.rarity,
            mask: degrees.pitches().bits(),
            silent: quality.silent.pitches().bits(),
            degree_at,
            third: own("2 b3 3 4"),
            fifth: own("5 b5 #5"),
            seventh: own("6 bb7 b7 7"),
            dominant: degrees.contains(Degree::THIRD) && degrees.contains(Degree::MINOR_SEVENTH),
        }
    }
}

/// The major and the minor triad.
pub(crate) const TRIADS: [DegreeSet; 2] = [DegreeSet::of("1 3 5"), DegreeSet::of("1 b3 5")];

/// All qualities, prepared once, the commonest first: a search may stop at the first that is too rare.
pub(crate) static SHAPES: LazyLock<Vec<Shape>> = LazyLock::new(|| {
    let mut shapes: Vec<Shape> = QUALITIES.iter().map(Shape::of).collect();
    shapes.sort_by(|a, b| a.rarity.total_cmp(&b.rarity));
    shapes
});

/// Those of [`SHAPES`] that are dominants, the commonest first.
pub(crate) static DOMINANTS: LazyLock<Vec<&'static Shape>> =
    LazyLock::new(|| SHAPES.iter().filter(|shape| shape.dominant).collect());

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::HashMap;

    #[test]
    fn no_two_rows_share_a_body_or_a_set_of_degrees() {
        let mut bodies = HashMap::new();
        let mut sets = HashMap::new();
        for quality in QUALITIES {
            assert_eq!(
                bodies.insert(quality.body, quality),
                None,
                "{}",
                quality.body
            );
            assert_eq!(
                sets.insert(quality.degrees, quality.body),
                None,
                "{}",
                quality.body
            );
        }
    }

    #[test]
    fn every_row_has_a_root_no_note_twice_and_leaves_out_only_what_it_has() {
        for q in QUALITIES {
            assert!(q.degrees.contains(Degree::ROOT), "{}", q.body);
            assert_eq!(
                q.degrees.pitches().len(),
                q.degrees.len(),
                "{} holds a pitch twice",
                q.body
            );
            assert!(q.silent.minus(q.degrees).is_empty(), "{}", q.body);
            assert!((0.0..=3.0).contains(&q.rarity), "{}", q.body);
            assert!("BLN".contains(q.source), "{}", q.body);
        }
    }
}
