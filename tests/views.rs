//! Views as a person has read them once: the printed chart and the live screen, at several widths.

#[path = "support/broken_chords.rs"]
mod broken_chords;
#[path = "support/evening.rs"]
mod evening;
#[path = "support/snapshot.rs"]
mod snapshot;

use broken_chords::{BARS, BEAT, broken_bar};
use evening::{at, chords, frame, note, notes, span, state};
use lidprop::audio::level::Meter;
use lidprop::chart::marked::Marked;
use lidprop::chart::recording::{Heard, HeardSoFar, Wording};
use lidprop::harmony::Style;
use lidprop::listener::{Certainty, Event, NoteSpan, StruckKey};
use lidprop::publish::{WriteOptions, format};
use lidprop::units::{Dbfs, Hertz, MidiNote, SampleRate, Share};
use lidprop::view::chart::print_chart;
use lidprop::view::ink::{Ink, Palette};
use lidprop::view::live::{Live, Press, Shapes, draw};
use lidprop::view::played::print_played;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use snapshot::assert_snapshot;

fn evening() -> Heard {
    let mut heard = HeardSoFar::new("evening.flac", Wording::default());
    chords()
        .into_iter()
        .for_each(|span| heard.keep(Event::Chord(span)));
    heard.warn(
        "the sound is clipped in 3 places; record again with less input level or further away",
    );
    heard.end(evening::at(70.5), Some(Hertz::new(436.4).unwrap()))
}

fn chart(columns: u16) -> String {
    let mut text = Vec::new();
    print_chart(&evening(), Ink::plain(columns), &mut text).unwrap();
    String::from_utf8(text).unwrap()
}

#[test]
fn the_chart_reads_the_same_as_it_was_read() {
    for columns in [56, 100, 160] {
        assert_snapshot(&format!("chart-{columns}"), &chart(columns));
    }
}

#[test]
fn the_chart_stays_within_its_columns() {
    for columns in [56, 72, 90, 100, 160] {
        for line in chart(columns)
            .lines()
            .filter(|line| !line.starts_with("  note:"))
        {
            assert!(
                line.chars().count() <= usize::from(columns),
                "{columns} columns: {line}"
            );
        }
    }
}

#[test]
fn weights_change_nothing_but_escape_sequences() {
    let mut text = Vec::new();
    print_chart(
        &evening(),
        Ink {
            weights: true,
            ..Ink::plain(100)
        },
        &mut text,
    )
    .unwrap();
    let text = String::from_utf8(text).unwrap();
    assert!(text.contains("\x1b[1m"));
    let plain = ["\x1b[0m", "\x1b[1m", "\x1b[2m"]
        .iter()
        .fold(text, |text, escape| text.replace(escape, ""));
    assert_eq!(plain, chart(100));
}

/// Odds of names are harmony's business and move with its calibration: a layout is the same whatever they are.
fn without_odds(screen: &str) -> String {
    let mut words: Vec<&str> = screen.split(' ').collect();
    for place in 1..words.len() {
        if words[place].starts_with('%') && words[place - 1].parse::<u8>().is_ok() {
            words[place - 1] = "nn";
        }
    }
    words.join(" ")
}

/// The screen while the last chord of the evening sounds and has settled.
fn live() -> Live {
    with_the_evening(Live::new(
        "Upright room, USB microphone",
        Wording::default(),
    ))
}

fn with_the_evening(mut live: Live) -> Live {
    let mut chords = chords();
    let last = chords.pop().unwrap();
    chords
        .into_iter()
        .for_each(|span| _ = live.hear(&[Event::Chord(span)]));
    live.hear(&[frame(64.3, 0.05, &[50, 65, 68, 73])]);
    live.hear(&[state(64.2, 64.35, last.notes.clone(), false)]);
    live.hear(&[state(64.2, 64.6, last.notes, true)]);
    live.hear(&[frame(64.7, 0.05, &[50, 65, 68, 73])]);
    live
}

