//! What harmony says, as it is told to a user: tests state what a musician reads.
#![allow(dead_code, reason = "each test file uses a part of it")]

use lidprop::chart::document::{Cadence, Naming};
use lidprop::chart::written;
use lidprop::harmony::{self, AnalysisOptions, Context, Given, Sounding, Style};

/// Names and readings in letters.
pub fn name_chord(sounding: &Sounding, context: &Context) -> Naming {
    name_chord_in(sounding, context, Style::Letters)
}

/// Names and readings in one house style.
pub fn name_chord_in(sounding: &Sounding, context: &Context, style: Style) -> Naming {
    written::naming(&harmony::name_chord(sounding, context), style)
}

/// A progression as it is told.
#[derive(Debug)]
pub struct Told {
    pub key: Option<String>,
    pub chords: Vec<ToldChord>,
    pub cadences: Vec<Cadence>,
}

/// A chord in its place as it is told.
#[derive(Debug)]
pub struct ToldChord {
    pub key: String,
    pub key_confidence: f32,
    pub numeral: String,
    pub function: String,
    pub stands_for: Option<String>,
    pub naming: Naming,
}

/// A progression in which every chord sounds.
pub fn analyse_progression(chords: &[Given]) -> Told {
    analyse_progression_with(chords, &AnalysisOptions::default())
}

/// The same with options.
pub fn analyse_progression_with(chords: &[Given], options: &AnalysisOptions) -> Told {
    let interpretation = harmony::interpret(chords, options);
    let told = |at| {
        let place = written::place(
            interpretation.in_place(at).expect("every chord sounds"),
            None,
        );
        ToldChord {
            key: place.key,
            key_confidence: place.key_confidence,
            numeral: place.numeral,
            function: place.function,
            stands_for: place.stands_for,
            naming: written::naming(&interpretation.naming(at), Style::Letters),
        }
    };
    Told {
        key: interpretation.key().map(|key| key.to_string()),
        chords: (0..interpretation.len()).map(told).collect(),
        cadences: interpretation
            .cadences()
            .iter()
            .map(written::cadence)
            .collect(),
    }
}
