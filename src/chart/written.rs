//! Names, readings and places as text, in one house style.
//!
//! Input: what harmony says, as values, and a [`Style`]. Output: the texts of the document; the same words serve every view.
//! Units: shares with three decimals where they are of a place. Method: one function a type; this is where chords become text.
//! Limits: English.

use crate::chart::document::{
    AlsoTrue, Cadence, InKey, Name, Naming, Place, Reading, Resolution, StandInMark, VoiceStep,
    Word,
};
use crate::chart::entries::thousandths;
use crate::harmony::chord::label;
use crate::harmony::standins::Expected;
use crate::harmony::voicing::all_keys;
use crate::harmony::{
    self, Chord, Degree, DegreeSet, InPlace, NamedNote, NoteNames, NotesByDegree, ReadingKind,
    Spelled, Style, Why,
};
use std::collections::BTreeMap;

/// All that can be said of one set of notes.
pub fn naming(naming: &harmony::Naming, style: Style) -> Naming {
    Naming {
        notes: notes(&naming.notes),
        verdict: naming.verdict,
        names: naming.names.iter().map(|n| name(n, style)).collect(),
        readings: naming.readings.iter().map(|r| reading(r, style)).collect(),
    }
}

/// Notes by name, with octaves.
pub fn notes(notes: &[NamedNote]) -> Vec<String> {
    notes.iter().map(ToString::to_string).collect()
}

/// One name.
pub fn name(name: &harmony::Name, style: Style) -> Name {
    Name {
        symbol: name.chord.symbol(style),
        ascii: name.chord.symbol(Style::Ascii),
        chart: on_chart(name, style),
        label: label(name),
        root: name.root().name().into(),
        score: name.score.get(),
        degrees: by_note(&name.degrees),
    }
}

/// The shortest symbol that a band can play from.
pub fn on_chart(name: &harmony::Name, style: Style) -> String {
    // A fraction of two chords has no shorter symbol.
    let chord = match name.chord.lower {
        Some(_) => name.chord,
        None => name.chord.on_chart(),
    };
    chord.symbol(style)
}

/// The label in the academic syntax.
pub fn label(name: &harmony::Name) -> String {
    label::write(&name.chord, name.sounding)
}

/// What notes stand for: the chord, or all chords of a family.
pub fn stands_for(reading: &harmony::Reading, style: Style) -> String {
    if reading.kind != ReadingKind::HalfWholeFamily {
        return reading.chord.symbol(style);
    }
    let symbols: Vec<String> = reading.family.iter().map(|c| c.symbol(style)).collect();
    symbols.join(" ")
}

/// One reading.
pub fn reading(reading: &harmony::Reading, style: Style) -> Reading {
    Reading {
        kind: reading.kind.words().into(),
        also: reading
            .also
            .iter()
            .map(|(kind, reason)| AlsoTrue {
                kind: kind.words().into(),
                why: why(reason, style),
            })
            .collect(),
        numeral: reading
            .function
            .map(|function| function.numeral.to_string()),
        function: reading
            .function
            .map(|function| function.role.words().to_owned()),
        stands_for: stands_for(reading, style),
        ascii: stands_for(reading, Style::Ascii),
        label: label::write(&reading.chord, reading.sounding()),
        score: reading.score.get(),
        degrees: by_note(&reading.degrees),
        tensions: degrees(reading.tensions),
        missing: degrees(reading.missing),
        resolves_to: reading
            .resolves_to
            .iter()
            .map(|to| resolution(to, style))
            .collect(),
        why: why(&reading.why, style),
    }
}

fn resolution(resolution: &harmony::Resolution, style: Style) -> Resolution {
    Resolution {
        to: resolution.to.symbol(style),
        ascii: resolution.to.symbol(Style::Ascii),
        voices: resolution
            .voices
            .iter()
            .map(|step| VoiceStep {
                from: step.from.name().into(),
                to: step.to.name().into(),
                half_steps: step.half_steps,
            })
            .collect(),
    }
}

