//! `lidprop standin`: which chord could go here, how to play it, and whether it collides with the melody.
//!
//! Input: a progression, typed or in a chart file, or what `take` wrote; a melody if there is one. Output: stand-ins on the terminal, or JSON.
//! Units: as [`crate::chart::stand_ins`]. Method: joins the search, the voicings and the view. Limits: nothing is heard here.

use super::options::NamingOptions;
use super::{CliError, CommandResult};
use crate::chart::document::{Recording, SCHEMA};
use crate::chart::stand_ins::{Writing, WrittenChord, WrittenStandIn, WrittenTune};
use crate::chart::tunes::{NoTune, tune_of_chart, tune_of_recording};
use crate::chart::typed::TypedChart;
use crate::harmony::Chord;
use crate::harmony::standins::{
    StandIn, Tune, TuneChord, Wish, key_at, reharmonise, rejected, stand_ins,
};
use crate::harmony::voicing::hands::{HandVoicing, Hands, USUAL_SPAN};
use crate::harmony::voicing::leading::{Wanted, lead, of_each_kind};
use crate::publish::write_json_line;
use crate::units::MidiNote;
use crate::view::ink::Ink;
use crate::view::standins::{print_stand_ins, print_tune, print_voicings};
use clap::{Args, ValueEnum};
use std::fs;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

/// Proposes stand-ins for the chords of a progression, how to play them, and what the melody says
#[derive(Debug, Args)]
#[command(after_long_help = "\
Examples:
  lidprop standin \"Dm7 | G7 | Cmaj7\" --for 2
  lidprop standin \"F#m7 | B7 | Emaj7\" --for 2 --melody \"rest=4 | D#5=2 C#5=2\"
  lidprop standin \"Dm7 | G7 | Cmaj7\" --for 2 --melody \"rest=4 | A4=4\" --rejected
  lidprop standin \"Cmaj7 | Am7 | Dm7 | G7\" --out-to 2 --budget 4

Chords are counted as they change. How far out: one step each for a root outside the key, for a note outside key and original, for three such notes,
for guide tones (or two common tones) not kept, and for a function that is left; 0 to 5.
A melody: notes with their length in beats after =, one beat where nothing stands; bars between strokes; rest and hold.")]
pub struct StandinArgs {
    /// Bars of chords between strokes; chords of a bar share it
    #[arg(value_name = "PROGRESSION", required_unless_present_any = ["chart", "from"], conflicts_with_all = ["chart", "from"])]
    pub progression: Option<String>,

    /// Read the progression from this chart file
    #[arg(long, value_name = "FILE", conflicts_with = "from")]
    pub chart: Option<PathBuf>,

    /// Read the progression and its melody from what `lidprop take --write json` wrote
    #[arg(long, value_name = "FILE", conflicts_with = "melody")]
    pub from: Option<PathBuf>,

    /// Only for this chord, counted from 1; without it, the whole progression gets the stand-ins that go best together
    #[arg(long = "for", value_name = "NUMBER")]
    pub chord: Option<usize>,

    /// The melody: notes with their length in beats (A4=2 G4 | E4=4), bars between strokes
    #[arg(long, value_name = "NOTES")]
    pub melody: Option<String>,

    /// How far out to go, 0 to 5: nothing beyond, and what goes as far comes first
    #[arg(long, value_name = "STEPS", value_parser = clap::value_parser!(u8).range(0..=5))]
    pub out_to: Option<u8>,

    /// How far out all stand-ins together may go, where the whole progression gets some
    #[arg(
        long,
        value_name = "STEPS",
        default_value_t = 6,
        conflicts_with = "chord"
    )]
    pub budget: u32,

    /// Most stand-ins to show for one chord
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
    #[arg(long, value_name = "FORMAT")]
    pub write: Option<StandinFormat>,

    /// How chords are named.
    #[command(flatten)]
    pub naming: NamingOptions,
}

/// What `standin` can write.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum StandinFormat {
    /// Everything: chords, devices with sources, degrees, melody, voicings
    Json,
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
/// How far out a whole progression goes where nothing is said.
const USUAL_OUT: u8 = 2;

fn parse_most(text: &str) -> Result<usize, String> {
    let number = text.parse().ok().filter(|n| (1..=MOST_SHOWN).contains(n));
    number.ok_or_else(|| format!("give a number from 1 to {MOST_SHOWN}"))
}

