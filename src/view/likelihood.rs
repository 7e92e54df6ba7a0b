//! How likely something is, in words: one table for the screen, lines and charts.
//!
//! Input: shares of belief, from naming and from the search for keys. Output: words, or nothing where it is better not told.
//! Units: shares 0 to 1. Method: our own bounds; another name is weighed beside the best one, a key by itself.
//! Limits: documents keep the numbers.

use crate::harmony::{BELIEVED_KEY, Verdict};
use crate::view::names::Ranked;

/// What stands before another name, by its share of what the best one has; below the last, it is not worth a reader's time.
const NAMES: [(f32, &str); 2] = [(0.5, ""), (0.1, "less likely ")];
/// What stands before a numeral and its key, by how sure the key is.
const KEYS: [(f32, &str); 2] = [(0.6, ""), (BELIEVED_KEY, "perhaps ")];

fn word(table: &[(f32, &'static str)], share: f32) -> Option<&'static str> {
    let row = table.iter().find(|(least, _)| share >= *least);
    row.map(|(_, word)| *word)
}

/// What stands before a key of this confidence; `None` where it is not believed.
pub fn of_key(confidence: f32) -> Option<&'static str> {
    word(&KEYS, confidence)
}

/// `or Fm6/D, less likely A♭6/D`: names after `best`, with how likely they are; nothing where none is likely enough to be told.
pub fn others<N: Ranked>(
    best: &N,
    others: &[&N],
    verdict: Verdict,
    symbol: impl Fn(&N) -> String,
) -> String {
    let mut text = String::new();
    let mut said = None;
    for other in others {
        let Some(word) = word(&NAMES, other.score() / best.score()) else {
            break;
        };
        text.push_str(match (text.is_empty(), verdict) {
            (true, Verdict::Undecided) => "perhaps ",
            (true, _) => "or ",
            _ => ", ",
        });
        if said != Some(word) {
            text.push_str(word);
        }
        said = Some(word);
        text.push_str(&symbol(other));
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    struct Scored(f32, &'static str);

    impl Ranked for Scored {
        fn score(&self) -> f32 {
            self.0
        }
    }

    fn told(scores: &[f32], verdict: Verdict) -> String {
        let names = ["A", "B", "C", "D", "E"];
        let all: Vec<Scored> = scores
            .iter()
            .zip(names)
            .map(|(&s, n)| Scored(s, n))
            .collect();
        let rest: Vec<&Scored> = all[1..].iter().collect();
        others(&all[0], &rest, verdict, |name| name.1.to_owned())
    }

    #[test]
    fn each_word_stands_once_before_the_names_that_it_is_said_of() {
        use Verdict::{Named, Undecided};
        assert_eq!(
            told(&[0.4, 0.3, 0.15, 0.1, 0.03], Named),
            "or B, less likely C, D"
        );
        assert_eq!(told(&[0.6, 0.1], Named), "or less likely B");
        assert_eq!(told(&[0.9, 0.05], Named), "");
        assert_eq!(told(&[0.4, 0.38], Undecided), "perhaps B");
        assert_eq!(told(&[0.9], Named), "");
    }

    #[test]
    fn a_key_that_is_not_believed_has_no_words() {
        assert_eq!(of_key(0.39), None);
        assert_eq!(of_key(0.5), Some("perhaps "));
        assert_eq!(of_key(0.9), Some(""));
    }
}
