//! Microphones behind a real sound server: listed, chosen by their own names, missed when they are gone.

#![cfg(all(feature = "live", target_os = "linux"))]

mod support;

use std::io::BufRead;
use std::process::Command;
use support::sound_server::SoundServer;
use support::{lidprop_at, wait_until_listening};

const LID: (&str, &str) = ("mic_lid", "Lid Microphone");

/// A server with three microphones, two of which are called the same; gives what takes the first one out.
fn with_three(server: &SoundServer) -> String {
    let lid = server.plug_in_microphone(LID.0, LID.1);
    server.plug_in_microphone("mic_left", "Desk Microphone");
    server.plug_in_microphone("mic_right", "Desk Microphone");
    lid
}

/// Standard output and standard error of a sound check.
fn soundcheck(server: &SoundServer, options: &[&str]) -> (String, String) {
    let output = lidprop_at(server, &[&["soundcheck"], options].concat())
        .output()
        .unwrap();
    let text = |bytes| String::from_utf8(bytes).unwrap();
    (text(output.stdout), text(output.stderr))
}

#[test]
fn microphones_are_listed_by_their_own_names_before_what_the_computer_plays() {
    let Some(server) = SoundServer::start_or_skip() else {
        return;
    };
    with_three(&server);
    let (list, _) = soundcheck(&server, &["--seconds", "0"]);
    let row = |id: &str| {
        let rows = list.lines().enumerate();
        let found: Vec<_> = rows
            .filter(|(_, row)| row.ends_with(&format!("({id})")))
            .collect();
        assert_eq!(found.len(), 1, "{id}\n{list}");
        found[0]
    };
    assert!(
        row("pulse:mic_lid").1.contains("Lid Microphone  "),
        "{list}"
    );
    assert!(row("pulse:mic_lid").1.contains("48000 Hz, 2 channels"));
    assert!(
        row("default").1.starts_with('>'),
        "the default stays: {list}"
    );
    assert!(row("pulse:mic_right").0 < row("pulse:stage.monitor").0);
    assert!(!list.contains("Behind the sound server"), "{list}");
}

#[test]
fn part_of_a_name_chooses_and_twins_are_told_apart_by_what_stands_in_brackets() {
    let Some(server) = SoundServer::start_or_skip() else {
        return;
    };
    with_three(&server);
    for (wanted, chosen) in [
        ("lid", "Lid Microphone"),
        ("mic_right", "Desk Microphone"),
        ("pulse:mic_left", "Desk Microphone"),
    ] {
        let (told, _) = soundcheck(&server, &["--seconds", "1", "--device", wanted]);
        let listening = format!("Listening to \"{chosen}\" for 1 s");
        assert!(told.contains(&listening), "{wanted}: {told}");
    }
    let (_, refused) = soundcheck(&server, &["--seconds", "1", "--device", "Desk Microphone"]);
    assert_eq!(
        refused,
        "lidprop: \"Desk Microphone\" fits several sound inputs (Desk Microphone [pulse:mic_left], Desk Microphone [pulse:mic_right]); \
         give more of the name, or what stands in brackets\n"
    );
}

#[test]
fn a_microphone_that_is_gone_is_missed_although_the_server_has_others_and_taken_again() {
    let Some(server) = SoundServer::start_or_skip() else {
        return;
    };
    let lid = with_three(&server);
    let mut child = lidprop_at(&server, &["hear", "--plain", "--device", "lid"])
        .spawn()
        .unwrap();
    let mut told = wait_until_listening(&mut child);
    let mut until = |wanted: &str| {
        let mut lines = String::new();
        // That nothing is played may be told as well.
        while !lines.contains(wanted) {
            let read = told.read_line(&mut lines).unwrap();
            assert!(read > 0, "\"{wanted}\" never came: {lines}");
        }
    };
    server.take_out(&lid);
    until("Lid Microphone is lost: it was unplugged or switched off");
    server.plug_in_microphone(LID.0, LID.1);
    until("listening to Lid Microphone");
    let number = child.id().to_string();
    let ended = Command::new("kill").args(["-TERM", &number]).status();
    assert!(ended.unwrap().success());
    assert_eq!(child.wait().unwrap().code(), Some(0));
}
