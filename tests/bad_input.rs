//! Bad input: one sentence that says what, where and what to do; the exit code; nothing half-written.

#[path = "support/command.rs"]
mod command;

use command::{Answer, Desk, tone, wav, wav_of};
use std::process::{Command, Stdio};

/// A whole recording, one second long.
fn sound() -> Vec<u8> {
    let samples = tone();
    wav(22_050, &samples, 2 * samples.len() as u32)
}

#[test]
fn what_is_no_recording_is_refused_with_its_name_and_a_remedy() {
    let desk = Desk::new();
    desk.file("notes.wav", b"Shopping: felt, tuning pins, tea.\n");
    desk.file("nothing.wav", b"");
    desk.file("folder/inside.txt", b"x");
    for (file, words) in [
        (
            "notes.wav",
            &["notes.wav", "no sound format", "give WAV"][..],
        ),
        ("nothing.wav", &["nothing.wav", "empty"]),
        ("folder", &["folder", "name the recordings in it"]),
        (
            "gone.wav",
            &["gone.wav", "no such file", "check the spelling"],
        ),
    ] {
        desk.run(["take", file]).refuses(1, words);
        desk.run(["take", "--write", "json", file])
            .refuses(1, words);
    }
    assert_eq!(
        desk.files(),
        ["folder/inside.txt", "notes.wav", "nothing.wav"]
    );
}

#[test]
fn a_refused_recording_leaves_no_file_and_does_not_stop_the_others() {
    let desk = Desk::new();
    desk.file("monday.wav", &sound());
    desk.file("tuesday.wav", b"not a sound");
    desk.file("friday.wav", &sound());
    let answer = desk.run([
        "take",
        "--write",
        "json",
        "--into",
        "out",
        "monday.wav",
        "tuesday.wav",
        "friday.wav",
    ]);
    answer.refuses(1, &["tuesday.wav"]);
    assert_eq!(
        desk.files(),
        [
            "friday.wav",
            "monday.wav",
            "out/friday.json",
            "out/monday.json",
            "tuesday.wav"
        ]
    );
}

#[test]
fn a_part_that_is_none_is_refused_and_one_that_runs_over_is_told() {
    let desk = Desk::new();
    desk.file("monday.wav", &sound());
    for (options, code, words) in [
        (
            &["--from", "0:02", "--to", "0:02"][..],
            2,
            &["--to 0:02.0", "--from 0:02.0", "later"][..],
        ),
        (&["--to", "0"], 2, &["--to 0:00.0"]),
        (
            &["--from", "0:05"],
            1,
            &["monday.wav", "ends at 0:01.0", "before 0:05.0", "--from"],
        ),
    ] {
        let call = ["take", "monday.wav"].iter().chain(options);
        desk.run(call).refuses(code, words);
    }
    for time in ["soon", "1:75"] {
        let answer = desk.run(["take", "monday.wav", "--from", time]);
        assert!(
            answer.code == 2
                && answer
                    .err
                    .contains("1:20, 1:02:03.5 or in seconds, say 80.5"),
            "{}",
            answer.err
        );
    }
    let answer = desk.run(["take", "monday.wav", "--from", "0.2", "--to", "0:03"]);
    assert_eq!(answer.code, 0, "{}", answer.err);
    assert!(
        answer.out.contains("0:00.2 to 0:01.0")
            && answer
                .out
                .contains("note: the recording ends at 0:01.0, before 0:03.0"),
        "{}",
        answer.out
    );
}

#[cfg(unix)]
#[test]
fn a_recording_that_may_not_be_read_says_so() {
    use std::os::unix::fs::PermissionsExt;
    let desk = Desk::new();
    let path = desk.file("locked.wav", &sound());
    std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o000)).unwrap();
    if std::fs::read(&path).is_ok() {
        eprintln!("SKIPPED: this user may read every file, so permission cannot be denied here");
        return;
    }
    desk.run(["take", "locked.wav"])
        .refuses(1, &["locked.wav", "not permitted"]);
}

#[test]
fn wrong_lengths_in_the_header_do_not_lose_what_is_there() {
    let samples = tone();
    let desk = Desk::new();
    for (name, stated) in [
        ("streamed.wav", u32::MAX),
        ("cut.wav", 400_000),
        ("zero.wav", 0),
    ] {
        desk.file(name, &wav(22_050, &samples, stated));
        let answer = desk.run(["take", "--write", "json", name]);
        assert_eq!(answer.code, 0, "{name}: {}", answer.err);
        let document: serde_json::Value = serde_json::from_str(&answer.out).unwrap();
        assert_eq!(document["seconds"], 1.0, "{name}");
    }
}

#[test]
fn samples_that_are_no_number_are_told_and_the_rest_is_read() {
    let desk = Desk::new();
    let mut samples: Vec<f32> = tone()
        .iter()
        .map(|&sample| f32::from(sample) / 32_768.0)
        .collect();
    (samples[100], samples[200], samples[300]) = (f32::NAN, f32::INFINITY, f32::NEG_INFINITY);
    let data: Vec<u8> = samples
        .iter()
        .flat_map(|sample| sample.to_le_bytes())
        .collect();
    desk.file(
        "broken.wav",
        &wav_of(22_050, 3, 32, &data, data.len() as u32),
    );
    let answer = desk.run(["take", "--write", "json", "broken.wav"]);
    assert_eq!(answer.code, 0, "{}", answer.err);
    let document: serde_json::Value = serde_json::from_str(&answer.out).unwrap();
    assert!(
        document["warnings"][0]
            .as_str()
            .unwrap()
            .contains("no finite number"),
        "{document}"
    );
}

