//! The best path through a progression: which way each chord is taken, and in which key.
//!
//! Input: for every chord the ways to take it, with their costs. Output: one [`PathStep`] a chord. Units: costs in natural-log units;
//! confidences 0 to 1. Method: dynamic programming over (take, key), forwards and backwards (Viterbi, 1967); the costs of
//! steps follow root motion as in Nettles and Graf, 1997, ch. 3. Limits: no rhythm.

use super::costs::COSTS as C;
use crate::harmony::function::{Class, fit};
use crate::harmony::pitch::{DegreeSet, Key, Mode, PitchClass};

/// One way to take a chord.
#[derive(Debug, Clone, Copy)]
pub(crate) struct PathChoice {
    pub root: PitchClass,
    pub degrees: DegreeSet,
    pub class: Class,
    pub cost: f32,
    /// What it leaves out.
    pub taken: Taken,
}

/// As what a chord is taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Taken {
    /// By a name of its own.
    Name,
    /// As the staple left hand of a dominant: its root is left to the bass.
    LeftHand,
    /// As a rootless dominant that has a better name: a stand-in.
    RootlessDominant,
    /// As another chord without its root.
    RootlessVoicing,
}

const KEYS: usize = 24;

/// Key by index: twelve majors, then twelve minors.
pub(crate) fn key_at(index: usize) -> Key {
    let mode = if index < 12 { Mode::Major } else { Mode::Minor };
    Key::usual(PitchClass::new((index % 12) as i32), mode)
}

fn key_change(from: usize, to: usize) -> f32 {
    if from == to {
        return 0.0;
    }
    let signature = |k: usize| (if k < 12 { k * 7 } else { (k + 3) * 7 }) % 12;
    let apart = (12 + signature(from) - signature(to)) % 12;
    C.key_change + C.key_distance * apart.min(12 - apart) as f32
}

/// What the step from one chord to the next costs; negative where it leads on.
pub(crate) fn step(from: &PathChoice, to: &PathChoice) -> f32 {
    let rises = to.root.above(from.root);
    let leaves_root = |taken| matches!(taken, Taken::LeftHand | Taken::RootlessVoicing);
    let both = from.taken != Taken::Name && to.taken != Taken::Name;
    let style = if both && (leaves_root(from.taken) || leaves_root(to.taken)) {
        C.keeps_leaving_roots
    } else {
        0.0
    };
    let unresolved = if from.taken == Taken::RootlessDominant {
        C.unresolved_stand_in
    } else {
        C.unresolved
    };
    style
        + match (from.class, rises) {
            (Class::Dominant | Class::Suspended, 5) => C.five_one,
            (Class::Dominant, 11) => C.substitute_one,
            (Class::Dominant, 0) if to.class == Class::Dominant => 0.0,
            (Class::Dominant, 6) if to.class == Class::Dominant => C.to_its_substitute,
            (Class::Dominant, 2) => unresolved + C.rises_a_whole_step,
            (Class::Dominant, _) => unresolved,
            (Class::Suspended, 0) if to.class == Class::Dominant => C.suspension_falls,
            (Class::Minor | Class::HalfDiminished, 5) if to.class == Class::Dominant => C.two_five,
            (Class::Minor | Class::HalfDiminished, 5) if to.class == Class::Suspended => {
                C.two_suspended_five
            }
            (Class::Minor, 11) if to.class == Class::Dominant => C.two_substitute,
            (Class::Diminished, 1) => C.diminished_rises,
            (Class::Diminished, 11 | 0) => C.diminished_falls,
            (Class::DiminishedMajor, 0) => C.delay_falls,
            (Class::DiminishedMajor, _) => C.delay_unresolved,
            (_, 5 | 7) => C.fifths_apart,
            _ => 0.0,
        }
}

/// What arriving at a tonic takes off, in the key in which one arrives.
fn arrival(from: &PathChoice, to: &PathChoice, key: Key) -> f32 {
    let home = to.root == key.tonic.class() && to.class.rests(key.mode);
    match (home, from.class, to.root.above(from.root)) {
        (true, Class::Dominant, 5) => C.home_by_five,
        (true, Class::Dominant, 11 | 2) | (true, Class::Suspended, 5) => C.home_otherwise,
        _ => 0.0,
    }
}

/// One chord of the best path.
pub(crate) struct PathStep {
    pub take: usize,
    pub key: usize,
    pub confidence: f32,
}

/// Cost of being at a take in a key, and where it came from.
type Layer = Vec<[(f32, u16); KEYS]>;

