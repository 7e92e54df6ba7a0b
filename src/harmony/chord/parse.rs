//! Reading chord symbols in the usual regional styles.
//!
//! Input: text such as `F#m7b5`, `B♭△7`, `E-7`, `G13(b9)`, `A7alt`, `C6/9`, `D/F#`, `C|Abm`, `Bb7 omit 3`.
//! Output: a [`Chord`], or the place in the text where reading stopped and what was expected there.
//! Units: places are counted in characters from 1. Method: one pass from left to right, longest word first; the first number
//! stacks thirds up to it, later numbers only add their note; `11` over a major third is the suspended ninth chord
//! (Levine, The Jazz Theory Book, 1995, ch. 2). Limits: capital M is major and small m is minor; German letters and syllables are read where they are asked for.

use super::parse_words::SymbolWords;
use super::print::Chord;
use crate::harmony::pitch::{Degree, DegreeSet, NoteNames, Spelled};
use std::str::FromStr;

/// A symbol that cannot be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("cannot read the chord symbol '{text}' from place {place} on ({}): expected {expected}", .found.map_or("the end".to_owned(), |c| format!("'{c}'")))]
pub struct SymbolError {
    /// The whole symbol.
    pub text: String,
    /// Where reading stopped, in characters from 1.
    pub place: usize,
    /// The character there; `None` at the end of the text.
    pub found: Option<char>,
    /// What could have stood there.
    pub expected: &'static str,
}

impl FromStr for Chord {
    type Err = SymbolError;
    fn from_str(text: &str) -> Result<Self, SymbolError> {
        Self::read(text, NoteNames::English)
    }
}

impl Chord {
    /// Reads a symbol whose notes are named in this way; a root may be typed small (`am7`).
    ///
    /// # Errors
    /// Where the symbol cannot be read, with what was expected there.
    pub fn read(text: &str, names: NoteNames) -> Result<Self, SymbolError> {
        let small = text
            .trim_start()
            .starts_with(|c: char| c.is_ascii_lowercase());
        let result = Self::read_as_typed(text, names);
        match result {
            Err(_) if small => {
                let start = text.len() - text.trim_start().len();
                let (first, rest) = text[start..].split_at(1);
                let large = format!("{}{}{rest}", &text[..start], first.to_ascii_uppercase());
                Self::read_as_typed(&large, names).or(result)
            }
            result => result,
        }
    }

    fn read_as_typed(text: &str, names: NoteNames) -> Result<Self, SymbolError> {
        let mut reader = Reader {
            text,
            rest: text.trim_start(),
            names,
        };
        let (root, degrees, omitted) = reader.chord()?;
        let mut chord = Chord {
            omitted,
            ..Chord::new(root, degrees)
        };
        match reader.take(&["|", "over"]) {
            // "C over D" is C/D, "C over Dm" a chord over another.
            Some("over") if reader.is_bare_note() => {
                chord.bass = Some(reader.note(EXPECTED_BASS)?).filter(|&bass| bass != chord.root);
            }
            Some(_) => {
                let (root, degrees, _) = reader.chord()?;
                chord.lower = Some((root, degrees));
            }
            None => {}
        }
        if reader.take(&["/"]).is_some() {
            let lower = reader.rest;
            let bass = reader.note(EXPECTED_BASS)?;
            if !reader.rest.trim().is_empty() && chord.lower.is_none() {
                // More than a note below the stroke: a chord over a chord.
                reader.rest = lower;
                let (root, degrees, _) = reader.chord()?;
                chord.lower = Some((root, degrees));
                return reader.end(chord);
            }
            chord.bass =
                (bass != chord.root || !chord.sounding().contains(Degree::ROOT)).then_some(bass);
        }
        reader.end(chord)
    }
}

const EXPECTED_WORD: &str = "a quality (m, maj7, dim, aug, sus4), a number (6, 7, 9, 11, 13), an alteration (b9, #11), add, no, or / and a bass note";
const EXPECTED_BASS: &str = "a bass note from A to G";
const EXPECTED_DEGREE: &str = "a degree, say 9, #11 or b13";

