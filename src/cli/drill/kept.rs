//! Marks on their way into the logbook.
//!
//! Input: targets and their marks, moments. Output: entries in the user's logbook. Units: seconds; Unix milliseconds.
//! Method: each mark is kept as soon as it is given. The grade compares with the player's own median of the last [`RECENT`] right attempts.
//! Limits: none.

use crate::cli::clock::Moment;
use crate::cli::error::CliError;
use crate::harmony::Style;
use crate::practice::course::median;
use crate::practice::mark::{Judged, JudgedKey};
use crate::practice::review::grade;
use crate::practice::{Mark, Target};
use crate::store::logbook::{Entry, Logbook};
use crate::units::{SampleRate, SampleSpan, Seconds};

/// What a player is called who does not say.
pub const PLAYER: &str = "me";
/// Right attempts of which the median time is taken.
const RECENT: u32 = 200;
/// Fewer say nothing of the player's median.
const FEWEST: usize = 12;

/// What all entries of one sitting have in common.
#[derive(Debug, Clone)]
pub struct Sitting {
    /// Who plays.
    pub player: String,
    /// What is practised.
    pub exercise: String,
    /// Beats a minute, where there is a tempo.
    pub tempo: Option<f64>,
    /// The learned piano.
    pub piano: Option<String>,
    /// `live`, or a recording.
    pub source: String,
}

/// Keeps marks.
pub struct Keeper {
    logbook: Logbook,
    sitting: Sitting,
    /// Names the entries of this sitting.
    name: u64,
    kept: u32,
    median: Option<f64>,
}

impl Keeper {
    /// Opens the user's logbook for a sitting.
    ///
    /// # Errors
    /// If it cannot be used.
    pub fn open(sitting: Sitting) -> Result<Self, CliError> {
        if sitting.player.trim().is_empty() {
            return Err(CliError::Usage(
                "a player has a name; give one with --player NAME".to_owned(),
            ));
        }
        let logbook = Logbook::open(&Logbook::path_of_user()?)?;
        let times = logbook.last_times(&sitting.player, RECENT)?;
        Ok(Self {
            median: median(&times).filter(|_| times.len() >= FEWEST),
            logbook,
            sitting,
            name: fastrand::u64(..),
            kept: 0,
        })
    }

    /// Keeps one mark.
    ///
    /// # Errors
    /// If it cannot be written.
    pub fn keep(
        &mut self,
        moment: Moment,
        target: &Target,
        mark: &Mark,
        took: Option<Seconds>,
        spread: SampleSpan,
        held: SampleSpan,
    ) -> Result<(), CliError> {
        let Sitting {
            player,
            exercise,
            tempo,
            piano,
            source,
        } = self.sitting.clone();
        let keys = |with: &dyn Fn(&JudgedKey) -> bool| -> Vec<u8> {
            mark.keys
                .iter()
                .filter(|key| with(key))
                .map(|key| key.key.get())
                .collect()
        };
        let seconds = |span: SampleSpan| rounded(span.seconds(SampleRate::INTERNAL).get());
        let median = self.median.and_then(|median| Seconds::new(median).ok());
        let entry = Entry {
            uid: format!("{:016x}-{}", self.name, self.kept),
            player,
            at_ms: moment.unix_ms,
            day: moment.day,
            exercise,
            chord_type: target.chord_type(),
            root: target.root().get(),
            form: target.form.to_string(),
            symbol: target.chord.symbol(Style::Ascii),
            wanted: keys(&|key| key.wanted),
            heard: mark.played().map(u8::from).collect(),
            missing: keys(&|key| key.judged == Judged::Missing),
            extra: keys(&|key| key.judged == Judged::Extra),
            outcome: mark.outcome.word().to_owned(),
            slips: mark
                .slips
                .iter()
                .map(|slip| slip.word().to_owned())
                .collect(),
            remarks: mark
                .remarks
                .iter()
                .map(|remark| remark.word().to_owned())
                .collect(),
            took: took.map(|took| rounded(took.get())),
            spread: seconds(spread),
            held: seconds(held),
            tempo,
            piano,
            source,
            version: env!("CARGO_PKG_VERSION").to_owned(),
            grade: grade(mark, took, median).map(|grade| grade as u8),
        };
        self.logbook.keep(&entry)?;
        self.kept += 1;
        Ok(())
    }
}

/// To milliseconds.
fn rounded(seconds: f64) -> f64 {
    (seconds * 1000.0).round() / 1000.0
}
