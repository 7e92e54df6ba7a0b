//! What is written of stand-ins: text from values, for JSON and for the view.
//!
//! Input: [`harmony::standins`](crate::harmony::standins) values and their voicings. Output: serde types of text and numbers.
//! Units: beats, half steps, MIDI numbers. Method: plain data; style and key decide how symbols and notes are written. Limits: none.

use super::document::{SCHEMA, Word};
use super::written;
use crate::harmony::standins::{Part, Recognised, StandIn, SungOver, Tune, TuneChord, recognised};
use crate::harmony::voicing::hands::HandVoicing;
use crate::harmony::{Chord, Degree, Key, Style, note_name_in};
use crate::units::MidiNote;
use serde::Serialize;

/// Stand-ins for one chord of a tune.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StandInsFor {
    /// Always [`SCHEMA`].
    pub schema: &'static str,
    /// The number of the chord in the tune, from 1.
    pub chord: usize,
    /// The bar it begins in, from 1.
    pub bar: usize,
    /// Its symbol.
    pub symbol: String,
    /// The key in which it is heard.
    pub key: Option<String>,
    /// What is proposed, the likeliest first.
    pub stand_ins: Vec<WrittenStandIn>,
    /// What the melody rejects; absent unless it was asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rejected: Option<Vec<WrittenStandIn>>,
}

/// A tune with several stand-ins.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WrittenTune {
    /// Always [`SCHEMA`].
    pub schema: &'static str,
    /// Steps out, all together.
    pub out: u32,
    /// Chords of the original that stand in for what would be expected.
    pub already: Vec<WrittenMark>,
    /// Its chords.
    pub chords: Vec<WrittenChord>,
}

/// What is written of stand-ins: those for one chord, or of a whole tune.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(untagged)]
pub enum StandInText {
    /// For one chord.
    One(StandInsFor),
    /// All over a tune.
    Tune(WrittenTune),
}

/// A chord of the original that stands in for another.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WrittenMark {
    /// Its number in the tune, from 1.
    pub chord: usize,
    /// The bar it begins in, from 1.
    pub bar: usize,
    /// Its symbol.
    pub symbol: String,
    /// What would be expected.
    pub expected: String,
    /// How it is replaced.
    pub device: &'static str,
    /// The tensions that it has over what is expected.
    pub tensions: Vec<Word>,
}

/// A chord of a tune that may have a stand-in.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WrittenChord {
    /// The bar it begins in, from 1.
    pub bar: usize,
    /// Beats it lasts.
    pub beats: f32,
    /// The symbol of the original.
    pub original: String,
    /// What takes its place; absent where it stays.
    pub stand_in: Option<WrittenStandIn>,
    /// How to play what sounds there, a voicing a chord.
    pub voicings: Vec<WrittenVoicing>,
}

/// One stand-in.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WrittenStandIn {
    /// Its chords, in time.
    pub chords: Vec<WrittenPart>,
    /// By what device.
    pub device: &'static str,
    /// How usual that is said to be.
    pub usage: &'static str,
    /// Where it is said.
    pub source: &'static str,
    /// What of the function is kept.
    pub keeps: String,
    /// The chord that degrees are counted from.
    pub over: String,
    /// Notes shared with the original.
    pub common: Vec<Word>,
    /// Half steps that the voices move from the chord before.
    pub from_before: Option<u8>,
    /// Half steps that they move to the chord after.
    pub to_after: Option<u8>,
    /// How far out, 0 to 5.
    pub out: u8,
    /// The melody over it.
    pub melody: Vec<WrittenNote>,
    /// Other forms: symbols of the chords of each.
    pub forms: Vec<Vec<String>>,
}

/// One chord of a stand-in.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WrittenPart {
    /// Its symbol.
    pub symbol: String,
    /// The symbol in plain ASCII.
    pub ascii: String,
    /// Beats it lasts.
    pub beats: f32,
    /// Each note with its degree over the original.
    pub degrees: Vec<(Word, Word)>,
    /// The tensions among them.
    pub tensions: Vec<Word>,
    /// How to play it; absent where the search for voicings was not asked.
    pub voicing: Option<WrittenVoicing>,
}

/// A chord under the hands.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WrittenVoicing {
    /// How it is built.
    pub kind: &'static str,
    /// Keys of the left hand.
    pub left: Vec<MidiNote>,
    /// Keys of the right hand.
    pub right: Vec<MidiNote>,
    /// Names of all keys, lowest first.
    pub notes: Vec<String>,
}

