//! A keyboard with keys pressed, as SVG.
//!
//! Input: the keys of a page, then those of each chord. Output: markup. Units: a white key is `WHITE` wide and `HEIGHT` high.
//! Method: the bare keyboard stands once in a page and is referred to; a picture adds the pressed keys. Limits: whole octaves or halves of them at the ends.

use crate::units::MidiNote;
use maud::{Markup, PreEscaped, html};
use std::fmt::Write;

/// The key that gets a mark: MIDI number of middle C.
const MIDDLE_C: u8 = 60;
/// Width and height of a white key, and of a black one.
const WHITE: i32 = 10;
const HEIGHT: i32 = 42;
const BLACK: i32 = 6;
const BLACK_HEIGHT: i32 = 26;
/// A page shows at least so many keys.
const FEWEST: u8 = 36;

/// The keyboard of a page.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Keyboard {
    low: u8,
    high: u8,
}

impl Keyboard {
    /// One that holds all of these keys, and three octaves at least: from a C or an F to a B or an E.
    pub fn around(keys: impl Iterator<Item = MidiNote>) -> Self {
        let (low, high) = keys
            .map(MidiNote::get)
            .fold((60, 60), |(low, high), key| (low.min(key), high.max(key)));
        let begins = |key: u8| [0, 5].contains(&(key % 12));
        let ends = |key: u8| [4, 11].contains(&(key % 12));
        let (mut low, mut high) = (low, high);
        while high - low + 1 < FEWEST {
            low = low.saturating_sub(1);
            high = (high + 1).min(127);
        }
        while !begins(low) && low > 0 {
            low -= 1;
        }
        while !ends(high) && high < 127 {
            high += 1;
        }
        Self { low, high }
    }

    fn is_black(key: u8) -> bool {
        [1, 3, 6, 8, 10].contains(&(key % 12))
    }

    /// The left edge of a key.
    fn left(self, key: u8) -> i32 {
        let whites = (self.low..key).filter(|&key| !Self::is_black(key)).count() as i32;
        whites * WHITE - if Self::is_black(key) { BLACK / 2 } else { 0 }
    }

    fn width(self) -> i32 {
        self.left(self.high)
            + if Self::is_black(self.high) {
                BLACK
            } else {
                WHITE
            }
    }

    /// How wide a picture is for one unit of height.
    pub fn aspect(self) -> f64 {
        f64::from(self.width() + 2) / f64::from(HEIGHT + 2)
    }

    /// The bare keyboard, to stand once in a page.
    pub fn symbols(self) -> Markup {
        let (mut white, mut black) = (String::new(), String::new());
        for key in self.low..=self.high {
            self.sorted_shape(key, &mut white, &mut black);
        }
        let middle = (self.low..=self.high)
            .contains(&MIDDLE_C)
            .then(|| self.left(MIDDLE_C));
        html! {
            symbol id="kw" overflow="visible" { path class="kw" d=(white) {} }
            symbol id="kb" overflow="visible" {
                path class="kb" d=(black) {}
                @if let Some(x) = middle { circle class="kc" cx=(x + WHITE / 2) cy=(HEIGHT - 4) r="1.4" {} }
            }
        }
    }

    /// Adds a key to the path of its colour.
    fn sorted_shape(self, key: u8, white: &mut String, black: &mut String) {
        self.shape(key, if Self::is_black(key) { black } else { white });
    }

    fn shape(self, key: u8, path: &mut String) {
        let (width, height) = if Self::is_black(key) {
            (BLACK, BLACK_HEIGHT)
        } else {
            (WHITE, HEIGHT)
        };
        // Writing to a text cannot fail.
        let _ = write!(path, "M{} 0h{width}v{height}h-{width}z", self.left(key));
    }

    /// A picture of pressed keys; `described` says in words what it shows.
    pub fn picture(self, keys: &[MidiNote], described: &str) -> Markup {
        html! { svg.k role="img" aria-label=(described) viewBox=(self.view()) { (self.pressed(keys)) } }
    }

    /// The same where words stand around it that say what it shows.
    pub fn drawing(self, keys: &[MidiNote]) -> Markup {
        html! { svg.k viewBox=(self.view()) { (self.pressed(keys)) } }
    }

    /// How each [`drawing`](Self::drawing) of this keyboard begins.
    pub fn opening(self) -> String {
        let nothing = self.drawing(&[]).into_string();
        nothing.replace("<use href=\"#kb\"/></svg>", "")
    }

    fn view(self) -> String {
        format!("-1 -1 {} {}", self.width() + 2, HEIGHT + 2)
    }

    fn pressed(self, keys: &[MidiNote]) -> Markup {
        let (mut white, mut black) = (String::new(), String::new());
        for key in keys
            .iter()
            .map(|key| key.get())
            .filter(|key| (self.low..=self.high).contains(key))
        {
            self.sorted_shape(key, &mut white, &mut black);
        }
        html! {
            (PreEscaped("<use href=\"#kw\"/>"))
            @if !white.is_empty() { path.on d=(white) {} }
            (PreEscaped("<use href=\"#kb\"/>"))
            @if !black.is_empty() { path.on d=(black) {} }
        }
    }

    /// A keyboard whose keys can be lit one by one: each has its number.
    pub fn by_keys(self, described: &str) -> Markup {
        let keys =
            |black: bool| (self.low..=self.high).filter(move |&key| Self::is_black(key) == black);
        let shape = |key: u8| {
            let mut path = String::new();
            self.shape(key, &mut path);
            path
        };
        html! {
            svg id="keys" role="img" aria-label=(described) viewBox=(self.view()) {
                @for key in keys(false) { path.kw data-k=(key) d=(shape(key)) {} }
                @for key in keys(true) { path.kb data-k=(key) d=(shape(key)) {} }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_keyboard_begins_and_ends_where_its_groups_of_black_keys_do() {
        let keys =
            |keys: &[u8]| Keyboard::around(keys.iter().map(|&key| MidiNote::new(key).unwrap()));
        assert_eq!(keys(&[50, 65, 68, 73]), Keyboard { low: 41, high: 83 });
        assert_eq!(keys(&[21, 108]), Keyboard { low: 17, high: 112 });
        assert!(keys(&[]).high - keys(&[]).low >= 35);
    }
}
