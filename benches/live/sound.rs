//! Playing into the virtual input, how long the sound server takes, and a machine that is kept busy.
//!
//! Input: samples. Output: a playing process; delays. Units: seconds. Method: a click is played with the same player and
//! captured with the same capture as `lidprop hear` uses; its delay is that of player, server and capture together.
//! Limits: one delay includes the start of the player, which no microphone has.

use crate::support::stereo_wav;
use lidprop::audio::capture::{StreamState, open_input};
use lidprop::units::SampleRate;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// Silence before a click, seconds.
const BEFORE_CLICK: f64 = 0.3;
/// How long a click may take.
const PATIENCE: Duration = Duration::from_secs(3);

/// Starts playing a file into the virtual input.
pub fn play(file: &Path) -> Result<Child, String> {
    Command::new("paplay")
        .arg("--latency-msec=20")
        .arg(file)
        .stdin(Stdio::null())
        .spawn()
        .map_err(|e| format!("paplay cannot be started: {e}"))
}

/// Seconds from the moment at which a click is due until the capture has it, for `count` clicks.
pub fn server_delays(folder: &Path, count: usize) -> Result<Vec<f64>, String> {
    let rate = f64::from(SampleRate::INTERNAL.get());
    let mut click = vec![0.0; (BEFORE_CLICK * rate) as usize];
    click.extend((0..(0.02 * rate) as usize).map(|n| if n % 8 < 4 { 0.5 } else { -0.5 }));
    let click = stereo_wav(&click, folder.join("click.wav"));
    let mut capture = open_input(None).map_err(|e| e.to_string())?;
    let mut block = Vec::new();
    let mut delays = Vec::new();
    while delays.len() < count {
        let begun = Instant::now();
        let mut player = play(&click)?;
        loop {
            let state = capture.read(&mut block).state;
            if block.iter().any(|x| x.abs() > 0.1) {
                delays.push(begun.elapsed().as_secs_f64() - BEFORE_CLICK);
                break;
            }
            if begun.elapsed() > PATIENCE || matches!(state, StreamState::Lost(_)) {
                return Err("what is played does not arrive at the virtual input".into());
            }
            std::thread::sleep(Duration::from_millis(1));
        }
        player.wait().map_err(|e| e.to_string())?;
        // What is left of the click is not the next one.
        std::thread::sleep(Duration::from_millis(200));
        capture.read(&mut block);
    }
    Ok(delays)
}

/// Loops that keep every core busy, until dropped.
pub struct Busy(Vec<Child>);

impl Busy {
    pub fn start() -> Result<Self, String> {
        let cores = std::thread::available_parallelism().map_or(2, usize::from);
        let spin = |_| {
            Command::new("sh")
                .args(["-c", "while :; do :; done"])
                .spawn()
                .map_err(|e| format!("sh cannot be started: {e}"))
        };
        (0..cores).map(spin).collect::<Result<_, _>>().map(Self)
    }

    pub fn count(&self) -> usize {
        self.0.len()
    }

    /// An error if one of them has ended.
    pub fn check(&mut self) -> Result<(), String> {
        for child in &mut self.0 {
            if let Some(status) = child.try_wait().map_err(|e| e.to_string())? {
                return Err(format!("a loop that keeps a core busy has ended: {status}"));
            }
        }
        Ok(())
    }
}

impl Drop for Busy {
    fn drop(&mut self) {
        for child in &mut self.0 {
            let _ = child.kill();
            let _ = child.wait();
        }
    }
}
