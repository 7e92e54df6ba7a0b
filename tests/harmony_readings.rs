//! What sounds may stand for: the claims a musician would check.

#[path = "support/told.rs"]
mod told;

use lidprop::chart::document::{Cadence, Naming, Reading};
use lidprop::harmony::voicing::typed::Typed;
use lidprop::harmony::{AnalysisOptions, Context, Given, Sounding, Spelling, Verdict};
use told::{analyse_progression, analyse_progression_with, name_chord};

fn named(notes: &str, context: &Context) -> Naming {
    name_chord(&Typed::read(&[notes]).unwrap().sounding, context)
}

fn after(symbol: &str) -> Context {
    Context {
        after: Some(symbol.parse().unwrap()),
        ..Context::default()
    }
}

fn of_kind<'a>(naming: &'a Naming, kind: &str, ascii: &str) -> &'a Reading {
    naming
        .readings
        .iter()
        .find(|r| r.kind == kind && r.ascii == ascii)
        .unwrap_or_else(|| {
            panic!(
                "no {kind} {ascii} among {:?}",
                naming
                    .readings
                    .iter()
                    .map(|r| (&r.kind, &r.ascii))
                    .collect::<Vec<_>>()
            )
        })
}

#[test]
fn a_diminished_major_seventh_shows_both_dominants_and_all_its_other_sides() {
    let naming = named("D4 F4 G#4 C#5", &Context::default());
    assert_eq!(naming.names[0].ascii, "Ddim(maj7)");
    let above = of_kind(&naming, "rootless dominant", "E13b9");
    assert_eq!(above.tensions, ["b9", "13"]);
    assert_eq!(above.missing, ["1", "5"]);
    let below = of_kind(&naming, "rootless dominant", "Bb7#9");
    assert_eq!(below.tensions, ["#9"]);
    let goals: Vec<&str> = below.resolves_to.iter().map(|r| r.ascii.as_str()).collect();
    assert_eq!(
        goals,
        ["Ebm6", "Amaj7", "Ebmaj7"],
        "to minor and to major, and as a substitute"
    );
    of_kind(&naming, "diminished seventh, a note raised", "Ddim7");
    of_kind(&naming, "tonic diminished", "Dmaj7");
    assert!(
        naming
            .readings
            .iter()
            .any(|r| r.kind == "slash chord" && r.ascii == "C#/D")
    );
    let family = naming
        .readings
        .iter()
        .find(|r| r.kind == "dominants of the diminished scale")
        .unwrap();
    let mut roots: Vec<&str> = family.ascii.split(' ').collect();
    roots.sort_unstable();
    assert_eq!(roots, ["Bb7", "C#7", "E7", "G7"]);
}

#[test]
fn every_degree_of_a_reading_names_the_note_that_sounds() {
    let naming = named("D4 F4 G#4 C#5", &Context::default());
    let degrees = &of_kind(&naming, "rootless dominant", "E13b9").degrees;
    let expected = [("G#", "3"), ("D", "b7"), ("F", "b9"), ("C#", "13")];
    assert_eq!(degrees.len(), 4);
    assert!(
        expected
            .iter()
            .all(|(note, degree)| degrees[*note] == *degree)
    );
}

#[test]
fn the_chord_after_settles_which_dominant_a_stand_in_stands_for() {
    let first = |next| {
        let naming = named("D4 F4 G#4 C#5", &after(next));
        (
            naming.readings[0].kind.to_string(),
            naming.readings[0].ascii.clone(),
        )
    };
    assert_eq!(first("Amaj7"), ("rootless dominant".into(), "E13b9".into()));
    assert_eq!(first("Ebm7"), ("rootless dominant".into(), "Bb7#9".into()));
    assert_eq!(first("Dmaj7").0, "tonic diminished");
}

