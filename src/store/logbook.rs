//! The logbook: every marked attempt, and what is known of each item of each player.
//!
//! Input: [`Entry`]s. Output: [`Overview`]s, entries read back. Units: Unix milliseconds (UTC), days since 1970-01-01 by the player's calendar, seconds.
//! Method: SQLite (crate `rusqlite`, bundled) in the user's data folder: a write-ahead log, so that two programs may use it at once, each attempt a
//! transaction of its own, so that a killed program loses no more than the attempt being played; migrations of our own, with a backup before each.
//! What is known of an item (counts, times, memory by `review`) stands in a table of its own that every new attempt
//! updates, so that an overview does not read all attempts. The time comes in as a value: a clock that was set back makes no day negative.
//! Limits: not on network drives (SQLite, "Write-Ahead Logging", section 1). Readable by its owner alone where the system knows owners (Unix).

use super::file::{WriteError, make_private_folder};
use crate::practice::review::{Grade, Memory};
use crate::practice::tally::{Item, Overview, SlipCount, Tally, streak};
use directories::ProjectDirs;
use rusqlite::backup::Backup;
use rusqlite::{
    Connection, ErrorCode, OptionalExtension, Row, Transaction, TransactionBehavior, params,
};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::io::{BufRead, Write};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// Its file in the data folder.
const FILE: &str = "logbook.sqlite";
/// Marks a file as ours: "lidp" (SQLite, `PRAGMA application_id`).
const APPLICATION: i32 = 0x6c69_6470;
/// How long a program waits for another that writes.
const PATIENCE: Duration = Duration::from_secs(5);
/// Days since 1970 that can be: a hundred years of them.
const DAYS: std::ops::RangeInclusive<i32> = 0..=36_525;
/// The first line of an export says so, with its version.
pub const EXPORT_FORMAT: &str = "lidprop-logbook/1";
/// A line of an export is no longer.
const LONGEST_LINE: usize = 100_000;

/// The steps from an empty file to what this version knows; a step is never changed once it has shipped.
const STEPS: &[&str] = &["
CREATE TABLE attempt (
    id INTEGER PRIMARY KEY,
    uid TEXT NOT NULL UNIQUE,
    player TEXT NOT NULL,
    at_ms INTEGER NOT NULL,
    day INTEGER NOT NULL,
    outcome TEXT NOT NULL,
    chord_type TEXT NOT NULL,
    root INTEGER NOT NULL CHECK (root BETWEEN 0 AND 11),
    form TEXT NOT NULL,
    took REAL,
    entry TEXT NOT NULL
) STRICT;
CREATE INDEX attempt_by_day ON attempt (player, day, outcome);
CREATE INDEX attempt_by_time ON attempt (player, at_ms);
CREATE TABLE item (
    player TEXT NOT NULL,
    chord_type TEXT NOT NULL,
    root INTEGER NOT NULL,
    form TEXT NOT NULL,
    right INTEGER NOT NULL,
    slip INTEGER NOT NULL,
    unsure INTEGER NOT NULL,
    took_sum REAL NOT NULL,
    took_count INTEGER NOT NULL,
    run INTEGER NOT NULL,
    stability REAL,
    difficulty REAL,
    graded_day INTEGER,
    due_day INTEGER,
    PRIMARY KEY (player, chord_type, root, form)
) STRICT, WITHOUT ROWID;
CREATE TABLE slip (
    player TEXT NOT NULL,
    chord_type TEXT NOT NULL,
    root INTEGER NOT NULL,
    word TEXT NOT NULL,
    count INTEGER NOT NULL,
    PRIMARY KEY (player, chord_type, root, word)
) STRICT, WITHOUT ROWID;
"];

/// Why the logbook cannot be used: what happened, and where it lies.
#[derive(Debug, thiserror::Error)]
pub enum LogbookError {
    /// There is no folder for it.
    #[error("this system names no home folder to keep a logbook in")]
    NoHome,
    /// Its folder cannot be made, or a file not be written.
    #[error(transparent)]
    Unwritten(#[from] WriteError),
    /// The file is none of SQLite's, or damaged.
    #[error("{}: this is no logbook, or it is damaged ({cause})", .path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What SQLite says.
        cause: String,
    },
    /// The database of another program.
    #[error("{}: this is the database of another program", .path.display())]
    Foreign {
        /// The file.
        path: PathBuf,
    },
    /// A later version of this program has written it.
    #[error("{}: a newer lidprop has written this logbook (version {found}; this one knows {known})", .path.display())]
    Newer {
        /// The file.
        path: PathBuf,
        /// Its version.
        found: usize,
        /// What this program knows.
        known: usize,
    },
    /// It may not be written.
    #[error("{}: the logbook may not be written", .path.display())]
    ReadOnly {
        /// The file.
        path: PathBuf,
    },
    /// Another program holds it.
    #[error("{}: another program has been writing the logbook for {} seconds", .path.display(), PATIENCE.as_secs())]
    Busy {
        /// The file.
        path: PathBuf,
    },
    /// Anything else.
    #[error("{}: the logbook cannot be used ({cause})", .path.display())]
    Other {
        /// The file.
        path: PathBuf,
        /// What SQLite or the system says.
        cause: String,
    },
    /// What should be taken in is no export.
    #[error("line {line} of the export: {reason}; nothing was taken in")]
    NotAnExport {
        /// From 1.
        line: usize,
        /// Why.
        reason: String,
    },
}

/// One attempt as it is kept.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Entry {
    /// Its own name, the same wherever it is taken: no entry is taken in twice.
    pub uid: String,
    /// Who played.
    pub player: String,
    /// When it was struck, Unix milliseconds.
    pub at_ms: i64,
    /// The day by the player's calendar, days since 1970-01-01.
    pub day: i32,
    /// What was being practised, in a few words.
    pub exercise: String,
    /// The chord without its root.
    pub chord_type: String,
    /// Its root, 0 for C to 11.
    pub root: u8,
    /// The form, in its word.
    pub form: String,
    /// The whole symbol.
    pub symbol: String,
    /// MIDI numbers of the keys that were asked for.
    pub wanted: Vec<u8>,
    /// Of the keys that were heard.
    pub heard: Vec<u8>,
    /// Of those asked for that were not heard.
    pub missing: Vec<u8>,
    /// Of those heard that were not asked for.
    pub extra: Vec<u8>,
    /// right, slip or unsure.
    pub outcome: String,
    /// Kinds of slips.
    pub slips: Vec<String>,
    /// What else was remarked.
    pub remarks: Vec<String>,
    /// Seconds from the prompt, or the attempt before, to the first strike.
    pub took: Option<f64>,
    /// Seconds from the first strike to the last.
    pub spread: f64,
    /// Seconds that it was held, as far as known when it was marked.
    pub held: f64,
    /// Beats a minute, where there was a tempo.
    pub tempo: Option<f64>,
    /// The learned piano, where one was stated.
    pub piano: Option<String>,
    /// `live`, or the name of a recording.
    pub source: String,
    /// The program's version.
    pub version: String,
    /// The grade for the next review, 1 to 4; none for an unsure attempt.
    pub grade: Option<u8>,
}

