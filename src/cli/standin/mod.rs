//! `lidprop standin`: which chord could go here, how to play it, and whether it collides with the melody.
//!
//! Input: a progression, typed or in a chart file, or what `take` wrote; a melody if there is one. Output: stand-ins on the terminal, or one of
//! the [`STAND_IN_FORMATS`].
//! Units: as [`crate::chart::stand_ins`]. Method: joins the search, the voicings and the view. Limits: nothing is heard here.

mod aloud;
mod asked;
mod tune;

use super::options::loudspeaker::ALOUD;
use super::options::{LoudspeakerOptions, NamingOptions, parse_tempo};
use super::{CliError, CommandResult};
use crate::chart::stand_ins::{StandInText, WrittenVoicing};
use crate::harmony::voicing::hands::{HandVoicing, Hands, USUAL_SPAN};
use crate::harmony::voicing::leading::of_each_kind;
use crate::harmony::{Chord, Key};
use crate::publish::stand_ins::{STAND_IN_FORMATS, StandInSheet, format};
use crate::publish::{Format, WriteOptions};
use crate::view::ink::Ink;
use crate::view::spelling::Hand;
use crate::view::standins::{print_stand_ins, print_tune, print_voicings};
use asked::Asked;
use clap::builder::{PossibleValue, PossibleValuesParser, TypedValueParser};
use clap::{Args, ValueEnum};
use std::io::{self, BufWriter, Write};
use std::path::PathBuf;

/// Beats per minute where none are stated.
const USUAL_TEMPO: f64 = 80.0;
/// Formats in which a tempo stands.
const TIMED: [&str; 2] = ["midi", "musicxml"];

/// Proposes stand-ins for the chords of a progression, how to play them, and what the melody says
#[derive(Debug, Args)]
#[command(after_long_help = "\
Examples:
  lidprop standin \"Dm7 | G7 | Cmaj7\" --for 2
  lidprop standin \"F#m7 | B7 | Emaj7\" --for 2 --melody \"rest=4 | D#5=2 C#5=2\"
  lidprop standin \"Dm7 | G7 | Cmaj7\" --for 2 --melody \"rest=4 | A4=4\" --rejected
  lidprop standin \"Cmaj7 | Am7 | Dm7 | G7\" --out-to 2 --budget 4
  lidprop standin \"Cmaj7 | Am7 | Dm7 | G7\" --write page > instead.html
  lidprop standin \"Dm7 | G7 | Cmaj7\" --for 2 --most 2 --wav both.wav

Chords are counted as they change. How far out: one step each for a root outside the key, for a note outside key and original, for three such notes,
for guide tones (or two common tones) not kept, and for a function that is left; 0 to 5.
A melody: notes with their length in beats after =, one beat where nothing stands; | between bars; rest for silence, hold to tie over.")]
pub struct StandinArgs {
    /// Bars of chords with | between them; the chords of a bar share it
    #[arg(value_name = "PROGRESSION", required_unless_present_any = ["chart", "from"], conflicts_with_all = ["chart", "from"])]
    pub progression: Option<String>,

    /// Read the progression from this chart file, or from MusicXML with its melody
    #[arg(long, value_name = "FILE", conflicts_with = "from")]
    pub chart: Option<PathBuf>,

    /// Read the progression and its melody from what `lidprop take --write json` wrote
    #[arg(long, value_name = "FILE", conflicts_with = "melody")]
    pub from: Option<PathBuf>,

    /// Only for this chord, counted from 1; without it, the whole progression gets the stand-ins that go best together
    #[arg(long = "for", value_name = "NUMBER")]
    pub chord: Option<usize>,

    /// The melody: notes with their length in beats (A4=2 G4 | E4=4), | between bars
    #[arg(long, value_name = "NOTES")]
    pub melody: Option<String>,

    /// How far out to go, 0 to 5 steps: nothing goes beyond, and what goes that far comes first
    #[arg(long, value_name = "STEPS", value_parser = clap::value_parser!(u8).range(0..=5))]
    pub out_to: Option<u8>,

    /// How many steps out all stand-ins of a whole progression may go together
    #[arg(
        long,
        value_name = "STEPS",
        default_value_t = 6,
        conflicts_with_all = ["chord", "most", "rejected"]
    )]
    pub budget: u32,

    /// Show at most this many stand-ins for the chord
    #[arg(long, value_name = "NUMBER", default_value_t = 5, requires = "chord", value_parser = parse_most)]
    pub most: usize,

    /// Also show what the melody rules out, with the note that collides
    #[arg(long, requires = "chord")]
    pub rejected: bool,

    /// Which hands play
    #[arg(long, value_name = "HANDS", default_value = "both")]
    pub hands: HandsWord,

    /// How far a hand reaches, in half steps; never stretch for a voicing, give what is comfortable
    #[arg(long, value_name = "HALF-STEPS", default_value_t = USUAL_SPAN, value_parser = clap::value_parser!(u8).range(12..=19))]
    pub span: u8,

    /// Write this instead of the text
    #[arg(long, value_name = "FORMAT", value_parser = format_parser())]
    pub write: Option<&'static Format<StandInSheet>>,

    /// Play the original and what may stand there instead, in turn, through the loudspeaker, quietly; turn it down first
    #[arg(long, conflicts_with = "write", group = ALOUD)]
    pub play: bool,

    /// Write the same sound into this WAV file
    #[arg(long, value_name = "FILE")]
    pub wav: Option<PathBuf>,

    /// Write over a file that lidprop did not write
    #[arg(long, requires = "wav")]
    pub force: bool,

    /// How loud, and whether it may sound.
    #[command(flatten)]
    pub loudspeaker: LoudspeakerOptions,

    /// Tempo of what is played and of the MIDI file, in beats per minute; without it, 80
    #[arg(long, value_name = "BPM", value_parser = parse_tempo)]
    pub tempo: Option<f64>,

    /// How chords are named.
    #[command(flatten)]
    pub naming: NamingOptions,
}

