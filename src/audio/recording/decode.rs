//! Recordings of any format to interleaved samples, packet by packet.
//!
//! Input: a byte stream, recognised by content. Output: blocks of interleaved `f32`, as the decoder gives them.
//! Units: full scale ±1; frames at the file's own rate.
//! Method: symphonia demultiplexes and decodes; a packet that cannot be decoded is replaced by as much silence, so that what
//! follows keeps its time, and so is what a damaged file has lost between two packets, where the format counts frames (FLAC, Ogg). A decoder
//! that panics has met damage. The
//! checksum that FLAC carries is held against what was decoded. Encoder delay that the file or its format makes known is stated in [`Decoder::priming`].
//! Limits: the first audio track only; a chained stream is read on as long as it can be decoded.

use crate::audio::AudioError;
use crate::audio::recording::caf;
use crate::audio::recording::opus::{self, OpusTrack};
use crate::audio::recording::refused::{aac_extension, refused};
use crate::contained::contained;
use std::io;
use symphonia::core::codecs::CodecParameters;
use symphonia::core::codecs::audio::well_known as codec_id;
use symphonia::core::codecs::audio::{
    AudioCodecId, AudioCodecParameters, AudioDecoder, AudioDecoderOptions,
};
use symphonia::core::errors::Error;
use symphonia::core::formats::probe::Hint;
use symphonia::core::formats::{FormatReader, Track, TrackType};
use symphonia::core::io::{MediaSource, MediaSourceStream};
use symphonia::core::packet::Packet;

/// Frames that an MPEG layer 3 decoder gives before the first true one where the file carries no delay of its own:
/// 528 + 1 of the decoder's filter bank and 576 of the usual encoder (measured: 1105).
const MP3_DELAY: u64 = 528 + 1 + 576;

/// Frames of priming in AAC where nothing is said: one frame of 1024, as most encoders add (measured: 1024).
const AAC_DELAY: u64 = 1024;

/// Damaged packets in a row after which the rest of a file is given up.
const DAMAGE_LIMIT: u32 = 200;

/// Of what a reader of the format panics over.
const NO_SENSE: Error = Error::DecodeError("its header makes no sense");

/// Longest silence put in the place of one damaged packet, in frames; packets of known codecs hold 8192 at most.
const GAP_LIMIT: u64 = 65_536;

/// What to call a codec: known to the trade, and whether it is read here does not matter.
const CODEC_NAMES: &[(AudioCodecId, &str)] = &[
    (codec_id::CODEC_ID_FLAC, "FLAC"),
    (codec_id::CODEC_ID_MP1, "MPEG layer 1"),
    (codec_id::CODEC_ID_MP2, "MPEG layer 2"),
    (codec_id::CODEC_ID_MP3, "MP3"),
    (codec_id::CODEC_ID_AAC, "AAC-LC"),
    (codec_id::CODEC_ID_ALAC, "ALAC"),
    (codec_id::CODEC_ID_VORBIS, "Vorbis"),
    (codec_id::CODEC_ID_OPUS, "Opus"),
    (codec_id::CODEC_ID_SPEEX, "Speex"),
    (codec_id::CODEC_ID_AC3, "AC-3"),
    (codec_id::CODEC_ID_EAC3, "E-AC-3"),
    (codec_id::CODEC_ID_AC4, "AC-4"),
    (codec_id::CODEC_ID_DCA, "DTS"),
    (codec_id::CODEC_ID_WMA, "Windows Media Audio"),
    (codec_id::CODEC_ID_ADPCM_MS, "ADPCM"),
    (codec_id::CODEC_ID_ADPCM_IMA_WAV, "ADPCM"),
    (codec_id::CODEC_ID_ADPCM_IMA_QT, "ADPCM"),
    (codec_id::CODEC_ID_PCM_ALAW, "A-law"),
    (codec_id::CODEC_ID_PCM_MULAW, "mu-law"),
];

/// Timestamps that lie apart by less are rounding, seconds.
const GAP_TOLERANCE_SECONDS: f64 = 0.01;

/// Most that may be lost between two packets: more is a timestamp that makes no sense, seconds.
const LONGEST_GAP_SECONDS: f64 = 600.0;

/// A decoded block.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Spec {
    /// Frames a second.
    pub rate: u32,
    /// Samples a frame.
    pub channels: usize,
}

