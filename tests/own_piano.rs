//! A piano is learned from its keys: its strings are measured, its faults told, and it is kept and used by name.

#[path = "support/command.rs"]
mod command;
#[path = "support/strings.rs"]
mod strings;
mod support;

use assert_no_alloc::{AllocDisabler, assert_no_alloc, violation_count};
use command::{Answer, Desk, recording};
use lidprop::notes::{Model, NoteEstimator, NoteEvidence, OwnPianoEstimator};
use lidprop::piano::partials::StiffString;
use lidprop::piano::{
    Finding, KeyPlaces, Lesson, Mixture, PianoProfile, Strike, findings, learn, spectra,
};
use lidprop::session::lesson::Pass;
use lidprop::spectrum::stiffness::inharmonicity;
use lidprop::spectrum::{Analyser, SpectrumFrame};
use lidprop::units::{Hertz, MidiNote, SamplePos};
use std::time::{Duration, SystemTime};
use strings::{RATE, strike};

#[global_allocator]
static ALLOCATOR: AllocDisabler = AllocDisabler;

/// A piano of our own: stretched, twice as stiff as usual, one key flat, one unison off.
const FLAT: (u8, f64) = (57, -15.0);
const OFF_UNISON: (u8, f64) = (64, 6.0);

fn stretch_cents(midi: u8) -> f64 {
    0.012 * (f64::from(midi) - 62.0).powi(2) * (f64::from(midi) - 62.0).signum()
}

fn string_of(midi: u8, a4: Hertz, cents: f64) -> StiffString {
    let first = MidiNote::new(midi).unwrap().frequency(a4).get() * (cents / 1200.0).exp2();
    StiffString::with_first_partial(first, 2.0 * inharmonicity(f64::from(midi)))
}

fn index(midi: u8) -> usize {
    usize::from(midi) - 21
}

/// Every second key from C2 to C6, 2.5 s each; the last four together.
fn pass(a4: Hertz) -> Lesson {
    let keys: Vec<u8> = (36..=84).step_by(2).chain([57]).collect();
    let mut samples = vec![0.0_f32; (2.6 * RATE * (keys.len() + 1) as f64) as usize];
    let mut strikes = Vec::new();
    for (place, &midi) in keys.iter().enumerate() {
        let start = 0.3 + 2.6 * place as f64;
        let own = stretch_cents(midi) + if midi == FLAT.0 { FLAT.1 } else { 0.0 };
        strike(
            &mut samples,
            string_of(midi, a4, own),
            start,
            start + 2.4,
            1.0,
        );
        if midi == OFF_UNISON.0 {
            let other = string_of(midi, a4, own + OFF_UNISON.1);
            strike(&mut samples, other, start, start + 2.4, 0.5);
        }
        strikes.push(Strike {
            midi: MidiNote::new(midi).unwrap(),
            start: SamplePos::new((start * RATE) as u64),
            end: SamplePos::new(((start + 2.4) * RATE) as u64),
            log_odds: 4.0,
        });
    }
    Lesson {
        samples,
        strikes,
        a4,
    }
}

#[test]
fn pitch_and_stiffness_of_every_key_are_measured_and_those_between_follow_the_curve() {
    let a4 = Hertz::new(436.0).unwrap();
    let profile = learn("practice room", &pass(a4)).unwrap();
    assert_eq!(profile.keys.len(), 26);
    for key in &profile.keys {
        let midi = key.midi.get();
        if [FLAT.0, OFF_UNISON.0].contains(&midi) {
            continue;
        }
        let off = key.cents - stretch_cents(midi);
        assert!(off.abs() < 1.0, "key {midi} is {off} cents off");
        let ratio = key.stiffness / (2.0 * inharmonicity(f64::from(midi)));
        assert!((0.8..1.25).contains(&ratio), "key {midi}: B times {ratio}");
        assert!(
            key.decay
                .is_some_and(|decay| decay.early > decay.late - 0.5),
            "{key:?}"
        );
    }
    let places = KeyPlaces::of(&profile);
    for index in (17..62).step_by(2) {
        let midi = index as u8 + 21;
        let off = places.cents[index] - stretch_cents(midi);
        assert!(off.abs() < 3.0, "key {midi} between is {off} cents off");
    }
}

