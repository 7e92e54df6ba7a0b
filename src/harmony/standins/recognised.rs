//! Stand-ins that are there already: chords of a tune that take the place of what would be expected.
//!
//! Input: a tune, or a chord before the next one in a key. Output: what was expected and by which device ([`Recognised`], [`Expected`]). Units: none.
//! Method: the rules of [`super::relation`] the other way round: what would be expected before the next chord (its dominant, or the second degree before
//! a dominant) is held to be the original, and the chord that is there to be the stand-in. Limits: only chords with a note outside the key are looked at,
//! since the others need no explanation; a tonic that is delayed is told by its own rule.

use super::against::{degrees_over, tensions};
use super::device::Device;
use super::relation::{device, single_of};
use super::slot::{Slot, expected_slot, slot_of, slots};
use super::tune::Tune;
use crate::harmony::chord::Chord;
use crate::harmony::function::Class;
use crate::harmony::pitch::{DegreeSet, Key};
use crate::harmony::progression::Role;

/// What would be expected in the place of a chord.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Expected {
    /// The chord that would be expected.
    pub chord: Chord,
    /// How it is replaced.
    pub device: Device,
    /// The tensions that the stand-in has over what is expected.
    pub tensions: DegreeSet,
}

/// A chord that stands in for another.
#[derive(Debug, Clone, PartialEq)]
pub struct Recognised {
    /// Which chord of the tune, from 0.
    pub at: usize,
    /// What would be expected there.
    pub expected: Chord,
    /// How it is replaced.
    pub device: Device,
    /// The tensions that the stand-in has over what is expected.
    pub tensions: DegreeSet,
}

/// All chords of a tune that stand in for what would be expected.
///
/// ```
/// use lidprop::harmony::standins::{Device, Tune, recognised};
/// use lidprop::harmony::Style;
///
/// let bars = ["Dm7", "Db7", "Cmaj7"].map(|symbol| vec![symbol.parse().unwrap()]);
/// let found = recognised(&Tune::of_bars(&bars, 4, None).unwrap());
/// assert_eq!((found.len(), found[0].at, found[0].device), (1, 1, Device::TritoneSubstitute));
/// assert_eq!(found[0].expected.symbol(Style::Ascii), "G7");
/// ```
pub fn recognised(tune: &Tune) -> Vec<Recognised> {
    let told = |(at, slot): (usize, &Slot)| {
        let expected = one(slot)?;
        Some(Recognised {
            at,
            expected: expected.chord,
            device: expected.device,
            tensions: expected.tensions,
        })
    };
    slots(tune).iter().enumerate().filter_map(told).collect()
}

/// What would be expected in the place of `there` before `next`, where it is a stand-in; in this key it does what `role` says.
///
/// ```
/// use lidprop::harmony::standins::{Device, expected};
/// use lidprop::harmony::{Role, Style};
///
/// let chord = |symbol: &str| symbol.parse().unwrap();
/// let found = expected(chord("Db9"), chord("Cmaj7"), "C".parse().unwrap(), Role::Dominant).unwrap();
/// assert_eq!((found.chord.symbol(Style::Ascii).as_str(), found.device), ("G7", Device::TritoneSubstitute));
/// assert!(expected(chord("G7"), chord("Cmaj7"), "C".parse().unwrap(), Role::Dominant).is_none());
/// ```
pub fn expected(there: Chord, next: Chord, key: Key, role: Role) -> Option<Expected> {
    one(&slot_of(there, None, Some(next), key, role))
}

fn one(slot: &Slot) -> Option<Expected> {
    const DOMINANT: DegreeSet = DegreeSet::of("1 3 5 b7");
    const SECOND: DegreeSet = DegreeSet::of("1 b3 5 b7");
    let next = slot.after?;
    let there = slot.original;
    if there.pitches().bits() & !slot.key.pitches().bits() == 0 {
        return None;
    }
    let told = |chord: Chord, device: Device| Expected {
        chord,
        device,
        tensions: tensions(&degrees_over(&chord, &there, &slot.speller)),
    };
    let diminished = |class| matches!(class, Class::Diminished | Class::DiminishedMajor);
    let delays = diminished(slot.class) && !diminished(Class::of(next.degrees));
    if delays && next.root.class() == there.root.class() {
        return Some(told(next, Device::DelayedTonic));
    }
    let dominant = slot.chord(next.root.class().up(7), DOMINANT);
    let second = (Class::of(next.degrees) == Class::Dominant)
        .then(|| slot.chord(next.root.class().up(7), SECOND));
    std::iter::once(dominant)
        .chain(second)
        .find_map(|expected| {
            let single = single_of(&there, 0.0);
            let found = device(&expected_slot(slot, expected), &single)?;
            is_a_stand_in(found).then(|| told(expected, found))
        })
}

/// Devices that put something else in the place of a chord, and not the same in another dress.
const fn is_a_stand_in(device: Device) -> bool {
    matches!(
        device,
        Device::TritoneSubstitute
            | Device::RootlessDominant
            | Device::DiminishedFamily
            | Device::DiminishedMajorSeventh
            | Device::UpperStructure
            | Device::Backdoor
            | Device::MinorThirdDominant
            | Device::ModalInterchange
            | Device::SideSlip
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::harmony::chord::Style;

    fn told(text: &str) -> Vec<String> {
        let bars: Vec<Vec<Chord>> = text
            .split('|')
            .map(|bar| bar.split_whitespace().map(|s| s.parse().unwrap()).collect())
            .collect();
        let tune = Tune::of_bars(&bars, 4, None).unwrap();
        let line = |r: &Recognised| {
            let tensions: Vec<&str> = r.tensions.iter().map(|t| t.name()).collect();
            format!(
                "{} {} for {}: {}",
                r.at + 1,
                r.device,
                r.expected.symbol(Style::Ascii),
                tensions.join(" ")
            )
        };
        recognised(&tune).iter().map(line).collect()
    }

    #[test]
    fn what_stands_in_is_told_with_what_would_be_expected() {
        for (tune, expected) in [
            ("Dm7 | Db7 | Cmaj7", "2 tritone substitute for G7: b9 #11"),
            (
                "Cmaj7 | C#dim7 | Dm7 | G7 | Cmaj7",
                "2 diminished family for A7: b9",
            ),
            (
                "Dm7 | Fdim(maj7) | Cmaj7",
                "2 diminished major seventh for G7: b9 13",
            ),
            (
                "Dm7 | G7 | Cdim(maj7) | Cmaj7",
                "3 tonic delayed for Cmaj7: ",
            ),
            (
                "Dm7 | G7 | Cdim(maj7) | Cdim7 | Cmaj7",
                "4 tonic delayed for Cmaj7: ",
            ),
            (
                "Fmaj7 | Bb7 | Cmaj7 | Cmaj7",
                "2 backdoor dominant for G7: b9 #9",
            ),
            (
                "Dm7 | Abm6 | Cmaj7 | Cmaj7",
                "2 guide tones kept, root left out for G7: b9 b13",
            ),
        ] {
            assert_eq!(told(tune), [expected], "{tune}");
        }
    }

    #[test]
    fn chords_of_the_key_and_plain_dominants_stand_for_themselves() {
        for tune in [
            "Dm7 | G7 | Cmaj7",
            "Cmaj7 | A7 | Dm7 | G7 | Cmaj7",
            "Cm7 | Fm7 | G7 | Cm7",
        ] {
            assert_eq!(told(tune), [""; 0], "{tune}");
        }
    }
}
