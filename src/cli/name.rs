//! `lidprop name`: the names and readings of typed notes or of a typed symbol.
//!
//! Input: notes, or a chord symbol, with key and neighbours if known. Output: names, degrees and readings on the terminal, or JSON.
//! Units: scores 0 to 1. Method: joins `harmony` and the view. Limits: no sound is heard here.

use super::options::NamingOptions;
use super::standin::show_voicings;
use super::{CliError, CommandResult, sheet};
use crate::chart::document::{self, SCHEMA};
use crate::chart::written;
use crate::harmony::voicing::all_keys::in_all_keys;
use crate::harmony::voicing::typed::Typed;
use crate::harmony::{Chord, Context, Spelled, name_chord};
use crate::publish::sheet::Sheet;
use crate::publish::{Format, write_json_line};
use crate::units::MidiNote;
use crate::view::ink::Ink;
use crate::view::naming::{print_all_keys, print_naming};
use clap::{Args, ValueEnum};
use serde::Serialize;
use std::io::{self, BufWriter, Write};

/// Names typed notes or a typed chord symbol and says what they can stand for
#[derive(Debug, Args)]
#[command(after_long_help = "\
Examples:
  lidprop name D4 F4 Ab4 Db5
  lidprop name \"F# C E B\" --key C
  lidprop name B E F A --bass G --after Cmaj7
  lidprop name \"G13(b9)\" --in-all-keys
  lidprop name \"G13(b9)\" --voicings

One word alone is read as a chord symbol (A7 is the chord); several words are notes.")]
pub struct NameArgs {
    /// Notes, lowest first (D4, F#, Bb3, or MIDI numbers), or one chord symbol
    #[arg(required = true, value_name = "NOTES|SYMBOL")]
    pub notes: Vec<String>,

    /// A bass note that somebody else plays below these notes
    #[arg(long, value_name = "NOTE", value_parser = clap::value_parser!(Spelled))]
    pub bass: Option<Spelled>,

    /// The chord before, as a symbol
    #[arg(long, value_name = "SYMBOL", value_parser = clap::value_parser!(Chord))]
    pub before: Option<Chord>,

    /// The chord after, as a symbol
    #[arg(long, value_name = "SYMBOL", value_parser = clap::value_parser!(Chord))]
    pub after: Option<Chord>,

    /// Write the voicing in all twelve keys, through the cycle of fourths
    #[arg(long)]
    pub in_all_keys: bool,

    /// Show playable voicings of a symbol, for the left hand and for both
    #[arg(long, conflicts_with_all = ["in_all_keys", "write", "bass"])]
    pub voicings: bool,

    /// Write this instead of the text
    #[arg(long, value_name = "FORMAT")]
    pub write: Option<NameFormat>,

    /// How chords are named.
    #[command(flatten)]
    pub naming: NamingOptions,
}

/// What `name` can write.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum NameFormat {
    /// Notes, names with scores and degrees, readings with tensions and resolutions
    Json,
    /// With --in-all-keys: one HTML file with staves and keyboards, which fits one page of paper
    Page,
    /// With --in-all-keys: sheet music (MusicXML 4.0)
    Musicxml,
    /// With --in-all-keys: a MIDI file
    Midi,
}

impl NameFormat {
    /// The format of a sheet in all keys, where it is one.
    fn of_sheet(self) -> Option<&'static Format<Sheet>> {
        match self {
            Self::Json => None,
            Self::Page => sheet::format("page"),
            Self::Musicxml => sheet::format("musicxml"),
            Self::Midi => sheet::format("midi"),
        }
    }
}

/// What JSON says of typed notes.
#[derive(Serialize)]
struct NamedNotes {
    schema: &'static str,
    midi: Vec<MidiNote>,
    #[serde(flatten)]
    naming: document::Naming,
}

/// What JSON says of a voicing in all keys.
#[derive(Serialize)]
struct VoicingInAllKeys {
    schema: &'static str,
    keys: Vec<document::InKey>,
}

/// Runs the command.
///
/// # Errors
/// If a note or symbol cannot be read, or nothing could be written.
pub fn run(args: &NameArgs) -> CommandResult {
    if let Some(format) = args.write.and_then(NameFormat::of_sheet) {
        return sheet::run(args, format);
    }
    let mut typed = Typed::read(&args.notes).map_err(|wrong| CliError::Usage(wrong.to_string()))?;
    if args.voicings {
        return show_voicings(typed.symbol, &args.naming);
    }
    if let Some(bass) = args.bass {
        typed.sounding.stated_bass = Some(bass.class());
        typed.sounding.typed[usize::from(bass.class().get())].get_or_insert(bass);
    }
    let context = Context {
        before: args.before,
        after: args.after,
        ..args.naming.context()
    };
    let mut out = BufWriter::new(io::stdout().lock());
    write_answer(args, &typed, &context, &mut out)
        .and_then(|()| out.flush())
        .map_err(CliError::from_stdout)
}

fn write_answer(
    args: &NameArgs,
    typed: &Typed,
    context: &Context,
    out: &mut dyn Write,
) -> io::Result<()> {
    let style = args.naming.style;
    if args.in_all_keys {
        let keys = in_all_keys(typed, context);
        return match args.write {
            Some(_) => write_json_line(
                &VoicingInAllKeys {
                    schema: SCHEMA,
                    keys: keys.iter().map(|key| written::in_key(key, style)).collect(),
                },
                out,
            ),
            None => print_all_keys(&keys, style, Ink::of_stdout(), out),
        };
    }
    let naming = name_chord(&typed.sounding, context);
    match args.write {
        Some(_) => {
            let mut midi: Vec<MidiNote> =
                typed.sounding.notes.iter().map(|note| note.midi).collect();
            midi.sort_unstable();
            write_json_line(
                &NamedNotes {
                    schema: SCHEMA,
                    midi,
                    naming: written::naming(&naming, style),
                },
                out,
            )
        }
        None => print_naming(
            &typed.sounding,
            typed.symbol,
            &naming,
            style,
            Ink::of_stdout(),
            out,
        ),
    }
}
