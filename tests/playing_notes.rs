//! Playing, read from notes: little pieces of our own that a musician would check, and the labelled corpora with their true notes.

use lidprop::harmony::chord::label;
use lidprop::harmony::{Chord, Key, Mode, PitchClass};
use lidprop::playing::{PlayedNote, PlayingRead, Stated, StatedRhythm, read};
use lidprop::units::{MidiNote, Seconds, Share};
use std::path::Path;

/// Notes being written down, in beats.
struct Piece {
    beat: f64,
    /// Where the second eighth falls.
    swing: f64,
    notes: Vec<PlayedNote>,
}

impl Piece {
    fn at(bpm: f64) -> Self {
        Self {
            beat: 60.0 / bpm,
            swing: 0.5,
            notes: Vec::new(),
        }
    }

    fn swung(bpm: f64, swing: f64) -> Self {
        Self {
            swing,
            ..Self::at(bpm)
        }
    }

    fn seconds(&self, beats: f64) -> f64 {
        let (whole, part) = (beats.floor(), beats.fract());
        let part = if (part - 0.5).abs() < 0.01 {
            self.swing
        } else {
            part
        };
        1.0 + (whole + part) * self.beat
    }

    /// Keys struck together at `start` beats for `lasts` beats; hands are some milliseconds apart.
    fn play(&mut self, start: f64, lasts: f64, keys: &[u8], strength: f32) {
        for (i, &key) in keys.iter().enumerate() {
            let uneven = 0.004 * ((key as f64 * 7.3 + start * 3.1).sin() + i as f64 * 0.3);
            let at = self.seconds(start) + uneven;
            self.notes.push(PlayedNote {
                midi: MidiNote::new(key).unwrap(),
                start: Seconds::new(at).unwrap(),
                end: Seconds::new(at + lasts * self.beat).unwrap(),
                strength: Share::clamped(strength),
                confidence: Share::ONE,
            });
        }
    }

    fn read(&self) -> PlayingRead {
        read(&self.sorted(0), &Stated::default())
    }

    fn sorted(&self, up: u8) -> Vec<PlayedNote> {
        let mut notes = self.notes.clone();
        for note in &mut notes {
            note.midi = MidiNote::new(note.midi.get() + up).unwrap();
        }
        notes.sort_by(|a, b| a.start.get().total_cmp(&b.start.get()));
        notes
    }
}

/// The chord at so many beats, in plain ASCII.
fn chord_at(piece: &Piece, reading: &PlayingRead, beats: f64) -> Option<Chord> {
    let time = piece.seconds(beats);
    reading
        .harmony
        .iter()
        .find(|s| s.start.get() <= time && time < s.end.get())
        .and_then(|s| s.chords.first())
        .map(|c| c.chord)
}

/// Root, third, fifth and seventh of the chords in the middle of each beat must be those of the symbols, told by first beat.
#[track_caller]
fn reads_as(piece: &Piece, expected: &[(f64, &str)]) -> PlayingRead {
    let reading = piece.read();
    for &(beats, symbol) in expected {
        let wanted: Chord = symbol.parse().unwrap();
        let got = chord_at(piece, &reading, beats + 0.5);
        let same = got.is_some_and(|got| {
            got.root.class() == wanted.root.class() && own(&got) == own(&wanted)
        });
        assert!(
            same,
            "at beat {beats}: {symbol} was read as {:?}; all: {:?}",
            got.map(|c| c.symbol(lidprop::harmony::Style::Ascii)),
            reading
                .harmony
                .iter()
                .map(|s| (
                    s.start.get(),
                    s.chords
                        .first()
                        .map(|c| c.chord.symbol(lidprop::harmony::Style::Ascii))
                ))
                .collect::<Vec<_>>()
        );
    }
    reading
}

/// Half steps of third, fifth and seventh above the root.
fn own(chord: &Chord) -> u16 {
    chord
        .degrees
        .iter()
        .filter(|d| d.number() <= 7)
        .fold(0, |bits, d| bits | 1 << d.half_steps())
}

#[track_caller]
fn beats_a_minute(reading: &PlayingRead, bpm: f64) {
    let steps: Vec<f64> = reading
        .beats
        .beats
        .windows(2)
        .map(|p| p[1].time - p[0].time)
        .collect();
    let mean = steps.iter().sum::<f64>() / steps.len() as f64;
    assert!(
        (60.0 / mean / bpm - 1.0).abs() < 0.03,
        "{} beats per minute were read as {}",
        bpm,
        60.0 / mean
    );
}

