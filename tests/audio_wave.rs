//! WAV as recorders, editors and pipes really write it.

mod support;

use lidprop::audio::{self, AudioError, SampleSource, SourceWarning};
use lidprop::units::SampleRate;
use std::path::PathBuf;
use support::{lag, read_all};

const INTERNAL: u32 = SampleRate::INTERNAL.get();

/// A struck string at `rate`: silence, then at 0.2 s a decaying tone of 440 Hz with its octave; 0.6 s.
fn strike(rate: u32) -> Vec<f64> {
    let rate = f64::from(rate);
    let tone = |t: f64| (-6.0 * t).exp() * (0.4 * (2764.6 * t).sin() + 0.2 * (5529.2 * t).sin());
    (0..(0.6 * rate) as usize)
        .map(|n| n as f64 / rate - 0.2)
        .map(|t| if t < 0.0 { 0.0 } else { tone(t) })
        .collect()
}

/// Everything a header says.
#[derive(Clone)]
struct Header {
    riff: &'static [u8; 4],
    tag: u16,
    channels: u16,
    rate: u32,
    block_bytes: u16,
    bits: u16,
    /// Valid bits and sub-format of an extensible header.
    extension: Option<(u16, u16)>,
    riff_bytes: Option<u32>,
    data_bytes: Option<u32>,
    long_data_bytes: Option<u64>,
}

impl Header {
    fn new(tag: u16, channels: u16, rate: u32, bits: u16) -> Self {
        let block_bytes = channels * (bits / 8);
        Self {
            riff: b"RIFF",
            tag,
            channels,
            rate,
            block_bytes,
            bits,
            extension: None,
            riff_bytes: None,
            data_bytes: None,
            long_data_bytes: None,
        }
    }

    fn file(&self, data: &[u8]) -> Vec<u8> {
        let mut format = Vec::new();
        for word in [self.tag, self.channels] {
            format.extend(word.to_le_bytes());
        }
        format.extend(self.rate.to_le_bytes());
        format.extend(
            self.rate
                .saturating_mul(u32::from(self.block_bytes))
                .to_le_bytes(),
        );
        format.extend(self.block_bytes.to_le_bytes());
        format.extend(self.bits.to_le_bytes());
        if let Some((valid_bits, sub_format)) = self.extension {
            format.extend(22u16.to_le_bytes());
            format.extend(valid_bits.to_le_bytes());
            format.extend(0u32.to_le_bytes());
            format.extend(sub_format.to_le_bytes());
            format.extend([0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xAA, 0, 0x38, 0x9B, 0x71]);
        }
        let mut chunks = Vec::new();
        if let Some(long) = self.long_data_bytes {
            chunks.extend(b"ds64");
            chunks.extend(28u32.to_le_bytes());
            chunks.extend((long + 72).to_le_bytes());
            chunks.extend(long.to_le_bytes());
            chunks.extend([0; 12]);
        }
        // A chunk of odd length, as editors put before the format.
        chunks.extend(b"note\x03\0\0\0abc\0fmt ");
        chunks.extend((format.len() as u32).to_le_bytes());
        chunks.extend(format);
        chunks.extend(b"data");
        chunks.extend(self.data_bytes.unwrap_or(data.len() as u32).to_le_bytes());
        let mut file = self.riff.to_vec();
        let whole = (4 + chunks.len() + data.len()) as u32;
        file.extend(self.riff_bytes.unwrap_or(whole).to_le_bytes());
        file.extend(b"WAVE");
        file.extend(chunks);
        file.extend(data);
        file
    }
}

struct Folder(tempfile::TempDir);

impl Folder {
    fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }

    fn write(&self, bytes: &[u8]) -> PathBuf {
        let path = self.0.path().join("take.wav");
        std::fs::write(&path, bytes).unwrap();
        path
    }

    fn read(&self, bytes: &[u8]) -> (Vec<f32>, Vec<SourceWarning>) {
        let mut source = audio::open(self.write(bytes)).unwrap_or_else(|e| panic!("{e}"));
        let samples = read_all(&mut source);
        let told = source.info().length.map(|l| l.get() as usize);
        let warnings = source.warnings();
        if warnings.is_empty() && told.is_some() {
            assert_eq!(
                told,
                Some(samples.len()),
                "the length told beforehand is the length read"
            );
        }
        (samples, warnings)
    }

    fn refusal(&self, bytes: &[u8]) -> AudioError {
        match audio::open(self.write(bytes)) {
            Err(error) => error,
            Ok(mut source) => source
                .next_block(&mut Vec::new())
                .expect_err("it is refused"),
        }
    }
}

