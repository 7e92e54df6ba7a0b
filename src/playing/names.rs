//! Names: from what the search found to whole chords.
//!
//! Input: stretches with root and family, the units they cover. Output: [`Stretch`]es with ranked [`Chord`]s. Units: shares 0 to 1.
//! Method: of the qualities of the vocabulary with the family's third, fifth and seventh, the one whose tensions are those that sound, rarity counted as in
//! naming; roots and basses are spelled by the key, as in naming. A diminished major seventh also tells the dominant it stands for.
//! Limits: a tension that is only passed through on strong beats may enter a name.

use super::evidence::Unit;
use super::families::FAMILIES;
use super::key::Keys;
use super::search::{Found, Taken};
use super::{RankedChord, Stated, Stretch, Tuning};
use crate::harmony::chord::quality::QUALITIES;
use crate::harmony::function::{Class, function};
use crate::harmony::speller::Speller;
use crate::harmony::{Chord, Context, Degree, DegreeSet, PitchClass, Sounding, Spelled};
use crate::units::{Seconds, Share};

/// From this share of the weight of all notes on, a tension belongs to the name.
const TENSION_SHARE: f32 = 0.05;
/// What a tension costs that the name has and that does not sound, and one that sounds and that the name lacks; rarities as they stand.
const NOT_PLAYED: f32 = 1.6;
const NOT_NAMED: f32 = 0.8;
/// Degrees up to the seventh are the chord's own, those above are tensions.
const OWN_DEGREES: u8 = 7;

pub(super) fn stretches(
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
        let own = &units[stretch.from..stretch.to];
        let chords = if matches!(stretch.takes.first(), Some((Taken::Nothing, _)) | None) {
            Vec::new()
        } else {
            ranked(own, stretch, &speller)
        };
        let seconds = |t: f64| Seconds::new(t.max(0.0)).unwrap_or(Seconds::ZERO);
        let next = Stretch {
            start: seconds(own[0].start),
            end: seconds(own[own.len() - 1].end),
            chords,
            key: believed.then_some(key),
            key_confidence: Share::clamped(sure),
            numeral: None,
            role: None,
            stands_for: None,
        };
        match out.last_mut() {
            Some(last) if same(last, &next) => last.end = next.end,
            _ => out.push(next),
        }
    }
    in_place(&mut out);
    out
}

fn same(a: &Stretch, b: &Stretch) -> bool {
    a.chords.first().map(|c| c.chord) == b.chords.first().map(|c| c.chord)
}

/// The chords of one stretch, best first.
fn ranked(units: &[Unit], stretch: &Found, speller: &Speller) -> Vec<RankedChord> {
    let mut weights = [0.0_f32; 12];
    for unit in units {
        for (sum, weight) in weights.iter_mut().zip(unit.classes) {
            *sum += weight;
        }
    }
    let total: f32 = weights.iter().sum::<f32>().max(1e-6);
    let shares = weights.map(|w| w / total);
    let bass = units[..units.len().min(2)]
        .iter()
        .filter_map(|u| u.lowest)
        .min();
    let mut chords: Vec<RankedChord> = Vec::new();
    for &(taken, confidence) in &stretch.takes {
        let Taken::Chord(root, family) = taken else {
            continue;
        };
        let family = &FAMILIES[family];
        let below = bass.map(|midi| PitchClass::new(i32::from(midi)).above(root));
        let degrees = whole(with_seventh_below(family.degrees, below), root, &shares);
        let mut chord = Chord::new(speller.root(root, degrees), degrees);
        if let Some(midi) = bass
            && !family.rootless
        {
            let class = PitchClass::new(i32::from(midi));
            if class != root {
                chord.bass = Some(speller.bass(chord.root, degrees, class));
            }
        }
        // Two families can lead to one name.
        if let Some(twin) = chords.iter_mut().find(|c| c.chord == chord) {
            twin.confidence = Share::clamped(twin.confidence.get() + confidence);
        } else {
            chords.push(RankedChord {
                chord,
                confidence: Share::clamped(confidence),
            });
        }
    }
    chords
}

