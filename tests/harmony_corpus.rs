//! The evaluation corpus by its true notes: names against the accepted labels, keys and stand-ins of the progressions.
//!
//! Reads `truth.json` from the folder named by `LIDPROP_CORPUS`, else `../shared/corpus`; says so and skips where there is none.

#[path = "support/told.rs"]
mod told;

use lidprop::harmony::chord::label;
use lidprop::harmony::{Context, Given, PitchClass, Sounding};
use serde_json::Value;
use told::{analyse_progression, name_chord};

fn clips(kind: &str) -> Option<Vec<Value>> {
    let folder = std::env::var("LIDPROP_CORPUS").unwrap_or_else(|_| "../shared/corpus".to_owned());
    let path = std::path::Path::new(&folder).join("truth.json");
    let Ok(text) = std::fs::read_to_string(&path) else {
        eprintln!(
            "SKIPPED: no evaluation corpus at {}; set LIDPROP_CORPUS to its folder",
            path.display()
        );
        return None;
    };
    let truth: Value = serde_json::from_str(&text).expect("truth.json is JSON");
    let clips = truth["clips"].as_array().expect("truth.json has clips");
    Some(
        clips
            .iter()
            .filter(|c| c["kind"] == kind)
            .cloned()
            .collect(),
    )
}

fn midi(chord: &Value) -> Vec<u8> {
    chord["midi"]
        .as_array()
        .unwrap()
        .iter()
        .map(|m| m.as_u64().unwrap() as u8)
        .collect()
}

/// Root and pitch classes of a label.
fn meaning(text: &str) -> (PitchClass, u16) {
    let chord = label::read(text)
        .unwrap_or_else(|e| panic!("{e}"))
        .expect("a chord, not N");
    (chord.root.class(), chord.pitches().bits())
}

#[test]
fn true_notes_of_every_voicing_get_an_accepted_name_first() {
    let Some(clips) = clips("voicing") else {
        return;
    };
    let (mut first, mut third) = (0, 0);
    // Calibration: what the first name's score promises and how often it is accepted, in ten bins.
    let mut bins = [(0.0, 0.0, 0); 10];
    for clip in &clips {
        let chord = &clip["chords"][0];
        let accepted: Vec<_> = chord["accepted"]
            .as_array()
            .unwrap()
            .iter()
            .map(|l| meaning(l.as_str().unwrap()))
            .collect();
        let naming = name_chord(&Sounding::of_midi(&midi(chord)), &Context::default());
        let right: Vec<bool> = naming
            .names
            .iter()
            .map(|n| accepted.contains(&meaning(&n.label)))
            .collect();
        first += usize::from(right.first() == Some(&true));
        third += usize::from(right.iter().take(3).any(|&r| r));
        let said = naming.names[0].score;
        let bin = &mut bins[((10.0 * said) as usize).min(9)];
        bin.0 += f64::from(said);
        bin.1 += f64::from(u8::from(right[0]));
        bin.2 += 1;
        if right.first() != Some(&true) {
            let shown: Vec<_> = naming
                .names
                .iter()
                .map(|n| format!("{} {} {:.2}", n.ascii, n.label, n.score))
                .collect();
            println!(
                "{} {:?} {:?} -> {shown:?}",
                chord["label"], clip["style"], naming.notes
            );
        }
    }
    let share = |n: usize| n as f64 / clips.len() as f64;
    println!("first {:.3}, among three {:.3}", share(first), share(third));
    let error: f64 = bins
        .iter()
        .map(|(said, true_share, _)| (said - true_share).abs())
        .sum::<f64>()
        / clips.len() as f64;
    for (said, true_share, n) in bins.iter().filter(|b| b.2 > 0) {
        println!(
            "  {n:3} clips: first name said to be {:.2} likely, accepted {:.2}",
            said / f64::from(*n),
            true_share / f64::from(*n)
        );
    }
    println!("expected calibration error {error:.3}");
    assert!(error <= 0.10, "expected calibration error {error}");
    assert!(share(first) >= 0.985, "first {}", share(first));
    assert!(share(third) >= 0.995, "among three {}", share(third));
}

#[test]
fn local_keys_and_stand_ins_of_the_progressions_are_found() {
    let Some(clips) = clips("tune") else { return };
    let (mut keys, mut right_keys, mut stand_ins, mut found) = (0, 0, 0, 0);
    let mut named_right = 0;
    for clip in &clips {
        let truth = clip["chords"].as_array().unwrap();
        let chords: Vec<_> = truth
            .iter()
            .map(|c| Given::Heard(Sounding::of_midi(&midi(c))))
            .collect();
        let analysis = analyse_progression(&chords);
        let expected = format!("{} major", clip["key"].as_str().unwrap());
        println!("{} {} {:?}", clip["file"], expected, analysis.key);
        for (i, chord) in analysis.chords.iter().enumerate() {
            keys += 1;
            right_keys += usize::from(chord.key == expected);
            let accepted = truth[i]["accepted"].as_array().unwrap();
            let first = meaning(&chord.naming.names[0].label);
            let accepts = |label: &Value| meaning(label.as_str().unwrap()) == first;
            named_right += usize::from(accepted.iter().any(accepts));
            let text = truth[i]["label"].as_str().unwrap();
            println!(
                "  {text:14} {:10} {:.2} {:12} {:22} {:?} {}",
                chord.key,
                chord.key_confidence,
                chord.numeral,
                chord.function,
                chord.stands_for,
                chord.naming.names[0].ascii
            );
            let Some(next) = truth.get(i + 1) else {
                continue;
            };
            if !text.ends_with(":dim(7)") {
                continue;
            }
            let (root, _) = meaning(text);
            let (next, _) = meaning(next["label"].as_str().unwrap());
            // The dominant a whole step above or a major third below, whichever falls a fifth; over the same root the tonic is delayed.
            let ok = match next.above(root) {
                7 => chord.stands_for.as_deref().is_some_and(|s| {
                    s.parse::<lidprop::harmony::Chord>().unwrap().root.class() == root.up(2)
                }),
                1 => chord.stands_for.as_deref().is_some_and(|s| {
                    s.parse::<lidprop::harmony::Chord>().unwrap().root.class() == root.up(8)
                }),
                0 => chord.naming.readings[0].kind == "tonic diminished",
                _ => continue,
            };
            stand_ins += 1;
            found += usize::from(ok);
            if !ok {
                println!("     ^ MISSED");
            }
        }
        for c in &analysis.cadences {
            println!("    {c:?}");
        }
    }
    let share = |n: usize, of: usize| n as f64 / of as f64;
    println!(
        "named right {:.3}, local key {:.3} of {keys}; stand-ins {:.3} of {stand_ins}",
        share(named_right, keys),
        share(right_keys, keys),
        share(found, stand_ins)
    );
    assert!(share(named_right, keys) >= 0.95);
    assert!(share(right_keys, keys) >= 0.85);
    assert!(share(found, stand_ins) >= 0.95);
}
