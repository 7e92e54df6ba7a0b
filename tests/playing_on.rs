//! Playing that goes on: held chords amid playing, and the harmony so far over hours.

#[path = "support/broken_chords.rs"]
mod broken_chords;
mod support;

use broken_chords::{BARS, BEAT, broken_bar};
use lidprop::answer::Answers;
use lidprop::harmony::{AnalysisOptions, Style};
use lidprop::listener::{Listener, ListenerOptions};
use lidprop::playing::so_far::{HarmonySoFar, KEPT, MOST_NOTES, SETTLES, WINDOW};
use lidprop::playing::texture::{Texture, TextureRule, passages};
use lidprop::playing::{PlayedNote, Stated, Stretch};
use lidprop::units::{MidiNote, Seconds, Share};

fn note(key: u8, start: f64, lasts: f64) -> PlayedNote {
    PlayedNote {
        midi: MidiNote::new(key).unwrap(),
        start: Seconds::new(start).unwrap(),
        end: Seconds::new(start + lasts).unwrap(),
        strength: Share::clamped(0.6),
        confidence: Share::ONE,
    }
}

/// Bars of a bass and a broken chord in eighths, from `start` on.
fn broken(start: f64, bars: usize) -> Vec<PlayedNote> {
    let mut notes = Vec::new();
    for bar in 0..bars {
        let played = broken_bar(bar, start + (bar * 4) as f64 * BEAT);
        notes.extend(
            played
                .into_iter()
                .map(|(key, at, lasts)| note(key, at, lasts)),
        );
    }
    notes
}

/// Chords of four keys, each held for two seconds and a half.
fn held(start: f64, chords: usize) -> Vec<PlayedNote> {
    let chord = |nth: usize| {
        let (bass, keys) = BARS[nth % 4];
        let at = start + nth as f64 * 2.6;
        let all = std::iter::once(bass).chain(keys);
        all.enumerate()
            .map(move |(i, key)| note(key, at + 0.006 * i as f64, 2.5))
    };
    (0..chords).flat_map(chord).collect()
}

fn sorted(mut notes: Vec<PlayedNote>) -> Vec<PlayedNote> {
    notes.sort_by(|a, b| a.start.get().total_cmp(&b.start.get()));
    notes
}

#[test]
fn held_chords_followed_by_playing_are_two_passages_that_meet_where_it_begins() {
    let study = held(1.0, 12);
    let begins = 1.0 + 12.0 * 2.6;
    let ends = begins + 16.0 * 4.0 * BEAT;
    let notes = sorted([study, broken(begins, 16), held(ends, 12)].concat());
    let found = passages(&notes, &TextureRule::default());
    let textures: Vec<Texture> = found.iter().map(|p| p.texture).collect();
    assert_eq!(textures, [Texture::Held, Texture::Played, Texture::Held]);
    for (passage, begins) in found[1..].iter().zip([begins, ends]) {
        let first = notes[passage.notes.start].start.get();
        assert!(
            (first - begins).abs() < 1.3,
            "begins at {first}, not {begins}"
        );
    }
    assert_eq!(found[0].notes.start, 0);
    assert_eq!(found[2].notes.end, notes.len());
    assert!(found.windows(2).all(|p| p[0].notes.end == p[1].notes.start));
}

#[test]
fn a_short_flourish_amid_held_chords_is_no_passage() {
    let flourish: Vec<PlayedNote> = (0..12)
        .map(|i| note(60 + 2 * (i % 6), 14.0 + 0.2 * f64::from(i), 0.2))
        .collect();
    let notes = sorted([held(1.0, 5), flourish, held(17.0, 10)].concat());
    let found = passages(&notes, &TextureRule::default());
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].texture, Texture::Held);
}

/// Plays notes as the listener tells them: a strike some time after it, its note when it has ended, a frame every 23 ms.
fn play(
    so_far: &mut HarmonySoFar,
    notes: &[PlayedNote],
    from: f64,
    to: f64,
    mut look: impl FnMut(&HarmonySoFar),
) {
    const TOLD: f64 = 0.16;
    let mut strikes = notes.iter().peekable();
    let mut ended: Vec<&PlayedNote> = notes.iter().collect();
    ended.sort_by(|a, b| a.end.get().total_cmp(&b.end.get()));
    let mut ends = ended.into_iter().peekable();
    let mut now = from;
    while now < to {
        while let Some(n) = strikes.next_if(|n| n.start.get() + TOLD <= now) {
            so_far.struck(n.midi, n.start, n.confidence);
        }
        while let Some(n) = ends.next_if(|n| n.end.get() + TOLD <= now) {
            so_far.ended(*n);
        }
        so_far.reach(Seconds::new(now).unwrap());
        look(so_far);
        now += 0.0232;
    }
}

