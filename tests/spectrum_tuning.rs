//! The pitch of the piano is found, followed, and not made up.

use lidprop::spectrum::stiffness::{inharmonicity, partial_stretch};
use lidprop::spectrum::{Analyser, SpectrumFrame, TuningFollower, estimate_a4};
use lidprop::units::{Hertz, MidiNote};

const RATE: f64 = 22_050.0;
const TAU: f64 = std::f64::consts::TAU;

/// Chords of stiff strings, one a second, with A4 at `a4(seconds)` when struck.
fn chords(seconds: usize, a4: impl Fn(f64) -> f64) -> Vec<f32> {
    const CHORDS: [&[u8]; 4] = [
        &[48, 64, 70, 74],
        &[41, 63, 67, 74],
        &[46, 62, 68, 72],
        &[51, 58, 67, 79],
    ];
    let mut sound = vec![0.0_f32; (seconds as f64 * RATE) as usize];
    for second in 0..seconds {
        let pitch = Hertz::new(a4(second as f64)).unwrap();
        for &key in CHORDS[second % CHORDS.len()] {
            let f0 = MidiNote::new(key).unwrap().frequency(pitch).get();
            let b = inharmonicity(f64::from(key));
            for n in 1..=8 {
                let f = f0 * f64::from(n) * partial_stretch(f64::from(n), b);
                let start = second * RATE as usize;
                for (i, out) in sound[start..start + RATE as usize].iter_mut().enumerate() {
                    let t = i as f64 / RATE;
                    *out += (0.05 / f64::from(n)
                        * (-1.2 * t * f64::from(n).sqrt()).exp()
                        * (TAU * f * t + f64::from(n)).sin()) as f32;
                }
            }
        }
    }
    sound
}

fn noise(samples: usize) -> impl Iterator<Item = f32> {
    let mut state = 7_u32;
    (0..samples).map(move |_| {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (f64::from(state) / f64::from(u32::MAX) * 2.0 - 1.0) as f32
    })
}

fn cents_off(found: Hertz, a4: f64) -> f64 {
    found.cents_above(Hertz::new(a4).unwrap()).get()
}

#[test]
fn the_pitch_of_stiff_strings_is_found_within_two_cents_over_half_a_semitone_either_way() {
    for a4 in [428.5, 432.0, 437.3, 440.0, 442.0, 447.0, 451.5] {
        let found =
            estimate_a4(&chords(6, |_| a4), Hertz::CONCERT_A4).expect("six chords are enough");
        assert!(
            cents_off(found.a4, a4).abs() < 2.0,
            "{a4} Hz read as {:?}",
            found.a4
        );
        assert!(found.confidence.get() > 0.6, "{found:?}");
    }
}

#[test]
fn a_stated_pitch_moves_the_search() {
    let found = estimate_a4(&chords(6, |_| 413.0), Hertz::new(415.0).unwrap())
        .expect("six chords are enough");
    assert!(cents_off(found.a4, 413.0).abs() < 2.0, "{found:?}");
}

#[test]
fn noise_under_the_piano_does_not_move_the_pitch() {
    let mut sound = chords(6, |_| 434.0);
    for (x, n) in sound.iter_mut().zip(noise(200_000)) {
        *x += 0.02 * n;
    }
    let found = estimate_a4(&sound, Hertz::CONCERT_A4).expect("the piano stands above the noise");
    assert!(cents_off(found.a4, 434.0).abs() < 3.0, "{found:?}");
}

#[test]
fn silence_hiss_and_mains_hum_have_no_pitch() {
    let samples = 10 * RATE as usize;
    assert_eq!(estimate_a4(&vec![0.0; samples], Hertz::CONCERT_A4), None);
    let hiss: Vec<f32> = noise(samples).map(|x| 0.1 * x).collect();
    assert_eq!(estimate_a4(&hiss, Hertz::CONCERT_A4), None);
    for mains in [50.0, 60.0] {
        let hum: Vec<f32> = (0..samples)
            .map(|n| {
                (1..12)
                    .map(|h| {
                        (TAU * mains * f64::from(h) * n as f64 / RATE).sin() * 0.02 / f64::from(h)
                    })
                    .sum::<f64>() as f32
            })
            .collect();
        assert_eq!(estimate_a4(&hum, Hertz::CONCERT_A4), None, "{mains} Hz");
    }
}

#[test]
fn a_slow_drift_is_followed_and_a_steady_pitch_stays_put() {
    let follow = |sound: &[f32]| -> Vec<Hertz> {
        let mut analyser = Analyser::new(Hertz::CONCERT_A4);
        let mut follower = TuningFollower::new(Hertz::CONCERT_A4);
        let mut frame = SpectrumFrame::default();
        let mut rest = sound;
        let mut path = Vec::new();
        while analyser.next_frame(&mut rest, &mut frame) {
            follower.step(analyser.long_power());
            path.extend(follower.a4());
        }
        path
    };
    // A cassette player that warms up: 24 cents in two minutes.
    let drift = |seconds: f64| 440.0 * (-0.2 * seconds / 1200.0_f64).exp2();
    let path = follow(&chords(120, drift));
    assert!(
        cents_off(*path.last().unwrap(), drift(119.0)).abs() < 4.0,
        "{:?}",
        path.last()
    );

    let steady = follow(&chords(20, |_| 436.0));
    let settled = &steady[steady.len() / 3..];
    let spread = settled
        .iter()
        .map(|a4| cents_off(*a4, settled[0].get()).abs())
        .fold(0.0, f64::max);
    assert!(spread < 1.0, "wanders by {spread} cents");
}
