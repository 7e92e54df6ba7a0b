//! The last minute, kept in memory and written when asked for.
//!
//! Input: mono samples at the input's own rate. Output: a WAV file and its result document beside it.
//! Units: full scale ±1; 16-bit PCM at the input's rate in memory and in the file, mono.
//! Method: a ring of fixed size. The document is what `lidprop take` says of the file, read back from it.
//! Limits: the noise of 16 bits, -98 dBFS, lies far below that of any room; nothing is stored unless asked.

use super::recording::{RecordingOptions, read_recording};
use crate::audio::AudioError;
use crate::chart::marked::Marked;
use crate::chart::recording::Wording;
use crate::listener::ListenerOptions;
use crate::publish::write_json;
use crate::store::file::{WriteError, make_folder, write_private};
use crate::units::{SamplePos, SampleRate, SampleSpan};
use std::io::{self, Cursor};
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

/// Seconds kept: 5.8 MB at 48 kHz.
const SECONDS: usize = 60;

/// A ring of the newest minute.
#[derive(Debug, Clone)]
pub struct LastMinute {
    rate: SampleRate,
    ring: Vec<i16>,
    /// How many samples of the ring were kept so far.
    filled: usize,
    /// Where the next sample goes: the oldest one, once the ring is full.
    next: usize,
}

/// Why a minute could not be kept.
#[derive(Debug, thiserror::Error)]
pub enum KeepError {
    /// A file could not be written.
    #[error(transparent)]
    Write(#[from] WriteError),
    /// The written file could not be read back.
    #[error(transparent)]
    Read(#[from] AudioError),
}

impl LastMinute {
    /// An empty minute at `rate`; all memory is taken here.
    #[expect(
        clippy::slow_vector_initialization,
        reason = "zeroes from the system are pages that are yet to be taken"
    )]
    pub fn new(rate: SampleRate) -> Self {
        let capacity = SECONDS * rate.get() as usize;
        // Written to, and not only asked for: the system hands memory out page by page, as it is first written.
        let mut ring = Vec::with_capacity(capacity);
        ring.resize(capacity, 0);
        Self {
            rate,
            ring,
            filled: 0,
            next: 0,
        }
    }

    /// Frames a second of what is kept.
    pub fn rate(&self) -> SampleRate {
        self.rate
    }

    /// Adds the newest samples.
    pub fn push(&mut self, samples: &[f32]) {
        for &sample in samples {
            // a cast saturates, so what is louder than full scale is clipped
            self.keep((sample * f32::from(i16::MAX)).round() as i16);
        }
    }

    /// Adds silence, `length` at [`SampleRate::INTERNAL`].
    pub fn push_silence(&mut self, length: SampleSpan) {
        let seconds = length.seconds(SampleRate::INTERNAL).get();
        let frames = (seconds * f64::from(self.rate.get())) as usize;
        (0..frames.min(self.ring.len())).for_each(|_| self.keep(0));
    }

    fn keep(&mut self, sample: i16) {
        self.ring[self.next] = sample;
        self.next = (self.next + 1) % self.ring.len();
        self.filled = self.ring.len().min(self.filled + 1);
    }

    /// The samples from the oldest to the newest.
    pub fn samples(&self) -> impl Iterator<Item = i16> {
        let (newer, older) = self.ring.split_at(self.next);
        let unfilled = self.ring.len() - self.filled;
        older.iter().chain(newer).skip(unfilled).copied()
    }

    /// How much is kept, at [`SampleRate::INTERNAL`].
    fn length(&self) -> SampleSpan {
        let internal = u64::from(SampleRate::INTERNAL.get());
        SampleSpan::new(self.filled as u64 * internal / u64::from(self.rate.get()))
    }

    /// Those of `marks` that lie in it, by its own time, where it ends at `end`.
    pub fn marks_within(&self, marks: &[Marked], end: SamplePos) -> Vec<Marked> {
        let begin = SamplePos::new(end.get().saturating_sub(self.length().get()));
        marks.iter().filter_map(|mark| mark.since(begin)).collect()
    }

    /// Writes the sound and what is heard in it, with `marks` in its own time, to the next free `kept-N.wav` and `kept-N.json` in `folder`.
    ///
    /// # Errors
    /// If the folder does not take them, or the sound cannot be read back.
    pub fn write(
        &self,
        listening: &ListenerOptions,
        naming: Wording,
        marks: Vec<Marked>,
        folder: &Path,
    ) -> Result<Vec<PathBuf>, KeepError> {
        make_folder(folder)?;
        let (sound, document) = free_names(folder);
        let wav = self.wav();
        write_private(&sound, |out| {
            out.write_all(
                wav.as_ref()
                    .map_err(|error| io::Error::other(error.to_string()))?,
            )
        })?;
        let never = AtomicBool::new(false);
        let options = RecordingOptions {
            listening: listening.clone(),
            naming,
            ..RecordingOptions::default()
        };
        let mut heard = read_recording(&sound, &options, &never, |_| {})?;
        heard.marks = marks;
        write_private(&document, |out| write_json(&heard, out))?;
        Ok(vec![sound, document])
    }

