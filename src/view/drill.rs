//! A drill in lines and on a screen.
//!
//! Input: marked attempts; a course and what sounds. Output: text; a buffer of characters. Units: seconds. Method: a mark is a sign and a word, then what was asked for and what was
//! played otherwise, in the words a teacher uses. Limits: notes are spelled as the chord spells them.

use super::ink::{Ink, Palette};
use super::keyboard::{KeyRange, KeyShapes, one_line};
use super::live::large::large;
use super::live::wrapped;
use super::notes::clock;
use crate::harmony::{PitchClass, Spelled, Style};
use crate::listener::{Certainty, Event};
use crate::practice::align::MarkedAttempt;
use crate::practice::course::median;
use crate::practice::{Course, Mark, Outcome, Remark, Slip, Target};
use crate::units::count::plural;
use crate::units::{MidiNote, SampleRate};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use std::io::{self, Write};
use std::str::FromStr;

/// Columns of the chord symbol.
const SYMBOL: usize = 14;

/// What to say before and during long runs.
pub const CARE: &str = "Sit easily, begin slowly, rest often. Stop if anything hurts: pain that stays belongs to a doctor.";

/// The sign of an outcome; it is told in a word as well.
pub const fn sign(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Right => "+",
        Outcome::Slip => "x",
        Outcome::Unsure => "?",
    }
}

/// The names of keys, lowest first, as the target's chord spells them.
pub fn key_names(target: &Target, keys: impl Iterator<Item = MidiNote>) -> String {
    let names: Vec<String> = keys.map(|key| target.note_name(key)).collect();
    names.join(" ")
}

/// What was played otherwise, in words: `Bb3 in place of B3`.
pub fn slip_words(target: &Target, slip: &Slip) -> String {
    let name = |key: MidiNote| target.note_name(key);
    match *slip {
        Slip::Missing(wanted) => format!("{} is missing", name(wanted)),
        Slip::Extra(played) => format!("{} is too many", name(played)),
        Slip::Instead { wanted, played } => {
            format!("{} in place of {}", name(played), name(wanted))
        }
        Slip::WrongOctave { wanted, played } => {
            format!(
                "{} in place of {}, another octave",
                name(played),
                name(wanted)
            )
        }
        Slip::Inversion { lowest } => format!("another inversion, {} is lowest", name(lowest)),
        Slip::TopNote { wanted, played } => {
            format!("{} on top in place of {}", name(played), name(wanted))
        }
        Slip::OtherRoot(root) => format!("the right type, but on {}", Spelled::usual(root)),
    }
}

/// What else is remarked, in words.
pub fn remark_words(remark: &Remark) -> String {
    match remark {
        Remark::Corrected => "corrected".to_owned(),
        Remark::Hesitated(took) => format!("hesitated, {:.1} s", took.get()),
        Remark::Uneven(spread) => format!("not together, {:.2} s apart", spread.get()),
        Remark::Short(held) => format!("held for {:.2} s only", held.get()),
        Remark::OutOfTurn => {
            "right, but another chord was next; play on from it if it was meant".to_owned()
        }
    }
}

/// All that is said of a mark but its word.
pub fn mark_words(target: &Target, mark: &Mark) -> String {
    let mut words: Vec<String> = mark
        .slips
        .iter()
        .map(|slip| slip_words(target, slip))
        .collect();
    if mark.outcome == Outcome::Unsure && !mark.remarks.contains(&Remark::OutOfTurn) {
        words.push("it cannot be told; play it again".to_owned());
    }
    words.extend(mark.remarks.iter().map(remark_words));
    words.join("; ")
}

/// Prints a line an attempt, and how it went altogether.
///
/// # Errors
/// If `out` cannot be written to.
pub fn print_drill(
    attempts: &[MarkedAttempt],
    style: Style,
    ink: Ink,
    out: &mut impl Write,
) -> io::Result<()> {
    for MarkedAttempt {
        attempt,
        target,
        mark,
        ..
    } in attempts
    {
        let at = clock(attempt.start.seconds(SampleRate::INTERNAL));
        let mark_word = format!("{} {:6}", sign(mark.outcome), mark.outcome.word());
        let symbol = format!("{:SYMBOL$}", target.chord.symbol(style));
        let words = mark_words(target, mark);
        let keys = key_names(target, mark.played());
        let line = format!(
            "{at:>9}  {mark_word}  {}  {keys:20}  {words}",
            ink.strong(symbol)
        );
        writeln!(out, "{}", line.trim_end())?;
    }
    writeln!(out)?;
    writeln!(out, "  {}", totals(attempts))
}

