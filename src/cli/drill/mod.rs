//! `lidprop drill`: asks for chords through the keys, marks what is played, and keeps it in the logbook.
//!
//! Input: what to practise; a sound input, or a recording. Output: marks, live or after the fact; the logbook.
//! Units: beats per minute, seconds. Method: [`crate::practice`] asks and marks, [`crate::store::logbook`] keeps; this file reads the options.
//! Limits: one exercise at a time; a plan is gone through item by item.

mod from;
mod kept;
mod leader;
mod live;
mod material;
mod screen;
mod task;

use super::error::{CliError, CommandResult};
use super::options::loudspeaker::ALOUD;
use super::options::{LoudspeakerOptions, PianoOptions, parse_tempo, style_parser};
use crate::harmony::{PitchClass, Spelled, Style};
use crate::practice::exercise::ExerciseError;
use crate::practice::{Exercise, Form, KeyRange, Material, Order};
use crate::view::drill::Showing;
use clap::{Args, ValueEnum};
pub use kept::PLAYER;
use std::path::PathBuf;

/// What only listening heeds: the options of a recording mean nothing beside it.
const OF_LISTENING: [&str; 10] = [
    "device", "plain", "ascii", "unlogged", "seconds", "show", "rounds", "volume", "plan", "listen",
];

/// Asks for chords through the keys, marks what is played and keeps it in the logbook
#[derive(Debug, Args)]
#[command(after_long_help = "\
What to practise: a chord type (\"dim(maj7)\", maj7, m7b5), a symbol to begin on (Dm7), a voicing as typed (\"D3 F4 Ab4 Db5\"), or a progression:
two-five-one, \"diminished for dominant\", \"both dominants\", \"minor third chain\".

Examples:
  lidprop drill
  lidprop drill \"dim(maj7)\" --order \"minor thirds\"
  lidprop drill --plan week.toml
  lidprop drill --listen 7b9 --order random
  lidprop drill --from monday.m4a \"dim(maj7)\"
  lidprop drill --from monday.m4a m7 --form \"rootless A\" --order \"whole steps\"

With no words at all: what the logbook says is due today. A plan is a small text file (TOML); these come with the program: first-sevenths,
left-hand-two-five-one, diminished-major-sevenths, drop-two, altered-dominants-by-ear.

Marks: right, slip (and which keys), unsure (it cannot be told: play it again). Sit easily, begin slowly, rest often. Stop if anything hurts: pain
that stays belongs to a doctor.")]
pub struct DrillArgs {
    /// What to practise
    #[arg(value_name = "WHAT")]
    pub what: Vec<String>,

    /// Practise the chords of this chart: bars of symbols or voicings, as `| Dm7 G7 | Cmaj7 |`
    #[arg(long, value_name = "FILE", conflicts_with = "what")]
    pub chart: Option<PathBuf>,

    /// Practise, through the keys, the last voicing of this document: a kept minute of `hear`, or what `take --write json` has written
    #[arg(long, value_name = "FILE", conflicts_with_all = ["what", "chart"])]
    pub voicing_of: Option<PathBuf>,

    /// Mark this recording instead of listening
    #[arg(long, value_name = "FILE", conflicts_with_all = OF_LISTENING)]
    pub from: Option<PathBuf>,

    /// How the chord lies: "root position", "first inversion", "rootless A", "rootless B", "drop 2", shell, free
    #[arg(long, value_name = "FORM", value_parser = clap::value_parser!(Form))]
    pub form: Option<Form>,

    /// The way through the keys: fourths, fifths, "half steps", "whole steps", "minor thirds", "major thirds", random, "weakest first", or keys
    /// of your own ("C F Bb"); a recording is tried with all of them where none is stated
    #[arg(long, value_name = "ORDER", value_parser = clap::value_parser!(Order))]
    pub order: Option<Order>,

    /// The key to begin with
    #[arg(long, value_name = "KEY", value_parser = clap::value_parser!(Spelled))]
    pub start: Option<Spelled>,

    /// The stretch of the keyboard to stay in, as C3-C6
    #[arg(long, value_name = "LOW-HIGH", value_parser = clap::value_parser!(KeyRange), conflicts_with = "hand")]
    pub range: Option<KeyRange>,

    /// Stay where this hand has its place
    #[arg(long, value_name = "HAND")]
    pub hand: Option<Hand>,

    /// Go through a plan: a file, or the name of one that comes with the program
    #[arg(long, value_name = "FILE", group = ALOUD, conflicts_with_all = ["what", "from", "form", "order", "start", "range", "hand", "rounds"])]
    pub plan: Option<PathBuf>,

    /// By ear: each chord is played to you through the loudspeaker, quietly; turn it down first
    #[arg(long, conflicts_with_all = ["from"], group = ALOUD)]
    pub listen: bool,

    /// How loud, and whether it may sound.
    #[command(flatten)]
    pub loudspeaker: LoudspeakerOptions,

    /// How often through all keys; without it, once
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=20))]
    pub rounds: Option<u32>,

    /// How the chord is shown: symbol, degrees, keyboard, numeral or hidden
    #[arg(long, value_name = "HOW", value_parser = clap::value_parser!(Showing))]
    pub show: Option<Showing>,

    /// The input to listen to, or a part of its name; without it, the system's default
    #[arg(long, value_name = "NAME")]
    pub device: Option<String>,

    /// Print lines instead of drawing a screen, for screen readers and pipes
    #[arg(long)]
    pub plain: bool,

    /// Draw the screen from ASCII alone
    #[arg(long, conflicts_with = "plain")]
    pub ascii: bool,

    /// Keep nothing in the logbook
    #[arg(long)]
    pub unlogged: bool,

    /// End after this many seconds
    #[arg(long = "for", value_name = "SECONDS", value_parser = clap::value_parser!(u64).range(1..))]
    pub seconds: Option<u64>,

    /// Tempo in beats per minute, one chord per beat; shown, not sounded, and kept in the logbook
    #[arg(long, value_name = "BPM", value_parser = parse_tempo)]
    pub tempo: Option<f64>,

    /// Who plays, as the logbook calls them; without it, "me"
    #[arg(long, value_name = "NAME")]
    pub player: Option<String>,

    /// Keep the attempts of a recording in the logbook too
    #[arg(long, requires = "from", conflicts_with_all = OF_LISTENING)]
    pub keep: bool,

    /// Write this instead of the text
    #[arg(long, value_name = "FORMAT", requires = "from", conflicts_with_all = OF_LISTENING)]
    pub write: Option<DrillFormat>,

    /// Which piano it is.
    #[command(flatten)]
    pub piano: PianoOptions,

    /// How chord symbols are printed
    #[arg(long, value_name = "STYLE", default_value = "letters", value_parser = style_parser())]
    pub style: Style,
}

