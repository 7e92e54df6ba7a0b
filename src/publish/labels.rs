//! Chord labels, a line a chord: `start<TAB>end<TAB>label`.
//!
//! Input: a [`Heard`] recording. Output: UTF-8 text that covers the recording from 0 to its end without gaps.
//! Units: seconds with three decimals. Method: the labels of Harte et al. (ISMIR 2005): `N` where no chord sounds,
//! `X` where a chord sounds that has no name; times and columns as the public chord annotations have them.
//! Limits: the best name only; a chord that begins before the last has ended is cut to begin there.

use crate::chart::entries::seconds;
use crate::chart::recording::Heard;
use crate::chart::written;
use crate::units::SampleRate;
use std::io::{self, Write};

/// The label of a stretch without a chord.
const NO_CHORD: &str = "N";
/// The label of a chord without a name.
const UNNAMED: &str = "X";

/// Writes one line a chord, and one for each gap.
///
/// # Errors
/// If `out` cannot be written to.
pub fn write_labels(heard: &Heard, out: &mut dyn Write) -> io::Result<()> {
    let whole = heard
        .length
        .seconds(SampleRate::INTERNAL)
        .to_millis_precision()
        .get();
    let mut reached = 0.0;
    let interpreted = heard.interpreted();
    for (span, naming) in interpreted.namings() {
        let start = seconds(span.start).get().max(reached);
        let end = seconds(span.end).get().min(whole);
        if end <= start {
            continue;
        }
        line(out, reached, start, NO_CHORD)?;
        let label = naming.names.first().map(written::label);
        line(out, start, end, label.as_deref().unwrap_or(UNNAMED))?;
        reached = end;
    }
    line(out, reached, whole, NO_CHORD)
}

fn line(out: &mut dyn Write, start: f64, end: f64, label: &str) -> io::Result<()> {
    if end > start {
        writeln!(out, "{start:.3}\t{end:.3}\t{label}")?;
    }
    Ok(())
}
