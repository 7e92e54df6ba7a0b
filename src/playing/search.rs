//! The search for harmony: the best way to cut the playing into stretches of one chord each.
//!
//! Input: `Unit`s, the key around each. Output: `Found` stretches. Units: natural-log units; higher is better.
//! Method: a semi-Markov search (Sarawagi and Cohen, NIPS 2004; for chords: Masada and Bunescu, TISMIR 2019): a stretch is weighed as a whole,
//! by how the weights of its notes lie over the intervals of a family, by the bass where it begins, by its place in the beat; the step
//! from chord to chord by root motion and class, each chord by its place in the key. Dynamic programming finds the best sum.
//! Limits: a stretch lasts at most `LONGEST` units; two chords at once (polychords) are told as one.

use super::evidence::{BeatPlace, Unit};
use super::families::{CLASSES, FAMILIES, class_number};
use crate::harmony::function::{Class, fit};
use crate::harmony::{Key, PitchClass};
use std::collections::VecDeque;

/// Longest stretch in units: two bars of four beats, cut at half beats.
const LONGEST: usize = 16;

/// The weights of the search. Set on `performances.jsonl.gz` and the scenes of `training/playing_scenes.py`, from a first guess one by one.
#[derive(Debug, Clone, Copy)]
pub struct SearchTuning {
    /// How much the notes of one full beat count.
    pub notes: f32,
    /// How much the bass at the start counts.
    pub bass: f32,
    /// How much the place in the key counts (costs of `harmony::progression`).
    pub key: f32,
    /// How much the step from the chord before counts.
    pub step: f32,
    /// How much the rarity of the family counts.
    pub rarity: f32,
    /// What a change of chord costs on the first beat of a bar, on the middle of a bar, on another beat, between beats, at a bare strike.
    pub change_on_bar: f32,
    /// On the middle of a bar of four.
    pub change_in_middle: f32,
    /// On another beat, and on any where bars are not known.
    pub change_on_beat: f32,
    /// Between beats.
    pub change_between: f32,
    /// At a strike where no beat is known.
    pub change_at_strike: f32,
    /// How much of the weight of the lowest voice counts under a pedal point, and how much the bass.
    pub pedal_point: f32,
    /// What no chord is worth, for each beat of notes: a chord that fits no better is none.
    pub no_chord: f32,
    /// The same for notes that are a single line in steps.
    pub no_chord_run: f32,
    /// What the weight of a pitch class is raised to: below 1 a note that is repeated counts less each time.
    pub compress: f32,
    /// What the share of a pitch class is at least, as a share of an even spread.
    pub floor: f32,
}

impl Default for SearchTuning {
    fn default() -> Self {
        Self {
            notes: 3.0,
            bass: 0.5,
            key: 0.26,
            step: 0.4,
            rarity: 1.1,
            change_on_bar: 0.1,
            change_in_middle: 0.8,
            change_on_beat: 2.4,
            change_between: 2.2,
            change_at_strike: 1.8,
            pedal_point: 0.4,
            no_chord: -0.3,
            no_chord_run: 1.2,
            compress: 0.6,
            floor: 0.12,
        }
    }
}

/// What a stretch is taken for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Taken {
    /// No chord.
    Nothing,
    /// A root and the number of a family.
    Chord(PitchClass, usize),
}

/// A stretch of the best path.
#[derive(Debug, Clone)]
pub(crate) struct Found {
    /// First unit and one past the last.
    pub from: usize,
    pub to: usize,
    /// Every way to take it that is worth telling, best first, with its probability.
    pub takes: Vec<(Taken, f32)>,
}

const STATES: usize = 12 * CLASSES + 1;
const NOTHING: usize = STATES - 1;
/// The place of no chord among roots and families.
const NO_PLACE: u16 = u16::MAX;
/// The dearest step less the cheapest: see [`steps`].
const WIDEST_STEP: f32 = 2.2;

