//! A progression: keys, numerals and the readings that the neighbours make likeliest.
//!
//! Input: chords as they were heard, voiced or stated. Output: an [`Interpretation`]. Units: costs in natural-log units; confidences 0 to 1.
//! Method: the best path over the whole progression (Viterbi, 1967). A state is one take on a chord (a name, or a rootless dominant)
//! in one of 24 keys; it costs what the naming says plus how it fits the key; steps are cheaper where roots fall by fifths, dominants resolve,
//! stand-ins lead on; a change of key costs by its distance. Confidence in the key is the softmax over the best path through each key.
//! Names and readings are not worked out before they are asked for ([`Interpretation::naming`]).
//! Limits: no rhythm; a key that lasts one or two chords is heard as secondary dominants.

use super::best_path::{PathChoice, Taken, best_path, key_at};
use super::cadence::{Cadence, PlacedChord, cadences};
use super::searched::{Given, Searched, Settled};
use crate::harmony::chord::Chord;
use crate::harmony::context::Context;
use crate::harmony::function::{Numeral, Role, function};
use crate::harmony::named::{Name, Naming, Reading, ReadingKind};
use crate::harmony::pitch::{Degree, Key, PitchClass, Scale, Spelling};
use crate::harmony::sounding::Sounding;
use crate::harmony::speller::Speller;
use crate::units::Share;
use std::borrow::Borrow;
use std::collections::{BTreeMap, VecDeque};

/// How an analysis is to be made.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct AnalysisOptions {
    /// The key, where the user states it; it then holds throughout.
    pub key: Option<Key>,
    /// The scale on its tonic, where the user states one.
    pub scale: Option<Scale>,
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

/// From this confidence on a key is believed enough to be told; below it there is neither key nor numeral. Chords that go through all keys reach 0.34,
/// a turn of six chords in one key 0.46, half a minute of music 0.64.
pub const BELIEVED_KEY: f32 = 0.4;
/// From this confidence on a key is likelier than all others together: what needs a key may be concluded from it.
pub const SURE_KEY: f32 = 0.5;

impl InPlace {
    /// True if its key is believed.
    pub fn is_believed(&self) -> bool {
        self.key_confidence.get() >= BELIEVED_KEY
    }
}

/// Most ways to take one chord.
const MOST_TAKES: usize = 12;
/// A name without root comes first where the progression takes the chord by it, unless it is so many times less likely than the best.
const MUCH_LESS: f32 = 6.0;
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
    chords: Vec<Option<(Placed, Settled)>>,
    cadences: Vec<Cadence>,
}

/// A chord that sounds, in its place.
#[derive(Debug, Clone)]
struct Placed {
    in_place: InPlace,
    context: Context,
    /// The root it is taken on, and as what; `None` for a chord by itself.
    taken: Option<(PitchClass, Taken)>,
}

/// Interprets a progression: local keys, numerals, cadences; names and readings when they are asked for.
pub fn interpret(chords: &[Given], options: &AnalysisOptions) -> Interpretation {
    Interpretation::of(chords, options, PASSAGE)
}

impl Interpretation {
    /// The path is found over `passage` chords at a time, with some chords before and after them that belong to the next.
    /// What the search found of a chord is kept until its passage and the next have been looked at.
    fn of(given: &[Given], options: &AnalysisOptions, passage: usize) -> Self {
        let count = given.len();
        let mut chords = Vec::with_capacity(count);
        let mut found = Vec::new();
        let mut searched: VecDeque<Searched> = VecDeque::new();
        let mut next = 0;
        for start in (0..count).step_by(passage) {
            let own = start..(start + passage).min(count);
            let around = start.saturating_sub(AROUND)..(own.end + AROUND).min(count);
            searched.drain(..searched.len() - (next - around.start));
            searched.extend(given[next..around.end].iter().map(Searched::of));
            next = around.end;
            let searched = searched.make_contiguous();
            let (placed, cadences) = place(&*searched, options);
            let placed = placed.into_iter().zip(searched);
            let placed = placed.skip(start - around.start).take(own.len());
            chords.extend(placed.map(|(placed, searched)| {
                let placed = placed?;
                let settled = searched.settle(&placed.context)?;
                Some((placed, settled))
            }));
            let cadences = cadences.into_iter().map(|cadence| Cadence {
                first: cadence.first + around.start,
                last: cadence.last + around.start,
                ..cadence
            });
            found.extend(cadences.filter(|cadence| own.contains(&cadence.first)));
        }
        Self {
            chords,
            cadences: found,
        }
    }