/// A hand.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Hand {
    /// C2 to G4
    Left,
    /// G3 to C7
    Right,
}

/// A format of a marked drill.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum DrillFormat {
    /// Every attempt with its mark and what was believed of its keys (schema lidprop-drill/1)
    Json,
}

/// Runs the command.
///
/// # Errors
/// If there is nothing to practise, the recording or the input cannot be used, or the logbook cannot.
pub fn run(args: &DrillArgs) -> CommandResult {
    match &args.from {
        Some(path) => {
            args.refuse_what_is_only_kept()?;
            from::run(args, path)
        }
        None => {
            args.refuse_what_means_nothing()?;
            let tasks = task::tasks(args)?;
            if tasks.iter().any(|task| task.listen) {
                args.loudspeaker.confirm()?;
            }
            live::run(args, &tasks)
        }
    }
}

impl DrillArgs {
    /// Refuses what says how to practise where the logbook says it, and a loudness where nothing is played.
    fn refuse_what_means_nothing(&self) -> CommandResult {
        let what_is_due = self.plan.is_none() && !self.states_material();
        let needs_material = [
            ("--form", self.form.is_some()),
            ("--order", self.order.is_some()),
            ("--start", self.start.is_some()),
            ("--range", self.range.is_some()),
            ("--hand", self.hand.is_some()),
            ("--rounds", self.rounds.is_some()),
        ];
        if let Some((option, _)) = needs_material
            .iter()
            .find(|(_, given)| what_is_due && *given)
        {
            return Err(CliError::Usage(format!(
                "{option} means nothing where what is due is practised; say what to practise, or leave it out"
            )));
        }
        // Who plays also decides what is due and what goes worst.
        let asks_the_logbook =
            what_is_due || self.plan.is_some() || self.order == Some(Order::WeakestFirst);
        if self.unlogged && self.player.is_some() && !asks_the_logbook {
            return Err(CliError::Usage(
                "--player means nothing beside --unlogged; leave one of them out".to_owned(),
            ));
        }
        if self.loudspeaker.volume.is_some() && !self.listen && self.plan.is_none() {
            return Err(CliError::Usage(
                "--volume means nothing here; it belongs to --listen or --plan".to_owned(),
            ));
        }
        Ok(())
    }

