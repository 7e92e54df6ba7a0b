//! Voice leading on keys: the voicings of a progression that move least from one to the next.
//!
//! Input: chords, each with the melody note on top if there is one; which hands, their span. Output: one [`HandVoicing`] a chord. Units: half steps.
//! Method: dynamic programming over the playable voicings of each chord (Viterbi, 1967). The distance of two voicings is the least sum over an alignment
//! in which every voice of either has a partner and none cross (dynamic time warping, Sakoe and Chiba, 1978, on keys); half steps beyond a
//! major third count twice ([`FREE_STEP`]). Least movement as the aim: Levine, The Jazz Piano Book, 1989, ch. 3 and 7.
//! Limits: parallel fifths and octaves are not judged; rhythm and texture are the player's.

use super::hands::{HandVoicing, Hands, VoicingKind};
use super::shapes::voicings;
use crate::harmony::chord::Chord;
use crate::harmony::pitch::PitchClass;
use crate::units::MidiNote;

/// A voice moves this far before its steps count twice: a major third.
pub const FREE_STEP: u8 = 4;
/// The middle of where left-hand chords, and two-handed ones, sound best: F#3, and C4.
const MIDDLE: [u8; 2] = [54, 60];
/// What each half step of the middle voice from there costs: five are worth two half steps of a voice.
const OFF_MIDDLE: u32 = 2;
/// Costs are counted in this fraction of a half step.
const FRACTION: u32 = 5;
/// What a change of the kind of voicing costs: one half step.
const OTHER_KIND: u32 = 5;

/// What it costs two hands to leave the root, or the bass, to somebody else: six half steps.
const WITHOUT_ROOT: u32 = 30;

/// A chord to be voiced.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wanted {
    /// The chord.
    pub chord: Chord,
    /// The note on top, if a melody lies over it.
    pub top: Option<MidiNote>,
}

/// Half steps from one voicing to another: every voice has a partner, none cross, steps beyond [`FREE_STEP`] count twice.
pub fn distance(from: &HandVoicing, to: &HandVoicing) -> u32 {
    let (a, b): (Vec<u8>, Vec<u8>) = (
        from.voices().map(MidiNote::get).collect(),
        to.voices().map(MidiNote::get).collect(),
    );
    let step = |x: u8, y: u8| -> u32 {
        let apart = u32::from(x.abs_diff(y));
        apart + apart.saturating_sub(u32::from(FREE_STEP))
    };
    let mut row: Vec<u32> = Vec::with_capacity(b.len());
    for (i, &x) in a.iter().enumerate() {
        let mut diagonal = u32::MAX;
        for (j, &y) in b.iter().enumerate() {
            let before = match (i, j) {
                (0, 0) => 0,
                (0, _) => row[j - 1],
                (_, 0) => row[0],
                _ => row[j].min(row[j - 1]).min(diagonal),
            };
            let here = before.saturating_add(step(x, y));
            if i == 0 {
                row.push(here);
            } else {
                diagonal = row[j];
                row[j] = here;
            }
        }
    }
    row.last().copied().unwrap_or(0)
}

/// The farthest that one voice must move from one voicing to the other, if every voice goes to the nearest note.
pub fn farthest_step(from: &HandVoicing, to: &HandVoicing) -> u8 {
    let nearest = |key: MidiNote, other: &HandVoicing| {
        other
            .voices()
            .map(|k| k.get().abs_diff(key.get()))
            .min()
            .unwrap_or(0)
    };
    let one_way =
        |a: &HandVoicing, b: &HandVoicing| a.voices().map(|key| nearest(key, b)).max().unwrap_or(0);
    one_way(from, to).max(one_way(to, from))
}

/// What a voicing of a chord costs by itself, in fifths of a half step.
fn own_cost(voicing: &HandVoicing, chord: &Chord, hands: Hands) -> u32 {
    let keys: Vec<u8> = voicing.voices().map(MidiNote::get).collect();
    let middle = keys.get(keys.len() / 2).copied().unwrap_or(0);
    let off = u32::from(middle.abs_diff(MIDDLE[usize::from(hands == Hands::Both)]));
    let lowest = voicing.keys().next().map(PitchClass::from);
    let without_root = hands == Hands::Both && lowest != Some(chord.lowest().class());
    OFF_MIDDLE * off + if without_root { WITHOUT_ROOT } else { 0 }
}

fn step_cost(from: &HandVoicing, to: &HandVoicing) -> u32 {
    FRACTION * distance(from, to) + if from.kind == to.kind { 0 } else { OTHER_KIND }
}

/// The playable voicings of a chord under its melody note; where the note cannot lie on top of any, those without it.
pub fn choices(wanted: &Wanted, hands: Hands, span: u8) -> Vec<HandVoicing> {
    let found = voicings(&wanted.chord, hands, span);
    let Some(top) = wanted.top else {
        return found;
    };
    let under: Vec<HandVoicing> = found
        .iter()
        .filter_map(|voicing| with_top(voicing, top, span))
        .collect();
    if under.is_empty() { found } else { under }
}

