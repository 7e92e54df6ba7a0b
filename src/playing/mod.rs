//! Playing: beats, bars, harmony, key and melody, read from notes.
//!
//! Input: [`PlayedNote`]s by start, and what the user states ([`Stated`]). Output: [`PlayingRead`]. Units: seconds, MIDI numbers, shares 0 to 1.
//! Method: beats by dynamic programming over strikes ([`beats`]); time cut at beats ([`evidence`]); a key from the notes ([`key`]); the harmony by a
//! semi-Markov search ([`search`]); bars from bass and changes of harmony ([`bars`]); then key and harmony once more with what is known, and the key of the whole ([`home`]). Sources stand in each.
//! Limits: the whole of the notes is looked at at once; memory and time grow with their number.

pub mod bars;
pub mod beats;
pub mod evidence;
pub(crate) mod families;
pub mod home;
pub mod key;
pub mod level;
mod names;
pub mod search;
pub mod so_far;
pub(crate) mod strikes;
pub mod texture;

use crate::harmony::{Chord, Key, Numeral, Role, Spelling};
use crate::units::{MidiNote, Seconds, Share};
use bars::BarTrack;
use beats::{BeatTrack, BeatTuning};
use evidence::{BeatPlace, NoteWeights};
use key::KeyTuning;
use search::{InBar, SearchTuning};
use strikes::StrikeWeights;

/// One note as it was played.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlayedNote {
    /// The key.
    pub midi: MidiNote,
    /// When it was struck.
    pub start: Seconds,
    /// When its sound ended: its damper fell.
    pub end: Seconds,
    /// How strongly it was struck.
    pub strength: Share,
    /// Probability that it is there.
    pub confidence: Share,
}

/// What the user knows of the rhythm.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct StatedRhythm {
    /// Beats a minute.
    pub bpm: Option<f64>,
    /// Beats in a bar.
    pub meter: Option<usize>,
    /// Beats before the first bar.
    pub pickup: Option<usize>,
}

/// What the user knows of the piece.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Stated {
    /// Of its rhythm.
    pub rhythm: StatedRhythm,
    /// The key.
    pub key: Option<Key>,
    /// How notes are spelled.
    pub spelling: Spelling,
}

/// A stretch of one harmony.
#[derive(Debug, Clone, PartialEq)]
pub struct Stretch {
    /// When it begins.
    pub start: Seconds,
    /// When it ends.
    pub end: Seconds,
    /// What it can be called, best first; empty where no chord is played: a run, a single line, silence.
    pub chords: Vec<RankedChord>,
    /// The key there, if one is believed.
    pub key: Option<Key>,
    /// How sure the key is.
    pub key_confidence: Share,
    /// Roman numeral in that key.
    pub numeral: Option<Numeral>,
    /// What it does there, in words.
    pub role: Option<Role>,
    /// The dominant it stands for, if it is a diminished major seventh that resolves as one.
    pub stands_for: Option<Chord>,
}

/// One way to call the harmony of a stretch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RankedChord {
    /// Root, degrees, bass.
    pub chord: Chord,
    /// How sure it is.
    pub confidence: Share,
}

/// All that is read from the notes of a performance.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct PlayingRead {
    /// The beats.
    pub beats: BeatTrack,
    /// The bars.
    pub bars: BarTrack,
    /// The harmony, without gaps from the first strike to the end of the last note.
    pub harmony: Vec<Stretch>,
    /// The key of the whole, with its confidence; `None` where none is believed.
    pub key: Option<(Key, Share)>,
    /// The notes of the highest voice, as indices of the notes.
    pub melody: Vec<usize>,
}

/// The weights of the reading that were set by trying; those of [`level`], [`home`] and [`bars`] were fitted as wholes.
#[derive(Debug, Clone, Copy, Default)]
pub struct Tuning {
    /// Of strikes.
    pub strikes: StrikeWeights,
    /// Of beats.
    pub beats: BeatTuning,
    /// Of notes.
    pub notes: NoteWeights,
    /// Of harmony.
    pub search: SearchTuning,
    /// Of keys.
    pub key: KeyTuning,
}

/// Reads the playing. `notes` must be sorted by start.
pub fn read(notes: &[PlayedNote], stated: &Stated) -> PlayingRead {
    read_with(notes, stated, &Tuning::default())
}

