//! A file to which whole lines are added.
//!
//! Input: lines of text. Output: the file with each of them whole, or an error and the lines before. Units: none.
//! Method: one process at a time (a lock of the system on the file); each line goes to the disk before the next. A line that a killed process has left
//! unfinished, told by its missing end, is cut off when the file is opened.
//! Limits: only files whose lines begin as the caller's do are opened; the lock holds between processes of systems that share it, which some network
//! file systems do not.

use super::file::WriteError;
use std::fs::{File, TryLockError};
use std::io::{self, BufRead, BufReader, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

/// Why lines could not be added.
#[derive(Debug, thiserror::Error)]
pub enum LinesError {
    /// The file holds something else.
    #[error("{}: this file holds other things than lines of lidprop; nothing was changed; name another file", .0.display())]
    Foreign(PathBuf),
    /// Another process adds to it.
    #[error("{}: another run adds to this file; give each run a file of its own", .0.display())]
    Busy(PathBuf),
    /// The file does not take it.
    #[error(transparent)]
    Write(#[from] WriteError),
}

/// A file of lines, held by this process alone.
#[derive(Debug)]
pub struct LinesFile {
    path: PathBuf,
    file: File,
}

/// How much is looked through at once for the end of the last whole line.
const STRETCH: u64 = 1 << 16;

impl LinesFile {
    /// Opens the file, or makes it; every line in it begins in one of the ways of `beginnings`.
    ///
    /// # Errors
    /// [`LinesError`].
    pub fn open(path: &Path, beginnings: &[&str]) -> Result<Self, LinesError> {
        let failed = |cause| LinesError::Write(WriteError::new(path, cause));
        let file = File::options()
            .read(true)
            .append(true)
            .create(true)
            .open(path)
            .map_err(failed)?;
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => return Err(LinesError::Busy(path.to_owned())),
            Err(TryLockError::Error(error)) => return Err(failed(error)),
        }
        let mut lines = Self {
            path: path.to_owned(),
            file,
        };
        if !lines.begins_as(beginnings).map_err(failed)? {
            return Err(LinesError::Foreign(path.to_owned()));
        }
        lines.cut_unfinished().map_err(failed)?;
        Ok(lines)
    }

    /// True of an empty file too, and of a line that was killed while its beginning was written.
    fn begins_as(&mut self, beginnings: &[&str]) -> io::Result<bool> {
        let longest = beginnings.iter().map(|text| text.len()).max().unwrap_or(0);
        let mut head = Vec::new();
        self.file.rewind()?;
        (&self.file).take(longest as u64).read_to_end(&mut head)?;
        Ok(beginnings.iter().any(|beginning| {
            let both = beginning.len().min(head.len());
            beginning.as_bytes()[..both] == head[..both]
        }))
    }

    fn cut_unfinished(&mut self) -> io::Result<()> {
        let length = self.file.metadata()?.len();
        let mut end = length;
        while end > 0 {
            let begin = end.saturating_sub(STRETCH);
            let mut stretch = Vec::new();
            self.file.seek(SeekFrom::Start(begin))?;
            (&self.file).take(end - begin).read_to_end(&mut stretch)?;
            if let Some(last) = stretch.iter().rposition(|&byte| byte == b'\n') {
                end = begin + last as u64 + 1;
                break;
            }
            end = begin;
        }
        if end < length {
            self.file.set_len(end)?;
        }
        Ok(())
    }

    /// Tells every line that is there, without its end.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn each_line(&mut self, mut tell: impl FnMut(&str)) -> Result<(), LinesError> {
        let failed = |cause| LinesError::Write(WriteError::new(&self.path, cause));
        (&self.file).rewind().map_err(failed)?;
        let mut reader = BufReader::new(&self.file);
        let mut line = Vec::new();
        while reader.read_until(b'\n', &mut line).map_err(failed)? > 0 {
            tell(String::from_utf8_lossy(&line).trim_end());
            line.clear();
        }
        Ok(())
    }

    /// Adds `line`, which ends with a line feed, and waits for the disk.
    ///
    /// # Errors
    /// If the file does not take it; nothing of the line is then left in it.
    pub fn add(&mut self, line: &[u8]) -> Result<(), LinesError> {
        let before = self.file.metadata().map(|now| now.len());
        let written = self
            .file
            .write_all(line)
            .and_then(|()| self.file.sync_data());
        written.map_err(|cause| {
            if let Ok(before) = before {
                let _ = self.file.set_len(before);
            }
            LinesError::Write(WriteError::new(&self.path, cause))
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    const OURS: &[&str] = &["{\"a\":", "{\"b\":"];

    #[test]
    fn a_line_cut_by_a_kill_goes_and_the_whole_ones_stay() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("lines");
        let long = "x".repeat(3 * STRETCH as usize);
        for (before, after) in [
            ("{\"a\":1}\n{\"b\":2}\n".to_owned(), 2),
            ("{\"a\":1}\n{\"b\":".to_owned(), 1),
            (format!("{{\"a\":1}}\n{{\"b\":\"{long}"), 1),
            ("{\"a\":".to_owned(), 0),
            ("{".to_owned(), 0),
            (String::new(), 0),
        ] {
            fs::write(&path, &before).unwrap();
            let mut lines = LinesFile::open(&path, OURS).unwrap();
            lines.add(b"{\"a\":\"new\"}\n").unwrap();
            let mut told = Vec::new();
            lines.each_line(|line| told.push(line.to_owned())).unwrap();
            assert_eq!(told.len(), after + 1, "{before:.20}");
            assert_eq!(told.last().unwrap(), "{\"a\":\"new\"}");
        }
    }

    #[test]
    fn a_file_of_something_else_is_left_as_it_is() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("letter.txt");
        fs::write(&path, "Dear Sir,\nunfinished").unwrap();
        let refused = LinesFile::open(&path, OURS).unwrap_err();
        assert!(matches!(refused, LinesError::Foreign(_)));
        assert_eq!(fs::read_to_string(&path).unwrap(), "Dear Sir,\nunfinished");
    }

    #[test]
    fn two_runs_never_share_a_file() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("lines");
        let first = LinesFile::open(&path, OURS).unwrap();
        let second = LinesFile::open(&path, OURS).unwrap_err();
        assert!(matches!(second, LinesError::Busy(_)));
        drop(first);
        assert!(LinesFile::open(&path, OURS).is_ok());
    }
}
