//! Counts as they are written.
//!
//! Input: a number and a word. Output: `1 key`, `2 keys`. Units: none. Method: an s from two on. Limits: words whose plural ends in s.

/// How many there are of `word`.
pub fn plural(n: usize, word: &str) -> String {
    match n {
        1 => format!("1 {word}"),
        n => format!("{n} {word}s"),
    }
}
