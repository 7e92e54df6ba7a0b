//! Learning a piano from its keys: `soundcheck --learn NAME`.
//!
//! Input: the sound of keys played one after another, from a recording or block by block. Output: a kept profile, and a report.
//! Units: cents, keys. Method: [`crate::session::lesson`] hears and measures; this file fetches the sound and says what came of it.
//! Limits: those of the lesson.

use super::error::{CliError, CommandResult};
use crate::audio::{self, BlockState, SampleSource};
use crate::harmony::note_name;
use crate::notes::Model;
use crate::piano::{Finding, PianoProfile, findings};
use crate::session::lesson::Pass;
use crate::store::pianos;
use crate::units::{MidiNote, PIANO_KEYS};
use std::io::{self, Write};
use std::path::Path;
#[cfg(feature = "live")]
use std::time::Duration;

/// A pass from a sound input ends when no key has ended for this long.
#[cfg(feature = "live")]
const PATIENCE: Duration = Duration::from_secs(15);
/// How often sound is fetched.
#[cfg(feature = "live")]
const FETCH_EVERY: Duration = Duration::from_millis(10);

const CAUTION: &str = "Tuning is work for a qualified technician: the strings of a piano pull with many tonnes in all, and one that \
breaks can hurt you. Show them this list; do not turn pins yourself.";

/// Learns a piano from a recording of a pass over its keys.
///
/// # Errors
/// If the recording cannot be read, or if no key could be measured or the profile not be kept.
pub fn from_recording(name: &str, path: &Path, out: &mut impl Write) -> CommandResult {
    pianos::check_name(name)?;
    let mut source = audio::open(path).map_err(CliError::failed)?;
    let mut pass = Pass::new(Model::embedded());
    let mut block = Vec::new();
    loop {
        let state = source.next_block(&mut block).map_err(CliError::failed)?;
        pass.hear(&block)?;
        if state == BlockState::Ended {
            return finish(pass, name, out);
        }
    }
}

/// Learns a piano from a sound input; ends with Return, or when nothing has been played for `PATIENCE`.
///
/// # Errors
/// If the input cannot be opened or is lost, or if no key could be measured or the profile not be kept.
#[cfg(feature = "live")]
pub fn from_input(name: &str, device: Option<&str>, out: &mut impl Write) -> CommandResult {
    use super::terminal::status_line;
    use crate::audio::AudioError;
    use crate::audio::capture::{StreamState, open_input};
    use std::io::IsTerminal;
    use std::time::Instant;

    pianos::check_name(name)?;
    let mut capture = open_input(device).map_err(CliError::failed)?;
    let input = capture.info().name.clone();
    let terminal = io::stdout().is_terminal();
    writeln!(
        out,
        "Listening to \"{input}\": play each key once, from the lowest to the highest, for two or three seconds each.\n\
         Press Return when you are done."
    )
    .and_then(|()| out.flush())
    .map_err(CliError::from_stdout)?;
    let done = return_pressed();
    let mut pass = Pass::new(Model::embedded());
    let mut block = Vec::new();
    let mut last_heard = Instant::now();
    while done.try_recv().is_err() && last_heard.elapsed() < PATIENCE {
        if let StreamState::Lost(loss) = capture.read(&mut block).state {
            return Err(CliError::failed(AudioError::InputGone {
                name: input,
                cause: loss.to_string(),
            }));
        }
        if let Some(midi) = pass.hear(&block)? {
            last_heard = Instant::now();
            let line = format!("  {:4} {:2} keys", note_name(midi), pass.keys());
            status_line::show(out, terminal, &line)?;
        }
        std::thread::sleep(FETCH_EVERY);
    }
    status_line::show(out, terminal, "  measuring the keys")?;
    status_line::end(out, terminal)?;
    finish(pass, name, out)
}

/// Learns a piano from a sound input.
///
/// # Errors
/// Always: this build cannot listen.
#[cfg(not(feature = "live"))]
pub fn from_input(_name: &str, _device: Option<&str>, _out: &mut impl Write) -> CommandResult {
    Err(CliError::failed(
        "this lidprop was built without live sound; record the keys and name the recording with --from FILE",
    ))
}

/// Tells once Return was pressed, where there is a keyboard to press it on.
#[cfg(feature = "live")]
fn return_pressed() -> std::sync::mpsc::Receiver<()> {
    use std::io::IsTerminal;
    let (sender, receiver) = std::sync::mpsc::channel();
    if io::stdin().is_terminal() {
        std::thread::spawn(move || {
            let read = io::stdin().read_line(&mut String::new());
            // who no longer waits is done already
            let _ = read.map(|_| sender.send(()));
        });
    }
    receiver
}

/// Ends the pass, measures the keys, keeps the profile and reports to `out`.
///
/// # Errors
/// If no key could be measured or the profile not be kept.
fn finish(pass: Pass, name: &str, out: &mut impl Write) -> CommandResult {
    let profile = pass.learned(name).map_err(|nothing| {
        CliError::failed(format!(
            "{nothing}: play each key alone for two or three seconds, near the microphone, and run `lidprop soundcheck` first if in doubt"
        ))
    })?;
    let path = pianos::keep(&profile)?;
    report(&profile, out)
        .and_then(|()| writeln!(out, "Kept in {}", path.display()))
        .and_then(|()| writeln!(out, "Use it with --piano \"{name}\"."))
        .map_err(CliError::from_stdout)
}

/// What was learned, and what a tuner should hear of.
fn report(profile: &PianoProfile, out: &mut impl Write) -> io::Result<()> {
    writeln!(
        out,
        "Learned {} of {PIANO_KEYS} keys; A4 at {:.1} Hz.",
        profile.keys.len(),
        profile.a4.get()
    )?;
    let missing = missing_keys(profile);
    if !missing.is_empty() {
        writeln!(
            out,
            "Not learned, and estimated from their neighbours: {}.",
            missing.join(", ")
        )?;
    }
    let found = findings(profile);
    if found.is_empty() {
        return writeln!(out, "No key is far off pitch, no unison beats noticeably.");
    }
    writeln!(out, "For your tuner:")?;
    for finding in found {
        match finding {
            Finding::OffPitch { midi, cents } => {
                let way = if cents > 0.0 { "sharp" } else { "flat" };
                let name = note_name(midi);
                writeln!(
                    out,
                    "  {name:4} {:.0} cents {way} beside its neighbours",
                    cents.abs()
                )?;
            }
            Finding::Beating { midi, cents } => {
                let name = note_name(midi);
                writeln!(
                    out,
                    "  {name:4} its strings beat, about {cents:.1} cents apart"
                )?;
            }
        }
    }
    writeln!(out, "{CAUTION}")
}

/// Stretches of keys that were not learned, as `A0 to C1` or `F#3`.
fn missing_keys(profile: &PianoProfile) -> Vec<String> {
    let learned = |index: usize| {
        let midi = MidiNote::from_piano_index(index);
        profile.keys.iter().any(|key| key.midi == midi)
    };
    let name = |index: usize| note_name(MidiNote::from_piano_index(index));
    let mut stretches = Vec::new();
    let mut index = 0;
    while index < PIANO_KEYS {
        let length = (index..PIANO_KEYS).take_while(|&key| !learned(key)).count();
        match length {
            0 => {}
            1 => stretches.push(name(index)),
            _ => stretches.push(format!("{} to {}", name(index), name(index + length - 1))),
        }
        index += length + 1;
    }
    stretches
}
