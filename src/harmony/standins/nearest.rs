//! Stand-ins for a chord that has just been played, before anybody knows what follows.
//!
//! Input: the chord, the one before, the key where it is stated. Output: the chords of each stand-in, the likeliest first. Units: none.
//! Method: a dominant is taken to go where it wants, a fifth down; all else to be the last chord so far. Other colours and inversions of what was played are left out: they are no
//! other chord; and of the forms of an answer one that is a single chord comes first. Limits: a seventh chord that rests, as in a blues, is taken for a dominant.

use super::answers::stand_ins;
use super::device::Device;
use super::stand_in::{Part, StandIn, Wish};
use super::tune::Tune;
use crate::harmony::chord::Chord;
use crate::harmony::function::Class;
use crate::harmony::pitch::{Degree, DegreeSet, Key, Mode, Spelled};

/// The `most` likeliest stand-ins for `played`.
///
/// ```
/// use lidprop::harmony::Style;
/// use lidprop::harmony::standins::nearest;
///
/// let chord = |symbol: &str| symbol.parse().unwrap();
/// let found = nearest(Some(chord("Dm7")), chord("G7"), None, 3);
/// let symbols: Vec<String> = found.iter().map(|chords| chords[0].symbol(Style::Ascii)).collect();
/// assert_eq!(symbols.len(), 3);
/// assert!(symbols.contains(&"Db7".to_owned()));
/// ```
pub fn nearest(
    before: Option<Chord>,
    played: Chord,
    key: Option<Key>,
    most: usize,
) -> Vec<Vec<Chord>> {
    const LOOKED_AT: usize = 10;
    const LEFT_OUT: [Device; 2] = [Device::Colour, Device::Inversion];
    let after = wanted_next(&played, key);
    let bars: Vec<Vec<Chord>> = [before, Some(played), after]
        .into_iter()
        .flatten()
        .map(|chord| vec![chord])
        .collect();
    let wish = Wish {
        most: LOOKED_AT,
        out_to: None,
    };
    let at = usize::from(before.is_some());
    let found = Tune::of_bars(&bars, 4, key).map(|tune| stand_ins(&tune, at, &wish));
    let others = found.unwrap_or_default().into_iter();
    others
        .filter(|stand_in| !LEFT_OUT.contains(&stand_in.device))
        .take(most)
        .map(|stand_in| single(&stand_in))
        .collect()
}

/// The chords of its first form that is one chord; else its own.
fn single(stand_in: &StandIn) -> Vec<Chord> {
    let forms = std::iter::once(&stand_in.parts).chain(&stand_in.forms);
    let one = forms.clone().find(|parts| parts.len() == 1);
    let chords = |parts: &Vec<Part>| parts.iter().map(|part| part.chord).collect();
    chords(one.unwrap_or(&stand_in.parts))
}

/// Where a dominant wants to go.
fn wanted_next(played: &Chord, key: Option<Key>) -> Option<Chord> {
    const MAJOR: DegreeSet = DegreeSet::of("1 3 5");
    const MINOR: DegreeSet = DegreeSet::of("1 b3 5");
    let pulls = matches!(
        Class::of(played.degrees),
        Class::Dominant | Class::Suspended
    ) && played.degrees.contains(Degree::MINOR_SEVENTH);
    if !pulls {
        return None;
    }
    let down = Spelled::at_fifths((played.root.fifths() - 1).max(-15));
    let root = if down.accidentals().abs() > 1 {
        Spelled::usual(down.class())
    } else {
        down
    };
    let minor = key.is_some_and(|key| key.mode == Mode::Minor && key.tonic.class() == root.class());
    Some(Chord::new(root, if minor { MINOR } else { MAJOR }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::harmony::chord::Style;

    fn told(before: Option<&str>, played: &str, key: Option<&str>) -> Vec<String> {
        let chord = |symbol: &str| symbol.parse::<Chord>().unwrap();
        let key = key.map(|key| key.parse().unwrap());
        nearest(before.map(chord), chord(played), key, 3)
            .iter()
            .map(|chords| {
                let symbols: Vec<String> = chords.iter().map(|c| c.symbol(Style::Ascii)).collect();
                symbols.join(" ")
            })
            .collect()
    }

    #[test]
    fn a_dominant_is_answered_as_one_although_nothing_follows_yet() {
        for (key, expected) in [
            (None, "Db7"),
            (Some("C"), "Db7"),
            (Some("C minor"), "Bdim7"),
        ] {
            let found = told(Some("Dm7b5"), "G7", key);
            assert_eq!(found.len(), 3, "{found:?}");
            assert!(found.contains(&expected.to_owned()), "{key:?}: {found:?}");
        }
    }

    #[test]
    fn no_answer_is_the_chord_itself_in_another_dress() {
        for played in ["Cmaj7", "Dm7", "G7", "Bdim7", "F#m7b5", "C6"] {
            let found = told(None, played, None);
            assert!(!found.contains(&played.to_owned()), "{played}: {found:?}");
        }
    }
}
