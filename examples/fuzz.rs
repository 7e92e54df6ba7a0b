//! Feeds the readers of what comes from outside with changed inputs, and ends where one panics, hangs or grows.
//!
//! `cargo run --example fuzz -- --seconds 20 [--target NAME] [--seed N]`, or `make fuzz SECONDS=20`. Method: inputs of which a reader gives a new account
//! (its sentence, without names and numbers) are kept and changed on. What shows a fault is made smaller and written to `target/fuzz/TARGET-...`; once it
//! is mended it belongs into `tests/fuzz/found`, which `tests/fuzz_findings.rs` reads. The line of each target tells the processor time it took. Limits:
//! accounts tell less than branches would; what ends the process from outside (memory refused, a stack run over) leaves no input, but comes again with the
//! same seed.

#[path = "../tests/fuzz/change.rs"]
mod change;
#[path = "../benches/live/process.rs"]
mod process;
#[path = "../tests/fuzz/targets.rs"]
mod targets;

use change::changed;
use clap::Parser;
use fastrand::Rng;
use lidprop::session::contained::{Fault, contained};
use std::collections::HashSet;
use std::fs;
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::{Duration, Instant};
use targets::{TARGETS, Target};

/// An input that takes longer hangs.
const HANGS: Duration = Duration::from_secs(20);
/// A process that holds more memory grows, KiB.
const GROWS: f64 = 1e6;
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
    /// The folder of the project, where the seeds lie
    #[arg(long, default_value = env!("CARGO_MANIFEST_DIR"))]
    project: PathBuf,
}

/// What is being fed, for the thread that watches too.
struct Fed {
    target: &'static Target,
    seed: u64,
    into: PathBuf,
    begun: Instant,
    /// Processor time of the process before, seconds.
    taken_before: f64,
    now: Mutex<Option<(Instant, Vec<u8>)>>,
    inputs: AtomicU64,
    accounts: AtomicU64,
}

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
    let fed = Arc::new(Fed::new(target, arguments, seed));
    watch(fed.clone());
    let mut kept = target.seeds(&arguments.project);
    let mut known = HashSet::new();
    let mut faults = HashSet::new();
    let mut waiting = kept.clone();
    while fed.begun.elapsed() < Duration::from_secs(arguments.seconds) || !waiting.is_empty() {
        let input = waiting.pop().unwrap_or_else(|| {
            let (one, other) = (random.usize(..kept.len()), random.usize(..kept.len()));
            changed(&kept[one], &kept[other], target, &mut random)
        });
        match fed.read(&input) {
            Ok(account) if known.insert(sum(account.as_bytes())) => {
                fed.accounts.fetch_add(1, Ordering::Relaxed);
                if kept.len() < KEPT {
                    kept.push(input);
                }
            }
            Ok(_) => {}
            Err(fault) => {
                if faults.insert(fault.place.clone()) {
                    let small = smaller(target, &input, fault.place.as_deref());
                    eprintln!("{}: {fault}: {}", target.name, fed.keep(&small).display());
                }
            }
        }
        let inputs = fed.inputs.load(Ordering::Relaxed);
        if inputs.is_multiple_of(64) && taken().is_some_and(|taken| taken.resident_kib > GROWS) {
            let path = fed.keep(&kept[kept.len() - 1]);
            let name = target.name;
            eprintln!(
                "{name}: it has grown beyond {GROWS} KiB: {}",
                path.display()
            );
            fed.tell(faults.len() + 1);
            return false;
        }
    }
    fed.tell(faults.len());
    faults.is_empty()
}

impl Fed {
    fn new(target: &'static Target, arguments: &Arguments, seed: u64) -> Self {
        Self {
            target,
            seed,
            into: arguments.into.clone(),
            begun: Instant::now(),
            taken_before: processor_seconds(),
            now: Mutex::default(),
            inputs: AtomicU64::new(0),
            accounts: AtomicU64::new(0),
        }
    }

    fn read(&self, input: &[u8]) -> Result<String, Fault> {
        let set = |now| *self.now.lock().expect("nobody panics with it") = now;
        set(Some((Instant::now(), input.to_vec())));
        let outcome = contained(|| (self.target.read)(input));
        set(None);
        self.inputs.fetch_add(1, Ordering::Relaxed);
        outcome
    }

    fn keep(&self, input: &[u8]) -> PathBuf {
        // so that the same input has the same name
        let name = format!("{}-{:016x}", self.target.name, sum(input));
        let path = self.into.join(name);
        let written = fs::create_dir_all(&self.into).and_then(|()| fs::write(&path, input));
        written.unwrap_or_else(|error| eprintln!("{}: {error}", path.display()));
        path
    }

    fn tell(&self, faults: usize) {
        println!(
            "{:10} {:8} inputs in {:4} s, {:7.1} s of processor time, {:4} accounts, {faults} faults, seed {}",
            self.target.name,
            self.inputs.load(Ordering::Relaxed),
            self.begun.elapsed().as_secs(),
            processor_seconds() - self.taken_before,
            self.accounts.load(Ordering::Relaxed),
            self.seed
        );
    }
}

/// Processor time of this process, seconds; none where the system does not tell it as Linux does.
fn processor_seconds() -> f64 {
    taken().map_or(0.0, |taken| taken.seconds)
}

fn taken() -> Option<process::Taken> {
    process::taken(std::process::id()).ok()
}

/// Ends the program where an input hangs. Looks are counted and not time, so that a computer that was asleep is no hang.
fn watch(fed: Arc<Fed>) {
    const LOOK: Duration = Duration::from_millis(500);
    thread::spawn(move || {
        let (mut looks, mut seen) = (0, None);
        while Arc::strong_count(&fed) > 1 {
            thread::sleep(LOOK);
            let reading = fed.now.lock().expect("nobody panics with it").clone();
            let since = reading.as_ref().map(|(since, _)| *since);
            looks = if since == seen { looks + 1 } else { 0 };
            seen = since;
            if let Some((_, input)) = reading.filter(|_| looks * LOOK > HANGS) {
                eprintln!("{}: hangs: {}", fed.target.name, fed.keep(&input).display());
                fed.tell(1);
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

/// FNV-1a.
fn sum(bytes: &[u8]) -> u64 {
    bytes.iter().fold(0xcbf2_9ce4_8422_2325, |sum, &byte| {
        (sum ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
    })
}
