//! A command line that makes no sense is refused in one sentence: what, where, what to do.

#[path = "support/command.rs"]
mod command;

use command::Desk;

/// Refused with 2, in this one sentence.
#[track_caller]
fn refused(arguments: &[&str], sentence: &str) {
    let answer = Desk::new().run(arguments.iter().copied());
    assert_eq!(answer.code, 2, "{}", answer.err);
    assert_eq!(answer.err, format!("lidprop: {sentence}\n"));
    assert_eq!(answer.out, "");
}

#[test]
fn a_recording_in_the_place_of_a_command_is_a_hint_at_take() {
    let hint = "this is a file and no command; to read a recording: lidprop take";
    for file in ["lesson.wav", "monday/lesson"] {
        refused(&[file], &format!("{file}: {hint} {file}"));
    }
}

#[test]
fn what_is_no_command_or_option_is_told_with_the_nearest() {
    refused(
        &["tke"],
        "'tke' is no command; did you mean 'take'? `lidprop help` lists them",
    );
    refused(
        &["hear", "--char", "x.txt"],
        "'--char' is no option of `hear`; did you mean '--chart'? `lidprop help hear` lists them",
    );
    refused(
        &["hear", "--zzzzzz"],
        "'--zzzzzz' is no option of `hear`; `lidprop help hear` lists them",
    );
}

#[test]
fn values_are_refused_with_what_they_can_be() {
    for seconds in ["abc", "1.5"] {
        refused(
            &["hear", "--for", seconds],
            &format!("--for <SECONDS>: '{seconds}' cannot be used; give a whole number"),
        );
    }
    refused(
        &["take", "--a4", "440Hz", "x.wav"],
        "--a4 <HZ>: '440Hz' cannot be used; A4 of a piano lies between 350 and 555 Hz",
    );
    refused(
        &["soundcheck", "--seconds", "700"],
        "--seconds <SECONDS>: '700' cannot be used; give a whole number from 0 to 600",
    );
    refused(
        &["hear", "--for", "0"],
        "--for <SECONDS>: '0' cannot be used; give a whole number from 1 on",
    );
    refused(
        &["hear", "--write", "jsn"],
        "--write <FORMAT>: 'jsn' is not known; did you mean 'json'? give one of json",
    );
    let ending = "no format ends in .pdf; end the name in one of .json, .jsonl, .lab, .csv, .txt, .mid, \
                  .musicxml, .html, .vtt, .srt";
    refused(
        &["hear", "--chart", "x.pdf"],
        &format!("--chart <FILE>: 'x.pdf' cannot be used; {ending}"),
    );
}

#[test]
fn what_is_missing_and_what_excludes_another_is_told() {
    refused(
        &["take", "--into", "charts", "x.wav"],
        "this is missing: --write <FORMAT>; `lidprop help take` shows how it is given",
    );
    refused(
        &["drill", "m7", "--sound-is-safe"],
        "this is missing: --plan <FILE> or --listen; `lidprop help drill` shows how it is given",
    );
    refused(
        &["hear", "--plain", "--write", "json"],
        "--plain and --write <FORMAT> exclude each other; leave one of them out",
    );
}

#[test]
fn a_chart_that_could_not_be_written_is_refused_before_anything_is_played() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("lesson.txt");
    std::fs::write(&file, "mine").unwrap();
    let nowhere = folder.path().join("none/lesson.txt");
    for (path, why) in [
        (file.as_path(), "there is such a file already"),
        (nowhere.as_path(), "there is no folder"),
    ] {
        let path = path.to_str().unwrap();
        let answer = Desk::new().run(["hear", "--chart", path]);
        assert_eq!(answer.code, 1, "{}", answer.err);
        assert!(answer.err.contains(why), "{}", answer.err);
        assert_eq!(answer.err.lines().count(), 1, "{}", answer.err);
    }
    assert_eq!(std::fs::read_to_string(&file).unwrap(), "mine");
}

