//! The takes: one evening of an invented class, "Left Hand, Right Hand", in a back room with an upright and three
//! visits to grands elsewhere. Every part was written for this file.
//!
//! Input: the tables below. Output: performances. Units: beats in tables, seconds in performances.
//! Method: labels name exactly the pitch classes of the voicing beside them (`*5` is a fifth left out); every label
//! of the same pitch classes that a musician would write stands beside the first one.

use crate::error::RenderError;
use crate::microphone::Microphone;
use crate::player::{Attempt, Performance, PlayedChord, Player, Touch, keys, ten_thousandths};
use serde::Serialize;
use std::collections::BTreeSet;

/// What a take can be scored for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Kind {
    /// Chords after one another, with or without a melody.
    Tune,
    /// One chord type through all keys.
    Drill,
    /// No piano at all.
    None,
}

/// One recording to be made.
pub struct Take {
    /// File name; its ending says the format.
    pub file: &'static str,
    /// What it is, for people.
    pub title: &'static str,
    /// What it can be scored for.
    pub kind: Kind,
    /// Folder of the piano; `None` where none plays.
    pub piano: Option<&'static str>,
    /// How it was recorded, in a word.
    pub condition: &'static str,
    /// Of all that is left to chance.
    pub seed: u64,
    /// The key it is in, if it is in one.
    pub key: Option<&'static str>,
    /// Beats a minute, if it is played in time.
    pub bpm: Option<f64>,
    /// Frequency of A4 in hertz.
    pub a4: f64,
    /// Length of the recording.
    pub seconds: f64,
    /// What was played.
    pub performance: Performance,
    /// What recorded it.
    pub microphone: Microphone,
}

/// A written chord.
struct Written {
    beats: f64,
    labels: &'static [&'static str],
    voicing: &'static str,
    /// Notes above it and how many beats each lasts.
    melody: &'static [(&'static str, f64)],
}

const fn chord(beats: f64, labels: &'static [&'static str], voicing: &'static str) -> Written {
    Written {
        beats,
        labels,
        voicing,
        melody: &[],
    }
}

impl Written {
    const fn under(mut self, melody: &'static [(&'static str, f64)]) -> Self {
        self.melody = melody;
        self
    }
}

/// All takes, in the order of the evening.
///
/// # Errors
/// If a table holds a note name that is none.
pub fn all() -> Result<Vec<Take>, RenderError> {
    Ok(vec![
        held_chords()?,
        borrowed_dominants()?,
        twelve_keys()?,
        phone_memo()?,
        rolled_ballad()?,
        before_class(),
    ])
}

/// Silence before the first note of a take.
const LEAD_IN: f64 = 0.5;
/// Sound kept after the last note was let go.
const LEAD_OUT: f64 = 1.2;

// ---- Held chords: each is struck, held and let go before the next ----

const HELD: &[Written] = &[
    chord(1.0, &["Bb:maj9", "D:min7/b6"], "Bb2 A3 C4 D4 F4"),
    chord(1.0, &["G:min7", "Bb:maj6/6"], "G2 F3 Bb3 D4"),
    chord(1.0, &["C:9"], "C3 E3 Bb3 D4 G4"),
    chord(1.0, &["C:7(b9,13,*5)"], "C2 E3 Bb3 Db4 A4"),
    chord(1.0, &["F:maj7(9,*5)"], "F2 A3 E4 G4"),
    chord(1.0, &["B:hdim7", "D:min6/6"], "B2 A3 D4 F4"),
    chord(1.0, &["E:7(b9)", "G#:dim7/b6"], "E2 G#3 D4 F4 B4"),
    chord(1.0, &["A:minmaj7"], "A2 G#3 C4 E4"),
    chord(1.0, &["Ab:dim(7)"], "Ab3 B3 D4 G4"),
    chord(1.0, &["D:sus4(b7)", "D:min7(*b3,4)"], "D3 A3 C4 G4"),
    chord(1.0, &["F#:aug", "Bb:aug", "D:aug"], "F#3 A#3 D4"),
    chord(1.0, &["Bb:maj6(9)", "G:min7(11)/b3"], "Bb2 G3 C4 D4 F4"),
];

