//! What two hands can play: reach, fingers, range, and how low an interval still sounds clear.
//!
//! Input: keys for the left and the right hand. Output: [`HandVoicing`], or why it cannot be played ([`Unplayable`]). Units: half steps, MIDI numbers.
//! Method: a hand reaches a stated span with five fingers; hands do not cross; two neighbouring voices keep above the low-interval limit that arrangers
//! use (Pease and Pullig, Modern Jazz Voicings, 2001, on low interval limits; table [`LOW_LIMITS`]). Limits: which fingers, and how fast, is not asked.

use crate::harmony::chord::Chord;
use crate::harmony::context::Context;
use crate::harmony::named::NamedNote;
use crate::harmony::pitch::{Key, PitchClass};
use crate::harmony::sounding::Sounding;
use crate::harmony::speller::Speller;
use crate::units::MidiNote;

/// How far a hand reaches, in half steps: a major ninth suits most adult hands. Nobody should stretch for a voicing.
pub const USUAL_SPAN: u8 = 14;
/// Fingers of a hand.
pub const FINGERS: usize = 5;
/// Lowest and highest key of a voicing: C2 to C6, where chords are heard as chords.
pub const RANGE: (u8, u8) = (36, 84);

/// The lowest lower note, as a MIDI number, at which an interval of so many half steps sounds clear; index 0 is the unison, which has no limit.
/// From the minor second: E3 Eb3 C3 Bb2 Bb2 B2 Bb1 G2 F2 F2 F2; the octave has none, larger intervals have those of an octave less.
pub const LOW_LIMITS: [u8; 12] = [0, 52, 51, 48, 46, 46, 47, 34, 43, 41, 41, 41];

/// How a voicing is built.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum VoicingKind {
    /// Third at the bottom: 3 5 7 9.
    RootlessA,
    /// Seventh at the bottom: 7 9 3 5.
    RootlessB,
    /// Root, third and seventh, the rest above.
    Shell,
    /// Within an octave.
    Close,
    /// Close, the second voice from the top an octave lower.
    Drop2,
    /// Close, the third voice from the top an octave lower.
    Drop3,
    /// Wide below, close above.
    Spread,
    /// In fourths.
    Quartal,
    /// A triad over third and seventh.
    UpperStructure,
}

impl VoicingKind {
    /// All kinds.
    pub const ALL: [Self; 9] = [
        Self::RootlessA,
        Self::RootlessB,
        Self::Shell,
        Self::Close,
        Self::Drop2,
        Self::Drop3,
        Self::Spread,
        Self::Quartal,
        Self::UpperStructure,
    ];

    /// In words of the trade.
    pub const fn words(self) -> &'static str {
        match self {
            Self::RootlessA => "rootless A",
            Self::RootlessB => "rootless B",
            Self::Shell => "shell",
            Self::Close => "close",
            Self::Drop2 => "drop 2",
            Self::Drop3 => "drop 3",
            Self::Spread => "spread",
            Self::Quartal => "quartal",
            Self::UpperStructure => "upper structure",
        }
    }
}

/// Which hands play.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Hands {
    /// The left one; the right one has the melody, or rests.
    Left,
    /// Both.
    #[default]
    Both,
}

/// A chord under the hands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HandVoicing {
    /// How it is built.
    pub kind: VoicingKind,
    /// Keys of the left hand, lowest first.
    pub left: Vec<MidiNote>,
    /// Keys of the right hand, lowest first.
    pub right: Vec<MidiNote>,
    /// The key among them that is the melody's.
    pub melody: Option<MidiNote>,
}

/// Why a voicing cannot be played.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Unplayable {
    /// A hand would have to reach too far.
    #[error("a hand would reach {0} half steps")]
    Span(u8),
    /// A hand has too few fingers.
    #[error("a hand would need {0} fingers")]
    Fingers(usize),
    /// The hands cross, or strike one key.
    #[error("the hands cross")]
    Crossed,
    /// Keys lie out of range.
    #[error("keys lie outside C2 to C6")]
    Range,
    /// Two low voices sound muddy.
    #[error("{0} half steps above key {1} are muddy")]
    Muddy(u8, u8),
}

