//! A progression: keys, numerals and the readings that the neighbours make likeliest.
//!
//! Input: chords as they were heard, voiced or stated. Output: an [`Interpretation`]. Units: costs in natural-log units; confidences 0 to 1.
//! Method: the best path over the whole progression (Viterbi, 1967). A state is one take on a chord (a name, or a rootless dominant)
//! in one of 24 keys; it costs what the naming says plus how it fits the key; steps are cheaper where roots fall by fifths, dominants resolve,
//! stand-ins lead on; a change of key costs by its distance. Confidence in the key is the softmax over the best path through each key.
//! Names and readings are not worked out before they are asked for ([`Interpretation::naming`]).
//! Limits: no rhythm; a key that lasts one or two chords is heard as secondary dominants.

use super::best_path::{Take, best_path, key_at};
use super::cadence::{Cadence, Step, cadences};
use super::function::{Numeral, Role, function};
use super::searched::{Given, Searched};
use crate::harmony::chord::Chord;
use crate::harmony::context::Context;
use crate::harmony::named::{Name, Naming, ReadingKind};
use crate::harmony::pitch::{Key, PitchClass, Spelling};
use crate::harmony::sounding::Sounding;
use crate::harmony::speller::Speller;
use crate::units::Share;
use std::collections::BTreeMap;

/// How an analysis is to be made.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct AnalysisOptions {
    /// The key, where the user states it; it then holds throughout.
    pub key: Option<Key>,
    /// How notes are spelled.
    pub spelling: Spelling,
}

/// One chord in its place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct InPlace {
    /// The local key.
    pub key: Key,
    /// How sure the local key is.
    pub key_confidence: Share,
    /// Roman numeral in the local key; of the chord it stands for, if it is a stand-in.
    pub numeral: Numeral,
    /// What it does there.
    pub role: Role,
    /// The chord it stands for here, if it is a stand-in.
    pub stands_for: Option<Chord>,
}

/// Most ways to take one chord.
const MOST_TAKES: usize = 10;
/// Chords whose path is found at once: some minutes of playing.
const PASSAGE: usize = 96;
/// Chords of the neighbouring passages that are looked at with it: longer than any cadence.
const AROUND: usize = 16;

/// A progression with every chord in its place.
///
/// ```
/// use lidprop::harmony::{AnalysisOptions, Given, interpret};
///
/// let chords = ["Cmaj7", "Dm7", "G7", "Cmaj7"].map(|symbol| Given::Stated(symbol.parse().unwrap()));
/// let progression = interpret(&chords, &AnalysisOptions::default());
/// assert_eq!(progression.key().unwrap().to_string(), "C major");
/// assert_eq!(progression.in_place(2).unwrap().numeral.to_string(), "V7");
/// assert_eq!(progression.cadences()[0].kind.words(), "two-five-one");
/// ```
#[derive(Debug, Clone, Default)]
pub struct Interpretation {
    searched: Vec<Searched>,
    placed: Vec<Option<Placed>>,
    cadences: Vec<Cadence>,
}

/// A chord that sounds, in its place.
#[derive(Debug, Clone)]
struct Placed {
    in_place: InPlace,
    context: Context,
    /// The root it is taken on, and whether as a stand-in; `None` for a chord by itself.
    taken: Option<(PitchClass, bool)>,
}

/// Interprets a progression: local keys, numerals, cadences; names and readings when they are asked for.
pub fn interpret(chords: &[Given], options: &AnalysisOptions) -> Interpretation {
    Interpretation::of(chords.iter().map(Searched::of).collect(), options, PASSAGE)
}

impl Interpretation {
    /// The path is found over `passage` chords at a time, with some chords before and after them that belong to the next.
    fn of(searched: Vec<Searched>, options: &AnalysisOptions, passage: usize) -> Self {
        let count = searched.len();
        let mut placed = Vec::with_capacity(count);
        let mut found = Vec::new();
        for start in (0..count).step_by(passage) {
            let own = start..(start + passage).min(count);
            let around = start.saturating_sub(AROUND)..(own.end + AROUND).min(count);
            let (chords, cadences) = place(&searched[around.clone()], options);
            let chords = chords.into_iter().skip(start - around.start);
            placed.extend(chords.take(own.len()));
            let cadences = cadences.into_iter().map(|cadence| Cadence {
                first: cadence.first + around.start,
                last: cadence.last + around.start,
                ..cadence
            });
            found.extend(cadences.filter(|cadence| own.contains(&cadence.first)));
        }
        Self {
            searched,
            placed,
            cadences: found,
        }
    }

    /// How many chords there are.
    pub fn len(&self) -> usize {
        self.searched.len()
    }

    /// True if there are none.
    pub fn is_empty(&self) -> bool {
        self.searched.is_empty()
    }

    /// What the chord `at` this place does; `None` where nothing sounds, or there is no such chord.
    pub fn in_place(&self, at: usize) -> Option<&InPlace> {
        let placed = self.placed.get(at)?.as_ref();
        placed.map(|placed| &placed.in_place)
    }

    /// The names and readings of the chord `at` this place; the name or reading by which it is taken there comes first.
    pub fn naming(&self, at: usize) -> Naming {
        match (self.searched.get(at), self.placed.get(at)) {
            (Some(searched), Some(Some(placed))) => placed.naming(searched),
            _ => Naming::default(),
        }
    }