    fn wav(&self) -> Result<Vec<u8>, hound::Error> {
        let spec = hound::WavSpec {
            channels: 1,
            sample_rate: self.rate.get(),
            bits_per_sample: 16,
            sample_format: hound::SampleFormat::Int,
        };
        let mut bytes = Cursor::new(Vec::with_capacity(2 * self.filled + 64));
        let mut writer = hound::WavWriter::new(&mut bytes, spec)?;
        for sample in self.samples() {
            writer.write_sample(sample)?;
        }
        writer.finalize()?;
        Ok(bytes.into_inner())
    }
}

#[allow(
    clippy::expect_used,
    reason = "no folder holds four thousand million files"
)]
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

#[cfg(test)]
mod tests {
    use super::*;

    const RATE: SampleRate = SampleRate::INTERNAL;

    #[test]
    fn the_ring_holds_the_newest_minute_in_order() {
        let mut minute = LastMinute::new(RATE);
        minute.push(&[0.5; 100]);
        assert_eq!(minute.samples().count(), 100);
        let length = SECONDS * RATE.get() as usize;
        let ramp: Vec<f32> = (0..length + 7).map(|n| n as f32 / length as f32).collect();
        for block in ramp.chunks(999) {
            minute.push(block);
        }
        let kept: Vec<i16> = minute.samples().collect();
        assert_eq!(kept.len(), length);
        assert!(kept.is_sorted(), "the oldest sample comes first");
        assert_eq!(kept[length - 1], i16::MAX);
    }

    #[test]
    fn silence_takes_as_long_at_the_rate_of_the_input() {
        let mut minute = LastMinute::new(SampleRate::new(48_000).unwrap());
        minute.push_silence(SampleSpan::new(u64::from(SampleRate::INTERNAL.get()) / 2));
        assert_eq!(minute.samples().count(), 24_000);
        minute.push_silence(SampleSpan::new(u64::MAX / 2));
        assert_eq!(minute.samples().count(), 60 * 48_000);
    }

    #[test]
    fn sound_is_kept_at_the_rate_of_the_input_and_louder_than_full_scale_is_clipped() {
        let folder = tempfile::tempdir().unwrap();
        let mut minute = LastMinute::new(SampleRate::new(48_000).unwrap());
        minute.push(&[0.0, 1.0, -1.0, 2.0, -2.0]);
        minute.push(&[0.0; 4800]);
        let files = minute
            .write(
                &ListenerOptions::default(),
                Wording::default(),
                Vec::new(),
                folder.path(),
            )
            .unwrap();
        let mut reader = hound::WavReader::open(&files[0]).unwrap();
        assert_eq!(
            (reader.spec().sample_rate, reader.duration()),
            (48_000, 4805)
        );
        let first: Vec<i16> = reader.samples().take(5).map(Result::unwrap).collect();
        assert_eq!(first, [0, 32_767, -32_767, 32_767, -32_768]);
    }

    #[test]
    fn kept_minutes_do_not_overwrite_one_another() {
        let folder = tempfile::tempdir().unwrap();
        let mut minute = LastMinute::new(RATE);
        minute.push(&[0.0; 2205]);
        let keep = || {
            minute
                .write(
                    &ListenerOptions::default(),
                    Wording::default(),
                    Vec::new(),
                    folder.path(),
                )
                .unwrap()
        };
        let (first, second) = (keep(), keep());
        assert_ne!(first, second);
        assert_eq!(hound::WavReader::open(&first[0]).unwrap().duration(), 2205);
        assert!(
            std::fs::read_to_string(&second[1])
                .unwrap()
                .contains("lidprop/2")
        );
    }

    #[cfg(unix)]
    #[test]
    fn a_kept_minute_can_be_read_by_its_owner_alone() {
        use std::os::unix::fs::PermissionsExt;
        let folder = tempfile::tempdir().unwrap();
        let mut minute = LastMinute::new(RATE);
        minute.push(&[0.0; 2205]);
        let listening = ListenerOptions::default();
        let written = minute.write(&listening, Wording::default(), Vec::new(), folder.path());
        for path in written.unwrap() {
            let mode = std::fs::metadata(&path).unwrap().permissions().mode();
            assert_eq!(mode & 0o777, 0o600, "{}", path.display());
        }
    }

    #[test]
    fn marks_of_the_kept_minute_stand_in_its_document_by_its_own_time() {
        let folder = tempfile::tempdir().unwrap();
        let mut minute = LastMinute::new(RATE);
        minute.push(&vec![0.0; RATE.get() as usize]);
        let second = u64::from(SampleRate::INTERNAL.get());
        let mark = |at, word: Option<&str>| Marked {
            at: SamplePos::new(at),
            word: word.map(str::to_owned),
        };
        let all = [
            mark(second, Some("long ago")),
            mark(9 * second + second / 2, Some("ask about this")),
            mark(10 * second, None),
        ];
        let marks = minute.marks_within(&all, SamplePos::new(10 * second));
        let listening = ListenerOptions::default();
        let files = minute
            .write(&listening, Wording::default(), marks, folder.path())
            .unwrap();
        let text = std::fs::read_to_string(&files[1]).unwrap();
        let document: crate::chart::document::Recording = serde_json::from_str(&text).unwrap();
        let told: Vec<(f64, Option<&str>)> = document
            .marks
            .iter()
            .map(|mark| (mark.at.get(), mark.word.as_deref()))
            .collect();
        assert_eq!(told, [(0.5, Some("ask about this")), (1.0, None)]);
    }
}
