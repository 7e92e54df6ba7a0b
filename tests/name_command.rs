//! `lidprop name`, the built binary: text, JSON, all keys, and what it refuses.

#[path = "support/command.rs"]
mod command;

use command::{Desk, examples_of_help, words_of_example};
use serde_json::Value;

#[test]
fn typed_notes_show_keys_names_and_both_dominants() {
    let answer = Desk::new().run(["name", "D4", "F4", "Ab4", "Db5", "--style", "ascii"]);
    assert_eq!(answer.code, 0, "{}", answer.err);
    for words in [
        "D4 F4 Ab4 Db5",
        "Ddim(maj7)",
        "= E13b9 without root",
        "= Bb7#9 without root",
        "= tonic diminished -> Dmaj7",
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
    desk.run(["name", "D4", "F4", "H4"]).refuses(
        2,
        &["'H4'", "B natural is written B", "--note-names german"],
    );
    desk.run(["name", "D4", "F4", "X4"])
        .refuses(2, &["'X4'", "A to G"]);
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

#[test]
fn every_example_of_the_help_is_answered() {
    let desk = Desk::new();
    let examples = examples_of_help(&desk, "name");
    assert!(examples.len() >= 4, "{examples:?}");
    for line in examples {
        let answer = desk.run(words_of_example(&line));
        assert_eq!((answer.code, answer.err.as_str()), (0, ""), "{line}");
        assert!(answer.out.lines().count() >= 4, "{line}: {}", answer.out);
    }
}

#[test]
fn the_readme_shows_what_the_command_answers() {
    let readme = include_str!("../README.md");
    for (before, words) in [
        (
            "`lidprop name D4 F4 Ab4 Db5` answers:\n```\n",
            &["D4", "F4", "Ab4", "Db5"][..],
        ),
        (
            "`lidprop name B E F A --before Dm7 --after Cmaj7`\n```\n",
            &["B", "E", "F", "A", "--before", "Dm7", "--after", "Cmaj7"],
        ),
        (
            "`lidprop name \"F3 A3 C4 E4 | F3 A3 B3 E4 | E3 G3 B3 D4\"`:\n```\n",
            &["F3 A3 C4 E4 | F3 A3 B3 E4 | E3 G3 B3 D4"],
        ),
    ] {
        let shown = readme
            .split_once(before)
            .and_then(|(_, rest)| rest.split_once("```"))
            .expect("the readme has the example")
            .0;
        assert_eq!(told(words), shown);
    }
}

#[test]
fn a_note_is_told_by_its_degree_whoever_typed_it_otherwise() {
    let answer = Desk::new().run([
        "name", "D4", "F4", "Ab4", "Db5", "--style", "ascii", "--key", "A", "--more",
    ]);
    for words in [
        "1 D, b3 F, b5 Ab, 7 C#",
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

/// What `name` prints for these words.
fn told(words: &[&str]) -> String {
    let answer = Desk::new().run([&["name"], words].concat());
    assert_eq!(answer.code, 0, "{words:?}: {}", answer.err);
    answer.out
}

#[test]
fn a_default_answer_is_short_and_more_tells_the_rest() {
    let voicings = [
        "F3 A3 C4 E4",
        "B3 E4 F4 A4",
        "D4 F4 Ab4 Db5",
        "C3 E3 G3",
        "C3 E3 Bb3 D4 F#4 A4",
        "A3 D4 E4 G4",
        "C3 Eb3 Gb3 A3",
        "G2 F3 A3 C4 D4",
        "Eb3 G3 A3 D4",
        "E3 A3 D4 G4",
        "C3 E3 G3 A3",
        "B3 F4",
        "C4 C#4 D4",
    ];
    let mut lines: Vec<usize> = voicings
        .iter()
        .map(|notes| told(&[notes]).lines().count())
        .collect();
    lines.sort_unstable();
    assert!(
        lines[lines.len() / 2] <= 7 && lines[lines.len() - 1] <= 9,
        "{lines:?}"
    );
    let all = told(&["D4 F4 Ab4 Db5", "--more"]);
    for words in ["names", "what it can stand for", "to D"] {
        assert!(all.contains(words), "{all}");
    }
    let legends = all.matches("▄ white").count();
    assert_eq!(legends, 1, "the keyboard explains itself once: {all}");
}

#[test]
fn a_progression_is_analysed_as_a_recording_is() {
    for words in [
        &["Dm7 | G7 | Cmaj7"][..],
        &["Dm7", "G7", "Cmaj7"],
        &["Dm7-G7-Cmaj7"],
        &["Dm7, G7, Cmaj7"],
    ] {
        let out = told(words);
        for told in [
            "in C major",
            "ii7",
            "V7",
            "Imaj7",
            "two-five-one to C major, bars 1 to 3",
            "C>B",
        ] {
            assert!(out.contains(told), "no '{told}' in\n{out}");
        }
    }
    let json = told(&[
        "F3 A3 C4 E4 | F3 A3 B3 E4 | E3 G3 B3 D4 | %",
        "--write",
        "json",
    ]);
    let json: Value = serde_json::from_str(&json).unwrap();
    assert_eq!(
        (&json["schema"], &json["bars"], &json["key"]),
        (&"lidprop/2".into(), &4.into(), &"C major".into())
    );
    let chords = json["chords"].as_array().unwrap();
    let places: Vec<&Value> = chords.iter().map(|c| &c["place"]["numeral"]).collect();
    assert_eq!(places, ["ii7", "V7", "Imaj7"]);
    let stand_ins: Vec<&Value> = chords.iter().map(|c| &c["place"]["stands_for"]).collect();
    assert_eq!(stand_ins, ["Dm9", "G13", "Cmaj9"]);
    // the seventh of D minor falls to the third of G, the others stay
    let moves: Vec<(&str, i64)> = chords[0]["moves"]
        .as_array()
        .unwrap()
        .iter()
        .map(|step| {
            (
                step["to"].as_str().unwrap(),
                step["half_steps"].as_i64().unwrap(),
            )
        })
        .collect();
    assert_eq!(moves, [("F", 0), ("A", 0), ("B", -1), ("E", 0)]);
    assert_eq!(chords[2]["beats"], 8.0, "the bar that is repeated");
    assert_eq!(json["cadences"][0]["kind"], "two-five-one");
}

#[test]
fn a_progression_may_stand_in_a_text_file_and_what_is_wrong_in_it_is_told_with_its_place() {
    let desk = Desk::new();
    let chart = desk.path("waltz.txt");
    std::fs::write(
        &chart,
        "# our own\nkey: Eb\nmetre: 3/4\n[A]\n| Fm7 | Bb7 | Ebmaj7 | % |\n",
    )
    .unwrap();
    let answer = desk.run(["name", chart.to_str().unwrap()]);
    assert_eq!(answer.code, 0, "{}", answer.err);
    for words in [
        "[A]",
        "in Eb major",
        "two-five-one to Eb major, bars 1 to 3",
    ] {
        assert!(answer.out.contains(words), "{}", answer.out);
    }
    std::fs::write(&chart, "| Fm7 |\n| Bb7 Qm |\n").unwrap();
    desk.run(["name", chart.to_str().unwrap()]).refuses(
        2,
        &[
            "waltz.txt",
            "line 2",
            "place 7",
            "'Qm'",
            "a root from A to G",
        ],
    );
    desk.run(["name", "nowhere.txt"])
        .refuses(1, &["nowhere.txt"]);
    desk.run(["name", "Dm7 | G7x | C"])
        .refuses(2, &["place 9", "'G7x'", "expected"]);
    desk.run(["name", "Dm7", "G7", "Cmaj7x"])
        .refuses(2, &["Cmaj7x", "place 6"]);
    desk.run(["name", "Dm7 | G7", "--bass", "D"])
        .refuses(2, &["--bass", "single chord"]);
}

#[test]
fn neighbours_keys_and_basses_are_read_as_people_type_them() {
    let first = |words: &[&str]| {
        let json: Value =
            serde_json::from_str(&told(&[words, &["--write", "json"]].concat())).unwrap();
        json["readings"][0]["ascii"].as_str().unwrap().to_owned()
    };
    assert_eq!(first(&["F3 A3 C4 E4", "--after", "G7"]), "Dm9");
    assert_eq!(
        first(&["F3 A3 C4 E4", "--after", "F3 A3 B3 E4 | E3 G3 B3 D4"]),
        "Dm9"
    );
    assert_eq!(
        first(&["B3 E4 F4 A4", "--before", "Am7 Dm7", "--after", "Cmaj7"]),
        "G13"
    );
    assert_eq!(
        first(&["C3 E3 G3 A3", "--before", "Bm7", "--after", "D7"]),
        "Am7"
    );
    for bass in ["G", "G2", "43"] {
        let json: Value =
            serde_json::from_str(&told(&["B3 E4 F4 A4", "--bass", bass, "--write", "json"]))
                .unwrap();
        assert_eq!(json["names"][0]["ascii"], "G13", "--bass {bass}");
    }
    let blues = told(&["F3 A3 C4 Eb4", "--key", "F blues", "--style", "ascii"]);
    assert!(blues.contains("I7 in F blues"), "{blues}");
    let desk = Desk::new();
    desk.run(["name", "C7", "--bass", "Q"])
        .refuses(2, &["'Q' is no bass note"]);
    desk.run(["name", "C7", "--after", "Q7"])
        .refuses(2, &["Q7", "expected"]);
    let key = desk.run(["name", "C7", "--key", "F locri"]);
    assert!(
        key.code == 2 && key.err.contains("'F locri' is no key"),
        "{}",
        key.err
    );
    // a single word with an octave is a note, and the chord is one word away
    let note = told(&["C4"]);
    assert!(
        note.contains("C4 is read as a note") && note.contains("Csus4"),
        "{note}"
    );
}

#[test]
fn notes_are_named_in_german_or_in_syllables_where_that_is_asked_for() {
    let german = told(&[
        "H3 Dis4 Fis4 A4",
        "--note-names",
        "german",
        "--style",
        "ascii",
    ]);
    assert!(
        german.contains("H3 Dis4 Fis4 A4") && german.contains("\nH7\n"),
        "{german}"
    );
    let symbol = told(&["B7", "--note-names", "german", "--style", "ascii"]);
    assert!(symbol.contains("B7  B3 D4 F4 As4"), "{symbol}");
    let voicings = told(&["Hm7", "--voicings", "--note-names", "german"]);
    assert!(voicings.contains("H3 D4 A4"), "{voicings}");
    let syllables = told(&[
        "Rem7 | Sol7 | Domaj7",
        "--note-names",
        "solfege",
        "--style",
        "ascii",
    ]);
    assert!(
        syllables.contains("Rem7") && syllables.contains("Do>Si"),
        "{syllables}"
    );
}
