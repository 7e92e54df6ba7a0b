//! Chord symbols: what is read, where reading stops, and that everything printed is read back.

#[path = "support/told.rs"]
mod told;

use lidprop::harmony::chord::label;
use lidprop::harmony::chord::quality::QUALITIES;
use lidprop::harmony::{
    Chord, Context, Degree, DegreeSet, Key, Mode, PitchClass, Sounding, Spelled, Spelling, Style,
};
use lidprop::units::Share;
use std::collections::BTreeSet;
use told::{name_chord, name_chord_in};

fn degrees(symbol: &str) -> String {
    let chord: Chord = symbol.parse().unwrap_or_else(|e| panic!("{e}"));
    let mut list: Vec<Degree> = chord.sounding().iter().collect();
    list.sort_by_key(|d| (d.number(), d.half_steps()));
    list.iter().map(|d| d.name()).collect::<Vec<_>>().join(" ")
}

#[test]
fn regional_styles_of_one_chord_mean_the_same() {
    for (expected, spellings) in [
        ("1 3 5 7", "Cmaj7 CMaj7 CM7 CΔ C△7 CΔ7 Cma7 CMA7 C7M"),
        ("1 b3 5 b7", "Cm7 C-7 Cmi7 Cmin7 C–7 CMI7"),
        ("1 b3 b5 bb7", "Cdim7 C°7 Co7"),
        ("1 b3 b5 b7", "Cm7b5 Cø Cø7 C-7(b5) Cmi7(♭5) Cm7-5 Chdim7"),
        ("1 b3 b5 7", "Cdim(maj7) C°(maj7) C°Δ7 Co(M7)"),
        ("1 3 #5", "Caug C+ C(#5)"),
        ("1 3 #5 b7", "C7#5 C+7 C7+ Caug7 C7(#5) C7+5"),
        ("1 4 5 b7 9", "C9sus4 C9sus C11"),
        ("1 3 5 6 9", "C6/9 C69 C6(9)"),
        ("1 3 5 b7 b9", "C7b9 C7(b9) C7-9 C7♭9"),
        ("1 3 b7 b9 #9 #11 b13", "C7alt Calt C7(alt)"),
        ("1 b3 5 7", "Cm(maj7) CmM7 C-Δ7 Cm/maj7 CmiMA7 Cm7M"),
        ("1 3 5 7 9", "Cmaj9 CΔ9 C7M(9) C9M"),
        ("1 b3 b5 bb7 7", "Cdim7(maj7) C°7(Δ7)"),
        ("1 3 5 9", "Cadd9 C(add9) Cadd2"),
        ("1 3 5 b7 b9 13", "C13b9 C13(b9) C7(b9,13) C7b9(13)"),
        ("1 5 b7", "C7(no3) C7omit3 C7 no 3rd"),
        ("1 5", "C5"),
        ("1 2 5", "Csus2 C2"),
    ] {
        let words: Vec<&str> = if spellings.contains(" no ") {
            vec!["C7(no3)", "C7omit3", "C7 no 3rd"]
        } else {
            spellings.split(' ').collect()
        };
        for symbol in words {
            assert_eq!(degrees(symbol), expected, "{symbol}");
        }
    }
}

#[test]
fn a_symbol_that_cannot_be_read_says_where_and_what_was_expected() {
    for (symbol, place) in [
        ("H7", 1),
        ("Cmaj7x", 6),
        ("C7(b9", 6),
        ("C7/", 4),
        ("C7add", 6),
        ("", 1),
        ("Cno", 4),
        ("C7b8", 4),
    ] {
        let error = symbol.parse::<Chord>().unwrap_err();
        assert_eq!(error.place, place, "{symbol}: {error}");
        assert!(error.to_string().contains("expected"), "{error}");
    }
    assert_eq!(
        "C7/".parse::<Chord>().unwrap_err().to_string(),
        "cannot read the chord symbol 'C7/' from place 4 on (the end): expected a bass note from A to G"
    );
}

