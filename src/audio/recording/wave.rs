//! WAV headers as they occur in practice, brought into the one shape that the decoder reads without fault.
//!
//! Input: a RIFF, RF64 or BW64 stream, read forwards. Output: [`Wave`]: what the header says, and the stream with a plain header.
//! Units: bytes and frames. Method: RIFF WAVE (Microsoft, "New Multimedia Data Types and Data Techniques", 1994),
//! WAVEFORMATEXTENSIBLE, EBU Tech 3306 (RF64) and ITU-R BS.2088 (BW64). The decoder is told of *one* channel: frames are
//! interleaved samples, so any channel count works, and the channels are folded afterwards ([`crate::audio::downmix`]).
//! Limits: big-endian RIFX is refused by name. Where 24 valid bits stand in 32 and the first mebibyte of sound does not show
//! on which side, an extensible header is taken at its word (upper side) and a plain one as lower side.

use crate::audio::AudioError;
use std::io::{self, Cursor, Read};

/// A stream that a decoder thread may own.
pub trait ByteStream: Read + Send + Sync + 'static {}
impl<T: Read + Send + Sync + 'static> ByteStream for T {}

/// Sizes from here on are placeholders that recorders write while the length is still unknown
/// (0xFFFFFFFF; 0x7FFFF000 and neighbours), unless that many bytes are really there.
const PLACEHOLDER_SIZES: [std::ops::RangeInclusive<u64>; 2] =
    [0x7FFF_F000..=0x7FFF_FFFF, 0xFFFF_F000..=0xFFFF_FFFF];

/// The largest `fmt ` chunk that is read; the longest in use has 40 bytes and codec extensions add some dozens.
const FORMAT_LIMIT: u64 = 4096;

/// Channels beyond this are a damaged header; the largest formats in use have some dozens.
const MOST_CHANNELS: u16 = 256;

/// How much sound is looked at to see on which side 24 bits stand in 32: 2.7 s of 48 kHz stereo.
const ALIGNMENT_LOOK_BYTES: usize = 1 << 20;

const TAG_PCM: u16 = 0x0001;
const TAG_FLOAT: u16 = 0x0003;
const TAG_A_LAW: u16 = 0x0006;
const TAG_MU_LAW: u16 = 0x0007;
const TAG_MP3: u16 = 0x0055;
const TAG_EXTENSIBLE: u16 = 0xFFFE;

/// Codings that occur in WAV files, by tag (RFC 2361): `None` where the decoder reads them, else what to call them.
const CODING_NAMES: &[(u16, &str)] = &[
    (0x0050, "MPEG layer 2"),
    (0x0031, "GSM 6.10"),
    (0x0045, "G.726 ADPCM"),
    (0x00FF, "AAC in WAV"),
    (0x0092, "AC-3"),
    (0x0160, "Windows Media Audio"),
    (0x0161, "Windows Media Audio"),
    (0x0162, "Windows Media Audio Professional"),
    (0x0163, "Windows Media Audio Lossless"),
    (0x2000, "AC-3"),
    (0x704F, "Opus in WAV"),
    (0xF1AC, "FLAC in WAV"),
];

/// Codings handed to the decoder under their own header.
const ADPCM: &[u16] = &[0x0002, 0x0011];

/// A WAV stream, ready for the decoder.
pub struct Wave {
    /// Channels of the recording. The decoder sees one, except where `channels_left_to_decoder`.
    pub channels: u16,
    /// True for codings in which the decoder must separate the channels.
    pub channels_left_to_decoder: bool,
    /// Frames a second as the header says, unchecked.
    pub rate: u32,
    /// The coding, for people.
    pub codec: String,
    /// Frames the header promises; `None` where it does not know.
    pub frames: Option<u64>,
    /// The stream from its (rewritten) start.
    pub stream: Box<dyn ByteStream>,
}

/// True if a file that starts with `head` (12 bytes) is for [`read`].
pub fn is_wave(head: &[u8]) -> bool {
    head.len() >= 12
        && &head[8..12] == b"WAVE"
        && [b"RIFF", b"RF64", b"BW64", b"RIFX"]
            .iter()
            .any(|id| &head[..4] == *id)
}