    /// Cadences and two-five-ones, by first chord.
    pub fn cadences(&self) -> &[Cadence] {
        &self.cadences
    }

    /// The key of most chords; `None` without chords.
    pub fn key(&self) -> Option<Key> {
        self.longest_key(|_| 1)
    }

    /// The key that holds longest, where the chord at a place lasts so long; of equals the first in the order of keys.
    pub fn longest_key(&self, lasts: impl Fn(usize) -> u64) -> Option<Key> {
        let mut held: BTreeMap<Key, u64> = BTreeMap::new();
        for (at, placed) in self.placed.iter().enumerate() {
            if let Some(placed) = placed {
                *held.entry(placed.in_place.key).or_default() += lasts(at);
            }
        }
        let longest = held.into_iter().rev().max_by_key(|&(_, lasted)| lasted);
        longest.map(|(key, _)| key)
    }
}

/// A progression while it is played: the last chords, each searched once.
#[derive(Debug, Clone, Default)]
pub struct Recent {
    searched: Vec<Searched>,
    options: AnalysisOptions,
}

impl Recent {
    /// Nothing played yet.
    pub fn new(options: AnalysisOptions) -> Self {
        Self {
            searched: Vec::new(),
            options,
        }
    }

    /// Takes the next chord: its place after those before it, as far as it can be told, and its naming there; `None` if nothing sounds.
    pub fn take(&mut self, given: &Given) -> Option<(InPlace, Naming)> {
        if self.searched.len() > AROUND {
            self.searched.remove(0);
        }
        self.searched.push(Searched::of(given));
        let (mut placed, _) = place(&self.searched, &self.options);
        let placed = placed.pop()??;
        let naming = placed.naming(self.searched.last()?);
        Some((placed.in_place, naming))
    }
}

impl Placed {
    /// Names and readings of what was `searched`, the chosen one first.
    fn naming(&self, searched: &Searched) -> Naming {
        let mut naming = searched.naming(&self.context);
        match self.taken {
            Some((root, true)) => {
                if let Some(at) = rootless_dominant(&naming, root) {
                    naming.readings[..=at].rotate_right(1);
                }
            }
            Some((root, false)) => {
                let on_root = |name: &Name| name.root().class() == root;
                if let Some(at) = naming.names.iter().position(on_root) {
                    naming.names[..=at].rotate_right(1);
                }
            }
            None => {}
        }
        naming
    }
}

/// Where the rootless dominant on `root` stands among the readings.
fn rootless_dominant(naming: &Naming, root: PitchClass) -> Option<usize> {
    naming.readings.iter().position(|reading| {
        reading.kind == ReadingKind::RootlessDominant && reading.chord.root.class() == root
    })
}

/// Finds the best path through some chords: each in its place, and the cadences.
fn place(chords: &[Searched], options: &AnalysisOptions) -> (Vec<Option<Placed>>, Vec<Cadence>) {
    let sounding: Vec<usize> = (0..chords.len()).filter(|&i| chords[i].sounds()).collect();
    // A chord by itself is no progression: nothing speaks for another name than its best.
    let lone = sounding.len() == 1;
    let takes: Vec<Vec<Take>> = sounding
        .iter()
        .map(|&i| chords[i].takes(if lone { 1 } else { MOST_TAKES }))
        .collect();
    let path = best_path(&takes, options.key);
    let steps: Vec<Step> = path
        .iter()
        .zip(&takes)
        .map(|(place, takes)| {
            let take = takes[place.take];
            Step {
                root: take.root,
                class: take.class,
                stand_in: take.stand_in,
                key: key_at(place.key),
            }
        })
        .collect();
    let chosen: Vec<Chord> = path
        .iter()
        .zip(&takes)
        .map(|(place, takes)| {
            let take = takes[place.take];
            let in_key = Context {
                key: Some(key_at(place.key)),
                ..Context::default()
            };
            let speller = Speller::new(&Sounding::default(), &in_key);
            Chord::new(speller.root(take.root, take.degrees), take.degrees)
        })
        .collect();
    let mut placed: Vec<Option<Placed>> = vec![None; chords.len()];
    for (at, &nth) in sounding.iter().enumerate() {
        let (key, take) = (key_at(path[at].key), takes[at][path[at].take]);
        let next = steps.get(at + 1).map(|s| (s.root, s.class));
        let context = Context {
            key: if lone { options.key } else { Some(key) },
            before: at.checked_sub(1).map(|i| chosen[i]),
            after: chosen.get(at + 1).copied(),
            spelling: options.spelling,
        };
        let stands_for = (take.stand_in && !lone).then(|| {
            let naming = chords[nth].naming(&context);
            rootless_dominant(&naming, take.root).map(|reading| naming.readings[reading].chord)
        });
        let function = function(take.root, take.degrees, key, next);
        placed[nth] = Some(Placed {
            in_place: InPlace {
                key,
                key_confidence: Share::clamped(path[at].confidence),
                numeral: function.numeral,
                role: function.role,
                stands_for: stands_for.flatten(),
            },
            context,
            taken: (!lone).then_some((take.root, take.stand_in)),
        });
    }
    (placed, cadences(&steps, &sounding))
}
