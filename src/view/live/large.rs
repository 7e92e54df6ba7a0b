//! Large letters drawn from block characters.
//!
//! Input: a short text and the room there is. Output: rows of block characters.
//! Units: columns and rows. Method: the public-domain 8 by 8 bitmaps of the `font8x8` crate, drawn at the largest of
//! three sizes that fits: two columns and a row a pixel, half blocks, quarter blocks. In ASCII, at one or two columns a pixel.
//! Limits: a letter the bitmaps do not have is drawn as a question mark; music signs are drawn as their ASCII likeness.

use font8x8::{BASIC_FONTS, GREEK_FONTS, LATIN_FONTS, UnicodeFonts};

/// Pixels of a letter, each way.
const PIXELS: usize = 8;

/// One bitmap a letter: a row a byte, the lowest bit at the left.
type Bitmap = [u8; PIXELS];

/// How pixels become characters.
#[derive(Debug, Clone, Copy)]
struct Scale {
    /// Columns and rows of a letter.
    columns: usize,
    rows: usize,
    draw: fn(&Bitmap, usize, &mut String),
}

/// From large to small.
const SCALES: [Scale; 3] = [
    Scale {
        columns: 16,
        rows: 8,
        draw: whole_blocks,
    },
    Scale {
        columns: 8,
        rows: 4,
        draw: half_blocks,
    },
    Scale {
        columns: 4,
        rows: 4,
        draw: quarter_blocks,
    },
];

/// The same from ASCII alone.
const ASCII_SCALES: [Scale; 2] = [
    Scale {
        columns: 16,
        rows: 8,
        draw: |bitmap, row, line| letters(bitmap, row, ["##", "  "], line),
    },
    Scale {
        columns: 8,
        rows: 8,
        draw: |bitmap, row, line| letters(bitmap, row, ["#", " "], line),
    },
];

/// Draws `text` as large as `columns` and `rows` allow, from ASCII or from blocks and parts of blocks; `None` where not even the
/// smallest letters fit.
pub fn large(text: &str, columns: usize, rows: usize, part_blocks: bool) -> Option<Vec<String>> {
    let bitmaps: Vec<Bitmap> = text.chars().map(bitmap).collect();
    let scales = if part_blocks {
        &SCALES[..]
    } else {
        &ASCII_SCALES[..]
    };
    let scale = scales
        .iter()
        .find(|scale| bitmaps.len() * scale.columns <= columns && scale.rows <= rows)?;
    let row = |row| {
        let mut line = String::new();
        for bitmap in &bitmaps {
            (scale.draw)(bitmap, row, &mut line);
        }
        line.trim_end().to_owned()
    };
    Some((0..scale.rows).map(row).collect())
}

fn bitmap(letter: char) -> Bitmap {
    let drawn = match letter {
        '♭' => 'b',
        '♯' => '#',
        '△' => 'Δ',
        '–' | '−' => '-',
        '𝄫' => 'b',
        other => other,
    };
    BASIC_FONTS
        .get(drawn)
        .or_else(|| LATIN_FONTS.get(drawn))
        .or_else(|| GREEK_FONTS.get(drawn))
        .or_else(|| BASIC_FONTS.get('?'))
        .unwrap_or_default()
}

fn lit(bitmap: &Bitmap, row: usize, column: usize) -> bool {
    bitmap[row] >> column & 1 == 1
}

fn whole_blocks(bitmap: &Bitmap, row: usize, line: &mut String) {
    letters(bitmap, row, ["██", "  "], line);
}

/// A pixel as the first of `shapes` where it is lit, else as the second.
fn letters(bitmap: &Bitmap, row: usize, [on, off]: [&str; 2], line: &mut String) {
    for column in 0..PIXELS {
        line.push_str(if lit(bitmap, row, column) { on } else { off });
    }
}

fn half_blocks(bitmap: &Bitmap, row: usize, line: &mut String) {
    for column in 0..PIXELS {
        let upper = lit(bitmap, 2 * row, column);
        let lower = lit(bitmap, 2 * row + 1, column);
        line.push(match (upper, lower) {
            (false, false) => ' ',
            (true, false) => '▀',
            (false, true) => '▄',
            (true, true) => '█',
        });
    }
}

/// By quarter: upper left 1, upper right 2, lower left 4, lower right 8.
const QUARTERS: [char; 16] = [
    ' ', '▘', '▝', '▀', '▖', '▌', '▞', '▛', '▗', '▚', '▐', '▜', '▄', '▙', '▟', '█',
];

fn quarter_blocks(bitmap: &Bitmap, row: usize, line: &mut String) {
    for column in (0..PIXELS).step_by(2) {
        let quarter =
            |down: usize, right: usize| usize::from(lit(bitmap, 2 * row + down, column + right));
        let index = quarter(0, 0) + 2 * quarter(0, 1) + 4 * quarter(1, 0) + 8 * quarter(1, 1);
        line.push(QUARTERS[index]);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn letters_shrink_to_the_room_there_is() {
        assert_eq!(large("Dm7", 60, 8, true).unwrap().len(), 8);
        assert_eq!(large("Dm7", 30, 8, true).unwrap().len(), 4);
        assert_eq!(large("Dm7", 12, 4, true).unwrap().len(), 4);
        assert_eq!(large("Dm7", 11, 4, true), None);
        assert_eq!(large("Dm7", 60, 3, true), None);
    }

    #[test]
    fn letters_can_be_drawn_in_ascii() {
        let rows = large("Dm7", 60, 8, false).unwrap();
        assert_eq!(rows.len(), 8);
        assert!(rows.iter().all(|row| row.is_ascii()) && rows[0].contains('#'));
        assert_eq!(large("Dm7", 60, 4, false), None);
    }

    #[test]
    fn the_three_sizes_show_the_same_letter() {
        let dots = |rows: &[String]| {
            rows.iter()
                .flat_map(|row| row.chars())
                .filter(|&c| c != ' ')
                .count()
        };
        let (whole, half, quarter) = (
            large("G", 16, 8, true).unwrap(),
            large("G", 8, 4, true).unwrap(),
            large("G", 4, 4, true).unwrap(),
        );
        assert!(dots(&whole) > dots(&half) && dots(&half) > dots(&quarter));
        assert_eq!(half, [" ▄█▀▀█▄", "██", "▀█▄ ▀██", "  ▀▀▀▀▀"]);
    }

    #[test]
    fn every_letter_of_the_printed_symbols_has_a_bitmap() {
        for letter in "ABCDEFGmajindusl0123456789#b♭♯°ø△–+-/()!,".chars() {
            assert_ne!(bitmap(letter), bitmap('?'), "{letter}");
        }
    }
}