/// Reads the header of `stream` (from its very start) and gives the sound behind it.
/// `total_bytes` is the length of the whole stream where known.
///
/// # Errors
/// If the header is damaged, or the sound is coded in a way that is not read.
pub fn read(
    name: &str,
    mut stream: impl ByteStream,
    total_bytes: Option<u64>,
) -> Result<Wave, AudioError> {
    let mut header = Header::read(name, &mut stream, total_bytes)?;
    let looked_at = std::mem::take(&mut header.looked_at);
    let stream = Cursor::new(looked_at).chain(stream);
    let body = Chunks::new(stream, header.promised_bytes, header.format.block_bytes);
    header.wave(name, body)
}

/// The fields of a `fmt ` chunk that matter, with its bytes.
struct Format {
    /// The coding; that of the sub-format where the header is extensible.
    tag: u16,
    extensible: bool,
    channels: u16,
    rate: u32,
    block_bytes: u16,
    bits: u16,
    valid_bits: u16,
    chunk: Vec<u8>,
}

struct Header {
    format: Format,
    /// Bytes of sound that the header promises, even where the file is shorter; `None`: until the stream ends.
    promised_bytes: Option<u64>,
    /// Bytes of sound that were read to see whether they are any.
    looked_at: Vec<u8>,
}

impl Header {
    fn read(
        name: &str,
        stream: &mut impl Read,
        total_bytes: Option<u64>,
    ) -> Result<Self, AudioError> {
        let mut head = [0; 12];
        read_exact(name, stream, &mut head)?;
        if &head[..4] == b"RIFX" {
            return Err(AudioError::UnknownCodec {
                name: name.into(),
                codec: "big-endian WAV (RIFX)".into(),
            });
        }
        let riff_bytes = u64::from(le32(&head[4..]));
        let mut position = head.len() as u64;
        let mut long_data_bytes = None;
        let mut format = None;
        loop {
            let mut chunk = [0; 8];
            if read_exact(name, stream, &mut chunk).is_err() {
                return Err(AudioError::damaged(
                    name,
                    "its header ends before any sound",
                ));
            }
            position += 8;
            let bytes = u64::from(le32(&chunk[4..]));
            match &chunk[..4] {
                b"ds64" if (24..=FORMAT_LIMIT).contains(&bytes) => {
                    let mut ds64 = vec![0; padded(bytes) as usize];
                    read_exact(name, stream, &mut ds64)?;
                    long_data_bytes =
                        Some(u64::from(le32(&ds64[8..])) | u64::from(le32(&ds64[12..])) << 32);
                }
                b"fmt " if (16..=FORMAT_LIMIT).contains(&bytes) => {
                    let mut raw = vec![0; padded(bytes) as usize];
                    read_exact(name, stream, &mut raw)?;
                    raw.truncate(bytes as usize);
                    format = Some(Format::parse(name, raw)?);
                }
                b"data" => {
                    let format = format.ok_or_else(|| {
                        AudioError::damaged(name, "its header does not say how the sound is coded")
                    })?;
                    let available = total_bytes.map(|total| total.saturating_sub(position));
                    let riff_ends_here = riff_bytes + 8 <= position;
                    let promised_bytes = match long_data_bytes {
                        Some(long) if bytes == u64::from(u32::MAX) => {
                            Some(long).filter(|&long| long > 0)
                        }
                        _ => promised(bytes, available, riff_ends_here),
                    };
                    let (promised_bytes, looked_at) = match promised_bytes {
                        Some(0) => what_follows(name, stream)?,
                        other => (other, Vec::new()),
                    };
                    return Ok(Self {
                        format,
                        promised_bytes,
                        looked_at,
                    });
                }
                b"fmt " | b"ds64" => {
                    return Err(AudioError::damaged(
                        name,
                        "the format part of its header has an impossible size",
                    ));
                }
                _ => {
                    let skipped = io::copy(&mut stream.take(padded(bytes)), &mut io::sink())
                        .map_err(|e| AudioError::from_io(name, e))?;
                    if skipped < bytes {
                        return Err(AudioError::damaged(
                            name,
                            "its header ends before any sound",
                        ));
                    }
                }
            }
            position += padded(bytes);
        }
    }