fn screen(live: &Live, columns: u16, rows: u16) -> String {
    let area = Rect::new(0, 0, columns, rows);
    let mut buffer = Buffer::empty(area);
    draw(live, Palette::PLAIN, area, &mut buffer);
    let row = |row: u16| -> String {
        let cells: String = (0..columns)
            .map(|column| buffer[(column, row)].symbol())
            .collect();
        format!("{}\n", cells.trim_end())
    };
    (0..rows).map(row).collect()
}

#[test]
fn stand_ins_stand_below_the_answer_where_they_are_asked_for() {
    let line = |live: &Live| {
        let text = screen(live, 100, 30);
        let found = text.lines().find(|line| line.starts_with("stand-ins "));
        found.map(str::to_owned)
    };
    assert_eq!(line(&live()), None);
    let asked = Live::new("Upright room", Wording::default()).with_stand_ins(true);
    let told = line(&with_the_evening(asked)).expect("a line of stand-ins");
    // Ddim(maj7) is a dominant on E without its root
    assert!(told.contains(", ") && told.contains("E7(♭9)"), "{told}");
}

#[test]
fn the_screen_reads_the_same_as_it_was_read_at_five_sizes() {
    for (columns, rows) in [(20, 5), (40, 12), (80, 24), (120, 40), (200, 50)] {
        assert_snapshot(
            &format!("live-{columns}x{rows}"),
            &without_odds(&screen(&live(), columns, rows)),
        );
    }
}

#[test]
fn the_screen_with_a_small_name_reads_the_same_as_it_was_read() {
    let live = live().with_large_letters(false);
    assert_snapshot("live-small-80x24", &without_odds(&screen(&live, 80, 24)));
}

/// The evening chord by chord, as it is on the screen.
fn in_turn() -> Live {
    let mut live = Live::new("Upright room, USB microphone", Wording::default());
    for span in chords() {
        let start = span.start.seconds(SampleRate::INTERNAL).get();
        let keys: Vec<u8> = span.notes.iter().map(|note| note.midi.get()).collect();
        live.hear(&[state(start, start, Vec::new(), true)]);
        live.hear(&[state(start, start + 0.3, span.notes.clone(), true)]);
        live.hear(&[frame(start + 0.4, 0.05, &keys)]);
    }
    live
}

#[test]
fn the_chords_before_stand_beside_the_name_at_once() {
    let live = in_turn();
    let text = screen(&live, 120, 40);
    assert_snapshot("live-before-120x40", &without_odds(&text));
    let before = text.lines().find(|line| line.contains("before Am7"));
    assert!(before.is_some(), "{text}");
    for name in ["E7(♯9)", "Cmaj7", "Fdim(maj7)", "Dm7"] {
        assert!(text.contains(name), "{name} in\n{text}");
    }
    let narrow = screen(&live, 40, 12);
    assert!(narrow.contains("before Am7 E7(♯9) Cmaj7"), "{narrow}");
}

#[test]
fn the_name_stays_marked_as_let_go_until_the_next_chord() {
    let mut live = live();
    live.hear(&[state(66.0, 66.0, Vec::new(), true)]);
    for second in 66..100 {
        live.hear(&[frame(f64::from(second), 0.0, &[])]);
    }
    let text = screen(&live, 40, 12);
    assert!(text.contains(". let go"), "{text}");
    live.press(Press::Large);
    assert!(screen(&live, 40, 12).contains("Ddim(maj7)   . let go"));
    live.hear(&[state(101.0, 101.3, notes(&[36, 52, 59]), true)]);
    live.hear(&[frame(101.4, 0.05, &[36, 52, 59])]);
    let text = screen(&live, 40, 12);
    assert!(
        !text.contains("let go") && text.contains("before Ddim(maj7)"),
        "{text}"
    );
}

