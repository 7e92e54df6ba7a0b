//! A chord as MusicXML says it: a kind, and degrees added, altered or taken away.
//!
//! Input: a [`Chord`]. Output: [`KindAndDegrees`]. Units: degrees 1 to 13; half steps. Method: MusicXML 4.0 (W3C Music Notation Community Group), elements
//! `kind` and `degree`: an added degree is counted from a dominant chord, where the seventh is minor; an altered one from the degree that the kind has; a kind of
//! the thirteenth holds an eleventh. Of all kinds the one is taken that needs the fewest degrees; of equals the first of [`KINDS`], which stand in the order in
//! which a musician would look for them. So nothing has to be kept beside the table of qualities.
//! Limits: of a fraction of two chords the upper one, with the root of the lower as bass.

use crate::harmony::{Chord, Degree, DegreeSet, Spelled, Style};

/// A kind and its degrees.
pub const KINDS: [(&str, &str); 25] = [
    ("major", "1 3 5"),
    ("minor", "1 b3 5"),
    ("diminished", "1 b3 b5"),
    ("suspended-fourth", "1 4 5"),
    ("suspended-second", "1 2 5"),
    ("power", "1 5"),
    ("dominant", "1 3 5 b7"),
    ("major-seventh", "1 3 5 7"),
    ("minor-seventh", "1 b3 5 b7"),
    ("diminished-seventh", "1 b3 b5 bb7"),
    ("major-minor", "1 b3 5 7"),
    ("major-sixth", "1 3 5 6"),
    ("minor-sixth", "1 b3 5 6"),
    ("dominant-ninth", "1 3 5 b7 9"),
    ("major-ninth", "1 3 5 7 9"),
    ("minor-ninth", "1 b3 5 b7 9"),
    ("minor-11th", "1 b3 5 b7 9 11"),
    ("augmented", "1 3 #5"),
    ("augmented-seventh", "1 3 #5 b7"),
    ("half-diminished", "1 b3 b5 b7"),
    ("dominant-13th", "1 3 5 b7 9 13"),
    ("major-13th", "1 3 5 7 9 13"),
    ("minor-13th", "1 b3 5 b7 9 11 13"),
    ("dominant-11th", "1 3 5 b7 9 11"),
    ("major-11th", "1 3 5 7 9 11"),
];

/// The degrees from which added ones are counted: those of a dominant chord with all its tensions.
pub const DEGREES_OF_A_DOMINANT: DegreeSet = DegreeSet::of("1 2 3 4 5 6 b7 9 11 13");

/// What happens to a degree.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Change {
    /// It is added.
    Add,
    /// It stands in another form.
    Alter,
    /// It is left out.
    Subtract,
}

impl Change {
    /// As the standard writes it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Add => "add",
            Self::Alter => "alter",
            Self::Subtract => "subtract",
        }
    }
}

/// One `degree`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DegreeChange {
    /// Its number.
    pub value: u8,
    /// Half steps.
    pub alter: i8,
    /// What happens to it.
    pub change: Change,
}

/// A chord as MusicXML says it.
#[derive(Debug, Clone, PartialEq)]
pub struct KindAndDegrees {
    /// The root.
    pub root: Spelled,
    /// The kind.
    pub kind: &'static str,
    /// The symbol of the kind without its root and degrees.
    pub text: String,
    /// What is added, altered and left out.
    pub degrees: Vec<DegreeChange>,
    /// The bass, where it is not the root.
    pub bass: Option<Spelled>,
}

/// Says `chord` as MusicXML does; the text of the kind in this style.
pub fn kind_and_degrees(chord: &Chord, style: Style) -> KindAndDegrees {
    let sounding = chord.degrees.minus(chord.omitted);
    let best = KINDS.iter().filter_map(|&(kind, degrees)| {
        let own = DegreeSet::of(degrees);
        changes(own, kind.ends_with("13th"), sounding).map(|changes| (kind, own, changes))
    });
    let best = best.min_by_key(|(_, _, changes)| changes.len());
    let (kind, own, degrees) = best.unwrap_or(("other", DegreeSet::EMPTY, Vec::new()));
    let text = if kind == "other" {
        chord.symbol(style)
    } else {
        let plain = Spelled::at_fifths(0);
        Chord::new(plain, own)
            .symbol(style)
            .split_off(plain.name().len())
    };
    KindAndDegrees {
        root: chord.root,
        kind,
        text,
        degrees,
        bass: chord.bass.or(chord.lower.map(|(root, _)| root)),
    }
}

