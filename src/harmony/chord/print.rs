//! Chords as a lead sheet carries them, and how they are printed.
//!
//! Input: a [`Chord`]: root, degrees, what is left out, bass. Output: a symbol in one house style, or plain ASCII.
//! Units: none. Method: a plain letter is major; alterations stand in parentheses after the seventh (Brandt and Roemer, 1976);
//! styles differ only in the words of [`Style`]. Reading symbols is [`super::parse`]'s work.
//! Limits: a combination without a row in the vocabulary prints as the nearest row with notes added and left out.

use super::quality::{QUALITIES, bits};
use crate::harmony::pitch::{Degree, DegreeSet, NoteNames, PitchSet, Spelled};
use std::sync::LazyLock;

/// A chord as written: what it holds, not how it is voiced.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Chord {
    /// Its root.
    pub root: Spelled,
    /// The degrees the symbol names.
    pub degrees: DegreeSet,
    /// Degrees of these that are said to be left out (`no3`, `no root`).
    pub omitted: DegreeSet,
    /// The bass, where it is not the root.
    pub bass: Option<Spelled>,
    /// The lower chord of a fraction: its root and degrees.
    pub lower: Option<(Spelled, DegreeSet)>,
}

/// House styles of chord symbols; a document keeps to one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Hash)]
pub enum Style {
    /// Letters: `Cmaj7 Cm7 Cm7(♭5) Cdim7 Caug`.
    #[default]
    Letters,
    /// Signs: `C△7 C–7 Cø7 C°7 C+`.
    Signs,
    /// Two-letter words: `Cma7 Cmi7 Cmi7(♭5) C°7 C+`.
    Words,
    /// Plain ASCII: `Cmaj7 Cm7 Cm7b5 Cdim7 Caug`, alterations without parentheses.
    Ascii,
}

impl Style {
    /// All styles.
    pub const ALL: [Style; 4] = [Style::Letters, Style::Signs, Style::Words, Style::Ascii];

    /// The word by which it is asked for.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Letters => "letters",
            Self::Signs => "signs",
            Self::Words => "words",
            Self::Ascii => "ascii",
        }
    }

    /// What a word of the vocabulary becomes in this style.
    fn word(self, word: &'static str) -> &'static str {
        match (self, word) {
            (Style::Signs, "maj") => "△",
            (Style::Words, "maj") => "ma",
            (Style::Signs, "m") => "–",
            (Style::Words, "m") => "mi",
            (Style::Signs | Style::Words, "dim") => "°",
            (Style::Signs | Style::Words, "aug") => "+",
            (_, word) => word,
        }
    }
}

impl Chord {
    /// A chord with its root in the bass and nothing left out.
    pub const fn new(root: Spelled, degrees: DegreeSet) -> Self {
        Self {
            root,
            degrees,
            omitted: DegreeSet::EMPTY,
            bass: None,
            lower: None,
        }
    }

    /// The degrees that sound.
    pub const fn sounding(&self) -> DegreeSet {
        self.degrees.minus(self.omitted)
    }

    /// The pitch classes that sound, bass and lower chord included.
    pub fn pitches(&self) -> PitchSet {
        let mut set = self.sounding().pitches().placed_on(self.root.class());
        if let Some((root, degrees)) = self.lower {
            set =
                PitchSet::from_bits(set.bits() | degrees.pitches().placed_on(root.class()).bits());
        }
        self.bass.map_or(set, |bass| set.with(bass.class()))
    }

    /// The note that belongs in the bass.
    pub fn lowest(&self) -> Spelled {
        self.bass
            .or(self.lower.map(|(root, _)| root))
            .unwrap_or(self.root)
    }

    /// The symbol in this style.
    pub fn symbol(&self, style: Style) -> String {
        let mut out = String::with_capacity(24);
        self.write_symbol(&mut out, style);
        out
    }

    /// The symbol in this style, its notes named in this way.
    pub fn symbol_in(&self, style: Style, names: NoteNames) -> String {
        let mut out = String::with_capacity(24);
        self.write(&mut out, style, names);
        out
    }

    /// Adds the symbol in this style to `out`.
    pub(crate) fn write_symbol(&self, out: &mut String, style: Style) {
        self.write(out, style, NoteNames::English);
    }