#[test]
fn the_name_is_the_last_to_go() {
    let small = live().with_large_letters(false);
    for (columns, rows) in [(20, 1), (20, 3), (20, 5), (40, 12)] {
        let text = screen(&small, columns, rows);
        assert!(text.starts_with("Ddim(maj7) =") || rows > 5, "{text}");
        assert!(text.contains("Ddim(maj7)"), "{columns}x{rows}:\n{text}");
    }
    // large wherever there is room
    for (columns, rows) in [(80, 24), (100, 30), (120, 40), (200, 50)] {
        let text = screen(&live(), columns, rows);
        assert!(
            !text.contains("Ddim(maj7)   ="),
            "{columns}x{rows}:\n{text}"
        );
        assert!(
            text.contains("= settled") && text.contains("notes (D2)"),
            "{text}"
        );
        let empty = text.lines().filter(|line| line.is_empty()).count();
        assert!(
            3 * empty < usize::from(rows),
            "{columns}x{rows}: {empty} rows\n{text}"
        );
    }
}

#[test]
fn a_message_is_wrapped_and_never_cut() {
    let sentence = "Default Audio Device delivers nothing but zeros: it is muted, or the system \
                    denies access to it; unmute it, or allow access in the system's settings";
    let mut live = live();
    live.trouble(Some(sentence.into()));
    for (columns, rows) in [(20, 12), (40, 12), (60, 20), (80, 24)] {
        let text = screen(&live, columns, rows);
        let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(
            words.contains(&format!("! {sentence}")),
            "{columns}x{rows}:\n{text}"
        );
    }
    live.trouble(None);
    let folder = "/a/folder/whose/name/is/longer/than/a/row/of/the/screen";
    live.notice(format!("kept: {folder}"));
    let rows: Vec<String> = screen(&live, 40, 12).lines().map(str::to_owned).collect();
    assert!(
        rows.concat().replace("kept: ", "kept:").contains(folder),
        "{rows:?}"
    );
}

#[test]
fn a_lost_input_is_shown_as_lost_and_not_as_its_last_chord() {
    let mut live = live();
    live.trouble(Some(
        "Upright room is lost: unplugged; waiting for it to come back".into(),
    ));
    let text = screen(&live, 100, 30);
    assert_snapshot("live-lost-100x30", &without_odds(&text));
    assert!(
        text.contains("! input lost; this was the last chord"),
        "{text}"
    );
    assert!(text.contains("level none: the input is lost"), "{text}");
    assert!(!text.contains("= settled") && !text.contains("░"), "{text}");
    live.listen_to("Upright room");
    assert!(screen(&live, 100, 30).contains("= settled"));
}

#[test]
fn a_hidden_answer_shows_neither_name_nor_notes_until_asked() {
    let mut live = live().with_guess_first(true).with_large_letters(false);
    let hidden = screen(&live, 100, 30);
    assert_snapshot("live-guess-first", &hidden);
    for tell_tale in ["Ddim", "D3", "Ab4", "rootless", "█"] {
        assert!(
            !hidden.contains(tell_tale),
            "{tell_tale} gives it away:\n{hidden}"
        );
    }
    assert_eq!(live.press(Press::Show), None);
    let shown = screen(&live, 100, 30);
    assert!(shown.contains("Ab4") && shown.contains("Ddim"), "{shown}");
    live.hear(&[state(66.5, 66.9, notes(&[36, 52, 59]), true)]);
    assert!(
        !screen(&live, 100, 30).contains("C2"),
        "the next chord is hidden again"
    );
}

#[test]
fn a_held_screen_stays_while_the_listening_goes_on() {
    let mut live = live().with_large_letters(false);
    live.press(Press::Pause);
    live.hear(&[state(66.5, 66.9, notes(&[36, 52, 59]), true)]);
    live.hear(&[frame(67.0, 0.05, &[36, 52, 59])]);
    let held = screen(&live, 100, 30);
    assert!(
        held.contains("PAUSED") && held.contains("Ab4") && !held.contains("C2"),
        "{held}"
    );
    live.press(Press::Pause);
    let on = screen(&live, 100, 30);
    assert!(!on.contains("PAUSED") && on.contains("C2"), "{on}");
}