fn held_chords() -> Result<Take, RenderError> {
    const SEED: u64 = 11;
    const HOLD: f64 = 2.3;
    let mut player = Player::new(SEED);
    let mut now = LEAD_IN;
    for written in HELD {
        let voicing = keys(written.voicing)?;
        player.strike(
            &voicing,
            now,
            now + HOLD,
            Touch {
                velocity: 64,
                roll: 0.0,
            },
        );
        player
            .performance
            .chords
            .push(played(written, voicing, now, now + HOLD));
        now += HOLD + player.wait(0.25, 0.45);
    }
    Ok(Take {
        file: "held-chords.flac",
        title: "Held chords for guessing, close to a grand",
        kind: Kind::Tune,
        piano: Some("grand-steinway"),
        condition: "clean",
        seed: SEED,
        key: None,
        bpm: None,
        a4: 440.0,
        seconds: ten_thousandths(now + LEAD_OUT),
        performance: player.performance,
        microphone: Microphone::CLOSE,
    })
}

// ---- Diminished major sevenths in the place of dominants ----
// X°(maj7) is a rootless 13(b9) of the root a whole step above X and a rootless 7(#9) of the root a major third below X.

const BORROWED: &[Written] = &[
    chord(4.0, &["F:maj7"], "F2 C3 E3 A3").under(&[("C5", 1.5), ("A4", 0.5), ("G4", 2.0)]),
    // For A7(#9): its third in the bass climbs to D.
    chord(4.0, &["C#:dim(7)"], "C#3 G3 C4 E4").under(&[("G4", 2.0), ("Bb4", 1.0), ("G4", 1.0)]),
    chord(4.0, &["D:min7", "F:maj6/6"], "D3 A3 C4 F4").under(&[("A4", 3.0), ("C5", 1.0)]),
    // For D13(b9): its seventh in the bass falls to B flat, over which G minor stands.
    chord(4.0, &["C:dim(7)"], "C3 Gb3 B3 Eb4").under(&[("B4", 2.0), ("C5", 1.0), ("B4", 1.0)]),
    chord(4.0, &["G:min7/b3", "Bb:maj6"], "Bb2 F3 G3 D4").under(&[("Bb4", 2.5), ("D5", 1.5)]),
    // For C13(b9).
    chord(4.0, &["Bb:dim(7)"], "Bb2 E3 A3 Db4").under(&[("A4", 2.0), ("G4", 1.0), ("E4", 1.0)]),
    // The tonic's own diminished major seventh keeps F major waiting: A flat rises to A, B rises to C.
    chord(2.0, &["F:dim(7)"], "F2 E3 Ab3 B3").under(&[("F4", 1.0), ("E4", 1.0)]),
    chord(2.0, &["F:maj7"], "F2 E3 A3 C4").under(&[("E4", 2.0)]),
    // For F7(#9): on the way to B flat.
    chord(4.0, &["A:dim(7)"], "A2 Eb3 Ab3 C4").under(&[("C5", 2.0), ("Eb5", 1.0), ("C5", 1.0)]),
    chord(4.0, &["Bb:maj7", "D:min(b6)/b6"], "Bb2 F3 A3 D4").under(&[("D5", 3.0), ("C5", 1.0)]),
    chord(4.0, &["Bb:min6", "G:hdim7/b3"], "Bb2 F3 G3 Db4").under(&[("Db5", 2.0), ("Bb4", 2.0)]),
    chord(4.0, &["F:maj7/3"], "A2 E3 F3 C4").under(&[("A4", 1.5), ("C5", 1.5), ("A4", 1.0)]),
    chord(
        2.0,
        &["Ab:dim7", "B:dim7/6", "D:dim7/b5", "F:dim7/b3"],
        "Ab2 F3 B3 D4",
    )
    .under(&[("B4", 2.0)]),
    chord(2.0, &["G:min7", "Bb:maj6/6"], "G2 F3 Bb3 D4").under(&[("Bb4", 1.0), ("A4", 1.0)]),
    // For C7(#9), and home.
    chord(4.0, &["E:dim(7)"], "E2 G3 Bb3 Eb4").under(&[("G4", 3.0), ("Bb4", 1.0)]),
    chord(4.0, &["F:maj6", "D:min7/b3"], "F2 C3 A3 D4").under(&[("A4", 4.0)]),
];

