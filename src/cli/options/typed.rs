//! What a user types where chords are asked for: notes, a symbol, a progression, or the name of a text file that holds one.
//!
//! Input: the words of the command line. Output: a [`Typing`], neighbours as a [`Context`]. Units: none.
//! Method: bars where there is a `|`; notes where all words are notes; else a symbol, or a progression of symbols. Limits: files up to a megabyte.

use super::naming::choice;
use crate::chart::typed::TypedChart;
use crate::cli::CliError;
use crate::cli::name::NameArgs;
use crate::harmony::voicing::typed::Typed;
use crate::harmony::{
    AnalysisOptions, Chord, Context, Given, Interpretation, NoteNames, SURE_KEY, Spelled, interpret,
};
use crate::store::file;
use crate::units::MidiNote;
use clap::builder::TypedValueParser;
use std::io;
use std::path::Path;

/// What was typed.
#[derive(Debug, Clone, PartialEq)]
pub enum Typing {
    /// Notes or a symbol.
    Chord(Typed),
    /// A progression.
    Chart(TypedChart),
}

/// No chart of words is longer.
const MOST_BYTES: u64 = 1 << 20;

/// The parser of an option that says how notes are named.
pub fn note_names() -> impl TypedValueParser<Value = NoteNames> {
    choice(&[
        ("english", NoteNames::English, "C D E F G A B, F# and Bb"),
        ("german", NoteNames::German, "C D E F G A H, Fis and B"),
        (
            "solfege",
            NoteNames::Solfege,
            "Do Re Mi Fa Sol La Si, Fa# and Sib",
        ),
    ])
}

/// Reads words; a single one may name a text file.
///
/// # Errors
/// If nothing of this can be read, with the word and what was expected.
pub fn read(words: &[String], names: NoteNames) -> Result<Typing, CliError> {
    if let [file] = words
        && (file.ends_with(".txt") || Path::new(file).is_file())
    {
        return Ok(Typing::Chart(read_file(Path::new(file), names)?));
    }
    read_text(&words.join(" "), names)
}

/// Reads what stands in a line.
fn read_text(text: &str, names: NoteNames) -> Result<Typing, CliError> {
    let usage = |wrong: &dyn std::fmt::Display| CliError::Usage(wrong.to_string());
    // "C|Abm" is one chord over another, "Dm7 | G7" are bars.
    let one_word = !text.trim().contains(char::is_whitespace);
    if text.contains('|') && !(one_word && Chord::read(text, names).is_ok()) {
        let chart = TypedChart::read(text, names).map_err(|wrong| usage(&wrong))?;
        return Ok(Typing::Chart(chart));
    }
    let words: Vec<&str> = symbols(text).collect();
    let chords = || -> Option<Vec<Chord>> {
        let read = words.iter().map(|word| Chord::read(word, names).ok());
        (words.len() > 1).then(|| read.collect()).flatten()
    };
    let also_octaves = words.iter().all(|word| {
        word.ends_with(['6', '7', '9']) || !word.ends_with(|c: char| c.is_ascii_digit())
    });
    let has_octaves = words
        .iter()
        .any(|word| word.ends_with(|c: char| c.is_ascii_digit()));
    if also_octaves
        && has_octaves
        && let Some(chords) = chords()
    {
        // C6 A7 are two chords, not two notes far up.
        return Ok(Typing::Chart(TypedChart::of_chords(chords)));
    }
    match Typed::read_in(&[text], names) {
        Ok(typed) => Ok(Typing::Chord(typed)),
        Err(wrong) => match (chords(), words.as_slice()) {
            (Some(chords), _) => Ok(Typing::Chart(TypedChart::of_chords(chords))),
            // The first word is a chord and no note: the wrong one among them is told.
            (None, [first, others @ ..])
                if !others.is_empty()
                    && Chord::read(first, names).is_ok()
                    && Typed::read_in(&[*first, *first], names).is_err() =>
            {
                let refused = others
                    .iter()
                    .find_map(|word| Chord::read(word, names).err());
                Err(refused.map_or_else(|| usage(&wrong), |refused| usage(&refused)))
            }
            _ => Err(usage(&wrong)),
        },
    }
}

/// The words of a line of symbols, parted by spaces, commas, arrows or dashes.
fn symbols(text: &str) -> impl Iterator<Item = &str> {
    const SIGNS: [&str; 5] = ["-", "–", "->", "→", ">"];
    let dashes = |word: &&str| {
        let parts = word.split('-').count();
        parts > 1
            && word
                .split('-')
                .all(|part| part.starts_with(|c: char| c.is_ascii_uppercase()))
    };
    text.split([' ', ',', '\t'])
        .filter(|word| !word.is_empty() && !SIGNS.contains(word))
        .flat_map(move |word| match dashes(&word) {
            true => word.split('-').collect::<Vec<_>>(),
            false => vec![word],
        })
}

/// Reads a text file of bars.
fn read_file(path: &Path, names: NoteNames) -> Result<TypedChart, CliError> {
    let shown = path.display();
    let refused = |wrong: io::Error| {
        CliError::failed(match wrong.kind() {
            io::ErrorKind::FileTooLarge => format!(
                "'{shown}' is larger than a megabyte: that is no chart; name a text file of bars"
            ),
            _ => format!("cannot read '{shown}': {wrong}; name a text file of bars"),
        })
    };
    let text = file::read_text(path, MOST_BYTES).map_err(refused)?;
    TypedChart::read(&text, names).map_err(|wrong| CliError::Usage(format!("'{shown}', {wrong}")))
}

