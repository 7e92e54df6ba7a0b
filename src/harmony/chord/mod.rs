//! Chord: what a chord symbol says.
//!
//! Input: text, or a root with degrees. Output: [`Chord`]; symbols in each [`Style`], labels.
//! Units: degrees. Method: one table of qualities ([`quality`]) that writing ([`mod@print`]) and reading ([`parse`]) share; labels for research
//! stand apart ([`label`]). Limits: one root, one bass, at most a chord below.

pub mod label;
pub mod parse;
pub(crate) mod parse_words;
pub mod print;
pub mod quality;

pub use parse::SymbolError;
pub use print::{Chord, Style};
