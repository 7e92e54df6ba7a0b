//! Emphasis on terminals, and the absence of it elsewhere.
//!
//! Input: what the output is and what the environment asks for. Output: text with or without escape sequences.
//! Units: none. Method: ECMA-48 weights (bold, faint) over the terminal's own colours, so that light and dark
//! backgrounds both read well; the `NO_COLOR` convention and `TERM=dumb` switch them off. Blocks and musical signs give
//! way to ASCII where the locale or the terminal has none.
//! Limits: a terminal that shows no faint text shows it plain; whether its font has a character cannot be asked.

use crate::harmony;
use crate::view::keyboard::KeyShapes;
use crate::view::live::wrapped;
use ratatui::style::{Color, Modifier, Style};
use std::env;
use std::fmt::{self, Display};
use std::io::IsTerminal;

/// Width taken where the output is no terminal, columns.
const PLAIN_COLUMNS: u16 = 80;
/// Signs of chords and keys, longest first, and how they are written from ASCII alone.
const SIGNS: [(&str, &str); 7] = [
    ("ø7", "m7b5"),
    ("ø", "m7b5"),
    ("°", "dim"),
    ("△", "maj"),
    ("♭", "b"),
    ("♯", "#"),
    ("–", "-"),
];

/// How text may be set on an output.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Ink {
    /// True if escape sequences are welcome.
    pub weights: bool,
    /// Columns to fill.
    pub columns: u16,
    /// True where nothing but ASCII can be shown.
    pub ascii: bool,
}

/// How wide `out` is, where it is a terminal.
fn columns_of(out: &impl IsTerminal) -> Option<u16> {
    let size = || ratatui::crossterm::terminal::size().ok();
    let (columns, _) = out.is_terminal().then(size).flatten()?;
    Some(columns)
}

/// Prose for `out`: broken at spaces where `out` is a terminal that is narrower, with each line's indent before its rest.
pub fn in_columns_of(out: &impl IsTerminal, prose: &str) -> String {
    match columns_of(out) {
        Some(columns) => broken(prose, usize::from(columns)),
        None => prose.to_owned(),
    }
}

fn broken(prose: &str, columns: usize) -> String {
    let line = |line: &str| {
        if line.chars().count() <= columns {
            return line.to_owned();
        }
        let indent: String = line.chars().take_while(|&c| c == ' ').collect();
        let room = columns.saturating_sub(indent.len());
        let lines = wrapped(line, room).into_iter();
        let lines: Vec<String> = lines.map(|line| format!("{indent}{line}")).collect();
        lines.join("\n")
    };
    let lines: Vec<String> = prose.split('\n').map(line).collect();
    lines.join("\n")
}

impl Ink {
    /// No escape sequences, `columns` wide.
    pub const fn plain(columns: u16) -> Self {
        Self {
            weights: false,
            columns,
            ascii: false,
        }
    }

    /// The same from ASCII alone, where that is asked for.
    pub const fn or_ascii(self, ascii: bool) -> Self {
        Self {
            ascii: self.ascii || ascii,
            ..self
        }
    }

    /// The characters of a keyboard in one line.
    pub const fn keys(self) -> &'static KeyShapes {
        if self.ascii {
            &KeyShapes::ASCII
        } else {
            &KeyShapes::BLOCKS
        }
    }

    /// The style of symbols that can be shown: the wanted one, if it can.
    pub const fn style(self, wanted: harmony::Style) -> harmony::Style {
        if self.ascii {
            harmony::Style::Ascii
        } else {
            wanted
        }
    }

    /// The text with signs that can be shown.
    pub fn signs(self, text: String) -> String {
        if !self.ascii {
            return text;
        }
        SIGNS
            .iter()
            .fold(text, |text, (sign, ascii)| text.replace(sign, ascii))
    }

    /// What suits standard output now.
    pub fn of_stdout() -> Self {
        let read = |name: &str| env::var(name).ok();
        if !std::io::stdout().is_terminal() {
            return Self::plain(PLAIN_COLUMNS).or_ascii(!locale_has_blocks(&read));
        }
        let columns = columns_of(&std::io::stdout()).unwrap_or(PLAIN_COLUMNS);
        Self {
            weights: colour_is_welcome(),
            columns,
            ascii: !draws_blocks(&read),
        }
    }

    /// The same for an answer whose symbols are wanted in `style`, with the style that can be shown.
    pub fn for_style(style: harmony::Style) -> (Self, harmony::Style) {
        let ink = Self::of_stdout().or_ascii(style == harmony::Style::Ascii);
        (ink, ink.style(style))
    }

    /// `text` in bold.
    pub fn strong<T: Display>(self, text: T) -> Inked<T> {
        self.set(text, "\x1b[1m")
    }

    /// `text` in faint.
    pub fn faint<T: Display>(self, text: T) -> Inked<T> {
        self.set(text, "\x1b[2m")
    }

    fn set<T: Display>(self, text: T, weight: &'static str) -> Inked<T> {
        Inked {
            text,
            weight: self.weights.then_some(weight),
        }
    }
}

