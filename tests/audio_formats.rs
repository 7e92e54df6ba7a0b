//! Every format gives the same sound at the same time as the lossless reference.

#[path = "support/command.rs"]
mod command;
mod support;

use command::{Answer, Desk};

use lidprop::audio::{self, SampleSource, SourceWarning};
use lidprop::cli::remedies::{InCommand, sentence};
use lidprop::units::SampleRate;
use std::process::Stdio;
use support::{lag, read_all, rms, test_audio};

const RATE: f64 = SampleRate::INTERNAL.get() as f64;

/// One millisecond: the resamplers of encoder and reader round to a fraction of it, and ten are allowed.
const MILLISECOND: i64 = 22;

fn reference() -> Vec<f32> {
    read_all(&mut audio::open(test_audio("formats/note.flac")).unwrap())
}

fn heard(name: &str) -> Vec<f32> {
    let mut source =
        audio::open(test_audio("formats").join(name)).unwrap_or_else(|e| panic!("{e}"));
    let samples = read_all(&mut source);
    assert_eq!(source.warnings(), [], "{name}");
    samples
}

fn assert_same_time(name: &str, delay_seconds: f64) {
    let (reference, heard) = (reference(), heard(name));
    let delay = (delay_seconds * RATE).round() as i64;
    let late = lag(&reference, &heard, delay + 1500) - delay;
    println!(
        "{name}: {late} samples late ({:.2} ms), {} samples long",
        late as f64 / RATE * 1000.0,
        heard.len()
    );
    assert!(late.abs() <= MILLISECOND, "{name} is {late} samples late");
    let louder = 20.0 * (rms(&heard[delay as usize..]) / rms(&reference)).log10();
    assert!(
        louder.abs() < 1.0,
        "{name} is {louder:.1} dB louder than the reference"
    );
}

#[test]
fn lossless_containers_keep_the_time_and_the_length() {
    for name in ["note-alac.m4a", "note-flac.ogg"] {
        assert_same_time(name, 0.0);
        assert_eq!(heard(name).len(), reference().len(), "{name}");
    }
}

#[test]
fn mp3_starts_on_time_with_and_without_a_length_header() {
    assert_same_time("note.mp3", 0.0);
    assert_eq!(
        heard("note.mp3").len(),
        reference().len(),
        "padding is cut off too"
    );
    assert_same_time("note-no-length.mp3", 0.0);
}

#[test]
fn aac_starts_on_time_in_every_container() {
    for name in ["note.m4a", "note-fragmented.m4a", "note.aac"] {
        assert_same_time(name, 0.0);
    }
    assert_eq!(
        heard("note.m4a").len(),
        reference().len(),
        "padding is cut off too"
    );
}

#[test]
fn silence_that_an_edit_list_asks_for_is_kept() {
    assert_same_time("note-delayed.m4a", 0.25);
}

#[test]
fn vorbis_starts_on_time() {
    assert_same_time("note.ogg", 0.0);
}

#[test]
fn the_sound_of_videos_starts_on_time_in_every_container() {
    for name in [
        "note-opus.webm",
        "note-vorbis.webm",
        "note-opus.mp4",
        "note-aac.mkv",
        "note-mp3.mkv",
        "note-pcm.caf",
        "note.opus",
    ] {
        assert_same_time(name, 0.0);
    }
    // Ogg states where the last packet ends; the resampler rounds to a sample.
    let difference = heard("note.opus").len().abs_diff(reference().len());
    assert!(
        difference <= 2,
        "padding is cut off too: {difference} samples"
    );
    let info = |name: &str| {
        audio::open(test_audio("formats").join(name))
            .unwrap()
            .info()
            .clone()
    };
    let webm = info("note-opus.webm");
    assert_eq!(
        (webm.container.as_str(), webm.codec.as_str()),
        ("Matroska or WebM", "Opus")
    );
    assert_eq!(info("note-pcm.caf").container, "CAF");
}

#[test]
fn telephone_codings_and_adpcm_start_on_time() {
    for name in ["note-alaw.wav", "note-mulaw.wav", "note-adpcm.wav"] {
        assert_same_time(name, 0.0);
    }
}

#[test]
fn the_content_decides_and_not_the_name() {
    let folder = tempfile::tempdir().unwrap();
    let misnamed = folder.path().join("memo.wav");
    std::fs::copy(test_audio("formats/note.mp3"), &misnamed).unwrap();
    let mut source = audio::open(&misnamed).unwrap();
    assert_eq!(source.info().container, "MP3");
    assert_eq!(read_all(&mut source).len(), reference().len());
}