/// Decodes one audio track.
pub struct Decoder {
    name: String,
    format: Box<dyn FormatReader>,
    codec: Codec,
    track_id: u32,
    /// The last block's; `None` before the first.
    spec: Option<Spec>,
    ticks_a_second: Option<f64>,
    damaged_packets: u64,
    damaged_in_a_row: u32,
    gaps: Gaps,
    ended: bool,
}

/// What is lost between packets, where the format counts frames.
#[derive(Default)]
struct Gaps {
    /// Whether the format's timestamps can be relied on.
    counted: bool,
    /// The timestamp at which the next packet should begin; `None` before the first.
    expected: Option<i64>,
    /// The packet that comes after a gap, while silence stands in its place.
    held: Option<Packet>,
    /// Frames of silence that are still to be given.
    silent_frames: u64,
    /// Frames lost so far.
    lost_frames: u64,
}

impl Gaps {
    /// Ticks lost before `packet`.
    fn before(&mut self, packet: &Packet) -> u64 {
        let (begins, lasts) = (packet.pts.get(), packet.dur.get());
        let expected = self.expected.unwrap_or(begins);
        self.expected = begins.checked_add_unsigned(lasts);
        if self.counted {
            begins.saturating_sub(expected).try_into().unwrap_or(0)
        } else {
            0
        }
    }
}

/// What decodes the packets of a track.
enum Codec {
    Symphonia(Box<dyn AudioDecoder>),
    /// Opus, with what the container says of the track.
    Opus(Box<OpusTrack>, Box<AudioCodecParameters>),
}

impl Codec {
    fn params(&self) -> &AudioCodecParameters {
        match self {
            Self::Symphonia(decoder) => decoder.codec_params(),
            Self::Opus(_, params) => params,
        }
    }

    /// Replaces the contents of `out` by the samples of a packet.
    fn decode(&mut self, packet: &Packet, out: &mut Vec<f32>) -> Result<Spec, Error> {
        match self {
            Self::Symphonia(decoder) => {
                let block = decoder.decode(packet)?;
                block.copy_to_vec_interleaved(out);
                Ok(Spec {
                    rate: block.spec().rate(),
                    channels: block.spec().channels().count(),
                })
            }
            Self::Opus(track, _) => {
                let damaged = Error::DecodeError("opus: damaged packet");
                track.decode(&packet.data, out).ok_or(damaged)?;
                // Only Ogg says what to cut off at the end, and its ticks are frames.
                let samples = |ticks: u64| ticks as usize * track.channels;
                out.truncate(out.len().saturating_sub(samples(packet.trim_end.get())));
                Ok(Spec {
                    rate: opus::RATE,
                    channels: track.channels,
                })
            }
        }
    }

    fn reset(&mut self) {
        match self {
            Self::Symphonia(decoder) => decoder.reset(),
            // It mends itself with the next packets.
            Self::Opus(..) => {}
        }
    }
}

impl Decoder {
    /// Recognises `source` by its content; `head` holds its first bytes, for naming what is refused.
    ///
    /// # Errors
    /// If the content is no sound, is damaged, or is coded in a way that is not read.
    pub fn new(name: &str, source: Box<dyn MediaSource>, head: &[u8]) -> Result<Self, AudioError> {
        if let Some(refusal) = refused(name, head) {
            return Err(refusal);
        }
        let stream = MediaSourceStream::new(source, Default::default());
        let probed = contained(|| {
            let probe = symphonia::default::get_probe();
            probe.probe(&Hint::new(), stream, Default::default(), Default::default())
        });
        let format = probed
            .unwrap_or(Err(NO_SENSE))
            .map_err(|e| refusal(name, e, head))?;
        let track = audio_track(name, format.as_ref())?;
        let track_id = track.id;
        let ticks_a_second = track
            .time_base
            .map(|base| f64::from(base.denom.get()) / f64::from(base.numer.get()));
        let codec = make_codec(name, format.as_ref(), audio_params(name, track)?)?;
        let counted = matches!(format.format_info().short_name, "flac" | "ogg");
        Ok(Self {
            name: name.to_owned(),
            format,
            codec,
            track_id,
            spec: None,
            ticks_a_second,
            damaged_packets: 0,
            damaged_in_a_row: 0,
            gaps: Gaps {
                counted,
                ..Gaps::default()
            },
            ended: false,
        })
    }

