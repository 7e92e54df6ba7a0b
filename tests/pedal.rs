//! The pedal is told where hands cannot hold what sounds, and only there.

#[path = "support/strings.rs"]
mod strings;
mod support;

use lidprop::chart::document::PedalDown;
use lidprop::chart::recording::{Heard, HeardSoFar, Wording};
use lidprop::harmony::Style;
use lidprop::listener::{Listener, ListenerOptions};
use lidprop::piano::partials::StiffString;
use lidprop::session::recording::hear_samples;
use lidprop::spectrum::stiffness::inharmonicity;
use lidprop::units::{Hertz, MidiNote};
use strings::{RATE, strike};

/// A chord broken over four octaves and a half, one key every 0.4 s; each is held for `held` seconds.
fn broken_chord(held: f64) -> Vec<f32> {
    let mut sound = vec![0.0_f32; (7.0 * RATE) as usize];
    for (place, midi) in [38_u8, 50, 57, 65, 72, 76, 81, 89].into_iter().enumerate() {
        let first = MidiNote::new(midi)
            .unwrap()
            .frequency(Hertz::CONCERT_A4)
            .get();
        let string = StiffString::with_first_partial(first, inharmonicity(f64::from(midi)));
        let start = 0.5 + 0.4 * place as f64;
        strike(&mut sound, string, start, (start + held).min(6.4), 0.6);
    }
    sound
}

fn heard(sound: &[f32]) -> Heard {
    let mut listener = Listener::new(ListenerOptions {
        looks_ahead: true,
        ..ListenerOptions::default()
    });
    let mut heard = HeardSoFar::new("broken chord", Wording::default());
    hear_samples(&mut listener, sound, |event| heard.keep(event));
    heard.end(listener.position(), listener.a4())
}

#[test]
fn a_chord_broken_over_four_octaves_that_rings_on_is_held_by_the_pedal() {
    let with_pedal = heard(&broken_chord(9.0));
    assert!(
        with_pedal
            .interpreted()
            .chords(Style::default())
            .any(|chord| chord.pedal),
        "{:?}",
        with_pedal.notes
    );
}

#[test]
fn the_same_keys_let_go_one_after_the_other_need_none() {
    let without = heard(&broken_chord(0.38));
    assert!(!without.notes.is_empty());
    assert!(
        without
            .interpreted()
            .chords(Style::default())
            .all(|chord| !chord.pedal)
    );
}

/// Share of the time between two moments, in seconds, in which the document has the pedal down.
fn share_down(heard: &Heard, from: f64, to: f64) -> f64 {
    let spans = heard.document().pedal.expect("take knows it");
    let within = |span: &PedalDown| span.end.get().min(to) - span.start.get().max(from);
    spans.iter().map(|s| within(s).max(0.0)).sum::<f64>() / (to - from)
}

#[test]
fn the_document_has_the_pedal_up_where_each_key_falls_silent_by_itself() {
    let share = share_down(&heard(&broken_chord(0.38)), 1.5, 5.5);
    assert!(share < 0.2, "{share}");
}

#[test]
fn the_document_has_the_pedal_down_where_a_broken_chord_rings_on() {
    let share = share_down(&heard(&broken_chord(9.0)), 1.5, 5.5);
    assert!(share > 0.8, "{share}");
}

#[test]
fn recorded_chords_under_two_hands_need_none() {
    let sound = support::samples_of("held-chords.flac");
    let held = heard(&sound);
    assert!(held.interpreted().chords(Style::default()).count() > 5);
    assert!(
        held.interpreted()
            .chords(Style::default())
            .all(|chord| !chord.pedal)
    );
}