#[test]
fn a_delayed_tonic_falls_to_its_tonic_by_two_rising_half_steps() {
    let naming = named("C4 Eb4 Gb4 B4", &after("Cmaj7"));
    let steps = &of_kind(&naming, "tonic diminished", "Cmaj7").resolves_to[0].voices;
    let moves: Vec<(&str, &str, i8)> = steps
        .iter()
        .map(|v| (v.from.as_ref(), v.to.as_ref(), v.half_steps))
        .collect();
    assert_eq!(
        moves,
        [("C", "C", 0), ("Eb", "E", 1), ("Gb", "G", 1), ("B", "B", 0)]
    );
}

#[test]
fn a_diminished_seventh_is_passing_common_tone_or_leading_by_what_surrounds_it() {
    let kind = |before: &str, next: &str| {
        let context = Context {
            before: Some(before.parse().unwrap()),
            ..after(next)
        };
        named("C#3 E3 G3 Bb3", &context).readings[0]
            .kind
            .to_string()
    };
    assert_eq!(kind("Cmaj7", "Dm7"), "passing diminished");
    assert_eq!(kind("C#m7", "C#m7"), "auxiliary diminished");
    assert_eq!(
        named("C3 Eb3 Gb3 A3", &after("Ebmaj7"))
            .readings
            .iter()
            .filter(|r| r.kind == "common-tone diminished")
            .count(),
        1
    );
}

#[test]
fn every_dominant_shows_the_dominant_a_tritone_away_that_shares_its_guide_tones() {
    for root in 48..60_u8 {
        let naming = name_chord(
            &Sounding::of_midi(&[root, root + 4, root + 7, root + 10]),
            &Context::default(),
        );
        let pairs: Vec<&Reading> = naming
            .readings
            .iter()
            .filter(|r| r.kind == "tritone substitute")
            .collect();
        let [pair] = pairs[..] else {
            panic!("one partner of {:?}: {pairs:?}", naming.notes)
        };
        let partner: lidprop::harmony::Chord = pair.ascii.parse().unwrap();
        assert_eq!(partner.root.class().get(), (root + 6) % 12, "{pair:?}");
        // third and seventh change places, its own root and fifth are b5 and b9 of the partner
        let degree_of = |key: u8| {
            let class = key % 12;
            let named = |note: &str| note.parse::<lidprop::harmony::Spelled>().unwrap().class();
            let found = pair
                .degrees
                .iter()
                .find(|(note, _)| named(note).get() == class);
            found.map(|(_, degree)| degree.as_ref())
        };
        let degrees = [0, 4, 7, 10].map(|above| degree_of(root + above));
        assert_eq!(
            degrees,
            [Some("b5"), Some("b7"), Some("b9"), Some("3")],
            "{pair:?}"
        );
        let goal: lidprop::harmony::Chord = pair.resolves_to[0].ascii.parse().unwrap();
        assert_eq!(
            goal.root.class().get(),
            (root + 11) % 12,
            "a fifth below the partner"
        );
    }
}

/// Why a reading is an upper structure too.
fn why_upper(reading: &Reading) -> &str {
    let also = reading
        .also
        .iter()
        .find(|also| also.kind == "upper structure");
    &also.expect("an upper structure").why
}

#[test]
fn an_upper_structure_shows_its_triad() {
    let upper = named("C3 E3 Bb3 D4 F#4 A4", &Context::default());
    let reading = &upper.readings[0];
    assert_eq!(reading.ascii, "C13#11");
    let why = why_upper(reading);
    assert!(
        why.starts_with("the triad D over the guide tones E and B"),
        "{why}"
    );
}

#[test]
fn a_dominant_says_first_that_it_is_one_and_where_it_goes() {
    for (notes, kind, goal) in [
        ("G3 B3 D4 F4", "dominant", "Cmaj7"),
        ("A3 C#4 G4 Bb4 F5", "dominant", "Dm6"),
        ("G3 F4 A4 C5 D5", "suspended dominant", "G7"),
        ("D3 F3 A3 C4", "related ii", "G7"),
    ] {
        let first = &named(notes, &Context::default()).readings[0];
        assert_eq!(
            (first.kind.as_ref(), first.resolves_to[0].ascii.as_str()),
            (kind, goal),
            "{notes}"
        );
    }
}

