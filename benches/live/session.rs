//! The whole measurement, one part after the other.
//!
//! Input: [`Options`]. Output: the table. Units: as the table says.
//! Method: this program starts the sound server and then itself again inside the server's environment, because the sound library reads
//! its environment once. Limits: other work on the same machine counts against the figures, so its load is told.

use crate::clips::{self, Clip};
use crate::drill::{self, Attempted};
use crate::figures::{Asked, Held, mean, percentile, print_head, print_note, print_row};
use crate::played;
use crate::process::{Taken, taken};
use crate::reference;
use crate::shares;
use crate::sound::{self, Busy, Microphone};
use crate::support::sound_server::SoundServer;
use crate::support::stereo_wav;
use crate::terminal::{Screen, Terminal};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::{Duration, Instant};

/// Measures the live path through a real sound server
#[derive(Debug, clap::Parser)]
pub struct Options {
    /// A labelled corpus: a folder with truth.json
    #[arg(long)]
    pub corpus: Option<PathBuf>,
    /// Labelled corpora of what is played on; ten of their clips are heard for how soon the harmony is right
    #[arg(long)]
    pub played: Vec<PathBuf>,
    /// How many of its held voicings are played for the delays
    #[arg(long, default_value_t = 70)]
    pub clips: usize,
    /// How long it then runs on with every core busy
    #[arg(long, default_value_t = 30.0)]
    pub minutes: f64,
    /// Measure the marks of its drills alone
    #[arg(long)]
    pub drills_only: bool,
    /// Measure windows, hops and rules alone: no sound server, no screen, no waiting
    #[arg(long)]
    pub without_waiting: bool,
    /// Measure what it takes of a core alone, thread by thread, for so many minutes quiet and busy
    #[arg(long)]
    pub shares_only: bool,
    /// What cargo passes to every benchmark
    #[arg(long, hide = true)]
    bench: bool,
}

/// Set inside the sound server's environment.
const INSIDE: &str = "LIDPROP_BENCH_INSIDE";
/// Clicks for the sound server's part.
const CLICKS: usize = 40;
/// Clips of what is played on.
const PLAYED: usize = 10;
/// Quiet between two clips: the answer is let go, and cleared only now and then.
const BETWEEN: Duration = Duration::from_millis(700);
/// From here on memory is asked to be flat: the ring of the last minute has been filled.
const WARM: Duration = Duration::from_secs(90);
/// Growth that is still flat, KiB: pages that the allocator moves about.
const FLAT_KIB: f64 = 1024.0;
/// Time between two looks at memory.
const LOOK: Duration = Duration::from_secs(5);

pub fn run(options: &Options, corpus: &Path) -> Result<(), String> {
    if options.without_waiting {
        let clips = clips::read(corpus, options.clips)?;
        print_head();
        print_names("on the samples alone", &on_samples(&clips), true);
        return print_harmony(&options.played);
    }
    if std::env::var_os(INSIDE).is_some() {
        return measure(options, corpus);
    }
    let server = SoundServer::start()?;
    let own = std::env::current_exe().map_err(|e| e.to_string())?;
    let mut inside = Command::new(own);
    server.apply(&mut inside);
    let status = inside
        .args(std::env::args_os().skip(1))
        .env(INSIDE, "1")
        .env(shares::SERVER, server.process().to_string())
        .status()
        .map_err(|e| e.to_string())?;
    if status.success() {
        Ok(())
    } else {
        Err("the measurement failed".into())
    }
}

