//! `lidprop soundcheck`: which inputs there are, how loud the chosen one is, and what to change.
//!
//! Input: the computer's sound inputs. Output: a list, a level while it listens, then what was measured and advice.
//! Units: dBFS (a full-scale sine has 0), Hz, seconds. Method: [`crate::audio::level`]; the pitch is the listener's own.
//! Limits: the advice assumes a quiet moment and some loud chords among what was heard.

use super::error::tell;
use super::options::PianoOptions;
use super::terminal::status_line::StatusLine;
use super::{CliError, CommandResult, learning, pianos};
use crate::audio::AudioError;
use crate::audio::capture::cards::recording_cards;
use crate::audio::capture::{InputInfo, Totals, list_inputs, open_input};
use crate::audio::level::{Hum, HumMeter, Level, LevelMeter};
use crate::listener::ListenerOptions;
use crate::session::input::{Hearer, InputTrouble, Notice, Sound, hear_input, silence};
use crate::session::steady_listener::SteadyListener;
use crate::units::{Dbfs, Hertz, SampleSpan, Seconds};
use crate::view::ink::in_columns_of;
use crate::view::notes::quarter_tone_off;
use clap::Args;
use std::io::{self, Write};
use std::path::PathBuf;
use std::time::Duration;

/// How often the level is shown where that is no terminal.
const SHOW_EVERY_IN_LINES: Duration = Duration::from_secs(1);

/// The bar reaches from this level up to 0 dBFS.
const BAR_BOTTOM_DB: f64 = -60.0;
const BAR_CELLS: usize = 30;

/// Chords whose loudest moment stays below this leave their tails in the noise of the converter.
const TOO_QUIET_DB: f64 = -35.0;
/// Peaks above this leave no room for a louder chord.
const TOO_LOUD_DB: f64 = -2.0;
/// Pauses louder than this hide tails and soft notes.
const NOISY_DB: f64 = -45.0;
/// Loudest moment less noise floor: below this, soft notes are lost.
const NARROW_DB: f64 = 25.0;
/// A peak in words, from these levels on.
const LOUDNESS: [(f64, &str); 5] = [
    (TOO_LOUD_DB, "too loud"),
    (-24.0, "good"),
    (TOO_QUIET_DB, "soft"),
    (NOISY_DB, "too quiet"),
    (f64::NEG_INFINITY, "next to none"),
];
/// A noise floor in words, from these levels on.
const NOISE: [(f64, &str); 4] = [
    (NOISY_DB, "noisy"),
    (-60.0, "some noise"),
    (GATED_DB, "quiet"),
    (f64::NEG_INFINITY, "perfectly still"),
];
/// No microphone is as quiet as this; pauses that are were made so by a program.
const GATED_DB: f64 = -100.0;

/// What has no meaning where the learned pianos are listed.
const INSTEAD_OF_LISTENING: [&str; 9] = [
    "device", "seconds", "learn", "from", "piano", "a4", "compare", "restore", "remove",
];

/// Lists the sound inputs, shows the level of one and says what to change.
#[derive(Debug, Args)]
#[command(after_long_help = "\
Learning a piano: lidprop soundcheck --learn parlour
Play every key once, from the lowest to the highest, each alone for two or three seconds; or only some of them, in any order, chords too. \
It ends when you press Return, or when nothing has been played for a quarter of a minute. Then
  lidprop take --piano parlour lesson.m4a
hears that piano better than a stranger. What was learned is kept in your data folder, the sound is not. A new lesson takes the \
place of the one before, which is kept: --restore parlour brings it back.")]
pub struct SoundcheckArgs {
    /// The input to check, or a part of its name.
    #[arg(long, value_name = "NAME")]
    pub device: Option<String>,
    /// How long to listen, in seconds; 0 only lists the inputs.
    #[arg(long, value_name = "SECONDS", default_value_t = 8, value_parser = clap::value_parser!(u32).range(0..=600))]
    pub seconds: u32,
    /// Learn this piano from its keys, and keep what was learned under this name.
    #[arg(long, value_name = "NAME", conflicts_with_all = ["piano", "a4", "seconds"])]
    pub learn: Option<String>,
    /// Learn from this recording of the keys instead of the microphone.
    #[arg(
        long,
        value_name = "FILE",
        requires = "learn",
        conflicts_with_all = ["device", "piano", "a4", "seconds"]
    )]
    pub from: Option<PathBuf>,
    /// List the pianos that were learned: keys, pitch, age.
    #[arg(long, conflicts_with_all = INSTEAD_OF_LISTENING)]
    pub pianos: bool,
    /// Say in what two learned pianos differ.
    #[arg(long, num_args = 2, value_names = ["NAME", "NAME"], conflicts_with_all = ["device", "seconds", "learn", "from", "piano", "a4", "restore", "remove"])]
    pub compare: Option<Vec<String>>,
    /// Bring the lesson before the last one of this piano back.
    #[arg(long, value_name = "NAME", conflicts_with_all = ["device", "seconds", "learn", "from", "piano", "a4", "remove"])]
    pub restore: Option<String>,
    /// Remove this learned piano, and its earlier lesson.
    #[arg(long, value_name = "NAME", conflicts_with_all = ["device", "seconds", "learn", "from", "piano", "a4"])]
    pub remove: Option<String>,
    /// Which piano it is.
    #[command(flatten)]
    pub piano: PianoOptions,
}

