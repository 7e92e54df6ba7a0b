//! Harmony: what a set of keys can be called, what it stands for and where it goes. Pure: knows nothing of audio.
//!
//! Input: [`Sounding`] (notes with weights, a stated bass) and a [`Context`]. Output: [`Naming`]: ranked [`Name`]s and [`Reading`]s;
//! for a whole piece, [`Progression`]. Units: MIDI numbers and pitch classes; scores 0 to 1.
//! Method: one table of chord qualities ([`quality`]), every candidate root weighed ([`score`]); readings ([`readings`]) are kept apart
//! from names; over a progression the best path is chosen ([`progression`]). Sources stand in each module.
//! Limits: equal temperament; no rhythm, so strong and weak beats are not told apart.
//!
//! ```
//! use lidprop::harmony::{Context, Sounding, name_chord};
//!
//! let naming = name_chord(&Sounding::of_midi(&[50, 65, 68, 73]), &Context::default());
//! assert_eq!(naming.names[0].ascii, "Ddim(maj7)");
//! assert_eq!(naming.names[0].label, "D:dim(7)");
//! // It is the root-less 13(b9) of the root a whole step above.
//! assert!(naming.readings.iter().any(|r| r.kind == "rootless dominant" && r.ascii == "E13b9"));
//! ```

pub mod all_keys;
pub(crate) mod best_path;
pub mod cadence;
pub(crate) mod candidates;
pub mod degree;
pub mod function;
pub mod grammar;
pub mod key;
pub mod label;
pub mod naming;
pub mod pitch;
pub mod progression;
pub mod quality;
pub(crate) mod reading_diminished;
pub(crate) mod reading_dominants;
pub(crate) mod reading_kinds;
pub mod readings;
pub mod resolution;
pub mod score;
pub(crate) mod speller;
pub mod spelling;
pub mod symbol;
pub(crate) mod symbol_words;
pub mod typed;
pub(crate) mod weighing;

pub use cadence::Cadence;
pub use degree::{Degree, DegreeSet};
pub use grammar::SymbolError;
pub use key::{Key, Mode};
pub use naming::name_chord;
pub use pitch::{PitchClass, PitchSet};
pub use progression::{
    AnalysedChord, AnalysisOptions, ChordForAnalysis, Progression, analyse_progression,
    analyse_progression_with,
};
pub use spelling::{Spelled, Spelling, note_name, note_name_in};
pub use symbol::{Chord, Style};

use crate::units::{MidiNote, Share};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// A word of a table (a note name, a degree, a kind of reading): borrowed when we write it, owned when it was read from a file.
pub type Word = std::borrow::Cow<'static, str>;

/// One note to be named.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SoundingNote {
    /// The key.
    pub midi: MidiNote,
    /// How much it counts (certainty times strength); [`Share::ONE`] for typed notes.
    pub weight: Share,
}

/// What sounds.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Sounding {
    /// The notes, in any order.
    pub notes: Vec<SoundingNote>,
    /// Notes that were not heard and yet may sound, each less likely than not: a name may count on them, and no list shows them.
    pub possible: Vec<SoundingNote>,
    /// A bass that is not among the notes, say a bass player's; it counts as sounding below them.
    pub stated_bass: Option<PitchClass>,
    /// How the player spelled a pitch class, where notes were typed by name; index 0 is C.
    pub typed: [Option<Spelled>; 12],
}

impl Sounding {
    /// Notes that are all sure.
    pub fn sure(notes: impl IntoIterator<Item = MidiNote>) -> Self {
        Self {
            notes: notes
                .into_iter()
                .map(|midi| SoundingNote {
                    midi,
                    weight: Share::ONE,
                })
                .collect(),
            ..Self::default()
        }
    }

    /// Notes that are all sure, by MIDI number.
    ///
    /// # Panics
    /// If a number is above 127.
    pub fn of_midi(numbers: &[u8]) -> Self {
        Self::sure(
            numbers
                .iter()
                .map(|&n| MidiNote::new(n).expect("MIDI numbers end at 127")),
        )
    }

    /// The pitch classes, the stated bass among them.
    pub fn pitches(&self) -> PitchSet {
        self.notes
            .iter()
            .map(|n| PitchClass::from(n.midi))
            .chain(self.stated_bass)
            .collect()
    }

    /// The lowest pitch class: the stated bass, or that of the lowest note.
    pub fn bass(&self) -> Option<PitchClass> {
        self.stated_bass.or_else(|| {
            self.notes
                .iter()
                .map(|n| n.midi)
                .min()
                .map(PitchClass::from)
        })
    }
}

/// What the naming knows of the surroundings, and how it should write.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Context {
    /// The key, if known.
    pub key: Option<Key>,
    /// The chord before.
    pub before: Option<Chord>,
    /// The chord after.
    pub after: Option<Chord>,
    /// The house style of the symbols.
    pub style: Style,
    /// How notes are spelled.
    pub spelling: Spelling,
}

/// One name a set of notes can have.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Name {
    /// As printed on a chart, in the chosen style.
    pub symbol: String,
    /// The same in plain ASCII.
    pub ascii: String,
    /// The shortest symbol a band can play from, in the chosen style.
    pub chart: String,
    /// In the academic label syntax (Harte et al., ISMIR 2005).
    pub label: String,
    /// Name of the root.
    pub root: Word,
    /// Probability that a practitioner would use this name, 0 to 1; all names of a set add up to at most 1.
    pub score: f32,
    /// Each sounding note (by name) with its degree in this chord.
    pub degrees: BTreeMap<Word, Word>,
}

/// Something a set of notes can stand for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    /// The kind of reading, in words of the trade (say, `rootless dominant`).
    pub kind: Word,
    /// The chord it stands for, as printed.
    pub stands_for: String,
    /// The same in plain ASCII.
    pub ascii: String,
    /// The same in the academic label syntax, holding exactly what sounds.
    pub label: String,
    /// How likely it is beside the other readings of the same notes, 0 to 1.
    pub score: f32,
    /// Each sounding note (by name) with its degree in the chord it stands for.
    pub degrees: BTreeMap<Word, Word>,
    /// The tensions that sound, lowest degree first.
    pub tensions: Vec<Word>,
    /// Degrees of the chord that do not sound.
    pub missing: Vec<Word>,
    /// Where it tends to go, likeliest first.
    pub resolves_to: Vec<Resolution>,
    /// Why, in one sentence.
    pub why: String,
}

/// Where a reading tends to go.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Resolution {
    /// The chord it goes to, as printed.
    pub to: String,
    /// The same in plain ASCII.
    pub ascii: String,
    /// How each voice moves, by note name.
    pub voices: Vec<VoiceStep>,
}

/// One voice of a resolution.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct VoiceStep {
    /// The note that sounds.
    pub from: Word,
    /// The note it goes to.
    pub to: Word,
    /// Half steps up; negative is down, 0 stays.
    pub half_steps: i8,
}

/// How sure the naming is of itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// The first name is clearly the best.
    Named,
    /// Several names are about as good.
    Undecided,
    /// No name fits well: the notes are the answer.
    NoGoodName,
}

/// All that can be said of one set of notes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Naming {
    /// The notes, lowest first, with octaves.
    pub notes: Vec<String>,
    /// How sure the names are.
    pub verdict: Verdict,
    /// Names it can have, best first. With [`Verdict::NoGoodName`] they are the least bad ones.
    pub names: Vec<Name>,
    /// What it can stand for, likeliest first.
    pub readings: Vec<Reading>,
}
