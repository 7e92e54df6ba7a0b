//! `lidprop hear` or `lidprop drill` in a pseudo-terminal, and what its screen shows when.
//!
//! Input: the bytes that the program writes to its terminal. Output: a [`Seen`] for each change of what the screen says.
//! Units: times of this computer's clock, at the arrival of the bytes. Method: one thread reads and stamps, another one feeds a
//! terminal emulator; the screen is looked at once the bytes pause, so that half a picture is not taken for a whole one.
//! Limits: pictures less than [`PAUSE`] apart count as one, at the time of the last.

use lidprop::answer::settle::Standing;
use std::io::{Read, Write};
use std::process::Child;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::time::{Duration, Instant};

/// Columns and rows of the terminal.
const COLUMNS: u16 = 100;
const ROWS: u16 = 30;
/// Bytes of one picture come closer together than this.
const PAUSE: Duration = Duration::from_millis(2);

/// How the screen marks the standing of an answer, right of its name.
const MARKS: [(&str, Standing); 3] = [
    ("~ not settled yet", Standing::Provisional),
    ("= settled", Standing::Settled),
    (". let go", Standing::LetGo),
];
/// How the row with a mark begins.
const OUTCOMES: [&str; 3] = ["+ RIGHT", "x SLIP", "? UNSURE"];
/// A part of the last row of a drill.
const DRILL_KEYS: &str = "(or just play)";
/// What stands in the place of a name where there is none.
const NO_NAME: &str = "no name";

/// What the screen says.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Screen {
    /// The name and its standing; `None` where no answer is shown. The name is `None` where it says that there is none.
    pub answer: Option<(Option<String>, Standing)>,
    /// Samples it says were lost.
    pub lost: u64,
    /// The row with the last mark of a drill.
    pub mark: Option<String>,
    /// True once the row with the level, or with the keys of a drill, is there.
    pub listens: bool,
}

/// A change of the screen.
#[derive(Debug, Clone)]
pub struct Seen {
    pub at: Instant,
    pub screen: Screen,
}

/// The program in its terminal.
pub struct Terminal {
    pub child: Child,
    /// The last mark of a drill that was taken.
    pub last_mark: Option<String>,
    keys: std::fs::File,
    seen: Receiver<Seen>,
    /// Bytes that were written to it so far.
    bytes: Arc<AtomicU64>,
}

impl Terminal {
    /// Starts `lidprop` with these words.
    pub fn start(words: &[&str]) -> Result<Self, String> {
        let told = |e: pty_process::Error| format!("no pseudo-terminal: {e}");
        let (terminal, inside) = pty_process::blocking::open().map_err(told)?;
        terminal
            .resize(pty_process::Size::new(ROWS, COLUMNS))
            .map_err(told)?;
        let child = pty_process::blocking::Command::new(env!("CARGO_BIN_EXE_lidprop"))
            .args(words)
            .env("TERM", "xterm-256color")
            .env("LC_ALL", "C.UTF-8")
            .spawn(inside)
            .map_err(|e| format!("lidprop cannot be started: {e}"))?;
        let keys = std::fs::File::from(std::os::fd::OwnedFd::from(terminal));
        let from = keys.try_clone().map_err(|e| e.to_string())?;
        let (chunk_sender, chunks) = channel();
        let (seen_sender, seen) = channel();
        let bytes = Arc::new(AtomicU64::new(0));
        let count = bytes.clone();
        std::thread::spawn(move || stamp(from, &chunk_sender, &count));
        std::thread::spawn(move || watch(&chunks, &seen_sender));
        Ok(Self {
            child,
            last_mark: None,
            keys,
            seen,
            bytes,
        })
    }

    /// Bytes that the program has written to its terminal so far.
    pub fn bytes(&self) -> u64 {
        self.bytes.load(Ordering::Relaxed)
    }

    /// All changes since the last call.
    pub fn seen(&self) -> Vec<Seen> {
        self.seen.try_iter().collect()
    }

    /// Waits until it listens.
    pub fn wait_until_it_listens(&self) -> Result<(), String> {
        let limit = Instant::now() + Duration::from_secs(10);
        while Instant::now() < limit {
            match self.seen.recv_timeout(Duration::from_millis(100)) {
                Ok(seen) if seen.screen.listens => return Ok(()),
                Ok(_) | Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => break,
            }
        }
        Err("lidprop draws no screen, or hears nothing".into())
    }

    /// Presses a key.
    pub fn press(&mut self, key: &[u8]) -> Result<(), String> {
        self.keys.write_all(key).map_err(|e| e.to_string())
    }

    /// Presses `q` and waits for the end.
    pub fn quit(mut self) -> Result<(), String> {
        // A drill may have ended by itself, and its terminal with it.
        let _ = self.press(b"q");
        let status = self.child.wait().map_err(|e| e.to_string())?;
        if status.success() {
            Ok(())
        } else {
            Err(format!("lidprop ended with {status}"))
        }
    }
}

impl Drop for Terminal {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn stamp(mut from: std::fs::File, chunks: &Sender<(Instant, Vec<u8>)>, bytes: &AtomicU64) {
    let mut buffer = [0; 1 << 16];
    // The terminal ends with an error when the program has gone.
    while let Ok(count @ 1..) = from.read(&mut buffer) {
        bytes.fetch_add(count as u64, Ordering::Relaxed);
        if chunks
            .send((Instant::now(), buffer[..count].to_vec()))
            .is_err()
        {
            return;
        }
    }
}

fn watch(chunks: &Receiver<(Instant, Vec<u8>)>, seen: &Sender<Seen>) {
    let mut emulator = vt100::Parser::default();
    emulator.screen_mut().set_size(
        ROWS.try_into().expect("rows"),
        COLUMNS.try_into().expect("columns"),
    );
    let mut last = Screen::default();
    while let Ok((mut at, bytes)) = chunks.recv() {
        emulator.process(&bytes);
        while let Ok((later, bytes)) = chunks.recv_timeout(PAUSE) {
            emulator.process(&bytes);
            at = later;
        }
        let screen = read(emulator.screen());
        if screen != last {
            last = screen.clone();
            if seen.send(Seen { at, screen }).is_err() {
                return;
            }
        }
    }
}

fn read(screen: &vt100::Screen) -> Screen {
    let mut found = Screen::default();
    for row in screen.rows(0, COLUMNS) {
        let row = row.trim_end();
        if let Some((name, standing)) = MARKS
            .iter()
            .find_map(|(mark, standing)| Some((row.strip_suffix(mark)?.trim(), *standing)))
        {
            found.answer = Some(((name != NO_NAME).then(|| name.to_owned()), standing));
        }
        if row.starts_with("level ") || row.contains(DRILL_KEYS) {
            found.listens = true;
        }
        if OUTCOMES.iter().any(|outcome| row.starts_with(outcome)) {
            found.mark = Some(row.to_owned());
        }
        if let Some((before, _)) = row.split_once(" samples lost") {
            found.lost = before
                .rsplit(' ')
                .next()
                .and_then(|number| number.parse().ok())
                .unwrap_or(u64::MAX);
        }
    }
    found
}