#[test]
fn the_chord_that_comes_next_is_the_first_goal_as_it_is_written() {
    for (next, reading) in [("Eb6", "Bb7#9"), ("A6/9", "E13b9")] {
        let naming = named("D4 F4 Ab4 Db5", &after(next));
        let goals: Vec<&str> = of_kind(&naming, "rootless dominant", reading)
            .resolves_to
            .iter()
            .map(|r| r.ascii.as_str())
            .collect();
        assert_eq!(goals[0], next);
        assert_eq!(goals.iter().filter(|g| **g == next).count(), 1);
    }
}

#[test]
fn the_root_of_a_passing_diminished_chord_rises_into_the_next_root() {
    let context = Context {
        before: Some("Cmaj7".parse().unwrap()),
        ..after("Dm7")
    };
    let naming = named("C#3 E3 G3 Bb3", &context);
    let steps = &of_kind(&naming, "passing diminished", "C#dim7").resolves_to[0].voices;
    assert!(
        steps.iter().any(|v| v.from == "C#" && v.to == "D"),
        "{steps:?}"
    );
}

#[test]
fn a_dominant_and_its_goal_are_spelled_on_the_same_side() {
    let keys = [
        "C", "G", "D", "A", "E", "B", "F", "Bb", "Eb", "Ab", "Db", "Am", "Em", "Bm", "F#m", "C#m",
        "Dm", "Gm", "Cm", "Fm", "Bbm",
    ];
    let keys = keys.map(|key| Some(key.parse().unwrap()));
    let (mut all, mut apart) = (0, Vec::new());
    for key in keys.into_iter().chain([None]) {
        for root in 48..60_u8 {
            let sounding = Sounding::of_midi(&[root, root + 3, root + 6, root + 11]);
            let naming = name_chord(
                &sounding,
                &Context {
                    key,
                    ..Context::default()
                },
            );
            for reading in naming
                .readings
                .iter()
                .filter(|r| r.kind == "rootless dominant")
            {
                let read = |text: &str| text.parse::<lidprop::harmony::Chord>().unwrap().root;
                let (dominant, goal) = (read(&reading.ascii), read(&reading.resolves_to[0].ascii));
                all += 1;
                if goal.fifths() != dominant.fifths() - 1 {
                    apart.push(format!(
                        "{} to {} in {key:?}",
                        reading.ascii, reading.resolves_to[0].ascii
                    ));
                }
            }
        }
    }
    assert!(
        all > 600 && apart.is_empty(),
        "{} of {all}: {apart:#?}",
        apart.len()
    );
}

#[test]
fn a_triad_over_guide_tones_is_spelled_as_a_triad() {
    let naming = named("A2 C#3 G3 Bb3 Eb4 G4", &Context::default());
    let upper = naming
        .readings
        .iter()
        .find(|r| r.ascii.starts_with('A'))
        .unwrap();
    let why = why_upper(upper);
    assert!(why.starts_with("the triad E♭ over"), "{why}");
}

#[test]
fn an_interval_stands_for_no_seventh_chord_unless_it_is_a_tritone() {
    assert!(named("C4 E4", &Context::default()).readings.is_empty());
    assert!(named("C4 G4", &Context::default()).readings.is_empty());
    assert_eq!(named("B3 F4", &Context::default()).readings.len(), 2);
}

#[test]
fn a_single_note_has_no_name_and_what_delays_is_told_by_the_degree_it_delays() {
    assert!(named("C3 C4", &Context::default()).names.is_empty());
    let naming = named("C4 Eb4 Gb4 B4", &Context::default());
    let degrees = &of_kind(&naming, "tonic diminished", "Cmaj7").degrees;
    assert_eq!(
        (degrees["Eb"].as_ref(), degrees["Gb"].as_ref()),
        ("b3", "b5")
    );
}

#[test]
fn notes_without_a_good_name_are_the_answer() {
    for notes in ["C4 C#4 D4", "C4 D4 E4", "C4 D4", "E4"] {
        let naming = named(&format!("{notes} {notes}"), &Context::default());
        assert_ne!(naming.verdict, Verdict::Named, "{notes}");
        assert!(!naming.notes.is_empty());
    }
    assert_eq!(
        name_chord(&Sounding::default(), &Context::default()).verdict,
        Verdict::NoGoodName
    );
}

