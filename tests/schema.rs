//! The written schema and what is really written are the same.

#[path = "support/command.rs"]
mod command;

use command::{Desk, recording};
use lidprop::chart::document::{Recording, StatedOptions};
use serde_json::Value;

fn schema() -> Value {
    serde_json::from_str(include_str!("../src/chart/lidprop-2.schema.json")).unwrap()
}

fn validator(schema: &Value) -> jsonschema::Validator {
    jsonschema::draft202012::new(schema).unwrap()
}

/// The same schema without room for fields that it does not name.
fn without_room(mut schema: Value) -> Value {
    fn close(part: &mut Value) {
        match part {
            Value::Object(fields) => {
                fields.values_mut().for_each(close);
                if fields.get("properties").is_some_and(Value::is_object) {
                    fields.insert("additionalProperties".to_owned(), false.into());
                }
            }
            Value::Array(parts) => parts.iter_mut().for_each(close),
            _ => {}
        }
    }
    close(&mut schema);
    schema
}

/// Whatever is written stands in the schema.
#[track_caller]
fn fits(document: &Value) {
    let errors: Vec<String> = validator(&without_room(schema()))
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
        "phone-memo.flac",
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
fn a_field_of_a_later_day_is_no_fault_and_is_read_over() {
    let mut document: Value = serde_json::from_str(&taken("phone-memo.flac")).unwrap();
    fits(&document);
    let known: Recording = serde_json::from_value(document.clone()).unwrap();
    document["a_later_field"] = 120.into();
    document["notes"][0]["another_one"] = "of a later day".into();
    document["provenance"]["options"]["a_third"] = true.into();
    assert!(validator(&schema()).is_valid(&document));
    assert_eq!(
        serde_json::from_value::<Recording>(document).unwrap(),
        known
    );
}

#[test]
fn a_field_that_is_known_must_be_what_it_should_be() {
    let document: Value = serde_json::from_str(&taken("phone-memo.flac")).unwrap();
    let valid = |change: &dyn Fn(&mut Value)| {
        let mut changed = document.clone();
        change(&mut changed);
        validator(&schema()).is_valid(&changed)
    };
    assert!(valid(&|document| {
        document["notes"][0]["velocity"] = 64.into();
        document["notes"][0]["level"] = (-31.5).into();
        document["notes"][0]["hand"] = "left".into();
        document["pedal"] = serde_json::json!([{"start": 1.0, "end": 2.5, "confidence": 0.8}]);
        document["marks"] = serde_json::json!([{"at": 0.5}, {"at": 1.0, "word": "which bass?"}]);
        document["beats"] = serde_json::json!([0.5, 1.0, 1.5]);
        document["downbeats"] = serde_json::json!([0.5]);
        document["chords"][0]["place"]["stand_in"] = serde_json::json!(
            {"expected": "G7", "device": "tritone substitute", "tensions": ["b9", "#11"]}
        );
    }));
    assert!(!valid(
        &|document| document["chords"][0]["place"]["stand_in"] = "G7".into()
    ));
    assert!(!valid(&|document| {
        document["chords"][0]["place"]["stand_in"] = serde_json::json!({"expected": "G7"});
    }));
    assert!(!valid(&|document| document["schema"] = "lidprop/1".into()));
    assert!(!valid(
        &|document| document["notes"][0]["velocity"] = 128.into()
    ));
    assert!(!valid(
        &|document| document["notes"][0]["hand"] = "both".into()
    ));
    assert!(!valid(
        &|document| document["pedal"] = serde_json::json!([{"start": 1.0}])
    ));
    assert!(!valid(&|document| document["beats"] = "four".into()));
    assert!(!valid(
        &|document| document["marks"] = serde_json::json!([{"word": "no time"}])
    ));
    assert!(!valid(&|document| {
        document.as_object_mut().unwrap().remove("key");
    }));
}

#[test]
fn the_times_of_a_part_are_those_of_the_whole_recording() {
    let whole: Recording = serde_json::from_str(&taken("borrowed-dominants.flac")).unwrap();
    let path = recording("borrowed-dominants.flac");
    let (from, to) = (
        whole.chords[8].start.get() - 0.3,
        whole.chords[11].end.get(),
    );
    let [first, last] = [from, to].map(|time| format!("{time:.3}"));
    let call = ["take", "--write", "json", "--from", &first, "--to", &last];
    let answer = Desk::new().run(call.iter().map(AsRef::as_ref).chain([path.as_os_str()]));
    assert_eq!(answer.code, 0, "{}", answer.err);
    fits(&serde_json::from_str(&answer.out).unwrap());
    let part: Recording = serde_json::from_str(&answer.out).unwrap();
    let read = part.part.expect("only a part was read");
    assert!((read.from.get() - from).abs() < 0.002 && (read.to.get() - to).abs() < 0.002);
    assert_eq!(part.seconds, read.to);
    for chord in &whole.chords[8..12] {
        let same = part
            .chords
            .iter()
            .find(|c| (c.start.get() - chord.start.get()).abs() < 0.03 && c.midi == chord.midi);
        assert!(same.is_some(), "{:?} at {:?}", chord.notes, chord.start);
    }
    assert!(
        part.notes
            .iter()
            .all(|n| n.start >= read.from && n.end <= read.to)
    );
}

#[test]
fn a_louder_strike_of_a_key_has_no_lower_velocity() {
    let recording: Recording = serde_json::from_str(&taken("borrowed-dominants.flac")).unwrap();
    let mut struck: Vec<_> = recording
        .notes
        .iter()
        .map(|note| {
            let velocity = note.velocity.expect("take has heard all of it");
            assert!((1..=127).contains(&velocity));
            (
                note.midi,
                note.level.expect("every strike has one"),
                velocity,
            )
        })
        .collect();
    struck.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
    let rising = |pair: &[(_, f64, u8)]| pair[0].0 != pair[1].0 || pair[0].2 <= pair[1].2 + 1;
    assert!(struck.windows(2).all(rising), "{struck:?}");
}

#[test]
fn the_document_says_what_made_it() {
    let recording: Recording = serde_json::from_str(&taken("phone-memo.flac")).unwrap();
    let provenance = recording.provenance.expect("take knows it");
    assert_eq!(provenance.version, env!("CARGO_PKG_VERSION"));
    assert_eq!(provenance.model, lidprop::notes::Model::embedded_id());
    assert_eq!(provenance.options, StatedOptions::default());
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