#[test]
fn what_a_source_is_can_be_told_before_it_is_read() {
    let info = |name: &str| {
        audio::open(test_audio("formats").join(name))
            .unwrap()
            .info()
            .clone()
    };
    let flac = info("note.flac");
    assert_eq!(
        (
            flac.container.as_str(),
            flac.codec.as_str(),
            flac.rate.get(),
            flac.channels
        ),
        ("FLAC", "16-bit FLAC", 44_100, 1)
    );
    assert_eq!(
        flac.length.map(|l| l.get() as usize),
        Some(reference().len())
    );
    assert_eq!(info("note.m4a").codec, "AAC-LC");
    assert_eq!(info("note-alaw.wav").codec, "A-law");
}

#[test]
fn codecs_that_are_not_read_are_named_with_the_remedy() {
    let refusal = |name: &str| {
        let error = audio::open(test_audio("formats").join(name))
            .err()
            .expect("it is refused");
        sentence(&error, InCommand::Take)
    };
    let layer2 = refusal("note.mp2");
    assert!(
        layer2.contains("note.mp2")
            && layer2.contains("coded as MPEG layer 2")
            && layer2.contains("ffmpeg -i INPUT output.flac"),
        "{layer2}"
    );
    let folder = tempfile::tempdir().unwrap();
    let video = |bytes: &[u8]| {
        let path = folder.path().join("video");
        std::fs::write(&path, bytes).unwrap();
        audio::open(&path).err().expect("it is refused").to_string()
    };
    let mut packets = [[0_u8; 188]; 4];
    packets.iter_mut().for_each(|packet| packet[0] = 0x47);
    let stream = video(&packets.concat());
    assert!(stream.contains("MPEG transport stream"), "{stream}");
    let avi = video(&[&b"RIFF\0\0\0\0AVI LIST"[..], &[0; 200]].concat());
    assert!(avi.contains("AVI"), "{avi}");
}

#[test]
fn a_stream_gives_the_same_sound_as_the_file() {
    for name in ["note.flac", "note.m4a", "note-alaw.wav"] {
        let file = std::fs::File::open(test_audio("formats").join(name)).unwrap();
        let mut source = audio::open_stream("standard input", Unseekable(file)).unwrap();
        assert_eq!(read_all(&mut source), heard(name), "{name}");
    }
}

#[test]
fn the_same_samples_give_the_same_document_in_any_format_alone_or_among_others() {
    let desk = Desk::new();
    let flac = test_audio("borrowed-dominants.flac");
    let samples = support::samples_of("borrowed-dominants.flac");
    let wave = support::stereo_wav(&samples, desk.path("same.wav"));
    let told = |recordings: &[&std::path::Path], piped: bool| -> Vec<serde_json::Value> {
        let mut command = desk.command(["take", "--write", "jsonl"]);
        let answer = if piped {
            let piped = command.arg("/dev/stdin").stdin(Stdio::piped());
            let piped = piped.stdout(Stdio::piped()).stderr(Stdio::piped());
            let mut child = piped.spawn().unwrap();
            let mut pipe = child.stdin.take().unwrap();
            std::io::copy(&mut std::fs::File::open(recordings[0]).unwrap(), &mut pipe).unwrap();
            drop(pipe);
            child.wait_with_output()
        } else {
            command.args(recordings).output()
        };
        let answer = Answer::of(answer.unwrap());
        assert_eq!(answer.code, 0, "{}", answer.err);
        let read = |line: &str| {
            let mut document: serde_json::Value = serde_json::from_str(line).unwrap();
            document["file"].take();
            document["provenance"]["sha256"].take();
            document
        };
        answer.out.lines().map(read).collect()
    };
    let alone = told(&[&wave], false).remove(0);
    let chords = alone["chords"].as_array();
    assert!(chords.is_some_and(|chords| chords.len() > 5));
    let others = [
        told(&[&flac, &wave, &flac], false),
        told(&[&wave], true),
        told(&[&flac], true),
    ]
    .concat();
    assert_eq!(others.len(), 5);
    for (at, other) in others.iter().enumerate() {
        assert!(*other == alone, "document {at} differs");
    }
}

