//! Feeds the readers of what comes from outside with changed inputs, and ends where one panics, hangs or grows.
//!
//! `cargo run --example fuzz -- --seconds 20 [--target NAME] [--seed N]`, or `make fuzz SECONDS=20`. Method: inputs of which a reader gives a new account
//! (its sentence, without names and numbers) are kept and changed on. What shows a fault is made smaller and written to `target/fuzz/TARGET-...`; once it
//! is mended it belongs into `tests/fuzz/found`, which `tests/fuzz_findings.rs` reads. Limits: accounts tell less than branches would.

#[path = "../tests/fuzz/change.rs"]
mod change;
#[path = "../tests/fuzz/targets.rs"]
mod targets;

use change::changed;
use clap::Parser;
use fastrand::Rng;
use lidprop::session::contained::contained;
use std::collections::HashSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::{Duration, Instant};
use targets::{TARGETS, Target};

/// An input that takes longer hangs.
const HANGS: Duration = Duration::from_secs(20);
/// A process that holds more memory grows, kB.
const GROWS: u64 = 1_000_000;
/// Inputs that are kept at most.
const KEPT: usize = 4000;
/// Attempts to make a finding smaller.
const SMALLER: usize = 3000;

#[derive(Parser)]
struct Arguments {
    /// How long each target is fed
    #[arg(long, default_value_t = 20)]
    seconds: u64,
    /// This one alone
    #[arg(long)]
    target: Option<String>,
    /// Where chance begins
    #[arg(long)]
    seed: Option<u64>,
    /// Where findings go
    #[arg(long, default_value = "target/fuzz")]
    into: PathBuf,
}

/// What is being read, for the thread that watches.
type Now = Arc<Mutex<Option<(Instant, Vec<u8>)>>>;

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    let seed = arguments.seed.unwrap_or_else(|| fastrand::u64(..));
    let mut all_well = true;
    let asked = |target: &&Target| {
        arguments
            .target
            .as_deref()
            .is_none_or(|name| name == target.name)
    };
    for target in TARGETS.iter().filter(asked) {
        all_well &= feed(target, &arguments, seed);
    }
    if all_well {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}

/// Feeds one target; true if nothing was found.
fn feed(target: &'static Target, arguments: &Arguments, seed: u64) -> bool {
    let mut random = Rng::with_seed(seed);
    let now: Now = Arc::default();
    watch(target, now.clone(), arguments.into.clone());
    let mut kept = target.seeds();
    let mut known = HashSet::new();
    let (begun, mut runs, mut faults) = (Instant::now(), 0_u64, HashSet::new());
    let mut waiting = kept.clone();
    while begun.elapsed() < Duration::from_secs(arguments.seconds) || !waiting.is_empty() {
        let input = waiting.pop().unwrap_or_else(|| {
            let (one, other) = (random.usize(..kept.len()), random.usize(..kept.len()));
            changed(&kept[one], &kept[other], target, &mut random)
        });
        *now.lock().expect("nobody panics with it") = Some((Instant::now(), input.clone()));
        let outcome = contained(|| (target.read)(&input));
        *now.lock().expect("nobody panics with it") = None;
        runs += 1;
        match outcome {
            Ok(account) if known.insert(sum(account.as_bytes())) && kept.len() < KEPT => {
                kept.push(input)
            }
            Ok(_) => {}
            Err(fault) => {
                if faults.insert(fault.place.clone()) {
                    let small = smaller(target, &input, fault.place.as_deref());
                    let path = keep(target, &small, &arguments.into);
                    eprintln!("{}: {fault}: {}", target.name, path.display());
                }
            }
        }
        if runs.is_multiple_of(64) && held_kilobytes().is_some_and(|held| held > GROWS) {
            let path = keep(target, &kept[kept.len() - 1], &arguments.into);
            eprintln!(
                "{}: it has grown beyond {GROWS} kB: {}",
                target.name,
                path.display()
            );
            return false;
        }
    }
    println!(
        "{:10} {runs:8} inputs in {:4} s, {:4} accounts, {} faults, seed {seed}",
        target.name,
        begun.elapsed().as_secs(),
        known.len(),
        faults.len()
    );
    faults.is_empty()
}

/// Ends the program where an input hangs. Looks are counted and not time, so that a computer that was asleep is no hang.
fn watch(target: &'static Target, now: Now, into: PathBuf) {
    const LOOK: Duration = Duration::from_millis(500);
    thread::spawn(move || {
        let (mut looks, mut seen) = (0, None);
        while Arc::strong_count(&now) > 1 {
            thread::sleep(LOOK);
            let reading = now.lock().expect("nobody panics with it").clone();
            let since = reading.as_ref().map(|(since, _)| *since);
            looks = if since == seen { looks + 1 } else { 0 };
            seen = since;
            if let Some((_, input)) = reading.filter(|_| looks * LOOK > HANGS) {
                let path = keep(target, &input, &into);
                eprintln!("{}: hangs: {}", target.name, path.display());
                std::process::exit(1);
            }
        }
    });
}

/// The input with all left out that the fault does not need.
fn smaller(target: &Target, input: &[u8], place: Option<&str>) -> Vec<u8> {
    let fails = |input: &[u8]| {
        contained(|| (target.read)(input)).is_err_and(|fault| fault.place.as_deref() == place)
    };
    let (mut small, mut piece, mut attempts) = (input.to_vec(), input.len() / 2, 0);
    while piece > 0 && attempts < SMALLER {
        let mut at = 0;
        while at < small.len() && attempts < SMALLER {
            attempts += 1;
            let mut without = small.clone();
            without.drain(at..(at + piece).min(small.len()));
            if fails(&without) {
                small = without;
            } else {
                at += piece;
            }
        }
        piece /= 2;
    }
    small
}

fn keep(target: &Target, input: &[u8], into: &Path) -> PathBuf {
    // so that the same input has the same name
    let path = into.join(format!("{}-{:016x}", target.name, sum(input)));
    let written = fs::create_dir_all(into).and_then(|()| fs::write(&path, input));
    written.unwrap_or_else(|error| eprintln!("{}: {error}", path.display()));
    path
}

/// FNV-1a.
fn sum(bytes: &[u8]) -> u64 {
    bytes.iter().fold(0xcbf2_9ce4_8422_2325, |sum, &byte| {
        (sum ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
    })
}

fn held_kilobytes() -> Option<u64> {
    let status = fs::read_to_string("/proc/self/status").ok()?;
    let line = status
        .lines()
        .find_map(|line| line.strip_prefix("VmRSS:"))?;
    line.split_whitespace().next()?.parse().ok()
}
