//! Awkward inputs and surroundings: what each gives, by the table in `tests/data/awkward_inputs.tsv`. No panic, no hang, no untrue reason, no silent loss.

#[path = "support/awkward.rs"]
mod awkward;

use awkward::command::{Answer, Desk, tone, wav};
use awkward::make;
use std::process::{Child, Stdio};
use std::time::{Duration, Instant};

const TABLE: &str = include_str!("data/awkward_inputs.tsv");

/// What a length may be off by: a packet of a lossy coding before and one after the cut.
const LENGTH_TOLERANCE: f64 = 0.15;

/// Whatever takes longer hangs.
const PATIENCE: Duration = Duration::from_secs(120);

/// The answer of a run that is to end by itself.
#[track_caller]
fn answer_of(mut child: Child) -> Answer {
    let begun = Instant::now();
    while child.try_wait().unwrap().is_none() {
        if begun.elapsed() > PATIENCE {
            child.kill().unwrap();
            panic!("it hangs");
        }
        std::thread::sleep(Duration::from_millis(10));
    }
    Answer::of(child.wait_with_output().unwrap())
}

fn sound() -> Vec<u8> {
    let samples = tone();
    wav(22_050, &samples, 2 * samples.len() as u32)
}

/// One row: what is wrong with the answer, if anything is.
fn wrong(row: &str) -> Option<String> {
    let [input, code, seconds, says, never] = row.split('\t').collect::<Vec<_>>()[..] else {
        return Some(format!("{row}: five columns are wanted"));
    };
    let desk = Desk::new();
    let file = match input {
        "-" => "-".to_owned(),
        device if device.starts_with('/') => device.to_owned(),
        _ => {
            desk.file("lesson", &make(input));
            "lesson".to_owned()
        }
    };
    // to a file, since a pipe that nobody empties meanwhile would hold it up
    let out = desk.path("out.json");
    let child = desk
        .command(["take", "--write", "json", "--", &file])
        .stdout(std::fs::File::create(&out).unwrap())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let answer = answer_of(child);
    let document = std::fs::read_to_string(&out).unwrap();
    let mut faults = Vec::new();
    if answer.code.to_string() != code {
        faults.push(format!("exit code {}", answer.code));
    }
    match seconds.parse::<f64>() {
        Ok(expected) => {
            let document: serde_json::Value = serde_json::from_str(&document).unwrap_or_default();
            let heard = document["seconds"].as_f64().unwrap_or(-1.0);
            if (heard - expected).abs() > LENGTH_TOLERANCE {
                faults.push(format!("{heard} s"));
            }
            if says.is_empty() != answer.err.is_empty() {
                faults.push("standard error".into());
            }
        }
        Err(_) if !document.is_empty() => faults.push("it gives a document all the same".into()),
        Err(_) if answer.err.trim_end().lines().count() != 1 => {
            faults.push("not one sentence".into())
        }
        Err(_) => {}
    }
    for word in says.split(';').filter(|word| !answer.err.contains(word)) {
        faults.push(format!("does not say '{word}'"));
    }
    let never = never.split(';').filter(|word| !word.is_empty());
    for word in never.chain(["panicked", "fault of lidprop"]) {
        if answer.err.contains(word) {
            faults.push(format!("says '{word}'"));
        }
    }
    (!faults.is_empty()).then(|| format!("{input}: {}\n    {}", faults.join(", "), answer.err))
}

#[test]
fn every_awkward_input_is_answered_as_the_table_says() {
    let rows = TABLE
        .lines()
        .filter(|row| !row.starts_with('#'))
        .filter(|row| cfg!(target_os = "linux") || !row.starts_with("/dev"));
    let faults: Vec<String> = rows.filter_map(wrong).collect();
    assert!(faults.is_empty(), "\n{}", faults.join("\n"));
}

#[test]
fn what_comes_after_a_lost_stretch_keeps_its_time() {
    let onset = |input: &str| {
        let desk = Desk::new();
        desk.file("lesson.flac", &make(input));
        let answer = desk.run(["take", "--write", "json", "lesson.flac"]);
        let document: serde_json::Value = serde_json::from_str(&answer.out).unwrap();
        let notes = document["notes"].as_array().unwrap().clone();
        // the second note of the recording, F#4
        let second = notes
            .iter()
            .find(|note| note["midi"] == 66)
            .expect("it is heard");
        second["start"].as_f64().expect("a time")
    };
    let (whole, damaged) = (
        onset("flac with no checksum"),
        onset("flac with 200 bad bytes"),
    );
    assert!(
        (whole - damaged).abs() < 0.03,
        "{whole} s, damaged {damaged} s"
    );
}