/// Runs the command.
///
/// # Errors
/// If the progression or the melody cannot be read, there is no such chord, or nothing could be written.
pub fn run(args: &StandinArgs) -> CommandResult {
    let tune = tune(args)?;
    let asked = Asked {
        args,
        writing: Writing {
            style: args.naming.style,
            key: key_at(
                &tune,
                args.chord.map_or(0, |number| number.saturating_sub(1)),
            ),
        },
        tune,
    };
    let mut out = BufWriter::new(io::stdout().lock());
    let written = match args.chord {
        Some(number) => asked.for_one(number, &mut out)?,
        None => asked.for_all(&mut out),
    };
    written
        .and_then(|()| out.flush())
        .map_err(CliError::from_stdout)
}

fn tune(args: &StandinArgs) -> Result<Tune, CliError> {
    let key = args.naming.context().key;
    let melody = args.melody.as_deref();
    if let Some(path) = &args.from {
        let text = read(path)?;
        let recording: Recording = serde_json::from_str(&text).map_err(|wrong| {
            CliError::failed(format!(
                "{} is not what take wrote: {wrong}; write it with `lidprop take --write json RECORDING`",
                path.display()
            ))
        })?;
        return tune_of_recording(&recording, key)
            .map_err(|wrong| CliError::failed(format!("{}: {wrong}", path.display())));
    }
    if let Some(path) = &args.chart {
        let chart: TypedChart = read(path)?
            .parse()
            .map_err(|wrong| CliError::failed(format!("{}: {wrong}", path.display())))?;
        return tune_of_chart(&chart, melody, key).map_err(|wrong| match wrong {
            NoTune::Melody(_) | NoTune::Tune(_) => CliError::Usage(wrong.to_string()),
            _ => CliError::failed(format!("{}: {wrong}", path.display())),
        });
    }
    let usage = |wrong: String| CliError::Usage(wrong);
    let text = args.progression.as_deref().unwrap_or_default();
    let chart: TypedChart = text
        .parse()
        .map_err(|wrong| usage(format!("the progression, {wrong}")))?;
    tune_of_chart(&chart, melody, key).map_err(|wrong| usage(wrong.to_string()))
}

fn read(path: &Path) -> Result<String, CliError> {
    fs::read_to_string(path).map_err(|wrong| {
        CliError::failed(format!(
            "cannot read {}: {wrong}; check the name and that it is a text file",
            path.display()
        ))
    })
}

/// What was asked.
struct Asked<'a> {
    args: &'a StandinArgs,
    tune: Tune,
    writing: Writing,
}

