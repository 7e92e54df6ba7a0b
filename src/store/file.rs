//! Files that are there whole or not at all.
//!
//! Input: a path and a function that writes the content. Output: the file, or an error and no trace.
//! Units: none. Method: a temporary file in the same folder, flushed to the disk, then renamed over the target
//! (POSIX `rename` is atomic within one file system). Its name, `.lidprop-HOST-PROCESS-...`, says who writes it: the first write into a folder
//! removes those whose process on this computer has ended, and any that nothing was written to for a week.
//! Limits: a process that is killed leaves its temporary file until then, never half a result.

use crate::units::cause::in_words;
use std::collections::BTreeSet;
use std::fs;
use std::io::{self, BufWriter, Read, Write};
use std::path::{Path, PathBuf};
use std::sync::{LazyLock, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

/// How temporary files begin.
const PREFIX: &str = ".lidprop-";

/// Temporary files of other computers count as left behind after a week: no result takes that long to write.
const FORGOTTEN: Duration = Duration::from_secs(7 * 24 * 3600);

/// The temporary files that this process is writing.
static UNFINISHED: Mutex<BTreeSet<PathBuf>> = Mutex::new(BTreeSet::new());

/// The folders that this process has cleared.
static CLEARED: Mutex<BTreeSet<PathBuf>> = Mutex::new(BTreeSet::new());

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

/// Charts and documents are no larger, in bytes.
pub const LARGEST_TEXT: u64 = 50_000_000;

/// Reads a file of `most` bytes or fewer. What a path leads to may say that it has no length and never end, so it is read no further than that.
///
/// # Errors
/// If it cannot be read; of the kind [`io::ErrorKind::FileTooLarge`], if it is longer.
pub fn read_bytes(path: &Path, most: u64) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    fs::File::open(path)?
        .take(most.saturating_add(1))
        .read_to_end(&mut bytes)?;
    match bytes.len() as u64 > most {
        true => Err(io::Error::new(
            io::ErrorKind::FileTooLarge,
            "it is too large",
        )),
        false => Ok(bytes),
    }
}

/// The same of a text.
///
/// # Errors
/// As [`read_bytes`]; of the kind [`io::ErrorKind::InvalidData`], if it is no UTF-8.
pub fn read_text(path: &Path, most: u64) -> io::Result<String> {
    io::read_to_string(&read_bytes(path, most)?[..])
}

/// Makes the folder, and those above it, where they are missing.
///
/// # Errors
/// If it cannot be made.
pub fn make_folder(folder: &Path) -> Result<(), WriteError> {
    fs::create_dir_all(folder).map_err(|cause| WriteError::new(folder, cause))
}

/// The same for folders that only their owner is to look into; one that is there stays as it is.
///
/// # Errors
/// If it cannot be made.
pub fn make_private_folder(folder: &Path) -> Result<(), WriteError> {
    let mut builder = fs::DirBuilder::new();
    builder.recursive(true);
    #[cfg(unix)]
    {
        use std::os::unix::fs::DirBuilderExt;
        builder.mode(0o700);
    }
    builder
        .create(folder)
        .map_err(|cause| WriteError::new(folder, cause))
}

/// Writes `path` whole: what was there before stays until the new content is safe. It can be read by whom the umask lets.
///
/// # Errors
/// If the folder does not take it; nothing is left behind and an earlier file of that name is untouched.
pub fn write_whole(
    path: &Path,
    content: impl FnOnce(&mut dyn Write) -> io::Result<()>,
) -> Result<(), WriteError> {
    write_for(0o666, path, content)
}

/// The same for what only its owner is to read: recordings, what was learned of a piano, what was practised.
///
/// # Errors
/// As [`write_whole`].
pub fn write_private(
    path: &Path,
    content: impl FnOnce(&mut dyn Write) -> io::Result<()>,
) -> Result<(), WriteError> {
    write_for(0o600, path, content)
}

/// Removes what this process is still writing, since it is about to end.
pub fn remove_unfinished() {
    for path in std::mem::take(&mut *held(&UNFINISHED)) {
        // what cannot be removed now, the next run removes
        let _ = fs::remove_file(path);
    }
}

fn held<T>(shared: &Mutex<T>) -> MutexGuard<'_, T> {
    shared.lock().unwrap_or_else(PoisonError::into_inner)
}

