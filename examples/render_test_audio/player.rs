//! The player: turns written chords into struck keys, with hands as uneven as hands are.
//!
//! Input: voicings as note names (`"Bb2 A3 C4"`). Output: a [`Performance`], the truth of a take.
//! Units: seconds, MIDI numbers, velocities. Method: strikes of one chord lie up to 8 ms behind the beat, velocities
//! up to 6 off; the seed is given, so that the same part is always played alike.
//! Limits: none beyond the recordings'.

use crate::error::RenderError;
use serde::Serialize;

/// A key that was struck.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlayedNote {
    /// The key, 60 is middle C.
    pub midi: u8,
    /// When the hammer struck, in seconds.
    pub onset: f64,
    /// When the damper fell, in seconds.
    pub offset: f64,
    /// How hard, 1 to 127.
    pub velocity: u8,
}

/// A chord that was meant.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlayedChord {
    /// When its first note was struck, in seconds.
    pub start: f64,
    /// When it gave way, in seconds.
    pub end: f64,
    /// Its academic label.
    pub label: &'static str,
    /// Every label as good, the first one included.
    pub accepted: Vec<&'static str>,
    /// The keys of the chord without the melody, lowest first.
    pub midi: Vec<u8>,
}

/// One try at one key of a drill.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Attempt {
    /// When it was struck, in seconds.
    pub start: f64,
    /// When it was let go, in seconds.
    pub end: f64,
    /// The academic label of what should be played.
    pub target: &'static str,
    /// The keys that should be played.
    pub target_midi: Vec<u8>,
    /// The keys that were played.
    pub played_midi: Vec<u8>,
    /// Whether the pitch classes are those of the target.
    pub right: bool,
    /// Pitch classes that should have sounded and did not.
    pub missing: Vec<u8>,
    /// Pitch classes that should not have sounded and did.
    pub extra: Vec<u8>,
}

/// All that was played in a take.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Performance {
    /// Every struck key, in order of writing.
    pub notes: Vec<PlayedNote>,
    /// Every chord, in order of time.
    pub chords: Vec<PlayedChord>,
    /// Every try, in order of time; empty where nothing was drilled.
    pub attempts: Vec<Attempt>,
}

/// How a chord is struck.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Touch {
    /// Mean velocity, 1 to 127.
    pub velocity: u8,
    /// Time from each note of a rolled chord to the next, in seconds; 0 is struck at once.
    pub roll: f64,
}

/// Someone at the piano.
pub struct Player {
    random: fastrand::Rng,
    /// What was played so far.
    pub performance: Performance,
}

impl Player {
    /// A player whose unevenness follows from `seed`.
    pub fn new(seed: u64) -> Self {
        Self {
            random: fastrand::Rng::with_seed(seed),
            performance: Performance::default(),
        }
    }

    /// Strikes `keys`, lowest first, from `start` on, and lets all go at `end`. A key that the pedal still holds ends
    /// where it is struck again.
    pub fn strike(&mut self, keys: &[u8], start: f64, end: f64, touch: Touch) {
        for (place, &midi) in keys.iter().enumerate() {
            let behind = 0.008 * self.random.f64();
            let uneven = self.random.i16(-6..=6);
            let onset = ten_thousandths(start + place as f64 * touch.roll + behind);
            if let Some(before) = self
                .performance
                .notes
                .iter_mut()
                .rfind(|note| note.midi == midi)
            {
                before.offset = before.offset.min(onset);
            }
            self.performance.notes.push(PlayedNote {
                midi,
                onset,
                offset: ten_thousandths(end),
                velocity: (i16::from(touch.velocity) + uneven).clamp(1, 127) as u8,
            });
        }
    }

    /// A pause or a hesitation between `least` and `most` seconds.
    pub fn wait(&mut self, least: f64, most: f64) -> f64 {
        least + (most - least) * self.random.f64()
    }
}

/// Rounded as times are written to the truth: to a tenth of a millisecond.
pub fn ten_thousandths(seconds: f64) -> f64 {
    (seconds * 10_000.0).round() / 10_000.0
}

/// The keys of a voicing written as note names with octaves, such as `"Bb2 A3 C4"` (C4 is middle C).
///
/// # Errors
/// If a name is none.
pub fn keys(voicing: &str) -> Result<Vec<u8>, RenderError> {
    voicing
        .split_whitespace()
        .map(|name| {
            key(name).ok_or_else(|| {
                RenderError::Part(format!("`{name}` is no note name with an octave"))
            })
        })
        .collect()
}

fn key(name: &str) -> Option<u8> {
    let octave_at = name.find(|c: char| c.is_ascii_digit())?;
    let (letter_and_accidental, octave) = name.split_at(octave_at);
    let mut characters = letter_and_accidental.chars();
    let letter = match characters.next()? {
        'C' => 0,
        'D' => 2,
        'E' => 4,
        'F' => 5,
        'G' => 7,
        'A' => 9,
        'B' => 11,
        _ => return None,
    };
    let accidental = match characters.as_str() {
        "" => 0,
        "#" => 1,
        "b" => -1,
        _ => return None,
    };
    u8::try_from(12 * (octave.parse::<i16>().ok()? + 1) + letter + accidental).ok()
}