/// The way back from a state at a border.
#[derive(Debug, Clone, Copy, Default)]
struct Came {
    /// Root and family of the stretch that ends here, and how many units it lasts.
    place: u16,
    units: u8,
    /// The state from which this one is entered here.
    entered_from: u8,
}

/// The place of a unit's border in the bar.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum InBar {
    First,
    Middle,
    Other,
    Unknown,
}

/// Finds the best stretches.
pub(crate) fn search(
    units: &[Unit],
    in_bar: &dyn Fn(usize) -> InBar,
    keys: &dyn Fn(usize) -> Option<Key>,
    tuning: &SearchTuning,
) -> Vec<Found> {
    if units.is_empty() {
        return Vec::new();
    }
    Search::new(units, in_bar, keys, tuning).run()
}

struct Search<'a> {
    units: &'a [Unit],
    tuning: &'a SearchTuning,
    /// Log of shares over an even spread, by family and interval.
    shares: Vec<[f32; 12]>,
    basses: Vec<[f32; 12]>,
    classes: Vec<usize>,
    /// Weights of all units before, by pitch class; then of runs.
    sums: Vec<[f32; 13]>,
    /// Which units lie over a pedal point.
    pedal: Vec<bool>,
    /// What a change costs at each border.
    change: Vec<f32>,
    /// Cost by place in the key, for each unit: shared by index into `fits`.
    key_of: Vec<usize>,
    fits: Vec<Vec<f32>>,
    steps: Vec<f32>,
}

impl<'a> Search<'a> {
    fn new(
        units: &'a [Unit],
        in_bar: &dyn Fn(usize) -> InBar,
        keys: &dyn Fn(usize) -> Option<Key>,
        tuning: &'a SearchTuning,
    ) -> Self {
        let shares = FAMILIES
            .iter()
            .map(|f| {
                let total: f32 = f.shares.iter().sum();
                std::array::from_fn(|i| (12.0 * f.shares[i] / total).max(tuning.floor).ln())
            })
            .collect();
        let basses = FAMILIES
            .iter()
            .map(|f| f.bass_shares().map(|share| (share / 0.74).ln()))
            .collect();
        let pedal = pedal_points(units);
        let mut sums = vec![[0.0; 13]];
        for unit in units {
            let mut next = *sums.last().expect("one is there");
            let less = if pedal[sums.len() - 1] {
                1.0 - tuning.pedal_point
            } else {
                0.0
            };
            let weights = unit.classes.iter().zip(unit.low);
            for (sum, (weight, low)) in next.iter_mut().zip(weights) {
                *sum += weight - less * low;
            }
            next[12] += unit.run;
            sums.push(next);
        }
        let change = (0..units.len())
            .map(|u| match (units[u].place, in_bar(u)) {
                (BeatPlace::Strike, _) => tuning.change_at_strike,
                (BeatPlace::Between, _) => tuning.change_between,
                (BeatPlace::Beat(_), InBar::First) => tuning.change_on_bar,
                (BeatPlace::Beat(_), InBar::Middle) => tuning.change_in_middle,
                (BeatPlace::Beat(_), InBar::Other | InBar::Unknown) => tuning.change_on_beat,
            })
            .collect();
        let mut seen: Vec<Option<Key>> = Vec::new();
        let key_of = (0..units.len())
            .map(|u| {
                let key = keys(u);
                seen.iter().position(|k| *k == key).unwrap_or_else(|| {
                    seen.push(key);
                    seen.len() - 1
                })
            })
            .collect();
        let all: Vec<Class> = FAMILIES.iter().map(|f| f.class()).collect();
        let fits = seen
            .iter()
            .map(|key| {
                let mut costs = Vec::with_capacity(12 * FAMILIES.len());
                for root in PitchClass::all() {
                    for class in &all {
                        costs.push(key.map_or(0.8, |k| fit(root, *class, k)));
                    }
                }
                costs
            })
            .collect();
        Self {
            units,
            tuning,
            shares,
            basses,
            classes: all.iter().map(|&c| class_number(c)).collect(),
            sums,
            pedal,
            change,
            key_of,
            fits,
            steps: steps(),
        }
    }

