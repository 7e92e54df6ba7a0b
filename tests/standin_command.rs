//! `lidprop standin` as a user meets it.

#[path = "support/command.rs"]
mod command;

use command::{Desk, examples_of_help, words_of_example};
use serde_json::Value;

/// Refused by the command line itself.
trait WrongUsage {
    fn wrong_usage(&self);
}

impl WrongUsage for command::Answer {
    #[track_caller]
    fn wrong_usage(&self) {
        assert_eq!((self.code, self.out.as_str()), (2, ""), "{}", self.err);
    }
}

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

/// What the command writes, with nothing on standard error.
fn written(desk: &Desk, arguments: &[&str]) -> Vec<u8> {
    let output = desk.command(arguments).output().unwrap();
    let told = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!((output.status.code(), told), (Some(0), String::new()));
    output.stdout
}

const WHOLE: [&str; 6] = [
    "standin",
    "Dm7 | Db7 | Cmaj7 A7 | Dm7 G7 | Cmaj7",
    "--melody",
    "A4=4 | F5=4 | E5=2 G5=2 | rest=4 | E5=4",
    "--budget",
    "4",
];

#[test]
fn sheet_music_has_the_original_over_what_stands_in_for_it() {
    let desk = Desk::new();
    let score = written(&desk, &[&WHOLE[..], &["--write", "musicxml"]].concat());
    let score = String::from_utf8(score).unwrap();
    for name in ["melody", "original", "instead"] {
        assert!(score.contains(&format!("<part-name>{name}</part-name>")));
    }
    let parts: Vec<&str> = score.split("<part id=").skip(1).collect();
    let count = |part: &str, what: &str| part.matches(what).count();
    assert_eq!(parts.len(), 3);
    assert!(parts.iter().all(|part| count(part, "<measure ") == 5));
    assert_eq!(
        (count(parts[0], "<harmony"), count(parts[0], "<pitch>")),
        (0, 5)
    );
    assert_eq!(count(parts[1], "<harmony"), 7);
    assert!(count(parts[2], "<harmony") >= 7);
    assert!(
        !parts[1].contains("<words>") && parts[2].contains("<words>for "),
        "why, below the stand-in"
    );
    assert!(parts[1].contains("<staves>2</staves>"));
}

#[test]
fn sheet_music_that_was_written_is_read_with_its_melody_key_and_metre() {
    let desk = Desk::new();
    let waltz = "key: Eb\nmetre: 3/4\n| Fm7 | Bb7b9 | Ebmaj7 Cm7 |\n";
    let chart = desk
        .file("waltz.txt", waltz.as_bytes())
        .display()
        .to_string();
    let melody = ["--melody", "C5=3 | hold=1 Bb4=2 | G4=3"];
    let typed = [&["standin", "--chart", &chart, "--for", "2"][..], &melody].concat();
    let score = written(
        &desk,
        &[&typed[..], &["--most", "1", "--write", "musicxml"]].concat(),
    );
    let score = desk.file("waltz.musicxml", &score).display().to_string();
    let read = json(&desk, &["standin", "--chart", &score, "--for", "2"]);
    let asked = json(&desk, &typed);
    assert_eq!(read["key"], "Eb major");
    assert_eq!(read["symbol"], "B♭7(♭9)");
    assert_eq!(read["stand_ins"], asked["stand_ins"], "the same answers");
    desk.run([&["standin", "--chart", &score][..], &melody].concat())
        .refuses(2, &["waltz.musicxml", "--melody"]);
    desk.file("tune.mxl", b"PK\x03\x04rest");
    desk.run(["standin", "--chart", "tune.mxl"])
        .refuses(1, &["tune.mxl", "compressed"]);
    desk.file(
        "tune.musicxml",
        b"<?xml version=\"1.0\"?>\n<score-partwise><part>",
    );
    desk.run(["standin", "--chart", "tune.musicxml"])
        .refuses(1, &["tune.musicxml", "ends in the middle"]);
    desk.file("page.musicxml", b"<html></html>");
    desk.run(["standin", "--chart", "page.musicxml"])
        .refuses(1, &["page.musicxml", "no partwise MusicXML"]);
}

#[test]
fn midi_plays_the_original_and_then_what_stands_in_for_it() {
    let desk = Desk::new();
    let bytes = written(
        &desk,
        &[&WHOLE[..], &["--write", "midi", "--tempo", "60"]].concat(),
    );
    let file = midly::Smf::parse(&bytes).unwrap();
    let mut markers = Vec::new();
    let mut at = 0;
    for event in &file.tracks[0] {
        at += event.delta.as_int();
        if let midly::TrackEventKind::Meta(midly::MetaMessage::Marker(text)) = event.kind {
            markers.push((at / 480, String::from_utf8(text.to_vec()).unwrap()));
        }
    }
    // five bars of four beats, then a bar of rest
    assert_eq!(markers[0], (0, "original".to_owned()));
    assert!(markers.contains(&(4, "Db7".to_owned())));
    assert!(markers.contains(&(24, "instead".to_owned())));
    let struck = file.tracks[1].iter().filter(|event| {
        matches!(
            event.kind,
            midly::TrackEventKind::Midi {
                message: midly::MidiMessage::NoteOn { .. },
                ..
            }
        )
    });
    assert!(struck.count() >= 2 * 7 * 3);
}

