//! Learning a piano from its keys: `soundcheck --learn NAME`.
//!
//! Input: the sound of keys played one after another, from a recording or block by block. Output: a kept profile, and a report.
//! Units: cents, keys. Method: the listener says which key was played when, [`crate::piano`] measures it.
//! Limits: at most [`LONGEST_MINUTES`]; keys that the listener does not hear are not learned.

use super::error::{CliError, CommandResult};
use super::pianos;
use super::reading::tuning_of_beginning;
use crate::audio::{self, BlockState, SampleSource};
use crate::harmony::note_name;
use crate::listener::{Event, Listener, ListenerOptions};
use crate::piano::{Finding, Lesson, PianoProfile, Strike, findings, learn};
use crate::units::{Hertz, MidiNote, PIANO_KEYS, SampleRate, log_odds};
#[cfg(feature = "live")]
use std::collections::BTreeSet;
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
/// Longer passes are refused.
const LONGEST_MINUTES: usize = 30;

const CAUTION: &str = "Tuning is work for a qualified technician: the strings of a piano pull with many tonnes in all, and one that \
breaks can hurt you. Show them this list; do not turn pins yourself.";

/// A pass over the keys while it is heard.
pub struct Pass {
    listener: Listener,
    samples: Vec<f32>,
    strikes: Vec<Strike>,
    events: Vec<Event>,
    expected: Hertz,
}

impl Pass {
    /// Nothing heard yet.
    pub fn new(options: ListenerOptions) -> Self {
        Self {
            expected: options.found_a4.unwrap_or(options.expected_a4()),
            listener: Listener::new(options),
            samples: Vec::new(),
            strikes: Vec::new(),
            events: Vec::new(),
        }
    }

    /// Hears the next block; says which key ended last, if one has.
    ///
    /// # Errors
    /// If the pass has become too long.
    pub fn hear(&mut self, block: &[f32]) -> Result<Option<MidiNote>, CliError> {
        let most = LONGEST_MINUTES * 60 * SampleRate::INTERNAL.get() as usize;
        if self.samples.len() + block.len() > most {
            return Err(CliError::failed(format!(
                "the pass is longer than {LONGEST_MINUTES} minutes; play each key once, for two or three seconds"
            )));
        }
        self.samples.extend_from_slice(block);
        self.listener.push(block, &mut self.events);
        Ok(self.gather())
    }

    /// Keys heard so far.
    #[cfg(feature = "live")]
    pub fn keys(&self) -> usize {
        let keys: BTreeSet<MidiNote> = self.strikes.iter().map(|strike| strike.midi).collect();
        keys.len()
    }

    fn gather(&mut self) -> Option<MidiNote> {
        let mut last = None;
        for event in self.events.drain(..) {
            if let Event::Note(span) = event {
                last = Some(span.note.midi);
                self.strikes.push(Strike {
                    midi: span.note.midi,
                    start: span.start,
                    end: span.end,
                    log_odds: f64::from(log_odds(span.note.confidence.get())),
                });
            }
        }
        last
    }

    /// Ends the pass, measures the keys, keeps the profile and reports to `out`.
    ///
    /// # Errors
    /// If no key could be measured or the profile not be kept.
    pub fn finish(mut self, name: &str, out: &mut impl Write) -> CommandResult {
        self.listener.finish(&mut self.events);
        self.gather();
        let lesson = Lesson {
            a4: self.listener.a4().unwrap_or(self.expected),
            samples: self.samples,
            strikes: self.strikes,
        };
        let profile = learn(name, &lesson).map_err(|nothing| {
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
}

/// Learns a piano from a recording of a pass over its keys.
///
/// # Errors
/// If the recording cannot be read, or as [`Pass::finish`].
pub fn from_recording(name: &str, path: &Path, out: &mut impl Write) -> CommandResult {
    pianos::check_name(name)?;
    let options = ListenerOptions::default();
    let found_a4 = tuning_of_beginning(path, options.expected_a4()).map_err(CliError::failed)?;
    let mut source = audio::open(path).map_err(CliError::failed)?;
    let mut pass = Pass::new(ListenerOptions {
        found_a4,
        ..options
    });
    let mut block = Vec::new();
    loop {
        let state = source.next_block(&mut block).map_err(CliError::failed)?;
        pass.hear(&block)?;
        if state == BlockState::Ended {
            return pass.finish(name, out);
        }
    }
}

/// Learns a piano from a sound input; ends with Return, or when nothing has been played for [`PATIENCE`].
///
/// # Errors
/// If the input cannot be opened or is lost, or as [`Pass::finish`].
#[cfg(feature = "live")]
pub fn from_input(name: &str, device: Option<&str>, out: &mut impl Write) -> CommandResult {
    use super::status_line;
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
    let mut pass = Pass::new(ListenerOptions::default());
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
    status_line::end(out, terminal)?;
    pass.finish(name, out)
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
