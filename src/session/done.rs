//! Whether the result of a recording is there already.
//!
//! Input: a recording, how it would be read, and a document or a file of lines that an earlier run has written. Output: yes or no.
//! Units: none. Method: a result counts where its provenance is the one that would be written now: the same version, weights and options, and the
//! same SHA-256 (FIPS 180-4) of the recording's file. The recording is hashed only where a result of its name and version is there.
//! Limits: a learned piano counts by its name; a document that cannot be read counts for nothing, so its recording is read again.

use super::recording::{RecordingOptions, stated};
use crate::chart::document::Provenance;
use serde::Deserialize;
use sha2::{Digest, Sha256};
use std::collections::{HashMap, HashSet};
use std::fs::{self, File};
use std::io;
use std::path::Path;

/// The SHA-256 of a file in hexadecimal digits; `None` of what is no ordinary file, which could not be read a second time.
///
/// # Errors
/// If the file cannot be read.
pub fn content_hash(path: &Path) -> io::Result<Option<String>> {
    if !fs::metadata(path)?.is_file() {
        return Ok(None);
    }
    let mut hash = Sha256::new();
    io::copy(&mut File::open(path)?, &mut hash)?;
    Ok(Some(format!("{:x}", hash.finalize())))
}

/// What of a result tells which recording it is of, and how it was made.
#[derive(Deserialize)]
struct Made {
    file: String,
    #[serde(default)]
    provenance: Option<Provenance>,
    #[serde(default)]
    error: Option<String>,
}

/// How results of this call are made, but for the recording.
#[derive(Debug)]
struct Here(Provenance);

impl Here {
    fn of(options: &RecordingOptions) -> Self {
        let here = stated(options);
        // As it reads once it was written: times are written to the millisecond.
        let read_back = serde_json::to_string(&here)
            .ok()
            .and_then(|text| serde_json::from_str(&text).ok());
        Self(read_back.unwrap_or(here))
    }

    /// The hash of the recording of a result that was made as those of this call are.
    fn hash_of(&self, made: Provenance) -> Option<String> {
        let as_here = made.version == self.0.version
            && made.model == self.0.model
            && made.options == self.0.options;
        made.sha256.filter(|_| as_here)
    }
}

fn holds(recording: &Path, hashes: &HashSet<String>) -> bool {
    let hash = || content_hash(recording).ok().flatten();
    !hashes.is_empty() && hash().is_some_and(|hash| hashes.contains(&hash))
}

/// True where the document at `document` is what reading `recording` with `options` would give.
pub fn is_done(document: &Path, recording: &Path, options: &RecordingOptions) -> bool {
    let made = File::open(document)
        .ok()
        .and_then(|file| serde_json::from_reader::<_, Made>(io::BufReader::new(file)).ok());
    let hash = made
        .and_then(|made| made.provenance)
        .and_then(|made| Here::of(options).hash_of(made));
    holds(recording, &hash.into_iter().collect())
}

/// What stands in a file of lines already, of what would be made as now.
#[derive(Debug)]
pub struct DoneLines {
    here: Here,
    /// The hashes of what was read, by the recording's name as it was given.
    read: HashMap<String, HashSet<String>>,
    /// Recordings and why they could not be read.
    failed: HashSet<(String, String)>,
}

impl DoneLines {
    /// None yet, of those that were made as `options` say.
    pub fn made_as(options: &RecordingOptions) -> Self {
        Self {
            here: Here::of(options),
            read: HashMap::new(),
            failed: HashSet::new(),
        }
    }

    /// Keeps what `line` tells, where it was made as now.
    pub fn keep(&mut self, line: &str) {
        let Ok(made) = serde_json::from_str::<Made>(line) else {
            return;
        };
        if let Some(error) = made.error {
            self.failed.insert((made.file, error));
        } else if let Some(hash) = made.provenance.and_then(|made| self.here.hash_of(made)) {
            self.read.entry(made.file).or_default().insert(hash);
        }
    }

    /// True where a line is what reading `recording` would give.
    pub fn has(&self, recording: &Path) -> bool {
        let read = self.read.get(&recording.display().to_string());
        read.is_some_and(|hashes| holds(recording, hashes))
    }

    /// True where a line says that this recording cannot be read for this reason.
    pub fn has_failure(&self, recording: &Path, error: &str) -> bool {
        let failure = (recording.display().to_string(), error.to_owned());
        self.failed.contains(&failure)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_hash_of_a_file_is_that_of_the_standard() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("abc");
        fs::write(&path, "abc").unwrap();
        // FIPS 180-4, example of one block.
        let expected = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(content_hash(&path).unwrap().as_deref(), Some(expected));
        assert_eq!(content_hash(folder.path()).unwrap(), None);
    }

    #[test]
    fn a_line_counts_for_its_name_content_version_and_options() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("monday.wav");
        fs::write(&path, "abc").unwrap();
        let options = RecordingOptions::default();
        let line = |file: &Path, change: &dyn Fn(&mut Provenance)| {
            let mut made = stated(&options);
            made.sha256 = content_hash(&path).unwrap();
            change(&mut made);
            let line = serde_json::json!({ "schema": "any", "file": file.display().to_string(), "provenance": made });
            let mut done = DoneLines::made_as(&options);
            done.keep(&line.to_string());
            done.has(&path)
        };
        assert!(line(&path, &|_| {}));
        assert!(!line(&folder.path().join("tuesday.wav"), &|_| {}));
        assert!(!line(&path, &|made| made.version = "0.0.1".to_owned()));
        assert!(!line(&path, &|made| made.options.bpm = Some(92.0)));
        assert!(!line(&path, &|made| made.sha256 = None));
        let mut done = DoneLines::made_as(&options);
        done.keep("{\"schema\":\"any\",\"file\":\"half a li");
        assert!(!done.has(&path));
    }
}