/// A bass note: by name, with or without octave, or by MIDI number.
///
/// # Errors
/// If it is none.
fn bass(text: &str, names: NoteNames) -> Result<Spelled, CliError> {
    let refused = || {
        CliError::Usage(format!(
            "'{text}' is no bass note: write a letter from A to G with # or b and an octave if you like (D, F#2), or a MIDI number"
        ))
    };
    if let Some(midi) = text
        .parse()
        .ok()
        .and_then(|number| MidiNote::new(number).ok())
    {
        return Ok(Spelled::usual(midi.into()));
    }
    let read = Typed::read_in(&[text, text], names).map_err(|_| refused())?;
    let note = read.sounding.notes.first().ok_or_else(refused)?;
    let class = note.midi.get() % 12;
    read.sounding.typed[usize::from(class)].ok_or_else(refused)
}

/// Adds the bass note of `--bass`.
///
/// # Errors
/// If it is none.
pub fn add_bass(args: &NameArgs, typed: &mut Typed) -> Result<(), CliError> {
    if let Some(text) = &args.bass {
        let bass = bass(text, args.note_names)?;
        typed.sounding.stated_bass = Some(bass.class());
        typed.sounding.typed[usize::from(bass.class().get())].get_or_insert(bass);
    }
    Ok(())
}

/// Refuses what belongs to a single chord.
///
/// # Errors
/// If one of these options is given.
pub fn no_neighbours(args: &NameArgs) -> Result<(), CliError> {
    match surroundings(args) {
        Some(option) => Err(CliError::Usage(format!(
            "{option} belongs to a single chord, and this is a progression; leave it out"
        ))),
        None => Ok(()),
    }
}

/// Refuses what decides between the names of notes where a symbol is typed, which is the name.
///
/// # Errors
/// If one of these options is given with a symbol.
pub fn no_neighbours_of_a_symbol(args: &NameArgs, typed: &Typed) -> Result<(), CliError> {
    match surroundings(args).filter(|_| typed.symbol.is_some()) {
        Some(option) => Err(CliError::Usage(format!(
            "{option} means nothing for a symbol in all keys; type its notes, or leave it out"
        ))),
        None => Ok(()),
    }
}

/// The first option given that tells what is around a chord.
fn surroundings(args: &NameArgs) -> Option<&'static str> {
    let around = [
        ("--bass", args.bass.is_some()),
        ("--before", args.before.is_some()),
        ("--after", args.after.is_some()),
    ];
    let given = around.iter().find(|(_, given)| *given);
    given.map(|(option, _)| *option)
}

/// What was typed as one note with an octave, such as C4, where the chord may have been meant.
pub fn one_note<'a>(args: &'a NameArgs, typed: &Typed) -> Option<&'a str> {
    let [word] = &args.notes[..] else { return None };
    let named = word.starts_with(|c: char| c.is_alphabetic());
    (typed.symbol.is_none() && typed.sounding.notes.len() == 1 && named).then_some(word)
}

/// Key and neighbours. Several neighbours, or neighbours by their notes, are read as a progression with the chord itself: what they are there is what
/// the chord stands between, and the key that they make holds where none is stated.
///
/// # Errors
/// If a neighbour cannot be read.
pub fn context(args: &NameArgs, typed: &Typed) -> Result<Context, CliError> {
    let given = |text: &Option<String>| match text {
        Some(text) => neighbours(text, args.note_names),
        None => Ok(Vec::new()),
    };
    let (before, after) = (given(&args.before)?, given(&args.after)?);
    let mut context = args.naming.context();
    let at = before.len();
    let itself = match typed.symbol {
        Some(symbol) => Given::Stated(symbol),
        None => Given::Voiced(typed.sounding.clone()),
    };
    let all: Vec<Given> = before.into_iter().chain([itself]).chain(after).collect();
    if all.len() == 1 {
        return Ok(context);
    }
    let options = AnalysisOptions {
        key: context.key,
        scale: context.scale,
        spelling: context.spelling,
    };
    let read = interpret(&all, &options);
    context.before = at
        .checked_sub(1)
        .and_then(|before| taken(&read, &all, before));
    context.after = taken(&read, &all, at + 1);
    if context.key.is_none() && all.len() > 2 {
        context.key = read
            .in_place(at)
            .filter(|place| place.key_confidence.get() >= SURE_KEY)
            .map(|place| place.key);
    }
    Ok(context)
}

fn neighbours(text: &str, names: NoteNames) -> Result<Vec<Given>, CliError> {
    let chart = match read_text(text, names)? {
        Typing::Chart(chart) => chart,
        Typing::Chord(typed) => {
            return Ok(vec![match typed.symbol {
                Some(symbol) => Given::Stated(symbol),
                None => Given::Voiced(typed.sounding),
            }]);
        }
    };
    Ok(chart
        .changes()
        .iter()
        .map(|change| change.chord.given())
        .collect())
}

/// As what a neighbour is taken.
fn taken(read: &Interpretation, all: &[Given], at: usize) -> Option<Chord> {
    match all.get(at)? {
        Given::Stated(chord) => Some(*chord),
        Given::Heard(_) | Given::Voiced(_) => {
            let place = read.in_place(at)?;
            let name = read.naming(at).names.first().map(|name| name.chord);
            place.stands_for.or(name)
        }
    }
}
