//! Live sound through a real sound server: a recording is played into a virtual input and captured.
//!
//! The capture runs in a process of its own (this test binary again), because the sound library reads its environment once.

#![cfg(all(feature = "live", target_os = "linux"))]

mod support;

use lidprop::audio::capture::{StreamState, list_inputs, open_input};
use lidprop::units::{SampleRate, SampleSpan};
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};
use support::sound_server::SoundServer;
use support::test_audio;

/// Set in the child process; holds how many seconds to capture.
const CAPTURE_SECONDS: &str = "LIDPROP_TEST_CAPTURE_SECONDS";

/// A bound for a loaded machine; on an idle one the onset comes 13 to 39 ms after playing begins.
const ONSET_LIMIT: Duration = Duration::from_millis(300);

/// Where the first note lies in the recording.
const NOTE_AT: Duration = Duration::from_millis(300);

/// The child: captures and tells on standard output what it sees, a line an event.
#[test]
fn child_that_captures() {
    let Ok(seconds) = std::env::var(CAPTURE_SECONDS) else {
        return;
    };
    let limit = Duration::from_secs(seconds.parse().unwrap());
    for input in list_inputs().into_iter().flatten() {
        println!(
            "\ninput {} {} Hz {} ch {} default={}",
            input.id,
            input.rate.get(),
            input.channels,
            input.format,
            input.is_default
        );
    }
    let mut capture = open_input(None).unwrap_or_else(|e| panic!("{e}"));
    let info = capture.info();
    println!("opened {} Hz {} ch", info.rate.get(), info.channels);
    let (start, mut block, mut state) = (Instant::now(), Vec::new(), StreamState::Starting);
    let (mut heard, mut all) = (false, Vec::new());
    while start.elapsed() < limit {
        capture.wait(SampleSpan::ZERO, Duration::from_millis(5));
        let now = capture.read(&mut block);
        if now.state != state {
            println!("state {:?}", now.state);
            state = now.state;
        }
        if matches!(state, StreamState::Lost(_)) && capture.reopen().is_ok() {
            println!("reopened");
        }
        if !heard && block.iter().any(|x| x.abs() > 0.01) {
            heard = true;
            println!("onset");
        }
        all.extend_from_slice(&block);
    }
    let seconds = all.len() as f64 / f64::from(SampleRate::INTERNAL.get());
    let peak = all.iter().fold(0.0f32, |peak, x| peak.max(x.abs()));
    println!("ended {seconds:.3} {peak:.4} {:?}", capture.totals());
}

struct Capturing {
    child: Child,
    lines: Receiver<(Instant, String)>,
}

impl Capturing {
    fn start(server: &SoundServer, seconds: u32) -> Self {
        Self::start_with(server, seconds, None)
    }

    /// With an ALSA configuration of its own.
    fn start_with(server: &SoundServer, seconds: u32, alsa: Option<&Path>) -> Self {
        let mut command = Command::new(std::env::current_exe().unwrap());
        server.apply(&mut command);
        command.envs(alsa.map(|path| ("ALSA_CONFIG_PATH", path)));
        let mut child = command
            .args(["--exact", "child_that_captures", "--nocapture"])
            .env(CAPTURE_SECONDS, seconds.to_string())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let output = BufReader::new(child.stdout.take().unwrap());
        let (sender, lines) = channel();
        std::thread::spawn(move || {
            for line in output.lines().map_while(Result::ok) {
                if sender.send((Instant::now(), line)).is_err() {
                    break;
                }
            }
        });
        Self { child, lines }
    }

    /// Plays a note once sound is coming, and waits until both have ended: how long after playing began it was heard, and what the child tells at its end,
    /// which is that nothing was lost.
    fn hear(&self, server: &SoundServer, note: &Path) -> (Duration, String) {
        self.line("state Running");
        let played = Instant::now();
        let mut player = server.play(note);
        let onset = self.line("onset").0 - played;
        player.wait().unwrap();
        let ended = self.line("ended").1;
        assert!(ended.contains("dropped: 0, skipped: 0"), "{ended}");
        (onset, ended)
    }

    /// Waits for a line that starts with `wanted`.
    fn line(&self, wanted: &str) -> (Instant, String) {
        let limit = Duration::from_secs(15);
        loop {
            let (at, line) = self
                .lines
                .recv_timeout(limit)
                .unwrap_or_else(|_| panic!("\"{wanted}\" never came"));
            if line.starts_with(wanted) {
                return (at, line);
            }
        }
    }
}