impl Asked<'_> {
    fn for_one(&self, number: usize, out: &mut dyn Write) -> Result<io::Result<()>, CliError> {
        let count = self.tune.chords.len();
        let Some((at, chord)) = number
            .checked_sub(1)
            .and_then(|at| Some((at, self.tune.chords.get(at)?)))
        else {
            return Err(CliError::Usage(format!(
                "there is no chord {number}: the progression has {count}, counted from 1 as they change"
            )));
        };
        let wish = Wish {
            most: self.args.most,
            out_to: self.args.out_to,
        };
        let written = |found: Vec<StandIn>| -> Vec<WrittenStandIn> {
            let one = |stand_in: &StandIn| {
                self.writing
                    .stand_in(stand_in, &self.voicings_at(at, stand_in))
            };
            found.iter().map(one).collect()
        };
        let proposed = written(stand_ins(&self.tune, at, &wish));
        let refused = self
            .args
            .rejected
            .then(|| written(rejected(&self.tune, at, &wish)));
        let answer = self.writing.stand_ins_for(number, chord, proposed, refused);
        Ok(match self.args.write {
            Some(StandinFormat::Json) => write_json_line(&answer, out),
            None => print_stand_ins(&answer, Ink::of_stdout(), out),
        })
    }

    fn for_all(&self, out: &mut dyn Write) -> io::Result<()> {
        let found = reharmonise(
            &self.tune,
            self.args.out_to.unwrap_or(USUAL_OUT),
            self.args.budget,
        );
        let sounding: Vec<Vec<Chord>> = (found.chosen.iter().zip(&self.tune.chords))
            .map(|(chosen, chord)| {
                chosen
                    .as_ref()
                    .map_or_else(|| vec![chord.chord], |s| s.chords().collect())
            })
            .collect();
        let wanted: Vec<Wanted> = sounding
            .iter()
            .zip(&self.tune.chords)
            .flat_map(|(chords, original)| {
                let top = first_note(original);
                chords.iter().enumerate().map(move |(part, &chord)| Wanted {
                    chord,
                    top: top.filter(|_| part == 0),
                })
            })
            .collect();
        let mut led = self.lead(&wanted).into_iter();
        let chords = found
            .chosen
            .iter()
            .zip(&self.tune.chords)
            .zip(&sounding)
            .map(|((chosen, original), chords)| {
                let voicings: Vec<HandVoicing> = led.by_ref().take(chords.len()).collect();
                WrittenChord {
                    bar: original.bar,
                    beats: original.beats,
                    original: original.chord.symbol(self.writing.style),
                    stand_in: chosen
                        .as_ref()
                        .map(|stand_in| self.writing.stand_in(stand_in, &[])),
                    voicings: chords
                        .iter()
                        .zip(&voicings)
                        .map(|(chord, voicing)| self.writing.voicing(voicing, chord))
                        .collect(),
                }
            })
            .collect();
        let tune = WrittenTune {
            schema: SCHEMA,
            out: found.out,
            already: self.writing.marks(&self.tune),
            chords,
        };
        match self.args.write {
            Some(StandinFormat::Json) => write_json_line(&tune, out),
            None => print_tune(&tune, Ink::of_stdout(), out),
        }
    }

    /// Voicings of a stand-in, led from the chord before and to the chord after.
    fn voicings_at(&self, at: usize, stand_in: &StandIn) -> Vec<HandVoicing> {
        let around = |at: Option<usize>| at.and_then(|at| self.tune.chords.get(at));
        let plain = |chord: Chord| Wanted { chord, top: None };
        let before = around(at.checked_sub(1)).map(|c| plain(c.chord));
        let after = around(Some(at + 1)).map(|c| plain(c.chord));
        let top = self.tune.chords.get(at).and_then(first_note);
        let own = stand_in.chords().enumerate().map(|(part, chord)| Wanted {
            chord,
            top: top.filter(|_| part == 0),
        });
        let skipped = usize::from(before.is_some());
        let wanted: Vec<Wanted> = before.into_iter().chain(own).chain(after).collect();
        self.lead(&wanted)
            .into_iter()
            .skip(skipped)
            .take(stand_in.parts.len())
            .collect()
    }

    fn lead(&self, wanted: &[Wanted]) -> Vec<HandVoicing> {
        let hands = match self.args.hands {
            HandsWord::Left => Hands::Left,
            HandsWord::Both => Hands::Both,
        };
        lead(wanted, hands, self.args.span)
    }
}

/// The melody note with which a chord begins.
fn first_note(chord: &TuneChord) -> Option<MidiNote> {
    chord
        .melody
        .first()
        .filter(|sung| sung.at < 1e-3)
        .map(|sung| sung.midi)
}

/// Shows a playable voicing of each kind: `lidprop name SYMBOL --voicings`.
///
/// # Errors
/// If no symbol was given, or nothing could be written.
pub fn show_voicings(symbol: Option<Chord>, naming: &NamingOptions) -> CommandResult {
    let Some(chord) = symbol else {
        return Err(CliError::Usage(
            "voicings are those of a chord symbol; give one, say G13(b9)".to_owned(),
        ));
    };
    let writing = Writing {
        style: naming.style,
        key: naming.context().key,
    };
    let mut out = BufWriter::new(io::stdout().lock());
    let mut show = |hands: Hands, title: &str| -> io::Result<()> {
        let found = of_each_kind(&chord, hands, USUAL_SPAN);
        let written: Vec<_> = found
            .iter()
            .map(|voicing| writing.voicing(voicing, &chord))
            .collect();
        writeln!(out, "{title}")?;
        print_voicings(&written, &mut out)
    };
    show(Hands::Left, "left hand")
        .and_then(|()| show(Hands::Both, "\nboth hands, left | right"))
        .and_then(|()| out.flush())
        .map_err(CliError::from_stdout)
}