#[allow(
    clippy::expect_used,
    reason = "there is a way for every chord and 24 keys, whatever was given"
)]
pub(crate) fn best_path(takes: &[Vec<PathChoice>], stated: Option<Key>) -> Vec<PathStep> {
    if takes.is_empty() {
        return Vec::new();
    }
    let keys: Vec<Key> = (0..KEYS).map(key_at).collect();
    let stated = stated.map(|s| {
        keys.iter()
            .position(|k| k.tonic.class() == s.tonic.class() && k.mode == s.mode)
            .expect("all 24 keys are listed")
    });
    let here = |take: &PathChoice, key: usize, at: usize| {
        let tonic = take.root == keys[key].tonic.class() && take.class.rests(keys[key].mode);
        let frame = if tonic && at + 1 == takes.len() {
            C.ends_at_home
        } else if tonic && at == 0 {
            C.begins_at_home
        } else {
            0.0
        };
        let refused = if stated.is_some_and(|s| s != key) {
            C.not_the_stated_key
        } else {
            0.0
        };
        take.cost + fit(take.root, take.class, keys[key]) + frame + refused
    };
    let forward = sweep(takes, &keys, &here, false);
    let backward = sweep(takes, &keys, &here, true);
    // Best whole path through each key at each chord; the difference to the rest is the confidence.
    let confidence = |at: usize, key: usize| {
        let through = |k: usize| {
            takes[at]
                .iter()
                .enumerate()
                .map(|(i, take)| forward[at][i][k].0 + backward[at][i][k].0 - here(take, k, at))
                .fold(f32::INFINITY, f32::min)
        };
        let best = through(key);
        1.0 / (0..KEYS).map(|k| (best - through(k)).exp()).sum::<f32>()
    };
    let last = takes.len() - 1;
    let (mut take, mut key) = (0..takes[last].len())
        .flat_map(|i| (0..KEYS).map(move |k| (i, k)))
        .min_by(|a, b| {
            forward[last][a.0][a.1]
                .0
                .total_cmp(&forward[last][b.0][b.1].0)
        })
        .expect("every chord can be taken some way");
    let mut path = Vec::with_capacity(takes.len());
    for at in (0..takes.len()).rev() {
        path.push(PathStep {
            take,
            key,
            confidence: confidence(at, key),
        });
        let came_from = forward[at][take][key].1 as usize;
        (take, key) = (came_from / KEYS, came_from % KEYS);
    }
    path.reverse();
    path
}

/// Cheapest way to every state, from the start, or (backwards) from the end.
#[allow(
    clippy::expect_used,
    reason = "there is a way for every chord and 24 keys, whatever was given"
)]
fn sweep(
    takes: &[Vec<PathChoice>],
    keys: &[Key],
    here: &dyn Fn(&PathChoice, usize, usize) -> f32,
    backwards: bool,
) -> Vec<Layer> {
    let count = takes.len();
    let order: Vec<usize> = if backwards {
        (0..count).rev().collect()
    } else {
        (0..count).collect()
    };
    let mut layers: Vec<Layer> = vec![Vec::new(); count];
    for (nth, &at) in order.iter().enumerate() {
        let mut layer: Layer = takes[at]
            .iter()
            .map(|take| std::array::from_fn(|k| (here(take, k, at), 0)))
            .collect();
        if nth > 0 {
            let previous = order[nth - 1];
            let old = &layers[previous];
            // The cheapest key to come from, for every take before and key now.
            let entered: Vec<[(f32, u16); KEYS]> = old
                .iter()
                .enumerate()
                .map(|(i, costs)| {
                    std::array::from_fn(|k| {
                        (0..KEYS)
                            .map(|from| {
                                (
                                    costs[from].0 + key_change(from, k),
                                    (i * KEYS + from) as u16,
                                )
                            })
                            .min_by(|a, b| a.0.total_cmp(&b.0))
                            .expect("there are keys")
                    })
                })
                .collect();
            for (take, costs) in takes[at].iter().zip(layer.iter_mut()) {
                for (k, cost) in costs.iter_mut().enumerate() {
                    let (added, from) = takes[previous]
                        .iter()
                        .zip(&entered)
                        .map(|(other, ways)| {
                            let (first, second) = if backwards {
                                (take, other)
                            } else {
                                (other, take)
                            };
                            (
                                ways[k].0 + step(first, second) + arrival(first, second, keys[k]),
                                ways[k].1,
                            )
                        })
                        .min_by(|a, b| a.0.total_cmp(&b.0))
                        .expect("every chord can be taken some way");
                    *cost = (cost.0 + added, from);
                }
            }
        }
        layers[at] = layer;
    }
    layers
}

#[cfg(test)]
mod tests {
    use super::*;

    const CLASSES: [Class; 9] = [
        Class::Major,
        Class::Minor,
        Class::MinorTonic,
        Class::Dominant,
        Class::Suspended,
        Class::HalfDiminished,
        Class::Diminished,
        Class::DiminishedMajor,
        Class::Other,
    ];

