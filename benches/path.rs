//! The whole path on one core, beside the bare transforms that it cannot do without and as a multiple of them, and its peak memory.
//!
//! Input: the recordings in `test-audio`. Output: a table of times, then peak memory for a short and a long recording.
//! Units: an item is a second of sound, so that items a second are the real-time factor; memory in MiB.
//! Method: divan; `make bench` keeps it on one core. Memory is what Linux calls `VmHWM` of a `lidprop take` that reads a
//! recording joined from ours. Limits: memory is measured on Linux only, and only without a filter.

#[path = "shared/transforms.rs"]
mod transforms;

use divan::Bencher;
use divan::counter::ItemsCount;
use lidprop::audio::{self, AudioError, SampleSource};
use lidprop::listener::{Event, Listener, ListenerOptions};
use lidprop::session::recording::hear_samples;
use lidprop::units::SampleRate;
use std::hint::black_box;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};
use transforms::transforming;

fn main() {
    println!("an item is a second of sound: items a second = times faster than real time");
    divan::main();
    // Cargo passes `--bench` alone when it is no test run and no filter is given.
    if std::env::args().skip(1).eq(["--bench"]) {
        print_ratios();
        print_peak_memory();
    }
}

/// Prints how many times the bare transforms each way costs, by the fastest of some runs taken in turn, so that a busy machine harms all alike.
fn print_ratios() {
    const ROUNDS: usize = 20;
    let path = recording("borrowed-dominants.flac");
    let sound = a_progression();
    let seconds = sound.len() as f64 / f64::from(SampleRate::INTERNAL.get());
    let mut transform = transforming(&sound);
    let ways: &mut [(&str, &mut dyn FnMut())] = &mut [
        ("bare transforms", &mut transform),
        ("listening as live", &mut || {
            let mut listener = Listener::new(ListenerOptions::default());
            hear_samples(&mut listener, &sound, |event| _ = black_box(event));
        }),
        ("lidprop take, start to end", &mut || {
            let ended = take(&path).status().expect("cargo has built the program");
            assert!(ended.success());
        }),
    ];
    let mut fastest = [f64::INFINITY; 3];
    for _ in 0..ROUNDS {
        for ((_, run), fastest) in ways.iter_mut().zip(&mut fastest) {
            let begun = Instant::now();
            run();
            *fastest = fastest.min(begun.elapsed().as_secs_f64());
        }
    }
    for ((way, _), time) in ways.iter().zip(fastest) {
        println!(
            "{way}: {:.1} times the bare transforms, {:.0} times faster than real time",
            time / fastest[0],
            seconds / time
        );
    }
}

/// `lidprop take` of a recording, its document thrown away.
fn take(path: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_lidprop"));
    command.args(["take", "--write", "json"]).arg(path);
    command.stdout(Stdio::null());
    command
}

#[divan::bench(sample_count = 10, sample_size = 1)]
fn bare_transforms(bencher: Bencher) {
    let sound = a_progression();
    bencher
        .counter(seconds_of(&sound))
        .bench_local(transforming(&sound));
}

#[divan::bench(sample_count = 10, sample_size = 1)]
fn listening(bencher: Bencher) {
    let sound = a_progression();
    bencher
        .counter(seconds_of(&sound))
        .with_inputs(|| Listener::new(ListenerOptions::default()))
        .bench_local_refs(|listener| {
            hear_samples(listener, &sound, |event| _ = black_box(event));
        });
}

#[divan::bench(sample_count = 10, sample_size = 1)]
fn reading(bencher: Bencher) {
    let path = recording("borrowed-dominants.flac");
    bencher
        .counter(seconds_of(&a_progression()))
        .bench_local(|| {
            read_blocks(&path, |block| {
                black_box(block);
            })
        });
}

