//! A recording as those who publish it need it: what is to be read, as values, in one list of chords.
//!
//! Input: a [`Heard`] recording. Output: [`Piece`]: its chords (the harmony of what is played, or what is held where chords are held for study), each with its
//! names, keys, reading and place; its notes, spelled and given to hands; its beats. Units: seconds with millisecond precision; MIDI numbers; shares 0 to 1.
//! Method: names, readings and places come from one interpretation; nothing is analysed here. The voicing of a stretch of playing is the set of keys that is
//! held longest in it. Notes are spelled by the chord over which they sound, else by the key.
//! Limits: names and readings beyond the first few are dropped, so that hours stay small.

use crate::chart::document::{HarmonyStretch, Rhythm};
use crate::chart::entries::seconds;
use crate::chart::hands::{left_hand_keys, parting};
use crate::chart::marked::Marked;
use crate::chart::passages::PlacedChord;
use crate::chart::pedalling::PedalSpan;
use crate::chart::performance::Performance;
use crate::chart::recording::Heard;
use crate::chart::velocity::{MIDDLE_VELOCITY, Velocities};
use crate::harmony::speller::{Speller, degrees_of};
use crate::harmony::{
    Chord, Context, DegreeSet, Key, NamedNote, NotesByDegree, PitchClass, PitchSet, Reading,
    ReadingKind, Sounding, Style, Verdict,
};
use crate::listener::{Certainty, ChordSpan, NoteSpan};
use crate::playing::Stretch;
use crate::units::{Hertz, MidiNote, Seconds, Share};
use std::path::Path;

/// Names of a chord that are kept.
const NAMES: usize = 4;
/// Notes that are struck within this time are struck together (s).
const TOGETHER: f64 = 0.06;
/// A note this little before a chord belongs to it (s).
const EARLY: f64 = 0.06;
/// Keys that make a voicing.
const VOICING: usize = 3;

/// One recording, to be published.
#[derive(Debug, Clone, PartialEq)]
pub struct Piece {
    /// The file as it was named by the user.
    pub file: String,
    /// Where what was read of the recording begins: 0 unless a part was asked for. All times are those of the whole.
    pub begins: Seconds,
    /// Where it ends.
    pub length: Seconds,
    /// Frequency of A4 on this piano; `None` where nothing sounded.
    pub a4: Option<Hertz>,
    /// The key that holds longest, where one is believed.
    pub key: Option<Key>,
    /// True where music is played, false where chords are held for study.
    pub played: bool,
    /// Chords by start.
    pub chords: Vec<PieceChord>,
    /// Notes by start.
    pub notes: Vec<PieceNote>,
    /// When the sustaining pedal is down, by start; `None` where that is not known.
    pub pedal: Option<Vec<PedalSpan>>,
    /// Beats and bars, where they are believed.
    pub grid: Option<Grid>,
    /// House style of chord symbols.
    pub style: Style,
    /// What was noticed about the sound, one sentence each.
    pub warnings: Vec<String>,
    /// What the player marked while it was heard, by time.
    pub marks: Vec<Marked>,
    /// Named parts, each where it begins.
    pub sections: Vec<(Seconds, String)>,
}

/// One chord of a piece.
#[derive(Debug, Clone, PartialEq)]
pub struct PieceChord {
    /// When it begins.
    pub start: Seconds,
    /// When it gives way.
    pub end: Seconds,
    /// What it can be called, best first.
    pub names: Vec<PieceName>,
    /// How sure the names are.
    pub verdict: Verdict,
    /// The keys that sound, lowest first, spelled for the best name.
    pub keys: Vec<NamedNote>,
    /// How certain each of them is.
    pub certainty: Vec<Certainty>,
    /// Each sounding note with its degree in the best name.
    pub degrees: NotesByDegree,
    /// What it stands for, as a reading; the likeliest.
    pub reading: Option<Reading>,
    /// The chord it stands for here, if it is a stand-in.
    pub stands_for: Option<Chord>,
    /// The local key, where one is believed.
    pub key: Option<Key>,
    /// Roman numeral in the local key.
    pub numeral: Option<String>,
    /// What it does there, in words.
    pub function: Option<&'static str>,
    /// True where the pedal must hold what two hands cannot.
    pub pedal: bool,
}