impl Drop for Capturing {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

#[test]
fn a_recording_played_into_the_microphone_arrives_on_time_at_level_and_whole() {
    let Some(server) = SoundServer::start_or_skip() else {
        return;
    };
    let folder = tempfile::tempdir().unwrap();
    let note = support::as_stereo_wav(&test_audio("formats/note.flac"), folder.path());
    let capturing = Capturing::start(&server, 4);
    let input = capturing.line("input").1;
    assert!(input.contains("default=true"), "{input}");
    let (onset, ended) = capturing.hear(&server, &note);
    println!(
        "onset {:.0} ms after the strike; {ended}",
        (onset.as_secs_f64() - NOTE_AT.as_secs_f64()) * 1000.0
    );
    assert!(
        onset > NOTE_AT - Duration::from_millis(20) && onset < NOTE_AT + ONSET_LIMIT,
        "{onset:?}"
    );
    let mut numbers = ended
        .split(' ')
        .skip(1)
        .map_while(|n| n.parse::<f64>().ok());
    let (seconds, peak) = (numbers.next().unwrap(), numbers.next().unwrap());
    let reference = support::samples_of("formats/note.flac");
    let expected = f64::from(reference.iter().fold(0.0f32, |peak, x| peak.max(x.abs())));
    assert!((seconds - 4.0).abs() < 0.3, "{ended}");
    assert!(
        (peak / expected - 1.0).abs() < 0.1,
        "{ended}, played {expected}"
    );
}

#[test]
fn the_sound_server_is_asked_for_its_input_as_it_is_and_delivers_all_of_it() {
    let Some(mut server) = SoundServer::start_or_skip() else {
        return;
    };
    server.unplug();
    server.plug_in_as(44_100, 1).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let note = support::as_stereo_wav(&test_audio("formats/note.flac"), folder.path());
    let capturing = Capturing::start(&server, 4);
    assert_eq!(capturing.line("opened").1, "opened 44100 Hz 1 ch");
    let ended = capturing.hear(&server, &note).1;
    let seconds: f64 = ended.split(' ').nth(1).unwrap().parse().unwrap();
    assert!((seconds - 4.0).abs() < 0.3, "{ended}");
}

/// A configuration may mean another input than the server's default one, which only ALSA can tell.
#[test]
fn where_an_alsa_configuration_names_the_input_it_is_opened_through_alsa() {
    let Some(mut server) = SoundServer::start_or_skip() else {
        return;
    };
    server.unplug();
    server.plug_in_as(44_100, 1).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let configuration = folder.path().join("asound.conf");
    let pulse = "{ type pulse device \"stage.monitor\" }";
    let text = format!("</usr/share/alsa/alsa.conf>\npcm.!default {pulse}\n");
    std::fs::write(&configuration, text).unwrap();
    let note = support::as_stereo_wav(&test_audio("formats/note.flac"), folder.path());
    let capturing = Capturing::start_with(&server, 4, Some(&configuration));
    assert_ne!(capturing.line("opened").1, "opened 44100 Hz 1 ch");
    capturing.hear(&server, &note);
}

#[test]
fn an_input_that_is_pulled_out_is_told_and_taken_again_when_it_is_back() {
    let Some(mut server) = SoundServer::start_or_skip() else {
        return;
    };
    let capturing = Capturing::start(&server, 12);
    capturing.line("state Running");
    server.unplug();
    let pulled = Instant::now();
    let lost = capturing.line("state Lost");
    assert!(
        lost.0 - pulled < Duration::from_secs(4),
        "{:?}",
        lost.0 - pulled
    );
    server.plug_in().unwrap();
    capturing.line("reopened");
    capturing.line("state Running");
}

#[test]
fn without_a_server_the_sentence_says_what_to_do() {
    let output = Command::new(std::env::current_exe().unwrap())
        .args(["--exact", "child_that_captures", "--nocapture"])
        .env(CAPTURE_SECONDS, "1")
        .env("ALSA_CONFIG_PATH", "/nonexistent/asound.conf")
        .output()
        .unwrap();
    let text = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(
        text.contains("no sound input was found on this computer"),
        "{text}"
    );
}