#[divan::bench(sample_count = 10, sample_size = 1)]
fn reading_and_listening(bencher: Bencher) {
    let path = recording("borrowed-dominants.flac");
    bencher
        .counter(seconds_of(&a_progression()))
        .bench_local(|| {
            let mut listener = Listener::new(ListenerOptions::default());
            let mut events: Vec<Event> = Vec::new();
            read_blocks(&path, |block| {
                events.clear();
                listener.push(block, &mut events);
                black_box(&events);
            });
            listener.finish(&mut events);
        });
}

fn recording(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("test-audio")
        .join(name)
}

fn read_blocks(path: &Path, mut hear: impl FnMut(&[f32])) {
    let mut source = audio::open(path).expect("the recordings of the project can be read");
    source
        .for_each_block(|block| {
            hear(block);
            Ok::<_, AudioError>(())
        })
        .expect("the recordings of the project are whole");
}

fn samples_of(name: &str) -> Vec<f32> {
    let mut samples = Vec::new();
    read_blocks(&recording(name), |block| samples.extend_from_slice(block));
    samples
}

/// Chords and a melody on a grand in a room: as dense as playing usually is.
fn a_progression() -> Vec<f32> {
    samples_of("borrowed-dominants.flac")
}

fn seconds_of(sound: &[f32]) -> ItemsCount {
    ItemsCount::new(sound.len() / SampleRate::INTERNAL.get() as usize)
}

/// Reads a recording of 3 minutes and one of 60, and prints what each took at its peak.
fn print_peak_memory() {
    let folder = tempfile::tempdir().expect("there is room for temporary files");
    let peaks = [3, 60].map(|minutes| {
        let path = folder.path().join(format!("{minutes}-minutes.wav"));
        write_long_recording(&path, 60 * minutes);
        let started = Instant::now();
        let peak = peak_memory_kib(&path);
        let factor = f64::from(60 * minutes) / started.elapsed().as_secs_f64();
        match peak {
            Some(kib) => println!("lidprop take, {minutes} minutes: {:.1} MiB at the peak, {factor:.0} times real time", kib / 1024.0),
            None => println!("lidprop take, {minutes} minutes: this system does not tell the peak of its memory"),
        }
        peak
    });
    if let [Some(short), Some(long)] = peaks {
        println!("60 minutes take {:.2} times the memory of 3", long / short);
    }
}

/// Joins the recordings of the project, over and over, to a WAV file of `seconds`.
fn write_long_recording(path: &Path, seconds: u32) {
    let mut joined = Vec::new();
    for name in [
        "borrowed-dominants.flac",
        "twelve-keys.flac",
        "phone-memo.flac",
        "rolled-ballad.flac",
    ] {
        joined.extend(samples_of(name));
    }
    let rate = SampleRate::INTERNAL.get();
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: rate,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer =
        hound::WavWriter::create(path, spec).expect("there is room for temporary files");
    for sample in joined.iter().cycle().take((rate * seconds) as usize) {
        let step = (sample * f32::from(i16::MAX)) as i16;
        writer
            .write_sample(step)
            .expect("there is room for temporary files");
    }
    writer
        .finalize()
        .expect("there is room for temporary files");
}

/// Largest resident memory of `lidprop take` on `path`, in KiB; `None` where `/proc` does not tell.
fn peak_memory_kib(path: &Path) -> Option<f64> {
    let mut reader = take(path).spawn().expect("cargo has built the program");
    let status = format!("/proc/{}/status", reader.id());
    let mut peak = None;
    let exit = loop {
        // The high-water mark only rises, so the last reading before the end counts.
        peak = high_water_kib(&status).or(peak);
        if let Some(exit) = reader.try_wait().expect("the program is our own child") {
            break exit;
        }
        std::thread::sleep(Duration::from_millis(5));
    };
    assert!(exit.success(), "lidprop take failed on {}", path.display());
    peak
}

fn high_water_kib(status: &str) -> Option<f64> {
    let text = std::fs::read_to_string(status).ok()?;
    let line = text.lines().find_map(|line| line.strip_prefix("VmHWM:"))?;
    line.trim().strip_suffix("kB")?.trim().parse().ok()
}
