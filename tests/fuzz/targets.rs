//! The readers of what comes from outside, each as a function of bytes that gives a short account of what came of them.
//!
//! An account that is new shows that the input went a way of its own (see `examples/fuzz.rs`): there is no coverage on a stable compiler that costs nothing,
//! and what a reader says of its input is the next best. Numbers and names are left out of accounts, since every input has its own.

use lidprop::audio::{self, BlockState, SampleSource};
use lidprop::chart::document::Recording;
use lidprop::chart::melody::read_melody;
use lidprop::chart::typed::TypedChart;
use lidprop::harmony::chord::label;
use lidprop::harmony::voicing::typed::Typed;
use lidprop::harmony::{Chord, NoteNames, StatedKey, Style};
use lidprop::listener::{Listener, ListenerOptions};
use lidprop::piano::PianoProfile;
use lidprop::practice::exercise::{Material, Order};
use lidprop::practice::plan::Plan;
use lidprop::publish::musicxml::read::read_tune;
use lidprop::store::logbook::Logbook;
use std::cell::RefCell;
use std::fmt::Display;
use std::io::Cursor;
use std::path::Path;

/// A reader, and where its seeds lie.
pub struct Target {
    pub name: &'static str,
    pub seeds: Seeds,
    /// What its inputs are made of, besides the seeds.
    pub words: &'static [&'static [u8]],
    /// How many first bytes most changes fall into; `None`: all alike.
    pub header: Option<usize>,
    pub read: fn(&[u8]) -> String,
}