#[test]
fn what_is_noticed_is_told_in_every_format_and_beside_every_file() {
    let desk = Desk::new();
    desk.file("silence.wav", &make("wav silent"));
    for format in [
        "json", "jsonl", "labels", "csv", "chart", "midi", "musicxml", "page", "captions", "subrip",
    ] {
        let told = |answer: &Answer| {
            assert_eq!(answer.code, 0, "{format}: {}", answer.err);
            let told = answer
                .err
                .matches("silence.wav: note: the recording is silent throughout");
            assert_eq!(told.count(), 1, "{format}: {}", answer.err);
        };
        // some formats are no text
        let mut command = desk.command(["take", "--write", format, "silence.wav"]);
        told(&Answer::of(command.stdout(Stdio::null()).output().unwrap()));
        let into = format!("into-{format}");
        told(&desk.run(["take", "--write", format, "--into", &into, "silence.wav"]));
    }
    let chart = desk.run(["take", "silence.wav"]);
    assert_eq!((chart.code, chart.err.as_str()), (0, ""));
    assert!(chart.out.contains("silent throughout"), "{}", chart.out);
}

#[test]
fn the_same_missing_file_a_thousand_times_is_told_once_for_what_it_is() {
    let desk = Desk::new();
    let many = ["take", "--write", "json", "--into", "out"].into_iter();
    let answer = desk.run(many.chain(std::iter::repeat_n("missing.wav", 1000)));
    answer.refuses(1, &["missing.wav", "there is no such file"]);
}

#[test]
fn recordings_of_one_name_from_two_folders_both_get_a_place() {
    let desk = Desk::new();
    for file in [
        "an/lesson.wav",
        "be/lesson.wav",
        "be/lesson.flac",
        "scales.wav",
    ] {
        desk.file(file, &sound());
    }
    let files = [
        "an/lesson.wav",
        "be/lesson.wav",
        "be/lesson.flac",
        "scales.wav",
    ];
    let answer = desk.run(
        ["take", "--write", "json", "--into", "out"]
            .iter()
            .chain(&files),
    );
    assert_eq!((answer.code, answer.err.as_str()), (0, ""));
    let written = desk.files_in("out/");
    assert_eq!(
        written,
        [
            "out/an-lesson.json",
            "out/be-lesson-flac.json",
            "out/be-lesson-wav.json",
            "out/scales.json"
        ]
    );
    let second = std::fs::read_to_string(desk.path("out/be-lesson-wav.json")).unwrap();
    assert!(second.contains("be/lesson.wav"), "{second}");
}

#[test]
fn names_that_would_steer_a_terminal_are_printed_safely_everywhere() {
    let desk = Desk::new();
    let name = "les\x1b[31m\nson\u{202e}.wav";
    desk.file(name, &make("wav silent"));
    let chart = desk.run(["take", name]);
    let refused = desk.run(["take", "no\x1b[2J\nsuch.wav"]);
    refused.refuses(1, &[r"no\u{1b}[2J\nsuch.wav"]);
    assert!(
        chart.out.contains(r"les\u{1b}[31m\nson\u{202e}.wav"),
        "{}",
        chart.out
    );
    let mut said = vec![chart.out, chart.err, refused.err];
    for format in [
        "labels", "csv", "chart", "musicxml", "page", "captions", "subrip",
    ] {
        let answer = desk.run(["take", "--write", format, name]);
        assert_eq!(answer.code, 0, "{format}: {}", answer.err);
        said.extend([answer.out, answer.err]);
    }
    for text in said {
        assert!(
            !text.contains('\x1b') && !text.contains('\u{202e}'),
            "{text:?}"
        );
    }
    // JSON has a way to write them, and keeps the name as it is
    let json = desk.run(["take", "--write", "json", name]);
    let document: serde_json::Value = serde_json::from_str(&json.out).unwrap();
    assert_eq!(document["file"], name);
}

#[cfg(target_os = "linux")]
#[test]
fn a_name_that_is_no_utf_8_is_read_and_its_result_keeps_it() {
    use std::ffi::OsStr;
    use std::os::unix::ffi::OsStrExt;
    let desk = Desk::new();
    let name = OsStr::from_bytes(b"le\xffon.wav");
    std::fs::write(desk.path("").join(name), sound()).unwrap();
    let arguments = ["take", "--write", "json", "--into", "out"].map(OsStr::new);
    let answer = desk.run(arguments.into_iter().chain([name]));
    assert_eq!((answer.code, answer.err.as_str()), (0, ""));
    let result = desk.path("out").join(OsStr::from_bytes(b"le\xffon.json"));
    assert!(
        std::fs::read_to_string(result)
            .unwrap()
            .contains("le\u{fffd}on.wav")
    );
}