/// `12 attempts: 9 right, 3 slips, 0 unsure; 2.6 s between them`
fn totals(attempts: &[MarkedAttempt]) -> String {
    let count = |outcome| {
        let with = attempts.iter().filter(|one| one.mark.outcome == outcome);
        with.count()
    };
    let times: Vec<f64> = attempts
        .iter()
        .filter_map(|one| Some(one.took?.get()))
        .collect();
    let time = match median(&times) {
        Some(median) => format!("; {median:.1} s from one to the next (median)"),
        None => String::new(),
    };
    let attempts = plural(attempts.len(), "attempt");
    format!("{attempts}: {}{time}", count_words(Outcome::ALL.map(count)))
}

/// Right ones, slips and unsure ones: `9 right, 1 slip, 0 unsure`.
pub fn count_words([right, slips, unsure]: [usize; 3]) -> String {
    format!("{right} right, {}, {unsure} unsure", plural(slips, "slip"))
}

/// How the target is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Showing {
    /// Its symbol.
    #[default]
    Symbol,
    /// Root and degrees.
    Degrees,
    /// Keys on a keyboard.
    Keyboard,
    /// What it is in the key of its progression.
    Numeral,
    /// Not at all.
    Hidden,
}

impl Showing {
    /// Words and what they mean.
    pub const WORDS: [(&'static str, Showing); 5] = [
        ("symbol", Showing::Symbol),
        ("degrees", Showing::Degrees),
        ("keyboard", Showing::Keyboard),
        ("numeral", Showing::Numeral),
        ("hidden", Showing::Hidden),
    ];
}

impl FromStr for Showing {
    type Err = String;
    fn from_str(text: &str) -> Result<Self, String> {
        let found = Self::WORDS.iter().find(|(word, _)| *word == text);
        found.map(|&(_, showing)| showing).ok_or_else(|| {
            let words: Vec<&str> = Self::WORDS.iter().map(|(word, _)| *word).collect();
            format!("one of {}", words.join(", "))
        })
    }
}

/// The degrees of a target's chord, in the order of its keys: `1 b3 b5 7`.
pub fn degree_words(target: &Target) -> String {
    let mut seen = Vec::new();
    for key in target.example() {
        if let Some(degree) = target.degree_of(PitchClass::from(key))
            && !seen.contains(&degree.name())
        {
            seen.push(degree.name());
        }
    }
    seen.join(" ")
}

/// The first so many degrees of a target's chord, as a hint to who listens; its symbol once there are no more.
pub fn hint_words(target: &Target, hints: usize, style: Style) -> String {
    let degrees = degree_words(target);
    if hints > degrees.split(' ').count() {
        return target.chord.symbol(style);
    }
    let told: Vec<&str> = degrees.split(' ').take(hints).collect();
    told.join(" ")
}

/// What is asked for, in one line.
pub fn prompt_words(target: &Target, showing: Showing, style: Style) -> String {
    let symbol = target.chord.symbol(style);
    let form = target.form;
    match showing {
        Showing::Symbol => format!("{symbol}, {form}"),
        Showing::Degrees => format!("{}: {}, {form}", target.chord.root, degree_words(target)),
        Showing::Keyboard => key_names(target, target.example().into_iter()),
        Showing::Numeral => match &target.place {
            Some(place) => format!("{place}, {form}"),
            None => format!("{symbol}, {form}"),
        },
        Showing::Hidden => "find the chord that you hear".to_owned(),
    }
}

/// What the screen of a drill knows besides the course.
#[derive(Debug, Clone)]
pub struct DrillScreen {
    exercise: String,
    showing: Showing,
    style: Style,
    tempo: Option<f64>,
    /// A sentence that stays until another comes.
    pub notice: Option<String>,
    /// What is wrong, in a sentence.
    pub trouble: Option<String>,
    /// The sound input.
    pub input: String,
    /// Draw from ASCII alone.
    pub ascii: bool,
    /// Chords are played to the player.
    pub by_ear: bool,
    /// One is being played.
    pub playing: bool,
    /// The outcome of the last attempt at each target.
    pub outcomes: Vec<Option<Outcome>>,
    heard: Vec<(MidiNote, Certainty)>,
    /// Hints given, and for which place.
    hints: (usize, usize),
}

impl DrillScreen {
    /// Nothing heard yet.
    pub fn new(exercise: String, showing: Showing, style: Style, tempo: Option<f64>) -> Self {
        Self {
            exercise,
            showing,
            style,
            tempo,
            notice: None,
            trouble: None,
            input: String::new(),
            ascii: false,
            by_ear: false,
            playing: false,
            outcomes: Vec::new(),
            heard: Vec::new(),
            hints: (0, 0),
        }
    }