#[test]
fn every_quality_prints_and_reads_back_in_every_style_on_every_root_and_bass() {
    for quality in QUALITIES {
        for root in PitchClass::all() {
            for (style, up) in Style::ALL
                .into_iter()
                .flat_map(|s| [0, 4, 6].map(|up| (s, up)))
            {
                let mut chord = Chord::new(Spelled::usual(root), quality.degrees);
                chord.bass = (up != 0).then(|| Spelled::usual(root.up(up)));
                let printed = chord.symbol(style);
                let read: Chord = printed.parse().unwrap_or_else(|e| panic!("{e}"));
                assert_eq!(read, chord, "{printed}");
            }
        }
    }
}

#[test]
fn a_bare_note_below_is_a_bass_and_a_chord_below_makes_a_fraction() {
    let read = |text: &str| text.parse::<Chord>().unwrap();
    assert_eq!(read("C over D"), read("C/D"));
    assert_eq!(read("C over Dm"), read("C|Dm"));
    assert!(read("C|D").lower.is_some());
}

#[test]
fn an_added_note_stands_behind_the_seventh() {
    let printed = |text: &str| text.parse::<Chord>().unwrap().symbol(Style::Ascii);
    assert_eq!(printed("Cm7add11"), "Cm7(add11)");
    assert_eq!(printed("C7add13"), "C7(add13)");
}

#[test]
fn an_altered_dominant_is_alt_on_a_chart_unless_its_plain_fifth_sounds() {
    let chart = |text: &str| {
        text.parse::<Chord>()
            .unwrap()
            .on_chart()
            .symbol(Style::Ascii)
    };
    assert_eq!(chart("G7#5#9"), "G7alt");
    assert_eq!(chart("D7b5b9"), "D7alt");
    assert_eq!(chart("C7b9b13"), "C7b9b13");
    assert_eq!(chart("C13b9"), "C13b9");
}

/// Whatever is typed: words of symbols, stray signs and letters of other scripts, in any order.
#[test]
fn any_text_is_read_or_refused_at_a_place_within_it() {
    const WORDS: [&str; 44] = [
        "C", "F#", "B♭", "Ebb", "m", "mi", "-", "M", "maj", "Δ", "dim", "°", "ø", "+", "aug",
        "sus", "sus4", "alt", "add", "no", "omit", "6/9", "13", "11", "9", "7", "6", "5", "b", "#",
        "♯", "b9", "#11", "(", ")", ",", "/", "|", " over ", " ", "é", "𝄪", "H", "rootless",
    ];
    let mut random = fastrand::Rng::with_seed(19);
    let (mut read, mut refused) = (0, 0);
    for _ in 0..20_000 {
        let text: String = (0..random.usize(0..8))
            .map(|_| WORDS[random.usize(..WORDS.len())])
            .collect();
        match text.parse::<Chord>() {
            Ok(chord) => {
                read += 1;
                for style in Style::ALL {
                    let printed = chord.symbol(style);
                    let again: Chord = printed
                        .parse()
                        .unwrap_or_else(|e| panic!("'{text}' printed as {printed}: {e}"));
                    assert_eq!(
                        again.sounding().pitches(),
                        chord.sounding().pitches(),
                        "'{text}' printed as {printed}"
                    );
                }
            }
            Err(error) => {
                refused += 1;
                let length = text.chars().count();
                assert!((1..=length + 1).contains(&error.place), "{error}");
                assert_eq!(error.found, text.chars().nth(error.place - 1), "{error}");
            }
        }
    }
    assert!(
        read > 500 && refused > 500,
        "{read} read, {refused} refused"
    );
}

#[test]
fn no_two_qualities_print_alike() {
    for style in Style::ALL {
        let mut seen = std::collections::HashMap::new();
        for quality in QUALITIES {
            let printed =
                Chord::new(Spelled::usual(PitchClass::new(0)), quality.degrees).symbol(style);
            assert_eq!(
                seen.insert(printed.clone(), quality.body),
                None,
                "{printed}"
            );
        }
    }
}

