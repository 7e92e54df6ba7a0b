//! Lays the targets of an exercise along the attempts of a recording, in which nobody was prompted.
//!
//! Input: attempts, and the rounds that may have been played. Output: for each attempt its target, or none.
//! Units: costs in log-odds, as of [`fit`]. Method: dynamic programming over attempts and places in the round (as in the alignment of scores;
//! Dannenberg, ICMC 1984): the next target costs nothing, the same again, one left out or a jump back some; an attempt that is none of the
//! exercise (a key tried, a chord between) costs most. Where the order is not stated, every fixed order from every key is tried, and the one that goes best is taken.
//! What is right but out of turn (a key left out, or repeated after it went well) may as well be a wrong root where another was asked for: it is unsure unless it follows in
//! turn, or the next attempt goes on from it and is right.
//! Limits: where two orders go equally well with few attempts, the first in the list is taken.

use super::attempts::Attempt;
use super::course::hesitation;
use super::mark::{Mark, MarkRules, Outcome, Remark, fit, mark};
use super::target::Target;
use crate::units::{SampleRate, Seconds};

/// What it costs that a target is played once more after it went wrong.
const AGAIN: f32 = 2.0;
/// The same after it went well: with the one that is then left out it is dearer than a wrong root.
const AGAIN_AFTER_RIGHT: f32 = 13.0;
/// It went well where each key speaks for it so much, in the mean.
const WENT_WELL: f32 = 2.0;
/// That targets are left out: this, and as much for each.
const LEFT_OUT: f32 = 3.0;
/// That the player goes back, or begins anew: more than a chord on a wrong root that would be right there gains.
const BACK: f32 = 20.0;
/// That a round begins elsewhere than at its first target.
const ELSEWHERE: f32 = 1.0;
/// How well an attempt goes that is none of the exercise: only one of fewer keys than a try has.
const STRAY: f32 = -5.0;
/// An attempt of about as many keys as were asked for goes no worse than this, whatever they are: a wrong root is a slip, not another order.
const WORST_TRY: f32 = -3.0;

/// For each attempt the place of its target in `round`, `None` for a stray one; and how well all goes together.
pub fn align(attempts: &[Attempt], round: &[Target]) -> (Vec<Option<usize>>, f32) {
    let places = round.len();
    if places == 0 || attempts.is_empty() {
        return (vec![None; attempts.len()], 0.0);
    }
    let mut best: Vec<f32> = (0..places)
        .map(|place| if place == 0 { 0.0 } else { -ELSEWHERE })
        .collect();
    // where each attempt's target was, by the target that comes after it, `true` for a stray one
    let mut came_from: Vec<Vec<(usize, bool)>> = Vec::with_capacity(attempts.len());
    let mut went_well = vec![false; places];
    for (n, attempt) in attempts.iter().enumerate() {
        let fits: Vec<f32> = round.iter().map(|target| tried(target, attempt)).collect();
        let mut next = vec![f32::NEG_INFINITY; places];
        let mut from = vec![(0, false); places];
        for place in 0..places {
            // played: the one before it was some other place; the first attempt comes from nowhere
            for before in 0..places {
                let step = if n == 0 {
                    if before == place { 0.0 } else { continue }
                } else {
                    step_cost(before, place, places, went_well[before])
                };
                let total = best[before] - step + fits[place];
                if total > next[place] {
                    (next[place], from[place]) = (total, (before, false));
                }
            }
            let stray = best[place] + STRAY;
            if !is_try(&round[place], attempt) && stray > next[place] {
                (next[place], from[place]) = (stray, (place, true));
            }
        }
        for place in 0..places {
            if !from[place].1 {
                went_well[place] = fits[place] > WENT_WELL * round[place].voices() as f32;
            }
        }
        best = next;
        came_from.push(from);
    }
    let (mut place, &total) = best
        .iter()
        .enumerate()
        .max_by(|a, b| a.1.total_cmp(b.1))
        .unwrap_or((0, &0.0));
    let mut places = vec![None; attempts.len()];
    for n in (0..attempts.len()).rev() {
        let (before, stray) = came_from[n][place];
        places[n] = (!stray).then_some(place);
        place = before;
    }
    (places, total)
}

