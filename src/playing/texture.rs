//! Texture: whether chords are held for study, or music is played.
//!
//! Input: notes by start. Output: [`Texture`]. Units: seconds, shares 0 to 1.
//! Method: our own rule: held chords are struck as chords and stay. Of the notes of progressions and drills played for study four in five are struck in
//! chords of three keys or more and last a second; arrangements, stride, comping and ballads strike most notes one by one or let them go at once.
//! Limits: decided for the whole of the notes; slow hymns in block chords count as held, and lose nothing by it.

use super::PlayedNote;

/// How the notes are played.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Texture {
    /// Chords are struck and held: what is held is the harmony.
    Held,
    /// Melodies, basses, broken or short chords: the harmony must be gathered.
    Played,
}

/// The rule between [`Texture::Held`] and [`Texture::Played`].
#[derive(Debug, Clone, Copy)]
pub struct TextureRule {
    /// Fewer notes are no piece (count).
    pub fewest_notes: usize,
    /// Notes that are struck within this time are struck together (s): slow hands included.
    pub together: f64,
    /// Fewest keys of a chord.
    pub chord: usize,
    /// Share of notes that are struck in chords, from which on they are held ones.
    pub in_chords: f64,
    /// How long half of the notes must last (s).
    pub lasting: f64,
}

impl Default for TextureRule {
    fn default() -> Self {
        Self {
            fewest_notes: 24,
            together: 0.09,
            chord: 3,
            in_chords: 0.75,
            lasting: 0.7,
        }
    }
}

/// Tells how `notes` (by start) are played.
pub fn texture(notes: &[PlayedNote], rule: &TextureRule) -> Texture {
    if notes.len() < rule.fewest_notes {
        return Texture::Held;
    }
    let mut in_chords = 0;
    let mut first = 0;
    while first < notes.len() {
        let began = notes[first].start.get();
        let count = notes[first..]
            .iter()
            .take_while(|n| n.start.get() <= began + rule.together)
            .count();
        if count >= rule.chord {
            in_chords += count;
        }
        first += count;
    }
    let mut lengths: Vec<f64> = notes.iter().map(|n| n.end.get() - n.start.get()).collect();
    let middle = lengths.len() / 2;
    let (_, median, _) = lengths.select_nth_unstable_by(middle, f64::total_cmp);
    if in_chords as f64 >= rule.in_chords * notes.len() as f64 && *median >= rule.lasting {
        Texture::Held
    } else {
        Texture::Played
    }
}