    fn wave(self, name: &str, body: impl ByteStream) -> Result<Wave, AudioError> {
        let Format {
            tag,
            channels,
            rate,
            ..
        } = self.format;
        if channels == 0 || channels > MOST_CHANNELS {
            let claimed = match channels {
                0 => "no".to_owned(),
                many => many.to_string(),
            };
            return Err(AudioError::damaged(
                name,
                format!("its header claims {claimed} channels"),
            ));
        }
        let wave = |codec: String, channels_left_to_decoder, frame_bytes: u64, stream| {
            let frames = self
                .promised_bytes
                .filter(|_| frame_bytes > 0)
                .map(|bytes| bytes / frame_bytes);
            Ok(Wave {
                channels,
                channels_left_to_decoder,
                rate,
                codec,
                frames,
                stream,
            })
        };
        match tag {
            TAG_PCM | TAG_FLOAT | TAG_A_LAW | TAG_MU_LAW => {
                let Samples {
                    codec,
                    file_bytes,
                    decoder_bits,
                    stream,
                } = self.format.samples(name, body)?;
                let stream = Box::new(plain_header(tag, rate, decoder_bits).chain(stream));
                wave(codec, false, u64::from(channels) * file_bytes, stream)
            }
            TAG_MP3 => wave("MP3 in WAV".into(), true, 0, Box::new(body)),
            _ if ADPCM.contains(&tag) => {
                let stream =
                    Box::new(own_header(&self.format.chunk, self.promised_bytes).chain(body));
                wave("ADPCM".into(), true, 0, stream)
            }
            _ => {
                let known = CODING_NAMES.iter().find(|(t, _)| *t == tag);
                let codec = known.map_or_else(
                    || format!("WAV coding 0x{tag:04X}"),
                    |(_, name)| (*name).into(),
                );
                Err(AudioError::UnknownCodec {
                    name: name.into(),
                    codec,
                })
            }
        }
    }
}

/// Samples of a plain coding: how wide they are in the file and for the decoder.
struct Samples {
    codec: String,
    file_bytes: u64,
    decoder_bits: u16,
    stream: Box<dyn ByteStream>,
}

impl Format {
    fn parse(name: &str, chunk: Vec<u8>) -> Result<Self, AudioError> {
        let mut format = Self {
            tag: le16(&chunk),
            extensible: false,
            channels: le16(&chunk[2..]),
            rate: le32(&chunk[4..]),
            block_bytes: le16(&chunk[12..]),
            bits: le16(&chunk[14..]),
            valid_bits: le16(&chunk[14..]),
            chunk: Vec::new(),
        };
        if format.tag == TAG_EXTENSIBLE {
            if chunk.len() < 40 {
                return Err(AudioError::damaged(
                    name,
                    "its extensible header is too short",
                ));
            }
            format.extensible = true;
            format.tag = le16(&chunk[24..]);
            let valid = le16(&chunk[18..]);
            if (1..format.bits).contains(&valid) {
                format.valid_bits = valid;
            }
        }
        format.chunk = chunk;
        Ok(format)
    }

    /// Bytes of one sample in the file: the block divided by the channels where that fits the bits, else the bits rounded up.
    fn sample_bytes(&self) -> u16 {
        let least = self.bits.div_ceil(8);
        let from_block = self.block_bytes / self.channels;
        if self.block_bytes.is_multiple_of(self.channels) && (least..=8).contains(&from_block) {
            from_block
        } else {
            least
        }
    }

    fn samples(&self, name: &str, body: impl ByteStream) -> Result<Samples, AudioError> {
        let bytes = self.sample_bytes();
        let plain = |codec: String, stream: Box<dyn ByteStream>| Samples {
            codec,
            file_bytes: bytes.into(),
            decoder_bits: bytes * 8,
            stream,
        };
        match (self.tag, bytes) {
            _ if self.bits == 0 => Err(AudioError::damaged(
                name,
                "its header claims samples of 0 bits",
            )),
            (TAG_A_LAW, 1) => Ok(plain("A-law".into(), Box::new(body))),
            (TAG_MU_LAW, 1) => Ok(plain("mu-law".into(), Box::new(body))),
            (TAG_FLOAT, 4 | 8) => Ok(plain(format!("{}-bit float", bytes * 8), Box::new(body))),
            (TAG_PCM, 4) if self.valid_bits == 24 => {
                let (side, stream) =
                    find_side(body, self.extensible).map_err(|e| AudioError::from_io(name, e))?;
                let stream = Box::new(DropByte::new(stream, side));
                Ok(Samples {
                    codec: "24-bit PCM in 32".into(),
                    file_bytes: 4,
                    decoder_bits: 24,
                    stream,
                })
            }
            (TAG_PCM, 1..=4) => Ok(plain(
                format!("{}-bit PCM", self.valid_bits),
                Box::new(body),
            )),
            _ => Err(AudioError::damaged(
                name,
                format!("its header claims samples of {} bits", self.bits),
            )),
        }
    }
}

