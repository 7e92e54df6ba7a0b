//! Stand-ins among what was heard: chords in the place of what would be expected.
//!
//! Input: chords in their places, held or played. Output: [`Expected`], or nothing. Units: shares 0 to 1.
//! Method: the rules by which stand-ins are found ([`crate::harmony::standins::expected`]), asked only where the chord, the next one and the key are believed, and where its place
//! does not say already what it stands for. Devices that a wrong note would feign are left out ([`SURE`]).
//! Limits: a stand-in for the last chord is never told, nor one whose next chord has no good name.

use crate::harmony::standins::{Device, Expected, expected};
use crate::harmony::{InPlace, Naming, SURE_KEY, Verdict};
use crate::playing::{RankedChord, Stretch};

/// Devices that are told: those that keep the guide tones, or lead by half steps, and so need more than one note heard wrong to be there by mistake.
const SURE: [Device; 6] = [
    Device::TritoneSubstitute,
    Device::RootlessDominant,
    Device::DiminishedFamily,
    Device::DiminishedMajorSeventh,
    Device::Backdoor,
    Device::DelayedTonic,
];
/// A chord that is played is believed from here on.
const SURE_CHORD: f32 = 0.5;

/// Of a chord that is held before another.
pub fn expected_of_held(naming: &Naming, next: &Naming, place: &InPlace) -> Option<Expected> {
    let named = |naming: &Naming| {
        let first = naming.names.first()?;
        (naming.verdict == Verdict::Named).then_some(first.chord)
    };
    if place.stands_for.is_some() || place.key_confidence.get() < SURE_KEY {
        return None;
    }
    let found = expected(named(naming)?, named(next)?, place.key, place.role)?;
    SURE.contains(&found.device).then_some(found)
}

/// Of a chord that is played before another.
pub fn expected_of_played(stretch: &Stretch, next: &Stretch) -> Option<Expected> {
    let believed = |stretch: &Stretch| {
        let first: &RankedChord = stretch.chords.first()?;
        (first.confidence.get() >= SURE_CHORD).then_some(first.chord)
    };
    if stretch.stands_for.is_some() || stretch.key_confidence.get() < SURE_KEY {
        return None;
    }
    let found = expected(
        believed(stretch)?,
        believed(next)?,
        stretch.key?,
        stretch.role?,
    )?;
    SURE.contains(&found.device).then_some(found)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::harmony::voicing::typed::Typed;
    use crate::harmony::{AnalysisOptions, Given, Style, interpret};

    /// What is told of voicings as they would be heard.
    fn told(voicings: &[&str]) -> Vec<String> {
        let sounding = |notes: &&str| {
            let words: Vec<String> = notes.split_whitespace().map(str::to_owned).collect();
            Given::Heard(Typed::read(&words).unwrap().sounding)
        };
        let given: Vec<Given> = voicings.iter().map(sounding).collect();
        let heard = interpret(&given, &AnalysisOptions::default());
        let one = |at: usize| {
            let found = expected_of_held(
                &heard.naming(at),
                &heard.naming(at + 1),
                heard.in_place(at)?,
            )?;
            let expected = found.chord.symbol(Style::Ascii);
            Some(format!("{} for {expected}: {}", at + 1, found.device))
        };
        (0..given.len() - 1).filter_map(one).collect()
    }

    #[test]
    fn a_substitute_between_believed_chords_is_told_and_a_plain_dominant_is_not() {
        let two = "D3 F3 A3 C4 E4";
        let one = "C3 E3 G3 B3 D4";
        assert_eq!(
            told(&[one, two, "Db3 F3 Ab3 B3 Eb4", one]),
            ["3 for G7: tritone substitute"]
        );
        assert_eq!(told(&[one, two, "G2 F3 B3 E4", one]), [""; 0]);
    }

    #[test]
    fn what_the_place_says_already_is_not_said_twice() {
        // Fdim(maj7) before Cmaj7 is G7 with b9 and 13 by its place
        let chords = [
            "C3 E3 G3 B3",
            "D3 F3 A3 C4",
            "F3 Ab3 B3 E4",
            "C3 E3 G3 B3 D4",
        ];
        assert_eq!(told(&chords), [""; 0]);
    }
}
