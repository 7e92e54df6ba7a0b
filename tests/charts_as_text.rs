//! The chart of `take` as text: from ASCII alone where there is no more, as wide as there is room, its signs explained once.

#[path = "support/command.rs"]
mod command;

use command::{Answer, Desk, recording};

/// `lidprop take` with these words, of these recordings, in this locale.
#[track_caller]
fn take(words: &[&str], recordings: &[&str], locale: &str) -> String {
    let desk = Desk::new();
    let mut command = desk.command(["take"]);
    command
        .args(words)
        .args(recordings.iter().map(|name| recording(name)))
        .env("LC_ALL", locale);
    let answer = Answer::of(command.output().unwrap());
    assert_eq!((answer.code, answer.err.as_str()), (0, ""));
    answer.out
}

const HELD: &str = "borrowed-dominants.flac";
const PLAYED: &str = "rolled-ballad.flac";

#[test]
fn where_the_locale_has_no_more_the_chart_is_ascii_and_says_the_same() {
    for locale in ["C", "POSIX"] {
        for (recording, names) in [(HELD, ["C#dim(maj7)", "A7#9"]), (PLAYED, ["Ebm9", "Cm7b5"])] {
            let chart = take(&[], &[recording], locale);
            let other = chart.chars().find(|c| !c.is_ascii());
            assert_eq!(other, None, "{chart}");
            for name in names {
                assert!(chart.contains(name), "{name} in\n{chart}");
            }
        }
    }
}

#[test]
fn no_locale_changes_a_number_or_a_letter_of_what_is_written() {
    for words in [&[][..], &["--write", "json"], &["--write", "csv"]] {
        let usual = take(words, &[HELD], "C.UTF-8");
        let mut locales = vec!["de_DE.UTF-8", "tr_TR.UTF-8"];
        if !words.is_empty() {
            locales.extend(["C", "de_DE.ISO-8859-1", "no such locale"]);
        }
        for locale in locales {
            assert!(
                take(words, &[HELD], locale) == usual,
                "{words:?} in {locale}"
            );
        }
    }
}

#[test]
fn the_style_of_ascii_asks_for_the_same() {
    let asked = take(&["--style", "ascii"], &[HELD], "C.UTF-8");
    assert_eq!(asked, take(&[], &[HELD], "C"));
    assert!(take(&[], &[HELD], "C.UTF-8").contains("A7(♯9)"));
}

#[test]
fn in_a_pipe_a_chart_is_eighty_columns_wide_and_has_neither_escapes_nor_a_bar() {
    for recording in [HELD, PLAYED] {
        let chart = take(&[], &[recording], "C.UTF-8");
        assert!(
            !chart.contains('\x1b') && !chart.contains("to go"),
            "{chart}"
        );
        for line in chart.lines().skip(1) {
            assert!(line.chars().count() <= 80, "{line}");
        }
    }
}

#[test]
fn what_signs_mean_is_told_once_and_after_all_charts() {
    let charts = take(&[], &[HELD, PLAYED, HELD], "C.UTF-8");
    for legend in [
        "numbers mark each C",
        "its octave cannot be told",
        "--held shows the keys",
    ] {
        assert_eq!(charts.matches(legend).count(), 1, "{legend} in\n{charts}");
    }
    let last_chart = charts.rfind(HELD).unwrap();
    assert!(
        charts.find("numbers mark each C").unwrap() > last_chart,
        "{charts}"
    );
}

#[test]
fn no_key_is_claimed_of_a_drill_through_all_keys() {
    let chart = take(&[], &["twelve-keys.flac"], "C.UTF-8");
    assert!(chart.contains("no key holds"), "{chart}");
    assert!(
        !chart.contains(" in ") && !chart.contains("mostly"),
        "{chart}"
    );
}

/// Questions whose answers are full of accidentals, circles and triangles; each command that answers in text.
const QUESTIONS: [&[&str]; 16] = [
    &["name", "D4", "F4", "Ab4", "Db5", "--more"],
    &["name", "B E F A", "--before", "Dm7", "--after", "Cmaj7"],
    &["name", "C7#9", "--bass", "F#"],
    &["name", "C4", "C#4", "D4", "Eb4"],
    &["name", "G13(b9)", "--in-all-keys"],
    &["name", "G13(b9)", "--voicings"],
    &[
        "name",
        "Bm7b5 | E7b9 | G#dim7 | Am6 | Dm7 Db7 | Cmaj7",
        "--more",
    ],
    &["name", "Do4 Mib4 Sol4", "--note-names", "solfege"],
    &["standin", "Bm7b5 | E7 | Am6", "--for", "2", "--most", "12"],
    &[
        "standin",
        "Dm7 | G7 | Cmaj7",
        "--for",
        "2",
        "--melody",
        "rest=4 | A4=4",
        "--rejected",
    ],
    &["standin", "Fm7 | Bb7b9 | Ebmaj7"],
    &["take", HELD, "--held"],
    &["take", PLAYED, "--held"],
    &["take", HELD, "--against", "chart.txt"],
    &["drill", "--from", "twelve-keys.flac", "dim(maj7)", "--keep"],
    &["drill", "--from", "twelve-keys.flac", "m7b5"],
];

/// What `desk` answers in this locale.
#[track_caller]
fn answered(desk: &Desk, question: &[&str], locale: &str) -> String {
    let mut command = desk.command(question.iter().map(|&word| match word {
        word if word.ends_with(".flac") => recording(word),
        "chart.txt" => desk.path(word),
        word => word.into(),
    }));
    command
        .env("XDG_DATA_HOME", desk.path("data"))
        .env("LC_ALL", locale);
    let answer = Answer::of(command.output().unwrap());
    assert_eq!(answer.code, 0, "{question:?}: {}", answer.err);
    answer.out + &answer.err
}

#[track_caller]
fn is_ascii(text: &str, question: &[&str]) {
    let other: Vec<&str> = text.lines().filter(|line| !line.is_ascii()).collect();
    assert!(
        other.is_empty() && !text.is_empty(),
        "{question:?}: {other:#?}"
    );
}

#[test]
fn every_command_answers_in_ascii_where_there_is_no_more_or_that_is_asked_for() {
    let desk = Desk::new();
    desk.file("chart.txt", b"| Fmaj9 C#dim(maj7) | Dm7 Bm7b5 |\n");
    for question in QUESTIONS {
        is_ascii(&answered(&desk, question, "C"), question);
        let asked = [question, &["--style", "ascii"]].concat();
        is_ascii(&answered(&desk, &asked, "C.UTF-8"), &asked);
    }
    // What the drills have kept.
    let logbook = answered(&desk, &["logbook"], "C");
    is_ascii(&logbook, &["logbook"]);
    assert!(logbook.contains("most in a week: 2"), "{logbook}");
    for help in [
        "hear",
        "take",
        "name",
        "standin",
        "drill",
        "logbook",
        "soundcheck",
    ] {
        let question = ["help", help];
        is_ascii(&answered(&desk, &question, "C"), &question);
    }
    is_ascii(
        &take(
            &["--write", "chart", "--style", "ascii"],
            &[HELD],
            "C.UTF-8",
        ),
        &["--write chart"],
    );
}
