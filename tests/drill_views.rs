//! The screen of a drill and the tables of the logbook, as a person has read them once.

#[path = "support/snapshot.rs"]
mod snapshot;

use lidprop::harmony::Style;
use lidprop::listener::{Certainty, ChordNote, ChordState, Event};
use lidprop::practice::mark::{Judged, JudgedKey};
use lidprop::practice::tally::{Item, Overview, SlipCount, Tally};
use lidprop::practice::{
    Course, Exercise, KeyRange, Mark, MarkRules, Material, Order, Outcome, Slip, Target,
};
use lidprop::units::{MidiNote, SamplePos, SampleSpan, Share};
use lidprop::view::drill::{DrillScreen, Showing, draw};
use lidprop::view::ink::{Ink, Palette};
use lidprop::view::logbook::print_overview;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use snapshot::assert_snapshot;
use std::collections::BTreeMap;

fn note(midi: u8) -> MidiNote {
    MidiNote::new(midi).unwrap()
}

fn targets() -> Vec<Target> {
    let exercise = Exercise {
        material: Material::read(&["dim(maj7)".to_owned()]).unwrap(),
        form: None,
        order: Order::Fourths,
        start: None,
        range: KeyRange::PIANO,
    };
    exercise.round(0, &[]).unwrap()
}

/// A slip on C, then F is asked for and half of it sounds.
fn screen(showing: Showing, ascii: bool, columns: u16, rows: u16, hints: usize) -> String {
    let targets = targets();
    let mut course = Course::new(targets.clone(), MarkRules::default(), None);
    course.skip();
    let style = if ascii { Style::Ascii } else { Style::Letters };
    let mut screen = DrillScreen::new(
        "dim(maj7), root position, fourths".to_owned(),
        showing,
        style,
        None,
    );
    screen.ascii = ascii;
    screen.outcomes = vec![None; 12];
    screen.outcomes[0] = Some(Outcome::Slip);
    let heard = [53, 56].map(|midi| ChordNote {
        midi: note(midi),
        strength: Share::ONE,
        confidence: Share::ONE,
        certainty: Certainty::Sure,
    });
    screen.hear(&[Event::Sounding(ChordState {
        start: SamplePos::START,
        at: SamplePos::START,
        notes: heard.to_vec(),
        possible: Vec::new(),
        settled: true,
    })]);
    (0..hints).for_each(|_| screen.hint(1));
    let key = |midi, judged| JudgedKey {
        key: note(midi),
        wanted: true,
        log_odds: 3.0,
        judged,
    };
    let mark = Mark {
        outcome: Outcome::Slip,
        slips: vec![Slip::Missing(note(51))],
        remarks: Vec::new(),
        keys: vec![key(48, Judged::There), key(51, Judged::Missing)],
        after: SampleSpan::ZERO,
    };
    let area = Rect::new(0, 0, columns, rows);
    let mut buffer = Buffer::empty(area);
    draw(
        &screen,
        &course,
        Some((&targets[0], &mark)),
        Palette::PLAIN,
        area,
        &mut buffer,
    );
    let row = |y| {
        (0..columns)
            .map(|x| buffer[(x, y)].symbol())
            .collect::<String>()
    };
    (0..rows)
        .map(|y| format!("{}\n", row(y).trim_end()))
        .collect()
}

#[test]
fn the_screen_reads_the_same_as_it_was_read() {
    for (name, showing, ascii, columns, rows) in [
        ("drill-100x30", Showing::Symbol, false, 100, 30),
        ("drill-60x20", Showing::Keyboard, false, 60, 20),
        ("drill-ascii-100x30", Showing::Degrees, true, 100, 30),
    ] {
        assert_snapshot(name, &screen(showing, ascii, columns, rows, 0));
    }
}

#[test]
fn what_is_hidden_stays_so_until_hints_tell_it_degree_by_degree() {
    let hidden = |hints| screen(Showing::Hidden, true, 60, 12, hints);
    assert!(
        !hidden(0).contains("Fdim") && !hidden(0).contains("[F"),
        "{}",
        hidden(0)
    );
    assert!(
        hidden(2).contains("1 b3") && !hidden(2).contains("b5"),
        "{}",
        hidden(2)
    );
    assert!(hidden(5).contains("Fdim(maj7)"), "{}", hidden(5));
}

#[test]
fn a_mark_is_a_sign_and_a_word_and_not_colour_alone() {
    let plain = screen(Showing::Symbol, true, 80, 24, 0);
    assert!(
        plain.contains("x SLIP") && plain.contains("Eb3 is missing"),
        "{plain}"
    );
    assert!(
        plain.contains(" Cx "),
        "the round tells it as well: {plain}"
    );
    assert!(plain.is_ascii(), "{plain}");
}

#[test]
fn no_screen_is_too_small() {
    for (columns, rows) in [(1, 1), (20, 4), (30, 8), (300, 90)] {
        screen(Showing::Symbol, false, columns, rows, 0);
    }
}

#[test]
fn the_logbook_reads_the_same_as_it_was_read() {
    let tally = |right, slip, unsure| Tally {
        right,
        slip,
        unsure,
        took_sum: 2.5 * f64::from(right),
        took_count: right,
    };
    let item = |root, due_day| Item {
        chord_type: "dim(maj7)".to_owned(),
        root,
        form: "root position".to_owned(),
        tally: tally(3, 1, 0),
        run: 2,
        due_day,
        recall: Some(0.8),
    };
    let overview = Overview {
        player: "Ada".to_owned(),
        total: tally(40, 9, 2),
        keys: BTreeMap::from([(0, tally(9, 1, 0)), (6, tally(3, 5, 1))]),
        chord_types: BTreeMap::from([("dim(maj7)".to_owned(), tally(40, 9, 2))]),
        items: vec![
            item(6, Some(995)),
            item(1, Some(1000)),
            item(0, Some(1001)),
            item(5, Some(1012)),
            item(7, None),
        ],
        slips: vec![SlipCount {
            chord_type: "dim(maj7)".to_owned(),
            root: 6,
            word: "missing".to_owned(),
            count: 4,
        }],
        days: vec![
            (950, [3, 3, 0]),
            (985, [10, 2, 1]),
            (999, [12, 2, 0]),
            (1000, [15, 2, 1]),
        ],
        streak_days: 2,
    };
    let mut text = Vec::new();
    print_overview(&overview, 1000, Ink::plain(100), &mut text).unwrap();
    assert_snapshot("logbook", &String::from_utf8(text).unwrap());
}
