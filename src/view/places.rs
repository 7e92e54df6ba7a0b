//! What a chord does, in one line: its numeral and key where a key is believed, what it is there or stands for, and where it goes.
//!
//! Input: a naming, and the place of the chord among those around it. Output: [`Does`]. Units: none.
//! Method: where the key is believed the place decides: a chord that is taken by its own name says its own function, a stand-in what it stands for;
//! without a key the likeliest reading is told, if it says more than that the chord is itself.
//! Limits: one thing a chord; the other readings are those of `lidprop name`.

use super::likelihood;
use crate::chart::document::Place;
use crate::chart::written;
use crate::harmony::{InPlace, Naming, Reading, ReadingKind, Role, Style};
use std::fmt::Display;

/// What a chord does.
#[derive(Debug, Clone, PartialEq)]
pub struct Does<'a> {
    /// The line.
    pub words: String,
    /// The reading that it tells of, where it tells of one.
    pub reading: Option<&'a Reading>,
}

/// `V7 in C major`, with how sure that is; `None` where the key is not believed.
pub fn numeral_in_key(place: &Place) -> Option<String> {
    in_key(place.key_confidence, &place.numeral, &place.key)
}

/// The same of a numeral and a key, of which the key is so sure.
pub fn in_key(confidence: f32, numeral: impl Display, key: impl Display) -> Option<String> {
    let sure = likelihood::of_key(confidence)?;
    Some(format!("{sure}{numeral} in {key}"))
}

/// `V7 in C major: dominant, goes to Cmaj7`, `rootless dominant E13(♭9), goes to Am`; `None` where there is nothing to tell.
pub fn does<'a>(naming: &'a Naming, place: Option<&InPlace>, style: Style) -> Option<Does<'a>> {
    let placed = place.and_then(|place| {
        let head = in_key(place.key_confidence.get(), place.numeral, place.key)?;
        Some((place, head))
    });
    let Some((place, head)) = placed else {
        let reading = naming.readings.first();
        let reading = reading.filter(|reading| reading.kind != ReadingKind::Function)?;
        return Some(Does {
            words: stands_for(reading, style),
            reading: Some(reading),
        });
    };
    if let Some(chord) = place.stands_for {
        let meant = |reading: &&Reading| reading.chord == chord;
        let reading = naming.readings.iter().find(meant);
        let reading = reading.or_else(|| naming.readings.first())?;
        return Some(Does {
            words: format!("{head}: {}", stands_for(reading, style)),
            reading: Some(reading),
        });
    }
    let root = naming.names.first().map(|name| name.chord.root.class());
    let own =
        |reading: &&Reading| reading.kind.is_own() && Some(reading.chord.root.class()) == root;
    let own = naming.readings.iter().find(own);
    let role = match place.role {
        Role::Other => String::new(),
        role => format!(": {}", role.words()),
    };
    let goes = own.map(|reading| goes_to(reading, style));
    Some(Does {
        words: format!("{head}{role}{}", goes.unwrap_or_default()),
        reading: own,
    })
}

/// `rootless dominant E13(♭9), goes to Am`.
fn stands_for(reading: &Reading, style: Style) -> String {
    let chord = written::stands_for(reading, style);
    format!("{} {chord}{}", reading.kind, goes_to(reading, style))
}

fn goes_to(reading: &Reading, style: Style) -> String {
    let to = reading.resolves_to.first();
    let to = to.map(|resolution| format!(", goes to {}", resolution.to.symbol(style)));
    to.unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::harmony::{AnalysisOptions, Given, Recent};

    /// What the last of these chords does.
    fn told(symbols: &[&str]) -> Option<String> {
        let given = |symbol: &&str| Given::Stated(symbol.parse().unwrap());
        let chords: Vec<Given> = symbols.iter().map(given).collect();
        let (last, before) = chords.split_last()?;
        let mut recent = Recent::new(AnalysisOptions::default());
        for chord in before {
            recent.take(chord);
        }
        let (place, naming) = recent.peek(last, before.len())?;
        does(&naming, Some(&place), Style::Letters).map(|does| does.words)
    }

    #[test]
    fn a_plain_chord_says_its_own_function() {
        let turn = ["Cmaj7", "Am7", "Dm7", "G7"];
        assert_eq!(
            told(&turn).as_deref(),
            Some("V7 in C major: dominant, goes to Cmaj7")
        );
        assert_eq!(
            told(&[&turn[..], &["Cmaj7"]].concat()).as_deref(),
            Some("Imaj7 in C major: tonic")
        );
        let two = told(&[&turn[..], &["Cmaj7", "Dm7"]].concat());
        assert!(two.is_some_and(|two| two.starts_with("ii7 in C major: subdominant")));
        let of_two = told(&[&turn[..], &["Cmaj7", "A7"]].concat());
        assert!(of_two.is_some_and(|of_two| {
            of_two.starts_with("V7/ii in C major: secondary dominant, goes to Dm7")
        }));
    }

    #[test]
    fn no_key_is_claimed_of_a_chord_by_itself() {
        for alone in [
            &["C"][..],
            &["Fdim(maj7)"],
            &["Fdim(maj7)", "Bbdim(maj7)", "Ebdim(maj7)"],
        ] {
            let told = told(alone).unwrap_or_default();
            assert!(!told.contains(" in "), "{alone:?}: {told}");
        }
    }
}
