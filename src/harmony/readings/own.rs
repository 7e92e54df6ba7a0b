//! What a chord does under a name of its own: a dominant, a suspended one, a second degree, or its place in the key.
//!
//! Input: a [`Scene`]. Output: [`Draft`]s. Units: costs in natural-log units. Method: each name that the notes can have is asked, not the best
//! alone: C E G A is the sixth chord on C, and Am7 where D7 comes next. Sources: see [`super`].
//! Limits: names without their root are read elsewhere, as rootless chords.

use super::costs::COSTS as C;
use super::draft::{Draft, Reason, Scene};
use super::resolution::{DOMINANT, both_falls};
use super::support::{neighbours, support};
use crate::harmony::chord::Chord;
use crate::harmony::function::Class;
use crate::harmony::named::ReadingKind;
use crate::harmony::pitch::DegreeSet;

/// A name that costs more than the best one by this does nothing: nobody hears it.
const UNHEARD: f32 = 1.2;
/// What a chord is known by: without these it does nothing.
const KNOWN_BY: DegreeSet = DegreeSet::of("1 b3 3");
/// Neighbours that take so much off say what a chord does without a key.
const TELLING: f32 = 0.5;

pub(crate) fn own_functions(scene: &Scene, out: &mut Vec<Draft>) {
    let heard = scene.names.iter().take_while(|(_, more)| *more <= UNHEARD);
    for (nth, &(chord, more)) in heard.enumerate() {
        if chord.lower.is_none() && chord.omitted.and(KNOWN_BY).is_empty() {
            own_function(scene, nth == 0, chord, more, out);
        }
    }
}

fn own_function(scene: &Scene, best: bool, name: Chord, more: f32, out: &mut Vec<Draft>) {
    const SUSPENDED: DegreeSet = DegreeSet::of("1 4 b7");
    const GUIDE_TONES: DegreeSet = DegreeSet::of("1 3 b7");
    const SECOND: DegreeSet = DegreeSet::of("1 b3 b7");
    let (sounding, root) = (name.sounding(), name.root.class());
    let chord = Chord { bass: None, ..name };
    let around = neighbours(root, chord.degrees, scene.context);
    let supported = support(root, chord.degrees, scene.context);
    let in_bass = root == scene.heard.bass;
    // Diminished chords have readings of their own.
    if matches!(
        Class::of(chord.degrees),
        Class::Diminished | Class::DiminishedMajor
    ) {
        return;
    }
    let seventh_on = |up: i32| Chord::new(scene.speller.root(root.up(up), DOMINANT), DOMINANT);
    let goals = |first: Option<Chord>, second: Option<Chord>| [first, second, None];
    // Another name than the best one needs a reason: the bass, or what is around.
    let told = best || around >= TELLING || scene.context.key.is_some() && supported > 0.0;
    let (kind, cost, targets, why) = if GUIDE_TONES.minus(sounding).is_empty() {
        if !told && !in_bass {
            return;
        }
        let falls = both_falls(name.root, sounding, scene);
        (ReadingKind::Dominant, C.dominant, falls, Reason::GuideTones)
    } else if SUSPENDED.minus(sounding).is_empty() {
        if !told && !in_bass {
            return;
        }
        let [tonic, ..] = both_falls(name.root, sounding, scene);
        let base = if in_bass {
            C.suspended
        } else {
            C.suspended_inverted
        };
        (
            ReadingKind::SuspendedDominant,
            base,
            goals(Some(seventh_on(0)), tonic),
            Reason::Suspended,
        )
    } else if SECOND.minus(sounding).is_empty() && second_degree(scene, around, &chord) {
        (
            ReadingKind::RelatedTwo,
            C.related_two,
            goals(Some(seventh_on(5)), None),
            Reason::Second,
        )
    } else if told && (scene.context.key.is_some() || around >= TELLING) {
        let onward = SECOND.minus(sounding).is_empty().then(|| seventh_on(5));
        (
            ReadingKind::Function,
            C.itself,
            goals(onward, None),
            Reason::Itself,
        )
    } else if !best && in_bass && name.omitted.is_empty() {
        (
            ReadingKind::Function,
            C.root_in_bass,
            goals(None, None),
            Reason::RootInBass,
        )
    } else {
        return;
    };
    out.push(Draft {
        kind,
        chord,
        family: Vec::new(),
        cost: cost + C.other_name * more - supported,
        targets,
        why,
    });
}

/// True of a minor seventh that can be a second degree: its dominant comes next, or nothing says that it is something else.
fn second_degree(scene: &Scene, around: f32, chord: &Chord) -> bool {
    let degree = scene
        .context
        .key
        .map(|key| chord.root.class().above(key.tonic.class()));
    let half_diminished = Class::of(chord.degrees) == Class::HalfDiminished;
    around >= C.two_before_a_substitute
        || match degree {
            None => around < TELLING,
            Some(degree) => degree == 2 || half_diminished,
        }
}
