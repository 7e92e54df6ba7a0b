//! Long lists of recordings: parts of them, runs that were ended in the middle, runs that go on.

#[path = "support/command.rs"]
mod command;

use command::{Answer, Desk, tone, wav};
use serde_json::Value;
use std::collections::BTreeSet;
use std::fs;
use std::io::Write;
use std::path::Path;
use std::process::Stdio;
use std::thread::sleep;
use std::time::Duration;

/// A desk with `count` recordings in two folders, each a little different, and a list of their names.
fn desk(count: usize, seconds: usize) -> (Desk, Vec<String>) {
    let desk = Desk::new();
    let names: Vec<String> = (0..count)
        .map(|n| format!("box {}/tape {}.wav", n % 2, n / 2))
        .collect();
    for (n, name) in names.iter().enumerate() {
        let mut samples = tone().repeat(seconds);
        samples[0] = n as i16;
        let stated = 2 * samples.len() as u32;
        desk.file(name, &wav(22_050, &samples, stated));
    }
    desk.file("tapes.txt", (names.join("\n") + "\n").as_bytes());
    (desk, names)
}

fn lines(desk: &Desk, file: &str) -> Vec<Value> {
    let text = fs::read_to_string(desk.path(file)).unwrap();
    assert!(text.is_empty() || text.ends_with('\n'), "a line has no end");
    text.lines()
        .map(|line| serde_json::from_str(line).expect("every line is whole"))
        .collect()
}

fn recordings_of(lines: &[Value]) -> Vec<String> {
    let names = lines
        .iter()
        .map(|line| line["file"].as_str().unwrap().to_owned());
    names.collect()
}

#[track_caller]
fn done(answer: &Answer) {
    assert_eq!(answer.code, 0, "{}", answer.err);
}

const ALL_LINES: [&str; 7] = [
    "take",
    "--files-from",
    "tapes.txt",
    "--write",
    "jsonl",
    "--add-to",
    "all.jsonl",
];

#[test]
fn the_parts_of_a_list_are_the_list_and_no_recording_is_in_two() {
    let (desk, names) = desk(9, 1);
    let mut read = Vec::new();
    for part in 1..=3 {
        let shard = format!("{part}/3");
        let into = format!("part-{part}.jsonl");
        let arguments = [
            "take",
            "--files-from",
            "tapes.txt",
            "--write",
            "jsonl",
            "--shard",
            &shard,
            "--add-to",
            &into,
        ];
        done(&desk.run(arguments));
        read.extend(recordings_of(&lines(&desk, &into)));
    }
    assert_eq!(read.len(), names.len());
    assert_eq!(BTreeSet::from_iter(read), BTreeSet::from_iter(names));
}

#[test]
fn a_part_with_no_recording_in_it_is_done_and_says_so() {
    let (desk, _) = desk(1, 1);
    let answers = ["1/2", "2/2"]
        .map(|shard| desk.run(["take", "--files-from", "tapes.txt", "--shard", shard]));
    answers.iter().for_each(done);
    let (empty, full): (Vec<_>, Vec<_>) = answers.iter().partition(|answer| answer.out.is_empty());
    assert_eq!((empty.len(), full.len()), (1, 1));
    assert!(
        empty[0].err.contains("of 1 recording is empty"),
        "{}",
        empty[0].err
    );
}