/// Runs the command.
///
/// # Errors
/// If there is no such input or recording, it cannot be read, no piano of that name is kept, or nothing could be learned.
pub fn run(args: &SoundcheckArgs) -> CommandResult {
    let out = &mut io::stdout();
    if args.pianos {
        return pianos::list(out);
    }
    if let Some([one, other]) = args.compare.as_deref() {
        return pianos::compare(one, other, out);
    }
    if let Some(name) = &args.restore {
        return pianos::restore(name, out);
    }
    if let Some(name) = &args.remove {
        return pianos::remove(name, out);
    }
    match (&args.learn, &args.from) {
        (Some(name), Some(recording)) => learning::from_recording(name, recording, out),
        (Some(name), None) => learning::from_input(name, args.device.as_deref(), out),
        (None, _) => check(args, out),
    }
}

impl SoundcheckArgs {
    /// Refuses what says how to listen where nothing is listened to.
    fn refuse_what_means_nothing(&self) -> CommandResult {
        let of_listening = [
            ("--device", self.device.is_some()),
            ("--a4", self.piano.a4.is_some()),
            ("--piano", self.piano.piano.is_some()),
        ];
        let given = of_listening.iter().find(|(_, given)| *given);
        match given.filter(|_| self.seconds == 0) {
            Some((option, _)) => Err(CliError::Usage(format!(
                "{option} means nothing where inputs are only listed; leave it out, or --seconds 0"
            ))),
            None => Ok(()),
        }
    }
}

fn check(args: &SoundcheckArgs, out: &mut impl Write) -> CommandResult {
    args.refuse_what_means_nothing()?;
    let listening = args.piano.listening()?;
    let inputs = list_inputs()?;
    let behind = behind_the_server(&inputs, &recording_cards());
    write!(out, "{}{behind}", list(&inputs)).map_err(CliError::from_stdout)?;
    if args.seconds == 0 {
        return Ok(());
    }
    let mut input = open_input(args.device.as_deref())?;
    writeln!(
        out,
        "\nListening to \"{}\" for {} s: rest a moment, then play a few loud chords.",
        input.info().name,
        args.seconds
    )
    .and_then(|()| out.flush())
    .map_err(CliError::from_stdout)?;
    let length = Duration::from_secs(args.seconds.into());
    let a4_stated = listening.a4.is_some() || listening.piano.is_some();
    let mut check = Check::new(length, listening, out);
    hear_input(&mut input, &mut check)?;
    let measured = Measured {
        a4_stated,
        ..check.measured(input.totals(), input.device_delay())?
    };
    let report = in_columns_of(&io::stdout(), &report(&measured));
    write!(out, "\n{report}").map_err(CliError::from_stdout)
}

fn list(inputs: &[InputInfo]) -> String {
    let width = inputs
        .iter()
        .map(|input| input.name.chars().count())
        .max()
        .unwrap_or(0);
    let mut text = String::from("Sound inputs (> is used where none is named):\n");
    for input in inputs {
        let mark = if input.is_default { '>' } else { ' ' };
        let channels = if input.channels == 1 {
            "1 channel".into()
        } else {
            format!("{} channels", input.channels)
        };
        text += &format!(
            "{mark} {:width$}  {} Hz, {channels}, {}  ({})\n",
            input.name,
            input.rate.get(),
            input.format,
            input.id
        );
    }
    text
}

/// What stands behind an input that is called after the sound server, where the server does not list it itself.
fn behind_the_server(inputs: &[InputInfo], cards: &[String]) -> String {
    if inputs.iter().any(|input| input.behind_server) {
        return String::new();
    }
    let own = |card: &String| inputs.iter().any(|input| input.name.contains(card));
    let hidden: Vec<&str> = cards
        .iter()
        .filter(|card| !own(card))
        .map(String::as_str)
        .collect();
    match hidden.is_empty() {
        true => String::new(),
        false => format!(
            "Behind the sound server: {}. Which of them it passes on is chosen in the system's sound settings.\n",
            hidden.join(", ")
        ),
    }
}