fn symbol(stretch: &Stretch) -> Option<String> {
    stretch.chords.first().map(|c| c.chord.symbol(Style::Ascii))
}

#[test]
fn the_harmony_so_far_settles_and_what_has_settled_stays() {
    let notes = broken(1.0, 16);
    let mut so_far = HarmonySoFar::new(Stated::default());
    // start and name of what has settled, as it was told first
    let mut told: Vec<(f64, Option<String>)> = Vec::new();
    play(&mut so_far, &notes, 0.0, 45.0, |so_far| {
        let now: Vec<_> = so_far
            .settled()
            .map(|s| (s.start.get(), symbol(s)))
            .collect();
        assert!(now.starts_with(&told), "{told:?} became {now:?}");
        told = now;
    });
    let roots: Vec<char> = told
        .iter()
        .flat_map(|t| t.1.clone())
        .map(|name| name.chars().next().unwrap())
        .collect();
    assert!(told.len() >= 9, "{told:?}");
    let last: String = roots[roots.len() - 6..].iter().collect();
    assert!("GCFFGCFFGCFF".contains(&last), "{told:?}");
    assert_eq!(
        so_far.key().map(|k| k.to_string()).as_deref(),
        Some("F major")
    );
}

#[test]
fn a_piece_that_begins_with_broken_chords_is_read_within_its_second_bar() {
    let notes = broken(1.0, 4);
    let mut so_far = HarmonySoFar::new(Stated::default());
    let mut first = None;
    play(&mut so_far, &notes, 0.0, 12.0, |so_far| {
        if let (None, Some(open)) = (&first, so_far.open().first()) {
            first = Some((so_far.notes_kept(), symbol(open)));
        }
    });
    let (struck, name) = first.unwrap();
    assert!(struck <= 12, "{struck}");
    assert!(
        name.as_deref().is_some_and(|n| n.starts_with("Gm")),
        "{name:?}"
    );
}

#[test]
fn held_chords_have_no_harmony_beside_them() {
    let mut so_far = HarmonySoFar::new(Stated::default());
    play(&mut so_far, &held(1.0, 12), 0.0, 34.0, |so_far| {
        assert!(so_far.open().is_empty() && so_far.settled().next().is_none());
    });
}

#[test]
fn hours_of_playing_are_kept_within_bounds_and_read_as_at_the_beginning() {
    let mut so_far = HarmonySoFar::new(Stated::default());
    let spell = |hour: f64| {
        let begins = hour * 3600.0 + 1.0;
        (begins, broken(begins, 10))
    };
    let mut first = None;
    for hour in 0..5 {
        let (begins, notes) = spell(f64::from(hour));
        play(
            &mut so_far,
            &notes,
            begins - 1.0,
            begins + 24.0 + SETTLES + WINDOW,
            |so_far| {
                assert!(so_far.notes_kept() <= notes.len() && so_far.settled().count() <= KEPT);
            },
        );
        let names: Vec<_> = so_far
            .settled()
            .filter(|s| s.start.get() >= begins - 0.5)
            .filter_map(symbol)
            .collect();
        let first = first.get_or_insert_with(|| names.clone());
        assert_eq!(&names, first, "hour {hour}");
        assert_eq!(so_far.notes_kept(), 0, "what is over is not kept");
    }
}

#[test]
fn more_notes_than_hands_can_strike_do_not_grow_memory() {
    let mut so_far = HarmonySoFar::new(Stated::default());
    for i in 0..5000_u32 {
        let key = MidiNote::new(40 + (i * 7 % 40) as u8).unwrap();
        so_far.struck(key, Seconds::new(f64::from(i) * 0.001).unwrap(), Share::ONE);
        assert!(so_far.notes_kept() <= MOST_NOTES);
    }
}

#[test]
fn the_harmony_so_far_is_the_same_in_whatever_blocks_the_sound_comes() {
    let sound = support::samples_of("rolled-ballad.flac");
    let told = |block: usize| {
        let mut listener = Listener::new(ListenerOptions::default());
        let mut answers = Answers::new(AnalysisOptions::default());
        let (mut events, mut told) = (Vec::new(), Vec::new());
        for samples in sound.chunks(block) {
            listener.push(samples, &mut events);
            for event in events.drain(..) {
                let before = answers.harmony().readings();
                answers.hear(&event);
                let harmony = answers.harmony();
                if harmony.readings() > before {
                    told.push((
                        harmony.open().to_vec(),
                        harmony.settled().cloned().collect::<Vec<_>>(),
                    ));
                }
            }
            answers.catch_up();
        }
        told
    };
    let whole = told(4096);
    assert!(
        whole
            .iter()
            .any(|(open, settled)| !open.is_empty() && !settled.is_empty())
    );
    for block in [331, 30_000] {
        assert!(told(block) == whole, "in blocks of {block}");
    }
}
