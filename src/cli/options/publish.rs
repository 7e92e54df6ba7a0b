//! Options that say how something is written down.
//!
//! Input: option texts. Output: [`WriteOptions`]. Units: none.
//! Method: an option that the chosen format does not heed is refused, with the formats that do. Limits: none.

use crate::cli::error::CliError;
use crate::harmony::Style;
use crate::publish::{Format, Heeded, PageOptions, What, WriteOptions};
use crate::session::kept_sound::Keep;
use clap::{Args, ValueEnum};

/// How something is written down.
#[derive(Debug, Clone, Default, Args)]
pub struct PublishOptions {
    /// What goes on the staff
    #[arg(long, value_name = "WHAT", requires = "write")]
    pub what: Option<OnStaff>,

    /// Give bass, left hand, right hand and top voice each a track of its own
    #[arg(long, requires = "write")]
    pub voices: bool,

    /// Title of the page
    #[arg(long, value_name = "TEXT", requires = "write")]
    pub title: Option<String>,

    /// A note to the reader, above the chords of the page
    #[arg(long, value_name = "TEXT", requires = "write")]
    pub note: Option<String>,

    /// Cover names and notes on the page until the reader asks for them
    #[arg(long, requires = "write")]
    pub listen_first: bool,

    /// Leave the sound out of the page
    #[arg(long, requires = "write")]
    pub without_sound: bool,
}

/// What goes on the staff.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum OnStaff {
    /// Chord symbols alone, as on a lead sheet
    Harmony,
    /// Each chord as it was voiced, under its symbol
    Voicings,
    /// Every note
    Notes,
}

impl From<OnStaff> for What {
    fn from(on_staff: OnStaff) -> Self {
        match on_staff {
            OnStaff::Harmony => Self::Harmony,
            OnStaff::Voicings => Self::Voicings,
            OnStaff::Notes => Self::Notes,
        }
    }
}

impl PublishOptions {
    /// What of the sound itself `format` needs.
    pub fn keep<T>(&self, format: &Format<T>) -> Keep {
        match (format.heeds.contains(&Heeded::Sound), self.without_sound) {
            (false, _) => Keep::Nothing,
            (true, true) => Keep::Loudness,
            (true, false) => Keep::Sound,
        }
    }

    /// What is asked of `format`, one of `formats`, of held chords alone and in this house style.
    ///
    /// # Errors
    /// If something is asked that this format does not heed.
    pub fn asked<T>(
        &self,
        format: &Format<T>,
        formats: &[Format<T>],
        held: bool,
        style: Style,
    ) -> Result<WriteOptions, CliError> {
        let given = [
            ("--what", Heeded::What, self.what.is_some()),
            ("--voices", Heeded::Voices, self.voices),
            ("--title", Heeded::Page, self.title.is_some()),
            ("--note", Heeded::Page, self.note.is_some()),
            ("--listen-first", Heeded::Page, self.listen_first),
            ("--without-sound", Heeded::Sound, self.without_sound),
            ("--held", Heeded::Held, held),
            ("--style", Heeded::Style, style != Style::default()),
        ];
        for (option, part, given) in given {
            if given && !format.heeds.contains(&part) {
                let heeding = formats.iter().filter(|format| format.heeds.contains(&part));
                let heeding: Vec<&str> = heeding.map(|format| format.name).collect();
                return Err(CliError::Usage(format!(
                    "{option} means nothing to {}; it belongs to --write {}",
                    format.name,
                    heeding.join(" or ")
                )));
            }
        }
        Ok(WriteOptions {
            what: self.what.map(What::from).unwrap_or_default(),
            voices: self.voices,
            held,
            page: PageOptions {
                title: self.title.clone(),
                note: self.note.clone(),
                covered: self.listen_first,
            },
        })
    }
}