    fn any_take(random: &mut fastrand::Rng) -> PathChoice {
        PathChoice {
            root: PitchClass::new(random.i32(0..12)),
            degrees: DegreeSet::of("1"),
            class: CLASSES[random.usize(..CLASSES.len())],
            cost: 3.0 * random.f32(),
            taken: [
                Taken::Name,
                Taken::LeftHand,
                Taken::RootlessDominant,
                Taken::RootlessVoicing,
            ][random.usize(..4)],
        }
    }

    /// What a whole path of (take, key) costs, term by term.
    fn cost_of(takes: &[Vec<PathChoice>], path: &[(usize, usize)]) -> f32 {
        let mut cost = 0.0;
        for (at, &(i, k)) in path.iter().enumerate() {
            let (take, key) = (&takes[at][i], key_at(k));
            cost += take.cost + fit(take.root, take.class, key);
            let at_home = take.root == key.tonic.class() && take.class.rests(key.mode);
            if at_home && at + 1 == path.len() {
                cost -= 1.0;
            } else if at_home && at == 0 {
                cost -= 0.6;
            }
            if let Some(&(j, before)) = at.checked_sub(1).and_then(|before| path.get(before)) {
                let from = &takes[at - 1][j];
                cost += key_change(before, k) + step(from, take) + arrival(from, take, key);
            }
        }
        cost
    }

    /// All paths there are.
    fn every_path(takes: &[Vec<PathChoice>], mut visit: impl FnMut(&[(usize, usize)])) {
        let mut path = vec![(0, 0); takes.len()];
        loop {
            visit(&path);
            let mut at = 0;
            loop {
                let Some((i, k)) = path.get_mut(at) else {
                    return;
                };
                *k += 1;
                if *k == KEYS {
                    (*i, *k) = (*i + 1, 0);
                }
                if *i < takes[at].len() {
                    break;
                }
                *i = 0;
                at += 1;
            }
        }
    }

    /// The least cost of all paths, and through each key at each chord.
    fn exhaustive(takes: &[Vec<PathChoice>]) -> (f32, Vec<[f32; KEYS]>) {
        let mut through = vec![[f32::INFINITY; KEYS]; takes.len()];
        let mut least = f32::INFINITY;
        every_path(takes, |path| {
            let cost = cost_of(takes, path);
            least = least.min(cost);
            for (through, &(_, key)) in through.iter_mut().zip(path) {
                through[key] = through[key].min(cost);
            }
        });
        (least, through)
    }

    #[test]
    fn no_path_is_cheaper_than_the_best_and_its_confidence_is_that_of_all_paths() {
        let mut random = fastrand::Rng::with_seed(96);
        for round in 0..12 {
            // one to three chords with up to two takes, or four with one
            let counts: &[usize] = [&[2][..], &[2, 1], &[1, 2, 2], &[1, 1, 1, 1]][round % 4];
            let takes: Vec<Vec<PathChoice>> = counts
                .iter()
                .map(|&count| (0..count).map(|_| any_take(&mut random)).collect())
                .collect();
            let (least, through) = exhaustive(&takes);
            let found = best_path(&takes, None);
            let path: Vec<_> = found.iter().map(|place| (place.take, place.key)).collect();
            let cost = cost_of(&takes, &path);
            assert!((cost - least).abs() < 1e-4, "{cost} for {least}: {takes:?}");
            for (at, place) in found.iter().enumerate() {
                let odds = |key: usize| (through[at][place.key] - through[at][key]).exp();
                let expected = 1.0 / (0..KEYS).map(odds).sum::<f32>();
                assert!(
                    (place.confidence - expected).abs() < 1e-3,
                    "chord {at}: {} for {expected}",
                    place.confidence
                );
            }
        }
    }

    #[test]
    fn in_a_stated_key_the_best_path_is_the_best_of_that_key() {
        let mut random = fastrand::Rng::with_seed(97);
        for stated in [0, 7, 14, 23] {
            let takes: Vec<Vec<PathChoice>> = (0..2)
                .map(|_| (0..3).map(|_| any_take(&mut random)).collect())
                .collect();
            let mut least = f32::INFINITY;
            every_path(&takes, |path| {
                if path.iter().all(|&(_, key)| key == stated) {
                    least = least.min(cost_of(&takes, path));
                }
            });
            let found = best_path(&takes, Some(key_at(stated)));
            assert!(found.iter().all(|place| place.key == stated));
            let path: Vec<_> = found.iter().map(|place| (place.take, place.key)).collect();
            assert!((cost_of(&takes, &path) - least).abs() < 1e-4);
        }
    }

    #[test]
    fn without_chords_there_is_no_path() {
        assert!(best_path(&[], None).is_empty());
    }
}
