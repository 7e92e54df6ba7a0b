//! Options that say how chords are named, shared by all commands that name them.
//!
//! Input: option texts. Output: the key, the style of symbols and the way of spelling.
//! Units: none. Method: one table of words for each choice. Limits: none.

use crate::chart::recording::Wording;
use crate::harmony::{AnalysisOptions, Context, Spelling, StatedKey, Style};
use clap::Args;
use clap::builder::{PossibleValue, PossibleValuesParser, TypedValueParser};

/// A word of an option, what it means, and the help beside it.
type Choice<T> = (&'static str, T, &'static str);

const STYLES: &[Choice<Style>] = &[
    (
        Style::Letters.name(),
        Style::Letters,
        "Cmaj7 Cm7 Cm7(♭5) Cdim7",
    ),
    (Style::Signs.name(), Style::Signs, "C△7 C–7 Cø7 C°7"),
    (Style::Words.name(), Style::Words, "Cma7 Cmi7 Cmi7(♭5) C°7"),
    (Style::Ascii.name(), Style::Ascii, "Cmaj7 Cm7 Cm7b5 Cdim7"),
];

const SPELLINGS: &[Choice<Spelling>] = &[
    (
        Spelling::Readable.name(),
        Spelling::Readable,
        "F in C#7, no double accidentals",
    ),
    (
        Spelling::Theory.name(),
        Spelling::Theory,
        "E# in C#7, by degree throughout",
    ),
];

/// How chords are named.
#[derive(Debug, Clone, Args)]
pub struct NamingOptions {
    /// The key the music is in, such as Eb, "F minor", "D dorian" or "F blues"; without it, the keys of a progression are found
    #[arg(long, value_name = "KEY", value_parser = clap::value_parser!(StatedKey))]
    pub key: Option<StatedKey>,

    /// How chord symbols are printed
    #[arg(long, value_name = "STYLE", default_value = "letters", value_parser = choice(STYLES))]
    pub style: Style,

    /// How notes are spelled
    #[arg(long, value_name = "WAY", default_value = "readable", value_parser = choice(SPELLINGS))]
    pub spelling: Spelling,
}

/// Reads the word of a style, for commands that print symbols and name nothing.
pub fn style_parser() -> impl TypedValueParser<Value = Style> {
    choice(STYLES)
}

impl NamingOptions {
    /// For a whole recording.
    pub fn wording(&self) -> Wording {
        Wording {
            analysis: AnalysisOptions {
                key: self.key.map(|stated| stated.key),
                scale: self.key.and_then(|stated| stated.scale),
                spelling: self.spelling,
            },
            style: self.style,
        }
    }

    /// For a chord by itself.
    pub fn context(&self) -> Context {
        Context {
            key: self.key.map(|stated| stated.key),
            scale: self.key.and_then(|stated| stated.scale),
            spelling: self.spelling,
            ..Context::default()
        }
    }
}

pub(super) fn choice<T: Copy + Send + Sync + 'static>(
    choices: &'static [Choice<T>],
) -> impl TypedValueParser<Value = T> {
    let words = choices
        .iter()
        .map(|(word, _, help)| PossibleValue::new(*word).help(*help));
    PossibleValuesParser::new(words).try_map(|given| {
        let chosen = choices.iter().find(|(word, ..)| *word == given);
        chosen
            .map(|&(_, value, _)| value)
            .ok_or("there is no such choice")
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_style_can_be_asked_for() {
        for style in Style::ALL {
            assert!(
                STYLES.iter().any(|&(_, listed, _)| listed == style),
                "{style:?}"
            );
        }
    }
}
