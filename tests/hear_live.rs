//! `lidprop hear` at a real sound server: lines for pipes, and the screen in a real terminal.

#![cfg(all(feature = "live", target_os = "linux"))]

mod support;

use std::io::BufRead;
use std::process::{Child, Command};
use std::time::{Duration, Instant};
use support::sound_server::SoundServer;
use support::terminal::{PATIENCE, Terminal};
use support::{as_stereo_wav, lidprop_at, test_audio, wait_until_listening};

fn hear(server: &SoundServer, arguments: &[&str]) -> Command {
    lidprop_at(server, &[&["hear"], arguments].concat())
}

/// The folder that stands for the user's home in the server's environment.
fn home(server: &SoundServer) -> std::path::PathBuf {
    let environment = server.environment();
    environment
        .into_iter()
        .find(|(name, _)| *name == "HOME")
        .expect("HOME is set")
        .1
}

fn end(child: &Child) {
    let ended = Command::new("kill")
        .args(["-TERM", &child.id().to_string()])
        .status()
        .unwrap();
    assert!(ended.success());
}

#[test]
fn a_recording_played_into_the_microphone_is_named_line_by_line() {
    let Some(server) = SoundServer::start_or_skip() else {
        return;
    };
    let folder = tempfile::tempdir().unwrap();
    let sound = as_stereo_wav(&test_audio("held-chords.flac"), folder.path());
    let chart = folder.path().join("lesson.txt");
    let file = chart.to_str().unwrap();
    let mut child = hear(&server, &["--chart", file]).spawn().unwrap();
    let _told = wait_until_listening(&mut child);
    server.play(&sound).wait().unwrap();
    end(&child);
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(0), "ended by a signal, cleanly");
    let out = String::from_utf8(output.stdout).unwrap();
    assert!(
        !out.contains('\x1b'),
        "no escape sequences in a pipe: {out}"
    );
    let wanted = best_names("held-chords.flac");
    let heard = wanted
        .iter()
        .filter(|name| out.contains(name.as_str()))
        .count();
    assert!(
        2 * heard > wanted.len(),
        "live and from the file, most names are the same: {wanted:?}\n{out}"
    );
    let chart = std::fs::read_to_string(chart).unwrap();
    let in_chart = wanted.iter().filter(|name| chart.contains(name.as_str()));
    assert!(2 * in_chart.count() > wanted.len(), "{wanted:?}\n{chart}");
}

/// The best names that `take` gives for a recording, each once.
fn best_names(recording: &str) -> Vec<String> {
    let output = Command::new(env!("CARGO_BIN_EXE_lidprop"))
        .args(["take", "--write", "json"])
        .arg(test_audio(recording))
        .output()
        .unwrap();
    let document: lidprop::chart::document::Recording =
        serde_json::from_slice(&output.stdout).unwrap();
    let mut names: Vec<String> = document
        .chords
        .iter()
        .filter_map(|chord| Some(chord.names.first()?.symbol.clone()))
        .collect();
    names.sort();
    names.dedup();
    assert!(names.len() >= 3, "the recording holds chords: {names:?}");
    names
}

#[test]
fn json_lines_hold_notes_and_chords_as_the_document_does() {
    let Some(server) = SoundServer::start_or_skip() else {
        return;
    };
    let folder = tempfile::tempdir().unwrap();
    let sound = as_stereo_wav(&test_audio("borrowed-dominants.flac"), folder.path());
    let mut child = hear(&server, &["--write", "json"]).spawn().unwrap();
    let _told = wait_until_listening(&mut child);
    server.play(&sound).wait().unwrap();
    end(&child);
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(0));
    let (mut notes, mut chords) = (0, 0);
    for line in String::from_utf8(output.stdout).unwrap().lines() {
        let mut value: serde_json::Value = serde_json::from_str(line).unwrap();
        if let Some(note) = value.get_mut("note") {
            let _: lidprop::chart::document::HeardNote =
                serde_json::from_value(note.take()).unwrap();
            notes += 1;
        } else if value.get("harmony").is_none() {
            let _: lidprop::chart::document::HeardChord =
                serde_json::from_value(value["chord"].take()).unwrap();
            chords += 1;
        }
    }
    assert!(
        notes > chords && chords > 0,
        "{notes} notes, {chords} chords"
    );
}

