//! `lidprop name`, the built binary: text, JSON, all keys, and what it refuses.

#[path = "support/command.rs"]
mod command;

use command::Desk;
use serde_json::Value;

#[test]
fn typed_notes_show_keys_names_and_both_dominants() {
    let answer = Desk::new().run(["name", "D4", "F4", "Ab4", "Db5", "--style", "ascii"]);
    assert_eq!(answer.code, 0, "{}", answer.err);
    for words in [
        "D4 F4 Ab4 Db5",
        "Ddim(maj7)",
        "E13b9  rootless dominant",
        "Bb7#9  rootless dominant",
        "delayed tonic",
    ] {
        assert!(
            answer.out.contains(words),
            "no '{words}' in\n{}",
            answer.out
        );
    }
}

#[test]
fn json_holds_names_degrees_and_readings() {
    let answer = Desk::new().run([
        "name", "50", "65", "68", "73", "--write", "json", "--key", "A",
    ]);
    assert_eq!(answer.code, 0, "{}", answer.err);
    let json: Value = serde_json::from_str(&answer.out).expect("one JSON document");
    assert_eq!(json["schema"], "lidprop/1");
    assert_eq!(json["midi"], serde_json::json!([50, 65, 68, 73]));
    assert_eq!(json["names"][0]["label"], "D:dim(7)");
    assert_eq!(json["names"][0]["degrees"]["C#"], "7");
    let dominants: Vec<&Value> = json["readings"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|r| r["kind"] == "rootless dominant")
        .collect();
    assert!(
        dominants
            .iter()
            .any(|r| r["ascii"] == "E13b9" && r["resolves_to"][0]["ascii"] == "Amaj7")
    );
}

#[test]
fn a_symbol_goes_through_all_keys_a_line_a_key() {
    let answer = Desk::new().run(["name", "Cm7b5", "--in-all-keys", "--style", "ascii"]);
    assert_eq!(answer.code, 0, "{}", answer.err);
    let symbols: Vec<&str> = answer
        .out
        .lines()
        .filter_map(|line| line.split_whitespace().next())
        .collect();
    assert_eq!(symbols.len(), 12);
    assert_eq!(&symbols[..3], ["Cm7b5", "Fm7b5", "Bbm7b5"]);
}

#[test]
fn what_cannot_be_read_is_answered_with_the_word_and_the_place() {
    let desk = Desk::new();
    desk.run(["name", "D4", "F4", "H4"])
        .refuses(2, &["'H4'", "A to G"]);
    desk.run(["name", "Cmaj7x"])
        .refuses(2, &["Cmaj7x", "place 6", "expected"]);
    desk.run(["name", "60", "128"])
        .refuses(2, &["'128'", "0 to 127"]);
}

#[test]
fn neighbours_decide_what_the_notes_stand_for() {
    let answer = Desk::new().run([
        "name",
        "D4 F4 Ab4 Db5",
        "--after",
        "Ebm7",
        "--write",
        "json",
    ]);
    let json: Value = serde_json::from_str(&answer.out).unwrap();
    assert_eq!(json["readings"][0]["ascii"], "Bb7#9");
}
