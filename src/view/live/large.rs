//! Large letters drawn from block characters.
//!
//! Input: a short text and the room there is. Output: rows of block characters.
//! Units: columns and rows. Method: the public-domain 8 by 8 bitmaps of the `font8x8` crate, and our own ([`OWN`]) for the signs of chord symbols
//! that its likenesses would confuse; set side by side without the empty columns around them, and drawn at the largest size that fits:
//! three, two or one row a pixel (each twice as wide), one row and one column a pixel, half blocks, quarter blocks; in ASCII without the last two.
//! Limits: a letter the bitmaps do not have is drawn as a question mark.

use font8x8::{BASIC_FONTS, GREEK_FONTS, LATIN_FONTS, UnicodeFonts};

/// Rows of pixels of a letter; it is at most as wide.
const PIXELS: usize = 8;
/// Columns of a blank.
const BLANK: usize = 4;

/// One bitmap a letter: a row a byte, the lowest bit at the left.
type Bitmap = [u8; PIXELS];

/// Thin, so that the strokes stay apart where a character holds four pixels.
const OWN: [(char, [&str; PIXELS]); 5] = [
    (
        'm',
        [
            "", "", "######", "#..#..#", "#..#..#", "#..#..#", "#..#..#", "",
        ],
    ),
    ('♭', ["#", "#", "#", "#.##", "##..#", "#..#", "###", ""]),
    (
        '♯',
        [
            ".#..#", "######", ".#..#", ".#..#", "######", ".#..#", ".#..#", "",
        ],
    ),
    ('°', [".##", "#..#", "#..#", ".##", "", "", "", ""]),
    (
        'ø',
        [
            "", "......#", "..###.#", ".#...#", "#...#.#", "#.#...#", ".#...#", "#.###",
        ],
    ),
];

/// How pixels become characters.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Scale {
    /// So many rows a pixel, and twice as many columns.
    Whole(usize),
    /// A column and a row a pixel.
    Narrow,
    /// A column and half a row a pixel.
    Half,
    /// Half a column and half a row a pixel.
    Quarter,
}

/// From large to small.
const SCALES: [Scale; 6] = [
    Scale::Whole(3),
    Scale::Whole(2),
    Scale::Whole(1),
    // As wide as half blocks and twice as high: at two metres height is what tells.
    Scale::Narrow,
    Scale::Half,
    Scale::Quarter,
];
/// The first of them need no parts of blocks.
const WHOLE_SCALES: usize = 4;

impl Scale {
    fn rows(self) -> usize {
        match self {
            Self::Whole(rows) => rows * PIXELS,
            Self::Narrow => PIXELS,
            Self::Half | Self::Quarter => PIXELS / 2,
        }
    }

    fn columns(self, pixels: usize) -> usize {
        match self {
            Self::Whole(rows) => 2 * rows * pixels,
            Self::Narrow | Self::Half => pixels,
            Self::Quarter => pixels.div_ceil(2),
        }
    }

    /// The character of one row and column.
    fn draw(self, picture: &Picture, row: usize, column: usize, full: char) -> char {
        let whole = |lit: bool| if lit { full } else { ' ' };
        match self {
            Self::Whole(rows) => whole(picture.lit(row / rows, column / (2 * rows))),
            Self::Narrow => whole(picture.lit(row, column)),
            Self::Half => {
                let (upper, lower) = (
                    picture.lit(2 * row, column),
                    picture.lit(2 * row + 1, column),
                );
                match (upper, lower) {
                    (false, false) => ' ',
                    (true, false) => '▀',
                    (false, true) => '▄',
                    (true, true) => '█',
                }
            }
            Self::Quarter => {
                let quarter = |down: usize, right: usize| {
                    usize::from(picture.lit(2 * row + down, 2 * column + right))
                };
                QUARTERS[quarter(0, 0) + 2 * quarter(0, 1) + 4 * quarter(1, 0) + 8 * quarter(1, 1)]
            }
        }
    }
}

/// By quarter: upper left 1, upper right 2, lower left 4, lower right 8.
const QUARTERS: [char; 16] = [
    ' ', '▘', '▝', '▀', '▖', '▌', '▞', '▛', '▗', '▚', '▐', '▜', '▄', '▙', '▟', '█',
];

/// The pixels of a text.
struct Picture {
    rows: [Vec<bool>; PIXELS],
}