/// What a check has found.
#[derive(Debug, Clone)]
struct Measured {
    level: Level,
    noise_floor: Option<Dbfs>,
    hum: Option<Hum>,
    a4: Option<Hertz>,
    /// True if the user has stated what is expected of it.
    a4_stated: bool,
    all_zero: bool,
    totals: Totals,
    device_delay: Seconds,
}

/// Hears the input for a while, and shows its level.
struct Check<'a, W> {
    length: Duration,
    level: LevelMeter,
    hum: HumMeter,
    listener: SteadyListener,
    /// When the level was last shown.
    status: StatusLine,
    /// What is wrong with the input now.
    trouble: Option<InputTrouble>,
    /// True once the input was told of.
    opened: bool,
    out: &'a mut W,
}

impl<'a, W: Write> Check<'a, W> {
    fn new(length: Duration, listening: ListenerOptions, out: &'a mut W) -> Self {
        Self {
            length,
            level: LevelMeter::new(),
            hum: HumMeter::new(),
            listener: SteadyListener::new(listening),
            status: StatusLine::new(SHOW_EVERY_IN_LINES),
            trouble: None,
            opened: false,
            out,
        }
    }

    fn listen(&mut self, samples: &[f32]) {
        // only the pitch that it follows is asked for
        if let Some(fault) = self.listener.push(samples, &mut Vec::new()) {
            tell(&fault);
        }
    }

    /// What was found, if the input is still there.
    fn measured(self, totals: Totals, device_delay: Seconds) -> Result<Measured, CliError> {
        self.status.end(self.out)?;
        if let Some(InputTrouble::Lost { name, loss }) = self.trouble {
            return Err(CliError::Sound(AudioError::InputGone {
                name,
                cause: loss.to_string(),
            }));
        }
        Ok(Measured {
            level: self.level.overall(),
            noise_floor: self.level.noise_floor(),
            hum: self.hum.hum(),
            a4: self.listener.a4(),
            a4_stated: false,
            all_zero: self.trouble.is_some(),
            totals,
            device_delay,
        })
    }
}

impl<W: Write> Hearer for Check<'_, W> {
    type Error = CliError;

    fn goes_on(&mut self, now: Duration) -> Result<bool, CliError> {
        if self.status.is_due(now) {
            self.status.show(self.out, &meter_line(self.level.now()))?;
        }
        Ok(now < self.length)
    }

    fn hear(&mut self, sound: Sound<'_>) -> Result<(), CliError> {
        self.level.push(sound.samples);
        self.hum.push(sound.samples);
        self.listen(sound.samples);
        Ok(())
    }

    fn lost(&mut self, length: SampleSpan) -> Result<(), CliError> {
        // silence that no microphone has heard says nothing of its level
        silence(length).for_each(|block| self.listen(block));
        Ok(())
    }

    fn notice(&mut self, notice: Notice) -> Result<(), CliError> {
        match notice {
            Notice::Open(name) => {
                if std::mem::replace(&mut self.opened, true) && self.trouble.take().is_some() {
                    tell(&format!("listening to {name} again"));
                }
            }
            Notice::Trouble(trouble) => {
                if matches!(trouble, InputTrouble::Lost { .. }) {
                    tell(&trouble.to_string());
                }
                self.trouble = Some(trouble);
            }
            Notice::Pace(hops) => self.listener.hear_every(hops),
            Notice::Meter(_) => {}
        }
        Ok(())
    }
}

fn meter_line(level: Level) -> String {
    let share = 1.0 - level.rms.get() / BAR_BOTTOM_DB;
    let cells = (share.clamp(0.0, 1.0) * BAR_CELLS as f64).round() as usize;
    let bar: String = (0..BAR_CELLS)
        .map(|cell| if cell < cells { '=' } else { '.' })
        .collect();
    format!(
        "  {bar} {:5.0} dBFS, peak {:5.0}  {}",
        level.rms.get(),
        level.peak.get(),
        word(&LOUDNESS, level.peak)
    )
}

