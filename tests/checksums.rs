//! The weights and recordings that come with the project are the ones that were meant: damage on the way, or a change nobody intended, shows here.
//!
//! A file that is changed on purpose gets its new line: `CHANGED=1 cargo test --test checksums` writes the table.

use std::fmt::Write as _;
use std::path::Path;

const TABLE: &str = "tests/data/checksums.tsv";

/// What is carried in the program, or measured by the tests.
const FOLDERS: [&str; 3] = ["src/notes", "test-audio", "test-audio/formats"];
const ENDINGS: [&str; 14] = [
    "safetensors",
    "flac",
    "m4a",
    "mp3",
    "mp4",
    "mkv",
    "webm",
    "wav",
    "ogg",
    "opus",
    "caf",
    "aac",
    "mp2",
    "json",
];

/// FNV-1a, 64 bits (RFC 9923): finds damage, and is no defence against a forger.
fn checksum(bytes: &[u8]) -> u64 {
    bytes.iter().fold(0xcbf2_9ce4_8422_2325, |sum, &byte| {
        (sum ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
    })
}

fn table() -> String {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut lines = Vec::new();
    for folder in FOLDERS {
        for entry in std::fs::read_dir(root.join(folder)).unwrap() {
            let path = entry.unwrap().path();
            let ending = path.extension().and_then(|ending| ending.to_str());
            if ending.is_some_and(|ending| ENDINGS.contains(&ending)) {
                let name = path.file_name().unwrap().to_str().unwrap();
                let bytes = std::fs::read(&path).unwrap();
                lines.push(format!(
                    "{folder}/{name}\t{}\t{:016x}",
                    bytes.len(),
                    checksum(&bytes)
                ));
            }
        }
    }
    lines.sort();
    let mut table = String::from("# file\tbytes\tFNV-1a\n");
    lines
        .iter()
        .for_each(|line| writeln!(table, "{line}").unwrap());
    table
}

#[test]
fn weights_and_recordings_are_the_ones_that_were_meant() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(TABLE);
    let now = table();
    if std::env::var_os("CHANGED").is_some() {
        std::fs::write(&path, &now).unwrap();
    }
    let meant = std::fs::read_to_string(&path).unwrap();
    for line in now.lines() {
        assert!(
            meant.lines().any(|known| known == line),
            "{line} is not in {TABLE}"
        );
    }
    for line in meant.lines() {
        assert!(
            now.lines().any(|there| there == line),
            "{line} of {TABLE} is not there"
        );
    }
}

#[test]
fn the_weights_in_the_program_are_those_of_the_file() {
    let meant = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(TABLE)).unwrap();
    let line = meant
        .lines()
        .find(|line| line.starts_with("src/notes/model.safetensors"));
    assert_eq!(
        line.and_then(|line| line.split('\t').nth(2)),
        Some(lidprop::notes::Model::embedded_id())
    );
}
