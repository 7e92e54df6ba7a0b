//! Substitutions of the textbooks: found among the first five in all twelve keys, with their tensions named right.
//!
//! A case is what a teacher would ask: a progression, which chord, how far out, perhaps the melody note, and the answer in the book. The device is
//! not told. An answer counts where it is one of the first five, or one of the forms told with one of them.

use lidprop::chart::melody::read_melody;
use lidprop::harmony::standins::{Part, StandIn, Tune, Wish, stand_ins};
use lidprop::harmony::{Chord, Spelled, Style};
use lidprop::units::{MidiNote, Semitones};

/// Progression, number of the chord from 1, melody over the whole, how far out, the stand-in, tensions over the original root of its last new chord.
type Case = (
    &'static str,
    usize,
    &'static str,
    Option<u8>,
    &'static str,
    &'static str,
);

include!("standins/textbook.rs");

fn bars(text: &str) -> Vec<Vec<Chord>> {
    text.split('|')
        .map(|bar| {
            bar.split_whitespace()
                .map(|symbol| symbol.parse().expect(symbol))
                .collect()
        })
        .collect()
}

fn moved(chord: Chord, up: i32) -> Chord {
    let name = |name: Spelled| Spelled::usual(name.class().up(up));
    Chord {
        root: name(chord.root),
        bass: chord.bass.map(name),
        lower: chord.lower.map(|(root, degrees)| (name(root), degrees)),
        ..chord
    }
}

fn same(a: &Chord, b: &Chord) -> bool {
    let class = |name: Option<Spelled>| name.map(Spelled::class);
    a.root.class() == b.root.class()
        && a.degrees == b.degrees
        && class(a.bass) == class(b.bass)
        && class(a.lower.map(|l| l.0)) == class(b.lower.map(|l| l.0))
}

fn asked(case: &Case, up: i32) -> Vec<StandIn> {
    let (progression, at, melody, out_to, ..) = *case;
    let bars: Vec<Vec<Chord>> = bars(progression)
        .into_iter()
        .map(|bar| bar.into_iter().map(|c| moved(c, up)).collect())
        .collect();
    let mut tune = Tune::of_bars(&bars, 4, None).unwrap();
    if !melody.is_empty() {
        let notes: Vec<(MidiNote, f32, f32)> = read_melody(melody, 4)
            .unwrap()
            .into_iter()
            .map(|(midi, at, beats)| (midi.checked_add(Semitones(up as i16)).unwrap(), at, beats))
            .collect();
        tune = tune.with_melody(&notes).unwrap();
    }
    stand_ins(&tune, at - 1, &Wish { most: 5, out_to })
}

/// The part that answers the case, if one does.
fn answer<'a>(found: &'a [StandIn], wanted: &[Chord]) -> Option<(usize, &'a Part)> {
    found.iter().enumerate().find_map(|(place, stand_in)| {
        let forms = std::iter::once(&stand_in.parts).chain(&stand_in.forms);
        let answers = |parts: &&Vec<Part>| {
            parts.len() == wanted.len()
                && parts
                    .iter()
                    .zip(wanted)
                    .all(|(part, chord)| same(&part.chord, chord))
        };
        forms
            .into_iter()
            .find(answers)?
            .last()
            .map(|part| (place, part))
    })
}

#[test]
fn textbook_substitutions_are_among_the_first_five_in_every_key() {
    let (mut hits, mut missed) = (0, Vec::new());
    for case in TEXTBOOK {
        for up in 0..12 {
            let found = asked(case, up);
            let wanted: Vec<Chord> = case
                .4
                .split_whitespace()
                .map(|symbol| moved(symbol.parse().expect(symbol), up))
                .collect();
            let named = answer(&found, &wanted).map(|(_, part)| {
                part.tensions
                    .iter()
                    .map(|t| t.name())
                    .collect::<Vec<_>>()
                    .join(" ")
            });
            if named.as_deref() == Some(case.5) {
                hits += 1;
            } else if up == 0 {
                let told: Vec<String> = found
                    .iter()
                    .map(|s| {
                        let told = |parts: &[Part]| {
                            parts
                                .iter()
                                .map(|p| p.chord.symbol(Style::Ascii))
                                .collect::<Vec<_>>()
                                .join(" ")
                        };
                        let forms: Vec<String> = s.forms.iter().map(|form| told(form)).collect();
                        format!(
                            "{} [{}] out {} cost {:.2} ({})",
                            told(&s.parts),
                            s.device,
                            s.out,
                            s.cost,
                            forms.join(", ")
                        )
                    })
                    .collect();
                missed.push(format!(
                    "{case:?}: tensions {named:?}, found\n    {}",
                    told.join("\n    ")
                ));
            }
        }
    }
    let share = hits as f32 / (12 * TEXTBOOK.len()) as f32;
    println!(
        "{hits} of {} in twelve keys ({share:.3})",
        12 * TEXTBOOK.len()
    );
    assert!(share >= 0.95, "{share:.3}\n{}", missed.join("\n"));
}
