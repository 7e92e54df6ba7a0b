//! Options for lists of recordings too long for one call, one machine or one night.
//!
//! Input: option texts, a list of names. Output: the recordings of this call, in the order of the list.
//! Units: parts count from 1. Method: a recording belongs to the part that the SHA-256 (FIPS 180-4) of its name as given chooses: its first 16
//! hexadecimal digits, taken as a number, modulo the number of parts, plus 1. So a part does not depend on the other names or their order.
//! Limits: parts are equal only on average; a list is held in memory and ends at `LONGEST_LIST`.

use crate::cli::error::CliError;
use clap::Args;
use sha2::{Digest, Sha256};
use std::fmt;
use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::str::FromStr;

/// Longest list that is read: a million paths of 250 bytes.
const LONGEST_LIST: u64 = 250_000_000;

/// Which of many recordings are read, and where they go on.
#[derive(Debug, Clone, Default, Args)]
pub struct ArchiveOptions {
    /// Read the names of further recordings from this file, - for standard input: one per line, or each ended by a zero byte
    #[arg(long, value_name = "LIST", conflicts_with = "against")]
    pub files_from: Option<PathBuf>,

    /// Read only part I of N, from 1: which part a recording is in depends on its name as given and on nothing else
    #[arg(long, value_name = "I/N", conflicts_with = "against")]
    pub shard: Option<Shard>,

    /// Leave out recordings whose result is there already: of the same content, by this version and with the same options
    #[arg(long, requires = "write", conflicts_with = "against")]
    pub skip_done: bool,

    /// Below DIR, keep the folders of the recordings as they are named
    #[arg(long, requires = "into", conflicts_with_all = ["add_to", "against"])]
    pub keep_folders: bool,

    /// Add the lines of --write jsonl to this file, each whole and at once, in the order in which recordings are done
    #[arg(long, value_name = "FILE", requires = "write", conflicts_with_all = ["into", "against"])]
    pub add_to: Option<PathBuf>,
}

impl ArchiveOptions {
    /// All recordings that are named: `named` and then those of the list.
    ///
    /// # Errors
    /// If the list cannot be read or names nothing.
    pub fn all(&self, named: &[PathBuf]) -> Result<Vec<PathBuf>, CliError> {
        let mut files = named.to_vec();
        if let Some(list) = &self.files_from {
            files.extend(read_list(list)?);
            if files.is_empty() {
                return Err(CliError::failed(format!(
                    "{}: this list names no recording; write one name per line",
                    shown(list)
                )));
            }
        }
        Ok(files)
    }

    /// True of a recording that this call reads.
    pub fn is_mine(&self, file: &Path) -> bool {
        self.shard.is_none_or(|shard| shard.has(file))
    }
}

/// One part of a list.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shard {
    part: u64,
    parts: u64,
}

impl Shard {
    /// True of a recording that belongs to this part.
    pub fn has(self, file: &Path) -> bool {
        let hash = Sha256::digest(file.as_os_str().as_encoded_bytes());
        let number = hash.iter().take(8);
        let number = number.fold(0_u64, |number, &byte| number << 8 | u64::from(byte));
        number % self.parts + 1 == self.part
    }
}

impl fmt::Display for Shard {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.part, self.parts)
    }
}

impl FromStr for Shard {
    type Err = String;
    fn from_str(text: &str) -> Result<Self, String> {
        let read = text
            .split_once('/')
            .and_then(|(part, parts)| Some((part.parse().ok()?, parts.parse().ok()?)));
        match read {
            Some((part, parts)) if (1..=parts).contains(&part) => Ok(Self { part, parts }),
            _ => Err("give a part and how many there are, from 1/N to N/N, say 3/10".to_owned()),
        }
    }
}

fn shown(list: &Path) -> String {
    match is_standard_input(list) {
        true => "standard input".to_owned(),
        false => list.display().to_string(),
    }
}

fn is_standard_input(list: &Path) -> bool {
    list == Path::new("-")
}

