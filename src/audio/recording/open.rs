//! A recording as a source: decoded, folded to mono, freed of encoder delay, resampled.
//!
//! Input: a path, or any byte stream. Output: blocks of mono samples at [`SampleRate::INTERNAL`].
//! Units: full scale ±1; time 0 is the first sample that went into the encoder.
//! Method: one packet at a time through the chain, so that memory does not grow with the length.
//! Devices are refused, since they never end; of a stream that cannot seek, a day of sound or 4 GiB is read at most.
//! Limits: a stream that cannot seek and is no WAV is first stored in a temporary file.

use crate::audio::AudioError;
use crate::audio::downmix::Downmix;
use crate::audio::recording::decode::{Decoder, Priming, Spec};
use crate::audio::recording::{caf, flac, matroska, mp4, ogg, wave};
use crate::audio::resample::{Resampler, internal_frames};
use crate::audio::source::{BlockState, SampleSource, SourceInfo, SourceWarning};
use crate::units::{SampleRate, SampleSpan};
use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use symphonia::core::io::{MediaSource, ReadOnlySource};

/// Rates that are read. Below, no tone of a piano's upper half is left; above, nothing is recorded.
const RATES: std::ops::RangeInclusive<u32> = 4_000..=384_000;

/// Magnitude below which a whole recording counts as silent: -90 dBFS, the last bit of 16.
const SILENT_PEAK: f32 = 3.2e-5;

/// A stated length is missed by less than this without a word: encoders pad and round.
const LENGTH_TOLERANCE_SECONDS: f64 = 0.2;

/// Longest silence before the sound that an MP4 edit list may ask for.
const MAX_DELAY_SECONDS: f64 = 600.0;

/// First bytes that are looked at to recognise a format: a packet of a transport stream, and the first byte of the next one.
const HEAD_BYTES: usize = 197;

/// What is read of a stream at most: a day of sound, or a temporary file of 4 GiB.
const LONGEST_STREAM: &str = "24 hours or 4 GiB, the most that is read of a stream";
const LONGEST_STREAM_SECONDS: u64 = 24 * 3600;
const LARGEST_STREAM: u64 = 4 << 30;

/// How much of a stream must show what it is before it is stored.
const PROBE_BYTES: u64 = 1 << 20;

/// A recording, read forwards once.
pub struct FileSource {
    info: SourceInfo,
    decoder: Decoder,
    /// Channels in the file where the decoder is told of one; `None`: as many as the decoder gives.
    channels: Option<usize>,
    chain: Chain,
    interleaved: Vec<f32>,
    mono: Vec<f32>,
    /// Frames at the file's rate that are still to be skipped.
    skip: u64,
    /// Frames at the file's rate that may still be given; `None`: all.
    left: Option<u64>,
    /// Frames at the file's rate given so far, and how many the header promised.
    given: u64,
    promised: Option<u64>,
    /// Frames at the file's rate after which a stream is taken for endless; `None` for files.
    most: Option<u64>,
    /// True where the file does not end as such files do.
    ends_early: bool,
    contradicts_checksum: bool,
    ended: bool,
}

/// The part that depends on rate and channels.
struct Chain {
    downmix: Downmix,
    resampler: Resampler,
}

/// Opens the recording at `path`, by content and not by name.
///
/// # Errors
/// If there is no such file, it cannot be read, or its content is no sound that is read here; each says what to do.
pub fn open(path: impl AsRef<Path>) -> Result<FileSource, AudioError> {
    let path = path.as_ref();
    let name = path.display().to_string();
    let fail = |e| AudioError::from_io(&name, e);
    let file = match File::open(path) {
        Err(e) if e.kind() == io::ErrorKind::NotFound && name == "-" => {
            return Err(AudioError::Dash { name });
        }
        other => other.map_err(fail)?,
    };
    let metadata = file.metadata().map_err(fail)?;
    if metadata.is_dir() {
        return Err(AudioError::IsDirectory { name });
    }
    if is_device(&metadata) {
        return Err(AudioError::Device { name });
    }
    if metadata.is_file() {
        open_file(&name, file, metadata.len())
    } else {
        open_stream(&name, file)
    }
}

#[cfg(unix)]
fn is_device(metadata: &std::fs::Metadata) -> bool {
    use std::os::unix::fs::FileTypeExt;
    let kind = metadata.file_type();
    kind.is_char_device() || kind.is_block_device()
}

#[cfg(not(unix))]
fn is_device(_: &std::fs::Metadata) -> bool {
    false
}