/// One name of a chord.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PieceName {
    /// The chord it says.
    pub chord: Chord,
    /// The degrees of it that sound.
    pub sounding: DegreeSet,
    /// How sure it is.
    pub score: Share,
}

/// The chord that is written over a staff.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OnStaff {
    /// The chord.
    pub chord: Chord,
    /// True where some of its notes do not sound and are meant all the same: the voicing stands for it.
    pub implied: bool,
}

/// One struck note.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PieceNote {
    /// The key under its name.
    pub note: NamedNote,
    /// When it was struck.
    pub start: Seconds,
    /// When its damper fell, or its sound was lost.
    pub end: Seconds,
    /// How hard it was struck beside the others, as MIDI counts velocity.
    pub velocity: u8,
    /// How certain it is.
    pub certainty: Certainty,
    /// The hand that plays it.
    pub hand: Hand,
    /// Its voice.
    pub voice: Voice,
}

/// A hand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Hand {
    /// The left one.
    Left,
    /// The right one.
    Right,
}

/// A voice of what is played.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Voice {
    /// The lowest note of the left hand.
    Bass,
    /// The other notes of the left hand.
    Left,
    /// The notes of the right hand below the highest.
    Right,
    /// The melody, or the highest note of a chord.
    Top,
}

/// Beats and bars.
#[derive(Debug, Clone, PartialEq)]
pub struct Grid {
    /// The beats.
    pub beats: Vec<Seconds>,
    /// Those that begin a bar, counted from 0; empty where no bars are believed.
    pub downbeats: Vec<usize>,
    /// Beats in a bar; 4 where no bars are believed.
    pub meter: usize,
    /// How they lie.
    pub rhythm: Rhythm,
}

/// Where a moment lies among beats (s, at least two): the number of the beat before it, counted from 0, and the share of the way to the next. Before
/// the first and after the last it goes on at their pace.
pub fn place_among(beats: &[f64], at: f64) -> (usize, f64) {
    let beat = beats
        .partition_point(|&beat| beat <= at)
        .saturating_sub(1)
        .min(beats.len() - 2);
    (beat, (at - beats[beat]) / (beats[beat + 1] - beats[beat]))
}

impl PieceChord {
    /// The best name, unless none is good.
    pub fn best(&self) -> Option<&PieceName> {
        self.names
            .first()
            .filter(|_| self.verdict != Verdict::NoGoodName)
    }

    /// The chord to be written over the staff: what a stand-in stands for, else the best name.
    pub fn on_staff(&self) -> Option<OnStaff> {
        match self.stands_for {
            Some(chord) => Some(OnStaff {
                chord,
                implied: true,
            }),
            None => {
                let rootless =
                    |name: &PieceName| !name.sounding.contains(crate::harmony::Degree::ROOT);
                self.best().map(|name| OnStaff {
                    chord: name.chord,
                    implied: rootless(name) && name.chord.lower.is_none(),
                })
            }
        }
    }

    /// The keys under the names that they have in the chord that is written over the staff.
    pub fn keys_on_staff(&self) -> Vec<NamedNote> {
        let stand_in = self
            .reading
            .as_ref()
            .filter(|reading| self.stands_for == Some(reading.chord));
        let Some(reading) = stand_in else {
            return self.keys.clone();
        };
        let name_of = |class: PitchClass| {
            reading
                .degrees
                .iter()
                .find(|(name, _)| name.class() == class)
                .map(|&(name, _)| name)
        };
        let renamed = |key: &NamedNote| NamedNote {
            name: name_of(PitchClass::from(key.midi)).unwrap_or(key.name),
            ..*key
        };
        self.keys.iter().map(renamed).collect()
    }
}

impl Piece {
    /// Of what was heard.
    pub fn of(heard: &Heard) -> Self {
        let played = heard.performance();
        let interpreted = heard.interpreted();
        let key = match &played {
            Some(played) => played.key,
            None => interpreted.believed_key(),
        };
        let chords: Vec<PieceChord> = match &played {
            Some(played) => played_chords(heard, played, || interpreted.placed()),
            None => interpreted.placed().map(held_chord).collect(),
        };
        let melody = played.as_ref().map(|played| played.melody.as_slice());
        let notes = notes(heard, &chords, key, melody);
        Self {
            file: heard.file.clone(),
            begins: seconds(heard.part.from),
            length: seconds(heard.length),
            a4: heard.a4,
            key,
            played: played.is_some(),
            notes,
            pedal: heard.pedal.clone(),
            chords,
            grid: played.and_then(grid),
            style: heard.naming.style,
            warnings: heard.warnings.clone(),
            marks: heard.marks.clone(),
            sections: Vec::new(),
        }
    }