/// An open logbook.
pub struct Logbook {
    connection: Connection,
    path: PathBuf,
}

impl Logbook {
    /// Where the user's logbook lies.
    ///
    /// # Errors
    /// If the system names no folder for it.
    pub fn path_of_user() -> Result<PathBuf, LogbookError> {
        let folders = ProjectDirs::from("", "", "lidprop").ok_or(LogbookError::NoHome)?;
        Ok(folders.data_dir().join(FILE))
    }

    /// Opens the logbook at `path`; makes it where there is none.
    ///
    /// # Errors
    /// If the file is no logbook, damaged, newer than this program, or may not be written; it is left as it is.
    pub fn open(path: &Path) -> Result<Self, LogbookError> {
        Self::open_by_steps(path, STEPS)
    }

    fn open_by_steps(path: &Path, steps: &[&str]) -> Result<Self, LogbookError> {
        if let Some(folder) = path.parent() {
            make_private_folder(folder)?;
        }
        let told = |error| told(path, error);
        make_private(path).map_err(|error| LogbookError::Other {
            path: path.to_owned(),
            cause: error.to_string(),
        })?;
        let mut connection = Connection::open(path).map_err(told)?;
        connection.busy_timeout(PATIENCE).map_err(told)?;
        let ours = patiently(|| identity(&connection)).map_err(told)?;
        match ours {
            Identity::Ours(found) if found > steps.len() => {
                return Err(LogbookError::Newer {
                    path: path.to_owned(),
                    found,
                    known: steps.len(),
                });
            }
            Identity::Foreign => {
                return Err(LogbookError::Foreign {
                    path: path.to_owned(),
                });
            }
            Identity::Ours(_) | Identity::Empty => {}
        }
        write_ahead(&connection).map_err(told)?;
        migrate(&mut connection, path, steps)?;
        Ok(Self {
            connection,
            path: path.to_owned(),
        })
    }

    /// The file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Keeps an attempt: all of it, or nothing. One that is kept already stays as it is.
    ///
    /// # Errors
    /// If it cannot be written.
    pub fn keep(&mut self, entry: &Entry) -> Result<(), LogbookError> {
        let path = self.path.clone();
        let kept = (|| {
            let transaction = write(&mut self.connection)?;
            if insert(&transaction, entry)? {
                learn(&transaction, entry)?;
            }
            transaction.commit()
        })();
        kept.map_err(|error| told(&path, error))
    }

    /// Everybody who has played, by name.
    ///
    /// # Errors
    /// If it cannot be read.
    pub fn players(&self) -> Result<Vec<String>, LogbookError> {
        let sql = "SELECT DISTINCT player FROM item ORDER BY player";
        self.all(sql, [], |row| row.get(0))
    }

    /// Times of the last right attempts of a player, in seconds, newest first.
    ///
    /// # Errors
    /// If it cannot be read.
    pub fn last_times(&self, player: &str, most: u32) -> Result<Vec<f64>, LogbookError> {
        let sql = "SELECT took FROM attempt WHERE player = ?1 AND outcome = 'right' AND took IS NOT NULL ORDER BY at_ms DESC LIMIT ?2";
        self.all(sql, params![player, most], |row| row.get(0))
    }

