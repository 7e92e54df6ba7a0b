//! Text that a person has read once and that must not change unseen.

use std::path::Path;

/// Compares `text` with `tests/snapshots/NAME.txt`; with `WRITE_SNAPSHOTS` set, writes it there, to be read before it is committed.
#[track_caller]
pub fn assert_snapshot(name: &str, text: &str) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/snapshots")
        .join(format!("{name}.txt"));
    if std::env::var_os("WRITE_SNAPSHOTS").is_some() {
        std::fs::write(&path, text).unwrap();
        return;
    }
    let expected = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(
        expected == text,
        "{name} has changed; read it, then set WRITE_SNAPSHOTS=1 to keep it.\n--- was\n{expected}\n--- is\n{text}"
    );
}
