//! Playing into the virtual input, when that sound is at the microphone, how long the sound server takes, and a machine that is kept busy.
//!
//! Input: samples. Output: a playing process; the moment at which its first sample is at the microphone; delays. Units: seconds.
//! Method: no piano has to be started before it sounds, and a player of files has. So when the sound begins is not told by the start of the player but
//! heard: before it stands a mark too soft for any chord, which a capture like that of `lidprop hear` finds. A block tells that its last
//! sample was at the microphone when it arrived or before; the earliest moment that any block of the playing tells is taken, so that sound
//! waiting for its block to fill, or for a slow wake-up, counts against us.
//! Limits: what a converter from analogue to digital takes (about 1 ms) is not in it.

use crate::support::stereo_wav;
use lidprop::audio::capture::{Capture, StreamState, open_input};
use lidprop::units::{SampleRate, SampleSpan};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// Silence before a click, seconds.
const BEFORE_CLICK: f64 = 0.3;
/// The mark stands so long before what is played, seconds.
const LEAD: f64 = 0.1;
/// Length of the mark, seconds.
const MARK: f64 = 0.005;
/// Its level, full scale 1: four steps of 16 bits, -78 dBFS.
const MARK_LEVEL: f32 = 4.0 / 32_768.0;
/// A sample above this is no silence: the sound server fills pauses with exact zeros.
const NOT_SILENT: f32 = 0.3 / 32_768.0;
/// A sample above this belongs to a click.
const CLICK: f32 = 0.1;
/// How long a block may be waited for.
const PATIENCE: Duration = Duration::from_millis(20);

/// Starts playing a file into the virtual input.
pub fn play(file: &Path) -> Result<Child, String> {
    Command::new("paplay")
        .arg("--latency-msec=20")
        .arg(file)
        .stdin(Stdio::null())
        .spawn()
        .map_err(|e| format!("paplay cannot be started: {e}"))
}

/// A capture beside that of the program, which tells when sound is there.
pub struct Microphone {
    capture: Capture,
    samples: Vec<f32>,
}

/// When something was played.
pub struct Played {
    /// When its first sample was at the microphone.
    pub begun: Instant,
    /// From the start of the player until then, seconds, without the lead.
    pub players_start: f64,
    /// When the capture first had a click.
    click: Option<Instant>,
}

impl Microphone {
    /// Opens the virtual input.
    pub fn open() -> Result<Self, String> {
        Ok(Self {
            capture: open_input(None).map_err(|e| e.to_string())?,
            samples: Vec::new(),
        })
    }

    /// Plays samples at the internal rate to their end.
    pub fn play(&mut self, samples: &[f32], folder: &Path) -> Result<Played, String> {
        let frames = |seconds: f64| (seconds * f64::from(SampleRate::INTERNAL.get())) as usize;
        let mut marked = vec![MARK_LEVEL; frames(MARK)];
        marked.resize(frames(LEAD), 0.0);
        marked.extend(samples);
        let file = stereo_wav(&marked, folder.join("clip.wav"));
        self.capture.read(&mut self.samples);
        let started = Instant::now();
        let mut player = play(&file)?;
        let (mut since_mark, mut begun, mut click) = (None, None::<Instant>, None);
        while player.try_wait().map_err(|e| e.to_string())?.is_none() {
            self.capture.wait(SampleSpan::ZERO, PATIENCE);
            let arrived = Instant::now();
            let state = self.capture.read(&mut self.samples).state;
            if matches!(state, StreamState::Lost(_)) {
                return Err("the virtual input is lost".into());
            }
            if self.samples.iter().any(|x| x.abs() > CLICK) {
                click.get_or_insert_with(Instant::now);
            }
            let block = self.capture.device_block();
            let heard = match since_mark {
                Some(before) => before + block.len(),
                None => match block.iter().position(|x| x.abs() > NOT_SILENT) {
                    Some(at) => block.len() - at,
                    None => continue,
                },
            };
            since_mark = Some(heard);
            let rate = f64::from(self.capture.info().rate.get());
            let told = arrived - Duration::from_secs_f64(heard as f64 / rate);
            begun = Some(begun.map_or(told, |earlier| earlier.min(told)));
        }
        let begun = begun.ok_or("what is played does not arrive at the virtual input")?;
        Ok(Played {
            begun: begun + Duration::from_secs_f64(LEAD),
            players_start: begun.saturating_duration_since(started).as_secs_f64(),
            click,
        })
    }
}

/// Seconds from the moment at which a click is at the microphone until a capture has it at the internal rate, for `count` clicks.
pub fn capture_delays(folder: &Path, count: usize) -> Result<Vec<f64>, String> {
    let rate = f64::from(SampleRate::INTERNAL.get());
    let mut click = vec![0.0; (BEFORE_CLICK * rate) as usize];
    click.extend((0..(0.02 * rate) as usize).map(|n| if n % 8 < 4 { 0.5 } else { -0.5 }));
    let mut microphone = Microphone::open()?;
    let mut delay = || {
        // Blocks end anywhere in a click.
        let played = microphone.play(&click, folder)?;
        // What is left of it is not the next one.
        std::thread::sleep(Duration::from_millis(200));
        let due = played.begun + Duration::from_secs_f64(BEFORE_CLICK);
        let heard = played.click.ok_or("a click does not arrive")?;
        Ok(heard.saturating_duration_since(due).as_secs_f64())
    };
    (0..count).map(|_| delay()).collect()
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
