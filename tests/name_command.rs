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
    assert_eq!(json["schema"], "lidprop/2");
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

/// The command lines that the help shows under "Examples".
fn examples(desk: &Desk) -> Vec<String> {
    let help = desk.run(["name", "--help"]).out;
    let (_, shown) = help.split_once("Examples:").expect("the help has examples");
    let lines = shown.lines().map(str::trim);
    lines
        .filter(|line| line.starts_with("lidprop name"))
        .map(str::to_owned)
        .collect()
}

#[test]
fn every_example_of_the_help_is_answered() {
    let desk = Desk::new();
    let examples = examples(&desk);
    assert!(examples.len() >= 4, "{examples:?}");
    for line in examples {
        // Words parted by spaces, those in quotation marks kept together.
        let words: Vec<&str> = line
            .split('"')
            .enumerate()
            .flat_map(|(i, part)| match i % 2 {
                0 => part.split_whitespace().collect(),
                _ => vec![part],
            })
            .skip(1)
            .collect();
        let answer = desk.run(words);
        assert_eq!((answer.code, answer.err.as_str()), (0, ""), "{line}");
        assert!(answer.out.lines().count() >= 5, "{line}: {}", answer.out);
    }
}

#[test]
fn the_readme_shows_what_the_command_answers() {
    let readme = include_str!("../README.md");
    let shown = readme
        .split_once("`lidprop name D4 F4 Ab4 Db5` begins so:\n```\n")
        .and_then(|(_, rest)| rest.split_once("```"))
        .expect("the readme has the example")
        .0;
    let answer = Desk::new().run(["name", "D4", "F4", "Ab4", "Db5"]);
    assert!(
        answer.out.starts_with(shown),
        "the readme shows\n{shown}\nbut it is\n{}",
        answer.out
    );
}

#[test]
fn a_note_is_told_by_its_degree_whoever_typed_it_otherwise() {
    let answer = Desk::new().run([
        "name", "D4", "F4", "Ab4", "Db5", "--style", "ascii", "--key", "A",
    ]);
    for words in [
        "1 D, b3 F, b5 Ab, 7 Db",
        "3 G#, b7 D, b9 F, 13 C#",
        "to Ebm7",
    ] {
        assert!(
            answer.out.contains(words),
            "no '{words}' in\n{}",
            answer.out
        );
    }
    assert!(!answer.out.contains("D#m7"), "{}", answer.out);
}
