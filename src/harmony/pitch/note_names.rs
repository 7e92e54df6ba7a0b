//! Ways of naming notes: by English or German letters, or by syllables.
//!
//! Input: text, or a [`Spelled`] name. Output: the name that stands at the beginning of a text; a name as written in one of the ways.
//! Units: none. Method: German: H is B natural, B is B flat, -is raises, -es lowers (Es and As shortened); syllables with # and b.
//! Limits: the rest of a chord symbol is the same in all ways.

use super::spelled::{Spelled, read_spelled};

/// A way of naming notes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Hash)]
pub enum NoteNames {
    /// C D E F G A B, with # and b.
    #[default]
    English,
    /// C D E F G A H; Cis, Es, B.
    German,
    /// Do Re Mi Fa Sol La Si, with # and b.
    Solfege,
}

/// The syllables by letter, from C; longer ones first where one begins another.
const SYLLABLES: [(&str, char); 9] = [
    ("sol", 'G'),
    ("do", 'C'),
    ("re", 'D'),
    ("mi", 'E'),
    ("fa", 'F'),
    ("so", 'G'),
    ("la", 'A'),
    ("si", 'B'),
    ("ti", 'B'),
];

impl NoteNames {
    /// The name at the beginning of `text`, in either case, and what follows it.
    pub(crate) fn read(self, text: &str) -> Option<(Spelled, &str)> {
        match self {
            Self::English => read_spelled(text),
            Self::German => read_german(text),
            Self::Solfege => read_syllable(text),
        }
    }

    /// A name as it is written in this way, its sign as `#` and `b` or as ♯ and ♭.
    pub fn write(self, note: Spelled, ascii: bool) -> String {
        let [flat, sharp] = if ascii { ["b", "#"] } else { ["♭", "♯"] };
        let sign = if note.accidentals() < 0 { flat } else { sharp };
        let signs = sign.repeat(usize::from(note.accidentals().unsigned_abs()));
        match self {
            Self::English => format!("{}{signs}", note.letter()),
            Self::German => german(note),
            Self::Solfege => {
                let named = SYLLABLES
                    .iter()
                    .find(|(_, letter)| *letter == note.letter());
                let syllable = named.map_or("", |(syllable, _)| syllable);
                let mut chars = syllable.chars();
                let first: String = chars
                    .next()
                    .into_iter()
                    .flat_map(char::to_uppercase)
                    .collect();
                format!("{first}{}{signs}", chars.as_str())
            }
        }
    }
}

fn german(note: Spelled) -> String {
    match (note.letter(), note.accidentals()) {
        ('B', -1) => "B".to_owned(),
        ('B', by) => format!("H{}", ending(by)),
        (letter @ ('E' | 'A'), by) if by < 0 => format!("{letter}s{}", ending(by + 1)),
        (letter, by) => format!("{letter}{}", ending(by)),
    }
}

fn ending(accidentals: i8) -> String {
    let one = if accidentals < 0 { "es" } else { "is" };
    one.repeat(usize::from(accidentals.unsigned_abs()))
}

fn read_german(text: &str) -> Option<(Spelled, &str)> {
    let first = text.chars().next()?.to_ascii_uppercase();
    let after = text.get(1..)?;
    let (letter, mut rest, mut by): (char, &str, i8) = match first {
        'H' => ('B', after, 0),
        'B' => ('B', after, -1),
        'A' | 'C'..='G' => (first, after, 0),
        _ => return None,
    };
    if matches!(first, 'E' | 'A') && rest.starts_with('s') && !rest.starts_with("sus") {
        rest = &rest[1..];
        by = -1;
    }
    while let Some((one, left)) = [("is", 1), ("es", -1), ("#", 1), ("♯", 1), ("♭", -1)]
        .iter()
        .find_map(|&(ending, one)| Some((one, rest.strip_prefix(ending)?)))
    {
        if by * one < 0 || (by + one).abs() > 2 {
            break;
        }
        by += one;
        rest = left;
    }
    Some((Spelled::of(letter, by)?, rest))
}

fn read_syllable(text: &str) -> Option<(Spelled, &str)> {
    let (letter, mut rest) = SYLLABLES.iter().find_map(|&(syllable, letter)| {
        let head = text.get(..syllable.len())?;
        head.eq_ignore_ascii_case(syllable)
            .then(|| (letter, &text[syllable.len()..]))
    })?;
    let mut by = 0_i8;
    while let Some(sign) = rest.chars().next() {
        let one = match sign {
            '#' | '♯' => 1,
            'b' | '♭' => -1,
            _ => break,
        };
        if by * one < 0 || by.abs() >= 2 {
            break;
        }
        by += one;
        rest = &rest[sign.len_utf8()..];
    }
    Some((Spelled::of(letter, by)?, rest))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_way_reads_what_it_writes() {
        for place in -15..=19 {
            let note = Spelled::at_fifths(place);
            for names in [NoteNames::English, NoteNames::German, NoteNames::Solfege] {
                let written = names.write(note, true);
                assert_eq!(
                    names.read(&written),
                    Some((note, "")),
                    "{written} in {names:?}"
                );
            }
        }
    }

    #[test]
    fn german_letters_and_syllables_leave_the_rest_of_a_symbol() {
        for (names, text, note, rest) in [
            (NoteNames::German, "Hm7b5", "B", "m7b5"),
            (NoteNames::German, "B7", "Bb", "7"),
            (NoteNames::German, "Cis7", "C#", "7"),
            (NoteNames::German, "Esus4", "E", "sus4"),
            (NoteNames::German, "Essus4", "Eb", "sus4"),
            (NoteNames::German, "Asmaj7", "Ab", "maj7"),
            (NoteNames::German, "fis4", "F#", "4"),
            (NoteNames::Solfege, "Sib7", "Bb", "7"),
            (NoteNames::Solfege, "Rem7", "D", "m7"),
            (NoteNames::Solfege, "sol4", "G", "4"),
            (NoteNames::Solfege, "Fa#dim7", "F#", "dim7"),
        ] {
            let note: Spelled = note.parse().unwrap();
            assert_eq!(names.read(text), Some((note, rest)), "{text}");
        }
        assert_eq!(NoteNames::German.read("X"), None);
        assert_eq!(NoteNames::Solfege.read("é"), None);
    }
}
