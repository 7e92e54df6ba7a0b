//! Harmony: what a set of keys can be called, what it stands for and where it goes. Pure: knows nothing of audio.
//!
//! Input: [`Sounding`] (notes with weights, a stated bass) and a [`Context`]. Output: [`Naming`]: ranked [`Name`]s and [`Reading`]s;
//! for a whole piece, [`Interpretation`]. All are values; how they are printed is decided by whoever prints them. Units: MIDI numbers and pitch classes; scores 0 to 1.
//! Method: one table of chord qualities ([`chord::quality`]), every candidate root weighed ([`naming`]); readings ([`readings`]) are kept
//! apart from names; over a progression the best path is chosen ([`progression`]). Sources stand in each module. The folders stand in the
//! order in which a musician would explain them, and each uses only those before it (`tests/layers.rs`).
//! Limits: equal temperament; no rhythm, so strong and weak beats are not told apart.
//!
//! ```
//! use lidprop::harmony::{Context, ReadingKind, Sounding, Style, name_chord};
//!
//! let naming = name_chord(&Sounding::of_midi(&[50, 65, 68, 73]), &Context::default());
//! assert_eq!(naming.names[0].chord.symbol(Style::Ascii), "Ddim(maj7)");
//! // It is the root-less 13(b9) of the root a whole step above.
//! let dominants = naming.readings.iter().filter(|r| r.kind == ReadingKind::RootlessDominant);
//! assert!(dominants.map(|r| r.chord.symbol(Style::Ascii)).any(|symbol| symbol == "E13b9"));
//! ```

pub mod pitch;

pub mod chord;

pub mod function;

pub(crate) mod context;
pub(crate) mod named;
pub(crate) mod sounding;
pub(crate) mod speller;

pub mod naming;
pub mod readings;

mod name_chord;

pub mod progression;
pub mod voicing;

pub mod standins;

pub use chord::{Chord, Style, SymbolError};
pub use context::Context;
pub use name_chord::name_chord;
pub use named::{
    Name, NamedNote, Naming, NotesByDegree, Reading, ReadingKind, Resolution, Verdict, VoiceStep,
    Why,
};
pub use pitch::{
    Degree, DegreeSet, Key, Mode, NoteNames, PitchClass, PitchSet, Scale, Spelled, Spelling,
    StatedKey, note_name, note_name_in,
};
pub use progression::{
    AnalysisOptions, BELIEVED_KEY, Cadence, CadenceKind, Given, InPlace, Interpretation, KeyDegree,
    Numeral, Recent, Role, SURE_KEY, interpret,
};
pub use sounding::{Sounding, SoundingNote};
