//! `lidprop drill` at a real sound server: what is played into the virtual microphone is marked live and found in the logbook.

#![cfg(all(feature = "live", target_os = "linux"))]

#[path = "support/drilled.rs"]
mod drilled;
mod support;

use drilled::{chords, six_with_three_slips};
use std::io::{BufRead, BufReader};
use std::process::{Child, Command};
use std::sync::{Mutex, MutexGuard, PoisonError, mpsc};
use std::time::Duration;
use support::sound_server::SoundServer;
use support::terminal::Terminal;
use support::{lidprop_at, stereo_wav, wait_until_listening};

/// One test at a time: each runs one or two whole listeners in real time, and a small machine has two cores.
fn alone() -> MutexGuard<'static, ()> {
    static ALONE: Mutex<()> = Mutex::new(());
    ALONE.lock().unwrap_or_else(PoisonError::into_inner)
}

fn drill(server: &SoundServer, folder: &tempfile::TempDir, arguments: &[&str]) -> Command {
    let mut command = lidprop_at(server, &[&["drill"], arguments].concat());
    command.env("XDG_DATA_HOME", folder.path());
    command
}

fn end(child: Child) -> String {
    let ended = Command::new("kill")
        .args(["-TERM", &child.id().to_string()])
        .status()
        .unwrap();
    assert!(ended.success());
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(0), "ended by a signal, cleanly");
    String::from_utf8(output.stdout).unwrap()
}

/// What the logbook tells of a player, as JSON.
fn logbook(server: &SoundServer, folder: &tempfile::TempDir, player: &str) -> serde_json::Value {
    let mut command = Command::new(env!("CARGO_BIN_EXE_lidprop"));
    server.apply(&mut command);
    let output = command
        .env("XDG_DATA_HOME", folder.path())
        .args(["logbook", "--write", "json", "--player", player])
        .output()
        .unwrap();
    serde_json::from_slice(&output.stdout).unwrap()
}

#[test]
fn planned_slips_are_marked_live_and_found_in_the_logbook() {
    let _alone = alone();
    let Some(server) = SoundServer::start_or_skip() else {
        return;
    };
    let folder = tempfile::tempdir().unwrap();
    let sound = stereo_wav(&six_with_three_slips(), folder.path().join("drill.wav"));
    // a chord every two seconds whatever is played
    let arguments = ["dim(maj7)", "--tempo", "30", "--plain"];
    let mut child = drill(&server, &folder, &arguments).spawn().unwrap();
    let _told = wait_until_listening(&mut child);
    server.play(&sound).wait().unwrap();
    std::thread::sleep(Duration::from_millis(500));
    let out = end(child);
    assert!(
        out.contains("Stop if anything hurts"),
        "a word of care: {out}"
    );
    assert!(
        !out.contains('\x1b'),
        "no escape sequences in a pipe: {out}"
    );
    for words in [
        "+ right Cdim(maj7)",
        "E4 is missing",
        "Ab4 on top in place of G4",
    ] {
        assert!(out.contains(words), "'{words}' in:\n{out}");
    }
    let told = logbook(&server, &folder, "me");
    let marks = out
        .lines()
        .filter(|line| line.starts_with(['+', 'x', '?']))
        .count() as u64;
    let total = &told["total"];
    let kept: u64 = ["right", "slip", "unsure"]
        .iter()
        .filter_map(|word| total[word].as_u64())
        .sum();
    assert_eq!(
        kept, marks,
        "each mark that was shown is kept:\n{out}\n{total}"
    );
    assert!(marks >= 5, "{out}");
}

#[test]
fn a_killed_drill_has_kept_every_mark_that_it_showed() {
    let _alone = alone();
    let Some(server) = SoundServer::start_or_skip() else {
        return;
    };
    let folder = tempfile::tempdir().unwrap();
    let sound = chords(&[&[48, 51, 54, 59], &[53, 56, 59, 64], &[58, 61, 64, 69]]);
    let sound = stereo_wav(&sound, folder.path().join("drill.wav"));
    let mut child = drill(&server, &folder, &["dim(maj7)", "--plain"])
        .spawn()
        .unwrap();
    let _told = wait_until_listening(&mut child);
    let mut playing = server.play(&sound);
    let lines = BufReader::new(child.stdout.take().unwrap()).lines();
    let (tell, told) = mpsc::channel();
    std::thread::spawn(move || {
        lines
            .map_while(Result::ok)
            .try_for_each(|line| tell.send(line))
    });
    let mut shown = 0;
    while shown < 2 {
        let line = told
            .recv_timeout(Duration::from_secs(30))
            .expect("two marks are shown");
        shown += u64::from(line.starts_with("+ right"));
    }
    child.kill().unwrap();
    child.wait().unwrap();
    playing.wait().unwrap();
    let told = logbook(&server, &folder, "me");
    assert_eq!(told["total"]["right"], shown);
}

