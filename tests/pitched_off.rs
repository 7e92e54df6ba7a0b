//! Recordings whose pitch is off: far off and stated, a little off and found, drifting and followed. All on recorded sound.

#[path = "support/command.rs"]
mod command;
#[path = "support/strings.rs"]
mod strings;
mod support;

use command::Desk;
use lidprop::chart::document::Recording;
use lidprop::listener::{Event, ListenerOptions};
use lidprop::session::recording::events_of;
use lidprop::spectrum::estimate_a4;
use lidprop::units::Hertz;
use std::collections::BTreeSet;
use strings::{at_speed, write_wav};
use support::samples_of;

fn taken(desk: &Desk, arguments: &[&str]) -> Recording {
    let answer = desk.run([&["take", "--write", "json"], arguments].concat());
    assert_eq!(answer.code, 0, "{}", answer.err);
    serde_json::from_str(&answer.out).unwrap()
}

/// Pitch classes of every chord of a second or more.
fn held(recording: &Recording) -> Vec<BTreeSet<u8>> {
    let long = recording
        .chords
        .iter()
        .filter(|chord| (chord.end - chord.start).get() > 1.0);
    long.map(|chord| chord.midi.iter().map(|key| key.get() % 12).collect())
        .collect()
}

#[test]
fn a_recording_a_half_or_whole_tone_off_is_read_as_fingered_once_that_is_stated() {
    let desk = Desk::new();
    let as_played = samples_of("borrowed-dominants.flac");
    let name = desk.path("played.wav");
    write_wav(&name, &as_played);
    let reference = taken(&desk, &["played.wav"]);
    assert!(reference.sounding.is_none());
    let key = reference.key.clone().expect("it is in a key");
    for (stated, half_steps) in [("-1", -1.0), ("2", 2.0), ("-1.3", -1.3)] {
        let speed = (half_steps / 12.0_f64).exp2();
        write_wav(&desk.path("off.wav"), &at_speed(&as_played, |_| speed));
        let read = taken(&desk, &["--sounding", stated, "off.wav"]);
        assert_eq!(read.key.as_ref(), Some(&key), "fingered key at {stated}");
        let sounding = read.sounding.clone().expect("it was stated");
        assert_eq!(sounding.half_steps, half_steps);
        assert_ne!(sounding.key, read.key, "the sounding key is another");
        let a4 = Hertz::new(read.tuning_hz.unwrap()).unwrap();
        let expected = Hertz::new(reference.tuning_hz.unwrap() * speed).unwrap();
        assert!(
            a4.cents_above(expected).get().abs() < 4.0,
            "{stated}: {a4:?}"
        );
        // at another speed windows and strikes fall otherwise: some chords may come out a note richer or poorer
        let (right, got) = (held(&reference), held(&read));
        let same = right.iter().filter(|chord| got.contains(chord)).count();
        assert!(
            10 * same >= 6 * right.len(),
            "{stated}: {same} of {}",
            right.len()
        );
    }
    let chart = desk.run(["take", "--sounding", "2", "off.wav"]);
    assert!(
        chart
            .out
            .contains("sounds 2 half steps higher than fingered"),
        "{}",
        chart.out
    );
    desk.run(["take", "--sounding", "an octave", "off.wav"])
        .refuses_usage();
}

trait RefusesUsage {
    fn refuses_usage(&self);
}

impl RefusesUsage for command::Answer {
    fn refuses_usage(&self) {
        assert_eq!(self.code, 2, "{}", self.err);
        assert!(self.err.contains("half steps from -4 to 4"), "{}", self.err);
    }
}

/// By itself a pitch is known to within half a semitone of 440 Hz: 425 Hz sounds like 451 Hz with every key one lower.
#[test]
fn any_pitch_within_half_a_semitone_of_440_is_found_in_recorded_chords_and_the_rest_to_425_and_455_once_it_is_hinted_at()
 {
    let recorded = samples_of("held-chords.flac");
    let own = estimate_a4(&recorded, Hertz::CONCERT_A4).unwrap().a4.get();
    let cases = [
        (425.0, 430.0),
        (428.0, 440.0),
        (432.0, 440.0),
        (436.0, 440.0),
        (445.0, 440.0),
        (449.0, 440.0),
        (452.0, 440.0),
        (455.0, 450.0),
    ];
    for (a4, start) in cases {
        let moved = at_speed(&recorded, |_| a4 / own);
        let found = estimate_a4(&moved, Hertz::new(start).unwrap())
            .expect("half a minute of chords is enough");
        let off = found.a4.cents_above(Hertz::new(a4).unwrap()).get();
        assert!(off.abs() < 2.5, "{a4} Hz read {off} cents off");
    }
}

/// How far A4 is heard above `own`, in cents, frame by frame.
fn followed(sound: &[f32], own: Hertz) -> Vec<f64> {
    let options = ListenerOptions {
        found_a4: Some(own),
        ..ListenerOptions::default()
    };
    let events = events_of(sound, options);
    events
        .iter()
        .filter_map(|event| match event {
            Event::Frame(frame) => Some(frame.a4?.cents_above(own).get()),
            _ => None,
        })
        .collect()
}

#[test]
fn a_tape_that_slows_down_is_followed_through_recorded_chords_and_a_steady_one_stays_put() {
    let recorded = samples_of("held-chords.flac").repeat(3);
    let own = estimate_a4(&recorded, Hertz::CONCERT_A4).unwrap().a4;
    let seconds = recorded.len() as f64 / strings::RATE;
    // a player that warms up: 24 cents in a hundred seconds
    let drifting = at_speed(&recorded, |at| (-24.0 * at / seconds / 1200.0).exp2());
    let (steady, drifted) = (followed(&recorded, own), followed(&drifting, own));
    assert!(
        steady.iter().all(|off| off.abs() < 3.0),
        "a steady tape is heard to wander"
    );
    // it gathers eight seconds of sound, moves within two and leaves the last 1.5 cents: at a quarter of a cent a second it lies
    // four behind, a twenty-fifth of a half step
    for share in [0.25, 0.5, 0.75, 0.99] {
        let there = drifted[(share * drifted.len() as f64) as usize];
        let expected = -24.0 * share;
        assert!(
            (there - expected).abs() < 5.0,
            "at {share}: {there} cents, not {expected}"
        );
    }
}
