//! Strikes: notes that are struck together.
//!
//! Input: notes by start. Output: [`Strike`]s by time. Units: seconds, shares 0 to 1.
//! Method: our own: notes join a strike that began at most [`TOGETHER`] before; its time is the mean of theirs.
//! Limits: a slow roll is several strikes.

use super::PlayedNote;

/// Keys of one chord are struck within this time (s): of chords played by hand nine in ten lie within 40 ms.
const TOGETHER: f64 = 0.05;
/// A note this low (E3) or lower belongs to the left hand's bass.
const BASS_BELOW: u8 = 52;

/// Notes struck together.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Strike {
    /// When (s).
    pub time: f64,
    /// The notes, as indices.
    pub first: usize,
    /// One past the last.
    pub end: usize,
    /// How much it tells of the beat.
    pub weight: f64,
    /// How much of that is bass.
    pub bass: f64,
}

/// How much single features of a strike tell of the beat. Set on `performances.jsonl.gz` and the scenes of `training/playing_scenes.py`.
#[derive(Debug, Clone, Copy)]
pub struct StrikeWeights {
    /// Of every note, before its strength: soft inner voices keep time too.
    pub note: f64,
    /// Of a bass note, beside others: the left hand keeps time.
    pub bass: f64,
    /// Of three keys or more at once.
    pub chord: f64,
}

impl Default for StrikeWeights {
    fn default() -> Self {
        Self {
            note: 0.4,
            bass: 2.0,
            chord: 1.0,
        }
    }
}

/// The strikes of notes that are sorted by start.
pub(crate) fn strikes(notes: &[PlayedNote], weights: StrikeWeights) -> Vec<Strike> {
    let mut strikes = Vec::new();
    let mut first = 0;
    while first < notes.len() {
        let began = notes[first].start.get();
        let end = first
            + notes[first..]
                .iter()
                .take_while(|n| n.start.get() <= began + TOGETHER)
                .count();
        let group = &notes[first..end];
        let (mut sum, mut bass) = (0.0, 0.0);
        for note in group {
            let sure = f64::from(note.confidence.get());
            let low = if note.midi.get() <= BASS_BELOW {
                weights.bass
            } else {
                1.0
            };
            let weight = sure * low * (weights.note + f64::from(note.strength.get()));
            sum += weight;
            if note.midi.get() <= BASS_BELOW {
                bass += weight;
            }
        }
        if group.len() >= 3 {
            sum += weights.chord;
        }
        strikes.push(Strike {
            time: group.iter().map(|n| n.start.get()).sum::<f64>() / group.len() as f64,
            first,
            end,
            weight: sum.sqrt(),
            bass: bass.sqrt(),
        });
        first = end;
    }
    strikes
}
