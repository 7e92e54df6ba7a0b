//! From weighed candidates to answers: what one device gives is one answer with several forms, and different ideas come first.
//!
//! Input: a tune, the place of a chord, a [`Wish`]. Output: ranked [`StandIn`]s. Units: costs in natural-log units.
//! Method: our own: candidates in the order of their cost are joined by device (a family by its members, else by root), and an answer of a kind that was
//! given already costs more. Limits: a place at a time; for several at once see [`super::path`].

use super::candidates::candidates;
use super::costs::COSTS as C;
use super::device::{Device, Idea};
use super::melody::{SungOver, rejects};
use super::slot::{Slot, slots};
use super::stand_in::{Search, StandIn, Wish};
use super::tune::{Tune, TuneChord};
use super::weigh::{Weighed, melody_over};
use crate::harmony::chord::Chord;
use crate::harmony::function::Class;

/// Forms told beside the first.
const MOST_FORMS: usize = 4;

/// Stand-ins for the chord at a place of the tune, the likeliest first; none where there is no such chord.
///
/// ```
/// use lidprop::harmony::standins::{Tune, Wish, stand_ins};
/// use lidprop::harmony::{Chord, Style};
///
/// let bars = ["Dm7", "G7", "Cmaj7"].map(|symbol| vec![symbol.parse::<Chord>().unwrap()]);
/// let tune = Tune::of_bars(&bars, 4, None).unwrap();
/// let found = stand_ins(&tune, 1, &Wish::default());
/// let substitute = found.iter().find(|s| s.parts[0].chord.symbol(Style::Ascii) == "Db7").unwrap();
/// let tensions: Vec<&str> = substitute.parts[0].tensions.iter().map(|t| t.name()).collect();
/// assert_eq!(tensions, ["b9", "#11"]);
/// ```
pub fn stand_ins(tune: &Tune, at: usize, wish: &Wish) -> Vec<StandIn> {
    judged(tune, at, wish, false)
}

/// What would have been proposed but for the melody, the likeliest first.
pub fn rejected(tune: &Tune, at: usize, wish: &Wish) -> Vec<StandIn> {
    judged(tune, at, wish, true)
}

/// The melody over any chords that would share a place of the tune, and whether it rejects them; `None` where there is no such place.
pub fn over_melody(tune: &Tune, at: usize, chords: &[Chord]) -> Option<(Vec<SungOver>, bool)> {
    let melody = melody_over(chords, tune.chords.get(at)?);
    let refused = rejects(&melody);
    Some((melody, refused))
}

fn judged(tune: &Tune, at: usize, wish: &Wish, rejected: bool) -> Vec<StandIn> {
    let slots = slots(tune);
    let (Some(slot), Some(chord)) = (slots.get(at), tune.chords.get(at)) else {
        return Vec::new();
    };
    ranked(slot, chord, &wish.into(), rejected)
}

/// Ranked stand-ins for one slot: those that the melody lets through, or those that it does not.
pub(crate) fn ranked(
    slot: &Slot,
    chord: &TuneChord,
    search: &Search,
    rejected: bool,
) -> Vec<StandIn> {
    let mut weighed: Vec<Weighed> = candidates(slot, chord.beats)
        .into_iter()
        .map(|candidate| Weighed::of(slot, chord, candidate, search))
        .filter(|w| search.bound.is_none_or(|most| w.out <= most) && rejects(&w.melody) == rejected)
        .collect();
    weighed.sort_by(|a, b| a.cost.total_cmp(&b.cost));
    different_first(join_forms(slot, weighed), search.most)
        .into_iter()
        .map(|(weighed, forms)| weighed.told(slot, chord, forms))
        .collect()
}

/// An answer with its other forms.
type Answer = (Weighed, Vec<Vec<Chord>>);

/// What one device gives as one answer, in the order of the likeliest: first its best chords, then the next best on other roots where it is a family,
/// else in other colours, and forms in which the original stays beside it.
fn join_forms(slot: &Slot, sorted: Vec<Weighed>) -> Vec<Answer> {
    let mut answers: Vec<Answer> = Vec::new();
    let new = |chords: &[Chord]| -> Vec<Chord> {
        chords
            .iter()
            .filter(|chord| **chord != slot.original)
            .copied()
            .collect()
    };
    for weighed in sorted {
        let chords = &weighed.candidate.chords;
        let told =
            |(first, forms): &Answer| first.candidate.chords == *chords || forms.contains(chords);
        // By another device the same chords are no other answer.
        if answers.iter().any(told) {
            continue;
        }
        let device = weighed.candidate.device.answers_as();
        let own = new(chords);
        let same_answer = |(first, _): &&mut Answer| {
            let last = |chords: &[Chord]| chords.last().map(|chord| chord.root.class());
            let other = new(&first.candidate.chords);
            let same_roots = other.len() == own.len()
                && other
                    .iter()
                    .zip(&own)
                    .all(|(a, b)| a.root.class() == b.root.class());
            let idea = first.candidate.device.idea();
            // A dominant of the next chord, or a substitute, with its second degree or without.
            let leads_alike = idea == device.idea() && idea == Idea::IntoTheNext
                || device == Device::TritoneSubstitute;
            let one_device = first.candidate.device.answers_as() == device;
            one_device && (device.is_family() || same_roots)
                || leads_alike
                    && (one_device || idea == Idea::IntoTheNext)
                    && last(&other) == last(&own)
        };
        match answers.iter_mut().find(same_answer) {
            Some((first, forms)) => {
                let pair_beside_single = chords.len() > first.candidate.chords.len();
                let alike = forms
                    .iter()
                    .filter(|form| form.len() == chords.len() && new(form).len() == own.len())
                    .count();
                let known = device.is_family() && {
                    let so_far = std::iter::once(&first.candidate.chords).chain(forms.iter());
                    so_far
                        .filter(|form| form.len() == chords.len())
                        .any(|form| same_chord_otherwise_named(&new(form), &own))
                };
                if alike < if pair_beside_single { 1 } else { MOST_FORMS } && !known {
                    forms.push(weighed.candidate.chords);
                }
            }
            None => answers.push((weighed, Vec::new())),
        }
    }
    answers
}

/// True if two new chords hold the same notes, or stand on one root as one class: no two members of a family.
fn same_chord_otherwise_named(a: &[Chord], b: &[Chord]) -> bool {
    let same = |a: &Chord, b: &Chord| {
        let on_one_root =
            a.root.class() == b.root.class() && Class::of(a.degrees) == Class::of(b.degrees);
        a.pitches() == b.pitches() || on_one_root && Class::of(a.degrees) != Class::Suspended
    };
    a.len() == b.len() && a.iter().zip(b).all(|(a, b)| same(a, b))
}

/// The first `most` answers, those of a kind that was given already at a higher price.
fn different_first(mut left: Vec<Answer>, most: usize) -> Vec<Answer> {
    let mut told: Vec<Answer> = Vec::new();
    while told.len() < most && !left.is_empty() {
        let price = |(weighed, _): &Answer| {
            let idea = weighed.candidate.device.idea();
            let given = idea != Idea::OfItsOwn
                && told.iter().any(|(t, _)| t.candidate.device.idea() == idea);
            weighed.cost + if given { C.same_idea } else { 0.0 }
        };
        let Some(best) =
            (0..left.len()).min_by(|&a, &b| price(&left[a]).total_cmp(&price(&left[b])))
        else {
            break;
        };
        told.push(left.remove(best));
    }
    told
}
