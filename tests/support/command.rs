//! Runs the built binary in a fresh folder and keeps what it says.
#![allow(dead_code, reason = "each test file uses a part of it")]

use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

/// A fresh folder, gone at the end of the test.
pub struct Desk {
    folder: tempfile::TempDir,
}

/// What a run of the binary gave.
pub struct Answer {
    pub code: i32,
    pub out: String,
    pub err: String,
}

impl Desk {
    pub fn new() -> Self {
        Self {
            folder: tempfile::tempdir().expect("a folder for temporary files"),
        }
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Puts a file there.
    pub fn file(&self, name: &str, content: &[u8]) -> PathBuf {
        let path = self.path(name);
        std::fs::create_dir_all(path.parent().expect("a file lies in a folder")).unwrap();
        std::fs::write(&path, content).unwrap();
        path
    }

    /// Every file there, by path from the folder, in order.
    pub fn files_in(&self, folder: &str) -> Vec<String> {
        let mut files = self.files();
        files.retain(|file| file.starts_with(folder));
        files
    }

    pub fn files(&self) -> Vec<String> {
        fn walk(folder: &Path, base: &Path, found: &mut Vec<String>) {
            for entry in std::fs::read_dir(folder).unwrap() {
                let path = entry.unwrap().path();
                if path.is_dir() {
                    walk(&path, base, found);
                } else {
                    found.push(path.strip_prefix(base).unwrap().display().to_string());
                }
            }
        }
        let mut found = Vec::new();
        walk(self.folder.path(), self.folder.path(), &mut found);
        found.sort();
        found
    }

    /// The command, to be run here.
    pub fn command<S: AsRef<OsStr>>(&self, arguments: impl IntoIterator<Item = S>) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_lidprop"));
        command
            .args(arguments)
            .current_dir(self.folder.path())
            .stdin(Stdio::null());
        command
    }

    /// Runs the binary here.
    pub fn run<S: AsRef<OsStr>>(&self, arguments: impl IntoIterator<Item = S>) -> Answer {
        Answer::of(self.command(arguments).output().expect("the binary runs"))
    }
}

impl Answer {
    pub fn of(output: Output) -> Self {
        Self {
            code: output
                .status
                .code()
                .expect("ended by itself, not by a signal"),
            out: String::from_utf8(output.stdout).expect("text on standard output"),
            err: String::from_utf8(output.stderr).expect("text on standard error"),
        }
    }

    /// Asserts that it ended with `code` and one sentence on standard error that holds all of `words`.
    #[track_caller]
    pub fn refuses(&self, code: i32, words: &[&str]) {
        assert_eq!(self.code, code, "{}{}", self.out, self.err);
        assert_eq!(
            self.err.trim_end().lines().count(),
            1,
            "one sentence: {}",
            self.err
        );
        for word in words {
            assert!(self.err.contains(word), "'{word}' in: {}", self.err);
        }
        for trace in ["panicked", "RUST_BACKTRACE", "Error {", "Os {"] {
            assert!(!self.err.contains(trace), "{}", self.err);
        }
    }
}

/// A recording of the project.
pub fn recording(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("test-audio")
        .join(name)
}

/// A WAV file of 16-bit mono PCM, whose header claims `stated_bytes` of samples.
pub fn wav(rate: u32, samples: &[i16], stated_bytes: u32) -> Vec<u8> {
    wav_of(
        rate,
        1,
        16,
        &samples
            .iter()
            .flat_map(|sample| sample.to_le_bytes())
            .collect::<Vec<_>>(),
        stated_bytes,
    )
}

/// A WAV file of mono samples in `format` (1 PCM, 3 float).
pub fn wav_of(rate: u32, format: u16, bits: u16, data: &[u8], stated_bytes: u32) -> Vec<u8> {
    let align = bits / 8;
    let mut file = b"RIFF".to_vec();
    file.extend(stated_bytes.saturating_add(36).to_le_bytes());
    file.extend(b"WAVEfmt ");
    file.extend(16_u32.to_le_bytes());
    file.extend(format.to_le_bytes());
    file.extend(1_u16.to_le_bytes());
    file.extend(rate.to_le_bytes());
    file.extend((rate * u32::from(align)).to_le_bytes());
    file.extend(align.to_le_bytes());
    file.extend(bits.to_le_bytes());
    file.extend(b"data");
    file.extend(stated_bytes.to_le_bytes());
    file.extend(data);
    file
}

/// A second of a decaying tone, so that something sounds.
pub fn tone() -> Vec<i16> {
    (0..22_050)
        .map(|n| {
            let t = f64::from(n) / 22_050.0;
            ((-3.0 * t).exp() * (t * 440.0 * std::f64::consts::TAU).sin() * 12_000.0) as i16
        })
        .collect()
}

/// The examples that the help of a command shows.
pub fn examples_of_help(desk: &Desk, command: &str) -> Vec<String> {
    let help = desk.run([command, "--help"]).out;
    let (_, shown) = help.split_once("Examples:").expect("the help has examples");
    let begins = format!("lidprop {command}");
    let lines = shown.lines().map(str::trim);
    lines
        .filter(|line| line.starts_with(&begins))
        .map(str::to_owned)
        .collect()
}

/// The words of an example after the program: parted by spaces, those in quotation marks kept together, up to where its output goes.
pub fn words_of_example(line: &str) -> Vec<&str> {
    line.split('"')
        .enumerate()
        .flat_map(|(i, part)| match i % 2 {
            0 => part.split_whitespace().collect(),
            _ => vec![part],
        })
        .skip(1)
        .take_while(|word| *word != ">")
        .collect()
}