/// Any chord a naming can come up with: a quality, perhaps with notes added and left out.
fn any_chord(random: &mut fastrand::Rng) -> Chord {
    let quality = &QUALITIES[random.usize(..QUALITIES.len())];
    let root = Spelled::at_fifths(random.i8(-6..=6));
    let mut degrees = quality.degrees;
    let addable: Vec<Degree> = DegreeSet::of("b9 9 #9 11 #11 b13 13")
        .iter()
        .filter(|d| {
            quality.degrees.at(d.half_steps()).is_none()
                && !(d.number() == 9 && quality.degrees.contains(Degree::SECOND))
        })
        .collect();
    if random.bool() && !addable.is_empty() {
        degrees = degrees.with(addable[random.usize(..addable.len())]);
    }
    let mut chord = Chord::new(root, degrees);
    if random.bool() {
        let mut listed: Vec<Degree> = degrees
            .iter()
            .filter(|d| degrees.iter().filter(|o| o.number() == d.number()).count() == 1)
            .collect();
        random.shuffle(&mut listed);
        chord.omitted = listed.into_iter().take(1).collect();
    }
    if random.bool() {
        let bass = Spelled::at_fifths(random.i8(-6..=6));
        chord.bass = (bass != root).then_some(bass);
    } else if random.u8(..4) == 0 {
        // A fraction of two chords.
        let lower = &QUALITIES[random.usize(..QUALITIES.len())];
        chord.lower = Some((Spelled::at_fifths(random.i8(-6..=6)), lower.degrees));
    }
    chord
}

#[test]
fn whatever_is_printed_is_read_back_with_the_same_notes() {
    let mut random = fastrand::Rng::with_seed(7);
    for _ in 0..5_000 {
        let chord = any_chord(&mut random);
        for style in Style::ALL {
            let printed = chord.symbol(style);
            let read: Chord = printed.parse().unwrap_or_else(|e| panic!("{chord:?}: {e}"));
            assert_eq!(
                (read.root, read.sounding().pitches(), read.bass, read.lower),
                (
                    chord.root,
                    chord.sounding().pitches(),
                    chord.bass,
                    chord.lower
                ),
                "{printed}"
            );
        }
        if chord.lower.is_some() {
            // The label syntax has no fractions: one is written from its lower root.
            continue;
        }
        let text = label::write(&chord, chord.sounding());
        let read = label::read(&text).unwrap().unwrap();
        assert_eq!(
            (read.root, read.sounding()),
            (chord.root, chord.sounding()),
            "{text}"
        );
    }
}

#[test]
fn a_thousand_random_sets_of_keys_always_give_their_notes_and_readable_names() {
    let mut random = fastrand::Rng::with_seed(11);
    for _ in 0..1_000 {
        let mut midi: Vec<u8> = (0..random.usize(1..=10))
            .map(|_| random.u8(21..=108))
            .collect();
        midi.sort_unstable();
        midi.dedup();
        let naming = name_chord(&Sounding::of_midi(&midi), &Default::default());
        assert_eq!(naming.notes.len(), midi.len());
        let set: u16 = midi.iter().fold(0, |bits, m| bits | 1 << (m % 12));
        let total: f32 = naming.names.iter().map(|n| n.score).sum();
        assert!((0.0..=1.0 + 1e-4).contains(&total), "{midi:?}: {total}");
        for name in &naming.names {
            let chord: Chord = name.ascii.parse().unwrap_or_else(|e| panic!("{e}"));
            assert_eq!(name.symbol.parse::<Chord>().unwrap().root, chord.root);
            let labelled = label::read(&name.label)
                .unwrap_or_else(|e| panic!("{e}"))
                .unwrap();
            assert_eq!(labelled.pitches().bits(), set, "{midi:?}: {}", name.label);
            assert_eq!(
                name.degrees.len(),
                set.count_ones() as usize,
                "{midi:?}: {name:?}"
            );
        }
        for reading in &naming.readings {
            assert!(reading.score.is_finite() && !reading.why.is_empty());
        }
    }
}