    /// All that is told of a player on a day.
    ///
    /// # Errors
    /// If it cannot be read.
    pub fn overview(&self, player: &str, today: i32) -> Result<Overview, LogbookError> {
        let mut items = self.all(
            "SELECT chord_type, root, form, right, slip, unsure, took_sum, took_count, run, stability, difficulty, graded_day, due_day
             FROM item WHERE player = ?1",
            [player],
            |row| item_of(row, today),
        )?;
        items.sort_by_key(|item| {
            (
                item.due_day.unwrap_or(i32::MAX),
                item.chord_type.clone(),
                item.root,
            )
        });
        let mut overview = Overview {
            player: player.to_owned(),
            total: Tally::default(),
            keys: BTreeMap::new(),
            chord_types: BTreeMap::new(),
            items: Vec::new(),
            slips: Vec::new(),
            days: Vec::new(),
            streak_days: 0,
        };
        for item in &items {
            overview.total.add(&item.tally);
            overview.keys.entry(item.root).or_default().add(&item.tally);
            let of_type = overview.chord_types.entry(item.chord_type.clone());
            of_type.or_default().add(&item.tally);
        }
        overview.items = items;
        overview.slips = self.all(
            "SELECT chord_type, root, word, count FROM slip WHERE player = ?1 ORDER BY count DESC, chord_type, root",
            [player],
            |row| {
                Ok(SlipCount {
                    chord_type: row.get(0)?,
                    root: row.get(1)?,
                    word: row.get(2)?,
                    count: row.get(3)?,
                })
            },
        )?;
        overview.days = self.days(player)?;
        overview.streak_days = streak(&overview.days, today);
        Ok(overview)
    }

    fn days(&self, player: &str) -> Result<Vec<(i32, [u32; 3])>, LogbookError> {
        let sql =
            "SELECT day, sum(outcome = 'right'), sum(outcome = 'slip'), sum(outcome = 'unsure')
                   FROM attempt WHERE player = ?1 GROUP BY day ORDER BY day";
        self.all(sql, [player], |row| {
            Ok((row.get(0)?, [row.get(1)?, row.get(2)?, row.get(3)?]))
        })
    }

    /// The last attempts of a player, newest first; of everybody where no player is stated.
    ///
    /// # Errors
    /// If it cannot be read.
    pub fn entries(&self, player: Option<&str>) -> Result<Vec<Entry>, LogbookError> {
        let sql = "SELECT entry FROM attempt WHERE ?1 IS NULL OR player = ?1 ORDER BY at_ms, id";
        let texts: Vec<String> = self.all(sql, [player], |row| row.get(0))?;
        let read = |text: &String| {
            serde_json::from_str(text).map_err(|error| LogbookError::Damaged {
                path: self.path.clone(),
                cause: error.to_string(),
            })
        };
        texts.iter().map(read).collect()
    }

    /// Writes every attempt as a line of JSON, after a line that says what it is.
    ///
    /// # Errors
    /// If the logbook cannot be read; or those of `out`, as they are.
    pub fn export(
        &self,
        player: Option<&str>,
        out: &mut dyn Write,
    ) -> Result<std::io::Result<usize>, LogbookError> {
        let entries = self.entries(player)?;
        let written = || -> std::io::Result<usize> {
            writeln!(out, "{}", serde_json::json!({ "format": EXPORT_FORMAT }))?;
            for entry in &entries {
                serde_json::to_writer(&mut *out, entry)?;
                writeln!(out)?;
            }
            out.flush()?;
            Ok(entries.len())
        };
        let mut written = written;
        Ok(written())
    }

    /// Takes an export in: all that is not kept yet, or nothing. Gives how many attempts were new.
    ///
    /// # Errors
    /// If a line is not as an export has it, or it cannot be written.
    pub fn import(&mut self, mut lines: impl BufRead) -> Result<usize, LogbookError> {
        let refuse = |line: usize, reason: String| LogbookError::NotAnExport { line, reason };
        let path = self.path.clone();
        let sql = |error| told(&path, error);
        let transaction = write(&mut self.connection).map_err(sql)?;
        let (mut new, mut number, mut line) = (0, 0, String::new());
        let mut players: Vec<String> = Vec::new();
        loop {
            number += 1;
            line.clear();
            let mut limited = std::io::Read::take(&mut lines, LONGEST_LINE as u64);
            let read = limited.read_line(&mut line);
            match read {
                Ok(0) => break,
                Ok(LONGEST_LINE) => return Err(refuse(number, "it is too long".to_owned())),
                Ok(_) => {}
                Err(error) => return Err(refuse(number, error.to_string())),
            }
            if number == 1 {
                let head: Option<serde_json::Value> = serde_json::from_str(&line).ok();
                if head.as_ref().and_then(|head| head.get("format")?.as_str())
                    != Some(EXPORT_FORMAT)
                {
                    return Err(refuse(1, format!("it does not begin with {EXPORT_FORMAT}")));
                }
                continue;
            }
            let entry: Entry =
                serde_json::from_str(&line).map_err(|error| refuse(number, error.to_string()))?;
            check(&entry).map_err(|reason| refuse(number, reason))?;
            if insert(&transaction, &entry).map_err(sql)? {
                new += 1;
                if !players.contains(&entry.player) {
                    players.push(entry.player);
                }
            }
        }
        if number == 1 {
            return Err(refuse(1, "it is empty".to_owned()));
        }
        // what was played elsewhere in between changes what is remembered: all is learned anew, in the order of time
        for player in &players {
            learn_anew(&transaction, player).map_err(sql)?;
        }
        transaction.commit().map_err(sql)?;
        Ok(new)
    }