/// Where seeds are.
pub enum Seeds {
    /// Recordings of `test-audio/formats`.
    Sounds(&'static [&'static str]),
    /// `tests/fuzz/seeds/NAME`, one to a line.
    Lines(&'static str),
    /// `tests/fuzz/seeds/NAME`, parted by lines of `----`.
    Texts(&'static str),
}

pub const TARGETS: &[Target] = &[
    Target {
        name: "sound",
        seeds: Seeds::Sounds(&[
            "note.flac",
            "note.mp3",
            "note.ogg",
            "note.opus",
            "note.aac",
            "note-opus.webm",
            "note-vorbis.webm",
            "note-aac.mkv",
            "note-mp3.mkv",
            "note-pcm.caf",
            "note-flac.ogg",
        ]),
        words: &[
            b"OggS",
            b"fLaC",
            b"\xff\xf8",
            b"\xff\xfb",
            b"\x1a\x45\xdf\xa3",
            b"caff",
            b"desc",
            b"data",
        ],
        header: Some(600),
        read: sound,
    },
    Target {
        name: "mp4",
        seeds: Seeds::Sounds(&[
            "note.m4a",
            "note-fragmented.m4a",
            "note-delayed.m4a",
            "note-opus.mp4",
        ]),
        words: &[
            b"moov", b"mdat", b"stco", b"co64", b"stsz", b"elst", b"edts", b"mdhd", b"esds",
            b"moof", b"traf",
        ],
        header: None,
        read: sound,
    },
    Target {
        name: "wav",
        seeds: Seeds::Sounds(&[
            "note-alaw.wav",
            "note-mulaw.wav",
            "note-adpcm.wav",
            "../../tests/fuzz/seeds/24-in-32.wav",
        ]),
        words: &[
            b"RIFF",
            b"RF64",
            b"WAVE",
            b"fmt ",
            b"data",
            b"ds64",
            b"LIST",
            b"\xfe\xff",
            b"\x01\0\x02\0",
        ],
        header: Some(64),
        read: sound,
    },
    Target {
        name: "symbols",
        seeds: Seeds::Lines("symbols.txt"),
        words: &[
            b"maj7",
            b"(b9)",
            b"dim",
            b"sus",
            b"add",
            b"omit",
            b"/",
            b"#",
            "♭".as_bytes(),
            "ø".as_bytes(),
            b"no3",
            b"alt",
        ],
        header: None,
        read: symbol,
    },
    Target {
        name: "voicings",
        seeds: Seeds::Lines("voicings.txt"),
        words: &[
            b"C4",
            b"Bb3",
            b" ",
            b"-",
            b"60",
            b",",
            b"127",
            "♯".as_bytes(),
            b"N.C.",
        ],
        header: None,
        read: voicing,
    },
    Target {
        name: "charts",
        seeds: Seeds::Texts("charts.txt"),
        words: &[
            b"|", b"||", b"%", b":", b"/", b"key", b"Dm7", b"\n", b"4/4", b"tempo", b"title",
            b"N.C.",
        ],
        header: None,
        read: chart,
    },
    Target {
        name: "plans",
        seeds: Seeds::Texts("plans.txt"),
        words: &[
            b"[[item]]",
            b"play = ",
            b"\"",
            b"tempo",
            b"days",
            b"goal = 0.9",
            "é".as_bytes(),
            b"\n",
            b"1e400",
            b"inf",
        ],
        header: None,
        read: plan,
    },
    Target {
        name: "logbook",
        seeds: Seeds::Texts("logbook.txt"),
        words: &[
            b"null",
            b"-1",
            b"1e308",
            b"18446744073709551615",
            b",\"",
            b"\\u0000",
            b"[]",
            b"{}",
            b"true",
        ],
        header: None,
        read: logbook,
    },
    Target {
        name: "profiles",
        seeds: Seeds::Texts("profiles.txt"),
        words: &[b"null", b"-1", b"1e308", b"255", b"[]", b"{}", b",\""],
        header: None,
        read: profile,
    },
    Target {
        name: "documents",
        seeds: Seeds::Texts("documents.txt"),
        words: &[b"null", b"-1", b"1e308", b"255", b"[]", b"{}", b",\""],
        header: None,
        read: document,
    },
    Target {
        name: "scores",
        seeds: Seeds::Texts("scores.txt"),
        words: &[
            b"<harmony>",
            b"</measure>",
            b"<duration>",
            b"<divisions>",
            b"&#0;",
            b"<!DOCTYPE",
            b"<a><a><a>",
            b"-1",
            b"4294967296",
        ],
        header: None,
        read: score,
    },
];

impl Target {
    /// `project` is the folder of the project.
    pub fn seeds(&self, project: &Path) -> Vec<Vec<u8>> {
        let text = |name: &str| {
            let path = project.join("tests/fuzz/seeds").join(name);
            std::fs::read_to_string(&path)
                .unwrap_or_else(|error| panic!("{}: {error}", path.display()))
        };
        match self.seeds {
            Seeds::Sounds(names) => {
                let sounds = names
                    .iter()
                    .map(|name| project.join("test-audio/formats").join(name));
                sounds
                    .map(|path| std::fs::read(path).expect("it is part of the project"))
                    .collect()
            }
            Seeds::Lines(name) => text(name)
                .lines()
                .map(|line| line.as_bytes().to_vec())
                .collect(),
            Seeds::Texts(name) => text(name)
                .split("----\n")
                .map(|text| text.as_bytes().to_vec())
                .collect(),
        }
    }
}

/// A sentence without its numbers and names.
fn shape(sentence: impl Display) -> String {
    let sentence = sentence.to_string();
    let mut quoted = false;
    sentence
        .chars()
        .filter(|&c| {
            quoted ^= matches!(c, '\'' | '"');
            !quoted && !c.is_ascii_digit()
        })
        .take(120)
        .collect()
}

fn told<T>(outcome: Result<T, impl Display>, of: impl FnOnce(T) -> String) -> String {
    match outcome {
        Ok(read) => of(read),
        Err(error) => said(error),
    }
}

/// A sentence without what it quotes of the input: lines of it after a bar, and all between the first quotation mark and the last.
fn said(error: impl Display) -> String {
    let sentence = error.to_string();
    let lines = sentence.lines().filter(|line| !line.contains('|'));
    let sentence = lines.collect::<Vec<_>>().join(" ");
    let quote = ['\'', '"', '`'];
    match (sentence.find(quote), sentence.rfind(quote)) {
        (Some(from), Some(to)) => shape(sentence[..from].to_owned() + &sentence[to + 1..]),
        _ => shape(sentence),
    }
}

/// At most so many samples are read of one input: a minute.
const LONGEST: usize = 60 * 22_050;
/// Sound longer than this is not heard, only read: two seconds.
const HEARD: usize = 44_100;

fn sound(bytes: &[u8]) -> String {
    let mut source = match audio::open_stream("sound", Cursor::new(bytes.to_vec())) {
        Ok(source) => source,
        Err(error) => return said(error),
    };
    let (mut block, mut all, mut length) = (Vec::new(), Vec::new(), 0);
    let end = loop {
        match source.next_block(&mut block) {
            Ok(state) => {
                assert!(block.iter().all(|x| x.is_finite()), "a sample is no number");
                length += block.len();
                if all.len() < HEARD {
                    all.extend_from_slice(&block);
                }
                if state == BlockState::Ended || length > LONGEST {
                    break String::new();
                }
            }
            Err(error) => break shape(error),
        }
    };
    // hearing costs more than reading, so it is done where the sound is short and by one input of some
    if length > 0 && length <= HEARD && bytes.len().is_multiple_of(16) {
        let mut events = Vec::new();
        let mut listener = Listener::new(ListenerOptions::default());
        listener.push(&all, &mut events);
        listener.finish(&mut events);
    }
    let warnings: Vec<String> = source.warnings().iter().map(shape).collect();
    let info = source.info();
    format!(
        "{} {} {} {end} {warnings:?}",
        info.container, info.codec, info.channels
    )
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

fn symbol(bytes: &[u8]) -> String {
    let text = text(bytes);
    for names in [NoteNames::English, NoteNames::German, NoteNames::Solfege] {
        // what is read can be written, and read again
        if let Ok(chord) = Chord::read(&text, names) {
            let written = chord.symbol(Style::Ascii);
            let again: Result<Chord, _> = written.parse();
            assert!(
                again.is_ok(),
                "{text:?} is written {written:?}, which cannot be read"
            );
        }
    }
    let _ = text.parse::<StatedKey>();
    let label = told(label::read(&text), |chord| format!("{}", chord.is_some()));
    let chord: Result<Chord, _> = text.parse();
    told(chord, |chord| {
        format!("{} {label}", chord.symbol(Style::Ascii).len())
    })
}

fn voicing(bytes: &[u8]) -> String {
    let text = text(bytes);
    let words: Vec<String> = text.split(' ').map(str::to_owned).collect();
    let material = told(Material::read(&words), |_| "material".to_owned());
    let order = told(text.parse::<Order>(), |_| "order".to_owned());
    let melody = told(read_melody(&text, 4), |notes| {
        format!("{}", notes.len().min(3))
    });
    let typed = told(Typed::read(&words), |typed| {
        format!("{} {}", typed.symbol.is_some(), typed.sounding.notes.len())
    });
    format!("{typed} {material} {order} {melody}")
}

fn chart(bytes: &[u8]) -> String {
    let text = text(bytes);
    told(text.parse::<TypedChart>(), |chart| {
        format!("{:.200}", shape(format!("{chart:?}")))
    })
}

fn plan(bytes: &[u8]) -> String {
    told(Plan::read(&text(bytes), "plan"), |_| "a plan".to_owned())
}

/// A new logbook costs more than all that is taken into it, so one is used for some inputs.
fn logbook(bytes: &[u8]) -> String {
    const INPUTS: u32 = 200;
    thread_local! {
        static BOOK: RefCell<Option<(tempfile::TempDir, Logbook, u32)>> = const { RefCell::new(None) };
    }
    BOOK.with_borrow_mut(|kept| {
        let fresh = || {
            let folder = tempfile::tempdir().expect("a folder for temporary files");
            let book = Logbook::open(&folder.path().join("logbook.sqlite")).expect("a new logbook");
            (folder, book, 0)
        };
        let (folder, mut book, inputs) = kept.take().unwrap_or_else(fresh);
        let account = take_in(&mut book, bytes);
        *kept = Some((folder, book, inputs + 1)).filter(|_| inputs < INPUTS);
        account
    })
}

fn take_in(book: &mut Logbook, bytes: &[u8]) -> String {
    told(book.import(bytes), |new| {
        for player in book.players().expect("it was opened") {
            let overview = book.overview(&player, 20_800);
            let overview = overview.expect("what was taken in can be shown");
            let _ = format!("{overview:?}");
        }
        format!("{new} new")
    })
}

fn profile(bytes: &[u8]) -> String {
    told(PianoProfile::from_json(bytes), |profile| {
        format!("{} keys", profile.keys.len())
    })
}

fn document(bytes: &[u8]) -> String {
    let read: Result<Recording, _> = serde_json::from_slice(bytes);
    told(read, |recording| {
        format!("{} chords", recording.chords.len())
    })
}

fn score(bytes: &[u8]) -> String {
    told(read_tune(bytes), |tune| {
        format!("{:.100}", shape(format!("{tune:?}")))
    })
}