fn report(measured: &Measured) -> String {
    let Measured {
        level,
        noise_floor,
        hum,
        a4,
        a4_stated,
        totals,
        device_delay,
        ..
    } = measured;
    let db = |level: Dbfs| format!("{:.0} dBFS", level.get());
    let said =
        |words: &[(f64, &str)], level: Dbfs| format!("{}, {}", word(words, level), db(level));
    let rows = [
        ("loudest moment", said(&LOUDNESS, level.peak)),
        (
            "noise floor",
            noise_floor.map_or("not measured".into(), |floor| said(&NOISE, floor)),
        ),
        (
            "hum",
            hum.map_or("none".into(), |hum| {
                format!("{} Hz mains, {}", hum.mains_hz, db(hum.level))
            }),
        ),
        (
            "pitch of A4",
            a4.map_or("not enough heard to tell".into(), |a4| {
                pitch(a4, *a4_stated)
            }),
        ),
        ("clipped", times(totals.clipped_runs)),
        (
            "lost samples",
            (totals.dropped + totals.skipped).to_string(),
        ),
        (
            "delay of the input",
            format!(
                "{:.0} ms per block; the listener adds its own",
                device_delay.get() * 1000.0
            ),
        ),
    ];
    let mut text = String::from("Measured:\n");
    for (what, value) in rows {
        text += &format!("  {what:18} {value}\n");
    }
    text += "Advice:\n";
    for sentence in advice(measured) {
        text += &format!("  {sentence}\n");
    }
    text
}

/// The word of a level: that of the first bound which it reaches.
fn word<'a>(words: &[(f64, &'a str)], level: Dbfs) -> &'a str {
    let reached = words.iter().find(|(least, _)| level.get() >= *least);
    reached.map_or("", |(_, word)| word)
}

/// `never`, `once`, `3 times`.
fn times(count: u64) -> String {
    match count {
        0 => "never".to_owned(),
        1 => "once".to_owned(),
        _ => format!("{count} times"),
    }
}

fn pitch(a4: Hertz, stated: bool) -> String {
    let cents = a4.cents_above(Hertz::CONCERT_A4).get();
    let found = format!("{:.1} Hz ({cents:+.0} cents from 440)", a4.get());
    let Some(other) = quarter_tone_off(a4).filter(|_| !stated) else {
        return found;
    };
    let (half_step, at) = if cents < 0.0 {
        ("lower", "flat")
    } else {
        ("higher", "sharp")
    };
    format!(
        "{found}\n{:21}a quarter tone {at}; or A4 is {:.1} Hz, and each key sounds a half step {half_step} than it is called here.\n\
         {:21}Play A4 beside a tuning fork; if the second is true, add --a4 {:.0} to all commands.",
        "",
        other.get(),
        "",
        other.get()
    )
}

fn advice(measured: &Measured) -> Vec<&'static str> {
    if measured.all_zero {
        return vec![
            "Nothing but zeros arrive: switch the microphone on, and allow it for this terminal in the system's privacy settings.",
        ];
    }
    let peak = measured.level.peak.get();
    let floor = measured.noise_floor.map_or(Dbfs::SILENCE.get(), Dbfs::get);
    let gated = floor <= GATED_DB && peak > TOO_QUIET_DB;
    let rules = [
        (
            measured.totals.clipped_runs > 0,
            "Clipped: lower the input level until the loudest chord stays near -10 dBFS, or move the microphone away.",
        ),
        (
            measured.totals.clipped_runs == 0 && peak > TOO_LOUD_DB,
            "Nearly clipped: lower the input level a little, or move the microphone away.",
        ),
        (
            peak < TOO_QUIET_DB,
            "Too quiet: move the microphone nearer, open the lid, or raise the input level.",
        ),
        (
            floor > NOISY_DB,
            "Noisy even in the pauses: switch off fans, close the window, or move the microphone nearer.",
        ),
        (
            floor > GATED_DB && peak >= TOO_QUIET_DB && peak - floor < NARROW_DB,
            "The chords hardly rise above the noise: move the microphone nearer to the piano.",
        ),
        (
            gated,
            "The pauses are perfectly still, as after noise suppression for calls: switch it off, it cuts the tails of notes.",
        ),
        (
            measured.hum.is_some(),
            "Hum of the mains: keep cables and power supplies away from the microphone, or run on battery.",
        ),
        (
            measured.totals.dropped + measured.totals.skipped + measured.totals.overruns > 0,
            "Samples were lost: close other programs, or choose a lower sample rate in the system's sound settings.",
        ),
    ];
    let mut sentences: Vec<&str> = rules
        .into_iter()
        .filter(|(applies, _)| *applies)
        .map(|(_, sentence)| sentence)
        .collect();
    if sentences.is_empty() {
        sentences.push("Nothing to change.");
    }
    sentences
}

#[cfg(test)]
mod tests {
    use super::*;