#[test]
fn standard_input_gives_names_with_zero_bytes_between() {
    let (desk, names) = desk(2, 1);
    let mut child = desk
        .command(["take", "--files-from", "-", "--write", "jsonl"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    child
        .stdin
        .take()
        .unwrap()
        .write_all(names.join("\0").as_bytes())
        .unwrap();
    let answer = Answer::of(child.wait_with_output().unwrap());
    done(&answer);
    let heard: Vec<Value> = answer
        .out
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    assert_eq!(recordings_of(&heard), names, "in the order of the list");
}

#[test]
fn a_run_that_is_killed_loses_no_finished_line_and_the_next_reads_only_what_is_missing() {
    let (desk, names) = desk(40, 8);
    let mut child = desk
        .command(ALL_LINES)
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let path = desk.path("all.jsonl");
    let finished =
        || fs::read(&path).map_or(0, |text| text.iter().filter(|&&byte| byte == b'\n').count());
    while finished() < 3 {
        assert!(
            child.try_wait().unwrap().is_none(),
            "it was to be killed amid its work"
        );
        sleep(Duration::from_millis(5));
    }
    child.kill().unwrap();
    child.wait().unwrap();
    let kept = fs::read(&path).unwrap();
    let whole = kept.iter().rposition(|&byte| byte == b'\n').unwrap() + 1;
    let finished = finished();
    assert!((3..names.len()).contains(&finished), "{finished}");
    // What a kill within a line leaves.
    fs::OpenOptions::new()
        .append(true)
        .open(&path)
        .unwrap()
        .write_all(b"{\"schema\":\"lidprop/2\",\"file\":\"box")
        .unwrap();

    let again = desk.run(ALL_LINES.into_iter().chain(["--skip-done"]));
    done(&again);
    let told = format!("lidprop: {finished} of 40 recordings were done before\n");
    assert_eq!(again.err, told);
    let text = fs::read(&path).unwrap();
    assert_eq!(
        text[..whole],
        kept[..whole],
        "what was finished stays as it was"
    );
    let mut read = recordings_of(&lines(&desk, "all.jsonl"));
    read.sort();
    let mut names = names;
    names.sort();
    assert_eq!(read, names, "each of them once");
}

#[test]
fn a_document_is_made_anew_where_the_recording_or_the_options_have_changed() {
    let (desk, names) = desk(3, 1);
    let run = |more: &[&str]| {
        let fixed = [
            "take",
            "--files-from",
            "tapes.txt",
            "--keep-folders",
            "--into",
            "out",
            "--write",
            "json",
            "--skip-done",
        ];
        let answer = desk.run(fixed.iter().chain(more));
        done(&answer);
        answer.err
    };
    assert_eq!(run(&[]), "");
    let results = || {
        desk.files()
            .into_iter()
            .filter(|file| file.starts_with("out/"))
            .collect::<Vec<_>>()
    };
    let expected = [
        "out/box 0/tape 0.json",
        "out/box 0/tape 1.json",
        "out/box 1/tape 0.json",
    ];
    assert_eq!(results(), expected);
    let contents = || {
        results()
            .iter()
            .map(|file| fs::read(desk.path(file)).unwrap())
            .collect::<Vec<_>>()
    };
    let first = contents();
    assert_eq!(run(&[]), "lidprop: 3 of 3 recordings were done before\n");
    assert_eq!(contents(), first);

    // Stated options that are written to the millisecond or in words are known again as well.
    let stated = [
        "--key",
        "D dorian",
        "--from",
        "0.1234567",
        "--sounding",
        "-0.4",
        "--bpm",
        "92.7",
        "--style",
        "ascii",
    ];
    assert_eq!(run(&stated), "", "other options, so all of them");
    assert_eq!(
        run(&stated),
        "lidprop: 3 of 3 recordings were done before\n"
    );
    assert_eq!(run(&[]), "");

    let mut other = fs::read(desk.path(&names[1])).unwrap();
    *other.last_mut().unwrap() ^= 1;
    fs::write(desk.path(&names[1]), other).unwrap();
    assert_eq!(run(&[]), "lidprop: 2 of 3 recordings were done before\n");
    let half = fs::read(desk.path(expected[0])).unwrap();
    fs::write(desk.path(expected[0]), &half[..half.len() / 2]).unwrap();
    assert_eq!(
        run(&[]),
        "lidprop: 2 of 3 recordings were done before\n",
        "a damaged one counts for nothing"
    );
    assert_eq!(fs::read(desk.path(expected[0])).unwrap(), half);
}

#[test]
fn the_document_names_its_recording_by_the_standard_hash() {
    let (desk, names) = desk(1, 1);
    let document: Value =
        serde_json::from_str(&desk.run(["take", "--write", "json", &names[0]]).out).unwrap();
    let sum = std::process::Command::new("sha256sum")
        .arg(desk.path(&names[0]))
        .output();
    let sum = String::from_utf8(sum.expect("the core utilities are there").stdout).unwrap();
    assert_eq!(document["provenance"]["sha256"], sum[..64]);
}

#[test]
fn a_recording_that_cannot_be_read_has_one_line_however_often_it_is_tried() {
    let (desk, names) = desk(2, 1);
    fs::write(desk.path(&names[0]), "a letter").unwrap();
    for _ in 0..2 {
        let answer = desk.run(ALL_LINES.into_iter().chain(["--skip-done"]));
        assert_eq!(answer.code, 1);
        assert!(answer.err.contains("tape 0.wav"), "{}", answer.err);
    }
    let lines = lines(&desk, "all.jsonl");
    let failed: Vec<&Value> = lines
        .iter()
        .filter(|line| line.get("error").is_some())
        .collect();
    assert_eq!((lines.len(), failed.len()), (2, 1));
    assert_eq!(failed[0]["file"], names[0].as_str());
}

#[test]
fn what_cannot_be_meant_is_refused_and_nothing_is_changed() {
    let (desk, names) = desk(4, 1);
    desk.file("letter.txt", b"Dear Sir,\nhere are the tapes");
    desk.file("empty.txt", b"\n\n");
    let one = names[0].as_str();
    let cases: &[(&[&str], i32, &[&str])] = &[
        (
            &[one, "--skip-done", "--write", "json"],
            2,
            &["--skip-done", "--into DIR", "--add-to FILE"],
        ),
        (
            &[one, "--skip-done", "--write", "midi", "--into", "out"],
            2,
            &["--skip-done", "--write json"],
        ),
        (
            &[one, "--write", "midi", "--add-to", "all.mid"],
            2,
            &["--add-to", "midi", "jsonl"],
        ),
        (
            &[one, "--write", "jsonl", "--add-to", "letter.txt"],
            1,
            &["letter.txt", "other things", "nothing was changed"],
        ),
        (&[one, "--shard", "0/2"], 2, &["0/2", "1/N to N/N"]),
        (
            &["--files-from", "empty.txt"],
            1,
            &["empty.txt", "names no recording"],
        ),
        (
            &["--files-from", "nowhere.txt"],
            1,
            &["nowhere.txt", "cannot be read"],
        ),
        (
            &[
                "box 0/../box 0/tape 0.wav",
                "--keep-folders",
                "--write",
                "json",
                "--into",
                "out",
            ],
            1,
            &["'..'", "--keep-folders"],
        ),
        (
            &[
                "box 0/tape 0.wav",
                "attic/box 0/tape 0.wav",
                "--write",
                "json",
                "--into",
                "out2",
            ],
            1,
            &["attic/box 0/tape 0.wav", "--keep-folders"],
        ),
    ];
    for (arguments, code, words) in cases {
        desk.run(["take"].iter().chain(*arguments))
            .refuses(*code, words);
    }
    assert_eq!(
        fs::read_to_string(desk.path("letter.txt")).unwrap(),
        "Dear Sir,\nhere are the tapes"
    );
    assert!(!Path::new(&desk.path("all.mid")).exists());
}

#[test]
fn names_of_results_come_from_the_whole_list_and_not_from_a_part() {
    let (desk, _) = desk(8, 1);
    for part in 1..=4 {
        let shard = format!("{part}/4");
        desk.run([
            "take",
            "--files-from",
            "tapes.txt",
            "--shard",
            &shard,
            "--write",
            "json",
            "--into",
            "out",
        ]);
    }
    let mut results = desk.files_in("out/");
    results.sort();
    let expected: Vec<String> = (0..2)
        .flat_map(|side| (0..4).map(move |tape| format!("out/box {side}-tape {tape}.json")))
        .collect();
    assert_eq!(results, expected, "tape 0 to 3 lie in both boxes");
}