/// Opens a recording that comes as a stream, for example standard input; `name` is what to call it.
///
/// # Errors
/// As for [`open`]; and if the stream goes on without an end.
pub fn open_stream(
    name: &str,
    mut stream: impl Read + Send + Sync + 'static,
) -> Result<FileSource, AudioError> {
    let fail = |e| AudioError::from_io(name, e);
    let mut head = Vec::new();
    (&mut stream)
        .take(HEAD_BYTES as u64)
        .read_to_end(&mut head)
        .map_err(fail)?;
    if wave::is_wave(&head) {
        let mut source = open_wave(name, io::Cursor::new(head).chain(stream), None)?;
        source.most = Some(LONGEST_STREAM_SECONDS * u64::from(source.info.rate.get()));
        return Ok(source);
    }
    (&mut stream)
        .take(PROBE_BYTES)
        .read_to_end(&mut head)
        .map_err(fail)?;
    // These two are recognised by more than their beginning, or looked through before they are decoded.
    if !mp4::is_mp4(&head) && !caf::is_caf(&head) {
        refuse_what_is_no_sound(name, &head)?;
    }
    let mut file = tempfile::tempfile().map_err(fail)?;
    let mut whole = io::Cursor::new(head).chain(stream).take(LARGEST_STREAM + 1);
    let bytes = io::copy(&mut whole, &mut file).map_err(fail)?;
    if bytes > LARGEST_STREAM {
        return Err(AudioError::Endless {
            name: name.into(),
            limit: LONGEST_STREAM,
        });
    }
    open_file(name, file, bytes)
}

/// Looks at the beginning of a stream before more of it is stored.
fn refuse_what_is_no_sound(name: &str, beginning: &[u8]) -> Result<(), AudioError> {
    let source = Box::new(io::Cursor::new(beginning.to_vec()));
    match Decoder::new(name, source, beginning) {
        Err(refusal @ (AudioError::NotAudio { .. } | AudioError::NoSound { .. }))
            if !beginning.is_empty() =>
        {
            Err(refusal)
        }
        // what else is wrong shows on the whole
        _ => Ok(()),
    }
}

fn open_file(name: &str, mut file: File, bytes: u64) -> Result<FileSource, AudioError> {
    let fail = |e| AudioError::from_io(name, e);
    if bytes == 0 {
        return Err(AudioError::Empty { name: name.into() });
    }
    let mut head = Vec::new();
    file.seek(SeekFrom::Start(0)).map_err(fail)?;
    (&mut file)
        .take(HEAD_BYTES as u64)
        .read_to_end(&mut head)
        .map_err(fail)?;
    file.seek(SeekFrom::Start(0)).map_err(fail)?;
    if wave::is_wave(&head) {
        return open_wave(name, io::BufReader::new(file), Some(bytes));
    }
    let mut for_edits = mp4::is_mp4(&head)
        .then(|| file.try_clone())
        .transpose()
        .map_err(fail)?;
    if caf::is_caf(&head)
        && let Some(fault) = caf::fault(&mut file, bytes).map_err(fail)?
    {
        return Err(AudioError::damaged(name, fault));
    }
    let extent = mp4::is_mp4(&head)
        .then(|| mp4::extent(&mut io::BufReader::new(&mut file)))
        .transpose()
        .map_err(fail)?;
    let ends_early = ends_early(&mut file, &head, extent, bytes).map_err(fail)?;
    let recognised = Arc::new(AtomicBool::new(false));
    let for_second_try = matroska::is_matroska(&head)
        .then(|| file.try_clone())
        .transpose()
        .map_err(fail)?;
    let source = put_right(name, file, extent, recognised.clone())?;
    // The edit list comes first, since both handles share one position in the file.
    let mut decoder = match (Decoder::new(name, source, &head), for_second_try) {
        // A file that was cut has lost what its beginning points at, which is not needed to read it forwards.
        (Err(_), Some(mut file)) => {
            file.seek(SeekFrom::Start(0)).map_err(fail)?;
            Decoder::new(name, Box::new(ReadOnlySource::new(file)), &head)?
        }
        (first, _) => first?,
    };
    recognised.store(true, Ordering::Relaxed);
    let mut priming = decoder.priming();
    let mut delay_seconds = 0.0;
    if let Some(file) = &mut for_edits {
        let position = file.stream_position().map_err(fail)?;
        let edits = mp4::presentation(&mut io::BufReader::new(&mut *file), decoder.track_id());
        file.seek(SeekFrom::Start(position)).map_err(fail)?;
        if let (Some(edits), (Some(rate), _)) = (edits, decoder.stated()) {
            let frames = |seconds: f64| (seconds * f64::from(rate)).round() as u64;
            delay_seconds = edits.delay_seconds.min(MAX_DELAY_SECONDS);
            if !priming.stated || priming.length.is_none() {
                let length = edits.length_seconds.map(frames);
                priming = Priming {
                    skip: frames(edits.skip_seconds),
                    length,
                    stated: true,
                };
            }
        }
    }
    let mut source = FileSource::new(name, decoder, None, priming, delay_seconds)?;
    source.ends_early = ends_early;
    Ok(source)
}

