//! Emphasis on terminals, and the absence of it elsewhere.
//!
//! Input: what the output is and what the environment asks for. Output: text with or without escape sequences.
//! Units: none. Method: ECMA-48 weights (bold, faint) over the terminal's own colours, so that light and dark
//! backgrounds both read well; the `NO_COLOR` convention and `TERM=dumb` switch them off.
//! Limits: a terminal that shows no faint text shows it plain.

use ratatui::style::{Color, Modifier, Style};
use std::env;
use std::fmt::{self, Display};
use std::io::IsTerminal;

/// Width taken where the output is no terminal, columns.
const PLAIN_COLUMNS: u16 = 100;

/// How text may be set on an output.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Ink {
    /// True if escape sequences are welcome.
    pub weights: bool,
    /// Columns to fill.
    pub columns: u16,
}

impl Ink {
    /// No escape sequences, `columns` wide.
    pub const fn plain(columns: u16) -> Self {
        Self {
            weights: false,
            columns,
        }
    }

    /// What suits standard output now.
    pub fn of_stdout() -> Self {
        if !std::io::stdout().is_terminal() {
            return Self::plain(PLAIN_COLUMNS);
        }
        let columns =
            ratatui::crossterm::terminal::size().map_or(PLAIN_COLUMNS, |(columns, _)| columns);
        Self {
            weights: colour_is_welcome(),
            columns,
        }
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
    !set("NO_COLOR") && env::var_os("TERM").is_none_or(|term| term != "dumb")
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