/// Sixteenths through five keys, twice a bar, held by the pedal.
fn prelude() -> Piece {
    let mut piece = Piece::at(66.0);
    let bars: [[u8; 5]; 8] = [
        [48, 55, 64, 67, 72],
        [48, 57, 62, 65, 74],
        [47, 55, 62, 65, 74],
        [48, 55, 60, 64, 76],
        [45, 52, 60, 64, 72],
        [38, 50, 57, 60, 66],
        [43, 50, 59, 62, 67],
        [48, 52, 60, 64, 67],
    ];
    for (bar, keys) in bars.iter().enumerate() {
        for half in 0..2 {
            let from = (bar * 4 + half * 2) as f64;
            for (i, which) in [0, 1, 2, 3, 4, 2, 3, 4].into_iter().enumerate() {
                let at = from + i as f64 * 0.25;
                piece.play(at, from + 2.0 - at, &[keys[which]], 0.5);
            }
        }
    }
    piece
}

#[test]
fn a_prelude_in_broken_chords_has_a_chord_a_bar() {
    let piece = prelude();
    reads_as(
        &piece,
        &[
            (0.0, "C"),
            (4.0, "Dm7"),
            (8.0, "G7"),
            (12.0, "C"),
            (16.0, "Am"),
            (20.0, "D7"),
            (24.0, "G"),
            (28.0, "C"),
        ],
    );
}

/// Bass on one and three, chord on two and four, a swung tune above.
fn stride() -> Piece {
    let mut piece = Piece::swung(132.0, 0.64);
    let bars: [(u8, [u8; 4]); 8] = [
        (41, [53, 57, 60, 64]),
        (38, [54, 57, 60, 64]),
        (43, [55, 58, 62, 65]),
        (36, [52, 55, 58, 62]),
        (41, [53, 57, 60, 63]),
        (46, [53, 57, 58, 62]),
        (36, [52, 55, 58, 64]),
        (41, [53, 57, 60, 62]),
    ];
    let tune = [77, 76, 74, 72, 74, 76, 77, 79];
    for (bar, (bass, chord)) in bars.iter().enumerate() {
        let from = (bar * 4) as f64;
        piece.play(from, 0.6, &[*bass], 0.7);
        piece.play(from + 2.0, 0.6, &[bass + 7], 0.65);
        for weak in [1.0, 3.0] {
            piece.play(from + weak, 0.4, chord, 0.5);
        }
        let top = chord[bar % 4] + 24;
        piece.play(from, 0.9, &[top.max(72)], 0.8);
        piece.play(from + 1.0, 0.5, &[tune[bar]], 0.8);
        piece.play(from + 1.5, 0.4, &[tune[(bar + 1) % 8]], 0.8);
        piece.play(from + 2.0, 0.5, &[chord[(bar + 1) % 4] + 24], 0.8);
        piece.play(from + 2.5, 0.4, &[tune[(bar + 3) % 8]], 0.8);
        piece.play(from + 3.0, 0.9, &[chord[(bar + 2) % 4] + 12], 0.8);
    }
    piece
}

#[test]
fn a_striding_left_hand_is_one_chord_over_its_bar_and_swing_is_no_tempo() {
    let reading = reads_as(
        &stride(),
        &[
            (0.0, "Fmaj7"),
            (4.0, "D7"),
            (8.0, "Gm7"),
            (12.0, "C7"),
            (16.0, "F7"),
            (20.0, "Bbmaj7"),
            (24.0, "C7"),
        ],
    );
    beats_a_minute(&reading, 132.0);
    assert_eq!(reading.bars.meter, 4);
    assert!(reading.beats.swings(), "{:?}", reading.beats.second_eighth);
    let downbeats: Vec<f64> = reading
        .bars
        .downbeats
        .iter()
        .map(|&b| reading.beats.beats[b].time)
        .collect();
    let piece = stride();
    for bar in 1..7 {
        let wanted = piece.seconds((bar * 4) as f64);
        assert!(
            downbeats.iter().any(|d| (d - wanted).abs() < 0.07),
            "bar {bar} begins at {wanted}: {downbeats:?}"
        );
    }
    assert_eq!(
        reading.key.map(|k| (k.0.tonic.class(), k.0.mode)),
        Some((PitchClass::new(5), Mode::Major))
    );
}