    /// Deletes all that is kept of a player; gives how many attempts that were.
    ///
    /// # Errors
    /// If it cannot be written.
    pub fn forget(&mut self, player: &str) -> Result<usize, LogbookError> {
        let path = self.path.clone();
        let forgotten = (|| {
            let transaction = write(&mut self.connection)?;
            let attempts =
                transaction.execute("DELETE FROM attempt WHERE player = ?1", [player])?;
            transaction.execute("DELETE FROM item WHERE player = ?1", [player])?;
            transaction.execute("DELETE FROM slip WHERE player = ?1", [player])?;
            transaction.commit()?;
            Ok(attempts)
        })();
        forgotten.map_err(|error| told(&path, error))
    }

    fn all<T>(
        &self,
        sql: &str,
        values: impl rusqlite::Params,
        read: impl FnMut(&Row<'_>) -> rusqlite::Result<T>,
    ) -> Result<Vec<T>, LogbookError> {
        let rows = || -> rusqlite::Result<Vec<T>> {
            let mut statement = self.connection.prepare_cached(sql)?;
            statement.query_map(values, read)?.collect()
        };
        rows().map_err(|error| told(&self.path, error))
    }
}

/// Whose file it is.
enum Identity {
    /// A logbook of this version.
    Ours(usize),
    /// A new file.
    Empty,
    Foreign,
}

/// Reads all of it at one moment: between two readings another program may have made the new file a logbook.
fn identity(connection: &Connection) -> rusqlite::Result<Identity> {
    let moment = connection.unchecked_transaction()?;
    let pragma = |name: &str| moment.query_row(&format!("PRAGMA {name}"), [], |row| row.get(0));
    let application: i32 = pragma("application_id")?;
    let version: i32 = pragma("user_version")?;
    let tables: i32 =
        moment.query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))?;
    Ok(match (application, tables) {
        (APPLICATION, _) => Identity::Ours(usize::try_from(version).unwrap_or(usize::MAX)),
        (0, 0) if version == 0 => Identity::Empty,
        _ => Identity::Foreign,
    })
}

/// Makes the file, for its owner alone, where there is none: SQLite gives the files beside it the same permissions.
fn make_private(path: &Path) -> std::io::Result<()> {
    let mut options = std::fs::OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    {
        use std::os::unix::fs::OpenOptionsExt;
        options.mode(0o600);
    }
    match options.open(path) {
        Err(error) if error.kind() != std::io::ErrorKind::AlreadyExists => Err(error),
        _ => Ok(()),
    }
}

/// Writes ahead from now on. Two programs that change a new logbook to that at once stand in each other's way, and SQLite then does not wait
/// (sqlite.org/c3ref/busy_timeout.html).
fn write_ahead(connection: &Connection) -> rusqlite::Result<()> {
    patiently(|| {
        connection.execute_batch("PRAGMA journal_mode = WAL; PRAGMA synchronous = NORMAL;")
    })
}

/// Does it again while another program holds the file, for as long as SQLite itself would wait.
fn patiently<T>(mut step: impl FnMut() -> rusqlite::Result<T>) -> rusqlite::Result<T> {
    const AGAIN: Duration = Duration::from_millis(20);
    let begun = Instant::now();
    loop {
        match step() {
            Err(error)
                if error.sqlite_error_code() == Some(ErrorCode::DatabaseBusy)
                    && begun.elapsed() < PATIENCE =>
            {
                std::thread::sleep(AGAIN)
            }
            done => return done,
        }
    }
}

/// Takes the steps that are missing, each in a transaction, with a backup before each but the first.
fn migrate(connection: &mut Connection, path: &Path, steps: &[&str]) -> Result<(), LogbookError> {
    let sql = |error| told(path, error);
    loop {
        let version = version_of(connection).map_err(sql)?;
        let Some(step) = steps.get(version) else {
            return Ok(());
        };
        if version > 0 {
            back_up(connection, path, version).map_err(sql)?;
        }
        let stepped = (|| {
            let transaction = write(connection)?;
            // another program may have taken the step meanwhile
            if version_of(&transaction)? == version {
                transaction.execute_batch(step)?;
                transaction.pragma_update(None, "application_id", APPLICATION)?;
                transaction.pragma_update(None, "user_version", version as i32 + 1)?;
            }
            transaction.commit()
        })();
        stepped.map_err(sql)?;
    }
}

fn version_of(connection: &Connection) -> rusqlite::Result<usize> {
    let version: i32 = connection.query_row("PRAGMA user_version", [], |row| row.get(0))?;
    Ok(usize::try_from(version).unwrap_or(usize::MAX))
}

