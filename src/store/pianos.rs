//! The learned pianos, one file each in the user's data folder.
//!
//! Input: a piano's name. Output: its [`PianoProfile`], read or kept. Units: none.
//! Method: the folder is the one the system has for data of programs (crate `directories`), below it `pianos/NAME.json`, and
//! `pianos/earlier/NAME.json` for the lesson before; written beside, then renamed. Limits: two names that differ in case only are one on some systems.

use super::file::{WriteError, make_private_folder, read_bytes, write_private};
use crate::piano::PianoProfile;
use crate::units::cause::in_words;
use directories::ProjectDirs;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

/// Characters of a name at most.
const LONGEST_NAME: usize = 60;
/// A profile of 88 keys has some 40 kilobytes; beyond this a file is none.
const LARGEST_FILE: u64 = 4_000_000;
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
    /// No lesson before the last one is kept.
    #[error("no earlier lesson of '{name}' is kept")]
    NoEarlier {
        /// The piano.
        name: String,
    },
    /// It cannot be taken away.
    #[error("{}: it cannot be removed ({})", .path.display(), in_words(.cause))]
    Unremoved {
        /// The file.
        path: PathBuf,
        /// Why.
        cause: io::Error,
    },
}

/// A piano that is kept.
#[derive(Debug)]
pub struct Kept {
    /// Its name.
    pub name: String,
    /// What was learned of it, or why that cannot be read.
    pub profile: Result<PianoProfile, PianoError>,
    /// When it was learned, where the system tells.
    pub learned: Option<SystemTime>,
    /// True if the lesson before is kept as well.
    pub has_earlier: bool,
}

/// All kept pianos, by name.
///
/// # Errors
/// If there is no home for them.
pub fn list() -> Result<Vec<Kept>, PianoError> {
    let names = names_in(&folder()?);
    Ok(names.into_iter().filter_map(|name| kept(&name)).collect())
}

/// The piano of this name, if one is kept.
pub fn kept(name: &str) -> Option<Kept> {
    let path = file_of(name).ok()?;
    let metadata = fs::metadata(&path).ok()?;
    Some(Kept {
        name: name.to_owned(),
        profile: load(name),
        learned: metadata.modified().ok(),
        has_earlier: earlier_of(name).is_ok_and(|earlier| earlier.exists()),
    })
}

/// Takes a piano away, with the lesson before the last.
///
/// # Errors
/// If there is none of this name, or it cannot be removed.
pub fn remove(name: &str) -> Result<(), PianoError> {
    let path = file_of(name)?;
    if !path.exists() {
        return Err(unknown(name, &path));
    }
    for path in [earlier_of(name)?, path] {
        match fs::remove_file(&path) {
            Err(cause) if cause.kind() != io::ErrorKind::NotFound => {
                return Err(PianoError::Unremoved { path, cause });
            }
            _ => {}
        }
    }
    Ok(())
}

/// Brings the lesson before back; the last one is then the earlier one, so that the same again undoes it.
///
/// # Errors
/// If there is no such piano, no earlier lesson of it, or that cannot be read; all stays as it is then.
pub fn restore(name: &str) -> Result<PianoProfile, PianoError> {
    let (last, earlier) = (file_of(name)?, earlier_of(name)?);
    let before = read(&earlier)?.ok_or_else(|| match last.exists() {
        true => PianoError::NoEarlier {
            name: name.to_owned(),
        },
        false => unknown(name, &last),
    })?;
    // Each step leaves both lessons somewhere.
    let aside = earlier.with_extension("aside");
    let swapped = || -> io::Result<()> {
        if last.exists() {
            fs::rename(&last, &aside)?;
        }
        fs::rename(&earlier, &last)?;
        if aside.exists() {
            fs::rename(&aside, &earlier)?;
        }
        Ok(())
    };
    swapped().map_err(|cause| WriteError::new(&last, cause))?;
    Ok(before)
}

/// Reads the piano kept under `name`.
///
/// # Errors
/// If there is none, with the names that there are, or its file cannot be read.
pub fn load(name: &str) -> Result<PianoProfile, PianoError> {
    let path = file_of(name)?;
    read(&path)?.ok_or_else(|| unknown(name, &path))
}

/// The piano in a file; `None` where there is no file.
fn read(path: &Path) -> Result<Option<PianoProfile>, PianoError> {
    let bytes = match read_bytes(path, LARGEST_FILE) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
        read => read.map_err(|error| unreadable(path.to_owned(), error))?,
    };
    let profile = PianoProfile::from_json(&bytes);
    profile
        .map(Some)
        .map_err(|error| unreadable(path.to_owned(), error))
}

/// Keeps `profile` under its name, and says where; the lesson that it replaces is kept as the earlier one, whatever it holds.
///
/// # Errors
/// If the name is none for a file, or the folder does not take it.
pub fn keep(profile: &PianoProfile) -> Result<PathBuf, PianoError> {
    let path = file_of(&profile.name)?;
    if path.symlink_metadata().is_ok() {
        keep_as_earlier(&path, &earlier_of(&profile.name)?)?;
    }
    write(&path, profile)?;
    Ok(path)
}

/// Makes the lesson at `path` the earlier one as well, with the time at which it was learned.
fn keep_as_earlier(path: &Path, earlier: &Path) -> Result<(), WriteError> {
    if let Some(folder) = earlier.parent() {
        make_private_folder(folder)?;
    }
    let aside = earlier.with_extension("aside");
    // Not every file system has links: there the lesson is away until the new one is written.
    fs::hard_link(path, &aside)
        .and_then(|()| fs::rename(&aside, earlier))
        .or_else(|_| fs::rename(path, earlier))
        .map_err(|cause| WriteError::new(earlier, cause))
}

fn write(path: &Path, profile: &PianoProfile) -> Result<(), PianoError> {
    if let Some(folder) = path.parent() {
        make_private_folder(folder)?;
    }
    write_private(path, |out| {
        serde_json::to_writer_pretty(&mut *out, profile)?;
        writeln!(out)
    })?;
    Ok(())
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
    Ok(folder()?.join(format!("{name}.json")))
}

/// Where the lesson before the last one is kept.
fn earlier_of(name: &str) -> Result<PathBuf, PianoError> {
    let path = file_of(name)?;
    let file = path.file_name().unwrap_or_default();
    Ok(folder()?.join("earlier").join(file))
}

fn folder() -> Result<PathBuf, PianoError> {
    let folders = ProjectDirs::from("", "", "lidprop").ok_or(PianoError::NoHome)?;
    Ok(folders.data_dir().join("pianos"))
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
