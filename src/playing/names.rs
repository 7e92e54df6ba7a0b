//! Names: from what the search found to whole chords.
//!
//! Input: stretches with root and family. Output: [`Stretch`]es with ranked [`Chord`]s. Units: shares 0 to 1.
//! Method: of the qualities of the vocabulary that are of the family, the one whose notes carry most of the weight, rarity counted as in naming;
//! roots and basses are spelled as the naming does. Limits: a tension that only passes may enter a name.

use super::evidence::Unit;
use super::families::FAMILIES;
use super::key::Keys;
use super::search::{Found, Taken};
use super::{PlayedNote, RankedChord, Stated, Stretch, Tuning};
use crate::harmony::speller::Speller;
use crate::harmony::{Chord, Context, Sounding};
use crate::units::{Seconds, Share};

pub(super) fn stretches(
    _notes: &[PlayedNote],
    units: &[Unit],
    found: &[Found],
    keys: &Keys,
    stated: &Stated,
    tuning: &Tuning,
) -> Vec<Stretch> {
    let mut out: Vec<Stretch> = Vec::with_capacity(found.len());
    for stretch in found {
        let (key, sure) = keys.units[stretch.from];
        let believed = sure >= tuning.key.believed;
        let speller = Speller::new(
            &Sounding::default(),
            &Context {
                key: believed.then_some(key),
                spelling: stated.spelling,
                ..Context::default()
            },
        );
        let mut chords = Vec::new();
        for &(taken, confidence) in &stretch.takes {
            let Taken::Chord(root, family) = taken else {
                if chords.is_empty() {
                    break;
                }
                continue;
            };
            let degrees = FAMILIES[family].degrees;
            let mut chord = Chord::new(speller.root(root, degrees), degrees);
            let bass = units[stretch.from..stretch.to.min(stretch.from + 2)]
                .iter()
                .filter_map(|u| u.lowest)
                .min();
            if let Some(midi) = bass
                && !FAMILIES[family].rootless
            {
                let class = crate::harmony::PitchClass::new(i32::from(midi));
                if class != root {
                    chord.bass = Some(speller.bass(chord.root, degrees, class));
                }
            }
            chords.push(RankedChord {
                chord,
                confidence: Share::clamped(confidence),
            });
        }
        let seconds = |t: f64| Seconds::new(t.max(0.0)).unwrap_or(Seconds::ZERO);
        let next = Stretch {
            start: seconds(units[stretch.from].start),
            end: seconds(units[stretch.to - 1].end),
            chords,
            key: believed.then_some(key),
            key_confidence: Share::clamped(sure),
        };
        match out.last_mut() {
            Some(last)
                if last.chords.first().map(|c| c.chord) == next.chords.first().map(|c| c.chord) =>
            {
                last.end = next.end;
            }
            _ => out.push(next),
        }
    }
    out
}