/// True if the file does not end where or how such files do; `extent` of an MP4. The position is changed.
fn ends_early(
    file: &mut File,
    head: &[u8],
    extent: Option<mp4::Extent>,
    bytes: u64,
) -> io::Result<bool> {
    if ogg::is_ogg(head) {
        return ogg::has_its_end(file).map(|whole| !whole);
    }
    let stated = extent.map(|extent| extent.stated_end);
    let stated = stated.or_else(|| matroska::stated_length(head));
    Ok(stated.is_some_and(|stated| stated > bytes))
}

/// The file as the decoder reads it: with a FLAC header that says what is there, and a cut MP4 with the length it states.
fn put_right(
    name: &str,
    mut file: File,
    extent: Option<mp4::Extent>,
    recognised: Arc<AtomicBool>,
) -> Result<Box<dyn MediaSource>, AudioError> {
    let fail = |e| AudioError::from_io(name, e);
    if let Some(extent) = extent {
        file.seek(SeekFrom::Start(0)).map_err(fail)?;
        return match extent.has_index {
            true => Ok(Box::new(mp4::Stated::new(
                file,
                extent.stated_end,
                recognised,
            ))),
            false if extent.is_picture => Err(AudioError::NoSound {
                name: name.into(),
                what: "a picture and no recording".into(),
            }),
            false => Err(AudioError::IndexLost { name: name.into() }),
        };
    }
    let smallest = flac::right_smallest_block(&mut file).map_err(fail)?;
    file.seek(SeekFrom::Start(0)).map_err(fail)?;
    Ok(match smallest {
        Some(smallest) => Box::new(flac::Corrected::new(file, smallest).map_err(fail)?),
        None => Box::new(file),
    })
}

fn open_wave(
    name: &str,
    stream: impl wave::ByteStream,
    bytes: Option<u64>,
) -> Result<FileSource, AudioError> {
    let wave = wave::read(name, stream, bytes)?;
    check_rate(name, wave.rate)?;
    let source: Box<dyn MediaSource> = Box::new(ReadOnlySource::new(wave.stream));
    let mut decoder = Decoder::new(name, source, &[])?;
    let channels = (!wave.channels_left_to_decoder).then_some(usize::from(wave.channels));
    let priming = decoder.priming();
    let mut source = FileSource::new(name, decoder, channels, priming, 0.0)?;
    source.info.container = "WAV".into();
    source.info.codec = wave.codec;
    source.info.length = wave
        .frames
        .map(|frames| SampleSpan::new(internal_frames(frames, source.info.rate)));
    source.promised = wave.frames;
    Ok(source)
}

fn check_rate(name: &str, rate: u32) -> Result<SampleRate, AudioError> {
    let unusable = || AudioError::UnusableRate {
        name: name.into(),
        rate,
    };
    if !RATES.contains(&rate) {
        return Err(unusable());
    }
    SampleRate::new(rate).map_err(|_| unusable())
}

impl FileSource {
    /// `channels`: see the field. The first packet is decoded here, because some formats state rate and channels only there.
    fn new(
        name: &str,
        mut decoder: Decoder,
        channels: Option<usize>,
        priming: Priming,
        delay_seconds: f64,
    ) -> Result<Self, AudioError> {
        let mut interleaved = Vec::new();
        let first = decoder.next(&mut interleaved)?;
        let Some(spec) = first else {
            return Err(match decoder.damaged_packets() {
                0 => AudioError::NoSamples { name: name.into() },
                _ => AudioError::damaged(name, "none of its sound can be decoded"),
            });
        };
        let rate = check_rate(name, spec.rate)?;
        let frames = priming.length.or_else(|| {
            decoder
                .frames()
                .map(|frames| frames.saturating_sub(priming.skip))
        });
        let delay = (delay_seconds * f64::from(rate.get())).round() as u64;
        let mut source = Self {
            info: SourceInfo {
                name: name.to_owned(),
                container: decoder.container().to_owned(),
                codec: decoder.codec(),
                rate,
                channels: channels.unwrap_or(spec.channels),
                length: frames.map(|frames| SampleSpan::new(internal_frames(frames + delay, rate))),
            },
            chain: Chain {
                downmix: Downmix::new(channels.unwrap_or(spec.channels)),
                resampler: Resampler::new(rate),
            },
            decoder,
            channels,
            interleaved: Vec::new(),
            mono: vec![0.0; delay as usize],
            skip: priming.skip,
            left: priming.length,
            given: 0,
            promised: frames,
            most: None,
            ends_early: false,
            contradicts_checksum: false,
            ended: false,
        };
        source.interleaved = interleaved;
        source.fold();
        Ok(source)
    }

