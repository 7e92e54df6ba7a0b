//! `lidprop drill --from` and `lidprop logbook`, as the built binary does them in a fresh folder.

#[path = "support/command.rs"]
mod command;
#[path = "support/drilled.rs"]
mod drilled;

use command::{Answer, Desk};
use drilled::{chords, six_with_three_slips, wav};
use std::process::Command;

/// The command with the data folder on the desk.
fn at(desk: &Desk, arguments: &[&str]) -> Command {
    let mut command = desk.command(arguments);
    command
        .env("XDG_DATA_HOME", desk.path("data"))
        .env("HOME", desk.path("home"));
    command
}

fn run(desk: &Desk, arguments: &[&str]) -> Answer {
    Answer::of(at(desk, arguments).output().expect("the binary runs"))
}

/// A desk with a drill of six chords on it, three of them slips.
fn desk() -> Desk {
    let desk = Desk::new();
    wav(&six_with_three_slips(), &desk.path("monday.wav"));
    desk
}

#[test]
fn a_recording_is_marked_and_the_wrong_keys_are_named() {
    let desk = desk();
    let answer = run(
        &desk,
        &[
            "drill",
            "--from",
            "monday.wav",
            "dim(maj7)",
            "--order",
            "fourths",
        ],
    );
    assert_eq!(answer.code, 0, "{}", answer.err);
    let lines: Vec<&str> = answer.out.lines().collect();
    let words = [
        ("+ right", "Cdim(maj7)", ""),
        ("+ right", "Fdim(maj7)", ""),
        ("x slip", "B♭dim(maj7)", "E4 is missing"),
        ("+ right", "E♭dim(maj7)", ""),
        ("x slip", "A♭dim(maj7)", "Ab4 on top in place of G4"),
        ("x slip", "D♭dim(maj7)", "the right type, but on Eb"),
    ];
    for (line, (mark, symbol, slip)) in lines.iter().zip(words) {
        assert!(
            line.contains(mark) && line.contains(symbol) && line.contains(slip),
            "{line}"
        );
    }
    assert!(
        answer
            .out
            .contains("6 attempts: 3 right, 3 slips, 0 unsure"),
        "{}",
        answer.out
    );
    assert!(!desk.path("data").exists(), "nothing is kept unless asked");
}

#[test]
fn the_order_is_found_where_it_is_not_stated() {
    let desk = desk();
    let answer = run(&desk, &["drill", "--from", "monday.wav", "dim(maj7)"]);
    assert!(
        answer.out.contains("3 right, 3 slips"),
        "{}{}",
        answer.out,
        answer.err
    );
}

#[test]
fn json_tells_keys_times_and_what_was_believed() {
    let desk = desk();
    let answer = run(
        &desk,
        &[
            "drill",
            "--from",
            "monday.wav",
            "dim(maj7)",
            "--write",
            "json",
        ],
    );
    let told: serde_json::Value = serde_json::from_str(&answer.out).unwrap();
    assert_eq!(told["schema"], "lidprop-drill/1");
    let third = &told["attempts"][2];
    assert_eq!(third["outcome"], "slip");
    assert_eq!(third["slips"][0]["kind"], "missing");
    assert_eq!(third["slips"][0]["wanted"], 64);
    for (n, attempt) in told["attempts"].as_array().unwrap().iter().enumerate() {
        let (start, end) = (
            attempt["start"].as_f64().unwrap(),
            attempt["end"].as_f64().unwrap(),
        );
        let struck = 0.8 + 2.0 * n as f64;
        assert!((start - struck).abs() < 0.1, "{start} is not {struck}");
        assert!((end - struck - 1.5).abs() < 0.2, "{end}");
    }
}