#[cfg(feature = "live")]
#[test]
fn what_a_sound_input_delivers_in_blocks_of_any_size_is_the_sound_of_the_same_file() {
    use lidprop::audio::capture::{intake::Intake, ring::ring};
    let folder = tempfile::tempdir().unwrap();
    let mono = reference();
    let stereo: Vec<f32> = mono.iter().flat_map(|&x| [x, x]).collect();
    let path = support::stereo_wav(&mono, folder.path().join("stereo.wav"));
    let mut wave = std::fs::read(&path).unwrap();
    for hertz in [SampleRate::INTERNAL.get(), 44_100, 48_000] {
        wave[24..28].copy_from_slice(&hertz.to_le_bytes());
        std::fs::write(&path, &wave).unwrap();
        let mut source = audio::open(&path).unwrap();
        let file = read_all(&mut source);
        let mut random = fastrand::Rng::with_seed(22);
        for most in [1, 63, 1024] {
            let (mut writer, reader, _) = ring(1 << 16, 2);
            let mut intake = Intake::new(reader, source.info().rate);
            let (mut live, mut block, mut left) = (Vec::new(), Vec::new(), &stereo[..]);
            while !left.is_empty() {
                let (now, later) = left.split_at(left.len().min(2 * random.usize(1..=most)));
                writer.on_block(now);
                left = later;
                if random.bool() || left.is_empty() {
                    intake.read(&mut block);
                    live.extend_from_slice(&block);
                }
            }
            // the end of the file is what the resampler still holds
            assert!(live.len() + 1024 > file.len(), "{hertz} Hz: {}", live.len());
            assert!(
                live[..] == file[..live.len()],
                "{hertz} Hz, blocks of {most}"
            );
        }
    }
}

/// A pipe: reads and cannot seek.
struct Unseekable(std::fs::File);

impl std::io::Read for Unseekable {
    fn read(&mut self, out: &mut [u8]) -> std::io::Result<usize> {
        self.0.read(out)
    }
}

#[test]
fn a_damaged_and_a_cut_recording_give_what_is_left_and_say_so() {
    let folder = tempfile::tempdir().unwrap();
    let whole = std::fs::read(test_audio("formats/note.flac")).unwrap();
    let cut = folder.path().join("cut.flac");
    std::fs::write(&cut, &whole[..whole.len() / 2]).unwrap();
    let mut source = audio::open(&cut).unwrap();
    let samples = read_all(&mut source);
    assert!(samples.len() > reference().len() / 4 && samples.len() < reference().len());
    assert!(
        matches!(source.warnings()[..], [SourceWarning::CutShort { missing }] if missing > 0.2),
        "{:?}",
        source.warnings()
    );
}

#[test]
fn no_broken_file_brings_a_panic() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("broken");
    for name in [
        "note.flac",
        "note.mp3",
        "note.m4a",
        "note.ogg",
        "note-alaw.wav",
        "note-adpcm.wav",
        "note-alac.m4a",
        "note.opus",
        "note-opus.webm",
        "note-opus.mp4",
        "note-aac.mkv",
        "note-pcm.caf",
    ] {
        let whole = std::fs::read(test_audio("formats").join(name)).unwrap();
        let mut seed = 7u32;
        for round in 0..12 {
            let mut broken = whole.clone();
            for _ in 0..=round * round {
                seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                let at = (seed >> 8) as usize % if round % 2 == 0 { broken.len() } else { 400 };
                broken[at] = (seed >> 3) as u8;
            }
            broken.truncate(broken.len() - round * whole.len() / 13);
            std::fs::write(&path, &broken).unwrap();
            if let Ok(mut source) = audio::open(&path) {
                let mut block = Vec::new();
                while let Ok(audio::BlockState::More) = source.next_block(&mut block) {
                    assert!(block.iter().all(|x| x.is_finite()), "{name}");
                }
            }
        }
    }
}

/// Some encoders count the last, shorter block in the smallest block size of the header, against RFC 9639, section 8.2.
#[test]
fn flac_whose_header_counts_the_last_block_is_read_like_any_other() {
    let mut bytes = std::fs::read(test_audio("formats/note.flac")).unwrap();
    assert_eq!(bytes[8..10], bytes[10..12], "the reference states it right");
    bytes[8..10].copy_from_slice(&[0x01, 0xa7]);
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("counted.flac");
    std::fs::write(&path, bytes).unwrap();
    let mut source = audio::open(&path).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(read_all(&mut source), reference());
    assert_eq!(source.warnings(), []);
}
