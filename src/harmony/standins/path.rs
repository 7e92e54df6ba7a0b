//! Several stand-ins at once: the best path through a whole tune.
//!
//! Input: a tune, how far out each may go and how far all together. Output: [`Reharmonised`]. Units: steps out; costs in natural-log units.
//! Method: dynamic programming over (stand-in, budget spent) (Viterbi, 1967; Bellman, 1957, for the budget): each chord stays or takes one of
//! its best stand-ins; what it costs by itself is that of [`super::weigh`], with the chords that are now its neighbours.
//! Limits: of each chord the [`CONSIDERED`] likeliest stand-ins are looked at.

use super::answers::ranked;
use super::costs::COSTS as C;
use super::device::Device;
use super::slot::Slot;
use super::slot::slots;
use super::stand_in::{Search, StandIn};
use super::tune::Tune;
use super::weigh::{acting, between, cost_of_lost_home, cost_of_original, leading};
use crate::harmony::chord::Chord;
use crate::harmony::progression::best_path::PathChoice;

/// Stand-ins looked at of each chord.
const CONSIDERED: usize = 12;

/// A tune with stand-ins.
#[derive(Debug, Clone, PartialEq)]
pub struct Reharmonised {
    /// For each chord its stand-in; `None` where it stays.
    pub chosen: Vec<Option<StandIn>>,
    /// Steps out, all together.
    pub out: u32,
}

/// One way to take a chord of the tune.
struct Way<'a> {
    chosen: Option<&'a StandIn>,
    first: (Chord, PathChoice),
    last: (Chord, PathChoice),
    /// Without the steps to its neighbours.
    cost: f32,
    out: usize,
}

/// The tune with the stand-ins that go best together: none goes farther out than `out_to`, all together no farther than `budget`.
pub fn reharmonise(tune: &Tune, out_to: u8, budget: u32) -> Reharmonised {
    let slots = slots(tune);
    let found = found_for(tune, &slots, out_to);
    let ways: Vec<Vec<Way>> = slots
        .iter()
        .zip(&found)
        .map(|(slot, found)| ways_of(slot, found))
        .collect();
    let most = budget as usize;
    let chosen = cheapest(&ways, most);
    let out = chosen
        .iter()
        .zip(&ways)
        .map(|(&way, ways)| ways[way].out as u32)
        .sum();
    Reharmonised {
        chosen: chosen
            .iter()
            .zip(&ways)
            .map(|(&way, ways)| ways[way].chosen.cloned())
            .collect(),
        out,
    }
}

/// The stand-ins of each chord that are looked at.
fn found_for(tune: &Tune, slots: &[Slot], out_to: u8) -> Vec<Vec<StandIn>> {
    let search = Search {
        most: CONSIDERED,
        bound: Some(out_to),
        aim: None,
    };
    slots
        .iter()
        .zip(&tune.chords)
        .map(|(slot, chord)| ranked(slot, chord, &search, false))
        .collect()
}

/// The original first, then what was found.
fn ways_of<'a>(slot: &Slot, found: &'a [StandIn]) -> Vec<Way<'a>> {
    let original = Way::of(slot, None, [slot.original; 2], cost_of_original(slot));
    // Other colours of a chord are the player's, tune or no tune.
    let new = found.iter().filter(|found| found.device != Device::Colour);
    let others = new.filter_map(|stand_in| {
        let ends = [stand_in.parts.first()?.chord, stand_in.parts.last()?.chord];
        let spent = C.budget_spent * f32::from(stand_in.out);
        let cost = stand_in.cost + cost_of_lost_home(slot, stand_in) - spent;
        Some(Way::of(slot, Some(stand_in), ends, cost))
    });
    std::iter::once(original).chain(others).collect()
}

impl<'a> Way<'a> {
    fn of(slot: &Slot, chosen: Option<&'a StandIn>, ends: [Chord; 2], cost: f32) -> Self {
        let [first, last] = ends.map(|chord| (chord, acting(slot, &chord)));
        let outside = |chord: Chord| (chord, leading(&chord));
        let before = slot
            .before
            .map_or(0.0, |before| between(&outside(before), &first));
        let after = slot
            .after
            .map_or(0.0, |after| between(&last, &outside(after)));
        Self {
            chosen,
            first,
            last,
            // The steps to the neighbours are counted between ways.
            cost: cost - before - after,
            out: chosen.map_or(0, |stand_in| usize::from(stand_in.out)),
        }
    }
}