#[test]
fn trouble_clipping_and_lost_samples_are_told_in_words() {
    let mut live = live();
    live.trouble(Some(
        "Upright room is lost: unplugged; waiting for it to come back".into(),
    ));
    live.measure(Meter {
        dropped: 512,
        clipped: 2,
    });
    let text = screen(&live, 100, 30);
    assert!(text.contains("! Upright room is lost"), "{text}");
    live.trouble(None);
    let text = screen(&live, 100, 30);
    for words in ["CLIPPED", "512 samples lost"] {
        assert!(text.contains(words), "{words} in\n{text}");
    }
    // what is wrong is whole also where there is little room
    let text = screen(&live, 40, 12);
    assert!(text.contains("CLIPPED: less input level"), "{text}");
    live.press(Press::Pause);
    live.press(Press::GuessFirst);
    let text = screen(&live, 40, 24);
    let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
    let flags = "PAUSED: the screen stands still, listening goes on guess first";
    assert!(words.contains(flags), "{text}");
    let text = screen(&live, 20, 5);
    let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        words.contains("guess first: space shows the answer"),
        "{text}"
    );
    live.press(Press::GuessFirst);
    live.press(Press::Pause);
    live.listen_to("Upright room");
    assert!(!screen(&live, 100, 30).contains("is lost"));
    let mut quiet = Live::new("Upright room", Wording::default());
    quiet.hear(&[state(1.0, 1.2, notes(&[60, 64, 67]), true)]);
    quiet.hear(&[frame(1.3, 0.000_5, &[60, 64, 67])]);
    assert!(screen(&quiet, 100, 30).contains("too quiet"));
}

#[test]
fn certainty_can_be_told_without_colour() {
    let mut live = Live::new("Upright room", Wording::default());
    let chord = vec![
        note(48, 0.9, Certainty::Inferred),
        note(60, 0.9, Certainty::Likely),
        note(64, 0.9, Certainty::Sure),
    ];
    live.hear(&[state(1.0, 1.2, chord, true)]);
    let text = screen(&live, 100, 30);
    for mark in ["(C3)", "C4?", "E4", "░", "▒", "█"] {
        assert!(text.contains(mark), "{mark} in\n{text}");
    }
}

#[test]
fn the_marks_of_doubtful_notes_are_explained_where_there_is_room() {
    let likely = "A4? likely   (A4) perhaps only ringing along";
    assert!(screen(&live(), 100, 30).contains(likely));
    let octave = vec![
        note(50, 0.9, Certainty::Sure),
        note(57, 0.9, Certainty::Sure),
        note(62, 0.4, Certainty::Likely),
    ];
    let mut open = live();
    open.hear(&[state(66.5, 66.9, octave, true)]);
    let text = screen(&open, 100, 30);
    assert!(text.contains("D4~"), "{text}");
    assert!(text.contains("A4~ its octave cannot be told"), "{text}");
    assert!(!text.contains(likely), "{text}");
    let mut sure = live();
    sure.hear(&[state(66.5, 66.9, notes(&[36, 52, 59]), true)]);
    let text = screen(&sure, 100, 30);
    assert!(!text.contains(likely) && !text.contains("A4~"), "{text}");
    let mut hidden = live();
    hidden.press(Press::GuessFirst);
    assert!(!screen(&hidden, 100, 30).contains(likely));
}

#[test]
fn symbols_follow_the_chosen_style_and_key_at_once() {
    let mut live = live().with_large_letters(false);
    let before = screen(&live, 100, 30);
    live.press(Press::NextStyle);
    let signs = screen(&live, 100, 30);
    assert!(
        before.contains("Ddim(maj7)") && signs.contains("D°(△7)"),
        "{before}{signs}"
    );
    live.press(Press::KeyByFifths(1));
    assert!(screen(&live, 100, 30).contains("key C major"));
    live.press(Press::KeyByFifths(-1));
    assert!(screen(&live, 100, 30).contains("key F major"));
    live.press(Press::OtherMode);
    assert!(screen(&live, 100, 30).contains("key F minor"));
    live.press(Press::NoKey);
    assert!(!screen(&live, 100, 30).contains("key F"));
}