/// The strike in 16 bits at the internal rate, so that nothing is resampled and samples can be compared.
fn sixteen_bits() -> (Vec<u8>, Vec<f32>) {
    let samples: Vec<i16> = strike(INTERNAL)
        .iter()
        .map(|x| (x * 32_767.0) as i16)
        .collect();
    (
        samples.iter().flat_map(|s| s.to_le_bytes()).collect(),
        samples.iter().map(|&s| f32::from(s) / 32_768.0).collect(),
    )
}

fn assert_near(name: &str, heard: &[f32], expected: &[f32], tolerance: f32) {
    assert_eq!(heard.len(), expected.len(), "{name}: length");
    let worst = heard
        .iter()
        .zip(expected)
        .map(|(h, e)| (h - e).abs())
        .fold(0.0, f32::max);
    assert!(worst <= tolerance, "{name}: off by {worst}");
}

#[test]
fn every_plain_sample_format_reads_the_same() {
    let folder = Folder::new();
    let wave = strike(INTERNAL);
    let expected: Vec<f32> = wave.iter().map(|&x| x as f32).collect();
    type Pack = fn(f64) -> Vec<u8>;
    let formats: [(&str, u16, u16, Pack, f32); 6] = [
        (
            "8-bit",
            1,
            8,
            |x| vec![(x * 127.0 + 128.0).round() as u8],
            0.01,
        ),
        (
            "16-bit",
            1,
            16,
            |x| ((x * 32_767.0).round() as i16).to_le_bytes().to_vec(),
            1e-4,
        ),
        (
            "24-bit",
            1,
            24,
            |x| ((x * 8_388_607.0).round() as i32).to_le_bytes()[..3].to_vec(),
            1e-6,
        ),
        (
            "32-bit",
            1,
            32,
            |x| {
                ((x * 2_147_483_647.0).round() as i32)
                    .to_le_bytes()
                    .to_vec()
            },
            1e-6,
        ),
        (
            "32-bit float",
            3,
            32,
            |x| (x as f32).to_le_bytes().to_vec(),
            0.0,
        ),
        ("64-bit float", 3, 64, |x| x.to_le_bytes().to_vec(), 1e-7),
    ];
    for (name, tag, bits, pack, tolerance) in formats {
        let data: Vec<u8> = wave.iter().flat_map(|&x| pack(x)).collect();
        let plain = Header::new(tag, 1, INTERNAL, bits);
        assert_near(
            name,
            &folder.read(&plain.file(&data)).0,
            &expected,
            tolerance,
        );
        let extensible = Header {
            tag: 0xFFFE,
            extension: Some((bits, tag)),
            ..plain
        };
        assert_near(
            &format!("{name} extensible"),
            &folder.read(&extensible.file(&data)).0,
            &expected,
            tolerance,
        );
    }
}

#[test]
fn twenty_four_bits_in_thirty_two_are_found_on_either_side() {
    let folder = Folder::new();
    let wave: Vec<i32> = strike(INTERNAL)
        .iter()
        .map(|x| (x * 8_388_607.0).round() as i32)
        .collect();
    let expected: Vec<f32> = wave.iter().map(|&s| s as f32 / 8_388_608.0).collect();
    let upper: Vec<u8> = wave.iter().flat_map(|s| (s << 8).to_le_bytes()).collect();
    let lower: Vec<u8> = wave.iter().flat_map(|s| s.to_le_bytes()).collect();
    let zero_filled: Vec<u8> = wave
        .iter()
        .flat_map(|s| (s & 0xFF_FFFF).to_le_bytes())
        .collect();
    let plain = Header {
        block_bytes: 4,
        ..Header::new(1, 1, INTERNAL, 24)
    };
    let extensible = Header {
        tag: 0xFFFE,
        bits: 32,
        extension: Some((24, 1)),
        ..plain.clone()
    };
    for (name, header, data) in [
        ("extensible, upper side", &extensible, &upper),
        ("extensible, lower side", &extensible, &lower),
        ("plain, upper side", &plain, &upper),
        ("plain, lower side", &plain, &lower),
        ("plain, lower side, sign not repeated", &plain, &zero_filled),
    ] {
        let (heard, warnings) = folder.read(&header.file(data));
        assert_near(name, &heard, &expected, 1e-6);
        assert_eq!(warnings, [], "{name}");
    }
}