/// Copies the logbook beside itself before it is changed; a backup of that version that is there already is kept.
fn back_up(connection: &Connection, path: &Path, version: usize) -> rusqlite::Result<()> {
    let beside = path.with_extension(format!("version-{version}.sqlite"));
    if beside.exists() {
        return Ok(());
    }
    // a file that cannot be made is told when SQLite opens it
    let _ = make_private(&beside);
    let mut copy = Connection::open(&beside)?;
    let backup = Backup::new(connection, &mut copy)?;
    backup.run_to_completion(1000, Duration::ZERO, None)
}

fn write(connection: &mut Connection) -> rusqlite::Result<Transaction<'_>> {
    connection.transaction_with_behavior(TransactionBehavior::Immediate)
}

/// True if the entry is new.
fn insert(transaction: &Transaction<'_>, entry: &Entry) -> rusqlite::Result<bool> {
    let text = serde_json::to_string(entry)
        .map_err(|error| rusqlite::Error::ToSqlConversionFailure(error.into()))?;
    let mut statement = transaction.prepare_cached(
        "INSERT OR IGNORE INTO attempt (uid, player, at_ms, day, outcome, chord_type, root, form, took, entry)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
    )?;
    let rows = statement.execute(params![
        entry.uid,
        entry.player,
        entry.at_ms,
        entry.day,
        entry.outcome,
        entry.chord_type,
        entry.root,
        entry.form,
        entry.took,
        text
    ])?;
    Ok(rows > 0)
}

/// Brings what is known of the entry's item up to date.
fn learn(transaction: &Transaction<'_>, entry: &Entry) -> rusqlite::Result<()> {
    let memory = remembered(transaction, entry)?;
    let (mut right, mut slip, mut unsure) = (0, 0, 0);
    match entry.outcome.as_str() {
        "right" => right = 1,
        "slip" => slip = 1,
        _ => unsure = 1,
    }
    let took = entry.took.filter(|_| right == 1);
    let mut statement = transaction.prepare_cached(
        "INSERT INTO item VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?5, ?10, ?11, ?12, ?13)
         ON CONFLICT DO UPDATE SET right = right + ?5, slip = slip + ?6, unsure = unsure + ?7,
            took_sum = took_sum + ?8, took_count = took_count + ?9,
            run = CASE WHEN ?6 = 1 THEN 0 ELSE run + ?5 END,
            stability = ?10, difficulty = ?11, graded_day = ?12, due_day = ?13",
    )?;
    statement.execute(params![
        entry.player,
        entry.chord_type,
        entry.root,
        entry.form,
        right,
        slip,
        unsure,
        took.unwrap_or(0.0),
        i32::from(took.is_some()),
        memory.map(|known| known.memory.stability),
        memory.map(|known| known.memory.difficulty),
        memory.map(|known| known.day),
        memory.map(|known| known.due()),
    ])?;
    for word in &entry.slips {
        let mut statement = transaction.prepare_cached(
            "INSERT INTO slip VALUES (?1, ?2, ?3, ?4, 1) ON CONFLICT DO UPDATE SET count = count + 1",
        )?;
        statement.execute(params![entry.player, entry.chord_type, entry.root, word])?;
    }
    Ok(())
}

/// What is remembered of an item, and since when.
#[derive(Debug, Clone, Copy)]
struct Known {
    memory: Memory,
    day: i32,
}

impl Known {
    fn due(&self) -> i32 {
        let days = i32::try_from(self.memory.days_until_due()).unwrap_or(i32::MAX);
        self.day.saturating_add(days)
    }
}

/// What is remembered of the entry's item after it; `None` while nothing of it could be told.
fn remembered(transaction: &Transaction<'_>, entry: &Entry) -> rusqlite::Result<Option<Known>> {
    let mut statement = transaction.prepare_cached(
        "SELECT stability, difficulty, graded_day FROM item WHERE player = ?1 AND chord_type = ?2 AND root = ?3 AND form = ?4",
    )?;
    let before = statement
        .query_row(
            params![entry.player, entry.chord_type, entry.root, entry.form],
            |row| {
                let values: (Option<f64>, Option<f64>, Option<i32>) =
                    (row.get(0)?, row.get(1)?, row.get(2)?);
                Ok(known(values))
            },
        )
        .optional()?
        .flatten();
    let grade = match entry.grade {
        Some(1) => Grade::Again,
        Some(2) => Grade::Hard,
        Some(3) => Grade::Good,
        Some(4) => Grade::Easy,
        _ => return Ok(before),
    };
    Ok(Some(match before {
        None => Known {
            memory: Memory::first(grade),
            day: entry.day,
        },
        Some(before) => {
            // a clock that was set back is no day before the last
            let day = before.day.max(entry.day);
            Known {
                memory: before.memory.after(grade, day.abs_diff(before.day)),
                day,
            }
        }
    }))
}

fn known((stability, difficulty, day): (Option<f64>, Option<f64>, Option<i32>)) -> Option<Known> {
    Some(Known {
        memory: Memory {
            stability: stability?,
            difficulty: difficulty?,
        },
        day: day?,
    })
}

