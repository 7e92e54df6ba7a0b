//! A typed chart with what its chords do: the same analysis as that of a recording.
//!
//! Input: a [`TypedChart`] and how it is to be analysed. Output: [`AnalysedChart`], and its document. Units: bars and beats from 0; half steps.
//! Method: [`crate::harmony::interpret`] of the changes; voice leading from each chord to the next. Limits: as of the interpretation.

use super::document::{ProgressionChord, ProgressionDocument, SCHEMA, VoiceStep};
use super::typed::{Change, TypedChart};
use super::written;
use crate::harmony::progression::leading::voice_leading;
use crate::harmony::{AnalysisOptions, InPlace, Interpretation, Naming, Style, VoiceStep as Step};

/// A typed chart and its interpretation.
#[derive(Debug, Clone)]
pub struct AnalysedChart {
    /// The chart.
    pub chart: TypedChart,
    /// Its changes, in the order of the interpretation.
    pub changes: Vec<Change>,
    /// What they do.
    pub interpretation: Interpretation,
}

/// One change with what it does.
#[derive(Debug, Clone)]
pub struct AnalysedChange<'a> {
    /// The change.
    pub change: &'a Change,
    /// Its place in the progression; `None` where no chord is played.
    pub place: Option<&'a InPlace>,
    /// Its names and readings.
    pub naming: Naming,
    /// How its voices go to the next chord.
    pub moves: Vec<Step>,
}

impl AnalysedChart {
    /// Analyses a chart.
    pub fn of(chart: TypedChart, options: &AnalysisOptions) -> Self {
        Self {
            changes: chart.changes(),
            interpretation: chart.interpret(options),
            chart,
        }
    }

    /// Its changes in order.
    pub fn analysed(&self) -> Vec<AnalysedChange<'_>> {
        let namings: Vec<Naming> = (0..self.changes.len())
            .map(|at| self.interpretation.naming(at))
            .collect();
        let moves = |at: usize| match namings.get(at + 1) {
            Some(next) => voice_leading(&namings[at], next),
            None => Vec::new(),
        };
        self.changes
            .iter()
            .enumerate()
            .map(|(at, change)| AnalysedChange {
                change,
                place: self.interpretation.in_place(at),
                naming: namings[at].clone(),
                moves: moves(at),
            })
            .collect()
    }

    /// The section that begins with a bar.
    pub fn section(&self, bar: usize) -> Option<&str> {
        self.chart.bars.get(bar)?.section.as_deref()
    }

    /// Its document, symbols in `style`.
    pub fn document(&self, style: Style) -> ProgressionDocument {
        let step = |step: &Step| VoiceStep {
            from: step.from.name().into(),
            to: step.to.name().into(),
            half_steps: step.half_steps,
        };
        let chords = self
            .analysed()
            .into_iter()
            .map(|analysed| ProgressionChord {
                bar: analysed.change.bar,
                beat: analysed.change.beat,
                beats: analysed.change.beats,
                naming: written::naming(&analysed.naming, style),
                place: analysed.place.map(|place| written::place(place, None)),
                moves: analysed.moves.iter().map(step).collect(),
            });
        ProgressionDocument {
            schema: SCHEMA.to_owned(),
            bars: self.chart.bars.len(),
            key: self.interpretation.key().map(|key| key.to_string()),
            chords: chords.collect(),
            cadences: self
                .interpretation
                .cadences()
                .iter()
                .map(written::cadence)
                .collect(),
        }
    }
}