#[test]
fn two_drills_at_once_lose_nothing() {
    let _alone = alone();
    let Some(server) = SoundServer::start_or_skip() else {
        return;
    };
    let folder = tempfile::tempdir().unwrap();
    let sound = chords(&[&[48, 51, 54, 59], &[53, 56, 59, 64]]);
    let sound = stereo_wav(&sound, folder.path().join("drill.wav"));
    let mut children: Vec<(&str, Child)> = ["Ada", "Bo"]
        .into_iter()
        .map(|player| {
            let arguments = ["dim(maj7)", "--plain", "--player", player];
            (player, drill(&server, &folder, &arguments).spawn().unwrap())
        })
        .collect();
    let _told: Vec<_> = children
        .iter_mut()
        .map(|(_, child)| wait_until_listening(child))
        .collect();
    server.play(&sound).wait().unwrap();
    std::thread::sleep(Duration::from_millis(500));
    for (player, child) in children {
        let out = end(child);
        let right = out
            .lines()
            .filter(|line| line.starts_with("+ right"))
            .count();
        let told = logbook(&server, &folder, player);
        assert_eq!(told["total"]["right"], right, "{player}: {out}");
        assert_eq!(right, 2, "{player}: {out}");
    }
}

#[test]
fn its_own_tone_is_never_marked_as_the_players_and_what_is_played_then_is() {
    let _alone = alone();
    let Some(server) = SoundServer::start_or_skip() else {
        return;
    };
    let folder = tempfile::tempdir().unwrap();
    // the output of the virtual loudspeaker is the microphone: it hears all that it plays
    let arguments = [
        "dim(maj7)",
        "--listen",
        "--sound-is-safe",
        "--plain",
        "--order",
        "C F",
        "--volume",
        "-14",
    ];
    let mut child = drill(&server, &folder, &arguments).spawn().unwrap();
    let _told = wait_until_listening(&mut child);
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
    let prompt = lines.find(|line| line.as_ref().unwrap().starts_with("1 of 2"));
    let prompt = prompt.expect("it asks").unwrap();
    assert!(
        !prompt.contains("Cdim"),
        "what is to be found is not told: {prompt}"
    );
    // longer than its tone and the echo that is allowed for
    std::thread::sleep(Duration::from_secs(5));
    let sound = chords(&[&[48, 51, 54, 59]]);
    let sound = stereo_wav(&sound, folder.path().join("found.wav"));
    server.play(&sound).wait().unwrap();
    let mark = lines.next().expect("it marks").unwrap();
    assert!(mark.starts_with("+ right Cdim(maj7)"), "{mark}");
    std::thread::sleep(Duration::from_secs(4));
    end(child);
    let told = logbook(&server, &folder, "me");
    let total = &told["total"];
    assert_eq!(
        (&total["right"], &total["slip"], &total["unsure"]),
        (&1.into(), &0.into(), &0.into())
    );
}

#[test]
fn the_screen_asks_marks_and_goes_on_by_itself_and_restores_the_terminal() {
    let _alone = alone();
    let Some(server) = SoundServer::start_or_skip() else {
        return;
    };
    let folder = tempfile::tempdir().unwrap();
    let sound = chords(&[&[48, 51, 54, 59], &[53, 56, 59]]);
    let sound = stereo_wav(&sound, folder.path().join("drill.wav"));
    let Some(terminal) = Terminal::open_or_skip(&server, 100, 30) else {
        return;
    };
    terminal.shows("ready>");
    let data = folder.path().display();
    let binary = env!("CARGO_BIN_EXE_lidprop");
    let command = format!("XDG_DATA_HOME={data} {binary} drill 'dim(maj7)' --ascii");
    terminal.keys(&[&command, "Enter"]);
    let asked = terminal.shows("1 of 12");
    assert!(
        asked.contains("root position") && asked.contains("Stop if anything hurts"),
        "{asked}"
    );
    server.play(&sound).wait().unwrap();
    let marked = terminal.shows("x SLIP   Fdim(maj7)");
    assert!(
        marked.contains("E4 is missing") && marked.contains(" C+ ") && marked.contains("[Fx]"),
        "{marked}"
    );
    terminal.keys(&["n"]);
    terminal.shows("3 of 12");
    terminal.keys(&["q"]);
    terminal.shows("1 right, 1 slip, 0 unsure\nready>");
    terminal.keys(&["stty -a | grep -o ' icanon'", "Enter"]);
    terminal.shows(" icanon");
}