/// What the data size says; `None` where it is a placeholder.
fn promised(bytes: u64, available: Option<u64>, riff_ends_here: bool) -> Option<u64> {
    let really_there =
        available.is_some_and(|available| available == bytes || available == padded(bytes));
    let placeholder = PLACEHOLDER_SIZES.iter().any(|sizes| sizes.contains(&bytes)) && !really_there;
    // A recorder that was cut off leaves 0 here and a RIFF size that ends before the sound.
    let never_written = bytes == 0 && riff_ends_here && available != Some(0);
    (!placeholder && !never_written).then_some(bytes)
}

/// After a `data` chunk of 0 bytes: another chunk, or the samples of a recorder that never wrote the size. Gives the size (`None`: until the
/// stream ends) and the bytes that were read.
fn what_follows(name: &str, stream: &mut impl Read) -> Result<(Option<u64>, Vec<u8>), AudioError> {
    let mut next = Vec::new();
    stream
        .take(8)
        .read_to_end(&mut next)
        .map_err(|e| AudioError::from_io(name, e))?;
    let size = match next.first_chunk::<4>() {
        Some(id) if !is_chunk_name(id) => None,
        _ => Some(0),
    };
    Ok((size, next))
}

/// Chunks are named by four letters, digits, marks or spaces.
fn is_chunk_name(id: &[u8; 4]) -> bool {
    id.iter().all(|byte| (b' '..=b'~').contains(byte))
}

/// The sound of all `data` chunks, one after another: some recorders begin a new one where they go on.
struct Chunks<R> {
    stream: R,
    /// Bytes left of this chunk.
    left: u64,
    /// A byte that fills it up to an even size.
    filled_up: bool,
    /// True where another chunk of sound is not looked for.
    last: bool,
}

impl<R: Read> Chunks<R> {
    /// From the sound of the first one on; one whose size is not known or holds half a frame at its end is the only one.
    fn new(stream: R, bytes: Option<u64>, frame_bytes: u16) -> Self {
        let whole = |bytes: u64| frame_bytes > 0 && bytes.is_multiple_of(frame_bytes.into());
        Self {
            stream,
            left: bytes.unwrap_or(u64::MAX),
            filled_up: bytes.is_some_and(|bytes| !bytes.is_multiple_of(2)),
            last: !bytes.is_some_and(whole),
        }
    }

    /// Goes on to the next chunk of sound; there is none where `left` stays 0.
    fn find_next(&mut self) -> io::Result<()> {
        while self.left == 0 && !self.last {
            let skipped = u64::from(std::mem::take(&mut self.filled_up));
            io::copy(&mut (&mut self.stream).take(skipped), &mut io::sink())?;
            let mut header = Vec::new();
            (&mut self.stream).take(8).read_to_end(&mut header)?;
            let Ok([a, b, c, d, size @ ..]) = <[u8; 8]>::try_from(header) else {
                self.last = true;
                break;
            };
            let id = [a, b, c, d];
            if !is_chunk_name(&id) {
                self.last = true;
                break;
            }
            let size = u64::from(u32::from_le_bytes(size));
            if &id == b"data" {
                self.left = size;
                self.filled_up = !size.is_multiple_of(2);
            } else {
                io::copy(&mut (&mut self.stream).take(padded(size)), &mut io::sink())?;
            }
        }
        Ok(())
    }
}

impl<R: Read> Read for Chunks<R> {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        self.find_next()?;
        let most = usize::try_from(self.left)
            .unwrap_or(usize::MAX)
            .min(out.len());
        let read = self.stream.read(&mut out[..most])?;
        self.left -= read as u64;
        if read == 0 && most > 0 {
            // one that is cut short ends here
            self.last = true;
            self.left = 0;
        }
        Ok(read)
    }
}

/// On which side of 32 bits the 24 valid ones stand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Side {
    /// The lowest byte is padding: the specification's way.
    Upper,
    /// The highest byte is padding or repeats the sign.
    Lower,
}

