//! A command line that cannot be read, told as every other refusal: what, where, what to do.
//!
//! Input: the parser's error, and the command that was asked for. Output: one sentence. Units: none.
//! Method: the facts that the parser keeps with its error, in our own words. Limits: what it keeps no facts of is told in its own words.

use clap::error::{ContextKind, ContextValue, ErrorKind};
use std::error::Error;
use std::num::{ParseFloatError, ParseIntError};
use std::path::Path;

/// The sentence.
pub fn sentence(error: &clap::Error, command: Option<&str>) -> String {
    let fact = |kind| fact(error, kind);
    let help = command.map_or("lidprop help".to_owned(), |command| {
        format!("lidprop help {command}")
    });
    let or_help = |kind| match fact(kind) {
        Some(nearest) => format!("did you mean '{nearest}'? `{help}` lists them"),
        None => format!("`{help}` lists them"),
    };
    let argument = fact(ContextKind::InvalidArg).unwrap_or_default();
    let value = fact(ContextKind::InvalidValue).unwrap_or_default();
    match error.kind() {
        ErrorKind::InvalidSubcommand => {
            let word = fact(ContextKind::InvalidSubcommand).unwrap_or_default();
            if is_a_file(&word) {
                return format!(
                    "{word}: this is a file and no command; to read a recording: lidprop take {word}"
                );
            }
            let what = or_help(ContextKind::SuggestedSubcommand);
            format!("'{word}' is no command; {what}")
        }
        ErrorKind::UnknownArgument => {
            let of = command.map_or(String::new(), |command| format!(" of `{command}`"));
            let what = or_help(ContextKind::SuggestedArg);
            format!("'{argument}' is no option{of}; {what}")
        }
        ErrorKind::InvalidValue if value.is_empty() => {
            format!("{argument}: its value is missing; `{help}` says what it can be")
        }
        ErrorKind::InvalidValue => {
            let nearest = fact(ContextKind::SuggestedValue);
            let nearest = nearest.map_or(String::new(), |near| format!("did you mean '{near}'? "));
            let known = fact(ContextKind::ValidValue).unwrap_or_default();
            format!("{argument}: '{value}' is not known; {nearest}give one of {known}")
        }
        ErrorKind::ValueValidation => {
            let why = why(error).unwrap_or_else(|| format!("`{help}` says what it can be"));
            format!("{argument}: '{value}' cannot be used; {why}")
        }
        ErrorKind::MissingRequiredArgument => {
            let missing = one_of(&argument);
            format!("this is missing: {missing}; `{help}` shows how it is given")
        }
        ErrorKind::ArgumentConflict => {
            let other = fact(ContextKind::PriorArg).unwrap_or_default();
            if other == argument || other.is_empty() {
                format!("{argument} is given twice; give it once")
            } else {
                format!("{argument} and {other} exclude each other; leave one of them out")
            }
        }
        _ => {
            let text = error.to_string();
            let first = text.lines().next().unwrap_or_default();
            let what = first.strip_prefix("error: ").unwrap_or(first);
            format!("{what}; `{help}` says more")
        }
    }
}

fn fact(error: &clap::Error, kind: ContextKind) -> Option<String> {
    match error.get(kind)? {
        ContextValue::String(word) => Some(word.clone()),
        ContextValue::Strings(words) => (!words.is_empty()).then(|| words.join(", ")),
        _ => None,
    }
}

/// Options of which one is asked for, which the parser writes `<--plan <FILE>|--listen>`.
fn one_of(argument: &str) -> String {
    let options = argument
        .strip_prefix("<--")
        .and_then(|rest| rest.strip_suffix('>'));
    match options {
        Some(options) => format!("--{}", options.replace('|', " or ")),
        None => argument.to_owned(),
    }
}

/// The parser's `700 is not in 0..=600` as what to give instead.
fn range(told: &str) -> Option<String> {
    let (_, range) = told.split_once(" is not in ")?;
    Some(match range.split_once("..=") {
        Some((least, most)) => format!("give a whole number from {least} to {most}"),
        None => format!("give a whole number from {} on", range.split_once("..")?.0),
    })
}

/// What the reader of a value says of it; numbers are explained in our own words.
fn why(error: &clap::Error) -> Option<String> {
    let source = error.source()?;
    Some(if source.is::<ParseIntError>() {
        "give a whole number".to_owned()
    } else if source.is::<ParseFloatError>() {
        "give a number".to_owned()
    } else {
        let told = source.to_string();
        range(&told).unwrap_or(told)
    })
}

/// True of a word that can only be meant as a file.
fn is_a_file(word: &str) -> bool {
    let path = Path::new(word);
    path.is_file() || path.extension().is_some() || path.components().count() > 1
}
