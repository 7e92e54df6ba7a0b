//! Texture: whether chords are held for study, or music is played, stretch by stretch.
//!
//! Input: notes by start. Output: [`Passage`]s of one [`Texture`] each. Units: seconds, shares 0 to 1.
//! Method: our own rule: held chords are struck as chords and stay. Of the notes of progressions and drills played for study four in five are struck in
//! chords of three keys or more and last a second; arrangements, stride, comping and ballads strike most notes one by one or let them go at once. The rule is
//! asked of the notes around each note; what differs from the rest for long enough is a passage of its own, parted from it where the notes before and
//! after suit their sides best.
//! Limits: less than [`TextureRule::shortest`] is not told apart from what is around it; slow hymns in block chords count as held, and lose nothing by it.

use super::PlayedNote;
use std::ops::Range;

/// How the notes are played.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Texture {
    /// Chords are struck and held: what is held is the harmony.
    Held,
    /// Melodies, basses, broken or short chords: the harmony must be gathered.
    Played,
}

/// A stretch of one texture.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Passage {
    /// Its notes, by number.
    pub notes: Range<usize>,
    /// How they are played.
    pub texture: Texture,
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
    /// Fewest notes of a piece that has only begun and is clear already (count).
    pub fewest_so_far: usize,
    /// Share of its notes struck in chords below which it is. Of the first twelve seconds of drills (`training/drills.py`) 2 % then count as played, and
    /// songs do so 1.2 s sooner (mean).
    pub in_chords_so_far: f64,
    /// How long half of the notes must last (s).
    pub lasting: f64,
    /// How far around a note the rule is asked (s).
    pub around: f64,
    /// Shortest passage (s).
    pub shortest: f64,
}

impl Default for TextureRule {
    fn default() -> Self {
        Self {
            fewest_notes: 24,
            together: 0.09,
            chord: 3,
            in_chords: 0.75,
            fewest_so_far: 10,
            in_chords_so_far: 0.5,
            lasting: 0.7,
            around: 8.0,
            shortest: 16.0,
        }
    }
}

/// Tells how `notes` (by start) are played, taken together.
pub fn texture(notes: &[PlayedNote], rule: &TextureRule) -> Texture {
    if notes.len() < rule.fewest_notes {
        return Texture::Held;
    }
    judged(&traits(notes, rule), rule)
}

/// The same while they are played: where the piece has only begun, fewer notes tell it, if they are clear.
pub fn texture_so_far(notes: &[PlayedNote], rule: &TextureRule) -> Texture {
    if !(rule.fewest_so_far..rule.fewest_notes).contains(&notes.len()) {
        return texture(notes, rule);
    }
    let in_chords = traits(notes, rule).iter().filter(|t| t.in_chord).count();
    if (in_chords as f64) < rule.in_chords_so_far * notes.len() as f64 {
        Texture::Played
    } else {
        Texture::Held
    }
}

/// Tells how `notes` (by start) are played, passage by passage; none where there are no notes.
pub fn passages(notes: &[PlayedNote], rule: &TextureRule) -> Vec<Passage> {
    let whole = Passage {
        notes: 0..notes.len(),
        texture: texture(notes, rule),
    };
    let (Some(first), Some(last)) = (notes.first(), notes.last()) else {
        return Vec::new();
    };
    if last.start.get() - first.start.get() < 2.0 * rule.shortest {
        return vec![whole];
    }
    let traits = traits(notes, rule);
    let mut runs: Vec<Passage> = Vec::new();
    for (nth, note) in notes.iter().enumerate() {
        let at = note.start.get();
        let from = notes.partition_point(|n| n.start.get() < at - rule.around);
        let to = notes.partition_point(|n| n.start.get() <= at + rule.around);
        let texture = judged(&traits[from..to], rule);
        match runs.last_mut() {
            Some(run) if run.texture == texture => run.notes.end = nth + 1,
            _ => runs.push(Passage {
                notes: nth..nth + 1,
                texture,
            }),
        }
    }
    for nth in 1..runs.len() {
        let border = best_border(notes, &traits, &runs[nth - 1], &runs[nth], rule);
        runs[nth - 1].notes.end = border;
        runs[nth].notes.start = border;
    }
    let lasts = |run: &Passage| {
        let end = notes.get(run.notes.end).unwrap_or(last);
        end.start.get() - notes[run.notes.start].start.get()
    };
    while runs.len() > 1 {
        let shortest = runs
            .iter()
            .enumerate()
            .map(|(at, run)| (at, lasts(run)))
            .filter(|(_, lasts)| *lasts < rule.shortest)
            .min_by(|a, b| a.1.total_cmp(&b.1));
        let Some((at, _)) = shortest else { break };
        take_in(&mut runs, at);
    }
    if runs.len() > 1 { runs } else { vec![whole] }
}