fn learn_anew(transaction: &Transaction<'_>, player: &str) -> rusqlite::Result<()> {
    transaction.execute("DELETE FROM item WHERE player = ?1", [player])?;
    transaction.execute("DELETE FROM slip WHERE player = ?1", [player])?;
    let mut statement =
        transaction.prepare("SELECT entry FROM attempt WHERE player = ?1 ORDER BY at_ms, uid")?;
    let mut rows = statement.query([player])?;
    while let Some(row) = rows.next()? {
        let text: String = row.get(0)?;
        let entry: Entry = serde_json::from_str(&text)
            .map_err(|error| rusqlite::Error::ToSqlConversionFailure(error.into()))?;
        learn(transaction, &entry)?;
    }
    Ok(())
}

fn item_of(row: &Row<'_>, today: i32) -> rusqlite::Result<Item> {
    let known = known((row.get(9)?, row.get(10)?, row.get(11)?));
    let tally = Tally {
        right: row.get(3)?,
        slip: row.get(4)?,
        unsure: row.get(5)?,
        took_sum: row.get(6)?,
        took_count: row.get(7)?,
    };
    Ok(Item {
        chord_type: row.get(0)?,
        root: row.get(1)?,
        form: row.get(2)?,
        tally,
        run: row.get(8)?,
        due_day: row.get(12)?,
        recall: known.map(|known| {
            let days = today.saturating_sub(known.day).max(0);
            known.memory.recall(f64::from(days))
        }),
    })
}

/// What an entry from elsewhere must keep to.
fn check(entry: &Entry) -> Result<(), String> {
    let words = ["right", "slip", "unsure"];
    if entry.root > 11 {
        return Err(format!("{} is no root: 0 to 11", entry.root));
    }
    if !words.contains(&entry.outcome.as_str()) {
        return Err(format!(
            "'{}' is no outcome: one of {}",
            entry.outcome,
            words.join(", ")
        ));
    }
    if entry.grade.is_some_and(|grade| !(1..=4).contains(&grade)) {
        return Err("a grade is 1 to 4".to_owned());
    }
    if entry.player.is_empty() || entry.uid.is_empty() {
        return Err("it has no player or no name of its own".to_owned());
    }
    if !DAYS.contains(&entry.day) {
        return Err(format!("day {} is none since 1970", entry.day));
    }
    let shown = [
        &entry.player,
        &entry.exercise,
        &entry.chord_type,
        &entry.form,
        &entry.symbol,
    ];
    if shown.iter().any(|text| text.chars().any(char::is_control)) {
        return Err("a text in it holds characters that are not for printing".to_owned());
    }
    Ok(())
}

