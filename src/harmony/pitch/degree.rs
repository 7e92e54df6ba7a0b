//! Chord degrees: what a note is to its root, told apart by name (`b5` is not `#11`).
//!
//! Input: degree names as musicians write them. Output: [`Degree`] and [`DegreeSet`].
//! Units: half steps above the root, 0 to 11.
//! Method: degree numbers as in published lead-sheet practice (Brandt and Roemer, Standardized Chord Symbol Notation, 1976);
//! one bit a degree, so that sets compare in one step. Limits: `#6` and `b4` are not used by chord symbols; `b11` stands for the latter.

use super::class::PitchSet;
use std::fmt;

/// What a note is to the root of its chord; ordered by number, then by half steps: `1 b3 3 5 b7 b9 9`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Degree(u8);

/// Name, half steps above the root, number of the degree (its letter counted from the root's).
struct Row(&'static str, u8, u8);

const ROWS: [Row; 20] = [
    Row("1", 0, 1),
    Row("2", 2, 2),
    Row("b3", 3, 3),
    Row("3", 4, 3),
    Row("4", 5, 4),
    Row("b5", 6, 5),
    Row("5", 7, 5),
    Row("#5", 8, 5),
    Row("6", 9, 6),
    Row("bb7", 9, 7),
    Row("b7", 10, 7),
    Row("7", 11, 7),
    Row("b9", 1, 9),
    Row("9", 2, 9),
    Row("#9", 3, 9),
    Row("b11", 4, 11),
    Row("11", 5, 11),
    Row("#11", 6, 11),
    Row("b13", 8, 13),
    Row("13", 9, 13),
];

/// Place of each letter, counted from C, on the line of fifths: D lies two fifths up, E four, F one down.
pub(crate) const LETTER_FIFTHS: [i8; 7] = [0, 2, 4, -1, 1, 3, 5];

/// The degrees that lie at each half step above the root, as bits.
const AT: [u32; 12] = {
    let mut at = [0; 12];
    let mut row = 0;
    while row < ROWS.len() {
        at[ROWS[row].1 as usize] |= 1 << row;
        row += 1;
    }
    at
};

/// Every degree by its number, then by its half steps.
const BY_NUMBER: [Degree; ROWS.len()] = {
    let mut sorted = [Degree(0); ROWS.len()];
    let mut found = 0;
    let mut place = 0;
    while place < 14 * 12 {
        let mut row = 0;
        while row < ROWS.len() {
            if ROWS[row].2 as usize * 12 + ROWS[row].1 as usize == place {
                sorted[found] = Degree(row as u8);
                found += 1;
            }
            row += 1;
        }
        place += 1;
    }
    sorted
};

/// [`Degree::fifths`] of every row.
const FIFTHS: [i8; ROWS.len()] = {
    // The letters counted from the root's lie as those counted from C; an accidental is seven fifths.
    const MAJOR_SCALE: [i8; 7] = [0, 2, 4, 5, 7, 9, 11];
    let mut fifths = [0; ROWS.len()];
    let mut row = 0;
    while row < ROWS.len() {
        let letter = (ROWS[row].2 as usize - 1) % 7;
        fifths[row] = LETTER_FIFTHS[letter] + 7 * (ROWS[row].1 as i8 - MAJOR_SCALE[letter]);
        row += 1;
    }
    fifths
};

macro_rules! degrees {
    ($($(#[$doc:meta])* $name:ident = $index:literal),* $(,)?) => {
        impl Degree { $($(#[$doc])* pub const $name: Degree = Degree($index);)* }
    };
}

degrees! {
    /// The root.
    ROOT = 0,
    /// The second that stands for the third of a suspended chord.
    SECOND = 1,
    /// The minor third.
    MINOR_THIRD = 2,
    /// The major third.
    THIRD = 3,
    /// The fourth that stands for the third of a suspended chord.
    FOURTH = 4,
    /// The diminished fifth.
    FLAT_FIFTH = 5,
    /// The perfect fifth.
    FIFTH = 6,
    /// The augmented fifth.
    SHARP_FIFTH = 7,
    /// The sixth of a sixth chord.
    SIXTH = 8,
    /// The diminished seventh.
    DIMINISHED_SEVENTH = 9,
    /// The minor seventh.
    MINOR_SEVENTH = 10,
    /// The major seventh.
    MAJOR_SEVENTH = 11,
    /// The flat ninth.
    FLAT_NINTH = 12,
    /// The ninth.
    NINTH = 13,
    /// The sharp ninth.
    SHARP_NINTH = 14,
    /// The flat eleventh: a major third above a chord that has a minor one.
    FLAT_ELEVENTH = 15,
    /// The eleventh.
    ELEVENTH = 16,
    /// The sharp eleventh.
    SHARP_ELEVENTH = 17,
    /// The flat thirteenth.
    FLAT_THIRTEENTH = 18,
    /// The thirteenth.
    THIRTEENTH = 19,
}

impl Degree {
    /// What a note is above a root, by half steps, where nothing says otherwise: a note of the seventh chords or a tension.
    pub const ABOVE_A_ROOT: [Self; 12] = [
        Self::ROOT,
        Self::FLAT_NINTH,
        Self::NINTH,
        Self::SHARP_NINTH,
        Self::THIRD,
        Self::ELEVENTH,
        Self::SHARP_ELEVENTH,
        Self::FIFTH,
        Self::FLAT_THIRTEENTH,
        Self::THIRTEENTH,
        Self::MINOR_SEVENTH,
        Self::MAJOR_SEVENTH,
    ];

    /// Every degree, chord tones first.
    pub fn all() -> impl Iterator<Item = Degree> {
        (0..ROWS.len() as u8).map(Degree)
    }

    /// As musicians write it: `b9`, `#11`, `bb7`.
    pub const fn name(self) -> &'static str {
        ROWS[self.0 as usize].0
    }

    /// Half steps above the root, 0 to 11.
    pub const fn half_steps(self) -> u8 {
        ROWS[self.0 as usize].1
    }

    /// 1 to 13; the letter of the note lies this many letters above the root's, the root counted as 1.
    pub const fn number(self) -> u8 {
        ROWS[self.0 as usize].2
    }

    /// True for ninths, elevenths and thirteenths.
    pub const fn is_tension(self) -> bool {
        self.number() > 7
    }

    /// True for a tension or fifth that an accidental moves away from the plain scale.
    pub fn is_altered(self) -> bool {
        self.name().starts_with(['b', '#']) && (self.is_tension() || self.number() == 5)
    }

    /// Places on the line of fifths from the root: those that lead to its half steps and, of these, to its letter.
    pub(crate) const fn fifths(self) -> i8 {
        FIFTHS[self.0 as usize]
    }

    const fn bit(self) -> u32 {
        1 << self.0
    }
}

impl fmt::Display for Degree {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// A set of degrees.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct DegreeSet(u32);

impl DegreeSet {
    /// No degree.
    pub const EMPTY: DegreeSet = DegreeSet(0);

    /// Reads names parted by spaces: `"1 b3 b5 7"`. For tables: a word that is no degree stops the compiler.
    ///
    /// # Panics
    /// If a word is no degree.
    pub const fn of(names: &str) -> Self {
        let bytes = names.as_bytes();
        let mut set = 0;
        let mut at = 0;
        while at < bytes.len() {
            let mut end = at;
            while end < bytes.len() && bytes[end] != b' ' {
                end += 1;
            }
            let mut row = 0;
            while row < ROWS.len() && !is_word(bytes, at, end, ROWS[row].0.as_bytes()) {
                row += 1;
            }
            assert!(row < ROWS.len(), "not a degree");
            set |= 1 << row;
            at = end + 1;
        }
        Self(set)
    }

    /// True if `degree` is in the set.
    pub const fn contains(self, degree: Degree) -> bool {
        self.0 & degree.bit() != 0
    }

    /// The set with `degree` added.
    #[must_use]
    pub const fn with(self, degree: Degree) -> Self {
        Self(self.0 | degree.bit())
    }

    /// The set with `degree` taken out.
    #[must_use]
    pub const fn without(self, degree: Degree) -> Self {
        Self(self.0 & !degree.bit())
    }

    /// All degrees of both.
    #[must_use]
    pub const fn union(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// The degrees that `other` lacks.
    #[must_use]
    pub const fn minus(self, other: Self) -> Self {
        Self(self.0 & !other.0)
    }

    /// The degrees that only one of both has.
    #[must_use]
    pub const fn difference(self, other: Self) -> Self {
        Self(self.0 ^ other.0)
    }

    /// The degrees of both sets alike.
    #[must_use]
    pub const fn and(self, other: Self) -> Self {
        Self(self.0 & other.0)
    }

    /// How many.
    pub const fn len(self) -> u32 {
        self.0.count_ones()
    }

    /// True if there is none.
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// The degrees, chord tones first.
    pub fn iter(self) -> impl Iterator<Item = Degree> {
        let mut bits = self.0;
        std::iter::from_fn(move || {
            (bits != 0).then(|| {
                let degree = Degree(bits.trailing_zeros() as u8);
                bits &= bits - 1;
                degree
            })
        })
    }

    /// The degree of this set that lies `half_steps` above the root.
    pub fn at(self, half_steps: u8) -> Option<Degree> {
        Self(self.0 & AT[half_steps as usize]).iter().next()
    }

    /// The degrees by their number, flat ones before sharp ones.
    pub(crate) fn by_number(self) -> impl Iterator<Item = Degree> {
        BY_NUMBER.into_iter().filter(move |&d| self.contains(d))
    }

    /// The notes as a set counted from the root.
    pub const fn pitches(self) -> PitchSet {
        let (mut degrees, mut bits) = (self.0, 0);
        while degrees != 0 {
            bits |= 1 << Degree(degrees.trailing_zeros() as u8).half_steps();
            degrees &= degrees - 1;
        }
        PitchSet::from_bits(bits)
    }
}

impl FromIterator<Degree> for DegreeSet {
    fn from_iter<I: IntoIterator<Item = Degree>>(degrees: I) -> Self {
        degrees.into_iter().fold(Self::EMPTY, Self::with)
    }
}

const fn is_word(text: &[u8], start: usize, end: usize, word: &[u8]) -> bool {
    if end - start != word.len() {
        return false;
    }
    let mut i = 0;
    while i < word.len() {
        if text[start + i] != word[i] {
            return false;
        }
        i += 1;
    }
    true
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_named_constants_point_at_their_rows() {
        for (degree, name) in [
            (Degree::ROOT, "1"),
            (Degree::MINOR_THIRD, "b3"),
            (Degree::FLAT_FIFTH, "b5"),
            (Degree::DIMINISHED_SEVENTH, "bb7"),
            (Degree::MAJOR_SEVENTH, "7"),
            (Degree::SHARP_NINTH, "#9"),
            (Degree::SHARP_ELEVENTH, "#11"),
            (Degree::THIRTEENTH, "13"),
        ] {
            assert_eq!(degree.name(), name);
        }
    }

    #[test]
    fn every_degree_lies_where_its_number_and_accidental_say() {
        const MAJOR_SCALE: [i8; 7] = [0, 2, 4, 5, 7, 9, 11];
        for degree in Degree::all() {
            let sharps =
                degree.name().matches('#').count() as i8 - degree.name().matches('b').count() as i8;
            let plain = MAJOR_SCALE[(degree.number() as usize - 1) % 7];
            assert_eq!(
                i16::from(degree.half_steps()),
                i16::from((plain + sharps).rem_euclid(12)),
                "{degree}"
            );
        }
    }

    #[test]
    fn a_set_gives_back_its_degrees_and_pitches() {
        let set = DegreeSet::of("1 b3 b5 7");
        assert_eq!(
            set.iter().map(Degree::name).collect::<Vec<_>>(),
            ["1", "b3", "b5", "7"]
        );
        assert_eq!(set.pitches().bits(), 0b1000_0100_1001);
        assert_eq!(set.at(11), Some(Degree::MAJOR_SEVENTH));
    }
}
