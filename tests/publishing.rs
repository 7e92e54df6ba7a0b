//! What is handed on: every format of a real recording, what is written over and what not, comparison, twelve keys. Independent readers have their say in
//! `tests/publish`.

#[path = "support/command.rs"]
mod command;

use command::{Answer, Desk, tone, wav};
use std::path::PathBuf;

/// Chords held one after another, some of them dominants without a root.
fn lesson(desk: &Desk) -> PathBuf {
    let recording =
        PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("test-audio/borrowed-dominants.flac");
    desk.file("lesson.flac", &std::fs::read(recording).unwrap())
}

fn written(desk: &Desk, arguments: &[&str]) -> String {
    let answer = desk.run(arguments.iter().copied());
    assert_eq!(answer.code, 0, "{arguments:?}: {}", answer.err);
    answer.out
}

#[test]
fn a_stand_in_is_written_under_the_chord_that_it_stands_for() {
    let desk = Desk::new();
    lesson(&desk);
    let score = written(&desk, &["take", "--write", "musicxml", "lesson.flac"]);
    // C#dim(maj7) before Dm7 is A7(#9) without its root.
    let implied = score
        .find("<harmony type=\"implied\">")
        .expect("a stand-in is implied");
    let harmony = &score[implied..implied + score[implied..].find("</harmony>").unwrap()];
    for part in [
        "<root-step>A</root-step>",
        ">dominant</kind>",
        "<degree-value>9</degree-value>",
        "<degree-alter>1</degree-alter>",
        "<degree-type>add</degree-type>",
    ] {
        assert!(harmony.contains(part), "{part} in {harmony}");
    }
    assert!(
        score.contains("<words>C♯dim(maj7)</words>"),
        "its own name stands below"
    );
    assert!(score.contains("<senza-misura/>") && score.contains("<accidental>sharp</accidental>"));
    assert_eq!(
        score.matches("<measure ").count(),
        17,
        "a measure a voicing"
    );
    let lead_sheet = written(
        &desk,
        &[
            "take",
            "--write",
            "musicxml",
            "--what",
            "harmony",
            "lesson.flac",
        ],
    );
    assert!(!lead_sheet.contains("<pitch>") && lead_sheet.contains("<notehead>slash</notehead>"));
    let all = written(
        &desk,
        &[
            "take",
            "--write",
            "musicxml",
            "--what",
            "notes",
            "lesson.flac",
        ],
    );
    assert!(all.matches("<pitch>").count() >= 80);
}

#[test]
fn a_page_holds_all_that_it_needs_and_a_covered_one_says_so() {
    let desk = Desk::new();
    lesson(&desk);
    let page = written(
        &desk,
        &[
            "take",
            "--write",
            "page",
            "--title",
            "Pull & <release>",
            "--note",
            "Which ones pull?",
            "lesson.flac",
        ],
    );
    assert!(
        page.contains("<h1>Pull &amp; &lt;release&gt;</h1>") && page.contains("Which ones pull?")
    );
    assert!(
        page.contains("src=\"data:audio/flac;base64,ZkxhQ"),
        "the sound is inside"
    );
    assert_eq!(page.matches("<tr data-s=").count(), 17);
    for outside in ["http://", "https://", "url(", "@import", " src=\"/"] {
        assert!(!page.contains(outside), "{outside}");
    }
    let covered = written(
        &desk,
        &[
            "take",
            "--write",
            "page",
            "--listen-first",
            "--without-sound",
            "lesson.flac",
        ],
    );
    assert!(covered.contains("<body class=\"covered\">") && !covered.contains("<audio"));
    let part = written(
        &desk,
        &[
            "take",
            "--write",
            "page",
            "--from",
            "10",
            "--to",
            "20",
            "lesson.flac",
        ],
    );
    assert!(part.contains("data-begins=\"10.000\"") && part.matches("<tr data-s=").count() < 10);
}

