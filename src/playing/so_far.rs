//! The harmony so far, while music is played.
//!
//! Input: strikes and ends of notes as they are told, and how far the sound has come. Output: the harmony that has settled, what is open after it, the key.
//! Units: seconds from the start of the sound.
//! Method: the notes of the last [`WINDOW`] seconds are read as a whole (see [`super::read`]) whenever the sound passes another [`READ_EVERY`] of a
//! second and anything was struck or damped since. Settling, by four rules:
//! 1. What of a reading ended [`SETTLES`] before it has settled: it does not change any more. Later parts are open and may change with each reading.
//! 2. Harmony that settles under the name of the one before goes on with it.
//! 3. Where chords are held for study (see [`super::texture`]) nothing is read: the chord that is held is the harmony.
//! 4. A key is told where the last reading believes it for what is played last.
//!
//! What is told depends on the events and their times alone, and not on the blocks in which the sound came.
//! Limits: keeps [`MOST_NOTES`] notes and [`KEPT`] settled stretches at most, however long the playing is; the first bars are read with little after them.

use super::texture::{Texture, TextureRule, texture_so_far};
use super::{PlayedNote, Stated, Stretch, read};
use crate::harmony::Key;
use crate::units::{MidiNote, Seconds, Share};
use std::collections::VecDeque;

/// How much of the playing is read (s): several bars, so that beats and a key can be told.
pub const WINDOW: f64 = 24.0;
/// How often it is read (s): each reading takes some 10 ms, and what is played should stand there soon.
pub const READ_EVERY: f64 = 0.25;
/// How long harmony must be over to have settled (s): two beats of a slow piece tell what a stretch was.
pub const SETTLES: f64 = 3.0;
/// Most notes that are kept: more than two hands strike within the window.
pub const MOST_NOTES: usize = 1200;
/// Most settled stretches that are kept.
pub const KEPT: usize = 32;

/// What is known of the harmony while it is played.
#[derive(Debug, Clone, Default)]
pub struct HarmonySoFar {
    stated: Stated,
    /// By start; those that still sound end at [`STILL_SOUNDS`].
    notes: VecDeque<PlayedNote>,
    /// True if notes have changed since the last reading.
    changed: bool,
    /// The next time at which it is read.
    due: f64,
    settled: VecDeque<Stretch>,
    /// All before has settled.
    settled_to: f64,
    open: Vec<Stretch>,
    key: Option<Key>,
    readings: u64,
}

/// The end of what still sounds (s).
const STILL_SOUNDS: f64 = 1e12;

impl HarmonySoFar {
    /// Nothing played yet.
    pub fn new(stated: Stated) -> Self {
        Self {
            stated,
            ..Self::default()
        }
    }

    /// Reads from now on with this key and spelling.
    pub fn state(&mut self, stated: Stated) {
        self.stated = stated;
        self.changed = true;
    }

    /// A key was struck.
    pub fn struck(&mut self, midi: MidiNote, at: Seconds, confidence: Share) {
        let note = PlayedNote {
            midi,
            start: at,
            end: seconds(STILL_SOUNDS),
            strength: Share::clamped(HALF),
            confidence,
        };
        let place = self.notes.partition_point(|n| n.start <= at);
        self.notes.insert(place, note);
        if self.notes.len() > MOST_NOTES {
            self.notes.pop_front();
        }
        self.changed = true;
    }

    /// A note that was struck has ended.
    pub fn ended(&mut self, ended: PlayedNote) {
        let from = self.notes.partition_point(|n| n.start < ended.start);
        if let Some(note) = self
            .notes
            .iter_mut()
            .skip(from)
            .take_while(|n| n.start == ended.start)
            .find(|n| n.midi == ended.midi)
        {
            *note = ended;
            self.changed = true;
        }
    }

