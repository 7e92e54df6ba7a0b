//! `lidprop soundcheck` at a real sound server, and where there is none.

#![cfg(all(feature = "live", target_os = "linux"))]

mod support;

use std::process::{Command, Output};
use support::sound_server::SoundServer;
use support::test_audio;

fn soundcheck(server: Option<&SoundServer>, arguments: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_lidprop"));
    match server {
        Some(server) => server.apply(&mut command),
        None => {
            command.env("ALSA_CONFIG_PATH", "/nonexistent/asound.conf");
        }
    }
    command
        .arg("soundcheck")
        .args(arguments)
        .output()
        .expect("the program runs")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

#[test]
fn the_inputs_are_listed_the_default_marked_and_the_level_measured() {
    let Some(server) = SoundServer::start_or_skip() else {
        return;
    };
    let folder = tempfile::tempdir().unwrap();
    let note = support::as_stereo_wav(&test_audio("formats/note.flac"), folder.path());
    let mut player = server.play(&note);
    let output = soundcheck(Some(&server), &["--seconds", "3"]);
    player.wait().unwrap();
    let out = text(&output.stdout);
    assert!(output.status.success(), "{}", text(&output.stderr));
    assert_eq!(
        text(&output.stderr),
        "",
        "the sound library's own messages are kept away"
    );
    let default = out.lines().find(|line| line.starts_with("> "));
    assert!(
        default.is_some_and(|line| line.contains("48000 Hz, 2 channels")),
        "{out}"
    );
    let loudest = out.lines().find(|line| line.contains("loudest moment"));
    // The recording's peak is 0.463: -6.7 dBFS.
    assert!(
        loudest.is_some_and(|line| line.ends_with("-7 dBFS")),
        "{out}"
    );
    assert!(out.contains("lost samples       0"), "{out}");
}

#[test]
fn a_misspelt_input_brings_the_names_there_are() {
    let Some(server) = SoundServer::start_or_skip() else {
        return;
    };
    let output = soundcheck(Some(&server), &["--device", "zither", "--seconds", "1"]);
    assert_eq!(output.status.code(), Some(1));
    let sentence = text(&output.stderr);
    assert!(
        sentence.contains("no sound input is called \"zither\"") && sentence.lines().count() == 1,
        "{sentence}"
    );
}

#[test]
fn a_muted_input_brings_the_advice_to_allow_the_microphone() {
    let Some(server) = SoundServer::start_or_skip() else {
        return;
    };
    let output = soundcheck(Some(&server), &["--seconds", "4"]);
    let out = text(&output.stdout);
    assert!(
        out.contains("Nothing but zeros arrive") && out.contains("privacy settings"),
        "{out}"
    );
}

#[test]
fn without_an_input_one_sentence_says_what_to_do() {
    let output = soundcheck(None, &[]);
    assert_eq!(output.status.code(), Some(1));
    let sentence = text(&output.stderr);
    assert!(
        sentence.contains("no sound input was found") && sentence.lines().count() == 1,
        "{sentence}"
    );
}