fn measure(options: &Options, corpus: &Path) -> Result<(), String> {
    let folder = tempfile::tempdir().map_err(|e| e.to_string())?;
    if options.drills_only {
        print_head();
        return print_marks(&drill::attempts(corpus, folder.path())?);
    }
    if options.shares_only {
        return shares::print(options.minutes, folder.path());
    }
    let clips = clips::read(corpus, options.clips)?;
    eprintln!(
        "bench-live: {CLICKS} clicks, {} clips, {} minutes",
        clips.len(),
        options.minutes
    );
    let server: Vec<f64> = sound::capture_delays(folder.path(), CLICKS)?;
    let mut microphone = Microphone::open()?;
    let mut players_starts = Vec::new();
    let load_before = load();
    // The name small, since it is read as text; large letters are drawn in the same picture.
    let terminal = Terminal::start(&["hear", "--small"])?;
    terminal.wait_until_it_listens()?;
    let quiet_before = (Instant::now(), taken(terminal.child.id())?);
    let held = clips
        .iter()
        .map(|clip| {
            let (held, players_start) =
                play_and_watch(clip, &terminal, &mut microphone, folder.path())?;
            players_starts.push(players_start);
            Ok::<_, String>(held)
        })
        .collect::<Result<Vec<_>, _>>()?;
    drop(microphone);
    let quiet_after = taken(terminal.child.id())?;
    let quiet_share = core_share(quiet_before, quiet_after);
    let load_after = load();
    if held.iter().all(|held| held.first.is_none()) {
        return Err("no name was ever seen on the screen".into());
    }
    let bare = on_samples(&clips);

    println!(
        "\n{} held voicings of {}; lidprop {}; load of the machine {load_before} before, {load_after} after\n",
        clips.len(),
        corpus.display(),
        env!("CARGO_PKG_VERSION"),
    );
    print_head();
    print_names("from the strike of the last key to", &held, true);
    let milliseconds =
        |values: &[f64], share| percentile(values, share).map_or(f64::NAN, |value| 1000.0 * value);
    print_note(
        "of it sound server and capture, median / 95th percentile",
        &format!(
            "{:.0} / {:.0} ms",
            milliseconds(&server, 0.5),
            milliseconds(&server, 0.95)
        ),
    );
    print_note(
        "not in it: the start of the player, median / 95th percentile",
        &format!(
            "{:.0} / {:.0} ms",
            milliseconds(&players_starts, 0.5),
            milliseconds(&players_starts, 0.95)
        ),
    );
    print_names(
        "of it windows, hops and rules (the same samples without waiting): to",
        &bare,
        false,
    );
    print_harmony(&options.played)?;
    let rest: Vec<f64> = held
        .iter()
        .zip(&bare)
        .filter_map(|(held, bare)| Some(held.first? - bare.first?))
        .collect();
    print_note(
        "of it all but windows, hops and rules (sound server, computing, drawing), clip by clip, median / 95th percentile",
        &format!(
            "{:.0} / {:.0} ms",
            milliseconds(&rest, 0.5),
            milliseconds(&rest, 0.95)
        ),
    );
    print_note(
        "share of one core while the clips were played",
        &format!("{quiet_share:.1} %"),
    );
    terminal.quit()?;
    let terminal = Terminal::start(&["hear"])?;
    terminal.wait_until_it_listens()?;
    let bytes = bytes_a_second(&clips, &terminal, folder.path())?;
    print_note(
        "written to a terminal of 100 by 30 while the clips are played, name large",
        &format!("{bytes:.0} bytes per second"),
    );
    if options.minutes > 0.0 {
        run_on(options, &clips, &terminal, folder.path())?;
    }
    terminal.quit()?;
    print_marks(&drill::attempts(corpus, folder.path())?)
}

/// The rows of the marks of drills.
fn print_marks(attempts: &[Attempted]) -> Result<(), String> {
    let delays: Vec<f64> = attempts.iter().filter_map(|one| one.delay).collect();
    if delays.is_empty() {
        return Err("no attempt of a drill was ever marked".into());
    }
    let asked = [(450.0, 300.0), (900.0, 600.0)].map(|(at_least, aim)| Asked { at_least, aim });
    print_row(
        &format!(
            "from the last strike of an attempt to its mark on the screen ({} of {} attempts), median / 95th percentile",
            delays.len(),
            attempts.len()
        ),
        &[0.5, 0.95].map(|share| percentile(&delays, share).map(|value| 1000.0 * value)),
        &asked,
        0,
        "ms",
    );
    for (right, what) in [(true, "right"), (false, "wrong")] {
        let of_kind: Vec<&Attempted> = attempts.iter().filter(|one| one.right == right).collect();
        let count = |word: &str| of_kind.iter().filter(|one| one.word == word).count();
        print_note(
            &format!(
                "of {} attempts played {what}, marked right / slip / unsure / not",
                of_kind.len()
            ),
            &["RIGHT", "SLIP", "UNSURE", ""]
                .map(|word| count(word).to_string())
                .join(" / "),
        );
    }
    Ok(())
}

