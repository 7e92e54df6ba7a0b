//! The learned pianos, one file each in the user's data folder.
//!
//! Input: a piano's name. Output: its [`PianoProfile`], read or kept. Units: none.
//! Method: the folder is the one the system has for data of programs (crate `directories`), below it `pianos/NAME.json`;
//! written beside, then renamed. Limits: two names that differ in case only are one on some systems.

use super::file::{WriteError, make_private_folder, read_text, write_private};
use crate::piano::PianoProfile;
use directories::ProjectDirs;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// Characters of a name at most.
const LONGEST_NAME: usize = 60;
/// A profile of 88 keys has some 40 kilobytes; beyond this a file is none.
const LARGEST_FILE: u64 = 4_000_000;
/// Letters of ` before 999`.
const BEFORE_LETTERS: usize = 11;
/// Earlier ones of a name that are kept at most.
const MOST_BEFORE: usize = 1000;
/// Names less alike than this (Jaro-Winkler, 0 to 1) are not what was meant.
const ALIKE: f64 = 0.7;

/// Why a piano could not be read or kept.
#[derive(Debug, thiserror::Error)]
pub enum PianoError {
    /// The name cannot be that of a file.
    #[error(
        "'{given}' is no name for a piano: use letters, digits, spaces, - and _, at most {LONGEST_NAME} of them"
    )]
    NotAName {
        /// What was given.
        given: String,
    },
    /// There is no folder to keep pianos in.
    #[error("this system names no home folder to keep pianos in")]
    NoHome,
    /// None is kept under this name.
    #[error("no piano is called '{name}'")]
    Unknown {
        /// The name that was asked for.
        name: String,
        /// The kept name that is most like it, if one is.
        nearest: Option<String>,
        /// All kept names, in order.
        kept: Vec<String>,
    },
    /// Its file cannot be read, or holds no piano.
    #[error("{}: {cause}", .path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// Why.
        cause: Box<dyn std::error::Error + Send + Sync>,
    },
    /// It cannot be written.
    #[error(transparent)]
    Unwritten(#[from] WriteError),
}

/// Reads the piano kept under `name`.
///
/// # Errors
/// If there is none, with the names that there are, or its file cannot be read.
pub fn load(name: &str) -> Result<PianoProfile, PianoError> {
    let path = file_of(name)?;
    let text = match read_text(&path, LARGEST_FILE) {
        Ok(text) => text,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Err(unknown(name, &path)),
        Err(error) => return Err(unreadable(path, error)),
    };
    PianoProfile::from_json(text.as_bytes()).map_err(|error| unreadable(path, error))
}

/// Where a piano was kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Kept {
    /// Its file.
    pub path: PathBuf,
    /// The name under which the piano is kept now that had this one before.
    pub before: Option<String>,
}

/// Keeps `profile` under its name, and says where. One that was kept under it stays, under a name of its own.
///
/// # Errors
/// If the name is none for a file, or the folder does not take it.
pub fn keep(profile: &PianoProfile) -> Result<Kept, PianoError> {
    let path = file_of(&profile.name)?;
    if let Some(folder) = path.parent() {
        make_private_folder(folder)?;
    }
    let before = put_aside(&profile.name, &path)?;
    write_private(&path, |out| {
        serde_json::to_writer_pretty(&mut *out, profile)?;
        writeln!(out)
    })?;
    Ok(Kept { path, before })
}