fn borrowed_dominants() -> Result<Take, RenderError> {
    const SEED: u64 = 12;
    const BPM: f64 = 104.0;
    let (performance, end) = in_time(
        BORROWED,
        BPM,
        Touch {
            velocity: 56,
            roll: 0.0,
        },
        SEED,
    )?;
    Ok(Take {
        file: "borrowed-dominants.flac",
        title: "Diminished major sevenths for dominants, with a melody, a grand in a living room",
        kind: Kind::Tune,
        piano: Some("grand-yamaha-c5"),
        condition: "room",
        seed: SEED,
        key: Some("F"),
        bpm: Some(BPM),
        a4: 440.0,
        seconds: ten_thousandths(end + LEAD_OUT),
        performance,
        microphone: Microphone {
            room: Some("sim_room1_near.wav"),
            ..Microphone::CLOSE
        },
    })
}

// ---- One chord type through twelve keys ----

/// The root of a drilled chord, its label, what the fingers made of its four notes, and how long the player hesitated.
struct Asked {
    root: &'static str,
    label: &'static str,
    /// Half steps by which each note (root, diminished fifth, major seventh, third above) was missed.
    missed_by: [i8; 4],
    hesitation: f64,
}

const fn asked(
    root: &'static str,
    label: &'static str,
    missed_by: [i8; 4],
    hesitation: f64,
) -> Asked {
    Asked {
        root,
        label,
        missed_by,
        hesitation,
    }
}

const FALLING_FIFTHS: &[Asked] = &[
    asked("C3", "C:dim(7)", [0, 0, 0, 0], 0.5),
    asked("F3", "F:dim(7)", [0, 0, 0, 0], 0.4),
    asked("Bb2", "Bb:dim(7)", [0, 0, 0, 0], 0.5),
    // The third slips up to major.
    asked("Eb3", "Eb:dim(7)", [0, 0, 0, 1], 0.9),
    asked("Ab2", "Ab:dim(7)", [0, 0, 0, 0], 0.8),
    asked("Db3", "Db:dim(7)", [0, 0, 0, 0], 0.6),
    asked("Gb2", "Gb:dim(7)", [0, 0, 0, 0], 1.4),
    // The seventh slips down: half-diminished.
    asked("B2", "B:dim(7)", [0, 0, -1, 0], 1.1),
    asked("E3", "E:dim(7)", [0, 0, 0, 0], 0.7),
    // The fifth slips up to perfect.
    asked("A2", "A:dim(7)", [0, 1, 0, 0], 0.5),
    asked("D3", "D:dim(7)", [0, 0, 0, 0], 0.4),
    asked("G2", "G:dim(7)", [0, 0, 0, 0], 0.4),
];

fn twelve_keys() -> Result<Take, RenderError> {
    const SEED: u64 = 13;
    // Root, diminished fifth, major seventh, and the third an octave up.
    const VOICING: [u8; 4] = [0, 6, 11, 15];
    let mut player = Player::new(SEED);
    let mut now = LEAD_IN;
    for asked in FALLING_FIFTHS {
        let root = keys(asked.root)?[0];
        let target: Vec<u8> = VOICING.map(|interval| root + interval).to_vec();
        let struck: Vec<u8> = target
            .iter()
            .zip(asked.missed_by)
            .map(|(key, by)| key.saturating_add_signed(by))
            .collect();
        now = ten_thousandths(now + asked.hesitation);
        let end = ten_thousandths(now + player.wait(1.5, 1.9));
        player.strike(
            &struck,
            now,
            end,
            Touch {
                velocity: 70,
                roll: 0.0,
            },
        );
        let (wanted, heard) = (pitch_classes(&target), pitch_classes(&struck));
        if wanted == heard {
            let midi = struck.clone();
            let accepted = vec![asked.label];
            player.performance.chords.push(PlayedChord {
                start: now,
                end,
                label: asked.label,
                accepted,
                midi,
            });
        }
        player.performance.attempts.push(Attempt {
            start: now,
            end,
            target: asked.label,
            target_midi: target,
            played_midi: struck,
            right: wanted == heard,
            missing: wanted.difference(&heard).copied().collect(),
            extra: heard.difference(&wanted).copied().collect(),
        });
        now = end;
    }
    Ok(Take {
        file: "twelve-keys.flac",
        title: "Diminished major sevenths in falling fifths, three slips, the class's upright",
        kind: Kind::Drill,
        piano: Some("upright-kawai"),
        condition: "room",
        seed: SEED,
        key: None,
        bpm: None,
        a4: 440.0,
        seconds: ten_thousandths(now + LEAD_OUT),
        performance: player.performance,
        microphone: Microphone {
            room: Some("sim_room4_near.wav"),
            ..Microphone::CLOSE
        },
    })
}