#[test]
fn doubtful_notes_foreign_basses_keys_and_neighbours_never_lose_a_note() {
    let mut random = fastrand::Rng::with_seed(17);
    for _ in 0..1_000 {
        let mut sounding = Sounding::of_midi(
            &(0..random.usize(1..=8))
                .map(|_| random.u8(0..=127))
                .collect::<Vec<_>>(),
        );
        for note in &mut sounding.notes {
            note.weight = Share::clamped(random.f32());
        }
        sounding.stated_bass = random.bool().then(|| PitchClass::new(random.i32(0..12)));
        let mode = if random.bool() {
            Mode::Major
        } else {
            Mode::Minor
        };
        let context = Context {
            key: random
                .bool()
                .then(|| Key::usual(PitchClass::new(random.i32(0..12)), mode)),
            before: random.bool().then(|| any_chord(&mut random)),
            after: random.bool().then(|| any_chord(&mut random)),
            scale: None,
            spelling: if random.bool() {
                Spelling::Theory
            } else {
                Spelling::Readable
            },
        };
        let style = Style::ALL[random.usize(..4)];
        let naming = name_chord_in(&sounding, &context, style);
        let keys: BTreeSet<_> = sounding.notes.iter().map(|n| n.midi).collect();
        assert_eq!(naming.notes.len(), keys.len());
        let total: f32 = naming.names.iter().map(|n| n.score).sum();
        assert!((0.0..=1.0 + 1e-4).contains(&total), "{keys:?}: {total}");
        for name in &naming.names {
            name.symbol
                .parse::<Chord>()
                .unwrap_or_else(|e| panic!("{e}"));
        }
        for reading in &naming.readings {
            assert!(reading.score.is_finite() && !reading.why.is_empty());
            for resolution in &reading.resolves_to {
                assert!(
                    resolution.ascii.parse::<Chord>().is_ok(),
                    "{}",
                    resolution.ascii
                );
                assert_eq!(resolution.voices.len(), sounding.pitches().len() as usize);
            }
        }
    }
}

#[test]
fn transposing_the_keys_moves_every_answer_equally() {
    let mut random = fastrand::Rng::with_seed(13);
    for _ in 0..200 {
        let midi: Vec<u8> = (0..random.usize(2..=7))
            .map(|_| random.u8(36..=84))
            .collect();
        let answer = |up: u8| {
            let moved: Vec<u8> = midi.iter().map(|m| m + up).collect();
            let naming = name_chord(&Sounding::of_midi(&moved), &Default::default());
            let above = |root: PitchClass| root.above(PitchClass::new(i32::from(up)));
            let thousandths = |score: f32| (score * 1e3).round() as i32;
            // Equal best names of a chord that divides the octave evenly may swap: all that share the best score count.
            let best = naming.names.first().map(|name| thousandths(name.score));
            let names: BTreeSet<(u8, String)> = naming
                .names
                .iter()
                .filter(|name| Some(thousandths(name.score)) == best)
                .map(|name| {
                    let chord: Chord = name.ascii.parse().unwrap();
                    let body = name.label.split_once(':').expect("a root and a body").1;
                    (above(chord.root.class()), body.to_owned())
                })
                .collect();
            let mut readings: Vec<(String, u8, i32)> = naming
                .readings
                .iter()
                .filter(|reading| reading.ascii.parse::<Chord>().is_ok())
                .map(|reading| {
                    let chord: Chord = reading.ascii.parse().unwrap();
                    let score = thousandths(reading.score);
                    (reading.kind.to_string(), above(chord.root.class()), score)
                })
                .collect();
            readings.sort();
            (best, names, naming.verdict, readings, naming.readings.len())
        };
        let at_home = answer(0);
        for up in 1..12 {
            assert_eq!(at_home, answer(up), "{midi:?} up {up}");
        }
    }
}
