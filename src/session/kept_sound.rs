//! Keeps the sound of a recording while it is read.
//!
//! Input: a source ([`KeptSource`]), or blocks of mono samples at [`SampleRate::INTERNAL`], full scale ±1. Output: [`KeptSound`]. Units: samples, dBFS.
//! Method: each block of `BLOCK` samples becomes a FLAC frame at once (RFC 9639), so that only what is compressed is held. Limits: 16 bits without dither; a block that
//! cannot be encoded ends the keeping, and the recording is then as one without sound.

use crate::audio::{AudioError, BlockState, SampleSource, SourceInfo, SourceWarning};
use crate::chart::sound::KeptSound;
use crate::units::{Dbfs, SampleRate};
use flacenc::bitsink::ByteSink;
use flacenc::component::{BitRepr, Stream, StreamInfo};
use flacenc::config::Encoder;
use flacenc::error::{Verified, Verify};
use flacenc::source::{Fill, FrameBuf};

/// Samples of a frame.
const BLOCK: usize = 4096;
const BITS: usize = 16;

/// What is kept of the sound itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Keep {
    /// Nothing.
    #[default]
    Nothing,
    /// How loud it is.
    Loudness,
    /// How loud it is, and the sound.
    Sound,
}

/// A source whose sound is kept while it is read.
pub struct KeptSource<S> {
    source: S,
    keeper: Option<SoundKeeper>,
}

impl<S: SampleSource> KeptSource<S> {
    /// Keeps of `source` what `keep` says.
    pub fn new(source: S, keep: Keep) -> Self {
        let keeper = (keep != Keep::Nothing).then(|| SoundKeeper::new(keep == Keep::Sound));
        Self { source, keeper }
    }

    /// What was kept of all that was read; `None` where nothing was to be kept.
    pub fn finish(self) -> Option<KeptSound> {
        self.keeper.map(SoundKeeper::finish)
    }
}

impl<S: SampleSource> SampleSource for KeptSource<S> {
    fn next_block(&mut self, out: &mut Vec<f32>) -> Result<BlockState, AudioError> {
        let state = self.source.next_block(out)?;
        if let Some(keeper) = &mut self.keeper {
            keeper.hear(out);
        }
        Ok(state)
    }

    fn info(&self) -> &SourceInfo {
        self.source.info()
    }

    fn warnings(&self) -> Vec<SourceWarning> {
        self.source.warnings()
    }
}

/// Keeps sound block by block.
pub struct SoundKeeper {
    stretch: Vec<f32>,
    loudness: Vec<f32>,
    flac: Option<FlacWriter>,
    heard: u64,
    too_long: bool,
}

impl SoundKeeper {
    /// Keeps how loud it is, and `with_sound` the sound itself.
    pub fn new(with_sound: bool) -> Self {
        Self {
            stretch: Vec::new(),
            loudness: Vec::new(),
            flac: with_sound.then(FlacWriter::new).flatten(),
            heard: 0,
            too_long: false,
        }
    }

    /// Hears the next samples.
    pub fn hear(&mut self, samples: &[f32]) {
        let rate = f64::from(SampleRate::INTERNAL.get());
        let stretch = (KeptSound::STRETCH_SECONDS * rate).round() as usize;
        for &sample in samples {
            self.stretch.push(sample);
            if self.stretch.len() == stretch {
                self.loudness.push(loudness(&self.stretch));
                self.stretch.clear();
            }
        }
        self.heard += samples.len() as u64;
        if self.flac.is_some() && self.heard as f64 > KeptSound::LONGEST_SECONDS * rate {
            self.flac = None;
            self.too_long = true;
        }
        if let Some(flac) = &mut self.flac
            && flac.write(samples).is_none()
        {
            self.flac = None;
        }
    }

    /// The end.
    pub fn finish(mut self) -> KeptSound {
        if !self.stretch.is_empty() {
            self.loudness.push(loudness(&self.stretch));
        }
        KeptSound {
            loudness: self.loudness,
            flac: self.flac.and_then(FlacWriter::finish),
            too_long: self.too_long,
        }
    }
}