#[test]
fn a_doubtful_note_is_left_out_where_the_name_is_better_without_it() {
    use lidprop::units::Share;
    let mut sounding = Sounding::of_midi(&[48, 52, 55, 59, 61]);
    sounding.notes[4].weight = Share::clamped(0.2);
    assert_eq!(
        name_chord(&sounding, &Context::default()).names[0].label,
        "C:maj7"
    );
    sounding.notes[4].weight = Share::ONE;
    assert_ne!(
        name_chord(&sounding, &Context::default()).names[0].label,
        "C:maj7"
    );
}

#[test]
fn a_third_that_was_nearly_heard_is_counted_on_and_not_shown() {
    use lidprop::units::Share;
    // C Bb A D: a C7 with ninth and thirteenth, if the E inside is there.
    let mut sounding = Sounding::of_midi(&[36, 46, 57, 62]);
    let without = name_chord(&sounding, &Context::default());
    sounding.possible = Sounding::of_midi(&[52]).notes;
    sounding.possible[0].weight = Share::clamped(0.45);
    let with = name_chord(&sounding, &Context::default());
    let share = |naming: &Naming| {
        naming
            .names
            .iter()
            .filter(|name| name.label.starts_with("C:") && name.label.contains("13"))
            .map(|name| name.score)
            .sum::<f32>()
    };
    assert!(share(&with) > share(&without) + 0.1, "{:?}", with.names);
    assert_eq!(with.notes, without.notes);
}

#[test]
fn theory_spells_by_letter_and_readable_as_players_read() {
    let notes = |symbol: &str, spelling| {
        let mut sounding = Typed::read(&[symbol]).unwrap().sounding;
        let root = sounding.typed.iter().flatten().copied().find(|s| {
            symbol.starts_with(&s.to_string())
                && s.to_string().len() + 1 >= symbol.find('7').unwrap()
        });
        sounding.typed = [None; 12];
        if let Some(root) = root {
            sounding.typed[usize::from(root.class().get())] = Some(root);
        }
        let context = Context {
            spelling,
            ..Context::default()
        };
        name_chord(&sounding, &context).names[0]
            .degrees
            .keys()
            .cloned()
            .collect::<Vec<_>>()
    };
    assert!(notes("F7#9", Spelling::Theory).contains(&"G#".into()));
    assert!(notes("F7#9", Spelling::Readable).contains(&"Ab".into()));
    assert!(notes("C#7", Spelling::Theory).contains(&"E#".into()));
    assert!(notes("C#7", Spelling::Readable).contains(&"F".into()));
    assert!(
        notes("Ebdim7", Spelling::Theory).contains(&"Bbb".into())
            || notes("Ebdim7", Spelling::Theory).contains(&"Dbb".into())
    );
}

#[test]
fn in_readable_mode_no_note_has_a_double_accidental_in_any_key() {
    for class in 0..12 {
        for body in ["dim7", "7b9", "7alt", "m7b5", "dim(maj7)", "maj7#11"] {
            for key in ["C", "Gb", "B", "Ebm", "G#m"] {
                let root =
                    lidprop::harmony::Spelled::usual(lidprop::harmony::PitchClass::new(class));
                let mut sounding = Typed::read(&[format!("{root}{body}")]).unwrap().sounding;
                sounding.typed = [None; 12];
                let context = Context {
                    key: Some(key.parse().unwrap()),
                    ..Context::default()
                };
                let naming = name_chord(&sounding, &context);
                let names = naming.names.iter().flat_map(|n| n.degrees.keys());
                for note in names {
                    assert!(note.len() <= 2, "{root}{body} in {key}: {note}");
                }
            }
        }
    }
}

/// The symbols as keys.
fn progression(symbols: &[&str]) -> Vec<Given> {
    let chord = |symbol: &&str| Given::Voiced(Typed::read(&[symbol]).unwrap().sounding);
    symbols.iter().map(chord).collect()
}