fn write_for(
    mode: u32,
    path: &Path,
    content: impl FnOnce(&mut dyn Write) -> io::Result<()>,
) -> Result<(), WriteError> {
    let folder = match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    if held(&CLEARED).insert(folder.to_owned()) {
        clear_left_behind(folder);
    }
    let prefix = format!("{}{}-", *OF_THIS_HOST, std::process::id());
    let write = || -> io::Result<()> {
        let mut beside = tempfile::Builder::new();
        beside.prefix(&prefix);
        #[cfg(unix)]
        {
            // The umask takes away what the user wants taken away.
            use std::os::unix::fs::PermissionsExt;
            beside.permissions(fs::Permissions::from_mode(mode));
        }
        #[cfg(not(unix))]
        let _ = mode;
        let mut beside = beside.tempfile_in(folder)?;
        let _unfinished = Unfinished::new(beside.path());
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

/// A temporary file in the list of those that are being written.
struct Unfinished(PathBuf);

impl Unfinished {
    fn new(path: &Path) -> Self {
        held(&UNFINISHED).insert(path.to_owned());
        Self(path.to_owned())
    }
}

impl Drop for Unfinished {
    fn drop(&mut self) {
        held(&UNFINISHED).remove(&self.0);
    }
}

/// How temporary files of this computer begin: several may write into one folder of a network.
static OF_THIS_HOST: LazyLock<String> = LazyLock::new(|| {
    let name = fs::read_to_string("/proc/sys/kernel/hostname").unwrap_or_default();
    let letters = name.trim().chars().take(30);
    let plain = letters.map(|c| if c.is_ascii_alphanumeric() { c } else { '_' });
    format!("{PREFIX}{}-", plain.collect::<String>())
});

/// Removes the temporary files in `folder` that nobody will finish.
fn clear_left_behind(folder: &Path) {
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        let name = entry.file_name();
        let Some(name) = name.to_str().filter(|name| name.starts_with(PREFIX)) else {
            continue;
        };
        let ended = name
            .strip_prefix(OF_THIS_HOST.as_str())
            .and_then(|rest| rest.split_once('-')?.0.parse().ok())
            .is_some_and(has_ended);
        if ended || is_forgotten(&entry) {
            // another run may have been faster
            let _ = fs::remove_file(entry.path());
        }
    }
}

/// True if no process of this number runs; false too where the system does not tell.
fn has_ended(process: u32) -> bool {
    let processes = Path::new("/proc");
    processes.join("self").exists() && !processes.join(process.to_string()).exists()
}

fn is_forgotten(entry: &fs::DirEntry) -> bool {
    let written = entry.metadata().and_then(|there| there.modified());
    // a clock that was set back makes it young again, and it stays
    written.is_ok_and(|at| at.elapsed().is_ok_and(|age| age > FORGOTTEN))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_is_read_up_to_its_limit_and_no_further() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("chart.txt");
        fs::write(&path, "| C |").unwrap();
        assert_eq!(read_text(&path, 5).unwrap(), "| C |");
        assert!(read_text(&path, 4).is_err());
        #[cfg(target_os = "linux")]
        assert!(read_text(Path::new("/dev/zero"), 1000).is_err());
    }

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

    #[cfg(unix)]
    #[test]
    fn what_is_private_can_be_read_by_its_owner_alone() {
        use std::os::unix::fs::PermissionsExt;
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("own/pianos/grand.json");
        make_private_folder(path.parent().unwrap()).unwrap();
        write_private(&path, |out| out.write_all(b"{}")).unwrap();
        let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
        assert_eq!(mode(&path), 0o600);
        assert_eq!(mode(path.parent().unwrap()), 0o700);
    }

    #[cfg(target_os = "linux")]
    #[test]
    fn what_ended_runs_have_left_is_cleared_and_what_others_write_is_not() {
        let folder = tempfile::tempdir().unwrap();
        let mut ended = std::process::Command::new("true").spawn().unwrap();
        ended.wait().unwrap();
        let here = OF_THIS_HOST.as_str();
        let leave = |name: String| fs::write(folder.path().join(name), "half").unwrap();
        leave(format!("{here}{}-abc", ended.id()));
        leave(format!("{here}1-abc"));
        leave(format!("{PREFIX}elsewhere-{}-abc", ended.id()));
        let old = format!("{PREFIX}elsewhere-1-old");
        leave(old.clone());
        let long_ago = std::time::SystemTime::now() - 2 * FORGOTTEN;
        let file = fs::File::options()
            .write(true)
            .open(folder.path().join(old))
            .unwrap();
        file.set_modified(long_ago).unwrap();
        write_whole(&folder.path().join("evening.json"), |out| {
            out.write_all(b"{}")
        })
        .unwrap();
        let mut left: Vec<String> = fs::read_dir(folder.path())
            .unwrap()
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .collect();
        left.sort();
        let mut expected = vec![
            format!("{here}1-abc"),
            format!("{PREFIX}elsewhere-{}-abc", ended.id()),
            "evening.json".to_owned(),
        ];
        expected.sort();
        assert_eq!(left, expected);
    }

    #[test]
    fn what_is_being_written_can_be_removed_and_gives_no_half_file() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("evening.json");
        let written = write_whole(&path, |out| {
            out.write_all(b"half")?;
            let own = held(&UNFINISHED)
                .iter()
                .find(|path| path.starts_with(folder.path()))
                .cloned();
            fs::remove_file(own.expect("it is in the list"))
        });
        assert!(written.is_err());
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
        assert!(
            !held(&UNFINISHED)
                .iter()
                .any(|path| path.starts_with(folder.path()))
        );
    }
}