    /// The container's name for people.
    pub fn container(&self) -> &'static str {
        match self.format.format_info().short_name {
            "isomp4" => "M4A",
            "wave" => "WAV",
            "flac" => "FLAC",
            "ogg" => "OGG",
            "aiff" => "AIFF",
            "mp3" => "MP3",
            "matroska" => "Matroska or WebM",
            "caf" => "CAF",
            "adts" | "aac" => "AAC (ADTS)",
            other => other,
        }
    }

    /// The codec's name for people, with the bits a sample where it is plain or lossless.
    pub fn codec(&self) -> String {
        let params = self.codec.params();
        let name = codec_name(params.codec);
        match params.bits_per_sample {
            Some(bits)
                if name == "PCM"
                    || params.codec == codec_id::CODEC_ID_FLAC
                    || params.codec == codec_id::CODEC_ID_ALAC =>
            {
                format!("{bits}-bit {name}")
            }
            _ => name,
        }
    }

    /// Rate and channels as the header states them; `None` where only a decoded block tells.
    pub fn stated(&self) -> (Option<u32>, Option<usize>) {
        if let Codec::Opus(track, _) = &self.codec {
            return (Some(opus::RATE), Some(track.channels));
        }
        let params = self.codec.params();
        (
            params.sample_rate,
            params.channels.as_ref().map(|c| c.count()),
        )
    }

    /// The track's number within its file.
    pub fn track_id(&self) -> u32 {
        self.track_id
    }

    /// Frames of true sound at the file's rate, as far as the file says.
    pub fn frames(&self) -> Option<u64> {
        let track = self.track()?;
        // In MP4 the count is that of all packets, with priming and padding, and 0 in fragmented files.
        track.num_frames.filter(|&frames| frames > 0)
    }

    /// Frames to skip before time 0, where the decoder does not skip them itself, and the true length where it is told.
    pub fn priming(&mut self) -> Priming {
        let stated = self.gapless_comment();
        let delay_known = self.track().is_some_and(|track| track.delay.is_some());
        match (self.codec.params().codec, stated) {
            (codec_id::CODEC_ID_AAC, Some(stated)) => stated,
            (codec_id::CODEC_ID_AAC, None) => Priming {
                skip: AAC_DELAY,
                length: None,
                stated: false,
            },
            (codec_id::CODEC_ID_OPUS, _) => Priming {
                skip: self.opus_pre_skip(),
                length: None,
                stated: true,
            },
            (codec_id::CODEC_ID_MP3, _) if !delay_known => Priming {
                skip: MP3_DELAY,
                length: None,
                stated: false,
            },
            _ => Priming {
                skip: 0,
                length: None,
                stated: true,
            },
        }
    }

    fn opus_pre_skip(&self) -> u64 {
        match &self.codec {
            Codec::Opus(track, _) => track.pre_skip,
            Codec::Symphonia(_) => 0,
        }
    }

    /// The comment `iTunSMPB`, in which encoders of AAC state priming, padding and length as hexadecimal numbers.
    fn gapless_comment(&mut self) -> Option<Priming> {
        let mut metadata = self.format.metadata();
        let revision = metadata.skip_to_latest()?;
        let tag = revision
            .media
            .tags
            .iter()
            .find(|tag| tag.raw.key.ends_with("iTunSMPB"))?;
        let text = tag.raw.value.to_string();
        let mut numbers = text
            .split_whitespace()
            .skip(1)
            .map(|n| u64::from_str_radix(n, 16).ok());
        let (skip, _padding, length) = (numbers.next()??, numbers.next()??, numbers.next()??);
        Some(Priming {
            skip,
            length: Some(length).filter(|&n| n > 0),
            stated: true,
        })
    }

    fn track(&self) -> Option<&Track> {
        self.format
            .tracks()
            .iter()
            .find(|track| track.id == self.track_id)
    }

    /// Damaged packets so far.
    pub fn damaged_packets(&self) -> u64 {
        self.damaged_packets
    }

    /// Seconds of sound that were lost between packets so far.
    pub fn lost_seconds(&self) -> f64 {
        let rate = self.spec.map_or(1, |spec| spec.rate.max(1));
        self.gaps.lost_frames as f64 / f64::from(rate)
    }

    /// True if all was decoded and is not what the file's checksum says.
    pub fn contradicts_checksum(&mut self) -> bool {
        let whole = self.ended && self.damaged_packets == 0 && self.gaps.lost_frames == 0;
        let verified = match &mut self.codec {
            Codec::Symphonia(decoder) if whole => decoder.finalize().verify_ok,
            Codec::Symphonia(_) | Codec::Opus(..) => None,
        };
        verified == Some(false)
    }

    /// Replaces the contents of `out` by the next packet's interleaved samples; `None` at the end.
    ///
    /// # Errors
    /// If the system cannot read on.
    pub fn next(&mut self, out: &mut Vec<f32>) -> Result<Option<Spec>, AudioError> {
        out.clear();
        while !self.ended {
            if let Some(spec) = self.silence_of_gap(out) {
                return Ok(Some(spec));
            }
            let packet = match self.gaps.held.take() {
                Some(packet) => packet,
                None => match self.next_packet()? {
                    Some(packet) => packet,
                    None => continue,
                },
            };
            let decoded = contained(|| self.codec.decode(&packet, out)).unwrap_or_else(|_| {
                self.codec.reset();
                out.clear();
                Err(Error::DecodeError("the decoder failed"))
            });
            match decoded {
                Ok(spec) => {
                    self.damaged_in_a_row = 0;
                    self.spec = Some(spec);
                    if !out.is_empty() {
                        return Ok(Some(spec));
                    }
                }
                Err(Error::ResetRequired) => self.codec.reset(),
                Err(_) => {
                    self.count_damage();
                    if let Some(spec) = self.silence(packet.dur.get(), out) {
                        return Ok(Some(spec));
                    }
                }
            }
        }
        self.ended = true;
        Ok(None)
    }

    /// The next packet of the track, unless something else has to be done first: the end, or silence in the place of a gap.
    fn next_packet(&mut self) -> Result<Option<Packet>, AudioError> {
        let format = &mut self.format;
        // One that fails by a fault of its own has met damage.
        let next = contained(|| format.next_packet()).unwrap_or(Err(NO_SENSE));
        let packet = match next {
            Ok(packet) => packet,
            // A stream that stops in the middle of a packet has simply ended.
            Err(Error::IoError(e)) if e.kind() == io::ErrorKind::UnexpectedEof => None,
            Err(Error::IoError(e)) => return Err(AudioError::from_io(&self.name, e)),
            Err(Error::ResetRequired) => {
                self.restart()?;
                return Ok(None);
            }
            Err(_) => {
                self.count_damage();
                return Ok(None);
            }
        };
        self.ended = packet.is_none();
        let Some(packet) = packet.filter(|packet| packet.track_id == self.track_id) else {
            return Ok(None);
        };
        let lost = self.gaps.before(&packet);
        let frames = self.frames_of_gap(lost);
        if frames == 0 {
            return Ok(Some(packet));
        }
        self.gaps.lost_frames += frames;
        self.gaps.silent_frames = frames;
        self.gaps.held = Some(packet);
        Ok(None)
    }

    /// Frames that `ticks` lost before a packet stand for; 0 where they are none, or before the shape of the sound is known.
    fn frames_of_gap(&self, ticks: u64) -> u64 {
        let (Some(spec), Some(ticks_a_second)) = (self.spec, self.ticks_a_second) else {
            return 0;
        };
        let seconds = ticks as f64 / ticks_a_second;
        if (GAP_TOLERANCE_SECONDS..=LONGEST_GAP_SECONDS).contains(&seconds) {
            (seconds * f64::from(spec.rate)).round() as u64
        } else {
            0
        }
    }

    /// A block of the silence that stands in the place of a gap.
    fn silence_of_gap(&mut self, out: &mut Vec<f32>) -> Option<Spec> {
        let spec = self.spec.filter(|_| self.gaps.silent_frames > 0)?;
        let frames = self.gaps.silent_frames.min(GAP_LIMIT);
        self.gaps.silent_frames -= frames;
        out.resize(frames as usize * spec.channels, 0.0);
        Some(spec)
    }

    fn count_damage(&mut self) {
        self.damaged_packets += 1;
        self.damaged_in_a_row += 1;
        self.ended = self.damaged_in_a_row >= DAMAGE_LIMIT;
    }

    /// Silence as long as a packet of `ticks`, once the shape of the sound is known.
    fn silence(&self, ticks: u64, out: &mut Vec<f32>) -> Option<Spec> {
        let spec = self.spec?;
        let frames = (ticks as f64 * f64::from(spec.rate) / self.ticks_a_second?).round() as u64;
        out.resize(frames.min(GAP_LIMIT) as usize * spec.channels, 0.0);
        (!out.is_empty()).then_some(spec)
    }

    /// A chained stream has begun its next part.
    fn restart(&mut self) -> Result<(), AudioError> {
        let track = audio_track(&self.name, self.format.as_ref())?;
        self.track_id = track.id;
        self.gaps.expected = None;
        self.codec = make_codec(
            &self.name,
            self.format.as_ref(),
            audio_params(&self.name, track)?,
        )?;
        Ok(())
    }
}