    /// Refuses what only the logbook is told of a recording where nothing is kept.
    fn refuse_what_is_only_kept(&self) -> CommandResult {
        let only_kept = [
            ("--player", self.player.is_some()),
            ("--tempo", self.tempo.is_some()),
        ];
        let given = only_kept.iter().find(|(_, given)| *given);
        match given.filter(|_| !self.keep) {
            Some((option, _)) => Err(CliError::Usage(format!(
                "{option} means nothing here; it belongs to --keep"
            ))),
            None => Ok(()),
        }
    }

    /// Whose practice it is.
    fn player(&self) -> &str {
        self.player.as_deref().unwrap_or(kept::PLAYER)
    }

    /// Refuses an order, a first key and a form where what is practised has its own.
    fn refuse_what_the_material_has(&self, material: &Material) -> CommandResult {
        let listens = self.from.is_none();
        let refused = match (material, &self.order) {
            (Material::Chart(_), Some(_)) if listens => {
                "--order means nothing for a chart, which has its own"
            }
            (Material::Chart(_), _) if self.start.is_some() => {
                "--start means nothing for a chart, which has its own keys"
            }
            (Material::Voicing { .. }, _) if self.form.is_some() => {
                "--form means nothing for a voicing, which is played as it stands"
            }
            (_, Some(Order::Own(_))) if self.start.is_some() => {
                "--start means nothing where --order lists the keys"
            }
            _ => return Ok(()),
        };
        Err(CliError::Usage(format!("{refused}; leave it out")))
    }

    /// True if something to practise is stated.
    fn states_material(&self) -> bool {
        !self.what.is_empty() || self.chart.is_some() || self.voicing_of.is_some()
    }

    fn material(&self) -> Result<Material, CliError> {
        match (&self.chart, &self.voicing_of) {
            (Some(chart), _) => material::of_chart(chart),
            (None, Some(document)) => material::of_document(document),
            (None, None) if self.what.is_empty() => Err(CliError::Usage(
                "say what to practise: a chord type (\"dim(maj7)\"), a symbol, a voicing, or a progression".to_owned(),
            )),
            (None, None) => Ok(Material::read(&self.what)?),
        }
    }

    /// What was typed, as an exercise in `order`.
    fn exercise(&self, order: Order) -> Result<Exercise, CliError> {
        let material = self.material()?;
        self.refuse_what_the_material_has(&material)?;
        Ok(Exercise {
            material,
            form: self.form,
            order,
            start: self.start.map(Spelled::class),
            range: match (self.range, self.hand) {
                (Some(range), _) => range,
                (None, Some(Hand::Left)) => KeyRange::LEFT,
                (None, Some(Hand::Right)) => KeyRange::RIGHT,
                (None, None) => KeyRange::PIANO,
            },
        })
    }
}

impl From<ExerciseError> for CliError {
    fn from(error: ExerciseError) -> Self {
        match &error {
            ExerciseError::Symbol(_) | ExerciseError::Typed(_) => Self::Usage(format!(
                "{error}; give a chord type (\"dim(maj7)\"), a symbol, a voicing, or a progression"
            )),
            ExerciseError::Unnamed(_) => Self::Usage(format!("{error}; type its symbol instead")),
            ExerciseError::NoForm { .. } => {
                Self::Usage(format!("{error}; choose another form or a wider range"))
            }
        }
    }
}

/// The keys in which a round may begin: the stated one, or all.
fn starts(exercise: &Exercise) -> Vec<Option<PitchClass>> {
    match exercise.start {
        Some(start) => vec![Some(start)],
        None => PitchClass::all().map(Some).collect(),
    }
}