#[test]
fn a_recording_without_a_chord_gives_a_page_that_says_so_and_valid_files() {
    let desk = Desk::new();
    desk.file("silence.wav", &wav(22_050, &[0; 44_100], 88_200));
    for format in [
        "page", "musicxml", "midi", "captions", "subrip", "csv", "chart", "labels", "jsonl",
    ] {
        let answer = desk.run(["take", "--write", format, "--into", "out", "silence.wav"]);
        assert_eq!(answer.code, 0, "{format}: {}", answer.err);
    }
    let read = |name: &str| std::fs::read(desk.path("out").join(name)).unwrap();
    assert!(
        String::from_utf8(read("silence.html"))
            .unwrap()
            .contains("No chord was heard")
    );
    assert!(read("silence.mid").starts_with(b"MThd"));
    assert!(read("silence.vtt").starts_with(b"WEBVTT\n"));
    assert!(
        String::from_utf8(read("silence.musicxml"))
            .unwrap()
            .contains("<rest measure=\"yes\"/>")
    );
    assert_eq!(
        String::from_utf8(read("silence.csv"))
            .unwrap()
            .lines()
            .count(),
        1
    );
}

#[test]
fn what_lidprop_did_not_write_is_never_written_over_without_a_word() {
    let desk = Desk::new();
    desk.file("lesson.wav", &wav(22_050, &tone(), 44_100));
    for (format, name) in [
        ("page", "lesson.html"),
        ("midi", "lesson.mid"),
        ("json", "lesson.json"),
        ("csv", "lesson.csv"),
        ("musicxml", "lesson.musicxml"),
    ] {
        let target = desk.file(&format!("out/{name}"), b"my own notes on lidprop");
        desk.run(["take", "--write", format, "--into", "out", "lesson.wav"])
            .refuses(1, &[name, "--force"]);
        assert_eq!(std::fs::read(&target).unwrap(), b"my own notes on lidprop");
        written(
            &desk,
            &[
                "take",
                "--write",
                format,
                "--into",
                "out",
                "--force",
                "lesson.wav",
            ],
        );
        assert_ne!(std::fs::read(&target).unwrap(), b"my own notes on lidprop");
    }
    // its own it knows again, where the format has a place for a mark
    for format in ["page", "midi", "json", "musicxml"] {
        written(
            &desk,
            &["take", "--write", format, "--into", "out", "lesson.wav"],
        );
    }
    desk.run(["take", "--write", "csv", "--into", "out", "lesson.wav"])
        .refuses(1, &["lesson.csv", "--force"]);
}

#[test]
fn in_json_lines_a_recording_that_fails_is_a_line_too() {
    let desk = Desk::new();
    desk.file("monday.wav", &wav(22_050, &tone(), 44_100));
    desk.file("tuesday.wav", b"not a sound");
    let answer = desk.run([
        "take",
        "--write",
        "jsonl",
        "monday.wav",
        "tuesday.wav",
        "monday.wav",
    ]);
    assert_eq!(answer.code, 1);
    assert!(answer.err.contains("tuesday.wav"), "{}", answer.err);
    let lines: Vec<serde_json::Value> = answer
        .out
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    assert_eq!(lines.len(), 3);
    assert_eq!(lines[1]["file"], "tuesday.wav");
    assert!(
        lines[1]["error"]
            .as_str()
            .unwrap()
            .contains("no sound format")
    );
    assert_eq!(lines[0]["schema"], lines[2]["schema"]);
}

#[test]
fn an_option_that_a_format_does_not_heed_is_refused_with_those_that_do() {
    let desk = Desk::new();
    desk.file("lesson.wav", &wav(22_050, &tone(), 44_100));
    desk.run(["take", "--write", "csv", "--what", "notes", "lesson.wav"])
        .refuses(2, &["--what", "musicxml"]);
    desk.run(["take", "--write", "midi", "--title", "x", "lesson.wav"])
        .refuses(2, &["--title", "page"]);
    desk.run(["take", "--write", "page", "--voices", "lesson.wav"])
        .refuses(2, &["--voices", "midi"]);
    desk.run(["name", "C7", "--write", "page"])
        .refuses(2, &["--in-all-keys"]);
}

