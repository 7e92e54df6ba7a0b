//! What the results of several recordings are called in one folder.
//!
//! Input: the recordings of a call. Output: a file name for each. Units: none.
//! Method: the recording's own name. Where several have it, each gets the name of its folder before it (`monday-lesson.json`), and where
//! that does not tell them apart, the ending after it (`lesson-wav.json`). Upper and lower case count as one, since some file systems take them so.
//! Limits: a name hangs on the other recordings of the call, so the same ones are to be named together.

use std::collections::{HashMap, HashSet};
use std::ffi::{OsStr, OsString};
use std::path::{Path, PathBuf};

/// The files, each once, in their order.
pub fn each_once(files: &[PathBuf]) -> Vec<PathBuf> {
    let mut known = HashSet::new();
    let new = files.iter().filter(|file| known.insert(file.as_path()));
    new.cloned().collect()
}

/// Names without an ending, in the order of `files`; `None` for a path that names no file.
pub fn result_names(files: &[PathBuf]) -> Vec<Option<OsString>> {
    let mut names: Vec<Option<OsString>> = files
        .iter()
        .map(|file| file.file_stem().map(OsStr::to_owned))
        .collect();
    for told_apart in [with_folder, with_ending] {
        let mut count = HashMap::new();
        for name in names.iter().flatten() {
            *count.entry(folded(name)).or_insert(0) += 1;
        }
        for (name, file) in names.iter_mut().zip(files) {
            if let Some(name) = name
                && count.get(&folded(name)).is_some_and(|&count| count > 1)
            {
                *name = told_apart(name, file);
            }
        }
    }
    names
}

/// Names that count as one.
pub fn folded(name: &OsStr) -> OsString {
    match name.to_str() {
        Some(text) => text.to_lowercase().into(),
        None => name.to_ascii_lowercase(),
    }
}

fn with_folder(name: &OsStr, file: &Path) -> OsString {
    match file.parent().and_then(Path::file_name) {
        Some(folder) => joined(folder, name),
        None => name.to_owned(),
    }
}

fn with_ending(name: &OsStr, file: &Path) -> OsString {
    match file.extension() {
        Some(ending) => joined(name, ending),
        None => name.to_owned(),
    }
}

fn joined(first: &OsStr, second: &OsStr) -> OsString {
    let mut both = first.to_owned();
    both.push("-");
    both.push(second);
    both
}

#[cfg(test)]
mod tests {
    use super::*;

    fn named(files: &[&str]) -> Vec<String> {
        let files: Vec<PathBuf> = files.iter().map(PathBuf::from).collect();
        let text = |name: Option<OsString>| name.unwrap_or_default().into_string().unwrap();
        result_names(&files).into_iter().map(text).collect()
    }

    #[test]
    fn a_name_of_its_own_stays() {
        assert_eq!(
            named(&["an/lesson.wav", "be/scales.flac"]),
            ["lesson", "scales"]
        );
        assert_eq!(named(&["/", "lesson.wav"]), ["", "lesson"]);
    }

    #[test]
    fn recordings_of_one_name_are_told_apart_by_folder_and_then_by_ending() {
        assert_eq!(
            named(&["an/lesson.wav", "be/lesson.flac", "scales.wav"]),
            ["an-lesson", "be-lesson", "scales"]
        );
        assert_eq!(
            named(&["lesson.wav", "be/Lesson.wav"]),
            ["lesson", "be-Lesson"]
        );
        assert_eq!(
            named(&["an/lesson.wav", "an/lesson.flac", "be/lesson.wav"]),
            ["an-lesson-wav", "an-lesson-flac", "be-lesson"]
        );
        assert_eq!(named(&["x/an/lesson.wav", "y/an/lesson.wav"]).len(), 2);
    }

    #[test]
    fn a_recording_named_again_counts_once() {
        let files = ["a.wav", "b.wav", "a.wav"].map(PathBuf::from);
        assert_eq!(each_once(&files), ["a.wav", "b.wav"].map(PathBuf::from));
    }
}