#[test]
fn options_that_would_do_nothing_are_refused() {
    let excluded: [(&[&str], [&str; 2]); 20] = [
        (&["hear", "--plain", "--small"], ["--small", "--plain"]),
        (
            &["hear", "--write", "json", "--guess-first"],
            ["--guess-first", "--write <FORMAT>"],
        ),
        (
            &["hear", "--plain", "--into", "."],
            ["--into <DIR>", "--plain"],
        ),
        (
            &["take", "x.wav", "--against", "y.wav", "--held"],
            ["--held", "--against <FILE>"],
        ),
        (
            &["name", "Dm7", "--in-all-keys", "--more"],
            ["--more", "--in-all-keys"],
        ),
        (
            &["name", "Dm7", "--voicings", "--before", "G7"],
            ["--voicings", "--before <CHORDS>"],
        ),
        (
            &["drill", "--plan", "first-sevenths", "--rounds", "2"],
            ["--plan <FILE>", "--rounds <N>"],
        ),
        (
            &["drill", "m7", "--from", "x.wav", "--show", "hidden"],
            ["--from <FILE>", "--show <HOW>"],
        ),
        (
            &["logbook", "--players", "--write", "csv"],
            ["--players", "--write <FORMAT>"],
        ),
        (
            &["logbook", "--player", "Ada", "--export", "x"],
            ["--player <NAME>", "--export <FILE>"],
        ),
        // What needs an option that the other one excludes.
        (
            &["logbook", "--import", "x", "--yes"],
            ["--import <FILE>", "--yes"],
        ),
        (
            &["soundcheck", "--compare", "a", "b", "--from", "x.wav"],
            ["--compare <NAME> <NAME>", "--from <FILE>"],
        ),
        (
            &["soundcheck", "--from", "x.wav", "--a4", "441"],
            ["--from <FILE>", "--a4 <HZ>"],
        ),
        (
            &["drill", "--plan", "first-sevenths", "--keep"],
            ["--plan <FILE>", "--keep"],
        ),
        (
            &["drill", "m7", "--device", "lid", "--write", "json"],
            ["--device <NAME>", "--write <FORMAT>"],
        ),
        (
            &["standin", "Dm7 | G7", "--budget", "3", "--rejected"],
            ["--budget <STEPS>", "--rejected"],
        ),
        (
            &[
                "take", "x.wav", "--write", "jsonl", "--add-to", "l", "--force",
            ],
            ["--add-to <FILE>", "--force"],
        ),
        // What the other one leaves nothing to do.
        (
            &["take", "x.wav", "--held", "--metre", "3/4"],
            ["--held", "--metre <METRE>"],
        ),
        (
            &["name", "Dm7", "--voicings", "--spelling", "theory"],
            ["--voicings", "--spelling <WAY>"],
        ),
        (
            &["drill", "m7", "--plain", "--ascii"],
            ["--plain", "--ascii"],
        ),
    ];
    for (arguments, [one, other]) in excluded {
        let told = Desk::new().run(arguments.iter().copied()).err;
        let sentence = |one, other| {
            format!("lidprop: {one} and {other} exclude each other; leave one of them out\n")
        };
        // Which of them the parser meets first is its own affair.
        let may_be = [sentence(one, other), sentence(other, one)];
        assert!(may_be.contains(&told), "{arguments:?}: {told}");
    }
    let progression = ["standin", "Dm7 | G7 | Cmaj7"];
    refused(
        &[&progression[..], &["--tempo", "60"]].concat(),
        "--tempo means nothing here; it belongs to --play, --wav, --write midi or musicxml",
    );
    refused(
        &[&progression[..], &["--write", "page", "--volume", "-30"]].concat(),
        "--volume means nothing here; it belongs to --play or --wav",
    );
    refused(
        &["drill", "m7", "--volume", "-30"],
        "--volume means nothing here; it belongs to --listen or --plan",
    );
    for option in ["--device", "--piano"] {
        refused(
            &["soundcheck", "--seconds", "0", option, "x"],
            &format!(
                "{option} means nothing where inputs are only listed; leave it out, or --seconds 0"
            ),
        );
    }
    refused(
        &["drill", "m7", "--from", "x.wav", "--player", "Ada"],
        "--player means nothing here; it belongs to --keep",
    );
    refused(
        &["drill", "m7", "--unlogged", "--player", "Ada"],
        "--player means nothing beside --unlogged; leave one of them out",
    );
    refused(
        &["drill", "m7", "--order", "C F Bb", "--start", "D"],
        "--start means nothing where --order lists the keys; leave it out",
    );
    refused(
        &["drill", "D3 F4 Ab4 Db5", "--form", "shell"],
        "--form means nothing for a voicing, which is played as it stands; leave it out",
    );
    refused(
        &["name", "Dm7", "--in-all-keys", "--bass", "C"],
        "--bass means nothing for a symbol in all keys; type its notes, or leave it out",
    );
    refused(
        &[&progression[..], &["--for", "2", "--rejected"]].concat(),
        "--rejected means nothing without a melody; add --melody, or leave it out",
    );
    for format in ["labels", "midi"] {
        refused(
            &["take", "x.wav", "--write", format, "--style", "signs"],
            &format!(
                "--style means nothing to {format}; it belongs to --write json or jsonl or csv or chart or musicxml or page or captions or subrip"
            ),
        );
    }
    refused(
        &["take", "x.wav", "--metre", "4/4", "--pickup", "5"],
        "--pickup 5 is a whole bar of 4 beats or more; give 0 to 3",
    );
    refused(
        &["drill", "--order", "fifths"],
        "--order means nothing where what is due is practised; say what to practise, or leave it out",
    );
}
