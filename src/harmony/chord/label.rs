//! Machine-readable labels: `root:shorthand(degrees)/bass`.
//!
//! Input: a [`Chord`] and what of it sounds. Output: a label such as `D:dim(7)` or `C:7(*5,13)/3`; and back.
//! Units: none. Method: Harte, Sandler, Abdallah and Gomez, Symbolic representation of musical chords, ISMIR 2005; the shorthand that
//! needs the fewest added and left-out degrees wins. A label holds exactly the degrees that sound.
//! Limits: the syntax knows `*` for a degree left out, and no fractions of two chords: those are written from the lower root.

use super::print::Chord;
use crate::harmony::pitch::degree::LETTER_FIFTHS;
use crate::harmony::pitch::spelled::read_spelled;
use crate::harmony::pitch::{Degree, DegreeSet, Spelled};

/// Shorthands of the syntax that every reader of it knows.
const SHORTHANDS: [(&str, DegreeSet); 19] = [
    ("maj", DegreeSet::of("1 3 5")),
    ("min", DegreeSet::of("1 b3 5")),
    ("dim", DegreeSet::of("1 b3 b5")),
    ("aug", DegreeSet::of("1 3 #5")),
    ("maj7", DegreeSet::of("1 3 5 7")),
    ("min7", DegreeSet::of("1 b3 5 b7")),
    ("7", DegreeSet::of("1 3 5 b7")),
    ("dim7", DegreeSet::of("1 b3 b5 bb7")),
    ("hdim7", DegreeSet::of("1 b3 b5 b7")),
    ("minmaj7", DegreeSet::of("1 b3 5 7")),
    ("maj6", DegreeSet::of("1 3 5 6")),
    ("min6", DegreeSet::of("1 b3 5 6")),
    ("9", DegreeSet::of("1 3 5 b7 9")),
    ("maj9", DegreeSet::of("1 3 5 7 9")),
    ("min9", DegreeSet::of("1 b3 5 b7 9")),
    ("sus2", DegreeSet::of("1 2 5")),
    ("sus4", DegreeSet::of("1 4 5")),
    ("5", DegreeSet::of("1 5")),
    ("1", DegreeSet::of("1")),
];

/// The label for a chord of which exactly `sounding` is heard.
#[allow(clippy::expect_used, reason = "the table of shorthands is a constant")]
pub fn write(chord: &Chord, sounding: DegreeSet) -> String {
    let (root, sounding) = match chord.lower {
        Some((root, lower)) => (root, from_lower(root, lower, chord)),
        None => (chord.root, sounding),
    };
    let exact = SHORTHANDS.iter().find(|(_, set)| *set == sounding);
    let (name, set) = exact
        .or_else(|| {
            SHORTHANDS
                .iter()
                .min_by_key(|(_, set)| sounding.difference(*set).len())
        })
        .expect("there are shorthands");
    let mut out = String::with_capacity(24);
    [root.name(), ":", name]
        .iter()
        .for_each(|part| out.push_str(part));
    let apart = sounding.difference(*set);
    for (i, degree) in apart.by_number().enumerate() {
        out.push(if i == 0 { '(' } else { ',' });
        if set.contains(degree) {
            out.push('*');
        }
        out.push_str(degree.name());
    }
    if !apart.is_empty() {
        out.push(')');
    }
    if let Some(bass) = chord.bass
        && let Some(degree) = bass_degree(root, bass, sounding)
    {
        out.push('/');
        out.push_str(degree);
    }
    out
}

/// A fraction of two chords, all of it as degrees of the lower root.
fn from_lower(root: Spelled, lower: DegreeSet, chord: &Chord) -> DegreeSet {
    let upper = chord
        .sounding()
        .pitches()
        .placed_on(chord.root.class())
        .seen_from(root.class());
    let rest = upper.bits() & !lower.pitches().bits();
    let names = DegreeSet::of("b9 9 #9 3 11 #11 5 b13 13 b7 7");
    names
        .iter()
        .filter(|d| rest & (1 << d.half_steps()) != 0)
        .fold(lower, DegreeSet::with)
}

/// The bass as a degree; `None` for a tension that the label lists already: readers fold a bass into one octave and would count it twice.
fn bass_degree(root: Spelled, bass: Spelled, sounding: DegreeSet) -> Option<&'static str> {
    const FOREIGN: [&str; 12] = [
        "1", "b2", "2", "b3", "3", "4", "#4", "5", "b6", "6", "b7", "7",
    ];
    let half_steps = bass.class().above(root.class());
    match sounding.at(half_steps) {
        Some(degree) if degree.is_tension() => None,
        Some(degree) => Some(degree.name()),
        None => Some(FOREIGN[half_steps as usize]),
    }
}