#[test]
fn the_harmony_of_what_is_played_on_stands_in_lines_and_in_json_lines() {
    let Some(server) = SoundServer::start_or_skip() else {
        return;
    };
    let folder = tempfile::tempdir().unwrap();
    let sound = as_stereo_wav(&test_audio("rolled-ballad.flac"), folder.path());
    let mut children =
        ["--plain", "--write=json"].map(|words| hear(&server, &[words]).spawn().unwrap());
    let _told: Vec<_> = children.iter_mut().map(wait_until_listening).collect();
    server.play(&sound).wait().unwrap();
    children.iter().for_each(end);
    let [lines, json] = children.map(|child| {
        let output = child.wait_with_output().unwrap();
        assert_eq!(output.status.code(), Some(0));
        String::from_utf8(output.stdout).unwrap()
    });
    let told: Vec<&str> = lines
        .lines()
        .filter(|line| line.contains("  harmony "))
        .collect();
    for name in ["A♭13", "D♭maj9", "F7(♭9)"] {
        assert!(
            told.iter().any(|line| line.contains(name)),
            "{name} in\n{lines}"
        );
    }
    let mut last = -1.0;
    let mut stretches = 0;
    for line in json.lines() {
        let mut value: serde_json::Value = serde_json::from_str(line).unwrap();
        let Some(harmony) = value.get_mut("harmony") else {
            continue;
        };
        let stretch: lidprop::chart::document::HarmonyStretch =
            serde_json::from_value(harmony.take()).unwrap();
        assert!(
            stretch.start.get() > last && stretch.end > stretch.start,
            "{line}"
        );
        last = stretch.start.get();
        stretches += 1;
    }
    assert!(stretches >= 5, "{stretches} in\n{json}");
}

#[test]
fn a_terminal_that_draws_no_screens_gets_lines() {
    let Some(server) = SoundServer::start_or_skip() else {
        return;
    };
    let folder = tempfile::tempdir().unwrap();
    let sound = as_stereo_wav(&test_audio("held-chords.flac"), folder.path());
    let Some(terminal) = Terminal::open_or_skip(&server, 103, 30) else {
        return;
    };
    terminal.shows("ready>");
    let binary = env!("CARGO_BIN_EXE_lidprop");
    terminal.keys(&[
        &format!("TERM=dumb {binary} hear --for 8; echo ended $?"),
        "Enter",
    ]);
    terminal.shows("listening to");
    let mut player = server.play(&sound);
    // a line of a chord: its time, its keys, its name
    terminal.shows("0:0");
    assert_eq!(
        terminal
            .tmux(&["display-message", "-p", "#{alternate_on}"])
            .trim(),
        "0",
        "no screen is drawn"
    );
    player.kill().unwrap();
    player.wait().unwrap();
    terminal.shows("ended 0");
}

#[test]
fn the_bar_of_a_reading_does_not_come_between_charts_in_a_pipe() {
    let Some(server) = SoundServer::start_or_skip() else {
        return;
    };
    let Some(terminal) = Terminal::open_or_skip(&server, 104, 50) else {
        return;
    };
    terminal.shows("ready>");
    let binary = env!("CARGO_BIN_EXE_lidprop");
    let files = ["formats/note.flac", "rolled-ballad.flac"].map(test_audio);
    let files = files.map(|file| file.display().to_string()).join(" ");
    terminal.keys(&[
        &format!("clear; {binary} take {files} | cat; echo done $?"),
        "Enter",
    ]);
    let screen = terminal.shows("done 0");
    assert!(
        screen.contains("D♭maj9") && !screen.contains("to go"),
        "{screen}"
    );
}

#[test]
fn a_reader_that_goes_away_ends_it_quietly() {
    let Some(server) = SoundServer::start_or_skip() else {
        return;
    };
    let folder = tempfile::tempdir().unwrap();
    let sound = as_stereo_wav(&test_audio("held-chords.flac"), folder.path());
    let mut child = hear(&server, &["--write", "json", "--for", "60"])
        .spawn()
        .unwrap();
    let _told = wait_until_listening(&mut child);
    drop(child.stdout.take());
    let mut player = server.play(&sound);
    let ended = wait_for(|| child.try_wait().unwrap());
    player.kill().unwrap();
    player.wait().unwrap();
    assert_eq!(ended.code(), Some(0));
}

