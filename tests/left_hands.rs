//! Left hands without roots, as a pianist plays them beside a bass: by themselves, between neighbours, and in whole progressions.
//!
//! The shapes are those of Levine, The Jazz Piano Book, 1989, ch. 7; the progressions are our own.

use lidprop::chart::typed::TypedChart;
use lidprop::harmony::function::Class;
use lidprop::harmony::{
    AnalysisOptions, Chord, Context, Degree, Given, Naming, PitchClass, ReadingKind, Sounding,
    Spelled, Style, Verdict, interpret, name_chord,
};

/// The lowest key of a left hand lies from D3 up.
const LOWEST: u8 = 50;

/// Degrees of a chord on `root`, lowest first, the lowest from `lowest` up.
fn voiced(root: PitchClass, degrees: &str, lowest: u8) -> Sounding {
    let mut above = lowest;
    let mut keys = Vec::new();
    for name in degrees.split(' ') {
        let degree = Degree::all().find(|d| d.name() == name).unwrap();
        let class = root.up(i32::from(degree.half_steps()));
        above += class.above(PitchClass::new(i32::from(above)));
        keys.push(above);
        above += 1;
    }
    Sounding::of_midi(&keys)
}

/// True if both are the same kind of chord on the same root.
fn same(a: &Chord, b: &Chord) -> bool {
    a.root.class() == b.root.class() && Class::of(a.degrees) == Class::of(b.degrees)
}

fn named_or_read_first(naming: &Naming, wanted: &Chord) -> bool {
    naming
        .names
        .first()
        .is_some_and(|name| same(&name.chord, wanted))
        || naming
            .readings
            .first()
            .is_some_and(|reading| same(&reading.chord, wanted))
}

fn shown(naming: &Naming) -> String {
    let names = naming
        .names
        .iter()
        .take(3)
        .map(|n| format!("{} {:.2}", n.chord.symbol(Style::Ascii), n.score.get()));
    let readings = naming
        .readings
        .iter()
        .take(4)
        .map(|r| format!("{} {:.2}", r.chord.symbol(Style::Ascii), r.score.get()));
    format!(
        "names {}; readings {}",
        names.collect::<Vec<_>>().join(", "),
        readings.collect::<Vec<_>>().join(", ")
    )
}

/// A chord of a two-five-one: half steps above the tonic, its symbol behind the root, and the A and the B form.
type Function = (i32, &'static str, [&'static str; 2]);

const MAJOR: [Function; 3] = [
    (2, "m9", ["b3 5 b7 9", "b7 9 b3 5"]),
    (7, "13", ["b7 9 3 13", "3 13 b7 9"]),
    (0, "maj9", ["3 5 7 9", "7 9 3 5"]),
];
const OTHERS: [Function; 3] = [
    (7, "7#5#9", ["3 b13 b7 #9", "b7 #9 3 b13"]),
    (0, "6/9", ["3 5 6 9", "6 9 3 5"]),
    (0, "m6/9", ["b3 5 6 9", "6 9 b3 5"]),
];

fn chord_on(tonic: PitchClass, above: i32, body: &str) -> Chord {
    let root = Spelled::usual(tonic.up(above));
    format!("{root}{body}").parse().unwrap()
}

#[test]
fn between_its_neighbours_a_left_hand_is_read_first_as_what_it_does() {
    let (mut all, mut first, mut three) = (0, 0, 0);
    let around: [[Option<(i32, &str)>; 2]; 3] = [
        [Some((0, "maj7")), Some((7, "7"))],
        [Some((2, "m7")), Some((0, "maj7"))],
        [Some((7, "7")), Some((5, "maj7"))],
    ];
    for tonic in PitchClass::all() {
        for (function, around) in MAJOR.iter().zip(around) {
            let &(above, body, forms) = function;
            let wanted = chord_on(tonic, above, body);
            for form in forms {
                let sounding = voiced(wanted.root.class(), form, LOWEST);
                let told = around.map(|c| c.map(|(above, body)| chord_on(tonic, above, body)));
                let context = Context {
                    before: told[0],
                    after: told[1],
                    ..Context::default()
                };
                let between = name_chord(&sounding, &context);
                let alone = name_chord(&sounding, &Context::default());
                all += 1;
                let right = between
                    .readings
                    .first()
                    .is_some_and(|r| same(&r.chord, &wanted));
                first += usize::from(right);
                let listed = alone
                    .readings
                    .iter()
                    .take(3)
                    .any(|r| same(&r.chord, &wanted));
                three += usize::from(listed);
                if !right || !listed {
                    println!(
                        "{} as {form}: between {}; alone {}",
                        wanted.symbol(Style::Ascii),
                        shown(&between),
                        shown(&alone)
                    );
                }
            }
        }
    }
    println!("{first} of {all} first between neighbours, {three} among three alone");
    assert_eq!((first, three), (all, all));
}