#[cfg(unix)]
#[test]
fn nothing_that_lidprop_did_not_write_is_written_over() {
    use std::os::unix::fs::{PermissionsExt, symlink};
    let desk = Desk::new();
    desk.file("lesson.wav", &sound());
    desk.file("mine.json", b"{\"mine\": true}");
    desk.file("out/theirs.json", b"{\"theirs\": true}");
    let take = |more: &[&str]| {
        let call = ["take", "--write", "json", "--into", "out", "lesson.wav"];
        desk.run(call.iter().chain(more))
    };
    let result = desk.path("out/lesson.json");
    symlink(desk.path("mine.json"), &result).unwrap();
    take(&[]).refuses(1, &["out/lesson.json", "a link of this name", "--force"]);
    std::fs::remove_file(&result).unwrap();
    std::fs::write(&result, "{\"mine\": true}").unwrap();
    take(&[]).refuses(
        1,
        &["out/lesson.json", "does not know it for its own", "--force"],
    );
    assert_eq!(take(&["--force"]).code, 0);
    assert_eq!(take(&[]).code, 0, "its own it may write again");
    std::fs::set_permissions(&result, std::fs::Permissions::from_mode(0o444)).unwrap();
    take(&[]).refuses(1, &["out/lesson.json", "protected from writing"]);
    assert_eq!(
        std::fs::read(desk.path("mine.json")).unwrap(),
        b"{\"mine\": true}"
    );
    assert_eq!(
        std::fs::read(desk.path("out/theirs.json")).unwrap(),
        b"{\"theirs\": true}"
    );
}

#[cfg(target_os = "linux")]
#[test]
fn a_pipe_that_nobody_writes_to_says_so_and_a_signal_ends_it_without_a_trace() {
    use std::io::{BufRead, BufReader};
    use std::os::unix::process::ExitStatusExt;
    // what these tests were told to ignore, as `nohup` does, the program ignores too
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let ignored = status
        .lines()
        .find_map(|line| line.strip_prefix("SigIgn:"))
        .map(|mask| u64::from_str_radix(mask.trim(), 16).unwrap())
        .unwrap();
    let heeded = [("TERM", 15), ("HUP", 1), ("INT", 2)]
        .into_iter()
        .filter(|(_, number)| ignored >> (number - 1) & 1 == 0);
    for (signal, _) in heeded {
        let desk = Desk::new();
        let made = std::process::Command::new("mkfifo")
            .arg(desk.path("lesson.wav"))
            .status()
            .unwrap();
        assert!(made.success());
        let mut child = desk
            .command(["take", "--write", "json", "--into", "out", "lesson.wav"])
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(child.stderr.take().unwrap())
            .read_line(&mut line)
            .unwrap();
        assert!(
            line.contains("lesson.wav: waiting for a program that writes to it"),
            "{line}"
        );
        let killed = std::process::Command::new("kill")
            .args(["-s", signal, &child.id().to_string()])
            .status()
            .unwrap();
        assert!(killed.success());
        assert!(child.wait().unwrap().signal().is_some(), "{signal}");
        assert_eq!(desk.files(), ["lesson.wav"], "{signal}");
    }
}

#[cfg(target_os = "linux")]
#[test]
fn an_endless_stream_of_no_sound_is_refused_at_once() {
    let desk = Desk::new();
    let mut noise = std::process::Command::new("cat")
        .arg("/dev/urandom")
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let child = desk
        .command(["take", "/dev/stdin"])
        .stdin(noise.stdout.take().unwrap())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    answer_of(child).refuses(1, &["/dev/stdin", "no sound format known here"]);
    noise.kill().unwrap();
    noise.wait().unwrap();
}

#[test]
fn two_runs_into_one_folder_give_whole_files_and_nothing_else() {
    let desk = Desk::new();
    let names: Vec<String> = (0..6).map(|n| format!("lesson-{n}.wav")).collect();
    names
        .iter()
        .for_each(|name| drop(desk.file(name, &sound())));
    let run = || {
        let call = ["take", "--write", "json", "--into", "out"].map(str::to_owned);
        desk.command(call.into_iter().chain(names.clone()))
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap()
    };
    for answer in [run(), run()].map(answer_of) {
        assert_eq!((answer.code, answer.err.as_str()), (0, ""));
    }
    let written = desk.files_in("out/");
    assert_eq!(written.len(), names.len(), "{written:?}");
    for file in written {
        let text = std::fs::read_to_string(desk.path(&file)).unwrap();
        assert!(
            serde_json::from_str::<serde_json::Value>(&text).is_ok(),
            "{file}"
        );
    }
}
