//! What sounds: the notes to be named, and what the naming looks at in them.
//!
//! Input: MIDI notes with weights, a stated bass. Output: [`Sounding`]; of it `Voicing`: pitch classes, bass, lowest two notes.
//! Units: MIDI numbers, pitch classes; weights 0 to 1. Method: plain data.
//! Limits: one moment; what sounded before is the [`Context`](super::Context)'s.

use super::pitch::{PitchClass, PitchSet, Spelled};
use crate::units::{MidiNote, Share};

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
    #[allow(
        clippy::expect_used,
        reason = "stated under Panics; for keys written in source"
    )]
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

/// What the naming looks at: pitch classes, bass, lowest two notes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Voicing {
    pub set: PitchSet,
    pub bass: PitchClass,
    /// The two lowest different pitch classes of the voicing, as a set.
    pub lowest_two: PitchSet,
    /// True if it is known who plays the bass: what is left out is then no root.
    pub bass_is_stated: bool,
}

impl Voicing {
    /// `None` if nothing sounds.
    pub(crate) fn of(sounding: &Sounding) -> Option<Self> {
        let bass = sounding.bass()?;
        let mut midis: Vec<MidiNote> = sounding.notes.iter().map(|n| n.midi).collect();
        midis.sort_unstable();
        let mut lowest_two = PitchSet::EMPTY;
        for class in midis.into_iter().map(PitchClass::from) {
            if lowest_two.len() < 2 {
                lowest_two = lowest_two.with(class);
            }
        }
        Some(Self {
            set: sounding.pitches(),
            bass,
            lowest_two,
            bass_is_stated: sounding.stated_bass.is_some(),
        })
    }
}