/// The voicing with this note on top, in the right hand.
fn with_top(voicing: &HandVoicing, top: MidiNote, span: u8) -> Option<HandVoicing> {
    let highest = voicing.keys().next_back()?;
    let mut with = HandVoicing {
        melody: Some(top),
        ..voicing.clone()
    };
    if highest == top {
        return Some(with);
    }
    // An octave below the melody the same note only thickens the hand.
    let octave_below = top.get().checked_sub(12);
    if with.right.len() > 1 {
        with.right.retain(|key| Some(key.get()) != octave_below);
    }
    with.right.push(top);
    (highest < top && with.playable(span).is_ok()).then_some(with)
}

/// The voicings of a progression that cost least together; nothing for no chords.
///
/// ```
/// use lidprop::harmony::voicing::hands::{Hands, USUAL_SPAN};
/// use lidprop::harmony::voicing::leading::{Wanted, farthest_step, lead};
///
/// let chords = ["Dm7", "G7", "Cmaj7"].map(|symbol| Wanted { chord: symbol.parse().unwrap(), top: None });
/// let led = lead(&chords, Hands::Left, USUAL_SPAN);
/// assert!(led.windows(2).all(|pair| farthest_step(&pair[0], &pair[1]) <= 2));
/// ```
pub fn lead(chords: &[Wanted], hands: Hands, span: u8) -> Vec<HandVoicing> {
    let ways: Vec<Vec<HandVoicing>> = chords
        .iter()
        .map(|wanted| choices(wanted, hands, span))
        .collect();
    let path = cheapest(&ways, |at, voicing| {
        own_cost(voicing, &chords[at].chord, hands)
    });
    ways.into_iter()
        .zip(path)
        .map(|(mut ways, at)| ways.swap_remove(at))
        .collect()
}

/// One voicing of each kind that a chord can have under these hands: the one that lies best.
pub fn of_each_kind(chord: &Chord, hands: Hands, span: u8) -> Vec<HandVoicing> {
    let found = voicings(chord, hands, span);
    let best = |kind: VoicingKind| {
        found
            .iter()
            .filter(|v| v.kind == kind)
            .min_by_key(|v| own_cost(v, chord, hands))
    };
    VoicingKind::ALL
        .into_iter()
        .filter_map(best)
        .cloned()
        .collect()
}