    /// How many chords there are.
    pub fn len(&self) -> usize {
        self.chords.len()
    }

    /// True if there are none.
    pub fn is_empty(&self) -> bool {
        self.chords.is_empty()
    }

    /// What the chord `at` this place does; `None` where nothing sounds, or there is no such chord.
    pub fn in_place(&self, at: usize) -> Option<&InPlace> {
        let chord = self.chords.get(at)?.as_ref();
        chord.map(|(placed, _)| &placed.in_place)
    }

    /// The names and readings of the chord `at` this place; the name or reading by which it is taken there comes first.
    pub fn naming(&self, at: usize) -> Naming {
        match self.chords.get(at) {
            Some(Some((placed, settled))) => placed.naming(settled),
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
        self.longest(lasts).map(|longest| longest.0)
    }

    /// The same, where it is believed for most of the time for which it holds.
    pub fn longest_believed_key(&self, lasts: impl Fn(usize) -> u64) -> Option<Key> {
        let (key, all, believed) = self.longest(lasts)?;
        (2 * believed >= all).then_some(key)
    }

    /// The key that holds longest, how long, and for how long of that it is believed.
    fn longest(&self, lasts: impl Fn(usize) -> u64) -> Option<(Key, u64, u64)> {
        let mut held: BTreeMap<Key, (u64, u64)> = BTreeMap::new();
        for (at, chord) in self.chords.iter().enumerate() {
            if let Some((placed, _)) = chord {
                let (all, believed) = held.entry(placed.in_place.key).or_default();
                let lasted = lasts(at);
                *all += lasted;
                *believed += if placed.in_place.is_believed() {
                    lasted
                } else {
                    0
                };
            }
        }
        let longest = held.into_iter().rev().max_by_key(|(_, (all, _))| *all);
        longest.map(|(key, (all, believed))| (key, all, believed))
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
        newest(&self.searched, &self.options)
    }

    /// The same of what may come next, after the last `before` chords alone; it is not kept.
    pub fn peek(&self, given: &Given, before: usize) -> Option<(InPlace, Naming)> {
        let now = Searched::of(given);
        let before = self.searched.len().saturating_sub(before);
        let chords: Vec<&Searched> = self.searched[before..].iter().chain([&now]).collect();
        newest(&chords, &self.options)
    }

    /// How they are analysed.
    pub fn options(&self) -> AnalysisOptions {
        self.options
    }

    /// Analyses from now on in another way, also the chords before.
    pub fn analyse_with(&mut self, options: AnalysisOptions) {
        self.options = options;
    }
}

/// The last of some chords: its place after the others and its naming there; `None` if nothing sounds.
fn newest(
    chords: &[impl Borrow<Searched>],
    options: &AnalysisOptions,
) -> Option<(InPlace, Naming)> {
    let (mut placed, _) = place(chords, options);
    let placed = placed.pop()??;
    let settled = chords.last()?.borrow().settle(&placed.context)?;
    Some((placed.in_place, placed.naming(&settled)))
}

impl Placed {
    /// Names and readings of what was settled here, the chosen one first.
    fn naming(&self, settled: &Settled) -> Naming {
        let mut naming = settled.naming(&self.context);
        let Some((root, taken)) = self.taken else {
            return naming;
        };
        let rootless = |name: &Name| name.chord.omitted.contains(Degree::ROOT);
        // A stand-in keeps its own name in front: what it stands for is a reading.
        let best = naming.names.first().map_or(0.0, |best| best.score.get());
        let named = naming.names.iter().position(|name| {
            name.root().class() == root
                && match taken {
                    Taken::Name => !rootless(name),
                    Taken::LeftHand => rootless(name) && name.score.get() >= best / MUCH_LESS,
                    Taken::RootlessDominant | Taken::RootlessVoicing => false,
                }
        });
        if let Some(at) = named {
            naming.names[..=at].rotate_right(1);
        }
        if let Some(at) = rootless_reading(&naming, root, taken) {
            naming.readings[..=at].rotate_right(1);
        }
        naming
    }
}

/// Where the reading without the root on `root` stands among the readings, if the chord is taken as one.
fn rootless_reading(naming: &Naming, root: PitchClass, taken: Taken) -> Option<usize> {
    let kind = match taken {
        Taken::Name => return None,
        Taken::LeftHand | Taken::RootlessDominant => ReadingKind::RootlessDominant,
        Taken::RootlessVoicing => ReadingKind::RootlessVoicing,
    };
    let is_it = |reading: &Reading| reading.is_a(kind) && reading.chord.root.class() == root;
    naming.readings.iter().position(is_it)
}

/// Finds the best path through some chords: each in its place, and the cadences.
fn place(
    chords: &[impl Borrow<Searched>],
    options: &AnalysisOptions,
) -> (Vec<Option<Placed>>, Vec<Cadence>) {
    let chords: Vec<&Searched> = chords.iter().map(Borrow::borrow).collect();
    let sounding: Vec<usize> = (0..chords.len()).filter(|&i| chords[i].sounds()).collect();
    // A chord by itself is no progression: nothing speaks for another name than its best.
    let lone = sounding.len() == 1;
    let takes: Vec<Vec<PathChoice>> = sounding
        .iter()
        .map(|&i| chords[i].takes(if lone { 1 } else { MOST_TAKES }))
        .collect();
    let path = best_path(&takes, options.key);
    let steps: Vec<PlacedChord> = path
        .iter()
        .zip(&takes)
        .map(|(place, takes)| {
            let take = takes[place.take];
            PlacedChord {
                root: take.root,
                class: take.class,
                stand_in: take.taken == Taken::RootlessDominant,
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
            scale: options.scale,
            before: at.checked_sub(1).map(|i| chosen[i]),
            after: chosen.get(at + 1).copied(),
            spelling: options.spelling,
        };
        let stand_in = (take.taken != Taken::Name && !lone).then(|| chords[nth].settle(&context));
        let stands_for = stand_in.flatten().and_then(|settled| {
            let naming = settled.naming(&context);
            rootless_reading(&naming, take.root, take.taken)
                .map(|reading| naming.readings[reading].chord)
        });
        let function = function(take.root, take.degrees, key, next);
        placed[nth] = Some(Placed {
            in_place: InPlace {
                key,
                key_confidence: Share::clamped(path[at].confidence),
                numeral: function.numeral,
                role: function.role,
                stands_for,
            },
            context,
            taken: (!lone).then_some((take.root, take.taken)),
        });
    }
    (placed, cadences(&steps, &sounding))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::harmony::progression::cadence::CadenceKind;

    /// Seven chords, so that they lie otherwise over each border of two passages; the last three go to D minor.
    const CHORUS: [&str; 7] = ["Cmaj7", "Am7", "Dm7", "G7", "Em7b5", "A7b9", "Dm6"];

    /// Keys in close position.
    fn voiced(symbols: &[&str]) -> Vec<Given> {
        let voiced = |symbol: &&str| {
            let chord: Chord = symbol.parse().unwrap();
            let root = 48 + chord.root.class().get();
            let degrees = chord.degrees.iter();
            let above = degrees.map(|d| root + d.half_steps() + 12 * u8::from(d.is_tension()));
            Given::Heard(Sounding::of_midi(&above.collect::<Vec<_>>()))
        };
        symbols.iter().map(voiced).collect()
    }

    fn choruses(count: usize) -> Vec<Given> {
        let symbols: Vec<&str> = CHORUS.iter().copied().cycle().take(count).collect();
        voiced(&symbols)
    }

    fn in_one_passage(given: &[Given]) -> Interpretation {
        Interpretation::of(given, &AnalysisOptions::default(), given.len().max(1))
    }

    fn interpreted(given: &[Given]) -> Interpretation {
        interpret(given, &AnalysisOptions::default())
    }

    #[test]
    fn a_progression_of_many_passages_is_read_as_if_it_were_one() {
        // shorter than a passage, just one, one more, with a last passage shorter than what is heard around it, and two borders
        for count in [50, PASSAGE, PASSAGE + 1, 2 * PASSAGE + 5, 2 * PASSAGE + 60] {
            let given = choruses(count);
            let (expected, read) = (in_one_passage(&given), interpreted(&given));
            assert_eq!(read.len(), count);
            for at in 0..count {
                let (one, other) = (read.in_place(at).unwrap(), expected.in_place(at).unwrap());
                assert_eq!(
                    (one.key, one.numeral, one.role, one.stands_for),
                    (other.key, other.numeral, other.role, other.stands_for),
                    "chord {at} of {count}"
                );
                let told = read.naming(at);
                assert_eq!(told, expected.naming(at), "chord {at} of {count}");
            }
        }
    }

    #[test]
    fn a_cadence_over_the_border_of_two_passages_is_told_once_with_its_place_in_the_whole() {
        let count = 3 * PASSAGE;
        let given = choruses(count);
        let read = interpreted(&given);
        assert_eq!(read.cadences(), in_one_passage(&given).cadences());
        assert!(read.cadences().is_sorted_by_key(|cadence| cadence.first));
        // each chorus goes to D minor by two-five-one from its fifth chord
        let expected: Vec<(usize, usize, String)> = (0..count - 2)
            .filter(|at| at % CHORUS.len() == 4)
            .map(|at| (at, at + 2, "D minor".to_owned()))
            .collect();
        let to_d_minor: Vec<(usize, usize, String)> = read
            .cadences()
            .iter()
            .filter(|cadence| cadence.kind == CadenceKind::TwoFiveOne)
            .map(|cadence| (cadence.first, cadence.last, cadence.to.to_string()))
            .collect();
        assert_eq!(to_d_minor, expected);
        let over = |border: usize| expected.iter().any(|c| c.0 < border && border <= c.1);
        assert!(
            over(PASSAGE) || over(2 * PASSAGE),
            "one of the cadences lies over a border"
        );
    }

    #[test]
    fn a_key_that_comes_with_a_new_passage_is_heard_from_its_first_chord() {
        let mut symbols: Vec<&str> = ["Cmaj7", "Am7", "Dm7", "G7"]
            .into_iter()
            .cycle()
            .take(PASSAGE)
            .collect();
        symbols.extend(["Ebm7", "Ab7", "Dbmaj7", "Bbm7"].iter().cycle().take(40));
        let read = interpreted(&voiced(&symbols));
        for at in 0..symbols.len() {
            let expected = if at < PASSAGE { "C major" } else { "Db major" };
            let key = read.in_place(at).unwrap().key;
            assert_eq!(key.to_string(), expected, "chord {at}");
        }
    }

    #[test]
    fn the_last_chord_played_is_read_as_the_last_of_those_shortly_before() {
        let given = choruses(AROUND + 9);
        let mut recent = Recent::new(AnalysisOptions::default());
        for at in 0..given.len() {
            let (place, naming) = recent.take(&given[at]).unwrap();
            let first = at.saturating_sub(AROUND);
            let all = interpreted(&given[first..=at]);
            assert_eq!(Some(&place), all.in_place(at - first));
            assert_eq!(naming, all.naming(at - first));
        }
        assert!(recent.take(&Given::Voiced(Sounding::default())).is_none());
    }
}
