//! A progression: keys, numerals and the readings that the neighbours make likeliest.
//!
//! Input: what sounds, chord by chord. Output: [`Progression`]. Units: costs in natural-log units; confidences 0 to 1.
//! Method: the best path over the whole progression (Viterbi, 1967). A state is one interpretation of a chord (a name, or a rootless dominant)
//! in one of 24 keys; it costs what the naming says plus how it fits the key; steps are cheaper where roots fall by fifths, dominants resolve,
//! stand-ins lead on; a change of key costs by its distance. Confidence in the key is the softmax over the best path through each key.
//! Limits: no rhythm; a key that lasts one or two chords is heard as secondary dominants.

use super::best_path::{Take, best_path, key_at, longest_key};
use super::cadence::{Cadence, Step, cadences};
use super::function::{Class, function};
use crate::harmony::chord::{Chord, Style};
use crate::harmony::context::Context;
use crate::harmony::name_chord::name_chord;
use crate::harmony::named::Naming;
use crate::harmony::naming::search::ranked;
use crate::harmony::pitch::{DegreeSet, Key, Spelled, Spelling};
use crate::harmony::readings::draft::Scene;
use crate::harmony::readings::written::drafts;
use crate::harmony::sounding::{Heard, Sounding};
use crate::harmony::speller::Speller;
use serde::{Deserialize, Serialize};

/// One chord of a progression to be analysed.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ChordForAnalysis {
    /// What sounds.
    pub sounding: Sounding,
}

/// How an analysis is to be written.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct AnalysisOptions {
    /// The key, where the user states it; it then holds throughout.
    pub key: Option<Key>,
    /// House style of symbols.
    pub style: Style,
    /// How notes are spelled.
    pub spelling: Spelling,
}

/// One chord in its place.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AnalysedChord {
    /// The local key, say `Eb major`.
    pub key: String,
    /// How sure the local key is, 0 to 1.
    pub key_confidence: f32,
    /// Roman numeral in the local key; of the chord it stands for, if it is a stand-in.
    pub numeral: String,
    /// What it does, in words.
    pub function: String,
    /// The chord it stands for here, in plain ASCII, if it is a stand-in.
    pub stands_for: Option<String>,
    /// Names and readings in this context; the chosen name and the chosen reading come first.
    pub naming: Naming,
}

/// A whole progression.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Progression {
    /// The key that holds longest; `None` without chords.
    pub key: Option<String>,
    /// Every chord in its place.
    pub chords: Vec<AnalysedChord>,
    /// Cadences and two-five-ones, by first chord.
    pub cadences: Vec<Cadence>,
}

/// Most ways to take one chord.
const MOST_TAKES: usize = 10;
/// How much the naming (its cost above that of the best name) counts beside the course of the progression.
const NAME_WEIGHT: f32 = 3.0;
/// The neighbours may put another name before the best one only where that one costs at most this much less:
/// the ear hears the chord first. Penalties go in steps of 0.05.
const OVERRULED: f32 = 0.42;
/// A stand-in is a bolder claim than a name.
const STAND_IN: f32 = 0.9;

/// Analyses a progression: local keys, numerals, names, readings and cadences.
pub fn analyse_progression(chords: &[ChordForAnalysis]) -> Progression {
    analyse_progression_with(chords, &AnalysisOptions::default())
}

/// The same with a stated key, style or spelling.
pub fn analyse_progression_with(
    chords: &[ChordForAnalysis],
    options: &AnalysisOptions,
) -> Progression {
    let heard: Vec<usize> = (0..chords.len())
        .filter(|&i| chords[i].sounding.bass().is_some())
        .collect();
    // A chord by itself is no progression: nothing speaks for another name than its best.
    let lone = heard.len() == 1;
    let takes: Vec<Vec<Take>> = heard
        .iter()
        .map(|&i| takes_of(&chords[i].sounding, if lone { 1 } else { MOST_TAKES }))
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
    let speller = |key| {
        Speller::new(
            &Sounding::default(),
            &Context {
                key: Some(key),
                ..Context::default()
            },
        )
    };
    let chosen: Vec<Chord> = path
        .iter()
        .zip(&takes)
        .map(|(place, takes)| {
            let take = takes[place.take];
            Chord::new(
                speller(key_at(place.key)).root(take.root, take.degrees),
                take.degrees,
            )
        })
        .collect();
    let analysed = (0..path.len())
        .map(|at| {
            let key = key_at(path[at].key);
            let take = takes[at][path[at].take];
            let next = steps.get(at + 1).map(|s| (s.root, s.class));
            let context = Context {
                key: if lone { options.key } else { Some(key) },
                before: at.checked_sub(1).map(|i| chosen[i]),
                after: chosen.get(at + 1).copied(),
                style: options.style,
                spelling: options.spelling,
            };
            let mut naming = name_chord(&chords[heard[at]].sounding, &context);
            let stands_for = if lone {
                None
            } else {
                bring_forward(&mut naming, &chosen[at], take.stand_in)
            };
            let function = function(take.root, take.degrees, key, next);
            AnalysedChord {
                key: key.to_string(),
                key_confidence: path[at].confidence,
                numeral: function.numeral,
                function: function.word.to_owned(),
                stands_for,
                naming,
            }
        })
        .collect::<Vec<_>>();
    Progression {
        key: longest_key(&path).map(|k| k.to_string()),
        chords: spread(analysed, &heard, chords.len()),
        cadences: cadences(&steps, &heard),
    }
}