// ---- A memo on a phone while someone talks ----

const MEMO: &[Written] = &[
    chord(4.0, &["Ab:maj9"], "Ab2 G3 Bb3 C4 Eb4"),
    chord(4.0, &["F:min7", "Ab:maj6/6"], "F2 Eb3 Ab3 C4"),
    chord(4.0, &["Bb:min7", "Db:maj6/6"], "Bb2 F3 Ab3 Db4"),
    chord(4.0, &["Db:min6", "Bb:hdim7/b3"], "Db3 Ab3 Bb3 E4"),
    chord(4.0, &["Ab:maj7/3"], "C3 G3 Ab3 Eb4"),
    chord(
        4.0,
        &["B:dim7", "D:dim7/6", "F:dim7/b5", "Ab:dim7/b3"],
        "B2 F3 Ab3 D4",
    ),
    chord(4.0, &["Bb:min9"], "Bb2 Ab3 C4 Db4 F4"),
    chord(2.0, &["Eb:sus4(b7,9)", "Bb:min7/4"], "Eb2 Ab3 Bb3 Db4 F4"),
    chord(2.0, &["Eb:7(b9)", "G:dim7/b6"], "Eb2 G3 Bb3 Db4 E4"),
    chord(4.0, &["Ab:maj6(9)", "F:min7(11)/b3"], "Ab2 F3 Bb3 C4 Eb4"),
];

fn phone_memo() -> Result<Take, RenderError> {
    const SEED: u64 = 14;
    const BPM: f64 = 108.0;
    let (performance, end) = in_time(
        MEMO,
        BPM,
        Touch {
            velocity: 62,
            roll: 0.0,
        },
        SEED,
    )?;
    Ok(Take {
        file: "phone-memo.flac",
        title: "A phone on a shelf while someone talks",
        kind: Kind::Tune,
        piano: Some("grand-yamaha-c3"),
        condition: "phone and talk",
        seed: SEED,
        key: Some("Ab"),
        bpm: Some(BPM),
        a4: 442.0,
        seconds: ten_thousandths(end + LEAD_OUT),
        performance,
        microphone: Microphone {
            room: Some("sim_room3_far.wav"),
            phone: true,
            talk: &[
                (1.5, "speaking-3.flac"),
                (6.0, "reading-4.flac"),
                (10.6, "speaking-3.flac"),
                (15.2, "reading-4.flac"),
                (18.0, "speaking-3.flac"),
            ],
            talk_db: -3.0,
            noise: None,
            hiss_db: -58.0,
            rate: 16_000,
        },
    })
}

// ---- Rolled chords with pedal on an upright that has sunk ----

const ROLLED: &[Written] = &[
    chord(4.0, &["Eb:min9"], "Eb2 Bb2 Gb3 Db4 F4"),
    chord(4.0, &["Ab:9(13,*5)"], "Ab2 Gb3 C4 F4 Bb4"),
    chord(4.0, &["Db:maj9"], "Db2 Ab2 F3 C4 Eb4"),
    chord(4.0, &["Gb:maj7(#11)"], "Gb2 Db3 Bb3 F4 C5"),
    chord(4.0, &["C:hdim7", "Eb:min6/6"], "C3 Gb3 Bb3 Eb4"),
    chord(4.0, &["F:7(b9)", "A:dim7/b6"], "F2 C3 A3 Eb4 Gb4"),
    chord(4.0, &["Bb:min7", "Db:maj6/6"], "Bb2 F3 Db4 Ab4"),
    chord(4.0, &["Ab:dim(7)"], "Ab2 D3 B3 G4"),
    chord(4.0, &["Db:maj6(9)", "Bb:min7(11)/b3"], "Db2 Ab2 F3 Bb3 Eb4"),
];