/// What is delayed, by how much, and the median and 95th percentile asked for.
type Delay = (&'static str, fn(&Held) -> Option<f64>, [Asked; 2]);

const fn asked(at_least: f64, aim: f64) -> Asked {
    Asked { at_least, aim }
}

/// How much of the harmony of what is played on is not on the screen in time.
fn print_harmony(corpora: &[PathBuf]) -> Result<(), String> {
    let figures = played::in_time(corpora, PLAYED)?;
    if figures.all > 0 {
        print_row(
            &format!(
                "on the samples alone, of {} chords of {} played clips the share that is not right within 1 s of its start",
                figures.all, figures.clips
            ),
            &[Some(1.0 - figures.right as f64 / figures.all as f64)],
            &[asked(0.30, 0.15)],
            2,
            "",
        );
    }
    Ok(())
}

/// Delays of names, their changes, and those that were wrong.
fn print_names(to: &str, held: &[Held], judged: bool) {
    let rows: [Delay; 3] = [
        (
            "the first name on the screen",
            |held| held.first,
            [asked(120.0, 100.0), asked(170.0, 140.0)],
        ),
        (
            "a name that then stands long enough to be read",
            |held| held.readable,
            [asked(180.0, 140.0), asked(300.0, 220.0)],
        ),
        (
            "the right name, settled",
            |held| held.right,
            [asked(220.0, 180.0), asked(300.0, 250.0)],
        ),
    ];
    for (what, delay, limits) in rows {
        let delays: Vec<f64> = held.iter().filter_map(delay).collect();
        let measured =
            [0.5, 0.95].map(|share| percentile(&delays, share).map(|value| 1000.0 * value));
        let figure = format!(
            "{to} {what} ({} of {} chords), median / 95th percentile",
            delays.len(),
            held.len()
        );
        if judged {
            print_row(&figure, &measured, &limits, 0, "ms");
        } else {
            let [median, high] = measured.map(|value| value.unwrap_or(f64::NAN));
            print_note(&figure, &format!("{median:.0} / {high:.0} ms"));
        }
    }
    let wrong = held.iter().filter(|held| held.settled_wrong).count();
    let changes: Vec<f64> = held.iter().map(|held| held.changes as f64).collect();
    let (of_all, all) = (held.len() as f64 / 210.0, held.len());
    if judged {
        print_row(
            &format!("chords of {all} that ever settled under a wrong name"),
            &[Some(wrong as f64)],
            &[asked((3.0 * of_all).floor(), of_all.floor())],
            0,
            "",
        );
        print_row(
            "changes of the shown name within one held chord, mean",
            &[mean(&changes)],
            &[asked(0.15, 0.05)],
            2,
            "",
        );
    } else {
        print_note(
            &format!("chords of {all} that ever settled under a wrong name, without waiting"),
            &wrong.to_string(),
        );
    }
}

/// What the rules would show of the clips.
fn on_samples(clips: &[Clip]) -> Vec<Held> {
    let of = |clip: &Clip| {
        let seen = reference::answers(&clip.samples);
        if std::env::var_os("LIDPROP_BENCH_TRACE").is_some() {
            trace(clip, &seen);
        }
        Held::of(seen.into_iter(), clip.strike, clip.release, |name| {
            clip.accepts(name)
        })
    };
    clips.iter().map(of).collect()
}

/// Tells what was seen of a clip, and marks each name that is none of its own.
fn trace(clip: &Clip, seen: &[(f64, Screen)]) {
    eprintln!(
        "{} strike {:.3} release {:.3}",
        clip.file, clip.strike, clip.release
    );
    for (at, screen) in seen {
        let name = screen.answer.as_ref().and_then(|(name, _)| name.as_ref());
        let wrong = name.is_some_and(|name| !clip.accepts(name));
        eprintln!(
            "   {:4.0} ms {:?}{}",
            1000.0 * (at - clip.strike),
            screen.answer,
            if wrong { " WRONG" } else { "" }
        );
    }
}

/// Plays a clip and looks at the screen until it has ended; gives the start of the player as well, seconds.
fn play_and_watch(
    clip: &Clip,
    terminal: &Terminal,
    microphone: &mut Microphone,
    folder: &Path,
) -> Result<(Held, f64), String> {
    terminal.seen();
    let played = microphone.play(&clip.samples, folder)?;
    std::thread::sleep(BETWEEN);
    let since = |at: Instant| at.saturating_duration_since(played.begun).as_secs_f64();
    let seen = terminal.seen().into_iter();
    let seen: Vec<_> = seen.map(|seen| (since(seen.at), seen.screen)).collect();
    if std::env::var_os("LIDPROP_BENCH_TRACE").is_some() {
        trace(clip, &seen);
    }
    let accepts = |name: &str| clip.accepts(name);
    let held = Held::of(seen.into_iter(), clip.strike, clip.release, accepts);
    Ok((held, played.players_start))
}

/// How much the screen writes while the clips are played one after another.
fn bytes_a_second(clips: &[Clip], terminal: &Terminal, folder: &Path) -> Result<f64, String> {
    let file = all_in_one(clips, folder);
    let (begun, before) = (Instant::now(), terminal.bytes());
    let mut player = sound::play(&file)?;
    player.wait().map_err(|e| e.to_string())?;
    Ok((terminal.bytes() - before) as f64 / begun.elapsed().as_secs_f64())
}

fn all_in_one(clips: &[Clip], folder: &Path) -> PathBuf {
    let all: Vec<f32> = clips
        .iter()
        .flat_map(|clip| &clip.samples)
        .copied()
        .collect();
    stereo_wav(&all, folder.join("all.wav"))
}

/// Plays all clips over and over while every core is busy, and looks at what the program takes.
fn run_on(
    options: &Options,
    clips: &[Clip],
    terminal: &Terminal,
    folder: &Path,
) -> Result<(), String> {
    let file = all_in_one(clips, folder);
    let mut busy = Busy::start()?;
    let number = terminal.child.id();
    let begun = Instant::now();
    let length = Duration::from_secs_f64(60.0 * options.minutes);
    let before = taken(number)?;
    let mut resident: Vec<(Duration, f64)> = Vec::new();
    let mut lost = 0;
    let mut player = sound::play(&file)?;
    while begun.elapsed() < length {
        std::thread::sleep(LOOK.min(length - begun.elapsed().min(length)));
        busy.check()?;
        resident.push((begun.elapsed(), taken(number)?.resident_kib));
        lost = terminal
            .seen()
            .iter()
            .map(|seen| seen.screen.lost)
            .fold(lost, u64::max);
        if player.try_wait().map_err(|e| e.to_string())?.is_some() {
            player = sound::play(&file)?;
        }
    }
    let share = core_share((begun, before), taken(number)?);
    let busy_loops = busy.count();
    drop(busy);
    let _ = player.kill();
    let _ = player.wait();
    let peak = resident.iter().map(|(_, kib)| *kib).fold(0.0, f64::max);
    let last = resident.last().map_or(0.0, |(_, kib)| *kib);
    let minutes = options.minutes;
    print_row(
        &format!("share of one core over {minutes} minutes, {busy_loops} other loops busy"),
        &[Some(share)],
        &[Asked {
            at_least: 10.0,
            aim: 4.0,
        }],
        1,
        "%",
    );
    print_row(
        &format!("resident memory, peak of {minutes} minutes"),
        &[Some(peak / 1024.0)],
        &[Asked {
            at_least: 64.0,
            aim: 32.0,
        }],
        1,
        "MiB",
    );
    match resident.iter().find(|(at, _)| *at >= WARM) {
        Some((at, first)) => {
            let flat = if last - first <= FLAT_KIB {
                "flat"
            } else {
                "NOT FLAT"
            };
            print_note(
                "resident memory once warm, and at the end",
                &format!(
                    "{:.1} MiB after {:.0} s, {:.1} MiB at the end: {flat}",
                    first / 1024.0,
                    at.as_secs_f64(),
                    last / 1024.0
                ),
            );
        }
        None => print_note(
            "resident memory once warm, and at the end",
            "not told: it must run for two minutes at least",
        ),
    }
    print_row(
        &format!("samples dropped in {minutes} minutes, {busy_loops} other loops busy"),
        &[Some(lost as f64)],
        &[Asked {
            at_least: 0.0,
            aim: 0.0,
        }],
        0,
        "",
    );
    Ok(())
}

fn core_share((begun, before): (Instant, Taken), after: Taken) -> f64 {
    100.0 * (after.seconds - before.seconds) / begun.elapsed().as_secs_f64()
}

/// The load of the machine over the last minute.
fn load() -> String {
    let text = std::fs::read_to_string("/proc/loadavg").unwrap_or_default();
    text.split(' ').next().unwrap_or("unknown").to_owned()
}