#[test]
fn sizes_that_nobody_wrote_or_that_a_pipe_left_are_no_obstacle() {
    let folder = Folder::new();
    let (data, expected) = sixteen_bits();
    let plain = Header::new(1, 1, INTERNAL, 16);
    let sizes = [
        (Some(0), Some(0)),
        (Some(36), Some(0)),
        (Some(u32::MAX), Some(u32::MAX)),
        (Some(0x7FFF_F024), Some(0x7FFF_F000)),
        (Some(0), None),
    ];
    for (riff_bytes, data_bytes) in sizes {
        let header = Header {
            riff_bytes,
            data_bytes,
            ..plain.clone()
        };
        let (heard, warnings) = folder.read(&header.file(&data));
        assert_near(
            &format!("{riff_bytes:?} {data_bytes:?}"),
            &heard,
            &expected,
            0.0,
        );
        assert_eq!(warnings, []);
    }
}

#[test]
fn chunks_after_the_sound_are_not_heard() {
    let (data, expected) = sixteen_bits();
    let mut file = Header::new(1, 1, INTERNAL, 16).file(&data);
    file.extend(b"LIST\x04\0\0\0\xFF\x7F\xFF\x7F");
    assert_near(
        "list after data",
        &Folder::new().read(&file).0,
        &expected,
        0.0,
    );
}

#[test]
fn files_beyond_four_gigabytes_are_read_by_their_long_sizes() {
    let folder = Folder::new();
    let (data, expected) = sixteen_bits();
    for riff in [b"RF64", b"BW64"] {
        let header = Header {
            riff,
            riff_bytes: Some(u32::MAX),
            data_bytes: Some(u32::MAX),
            long_data_bytes: Some(data.len() as u64),
            ..Header::new(1, 1, INTERNAL, 16)
        };
        let mut file = header.file(&data);
        file.extend(b"LIST\x04\0\0\0\xFF\x7F\xFF\x7F");
        assert_near("long sizes", &folder.read(&file).0, &expected, 0.0);
    }
}

#[test]
fn a_take_cut_short_gives_what_is_there_and_says_how_much_is_missing() {
    let (data, expected) = sixteen_bits();
    let file = Header::new(1, 1, INTERNAL, 16).file(&data);
    // Cut in the middle of a sample.
    let (heard, warnings) = Folder::new().read(&file[..file.len() - INTERNAL as usize / 2 - 1]);
    assert_near("cut", &heard, &expected[..heard.len()], 0.0);
    assert!(heard.len() >= expected.len() - INTERNAL as usize / 4 - 1);
    assert!(
        matches!(warnings[..], [SourceWarning::CutShort { missing }] if (missing - 0.25).abs() < 0.01),
        "{warnings:?}"
    );
}

#[test]
fn a_strike_keeps_its_time_at_every_rate_and_channel_count() {
    let folder = Folder::new();
    let expected: Vec<f32> = strike(INTERNAL).iter().map(|&x| x as f32).collect();
    for rate in [
        8_000, 11_025, 16_000, 22_050, 32_000, 44_100, 44_101, 48_000, 88_200, 96_000, 176_400,
        192_000,
    ] {
        for channels in [1, 2, 8, 32] {
            let wave = strike(rate);
            let frame = |x: &f64| {
                ((x * 32_767.0) as i16)
                    .to_le_bytes()
                    .repeat(usize::from(channels))
            };
            let data: Vec<u8> = wave.iter().flat_map(frame).collect();
            let (heard, _) = folder.read(&Header::new(1, channels, rate, 16).file(&data));
            let late = lag(&expected, &heard, 300);
            // One sample is 0.045 ms; the strike itself lies between two samples of the low rates.
            assert!(
                late.abs() <= 1,
                "{rate} Hz, {channels} channels: {late} samples late"
            );
            assert!(
                heard.len().abs_diff(expected.len()) <= 1,
                "{rate} Hz: {} samples",
                heard.len()
            );
        }
    }
}