#[test]
fn a_mark_is_that_of_the_chord_on_the_screen_from_its_first_moment_on() {
    let mut live = live();
    live.press(Press::Mark);
    let text = screen(&live, 200, 50);
    assert!(text.contains("marked Ddim(maj7) at 1:04.2"), "{text}");
    assert!(!text.contains('*'), "not the chord before: {text}");
    live.hear(&[Event::Chord(chords().pop().unwrap())]);
    let text = screen(&live, 200, 50);
    assert!(text.contains("1:04.2 *Ddim(maj7)"), "{text}");
    assert_eq!(text.matches('*').count(), 1, "{text}");
    // the chord before ends, and is told, while the next one is on the screen already
    live.hear(&[state(66.5, 66.7, notes(&[36, 52, 59]), true)]);
    live.hear(&[frame(66.8, 0.05, &[36, 52, 59])]);
    live.press(Press::Mark);
    let starts: Vec<f64> = live
        .marks()
        .iter()
        .map(|mark| mark.at.seconds(SampleRate::INTERNAL).get())
        .collect();
    assert!(
        (starts[0] - 64.2).abs() < 0.1 && (starts[1] - 66.5).abs() < 0.1,
        "{starts:?}"
    );
}

#[test]
fn a_word_can_be_typed_to_the_last_mark() {
    let mut live = live();
    live.press(Press::Mark);
    live.press(Press::Word);
    "bass? x"
        .chars()
        .for_each(|letter| _ = live.press(Press::Letter(letter)));
    live.press(Press::Rub);
    let text = screen(&live, 60, 20);
    assert!(text.contains("to the mark: bass? _"), "{text}");
    live.press(Press::WordDone { kept: true });
    assert_eq!(live.marks()[0].word.as_deref(), Some("bass?"));
    live.press(Press::Word);
    live.press(Press::Letter('y'));
    live.press(Press::WordDone { kept: false });
    assert_eq!(live.marks()[0].word.as_deref(), Some("bass?"), "left out");
    // the same chord marked twice is one mark
    live.press(Press::Mark);
    assert_eq!(live.marks().len(), 1);
}

#[test]
fn every_key_is_told_on_request_at_any_usual_size() {
    let mut live = live().with_large_letters(false);
    live.press(Press::Help);
    for (columns, rows) in [(40, 12), (60, 20), (80, 24)] {
        let text = screen(&live, columns, rows);
        for words in [
            "quit",
            "mark this chord",
            "a word for",
            "pause",
            "keep",
            "guess",
            "style",
            "fifths",
            "minor",
            "no key",
        ] {
            assert!(text.contains(words), "{words} in\n{text}");
        }
    }
    let smallest = screen(&live, 20, 5);
    for words in [
        "q quit",
        "? back",
        "m mark",
        "w word",
        "p pause",
        "k keep",
        "g guess",
        "space show",
        "l big",
        "s style",
        "←→ key",
        "↓ mode",
        "0 none",
    ] {
        assert!(smallest.contains(words), "{words} in\n{smallest}");
    }
    live.press(Press::Help);
    assert!(screen(&live, 80, 24).contains("Ddim"));
}

/// The evening with two marks, as it is written when `hear` is left.
fn marked_evening() -> Heard {
    let mut heard = evening();
    let mark = |seconds, word: Option<&str>| Marked {
        at: at(seconds),
        word: word.map(str::to_owned),
    };
    heard.marks = vec![mark(4.25, Some("which bass?")), mark(9.12, None)];
    heard
}

#[test]
fn marks_stand_in_the_chart_with_their_chords_and_words() {
    let mut text = Vec::new();
    print_chart(&marked_evening(), Ink::plain(100), &mut text).unwrap();
    let text = String::from_utf8(text).unwrap();
    assert!(text.contains(" *0:04.3  "), "{text}");
    assert!(
        text.contains(" *0:09.1  ") && !text.contains("*0:07"),
        "{text}"
    );
    assert!(
        text.contains("marked  *0:04.3 Cmaj7: which bass?\n"),
        "{text}"
    );
    assert!(text.contains("          *0:09.1 Am7\n"), "{text}");
}