/// A walking bass under rootless voicings on syncopated places.
fn comping() -> Piece {
    let mut piece = Piece::swung(144.0, 0.65);
    let bars: [([u8; 4], [u8; 4]); 6] = [
        ([38, 41, 45, 44], [53, 57, 60, 64]),
        ([43, 47, 50, 49], [53, 57, 59, 64]),
        ([48, 47, 45, 43], [52, 55, 59, 62]),
        ([45, 49, 52, 39], [55, 58, 61, 66]),
        ([38, 41, 45, 42], [53, 57, 60, 64]),
        ([43, 41, 38, 47], [53, 57, 59, 64]),
    ];
    for (bar, (walk, voicing)) in bars.iter().chain([&bars[2], &bars[2]]).enumerate() {
        let from = (bar * 4) as f64;
        for (beat, &key) in walk.iter().enumerate() {
            piece.play(from + beat as f64, 0.95, &[key], 0.6);
        }
        for hit in if bar % 2 == 0 { [0.0, 1.5] } else { [0.5, 3.0] } {
            piece.play(from + hit, 0.4, voicing, 0.5);
        }
        for (i, step) in [0_u8, 2, 3, 2].iter().enumerate() {
            piece.play(
                from + 2.0 + i as f64 * 0.5,
                0.45,
                &[voicing[i] + 12 + step % 2],
                0.8,
            );
        }
    }
    piece
}

#[test]
fn rootless_comping_over_a_walking_bass_takes_its_root_from_the_bass() {
    let reading = reads_as(
        &comping(),
        &[
            (0.0, "Dm7"),
            (4.0, "G7"),
            (8.0, "Cmaj7"),
            (16.0, "Dm7"),
            (20.0, "G7"),
            (24.0, "Cmaj7"),
        ],
    );
    beats_a_minute(&reading, 144.0);
}

#[test]
fn a_diminished_major_seventh_is_named_and_stands_for_the_dominant_that_resolves() {
    let mut piece = Piece::at(72.0);
    // Dm7, then D dim(maj7) for E7(13,b9), to Am6; twice, and F dim(maj7) for G13(b9) to C
    let bars: [(u8, [u8; 4]); 6] = [
        (50, [57, 60, 65, 72]),
        (50, [56, 61, 65, 73]),
        (45, [60, 64, 66, 76]),
        (41, [57, 60, 64, 72]),
        (41, [56, 59, 64, 71]),
        (36, [55, 59, 64, 74]),
    ];
    for (bar, (bass, keys)) in bars.iter().enumerate() {
        let from = (bar * 4) as f64;
        piece.play(from, 4.0, &[*bass], 0.6);
        for (i, &key) in keys.iter().chain(keys).enumerate() {
            piece.play(from + 0.5 * i as f64, 4.0 - 0.5 * i as f64, &[key], 0.5);
        }
    }
    let reading = reads_as(
        &piece,
        &[(4.0, "Ddim(maj7)"), (8.0, "Am6"), (16.0, "Fdim(maj7)")],
    );
    let time = piece.seconds(5.0);
    let stretch = reading
        .harmony
        .iter()
        .find(|s| s.start.get() <= time && time < s.end.get())
        .unwrap();
    let stands_for = stretch.stands_for.expect("it resolves as a dominant");
    assert_eq!(stands_for.symbol(lidprop::harmony::Style::Ascii), "E13b9");
}

#[test]
fn locked_hands_are_read_with_the_bass_below() {
    let mut piece = Piece::swung(120.0, 0.62);
    let chords: [(u8, [u8; 4]); 4] = [
        (39, [62, 67, 70, 74]),
        (36, [64, 67, 70, 76]),
        (41, [63, 65, 68, 75]),
        (34, [62, 65, 68, 74]),
    ];
    for bar in 0..8 {
        let (bass, keys) = chords[bar % 4];
        let from = (bar * 4) as f64;
        piece.play(from, 3.8, &[bass], 0.6);
        for at in [0.0, 1.0, 1.5, 3.0] {
            let turn = (at * 2.0) as usize % 4;
            let mut voiced: Vec<u8> = keys.to_vec();
            voiced.rotate_left(turn);
            let top = *voiced.last().unwrap();
            for key in &mut voiced {
                while *key > top {
                    *key -= 12;
                }
            }
            piece.play(from + at, 0.6, &voiced, 0.7);
        }
    }
    reads_as(
        &piece,
        &[(0.0, "Ebmaj7"), (4.0, "C7"), (8.0, "Fm7"), (12.0, "Bb7")],
    );
}