    /// Folds `interleaved` and appends what belongs to the recording to `mono`.
    fn fold(&mut self) {
        for &sample in &self.interleaved {
            let Some(mono) = self.chain.downmix.push(sample) else {
                continue;
            };
            if self.skip > 0 {
                self.skip -= 1;
            } else if self.left != Some(0) {
                self.left = self.left.map(|left| left - 1);
                self.given += 1;
                self.mono.push(mono);
            }
        }
        self.interleaved.clear();
    }

    /// Seconds by which it ended before the length that it states.
    fn missing_seconds(&self) -> f64 {
        let missing = match self.promised {
            Some(promised) if self.ended => promised.saturating_sub(self.given),
            _ => 0,
        };
        missing as f64 / f64::from(self.info.rate.get())
    }

    /// A chained stream may go on at another rate or with other channels.
    fn follow(&mut self, spec: Spec, out: &mut Vec<f32>) -> Result<(), AudioError> {
        let channels = self.channels.unwrap_or(spec.channels);
        if channels != self.chain.downmix.channels() {
            self.chain.downmix.change_channels(channels);
        }
        if spec.rate != self.chain.resampler.from_rate().get() {
            let rate = check_rate(&self.info.name, spec.rate)?;
            self.chain.resampler.finish(out);
            self.chain.resampler = Resampler::new(rate);
        }
        Ok(())
    }
}

impl SampleSource for FileSource {
    fn next_block(&mut self, out: &mut Vec<f32>) -> Result<BlockState, AudioError> {
        out.clear();
        if self.ended {
            return Ok(BlockState::Ended);
        }
        self.chain.resampler.process(&self.mono, out);
        self.mono.clear();
        let spec = if self.left == Some(0) {
            None
        } else {
            self.decoder.next(&mut self.interleaved)?
        };
        match spec {
            Some(spec) => {
                self.follow(spec, out)?;
                self.fold();
                if self.most.is_some_and(|most| self.given > most) {
                    return Err(AudioError::Endless {
                        name: self.info.name.clone(),
                        limit: LONGEST_STREAM,
                    });
                }
                Ok(BlockState::More)
            }
            None => {
                self.chain.resampler.finish(out);
                self.ended = true;
                self.contradicts_checksum = self.decoder.contradicts_checksum();
                if self.given == 0 {
                    return Err(AudioError::NoSamples {
                        name: self.info.name.clone(),
                    });
                }
                Ok(BlockState::Ended)
            }
        }
    }

    fn info(&self) -> &SourceInfo {
        &self.info
    }

    fn warnings(&self) -> Vec<SourceWarning> {
        let downmix = &self.chain.downmix;
        let mut warnings = Vec::new();
        let count = self.decoder.damaged_packets();
        if count > 0 {
            warnings.push(SourceWarning::DamagedPackets { count });
        }
        let seconds = self.decoder.lost_seconds();
        if seconds > 0.0 {
            warnings.push(SourceWarning::LostStretches { seconds });
        }
        let missing = self.missing_seconds();
        if missing > LENGTH_TOLERANCE_SECONDS {
            warnings.push(SourceWarning::CutShort { missing });
        } else if self.contradicts_checksum {
            warnings.push(SourceWarning::WrongChecksum);
        } else if self.ended && self.ends_early {
            warnings.push(SourceWarning::EndsOddly);
        }
        if downmix.bad_samples() > 0 {
            warnings.push(SourceWarning::BadSamples {
                count: downmix.bad_samples(),
            });
        }
        if downmix.clipped_runs() > 0 {
            warnings.push(SourceWarning::Clipped {
                runs: downmix.clipped_runs(),
            });
        }
        if self.ended && downmix.peak() < SILENT_PEAK {
            warnings.push(SourceWarning::Silent);
        } else if downmix.channels_cancel() {
            warnings.push(SourceWarning::ChannelsCancel);
        }
        warnings
    }
}
