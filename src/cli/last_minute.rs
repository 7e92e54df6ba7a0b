//! The last minute, kept in memory and written when asked for.
//!
//! Input: mono samples at the internal rate. Output: a WAV file and its result document beside it.
//! Units: full scale ±1; 16-bit PCM at 22,050 Hz in the file.
//! Method: a ring of fixed size; what was played is heard again from the ring, so the document fits the file sample by sample.
//! Limits: the band ends where that of the listener ends, about 10 kHz; nothing is stored unless asked.

use crate::chart::recording::Heard;
use crate::harmony::AnalysisOptions;
use crate::listener::{Listener, ListenerOptions};
use crate::publish::file::{WriteError, make_folder, write_whole};
use crate::publish::write_json;
use crate::units::{Hertz, SampleRate};
use std::io::{self, Cursor};
use std::path::{Path, PathBuf};

/// Samples kept: sixty seconds, 5.3 MB.
const MINUTE: usize = 60 * SampleRate::INTERNAL.get() as usize;

/// A ring of the newest minute.
pub struct LastMinute {
    ring: Vec<f32>,
    /// Where the next sample goes: the oldest one, once the ring is full.
    next: usize,
}

impl LastMinute {
    /// An empty minute; all memory is taken here.
    pub fn new() -> Self {
        Self {
            ring: Vec::with_capacity(MINUTE),
            next: 0,
        }
    }

    /// Adds the newest samples.
    pub fn push(&mut self, samples: &[f32]) {
        for &sample in samples {
            if self.ring.len() < MINUTE {
                self.ring.push(sample);
            } else {
                self.ring[self.next] = sample;
                self.next = (self.next + 1) % MINUTE;
            }
        }
    }

    /// The samples from the oldest to the newest.
    pub fn samples(&self) -> Vec<f32> {
        let (newer, older) = self.ring.split_at(self.next);
        [older, newer].concat()
    }
}

/// Writes the sound and what is heard in it to the next free `kept-N.wav` and `kept-N.json` in `folder`.
///
/// # Errors
/// If the folder does not take them.
pub fn write(
    samples: &[f32],
    a4: Option<Hertz>,
    naming: AnalysisOptions,
    folder: &Path,
) -> Result<Vec<PathBuf>, WriteError> {
    make_folder(folder)?;
    let (sound, document) = free_names(folder);
    let wav = wav(samples);
    write_whole(&sound, |out| {
        out.write_all(
            wav.as_ref()
                .map_err(|error| io::Error::other(error.to_string()))?,
        )
    })?;
    let mut heard = Heard::new(sound.display().to_string(), naming);
    let mut listener = Listener::new(ListenerOptions {
        a4,
        ..ListenerOptions::default()
    });
    let mut events = Vec::new();
    listener.push(samples, &mut events);
    listener.finish(&mut events);
    events.drain(..).for_each(|event| heard.keep(event));
    heard.close(listener.position(), listener.a4());
    write_whole(&document, |out| write_json(&heard, out))?;
    Ok(vec![sound, document])
}

fn free_names(folder: &Path) -> (PathBuf, PathBuf) {
    let names = |number: u32| {
        (
            folder.join(format!("kept-{number}.wav")),
            folder.join(format!("kept-{number}.json")),
        )
    };
    (1..)
        .map(names)
        .find(|(sound, document)| !sound.exists() && !document.exists())
        .expect("some number is free")
}

fn wav(samples: &[f32]) -> Result<Vec<u8>, hound::Error> {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: SampleRate::INTERNAL.get(),
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut bytes = Cursor::new(Vec::with_capacity(2 * samples.len() + 64));
    let mut writer = hound::WavWriter::new(&mut bytes, spec)?;
    for &sample in samples {
        writer.write_sample((sample.clamp(-1.0, 1.0) * f32::from(i16::MAX)).round() as i16)?;
    }
    writer.finalize()?;
    Ok(bytes.into_inner())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_ring_holds_the_newest_minute_in_order() {
        let mut minute = LastMinute::new();
        minute.push(&[0.5; 100]);
        assert_eq!(minute.samples().len(), 100);
        let ramp: Vec<f32> = (0..MINUTE + 7).map(|n| n as f32 / MINUTE as f32).collect();
        for block in ramp.chunks(999) {
            minute.push(block);
        }
        assert_eq!(minute.samples(), ramp[7..]);
    }

    #[test]
    fn kept_minutes_do_not_overwrite_one_another() {
        let folder = tempfile::tempdir().unwrap();
        let keep = || {
            write(
                &[0.0; 2205],
                None,
                AnalysisOptions::default(),
                folder.path(),
            )
            .unwrap()
        };
        let (first, second) = (keep(), keep());
        assert_ne!(first, second);
        let reader = hound::WavReader::open(&first[0]).unwrap();
        assert_eq!(
            (reader.duration(), reader.spec().sample_rate),
            (2205, 22_050)
        );
        assert!(
            std::fs::read_to_string(&second[1])
                .unwrap()
                .contains("lidprop/1")
        );
    }
}
