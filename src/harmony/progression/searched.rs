//! A chord of a progression before its place is known: what was given, and what the search found of it.
//!
//! Input: a chord as it was heard, voiced or stated ([`Given`]). Output: the ways to take it, and, once its surroundings are known, its
//! names and readings. Units: costs in natural-log units. Method: keys are searched once, without regard to their place; a symbol is its own
//! only name, and what else it can stand for is read from its notes. Limits: a symbol says no keys, so its naming lists no notes.

use super::best_path::{PathChoice, Taken};
use super::costs::COSTS as C;
use crate::harmony::chord::Chord;
use crate::harmony::context::Context;
use crate::harmony::function::Class;
use crate::harmony::name_chord::{MOST_NAMES, naming_of};
use crate::harmony::named::{Name, Naming, ReadingKind, Verdict};
use crate::harmony::naming::search::{Found, Ranking};
use crate::harmony::pitch::{DegreeSet, PitchSet};
use crate::harmony::readings::draft::Scene;
use crate::harmony::readings::ranked::{drafts, readings};
use crate::harmony::sounding::{Sounding, Voicing};
use crate::harmony::speller::{Speller, degrees_of};
use crate::units::Share;

/// A chord as it is given to an analysis.
#[derive(Debug, Clone, PartialEq)]
pub enum Given {
    /// As it was heard: each key weighs what it is sure of.
    Heard(Sounding),
    /// As it was voiced: the keys are stated, and perhaps how they are spelled.
    Voiced(Sounding),
    /// As it was stated by a symbol: nothing is guessed.
    Stated(Chord),
}

/// What the search found of one chord.
#[derive(Debug, Clone)]
pub(crate) enum Searched {
    /// Nothing sounds.
    Silent,
    /// Keys were heard or voiced.
    Keys {
        sounding: Sounding,
        heard: Voicing,
        found: Found,
    },
    /// A symbol was stated.
    Stated { chord: Chord, heard: Voicing },
}

/// What is kept of a chord once its surroundings are known.
#[derive(Debug, Clone)]
pub(crate) enum Settled {
    /// Keys with the best candidates.
    Keys {
        sounding: Sounding,
        heard: Voicing,
        ranking: Ranking,
    },
    /// A symbol.
    Stated { chord: Chord, heard: Voicing },
}

impl Searched {
    /// Searches what is given.
    pub(crate) fn of(given: &Given) -> Self {
        match given {
            Given::Heard(sounding) | Given::Voiced(sounding) => match Voicing::of(sounding) {
                Some(heard) => Self::Keys {
                    found: Found::of(sounding, heard),
                    sounding: sounding.clone(),
                    heard,
                },
                None => Self::Silent,
            },
            &Given::Stated(chord) => Self::Stated {
                chord,
                heard: Voicing {
                    set: chord.pitches(),
                    bass: chord.lowest().class(),
                    lowest_two: PitchSet::EMPTY,
                    bass_is_stated: false,
                },
            },
        }
    }

    /// True unless nothing sounds.
    pub(crate) fn sounds(&self) -> bool {
        !matches!(self, Self::Silent)
    }

    /// What is kept of it in these surroundings; `None` if nothing sounds.
    pub(crate) fn settle(&self, context: &Context) -> Option<Settled> {
        match self {
            Self::Silent => None,
            Self::Keys {
                sounding,
                heard,
                found,
            } => {
                let mut ranking = found.ranked(context);
                ranking.candidates.truncate(MOST_NAMES);
                ranking.candidates.shrink_to_fit();
                Some(Settled::Keys {
                    sounding: sounding.clone(),
                    heard: *heard,
                    ranking,
                })
            }
            &Self::Stated { chord, heard } => Some(Settled::Stated { chord, heard }),
        }
    }