/// True unless the environment asks for text without colour (`NO_COLOR` set and not empty) or the terminal has none.
pub fn colour_is_welcome() -> bool {
    let set = |name| env::var_os(name).is_some_and(|value| !value.is_empty());
    !set("NO_COLOR") && !is_dumb()
}

/// True of a terminal that only prints line after line.
fn is_dumb() -> bool {
    env::var_os("TERM").is_some_and(|term| term == "dumb")
}

/// True if a screen can be drawn on standard output.
pub fn draws_screens() -> bool {
    std::io::stdout().is_terminal() && !is_dumb()
}

/// True unless the locale names a character set without blocks, or the terminal is a bare console, whose fonts lack most of them. Silence says
/// nothing.
pub(super) fn draws_blocks(read: &dyn Fn(&str) -> Option<String>) -> bool {
    let bare = read("TERM").is_some_and(|terminal| ["linux", "dumb"].contains(&terminal.as_str()));
    locale_has_blocks(read) && !bare
}

/// True unless the locale names another character set than UTF-8 (POSIX order: `LC_ALL`, `LC_CTYPE`, `LANG`).
fn locale_has_blocks(read: &dyn Fn(&str) -> Option<String>) -> bool {
    let locale = ["LC_ALL", "LC_CTYPE", "LANG"]
        .into_iter()
        .find_map(|name| read(name).filter(|value| !value.is_empty()));
    locale.is_none_or(|locale| {
        let locale = locale.to_lowercase();
        locale.contains("utf-8") || locale.contains("utf8")
    })
}

/// Text with its weight.
#[derive(Debug, Clone, Copy)]
pub struct Inked<T> {
    text: T,
    weight: Option<&'static str>,
}

impl<T: Display> Display for Inked<T> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.weight {
            Some(weight) => write!(f, "{weight}{}\x1b[0m", self.text),
            None => self.text.fmt(f),
        }
    }
}

/// Styles of the live screen: colours by their terminal names, so that the user's own scheme decides how they look, and
/// only such as read well on light and on dark; without colour the weights stay.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Palette {
    colour: bool,
}

impl Palette {
    /// Weights only.
    pub const PLAIN: Palette = Palette { colour: false };

    /// What the environment asks for.
    pub fn of_environment() -> Self {
        Self {
            colour: colour_is_welcome(),
        }
    }

    fn coloured(self, style: Style, colour: Color) -> Style {
        if self.colour { style.fg(colour) } else { style }
    }

    /// What is read from afar.
    pub fn strong(self) -> Style {
        Style::new().add_modifier(Modifier::BOLD)
    }

    /// What is there to be looked up.
    pub fn faint(self) -> Style {
        Style::new().add_modifier(Modifier::DIM)
    }

    /// Keys and pitch classes that sound.
    pub fn sounding(self) -> Style {
        self.coloured(Style::new(), Color::Cyan)
    }

    /// An answer that may change.
    pub fn provisional(self) -> Style {
        self.coloured(Style::new().add_modifier(Modifier::ITALIC), Color::Magenta)
    }

    /// What needs a hand.
    pub fn alarm(self) -> Style {
        self.coloured(Style::new().add_modifier(Modifier::BOLD), Color::Red)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn prose_is_broken_at_spaces_and_keeps_its_indent() {
        let prose = "Advice:\n  Noisy even in the pauses: switch off fans.\n";
        assert_eq!(broken(prose, 80), prose);
        assert_eq!(
            broken(prose, 20),
            "Advice:\n  Noisy even in the\n  pauses: switch off\n  fans.\n"
        );
    }
}
