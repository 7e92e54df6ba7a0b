//! What the player marks while playing.
//!
//! Input: marks as they are made on the live screen. Output: the chord that each belongs to.
//! Units: times in frames at the internal rate from the start of what is heard. Method: a mark has the time at which the chord on the screen began;
//! it belongs to the chord that begins nearest, or where none begins within `SAME_START` to the last one before.
//! Limits: a mark that was made before any chord belongs to none.

use crate::chart::document::PlayerMark;
use crate::chart::entries::seconds;
use crate::units::{SamplePos, SampleRate, SampleSpan};

/// How far apart two hearings of one chord may place its beginning.
const SAME_START: SampleSpan = SampleSpan::new(SampleRate::INTERNAL.get() as u64 / 4);

/// A mark of the player.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Marked {
    /// When the marked chord began; where none was on the screen, when the mark was made.
    pub at: SamplePos,
    /// What the player has typed to it.
    pub word: Option<String>,
}

impl Marked {
    /// The same mark in a sound that begins at `begin`; `None` where it lies before that.
    pub fn since(&self, begin: SamplePos) -> Option<Self> {
        let at = self.at.get().checked_sub(begin.get())?;
        Some(Self {
            at: SamplePos::new(at),
            word: self.word.clone(),
        })
    }

    /// Which of the chords that begin at `starts`, in order, it belongs to.
    pub fn chord(&self, starts: impl IntoIterator<Item = SamplePos>) -> Option<usize> {
        let (mut begun, mut nearest) = (None, None);
        for (place, start) in starts.into_iter().enumerate() {
            let distance = start.get().abs_diff(self.at.get());
            if start <= self.at {
                begun = Some(place);
            }
            let nearer = nearest.is_none_or(|(least, _)| distance < least);
            if distance <= SAME_START.get() && nearer {
                nearest = Some((distance, place));
            }
        }
        nearest.map(|(_, place)| place).or(begun)
    }

    /// The mark as the document has it.
    pub fn written(&self) -> PlayerMark {
        PlayerMark {
            at: seconds(self.at),
            word: self.word.clone(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(milliseconds: u64) -> SamplePos {
        SamplePos::new(milliseconds * u64::from(SampleRate::INTERNAL.get()) / 1000)
    }

    fn mark(milliseconds: u64) -> Marked {
        Marked {
            at: at(milliseconds),
            word: None,
        }
    }

    #[test]
    fn a_mark_belongs_to_the_chord_that_begins_nearest_else_to_the_one_that_sounds() {
        let starts = [1_000, 3_000, 3_400].map(at);
        let chord = |milliseconds| mark(milliseconds).chord(starts);
        assert_eq!(
            chord(2_990),
            Some(1),
            "heard a little later the second time"
        );
        assert_eq!(chord(3_350), Some(2));
        assert_eq!(chord(2_000), Some(0));
        assert_eq!(chord(9_000), Some(2));
        assert_eq!(chord(100), None);
    }

    #[test]
    fn a_mark_before_the_kept_sound_is_not_in_it() {
        assert_eq!(mark(2_000).since(at(500)), Some(mark(1_500)));
        assert_eq!(mark(400).since(at(500)), None);
    }
}