    /// The name of the recording's file without its ending.
    pub fn stem(&self) -> String {
        let stem = Path::new(&self.file).file_stem();
        stem.map_or(self.file.clone(), |stem| {
            stem.to_string_lossy().into_owned()
        })
    }

    /// The number of the chord that sounds at this time.
    pub fn chord_at(&self, at: Seconds) -> Option<usize> {
        chord_at(&self.chords, at.get())
    }
}

fn chord_at(chords: &[PieceChord], at: f64) -> Option<usize> {
    let begun = chords.partition_point(|chord| chord.start.get() <= at + EARLY);
    begun
        .checked_sub(1)
        .filter(|&last| chords[last].end.get() > at)
}

fn held_chord(placed: PlacedChord<'_>) -> PieceChord {
    let PlacedChord {
        span,
        pedal,
        naming,
        place,
        ..
    } = placed;
    let believed = place.is_believed();
    let score = |name: &crate::harmony::Name| PieceName {
        chord: name.chord,
        sounding: name.sounding,
        score: name.score,
    };
    let stand_in = |reading: &Reading| {
        place.stands_for == Some(reading.chord) && reading.kind != ReadingKind::HalfWholeFamily
    };
    let at = naming.readings.iter().position(stand_in).unwrap_or(0);
    PieceChord {
        start: seconds(span.start),
        end: seconds(span.end),
        verdict: naming.verdict,
        degrees: naming
            .names
            .first()
            .map(|name| name.degrees.clone())
            .unwrap_or_default(),
        names: naming.names.iter().take(NAMES).map(score).collect(),
        keys: naming.notes,
        certainty: span.notes.iter().map(|note| note.certainty).collect(),
        reading: naming.readings.into_iter().nth(at),
        stands_for: place.stands_for,
        key: believed.then_some(place.key),
        numeral: believed.then(|| place.numeral.to_string()),
        function: believed.then(|| place.role.words()),
        pedal,
    }
}

/// The harmony of what is played, each chord with the keys that are held longest in it; a chord that is held, with its own.
fn played_chords<'a, P: Iterator<Item = PlacedChord<'a>>>(
    heard: &Heard,
    played: &Performance,
    placed: impl Fn() -> P,
) -> Vec<PieceChord> {
    let some_are_held = played.stretches.iter().any(Option::is_none);
    let held: Vec<PieceChord> = match some_are_held {
        true => placed().map(held_chord).collect(),
        false => Vec::new(),
    };
    let mut held = held.into_iter().peekable();
    let mut first = 0;
    let chord = |(stretch, text): (&Option<Stretch>, &HarmonyStretch)| {
        let Some(stretch) = stretch else {
            while held.next_if(|chord| chord.start < text.start).is_some() {}
            return held.next();
        };
        let (start, end) = (text.start.get(), text.end.get());
        while heard
            .chords
            .get(first)
            .is_some_and(|span| seconds(span.end).get() <= start)
        {
            first += 1;
        }
        let within = heard.chords[first..]
            .iter()
            .take_while(|span| seconds(span.start).get() < end);
        let overlap = |span: &ChordSpan| {
            seconds(span.end).get().min(end) - seconds(span.start).get().max(start)
        };
        let voicing = within.max_by(|a, b| {
            let rank = |span: &ChordSpan| (span.notes.len() >= VOICING, overlap(span));
            let ((a_full, a), (b_full, b)) = (rank(a), rank(b));
            a_full.cmp(&b_full).then(a.total_cmp(&b))
        });
        let best = stretch.chords.first().map(|ranked| ranked.chord);
        let heard_notes = voicing
            .map(|span| span.notes.as_slice())
            .unwrap_or_default();
        let speller = speller(stretch.key, heard);
        let keys: Vec<NamedNote> = heard_notes
            .iter()
            .map(|note| NamedNote {
                midi: note.midi,
                name: speller.note(PitchClass::from(note.midi), best.as_ref()),
            })
            .collect();
        let sounding = keys.iter().fold(PitchSet::EMPTY, |set, key| {
            set.with(PitchClass::from(key.midi))
        });
        Some(PieceChord {
            start: text.start,
            end: text.end,
            names: stretch
                .chords
                .iter()
                .take(NAMES)
                .map(|ranked| PieceName {
                    chord: ranked.chord,
                    sounding: ranked.chord.sounding(),
                    score: ranked.confidence,
                })
                .collect(),
            verdict: Verdict::Named,
            degrees: best
                .map(|chord| degrees_of(&chord, &speller.notes(sounding, &chord)))
                .unwrap_or_default(),
            keys,
            certainty: heard_notes.iter().map(|note| note.certainty).collect(),
            reading: None,
            stands_for: stretch.stands_for,
            key: stretch.key,
            numeral: text.numeral.clone(),
            function: stretch.role.map(|role| role.words()),
            pedal: false,
        })
    };
    played
        .stretches
        .iter()
        .zip(&played.harmony)
        .filter_map(chord)
        .collect()
}