#[test]
fn what_is_kept_is_told_by_the_logbook_and_goes_elsewhere_and_back() {
    let desk = desk();
    run(&desk, &["logbook"]).refuses(1, &["the logbook is empty", "lidprop drill"]);
    let kept = run(
        &desk,
        &["drill", "--from", "monday.wav", "dim(maj7)", "--keep"],
    );
    assert_eq!(kept.code, 0, "{}", kept.err);
    let book = run(&desk, &["logbook"]);
    assert_eq!(book.code, 0, "{}", book.err);
    for words in [
        "6 attempts: 3 right, 3 slips",
        "1 day in a row",
        "most frequent slips",
        "due next",
        "dim(maj7)",
    ] {
        assert!(book.out.contains(words), "'{words}' in:\n{}", book.out);
    }
    let csv = run(&desk, &["logbook", "--write", "csv"]);
    assert_eq!(csv.out.lines().count(), 7, "{}", csv.out);
    assert!(
        csv.out.contains("dim(maj7),C,root position,1,0,0,1.000"),
        "{}",
        csv.out
    );
    let json = run(&desk, &["logbook", "--write", "json"]);
    let told: serde_json::Value = serde_json::from_str(&json.out).unwrap();
    assert_eq!(
        (&told["total"]["right"], &told["total"]["slip"]),
        (&3.into(), &3.into())
    );
    let page = run(&desk, &["logbook", "--write", "page"]);
    for words in [
        "<title>Practice of me</title>",
        "6 attempts: 3 right, 3 slips, 0 unsure",
        "<th scope=\"row\">B♭</th>",
        "By chord type",
        "this week",
        "Slips most made",
        "Due next",
        "Content-Security-Policy",
        "stop if anything hurts",
    ] {
        assert!(page.out.contains(words), "'{words}' in:\n{}", page.out);
    }
    assert!(page.out.trim_end().ends_with("</html>"), "{}", page.out);
    let exported = run(&desk, &["logbook", "--export", "all.jsonl"]);
    assert!(
        exported.out.contains("6 attempts written"),
        "{}",
        exported.out
    );
    run(&desk, &["logbook", "--forget", "me"]).refuses(2, &["has to be confirmed", "--yes"]);
    assert!(
        run(&desk, &["logbook", "--forget", "me", "--yes"])
            .out
            .contains("6 attempts of me deleted")
    );
    run(&desk, &["logbook"]).refuses(1, &["empty"]);
    assert!(
        run(&desk, &["logbook", "--import", "all.jsonl"])
            .out
            .contains("6 new attempts")
    );
    assert!(
        run(&desk, &["logbook", "--import", "all.jsonl"])
            .out
            .contains("0 new attempts")
    );
    assert_eq!(run(&desk, &["logbook"]).out, book.out);
    run(&desk, &["logbook", "--player", "Ada"]).refuses(
        1,
        &[
            "nothing is kept of 'Ada'",
            "give one of the players there are: me",
        ],
    );
}

#[test]
fn a_database_that_is_none_is_told_and_left_as_it_is() {
    let desk = desk();
    let nonsense = b"this was never a logbook, whatever its name may say of it.".repeat(30);
    let path = desk.file("data/lidprop/logbook.sqlite", &nonsense);
    for arguments in [
        &["logbook"][..],
        &["drill", "--from", "monday.wav", "dim(maj7)", "--keep"],
    ] {
        run(&desk, arguments).refuses(
            1,
            &[
                "logbook.sqlite",
                "no logbook, or it is damaged",
                "nothing was changed",
            ],
        );
        assert_eq!(std::fs::read(&path).unwrap(), nonsense);
    }
    // without the logbook a recording is marked all the same
    assert_eq!(
        run(&desk, &["drill", "--from", "monday.wav", "dim(maj7)"]).code,
        0
    );
    std::fs::remove_file(&path).unwrap();
    std::fs::create_dir(&path).unwrap();
    run(&desk, &["logbook"]).refuses(1, &["logbook.sqlite"]);
}

#[test]
fn a_newer_logbook_and_that_of_another_program_are_told_and_left_as_they_are() {
    let desk = desk();
    let keep = ["drill", "--from", "monday.wav", "dim(maj7)", "--keep"];
    assert_eq!(run(&desk, &keep).code, 0);
    let path = desk.path("data/lidprop/logbook.sqlite");
    let whole = std::fs::read(&path).unwrap();
    // the header of a database (SQLite, "Database File Format", 1.3): user version at 60, application id at 68, both big-endian
    for (place, number, words) in [
        (60, 99_u32, "a newer lidprop has written this logbook"),
        (68, 7, "the database of another program"),
    ] {
        let mut changed = whole.clone();
        changed[place..place + 4].copy_from_slice(&number.to_be_bytes());
        std::fs::write(&path, &changed).unwrap();
        for arguments in [&["logbook"][..], &keep] {
            run(&desk, arguments).refuses(1, &["logbook.sqlite", words]);
            assert_eq!(std::fs::read(&path).unwrap(), changed, "{words}");
        }
    }
    std::fs::write(&path, &whole).unwrap();
    assert!(run(&desk, &["logbook"]).out.contains("6 attempts"));
}