struct Reader<'a> {
    text: &'a str,
    rest: &'a str,
    names: NoteNames,
}

impl<'a> Reader<'a> {
    /// The chord, if nothing is left.
    fn end(&mut self, chord: Chord) -> Result<Chord, SymbolError> {
        self.skip_spaces();
        if self.rest.is_empty() {
            Ok(chord)
        } else {
            Err(self.stop(EXPECTED_WORD))
        }
    }

    fn stop(&self, expected: &'static str) -> SymbolError {
        let done = self.text.len() - self.rest.len();
        SymbolError {
            text: self.text.to_owned(),
            place: self.text[..done].chars().count() + 1,
            found: self.rest.chars().next(),
            expected,
        }
    }

    fn skip_spaces(&mut self) {
        self.rest = self.rest.trim_start();
    }

    fn take(&mut self, words: &[&'static str]) -> Option<&'static str> {
        let before = self.rest;
        self.skip_spaces();
        for &word in words {
            if let Some(rest) = self.rest.strip_prefix(word) {
                self.rest = rest;
                return Some(word);
            }
        }
        self.rest = before;
        None
    }

    fn note(&mut self, expected: &'static str) -> Result<Spelled, SymbolError> {
        self.skip_spaces();
        let (note, rest) = self
            .names
            .read(self.rest)
            .ok_or_else(|| self.stop(expected))?;
        self.rest = rest;
        Ok(note)
    }

    /// True if nothing but a note follows.
    fn is_bare_note(&self) -> bool {
        self.names
            .read(self.rest.trim())
            .is_some_and(|(_, rest)| rest.is_empty())
    }

    fn chord(&mut self) -> Result<(Spelled, DegreeSet, DegreeSet), SymbolError> {
        let root = self.note("a root from A to G, as a capital letter")?;
        let mut draft = SymbolWords::default();
        let mut open = 0_u32;
        loop {
            self.skip_spaces();
            if self.rest.starts_with('(') || self.rest.starts_with('[') {
                open += 1;
                self.rest = &self.rest[1..];
            } else if open > 0 && (self.rest.starts_with(')') || self.rest.starts_with(']')) {
                open -= 1;
                self.rest = &self.rest[1..];
            } else if open > 0
                && (self.rest.starts_with(',')
                    || self.rest.starts_with('/')
                    || self.rest.starts_with(';'))
            {
                self.rest = &self.rest[1..];
            } else if !self.word(&mut draft)? {
                break;
            }
        }
        if open > 0 {
            return Err(self.stop("a closing parenthesis"));
        }
        let degrees = draft.degrees();
        let omitted = degrees
            .iter()
            .filter(|d| draft.omitted_numbers & (1 << d.number()) != 0)
            .collect();
        Ok((root, degrees, omitted))
    }

    /// Reads one word of a chord; false at the end of the chord.
    fn word(&mut self, draft: &mut SymbolWords) -> Result<bool, SymbolError> {
        if self.rest.starts_with("over") || self.rest.starts_with('|') {
            return Ok(false);
        }
        if self.take(&["omit", "no", "without"]).is_some() {
            draft.omitted_numbers |= 1 << self.omitted_number()?;
            return Ok(true);
        }
        if self.take(&["rootless"]).is_some() {
            draft.omitted_numbers |= 1 << 1;
            return Ok(true);
        }
        if self.take(&["add"]).is_some() {
            draft.major_word = false;
            let degree = match self.take(&["maj7", "M7"]) {
                Some(_) => Degree::MAJOR_SEVENTH,
                None => self.degree(true)?,
            };
            draft.added = draft.added.with(degree);
            return Ok(true);
        }
        let at_start = draft.is_untouched();
        // After a number, + and - are accidentals.
        if !at_start && self.starts_accidental() {
            let degree = self.degree(false)?;
            draft.altered = draft.altered.with(degree);
            return Ok(true);
        }
        if self.rest.starts_with("madd") {
            draft.minor = true;
            self.rest = &self.rest[1..];
            return Ok(true);
        }
        const MAJOR: [&str; 9] = ["major", "maj", "Maj", "MAJ", "ma", "Ma", "MA", "M", "j"];
        const MINOR_WORDS: [&str; 7] = ["minor", "min", "Min", "MIN", "mi", "Mi", "MI"];
        const MINOR_SIGNS: [&str; 5] = ["m", "-", "–", "−", "‐"];
        const DIMINISHED: [&str; 7] = ["dim", "Dim", "DIM", "°", "º", "o", "˚"];
        const HALF: [&str; 5] = ["half-dim", "halfdim", "hdim", "ø", "Ø"];
        // Words of the minor family come first and its signs after the major ones, so that M of "Mi" and m of "maj" are not cut off.
        if self.take(&MINOR_WORDS).is_some() {
            draft.minor = true;
        } else if self.take(&MAJOR).is_some() {
            // Behind its number, as in the French and Brazilian C7M; Cdim7(maj7) has both sevenths.
            if draft.stack.is_some() && !self.rest.starts_with('7') {
                draft.major_seventh = true;
            } else {
                draft.major_word = true;
            }
        } else if self.take(&["Δ", "△", "∆", "^"]).is_some() {
            draft.triangle = true;
            draft.major_word = true;
        } else if self.take(&MINOR_SIGNS).is_some() {
            draft.minor = true;
        } else if self.take(&HALF).is_some() {
            draft.half_diminished = true;
        } else if self.take(&DIMINISHED).is_some() {
            draft.diminished = true;
        } else if self
            .take(&["augmented", "aug", "Aug", "AUG", "+"])
            .is_some()
        {
            draft.augmented = true;
        } else if self.take(&["sus2sus4", "sus24", "sus42"]).is_some() {
            (draft.sus2, draft.sus4) = (true, true);
        } else if self.take(&["sus2"]).is_some() {
            draft.sus2 = true;
        } else if self.take(&["sus4", "sus", "Sus", "SUS"]).is_some() {
            draft.sus4 = true;
        } else if self.take(&["alt", "ALT"]).is_some() {
            draft.alt = true;
        } else if self.take(&["dom"]).is_some() {
            // "dom7" is plain 7.
        } else if let Some(number) =
            self.take(&["6/9", "69", "13", "11", "9", "7", "6", "5", "4", "2"])
        {
            return self.number(draft, number).map(|()| true);
        } else if self.starts_accidental() {
            let degree = self.degree(false)?;
            draft.altered = draft.altered.with(degree);
        } else if self.rest.starts_with('/')
            && !self.rest[1..]
                .trim_start()
                .starts_with(|c: char| c.is_ascii_uppercase())
            && self.rest.len() > 1
        {
            // A stroke between numbers or words only parts them: m/maj7, 7b9/13.
            let after = self.rest[1..].trim_start();
            let parts = after.starts_with(|c: char| c.is_ascii_digit() || "b#♭♯m△Δ".contains(c));
            if !parts {
                return Ok(false);
            }
            self.rest = after;
        } else if self.rest.starts_with("/M") {
            self.rest = &self.rest[1..];
        } else {
            return Ok(false);
        }
        Ok(true)
    }

    fn starts_accidental(&self) -> bool {
        let mut chars = self.rest.chars();
        matches!(
            chars.next(),
            Some('b' | '#' | '♭' | '♯' | '+' | '-' | '–' | '−')
        ) && matches!(chars.next(), Some('0'..='9' | 'b'))
    }

    fn number(&self, draft: &mut SymbolWords, number: &str) -> Result<(), SymbolError> {
        let major = std::mem::take(&mut draft.major_word);
        let first = draft.stack.is_none() && !draft.sixth;
        match number {
            "6/9" | "69" => {
                draft.sixth = true;
                draft.added = draft.added.with(Degree::NINTH);
            }
            "6" if first => draft.sixth = true,
            "5" => draft.power = true,
            "4" => draft.sus4 = true,
            "2" => draft.sus2 = true,
            "7" | "9" | "11" | "13" if first => {
                draft.major_seventh |= major;
                draft.stack = number.parse().ok();
            }
            "7" if major => draft.added = draft.added.with(Degree::MAJOR_SEVENTH),
            "7" if draft.sixth => draft.stack = Some(7),
            "9" => draft.added = draft.added.with(Degree::NINTH),
            "11" => draft.added = draft.added.with(Degree::ELEVENTH),
            "6" | "13" => draft.added = draft.added.with(Degree::THIRTEENTH),
            _ => return Err(self.stop(EXPECTED_WORD)),
        }
        Ok(())
    }

    #[allow(clippy::expect_used, reason = "the words are those of the list above")]
    fn omitted_number(&mut self) -> Result<u8, SymbolError> {
        match self.take(&[
            "root", "13", "11", "1", "R", "3rd", "3", "5th", "5", "7th", "7", "9", "6", "4", "2",
        ]) {
            Some("root" | "1" | "R") => Ok(1),
            Some(word) => Ok(word
                .trim_end_matches(|c: char| c.is_ascii_alphabetic())
                .parse()
                .expect("a number from the list")),
            None => Err(self.stop("root or the number of a degree, say no3")),
        }
    }

    /// Reads a degree with its accidental; plain numbers are allowed after "add" only.
    fn degree(&mut self, plain_allowed: bool) -> Result<Degree, SymbolError> {
        self.skip_spaces();
        let start = self.rest;
        let mut accidentals = 0_i8;
        while let Some(c) = self.rest.chars().next() {
            let step = match c {
                'b' | '♭' | '-' | '–' | '−' => -1,
                '#' | '♯' | '+' => 1,
                _ => break,
            };
            accidentals = accidentals.saturating_add(step);
            self.rest = &self.rest[c.len_utf8()..];
        }
        let Some(number) = self.take(&["13", "11", "10", "9", "7", "6", "5", "4", "3", "2"]) else {
            return Err(self.stop(EXPECTED_DEGREE));
        };
        let name = match (accidentals, number) {
            (0, _) if !plain_allowed => None,
            (0, "2" | "9") => Some(Degree::NINTH),
            (0, "4" | "11") => Some(Degree::ELEVENTH),
            (0, "3") => Some(Degree::THIRD),
            (0, "5") => Some(Degree::FIFTH),
            (0, "6") => Some(Degree::SIXTH),
            (0, "7") => Some(Degree::MINOR_SEVENTH),
            (0, "13") => Some(Degree::THIRTEENTH),
            (-1, "2" | "9") => Some(Degree::FLAT_NINTH),
            (1, "2" | "9") => Some(Degree::SHARP_NINTH),
            (1, "4" | "11") => Some(Degree::SHARP_ELEVENTH),
            (-1, "10") => Some(Degree::SHARP_NINTH),
            (1, "7") => Some(Degree::MAJOR_SEVENTH),
            (-1, "11" | "4") => Some(Degree::FLAT_ELEVENTH),
            (-1, "3") => Some(Degree::MINOR_THIRD),
            (-1, "5") => Some(Degree::FLAT_FIFTH),
            (1, "5") => Some(Degree::SHARP_FIFTH),
            (-1, "6" | "13") => Some(Degree::FLAT_THIRTEENTH),
            (-1, "7") => Some(Degree::MINOR_SEVENTH),
            (-2, "7") => Some(Degree::DIMINISHED_SEVENTH),
            _ => None,
        };
        name.ok_or_else(|| {
            self.rest = start;
            self.stop(EXPECTED_DEGREE)
        })
    }
}
