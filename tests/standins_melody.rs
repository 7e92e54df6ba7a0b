//! What a melody rules out and what it lets through, each with its reason.

use lidprop::chart::melody::read_melody;
use lidprop::harmony::standins::{Tune, Wish, over_melody, rejected, stand_ins};
use lidprop::harmony::{Chord, PitchClass, Spelled, Style};

include!("standins/melody.rs");

fn tune(progression: &str, melody: &str) -> Tune {
    let bars: Vec<Vec<Chord>> = progression
        .split('|')
        .map(|bar| {
            bar.split_whitespace()
                .map(|symbol| symbol.parse().expect(symbol))
                .collect()
        })
        .collect();
    let notes = read_melody(melody, 4).unwrap();
    Tune::of_bars(&bars, 4, None)
        .unwrap()
        .with_melody(&notes)
        .unwrap()
}

fn symbols(found: &[lidprop::harmony::standins::StandIn]) -> Vec<String> {
    let of = |parts: &[lidprop::harmony::standins::Part]| {
        parts
            .iter()
            .map(|p| p.chord.symbol(Style::Ascii))
            .collect::<Vec<_>>()
            .join(" ")
    };
    found
        .iter()
        .flat_map(|s| std::iter::once(of(&s.parts)).chain(s.forms.iter().map(|form| of(form))))
        .collect()
}

/// What is wrong with a case; `None` where all is right.
fn wrong(case: &Case, expected: bool) -> Option<String> {
    let (progression, at, melody, stand_in, note, reason) = *case;
    let tune = tune(progression, melody);
    let chord: Chord = stand_in.parse().unwrap();
    let (notes, refused) = over_melody(&tune, at - 1, &[chord])?;
    let class = note.parse::<Spelled>().unwrap().class();
    let told = notes
        .iter()
        .find(|n| PitchClass::from(n.note.midi) == class)
        .map(|n| n.standing.words());
    let everything = Wish {
        most: 200,
        out_to: None,
    };
    let proposed = symbols(&stand_ins(&tune, at - 1, &everything)).contains(&stand_in.to_owned());
    let named = told.as_deref() == Some(reason);
    let right = named && refused == expected && !(expected && proposed);
    (!right).then(|| format!("{case:?}: told {told:?}, rejected {refused}, proposed {proposed}"))
}

#[test]
fn the_melody_rejects_what_collides_with_the_right_reason() {
    assert!(REJECTED.len() >= 30);
    let wrong: Vec<String> = REJECTED
        .iter()
        .filter_map(|case| wrong(case, true))
        .collect();
    assert!(
        wrong.is_empty(),
        "{} of {}\n{}",
        wrong.len(),
        REJECTED.len(),
        wrong.join("\n")
    );
}

#[test]
fn the_melody_lets_tensions_and_passing_notes_through() {
    assert!(LET_THROUGH.len() >= 20);
    let wrong: Vec<String> = LET_THROUGH
        .iter()
        .filter_map(|case| wrong(case, false))
        .collect();
    assert!(
        wrong.is_empty(),
        "{} of {}\n{}",
        wrong.len(),
        LET_THROUGH.len(),
        wrong.join("\n")
    );
}

#[test]
fn rejected_stand_ins_name_the_note_that_collides() {
    let tune = tune(II_V_I, "rest=4 | A4=4");
    let found = rejected(&tune, 1, &Wish::default());
    let diminished = found
        .iter()
        .find(|s| symbols(std::slice::from_ref(s)).contains(&"Bdim7".to_owned()))
        .expect("Bdim7 is ruled out");
    let worst = diminished.worst().unwrap();
    assert_eq!(worst.note.midi.get(), 69);
    assert!(found.iter().all(|s| s.worst().is_some()));
}