    fn write(&self, out: &mut String, style: Style, names: NoteNames) {
        let note = |out: &mut String, note| out.push_str(&names.write(note, style == Style::Ascii));
        note(out, self.root);
        write_body(out, self.degrees, self.omitted, style);
        if let Some((root, degrees)) = self.lower {
            out.push('|');
            note(out, root);
            write_body(out, degrees, DegreeSet::EMPTY, style);
        }
        if let Some(bass) = self.bass {
            out.push('/');
            note(out, bass);
        }
    }

    /// The chord whose symbol is the shortest that a band can play from: an altered dominant is `7alt`, suspensions lose their upper notes,
    /// omissions and inner alterations of plain chords are left to the player.
    pub fn on_chart(&self) -> Self {
        const DOMINANT: DegreeSet = DegreeSet::of("3 b7");
        let altered_fifth = !self
            .degrees
            .and(const { DegreeSet::of("b5 #5 #11 b13") })
            .is_empty();
        let altered_ninth = !self
            .degrees
            .and(const { DegreeSet::of("b9 #9") })
            .is_empty();
        let plain_upper = !self.degrees.and(const { DegreeSet::of("9 13") }).is_empty();
        let dominant = DOMINANT.minus(self.degrees).is_empty();
        // A natural fifth that sounds rules the altered scale out: 7(b9,b13) over it is the dominant of harmonic minor.
        let plain_fifth = self.sounding().contains(Degree::FIFTH);
        let altered = dominant && altered_fifth && altered_ninth && !plain_upper && !plain_fifth;
        let degrees = if altered {
            const { DegreeSet::of("1 3 b7 b9 #9 #11 b13") }
        } else {
            self.degrees
        };
        Self {
            degrees,
            omitted: DegreeSet::EMPTY,
            ..*self
        }
    }
}

/// Every body of the vocabulary in every style, written once.
static BODIES: LazyLock<[Vec<String>; Style::ALL.len()]> = LazyLock::new(|| {
    Style::ALL.map(|style| QUALITIES.iter().map(|q| body_of(q.body, style)).collect())
});

/// The rows of the vocabulary by their degrees, sorted for a quick search.
static BY_DEGREES: LazyLock<Vec<(DegreeSet, usize)>> = LazyLock::new(|| {
    let mut rows: Vec<_> = QUALITIES.iter().map(|q| q.degrees).zip(0..).collect();
    rows.sort_unstable();
    rows
});

/// The row of the vocabulary that takes the fewest words to turn into `degrees`, what must be added to it and what left out.
#[allow(clippy::expect_used, reason = "the vocabulary is a constant")]
fn nearest(degrees: DegreeSet) -> (usize, DegreeSet, DegreeSet) {
    if let Ok(at) = BY_DEGREES.binary_search_by_key(&degrees, |&(row, _)| row) {
        let exact = BY_DEGREES[at].1;
        return (exact, DegreeSet::EMPTY, DegreeSet::EMPTY);
    }
    let words = |row: DegreeSet| {
        let added = degrees.minus(row);
        // A fifth or seventh can only be part of a row, not an addition to one that has another.
        let unsayable = added
            .iter()
            .any(|d| d.number() < 8 && row.pitches().bits() & neighbours(d) != 0);
        // Of rows as near, a seventh belongs to the row: m7(add11), not madd11 with a seventh added.
        let sevenths = added.iter().filter(|d| d.number() == 7).count();
        (
            2 * added.len() + 3 * row.minus(degrees).len() + if unsayable { 100 } else { 0 },
            sevenths,
        )
    };
    let rows = QUALITIES
        .iter()
        .enumerate()
        .filter(|(_, q)| q.body != "7alt");
    let (best, quality) = rows
        .min_by_key(|(_, q)| words(q.degrees))
        .expect("the vocabulary is not empty");
    (
        best,
        degrees.minus(quality.degrees),
        quality.degrees.minus(degrees),
    )
}

/// Half steps that hold the same chord tone in another form.
fn neighbours(degree: Degree) -> u16 {
    match degree.number() {
        3 | 2 => const { bits("b3 3") },
        5 => const { bits("b5 5 #5") },
        7 => const { bits("b7 7") },
        _ => 0,
    }
}

