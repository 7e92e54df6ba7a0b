//! `lidprop name ... --in-all-keys --write FORMAT`: a voicing or a progression in twelve keys, on one sheet.
//!
//! Input: what `name` was given: notes, a symbol, or bars between `|`. Output: one of the [`SHEET_FORMATS`] on standard output. Units: as these state.
//! Method: each chord goes through the cycle of fourths in the key that holds, so that the chords of a progression stay together. Limits: of a progression each chord once, in the order of
//! its changes.

use super::name::NameArgs;
use super::options::typed::{self, Typing};
use super::{CliError, CommandResult};
use crate::chart::typed::{ChartChord, TypedChart};
use crate::harmony::voicing::all_keys::{InKey, in_all_keys};
use crate::harmony::voicing::typed::Typed;
use crate::harmony::{AnalysisOptions, Context, Style};
use crate::publish::sheet::{SHEET_FORMATS, Sheet};
use crate::publish::{Format, WriteOptions};
use std::io::{self, BufWriter, Write};

/// The format of that name.
pub fn format(name: &str) -> Option<&'static Format<Sheet>> {
    SHEET_FORMATS.iter().find(|format| format.name == name)
}

/// Writes the sheet.
///
/// # Errors
/// If what was typed cannot be read, or nothing could be written.
pub fn run(args: &NameArgs, typing: Typing, format: &Format<Sheet>) -> CommandResult {
    if !args.in_all_keys {
        return Err(CliError::Usage(format!(
            "--write {} is a sheet of all keys; add --in-all-keys",
            format.name
        )));
    }
    let chords = match typing {
        Typing::Chart(chart) => {
            typed::no_neighbours(args)?;
            of_chart(&chart, &args.naming.context())?
        }
        Typing::Chord(mut typed) => {
            typed::no_neighbours_of_a_symbol(args, &typed)?;
            typed::add_bass(args, &mut typed)?;
            vec![in_all_keys(&typed, &typed::context(args, &typed)?)]
        }
    };
    let keys = (0..12)
        .map(|key| {
            chords
                .iter()
                .filter_map(|chord| chord.get(key).cloned())
                .collect()
        })
        .collect();
    let sheet = Sheet {
        title: args.notes.join(" "),
        keys,
        style: args.naming.style,
    };
    let mut out = BufWriter::new(io::stdout().lock());
    (format.write)(&sheet, &WriteOptions::default(), &mut out)
        .and_then(|()| out.flush())
        .map_err(CliError::from_stdout)
}

/// Every chord of a typed progression in all keys.
fn of_chart(chart: &TypedChart, context: &Context) -> Result<Vec<Vec<InKey>>, CliError> {
    let key = context.key.or(chart.key);
    let options = AnalysisOptions {
        key,
        scale: context.scale,
        spelling: context.spelling,
    };
    let context = Context {
        key: key.or_else(|| chart.interpret(&options).key()),
        ..context.clone()
    };
    let mut chords = Vec::new();
    for change in chart.changes() {
        let typed = match change.chord {
            ChartChord::Silent => continue,
            ChartChord::Symbol(symbol) => Typed::read(&[symbol.symbol(Style::Ascii)])
                .map_err(|wrong| CliError::Usage(wrong.to_string()))?,
            ChartChord::Voicing(sounding) => Typed {
                sounding,
                symbol: None,
            },
        };
        chords.push(in_all_keys(&typed, &context));
    }
    match chords.is_empty() {
        true => Err(CliError::Usage(
            "no chord is typed here; write bars such as | Dm7 G7 | Cmaj7 |".to_owned(),
        )),
        false => Ok(chords),
    }
}