#[test]
fn marks_stand_in_the_page_and_the_document() {
    let written = |name: &str| {
        let mut text = Vec::new();
        let format = format(name).unwrap();
        (format.write)(&marked_evening(), &WriteOptions::default(), &mut text).unwrap();
        String::from_utf8(text).unwrap()
    };
    let page = written("page");
    assert!(
        page.contains("<h2>Marked</h2>") && page.contains(": which bass?"),
        "{page}"
    );
    let document: serde_json::Value = serde_json::from_str(&written("json")).unwrap();
    assert_eq!(
        document["marks"],
        serde_json::json!([{"at": 4.25, "word": "which bass?"}, {"at": 9.12}])
    );
}

#[test]
fn every_size_can_be_drawn() {
    let small = live().with_large_letters(false);
    for columns in [0, 1, 2, 7, 20, 59, 60, 89, 90, 177, 178, 300] {
        for rows in [0, 1, 2, 5, 9, 14, 24, 80] {
            screen(&small, columns, rows);
            screen(&live(), columns, rows);
        }
    }
}

#[test]
fn an_ascii_screen_holds_nothing_else_at_any_size_large_or_small() {
    let naming = Wording {
        style: Style::Ascii,
        ..Wording::default()
    };
    for large in [false, true] {
        let mut live = Live::new("Upright room", naming)
            .with_shapes(Shapes::ASCII)
            .with_large_letters(large);
        let mut chords = chords();
        let last = chords.pop().unwrap();
        for span in chords {
            live.hear(&[Event::Chord(span)]);
        }
        live.hear(&[frame(64.3, 0.05, &[50, 65, 68, 73])]);
        live.hear(&[state(64.2, 64.6, last.notes, true)]);
        live.hear(&[frame(64.7, 0.05, &[50, 65, 68, 73])]);
        for (columns, rows) in [(60, 20), (100, 30), (200, 50)] {
            let text = screen(&live, columns, rows);
            assert!(text.is_ascii(), "{columns}x{rows}:\n{text}");
            assert!(text.contains("D3") && text.contains("= settled"), "{text}");
        }
    }
}

#[test]
fn labels_cover_the_recording_without_a_gap_and_say_where_no_chord_sounds() {
    let labels = format("labels").expect("labels can be written");
    let mut text = Vec::new();
    (labels.write)(&evening(), &WriteOptions::default(), &mut text).unwrap();
    let text = String::from_utf8(text).unwrap();
    let lines: Vec<Vec<&str>> = text
        .lines()
        .map(|line| line.split('\t').collect())
        .collect();
    assert!(lines.iter().all(|line| line.len() == 3), "{text}");
    assert_eq!(
        (lines[0][0], lines[lines.len() - 1][1]),
        ("0.000", "70.500")
    );
    for pair in lines.windows(2) {
        assert_eq!(pair[0][1], pair[1][0], "{text}");
    }
    assert_eq!(lines[0], ["0.000", "0.420", "N"]);
    assert_eq!(lines[1], ["0.420", "2.310", "D:min7"]);
    let quiet: Vec<&str> = lines
        .iter()
        .filter(|line| line[2] == "N")
        .map(|line| line[0])
        .collect();
    let expected = [
        "0.000", "2.310", "4.200", "6.900", "9.000", "11.400", "66.000",
    ];
    assert_eq!(quiet, expected, "{text}");
    assert_eq!(lines.len(), 6 + expected.len());
}

/// Keys with their starts and ends: a bass, a broken chord in eighths, a tune in half notes above.
fn broken(start: f64, bars: usize) -> Vec<(u8, f64, f64)> {
    let mut keys = Vec::new();
    for bar in 0..bars {
        let (_, chord) = BARS[bar % 4];
        let from = start + (bar * 4) as f64 * BEAT;
        let played = broken_bar(bar, from).into_iter();
        keys.extend(played.map(|(key, at, lasts)| (key, at, at + lasts)));
        for (half, place) in [3, 2].into_iter().enumerate() {
            let at = from + half as f64 * 2.0 * BEAT;
            keys.push((chord[place] + 12, at, at + 1.9 * BEAT));
        }
    }
    keys
}