#[test]
fn numbers_that_are_none_become_silence_with_a_warning() {
    let mut data: Vec<u8> = strike(INTERNAL)
        .iter()
        .flat_map(|&x| (x as f32).to_le_bytes())
        .collect();
    for (at, bad) in [
        (100, f32::NAN),
        (200, f32::INFINITY),
        (300, f32::NEG_INFINITY),
        (400, 1e30),
    ] {
        data[at * 4..][..4].copy_from_slice(&bad.to_le_bytes());
    }
    let (heard, warnings) = Folder::new().read(&Header::new(3, 1, INTERNAL, 32).file(&data));
    assert!(heard.iter().all(|x| x.is_finite() && x.abs() <= 1.0));
    assert_eq!(warnings, [SourceWarning::BadSamples { count: 4 }]);
}

#[test]
fn silence_clipping_and_inverted_channels_are_told() {
    let folder = Folder::new();
    let header = Header::new(1, 2, 44_100, 16);
    assert_eq!(
        folder.read(&header.file(&[0; 40_000])).1,
        [SourceWarning::Silent]
    );
    let square: Vec<u8> = (0..10_000)
        .flat_map(|n| {
            if n / 50 % 2 == 0 { i16::MAX } else { i16::MIN }
                .to_le_bytes()
                .repeat(2)
        })
        .collect();
    assert!(
        matches!(folder.read(&header.file(&square)).1[..], [SourceWarning::Clipped { runs }] if runs > 100)
    );
    let inverted: Vec<u8> = (0..10_000)
        .flat_map(|n: i16| [n / 2, -(n / 2)])
        .flat_map(i16::to_le_bytes)
        .collect();
    assert_eq!(
        folder.read(&header.file(&inverted)).1,
        [SourceWarning::ChannelsCancel]
    );
}

#[test]
fn bad_headers_are_refused_in_one_sentence_that_names_the_file() {
    let folder = Folder::new();
    let plain = Header::new(1, 1, 44_100, 16);
    let cases = [
        (vec![], "the file is empty"),
        (b"RIFF".to_vec(), "no sound format"),
        (
            b"Minutes of the meeting: nothing was decided, as usual.".to_vec(),
            "no sound format",
        ),
        (b"MThd\0\0\0\x06\0\0\0\x01\0\x60MTrk".to_vec(), "MIDI"),
        (plain.file(&[])[..40].to_vec(), "damaged or cut short"),
        (
            Header {
                rate: 0,
                ..plain.clone()
            }
            .file(&[0; 64]),
            "0 samples per second",
        ),
        (
            Header {
                rate: 2_000_000,
                ..plain.clone()
            }
            .file(&[0; 64]),
            "2000000 samples per second",
        ),
        (
            Header {
                channels: 0,
                ..plain.clone()
            }
            .file(&[0; 64]),
            "no channels",
        ),
        (
            Header {
                bits: 0,
                block_bytes: 0,
                ..plain.clone()
            }
            .file(&[0; 64]),
            "damaged",
        ),
        (
            Header {
                tag: 0x0161,
                ..plain.clone()
            }
            .file(&[0; 64]),
            "Windows Media Audio",
        ),
        (
            Header {
                riff: b"RIFX",
                ..plain.clone()
            }
            .file(&[0; 64]),
            "big-endian WAV (RIFX)",
        ),
        (plain.file(&[]), "no sound in the file"),
    ];
    for (bytes, expected) in cases {
        let sentence = folder.refusal(&bytes).to_string();
        assert!(
            sentence.contains(expected),
            "{sentence} should hold {expected}"
        );
        assert!(
            sentence.contains("take.wav") && !sentence.contains('\n'),
            "{sentence}"
        );
    }
}

#[test]
fn what_is_no_file_is_refused_with_the_remedy() {
    let folder = Folder::new();
    let sentence = |path: PathBuf| audio::open(path).err().expect("it is refused").to_string();
    assert!(sentence(folder.0.path().into()).contains("this is a folder"));
    assert!(sentence(folder.0.path().join("absent.wav")).contains("no such file"));
}

#[cfg(unix)]
#[test]
fn a_file_that_may_not_be_read_is_refused_by_its_permission() {
    use std::os::unix::fs::PermissionsExt;
    let folder = Folder::new();
    let path = folder.write(&[0; 64]);
    std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o0)).unwrap();
    if std::fs::File::open(&path).is_ok() {
        eprintln!("SKIPPED: this user may read everything");
        return;
    }
    assert!(
        audio::open(&path)
            .err()
            .expect("it is refused")
            .to_string()
            .contains("not permitted")
    );
}