    /// The value of every (root, family) for units `from..to`, and of no chord.
    fn weigh(&self, from: usize, to: usize, out: &mut [f32]) -> f32 {
        let t = self.tuning;
        let (a, b) = (&self.sums[from], &self.sums[to]);
        let mut weights = [0.0_f32; 12];
        let (mut total, mut compressed) = (0.0, 0.0);
        for class in 0..12 {
            let weight = (b[class] - a[class]).max(0.0);
            total += weight;
            weights[class] = weight.powf(t.compress);
            compressed += weights[class];
        }
        let run = (b[12] - a[12]).max(0.0);
        if compressed > 0.0 {
            weights.iter_mut().for_each(|w| *w /= compressed);
        }
        // A full chord over a beat weighs about 3; what thick chords weigh more tells little more.
        let mass = t.notes
            * (0..to - from)
                .map(|u| {
                    let unit: f32 = self.units[from + u].classes.iter().sum();
                    unit / (unit + 1.0)
                })
                .sum::<f32>();
        let bass = self.bass(from, to);
        let heavy = if self.pedal[from] {
            t.bass * t.pedal_point
        } else {
            t.bass
        };
        let fits = &self.fits[self.key_of[from]];
        let families = FAMILIES.len();
        for root in 0..12 {
            let mut turned = [0.0_f32; 12];
            for (interval, weight) in turned.iter_mut().enumerate() {
                *weight = weights[(root + interval) % 12];
            }
            for family in 0..families {
                let shares = &self.shares[family];
                let fitting: f32 = turned.iter().zip(shares).map(|(w, s)| w * s).sum();
                let mut value = mass * fitting
                    - t.rarity * FAMILIES[family].rarity
                    - t.key * fits[root * families + family];
                if let Some((midi, clear)) = bass {
                    let interval = (usize::from(midi) + 12 - root) % 12;
                    value += heavy * clear * self.basses[family][interval];
                }
                out[root * families + family] = value;
            }
        }
        let run_share = if total > 0.0 { run / total } else { 0.0 };
        mass * (t.no_chord + t.no_chord_run * run_share)
    }

    /// The bass where the stretch begins: the lowest note struck within its first beat, or what sounds on below; how clearly it is a bass.
    fn bass(&self, from: usize, to: usize) -> Option<(u8, f32)> {
        let first_beat = &self.units[from..to.min(from + 2)];
        let struck = first_beat.iter().filter_map(|u| u.bass.map(|b| b.0)).min();
        let sounding = self.units[from].lowest;
        let midi = match (struck, sounding) {
            (Some(s), Some(l)) => s.min(l),
            (s, l) => s.or(l)?,
        };
        // From the middle of the keyboard upwards the lowest note is less and less a bass.
        let clear = ((72.0 - f32::from(midi)) / 20.0).clamp(0.15, 1.0);
        Some((midi, clear))
    }

