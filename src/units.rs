//! Units: one type for each quantity that crosses a function border.
//!
//! Input: bare numbers from options, files and formulas. Output: checked values.
//! Units and ranges: each type states its own. Method: newtypes with a checking `new` and an unwrapping `get`;
//! only operations that mean something exist (`MidiNote - MidiNote` is `Semitones`, `Hertz / Hertz` is a ratio).
//! Limits: none; nothing here allocates or fails after construction.

use serde::{Deserialize, Serialize};
use std::fmt;
use std::ops::{Add, Neg, Sub};

pub mod cause;
pub mod clock;
pub mod count;
mod time;

pub use time::{HopIndex, HopSpan, Part, SamplePos, SampleSpan};

/// A value outside the range of its unit.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{given} is no {unit}: {allowed}")]
pub struct OutOfRange {
    /// What was given, as text.
    pub given: String,
    /// The unit it should have been.
    pub unit: &'static str,
    /// What is allowed.
    pub allowed: &'static str,
}

impl OutOfRange {
    fn new(given: impl fmt::Display, unit: &'static str, allowed: &'static str) -> Self {
        Self {
            given: given.to_string(),
            unit,
            allowed,
        }
    }
}

/// A key by its MIDI number, 0 to 127; 60 is middle C (C4), 69 is A4.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "u8", into = "u8")]
pub struct MidiNote(u8);

/// Keys of a full piano.
pub const PIANO_KEYS: usize = 88;

impl MidiNote {
    /// A0, the lowest key of a full piano.
    pub const PIANO_LOWEST: MidiNote = MidiNote(21);
    /// C8, the highest key of a full piano.
    pub const PIANO_HIGHEST: MidiNote = MidiNote(108);

    /// # Errors
    /// If `number` is above 127.
    pub fn new(number: u8) -> Result<Self, OutOfRange> {
        if number <= 127 {
            Ok(Self(number))
        } else {
            Err(OutOfRange::new(number, "MIDI note", "0 to 127"))
        }
    }

    /// The key at `index` (0 to 87) of a full piano.
    ///
    /// # Panics
    /// If `index` is above 87.
    pub const fn from_piano_index(index: usize) -> Self {
        assert!(index < PIANO_KEYS, "a piano has 88 keys");
        Self(index as u8 + Self::PIANO_LOWEST.0)
    }

    /// Where the key lies on a full piano (0 to 87); `None` beyond its ends.
    pub const fn piano_index(self) -> Option<usize> {
        if self.0 >= Self::PIANO_LOWEST.0 && self.0 <= Self::PIANO_HIGHEST.0 {
            Some((self.0 - Self::PIANO_LOWEST.0) as usize)
        } else {
            None
        }
    }

    /// The key of a full piano; `None` beyond its ends.
    pub const fn piano_key(self) -> Option<PianoKey> {
        match self.piano_index() {
            Some(index) => Some(PianoKey(index as u8)),
            None => None,
        }
    }

    /// The MIDI number, 0 to 127.
    pub const fn get(self) -> u8 {
        self.0
    }

    /// Equal-tempered frequency where A4 is at `a4`: `f = a4 * 2^((n - 69) / 12)`.
    pub fn frequency(self, a4: Hertz) -> Hertz {
        Hertz(a4.0 * ((f64::from(self.0) - 69.0) / 12.0).exp2())
    }

    /// The key `by` away, or `None` beyond the MIDI range.
    pub fn checked_add(self, by: Semitones) -> Option<Self> {
        u8::try_from(i16::from(self.0) + by.0)
            .ok()
            .and_then(|n| Self::new(n).ok())
    }
}

impl TryFrom<u8> for MidiNote {
    type Error = OutOfRange;
    fn try_from(number: u8) -> Result<Self, OutOfRange> {
        Self::new(number)
    }
}

impl From<MidiNote> for u8 {
    fn from(note: MidiNote) -> u8 {
        note.0
    }
}

impl Sub for MidiNote {
    type Output = Semitones;
    fn sub(self, other: MidiNote) -> Semitones {
        Semitones(i16::from(self.0) - i16::from(other.0))
    }
}

/// A key of a full piano by its place: 0 is A0, 87 is C8.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct PianoKey(u8);

impl PianoKey {
    /// # Errors
    /// If `index` is above 87.
    pub fn new(index: usize) -> Result<Self, OutOfRange> {
        match u8::try_from(index) {
            Ok(place) if index < PIANO_KEYS => Ok(Self(place)),
            _ => Err(OutOfRange::new(index, "key of a piano", "0 to 87")),
        }
    }

    /// All 88, lowest first.
    pub fn all() -> impl DoubleEndedIterator<Item = Self> + ExactSizeIterator + Clone {
        (0..PIANO_KEYS as u8).map(Self)
    }

    /// Its place, 0 to 87, in arrays with an entry a key.
    pub const fn index(self) -> usize {
        self.0 as usize
    }

