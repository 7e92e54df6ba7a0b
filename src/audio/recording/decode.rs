//! Recordings of any format to interleaved samples, packet by packet.
//!
//! Input: a byte stream, recognised by content. Output: blocks of interleaved `f32`, as the decoder gives them.
//! Units: full scale ±1; frames at the file's own rate.
//! Method: symphonia demultiplexes and decodes; a packet that cannot be decoded is replaced by as much silence, so that what
//! follows keeps its time. Encoder delay that the file or its format makes known is stated in [`Decoder::priming`].
//! Limits: the first audio track only; a chained stream is read on as long as it can be decoded.

use crate::audio::AudioError;
use crate::audio::recording::opus::{self, OpusTrack};
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

/// Formats that are recognised only to be named: first bytes, name.
const REFUSED_FORMATS: &[(&[u8], &str)] = &[
    (&[0x30, 0x26, 0xB2, 0x75], "Windows Media Audio"),
    (&[0xFF, 0xFC], "MPEG layer 2"),
    (&[0xFF, 0xFD], "MPEG layer 2"),
    (b"#!AMR", "AMR"),
    (b".snd", "AU"),
    (b"wvPk", "WavPack"),
    (b"MAC ", "Monkey's Audio"),
    (b"DSD ", "DSD"),
    (b"FRM8", "DSD"),
    (b"MThd", "MIDI, which holds notes and no sound"),
];

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
    ended: bool,
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
        let stream = MediaSourceStream::new(source, Default::default());
        let format = symphonia::default::get_probe()
            .probe(&Hint::new(), stream, Default::default(), Default::default())
            .map_err(|e| refusal(name, e, head))?;
        let track = audio_track(name, format.as_ref())?;
        let track_id = track.id;
        let ticks_a_second = track
            .time_base
            .map(|base| f64::from(base.denom.get()) / f64::from(base.numer.get()));
        let codec = make_codec(name, format.as_ref(), audio_params(name, track)?)?;
        Ok(Self {
            name: name.to_owned(),
            format,
            codec,
            track_id,
            spec: None,
            ticks_a_second,
            damaged_packets: 0,
            damaged_in_a_row: 0,
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

    /// Replaces the contents of `out` by the next packet's interleaved samples; `None` at the end.
    ///
    /// # Errors
    /// If the system cannot read on.
    pub fn next(&mut self, out: &mut Vec<f32>) -> Result<Option<Spec>, AudioError> {
        out.clear();
        while !self.ended {
            let packet = match self.format.next_packet() {
                Ok(Some(packet)) => packet,
                // A stream that stops in the middle of a packet has simply ended.
                Ok(None) => break,
                Err(Error::IoError(e)) if e.kind() == io::ErrorKind::UnexpectedEof => break,
                Err(Error::IoError(e)) => return Err(AudioError::from_io(&self.name, e)),
                Err(Error::ResetRequired) => {
                    self.restart()?;
                    continue;
                }
                Err(_) => {
                    self.count_damage();
                    continue;
                }
            };
            if packet.track_id != self.track_id {
                continue;
            }
            match self.codec.decode(&packet, out) {
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
    track.ok_or_else(|| AudioError::UnknownCodec {
        name: name.into(),
        codec: "something unknown, or holds no sound".into(),
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
    symphonia::default::get_codecs()
        .make_audio_decoder(params, &AudioDecoderOptions::default())
        .map(Codec::Symphonia)
        .map_err(|e| match e {
            Error::Unsupported(why) => AudioError::UnknownCodec {
                name: name.into(),
                codec: unsupported_name(params.codec, why),
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
fn unsupported_name(codec: AudioCodecId, why: &str) -> String {
    if codec == codec_id::CODEC_ID_AAC {
        return "HE-AAC or another extension of AAC-LC".into();
    }
    let name = codec_name(codec);
    if name == "PCM" {
        format!("PCM ({why})")
    } else {
        name
    }
}

/// Containers of video that are not read, told by more than their first bytes.
fn video_container(head: &[u8]) -> Option<&'static str> {
    // Packets of 188 bytes, each begins with this one (ISO/IEC 13818-1).
    const SYNC: u8 = 0x47;
    if head.first() == Some(&SYNC) && head.get(188) == Some(&SYNC) {
        return Some("an MPEG transport stream");
    }
    (head.starts_with(b"RIFF") && head.get(8..12) == Some(b"AVI ")).then_some("AVI")
}

fn refusal(name: &str, error: Error, head: &[u8]) -> AudioError {
    let by_magic = REFUSED_FORMATS
        .iter()
        .find(|(magic, _)| head.starts_with(magic))
        .map(|(_, name)| *name);
    if let Some(codec) = by_magic.or(video_container(head)) {
        return AudioError::UnknownCodec {
            name: name.into(),
            codec: codec.into(),
        };
    }
    match error {
        Error::IoError(e) if e.kind() == io::ErrorKind::UnexpectedEof => {
            AudioError::damaged(name, "it ends too early")
        }
        Error::IoError(e) => AudioError::from_io(name, e),
        Error::Unsupported(why) if why.contains("mp4a") => AudioError::UnknownCodec {
            name: name.into(),
            codec: unsupported_name(codec_id::CODEC_ID_AAC, why),
        },
        Error::Unsupported(_) => AudioError::NotAudio { name: name.into() },
        other => AudioError::damaged(name, other.to_string()),
    }
}