/// What comes before time 0 in the decoded sound.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Priming {
    /// Frames to skip, at the file's rate.
    pub skip: u64,
    /// Frames of true sound after them; `None` where nothing says.
    pub length: Option<u64>,
    /// True where the file says so; false where it is what encoders usually do.
    pub stated: bool,
}

fn audio_track<'f>(name: &str, format: &'f dyn FormatReader) -> Result<&'f Track, AudioError> {
    let track = format
        .default_track(TrackType::Audio)
        .or_else(|| format.first_track(TrackType::Audio));
    track.ok_or_else(|| AudioError::NoSound {
        name: name.into(),
        what: match format.first_track(TrackType::Video) {
            Some(_) => {
                "a video without sound, or its sound is coded in a way that is not known here"
                    .into()
            }
            None => "a file in which no sound was found".into(),
        },
    })
}

fn audio_params<'t>(name: &str, track: &'t Track) -> Result<&'t AudioCodecParameters, AudioError> {
    match &track.codec_params {
        Some(CodecParameters::Audio(params)) => Ok(params),
        _ => Err(AudioError::damaged(
            name,
            "its header does not say how the sound is coded",
        )),
    }
}

fn make_codec(
    name: &str,
    format: &dyn FormatReader,
    params: &AudioCodecParameters,
) -> Result<Codec, AudioError> {
    if params.codec == codec_id::CODEC_ID_OPUS {
        let big_endian = format.format_info().short_name == "isomp4";
        let header = params.extra_data.as_deref().unwrap_or_default();
        let track = OpusTrack::new(header, big_endian)
            .ok_or_else(|| AudioError::damaged(name, "its header of Opus makes no sense"))?;
        return Ok(Codec::Opus(Box::new(track), Box::new(params.clone())));
    }
    let options = AudioDecoderOptions::default().verify(true);
    contained(|| symphonia::default::get_codecs().make_audio_decoder(params, &options))
        .unwrap_or(Err(NO_SENSE))
        .map(Codec::Symphonia)
        .map_err(|e| match e {
            Error::Unsupported(why) => AudioError::UnknownCodec {
                name: name.into(),
                codec: unsupported_name(params, why),
            },
            other => AudioError::damaged(name, other.to_string()),
        })
}