#[test]
fn a_recording_agrees_with_its_chart_and_a_wrong_chord_is_told_with_its_notes() {
    let desk = Desk::new();
    lesson(&desk);
    // the last chords but one wrong: Gm7 is written as G7
    let chart = "key: F\n| Fmaj7 | A7 | Dm7 | Cdim(maj7) | Bb6 | Bbdim(maj7) | Fdim(maj7) Fmaj7 | F7 | Bbmaj7 | Bbm6 | F/A | Abdim7 G7 | C7 | F6 |\n";
    desk.file("chart.txt", chart.as_bytes());
    let told = written(&desk, &["take", "lesson.flac", "--against", "chart.txt"]);
    let wrong: Vec<&str> = told
        .lines()
        .filter(|line| line.contains("expected"))
        .collect();
    assert_eq!(wrong.len(), 1, "{told}");
    assert!(
        wrong[0].contains("bar 12, 3")
            && wrong[0].contains("G7 expected, Gm9 heard: missing B, extra Bb"),
        "{told}"
    );
    let json = written(
        &desk,
        &[
            "take",
            "lesson.flac",
            "--against",
            "lesson.flac",
            "--write",
            "json",
        ],
    );
    let document: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!(document["agreeing"], 17);
    assert_eq!(document["places"].as_array().unwrap().len(), 17);
    desk.run([
        "take",
        "lesson.flac",
        "--against",
        "chart.txt",
        "--write",
        "midi",
    ])
    .refuses(2, &["midi", "json"]);
    desk.file("wrong.txt", b"| Dm7 | Q7 |");
    desk.run(["take", "lesson.flac", "--against", "wrong.txt"])
        .refuses(1, &["wrong.txt", "Q7"]);
}

#[test]
fn twelve_keys_are_spelled_right_on_one_sheet() {
    let desk = Desk::new();
    let page = written(
        &desk,
        &["name", "Ddim(maj7)", "--in-all-keys", "--write", "page"],
    );
    assert_eq!(page.matches("class=\"cell\"").count(), 12);
    for name in ["Ddim(maj7)", "E♭dim(maj7)", "C♯dim(maj7)"] {
        assert!(page.contains(&format!("<h2>{name}</h2>")), "{name}");
    }
    let score = written(
        &desk,
        &[
            "name",
            "| Dm7 | G13b9 | Cmaj7 |",
            "--in-all-keys",
            "--write",
            "musicxml",
        ],
    );
    assert_eq!(score.matches("<harmony").count(), 36);
    assert_eq!(
        score.matches("new-system").count(),
        11,
        "a line for each key"
    );
    // In Db major the two and the five are Eb and Ab, not D# and G#.
    let roots: Vec<&str> = score
        .split("<root-step>")
        .skip(1)
        .map(|rest| &rest[..1])
        .collect();
    assert_eq!(roots[..6], ["D", "G", "C", "G", "C", "F"]);
    let in_d_flat: Vec<String> = (0..12)
        .map(|key| roots[3 * key..3 * key + 3].concat())
        .collect();
    assert!(in_d_flat.contains(&"EAD".to_owned()), "{in_d_flat:?}");
    let midi = desk
        .command(["name", "Ddim(maj7)", "--in-all-keys", "--write", "midi"])
        .output()
        .unwrap();
    assert!(midi.stdout.starts_with(b"MThd"));
}

/// The formats that make a file of their own, and its ending.
const FILES: [(&str, &str); 7] = [
    ("page", "html"),
    ("musicxml", "musicxml"),
    ("midi", "mid"),
    ("captions", "vtt"),
    ("subrip", "srt"),
    ("csv", "csv"),
    ("json", "json"),
];