/// Chords that are held for study, and then playing over the same chords.
fn study_and_playing() -> Heard {
    let mut heard = HeardSoFar::new("practice.flac", Wording::default());
    let mut keys = Vec::new();
    for nth in 0..8 {
        let (bass, chord) = BARS[nth % 4];
        let (start, end) = (1.0 + 2.6 * nth as f64, 3.5 + 2.6 * nth as f64);
        let mut all = vec![bass];
        all.extend(chord);
        keys.extend(all.iter().map(|&key| (key, start, end)));
        heard.keep(Event::Chord(span(start, end, &all)));
    }
    let begins = 1.0 + 8.0 * 2.6;
    for bar in 0..12 {
        let from = begins + (bar * 4) as f64 * BEAT;
        let (bass, chord) = BARS[bar % 4];
        heard.keep(Event::Chord(span(
            from,
            from + 0.6,
            &[bass, chord[0], chord[3] + 12],
        )));
    }
    keys.extend(broken(begins, 12));
    for (key, start, end) in keys {
        heard.keep(Event::Note(NoteSpan {
            note: note(key, 0.6, Certainty::Sure),
            start: at(start),
            end: at(end),
            level: Dbfs::new(-30.0),
        }));
    }
    heard.end(at(begins + 48.0 * BEAT + 0.5), Some(Hertz::CONCERT_A4))
}

fn chart_of_playing(columns: u16) -> String {
    let heard = study_and_playing();
    let played = heard.performance().expect("part of it is played");
    let mut text = Vec::new();
    print_played(&heard, &played, Ink::plain(columns), &mut text).unwrap();
    String::from_utf8(text).unwrap()
}

#[test]
fn what_is_held_and_what_is_played_are_each_shown_as_they_should() {
    for columns in [72, 100] {
        let text = chart_of_playing(columns);
        let (held, played) = text
            .split_once("  0:21.8  |")
            .unwrap_or_else(|| panic!("bars begin where playing does: {text}"));
        // each chord twice, as keys
        assert_eq!(held.matches("G2 Bb3 D4 F4 A4").count(), 2, "{text}");
        assert!(
            !held.contains('|') && held.contains("ii7 in F major"),
            "{text}"
        );
        let rows: Vec<&str> = played.lines().collect();
        let bars = |row: &str| row.split_whitespace().collect::<Vec<_>>().join(" ");
        assert_eq!(bars(rows[0]), "Gm9 | C13 | Fmaj9 | F6/9 |", "{text}");
        assert_eq!(bars(rows[1]), "ii7 V7 Imaj7 I6", "{text}");
        assert_eq!(bars(rows[2]), "G2 Bb A C2 Bb A F2 A G F2 A G", "{text}");
        assert_eq!(bars(rows[3]), "A F A E G E G D", "{text}");
        for line in text.lines() {
            assert!(line.chars().count() <= usize::from(columns), "{line}");
        }
    }
}

#[test]
fn the_live_screen_shows_the_harmony_so_far_below_what_is_held() {
    let mut events: Vec<(f64, Event)> = Vec::new();
    for (key, start, end) in broken(1.0, 10) {
        let strike = StruckKey {
            key: MidiNote::new(key).unwrap(),
            at: at(start),
            probability: Share::ONE,
            level: Dbfs::from_mean_square(0.01),
        };
        events.push((start + 0.16, Event::Struck(strike)));
        let ended = NoteSpan {
            note: note(key, 0.6, Certainty::Sure),
            start: at(start),
            end: at(end),
            level: Dbfs::new(-30.0),
        };
        events.push((end + 0.16, Event::Note(ended)));
    }
    events.extend((0..240).map(|tenth| {
        let now = f64::from(tenth) / 10.0;
        (now, frame(now, 0.05, &[]))
    }));
    events.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut live = Live::new("Upright room", Wording::default());
    for (_, event) in events {
        live.hear(&[event]);
    }
    let text = screen(&live, 100, 30);
    let line = text
        .lines()
        .find(|line| line.starts_with("harmony"))
        .unwrap_or_else(|| panic!("{text}"));
    assert!(
        line.contains("Gm9  C13") && line.contains("in F major"),
        "{line}"
    );
}