/// A label that cannot be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("cannot read the chord label '{label}': {wrong}")]
pub struct LabelError {
    /// The label.
    pub label: String,
    /// What is wrong with it.
    pub wrong: &'static str,
}

/// Reads a label; `N` (no chord) is `None`.
///
/// # Errors
/// If root, shorthand, a degree or the bass is none.
pub fn read(label: &str) -> Result<Option<Chord>, LabelError> {
    let refused = |wrong| LabelError {
        label: label.to_owned(),
        wrong,
    };
    if label == "N" {
        return Ok(None);
    }
    let (root, rest) = read_spelled(label)
        .ok_or_else(|| refused("it must begin with a root from A to G, or be N"))?;
    let (body, bass) = rest
        .split_once('/')
        .map_or((rest, None), |(body, bass)| (body, Some(bass)));
    let body = match body.strip_prefix(':') {
        Some(body) => body,
        None if body.is_empty() => "maj",
        None => return Err(refused("a colon must follow the root")),
    };
    let (name, list) = match body.split_once('(') {
        Some((name, list)) => (
            name,
            list.strip_suffix(')')
                .ok_or_else(|| refused("a closing parenthesis is missing"))?,
        ),
        None => (body, ""),
    };
    let mut degrees = match SHORTHANDS.iter().find(|(known, _)| *known == name) {
        Some((_, set)) => *set,
        None if name.is_empty() => DegreeSet::of("1"),
        None => {
            return Err(refused(
                "the shorthand after the colon is none of the published ones",
            ));
        }
    };
    for word in list.split(',').filter(|word| !word.is_empty()) {
        let (left_out, word) = word
            .strip_prefix('*')
            .map_or((false, word), |word| (true, word));
        let degree = Degree::all()
            .find(|d| d.name() == word)
            .ok_or_else(|| refused("a word in parentheses is no degree"))?;
        degrees = if left_out {
            degrees.without(degree)
        } else {
            degrees.with(degree)
        };
    }
    let mut chord = Chord::new(root, degrees);
    if !degrees.contains(Degree::ROOT) {
        chord.degrees = degrees.with(Degree::ROOT);
        chord.omitted = DegreeSet::of("1");
    }
    if let Some(bass) = bass {
        let (accidentals, number) =
            bass.split_at(bass.find(|c: char| c.is_ascii_digit()).unwrap_or(0));
        let number: usize = number
            .parse()
            .ok()
            .filter(|n| (1..=13).contains(n))
            .ok_or_else(|| refused("the bass after the stroke is no degree"))?;
        let shift = match accidentals {
            "" => 0,
            "b" => -7,
            "bb" => -14,
            "#" => 7,
            "##" => 14,
            _ => return Err(refused("the bass after the stroke is no degree")),
        };
        let place = root.fifths() + LETTER_FIFTHS[(number - 1) % 7] + shift;
        chord.bass = Some(Spelled::at_fifths(place)).filter(|&b| b != root);
    }
    Ok(Some(chord))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::harmony::chord::quality::QUALITIES;

    #[test]
    fn a_diminished_major_seventh_has_the_label_of_the_syntax() {
        let chord: Chord = "Ddim(maj7)".parse().unwrap();
        assert_eq!(write(&chord, chord.degrees), "D:dim(7)");
    }

    #[test]
    fn every_quality_comes_back_from_its_label() {
        for quality in QUALITIES {
            let chord = Chord::new("Eb".parse().unwrap(), quality.degrees);
            let label = write(&chord, quality.degrees);
            assert_eq!(
                read(&label).unwrap().unwrap().degrees,
                quality.degrees,
                "{label}"
            );
        }
    }

    #[test]
    fn labels_say_what_is_left_out_and_what_lies_in_the_bass() {
        let chord: Chord = "C13/E".parse().unwrap();
        assert_eq!(write(&chord, DegreeSet::of("1 3 b7 13")), "C:7(*5,13)/3");
        assert_eq!(
            read("F#:maj/3").unwrap().unwrap().bass.unwrap().to_string(),
            "A#"
        );
        assert_eq!(read("N").unwrap(), None);
        assert!(read("C:rare").is_err());
        assert!(read("C:maj(9").is_err());
    }
}
