//! The pedal is told where hands cannot hold what sounds, and only there.

#[path = "support/strings.rs"]
mod strings;
mod support;

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
    let mut listener = Listener::new(ListenerOptions::default());
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
