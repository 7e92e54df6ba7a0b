//! Files that are there whole or not at all.
//!
//! Input: a path and a function that writes the content. Output: the file, or an error and no trace.
//! Units: none. Method: a temporary file in the same folder, flushed to the disk, then renamed over the target
//! (POSIX `rename` is atomic within one file system).
//! Limits: a process that is killed leaves its temporary file `.lidprop-*` behind, never half a result.

use crate::units::cause::in_words;
use std::fs;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

/// Why a result could not be written: one sentence.
#[derive(Debug, thiserror::Error)]
#[error("{}: {what} ({}); {remedy}", .path.display(), in_words(.cause))]
pub struct WriteError {
    path: PathBuf,
    what: &'static str,
    remedy: &'static str,
    cause: io::Error,
}

impl WriteError {
    pub(super) fn new(path: &Path, cause: io::Error) -> Self {
        let (what, remedy) = match cause.kind() {
            io::ErrorKind::StorageFull
            | io::ErrorKind::QuotaExceeded
            | io::ErrorKind::WriteZero => (
                "the disk is full, nothing was written",
                "make room or choose another folder",
            ),
            io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => (
                "writing is not permitted here",
                "choose a folder of your own",
            ),
            io::ErrorKind::NotADirectory | io::ErrorKind::AlreadyExists => (
                "a part of this path is a file, not a folder",
                "choose another folder",
            ),
            io::ErrorKind::IsADirectory => (
                "there is a folder of this name",
                "rename that folder or choose another one",
            ),
            _ => ("nothing could be written", "choose another folder"),
        };
        Self {
            path: path.to_owned(),
            what,
            remedy,
            cause,
        }
    }
}

/// Makes the folder, and those above it, where they are missing.
///
/// # Errors
/// If it cannot be made.
pub fn make_folder(folder: &Path) -> Result<(), WriteError> {
    fs::create_dir_all(folder).map_err(|cause| WriteError::new(folder, cause))
}

/// Writes `path` whole: what was there before stays until the new content is safe.
///
/// # Errors
/// If the folder does not take it; nothing is left behind and an earlier file of that name is untouched.
pub fn write_whole(
    path: &Path,
    content: impl FnOnce(&mut dyn Write) -> io::Result<()>,
) -> Result<(), WriteError> {
    let folder = match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    let write = || -> io::Result<()> {
        let mut beside = tempfile::Builder::new();
        beside.prefix(".lidprop-");
        #[cfg(unix)]
        {
            // As an ordinary file would be made; the umask takes away what the user wants taken away.
            use std::os::unix::fs::PermissionsExt;
            beside.permissions(fs::Permissions::from_mode(0o666));
        }
        let mut beside = beside.tempfile_in(folder)?;
        let mut buffered = BufWriter::new(beside.as_file_mut());
        content(&mut buffered)?;
        buffered.flush()?;
        drop(buffered);
        beside.as_file().sync_all()?;
        beside.persist(path).map_err(|failed| failed.error)?;
        Ok(())
    };
    write().map_err(|cause| WriteError::new(path, cause))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_failed_write_leaves_the_earlier_file_and_nothing_else() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("evening.json");
        fs::write(&path, "earlier").unwrap();
        let error = write_whole(&path, |out| {
            out.write_all(b"half")?;
            Err(io::Error::from(io::ErrorKind::StorageFull))
        })
        .unwrap_err();
        assert!(error.to_string().contains("the disk is full"), "{error}");
        assert_eq!(fs::read_to_string(&path).unwrap(), "earlier");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[cfg(unix)]
    #[test]
    fn a_written_file_can_be_read_by_whom_the_umask_lets() {
        use std::os::unix::fs::PermissionsExt;
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("evening.json");
        let plain = folder.path().join("plain");
        write_whole(&path, |out| out.write_all(b"{}")).unwrap();
        fs::write(&plain, "{}").unwrap();
        let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode();
        assert_eq!(mode(&path), mode(&plain));
    }
}
