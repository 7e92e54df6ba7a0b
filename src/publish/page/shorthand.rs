//! Pictures of a long page, kept in few bytes until a reader comes to them.
//!
//! Input: the markup of a chord's pictures. Output: the same with a sign in place of each phrase that all of them share, and the table of signs as JSON, which stands once in the page;
//! the page's script puts the phrases back. Method: phrases are taken out one after the other, longer ones first; no sign is part of a picture otherwise. A phrase that
//! pictures no longer hold costs bytes and nothing else. Limits: for pictures only, whose words stand elsewhere.

use super::keyboard::Keyboard;
use std::collections::BTreeMap;

/// Signs that the markup of a picture does not hold, and that stand in an attribute as they are; in the order of their codes, by which phrases are taken out.
const SIGNS: &str = "!$%()*+,;?@[]^_{|}~";
/// What pictures share besides the beginning of a keyboard; longer ones first.
const PHRASES: [&str; 16] = [
    "</svg><svg class=\"g\" aria-hidden=\"true\" viewBox=\"-2 -22 136 156\"><use href=\"#gs\"/>",
    "</svg><svg class=\"g\" aria-hidden=\"true\" viewBox=\"-2 ",
    "\"/><use href=\"#w\" x=\"88\" y=\"",
    "\"/><use href=\"#w\" x=\"102\" y=\"",
    "<use href=\"#w\" x=\"88\" y=\"",
    "\"/><use href=\"#f\" x=\"",
    "\"/><use href=\"#s\" x=\"",
    "\"><use href=\"#gs\"/>",
    "<path class=\"on\" d=\"M",
    "<path class=\"ln\" d=\"M",
    "<use href=\"#kb\"/>",
    "h10v42h-10z",
    "h6v26h-6z",
    "\"></path>",
    "\"/></svg>",
    "\" y=\"",
];

/// The table of one page.
#[derive(Debug)]
pub struct Shorthand(BTreeMap<char, String>);

impl Shorthand {
    /// For a page with this keyboard.
    pub fn of(keyboard: Keyboard) -> Self {
        let phrases = [keyboard.opening()]
            .into_iter()
            .chain(PHRASES.map(str::to_owned));
        Self(SIGNS.chars().zip(phrases).collect())
    }

    /// The pictures with signs in place of phrases.
    pub fn shorten(&self, pictures: String) -> String {
        self.0.iter().fold(pictures, |short, (&sign, phrase)| {
            short.replace(phrase.as_str(), sign.encode_utf8(&mut [0; 4]))
        })
    }

    /// The table, for the script.
    pub fn json(&self) -> String {
        serde_json::to_string(&self.0)
            .unwrap_or_else(|_| "{}".to_owned())
            .replace('<', "\\u003c")
    }
}

#[cfg(test)]
mod tests {
    use super::super::staff;
    use super::*;
    use crate::harmony::NamedNote;
    use crate::units::MidiNote;

    #[test]
    fn a_picture_is_short_and_comes_back_whole() {
        let notes = [
            (51, "Eb"),
            (55, "G"),
            (58, "Bb"),
            (62, "D"),
            (65, "F"),
            (84, "C"),
        ];
        let keys = notes.map(|(midi, _)| MidiNote::new(midi).unwrap());
        let named = notes.map(|(midi, name)| NamedNote {
            midi: MidiNote::new(midi).unwrap(),
            name: name.parse().unwrap(),
        });
        let keyboard = Keyboard::around(keys.into_iter());
        let staves = staff::picture(&[named[3..].to_vec(), named[..3].to_vec()]);
        let pictures = keyboard.drawing(&keys).into_string() + &staves.into_string();
        let shorthand = Shorthand::of(keyboard);
        let table: BTreeMap<char, String> = serde_json::from_str(&shorthand.json()).unwrap();
        assert!(table.keys().all(|&sign| !pictures.contains(sign)));

        let short = shorthand.shorten(pictures.clone());
        let whole: String = short
            .chars()
            .map(|c| table.get(&c).cloned().unwrap_or_else(|| c.to_string()))
            .collect();
        assert_eq!(whole, pictures);
        assert!(4 * short.len() < pictures.len(), "{short}");
        assert!(!short.contains(['<', '>', '"']), "needs no escape: {short}");
    }
}
