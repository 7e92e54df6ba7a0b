//! `lidprop standin` as a user meets it.

#[path = "support/command.rs"]
mod command;

use command::Desk;
use serde_json::Value;

fn json(desk: &Desk, arguments: &[&str]) -> Value {
    let answer = desk.run(arguments.iter().chain(&["--write", "json"]));
    assert_eq!((answer.code, answer.err.as_str()), (0, ""), "{arguments:?}");
    serde_json::from_str(&answer.out).unwrap()
}

#[test]
fn the_tritone_substitute_is_told_with_its_tensions_source_and_voicing() {
    let told = json(&Desk::new(), &["standin", "Dm7 | G7 | Cmaj7", "--for", "2"]);
    assert_eq!((&told["chord"], &told["bar"]), (&2.into(), &2.into()));
    let all = told["stand_ins"].as_array().unwrap();
    assert_eq!(all.len(), 5);
    let substitute = all
        .iter()
        .find(|s| s["device"] == "tritone substitute")
        .unwrap();
    let chord = &substitute["chords"][0];
    assert_eq!(chord["ascii"], "Db7");
    assert_eq!(chord["tensions"], serde_json::json!(["b9", "#11"]));
    assert_eq!(substitute["keeps"], "dominant of C");
    assert!(substitute["source"].as_str().unwrap().contains("Levine"));
    let keys = |hand: &str| chord["voicing"][hand].as_array().unwrap().len();
    assert!(keys("left") + keys("right") >= 4);
}

#[test]
fn the_melody_rules_a_chord_out_and_the_note_is_named() {
    let desk = Desk::new();
    let question = [
        "standin",
        "Dm7 | G7 | Cmaj7",
        "--for",
        "2",
        "--melody",
        "rest=4 | A4=4",
        "--rejected",
        "--style",
        "ascii",
    ];
    let told = desk.run(question).out;
    assert!(told.contains("rejected by the melody"), "{told}");
    let diminished = told
        .lines()
        .find(|line| line.contains("Bdim7") && line.contains("diminished family"))
        .unwrap();
    assert!(
        diminished.contains("A4 is the b7, a half step above its bb7: avoid note"),
        "{diminished}"
    );
}

#[test]
fn a_whole_progression_stays_within_its_budget_and_is_voiced() {
    let told = json(
        &Desk::new(),
        &[
            "standin",
            "Cmaj7 | Am7 | Dm7 | G7",
            "--out-to",
            "2",
            "--budget",
            "3",
        ],
    );
    assert!(told["out"].as_u64().unwrap() <= 3, "{told}");
    let chords = told["chords"].as_array().unwrap();
    assert_eq!(chords.len(), 4);
    assert!(
        chords.iter().any(|c| !c["stand_in"].is_null()),
        "with a budget something changes"
    );
    for chord in chords {
        let sounding = chord["stand_in"]["chords"].as_array().map_or(1, Vec::len);
        assert_eq!(chord["voicings"].as_array().unwrap().len(), sounding);
    }
    let nothing = json(&Desk::new(), &["standin", "Dm7 | G7", "--budget", "0"]);
    assert_eq!(nothing["out"], 0);
}

#[test]
fn a_chart_file_and_a_take_are_read_as_well() {
    let desk = Desk::new();
    let chart = desk.file("tune.txt", b"key: C\n[A]\n| Dm7 G7 | Cmaj7 | % |\n");
    let told = json(
        &desk,
        &["standin", "--chart", chart.to_str().unwrap(), "--for", "2"],
    );
    assert_eq!((&told["bar"], &told["symbol"]), (&1.into(), &"G7".into()));
    let take = desk.file("take.json", include_bytes!("standins/take.json"));
    let told = json(
        &desk,
        &["standin", "--from", take.to_str().unwrap(), "--for", "2"],
    );
    assert_eq!((&told["bar"], &told["symbol"]), (&2.into(), &"G7".into()));
    let notes: Vec<&str> = told["stand_ins"][0]["melody"]
        .as_array()
        .unwrap()
        .iter()
        .map(|n| n["note"].as_str().unwrap())
        .collect();
    assert_eq!(notes, ["B4"], "the top voice of the take");
}

#[test]
fn one_hand_plays_within_its_span() {
    let told = json(
        &Desk::new(),
        &[
            "standin",
            "Dm7 | G7 | Cmaj7",
            "--for",
            "2",
            "--hands",
            "left",
            "--span",
            "12",
        ],
    );
    for stand_in in told["stand_ins"].as_array().unwrap() {
        for chord in stand_in["chords"].as_array().unwrap() {
            let keys: Vec<u64> = chord["voicing"]["left"]
                .as_array()
                .unwrap()
                .iter()
                .map(|k| k.as_u64().unwrap())
                .collect();
            assert!(keys.last().unwrap() - keys[0] <= 12, "{chord}");
            assert!(chord["voicing"]["right"].as_array().unwrap().is_empty());
        }
    }
}

#[test]
fn what_cannot_be_used_is_told_in_a_sentence_with_its_place() {
    let desk = Desk::new();
    let file = |name: &str, text: &str| desk.file(name, text.as_bytes()).display().to_string();
    desk.run(["standin", "Dm7 | Q7 | C"])
        .refuses(2, &["place 7", "Q7"]);
    desk.run(["standin", "Dm7 | | C"]).refuses(2, &["place"]);
    desk.run(["standin", "Dm7 | G7", "--for", "3"])
        .refuses(2, &["no chord 3", "has 2"]);
    desk.run(["standin", "Dm7", "--melody", "A4=4 | B4=4"])
        .refuses(2, &["lasts 8 beats and the chords 4"]);
    desk.run(["standin", "Dm7", "--melody", "H4=4"])
        .refuses(2, &["bar 1 of the melody", "'H4'"]);
    desk.run(["standin", "C | C3 C#3 D3"])
        .refuses(2, &["bar 2", "no good name"]);
    desk.run(["standin", "--chart", "nowhere.txt"])
        .refuses(1, &["nowhere.txt"]);
    let chart = file("broken.txt", "| Dm7 |\n| G7 | Q7 |\n");
    desk.run(["standin", "--chart", &chart])
        .refuses(1, &["broken.txt", "line 2", "Q7"]);
    let text = file("text.json", "no document");
    desk.run(["standin", "--from", &text])
        .refuses(1, &["text.json", "take"]);
    let empty: Value = serde_json::from_slice(include_bytes!("standins/take.json")).unwrap();
    let mut empty = empty;
    empty["chords"] = serde_json::json!([]);
    empty["harmony"] = serde_json::json!([]);
    empty["melody"] = serde_json::json!([]);
    let empty = file("empty.json", &empty.to_string());
    desk.run(["standin", "--from", &empty])
        .refuses(1, &["empty.json", "no chord"]);
}

#[test]
fn every_example_of_the_help_is_answered() {
    let desk = Desk::new();
    let help = desk.run(["standin", "--help"]).out;
    let (_, shown) = help.split_once("Examples:").unwrap();
    let examples: Vec<&str> = shown
        .lines()
        .map(str::trim)
        .filter(|line| line.starts_with("lidprop standin"))
        .collect();
    assert!(examples.len() >= 4, "{examples:?}");
    for line in examples {
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
