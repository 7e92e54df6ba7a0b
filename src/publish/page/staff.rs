//! A chord on a grand staff, as SVG.
//!
//! Input: the notes of the right and of the left hand under their names. Output: markup. Units: a staff space is `SPACE`; a diatonic step half of it.
//! Method: whole notes without a key signature, so that every accidental is written. Of two notes a step apart the upper stands to the right (Gould, Behind Bars, 2011, ch. 3);
//! accidentals fill columns to the left from the top note down, each in the first column where nothing stands within three spaces. The signs stand once in a page
//! ([`super::glyphs`]) and are referred to. Limits: notes of one hand far out of its staff get many ledger lines, as they would in print.

use super::glyphs;
use crate::harmony::NamedNote;
use crate::publish::musicxml::octave;
use maud::{Markup, PreEscaped, html};
use std::fmt::Write;

/// A staff space.
const SPACE: i32 = 8;
/// Half of it: from a line to the space above.
const STEP: i32 = SPACE / 2;
/// Where the upper line of the upper staff lies, and that of the lower one.
const TREBLE: i32 = 0;
const BASS: i32 = 10 * SPACE;
/// Diatonic steps from C-1 to the upper line of each staff: F5 and A3.
const TREBLE_TOP: i32 = 7 * 6 + 3;
const BASS_TOP: i32 = 7 * 4 + 5;
/// Where heads stand, how wide one is, and where a staff ends.
const HEAD_X: i32 = 88;
const HEAD: i32 = 14;
const WIDTH: i32 = 132;
/// The first column of accidentals, counted from the head, and how far apart they are.
const ACCIDENTAL: i32 = 11;
const COLUMN: i32 = 9;
/// Accidentals in one column are this many steps apart at least.
const APART: i32 = 6;
/// What is seen above and below the staves.
const MARGIN: i32 = 2 * SPACE + STEP;

/// Letters as steps above C.
fn step(note: NamedNote) -> i32 {
    let letter = "CDEFGAB".find(note.name.letter()).unwrap_or_default() as i32;
    7 * (i32::from(octave(note)) + 1) + letter
}

/// The accidental of a note among the others of its chord: a natural only where one of them bears the same letter altered.
fn sign(note: NamedNote, chord: &[Vec<NamedNote>; 2]) -> Option<&'static str> {
    let altered = |other: &NamedNote| {
        other.name.letter() == note.name.letter() && other.name.accidentals() != 0
    };
    match note.name.accidentals() {
        ..=-2 => Some("ff"),
        -1 => Some("f"),
        1 => Some("s"),
        2.. => Some("x"),
        0 => chord.iter().flatten().any(altered).then_some("n"),
    }
}

/// The signs, to stand once in a page.
pub fn symbols() -> Markup {
    // A thousand units an em, four spaces an em.
    let scale = f64::from(SPACE) / 250.0;
    let glyph = |id: &str, path: &str| html! { symbol id=(id) overflow="visible" { path transform=(format!("scale({scale} -{scale})")) d=(path) {} } };
    let lines: String = [TREBLE, BASS]
        .iter()
        .flat_map(|top| (0..5).map(move |line| format!("M12 {}H{WIDTH}", top + line * SPACE)))
        .collect();
    let height = BASS + 4 * SPACE;
    let brace = f64::from(height) / 1000.0;
    html! {
        (glyph("w", glyphs::WHOLE_NOTE)) (glyph("f", glyphs::FLAT)) (glyph("s", glyphs::SHARP)) (glyph("n", glyphs::NATURAL)) (glyph("x", glyphs::DOUBLE_SHARP)) (glyph("ff", glyphs::DOUBLE_FLAT))
        (glyph("gc", glyphs::G_CLEF)) (glyph("fc", glyphs::F_CLEF))
        symbol id="gs" overflow="visible" {
            path class="ln" d=(format!("{lines}M12 0V{height}M{WIDTH} 0V{height}")) {}
            path transform=(format!("translate(0 {height}) scale({:.3} -{brace:.3})", 0.05)) d=(glyphs::BRACE) {}
            (PreEscaped(format!("<use href=\"#gc\" x=\"17\" y=\"{}\"/><use href=\"#fc\" x=\"17\" y=\"{}\"/>", TREBLE + 3 * SPACE, BASS + SPACE)))
        }
    }
}

/// Where one head stands.
struct Head {
    step: i32,
    y: i32,
    x: i32,
    sign: Option<&'static str>,
}

