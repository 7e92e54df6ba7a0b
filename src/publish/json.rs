//! JSON: the whole result document, schema `lidprop/1`.
//!
//! Input: a [`Heard`] recording, or any part of the document. Output: UTF-8 JSON, indented, or one line.
//! Units: as [`crate::chart::document`]. Method: serde; the types of the document are the one source.
//! Limits: lists are written as they are worked out, so a failed write leaves an unfinished text: write to a
//! [`crate::store::file`] where that matters.

use crate::chart::recording::Heard;
use serde::Serialize;
use std::io::{self, Write};

/// Writes the document, indented for people.
///
/// # Errors
/// If `out` cannot be written to.
pub fn write_json(heard: &Heard, out: &mut dyn Write) -> io::Result<()> {
    serde_json::to_writer_pretty(&mut *out, &heard.document())?;
    writeln!(out)
}

/// Writes one value as one line and hands it on at once.
///
/// # Errors
/// If `out` cannot be written to.
pub fn write_json_line(value: &impl Serialize, out: &mut dyn Write) -> io::Result<()> {
    serde_json::to_writer(&mut *out, value)?;
    writeln!(out)?;
    out.flush()
}