#[test]
fn the_flat_key_and_the_beating_unison_are_told_and_no_other() {
    let profile = learn("practice room", &pass(Hertz::CONCERT_A4)).unwrap();
    let found = findings(&profile);
    let [
        Finding::OffPitch {
            midi: flat,
            cents: by,
        },
        Finding::Beating {
            midi: beating,
            cents: apart,
        },
    ] = found[..]
    else {
        panic!("{found:?}");
    };
    assert_eq!((flat.get(), beating.get()), (FLAT.0, OFF_UNISON.0));
    assert!((by - FLAT.1).abs() < 2.0, "{by} cents");
    assert!((apart - OFF_UNISON.1).abs() < 1.0, "{apart} cents");
}

#[test]
fn a_profile_survives_being_kept_and_a_strange_one_is_refused() {
    let profile = learn("practice room", &pass(Hertz::CONCERT_A4)).unwrap();
    let text = serde_json::to_string(&profile).unwrap();
    assert_eq!(PianoProfile::from_json(text.as_bytes()).unwrap(), profile);
    let other = text.replace("lidprop-piano/1", "lidprop-piano/9");
    let refusal = PianoProfile::from_json(other.as_bytes())
        .unwrap_err()
        .to_string();
    assert!(refusal.contains("lidprop-piano/9"), "{refusal}");
    let bent = text.replacen("\"cents\":", "\"cents\":900.0,\"x\":", 1);
    assert!(PianoProfile::from_json(bent.as_bytes()).is_err());
}

#[test]
fn a_key_that_was_struck_is_needed_and_the_octave_above_it_that_was_not_is_not() {
    let a4 = Hertz::CONCERT_A4;
    let profile = learn("practice room", &pass(a4)).unwrap();
    let learned = spectra::of_all_keys(&profile, &KeyPlaces::of(&profile));
    let (low, octave) = (48, 60);
    let explained_by = |keys: &[u8]| {
        let mut sound = vec![0.0_f32; RATE as usize];
        for &midi in keys {
            // the octave is softer than the key below
            let gain = if midi == octave { 0.5 } else { 1.0 };
            let string = string_of(midi, a4, stretch_cents(midi));
            strike(&mut sound, string, 0.05, 1.5, gain);
        }
        let mut mixture = Mixture::new(&learned);
        let (mut analyser, mut frame) = (Analyser::new(a4), SpectrumFrame::default());
        let mut rest = &sound[..];
        while analyser.next_frame(&mut rest, &mut frame) {
            mixture.explain(&frame.long, &[low, octave].map(index));
        }
        [low, octave].map(|midi| mixture.need(index(midi)) / mixture.divergence())
    };
    let [low_alone, octave_not_struck] = explained_by(&[low]);
    let [low_of_both, octave_struck] = explained_by(&[low, octave]);
    assert!(
        low_alone > 5.0 && low_of_both > 5.0,
        "{low_alone}, {low_of_both}"
    );
    assert!(
        octave_struck > 10.0 * octave_not_struck.max(0.01),
        "struck {octave_struck}, not struck {octave_not_struck}"
    );
}

#[test]
fn listening_on_a_learned_piano_allocates_nothing() {
    let profile = learn("practice room", &pass(Hertz::CONCERT_A4)).unwrap();
    let mut estimator = OwnPianoEstimator::embedded(&profile);
    let sound = &pass(Hertz::CONCERT_A4).samples[..];
    let (mut analyser, mut rest) = (Analyser::new(Hertz::CONCERT_A4), sound);
    let (mut frame, mut evidence) = (SpectrumFrame::default(), NoteEvidence::default());
    let mut asked = 0;
    let before = violation_count();
    while analyser.next_frame(&mut rest, &mut frame) {
        assert_no_alloc(|| estimator.step(&frame, &mut evidence));
        asked += estimator.seen().iter().flatten().count();
    }
    assert_eq!(violation_count(), before);
    assert!(asked > 50, "{asked} keys were in doubt");
}

