//! The original and what may stand there instead, as sound.
//!
//! Input: a [`StandInSheet`]. Output: sound through the loudspeaker, or a WAV file. Units: seconds; 16-bit samples at [`RATE`] in a file.
//! Method: the same notes and times as in MIDI ([`stand_ins::piece`]), each chord as the tone of the drill. A file says in its `INFO` list that lidprop wrote it (RIFF, Microsoft
//! and IBM, 1991). Limits: at most [`LONGEST`] seconds; one dynamic.

use crate::audio::playback::Output;
use crate::chart::piece::{Piece, PieceNote};
use crate::cli::targets::may_write;
use crate::cli::{CliError, CommandResult};
use crate::publish::stand_ins::{self, StandInSheet};
use crate::store::file::write_whole;
use crate::tone::{Struck, played};
use crate::units::{Dbfs, SampleRate, Seconds};
use std::io::{Cursor, Write};
use std::path::Path;
use std::thread;
use std::time::{Duration, Instant};

/// Samples a second of a WAV file.
const RATE: u32 = 44_100;
/// By this lidprop knows its own files.
const MARK: &str = "lidprop ";
/// Longer sound is not made: 20 minutes.
const LONGEST: f64 = 1200.0;
/// How often it is looked whether all has sounded.
const POLL: Duration = Duration::from_millis(40);
/// What the sound system holds when it has been handed all.
const HELD_BACK: Duration = Duration::from_millis(400);
/// A sound that takes so much longer than it is has got stuck.
const STUCK: Duration = Duration::from_secs(5);

/// What is struck, and when each version begins; from the first stroke on.
struct Strokes {
    struck: Vec<Struck>,
    versions: Vec<(f64, String)>,
}

/// Plays it, and tells which version sounds.
///
/// # Errors
/// If there is no output, it fails, or nothing can be written.
pub fn play(sheet: &StandInSheet, level: Dbfs, out: &mut dyn Write) -> CommandResult {
    let strokes = strokes(sheet)?;
    let output = Output::open()?;
    let samples = played(&strokes.struck, output.rate(), level);
    let lasts = Duration::from_secs_f64(samples.len() as f64 / f64::from(output.rate().get()));
    let playing = output.play(samples.into())?;
    let begun = Instant::now();
    let mut next = strokes.versions.iter().peekable();
    while !playing.is_over() && begun.elapsed() < lasts + STUCK {
        let now = begun.elapsed().as_secs_f64();
        while let Some((_, name)) = next.next_if(|(at, _)| *at <= now) {
            writeln!(out, "playing: {name}")
                .and_then(|()| out.flush())
                .map_err(CliError::from_stdout)?;
        }
        thread::sleep(POLL);
    }
    thread::sleep(HELD_BACK);
    Ok(())
}

/// Writes it into a WAV file.
///
/// # Errors
/// If there is such a file that lidprop did not write, or it cannot be written.
pub fn write_wav(sheet: &StandInSheet, level: Dbfs, path: &Path, force: bool) -> CommandResult {
    may_write(path, Some(MARK), force).map_err(CliError::Failed)?;
    let rate = SampleRate::new(RATE).map_err(CliError::failed)?;
    let bytes = wav(&played(&strokes(sheet)?.struck, rate, level)).map_err(CliError::failed)?;
    write_whole(path, |out| out.write_all(&bytes)).map_err(CliError::failed)
}

fn wav(samples: &[f32]) -> Result<Vec<u8>, hound::Error> {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: RATE,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut file = Cursor::new(Vec::new());
    let mut writer = hound::WavWriter::new(&mut file, spec)?;
    for &sample in samples {
        writer.write_sample((sample * f32::from(i16::MAX)).round() as i16)?;
    }
    writer.finalize()?;
    Ok(with_mark(file.into_inner()))
}

/// The file with an `INFO` list before its samples.
fn with_mark(mut file: Vec<u8>) -> Vec<u8> {
    let Some(data) = file.windows(4).position(|window| window == b"data") else {
        return file;
    };
    let mut text = format!("{MARK}{}", env!("CARGO_PKG_VERSION")).into_bytes();
    text.push(0);
    if text.len() % 2 == 1 {
        text.push(0);
    }
    let mut list = b"LIST".to_vec();
    list.extend((text.len() as u32 + 12).to_le_bytes());
    list.extend(b"INFOISFT");
    list.extend((text.len() as u32).to_le_bytes());
    list.extend(text);
    file.splice(data..data, list);
    let length = (file.len() as u32).saturating_sub(8);
    file[4..8].copy_from_slice(&length.to_le_bytes());
    file
}

fn strokes(sheet: &StandInSheet) -> Result<Strokes, CliError> {
    let Piece {
        notes,
        sections,
        length,
        ..
    } = stand_ins::piece(sheet);
    if length.get() > LONGEST {
        return Err(CliError::Usage(format!(
            "this would sound for {:.0} minutes; choose one chord with --for, or a quicker --tempo",
            length.get() / 60.0
        )));
    }
    let first = notes.first().map_or(0.0, |note| note.start.get());
    let together = notes.chunk_by(|a, b| a.start == b.start && a.end == b.end);
    let struck = |notes: &[PieceNote]| Struck {
        keys: notes.iter().map(|note| note.note.midi).collect(),
        at: Seconds::new(notes[0].start.get() - first).unwrap_or_default(),
        held: Seconds::new(notes[0].end.get() - notes[0].start.get()).unwrap_or_default(),
    };
    let version = |(at, name): (Seconds, String)| (at.get() - first, name);
    Ok(Strokes {
        struck: together.map(struck).collect(),
        versions: sections.into_iter().map(version).collect(),
    })
}