#[test]
fn secondary_and_substitute_dominants_and_related_twos_get_their_numerals() {
    let analysis = analyse_progression(&progression(&[
        "Cmaj7", "Em7b5", "A7b9", "Dm7", "Db7#11", "Cmaj7", "Fmaj7", "Fm6", "Cmaj7",
    ]));
    let numerals: Vec<&str> = analysis.chords.iter().map(|c| c.numeral.as_str()).collect();
    assert_eq!(
        numerals,
        [
            "Imaj7", "iiø7/ii", "V7/ii", "ii7", "subV7", "Imaj7", "IVmaj7", "iv6", "Imaj7"
        ]
    );
    assert_eq!(analysis.chords[7].function, "borrowed");
    assert_eq!(analysis.key.as_deref(), Some("C major"));
    assert!(
        analysis
            .cadences
            .iter()
            .any(|c| c.kind == "two-five-one" && c.to == "D minor")
    );
}

#[test]
fn a_two_five_one_is_found_though_its_dominant_is_only_a_rootless_stand_in() {
    // F dim(maj7) holds third, seventh, b9 and 13 of G7.
    let analysis = analyse_progression(&progression(&["Cmaj7", "Dm7", "Fdim(maj7)", "Cmaj7"]));
    assert_eq!(analysis.chords[2].stands_for.as_deref(), Some("G13b9"));
    assert_eq!(analysis.chords[2].numeral, "V7");
    let cadence = analysis
        .cadences
        .iter()
        .find(|c| c.kind == "two-five-one")
        .unwrap();
    assert!(cadence.stand_in && cadence.first == 1 && cadence.last == 3);
}

/// The cadences as `kind to key first-last`, with what is special about the dominant.
fn cadences(symbols: &[&str], key: Option<&str>) -> Vec<String> {
    let options = AnalysisOptions {
        key: key.map(|key| key.parse().unwrap()),
        ..AnalysisOptions::default()
    };
    let analysis = analyse_progression_with(&progression(symbols), &options);
    let text = |c: &Cadence| {
        let marks = [(c.stand_in, " stand-in"), (c.substitute, " substitute")];
        let marks: String = marks.iter().filter(|m| m.0).map(|m| m.1).collect();
        format!("{} to {} {}-{}{marks}", c.kind, c.to, c.first, c.last)
    };
    analysis.cadences.iter().map(text).collect()
}

#[test]
fn each_cadence_of_the_trade_is_told_by_its_name_its_goal_and_its_chords() {
    for (symbols, key, expected) in [
        // five-one without a two before it
        (
            &["Cmaj7", "Fmaj7", "G7", "Cmaj7"][..],
            "C",
            "authentic cadence to C major 2-3",
        ),
        (
            &["Am7", "E7", "Am6"],
            "Am",
            "authentic cadence to A minor 1-2",
        ),
        (
            &["Cmaj7", "Db7", "Cmaj7"],
            "C",
            "authentic cadence to C major 1-2 substitute",
        ),
        (
            &["Cmaj7", "Dm7", "Db7", "Cmaj7"],
            "C",
            "two-five-one to C major 1-3 substitute",
        ),
        (
            &["Cmaj7", "Dm7", "G7sus4", "Cmaj7"],
            "C",
            "two-five-one to C major 1-3",
        ),
        (
            &["Am6", "Bm7b5", "E7b9", "Am6"],
            "Am",
            "two-five-one to A minor 1-3",
        ),
        (
            &["Cmaj7", "Am7", "F6", "Cmaj7"],
            "C",
            "plagal cadence to C major 2-3",
        ),
        (
            &["Cmaj7", "Fm6", "Cmaj7"],
            "C",
            "plagal cadence to C major 1-2",
        ),
        (
            &["Cmaj7", "G7", "Am7"],
            "C",
            "deceptive cadence to A minor 1-2",
        ),
        (
            &["Cmaj7", "G7", "Abmaj7"],
            "C",
            "deceptive cadence to Ab major 1-2",
        ),
        (
            &["Cmaj7", "Fm7", "Bb7", "Cmaj7"],
            "C",
            "backdoor cadence to C major 1-3",
        ),
        (
            &["Cmaj7", "Bb7", "Cmaj7"],
            "C",
            "backdoor cadence to C major 1-2",
        ),
        // a two-five that is left before it arrives
        (
            &["Cmaj7", "Dm7", "G7", "Bbmaj7"],
            "C",
            "two-five to C major 1-2",
        ),
    ] {
        assert_eq!(cadences(symbols, Some(key)), [expected], "{symbols:?}");
    }
}