fn read_list(list: &Path) -> Result<Vec<PathBuf>, CliError> {
    let refused = |wrong: &dyn std::fmt::Display| {
        CliError::failed(format!(
            "{}: this list cannot be read ({wrong}); give a text file with one name per line, or - for standard input",
            shown(list)
        ))
    };
    let mut bytes = Vec::new();
    let mut read = |source: &mut dyn Read| source.take(LONGEST_LIST + 1).read_to_end(&mut bytes);
    let done = match is_standard_input(list) {
        true => read(&mut io::stdin().lock()),
        false => File::open(list).and_then(|mut file| read(&mut file)),
    };
    done.map_err(|error| refused(&error))?;
    if bytes.len() as u64 > LONGEST_LIST {
        return Err(refused(&"it is longer than a million names"));
    }
    names(&bytes).map_err(|name| refused(&format!("'{name}' is no name of a file here")))
}

/// The names of a list: ended by zero bytes where it has one, else a line each.
fn names(bytes: &[u8]) -> Result<Vec<PathBuf>, String> {
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let end = if bytes.contains(&0) { 0 } else { b'\n' };
    bytes
        .split(|&byte| byte == end)
        .map(|name| match end {
            b'\n' => name.strip_suffix(b"\r").unwrap_or(name),
            _ => name,
        })
        .filter(|name| !name.is_empty())
        .map(path_of)
        .collect()
}

#[cfg(unix)]
#[expect(
    clippy::unnecessary_wraps,
    reason = "other systems have names that are no bytes"
)]
fn path_of(name: &[u8]) -> Result<PathBuf, String> {
    use std::os::unix::ffi::OsStrExt;
    Ok(std::ffi::OsStr::from_bytes(name).into())
}

#[cfg(not(unix))]
fn path_of(name: &[u8]) -> Result<PathBuf, String> {
    match std::str::from_utf8(name) {
        Ok(name) => Ok(name.into()),
        Err(_) => Err(String::from_utf8_lossy(name).into_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn list(bytes: &[u8]) -> Vec<String> {
        let names = names(bytes).unwrap();
        names
            .iter()
            .map(|name| name.display().to_string())
            .collect()
    }

    #[test]
    fn a_list_is_lines_or_names_with_zero_bytes_between() {
        assert_eq!(
            list(b"a.wav\nb c.wav\r\n\n d.wav"),
            ["a.wav", "b c.wav", " d.wav"]
        );
        assert_eq!(list(b"a\nb.wav\0c.wav\0"), ["a\nb.wav", "c.wav"]);
        assert_eq!(list(b"\xef\xbb\xbfa.wav\n"), ["a.wav"]);
        assert!(list(b"\n\n").is_empty());
    }

    #[test]
    fn every_recording_is_in_one_part_whatever_the_others_are() {
        let files: Vec<PathBuf> = (0..2000)
            .map(|n| format!("box {}/tape {n}.wav", n % 7).into())
            .collect();
        for parts in [1, 2, 7, 64] {
            let shard = |part| Shard { part, parts };
            let mut sizes = vec![0; parts as usize];
            for file in &files {
                let mine: Vec<u64> = (1..=parts).filter(|&part| shard(part).has(file)).collect();
                assert_eq!(mine.len(), 1);
                sizes[mine[0] as usize - 1] += 1;
            }
            let fair = 2000.0 / parts as f64;
            // Five standard deviations of a fair lot.
            assert!(
                sizes
                    .iter()
                    .all(|&size| (f64::from(size) - fair).abs() <= 5.0 * fair.sqrt()),
                "{sizes:?}"
            );
        }
    }

    #[test]
    fn the_part_of_a_name_stays_what_it_was() {
        // printf %s tape.wav | sha256sum: 5d2da2daa381b527...
        let parts: Vec<u64> = [2, 3, 10, 1000]
            .into_iter()
            .map(|parts| {
                (1..=parts)
                    .find(|&part| Shard { part, parts }.has(Path::new("tape.wav")))
                    .unwrap()
            })
            .collect();
        assert_eq!(parts, [2, 2, 6, 536]);
    }

    #[test]
    fn only_parts_that_exist_can_be_asked_for() {
        assert_eq!("3/10".parse(), Ok(Shard { part: 3, parts: 10 }));
        for wrong in ["0/3", "4/3", "3", "1/0", "-1/3", "a/b", "1/2/3", ""] {
            assert!(wrong.parse::<Shard>().is_err(), "{wrong}");
        }
    }
}
