//! Note tracks: when each key was struck, struck again and let go.
//!
//! Input: one [`NoteEvidence`] a frame and how strongly each key sounds. Output: a [`TrackedNote`] for each note that has ended.
//! Units: times in analysis frames, confidence and strength 0 to 1.
//! Method: our own: two thresholds with hysteresis on 'sounding', and the rise of 'struck' for keys struck again.
//! Limits: a note is known 2 frames after it is first believed, its end 3 frames late; notes below 3 frames are dropped.

use super::NoteEvidence;
use crate::units::PIANO_KEYS;

/// Thresholds of the tracker, set by reasoning, see `training/README.md`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrackRules {
    /// A note begins when 'sounding' reaches this probability.
    pub begin: f32,
    /// It ends when 'sounding' stays below this probability for [`TrackRules::patience`] frames.
    pub end: f32,
    /// Frames below `end` before a note is over.
    pub patience: u32,
    /// A held key was struck again when 'struck' rises to this probability.
    pub again: f32,
    /// Frames that must lie between two strikes of one key.
    pub apart: u64,
    /// Notes of fewer frames are dropped.
    pub shortest: u64,
}

impl Default for TrackRules {
    fn default() -> Self {
        Self {
            begin: 0.5,
            end: 0.3,
            patience: 3,
            again: 0.5,
            apart: 5,
            shortest: 3,
        }
    }
}

/// A note that has ended.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrackedNote {
    /// Piano index of the key, 0 to 87.
    pub key: usize,
    /// The frame in which it was first believed.
    pub start: u64,
    /// The first frame in which it was gone.
    pub end: u64,
    /// Mean probability over its life.
    pub confidence: f32,
    /// Mean strength over its life.
    pub strength: f32,
}

/// A key that sounds.
#[derive(Debug, Clone, Copy, Default)]
struct Held {
    start: u64,
    frames: f32,
    probability: f32,
    strength: f32,
    /// Frames in a row below the end threshold.
    low: u32,
}

impl Held {
    fn ended(&self, key: usize, end: u64) -> TrackedNote {
        TrackedNote {
            key,
            start: self.start,
            end,
            confidence: self.probability / self.frames.max(1.0),
            strength: self.strength / self.frames.max(1.0),
        }
    }
}

/// Follows the 88 keys from frame to frame.
#[derive(Debug, Clone)]
pub struct NoteTracker {
    rules: TrackRules,
    held: [Option<Held>; PIANO_KEYS],
    struck_before: [f32; PIANO_KEYS],
    frame: u64,
}

impl NoteTracker {
    /// A tracker to which no key sounds.
    pub fn new(rules: TrackRules) -> Self {
        Self {
            rules,
            held: [None; PIANO_KEYS],
            struck_before: [0.0; PIANO_KEYS],
            frame: 0,
        }
    }

    /// Takes the next frame and appends the notes that are known to have ended to `ended`.
    pub fn step(
        &mut self,
        evidence: &NoteEvidence,
        strength: &[f32; PIANO_KEYS],
        ended: &mut Vec<TrackedNote>,
    ) {
        let rules = self.rules;
        for (key, &strength) in strength.iter().enumerate() {
            let (sounding, struck) = (evidence.sounding[key], evidence.onset[key]);
            let again = struck >= rules.again && self.struck_before[key] < rules.again;
            self.struck_before[key] = struck;
            let begun = Held {
                start: self.frame,
                ..Held::default()
            };
            match &mut self.held[key] {
                None if sounding >= rules.begin => self.held[key] = Some(begun),
                None => continue,
                Some(held) if again && self.frame >= held.start + rules.apart => {
                    Self::keep(rules, held.ended(key, self.frame), ended);
                    self.held[key] = Some(begun);
                }
                Some(_) => {}
            }
            let Some(held) = &mut self.held[key] else {
                continue;
            };
            held.frames += 1.0;
            held.probability += sounding;
            held.strength += strength;
            held.low = if sounding < rules.end {
                held.low + 1
            } else {
                0
            };
            if held.low >= rules.patience {
                let gone = self.frame + 1 - u64::from(held.low);
                Self::keep(rules, held.ended(key, gone), ended);
                self.held[key] = None;
            }
        }
        self.frame += 1;
    }

    /// Ends all notes that still sound.
    pub fn finish(&mut self, ended: &mut Vec<TrackedNote>) {
        for key in 0..PIANO_KEYS {
            if let Some(held) = self.held[key].take() {
                Self::keep(self.rules, held.ended(key, self.frame), ended);
            }
        }
    }

    /// True for each key that sounds now and did not just begin.
    pub fn sounding(&self) -> [bool; PIANO_KEYS] {
        self.held
            .map(|held| held.is_some_and(|held| held.frames >= 2.0 && held.low == 0))
    }

    fn keep(rules: TrackRules, note: TrackedNote, ended: &mut Vec<TrackedNote>) {
        if note.end >= note.start + rules.shortest {
            ended.push(note);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Runs one key through (sounding, struck) pairs and gives (start, end) of its notes.
    fn notes_of(frames: &[(f32, f32)]) -> Vec<(u64, u64)> {
        let mut tracker = NoteTracker::new(TrackRules::default());
        let mut ended = Vec::new();
        for &(sounding, struck) in frames {
            let mut evidence = NoteEvidence::default();
            evidence.sounding[40] = sounding;
            evidence.onset[40] = struck;
            tracker.step(&evidence, &[0.5; PIANO_KEYS], &mut ended);
        }
        tracker.finish(&mut ended);
        ended.iter().map(|note| (note.start, note.end)).collect()
    }

    #[test]
    fn a_note_that_wavers_between_the_thresholds_is_one_note() {
        let mut frames = vec![(0.0, 0.0); 3];
        frames.extend([(0.9, 0.8), (0.8, 0.2), (0.4, 0.0), (0.6, 0.0), (0.2, 0.0)]);
        frames.extend([(0.7, 0.0), (0.1, 0.0), (0.1, 0.0), (0.1, 0.0), (0.1, 0.0)]);
        assert_eq!(notes_of(&frames), [(3, 9)]);
    }

    #[test]
    fn a_held_key_that_is_struck_again_is_two_notes() {
        let mut frames = vec![(0.9, 0.8), (0.9, 0.6)];
        frames.extend([(0.9, 0.0); 8]);
        frames.push((0.9, 0.9));
        frames.extend([(0.9, 0.1); 5]);
        assert_eq!(notes_of(&frames), [(0, 10), (10, 16)]);
    }

    #[test]
    fn a_flash_of_two_frames_is_no_note() {
        assert_eq!(
            notes_of(&[
                (0.0, 0.0),
                (0.9, 0.9),
                (0.9, 0.1),
                (0.0, 0.0),
                (0.0, 0.0),
                (0.0, 0.0)
            ]),
            []
        );
    }
}
