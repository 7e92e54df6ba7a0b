//! From samples to evidence and chord spans nothing asks for memory once everything is made: safe to run beside live capture.
//! A file of its own, because the allocator serves the whole test binary.

use assert_no_alloc::{AllocDisabler, assert_no_alloc, violation_count};
use lidprop::notes::held::{SpanFinder, SpanRules};
use lidprop::notes::{NetworkEstimator, NoteEstimator, NoteEvidence};
use lidprop::spectrum::{Analyser, SpectrumFrame, TuningFollower};
use lidprop::units::{Hertz, PIANO_KEYS};

#[global_allocator]
static ALLOCATOR: AllocDisabler = AllocDisabler;

#[test]
fn a_step_from_samples_to_evidence_allocates_nothing() {
    let mut analyser = Analyser::new(Hertz::CONCERT_A4);
    let mut follower = TuningFollower::new(Hertz::CONCERT_A4);
    let mut estimator = NetworkEstimator::embedded();
    let mut frame = SpectrumFrame::default();
    let mut evidence = NoteEvidence::default();
    let sound: Vec<f32> = (0..66_150)
        .map(|n| 0.2 * (std::f32::consts::TAU * 437.0 / 22_050.0 * n as f32).sin())
        .collect();
    let mut hear = |sound: &[f32]| {
        let mut frames = 0;
        for block in sound.chunks(700) {
            let mut rest = block;
            while analyser.next_frame(&mut rest, &mut frame) {
                follower.step(analyser.long_power());
                if let Some(a4) = follower.a4() {
                    analyser.retune(a4);
                }
                estimator.step(&frame, &mut evidence);
                frames += 1;
            }
        }
        frames
    };
    hear(&sound[..8192]);

    let before = violation_count();
    let frames = assert_no_alloc(|| hear(&sound[8192..]));
    assert_eq!(violation_count() - before, 0, "in {frames} frames");
    assert!(frames > 100);

    assert_no_alloc(|| drop(std::hint::black_box(vec![0_u8; 64])));
    assert!(violation_count() > before, "the guard itself works");
}

#[test]
fn a_step_of_the_span_finder_allocates_nothing_while_one_chord_sounds() {
    let mut finder = SpanFinder::new(SpanRules::default());
    let mut evidence = NoteEvidence::default();
    let (mut closed, mut open) = (Vec::new(), Default::default());
    let mut hold = |keys: &[usize], frames: usize| {
        evidence.sounding = [0.02; PIANO_KEYS];
        keys.iter().for_each(|&key| evidence.sounding[key] = 0.95);
        for _ in 0..frames {
            finder.step(&evidence, &[0.5; PIANO_KEYS], &mut closed);
            finder.open_span(&mut open);
        }
    };
    hold(&[27, 39, 43, 46], 200);
    hold(&[32, 36, 42, 48], 200);

    let before = violation_count();
    assert_no_alloc(|| hold(&[32, 36, 42, 48], 500));
    assert_eq!(violation_count() - before, 0);
    assert_eq!(closed.len(), 1, "the first chord is final");
    assert_eq!(open.keys.len(), 4);
}