/// The reason of a reading, in one sentence.
pub fn why(why: &Why, style: Style) -> String {
    let note = |note: &Spelled| NoteNames::English.write(*note, style == Style::Ascii);
    match why {
        Why::GuideTones { third, seventh } => {
            format!("{} and {} are its third and seventh", note(third), note(seventh))
        }
        Why::Suspended { fourth } => {
            format!("{} stands in place of the third and falls to it", note(fourth))
        }
        Why::Second { seventh } => format!(
            "its root rises a fourth to the dominant, its seventh {} falls to the dominant's third",
            note(seventh)
        ),
        Why::SeventhAndTensions { seventh } => {
            format!("{} is its seventh, the other notes are its fifth and tensions", note(seventh))
        }
        Why::TritonePair { third, seventh } => format!(
            "the tritone {}-{} is third and seventh of both dominants, a tritone apart",
            note(third),
            note(seventh)
        ),
        Why::Upper {
            triads,
            third,
            seventh,
        } => {
            let plural = if triads.len() > 1 { "s" } else { "" };
            let triads: Vec<String> = triads.iter().map(|triad| triad.symbol(style)).collect();
            let triads = triads.join(", ");
            format!("the triad{plural} {triads} over the guide tones {} and {}", note(third), note(seventh))
        }
        Why::Itself => "what the chord does by itself".to_owned(),
        Why::RootInBass => "its root is in the bass".to_owned(),
        Why::TriadOverBass => "a complete triad over a bass that does not belong to it".to_owned(),
        Why::Enriches { sounds, replaced } => format!(
            "{} stands a whole step above {}, in place of the diminished seventh",
            note(sounds),
            note(replaced)
        ),
        Why::Delays => {
            "the diminished chord on the tonic falls to the tonic: third and fifth rise a half step"
                .to_owned()
        }
        Why::HalfWhole => "all notes lie in one half-whole diminished scale, whose four dominants lie minor thirds apart".to_owned(),
        Why::CommonTone => {
            "it shares a note with the chord it goes to; the other voices step".to_owned()
        }
        Why::PassingUp => "its root passes up a half step into the next root".to_owned(),
        Why::PassingDown => "its root passes down a half step into the next root".to_owned(),
        Why::Auxiliary => "it leaves a chord and returns to it over the same root".to_owned(),
        Why::Rootless => "third, seventh and tensions sound, the root is left to the bass".to_owned(),
        Why::Fourths { lowest } => format!("the notes lie in fourths from {} upwards", note(lowest)),
    }
}

/// The place of a chord in its progression, and what would be expected there.
pub fn place(place: &InPlace, expected: Option<&Expected>) -> Place {
    Place {
        key: place.key.to_string(),
        key_confidence: thousandths(place.key_confidence.get()),
        numeral: place.numeral.to_string(),
        function: place.role.words().to_owned(),
        stands_for: place.stands_for.map(|chord| chord.symbol(Style::Ascii)),
        stand_in: expected.map(stand_in_mark),
    }
}

/// What would be expected in the place of a stand-in.
pub fn stand_in_mark(expected: &Expected) -> StandInMark {
    let tensions = expected.tensions.iter().map(Degree::name);
    StandInMark {
        expected: expected.chord.symbol(Style::Ascii),
        device: expected.device.words().into(),
        tensions: tensions.map(Word::from).collect(),
    }
}

/// One cadence.
pub fn cadence(cadence: &harmony::Cadence) -> Cadence {
    Cadence {
        kind: cadence.kind.words().to_owned(),
        to: cadence.to.to_string(),
        first: cadence.first,
        last: cadence.last,
        stand_in: cadence.stand_in,
        substitute: cadence.substitute,
    }
}

/// A voicing in one key.
pub fn in_key(voicing: &all_keys::InKey, style: Style) -> InKey {
    let symbol = |style| voicing.chord.map(|chord: Chord| chord.symbol(style));
    InKey {
        symbol: symbol(style),
        ascii: symbol(Style::Ascii),
        midi: voicing.notes.iter().map(|note| note.midi).collect(),
        notes: notes(&voicing.notes),
        degrees: by_note(&voicing.degrees),
    }
}

fn degrees(degrees: DegreeSet) -> Vec<Word> {
    degrees.iter().map(|degree| degree.name().into()).collect()
}

fn by_note(degrees: &NotesByDegree) -> BTreeMap<Word, Word> {
    let pair =
        |&(note, degree): &(Spelled, harmony::Degree)| (note.name().into(), degree.name().into());
    degrees.iter().map(pair).collect()
}