/// What the rule asks of a note.
#[derive(Debug, Clone, Copy)]
struct Trait {
    in_chord: bool,
    lasts: f64,
    /// Struck in a chord most of whose keys last.
    held: bool,
}

fn traits(notes: &[PlayedNote], rule: &TextureRule) -> Vec<Trait> {
    let mut traits = Vec::with_capacity(notes.len());
    while traits.len() < notes.len() {
        let rest = &notes[traits.len()..];
        let began = rest[0].start.get();
        let count = rest
            .iter()
            .take_while(|n| n.start.get() <= began + rule.together)
            .count();
        let lasts = |note: &PlayedNote| note.end.get() - note.start.get();
        let chord = &rest[..count];
        let lasting = chord.iter().filter(|n| lasts(n) >= rule.lasting).count();
        let in_chord = count >= rule.chord;
        let held = in_chord && lasting as f64 >= rule.in_chords * count as f64;
        traits.extend(chord.iter().map(|note| Trait {
            in_chord,
            lasts: lasts(note),
            held,
        }));
    }
    traits
}

fn judged(traits: &[Trait], rule: &TextureRule) -> Texture {
    let in_chords = traits.iter().filter(|t| t.in_chord).count();
    let mut lengths: Vec<f64> = traits.iter().map(|t| t.lasts).collect();
    let middle = lengths.len() / 2;
    let (_, median, _) = lengths.select_nth_unstable_by(middle, f64::total_cmp);
    if in_chords as f64 >= rule.in_chords * traits.len() as f64 && *median >= rule.lasting {
        Texture::Held
    } else {
        Texture::Played
    }
}

/// Makes run `at` a part of what is before and after it, which have one texture.
fn take_in(runs: &mut Vec<Passage>, at: usize) {
    let end = match runs.get(at + 1) {
        Some(after) => after.notes.end,
        None => runs[at].notes.end,
    };
    if at == 0 {
        runs[1].notes.start = 0;
        runs.remove(0);
    } else {
        runs[at - 1].notes.end = end;
        runs.drain(at..(at + 2).min(runs.len()));
    }
}

/// The note at which `after` begins: of those around the border, where the notes on both sides suit their texture best.
fn best_border(
    notes: &[PlayedNote],
    traits: &[Trait],
    before: &Passage,
    after: &Passage,
    rule: &TextureRule,
) -> usize {
    let middle = notes[after.notes.start].start.get();
    let from = notes
        .partition_point(|n| n.start.get() < middle - rule.around)
        .max(before.notes.start + 1);
    let to = notes
        .partition_point(|n| n.start.get() <= middle + rule.around)
        .min(after.notes.end);
    let held_first = before.texture == Texture::Held;
    let (mut best, mut most, mut sum) = (from, 0, 0);
    for (nth, note) in traits.iter().enumerate().take(to).skip(from) {
        sum += if note.held == held_first { 1 } else { -1 };
        if sum > most {
            (best, most) = (nth + 1, sum);
        }
    }
    best.min(after.notes.end - 1)
}