    /// Its MIDI number.
    pub const fn midi(self) -> MidiNote {
        MidiNote(self.0 + MidiNote::PIANO_LOWEST.0)
    }
}

impl From<PianoKey> for MidiNote {
    fn from(key: PianoKey) -> MidiNote {
        key.midi()
    }
}

/// An interval in equal-tempered half steps; negative is downwards.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize,
)]
pub struct Semitones(pub i16);

impl Add for Semitones {
    type Output = Semitones;
    fn add(self, other: Semitones) -> Semitones {
        Semitones(self.0 + other.0)
    }
}

impl Neg for Semitones {
    type Output = Semitones;
    fn neg(self) -> Semitones {
        Semitones(-self.0)
    }
}

/// A frequency in cycles a second: positive and finite.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(try_from = "f64", into = "f64")]
pub struct Hertz(f64);

impl Hertz {
    /// The usual concert pitch of A4.
    pub const CONCERT_A4: Hertz = Hertz(440.0);

    /// # Errors
    /// If `value` is not finite or not above zero.
    pub fn new(value: f64) -> Result<Self, OutOfRange> {
        if value.is_finite() && value > 0.0 {
            Ok(Self(value))
        } else {
            Err(OutOfRange::new(value, "frequency", "above 0 Hz and finite"))
        }
    }

    /// The number of hertz.
    pub const fn get(self) -> f64 {
        self.0
    }

    /// How far this lies above `other`: `1200 log2(self / other)`.
    pub fn cents_above(self, other: Hertz) -> Cents {
        Cents::of_ratio(self.0 / other.0)
    }

    /// This frequency moved by `cents`: `f * 2^(cents / 1200)`.
    pub fn raised_by(self, cents: Cents) -> Hertz {
        Hertz(self.0 * cents.ratio())
    }
}

impl TryFrom<f64> for Hertz {
    type Error = OutOfRange;
    fn try_from(value: f64) -> Result<Self, OutOfRange> {
        Self::new(value)
    }
}

impl From<Hertz> for f64 {
    fn from(hertz: Hertz) -> f64 {
        hertz.0
    }
}

/// A small pitch difference: a hundred to the half step; finite.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default, Serialize, Deserialize)]
#[serde(try_from = "f64", into = "f64")]
pub struct Cents(f64);

impl Cents {
    /// No difference.
    pub const ZERO: Cents = Cents(0.0);

    /// # Errors
    /// If `value` is not finite.
    pub fn new(value: f64) -> Result<Self, OutOfRange> {
        if value.is_finite() {
            Ok(Self(value))
        } else {
            Err(OutOfRange::new(value, "number of cents", "finite"))
        }
    }

    /// What was measured; the caller answers for its being finite.
    pub(crate) const fn measured(value: f64) -> Self {
        Self(value)
    }

    /// The difference of two frequencies of which one is `ratio` times the other: `1200 log2(ratio)`. The ratio must be above 0 and finite.
    pub(crate) fn of_ratio(ratio: f64) -> Self {
        Self(1200.0 * ratio.log2())
    }

    /// By how many times a frequency grows that is raised by so much: `2^(c / 1200)`.
    pub fn ratio(self) -> f64 {
        (self.0 / 1200.0).exp2()
    }

    /// The number of cents.
    pub const fn get(self) -> f64 {
        self.0
    }
}

impl TryFrom<f64> for Cents {
    type Error = OutOfRange;
    fn try_from(value: f64) -> Result<Self, OutOfRange> {
        Self::new(value)
    }
}

impl From<Cents> for f64 {
    fn from(cents: Cents) -> f64 {
        cents.0
    }
}

/// Audio frames (one sample a channel) a second: 1 to 768,000.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "u32", into = "u32")]
pub struct SampleRate(u32);

impl SampleRate {
    /// The rate at which the listener works, whatever the source: 22,050 Hz.
    pub const INTERNAL: SampleRate = SampleRate(22_050);

    /// # Errors
    /// If `value` is zero or above 768,000.
    pub fn new(value: u32) -> Result<Self, OutOfRange> {
        if (1..=768_000).contains(&value) {
            Ok(Self(value))
        } else {
            Err(OutOfRange::new(value, "sample rate", "1 to 768000 Hz"))
        }
    }

    /// Frames a second.
    pub const fn get(self) -> u32 {
        self.0
    }
}

impl TryFrom<u32> for SampleRate {
    type Error = OutOfRange;
    fn try_from(value: u32) -> Result<Self, OutOfRange> {
        Self::new(value)
    }
}

impl From<SampleRate> for u32 {
    fn from(rate: SampleRate) -> u32 {
        rate.0
    }
}

/// A time or duration in seconds, for views, exports and options: finite.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Seconds(f64);

impl Seconds {
    /// The start.
    pub const ZERO: Seconds = Seconds(0.0);