impl HandVoicing {
    /// Its keys, lowest first.
    pub fn keys(&self) -> impl DoubleEndedIterator<Item = MidiNote> + Clone + '_ {
        self.left.iter().chain(&self.right).copied()
    }

    /// The keys of the chord, lowest first: all but the melody's.
    pub fn voices(&self) -> impl DoubleEndedIterator<Item = MidiNote> + Clone + '_ {
        self.keys().filter(|key| Some(*key) != self.melody)
    }

    /// Its keys under the names that they have in the chord.
    pub fn named(&self, chord: &Chord, key: Option<Key>) -> Vec<NamedNote> {
        let context = Context {
            key,
            ..Context::default()
        };
        let speller = Speller::new(&Sounding::default(), &context);
        let counted_from = chord
            .lower
            .map_or(*chord, |(root, degrees)| Chord::new(root, degrees));
        self.keys()
            .map(|midi| NamedNote {
                midi,
                name: speller.note(PitchClass::from(midi), Some(&counted_from)),
            })
            .collect()
    }

    /// Whether hands that reach `span` half steps can play it.
    ///
    /// # Errors
    /// The first reason why not.
    pub fn playable(&self, span: u8) -> Result<(), Unplayable> {
        for hand in [&self.left, &self.right] {
            if let (Some(low), Some(high)) = (hand.first(), hand.last())
                && high.get() - low.get() > span
            {
                return Err(Unplayable::Span(high.get() - low.get()));
            }
            if hand.len() > FINGERS {
                return Err(Unplayable::Fingers(hand.len()));
            }
        }
        let keys: Vec<u8> = self.keys().map(MidiNote::get).collect();
        if keys.windows(2).any(|pair| pair[0] >= pair[1]) {
            return Err(Unplayable::Crossed);
        }
        if keys.iter().any(|key| !(RANGE.0..=RANGE.1).contains(key)) {
            return Err(Unplayable::Range);
        }
        let muddy = keys.windows(2).find(|pair| {
            let apart = pair[1] - pair[0];
            pair[0] < LOW_LIMITS[usize::from(apart % 12)]
                && (apart < 12 || pair[0] + 12 < LOW_LIMITS[usize::from(apart % 12)])
        });
        match muddy {
            Some(pair) => Err(Unplayable::Muddy(pair[1] - pair[0], pair[0])),
            None => Ok(()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn voicing(left: &[u8], right: &[u8]) -> HandVoicing {
        let keys = |numbers: &[u8]| numbers.iter().map(|&n| MidiNote::new(n).unwrap()).collect();
        HandVoicing {
            kind: VoicingKind::Close,
            left: keys(left),
            right: keys(right),
            melody: None,
        }
    }

    #[test]
    fn hands_refuse_what_they_cannot_play() {
        let told = |left: &[u8], right: &[u8]| voicing(left, right).playable(USUAL_SPAN);
        assert_eq!(told(&[48, 55], &[64, 71]), Ok(()));
        assert_eq!(told(&[48, 64], &[]), Err(Unplayable::Span(16)));
        assert_eq!(
            told(&[52, 55, 57, 59, 60, 62], &[]),
            Err(Unplayable::Fingers(6))
        );
        assert_eq!(told(&[48, 60], &[59, 64]), Err(Unplayable::Crossed));
        assert_eq!(told(&[35], &[]), Err(Unplayable::Range));
        assert_eq!(
            told(&[40, 44], &[]),
            Err(Unplayable::Muddy(4, 40)),
            "a major third on E2"
        );
        assert_eq!(
            told(&[36, 43], &[52, 58]),
            Ok(()),
            "a fifth on C2 sounds clear"
        );
    }
}