#[test]
fn a_day_is_that_of_the_place_where_it_was_played() {
    let desk = desk();
    // the same hour a day apart: fourteen hours ahead of UTC and ten behind
    let [east, west] = ["EAST-14", "WEST10"];
    let in_zone = |zone: &str, arguments: &[&str]| {
        let mut command = at(&desk, arguments);
        Answer::of(command.env("TZ", zone).output().expect("the binary runs"))
    };
    let keep = ["drill", "--from", "monday.wav", "dim(maj7)", "--keep"];
    for (zone, attempts) in [(east, "6 attempts"), (west, "12 attempts")] {
        assert_eq!(in_zone(zone, &keep).code, 0);
        let book = in_zone(zone, &["logbook"]);
        assert!(book.out.contains(attempts), "{}{}", book.out, book.err);
    }
    // who has flown east again practised on two days; in the west the later one has not come yet
    assert!(
        in_zone(east, &["logbook"]).out.contains("2 days in a row"),
        "{}",
        in_zone(east, &["logbook"]).out
    );
    assert!(
        in_zone(west, &["logbook"]).out.contains("1 day in a row"),
        "{}",
        in_zone(west, &["logbook"]).out
    );
}

#[test]
fn what_cannot_be_practised_or_read_is_told_in_a_sentence() {
    let desk = desk();
    run(&desk, &["drill", "--from", "monday.wav", "mayj7"])
        .refuses(2, &["'mayj7' from place", "chord type"]);
    run(
        &desk,
        &["drill", "--from", "monday.wav", "maj", "--form", "drop 2"],
    )
    .refuses(2, &["no drop 2", "another form"]);
    run(&desk, &["drill", "--from", "tuesday.wav", "maj7"])
        .refuses(1, &["tuesday.wav", "no such file"]);
    run(&desk, &["drill", "--from", "monday.wav"]).refuses(2, &["say what to practise"]);
    run(&desk, &["drill", "--plan", "week.toml"]).refuses(1, &["week.toml", "first-sevenths"]);
    desk.file(
        "week.toml",
        b"title = \"Week\"\n[[item]]\nplay = \"maj7\"\norder = \"sideways\"\n",
    );
    run(&desk, &["drill", "--plan", "week.toml"])
        .refuses(1, &["week.toml, line 4", "'sideways' is no order"]);
    run(&desk, &["drill"]).refuses(2, &["nothing is due", "lidprop drill"]);
    run(&desk, &["drill", "--listen", "maj7"])
        .refuses(2, &["turned the loudspeaker", "--sound-is-safe"]);
    wav(&chords(&[]), &desk.path("silence.wav"));
    run(&desk, &["drill", "--from", "silence.wav", "maj7"])
        .refuses(1, &["silence.wav", "the recording is silent"]);
}

#[test]
fn a_correction_within_a_moment_counts_as_found() {
    let desk = Desk::new();
    let mut sound = chords(&[&[48, 52, 55, 58]]);
    // the seventh is forgotten and added a second later
    drilled::strike(&mut sound, &[53, 57, 60], 3.0, 2.6);
    drilled::strike(&mut sound, &[63], 4.0, 1.6);
    // a wrong chord, and all of it again
    drilled::strike(&mut sound, &[58, 62, 66, 68], 6.5, 0.7);
    drilled::strike(&mut sound, &[58, 62, 65, 68], 7.6, 1.5);
    sound.resize(sound.len() + 22_050, 0.0);
    wav(&sound, &desk.path("tuesday.wav"));
    let answer = run(
        &desk,
        &["drill", "--from", "tuesday.wav", "7", "--order", "fourths"],
    );
    let lines: Vec<&str> = answer.out.lines().collect();
    assert!(
        lines[1].contains("+ right") && lines[1].contains("Eb4 is missing; corrected"),
        "{}",
        answer.out
    );
    assert!(
        lines[2].contains("x slip") && lines[2].contains("F#4 in place of F4"),
        "{}",
        answer.out
    );
    assert!(
        lines[3].contains("+ right") && lines[3].contains("corrected"),
        "{}",
        answer.out
    );
}
