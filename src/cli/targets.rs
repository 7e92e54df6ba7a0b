//! Files that a command is about to write over.
//!
//! Input: a path, and the words by which lidprop knows its own files. Output: whether it may be written. Units: none.
//! Method: what lidprop has written itself it may write again; of anything else the user is asked on a terminal, and elsewhere it takes `--force`.
//! Limits: formats without a place for a mark are never known again, so they are always asked for.

use std::fs::File;
use std::io::{self, BufRead, IsTerminal, Read, Write};
use std::path::Path;

/// How much of a file is looked through for the mark.
const HEAD: u64 = 4096;

/// Refuses to write over a file that lidprop did not write, unless the user says so.
///
/// # Errors
/// The sentence that says why not.
pub fn may_write(target: &Path, mark: Option<&str>, force: bool) -> Result<(), String> {
    // Links count by what they lead to; a folder of that name is refused when it is written.
    if force || !target.is_file() || mark.is_some_and(|mark| carries(target, mark)) {
        return Ok(());
    }
    let asked = io::stdin().is_terminal() && io::stderr().is_terminal() && agreed(target);
    match asked {
        true => Ok(()),
        false => Err(format!(
            "{}: there is such a file already, and lidprop does not know it for its own; add --force to write over it, or choose another folder",
            target.display()
        )),
    }
}

fn carries(target: &Path, mark: &str) -> bool {
    let mut head = Vec::new();
    let read = File::open(target).and_then(|file| file.take(HEAD).read_to_end(&mut head));
    read.is_ok()
        && head
            .windows(mark.len())
            .any(|window| window == mark.as_bytes())
}

fn agreed(target: &Path) -> bool {
    let mut answer = String::new();
    let asked = write!(
        io::stderr(),
        "{}: there is such a file already; write over it? [y/N] ",
        target.display()
    );
    asked.is_ok()
        && io::stdin().lock().read_line(&mut answer).is_ok()
        && answer.trim().eq_ignore_ascii_case("y")
}