#[test]
fn a_waltz_has_three_beats_in_a_bar() {
    let mut piece = Piece::at(126.0);
    let bars: [(u8, [u8; 3]); 8] = [
        (43, [59, 62, 67]),
        (42, [57, 62, 66]),
        (40, [59, 64, 67]),
        (47, [59, 62, 66]),
        (48, [60, 64, 67]),
        (43, [59, 62, 67]),
        (38, [57, 62, 66]),
        (43, [59, 62, 67]),
    ];
    for round in 0..2 {
        for (bar, (bass, chord)) in bars.iter().enumerate() {
            let from = ((round * 8 + bar) * 3) as f64;
            piece.play(from, 0.9, &[*bass], 0.7);
            piece.play(from + 1.0, 0.5, chord, 0.5);
            piece.play(from + 2.0, 0.5, chord, 0.5);
            piece.play(from, 1.9, &[chord[2] + 12], 0.8);
            piece.play(from + 2.0, 0.9, &[chord[1] + 12], 0.8);
        }
    }
    let reading = reads_as(&piece, &[(0.0, "G"), (6.0, "Em"), (12.0, "C"), (18.0, "D")]);
    beats_a_minute(&reading, 126.0);
    assert_eq!(reading.bars.meter, 3);
}

#[test]
fn over_a_pedal_point_the_chords_change_above_the_bass() {
    let mut piece = Piece::at(80.0);
    let chords: [[u8; 3]; 4] = [[60, 64, 67], [60, 65, 69], [59, 62, 67], [60, 64, 67]];
    for bar in 0..8 {
        let from = (bar * 4) as f64;
        for half in [0.0, 2.0] {
            piece.play(from + half, 1.9, &[36], 0.6);
            piece.play(from + half + 0.5, 1.4, &chords[bar % 4], 0.5);
        }
    }
    let reading = piece.read();
    for (bar, root) in [(0, 0), (1, 5), (2, 7), (3, 0), (5, 5), (6, 7)] {
        let chord = chord_at(&piece, &reading, bar as f64 * 4.0 + 1.0).unwrap();
        assert_eq!(chord.root.class(), PitchClass::new(root), "bar {bar}");
        assert_eq!(chord.lowest().class(), PitchClass::new(0), "bar {bar}");
    }
}

/// Seconds of the reading in which a chord is claimed.
fn claimed(reading: &PlayingRead) -> f64 {
    reading
        .harmony
        .iter()
        .filter(|s| !s.chords.is_empty())
        .map(|s| s.end.get() - s.start.get())
        .sum()
}

#[test]
fn scales_in_one_hand_and_in_octaves_are_no_chord() {
    let scale = [
        60_u8, 62, 64, 65, 67, 69, 71, 72, 74, 76, 77, 79, 77, 76, 74, 72, 71, 69, 67, 65, 64, 62,
    ];
    for octaves in [false, true] {
        let mut piece = Piece::at(100.0);
        for (i, &key) in scale.iter().cycle().take(66).enumerate() {
            let keys = if octaves {
                vec![key, key - 12]
            } else {
                vec![key]
            };
            piece.play(i as f64 * 0.5, 0.48, &keys, 0.6);
        }
        let reading = piece.read();
        let whole = 33.0 * piece.beat;
        assert!(
            claimed(&reading) < 0.15 * whole,
            "octaves: {octaves}: a chord is claimed for {:.1} of {whole:.1} s",
            claimed(&reading)
        );
    }
}

#[test]
fn staccato_chords_are_kept_through_their_silence() {
    let mut piece = Piece::at(96.0);
    let chords: [[u8; 4]; 4] = [
        [45, 60, 64, 69],
        [50, 57, 62, 65],
        [40, 56, 62, 64],
        [45, 57, 60, 64],
    ];
    for bar in 0..8 {
        for beat in 0..4 {
            piece.play((bar * 4 + beat) as f64, 0.15, &chords[bar % 4], 0.7);
        }
    }
    let reading = reads_as(
        &piece,
        &[(0.0, "Am"), (4.0, "Dm"), (8.0, "E7"), (12.0, "Am")],
    );
    assert!(
        claimed(&reading) > 31.0 * piece.beat,
        "{}",
        claimed(&reading)
    );
}

