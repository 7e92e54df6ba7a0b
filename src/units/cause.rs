//! What the system says went wrong, as far as a reader can use it.
//!
//! Input: the system's own message. Output: the same without numbers of errors and without places of temporary files.
//! Units: none. Method: both are cut out where they stand. Limits: messages are in the language of the system.

use std::fmt::Display;

/// How the standard library ends the message of the system, and how temporary files add their place.
const CUT_OUT: [(&str, &str); 2] = [(" (os error ", ")"), (" at path \"", "\"")];

/// The message without what only a programmer can use.
pub fn in_words(cause: &impl Display) -> String {
    let mut text = cause.to_string();
    for (begins, ends) in CUT_OUT {
        while let Some(from) = text.find(begins) {
            let rest = &text[from + begins.len()..];
            let Some(length) = rest.find(ends) else {
                break;
            };
            let to = from + begins.len() + length + ends.len();
            text.replace_range(from..to, "");
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io;

    #[test]
    fn numbers_of_errors_and_temporary_places_are_left_out() {
        let full = io::Error::from_raw_os_error(28).to_string();
        assert!(full.contains("os error"), "{full}");
        assert!(!in_words(&full).contains("os error"), "{full}");
        let text = "a (Not a directory (os error 20)); b (No room (os error 28) at path \"/d/.lidprop-x1\")";
        assert_eq!(in_words(&text), "a (Not a directory); b (No room)");
        assert_eq!(in_words(&"nothing to cut"), "nothing to cut");
    }
}