/// Gives the piano that is kept at `path` the first free name of `NAME before`, `NAME before 2` and so on.
fn put_aside(name: &str, path: &Path) -> Result<Option<String>, PianoError> {
    if path.symlink_metadata().is_err() {
        return Ok(None);
    }
    let stem: String = name.chars().take(LONGEST_NAME - BEFORE_LETTERS).collect();
    for number in 1..MOST_BEFORE {
        let before = match number {
            1 => format!("{stem} before"),
            _ => format!("{stem} before {number}"),
        };
        let aside = path.with_file_name(format!("{before}.json"));
        // Neither way writes over a file that is there; not every file system has links.
        match fs::hard_link(path, &aside).or_else(|_| copy_new(path, &aside)) {
            Ok(()) => return Ok(Some(before)),
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
            Err(cause) => return Err(unreadable(aside, cause)),
        }
    }
    let many = format!("{MOST_BEFORE} earlier ones are kept; remove some");
    Err(unreadable(path.to_owned(), io::Error::other(many)))
}

fn copy_new(from: &Path, to: &Path) -> io::Result<()> {
    fs::File::create_new(to)?;
    fs::copy(from, to).map(drop)
}

/// Refuses a name that is none for a file, before the user has played 88 keys for it.
///
/// # Errors
/// As said.
pub fn check_name(name: &str) -> Result<(), PianoError> {
    file_of(name).map(drop)
}

fn file_of(name: &str) -> Result<PathBuf, PianoError> {
    let good = |c: char| c.is_alphanumeric() || " -_".contains(c);
    let trimmed = name.trim() == name && !name.is_empty();
    if !trimmed || !name.chars().all(good) || name.chars().count() > LONGEST_NAME {
        return Err(PianoError::NotAName {
            given: name.to_owned(),
        });
    }
    let folders = ProjectDirs::from("", "", "lidprop").ok_or(PianoError::NoHome)?;
    Ok(folders
        .data_dir()
        .join("pianos")
        .join(format!("{name}.json")))
}

fn unreadable(
    path: PathBuf,
    cause: impl Into<Box<dyn std::error::Error + Send + Sync>>,
) -> PianoError {
    PianoError::Unreadable {
        path,
        cause: cause.into(),
    }
}

fn unknown(name: &str, path: &Path) -> PianoError {
    let kept = path.parent().map(names_in).unwrap_or_default();
    let likeness =
        |other: &String| strsim::jaro_winkler(&name.to_lowercase(), &other.to_lowercase());
    let nearest = kept
        .iter()
        .filter(|other| likeness(other) >= ALIKE)
        .max_by(|a, b| likeness(a).total_cmp(&likeness(b)));
    PianoError::Unknown {
        name: name.to_owned(),
        nearest: nearest.cloned(),
        kept,
    }
}

/// Names of the kept pianos, in order.
fn names_in(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    let mut names: Vec<String> = entries
        .map(|entry| entry.path())
        .filter(|path| {
            path.extension()
                .is_some_and(|extension| extension == "json")
        })
        .filter_map(|path| Some(path.file_stem()?.to_str()?.to_owned()))
        .collect();
    names.sort();
    names
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_piano_that_is_learned_again_does_not_lose_the_earlier_ones() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("grand.json");
        assert_eq!(put_aside("grand", &path).unwrap(), None);
        for (lesson, aside) in [("first", "grand before"), ("second", "grand before 2")] {
            write_private(&path, |out| out.write_all(lesson.as_bytes())).unwrap();
            let before = put_aside("grand", &path).unwrap();
            assert_eq!(before.as_deref(), Some(aside));
            write_private(&path, |out| out.write_all(b"newer")).unwrap();
            let kept = fs::read_to_string(folder.path().join(format!("{aside}.json")));
            assert_eq!(kept.unwrap(), lesson);
        }
        assert_eq!(
            names_in(folder.path()),
            ["grand", "grand before", "grand before 2"]
        );
    }

    #[test]
    fn the_longest_name_leaves_room_for_the_earlier_ones() {
        let folder = tempfile::tempdir().unwrap();
        let name = "a".repeat(LONGEST_NAME);
        let path = folder.path().join(format!("{name}.json"));
        fs::write(&path, "{}").unwrap();
        let before = put_aside(&name, &path).unwrap().unwrap();
        assert!(check_name(&before).is_ok(), "{before}");
    }
}
