//! What several tests share.

#![allow(dead_code)] // Each test binary uses its own part.

pub mod sound_server;
pub mod terminal;

use lidprop::audio::{FileSource, SampleSource};
use lidprop::units::SampleRate;
use sound_server::SoundServer;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

/// `lidprop` with these arguments, which listens to `server`; all that it prints can be read.
pub fn lidprop_at(server: &SoundServer, arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_lidprop"));
    server.apply(&mut command);
    command
        .args(arguments)
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    command
}

/// Waits until `child` tells on standard error that it listens.
pub fn wait_until_listening(child: &mut Child) -> impl BufRead + use<> {
    let mut lines = BufReader::new(child.stderr.take().expect("standard error is piped"));
    let mut line = String::new();
    lines.read_line(&mut line).expect("it can be read");
    assert!(line.contains("listening to"), "{line}");
    lines
}

/// The path of a file below `test-audio/`.
pub fn test_audio(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join("test-audio")
        .join(name)
}

/// All samples of a source, at the internal rate.
pub fn read_all(source: &mut FileSource) -> Vec<f32> {
    source.read_all().expect("the source can be read")
}

/// All samples of a recording of the project, at the internal rate.
pub fn samples_of(name: &str) -> Vec<f32> {
    read_all(&mut lidprop::audio::open(test_audio(name)).expect("the recording is there"))
}

/// By how many samples `heard` lies later than `reference`, by the highest cross-correlation within ±`reach`.
pub fn lag(reference: &[f32], heard: &[f32], reach: i64) -> i64 {
    let sum = |lag: i64| -> f64 {
        let pairs = reference.iter().enumerate().filter_map(|(n, &r)| {
            let at = usize::try_from(n as i64 + lag).ok()?;
            Some(f64::from(r) * f64::from(*heard.get(at)?))
        });
        pairs.sum()
    };
    (-reach..=reach)
        .max_by(|&a, &b| sum(a).total_cmp(&sum(b)))
        .expect("the reach is not empty")
}

/// Root mean square.
pub fn rms(samples: &[f32]) -> f64 {
    let square: f64 = samples.iter().map(|&x| f64::from(x) * f64::from(x)).sum();
    (square / samples.len().max(1) as f64).sqrt()
}

/// A recording as WAV in `folder`, which the sound server's player reads.
pub fn as_stereo_wav(recording: &Path, folder: &Path) -> PathBuf {
    let samples = read_all(&mut lidprop::audio::open(recording).expect("the recording is there"));
    stereo_wav(&samples, folder.join("stereo.wav"))
}

/// Mono samples at the internal rate as a WAV file in stereo: the sound server's player puts a mono file on one side only.
pub fn stereo_wav(samples: &[f32], path: PathBuf) -> PathBuf {
    let spec = hound::WavSpec {
        channels: 2,
        sample_rate: SampleRate::INTERNAL.get(),
        bits_per_sample: 32,
        sample_format: hound::SampleFormat::Float,
    };
    let mut writer = hound::WavWriter::create(&path, spec).expect("the folder can be written");
    for &x in samples {
        writer.write_sample(x).expect("the disk has room");
        writer.write_sample(x).expect("the disk has room");
    }
    writer.finalize().expect("the disk has room");
    path
}