impl Picture {
    fn of(text: &str) -> Self {
        let mut rows: [Vec<bool>; PIXELS] = Default::default();
        for letter in text.chars() {
            let (bitmap, columns) = set(letter);
            for (row, bits) in rows.iter_mut().zip(bitmap) {
                if !row.is_empty() {
                    row.push(false);
                }
                row.extend((0..columns).map(|column| bits >> column & 1 == 1));
            }
        }
        Self { rows }
    }

    fn columns(&self) -> usize {
        self.rows[0].len()
    }

    fn lit(&self, row: usize, column: usize) -> bool {
        self.rows[row].get(column).copied().unwrap_or_default()
    }
}

/// Draws `text` as large as `columns` and `rows` allow, from ASCII or from blocks and parts of blocks; `None` where not even the
/// smallest letters fit.
pub fn large(text: &str, columns: usize, rows: usize, part_blocks: bool) -> Option<Vec<String>> {
    let picture = Picture::of(text);
    let (scales, full) = if part_blocks {
        (&SCALES[..], '█')
    } else {
        (&SCALES[..WHOLE_SCALES], '#')
    };
    let pixels = picture.columns();
    let fits = |scale: &&Scale| scale.columns(pixels) <= columns && scale.rows() <= rows;
    let scale = scales.iter().find(fits)?;
    let row = |row| {
        let columns = 0..scale.columns(pixels);
        let line: String = columns
            .map(|column| scale.draw(&picture, row, column, full))
            .collect();
        line.trim_end().to_owned()
    };
    Some((0..scale.rows()).map(row).collect())
}

/// The bitmap of a letter, moved to the left edge, and how many columns it takes.
fn set(letter: char) -> (Bitmap, usize) {
    let bitmap = bitmap(letter);
    let all = bitmap.iter().fold(0, |all, row| all | row);
    if all == 0 {
        return (bitmap, BLANK);
    }
    let left = all.trailing_zeros() as usize;
    (
        bitmap.map(|row| row >> left),
        PIXELS - left - all.leading_zeros() as usize,
    )
}

fn bitmap(letter: char) -> Bitmap {
    if let Some((_, rows)) = OWN.iter().find(|(own, _)| *own == letter) {
        let bits = |row: &str| {
            let lit = row.bytes().enumerate().filter(|(_, dot)| *dot == b'#');
            lit.fold(0, |bits, (column, _)| bits | 1 << column)
        };
        return rows.map(bits);
    }
    let drawn = match letter {
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn letters_shrink_to_the_room_there_is() {
        assert_eq!(large("Dm7", 60, 8, true).unwrap().len(), 8);
        assert_eq!(large("Dm7", 30, 8, true).unwrap().len(), 8);
        assert_eq!(large("Dm7", 30, 7, true).unwrap().len(), 4);
        assert_eq!(large("Dm7", 12, 4, true).unwrap().len(), 4);
        assert_eq!(large("Dm7", 10, 4, true), None);
        assert_eq!(large("Dm7", 60, 3, true), None);
    }

    #[test]
    fn letters_can_be_drawn_in_ascii() {
        let rows = large("Dm7", 60, 8, false).unwrap();
        assert_eq!(rows.len(), 8);
        assert!(rows.iter().all(|row| row.is_ascii()) && rows[0].contains('#'));
        assert_eq!(large("Dm7", 60, 7, false), None);
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

    #[test]
    fn signs_of_chord_symbols_stay_apart_at_every_size() {
        for (columns, rows) in [(4, 4), (8, 4), (8, 8), (16, 8), (32, 16)] {
            let drawn: Vec<Vec<String>> = "m°øb♭#♯△+-()o"
                .chars()
                .map(|sign| large(&sign.to_string(), columns, rows, true).unwrap())
                .collect();
            for (nth, one) in drawn.iter().enumerate() {
                assert!(!drawn[..nth].contains(one), "{}", one.join("\n"));
            }
        }
        // three strokes with room between them, also where a character holds four pixels
        assert_eq!(
            large("m", 4, 4, true).unwrap(),
            ["", "▛▜▀▖", "▌▐ ▌", "▘▝ ▘"]
        );
    }

    #[test]
    fn a_larger_screen_has_larger_letters() {
        for part_blocks in [false, true] {
            let rows = |rows| large("Dm7", 200, rows, part_blocks).unwrap().len();
            assert_eq!([rows(8), rows(16), rows(30)], [8, 16, 24]);
        }
    }
}