fn loudness(samples: &[f32]) -> f32 {
    let sum: f64 = samples
        .iter()
        .map(|&sample| f64::from(sample).powi(2))
        .sum();
    Dbfs::from_mean_square(sum / samples.len() as f64).get() as f32
}

/// Writes frames of FLAC one after another; `None` from any of its functions: it cannot be written.
struct FlacWriter {
    config: Verified<Encoder>,
    info: StreamInfo,
    buffer: FrameBuf,
    waiting: Vec<i32>,
    frames: Vec<u8>,
    written: usize,
    samples: usize,
    sizes: Option<(usize, usize)>,
}

impl FlacWriter {
    fn new() -> Option<Self> {
        Some(Self {
            config: Encoder::default().into_verified().ok()?,
            info: StreamInfo::new(SampleRate::INTERNAL.get() as usize, 1, BITS).ok()?,
            buffer: FrameBuf::with_size(1, BLOCK).ok()?,
            waiting: Vec::with_capacity(BLOCK),
            frames: Vec::new(),
            written: 0,
            samples: 0,
            sizes: None,
        })
    }

    fn write(&mut self, samples: &[f32]) -> Option<()> {
        let full_scale = f32::from(i16::MAX);
        for &sample in samples {
            self.waiting
                .push((sample.clamp(-1.0, 1.0) * full_scale).round() as i32);
            if self.waiting.len() == BLOCK {
                self.frame()?;
            }
        }
        Some(())
    }

    fn frame(&mut self) -> Option<()> {
        self.buffer.resize(self.waiting.len());
        self.buffer.fill_interleaved(&self.waiting).ok()?;
        let frame =
            flacenc::encode_fixed_size_frame(&self.config, &self.buffer, self.written, &self.info)
                .ok()?;
        let mut sink = ByteSink::new();
        frame.write(&mut sink).ok()?;
        let bytes = sink.as_slice();
        self.frames.extend_from_slice(bytes);
        let (least, most) = self.sizes.unwrap_or((bytes.len(), bytes.len()));
        self.sizes = Some((least.min(bytes.len()), most.max(bytes.len())));
        self.samples += self.waiting.len();
        self.written += 1;
        self.waiting.clear();
        Some(())
    }

    fn finish(mut self) -> Option<Vec<u8>> {
        if !self.waiting.is_empty() {
            self.frame()?;
        }
        let (least, most) = self.sizes?;
        self.info.set_total_samples(self.samples);
        self.info.set_block_sizes(BLOCK, BLOCK).ok()?;
        self.info.set_frame_sizes(least, most).ok()?;
        let mut sink = ByteSink::new();
        Stream::with_stream_info(self.info).write(&mut sink).ok()?;
        let mut file = sink.as_slice().to_vec();
        file.append(&mut self.frames);
        Some(file)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::audio::open;

    #[test]
    fn what_is_kept_is_what_was_heard_to_the_last_sample() {
        let samples: Vec<f32> = (0..50_001).map(|n| 0.5 * (n as f32 * 0.05).sin()).collect();
        let mut keeper = SoundKeeper::new(true);
        samples.chunks(777).for_each(|block| keeper.hear(block));
        let kept = keeper.finish();
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("kept.flac");
        std::fs::write(&path, kept.flac.unwrap()).unwrap();
        let back = open(&path).unwrap().read_all().unwrap();
        assert_eq!(back.len(), samples.len());
        let worst = back
            .iter()
            .zip(&samples)
            .map(|(a, b)| (a - b).abs())
            .fold(0.0, f32::max);
        assert!(worst < 4e-5, "16 bits are off by {worst}");
        // a full-scale sine has 0 dBFS, so one of half scale lies 6 dB below
        assert!(
            kept.loudness.iter().all(|db| (db + 6.02).abs() < 0.2),
            "{:?}",
            kept.loudness
        );
        assert_eq!(kept.loudness.len(), 46);
    }
}