#[test]
fn silence_gives_no_chord_and_says_why() {
    let desk = Desk::new();
    desk.file("silence.wav", &wav(22_050, &[0; 44_100], 88_200));
    let answer = desk.run(["take", "silence.wav"]);
    assert_eq!(answer.code, 0, "{}", answer.err);
    assert!(
        answer.out.contains("silent throughout") && answer.out.contains("no chord was heard"),
        "{}",
        answer.out
    );
}

#[test]
fn a_sample_rate_of_zero_is_refused() {
    let desk = Desk::new();
    desk.file("rateless.wav", &wav(0, &[0; 100], 200));
    desk.run(["take", "rateless.wav"])
        .refuses(1, &["rateless.wav", "0 samples per second"]);
}

#[test]
fn several_recordings_cannot_share_standard_output_as_json() {
    let desk = Desk::new();
    desk.file("one.wav", &sound());
    desk.file("two.wav", &sound());
    desk.run(["take", "--write", "json", "one.wav", "two.wav"])
        .refuses(2, &["--into DIR"]);
}

#[test]
fn wrong_usage_ends_with_two() {
    let desk = Desk::new();
    for arguments in [
        &["take"][..],
        &["sing", "x.wav"],
        &["take", "--write", "poem", "x.wav"],
        &["take", "--a4", "12", "x.wav"],
        &["take", "--key", "H", "x.wav"],
        &["take", "--into", "out", "x.wav"],
    ] {
        let answer = desk.run(arguments);
        assert_eq!(answer.code, 2, "{arguments:?}: {}", answer.err);
        assert!(
            !answer.err.is_empty() && answer.out.is_empty(),
            "{arguments:?}"
        );
    }
}

#[test]
fn a_folder_that_cannot_be_written_to_is_told() {
    let desk = Desk::new();
    desk.file("lesson.wav", &sound());
    desk.file("taken", b"a file, no folder");
    desk.run(["take", "--write", "json", "--into", "taken", "lesson.wav"])
        .refuses(1, &["taken", "choose another folder"]);
    assert_eq!(
        std::fs::read(desk.path("taken")).unwrap(),
        b"a file, no folder"
    );
}

#[cfg(unix)]
#[test]
fn a_disk_that_takes_no_more_leaves_the_earlier_result_and_nothing_else() {
    let desk = Desk::new();
    desk.file("lesson.wav", &sound());
    let earlier = br#"{"schema":"lidprop/2","file":"an earlier one"}"#;
    desk.file("out/lesson.json", earlier);
    // No file may grow beyond 0 blocks, and the signal that says so is ignored: writing then fails as on a full disk.
    let script = "trap '' XFSZ; ulimit -f 0; exec \"$0\" take --write json --into out lesson.wav";
    let output = Command::new("sh")
        .args(["-c", script, env!("CARGO_BIN_EXE_lidprop")])
        .current_dir(desk.path(""))
        .output()
        .unwrap();
    Answer::of(output).refuses(1, &["out/lesson.json", "choose another folder"]);
    assert_eq!(desk.files(), ["lesson.wav", "out/lesson.json"]);
    assert_eq!(
        std::fs::read(desk.path("out/lesson.json")).unwrap(),
        earlier
    );
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_standard_output_is_told() {
    let desk = Desk::new();
    desk.file("lesson.wav", &sound());
    let full = std::fs::OpenOptions::new()
        .write(true)
        .open("/dev/full")
        .unwrap();
    let output = desk
        .command(["take", "--write", "json", "lesson.wav"])
        .stdout(full)
        .output()
        .unwrap();
    Answer::of(output).refuses(1, &["standard output", "--into DIR"]);
}

#[test]
fn a_closed_pipe_is_a_quiet_end() {
    let desk = Desk::new();
    desk.file("lesson.wav", &sound());
    for arguments in [
        &["take", "lesson.wav"][..],
        &["take", "--write", "json", "lesson.wav"],
        &["--help"],
    ] {
        let mut child = desk
            .command(arguments)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        drop(child.stdout.take());
        let answer = Answer::of(child.wait_with_output().unwrap());
        assert_eq!((answer.code, answer.err.as_str()), (0, ""), "{arguments:?}");
    }
}

#[cfg(all(feature = "live", target_os = "linux"))]
#[test]
fn a_computer_without_inputs_is_told_what_to_do() {
    let desk = Desk::new();
    let no_devices = desk.file("asound.conf", b"");
    for arguments in [
        &["hear", "--plain"][..],
        &["hear", "--device", "Piano Room"],
    ] {
        let output = desk
            .command(arguments)
            .env("ALSA_CONFIG_PATH", &no_devices)
            .output()
            .unwrap();
        Answer::of(output).refuses(1, &["microphone"]);
    }
}