fn write_body(out: &mut String, degrees: DegreeSet, omitted: DegreeSet, style: Style) {
    let (row, added, missing) = nearest(degrees);
    let body = &BODIES[style as usize][row];
    out.push_str(body);
    if added.union(missing).union(omitted).is_empty() {
        return;
    }
    // A b9 in place of the 9 is an alteration: m13(b9), not m13(addb9)(no9), which would leave both out.
    let replaced_by = |altered: Degree| -> DegreeSet {
        let same_number = |m: &Degree| m.is_tension() && m.number() == altered.number();
        missing
            .iter()
            .filter(|m| altered.is_altered() && same_number(m))
            .collect()
    };
    let replaced = added
        .iter()
        .map(replaced_by)
        .fold(DegreeSet::EMPTY, DegreeSet::union);
    if !added.is_empty() {
        out.push('(');
        for (i, degree) in added.iter().enumerate() {
            if i > 0 {
                out.push(',');
            }
            if replaced_by(degree).is_empty() {
                out.push_str("add");
            }
            // A plain 7 is the minor seventh in a symbol.
            if degree == Degree::MAJOR_SEVENTH {
                out.push_str("maj");
            }
            push_degree(out, degree.name(), style);
        }
        out.push(')');
    }
    let left_out = omitted.union(missing.minus(replaced));
    if !left_out.is_empty() {
        out.push('(');
        for (i, degree) in left_out.iter().enumerate() {
            out.push_str(if i > 0 { ",no" } else { "no" });
            out.push_str(if degree == Degree::ROOT {
                " root"
            } else {
                bare_number(degree)
            });
        }
        out.push(')');
    }
}

/// One row's body in one style.
fn body_of(body: &'static str, style: Style) -> String {
    let mut out = String::new();
    let (stem, alterations) = split(body);
    if style == Style::Signs && stem == "m7" && alterations.first() == Some(&"b5") {
        out.push_str("ø7");
        write_alterations(&mut out, &alterations[1..], style);
    } else {
        write_stem(&mut out, stem, style);
        write_alterations(&mut out, &alterations, style);
    }
    out
}

/// The number without its accidental: what is left out is told by number.
fn bare_number(degree: Degree) -> &'static str {
    degree.name().trim_start_matches(['b', '#'])
}

/// Parts a body into its stem (`m7`, `13sus4`) and its alterations and additions (`b9`, `add11`).
fn split(body: &'static str) -> (&'static str, Vec<&'static str>) {
    let bytes = body.as_bytes();
    let starts_alteration = |i: usize| {
        body[i..].starts_with("add")
            || (matches!(bytes[i], b'b' | b'#')
                && bytes.get(i + 1).is_some_and(u8::is_ascii_digit)
                && !(i >= 3 && body[..i].ends_with("add")))
    };
    let starts: Vec<usize> = (0..bytes.len()).filter(|&i| starts_alteration(i)).collect();
    let stem = &body[..starts.first().copied().unwrap_or(body.len())];
    let ends = starts.iter().skip(1).copied().chain([body.len()]);
    let alterations = starts
        .iter()
        .zip(ends)
        .map(|(&s, e)| body[s..e].trim_end_matches(')'))
        .collect();
    (stem.trim_end_matches('('), alterations)
}

fn write_stem(out: &mut String, stem: &'static str, style: Style) {
    let mut rest = stem;
    while !rest.is_empty() {
        let word = ["maj", "dim", "aug", "m"]
            .into_iter()
            .find(|word| rest.starts_with(word));
        if let Some(word) = word {
            out.push_str(style.word(word));
            rest = &rest[word.len()..];
        } else {
            out.push_str(&rest[..1]);
            rest = &rest[1..];
        }
    }
    // `m(` and `dim(` of "m(maj7)" close again before anything is added.
    if stem.contains('(') && !stem.contains(')') {
        out.push(')');
    }
}

fn write_alterations(out: &mut String, alterations: &[&str], style: Style) {
    let plain = style == Style::Ascii;
    // Without anything before it, an accidental would be read as the root's.
    let bracket =
        !alterations.is_empty() && (!plain || out.is_empty() && !alterations[0].starts_with("add"));
    if bracket {
        out.push('(');
    }
    for (i, alteration) in alterations.iter().enumerate() {
        if i > 0 && !plain {
            out.push(',');
        }
        let (word, text) = alteration
            .strip_prefix("add")
            .map_or(("", *alteration), |text| ("add", text));
        out.push_str(word);
        push_degree(out, text, style);
    }
    if bracket {
        out.push(')');
    }
}

fn push_degree(out: &mut String, name: &str, style: Style) {
    for c in name.chars() {
        out.push(match (c, style) {
            (c, Style::Ascii) => c,
            ('b', _) => '♭',
            ('#', _) => '♯',
            (c, _) => c,
        });
    }
}
