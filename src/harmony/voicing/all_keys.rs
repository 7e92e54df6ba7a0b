//! One voicing in all twelve keys, each correctly spelled.
//!
//! Input: a [`Typed`] voicing or symbol and a [`Context`]. Output: twelve of them, each with its chord and notes.
//! Units: half steps. Method: the cycle of fourths from the given root, as players practise it (Levine, The Jazz Piano Book, 1989, ch. 1);
//! each voicing is moved by at most a tritone, so that it stays near its register. Limits: near the ends of MIDI, notes fold back an octave.

use super::typed::Typed;
use crate::harmony::chord::{Chord, Style};
use crate::harmony::context::Context;
use crate::harmony::name_chord::name_chord;
use crate::harmony::named::{Verdict, Word};
use crate::harmony::pitch::spelled::with_octave;
use crate::harmony::pitch::{Key, PitchClass};
use crate::harmony::sounding::{Sounding, SoundingNote};
use crate::harmony::speller::{Speller, degree_names};
use crate::units::{MidiNote, Semitones};
use serde::Serialize;
use std::collections::BTreeMap;

/// The voicing in one key.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct InKey {
    /// The chord, as printed; empty where the notes have no good name.
    pub symbol: String,
    /// The same in plain ASCII.
    pub ascii: String,
    /// The keys, lowest first.
    pub midi: Vec<MidiNote>,
    /// The notes with octaves, lowest first.
    pub notes: Vec<String>,
    /// Each note by name with its degree.
    pub degrees: BTreeMap<Word, Word>,
}

/// The voicing through the cycle of fourths, from its own root.
pub fn in_all_keys(typed: &Typed, context: &Context) -> Vec<InKey> {
    let named = typed.symbol.or_else(|| {
        let naming = name_chord(&typed.sounding, context);
        let best = naming.names.first();
        best.filter(|_| naming.verdict != Verdict::NoGoodName)
            .and_then(|name| name.ascii.parse().ok())
    });
    (0..12)
        .map(|step| {
            let up = (5 * step) % 12;
            in_key(typed, named, if up > 6 { up - 12 } else { up }, context)
        })
        .collect()
}

fn in_key(typed: &Typed, named: Option<Chord>, half_steps: i16, context: &Context) -> InKey {
    let move_note = |note: &SoundingNote| {
        let moved = note.midi.checked_add(Semitones(half_steps));
        let folded = || {
            note.midi
                .checked_add(Semitones(half_steps - 12 * half_steps.signum()))
                .unwrap_or(note.midi)
        };
        SoundingNote {
            midi: moved.unwrap_or_else(folded),
            ..*note
        }
    };
    let up = |class: PitchClass| class.up(i32::from(half_steps));
    let sounding = Sounding {
        possible: Vec::new(),
        notes: typed.sounding.notes.iter().map(move_note).collect(),
        stated_bass: typed.sounding.stated_bass.map(up),
        typed: if half_steps == 0 {
            typed.sounding.typed
        } else {
            [None; 12]
        },
    };
    let key = context.key.map(|k| {
        if half_steps == 0 {
            k
        } else {
            Key::usual(up(k.tonic.class()), k.mode)
        }
    });
    let speller = Speller::new(
        &sounding,
        &Context {
            key,
            ..context.clone()
        },
    );
    let chord = named.map(|chord| {
        let root = speller.root(up(chord.root.class()), chord.degrees);
        let bass = chord
            .bass
            .map(|bass| speller.bass(root, chord.degrees, up(bass.class())));
        let lower = chord
            .lower
            .map(|(root, degrees)| (speller.root(up(root.class()), degrees), degrees));
        Chord {
            root,
            bass,
            lower,
            ..chord
        }
    });
    let mut midi: Vec<MidiNote> = sounding.notes.iter().map(|n| n.midi).collect();
    midi.sort_unstable();
    let spell = |m: MidiNote| speller.note(PitchClass::from(m), chord.as_ref());
    let notes = midi.iter().map(|&m| with_octave(spell(m), m)).collect();
    let degrees = chord
        .as_ref()
        .map(|c| degree_names(c, &speller.notes(sounding.pitches(), c)))
        .unwrap_or_default();
    InKey {
        symbol: chord.map_or_else(String::new, |c| c.symbol(context.style)),
        ascii: chord.map_or_else(String::new, |c| c.symbol(Style::Ascii)),
        midi,
        notes,
        degrees,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_diminished_major_seventh_goes_round_the_cycle_correctly_spelled() {
        let typed = Typed::read(&["Ddim(maj7)"]).unwrap();
        let theory = Context {
            spelling: crate::harmony::pitch::Spelling::Theory,
            ..Context::default()
        };
        let all = in_all_keys(&typed, &theory);
        let symbols: Vec<&str> = all.iter().map(|k| k.ascii.as_str()).collect();
        assert_eq!(symbols.len(), 12);
        assert_eq!(
            &symbols[..4],
            ["Ddim(maj7)", "Gdim(maj7)", "Cdim(maj7)", "Fdim(maj7)"]
        );
        assert_eq!(all[1].notes, ["G3", "Bb3", "Db4", "F#4"]);
        for key in &all {
            let mut degrees: Vec<&str> = key.degrees.values().map(AsRef::as_ref).collect();
            degrees.sort_unstable();
            assert_eq!(degrees, ["1", "7", "b3", "b5"], "{}", key.ascii);
        }
    }
}