#[test]
fn a_piano_stretched_in_bass_and_treble_is_learned_at_the_pitch_of_its_middle() {
    let a4 = Hertz::new(443.0).unwrap();
    // stretched further than any tuner would: 35 cents in the lowest octave, 25 in the highest
    let cents = |midi: u8| {
        let octaves = (f64::from(midi) - 62.0) / 12.0;
        octaves.powi(3) * if octaves < 0.0 { 1.1 } else { 0.9 }
    };
    let keys: Vec<u8> = (24..=96).step_by(3).collect();
    let mut samples = vec![0.0_f32; (2.0 * RATE * (keys.len() + 1) as f64) as usize];
    for (place, &midi) in keys.iter().enumerate() {
        let start = 0.3 + 2.0 * place as f64;
        let string = string_of(midi, a4, cents(midi));
        strike(&mut samples, string, start, start + 1.8, 1.0);
    }
    let mut pass = Pass::new(Model::embedded());
    for block in samples.chunks(10_000) {
        pass.hear(block).unwrap();
    }
    let profile = pass.learned("stretched").unwrap();
    let off = profile.a4.cents_above(a4).get();
    assert!(off.abs() < 5.0, "A4 is {off} cents off");
    let right = profile.keys.iter().filter(|key| {
        let midi = key.midi.get();
        keys.contains(&midi) && (key.cents + off - cents(midi)).abs() < 4.0
    });
    let right = right.count();
    assert!(
        right >= keys.len() - 3 && profile.keys.len() <= right + 2,
        "{right} keys are right of {} learned and {} played",
        profile.keys.len(),
        keys.len()
    );
}

/// Runs the binary with a data folder of its own.
fn run(desk: &Desk, arguments: &[&str]) -> Answer {
    let home = desk.path("home");
    let mut command = desk.command(arguments);
    command
        .env("HOME", &home)
        .env("XDG_DATA_HOME", home.join("data"));
    Answer::of(command.output().unwrap())
}

#[test]
fn a_piano_learned_from_recorded_chords_is_kept_under_its_name_and_used_by_take() {
    let desk = Desk::new();
    let chords = recording("held-chords.flac");
    let chords = chords.to_str().unwrap();
    let answer = run(
        &desk,
        &["soundcheck", "--learn", "class grand", "--from", chords],
    );
    assert_eq!(answer.code, 0, "{}", answer.err);
    assert!(answer.out.contains("keys; A4 at 4"), "{}", answer.out);
    assert!(
        answer.out.contains("--piano \"class grand\""),
        "{}",
        answer.out
    );
    let kept: Vec<String> = desk
        .files()
        .into_iter()
        .filter(|file| file.ends_with("class grand.json"))
        .collect();
    assert_eq!(kept.len(), 1, "{:?}", desk.files());
    let profile = PianoProfile::from_json(&std::fs::read(desk.path(&kept[0])).unwrap()).unwrap();
    assert!(profile.keys.len() >= 15, "{} keys", profile.keys.len());
    assert!(
        profile.keys.iter().all(|key| key.cents.abs() < 20.0),
        "{profile:?}"
    );

    let taken = run(
        &desk,
        &["take", "--piano", "class grand", "--write", "json", chords],
    );
    assert_eq!(taken.code, 0, "{}", taken.err);
    assert!(taken.out.contains("\"notes\""));

    run(&desk, &["take", "--piano", "clas grand", chords]).refuses(
        1,
        &[
            "no piano is called 'clas grand'",
            "did you mean 'class grand'",
        ],
    );
}