#[test]
fn every_key_reads_the_same() {
    let piece = stride();
    let home = read(&piece.sorted(0), &Stated::default());
    for up in 1..12_u8 {
        let moved = read(&piece.sorted(up), &Stated::default());
        let roots = |r: &PlayingRead, down: u8| -> Vec<Option<PitchClass>> {
            r.harmony
                .iter()
                .map(|s| {
                    s.chords
                        .first()
                        .map(|c| c.chord.root.class().up(-i32::from(down)))
                })
                .collect()
        };
        assert_eq!(roots(&moved, up), roots(&home, 0), "{up} half steps up");
        assert_eq!(moved.beats.beats.len(), home.beats.beats.len());
    }
}

#[test]
fn the_stated_tempo_meter_and_pickup_are_kept() {
    let piece = stride();
    let stated = Stated {
        rhythm: StatedRhythm {
            bpm: Some(66.0),
            meter: Some(2),
            pickup: Some(1),
        },
        ..Stated::default()
    };
    let reading = read(&piece.sorted(0), &stated);
    beats_a_minute(&reading, 66.0);
    assert_eq!(reading.bars.meter, 2);
    assert_eq!(reading.bars.downbeats[0], 1);
}

#[test]
fn nothing_played_is_nothing_read() {
    let reading = read(&[], &Stated::default());
    assert!(reading.harmony.is_empty() && reading.beats.beats.is_empty() && reading.key.is_none());
}

#[test]
fn the_top_voice_is_told_apart_from_the_chords() {
    let piece = stride();
    let notes = piece.sorted(0);
    let reading = piece.read();
    let melody: Vec<u8> = reading
        .melody
        .iter()
        .map(|&i| notes[i].midi.get())
        .collect();
    assert!(
        melody.iter().filter(|&&m| m >= 70).count() > 30,
        "{melody:?}"
    );
    assert!(melody.iter().all(|&m| m > 50), "{melody:?}");
}

// ---- the labelled corpora with their true notes ----

/// 1 for the key, one half for its relative.
fn same_key(key: Key, tonic: PitchClass, mode: Mode) -> f64 {
    let relative = if mode == Mode::Major { 9 } else { 3 };
    match (key.mode == mode, key.tonic.class().above(tonic)) {
        (true, 0) => 1.0,
        (false, up) if up == relative => 0.5,
        _ => 0.0,
    }
}

struct Figures {
    root: f64,
    thirds: f64,
    tetrads: f64,
    beats: f64,
    bars: f64,
    key: f64,
}

/// Root, and the half steps up to the seventh with the bass, as published chord scoring compares them (Harte, 2010; Raffel et al., ISMIR 2014).
fn encoded(chord: &Chord) -> (i32, u16) {
    let root = chord.root.class();
    let bass = chord.bass.map_or(0, |b| 1 << b.class().above(root));
    (i32::from(root.get()), own(&sounding(chord)) | bass)
}

fn sounding(chord: &Chord) -> Chord {
    Chord {
        degrees: chord.sounding(),
        ..*chord
    }
}

/// The share of beats met within 70 ms, both ways; the first five seconds do not count (Davies et al., 2009).
fn f_measure(truth: &[f64], found: &[f64]) -> f64 {
    let settled =
        |list: &[f64]| -> Vec<f64> { list.iter().copied().filter(|&t| t >= 5.0).collect() };
    let (truth, found) = (settled(truth), settled(found));
    let (mut met, mut next) = (0, 0);
    for t in &truth {
        while next < found.len() && found[next] < t - 0.07 {
            next += 1;
        }
        if next < found.len() && found[next] <= t + 0.07 {
            met += 1;
            next += 1;
        }
    }
    2.0 * f64::from(met) / (truth.len() + found.len()).max(1) as f64
}