/// How well an attempt goes with a target, where it is about as many keys no worse than [`WORST_TRY`].
fn tried(target: &Target, attempt: &Attempt) -> f32 {
    let least = if is_try(target, attempt) {
        WORST_TRY
    } else {
        f32::NEG_INFINITY
    };
    fit(target, attempt).max(least)
}

/// True for an attempt of about as many keys as were asked for, whatever they are.
fn is_try(target: &Target, attempt: &Attempt) -> bool {
    attempt.strikes.len() + 1 >= target.voices()
}

/// What a step from one place of the round to another costs; after the last comes the first.
fn step_cost(before: usize, place: usize, places: usize, went_well: bool) -> f32 {
    let ahead = (place + places - before) % places;
    match ahead {
        1 => 0.0,
        0 if went_well => AGAIN_AFTER_RIGHT,
        0 => AGAIN,
        _ if place > before => LEFT_OUT * ahead as f32,
        _ => BACK,
    }
}

/// Of several rounds the one that goes best with the attempts, and the places in it; the first of equals.
pub fn best_round(
    attempts: &[Attempt],
    rounds: Vec<Vec<Target>>,
) -> Option<(Vec<Target>, Vec<Option<usize>>)> {
    let mut best: Option<(Vec<Target>, Vec<Option<usize>>, f32)> = None;
    for round in rounds {
        let (places, total) = align(attempts, &round);
        if best.as_ref().is_none_or(|(.., most)| total > *most) {
            best = Some((round, places, total));
        }
    }
    best.map(|(round, places, _)| (round, places))
}

/// An attempt of a recording and what came of it.
#[derive(Debug, Clone)]
pub struct MarkedAttempt {
    /// What was played.
    pub attempt: Attempt,
    /// What it was taken for.
    pub target: Target,
    /// Its mark.
    pub mark: Mark,
    /// From the attempt before to this one.
    pub took: Option<Seconds>,
}

/// An attempt on the same target so soon after a slip is its correction, in seconds.
const CORRECTS_WITHIN: f64 = 2.5;

/// What may have been played.
#[derive(Debug, Clone)]
pub enum Played {
    /// One of these rounds, each in its order.
    OneOf(Vec<Vec<Target>>),
    /// These targets in any order, as where it was drawn: each attempt is taken for the target that it goes best with, and no root is wrong.
    InAnyOrder(Vec<Target>),
}

/// For each attempt the place of the target that it goes best with, `None` for a stray one.
fn nearest(attempts: &[Attempt], targets: &[Target]) -> Vec<Option<usize>> {
    let nearest = |attempt: &Attempt| {
        let fits = targets.iter().map(|target| tried(target, attempt));
        let best = fits.enumerate().max_by(|a, b| a.1.total_cmp(&b.1))?;
        (best.1 > STRAY).then_some(best.0)
    };
    attempts.iter().map(nearest).collect()
}

/// Marks the attempts of a recording; strays are left out.
pub fn mark_attempts(
    attempts: Vec<Attempt>,
    played: Played,
    rules: &MarkRules,
) -> Vec<MarkedAttempt> {
    let in_turn = matches!(played, Played::OneOf(_));
    let (round, places) = match played {
        Played::OneOf(rounds) => match best_round(&attempts, rounds) {
            Some(best) => best,
            None => return Vec::new(),
        },
        Played::InAnyOrder(targets) => {
            let places = nearest(&attempts, &targets);
            (targets, places)
        }
    };
    let mut marked: Vec<MarkedAttempt> = Vec::with_capacity(attempts.len());
    let mut times = Vec::new();
    let mut before = None;
    let mut placed = Vec::with_capacity(attempts.len());
    for (attempt, place) in attempts.into_iter().zip(places) {
        let Some(place) = place else { continue };
        placed.push(place);
        let target = round[place].clone();
        let mut mark = mark(&target, &attempt, rules);
        let last = marked.last();
        let took = last.map(|last: &MarkedAttempt| {
            (attempt.start - last.attempt.start).seconds(SampleRate::INTERNAL)
        });
        let corrects = before == Some(place)
            && last.is_some_and(|last| last.mark.outcome != Outcome::Right)
            && took.is_some_and(|took| took.get() < CORRECTS_WITHIN);
        if corrects && mark.outcome == Outcome::Right {
            mark.remarks.insert(0, Remark::Corrected);
        }
        if let Some(took) = took {
            if hesitation(&times, took) {
                mark.hesitated(took);
            }
            times.push(took.get());
        }
        before = Some(place);
        marked.push(MarkedAttempt {
            attempt,
            target,
            mark,
            took,
        });
    }
    if in_turn {
        doubt_out_of_turn(&mut marked, &placed, round.len());
    }
    marked
}

