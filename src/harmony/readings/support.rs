//! What the surroundings say of a chord: how it leads on, how it was led to, how it fits the key.
//!
//! Input: a root, degrees, a [`Context`]. Output: what is taken off the cost of a reading. Units: natural-log units; negative speaks against it.
//! Method: root motion and class (Nettles and Graf, 1997, ch. 2 to 5; Levine, The Jazz Theory Book, 1995, ch. 2; blues: there, ch. 10).
//! Limits: the nearest chord on each side; longer reaches are the progression's.

use super::costs::COSTS as C;
use crate::harmony::chord::Chord;
use crate::harmony::context::Context;
use crate::harmony::function::{Class, fit};
use crate::harmony::pitch::{Degree, DegreeSet, PitchClass};

/// The class of a chord, as far as it leads on: a suspended triad without seventh leads nowhere by itself.
fn leading_class(degrees: DegreeSet) -> Class {
    match Class::of(degrees) {
        Class::Suspended if !degrees.contains(Degree::MINOR_SEVENTH) => Class::Other,
        class => class,
    }
}

/// All that key and neighbours say of a chord.
pub(crate) fn support(root: PitchClass, degrees: DegreeSet, context: &Context) -> f32 {
    neighbours(root, degrees, context) + in_key(root, degrees, context)
}

/// What the key says.
pub(crate) fn in_key(root: PitchClass, degrees: DegreeSet, context: &Context) -> f32 {
    let Some(key) = context.key else { return 0.0 };
    let class = leading_class(degrees);
    let rests = class == Class::Dominant && matches!(root.above(key.tonic.class()), 0 | 5);
    let in_scale = || {
        let notes = context.key_notes().unwrap_or_default();
        degrees.pitches().placed_on(root).bits() & !notes.bits() == 0
    };
    let cost = if context.is_blues() && rests || context.scale.is_some() && in_scale() {
        // The chords of the scale are at home there.
        fit(root, class, key).min(0.2)
    } else {
        fit(root, class, key)
    };
    C.key_weight * (C.neutral_fit - cost)
}

/// What the neighbours say.
pub(crate) fn neighbours(root: PitchClass, degrees: DegreeSet, context: &Context) -> f32 {
    let class = leading_class(degrees);
    let after = context.after.map_or(0.0, |next| leads(root, class, &next));
    let before = context
        .before
        .map_or(0.0, |last| follows(root, class, &last));
    after + before
}

/// What the next chord says.
fn leads(root: PitchClass, class: Class, next: &Chord) -> f32 {
    let to = leading_class(next.degrees);
    let leading = matches!(to, Class::Dominant | Class::Suspended);
    match (class, next.root.class().above(root)) {
        (Class::Dominant | Class::Suspended, 5) => C.falls_a_fifth,
        (Class::Dominant, 11) => C.falls_a_half_step,
        (Class::Dominant, 2) if !leading => C.rises_a_whole_step,
        (Class::Dominant, 7) if to == Class::Dominant || to == Class::Major => C.four_to_one,
        (Class::Suspended, 0) if to == Class::Dominant => C.suspension_falls,
        (Class::Minor | Class::HalfDiminished, 5) if leading => C.two_before_its_five,
        (Class::Minor | Class::HalfDiminished, 11) if to == Class::Dominant => {
            C.two_before_a_substitute
        }
        _ => 0.0,
    }
}

/// What the chord before says.
fn follows(root: PitchClass, class: Class, last: &Chord) -> f32 {
    let from = leading_class(last.degrees);
    let rests = matches!(class, Class::Major | Class::Minor | Class::MinorTonic);
    match (from, class, root.above(last.root.class())) {
        (Class::Minor | Class::HalfDiminished, Class::Dominant | Class::Suspended, 5) => {
            C.follows_its_two
        }
        (Class::Minor, Class::Dominant, 11) => C.follows_a_two_above,
        (Class::Suspended, Class::Dominant, 0) => C.suspension_falls,
        (Class::Dominant | Class::Suspended, _, 5) if rests => C.arrives_by_a_fifth,
        (Class::Dominant, Class::Dominant, 5 | 11) => C.arrives_by_a_fourth,
        (Class::Dominant, _, 11 | 2) if rests => C.arrives_otherwise,
        (Class::Dominant, Class::Dominant, 7) => C.arrives_by_a_fourth,
        (Class::Major | Class::Minor | Class::MinorTonic, _, 7) if rests => C.arrives_by_a_fourth,
        _ => 0.0,
    }
}
