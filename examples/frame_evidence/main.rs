//! Writes what each analysis frame of recordings tells, to fit rules on.
//!
//! ```text
//! cargo run --example frame_evidence -- [--model WEIGHTS.safetensors] --into DIR RECORDING...
//! ```
//! Input: recordings. Output: DIR/NAME.f32 for each, little-endian numbers, frame after frame: 'sounding' of the 88 keys, 'struck', their powers,
//! the long window on the log-frequency axis, the short one, and the frame's root-mean-square.
//! Units: as [`lidprop::notes::NoteEvidence`], [`lidprop::notes::strength::KeyLoudness`] and [`SpectrumFrame`] have them.
//! Method: the stages of `take` up to the note tracks, with its pitch of the piano. Limits: a recording is read into memory.

use clap::Parser;
use lidprop::audio::{self, BlockState, SampleSource};
use lidprop::notes::strength::KeyLoudness;
use lidprop::notes::{Model, NetworkEstimator, NoteEstimator, NoteEvidence};
use lidprop::spectrum::{Analyser, SpectrumFrame, TuningFollower, estimate_a4};
use lidprop::units::{Hertz, SampleRate};
use std::error::Error;
use std::fs::{self, File};
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};

/// What is read, and by which weights.
#[derive(Parser)]
struct Options {
    /// Weights; without this, those that ship
    #[arg(long, value_name = "FILE")]
    model: Option<PathBuf>,
    /// Folder to write to
    #[arg(long, value_name = "DIR")]
    into: PathBuf,
    /// Recordings
    #[arg(required = true)]
    recordings: Vec<PathBuf>,
}

fn main() -> Result<(), Box<dyn Error>> {
    let options = Options::parse();
    let model = match &options.model {
        Some(path) => Model::from_bytes(&fs::read(path)?)?,
        None => Model::embedded(),
    };
    fs::create_dir_all(&options.into)?;
    for path in &options.recordings {
        let stem = path.file_stem().ok_or("a recording has a name")?;
        let to = options.into.join(stem).with_extension("f32");
        write_frames(&samples_of(path)?, &model, &to)?;
    }
    Ok(())
}

fn samples_of(path: &Path) -> Result<Vec<f32>, Box<dyn Error>> {
    let mut source = audio::open(path)?;
    let (mut samples, mut block) = (Vec::new(), Vec::new());
    let mut state = BlockState::More;
    while state != BlockState::Ended {
        state = source.next_block(&mut block)?;
        samples.extend_from_slice(&block);
    }
    Ok(samples)
}

fn write_frames(samples: &[f32], model: &Model, to: &Path) -> Result<(), Box<dyn Error>> {
    let expected = Hertz::CONCERT_A4;
    let beginning = &samples[..samples.len().min(20 * SampleRate::INTERNAL.get() as usize)];
    let mut follower = match estimate_a4(beginning, expected) {
        Some(found) => TuningFollower::starting_from(expected, found.a4),
        None => TuningFollower::new(expected),
    };
    let mut analyser = Analyser::new(follower.a4().unwrap_or(expected));
    let mut estimator = NetworkEstimator::new(model);
    let (mut frame, mut evidence) = (SpectrumFrame::default(), NoteEvidence::default());
    let mut loudness = KeyLoudness::default();
    let mut out = BufWriter::new(File::create(to)?);
    let mut rest = samples;
    while analyser.next_frame(&mut rest, &mut frame) {
        follower.step(analyser.long_power());
        if let Some(a4) = follower.a4() {
            analyser.retune(a4);
        }
        estimator.step(&frame, &mut evidence);
        loudness.measure(&frame);
        let rows: [&[f32]; 6] = [
            &evidence.sounding,
            &evidence.onset,
            &loudness.powers,
            &frame.long,
            &frame.short,
            std::slice::from_ref(&frame.rms),
        ];
        for value in rows.into_iter().flatten() {
            out.write_all(&value.to_le_bytes())?;
        }
    }
    Ok(out.flush()?)
}
