//! The smoothing of the live view on recorded sound: what a player at the piano would see, and when.

#[path = "support/shown.rs"]
mod shown;
mod support;

use lidprop::answer::settle::{SETTLED_HOLD, Standing};
use lidprop::units::SampleRate;
use serde::Deserialize;
use shown::{Shown, shown};
use support::{samples_of, test_audio};

/// Time between two looks at the sound, seconds: no change can be told finer.
const HOP: f64 = 512.0 / 22_050.0;
/// After a strike, what is shown may be that of the chord before; less than half of the time to the first answer.
const STRIKE: f64 = 0.05;

#[derive(Deserialize)]
struct Truth {
    clips: Vec<Clip>,
}

#[derive(Deserialize)]
struct Clip {
    file: String,
    #[serde(default)]
    chords: Vec<Chord>,
}

/// A chord that is struck at `start` and held to `end`, seconds.
#[derive(Deserialize)]
struct Chord {
    start: f64,
    end: f64,
    label: String,
}

fn chords_of(recording: &str) -> Vec<Chord> {
    let truth: Truth =
        serde_json::from_slice(&std::fs::read(test_audio("truth.json")).unwrap()).unwrap();
    let clip = truth.clips.into_iter().find(|clip| clip.file == recording);
    clip.expect("the recording has a truth").chords
}

fn shown_of(recording: &str) -> Vec<Shown> {
    shown(&samples_of(recording), 6.0)
}

/// What is shown of a chord while it is held: name, standing, time.
fn while_held<'a>(shown: &'a [Shown], chord: &Chord) -> Vec<(Option<&'a str>, Standing, f64)> {
    let (from, to) = (chord.start + STRIKE, chord.end);
    shown
        .iter()
        .filter(|change| (from..to).contains(&change.at))
        .filter_map(|change| {
            let (name, standing) = change.answer.as_ref()?;
            Some((name.as_deref(), *standing, change.at))
        })
        .collect()
}

#[test]
fn the_name_of_a_held_chord_does_not_jump() {
    let shown = shown_of("held-chords.flac");
    let chords = chords_of("held-chords.flac");
    let mut changes = 0;
    for chord in &chords {
        let held = while_held(&shown, chord);
        changes += held
            .windows(2)
            .filter(|pair| pair[0].0 != pair[1].0)
            .count();
        let settled: Vec<_> = held
            .iter()
            .skip_while(|(_, standing, _)| *standing != Standing::Settled)
            .collect();
        assert!(!settled.is_empty(), "{} settles", chord.label);
        for pair in settled.windows(2).filter(|pair| pair[0].0 != pair[1].0) {
            assert!(
                pair[1].2 - pair[0].2 > SETTLED_HOLD.seconds(SampleRate::INTERNAL).get() - HOP,
                "{}: {pair:?} is too short a time to read a name",
                chord.label
            );
        }
    }
    assert!(
        changes <= chords.len(),
        "{changes} changes of the name in {} held chords",
        chords.len()
    );
}

#[test]
fn an_answer_comes_early_marked_provisional_and_settles_soon() {
    let shown = shown_of("held-chords.flac");
    for chord in chords_of("held-chords.flac") {
        let held = while_held(&shown, &chord);
        let (_, standing, at) = held[0];
        assert_eq!(standing, Standing::Provisional, "{}", chord.label);
        assert!(at - chord.start < 0.3, "{} after {at} s", chord.label);
        let settled = held
            .iter()
            .find(|(_, standing, _)| *standing == Standing::Settled);
        assert!(
            settled.is_some_and(|(_, _, at)| at - chord.start < 0.6),
            "{}: {held:?}",
            chord.label
        );
    }
}

#[test]
fn silence_lets_go_at_once_and_the_name_stays() {
    let shown = shown_of("held-chords.flac");
    let [.., let_go] = &shown[..] else {
        panic!("{shown:?}");
    };
    let last = chords_of("held-chords.flac").pop().unwrap();
    assert!(matches!(let_go.answer, Some((Some(_), Standing::LetGo))));
    assert!(
        let_go.at >= last.end && let_go.at < last.end + 0.5,
        "{let_go:?}"
    );
}

#[test]
fn talk_and_steps_before_the_playing_settle_nothing() {
    let settled = |change: &Shown| matches!(change.answer, Some((_, Standing::Settled)));
    let shown = shown_of("before-class.flac");
    assert!(!shown.iter().any(settled), "{shown:?}");
}