#[test]
fn altered_dominants_and_sixth_chords_without_root_are_read_among_the_first_three_and_first_in_their_place()
 {
    let mut wrong = Vec::new();
    for tonic in PitchClass::all() {
        for (above, body, forms) in OTHERS {
            let wanted = chord_on(tonic, above, body);
            let (before, after) = if above == 7 {
                (chord_on(tonic, 2, "m7b5"), chord_on(tonic, 0, "m6"))
            } else {
                (chord_on(tonic, 7, "7"), chord_on(tonic, 0, body))
            };
            for form in forms {
                let sounding = voiced(wanted.root.class(), form, LOWEST);
                let alone = name_chord(&sounding, &Context::default());
                let context = Context {
                    before: Some(before),
                    after: Some(after),
                    ..Context::default()
                };
                let between = name_chord(&sounding, &context);
                let listed = |naming: &Naming, most| {
                    naming
                        .readings
                        .iter()
                        .take(most)
                        .any(|r| same(&r.chord, &wanted))
                };
                // Of the three that one shape can be, a minor sixth chord is the rarest.
                if !listed(&alone, 4) || !listed(&between, 1) {
                    wrong.push(format!(
                        "{} as {form}: alone {}; between {}",
                        wanted.symbol(Style::Ascii),
                        shown(&alone),
                        shown(&between)
                    ));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn third_flat_fifth_and_major_seventh_are_two_dominants_first_and_left_open() {
    for tonic in PitchClass::all() {
        for form in ["b7 9 3 13", "3 13 b7 9"] {
            let root = tonic.up(7);
            let naming = name_chord(&voiced(root, form, LOWEST), &Context::default());
            assert_eq!(naming.verdict, Verdict::Undecided, "{}", shown(&naming));
            let roots: Vec<PitchClass> = naming.names.iter().map(|n| n.root().class()).collect();
            assert_eq!(roots[0], root, "13 before alt: {}", shown(&naming));
            assert!(
                roots[..3].contains(&root.up(6)) && roots[..3].contains(&root.up(-2)),
                "{}",
                shown(&naming)
            );
            let read = &naming.readings[..2];
            assert!(
                read.iter().all(|r| r.kind == ReadingKind::RootlessDominant),
                "{}",
                shown(&naming)
            );
            // The bass decides: over its root the major seventh, over the dominant's root the dominant.
            let over = |bass: PitchClass| {
                let sounding = Sounding {
                    stated_bass: Some(bass),
                    ..voiced(root, form, LOWEST)
                };
                name_chord(&sounding, &Context::default()).names[0]
                    .root()
                    .class()
            };
            assert_eq!(over(root), root);
            assert_eq!(over(root.up(6)), root.up(6));
            assert_eq!(over(root.up(-2)), root.up(-2));
        }
    }
}

#[test]
fn shells_and_guide_tones_of_two_and_three_keys_are_read_in_their_place() {
    let mut wrong = Vec::new();
    for tonic in PitchClass::all() {
        for (above, body, shapes) in [
            (2, "m7", ["b3 b7", "b7 b3", "b3 b7 9"]),
            (7, "7", ["b7 3", "3 b7", "3 b7 9"]),
            (0, "maj7", ["3 7", "7 3", "3 7 9"]),
        ] {
            let wanted = chord_on(tonic, above, body);
            let [before, after] = match above {
                2 => [chord_on(tonic, 0, "maj7"), chord_on(tonic, 7, "7")],
                7 => [chord_on(tonic, 2, "m7"), chord_on(tonic, 0, "maj7")],
                _ => [chord_on(tonic, 7, "7"), chord_on(tonic, 9, "m7")],
            };
            for shape in shapes {
                let context = Context {
                    before: Some(before),
                    after: Some(after),
                    ..Context::default()
                };
                let naming = name_chord(&voiced(wanted.root.class(), shape, LOWEST), &context);
                if !naming
                    .readings
                    .first()
                    .is_some_and(|r| same(&r.chord, &wanted))
                {
                    wrong.push(format!(
                        "{} as {shape}: {}",
                        wanted.symbol(Style::Ascii),
                        shown(&naming)
                    ));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn no_reading_is_a_dominant_that_lacks_third_or_seventh_but_for_the_diminished_major_seventh() {
    let mut random = fastrand::Rng::with_seed(17);
    for _ in 0..3_000 {
        let mut keys: Vec<u8> = (0..random.usize(2..=6))
            .map(|_| random.u8(40..=76))
            .collect();
        keys.sort_unstable();
        keys.dedup();
        let sounding = Sounding::of_midi(&keys);
        let naming = name_chord(&sounding, &Context::default());
        let diminished_major = PitchClass::all().any(|root| {
            let set = sounding.pitches().seen_from(root);
            set.bits() == 0b1000_0100_1001
        });
        for reading in naming
            .readings
            .iter()
            .filter(|r| r.is_a(ReadingKind::RootlessDominant))
        {
            let lacks = reading.missing.contains(Degree::THIRD)
                || reading.missing.contains(Degree::MINOR_SEVENTH);
            assert!(!lacks || diminished_major, "{keys:?}: {}", shown(&naming));
        }
        // One chord once, and a resolution leaves a chord.
        for (nth, reading) in naming.readings.iter().enumerate() {
            let twin = |other: &&lidprop::harmony::Reading| {
                other.chord.root.class() == reading.chord.root.class()
                    && other.chord.degrees == reading.chord.degrees
                    && other.chord.bass == reading.chord.bass
                    && other.family.is_empty() == reading.family.is_empty()
            };
            assert_eq!(
                naming.readings[..nth].iter().find(twin),
                None,
                "{keys:?}: {}",
                shown(&naming)
            );
            for resolution in &reading.resolves_to {
                let landed: std::collections::BTreeSet<u8> = resolution
                    .voices
                    .iter()
                    .map(|v| v.to.class().get())
                    .collect();
                assert!(
                    landed.len() >= resolution.voices.len().min(3),
                    "{keys:?} to {:?}",
                    resolution.to
                );
            }
        }
    }
}

/// Progressions as `symbol: degrees` words, bar by bar; the symbol is what the player means, the degrees are what sounds, lowest first.
const PROGRESSIONS: [(&str, &[(&str, &str)]); 6] = [
    (
        "a minor tune",
        &[
            ("Cm6/9", "b3 5 6 9"),
            ("Dm7b5", "b7 1 b3 b5"),
            ("G7#5#9", "3 b13 b7 #9"),
            ("Cm9", "b3 5 b7 9"),
            ("C7b9b13", "3 b13 b7 b9"),
            ("Fm9", "b3 5 b7 9"),
            ("Bb13", "b7 9 3 13"),
            ("Ebmaj9", "7 9 3 5"),
            ("Dm7b5", "b7 1 b3 b5"),
            ("G7#5#9", "3 b13 b7 #9"),
            ("Cm6/9", "b3 5 6 9"),
        ],
    ),
    (
        "two-five-ones that fall by whole steps",
        &[
            ("Dm9", "b3 5 b7 9"),
            ("G13", "b7 9 3 13"),
            ("Cmaj9", "3 5 7 9"),
            ("Cm9", "b3 5 b7 9"),
            ("F13", "b7 9 3 13"),
            ("Bbmaj9", "3 5 7 9"),
            ("Bbm9", "b7 9 b3 5"),
            ("Eb13", "3 13 b7 9"),
            ("Abmaj9", "7 9 3 5"),
        ],
    ),
    (
        "a blues in F",
        &[
            ("F13", "b7 9 3 13"),
            ("Bb13", "3 13 b7 9"),
            ("F13", "b7 9 3 13"),
            ("Cm9", "b3 5 b7 9"),
            ("F7#5#9", "b7 #9 3 b13"),
            ("Bb13", "3 13 b7 9"),
            ("Bdim7", "1 b3 b5 bb7"),
            ("F13", "b7 9 3 13"),
            ("D7#5#9", "3 b13 b7 #9"),
            ("Gm9", "b7 9 b3 5"),
            ("C13", "3 13 b7 9"),
            ("F13", "b7 9 3 13"),
        ],
    ),
    (
        "full voicings with roots",
        &[
            ("Cmaj9", "1 7 9 3 5"),
            ("A7b9", "1 b7 b9 3 5"),
            ("Dm9", "1 b3 b7 9 5"),
            ("G13", "1 b7 3 13 9"),
            ("Em7", "1 5 b7 b3"),
            ("A7#5#9", "1 3 b13 b7 #9"),
            ("Dm11", "1 b7 b3 11 9"),
            ("Db9#11", "1 3 b7 9 #11"),
            ("C6/9", "1 3 6 9 5"),
        ],
    ),
    (
        "a turnaround in B flat that ends on the sixth chord",
        &[
            ("Bb6/9", "3 5 6 9"),
            ("G7#5#9", "3 b13 b7 #9"),
            ("Cm9", "b7 9 b3 5"),
            ("F13", "3 13 b7 9"),
            ("Dm9", "b3 5 b7 9"),
            ("G7#5#9", "b7 #9 3 b13"),
            ("Cm9", "b7 9 b3 5"),
            ("F13", "3 13 b7 9"),
            ("Bb6/9", "3 5 6 9"),
        ],
    ),
    (
        "passing diminished chords and a backdoor",
        &[
            ("Ebmaj9", "7 9 3 5"),
            ("Edim7", "1 b3 b5 bb7"),
            ("Fm9", "b3 5 b7 9"),
            ("F#dim7", "1 b3 b5 bb7"),
            ("Gm7", "1 b3 5 b7"),
            ("C7#5#9", "b7 #9 3 b13"),
            ("Fm9", "b3 5 b7 9"),
            ("Abm9", "b3 5 b7 9"),
            ("Db13", "b7 9 3 13"),
            ("Ebmaj9", "7 9 3 5"),
        ],
    ),
];

#[test]
fn in_six_progressions_nearly_every_chord_is_named_or_read_first_as_it_is_meant() {
    let (mut all, mut placed, mut between) = (0, 0, 0);
    for (title, chords) in PROGRESSIONS {
        let meant: Vec<Chord> = chords
            .iter()
            .map(|(symbol, _)| symbol.parse().unwrap())
            .collect();
        let soundings: Vec<Sounding> = meant
            .iter()
            .zip(chords)
            .map(|(chord, (_, degrees))| {
                let lowest = if degrees.starts_with("1 ") {
                    36
                } else {
                    LOWEST
                };
                voiced(chord.root.class(), degrees, lowest)
            })
            .collect();
        let given: Vec<Given> = soundings.iter().cloned().map(Given::Voiced).collect();
        let read = interpret(&given, &AnalysisOptions::default());
        for (at, wanted) in meant.iter().enumerate() {
            all += 1;
            let naming = read.naming(at);
            let right = named_or_read_first(&naming, wanted);
            placed += usize::from(right);
            if !right {
                println!(
                    "{title}, chord {}, {}: {}",
                    at + 1,
                    wanted.symbol(Style::Ascii),
                    shown(&naming)
                );
            }
            let context = Context {
                before: at.checked_sub(1).map(|i| meant[i]),
                after: meant.get(at + 1).copied(),
                ..Context::default()
            };
            let told = name_chord(&soundings[at], &context);
            let right = named_or_read_first(&told, wanted);
            between += usize::from(right);
            if !right {
                println!(
                    "{title}, chord {}, {}, its neighbours told: {}",
                    at + 1,
                    wanted.symbol(Style::Ascii),
                    shown(&told)
                );
            }
        }
    }
    println!("{placed} of {all} in their progression, {between} with their neighbours told");
    assert!(all >= 50);
    let share = |right: usize| right as f64 / f64::from(all);
    assert!(share(placed) >= 0.93, "{placed} of {all}");
    assert!(share(between) >= 0.93, "{between} of {all}");
}

#[test]
fn a_typed_chart_of_left_hands_is_read_as_its_changes() {
    let chart: TypedChart = "| F3 A3 C4 E4 | F3 A3 B3 E4 | E3 G3 B3 D4 | % |"
        .parse()
        .unwrap();
    let read = chart.interpret(&AnalysisOptions::default());
    let numerals: Vec<String> = (0..3)
        .map(|at| read.in_place(at).unwrap().numeral.to_string())
        .collect();
    assert_eq!(numerals, ["ii7", "V7", "Imaj7"]);
    let stands_for: Vec<String> = (0..3)
        .map(|at| {
            read.in_place(at)
                .unwrap()
                .stands_for
                .unwrap()
                .symbol(Style::Ascii)
        })
        .collect();
    assert_eq!(stands_for, ["Dm9", "G13", "Cmaj9"]);
    assert_eq!(read.cadences()[0].kind.words(), "two-five-one");
}