    /// The `most` ways to take it: its best names and its rootless dominants.
    pub(crate) fn takes(&self, most: usize) -> Vec<PathChoice> {
        let context = Context::default();
        let named = |root, degrees, cost| PathChoice {
            root,
            degrees,
            class: Class::of(degrees),
            cost,
            taken: Taken::Name,
        };
        let (heard, speller, names, mut takes) = match self {
            Self::Silent => return Vec::new(),
            Self::Keys {
                sounding,
                heard,
                found,
            } => {
                let Ranking { candidates, .. } = found.ranked(&context);
                let least = candidates.first().map_or(0.0, |(c, _)| c.cost);
                let takes: Vec<PathChoice> = candidates
                    .iter()
                    .filter(|(c, _)| c.cost - least <= C.overruled)
                    .filter(|(c, _)| !c.rootless() || c.is_left_hand())
                    .take(5)
                    .map(|(c, _)| {
                        let degrees = c.shape.quality.degrees.union(c.added);
                        let taken = if c.rootless() {
                            Taken::LeftHand
                        } else {
                            Taken::Name
                        };
                        PathChoice {
                            taken,
                            ..named(c.root, degrees, C.name_weight * (c.cost - least))
                        }
                    })
                    .collect();
                let speller = Speller::new(sounding, &context);
                let names = candidates.iter().take(MOST_NAMES);
                let names: Vec<_> = names
                    .map(|(c, _)| (c.chord(&speller), c.cost - least))
                    .collect();
                (*heard, speller, names, takes)
            }
            Self::Stated { chord, heard } => (
                *heard,
                Speller::new(&spelled_as(chord), &context),
                vec![(*chord, 0.0)],
                vec![named(chord.root.class(), chord.degrees, 0.0)],
            ),
        };
        let scene = Scene {
            heard,
            names: &names,
            speller: &speller,
            context: &context,
        };
        for draft in &drafts(&scene) {
            let (taken, more) = match draft.kind {
                ReadingKind::RootlessDominant => (Taken::RootlessDominant, C.stand_in),
                ReadingKind::RootlessVoicing => (Taken::RootlessVoicing, C.rootless_voicing),
                _ => continue,
            };
            let (root, class) = (draft.chord.root.class(), Class::of(draft.chord.degrees));
            let known = takes.iter().any(|t| t.root == root && t.class == class);
            if draft.cost < C.hopeless_stand_in && !known {
                takes.push(PathChoice {
                    cost: draft.cost.max(0.0) + more,
                    taken,
                    ..named(root, draft.chord.degrees, 0.0)
                });
            }
        }
        if takes.is_empty() {
            takes.push(PathChoice {
                class: Class::Other,
                ..named(heard.bass, const { DegreeSet::of("1") }, 0.0)
            });
        }
        takes.truncate(most);
        takes
    }
}

impl Settled {
    /// Names and readings, in the surroundings it was settled in.
    pub(crate) fn naming(&self, context: &Context) -> Naming {
        match self {
            Self::Keys {
                sounding,
                heard,
                ranking,
            } => naming_of(sounding, *heard, ranking.clone(), context),
            Self::Stated { chord, heard } => {
                let speller = Speller::new(&spelled_as(chord), context);
                let counted_from = match chord.lower {
                    Some((root, degrees)) => Chord::new(root, degrees),
                    None => *chord,
                };
                let notes = speller.notes(heard.set, &counted_from);
                Naming {
                    notes: Vec::new(),
                    verdict: Verdict::Named,
                    names: vec![Name {
                        chord: *chord,
                        sounding: chord.sounding(),
                        score: Share::ONE,
                        degrees: degrees_of(&counted_from, &notes),
                    }],
                    readings: readings(*heard, &[(*chord, 0.0)], &speller, context),
                }
            }
        }
    }
}

/// The names that a symbol itself holds; its other notes follow from their degrees.
fn spelled_as(chord: &Chord) -> Sounding {
    let mut sounding = Sounding::default();
    [
        chord.bass,
        chord.lower.map(|(root, _)| root),
        Some(chord.root),
    ]
    .into_iter()
    .flatten()
    .for_each(|name| sounding.typed[usize::from(name.class().get())] = Some(name));
    sounding
}
