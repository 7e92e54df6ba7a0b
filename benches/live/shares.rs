//! What `lidprop hear` takes of a core, thread by thread, beside yardsticks of the same run.
//!
//! Input: how long. Output: two rows of figures a thread: little else running, and every core kept busy. Units: percent of one core.
//! Method: recordings of `test-audio` are played over and over into the virtual input; the kernel tells the processor time of each thread. The yardsticks:
//! the sound server, which serves player and `hear`; the player; the same sound transformed and heard without waiting, by this program right after;
//! and a thread that does nothing but sleep until another one wakes it, as often as capture does: what waking costs differs most from machine to machine.
//! Limits: the kernel's clock ticks, 10 ms; a server takes more the more programs it serves.

use crate::figures::{print_head, print_note};
use crate::process::{seconds_in, taken};
use crate::sound::{self, Busy};
use crate::support::{samples_of, stereo_wav};
use crate::terminal::Terminal;
use crate::transforms::transforming;
use lidprop::listener::{Listener, ListenerOptions};
use lidprop::session::recording::hear_samples;
use lidprop::units::SampleRate;
use std::collections::BTreeMap;
use std::hint::black_box;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::{Duration, Instant};

/// Where the process number of the sound server stands.
pub const SERVER: &str = "LIDPROP_BENCH_SERVER";

const RECORDINGS: [&str; 4] = [
    "held-chords.flac",
    "borrowed-dominants.flac",
    "twelve-keys.flac",
    "rolled-ballad.flac",
];
/// Memory is taken and the pitch of the piano found before it counts.
const WARM: Duration = Duration::from_secs(10);
/// Time between two wake-ups of the idle thread.
const WAKES_AFTER: Duration = Duration::from_millis(10);
const WAKES: u32 = 1000;

/// Shares of one core, in percent, by what takes it.
type Shares = BTreeMap<String, f64>;

/// Measures for so many minutes each way, and prints.
pub fn print(minutes: f64, folder: &Path) -> Result<(), String> {
    let heard: Vec<f32> = RECORDINGS
        .iter()
        .flat_map(|name| samples_of(name))
        .collect();
    let file = stereo_wav(&heard, folder.join("all.wav"));
    let length = Duration::from_secs_f64(60.0 * minutes);
    let quiet = shares(&file, &heard, length)?;
    let mut busy = Busy::start()?;
    let loaded = shares(&file, &heard, length)?;
    busy.check()?;
    drop(busy);
    println!(
        "\nshares of one core over {minutes} minutes each: little else running / every core kept busy by {} loops\n",
        thread::available_parallelism().map_or(2, usize::from)
    );
    print_head();
    for (what, share) in &quiet {
        let other = loaded.get(what).copied().unwrap_or(f64::NAN);
        print_note(what, &format!("{share:.2} / {other:.2} %"));
    }
    Ok(())
}

fn shares(file: &Path, heard: &[f32], length: Duration) -> Result<Shares, String> {
    let server = std::env::var(SERVER).ok();
    let server: u32 = server
        .and_then(|number| number.parse().ok())
        .ok_or("the sound server is not known")?;
    let terminal = Terminal::start(&["hear"])?;
    terminal.wait_until_it_listens()?;
    let mut player = sound::play(file)?;
    thread::sleep(WARM);
    let number = terminal.child.id();
    let (begun, before, server_before) = (Instant::now(), threads(number)?, taken(server)?);
    let mut played = 0.0;
    let mut playing = taken(player.id())?.seconds;
    while begun.elapsed() < length {
        thread::sleep(Duration::from_millis(100).min(length));
        // One that has ended is asked before its number is given away.
        let now = taken(player.id()).map_or(playing, |taken| taken.seconds);
        played += now - playing;
        playing = now;
        if player.try_wait().map_err(|e| e.to_string())?.is_some() {
            player = sound::play(file)?;
            playing = 0.0;
        }
    }
    let of_core = |seconds: f64| 100.0 * seconds / begun.elapsed().as_secs_f64();
    let mut shares = Shares::new();
    let mut all = 0.0;
    for (name, seconds) in threads(number)? {
        let share = of_core(seconds - before.get(&name).copied().unwrap_or(0.0));
        all += share;
        shares.insert(format!("hear, thread {name}"), share);
    }
    shares.insert("hear".into(), all);
    shares.insert("player".into(), of_core(played));
    let served = taken(server)?.seconds - server_before.seconds;
    shares.insert("sound server".into(), of_core(served));
    let _ = player.kill();
    let _ = player.wait();
    terminal.quit()?;
    add_yardsticks(heard, &mut shares)?;
    Ok(shares)
}

/// Processor time of each thread of a process, by its name, seconds.
fn threads(number: u32) -> Result<BTreeMap<String, f64>, String> {
    let folder = format!("/proc/{number}/task");
    let tasks = std::fs::read_dir(&folder).map_err(|e| format!("{folder}: {e}"))?;
    let mut seconds = BTreeMap::new();
    for task in tasks.flatten() {
        let read = |what: &str| std::fs::read_to_string(task.path().join(what));
        // A thread may end while it is looked at.
        if let (Ok(name), Ok(stat)) = (read("comm"), read("stat")) {
            *seconds.entry(name.trim().to_owned()).or_insert(0.0) +=
                seconds_in(&stat).unwrap_or(0.0);
        }
    }
    Ok(seconds)
}

fn add_yardsticks(heard: &[f32], shares: &mut Shares) -> Result<(), String> {
    let own = std::process::id();
    let mut timed = |what: &str, of: f64, run: &mut dyn FnMut()| {
        let before = taken(own)?.seconds;
        run();
        let share = 100.0 * (taken(own)?.seconds - before) / of;
        shares.insert(what.to_owned(), share);
        Ok::<_, String>(())
    };
    let seconds = heard.len() as f64 / f64::from(SampleRate::INTERNAL.get());
    let mut transform = transforming(heard);
    timed(
        "yardstick: bare transforms of the same sound",
        seconds,
        &mut transform,
    )?;
    timed(
        "yardstick: listening to the same sound without waiting",
        seconds,
        &mut || {
            let mut listener = Listener::new(ListenerOptions::default());
            hear_samples(&mut listener, heard, |event| _ = black_box(event));
        },
    )?;
    let waking = f64::from(WAKES) * WAKES_AFTER.as_secs_f64();
    timed(
        "yardstick: a thread that wakes another 100 times a second",
        waking,
        &mut wake,
    )
}

fn wake() {
    let ended = Arc::new(AtomicBool::new(false));
    let until = ended.clone();
    let sleeper = thread::spawn(move || {
        while !until.load(Ordering::Relaxed) {
            thread::park();
        }
    });
    for _ in 0..WAKES {
        thread::sleep(WAKES_AFTER);
        sleeper.thread().unpark();
    }
    ended.store(true, Ordering::Relaxed);
    sleeper.thread().unpark();
    let _ = sleeper.join();
}