/// Waits until `look` finds something.
#[track_caller]
fn wait_for<T>(mut look: impl FnMut() -> Option<T>) -> T {
    let start = Instant::now();
    loop {
        if let Some(found) = look() {
            return found;
        }
        assert!(
            start.elapsed() < PATIENCE,
            "waited for {PATIENCE:?} in vain"
        );
        std::thread::sleep(Duration::from_millis(50));
    }
}

#[test]
fn the_screen_shows_what_is_played_survives_resizing_and_restores_the_terminal() {
    let Some(server) = SoundServer::start_or_skip() else {
        return;
    };
    let folder = tempfile::tempdir().unwrap();
    let sound = as_stereo_wav(&test_audio("held-chords.flac"), folder.path());
    let binary = env!("CARGO_BIN_EXE_lidprop");
    let into = folder.path().join("kept");
    {
        let Some(terminal) = Terminal::open_or_skip(&server, 100, 30) else {
            return;
        };
        terminal.shows("ready>");
        terminal.keys(&[&format!("{binary} hear --into {}", into.display()), "Enter"]);
        terminal.shows("listening");
        let mut player = server.play(&sound);
        let settled = terminal.shows("= settled");
        assert!(
            settled.contains("notes ") && settled.contains("bass "),
            "{settled}"
        );
        terminal.tmux(&["resize-window", "-x", "60", "-y", "20"]);
        terminal.shows("q quit");
        terminal.keys(&["p"]);
        terminal.shows("PAUSED");
        terminal.keys(&["p"]);
        terminal.keys(&["m"]);
        terminal.shows("marked ");
        terminal.keys(&["w", "qq", "Enter"]);
        terminal.keys(&["k"]);
        terminal.shows("kept: ");
        player.kill().unwrap();
        player.wait().unwrap();
        terminal.keys(&["q"]);
        terminal.shows(": qq\n"); // what is typed while the program still reads keys is the program's
        terminal.shows("\nready>");
        terminal.keys(&["stty -a | grep -o ' icanon'", "Enter"]);
        terminal.shows(" icanon");
    }
    let kept: serde_json::Value =
        serde_json::from_slice(&std::fs::read(into.join("kept-1.json")).unwrap()).unwrap();
    assert!(kept["seconds"].as_f64().unwrap() > 0.5);
    assert_eq!(kept["marks"][0]["word"], "qq");
    assert!(into.join("kept-1.wav").exists());
}

#[test]
fn an_input_that_is_pulled_out_and_plugged_in_again_is_waited_for() {
    let Some(mut server) = SoundServer::start_or_skip() else {
        return;
    };
    let mut child = hear(&server, &["--plain"]).spawn().unwrap();
    let mut told = wait_until_listening(&mut child);
    let mut next = || {
        let mut line = String::new();
        told.read_line(&mut line).unwrap();
        line
    };
    server.unplug();
    let lost = next();
    assert!(
        lost.contains("lost") && lost.contains("waiting for it to come back"),
        "{lost}"
    );
    server.plug_in().unwrap();
    let back = next();
    assert!(back.contains("listening to"), "{back}");
    end(&child);
    assert_eq!(child.wait().unwrap().code(), Some(0));
}

#[test]
fn a_terminated_screen_leaves_an_ordinary_terminal() {
    let Some(server) = SoundServer::start_or_skip() else {
        return;
    };
    let Some(terminal) = Terminal::open_or_skip(&server, 80, 24) else {
        return;
    };
    terminal.shows("ready>");
    // The shell in front becomes the program, so that its number is known.
    let script = format!(
        "sh -c 'echo $$ > $HOME/number; exec {} hear'; echo ended $?",
        env!("CARGO_BIN_EXE_lidprop")
    );
    terminal.keys(&[&script, "Enter"]);
    terminal.shows("listening");
    let number = std::fs::read_to_string(home(&server).join("number")).unwrap();
    assert!(
        Command::new("kill")
            .args(["-TERM", number.trim()])
            .status()
            .unwrap()
            .success()
    );
    terminal.shows("ended 0");
    terminal.keys(&["clear; stty -a | grep -o ' icanon'", "Enter"]);
    terminal.shows(" icanon");
}