/// Looks at the first sound (leading zeros say nothing) to find the side, and gives the stream back whole.
fn find_side(
    mut body: impl ByteStream,
    extensible: bool,
) -> io::Result<(Side, Box<dyn ByteStream>)> {
    let mut zeros = 0;
    let mut look = Vec::new();
    loop {
        let mut block = Vec::new();
        let read = (&mut body).take(1 << 16).read_to_end(&mut block)?;
        let silent = look.is_empty() && block.iter().all(|&byte| byte == 0);
        if silent {
            zeros += read as u64;
        } else {
            look.extend(block);
        }
        if read < 1 << 16 || look.len() >= ALIGNMENT_LOOK_BYTES {
            break;
        }
    }
    let samples = || look.chunks_exact(4);
    let side = if samples().any(|s| s[0] != 0) {
        Side::Lower
    } else if samples().any(|s| s[3] != if s[2] & 0x80 == 0 { 0 } else { 0xFF }) || extensible {
        Side::Upper
    } else {
        Side::Lower
    };
    Ok((
        side,
        Box::new(
            io::repeat(0)
                .take(zeros)
                .chain(Cursor::new(look))
                .chain(body),
        ),
    ))
}

/// Passes three bytes of every four.
struct DropByte<R> {
    inner: io::BufReader<R>,
    /// Which of the four is dropped.
    dropped: u8,
    place: u8,
}

impl<R: Read> DropByte<R> {
    fn new(inner: R, side: Side) -> Self {
        let dropped = match side {
            Side::Upper => 0,
            Side::Lower => 3,
        };
        Self {
            inner: io::BufReader::new(inner),
            dropped,
            place: 0,
        }
    }
}

impl<R: Read> Read for DropByte<R> {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        let mut written = 0;
        while written < out.len() {
            let available = io::BufRead::fill_buf(&mut self.inner)?;
            if available.is_empty() {
                break;
            }
            let mut used = 0;
            for &byte in available {
                if self.place != self.dropped {
                    if written == out.len() {
                        break;
                    }
                    out[written] = byte;
                    written += 1;
                }
                self.place = (self.place + 1) % 4;
                used += 1;
            }
            io::BufRead::consume(&mut self.inner, used);
        }
        Ok(written)
    }
}

/// A header for one channel of `bits` at `rate` and unknown length.
fn plain_header(tag: u16, rate: u32, bits: u16) -> Cursor<Vec<u8>> {
    let bytes = bits.div_ceil(8);
    let mut format = Vec::with_capacity(18);
    format.extend(tag.to_le_bytes());
    format.extend(1u16.to_le_bytes());
    format.extend(rate.to_le_bytes());
    format.extend(rate.saturating_mul(u32::from(bytes)).to_le_bytes());
    format.extend(bytes.to_le_bytes());
    format.extend((bytes * 8).to_le_bytes());
    format.extend(0u16.to_le_bytes());
    own_header(&format, None)
}

/// A header around the `fmt ` chunk `format`, for `data_bytes` of sound.
fn own_header(format: &[u8], data_bytes: Option<u64>) -> Cursor<Vec<u8>> {
    let data_bytes = data_bytes
        .and_then(|bytes| u32::try_from(bytes).ok())
        .unwrap_or(u32::MAX);
    let mut header = Vec::with_capacity(28 + format.len());
    header.extend(b"RIFF");
    header.extend(u32::MAX.to_le_bytes());
    header.extend(b"WAVEfmt ");
    header.extend((format.len() as u32).to_le_bytes());
    header.extend(format);
    if !format.len().is_multiple_of(2) {
        header.push(0);
    }
    header.extend(b"data");
    header.extend(data_bytes.to_le_bytes());
    Cursor::new(header)
}

fn padded(bytes: u64) -> u64 {
    bytes + bytes % 2
}

fn le16(bytes: &[u8]) -> u16 {
    u16::from_le_bytes([bytes[0], bytes[1]])
}

fn le32(bytes: &[u8]) -> u32 {
    u32::from_le_bytes([bytes[0], bytes[1], bytes[2], bytes[3]])
}

fn read_exact(name: &str, stream: &mut impl Read, out: &mut [u8]) -> Result<(), AudioError> {
    stream
        .read_exact(out)
        .map_err(|e| AudioError::from_io(name, e))
}