fn rolled_ballad() -> Result<Take, RenderError> {
    const SEED: u64 = 15;
    const BPM: f64 = 92.0;
    const ROLL: f64 = 0.055;
    // The foot changes the pedal after the first note of the next chord, so that nothing breaks off.
    const PEDAL_LATE: f64 = 0.12;
    let mut player = Player::new(SEED);
    let mut now = LEAD_IN;
    for (place, written) in ROLLED.iter().enumerate() {
        let voicing = keys(written.voicing)?;
        let next = now + written.beats * 60.0 / BPM;
        let last = place + 1 == ROLLED.len();
        let lifted = if last { next } else { next + PEDAL_LATE };
        player.strike(
            &voicing,
            now,
            lifted,
            Touch {
                velocity: 60,
                roll: ROLL,
            },
        );
        player
            .performance
            .chords
            .push(played(written, voicing, now, next));
        now = next;
    }
    Ok(Take {
        file: "rolled-ballad.flac",
        title: "Rolled chords with pedal on the class's upright, a quarter of a half step flat",
        kind: Kind::Tune,
        piano: Some("upright-kawai"),
        condition: "detuned",
        seed: SEED,
        key: Some("Db"),
        bpm: Some(BPM),
        a4: 434.0,
        seconds: ten_thousandths(now + LEAD_OUT),
        performance: player.performance,
        microphone: Microphone {
            room: Some("sim_room4_near.wav"),
            ..Microphone::CLOSE
        },
    })
}

// ---- Before the class: talk and dishes, no piano ----

fn before_class() -> Take {
    Take {
        file: "before-class.flac",
        title: "Talk and cups being washed before anyone plays",
        kind: Kind::None,
        piano: None,
        condition: "talk and noise",
        seed: 16,
        key: None,
        bpm: None,
        a4: 440.0,
        seconds: 9.0,
        performance: Performance::default(),
        microphone: Microphone {
            phone: true,
            talk: &[
                (1.0, "speaking-3.flac"),
                (4.2, "reading-4.flac"),
                (6.2, "speaking-3.flac"),
            ],
            talk_db: -24.0,
            noise: Some(("kitchen-noise.flac", -36.0)),
            hiss_db: -60.0,
            rate: 16_000,
            ..Microphone::CLOSE
        },
    }
}

// ---- What the takes share ----

/// Plays written chords and their melody in time; returns the performance and its end in seconds.
fn in_time(
    part: &[Written],
    bpm: f64,
    touch: Touch,
    seed: u64,
) -> Result<(Performance, f64), RenderError> {
    /// Share of a chord's time for which its keys stay down.
    const LEGATO: f64 = 0.96;
    /// The melody is brought out above the chord.
    const MELODY_LOUDER: u8 = 14;
    let beat = 60.0 / bpm;
    let mut player = Player::new(seed);
    let mut now = LEAD_IN;
    for written in part {
        let voicing = keys(written.voicing)?;
        let next = now + written.beats * beat;
        player.strike(&voicing, now, now + LEGATO * (next - now), touch);
        let mut sung = now;
        for (name, beats) in written.melody {
            let end = sung + beats * beat;
            let louder = Touch {
                velocity: touch.velocity + MELODY_LOUDER,
                ..touch
            };
            player.strike(&keys(name)?, sung, sung + LEGATO * (end - sung), louder);
            sung = end;
        }
        player
            .performance
            .chords
            .push(played(written, voicing, now, next));
        now = next;
    }
    Ok((player.performance, now))
}

fn played(written: &Written, midi: Vec<u8>, start: f64, end: f64) -> PlayedChord {
    PlayedChord {
        start: ten_thousandths(start),
        end: ten_thousandths(end),
        label: written.labels[0],
        accepted: written.labels.to_vec(),
        midi,
    }
}

fn pitch_classes(keys: &[u8]) -> BTreeSet<u8> {
    keys.iter().map(|key| key % 12).collect()
}