#[test]
fn the_page_has_each_version_of_each_line_and_fetches_nothing() {
    let desk = Desk::new();
    let page =
        String::from_utf8(written(&desk, &[&WHOLE[..], &["--write", "page"]].concat())).unwrap();
    // seven chords are three lines of three
    for (what, count) in [
        ("<p class=\"soft\">original</p>", 3),
        ("<p class=\"soft\">instead</p>", 3),
        ("class=\"cell tall\"", 14),
    ] {
        assert_eq!(page.matches(what).count(), count, "{what}");
    }
    assert!(page.contains("bars 1 to 3") && page.contains("bars 3 to 4"));
    for outside in ["http://", "https://", "url(", "@import"] {
        assert!(!page.contains(outside), "{outside}");
    }
    let one = written(
        &desk,
        &[
            "standin",
            "Dm7 | G7 | Cmaj7",
            "--for",
            "2",
            "--most",
            "2",
            "--write",
            "page",
        ],
    );
    let one = String::from_utf8(one).unwrap();
    assert!(one.contains("2 instead") && !one.contains("3 instead"));
    assert!(one.contains("for G7: "));
}

#[test]
fn a_wav_file_holds_both_versions_quietly_and_other_files_are_left_alone() {
    let desk = Desk::new();
    let question = [
        "standin",
        "Dm7 | G7 | Cmaj7",
        "--for",
        "2",
        "--most",
        "1",
        "--tempo",
        "240",
        "--wav",
        "both.wav",
    ];
    let told = desk.run(question);
    assert_eq!((told.code, told.err.as_str()), (0, ""));
    let mut file = hound::WavReader::open(desk.path("both.wav")).unwrap();
    let rate = f64::from(file.spec().sample_rate);
    let samples: Vec<f64> = file
        .samples::<i16>()
        .map(|s| f64::from(s.unwrap()) / 32_768.0)
        .collect();
    let peak = |from: f64, to: f64| {
        let part = &samples[(from * rate) as usize..((to * rate) as usize).min(samples.len())];
        part.iter().fold(0.0_f64, |peak, s| peak.max(s.abs()))
    };
    // a bar lasts a second: three, one of rest, three
    let seconds = samples.len() as f64 / rate;
    assert!((7.0..7.5).contains(&seconds), "{seconds}");
    assert!(
        (20.0 * peak(0.0, 8.0).log10() + 24.0).abs() < 0.1,
        "no louder than the drill"
    );
    assert!(
        peak(3.5, 3.9) < 0.05 * peak(0.0, 1.0),
        "a rest between the two"
    );
    assert!(peak(4.0, 4.5) > 0.2 * peak(0.0, 1.0));
    assert_eq!(desk.run(question).code, 0, "its own file is written over");
    desk.file("both.wav", b"RIFF of my own");
    desk.run(question).refuses(1, &["both.wav", "--force"]);
    assert_eq!(
        std::fs::read(desk.path("both.wav")).unwrap(),
        b"RIFF of my own"
    );
    assert_eq!(desk.run(question.iter().chain(&["--force"])).code, 0);
    desk.run(["standin", "Dm7", "--force"]).wrong_usage();
}

#[test]
fn nothing_sounds_before_the_loudspeaker_is_confirmed_to_be_turned_down() {
    let desk = Desk::new();
    let home = desk.path("home");
    let output = desk
        .command(["standin", "Dm7 | G7", "--play"])
        .env("HOME", &home)
        .env("XDG_DATA_HOME", &home)
        .output()
        .unwrap();
    command::Answer::of(output).refuses(2, &["--sound-is-safe"]);
    desk.run(["standin", "Dm7 | G7", "--sound-is-safe"])
        .wrong_usage();
    desk.run(["standin", "Dm7 | G7", "--play", "--write", "page"])
        .wrong_usage();
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
    let examples = examples_of_help(&desk, "standin");
    assert!(examples.len() >= 4, "{examples:?}");
    for line in examples {
        let answer = desk.run(words_of_example(&line));
        assert_eq!((answer.code, answer.err.as_str()), (0, ""), "{line}");
        assert!(answer.out.lines().count() >= 5, "{line}: {}", answer.out);
    }
}