    fn measured(peak: f64, floor: f64) -> Measured {
        let level = |db: f64| Dbfs::from_peak(10f64.powf(db / 20.0));
        Measured {
            level: Level {
                peak: level(peak),
                rms: level(peak - 20.0),
            },
            noise_floor: Some(level(floor)),
            hum: None,
            a4: Hertz::new(442.0).ok(),
            a4_stated: false,
            all_zero: false,
            totals: Totals::default(),
            device_delay: Seconds::ZERO,
        }
    }

    #[test]
    fn a_good_level_needs_no_advice() {
        assert_eq!(advice(&measured(-10.0, -65.0)), ["Nothing to change."]);
        assert!(report(&measured(-10.0, -65.0)).contains("442.0 Hz (+8 cents from 440)"));
    }

    #[test]
    fn a_quarter_tone_off_is_told_with_both_possibilities() {
        for (found, other, way) in [(426.5, "451.9 Hz", "lower"), (454.0, "428.5 Hz", "higher")] {
            let told = pitch(Hertz::new(found).unwrap(), false);
            assert!(
                told.contains("a quarter tone") && told.contains(other),
                "{told}"
            );
            assert!(told.contains(&format!("half step {way}")), "{told}");
            let stated = pitch(Hertz::new(found).unwrap(), true);
            assert!(!stated.contains("quarter tone"), "{stated}");
        }
        for found in [415.0, 430.0, 440.0, 449.0, 466.0] {
            let told = pitch(Hertz::new(found).unwrap(), false);
            assert!(!told.contains("quarter tone"), "{told}");
        }
    }

    #[test]
    fn microphones_behind_a_sound_server_are_told_by_their_own_names() {
        let input = |name: &str| InputInfo {
            name: name.to_owned(),
            id: "default".to_owned(),
            is_default: true,
            rate: crate::units::SampleRate::INTERNAL,
            channels: 1,
            format: "32-bit float".to_owned(),
            behind_server: false,
            is_monitor: false,
        };
        let cards = ["HDA Intel PCH".to_owned(), "Lid Microphone".to_owned()];
        let told = behind_the_server(&[input("Default Audio Device")], &cards);
        assert!(
            told.starts_with("Behind the sound server: HDA Intel PCH, Lid Microphone."),
            "{told}"
        );
        let inputs = [
            input("HDA Intel PCH, ALC3246 Analog"),
            input("Lid Microphone, USB Audio"),
        ];
        assert_eq!(behind_the_server(&inputs, &cards), "");
        let listed = InputInfo {
            behind_server: true,
            ..input("Lid Microphone Mono")
        };
        let inputs = [input("Default Audio Device"), listed];
        assert_eq!(behind_the_server(&inputs, &cards), "");
    }

    #[test]
    fn levels_are_said_in_words() {
        let told = report(&measured(-10.0, -65.0));
        assert!(
            told.contains("good, -10 dBFS") && told.contains("quiet, -65 dBFS"),
            "{told}"
        );
        let told = report(&measured(-40.0, -42.0));
        assert!(
            told.contains("too quiet, -40") && told.contains("noisy, -42"),
            "{told}"
        );
        assert_eq!([0, 1, 3].map(times), ["never", "once", "3 times"]);
    }

    #[test]
    fn each_trouble_brings_its_own_advice() {
        let first = |measured: &Measured| {
            advice(measured)[0]
                .split([':', ' '])
                .next()
                .unwrap()
                .to_owned()
        };
        assert_eq!(first(&measured(-45.0, -80.0)), "Too");
        assert_eq!(first(&measured(-1.0, -65.0)), "Nearly");
        assert_eq!(first(&measured(-10.0, -40.0)), "Noisy");
        assert!(advice(&measured(-10.0, -120.0))[0].contains("noise suppression"));
        let clipped = Measured {
            totals: Totals {
                clipped_runs: 3,
                ..Totals::default()
            },
            ..measured(0.0, -65.0)
        };
        assert_eq!(first(&clipped), "Clipped");
        let zero = Measured {
            all_zero: true,
            ..measured(-120.0, -120.0)
        };
        assert!(advice(&zero)[0].contains("privacy settings"));
    }

    #[test]
    fn the_meter_fills_from_minus_sixty_to_full_scale() {
        let line = |db: f64| {
            meter_line(Level {
                peak: Dbfs::from_peak(1.0),
                rms: Dbfs::from_peak(10f64.powf(db / 20.0)),
            })
        };
        assert_eq!(line(0.0).matches('=').count(), BAR_CELLS);
        assert_eq!(line(-30.0).matches('=').count(), BAR_CELLS / 2);
        assert_eq!(line(-90.0).matches('=').count(), 0);
    }
}