/// Puts chords without notes back in their places.
fn spread(analysed: Vec<AnalysedChord>, heard: &[usize], count: usize) -> Vec<AnalysedChord> {
    if heard.len() == count {
        return analysed;
    }
    let silent = || AnalysedChord {
        key: String::new(),
        key_confidence: 0.0,
        numeral: String::new(),
        function: String::new(),
        stands_for: None,
        naming: name_chord(&Sounding::default(), &Context::default()),
    };
    let mut all: Vec<AnalysedChord> = (0..count).map(|_| silent()).collect();
    for (chord, &place) in analysed.into_iter().zip(heard) {
        all[place] = chord;
    }
    all
}

/// Moves the chosen name or reading to the front; gives the chord a stand-in stands for.
fn bring_forward(naming: &mut Naming, chosen: &Chord, stand_in: bool) -> Option<String> {
    let root = chosen.root.class();
    let class_of = |name: &str| name.parse::<Spelled>().map(|s| s.class()).ok();
    if stand_in {
        let at = naming.readings.iter().position(|r| {
            r.kind == "rootless dominant"
                && r.ascii
                    .parse::<Chord>()
                    .is_ok_and(|c| c.root.class() == root)
        })?;
        let reading = naming.readings.remove(at);
        let ascii = reading.ascii.clone();
        naming.readings.insert(0, reading);
        return Some(ascii);
    }
    if let Some(at) = naming
        .names
        .iter()
        .position(|n| class_of(&n.root) == Some(root))
    {
        naming.names[..=at].rotate_right(1);
    }
    None
}

/// The `most` ways to take a chord: its best names and its rootless dominants.
fn takes_of(sounding: &Sounding, most: usize) -> Vec<Take> {
    let context = Context::default();
    let Some(heard) = Heard::of(sounding) else {
        return Vec::new();
    };
    let (candidates, _) = ranked(sounding, heard, &context);
    let least = candidates.first().map_or(0.0, |(c, _)| c.cost);
    let mut takes: Vec<Take> = candidates
        .iter()
        .filter(|(c, _)| !c.rootless() && c.cost - least <= OVERRULED)
        .take(5)
        .map(|(c, _)| {
            let degrees = c.shape.quality.degrees.union(c.added);
            Take {
                root: c.root,
                degrees,
                class: Class::of(degrees),
                cost: NAME_WEIGHT * (c.cost - least),
                stand_in: false,
            }
        })
        .collect();
    let speller = Speller::new(sounding, &context);
    let scene = Scene {
        heard,
        best: candidates.first().map(|(c, _)| c.chord(&speller)),
        speller: &speller,
        context: &context,
    };
    for draft in drafts(&scene)
        .iter()
        .filter(|d| d.kind == "rootless dominant" && d.cost < 3.5)
        .take(5)
    {
        let root = draft.chord.root.class();
        if !takes
            .iter()
            .any(|t| t.root == root && t.class == Class::Dominant)
        {
            let cost = draft.cost.max(0.0) + STAND_IN - 0.4;
            takes.push(Take {
                root,
                degrees: draft.chord.degrees,
                class: Class::Dominant,
                cost,
                stand_in: true,
            });
        }
    }
    if takes.is_empty() {
        let degrees = const { DegreeSet::of("1") };
        takes.push(Take {
            root: heard.bass,
            degrees,
            class: Class::Other,
            cost: 0.0,
            stand_in: false,
        });
    }
    takes.truncate(most);
    takes
}
