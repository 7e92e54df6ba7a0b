//! `lidprop standin --play` at a real sound server: the original and its stand-in sound in turn, and `lidprop hear --standins` hears them.

#![cfg(all(feature = "live", target_os = "linux"))]

mod support;

use std::process::Command;
use std::time::{Duration, Instant};
use support::sound_server::SoundServer;
use support::{lidprop_at, wait_until_listening};

fn lidprop(server: &SoundServer, folder: &tempfile::TempDir, arguments: &[&str]) -> Command {
    let mut command = lidprop_at(server, arguments);
    command.env("XDG_DATA_HOME", folder.path());
    command
}

#[test]
fn original_and_stand_in_are_played_in_turn_and_heard_with_stand_ins_of_their_own() {
    let Some(server) = SoundServer::start_or_skip() else {
        return;
    };
    let folder = tempfile::tempdir().unwrap();
    let hear = ["hear", "--plain", "--standins", "--style", "ascii"];
    let mut ear = lidprop(&server, &folder, &hear).spawn().unwrap();
    let _told = wait_until_listening(&mut ear);

    let play = [
        "standin",
        "Dm7 | G7 | Cmaj7",
        "--for",
        "2",
        "--most",
        "1",
        "--tempo",
        "120",
        "--play",
        "--sound-is-safe",
        "--volume",
        "-14",
    ];
    let begun = Instant::now();
    let output = lidprop(&server, &folder, &play).output().unwrap();
    let lasted = begun.elapsed();
    let out = String::from_utf8(output.stdout).unwrap();
    let err = String::from_utf8(output.stderr).unwrap();
    assert_eq!((output.status.code(), err.as_str()), (Some(0), ""));
    let played: Vec<&str> = out
        .lines()
        .filter(|line| line.starts_with("playing: "))
        .collect();
    assert_eq!(played, ["playing: original", "playing: 1 instead"], "{out}");
    // three bars of two seconds, one of rest, three more
    assert!(lasted > Duration::from_secs(13), "{lasted:?}");

    std::thread::sleep(Duration::from_secs(1));
    let ended = Command::new("kill")
        .args(["-TERM", &ear.id().to_string()])
        .status()
        .unwrap();
    assert!(ended.success());
    let heard = String::from_utf8(ear.wait_with_output().unwrap().stdout).unwrap();
    assert!(heard.lines().count() >= 5, "six chords sound:\n{heard}");
    let asked = heard.lines().filter(|line| line.contains("  stand-ins "));
    assert!(asked.count() >= 4, "{heard}");
}
