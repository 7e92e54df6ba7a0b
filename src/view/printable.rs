//! Names as they can be printed.
//!
//! Input: text of unknown origin, as the names of files are. Output: one line that a terminal only prints. Units: none.
//! Method: control characters (general category Cc) and the marks that turn the direction of writing (Unicode Standard Annex 9, section 2) are written
//! as Rust writes them, `\n` and `\u{1b}`; all else stays. Limits: a name that holds a backslash of its own reads like one that was changed.

use std::borrow::Cow;

/// `text` with all that would steer a terminal written out.
pub fn printable(text: &str) -> Cow<'_, str> {
    if !text.chars().any(steers) {
        return Cow::Borrowed(text);
    }
    let mut shown = String::with_capacity(text.len() + 8);
    for c in text.chars() {
        if steers(c) {
            shown.extend(c.escape_default());
        } else {
            shown.push(c);
        }
    }
    Cow::Owned(shown)
}

/// Changes what is printed around it.
fn steers(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}' | '\u{200E}' | '\u{200F}')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_steers_a_terminal_is_written_out_and_all_else_stays() {
        assert_eq!(printable("été ♭ 練習.wav"), "été ♭ 練習.wav");
        assert_eq!(printable("a\nb\x1b[31m\t\u{9b}"), r"a\nb\u{1b}[31m\t\u{9b}");
        assert_eq!(printable("fdp.\u{202e}vaw"), r"fdp.\u{202e}vaw");
    }
}