fn codec_name(codec: AudioCodecId) -> String {
    match CODEC_NAMES.iter().find(|(id, _)| *id == codec) {
        Some((_, name)) => (*name).to_owned(),
        None if (0x100..0x200).contains(&raw_id(codec)) => "PCM".into(),
        None => format!("codec {codec}"),
    }
}

/// The number inside a codec's identity, which it shows as hexadecimal.
fn raw_id(codec: AudioCodecId) -> u32 {
    u32::from_str_radix(codec.to_string().trim_start_matches("0x"), 16).unwrap_or(u32::MAX)
}

/// A codec that is read in principle but not in this form.
fn unsupported_name(params: &AudioCodecParameters, why: &str) -> String {
    if params.codec == codec_id::CODEC_ID_AAC {
        return aac_extension(params.extra_data.as_deref()).into();
    }
    let name = codec_name(params.codec);
    if name == "PCM" {
        format!("PCM ({why})")
    } else {
        name
    }
}

fn refusal(name: &str, error: Error, head: &[u8]) -> AudioError {
    match error {
        Error::IoError(e) if e.kind() == io::ErrorKind::UnexpectedEof => {
            AudioError::damaged(name, "it ends too early")
        }
        Error::IoError(e) => AudioError::from_io(name, e),
        Error::Unsupported(why) => {
            let aac = || why.contains("mp4a").then(|| aac_extension(None).into());
            match caf::coding(head).or_else(aac) {
                Some(codec) => AudioError::UnknownCodec {
                    name: name.into(),
                    codec,
                },
                None => AudioError::NotAudio { name: name.into() },
            }
        }
        other => AudioError::damaged(name, other.to_string()),
    }
}