    fn run(&self) -> Vec<Found> {
        let count = self.units.len();
        let families = FAMILIES.len();
        // Of every border and state only the way back is kept; values only as long as a stretch can reach back.
        let mut came: Vec<[Came; STATES]> = Vec::with_capacity(count + 1);
        let mut entries: VecDeque<[f32; STATES]> = VecDeque::with_capacity(LONGEST + 1);
        came.push([Came::default(); STATES]);
        entries.push_back([0.0; STATES]);
        let mut ends = [f32::NEG_INFINITY; STATES];
        let mut values = vec![0.0; 12 * families];
        for to in 1..=count {
            ends.fill(f32::NEG_INFINITY);
            let mut here = [Came::default(); STATES];
            let first = to.saturating_sub(LONGEST);
            for from in first..to {
                let nothing = self.weigh(from, to, &mut values);
                let entry = &entries[from + entries.len() - to];
                let change = self.change[from];
                let units = (to - from) as u8;
                for (place, value) in values.iter().enumerate() {
                    let state = (place / families) * CLASSES + self.classes[place % families];
                    let sum = entry[state] + value - change;
                    if sum > ends[state] {
                        ends[state] = sum;
                        (here[state].units, here[state].place) = (units, place as u16);
                    }
                }
                let sum = entry[NOTHING] + nothing - change;
                if sum > ends[NOTHING] {
                    ends[NOTHING] = sum;
                    (here[NOTHING].units, here[NOTHING].place) = (units, NO_PLACE);
                }
            }
            let best = ends.iter().copied().fold(f32::NEG_INFINITY, f32::max);
            entries.push_back(self.entry(&ends, best, &mut here));
            came.push(here);
            // Only differences count: sums stay small and exact over hours.
            for sum in entries.iter_mut().flatten() {
                *sum -= best;
            }
            if entries.len() > LONGEST {
                entries.pop_front();
            }
        }
        // Back from the end.
        let mut state = (0..STATES)
            .max_by(|&a, &b| ends[a].total_cmp(&ends[b]))
            .unwrap_or(NOTHING);
        let mut to = count;
        let mut stretches: Vec<(usize, usize, u16)> = Vec::new();
        while to > 0 {
            let way = came[to][state];
            let from = to - usize::from(way.units);
            stretches.push((from, to, way.place));
            to = from;
            state = usize::from(came[to][state].entered_from);
        }
        stretches.reverse();
        self.with_takes(&stretches)
    }

    /// The best way to enter each state from the states of one border, whose best value is `best`.
    fn entry(&self, ends: &[f32; STATES], best: f32, here: &mut [Came; STATES]) -> [f32; STATES] {
        let mut entry = [f32::NEG_INFINITY; STATES];
        for (from, &end) in ends.iter().enumerate() {
            // No step differs from another by more than this.
            if end < best - WIDEST_STEP * self.tuning.step {
                continue;
            }
            for (to, way) in entry.iter_mut().enumerate() {
                let sum = end - self.step(from, to);
                if sum > *way {
                    *way = sum;
                    here[to].entered_from = from as u8;
                }
            }
        }
        entry
    }

    fn step(&self, from: usize, to: usize) -> f32 {
        if from == NOTHING || to == NOTHING {
            return self.tuning.step;
        }
        let (a, b) = (from / CLASSES, to / CLASSES);
        let rises = (b + 12 - a) % 12;
        self.tuning.step * self.steps[(from % CLASSES * 12 + rises) * CLASSES + to % CLASSES]
    }

    /// The other ways to take each stretch, between its neighbours as they stand.
    fn with_takes(&self, stretches: &[(usize, usize, u16)]) -> Vec<Found> {
        let families = FAMILIES.len();
        let state = |place: u16| {
            if place == NO_PLACE {
                NOTHING
            } else {
                (place as usize / families) * CLASSES + self.classes[place as usize % families]
            }
        };
        let mut values = vec![0.0; 12 * families];
        let mut all: Vec<Found> = Vec::with_capacity(stretches.len());
        for (nth, &(from, to, chosen)) in stretches.iter().enumerate() {
            let nothing = self.weigh(from, to, &mut values);
            let before = nth.checked_sub(1).map(|i| state(stretches[i].2));
            let after = stretches.get(nth + 1).map(|s| state(s.2));
            let around = |state: usize| {
                before.map_or(0.0, |b| self.step(b, state))
                    + after.map_or(0.0, |a| self.step(state, a))
            };
            let mut takes: Vec<(u16, f32)> = values
                .iter()
                .enumerate()
                .map(|(place, value)| (place as u16, value - around(state(place as u16))))
                .collect();
            takes.push((NO_PLACE, nothing - around(NOTHING)));
            let best = takes.iter().map(|t| t.1).fold(f32::NEG_INFINITY, f32::max);
            let total: f32 = takes.iter().map(|t| (t.1 - best).exp()).sum();
            takes.sort_by(|a, b| {
                (b.0 == chosen)
                    .cmp(&(a.0 == chosen))
                    .then(b.1.total_cmp(&a.1))
            });
            takes.truncate(6);
            all.push(Found {
                from,
                to,
                takes: takes
                    .into_iter()
                    .map(|(place, value)| {
                        let taken = if place == NO_PLACE {
                            Taken::Nothing
                        } else {
                            Taken::Chord(
                                PitchClass::new(i32::from(place) / families as i32),
                                place as usize % families,
                            )
                        };
                        (taken, (value - best).exp() / total)
                    })
                    .collect(),
            });
        }
        all
    }
}

