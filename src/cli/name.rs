//! `lidprop name`: the names and readings of typed notes, of a typed symbol, or of a whole typed progression.
//!
//! Input: notes, a chord symbol, bars of either, or a file of bars, with key and neighbours if known. Output: text on the terminal, or JSON.
//! Units: scores 0 to 1. Method: joins `harmony`, the typed chart and the view. Limits: no sound is heard here.

use super::options::NamingOptions;
use super::options::typed::{self, Typing};
use super::standin::show_voicings;
use super::{CliError, CommandResult, sheet};
use crate::chart::analysed::AnalysedChart;
use crate::chart::document::{self, SCHEMA};
use crate::chart::typed::TypedChart;
use crate::chart::written;
use crate::harmony::voicing::all_keys::in_all_keys;
use crate::harmony::voicing::typed::Typed;
use crate::harmony::{Context, NoteNames, Style, name_chord};
use crate::publish::sheet::Sheet;
use crate::publish::{Format, write_json_line};
use crate::units::MidiNote;
use crate::view::ink::Ink;
use crate::view::naming::{Answer, print_all_keys, print_naming};
use crate::view::progression::print_progression;
use crate::view::spelling::Hand;
use clap::{Args, ValueEnum};
use serde::Serialize;
use std::io::{self, BufWriter, Write};

/// Names typed notes, a chord symbol or a whole progression and says what they can stand for
#[derive(Debug, Args)]
#[command(after_long_help = "\
Examples:
  lidprop name D4 F4 Ab4 Db5
  lidprop name B E F A --before Dm7 --after Cmaj7
  lidprop name \"F# C E B\" --key \"D dorian\" --more
  lidprop name \"G13(b9)\" --in-all-keys
  lidprop name \"G13(b9)\" --voicings
  lidprop name \"Dm7 | G7 Db7 | Cmaj7\"
  lidprop name \"F3 A3 C4 E4 | F3 A3 B3 E4 | E3 G3 B3 D4\"

One word alone is a chord symbol (A7 is the chord), but for a note such as C4; several words are notes, or, if they are all chord
symbols, a progression. Bars stand between |, as symbols or as notes with octaves; % repeats a bar. A progression may stand in a
plain text file, with lines such as 'key: Eb', 'metre: 3/4' and '[A]'; lines that begin with # are comments.

The keyboard: a low block is a white key that sounds, a high one a black key, and small numbers mark the Cs.")]
pub struct NameArgs {
    /// Notes, lowest first (D4, F#, Bb3, or MIDI numbers), a chord symbol, a progression, or a text file of bars
    #[arg(required = true, value_name = "NOTES|SYMBOL|BARS|FILE")]
    pub notes: Vec<String>,

    /// A bass note that somebody else plays below these notes, with or without octave, or as a MIDI number
    #[arg(long, value_name = "NOTE")]
    pub bass: Option<String>,

    /// What comes before: symbols or notes, several with spaces or | between them
    #[arg(long, value_name = "CHORDS")]
    pub before: Option<String>,

    /// What comes after: symbols or notes, several with spaces or | between them
    #[arg(long, value_name = "CHORDS")]
    pub after: Option<String>,

    /// Tell all: scores, degrees, reasons, voice leading, less likely readings
    #[arg(long, conflicts_with_all = ["in_all_keys", "voicings", "write"])]
    pub more: bool,

    /// Write the voicing in all twelve keys, through the cycle of fourths
    #[arg(long)]
    pub in_all_keys: bool,

    /// Show playable voicings of a symbol, for the left hand and for both
    #[arg(long, conflicts_with_all = ["in_all_keys", "write", "bass", "before", "after", "spelling"])]
    pub voicings: bool,

    /// Write this instead of the text
    #[arg(long, value_name = "FORMAT")]
    pub write: Option<NameFormat>,

    /// How notes are named, typed and printed; JSON and --key keep English letters
    #[arg(long, value_name = "NAMES", default_value = "english", value_parser = typed::note_names())]
    pub note_names: NoteNames,

    /// How chords are named.
    #[command(flatten)]
    pub naming: NamingOptions,
}