/// What SQLite says, in our words.
fn told(path: &Path, error: rusqlite::Error) -> LogbookError {
    let path = path.to_owned();
    let cause = error.to_string();
    match error.sqlite_error_code() {
        Some(ErrorCode::NotADatabase | ErrorCode::DatabaseCorrupt) => {
            LogbookError::Damaged { path, cause }
        }
        Some(ErrorCode::ReadOnly) => LogbookError::ReadOnly { path },
        Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => LogbookError::Busy { path },
        _ => LogbookError::Other { path, cause },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn entry(n: u32, root: u8, outcome: &str, day: i32) -> Entry {
        Entry {
            uid: format!("test-{n}"),
            player: "Ada".to_owned(),
            at_ms: i64::from(day) * 86_400_000 + i64::from(n),
            day,
            exercise: "maj7, root position, fourths".to_owned(),
            chord_type: "maj7".to_owned(),
            root,
            form: "root position".to_owned(),
            symbol: "Cmaj7".to_owned(),
            wanted: vec![48, 52, 55, 59],
            heard: vec![48, 52, 55, 59],
            missing: vec![],
            extra: vec![],
            outcome: outcome.to_owned(),
            slips: if outcome == "slip" {
                vec!["missing".to_owned()]
            } else {
                vec![]
            },
            remarks: vec![],
            took: Some(2.0),
            spread: 0.01,
            held: 1.0,
            tempo: None,
            piano: None,
            source: "live".to_owned(),
            version: "0".to_owned(),
            grade: match outcome {
                "right" => Some(3),
                "slip" => Some(1),
                _ => None,
            },
        }
    }

    #[test]
    fn an_export_that_would_steer_a_terminal_or_lies_outside_time_is_not_taken_in() {
        let (_folder, path) = fresh();
        let mut book = Logbook::open(&path).unwrap();
        let steering = Entry {
            player: "Ada\x1b[2J".to_owned(),
            ..entry(1, 0, "right", 100)
        };
        let timeless = entry(2, 0, "right", i32::MAX);
        for (wrong, words) in [
            (steering, "not for printing"),
            (timeless, "is none since 1970"),
        ] {
            let line = serde_json::to_string(&wrong).unwrap();
            let export = format!("{{\"format\":\"{EXPORT_FORMAT}\"}}\n{line}\n");
            let refusal = book.import(export.as_bytes()).unwrap_err().to_string();
            assert!(refusal.contains(words), "{refusal}");
        }
        assert_eq!(book.players().unwrap(), [""; 0]);
    }

    fn fresh() -> (tempfile::TempDir, PathBuf) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("data").join(FILE);
        (folder, path)
    }

    #[test]
    fn what_was_kept_is_told_by_key_type_slip_and_day() {
        let (_folder, path) = fresh();
        let mut book = Logbook::open(&path).unwrap();
        for (n, (root, outcome, day)) in [
            (0, "right", 100),
            (0, "slip", 100),
            (5, "right", 101),
            (5, "unsure", 102),
        ]
        .into_iter()
        .enumerate()
        {
            book.keep(&entry(n as u32, root, outcome, day)).unwrap();
        }
        drop(book);
        let book = Logbook::open(&path).unwrap();
        let told = book.overview("Ada", 102).unwrap();
        assert_eq!(
            (told.total.right, told.total.slip, told.total.unsure),
            (2, 1, 1)
        );
        assert_eq!(told.keys[&0].accuracy(), Some(0.5));
        assert_eq!(told.keys[&5].mean_time(), Some(2.0));
        assert_eq!(told.slips[0].word, "missing");
        assert_eq!(told.streak_days, 3);
        assert_eq!(told.days.len(), 3);
        // the slip on C came last: it is due before F
        assert_eq!(told.items[0].root, 0);
        assert_eq!(book.players().unwrap(), ["Ada"]);
    }

    #[test]
    fn an_entry_is_kept_once_and_a_clock_set_back_makes_no_day_negative() {
        let (_folder, path) = fresh();
        let mut book = Logbook::open(&path).unwrap();
        book.keep(&entry(1, 0, "right", 100)).unwrap();
        book.keep(&entry(1, 0, "right", 100)).unwrap();
        book.keep(&entry(2, 0, "right", 90)).unwrap();
        let told = book.overview("Ada", 90).unwrap();
        assert_eq!(told.total.right, 2);
        assert!(told.items[0].due_day.unwrap() > 100, "{:?}", told.items[0]);
        assert!(told.items[0].recall.unwrap() <= 1.0);
    }

    #[cfg(unix)]
    #[test]
    fn only_its_owner_can_read_it() {
        use std::os::unix::fs::PermissionsExt;
        let (_folder, path) = fresh();
        let mut book = Logbook::open(&path).unwrap();
        book.keep(&entry(1, 0, "right", 100)).unwrap();
        for file in std::fs::read_dir(path.parent().unwrap()).unwrap() {
            let file = file.unwrap();
            let mode = file.metadata().unwrap().permissions().mode() & 0o777;
            assert_eq!(mode, 0o600, "{:?}", file.file_name());
        }
    }

    #[test]
    fn many_programs_may_begin_a_new_logbook_at_once() {
        for _ in 0..30 {
            let (_folder, path) = fresh();
            let openers: Vec<_> = (0..4)
                .map(|_| {
                    let path = path.clone();
                    std::thread::spawn(move || Logbook::open(&path).map(drop))
                })
                .collect();
            for opener in openers {
                opener.join().unwrap().unwrap();
            }
        }
    }

    #[test]
    fn two_programs_that_write_at_once_lose_nothing() {
        let (_folder, path) = fresh();
        drop(Logbook::open(&path).unwrap());
        let writers: Vec<_> = (0..2_u32)
            .map(|writer| {
                let path = path.clone();
                std::thread::spawn(move || {
                    let mut book = Logbook::open(&path).unwrap();
                    for n in 0..60 {
                        book.keep(&entry(1000 * writer + n, (n % 12) as u8, "right", 100))
                            .unwrap();
                    }
                })
            })
            .collect();
        writers
            .into_iter()
            .for_each(|writer| writer.join().unwrap());
        let told = Logbook::open(&path).unwrap().overview("Ada", 100).unwrap();
        assert_eq!(told.total.right, 120);
    }

    #[test]
    fn a_step_is_taken_after_a_backup_and_what_was_there_stays() {
        let (_folder, path) = fresh();
        let mut book = Logbook::open(&path).unwrap();
        book.keep(&entry(1, 0, "right", 100)).unwrap();
        drop(book);
        let more = [STEPS[0], "ALTER TABLE slip ADD COLUMN last_day INTEGER"];
        let book = Logbook::open_by_steps(&path, &more).unwrap();
        assert_eq!(book.overview("Ada", 100).unwrap().total.right, 1);
        drop(book);
        let backup = Logbook::open(&path.with_extension("version-1.sqlite")).unwrap();
        assert_eq!(backup.overview("Ada", 100).unwrap().total.right, 1);
        let told = Logbook::open(&path).err().unwrap();
        assert!(
            matches!(
                told,
                LogbookError::Newer {
                    found: 2,
                    known: 1,
                    ..
                }
            ),
            "{told}"
        );
    }

    #[test]
    fn foreign_torn_and_meaningless_files_are_told_and_left_as_they_are() {
        let (folder, path) = fresh();
        let mut book = Logbook::open(&path).unwrap();
        for n in 0..300 {
            book.keep(&entry(n, (n % 12) as u8, "right", 100)).unwrap();
        }
        drop(book);
        let whole = std::fs::read(&path).unwrap();
        let other = folder.path().join("other.sqlite");
        Connection::open(&other)
            .unwrap()
            .execute_batch("CREATE TABLE tune (name TEXT)")
            .unwrap();
        let cases: [(Vec<u8>, &str); 3] = [
            (
                b"not a database at all, but long enough to be looked at as one. ".repeat(40),
                "no logbook",
            ),
            (whole[..whole.len() / 2].to_vec(), "damaged"),
            (std::fs::read(&other).unwrap(), "another program"),
        ];
        for (content, words) in cases {
            let place = folder.path().join("place.sqlite");
            std::fs::write(&place, &content).unwrap();
            let told = match Logbook::open(&place) {
                Err(error) => error,
                Ok(book) => book.overview("Ada", 100).unwrap_err(),
            };
            assert!(told.to_string().contains(words), "{told}");
            assert_eq!(std::fs::read(&place).unwrap(), content, "{words}");
        }
    }

    #[test]
    fn one_that_may_not_be_written_is_told_and_can_still_be_read() {
        let (_folder, path) = fresh();
        let mut book = Logbook::open(&path).unwrap();
        book.keep(&entry(1, 0, "right", 100)).unwrap();
        // as SQLite itself answers where a file is read-only, whoever runs the test
        book.connection
            .execute_batch("PRAGMA query_only = ON")
            .unwrap();
        let told = book.keep(&entry(2, 5, "right", 100)).unwrap_err();
        assert!(matches!(told, LogbookError::ReadOnly { .. }), "{told}");
        assert!(told.to_string().contains("may not be written"), "{told}");
        assert_eq!(book.overview("Ada", 100).unwrap().total.right, 1);
    }

    #[test]
    fn midnight_begins_a_new_day_and_a_week_ends_with_today() {
        let (_folder, path) = fresh();
        let mut book = Logbook::open(&path).unwrap();
        let minute_before = Entry {
            at_ms: 101 * 86_400_000 - 60_000,
            ..entry(1, 0, "right", 100)
        };
        let minute_after = Entry {
            at_ms: 101 * 86_400_000 + 60_000,
            ..entry(2, 0, "right", 101)
        };
        book.keep(&minute_before).unwrap();
        book.keep(&minute_after).unwrap();
        let told = book.overview("Ada", 101).unwrap();
        assert_eq!(told.days, [(100, [1, 0, 0]), (101, [1, 0, 0])]);
        assert_eq!(told.streak_days, 2);
        assert_eq!(told.weeks(101, 2), [[0; 3], [2, 0, 0]]);
        assert_eq!(told.weeks(107, 2), [[1, 0, 0], [1, 0, 0]]);
    }

    #[test]
    fn an_export_is_taken_in_elsewhere_once_and_whole_or_not_at_all() {
        let (_here, here) = fresh();
        let (_there, there) = fresh();
        let mut book = Logbook::open(&here).unwrap();
        for n in 0..20 {
            let outcome = if n % 5 == 0 { "slip" } else { "right" };
            book.keep(&entry(n, (n % 12) as u8, outcome, 100 + n as i32 / 7))
                .unwrap();
        }
        let mut text = Vec::new();
        assert_eq!(book.export(None, &mut text).unwrap().unwrap(), 20);
        let mut other = Logbook::open(&there).unwrap();
        assert_eq!(other.import(&text[..]).unwrap(), 20);
        assert_eq!(other.import(&text[..]).unwrap(), 0, "none twice");
        assert_eq!(
            other.overview("Ada", 110).unwrap(),
            book.overview("Ada", 110).unwrap()
        );
        let torn = &text[..text.len() - 30];
        let (_third, third) = fresh();
        let mut third = Logbook::open(&third).unwrap();
        let told = third.import(torn).unwrap_err().to_string();
        assert!(
            told.starts_with("line 21 of the export") && told.contains("nothing was taken in"),
            "{told}"
        );
        assert_eq!(third.entries(None).unwrap(), []);
        assert!(third.import(&b"{}\n"[..]).is_err() && third.import(&b""[..]).is_err());
        assert_eq!(other.forget("Ada").unwrap(), 20);
        assert_eq!(other.players().unwrap(), [""; 0]);
    }

    #[test]
    fn an_overview_of_a_hundred_thousand_attempts_reads_no_single_one() {
        let (_folder, path) = fresh();
        let mut book = Logbook::open(&path).unwrap();
        let transaction = write(&mut book.connection).unwrap();
        for n in 0..2_000_u32 {
            let new = entry(n, (n % 12) as u8, "right", 100 + n as i32 / 200);
            assert!(insert(&transaction, &new).unwrap());
            learn(&transaction, &new).unwrap();
        }
        transaction.commit().unwrap();
        let plan: String = book
            .connection
            .query_row(
                "EXPLAIN QUERY PLAN SELECT day, sum(outcome = 'right') FROM attempt WHERE player = 'Ada' GROUP BY day",
                [],
                |row| row.get(3),
            )
            .unwrap();
        assert!(plan.contains("COVERING INDEX"), "{plan}");
        assert_eq!(book.overview("Ada", 110).unwrap().items.len(), 12);
    }
}