    /// # Errors
    /// If `value` is not finite.
    pub fn new(value: f64) -> Result<Self, OutOfRange> {
        if value.is_finite() {
            Ok(Self(value))
        } else {
            Err(OutOfRange::new(value, "time", "finite seconds"))
        }
    }

    /// The number of seconds.
    pub const fn get(self) -> f64 {
        self.0
    }

    /// The nearest audio frame at `rate`; times before the start become 0.
    pub fn frames(self, rate: SampleRate) -> SamplePos {
        SamplePos::new((self.0.max(0.0) * f64::from(rate.get())).round() as u64)
    }

    /// Rounded to milliseconds, as times are written to files.
    pub fn to_millis_precision(self) -> Seconds {
        Seconds((self.0 * 1000.0).round() / 1000.0)
    }
}

impl Sub for Seconds {
    type Output = Seconds;
    fn sub(self, other: Seconds) -> Seconds {
        Seconds(self.0 - other.0)
    }
}

impl Add for Seconds {
    type Output = Seconds;
    fn add(self, other: Seconds) -> Seconds {
        Seconds(self.0 + other.0)
    }
}

/// A share or probability: 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Share(f32);

impl Share {
    /// Nothing.
    pub const ZERO: Share = Share(0.0);
    /// All.
    pub const ONE: Share = Share(1.0);

    /// Clamped to 0..=1; a value that is no number becomes 0.
    pub fn clamped(value: f32) -> Self {
        if value.is_nan() {
            Self(0.0)
        } else {
            Self(value.clamp(0.0, 1.0))
        }
    }

    /// The value, 0 to 1.
    pub const fn get(self) -> f32 {
        self.0
    }
}

/// A level relative to full scale, in dB, as in AES17-2020 and IEC 61606: a sine whose peak is full scale has 0 dBFS. -120 and below is silence.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Dbfs(f64);

impl Dbfs {
    /// Digital silence.
    pub const SILENCE: Dbfs = Dbfs(-120.0);

    /// So many dB; what is below -120, or no number, is silence.
    pub const fn new(db: f64) -> Self {
        if db > Self::SILENCE.0 {
            Self(db)
        } else {
            Self::SILENCE
        }
    }

    /// Of a peak magnitude (1 is full scale): `20 log10 |x|`.
    pub fn from_peak(magnitude: f64) -> Self {
        Self::new(20.0 * magnitude.log10())
    }

    /// Of a mean square (1/2 is a full-scale sine): `10 log10(2 x)`.
    pub fn from_mean_square(mean_square: f64) -> Self {
        Self::from_peak((2.0 * mean_square).sqrt())
    }

    /// The number of dB, -120 or more.
    pub const fn get(self) -> f64 {
        self.0
    }
}

/// `ln(p / (1 - p))` of a probability, 0 to 1; none is taken to be surer than 1 in 10,000.
pub(crate) fn log_odds(p: f32) -> f32 {
    let p = p.clamp(1e-4, 1.0 - 1e-4);
    (p / (1.0 - p)).ln()
}

/// The probability, 0 to 1, of these log-odds.
pub(crate) fn probability(log_odds: f32) -> f32 {
    1.0 / (1.0 + (-log_odds).exp())
}

/// To two decimals, as values are kept in files.
pub(crate) fn hundredths(x: f64) -> f64 {
    (x * 100.0).round() / 100.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a4_is_concert_pitch_and_octaves_double() {
        let a4 = MidiNote::new(69).unwrap();
        assert_eq!(a4.frequency(Hertz::CONCERT_A4).get(), 440.0);
        let a5 = MidiNote::new(81).unwrap();
        assert_eq!(a5.frequency(Hertz::CONCERT_A4).get(), 880.0);
        assert_eq!(a5 - a4, Semitones(12));
    }

    #[test]
    fn values_outside_a_unit_are_refused_with_the_allowed_range() {
        assert!(MidiNote::new(128).is_err());
        assert!(Hertz::new(f64::NAN).is_err());
        assert_eq!(
            SampleRate::new(0).unwrap_err().to_string(),
            "0 is no sample rate: 1 to 768000 Hz"
        );
        assert_eq!(Share::clamped(f32::NAN), Share::ZERO);
    }

    #[test]
    fn every_key_of_a_piano_is_a_midi_note_and_back() {
        assert_eq!(PianoKey::all().len(), PIANO_KEYS);
        for (index, key) in PianoKey::all().enumerate() {
            assert_eq!((key.index(), key.midi().piano_key()), (index, Some(key)));
            assert_eq!(PianoKey::new(index), Ok(key));
        }
        assert!(PianoKey::new(PIANO_KEYS).is_err() && PianoKey::new(300).is_err());
    }

    #[test]
    fn piano_index_covers_88_keys() {
        assert_eq!(MidiNote::PIANO_LOWEST.piano_index(), Some(0));
        assert_eq!(MidiNote::PIANO_HIGHEST.piano_index(), Some(PIANO_KEYS - 1));
        assert_eq!(MidiNote::new(20).unwrap().piano_index(), None);
    }
}
