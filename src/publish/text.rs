//! The printed chart as a text file.
//!
//! Input: a [`Heard`] recording. Output: UTF-8 text. Units: minutes and seconds. Method: [`crate::view`] draws it as for a pipe.
//! Limits: [`COLUMNS`] wide.

use crate::chart::recording::Heard;
use crate::harmony::Style;
use crate::publish::WriteOptions;
use crate::view::chart::print_chart;
use crate::view::ink::Ink;
use crate::view::played::print_played;
use std::io::{self, Write};

/// Width of the chart: what fits a sheet of paper in a usual size.
const COLUMNS: u16 = 100;

/// Writes the chart.
///
/// # Errors
/// If `out` cannot be written to.
pub fn write_chart(heard: &Heard, options: &WriteOptions, out: &mut dyn Write) -> io::Result<()> {
    let ink = Ink::plain(COLUMNS).or_ascii(heard.naming.style == Style::Ascii);
    match (!options.held).then(|| heard.performance()).flatten() {
        Some(played) => print_played(heard, &played, ink, out),
        None => print_chart(heard, ink, out),
    }
}