/// Where one bass note stays for [`PEDAL_WINDOWS`] windows of [`PEDAL_WINDOW`] units or more: three bars of four, longer than chords last.
fn pedal_points(units: &[Unit]) -> Vec<bool> {
    let lowest: Vec<Option<u8>> = units
        .chunks(PEDAL_WINDOW)
        .map(|window| window.iter().filter_map(|u| u.lowest).min())
        .collect();
    let mut pedal = vec![false; units.len()];
    let mut from = 0;
    while from < lowest.len() {
        let stays = lowest[from..]
            .iter()
            .take_while(|&&l| l == lowest[from])
            .count();
        if stays >= PEDAL_WINDOWS && lowest[from].is_some() {
            let end = ((from + stays) * PEDAL_WINDOW).min(units.len());
            pedal[from * PEDAL_WINDOW..end].fill(true);
        }
        from += stays;
    }
    pedal
}

const PEDAL_WINDOW: usize = 4;
const PEDAL_WINDOWS: usize = 6;

/// What a step costs, by class before, half steps up, class after.
fn steps() -> Vec<f32> {
    let mut costs = vec![1.0_f32; CLASSES * 12 * CLASSES];
    let mut set = |from: &[Class], rises: &[usize], to: &[Class], cost: f32| {
        for &a in from {
            for &r in rises {
                for &b in to {
                    costs[(class_number(a) * 12 + r) * CLASSES + class_number(b)] = cost;
                }
            }
        }
    };
    use Class::{
        Diminished, DiminishedMajor, Dominant, HalfDiminished, Major, Minor, MinorTonic, Suspended,
    };
    let all = Class::NAMED;
    let resting = [Major, Minor, MinorTonic];
    // Roots that fall or rise by fifths, and by steps and thirds, as counted over the labels of performances.jsonl.gz.
    set(&all, &[5], &all, 0.1);
    set(&all, &[7], &all, 0.5);
    set(&all, &[2, 10], &all, 0.6);
    set(&all, &[3, 4, 8, 9], &all, 0.8);
    set(&all, &[0], &all, 0.8);
    set(&[Major, Suspended], &[9, 2], &[Minor], 0.3);
    set(&[Major, Dominant], &[2], &[Major], 0.3);
    set(&[Minor], &[8], &[Major], 0.3);
    set(&[Suspended], &[0], &all, 0.2);
    set(&all, &[0], &[Suspended], 0.4);
    // Cadences and their stand-ins (Nettles and Graf, 1997, ch. 3; Levine, 1995).
    set(&[Dominant, Suspended], &[5], &all, -0.7);
    set(&[Dominant], &[11], &resting, -0.4);
    set(&[Minor, HalfDiminished], &[5], &[Dominant, Suspended], -0.7);
    set(&[HalfDiminished], &[5], &resting, 0.8);
    set(&[Minor], &[11], &[Dominant], -0.2);
    set(&[Diminished], &[1], &all, -1.2);
    set(&[DiminishedMajor], &[1], &all, -0.6);
    set(&[Diminished, DiminishedMajor], &[0, 11], &all, -0.2);
    set(&[DiminishedMajor], &[10, 4, 7], &resting, -0.4);
    costs
}