#[test]
fn what_closes_no_phrase_is_no_cadence() {
    for symbols in [
        // away from home, a dominant to itself, a chain that has not arrived, a tonic that rests
        &["Cmaj7", "Am7", "Fmaj7"][..],
        &["Cmaj7", "G7", "G7"],
        &["Cmaj7", "E7", "A7"],
        &["Cmaj7", "C6", "Cmaj7"],
        &["Cmaj7", "Fmaj7", "Em7"],
    ] {
        assert_eq!(cadences(symbols, Some("C")), [""; 0], "{symbols:?}");
    }
}

#[test]
fn what_a_chord_does_in_its_key_is_told_in_the_words_of_the_trade() {
    let mut wrong = Vec::new();
    // chords, which of them, key, numeral, word
    for (symbols, at, key, numeral, word) in [
        (&["Cmaj7", "Am7"][..], 0, "C", "Imaj7", "tonic"),
        (&["Cmaj7", "Am7"], 1, "C", "vi7", "tonic"),
        (&["Cmaj7", "Em7"], 1, "C", "iii7", "tonic"),
        (&["Am6", "Cmaj7"], 0, "Am", "i6", "tonic"),
        (&["Am6", "Cmaj7"], 1, "Am", "bIIImaj7", "tonic"),
        (&["Cmaj7", "Dm7"], 1, "C", "ii7", "subdominant"),
        (&["Cmaj7", "Fmaj7"], 1, "C", "IVmaj7", "subdominant"),
        (&["Am6", "Dm7"], 1, "Am", "iv7", "subdominant"),
        (&["Am6", "Bm7b5"], 1, "Am", "iiø7", "subdominant"),
        (&["Am6", "Fmaj7"], 1, "Am", "bVImaj7", "subdominant"),
        (&["Cmaj7", "G7"], 1, "C", "V7", "dominant"),
        (&["Cmaj7", "G7sus4"], 1, "C", "V7sus4", "dominant"),
        (&["Cmaj7", "Bm7b5"], 1, "C", "viiø7", "dominant"),
        (
            &["Cmaj7", "A7", "Dm7"],
            1,
            "C",
            "V7/ii",
            "secondary dominant",
        ),
        (&["Cmaj7", "D7", "G7"], 1, "C", "V7/V", "secondary dominant"),
        (
            &["Cmaj7", "E7", "Am7"],
            1,
            "C",
            "V7/vi",
            "secondary dominant",
        ),
        (
            &["Cmaj7", "Eb7", "Dm7"],
            1,
            "C",
            "subV7/ii",
            "substitute dominant",
        ),
        (
            &["Cmaj7", "Db7", "Cmaj7"],
            1,
            "C",
            "subV7",
            "substitute dominant",
        ),
        (
            &["Cmaj7", "Em7b5", "A7", "Dm7"],
            1,
            "C",
            "iiø7/ii",
            "related ii",
        ),
        (
            &["Cmaj7", "Bm7", "E7", "Am7"],
            1,
            "C",
            "ii7/vi",
            "related ii",
        ),
        (
            &["Cmaj7", "Bb7", "Cmaj7"],
            1,
            "C",
            "bVII7",
            "backdoor dominant",
        ),
        (&["C7", "F7", "C7"], 1, "C", "IV7", "blues dominant"),
        // third, fifth, seventh and flat ninth of the dominant
        (&["Cmaj7", "Bdim7", "Cmaj7"], 1, "C", "V7", "dominant"),
        (
            &["Dm7", "D#dim7", "Em7"],
            1,
            "C",
            "#ii°7",
            "passing diminished",
        ),
        (
            &["Cmaj7", "Cdim(maj7)", "Cmaj7"],
            1,
            "C",
            "i°(maj7)",
            "tonic diminished",
        ),
        (&["Cmaj7", "Fm7", "Cmaj7"], 1, "C", "iv7", "borrowed"),
        (&["Cmaj7", "Abmaj7", "Cmaj7"], 1, "C", "bVImaj7", "borrowed"),
        (&["Cmaj7", "Dm7b5", "G7"], 1, "C", "iiø7", "borrowed"),
    ] {
        let options = AnalysisOptions {
            key: Some(key.parse().unwrap()),
            ..AnalysisOptions::default()
        };
        let chord = &analyse_progression_with(&progression(symbols), &options).chords[at];
        let told = (chord.numeral.as_str(), chord.function.as_str());
        if told != (numeral, word) {
            wrong.push(format!(
                "{} of {symbols:?} in {key}: {told:?}, not {numeral}, {word}",
                symbols[at]
            ));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn a_modulation_is_followed_and_named_as_a_local_key() {
    let symbols = [
        "Cmaj7", "Am7", "Dm7", "G7", "Cmaj7", "Bbm7", "Eb7", "Abmaj7", "Fm7", "Bbm7", "Eb7",
        "Abmaj7", "Dbmaj7", "Abmaj7",
    ];
    let analysis = analyse_progression(&progression(&symbols));
    assert_eq!(analysis.chords[2].key, "C major");
    assert!(
        analysis.chords[7..].iter().all(|c| c.key == "Ab major"),
        "{:?}",
        analysis.chords.iter().map(|c| &c.key).collect::<Vec<_>>()
    );
    assert!(
        analysis
            .chords
            .iter()
            .all(|c| (0.0..=1.0).contains(&c.key_confidence))
    );
}

#[test]
fn a_chord_by_itself_is_named_in_a_progression_as_it_is_alone() {
    for notes in [
        "F3 A3 Bb3 D4",
        "C3 D3 F3 G3",
        "E4 G4 C#5",
        "D4 F#4 A4 D#5",
        "A3 C#4 D#4 F#4 B4",
        "F3 Bb3 Eb4 Ab4",
        "B3 E4 F4 A4",
    ] {
        let sounding = Typed::read(&[notes]).unwrap().sounding;
        let alone = name_chord(&sounding, &Context::default());
        let placed = analyse_progression(&[Given::Heard(sounding)]);
        assert_eq!(placed.chords[0].naming.names, alone.names, "{notes}");
        assert_eq!(placed.chords[0].stands_for, None);
    }
}

#[test]
fn minor_keys_are_heard_as_minor_and_a_stated_key_holds() {
    let minor = analyse_progression(&progression(&[
        "Cm6", "Dm7b5", "G7b9", "Cm6", "Fm7", "Dm7b5", "G7b9", "Cm6",
    ]));
    assert_eq!(minor.key.as_deref(), Some("C minor"));
    assert_eq!(minor.chords[1].numeral, "iiø7");
    let options = AnalysisOptions {
        key: Some("F".parse().unwrap()),
        ..AnalysisOptions::default()
    };
    let stated = analyse_progression_with(&progression(&["Gm7", "C7"]), &options);
    assert_eq!(stated.chords[1].numeral, "V7");
    assert!(stated.chords.iter().all(|c| c.key == "F major"));
}

#[test]
fn a_progression_of_symbols_gets_its_numerals_keys_and_cadences() {
    let symbols = [
        "Cmaj7",
        "Em7b5",
        "A7b9",
        "Dm7",
        "Fdim(maj7)",
        "Cmaj7",
        "Fm7",
        "Bb7",
        "Cmaj7",
        "Bbm7",
        "Eb7",
        "Abmaj7",
        "Dbmaj7",
        "Abmaj7",
    ];
    let given = symbols.map(|symbol| Given::Stated(symbol.parse().unwrap()));
    let told = analyse_progression(&given);
    let numerals: Vec<&str> = told.chords.iter().map(|c| c.numeral.as_str()).collect();
    assert_eq!(
        numerals[..9],
        [
            "Imaj7", "iiø7/ii", "V7/ii", "ii7", "V7", "Imaj7", "iv7", "bVII7", "Imaj7"
        ]
    );
    assert_eq!(
        numerals[9..],
        ["ii7", "V7", "Imaj7", "IVmaj7", "Imaj7"],
        "in the new key"
    );
    // F dim(maj7) holds third, seventh, flat ninth and thirteenth of G7
    assert_eq!(told.chords[4].stands_for.as_deref(), Some("G13b9"));
    assert!(told.chords[..9].iter().all(|c| c.key == "C major"));
    assert!(told.chords[11..].iter().all(|c| c.key == "Ab major"));
    assert_eq!(told.key.as_deref(), Some("C major"));
    let cadences: Vec<(&str, &str, usize, bool)> = told
        .cadences
        .iter()
        .map(|c| (c.kind.as_str(), c.to.as_str(), c.first, c.stand_in))
        .collect();
    for expected in [
        ("two-five-one", "D minor", 1, false),
        ("two-five-one", "C major", 3, true),
        ("backdoor cadence", "C major", 6, false),
        ("two-five-one", "Ab major", 9, false),
    ] {
        assert!(cadences.contains(&expected), "{expected:?}: {cadences:?}");
    }
    // a symbol is its own only name, as it was written
    for (chord, symbol) in told.chords.iter().zip(symbols) {
        let names: Vec<&str> = chord
            .naming
            .names
            .iter()
            .map(|n| n.ascii.as_str())
            .collect();
        assert_eq!(names, [symbol]);
    }
}

#[test]
fn sounds_voicings_and_symbols_may_stand_in_one_progression() {
    let typed = |symbol: &str| Typed::read(&[symbol]).unwrap().sounding;
    let mixed = [
        Given::Stated("Cmaj7".parse().unwrap()),
        Given::Heard(Sounding::of_midi(&[50, 60, 65, 69])),
        Given::Voiced(typed("G7")),
        Given::Voiced(Sounding::default()),
        Given::Stated("Cmaj7".parse().unwrap()),
    ];
    let progression = lidprop::harmony::interpret(&mixed, &AnalysisOptions::default());
    let numerals: Vec<Option<String>> = (0..5)
        .map(|at| {
            progression
                .in_place(at)
                .map(|place| place.numeral.to_string())
        })
        .collect();
    let told = |numeral: &str| Some(numeral.to_owned());
    assert_eq!(
        numerals,
        [told("Imaj7"), told("ii7"), told("V7"), None, told("Imaj7")],
        "where nothing sounds there is no place"
    );
    let cadence = progression.cadences()[0];
    assert_eq!((cadence.first, cadence.last), (1, 4));
}

#[test]
fn the_notes_of_a_chord_stand_in_the_order_of_its_degrees() {
    let told = |notes: &str, ascii: &str| {
        let naming = lidprop::harmony::name_chord(
            &Typed::read(&[notes]).unwrap().sounding,
            &Context::default(),
        );
        let reading = naming
            .readings
            .iter()
            .find(|r| r.chord.symbol(lidprop::harmony::Style::Ascii) == ascii)
            .unwrap();
        let pair = |(note, degree): &(_, _)| format!("{degree} {note}");
        reading
            .degrees
            .iter()
            .map(pair)
            .collect::<Vec<_>>()
            .join(", ")
    };
    assert_eq!(told("D4 F4 Ab4 Db5", "Bb7#9"), "3 D, 5 F, b7 Ab, #9 Db");
    assert_eq!(told("D4 F4 Ab4 Db5", "E13b9"), "3 G#, b7 D, b9 F, 13 C#");
    assert_eq!(told("C4 Eb4 Gb4 B4", "Cmaj7"), "1 C, b3 Eb, b5 Gb, 7 B");
}
