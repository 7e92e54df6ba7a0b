//! The written schema and what is really written are the same.

#[path = "support/command.rs"]
mod command;

use command::{Desk, recording};
use lidprop::chart::document::Recording;
use serde_json::Value;

fn schema() -> jsonschema::Validator {
    let text = include_str!("../src/chart/lidprop-1.schema.json");
    jsonschema::draft202012::new(&serde_json::from_str(text).unwrap()).unwrap()
}

#[track_caller]
fn fits(document: &Value) {
    let errors: Vec<String> = schema()
        .iter_errors(document)
        .map(|error| format!("{}: {error}", error.instance_path()))
        .collect();
    assert!(errors.is_empty(), "{errors:#?}");
}

/// What `take` writes for a recording of the project.
fn taken(name: &str) -> String {
    let path = recording(name);
    let answer = Desk::new().run([
        "take".as_ref(),
        "--write".as_ref(),
        "json".as_ref(),
        path.as_os_str(),
    ]);
    assert_eq!(answer.code, 0, "{}", answer.err);
    answer.out
}

#[test]
fn what_take_writes_fits_the_schema_and_reads_back_the_same() {
    for name in [
        "held-chords.flac",
        "borrowed-dominants.flac",
        "phone-memo.wav",
    ] {
        let text = taken(name);
        let document: Value = serde_json::from_str(&text).unwrap();
        fits(&document);
        let read_back: Recording = serde_json::from_str(&text).unwrap();
        let written_again = serde_json::to_string_pretty(&read_back).unwrap();
        assert!(
            written_again == text.trim_end(),
            "{name}: a value changed on the way"
        );
        assert!(
            !read_back.notes.is_empty() && !read_back.chords.is_empty(),
            "{name}: something was heard"
        );
    }
}

#[test]
fn the_schema_refuses_what_the_types_do_not_have() {
    let mut document: Value = serde_json::from_str(&taken("before-class.flac")).unwrap();
    fits(&document);
    document["tempo"] = 120.into();
    assert!(!schema().is_valid(&document));
}

#[test]
fn times_run_forward_and_lie_within_the_recording() {
    let recording: Recording = serde_json::from_str(&taken("borrowed-dominants.flac")).unwrap();
    let end = recording.seconds.get() + 0.001;
    for (start, stop) in recording.notes.iter().map(|note| (note.start, note.end)) {
        assert!(
            0.0 <= start.get() && start <= stop && stop.get() <= end,
            "{start:?} to {stop:?}"
        );
    }
    assert!(recording.notes.is_sorted_by(|a, b| a.start <= b.start));
    assert!(
        recording
            .chords
            .is_sorted_by(|a, b| a.start < b.start && a.end <= b.start)
    );
    for chord in &recording.chords {
        assert!(chord.midi.is_sorted_by(|a, b| a < b), "{:?}", chord.midi);
    }
}