/// The same with other weights.
pub fn read_with(notes: &[PlayedNote], stated: &Stated, tuning: &Tuning) -> PlayingRead {
    let BeatAndHarmony {
        beats,
        units,
        high,
        beat,
        found: first,
    } = beat_and_harmony(notes, stated, tuning);
    let bars = bars::bars(
        &beats,
        &units,
        &first,
        notes,
        stated.rhythm.meter,
        stated.rhythm.pickup,
    );
    // where a key is stated there is none to look for
    let home = |found: &[search::Found]| {
        let looked_for = stated.key.is_none();
        looked_for.then(|| home::likely(notes, &sounding(&units, found)))
    };
    let keys = key::keys(
        &units,
        &first,
        home(&first).as_ref(),
        stated.key,
        beat,
        &tuning.key,
    );
    let place = |u: usize| in_bar(&bars, units[u].place);
    let found = search::search(
        &units,
        &place,
        &|u| keys.units.get(u).map(|k| k.0),
        &tuning.search,
    );
    let keys = key::keys(
        &units,
        &found,
        home(&found).as_ref(),
        stated.key,
        beat,
        &tuning.key,
    );
    let harmony = names::stretches(&units, &found, &keys, stated, tuning);
    PlayingRead {
        beats,
        bars,
        harmony,
        key: keys
            .whole
            .filter(|k| k.1 >= tuning.key.believed)
            .map(|(key, sure)| (key, Share::clamped(sure))),
        melody: (0..notes.len()).filter(|&i| high[i]).collect(),
    }
}

/// What is known before bars are: the beat, time cut by it, and a first harmony.
struct BeatAndHarmony {
    beats: BeatTrack,
    units: Vec<evidence::Unit>,
    /// Which notes are the highest voice.
    high: Vec<bool>,
    /// The usual length of a beat (s).
    beat: f64,
    found: Vec<search::Found>,
}

fn beat_and_harmony(notes: &[PlayedNote], stated: &Stated, tuning: &Tuning) -> BeatAndHarmony {
    let length = notes.iter().map(|n| n.end.get()).fold(0.0, f64::max);
    let strikes = strikes::strikes(notes, tuning.strikes);
    let beats = beats::track(notes, &strikes, length, stated.rhythm.bpm, &tuning.beats);
    let high = evidence::melody(notes);
    let units = evidence::units(notes, &strikes, &beats, &high, &tuning.notes);
    let beat = evidence::beat_length(&beats);
    let keys = key::keys(&units, &[], None, stated.key, beat, &tuning.key);
    let found = search::search(
        &units,
        &|_| InBar::Unknown,
        &|u| keys.units.get(u).map(|k| k.0),
        &tuning.search,
    );
    BeatAndHarmony {
        beats,
        units,
        high,
        beat,
        found,
    }
}

/// The beats that are found, each with its time (s) and what tells whether it is a downbeat, for fitting the weights of [`bars`].
pub fn beats_with_features(notes: &[PlayedNote]) -> Vec<(f64, [f32; bars::FEATURES])> {
    let BeatAndHarmony {
        beats,
        units,
        found,
        ..
    } = beat_and_harmony(notes, &Stated::default(), &Tuning::default());
    let rows = bars::features(&beats, &units, &found, notes);
    beats.beats.iter().map(|b| b.time).zip(rows).collect()
}

/// The chords of the stretches, as far as the key goes.
fn sounding(units: &[evidence::Unit], found: &[search::Found]) -> Vec<home::SoundingChord> {
    let chord = |stretch: &search::Found| {
        let &(search::Taken::Chord(root, family), sure) = stretch.takes.first()? else {
            return None;
        };
        Some(home::SoundingChord {
            lasts: units[stretch.to - 1].end - units[stretch.from].start,
            root,
            class: families::FAMILIES[family].class(),
            sure,
        })
    };
    found.iter().filter_map(chord).collect()
}

fn in_bar(bars: &BarTrack, place: BeatPlace) -> InBar {
    let BeatPlace::Beat(beat) = place else {
        return InBar::Unknown;
    };
    let at = bars.downbeats.partition_point(|&d| d <= beat);
    match at.checked_sub(1).map(|i| beat - bars.downbeats[i]) {
        None => InBar::Unknown,
        Some(0) => InBar::First,
        Some(2) if bars.meter == 4 => InBar::Middle,
        Some(_) => InBar::Other,
    }
}