    /// The sound has come so far.
    pub fn reach(&mut self, now: Seconds) {
        let now = now.get();
        if now < self.due {
            return;
        }
        self.due = (now / READ_EVERY).floor() * READ_EVERY + READ_EVERY;
        let begins = now - WINDOW;
        self.notes.retain(|n| n.end.get() > begins);
        // what was struck long ago and never ended holds no window open
        self.notes.retain(|n| n.start.get() > begins - WINDOW);
        if !self.changed && self.open.is_empty() {
            return;
        }
        self.changed = false;
        self.read_window(now, begins);
    }

    fn read_window(&mut self, now: f64, begins: f64) {
        self.readings += 1;
        // times of the window begin at 0, so that a reading costs the same after hours
        let origin = self
            .notes
            .front()
            .map_or(0.0, |n| n.start.get())
            .max(begins);
        let notes: Vec<PlayedNote> = self
            .notes
            .iter()
            .map(|n| PlayedNote {
                start: seconds((n.start.get() - origin).max(0.0)),
                end: seconds(n.end.get().min(now) - origin),
                ..*n
            })
            .collect();
        let stretches = match texture_so_far(&notes, &TextureRule::default()) {
            Texture::Held => Vec::new(),
            Texture::Played => read(&notes, &self.stated).harmony,
        };
        self.open.clear();
        self.key = stretches.iter().rev().find_map(|s| s.key);
        for mut stretch in stretches {
            stretch.start = seconds((stretch.start.get() + origin).max(self.settled_to));
            stretch.end = seconds(stretch.end.get() + origin);
            if stretch.end <= stretch.start {
                continue;
            }
            if stretch.end.get() <= now - SETTLES {
                self.settle(stretch);
            } else {
                self.open.push(stretch);
            }
        }
    }

    fn settle(&mut self, stretch: Stretch) {
        self.settled_to = stretch.end.get();
        let name = |s: &Stretch| s.chords.first().map(|c| c.chord);
        match self.settled.back_mut() {
            Some(last) if last.end == stretch.start && name(last) == name(&stretch) => {
                last.end = stretch.end;
            }
            _ => {
                if self.settled.len() == KEPT {
                    self.settled.pop_front();
                }
                self.settled.push_back(stretch);
            }
        }
    }

    /// The sound has ended: nothing that comes can change what is open, so it has settled.
    pub fn end(&mut self) {
        for stretch in std::mem::take(&mut self.open) {
            self.settle(stretch);
        }
    }

    /// What has settled, by start; stretches without chords have none.
    pub fn settled(&self) -> impl DoubleEndedIterator<Item = &Stretch> {
        self.settled.iter()
    }

    /// What may still change, by start.
    pub fn open(&self) -> &[Stretch] {
        &self.open
    }

    /// The key, where one is believed.
    pub fn key(&self) -> Option<Key> {
        self.key
    }

    /// How often it was read: what is told changes with that alone.
    pub fn readings(&self) -> u64 {
        self.readings
    }

    /// How many notes are kept.
    pub fn notes_kept(&self) -> usize {
        self.notes.len()
    }
}

/// Which of the settled harmony was told, each stretch once: for whoever writes it line by line.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Told(Option<Seconds>);

impl Told {
    /// Stretches that have settled since the last call; their ends may still move.
    pub fn newly_settled(&mut self, so_far: &HarmonySoFar) -> Vec<Stretch> {
        self.newly(so_far, so_far.settled.len())
    }

    /// The same, but only once the next one has settled as well and the end stands.
    pub fn newly_ended(&mut self, so_far: &HarmonySoFar) -> Vec<Stretch> {
        self.newly(so_far, so_far.settled.len().saturating_sub(1))
    }

    fn newly(&mut self, so_far: &HarmonySoFar, count: usize) -> Vec<Stretch> {
        let told = self.0;
        let settled = so_far.settled.iter().take(count);
        let new: Vec<Stretch> = settled
            .filter(|stretch| told.is_none_or(|told| stretch.start > told))
            .cloned()
            .collect();
        self.0 = new.last().map(|stretch| stretch.start).or(told);
        new
    }
}

/// Strength of a note that is not yet told.
const HALF: f32 = 0.5;

fn seconds(at: f64) -> Seconds {
    Seconds::new(at).unwrap_or(Seconds::ZERO)
}