/// A triad over its own seventh is a seventh chord.
fn with_seventh_below(degrees: DegreeSet, below: Option<u8>) -> DegreeSet {
    const MAJOR: DegreeSet = DegreeSet::of("1 3 5");
    const MINOR: DegreeSet = DegreeSet::of("1 b3 5");
    match below {
        Some(10) if degrees == MAJOR || degrees == MINOR => degrees.with(Degree::MINOR_SEVENTH),
        Some(11) if degrees == MAJOR => degrees.with(Degree::MAJOR_SEVENTH),
        _ => degrees,
    }
}

/// Third, fifth and seventh of a chord, without its tensions.
fn base(degrees: DegreeSet) -> DegreeSet {
    degrees
        .iter()
        .filter(|d| d.number() <= OWN_DEGREES)
        .collect()
}

/// The quality with the base of `family` whose tensions are those that sound.
fn whole(family: DegreeSet, root: PitchClass, shares: &[f32; 12]) -> DegreeSet {
    let wanted = base(family);
    let sounds =
        |half_steps: u8| shares[usize::from(root.up(i32::from(half_steps)).get())] >= TENSION_SHARE;
    let own = wanted.pitches().bits();
    let playing = (0..12_u8)
        .filter(|&h| own & (1 << h) == 0 && sounds(h))
        .fold(0_u16, |set, h| set | (1 << h));
    QUALITIES
        .iter()
        .filter(|q| base(q.degrees) == wanted)
        .min_by(|a, b| {
            let cost = |degrees: DegreeSet, silent: DegreeSet, rarity: f32| {
                let said = degrees.pitches().bits() & !own;
                let silent = silent.pitches().bits();
                NOT_PLAYED * (said & !playing & !silent).count_ones() as f32
                    + NOT_NAMED * (playing & !said).count_ones() as f32
                    + rarity
            };
            cost(a.degrees, a.silent, a.rarity).total_cmp(&cost(b.degrees, b.silent, b.rarity))
        })
        .map_or(family, |q| q.degrees)
}

/// Numerals and functions, where the key is believed; what diminished major sevenths stand for.
fn in_place(stretches: &mut [Stretch]) {
    let best: Vec<Option<Chord>> = stretches
        .iter()
        .map(|s| s.chords.first().map(|c| c.chord))
        .collect();
    for (nth, stretch) in stretches.iter_mut().enumerate() {
        let Some(chord) = best[nth] else { continue };
        let next = best[nth + 1..].iter().flatten().next();
        stretch.stands_for = next.and_then(|next| stands_for(&chord, next));
        if let Some(key) = stretch.key {
            let next = next.map(|n| (n.root.class(), Class::of(n.degrees)));
            let does = function(chord.root.class(), chord.degrees, key, next);
            stretch.numeral = Some(does.numeral);
            stretch.role = Some(does.role);
        }
    }
}

/// The dominant that a diminished major seventh stands for: of those of whose notes it is made, the one that resolves into `next`.
/// Over the dominant a whole step above its root it is 3, 13, b7 and b9; over that a fourth above, 5, b7, b9 and #11; over that a minor sixth above, 3, 5, b7 and
/// #9 (Levine, The Jazz Theory Book, 1995, on diminished scales).
fn stands_for(chord: &Chord, next: &Chord) -> Option<Chord> {
    const DOMINANTS: [(i32, DegreeSet); 3] = [
        (2, DegreeSet::of("1 3 5 b7 b9 13")),
        (5, DegreeSet::of("1 3 5 b7 b9 #11")),
        (8, DegreeSet::of("1 3 5 b7 #9")),
    ];
    if Class::of(chord.degrees) != Class::DiminishedMajor {
        return None;
    }
    DOMINANTS.iter().find_map(|&(up, degrees)| {
        let root = chord.root.class().up(up);
        (root == next.root.class().up(7)).then(|| {
            let spelled = Spelled::at_fifths(next.root.fifths() + 1);
            let spelled = if spelled.accidentals().abs() > 1 {
                Spelled::usual(root)
            } else {
                spelled
            };
            Chord::new(spelled, degrees)
        })
    })
}