/// A melody note over a stand-in.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WrittenNote {
    /// Its name.
    pub note: String,
    /// The symbol of the chord it is heard over.
    pub over: String,
    /// What it is to it.
    pub is: String,
    /// What it weighs against it; from half a beat of clash on a strong beat on, it rejects.
    pub weight: f32,
}

/// How stand-ins are written.
#[derive(Debug, Clone, Copy)]
pub struct Writing {
    /// How symbols are printed.
    pub style: Style,
    /// By which key the melody is spelled.
    pub key: Option<Key>,
}

impl Writing {
    /// What is written of the stand-ins for the chord with this number.
    pub fn stand_ins_for(
        self,
        number: usize,
        chord: &TuneChord,
        stand_ins: Vec<WrittenStandIn>,
        rejected: Option<Vec<WrittenStandIn>>,
    ) -> StandInsFor {
        StandInsFor {
            schema: SCHEMA,
            chord: number,
            bar: chord.bar,
            symbol: chord.chord.symbol(self.style),
            key: self.key.map(|key| key.to_string()),
            stand_ins,
            rejected,
        }
    }

    /// Stand-ins for one chord with the voicings of each, a voicing a chord of it.
    pub fn stand_in(self, stand_in: &StandIn, voicings: &[HandVoicing]) -> WrittenStandIn {
        let voicing = |at: usize| voicings.get(at);
        WrittenStandIn {
            chords: stand_in
                .parts
                .iter()
                .enumerate()
                .map(|(at, part)| self.part(part, voicing(at)))
                .collect(),
            device: stand_in.device.words(),
            usage: stand_in.device.usage().words(),
            source: stand_in.device.source(),
            keeps: stand_in.kept.words(),
            over: stand_in.over.symbol(self.style),
            common: stand_in
                .common
                .iter()
                .map(|note| note.name().into())
                .collect(),
            from_before: stand_in.from_before,
            to_after: stand_in.to_after,
            out: stand_in.out,
            melody: stand_in
                .melody
                .iter()
                .map(|note| self.note(note, stand_in))
                .collect(),
            forms: stand_in
                .forms
                .iter()
                .map(|form| {
                    form.iter()
                        .map(|part| part.chord.symbol(self.style))
                        .collect()
                })
                .collect(),
        }
    }

    /// The chords of a tune that stand in for others already.
    pub fn marks(self, tune: &Tune) -> Vec<WrittenMark> {
        let mark = |found: &Recognised| {
            let chord = tune.chords.get(found.at)?;
            Some(WrittenMark {
                chord: found.at + 1,
                bar: chord.bar,
                symbol: chord.chord.symbol(self.style),
                expected: found.expected.symbol(self.style),
                device: found.device.words(),
                tensions: found
                    .tensions
                    .iter()
                    .map(Degree::name)
                    .map(Word::from)
                    .collect(),
            })
        };
        recognised(tune).iter().filter_map(mark).collect()
    }

    fn part(self, part: &Part, voicing: Option<&HandVoicing>) -> WrittenPart {
        let degrees = part
            .degrees
            .iter()
            .map(|&(note, degree)| (note.name().into(), degree.name().into()));
        WrittenPart {
            symbol: part.chord.symbol(self.style),
            ascii: part.chord.symbol(Style::Ascii),
            beats: part.beats,
            degrees: degrees.collect(),
            tensions: part
                .tensions
                .iter()
                .map(Degree::name)
                .map(Word::from)
                .collect(),
            voicing: voicing.map(|voicing| self.voicing(voicing, &part.chord)),
        }
    }

    fn note(self, sung: &SungOver, stand_in: &StandIn) -> WrittenNote {
        let over = stand_in
            .parts
            .get(sung.part)
            .map(|part| part.chord.symbol(self.style));
        WrittenNote {
            note: note_name_in(sung.note.midi, self.key),
            over: over.unwrap_or_default(),
            is: sung.standing.words(),
            weight: sung.weight,
        }
    }

    /// A voicing with its notes named by the chord.
    pub fn voicing(self, voicing: &HandVoicing, chord: &Chord) -> WrittenVoicing {
        WrittenVoicing::of(voicing, written::notes(&voicing.named(chord, self.key)))
    }
}

impl WrittenVoicing {
    /// A voicing with the names that its keys are given, lowest first.
    pub fn of(voicing: &HandVoicing, notes: Vec<String>) -> Self {
        Self {
            kind: voicing.kind.words(),
            left: voicing.left.clone(),
            right: voicing.right.clone(),
            notes,
        }
    }
}
