//! Learning a piano from its keys: `soundcheck --learn NAME`.
//!
//! Input: the sound of keys played one after another, from a recording or block by block. Output: a kept profile, and a report.
//! Units: cents, keys. Method: [`crate::session::lesson`] hears and measures; this file fetches the sound and says what came of it.
//! Limits: those of the lesson.

use super::error::{CliError, CommandResult, note, tell};
use super::pianos::{in_short, named, poorer};
use super::terminal::status_line::StatusLine;
use crate::audio::capture::open_input;
use crate::audio::level::{Level, LevelMeter};
use crate::audio::{self, SampleSource};
use crate::harmony::note_name;
use crate::notes::Model;
use crate::piano::{Finding, PianoProfile, findings};
use crate::session::input::{Hearer, Notice, Sound, hear_input, silence};
use crate::session::lesson::Pass;
use crate::store::pianos;
use crate::units::{MidiNote, PIANO_KEYS, SamplePos, SampleRate, SampleSpan};
use std::io::{self, IsTerminal, Write};
use std::path::Path;
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, SystemTime};

/// A pass from a sound input ends when no key has ended in so much of its sound: 15 s.
const PATIENCE: SamplePos = SamplePos::new(15 * SampleRate::INTERNAL.get() as u64);

/// How often it is shown how things stand where that is no terminal.
const SHOW_EVERY_IN_LINES: Duration = Duration::from_secs(5);
/// Peaks below this are the noise of a silent room, dBFS.
const HEARS_DB: f64 = -60.0;

const CAUTION: &str = "Tuning is work for a qualified technician: the strings of a piano pull with many tonnes in all, and one that \
breaks can hurt you. Show them this list; do not turn pins yourself.";

/// Learns a piano from a recording of a pass over its keys.
///
/// # Errors
/// If the recording cannot be read, or if no key could be measured or the profile not be kept.
pub fn from_recording(name: &str, path: &Path, out: &mut impl Write) -> CommandResult {
    pianos::check_name(name)?;
    let mut pass = Pass::new(Model::embedded());
    let mut source = audio::open(path)?;
    source.for_each_block(|block| -> CommandResult {
        pass.hear(block)?;
        Ok(())
    })?;
    finish(pass, name, out)?;
    for warning in source.warnings() {
        tell(&note(path.display(), warning));
    }
    Ok(())
}

/// Learns a piano from a sound input; ends with Return, or when nothing has been played for `PATIENCE`. While the input is lost, it waits.
///
/// # Errors
/// If the input cannot be opened, or if no key could be measured or the profile not be kept.
pub fn from_input(name: &str, device: Option<&str>, out: &mut impl Write) -> CommandResult {
    pianos::check_name(name)?;
    let mut input = open_input(device)?;
    if let Some(before) = pianos::kept(name) {
        writeln!(
            out,
            "This takes the place of what was learned of \"{name}\" ({}), which is kept beside it.",
            in_short(&before, SystemTime::now())
        )
        .map_err(CliError::from_stdout)?;
    }
    writeln!(
        out,
        "Listening to \"{}\": play each key once, from the lowest to the highest, for two or three seconds each.\n\
         Press Return when you are done.",
        input.info().name
    )
    .and_then(|()| out.flush())
    .map_err(CliError::from_stdout)?;
    let mut pupil = Pupil {
        pass: Pass::new(Model::embedded()),
        done: return_pressed(),
        since_last_key: SamplePos::START,
        level: LevelMeter::new(),
        last_key: None,
        status: StatusLine::new(SHOW_EVERY_IN_LINES),
        opened: false,
        out,
    };
    hear_input(&mut input, &mut pupil)?;
    let Pupil { pass, status, .. } = pupil;
    status.show(out, "  measuring the keys")?;
    status.end(out)?;
    finish(pass, name, out)
}

/// Hears the pass, and shows each key.
struct Pupil<'a, W> {
    pass: Pass,
    done: Receiver<()>,
    /// How much of the input's sound was heard since a key ended.
    since_last_key: SamplePos,
    level: LevelMeter,
    last_key: Option<MidiNote>,
    status: StatusLine,
    /// True once the input was told of.
    opened: bool,
    out: &'a mut W,
}

impl<W: Write> Pupil<'_, W> {
    /// True if a key ended in `block`.
    fn hear_block(&mut self, block: &[f32]) -> Result<bool, CliError> {
        let ended = self.pass.hear(block).map_err(CliError::from)?;
        if ended.is_some() {
            self.last_key = ended;
            self.show()?;
        }
        Ok(ended.is_some())
    }

    fn show(&mut self) -> Result<(), CliError> {
        let skipped: Vec<String> = self.pass.skipped().into_iter().map(note_name).collect();
        let line = how_it_stands(self.level.now(), self.last_key, self.pass.keys(), &skipped);
        self.status.show(self.out, &line)
    }
}