fn speller(key: Option<Key>, heard: &Heard) -> Speller {
    let context = Context {
        key,
        spelling: heard.naming.analysis.spelling,
        ..Context::default()
    };
    Speller::new(&Sounding::default(), &context)
}

fn grid(played: Performance) -> Option<Grid> {
    let rhythm = played.rhythm?;
    let index = |at: &Seconds| played.beats.iter().position(|beat| beat == at);
    Some(Grid {
        downbeats: played.downbeats.iter().filter_map(index).collect(),
        meter: rhythm.meter.unwrap_or(4),
        rhythm,
        beats: played.beats,
    })
}

/// Notes under their names, in their hands and voices.
fn notes(
    heard: &Heard,
    chords: &[PieceChord],
    key: Option<Key>,
    melody: Option<&[usize]>,
) -> Vec<PieceNote> {
    let velocities = Velocities::of(&heard.notes);
    let mut given: Vec<PieceNote> = heard
        .notes
        .iter()
        .map(|span| PieceNote {
            velocity: velocities.velocity(span),
            ..note(heard, span, chords, key)
        })
        .collect();
    let (mut at, mut parted) = (0, None);
    while at < given.len() {
        let began = given[at].start.get();
        let count = given[at..]
            .iter()
            .take_while(|note| note.start.get() <= began + TOGETHER)
            .count();
        let mut order: Vec<usize> = (at..at + count).collect();
        order.sort_by_key(|&i| given[i].note.midi);
        let keys: Vec<MidiNote> = order.iter().map(|&i| given[i].note.midi).collect();
        let left = left_hand_keys(&keys, parted);
        parted = parting(&keys, left);
        for (place, &i) in order.iter().enumerate() {
            let top = match melody {
                Some(melody) => melody.binary_search(&i).is_ok(),
                None => place + 1 == count && place >= left,
            };
            given[i].hand = if place < left {
                Hand::Left
            } else {
                Hand::Right
            };
            given[i].voice = match given[i].hand {
                _ if top => Voice::Top,
                Hand::Left if place == 0 => Voice::Bass,
                Hand::Left => Voice::Left,
                Hand::Right => Voice::Right,
            };
        }
        at += count;
    }
    given
}

fn note(heard: &Heard, span: &NoteSpan, chords: &[PieceChord], key: Option<Key>) -> PieceNote {
    let start = seconds(span.start);
    let midi = span.note.midi;
    let chord = chord_at(chords, start.get()).map(|at| &chords[at]);
    let beside = chord.and_then(|chord| {
        chord
            .keys
            .iter()
            .find(|key| PitchClass::from(key.midi) == PitchClass::from(midi))
    });
    let name = beside.map(|key| key.name).unwrap_or_else(|| {
        let best = chord.and_then(PieceChord::best).map(|name| &name.chord);
        speller(chord.and_then(|chord| chord.key).or(key), heard).note(PitchClass::from(midi), best)
    });
    PieceNote {
        note: NamedNote { midi, name },
        start,
        end: seconds(span.end),
        velocity: MIDDLE_VELOCITY,
        certainty: span.note.certainty,
        hand: Hand::Right,
        voice: Voice::Right,
    }
}