fn transition(from: &Way, to: &Way) -> f32 {
    let repeated = match (from.chosen, to.chosen) {
        (Some(a), Some(b)) if a.device == b.device => C.repeated,
        _ => 0.0,
    };
    between(&from.last, &to.first) + repeated
}

/// The way to take each chord that costs least, at most `most` steps out all together.
fn cheapest(ways: &[Vec<Way>], most: usize) -> Vec<usize> {
    let Some(last) = ways.len().checked_sub(1) else {
        return Vec::new();
    };
    let most = most.min(
        ways.iter()
            .map(|ways| ways.iter().map(|way| way.out).max().unwrap_or(0))
            .sum(),
    );
    // By chord, by way, by budget spent: the least cost so far and the way before.
    type Layer = Vec<Vec<(f32, usize)>>;
    let none = || vec![(f32::INFINITY, 0); most + 1];
    let mut layers: Vec<Layer> = Vec::with_capacity(ways.len());
    for (at, here) in ways.iter().enumerate() {
        let mut layer: Layer = here.iter().map(|_| none()).collect();
        for (way, row) in here.iter().zip(&mut layer) {
            match at.checked_sub(1) {
                None if way.out <= most => row[way.out] = (way.cost, 0),
                None => {}
                Some(before) => {
                    for (from, (earlier, costs)) in
                        ways[before].iter().zip(&layers[before]).enumerate()
                    {
                        let added = way.cost + transition(earlier, way);
                        for (spent, &(cost, _)) in costs
                            .iter()
                            .enumerate()
                            .take(most + 1 - way.out.min(most + 1))
                        {
                            let cell = &mut row[spent + way.out];
                            if cost + added < cell.0 {
                                *cell = (cost + added, from);
                            }
                        }
                    }
                }
            }
        }
        layers.push(layer);
    }
    let ends = (0..ways[last].len()).flat_map(|way| (0..=most).map(move |spent| (way, spent)));
    let Some((mut way, mut spent)) =
        ends.min_by(|&(a, s), &(b, t)| layers[last][a][s].0.total_cmp(&layers[last][b][t].0))
    else {
        return Vec::new();
    };
    let mut path = vec![0; ways.len()];
    for at in (0..ways.len()).rev() {
        path[at] = way;
        let before = layers[at][way][spent].1;
        spent -= ways[at][way].out;
        way = before;
    }
    path
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::harmony::standins::tune::Tune;

    fn tune(text: &str) -> Tune {
        let bars: Vec<Vec<Chord>> = text
            .split('|')
            .map(|bar| bar.split_whitespace().map(|s| s.parse().unwrap()).collect())
            .collect();
        Tune::of_bars(&bars, 4, None).unwrap()
    }

    #[test]
    fn no_other_choice_within_the_budget_costs_less() {
        for text in [
            "Dm7 | G7 | Cmaj7",
            "Cmaj7 | A7 | Dm7",
            "Em7b5 | A7 | Dm7",
            "Cmaj7 | Fmaj7 | Cmaj7",
        ] {
            let tune = tune(text);
            let slots = slots(&tune);
            let found = found_for(&tune, &slots, 3);
            let ways: Vec<Vec<Way>> = (slots.iter().zip(&found))
                .map(|(slot, found)| ways_of(slot, found))
                .collect();
            let cost = |path: [usize; 3]| {
                let way = |at: usize| &ways[at][path[at]];
                let own: f32 = (0..3).map(|at| way(at).cost).sum();
                own + transition(way(0), way(1)) + transition(way(1), way(2))
            };
            for budget in [0, 1, 3, 9] {
                let mut least = f32::INFINITY;
                for a in 0..ways[0].len() {
                    for b in 0..ways[1].len() {
                        for c in 0..ways[2].len() {
                            if ways[0][a].out + ways[1][b].out + ways[2][c].out <= budget {
                                least = least.min(cost([a, b, c]));
                            }
                        }
                    }
                }
                let path = cheapest(&ways, budget);
                let spent: usize = path
                    .iter()
                    .zip(&ways)
                    .map(|(&way, ways)| ways[way].out)
                    .sum();
                assert!(spent <= budget, "{text}: {spent} of {budget}");
                assert!(
                    (cost([path[0], path[1], path[2]]) - least).abs() < 1e-4,
                    "{text}, budget {budget}"
                );
            }
        }
    }
}