fn figures(corpus: &str) -> Option<Figures> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../shared")
        .join(corpus)
        .join("truth.json");
    let Ok(text) = std::fs::read_to_string(&path) else {
        eprintln!(
            "SKIPPED: {} is not there; the floors were not checked",
            path.display()
        );
        return None;
    };
    let truth: serde_json::Value = serde_json::from_str(&text).unwrap();
    let clips = truth["clips"].as_array().unwrap();
    let mut sums = Figures {
        root: 0.0,
        thirds: 0.0,
        tetrads: 0.0,
        beats: 0.0,
        bars: 0.0,
        key: 0.0,
    };
    for clip in clips {
        let mut notes: Vec<PlayedNote> = clip["notes"]
            .as_array()
            .unwrap()
            .iter()
            .map(|n| PlayedNote {
                midi: MidiNote::new(n["midi"].as_u64().unwrap() as u8).unwrap(),
                start: Seconds::new(n["onset"].as_f64().unwrap()).unwrap(),
                end: Seconds::new(n["offset"].as_f64().unwrap()).unwrap(),
                strength: Share::clamped(n["velocity"].as_f64().unwrap() as f32 / 127.0),
                confidence: Share::ONE,
            })
            .collect();
        notes.sort_by(|a, b| a.start.get().total_cmp(&b.start.get()));
        let reading = read(&notes, &Stated::default());
        let labels: Vec<(f64, f64, (i32, u16))> = clip["chords"]
            .as_array()
            .unwrap()
            .iter()
            .map(|c| {
                let chord = label::read(c["label"].as_str().unwrap()).unwrap().unwrap();
                (
                    c["start"].as_f64().unwrap(),
                    c["end"].as_f64().unwrap(),
                    encoded(&chord),
                )
            })
            .collect();
        let (mut root, mut thirds, mut tetrads, mut all) = (0.0, 0.0, 0.0, 0.0);
        let mut time = 0.01;
        while time < labels.last().unwrap().1 {
            all += 1.0;
            let wanted = labels
                .iter()
                .find(|l| l.0 <= time && time < l.1)
                .map(|l| l.2);
            let got = reading
                .harmony
                .iter()
                .find(|s| s.start.get() <= time && time < s.end.get())
                .and_then(|s| s.chords.first())
                .map(|c| encoded(&c.chord));
            if wanted.map(|w| w.0) == got.map(|g| g.0) {
                root += 1.0;
                thirds += f64::from(wanted.map(|w| w.1 & 8) == got.map(|g| g.1 & 8));
                tetrads += f64::from(wanted == got);
            }
            time += 0.02;
        }
        sums.root += root / all;
        sums.thirds += thirds / all;
        sums.tetrads += tetrads / all;
        let times = |name: &str| -> Vec<f64> {
            clip[name]
                .as_array()
                .unwrap()
                .iter()
                .map(|t| t.as_f64().unwrap())
                .collect()
        };
        let found: Vec<f64> = reading.beats.beats.iter().map(|b| b.time).collect();
        sums.beats += f_measure(&times("beats"), &found);
        let bars: Vec<f64> = reading.bars.downbeats.iter().map(|&d| found[d]).collect();
        sums.bars += f_measure(&times("downbeats"), &bars);
        let (tonic, mode) = clip["key"].as_str().unwrap().split_once(':').unwrap();
        let wanted: lidprop::harmony::Spelled = tonic.parse().unwrap();
        let mode = if mode == "min" {
            Mode::Minor
        } else {
            Mode::Major
        };
        sums.key += reading
            .key
            .map_or(0.0, |(key, _)| same_key(key, wanted.class(), mode));
    }
    let n = clips.len() as f64;
    let means = Figures {
        root: sums.root / n,
        thirds: sums.thirds / n,
        tetrads: sums.tetrads / n,
        beats: sums.beats / n,
        bars: sums.bars / n,
        key: sums.key / n,
    };
    println!(
        "{corpus}, true notes: root {:.3} thirds {:.3} tetrads {:.3} beats {:.3} bars {:.3} key {:.3}",
        means.root, means.thirds, means.tetrads, means.beats, means.bars, means.key
    );
    Some(means)
}

#[test]
fn arrangements_given_their_true_notes_reach_the_floors() {
    if let Some(f) = figures("corpus_played") {
        assert!(
            f.root >= 0.90 && f.thirds >= 0.86,
            "root {} thirds {}",
            f.root,
            f.thirds
        );
        assert!(f.beats >= 0.85, "beats {}", f.beats);
        assert!(f.bars >= 0.65, "bars {}", f.bars);
        assert!(f.key >= 0.85, "key {}", f.key);
    }
}

#[test]
fn jazz_given_its_true_notes_reaches_the_floors() {
    if let Some(f) = figures("corpus_jazz") {
        assert!(
            f.root >= 0.85 && f.thirds >= 0.82 && f.tetrads >= 0.72,
            "root {} thirds {} tetrads {}",
            f.root,
            f.thirds,
            f.tetrads
        );
        assert!(f.beats >= 0.85, "beats {}", f.beats);
        assert!(f.bars >= 0.65, "bars {}", f.bars);
        assert!(f.key >= 0.85, "key {}", f.key);
    }
}