/// A picture of these notes. A keyboard stands beside it and says the same in words, so it is hidden from screen readers.
pub fn picture(hands: &[Vec<NamedNote>; 2]) -> Markup {
    let mut marks = String::new();
    let (mut top, mut bottom) = (TREBLE, BASS + 4 * SPACE);
    for (notes, staff_y, staff_top) in
        [(&hands[0], TREBLE, TREBLE_TOP), (&hands[1], BASS, BASS_TOP)]
    {
        let mut heads = heads(notes, hands, staff_y, staff_top);
        if let (Some(low), Some(high)) = (heads.first(), heads.last()) {
            top = top.min(high.y - STEP);
            bottom = bottom.max(low.y + STEP);
        }
        // Writing to a text cannot fail.
        let ledgers = ledger_lines(&heads, staff_y);
        if !ledgers.is_empty() {
            let _ = write!(marks, "<path class=\"ln\" d=\"{ledgers}\"/>");
        }
        for head in &heads {
            let _ = write!(
                marks,
                "<use href=\"#w\" x=\"{}\" y=\"{}\"/>",
                head.x, head.y
            );
        }
        heads.retain(|head| head.sign.is_some());
        let mut columns: Vec<Vec<i32>> = Vec::new();
        for head in heads.iter().rev() {
            let free =
                |column: &Vec<i32>| column.iter().all(|step| (step - head.step).abs() >= APART);
            let at = columns.iter().position(free).unwrap_or(columns.len());
            if at == columns.len() {
                columns.push(Vec::new());
            }
            columns[at].push(head.step);
            let x = HEAD_X - ACCIDENTAL - COLUMN * at as i32;
            let _ = write!(
                marks,
                "<use href=\"#{}\" x=\"{x}\" y=\"{}\"/>",
                head.sign.unwrap_or_default(),
                head.y
            );
        }
    }
    let (top, bottom) = (
        top.min(-MARGIN) - 2,
        bottom.max(BASS + 4 * SPACE + MARGIN) + 2,
    );
    html! {
        svg.g aria-hidden="true" viewBox=(format!("-2 {top} {} {}", WIDTH + 4, bottom - top)) {
            (PreEscaped("<use href=\"#gs\"/>")) (PreEscaped(marks))
        }
    }
}

fn heads(
    notes: &[NamedNote],
    chord: &[Vec<NamedNote>; 2],
    staff_y: i32,
    staff_top: i32,
) -> Vec<Head> {
    let mut heads: Vec<Head> = Vec::with_capacity(notes.len());
    for &note in notes {
        let step = step(note);
        let beside = heads
            .last()
            .is_some_and(|below| step - below.step <= 1 && below.x == HEAD_X);
        heads.push(Head {
            step,
            y: staff_y + (staff_top - step) * STEP,
            x: HEAD_X + if beside { HEAD } else { 0 },
            sign: sign(note, chord),
        });
    }
    heads
}

fn ledger_lines(heads: &[Head], staff_y: i32) -> String {
    let mut lines = String::new();
    let ends = |beyond: &dyn Fn(&Head) -> bool| {
        let right = heads
            .iter()
            .filter(|head| beyond(head))
            .map(|head| head.x + HEAD)
            .max();
        right.map(|right| right + 3)
    };
    let bottom = staff_y + 4 * SPACE;
    let (highest, lowest) = (
        heads.iter().map(|head| head.y).min().unwrap_or(staff_y),
        heads.iter().map(|head| head.y).max().unwrap_or(bottom),
    );
    let mut line = |y: i32, right: Option<i32>| {
        if let Some(right) = right {
            // Writing to a text cannot fail.
            let _ = write!(lines, "M{} {y}H{right}", HEAD_X - 3);
        }
    };
    let mut y = staff_y - SPACE;
    while y >= highest {
        line(y, ends(&|head| head.y <= y));
        y -= SPACE;
    }
    let mut y = bottom + SPACE;
    while y <= lowest {
        line(y, ends(&|head| head.y >= y));
        y += SPACE;
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::MidiNote;

    fn note(midi: u8, name: &str) -> NamedNote {
        NamedNote {
            midi: MidiNote::new(midi).unwrap(),
            name: name.parse().unwrap(),
        }
    }

    #[test]
    fn notes_lie_on_their_lines() {
        assert_eq!(step(note(77, "F")), TREBLE_TOP);
        assert_eq!(step(note(57, "A")), BASS_TOP);
        let alone = [vec![note(60, "C")], Vec::new()];
        let middle_c = heads(&[note(60, "C")], &alone, TREBLE, TREBLE_TOP);
        assert_eq!(middle_c[0].y, TREBLE + 5 * SPACE);
        assert_eq!(
            ledger_lines(&middle_c, TREBLE),
            format!("M{} {}H{}", HEAD_X - 3, 5 * SPACE, HEAD_X + HEAD + 3)
        );
        let in_bass = heads(&[note(60, "C")], &alone, BASS, BASS_TOP);
        assert_eq!(in_bass[0].y, BASS - SPACE);
    }

    #[test]
    fn of_two_notes_a_step_apart_the_upper_stands_beside() {
        let x: Vec<i32> = heads(
            &[note(64, "E"), note(65, "F"), note(67, "G"), note(71, "B")],
            &[Vec::new(), Vec::new()],
            TREBLE,
            TREBLE_TOP,
        )
        .iter()
        .map(|head| head.x)
        .collect();
        assert_eq!(x, [HEAD_X, HEAD_X + HEAD, HEAD_X, HEAD_X]);
    }

    #[test]
    fn a_natural_is_written_beside_its_altered_letter_and_nowhere_else() {
        let chord = [vec![note(60, "C")], vec![note(49, "C#"), note(52, "E")]];
        assert_eq!(sign(chord[0][0], &chord), Some("n"));
        assert_eq!(sign(chord[1][0], &chord), Some("s"));
        assert_eq!(sign(chord[1][1], &chord), None);
    }
}