/// Hands, as the user says them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum HandsWord {
    /// The left hand alone, roots left to the bass player
    Left,
    /// Both hands
    Both,
}

/// More than anybody reads.
const MOST_SHOWN: usize = 50;

fn parse_most(text: &str) -> Result<usize, String> {
    let number = text.parse().ok().filter(|n| (1..=MOST_SHOWN).contains(n));
    number.ok_or_else(|| format!("give a number from 1 to {MOST_SHOWN}"))
}

fn format_parser() -> impl TypedValueParser<Value = &'static Format<StandInSheet>> {
    let names = STAND_IN_FORMATS
        .iter()
        .map(|format| PossibleValue::new(format.name).help(format.about));
    PossibleValuesParser::new(names).try_map(|name| format(&name).ok_or("there is no such format"))
}

/// Runs the command.
///
/// # Errors
/// If the progression or the melody cannot be read, there is no such chord, or nothing could be written.
pub fn run(args: &StandinArgs) -> CommandResult {
    args.refuse_what_means_nothing()?;
    let tune = tune::tune(args)?;
    if args.rejected && tune.melody.is_empty() {
        return Err(CliError::Usage(
            "--rejected means nothing without a melody; add --melody, or leave it out".to_owned(),
        ));
    }
    let sheet = Asked::new(args, tune).sheet()?;
    if args.play {
        args.loudspeaker.confirm()?;
    }
    if let Some(path) = &args.wav {
        aloud::write_wav(&sheet, args.loudspeaker.level(), path, args.force)?;
    }
    let mut out = BufWriter::new(io::stdout().lock());
    let written = match args.write {
        Some(format) => (format.write)(&sheet, &WriteOptions::default(), &mut out),
        None => print(&sheet.text, Ink::for_style(args.naming.style).0, &mut out),
    };
    written
        .and_then(|()| out.flush())
        .map_err(CliError::from_stdout)?;
    match args.play {
        true => aloud::play(&sheet, args.loudspeaker.level(), &mut out),
        false => Ok(()),
    }
}

impl StandinArgs {
    /// Refuses what is only for sound where none is asked for.
    fn refuse_what_means_nothing(&self) -> CommandResult {
        let sounds = self.play || self.wav.is_some();
        let in_time = sounds
            || self
                .write
                .is_some_and(|format| TIMED.contains(&format.name));
        if self.tempo.is_some() && !in_time {
            return Err(CliError::Usage(format!(
                "--tempo means nothing here; it belongs to --play, --wav, --write {}",
                TIMED.join(" or ")
            )));
        }
        if self.loudspeaker.volume.is_some() && !sounds {
            return Err(CliError::Usage(
                "--volume means nothing here; it belongs to --play or --wav".to_owned(),
            ));
        }
        Ok(())
    }
}

fn print(text: &StandInText, ink: Ink, out: &mut dyn Write) -> io::Result<()> {
    match text {
        StandInText::One(answer) => print_stand_ins(answer, ink, out),
        StandInText::Tune(tune) => print_tune(tune, ink, out),
    }
}

/// Shows a playable voicing of each kind: `lidprop name SYMBOL --voicings`.
///
/// # Errors
/// If no symbol was given, or nothing could be written.
pub fn show_voicings(symbol: Option<Chord>, key: Option<Key>, hand: Hand) -> CommandResult {
    let Some(chord) = symbol else {
        return Err(CliError::Usage(
            "voicings are those of a chord symbol; give one, say G13(b9)".to_owned(),
        ));
    };
    let written = |voicing: &HandVoicing| {
        let named = voicing.named(&chord, key);
        WrittenVoicing::of(voicing, named.iter().map(|note| hand.key(note)).collect())
    };
    let mut out = BufWriter::new(io::stdout().lock());
    let mut show = |hands: Hands, title: &str| -> io::Result<()> {
        let found = of_each_kind(&chord, hands, USUAL_SPAN);
        writeln!(out, "{title}")?;
        print_voicings(&found.iter().map(written).collect::<Vec<_>>(), &mut out)
    };
    show(Hands::Left, "left hand")
        .and_then(|()| show(Hands::Both, "\nboth hands, left | right"))
        .and_then(|()| out.flush())
        .map_err(CliError::from_stdout)
}