/// Plays to the screen under `environment`; gives the settled screen with the escape sequences of its colours and weights, as the terminal
/// has understood them.
fn screen_with_its_escapes(environment: &str, columns: u16) -> Option<String> {
    let server = SoundServer::start_or_skip()?;
    let folder = tempfile::tempdir().unwrap();
    let sound = as_stereo_wav(&test_audio("held-chords.flac"), folder.path());
    let terminal = Terminal::open_or_skip(&server, columns, 30)?;
    terminal.shows("ready>");
    let binary = env!("CARGO_BIN_EXE_lidprop");
    terminal.keys(&[&format!("clear; env {environment} {binary} hear"), "Enter"]);
    terminal.shows("listening");
    let mut player = server.play(&sound);
    terminal.shows("= settled");
    let screen = terminal.tmux(&["capture-pane", "-e", "-p"]);
    player.kill().unwrap();
    player.wait().unwrap();
    Some(screen)
}

/// The colours that are chosen in a text with escape sequences: SGR parameters from 30 on, but for those that choose the terminal's own
/// (ECMA-48, 8.3.117; 90 to 107 are the usual extension).
fn colours(text: &str) -> Vec<u32> {
    text.split("\x1b[")
        .skip(1)
        .filter_map(|sequence| sequence.split_once('m'))
        .flat_map(|(parameters, _)| parameters.split(';'))
        .filter_map(|parameter| parameter.parse().ok())
        .filter(|&parameter| parameter >= 30 && parameter != 39 && parameter != 49)
        .collect()
}

#[test]
fn without_colour_the_screen_writes_none_and_says_the_same_in_words_and_marks() {
    let Some(plain) = screen_with_its_escapes("NO_COLOR=1", 101) else {
        return;
    };
    assert_eq!(
        colours(&plain),
        [0; 0],
        "weights may stay, colours not: {plain:?}"
    );
    // the standing of the answer; the keys that sound, by pillars and by names; the level, by a bar and a number
    for meaning in ["= settled", "█", "notes ", "■", " dB"] {
        assert!(plain.contains(meaning), "no '{meaning}' in\n{plain}");
    }
    let Some(coloured) = screen_with_its_escapes("NO_COLOR=", 102) else {
        return;
    };
    assert_ne!(
        colours(&coloured),
        [0; 0],
        "an empty value asks for nothing: {coloured:?}"
    );
}

/// A fault inside lidprop, which only builds with debug assertions let a test ask for, is told on an ordinary terminal.
#[track_caller]
fn assert_a_fault_leaves_an_ordinary_terminal(place: &str, columns: u16) {
    if !cfg!(debug_assertions) {
        eprintln!("SKIPPED: a release build cannot be asked to panic");
        return;
    }
    let Some(server) = SoundServer::start_or_skip() else {
        return;
    };
    let Some(terminal) = Terminal::open_or_skip(&server, columns, 24) else {
        return;
    };
    terminal.shows("ready>");
    let script = format!(
        "RUST_BACKTRACE=0 LIDPROP_TEST_PANIC={place} {} hear; echo ended $?",
        env!("CARGO_BIN_EXE_lidprop")
    );
    terminal.keys(&[&script, "Enter"]);
    // 101 is the exit code of a panic, 1 that of a thread that is gone
    let told = terminal.shows(if place == "screen" {
        "ended 101"
    } else {
        "ended 1"
    });
    assert!(told.contains("a test asked for this"), "{told}");
    assert_eq!(
        terminal
            .tmux(&["display-message", "-p", "#{alternate_on}"])
            .trim(),
        "0",
        "the screen of before is back"
    );
    terminal.keys(&["clear; stty -a | grep -o ' icanon'", "Enter"]);
    terminal.shows(" icanon");
}

#[test]
fn a_panic_of_the_screen_leaves_an_ordinary_terminal_and_is_told() {
    assert_a_fault_leaves_an_ordinary_terminal("screen", 110);
}

#[test]
fn a_panic_of_the_listening_thread_ends_the_screen_and_is_told() {
    assert_a_fault_leaves_an_ordinary_terminal("listening", 111);
}

#[test]
fn a_panic_while_the_input_is_opened_is_told_as_what_it_is() {
    assert_a_fault_leaves_an_ordinary_terminal("opening", 112);
}