#[test]
fn among_good_recordings_a_bad_one_is_told_and_leaves_no_file() {
    let desk = Desk::new();
    let sound = wav(22_050, &tone(), 44_100);
    desk.file("monday.wav", &sound);
    desk.file("tuesday.wav", b"not a sound");
    desk.file("friday.wav", &sound);
    for (format, ending) in FILES {
        desk.run([
            "take",
            "--write",
            format,
            "--into",
            format,
            "monday.wav",
            "tuesday.wav",
            "friday.wav",
        ])
        .refuses(1, &["tuesday.wav"]);
        let written: Vec<String> = desk
            .files()
            .into_iter()
            .filter(|file| file.starts_with(&format!("{format}/")))
            .collect();
        assert_eq!(
            written,
            [
                format!("{format}/friday.{ending}"),
                format!("{format}/monday.{ending}")
            ]
        );
    }
}

#[cfg(unix)]
#[test]
fn a_disk_that_is_full_half_way_leaves_no_half_of_a_file() {
    let desk = Desk::new();
    lesson(&desk);
    // A file may grow to so many blocks of 512 bytes, which each of these formats outgrows; the signal that says so is ignored, as on a full disk.
    for (format, ending, blocks) in [
        ("page", "html", 1000),
        ("json", "json", 200),
        ("musicxml", "musicxml", 20),
    ] {
        let name = format!("out/lesson.{ending}");
        let script = format!(
            "trap '' XFSZ; ulimit -f {blocks}; exec \"$0\" take --write {format} --into out lesson.flac"
        );
        let limited = || {
            let output = std::process::Command::new("sh")
                .args(["-c", &script, env!("CARGO_BIN_EXE_lidprop")])
                .current_dir(desk.path(""))
                .output()
                .unwrap();
            Answer::of(output)
        };
        limited().refuses(1, &[&name, "choose another folder"]);
        assert_eq!(desk.files(), ["lesson.flac"], "{format}");
        // An earlier result stays whole.
        written(
            &desk,
            &["take", "--write", format, "--into", "out", "lesson.flac"],
        );
        let earlier = std::fs::read(desk.path(&name)).unwrap();
        assert!(earlier.len() > blocks * 512, "{format}: {}", earlier.len());
        let earlier_and_recording = desk.files();
        limited().refuses(1, &[&name, "choose another folder"]);
        assert_eq!(std::fs::read(desk.path(&name)).unwrap(), earlier);
        assert_eq!(desk.files(), earlier_and_recording);
        std::fs::remove_dir_all(desk.path("out")).unwrap();
    }
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_standard_output_is_told_whatever_is_written() {
    let desk = Desk::new();
    lesson(&desk);
    let full = || {
        let file = std::fs::OpenOptions::new().write(true).open("/dev/full");
        std::process::Stdio::from(file.unwrap())
    };
    for (format, _) in FILES {
        let output = desk
            .command(["take", "--write", format, "lesson.flac"])
            .stdout(full())
            .output()
            .unwrap();
        Answer::of(output).refuses(1, &["standard output", "--into DIR"]);
    }
    for format in ["page", "musicxml", "midi"] {
        let output = desk
            .command(["name", "Dm7", "--in-all-keys", "--write", format])
            .stdout(full())
            .output()
            .unwrap();
        Answer::of(output).refuses(1, &["standard output"]);
    }
}

#[test]
fn a_folder_that_cannot_be_made_is_told_whatever_is_written() {
    let desk = Desk::new();
    desk.file("lesson.wav", &wav(22_050, &tone(), 44_100));
    desk.file("taken", b"a file, no folder");
    for (format, _) in FILES {
        desk.run([
            "take",
            "--write",
            format,
            "--into",
            "taken/deeper",
            "lesson.wav",
        ])
        .refuses(1, &["taken", "choose another folder"]);
    }
    assert_eq!(desk.files(), ["lesson.wav", "taken"]);
}