/// What `name` can write.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum NameFormat {
    /// Notes, names with scores and degrees, readings with tensions and resolutions; of a progression the same chord by chord, with keys and cadences
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
/// If what was typed cannot be read, or nothing could be written.
pub fn run(args: &NameArgs) -> CommandResult {
    let typing = typed::read(&args.notes, args.note_names)?;
    if let Some(format) = args.write.and_then(NameFormat::of_sheet) {
        return sheet::run(args, typing, format);
    }
    if args.voicings {
        let symbol = match typing {
            Typing::Chord(typed) => typed.symbol,
            Typing::Chart(_) => None,
        };
        return show_voicings(symbol, args.naming.context().key, args.ink_and_hand().1);
    }
    let mut out = BufWriter::new(io::stdout().lock());
    let written = match typing {
        Typing::Chord(typed) => write_chord(args, typed, &mut out)?,
        Typing::Chart(chart) => write_chart(args, chart, &mut out)?,
    };
    written
        .and_then(|()| out.flush())
        .map_err(CliError::from_stdout)
}

impl NameArgs {
    fn style(&self) -> Style {
        self.naming.style
    }

    /// How the text is set and written.
    fn ink_and_hand(&self) -> (Ink, Hand) {
        let (ink, style) = Ink::for_style(self.naming.style);
        let names = self.note_names;
        (ink, Hand { style, names })
    }
}

/// Names one chord; the error without output is a usage error.
fn write_chord(
    args: &NameArgs,
    mut typed: Typed,
    out: &mut dyn Write,
) -> Result<io::Result<()>, CliError> {
    typed::add_bass(args, &mut typed)?;
    let context = typed::context(args, &typed)?;
    if args.in_all_keys {
        typed::no_neighbours_of_a_symbol(args, &typed)?;
        return Ok(write_all_keys(args, &typed, &context, out));
    }
    let naming = name_chord(&typed.sounding, &context);
    Ok(match args.write {
        Some(_) => {
            let mut midi: Vec<MidiNote> =
                typed.sounding.notes.iter().map(|note| note.midi).collect();
            midi.sort_unstable();
            let naming = written::naming(&naming, args.style());
            let schema = SCHEMA;
            write_json_line(
                &NamedNotes {
                    schema,
                    midi,
                    naming,
                },
                out,
            )
        }
        None => {
            let answer = Answer {
                sounding: &typed.sounding,
                symbol: typed.symbol,
                naming: &naming,
                context: &context,
            };
            let (ink, hand) = args.ink_and_hand();
            let printed = print_naming(&answer, args.more, hand, ink, out);
            printed.and_then(|()| match typed::one_note(args, &typed) {
                Some(note) => writeln!(
                    out,
                    "{note} is read as a note; the suspended chord is written {}sus4",
                    note.trim_end_matches(|c: char| c.is_ascii_digit())
                ),
                None => Ok(()),
            })
        }
    })
}

fn write_all_keys(
    args: &NameArgs,
    typed: &Typed,
    context: &Context,
    out: &mut dyn Write,
) -> io::Result<()> {
    let keys = in_all_keys(typed, context);
    match args.write {
        Some(_) => {
            let keys = keys.iter().map(|key| written::in_key(key, args.style()));
            write_json_line(
                &VoicingInAllKeys {
                    schema: SCHEMA,
                    keys: keys.collect(),
                },
                out,
            )
        }
        None => {
            let (ink, hand) = args.ink_and_hand();
            print_all_keys(&keys, hand, ink, out)
        }
    }
}

/// Analyses a progression; what belongs to a single chord is refused.
fn write_chart(
    args: &NameArgs,
    chart: TypedChart,
    out: &mut dyn Write,
) -> Result<io::Result<()>, CliError> {
    typed::no_neighbours(args)?;
    if args.in_all_keys {
        return Err(CliError::Usage(
            "a progression goes through all keys on a sheet; add --write page, --write musicxml or --write midi"
                .to_owned(),
        ));
    }
    let options = args.naming.wording().analysis;
    let analysed = AnalysedChart::of(chart, &options);
    Ok(match args.write {
        Some(_) => write_json_line(&analysed.document(args.style()), out),
        None => {
            let (ink, hand) = args.ink_and_hand();
            print_progression(&analysed, args.more, hand, ink, out)
        }
    })
}
