//! A chord symbol of MusicXML read: the `harmony` element.
//!
//! Input: the element. Output: a [`Chord`], none where no chord is to be played, or what is wrong with it in words. Units: degrees 1 to 13; half steps.
//! Method: MusicXML 4.0 (W3C Music Notation Community Group, 2021): the degrees of the kind by the table of [`super::kind`], changed by the `degree` elements; a kind that
//! the table does not hold is read by its text. Limits: one chord over another is refused.

use super::kind::{DEGREES_OF_A_DOMINANT, KINDS};
use super::xml::Element;
use crate::harmony::{Chord, Degree, DegreeSet, Spelled};
use std::str::FromStr;

/// `root-step` and `root-alter`, or the same of a bass.
fn read_name(element: &Element, part: &str) -> Option<Spelled> {
    let step = element.text_of(&format!("{part}-step"))?;
    let alter = element
        .number::<f64>(&format!("{part}-alter"))
        .unwrap_or(0.0)
        .round();
    let accidental = if alter < 0.0 { "b" } else { "#" };
    let count = alter.abs().min(2.0) as usize;
    format!("{step}{}", accidental.repeat(count)).parse().ok()
}

/// The chord of a `harmony`; `None` where none is to be played; else what is wrong with it.
pub fn chord(harmony: &Element) -> Result<Option<Chord>, String> {
    if harmony.all("kind").count() > 1 {
        return Err("one chord stands over another".to_owned());
    }
    let kind = harmony.first("kind");
    let kind = kind.ok_or("a chord symbol has no kind")?;
    if kind.text.trim() == "none" {
        return Ok(None);
    }
    let root = harmony
        .first("root")
        .and_then(|root| read_name(root, "root"));
    let root = root.ok_or("a chord symbol has no root that can be read")?;
    let bass = match harmony.first("bass") {
        Some(bass) => Some(read_name(bass, "bass").ok_or("the bass of a chord cannot be read")?),
        None => None,
    };
    let text = kind.attribute("text").unwrap_or_default();
    let known = KINDS.iter().find(|(name, _)| *name == kind.text.trim());
    let chord = match known {
        Some((_, own)) => Chord::new(root, changed(DegreeSet::of(own), harmony)?),
        None => Chord::from_str(&format!("{root}{text}")).map_err(|_| {
            format!(
                "a chord of the kind '{}' has no symbol here",
                kind.text.trim()
            )
        })?,
    };
    let bass = bass.filter(|bass| *bass != root);
    Ok(Some(Chord {
        bass: bass.or(chord.bass),
        ..chord
    }))
}

/// The degrees of a kind as its `degree` elements change them.
fn changed(own: DegreeSet, harmony: &Element) -> Result<DegreeSet, String> {
    let mut set = own;
    for degree in harmony.all("degree") {
        let value = degree.number::<u8>("degree-value");
        let value = value.ok_or("a degree of a chord has no number")?;
        let alter = degree.number::<i8>("degree-alter").unwrap_or(0);
        let there = set.iter().find(|one| one.number() == value);
        // an altered degree that the kind does not hold is added, as of a dominant
        let plain = DEGREES_OF_A_DOMINANT.iter().find(|d| d.number() == value);
        let from = match degree.text_of("degree-type") {
            Some("subtract") => {
                if let Some(there) = there {
                    set = set.without(there);
                }
                continue;
            }
            Some("alter") => there.or(plain),
            _ => plain,
        };
        let wanted = from.and_then(|from| {
            let half_steps = (from.half_steps() as i8 + alter).rem_euclid(12);
            Degree::all().find(|d| d.number() == value && d.half_steps() as i8 == half_steps)
        });
        let wanted = wanted.ok_or_else(|| {
            format!(
                "a chord has its degree {value} altered by {alter}, for which there is no symbol"
            )
        })?;
        if let (Some("alter"), Some(there)) = (degree.text_of("degree-type"), there) {
            set = set.without(there);
        }
        set = set.with(wanted);
    }
    Ok(set)
}