impl<W: Write> Hearer for Pupil<'_, W> {
    type Error = CliError;

    fn goes_on(&mut self, now: Duration) -> Result<bool, CliError> {
        if self.status.is_due(now) {
            self.show()?;
        }
        Ok(self.done.try_recv().is_err() && self.since_last_key < PATIENCE)
    }

    fn hear(&mut self, sound: Sound<'_>) -> Result<(), CliError> {
        self.level.push(sound.samples);
        self.since_last_key = if self.hear_block(sound.samples)? {
            SamplePos::START
        } else {
            self.since_last_key + SampleSpan::new(sound.samples.len() as u64)
        };
        Ok(())
    }

    fn lost(&mut self, length: SampleSpan) -> Result<(), CliError> {
        silence(length).try_for_each(|block| self.hear_block(block).map(drop))
    }

    fn notice(&mut self, notice: Notice) -> Result<(), CliError> {
        match notice {
            Notice::Open(name) if std::mem::replace(&mut self.opened, true) => {
                tell(&format!("listening to {name} again"));
            }
            Notice::Trouble(trouble) => tell(&trouble.to_string()),
            Notice::Pace(hops) => self.pass.hear_every(hops),
            Notice::Open(_) | Notice::Meter(_) => {}
        }
        Ok(())
    }
}

/// `hears -23 dBFS   F#3 was the last of 12 keys; skipped: G3, A3`: whether anything is heard, and what is missing so far.
fn how_it_stands(level: Level, last: Option<MidiNote>, keys: usize, skipped: &[String]) -> String {
    let hears = match level.peak.get() {
        peak if peak < HEARS_DB => "hears nothing  ".to_owned(),
        peak => format!("hears {peak:4.0} dBFS"),
    };
    let last = match (last, keys) {
        (None, _) => "no key yet".to_owned(),
        (Some(key), 1) => format!("{} is the first key", note_name(key)),
        (Some(key), _) => format!("{} was the last of {keys} keys", note_name(key)),
    };
    let skipped = match skipped.is_empty() {
        true => String::new(),
        false => format!("; skipped: {}", named(skipped)),
    };
    format!("  {hears}   {last}{skipped}")
}

/// Tells once Return was pressed, where there is a keyboard to press it on.
fn return_pressed() -> Receiver<()> {
    let (sender, receiver) = channel();
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
    let before = pianos::kept(name)
        .and_then(|kept| Some((in_short(&kept, SystemTime::now()), kept.profile.ok()?)));
    let path = pianos::keep(&profile)?;
    report(&profile, out)
        .and_then(|()| match &before {
            Some((what, before)) => tell_replaced(name, what, &profile, before, out),
            None => Ok(()),
        })
        .and_then(|()| writeln!(out, "Kept in {}", path.display()))
        .and_then(|()| writeln!(out, "Use it with --piano \"{name}\"."))
        .map_err(CliError::from_stdout)
}

/// What the new lesson has replaced, and whether it is poorer.
fn tell_replaced(
    name: &str,
    what: &str,
    profile: &PianoProfile,
    before: &PianoProfile,
    out: &mut impl Write,
) -> io::Result<()> {
    writeln!(
        out,
        "It takes the place of the lesson before ({what}), which is kept."
    )?;
    match poorer(profile, before) {
        Some(warning) => writeln!(out, "{warning}"),
        None => writeln!(out, "--restore \"{name}\" brings that back."),
    }
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Dbfs;

    #[test]
    fn a_pass_shows_whether_anything_is_heard_and_which_keys_were_skipped() {
        let level = |db: f64| Level {
            peak: Dbfs::from_peak(10f64.powf(db / 20.0)),
            rms: Dbfs::SILENCE,
        };
        let key = MidiNote::new(54).ok();
        assert_eq!(
            how_it_stands(level(-90.0), None, 0, &[]),
            "  hears nothing     no key yet"
        );
        assert_eq!(
            how_it_stands(level(-23.0), key, 12, &["G2".into(), "A2".into()]),
            "  hears  -23 dBFS   F#3 was the last of 12 keys; skipped: G2, A2"
        );
        let nine: Vec<String> = (1..10).map(|octave| format!("C{octave}")).collect();
        assert!(how_it_stands(level(-23.0), key, 12, &nine).ends_with("C8 and 1 more"));
    }
}