/// What must be done to a kind with the degrees `own` so that it says `wanted`; `None` where no musician would say it so.
fn changes(own: DegreeSet, thirteenth: bool, wanted: DegreeSet) -> Option<Vec<DegreeChange>> {
    let number =
        |set: DegreeSet, number: u8| set.iter().filter(move |degree| degree.number() == number);
    let (mut kept, mut changes) = (DegreeSet::EMPTY, Vec::new());
    for degree in own.iter() {
        let value = degree.number();
        if wanted.contains(degree) {
            kept = kept.with(degree);
            continue;
        }
        let other = number(wanted, value).find(|other| !own.contains(*other));
        let several = number(wanted, value).count() > 1;
        match other {
            // a third is what a kind is told by, and two ninths are added to a chord without one
            Some(_) if value == 3 || several => return None,
            Some(other) => {
                kept = kept.with(other);
                changes.push(DegreeChange {
                    value,
                    alter: above(other, degree),
                    change: Change::Alter,
                });
            }
            // players leave out what a kind of the thirteenth holds besides
            None if thirteenth
                && degree == Degree::NINTH
                && number(wanted, 13).next().is_some() => {}
            None => changes.push(DegreeChange {
                value,
                alter: 0,
                change: Change::Subtract,
            }),
        }
    }
    for degree in wanted.minus(kept).iter() {
        let value = degree.number();
        let change = match thirteenth && value == 11 {
            true => Change::Alter,
            false => Change::Add,
        };
        let alter = above(degree, of_a_dominant(value)?);
        if change == Change::Add || alter != 0 {
            changes.push(DegreeChange {
                value,
                alter,
                change,
            });
        }
    }
    let subtracted = changes
        .iter()
        .any(|change| change.change == Change::Subtract && change.value == 3);
    // a suspension is a kind of its own
    let suspended = [2, 4].iter().any(|&value| {
        number(wanted, value).next().is_some() && number(own, value).next().is_none()
    });
    changes.sort_by_key(|change| {
        (
            change.change != Change::Subtract,
            change.value,
            change.alter,
        )
    });
    (!suspended || !subtracted && number(own, 3).next().is_none()).then_some(changes)
}

/// The degree of this number in a dominant chord with all its tensions.
fn of_a_dominant(value: u8) -> Option<Degree> {
    DEGREES_OF_A_DOMINANT
        .iter()
        .find(|degree| degree.number() == value)
}

/// Half steps from `low` to `high`, which have the same number.
fn above(high: Degree, low: Degree) -> i8 {
    let up = (high.half_steps() as i8 - low.half_steps() as i8).rem_euclid(12);
    if up > 6 { up - 12 } else { up }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::harmony::chord::quality::QUALITIES;

    /// Degrees again, by the rules of the standard alone.
    fn decoded(said: &KindAndDegrees) -> DegreeSet {
        let own = KINDS.iter().find(|(kind, _)| *kind == said.kind).unwrap().1;
        let mut set = DegreeSet::of(own);
        let find = |value: u8, half_steps: i8| {
            Degree::all()
                .find(|d| d.number() == value && d.half_steps() as i8 == half_steps.rem_euclid(12))
                .unwrap()
        };
        for change in &said.degrees {
            let has = set.iter().find(|d| d.number() == change.value);
            match change.change {
                Change::Add => {
                    let plain = of_a_dominant(change.value).unwrap();
                    set = set.with(find(change.value, plain.half_steps() as i8 + change.alter));
                }
                Change::Alter => {
                    let plain = has
                        .or(Some(Degree::ELEVENTH).filter(|_| change.value == 11))
                        .unwrap();
                    set = set
                        .without(plain)
                        .with(find(change.value, plain.half_steps() as i8 + change.alter));
                }
                Change::Subtract => set = set.without(has.unwrap()),
            }
        }
        set
    }

    #[test]
    fn every_quality_can_be_read_back() {
        for quality in QUALITIES {
            let chord = Chord::new("D".parse().unwrap(), quality.degrees);
            let said = kind_and_degrees(&chord, Style::Ascii);
            let mut back = decoded(&said);
            // A kind of the thirteenth is written where the ninth is left to the player as well.
            if !quality.degrees.contains(Degree::NINTH)
                && said.kind.ends_with("13th")
                && said.degrees.is_empty()
            {
                back = back.without(Degree::NINTH);
            }
            assert_eq!(back, quality.degrees, "{}: {said:?}", quality.body);
        }
    }

    #[test]
    fn chords_are_said_as_a_musician_says_them() {
        let said = |symbol: &str| {
            let said = kind_and_degrees(&symbol.parse().unwrap(), Style::Ascii);
            let degrees: Vec<String> = said
                .degrees
                .iter()
                .map(|d| format!("{}{}{:+}", d.change.word(), d.value, d.alter))
                .collect();
            format!("{} {}", said.kind, degrees.join(" "))
                .trim()
                .to_owned()
        };
        for (symbol, expected) in [
            ("Ddim(maj7)", "diminished add7+1"),
            ("E13b9", "dominant-13th alter9-1"),
            ("C13#11", "dominant-13th alter11+1"),
            ("Cmaj13#11", "major-13th alter11+1"),
            (
                "C7alt",
                "dominant subtract5+0 add9-1 add9+1 add11+1 add13-1",
            ),
            ("C7sus4b9", "suspended-fourth add7+0 add9-1"),
            ("C13sus4", "suspended-fourth add7+0 add9+0 add13+0"),
            ("Cmaj7sus4", "suspended-fourth add7+1"),
            ("C7b9", "dominant add9-1"),
            ("C7b5", "dominant alter5-1"),
            ("C9#5", "dominant-ninth alter5+1"),
            ("Cm7b5", "half-diminished"),
            ("Cm9b5", "minor-ninth alter5-1"),
            ("C6/9", "major-sixth add9+0"),
            ("Cmaj7#5", "major-seventh alter5+1"),
            ("C7#5b9", "augmented-seventh add9-1"),
            ("Cdim7(maj7)", "diminished-seventh add7+1"),
        ] {
            assert_eq!(said(symbol), expected, "{symbol}");
        }
    }
}
