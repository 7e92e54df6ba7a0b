//! Files that a command is about to write over.
//!
//! Input: a path, and the words by which lidprop knows its own files. Output: whether it may be written. Units: none.
//! Method: what lidprop has written itself it may write again; of anything else the user is asked on a terminal, and elsewhere it takes `--force`. So it
//! is for a file that is protected from writing, and for a link, whose place a result would take.
//! Limits: formats without a place for a mark are never known again, so they are always asked for.

use crate::view::printable::printable;
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
    let Some(there) = what_is_there(target, mark).filter(|_| !force) else {
        return Ok(());
    };
    let asked = io::stdin().is_terminal() && io::stderr().is_terminal() && agreed(target, there);
    match asked {
        true => Ok(()),
        false => Err(format!(
            "{}: {there}; add --force to write over it, or choose another place",
            target.display()
        )),
    }
}

/// Refuses to write over anything that does not carry `mark`, where there is no option that allows it.
///
/// # Errors
/// The sentence that says why not.
pub fn must_be_own(target: &Path, mark: &str) -> Result<(), String> {
    match what_is_there(target, Some(mark)) {
        Some(there) => Err(format!("{}: {there}; give another name", target.display())),
        None => Ok(()),
    }
}

/// What a result would take the place of, where that is to be said; a folder of that name is refused when it is written.
fn what_is_there(target: &Path, mark: Option<&str>) -> Option<&'static str> {
    let there = target.symlink_metadata().ok()?;
    if there.is_symlink() {
        Some("there is a link of this name already")
    } else if there.is_dir() {
        None
    } else if !there.is_file() {
        Some("there is something of this name already that is no plain file")
    } else if there.permissions().readonly() {
        Some("there is such a file already, and it is protected from writing")
    } else if mark.is_some_and(|mark| carries(target, mark)) {
        None
    } else {
        Some("there is such a file already, and lidprop does not know it for its own")
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

fn agreed(target: &Path, there: &str) -> bool {
    let mut answer = String::new();
    let asked = write!(
        io::stderr(),
        "lidprop: {}: {there}; write over it? [y/N] ",
        printable(&target.display().to_string())
    );
    asked.is_ok()
        && io::stdin().lock().read_line(&mut answer).is_ok()
        && answer.trim().eq_ignore_ascii_case("y")
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;
    use std::fs;
    use std::os::unix::fs::{PermissionsExt, symlink};

    const MARK: Option<&str> = Some("\"lidprop/");

    #[test]
    fn only_a_plain_file_of_lidprop_s_own_is_written_over() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        for name in ["own", "protected", "theirs"] {
            let schema = if name == "theirs" {
                "other/1"
            } else {
                "lidprop/2"
            };
            fs::write(at(name), format!("{{\"schema\":\"{schema}\"}}")).unwrap();
        }
        fs::set_permissions(at("protected"), fs::Permissions::from_mode(0o444)).unwrap();
        symlink(at("own"), at("link")).unwrap();
        symlink(at("gone"), at("loose")).unwrap();
        for (name, words) in [
            ("protected", "protected from writing"),
            ("theirs", "does not know it for its own"),
            ("link", "a link"),
            ("loose", "a link"),
        ] {
            let refusal = may_write(&at(name), MARK, false).unwrap_err();
            assert!(
                refusal.contains(words) && refusal.contains("--force"),
                "{refusal}"
            );
            assert_eq!(may_write(&at(name), MARK, true), Ok(()), "{name}");
        }
        assert_eq!(may_write(&at("own"), MARK, false), Ok(()));
        assert_eq!(may_write(&at("new"), MARK, false), Ok(()));
        assert!(may_write(&at("own"), None, false).is_err());
    }
}