/// How an attempt follows another in the round.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Follows {
    /// Its target comes next.
    InTurn,
    /// The same once more after it went wrong.
    AsRetry,
    /// Anything else.
    OutOfTurn,
}

/// Right ones that nothing beside them says were meant become unsure.
fn doubt_out_of_turn(marked: &mut [MarkedAttempt], placed: &[usize], places: usize) {
    let right: Vec<bool> = marked
        .iter()
        .map(|one| one.mark.outcome == Outcome::Right)
        .collect();
    // of the n-th: how the one after it follows
    let follows: Vec<Follows> = placed
        .windows(2)
        .zip(&right)
        .map(
            |(pair, &right)| match (pair[1] + places - pair[0]) % places {
                1 => Follows::InTurn,
                0 if !right => Follows::AsRetry,
                _ => Follows::OutOfTurn,
            },
        )
        .collect();
    for (n, one) in marked.iter_mut().enumerate() {
        let from = n.checked_sub(1).and_then(|before| follows.get(before));
        let to = follows.get(n);
        let goes_on = to == Some(&Follows::InTurn) && right.get(n + 1) == Some(&true);
        let meant = from == Some(&Follows::InTurn) || goes_on;
        let beside = [from, to];
        if right[n] && !meant && beside.contains(&Some(&Follows::OutOfTurn)) {
            one.mark.out_of_turn();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::attempts::{Evidence, Strike};
    use super::super::exercise::{Exercise, Material, Order};
    use super::super::target::KeyRange;
    use super::*;
    use crate::harmony::PitchClass;
    use crate::units::{PIANO_KEYS, PianoKey, SamplePos, SampleSpan};

    fn exercise(order: Order) -> Exercise {
        Exercise {
            material: Material::read(&["m7b5".to_owned()]).unwrap(),
            form: None,
            order,
            start: None,
            range: KeyRange::PIANO,
        }
    }

    fn attempt(root: u8, at: f64) -> Attempt {
        let mut log_odds = [-5.0; PIANO_KEYS];
        let start = SamplePos::new((at * 22_050.0) as u64);
        let keys = [0, 3, 6, 10].map(|up| PianoKey::new(usize::from(27 + root + up)).unwrap());
        keys.iter().for_each(|key| log_odds[key.index()] = 5.0);
        let span = |seconds: f64| SampleSpan::new((seconds * 22_050.0) as u64);
        Attempt {
            start,
            last_strike: start,
            end: start + span(1.5),
            strikes: keys.iter().map(|&key| Strike { key, at: start }).collect(),
            later: Vec::new(),
            before: [-6.0; PIANO_KEYS],
            heard: vec![Evidence {
                after: span(0.6),
                log_odds,
            }],
            mended: None,
        }
    }

    /// Attempts on these roots, two seconds apart.
    fn played(roots: &[u8]) -> Vec<Attempt> {
        roots
            .iter()
            .enumerate()
            .map(|(n, &root)| attempt(root, 2.0 * n as f64))
            .collect()
    }

    fn rounds() -> Vec<Vec<Target>> {
        let mut rounds = Vec::new();
        for order in Order::fixed() {
            for start in PitchClass::all() {
                let exercise = Exercise {
                    start: Some(start),
                    ..exercise(order.clone())
                };
                rounds.push(exercise.round(0, &[]).unwrap());
            }
        }
        rounds
    }

    #[test]
    fn the_order_is_found_from_what_was_played() {
        for order in Order::fixed() {
            let keys = order.keys(PitchClass::new(3), 0, &[]);
            let roots: Vec<u8> = keys.iter().map(|key| key.get()).collect();
            let marked = mark_attempts(
                played(&roots),
                Played::OneOf(rounds()),
                &MarkRules::default(),
            );
            assert_eq!(marked.len(), 12, "{order}");
            assert!(
                marked.iter().all(|one| one.mark.outcome == Outcome::Right),
                "{order}"
            );
        }
    }

    #[test]
    fn one_wrong_root_is_a_slip_and_not_another_order() {
        let mut roots = [0_u8, 5, 10, 3, 8, 1, 6, 11, 4, 9, 2, 7];
        roots[6] = 7;
        let marked = mark_attempts(
            played(&roots),
            Played::OneOf(rounds()),
            &MarkRules::default(),
        );
        let slips: Vec<usize> = (0..12)
            .filter(|&n| marked[n].mark.outcome == Outcome::Slip)
            .collect();
        assert_eq!(slips, [6]);
        assert_eq!(marked[6].target.root(), PitchClass::new(6));
    }

    #[test]
    fn what_may_be_a_wrong_root_or_another_key_is_unsure() {
        // the last: E flat was asked for, C sharp is right for a key that was three places off
        let ends_elsewhere = [0_u8, 5, 10, 1];
        // the first: on D, where F was next to come in turn before B flat
        let begins_elsewhere = [2_u8, 10, 3, 8, 1];
        let round = |start| {
            let exercise = Exercise {
                start: Some(PitchClass::new(start)),
                ..exercise(Order::Fourths)
            };
            exercise.round(0, &[]).unwrap()
        };
        for (roots, unsure) in [(&ends_elsewhere[..], 3), (&begins_elsewhere[..], 0)] {
            let rounds = (0..12).map(round).collect();
            let marked = mark_attempts(played(roots), Played::OneOf(rounds), &MarkRules::default());
            for (n, one) in marked.iter().enumerate() {
                let told = (
                    one.mark.outcome,
                    one.mark.remarks.contains(&Remark::OutOfTurn),
                );
                let expected = if n == unsure {
                    (Outcome::Unsure, true)
                } else {
                    (Outcome::Right, false)
                };
                assert_eq!(told, expected, "{n} of {roots:?}");
            }
        }
    }

    #[test]
    fn repeated_and_left_out_keys_and_a_new_beginning_are_followed() {
        let roots = [0_u8, 5, 5, 10, 3, 1, 6, 0, 5, 10];
        let marked = mark_attempts(
            played(&roots),
            Played::OneOf(vec![exercise(Order::Fourths).round(0, &[]).unwrap()]),
            &MarkRules::default(),
        );
        let found: Vec<u8> = marked.iter().map(|one| one.target.root().get()).collect();
        assert_eq!(found, roots);
        assert!(marked.iter().all(|one| one.mark.outcome == Outcome::Right));
    }

    #[test]
    fn a_chord_that_is_none_of_the_exercise_is_left_out() {
        let mut attempts = played(&[0, 5, 10]);
        let mut stray = attempt(0, 3.0);
        stray.strikes.truncate(2);
        stray.heard[0].log_odds = [-5.0; PIANO_KEYS];
        stray.heard[0].log_odds[60] = 5.0;
        stray.heard[0].log_odds[61] = 5.0;
        attempts.insert(2, stray);
        let round = exercise(Order::Fourths).round(0, &[]).unwrap();
        assert_eq!(
            mark_attempts(attempts, Played::OneOf(vec![round]), &MarkRules::default()).len(),
            3
        );
    }

    #[test]
    fn a_drawn_order_is_followed_key_by_key() {
        let roots = [7_u8, 0, 11, 4, 4, 9];
        let targets = exercise(Order::Fourths).round(0, &[]).unwrap();
        let marked = mark_attempts(
            played(&roots),
            Played::InAnyOrder(targets),
            &MarkRules::default(),
        );
        let found: Vec<u8> = marked.iter().map(|one| one.target.root().get()).collect();
        assert_eq!(found, roots);
    }

    #[test]
    fn nothing_played_or_nothing_asked_is_nothing_marked() {
        assert!(
            mark_attempts(Vec::new(), Played::OneOf(rounds()), &MarkRules::default()).is_empty()
        );
        assert!(
            mark_attempts(
                played(&[0]),
                Played::OneOf(Vec::new()),
                &MarkRules::default()
            )
            .is_empty()
        );
    }
}