    /// Takes what the listener tells; true if what sounds has changed.
    pub fn hear(&mut self, events: &[Event]) -> bool {
        let mut changed = false;
        for event in events {
            if let Event::Sounding(state) = event {
                self.heard = state
                    .notes
                    .iter()
                    .map(|note| (note.midi, note.certainty))
                    .collect();
                changed = true;
            }
        }
        changed
    }

    /// Gives one more hint for the target at a place.
    pub fn hint(&mut self, place: usize) {
        let given = if self.hints.0 == place {
            self.hints.1
        } else {
            0
        };
        self.hints = (place, given + 1);
    }

    fn hints_for(&self, place: usize) -> usize {
        if self.hints.0 == place {
            self.hints.1
        } else {
            0
        }
    }

    /// What stands in large letters: the target as it is shown, or what hints have told of it.
    fn headline(&self, target: &Target, place: usize) -> String {
        let style = if self.ascii { Style::Ascii } else { self.style };
        let symbol = target.chord.symbol(style);
        let hints = self.hints_for(place);
        match self.showing {
            Showing::Symbol => symbol,
            Showing::Degrees => format!("{} {}", target.chord.root, degree_words(target)),
            Showing::Numeral => match &target.place {
                Some(place) => place.split(' ').next().unwrap_or_default().to_owned(),
                None => symbol,
            },
            Showing::Keyboard if hints == 0 => String::new(),
            Showing::Hidden if hints == 0 => "?".to_owned(),
            Showing::Keyboard | Showing::Hidden => hint_words(target, hints, style),
        }
    }
}

/// Rows of large letters.
const LARGE_ROWS: u16 = 8;

/// Draws the screen of a drill: what is asked for, large; what sounds; the last mark; the round of keys; what can be pressed.
pub fn draw(
    screen: &DrillScreen,
    course: &Course,
    last: Option<(&Target, &Mark)>,
    palette: Palette,
    area: Rect,
    buffer: &mut Buffer,
) {
    let mut page = Rows {
        area,
        buffer,
        next: 0,
    };
    let of = course.targets().len();
    let place = course.place();
    let tempo = screen.tempo.map_or(String::new(), |tempo| {
        format!("   {tempo} beats per minute")
    });
    page.row(
        &format!(
            "{}   {} of {of}{tempo}",
            screen.exercise,
            (place + 1).min(of)
        ),
        palette.faint(),
    );
    if let Some(target) = course.target() {
        page.next += 1;
        headline(screen, target, place, palette, &mut page);
        page.row(&detail(screen, target), palette.faint());
        page.next += 1;
        keyboards(screen, target, palette, &mut page);
    }
    page.next += 1;
    if let Some((target, mark)) = last {
        marked(target, mark, palette, &mut page);
    }
    page.next += 1;
    round(screen, course, palette, &mut page);
    let (said, style) = match (&screen.trouble, &screen.notice) {
        (Some(trouble), _) => (trouble, palette.alarm()),
        (None, Some(notice)) => (notice, palette.faint()),
        (None, None) => (&screen.input, palette.faint()),
    };
    let said = wrapped(said, usize::from(area.width));
    // A message is whole even where it must write over what stands above it.
    let bottom = usize::from(area.height).saturating_sub(1 + said.len().max(1));
    page.next = bottom as u16;
    page.clear_below();
    said.iter().for_each(|line| page.row(line, style));
    page.next = area.height.saturating_sub(1);
    let ear = if screen.by_ear {
        "   r  hear it again"
    } else {
        ""
    };
    page.row(
        &format!("space  hint   n  next{ear}   q  end   (or just play)"),
        palette.faint(),
    );
}

/// Rows of an area, one after another; what lies below its end is not written.
struct Rows<'a> {
    area: Rect,
    buffer: &'a mut Buffer,
    next: u16,
}