#[test]
fn a_new_lesson_keeps_the_one_before_says_where_it_is_poorer_and_can_be_taken_back() {
    let desk = Desk::new();
    let learn = |name: &str, recording_name: &str| {
        let from = recording(recording_name);
        let from = from.to_str().unwrap();
        let learned = run(&desk, &["soundcheck", "--learn", name, "--from", from]);
        assert_eq!(learned.code, 0, "{}", learned.err);
        learned.out
    };
    let none = run(&desk, &["soundcheck", "--pianos"]);
    assert!(
        none.out.contains("No piano has been learned yet"),
        "{}",
        none.out
    );
    let first = learn("class grand", "held-chords.flac");
    assert!(!first.contains("takes the place"), "{first}");
    let path = desk.path("home/data/lidprop/pianos/class grand.json");
    let of_first = std::fs::read(&path).unwrap();
    let second = learn("class grand", "rolled-ballad.flac");
    for words in [
        "takes the place of the lesson before",
        "which is kept",
        "poorer",
        "--restore \"class grand\"",
    ] {
        assert!(second.contains(words), "{words} in\n{second}");
    }
    let of_second = std::fs::read(&path).unwrap();
    assert_ne!(of_first, of_second);
    let listed = run(&desk, &["soundcheck", "--pianos"]).out;
    assert!(
        listed.contains("class grand")
            && listed.contains("within the last day; the lesson before is kept too"),
        "{listed}"
    );
    let back = run(&desk, &["soundcheck", "--restore", "class grand"]);
    assert_eq!(back.code, 0, "{}", back.err);
    assert_eq!(std::fs::read(&path).unwrap(), of_first);
    run(&desk, &["soundcheck", "--restore", "class grand"]);
    assert_eq!(
        std::fs::read(&path).unwrap(),
        of_second,
        "the same again undoes it"
    );

    let long_ago = SystemTime::now() - Duration::from_secs(5 * 86_400);
    let file = std::fs::File::options().write(true).open(&path).unwrap();
    file.set_modified(long_ago).unwrap();
    learn("class grand", "held-chords.flac");
    std::fs::write(&path, "half a les").unwrap();
    let back = run(&desk, &["soundcheck", "--restore", "class grand"]);
    assert_eq!(back.code, 0, "a damaged last one: {}", back.err);
    assert_eq!(std::fs::read(&path).unwrap(), of_second);
    let listed = run(&desk, &["soundcheck", "--pianos"]).out;
    assert!(listed.contains("learned 5 days ago"), "{listed}");

    learn("ballad", "rolled-ballad.flac");
    let compared = run(&desk, &["soundcheck", "--compare", "class grand", "ballad"]);
    assert!(
        compared
            .out
            .contains("in both; beside the A4 of each they lie 0.0 cents apart"),
        "it is the same lesson: {}",
        compared.out
    );
    run(&desk, &["soundcheck", "--restore", "ballad"])
        .refuses(1, &["no earlier lesson of 'ballad'"]);
    assert_eq!(
        run(&desk, &["soundcheck", "--remove", "class grand"]).code,
        0
    );
    assert!(
        desk.files()
            .iter()
            .all(|file| !file.contains("class grand")),
        "{:?}",
        desk.files()
    );
    run(&desk, &["soundcheck", "--remove", "class grand"])
        .refuses(1, &["no piano is called 'class grand'", "ballad"]);
    run(&desk, &["soundcheck", "--pianos", "--seconds", "3"]).refuses(2, &["exclude each other"]);
}

#[test]
fn names_that_are_none_and_pianos_that_are_not_there_are_told_in_one_sentence() {
    let desk = Desk::new();
    let chords = recording("held-chords.flac");
    let chords = chords.to_str().unwrap();
    run(&desk, &["take", "--piano", "parlour", chords])
        .refuses(1, &["none is kept yet", "soundcheck --learn"]);
    run(
        &desk,
        &["soundcheck", "--learn", "../parlour", "--from", chords],
    )
    .refuses(2, &["is no name for a piano"]);
    let silence = desk.file("silence.wav", &command::wav(22_050, &[0; 44_100], 88_200));
    let silence = silence.to_str().unwrap();
    run(
        &desk,
        &["soundcheck", "--learn", "parlour", "--from", silence],
    )
    .refuses(1, &["no key could be measured"]);
    assert!(desk.files().iter().all(|file| !file.ends_with(".json")));
    desk.file(
        "home/data/lidprop/pianos/torn.json",
        b"{\"schema\": \"lidprop-piano/1\", \"na",
    );
    run(&desk, &["take", "--piano", "torn", chords])
        .refuses(1, &["torn.json", "learn the piano again"]);
}