/// The index of the voicing to take of each chord.
fn cheapest(ways: &[Vec<HandVoicing>], own: impl Fn(usize, &HandVoicing) -> u32) -> Vec<usize> {
    let mut layers: Vec<Vec<(u32, usize)>> = Vec::with_capacity(ways.len());
    for (at, here) in ways.iter().enumerate() {
        let layer = here
            .iter()
            .map(|voicing| {
                let before = at.checked_sub(1).and_then(|b| {
                    let costs = ways[b].iter().zip(&layers[b]).enumerate();
                    costs
                        .map(|(i, (from, &(cost, _)))| (cost + step_cost(from, voicing), i))
                        .min()
                });
                let (cost, from) = before.unwrap_or((0, 0));
                (cost + own(at, voicing), from)
            })
            .collect();
        layers.push(layer);
    }
    let Some(last) = layers.last() else {
        return Vec::new();
    };
    let mut way = (0..last.len()).min_by_key(|&i| last[i].0).unwrap_or(0);
    let mut path = vec![0; ways.len()];
    for at in (0..ways.len()).rev() {
        path[at] = way;
        way = layers[at][way].1;
    }
    path
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::harmony::voicing::hands::USUAL_SPAN;

    /// Thirty short progressions in the trade's common turns, among them the reharmonised.
    const PROGRESSIONS: [&str; 30] = [
        "Dm7 G7 Cmaj7",
        "Dm7b5 G7b9 Cm6",
        "Em7 A7 Dm7",
        "Cmaj7 Am7 Dm7",
        "Fmaj7 Fm6 Cmaj7",
        "Dm7 Db7 Cmaj7",
        "Abm7 Db7 Cmaj7",
        "Cmaj7 C#dim7 Dm7",
        "Em7 Ebdim7 Dm7",
        "Gm7 C7 Fmaj7",
        "Bm7b5 E7 Am7",
        "Fm7 Bb7 Cmaj7",
        "Dm9 G13 Cmaj9",
        "G7sus4 G7 C6",
        "Cdim(maj7) Cmaj7 Am7",
        "F#m7b5 Fm6 Em7",
        "Bb7 A7 Ab7",
        "C7 F7 C7",
        "Dm7 G7#5#9 Cm(maj7)",
        "Ebmaj7 Abmaj7 Dbmaj7",
        "Am7 D7 Gmaj7",
        "F#m7 B7 Emaj7",
        "F#m7 F7 Emaj7",
        "C6 Bdim7 Am7",
        "Am7 Abmaj7 G7",
        "Dm7 Fdim(maj7) Cmaj7",
        "Dm7 Bdim(maj7) Em7",
        "Cm7 Cm(maj7) Cm6",
        "Cmaj7#11 Bm7 Bb7",
        "A7b9 Dm7 G13b9",
    ];

    fn chords(text: &str) -> Vec<Wanted> {
        let wanted = |symbol: &str| Wanted {
            chord: symbol.parse().unwrap(),
            top: None,
        };
        text.split(' ').map(wanted).collect()
    }

    fn cost(path: &[&HandVoicing], chords: &[Wanted], hands: Hands) -> u32 {
        let own: u32 = (path.iter().zip(chords))
            .map(|(v, wanted)| own_cost(v, &wanted.chord, hands))
            .sum();
        own + path
            .windows(2)
            .map(|pair| step_cost(pair[0], pair[1]))
            .sum::<u32>()
    }

    #[test]
    fn no_other_choice_of_voicings_costs_less_on_thirty_progressions() {
        for text in PROGRESSIONS {
            let chords = chords(text);
            let ways: Vec<Vec<HandVoicing>> = chords
                .iter()
                .map(|w| choices(w, Hands::Left, USUAL_SPAN))
                .collect();
            let led = lead(&chords, Hands::Left, USUAL_SPAN);
            let mut least = u32::MAX;
            for a in &ways[0] {
                for b in &ways[1] {
                    for c in &ways[2] {
                        least = least.min(cost(&[a, b, c], &chords, Hands::Left));
                    }
                }
            }
            assert_eq!(
                cost(&led.iter().collect::<Vec<_>>(), &chords, Hands::Left),
                least,
                "{text}"
            );
        }
    }

    #[test]
    fn no_voice_leaps_where_a_nearer_way_exists() {
        for text in PROGRESSIONS {
            for hands in [Hands::Left, Hands::Both] {
                let chords = chords(text);
                let led = lead(&chords, hands, USUAL_SPAN);
                for (at, pair) in led.windows(2).enumerate() {
                    let step = farthest_step(&pair[0], &pair[1]);
                    let nearer = choices(&chords[at + 1], hands, USUAL_SPAN)
                        .into_iter()
                        .map(|v| farthest_step(&pair[0], &v))
                        .min();
                    let nearest = nearer.unwrap_or(step);
                    // A bass that has to leap leaps; beyond a fourth only where nothing nearer can be played.
                    assert!(
                        step <= 5.max(nearest),
                        "{text}, {hands:?}: {step} half steps for {nearest}: {pair:?}"
                    );
                }
            }
        }
    }

    #[test]
    fn the_alignment_is_the_least_of_all_alignments() {
        // The slow twin: every alignment by recursion.
        fn slow(a: &[u8], b: &[u8]) -> u32 {
            let step = |x: u8, y: u8| {
                let apart = u32::from(x.abs_diff(y));
                apart + apart.saturating_sub(u32::from(FREE_STEP))
            };
            match (a, b) {
                ([x], [y]) => step(*x, *y),
                ([x], [y, rest @ ..]) => step(*x, *y) + slow(a, rest),
                ([x, rest @ ..], [y]) => step(*x, *y) + slow(rest, b),
                ([x, a_rest @ ..], [y, b_rest @ ..]) => {
                    step(*x, *y)
                        + slow(a_rest, b)
                            .min(slow(a, b_rest))
                            .min(slow(a_rest, b_rest))
                }
                _ => 0,
            }
        }
        let mut random = fastrand::Rng::with_seed(20);
        for _ in 0..300 {
            let mut keys = || {
                let mut keys: Vec<u8> =
                    (0..random.usize(1..6)).map(|_| random.u8(40..80)).collect();
                keys.sort_unstable();
                keys.dedup();
                keys
            };
            let (a, b) = (keys(), keys());
            let voicing = |keys: &[u8]| HandVoicing {
                kind: crate::harmony::voicing::hands::VoicingKind::Close,
                left: keys.iter().map(|&k| MidiNote::new(k).unwrap()).collect(),
                right: Vec::new(),
                melody: None,
            };
            assert_eq!(
                distance(&voicing(&a), &voicing(&b)),
                slow(&a, &b),
                "{a:?} {b:?}"
            );
        }
    }

    #[test]
    fn the_melody_lies_on_top() {
        let top = MidiNote::new(76).unwrap();
        let wanted = [Wanted {
            chord: "Cmaj7".parse().unwrap(),
            top: Some(top),
        }];
        for hands in [Hands::Left, Hands::Both] {
            let led = lead(&wanted, hands, USUAL_SPAN);
            assert_eq!(led[0].keys().next_back(), Some(top), "{hands:?}");
        }
    }
}