impl Rows<'_> {
    /// Empties the next row and all below it.
    fn clear_below(&mut self) {
        for row in self.next..self.area.height {
            let blank = " ".repeat(usize::from(self.area.width));
            self.buffer.set_string(
                self.area.x,
                self.area.y + row,
                blank,
                ratatui::style::Style::reset(),
            );
        }
    }

    fn row(&mut self, text: &str, style: ratatui::style::Style) {
        if self.next < self.area.height {
            let (x, y) = (self.area.x, self.area.y + self.next);
            self.buffer
                .set_stringn(x, y, text, usize::from(self.area.width), style);
        }
        self.next += 1;
    }
}

fn headline(
    screen: &DrillScreen,
    target: &Target,
    place: usize,
    palette: Palette,
    page: &mut Rows<'_>,
) {
    let text = screen.headline(target, place);
    if text.is_empty() {
        return;
    }
    let room = page
        .area
        .height
        .saturating_sub(page.next + 9)
        .min(LARGE_ROWS);
    match large(
        &text,
        usize::from(page.area.width),
        usize::from(room),
        !screen.ascii,
    ) {
        Some(rows) => rows.iter().for_each(|row| page.row(row, palette.strong())),
        None => page.row(&text, palette.strong()),
    }
}

/// The form, and the place in the key where there is one.
fn detail(screen: &DrillScreen, target: &Target) -> String {
    if screen.playing {
        return "listen".to_owned();
    }
    match (&target.place, screen.showing) {
        (_, Showing::Hidden) => target.form.to_string(),
        (Some(place), _) => format!("{place}, {}", target.form),
        (None, _) => target.form.to_string(),
    }
}

/// What is asked for on a keyboard, where it is shown so, and what sounds below it.
fn keyboards(screen: &DrillScreen, target: &Target, palette: Palette, page: &mut Rows<'_>) {
    let shapes = if screen.ascii {
        &KeyShapes::ASCII
    } else {
        &KeyShapes::BLOCKS
    };
    let example = target.example();
    let keys = example
        .iter()
        .copied()
        .chain(screen.heard.iter().map(|(key, _)| *key));
    let most = usize::from(page.area.width).saturating_sub(12);
    let range = KeyRange::around(keys, most).widened_to(most);
    if screen.showing == Showing::Keyboard {
        let asked = example.iter().map(|&key| (key, Certainty::Sure));
        page.row(
            &format!("asked for {}", one_line(asked, range, shapes)),
            palette.strong(),
        );
    }
    let heard = one_line(screen.heard.iter().copied(), range, shapes);
    page.row(&format!("heard     {heard}"), palette.sounding());
}

/// The last mark: its sign and word large, and what was played otherwise.
fn marked(target: &Target, mark: &Mark, palette: Palette, page: &mut Rows<'_>) {
    let style = match mark.outcome {
        Outcome::Right => palette.strong(),
        Outcome::Slip => palette.alarm(),
        Outcome::Unsure => palette.provisional(),
    };
    let symbol = target.chord.symbol(Style::Ascii);
    let word = mark.outcome.word().to_uppercase();
    page.row(&format!("{} {word}   {symbol}", sign(mark.outcome)), style);
    let words = mark_words(target, mark);
    let lines = wrapped(&words, usize::from(page.area.width));
    lines.iter().for_each(|line| page.row(line, style));
    if lines.is_empty() {
        page.next += 1;
    }
}

/// The round of keys, each with the sign of its last mark; the present one in brackets.
fn round(screen: &DrillScreen, course: &Course, palette: Palette, page: &mut Rows<'_>) {
    let mut line = String::new();
    for (place, target) in course.targets().iter().enumerate() {
        let outcome = screen.outcomes.get(place).copied().flatten();
        let hidden = screen.showing == Showing::Hidden && outcome != Some(Outcome::Right);
        let root = if hidden {
            "?"
        } else {
            target.chord.root.name()
        };
        let mark = outcome.map_or("", sign);
        let one = if place == course.place() {
            format!("[{root}{mark}]")
        } else {
            format!(" {root}{mark} ")
        };
        if line.chars().count() + one.chars().count() > usize::from(page.area.width) {
            page.row(&line, palette.faint());
            line.clear();
        }
        line.push_str(&one);
    }
    page.row(&line, palette.faint());
}
