//! Renders `test-audio/`: short recordings of an invented evening class, mixed from recorded notes of real pianos.
//!
//! ```text
//! cargo run --release --example render_test_audio -- \
//!     --pianos ../shared/pianos --rooms ../shared/rooms --voices ../shared/voices --into test-audio
//! ```
//! Input: folders of recorded single notes (with `map.tsv`), of room impulse responses and of spoken snippets.
//! Output: one sound file a take and `truth.json`, which says what was played in each: every key with its strike and
//! its damping, every chord with its academic label (Harte et al., ISMIR 2005) and every label as good.
//! Units: seconds from the first sample, MIDI numbers and velocities.
//! Method: a written part is played by a player with slightly uneven hands (seeded, so that every run plays alike);
//! the recorded notes are mixed, and the mix passes through a room and a microphone.
//! Limits: strings of one mix do not excite each other, and the pedal only keeps dampers up.

mod error;
mod microphone;
mod piano;
mod player;
mod sound;
mod takes;
mod truth;

use clap::Parser;
use error::RenderError;
use microphone::Surroundings;
use piano::Piano;
use std::path::PathBuf;
use std::process::ExitCode;
use truth::{Clip, Truth};

/// Renders the test recordings and writes down what was played in them.
#[derive(Parser)]
struct Options {
    /// Folder with one folder of recorded notes a piano
    #[arg(long, value_name = "DIR")]
    pianos: PathBuf,
    /// Folder with room impulse responses and noises
    #[arg(long, value_name = "DIR")]
    rooms: PathBuf,
    /// Folder with spoken snippets
    #[arg(long, value_name = "DIR")]
    voices: PathBuf,
    /// Folder to write to
    #[arg(long, value_name = "DIR", default_value = "test-audio")]
    into: PathBuf,
}

fn main() -> ExitCode {
    match render_all(&Options::parse()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("render_test_audio: {error}");
            ExitCode::FAILURE
        }
    }
}

fn render_all(options: &Options) -> Result<(), RenderError> {
    let surroundings = Surroundings::in_folders(&options.rooms, &options.voices);
    let mut clips = Vec::new();
    for take in takes::all()? {
        let piano = take
            .piano
            .map(|name| Piano::load(&options.pianos, name))
            .transpose()?;
        let dry = match &piano {
            Some(piano) => piano.render(&take.performance, take.a4, take.seconds)?,
            None => sound::Sound::silence(take.seconds),
        };
        let heard = take.microphone.record(&dry, &surroundings, take.seed)?;
        let path = options.into.join(take.file);
        sound::write(&path, &heard, take.seed)?;
        println!(
            "{}: {:.1} s, {} notes",
            path.display(),
            take.seconds,
            take.performance.notes.len()
        );
        clips.push(Clip::of(take));
    }
    Truth::of(clips).write(&options.into.join("truth.json"))
}
