//! Runs the live screen on the terminal.
//!
//! Input: news of the listening thread, keys, signals. Output: the screen; the terminal as it was, whatever happens.
//! Units: none. Method: one thread waits for keys and reads none after the one that ends it, since what is typed then is for the shell;
//! this one sleeps until there is news or a key. ratatui on crossterm's alternate screen; a panic hook and the end of [`run`] restore the
//! terminal (a fault of the listening thread is told after that), and signals only set a flag that is looked at here.
//! Limits: draws at most once in [`DRAW_PAUSE`]; a change of the keys or of the answer is drawn at once.

use crate::chart::recording::Wording;
use crate::cli::{CliError, CommandResult};
use crate::session::contained::{contained, containing};
#[cfg(debug_assertions)]
use crate::session::live::panic_where_a_test_asks;
use crate::session::live::{Keep, LISTENING, Listening, ListeningError, News, naming_failed};
use crate::session::sitting::Sitting;
use crate::view::ink::Palette;
use crate::view::live::{Live, Press, Request, Shapes, draw};
use ratatui::backend::CrosstermBackend;
use ratatui::crossterm::event::{self, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use ratatui::crossterm::execute;
use ratatui::crossterm::terminal::{EnterAlternateScreen, enable_raw_mode};
use ratatui::{DefaultTerminal, Frame};
use std::io;
use std::path::PathBuf;
use std::sync::mpsc::{Receiver, TryRecvError, channel};
use std::sync::{Arc, OnceLock};
use std::thread;
use std::time::{Duration, Instant};

/// Time between two screens while nothing but meters moves.
const DRAW_PAUSE: Duration = Duration::from_millis(100);

/// How the screen begins.
#[derive(Debug, Clone)]
pub struct Screen {
    /// How chords are named.
    pub naming: Wording,
    /// What is drawn from.
    pub shapes: Shapes,
    /// Large letters.
    pub large: bool,
    /// Answers hidden until asked for.
    pub guess_first: bool,
    /// Stand-ins for the chord that is shown.
    pub stand_ins: bool,
    /// How the last minute is kept.
    pub keep: Keep,
}

/// Starts to listen and draws what is heard until the player or `ended` ends it; `sitting` keeps all that was played and marked.
///
/// # Errors
/// That of `start`, or if the terminal cannot be drawn on.
pub fn run(
    start: impl FnOnce() -> Result<Listening, ListeningError>,
    screen: &Screen,
    ended: impl Fn() -> bool,
    sitting: &mut Sitting,
) -> CommandResult {
    // Before there is a thread that could fail; and contained work may be noted below this hook or above it.
    let fault = watch_for_faults();
    let shown = start().map(|mut listening| {
        let shown = open_terminal()
            .and_then(|mut terminal| show(&mut terminal, &listening, screen, ended, sitting));
        ratatui::restore();
        listening.end();
        listening
            .news
            .try_iter()
            .for_each(|news| sitting.follow(&news));
        shown
    });
    if let Some(told) = fault.get() {
        eprintln!("{told}");
    }
    match shown? {
        Ok(End::Asked) => Ok(()),
        Ok(End::ListeningFailed) => Err(ListeningError::Fault.into()),
        Err(error) => Err(CliError::failed(format!(
            "the terminal cannot be drawn on ({error}); use --plain for one line per chord"
        ))),
    }
}

/// From now on a panic restores the terminal before it is told; what one of the listening thread tells is kept instead, since the screen
/// goes on until it sees that the thread is gone, and would draw over it.
pub fn watch_for_faults() -> Arc<OnceLock<String>> {
    let fault = Arc::new(OnceLock::new());
    let kept = fault.clone();
    let tell = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |told| {
        if containing() {
            // Told as a sentence by whom it concerns; the hook below only notes it.
            tell(told);
        } else if thread::current().name() == Some(LISTENING) {
            // A second fault of the same thread is not told.
            let _ = kept.set(told.to_string());
        } else {
            ratatui::restore();
            tell(told);
        }
    }));
    fault
}

/// As [`ratatui::try_init`], but for its panic hook, which would give the terminal back while the screen is still drawn.
pub fn open_terminal() -> io::Result<DefaultTerminal> {
    enable_raw_mode()?;
    execute!(io::stdout(), EnterAlternateScreen)?;
    DefaultTerminal::new(CrosstermBackend::new(io::stdout()))
}

/// Why the screen has ended.
enum End {
    Asked,
    ListeningFailed,
}

fn show(
    terminal: &mut DefaultTerminal,
    listening: &Listening,
    screen: &Screen,
    ended: impl Fn() -> bool,
    sitting: &mut Sitting,
) -> io::Result<End> {
    let palette = Palette::of_environment();
    let mut live = Live::new("", screen.naming)
        .with_shapes(screen.shapes)
        .with_large_letters(screen.large)
        .with_guess_first(screen.guess_first)
        .with_stand_ins(screen.stand_ins);
    let mut keys = Keys::default();
    let mut reader = Keys::default();
    let events = read_key_events(move |key| reader.press_of(*key) == Some(Press::Quit));
    let mut drawn: Option<Instant> = None;
    while !ended() {
        let mut at_once = match take_news(&mut live, listening, sitting) {
            Some(at_once) => at_once,
            None => return Ok(End::ListeningFailed),
        };
        for key in events.try_iter() {
            at_once = true;
            let press = key?.and_then(|key| keys.press_of(key));
            let request = press.and_then(|press| live.press(press));
            sitting.mark(live.marks());
            match request {
                Some(Request::Quit) => return Ok(End::Asked),
                Some(Request::Keep) => {
                    live.notice("writing the last minute");
                    listening.keep_last_minute(Keep {
                        marks: live.marks(),
                        ..screen.keep.clone()
                    });
                }
                None => {}
            }
        }
        if at_once || drawn.is_none_or(|drawn| drawn.elapsed() >= DRAW_PAUSE) {
            terminal.draw(|frame: &mut Frame<'_>| {
                draw(&live, palette, frame.area(), frame.buffer_mut())
            })?;
            drawn = Some(Instant::now());
            #[cfg(debug_assertions)]
            panic_where_a_test_asks("screen");
        }
        // News and keys wake it.
        thread::park_timeout(DRAW_PAUSE);
    }
    Ok(End::Asked)
}

/// Reads keys on a thread of its own, which ends with the first one that `ends` the screen, or where they cannot be read; `None` for what changes only
/// the picture, as a terminal that was resized.
pub fn read_key_events(
    mut ends: impl FnMut(&KeyEvent) -> bool + Send + 'static,
) -> Receiver<io::Result<Option<KeyEvent>>> {
    let (sender, keys) = channel();
    let screen = thread::current();
    thread::spawn(move || {
        loop {
            let press = event::read().map(|event| match event {
                event::Event::Key(key) => Some(key),
                _ => None,
            });
            let last = match &press {
                Ok(key) => key.as_ref().is_some_and(&mut ends),
                Err(_) => true,
            };
            if sender.send(press).is_err() {
                return;
            }
            screen.unpark();
            if last {
                return;
            }
        }
    });
    keys
}

/// Takes all news there is; true if some of it must be seen at once, `None` once the thread is gone.
fn take_news(live: &mut Live, listening: &Listening, sitting: &mut Sitting) -> Option<bool> {
    let mut at_once = false;
    loop {
        let news = listening.news.try_recv();
        if let Ok(news) = &news {
            sitting.follow(news);
        }
        match news {
            Ok(News::Heard(events)) => {
                match contained(|| live.hear(&events)) {
                    Ok(changed) => at_once |= changed,
                    Err(fault) => live.notice(naming_failed(&fault)),
                }
                listening.give_back(events);
            }
            Ok(News::Meter(meter)) => live.measure(meter),
            Ok(News::Pace(hops)) => live.keep_pace(hops),
            Ok(News::Input(name)) => live.listen_to(name),
            Ok(News::Trouble(sentence)) => live.trouble(Some(sentence)),
            Ok(News::Fault(sentence)) => live.notice(sentence),
            Ok(News::Kept(Ok(files))) => live.notice(format!("kept: {}", list(&files))),
            Ok(News::Kept(Err(sentence))) => live.notice(sentence),
            Err(TryRecvError::Empty) => return Some(at_once),
            Err(TryRecvError::Disconnected) => return None,
        }
    }
}

fn list(files: &[PathBuf]) -> String {
    files
        .iter()
        .map(|file| file.display().to_string())
        .collect::<Vec<_>>()
        .join(", ")
}

/// What keys ask for: while a word is typed to a mark, letters belong to it. The thread that reads them and the screen each follow this by
/// themselves, since the one must know the last key before the other has seen it.
#[derive(Debug, Default)]
struct Keys {
    marked: bool,
    types: bool,
}

impl Keys {
    /// What the next key asks for. Some terminals tell of a key's release as well, which is no press.
    fn press_of(&mut self, key: KeyEvent) -> Option<Press> {
        if key.kind == KeyEventKind::Release {
            return None;
        }
        let control = key.modifiers.contains(KeyModifiers::CONTROL);
        let press = match key.code {
            // In raw mode Ctrl-C arrives as a key.
            KeyCode::Char('c') if control => Some(Press::Quit),
            KeyCode::Char(letter) if self.types => (!control).then_some(Press::Letter(letter)),
            KeyCode::Backspace if self.types => Some(Press::Rub),
            KeyCode::Enter if self.types => Some(Press::WordDone { kept: true }),
            KeyCode::Esc if self.types => Some(Press::WordDone { kept: false }),
            _ if self.types => None,
            KeyCode::Char('w') => self.marked.then_some(Press::Word),
            _ => plain_press_of(key),
        };
        match press {
            Some(Press::Mark) => self.marked = true,
            Some(Press::Word) => self.types = true,
            Some(Press::WordDone { .. }) => self.types = false,
            _ => {}
        }
        press
    }
}

/// What a key asks for where no word is typed.
fn plain_press_of(key: KeyEvent) -> Option<Press> {
    Some(match key.code {
        KeyCode::Char('q') | KeyCode::Esc => Press::Quit,
        KeyCode::Char('p') => Press::Pause,
        KeyCode::Char('g') => Press::GuessFirst,
        KeyCode::Char(' ') => Press::Show,
        KeyCode::Char('k') => Press::Keep,
        KeyCode::Char('m') => Press::Mark,
        KeyCode::Char('?' | 'h') => Press::Help,
        KeyCode::Char('l') => Press::Large,
        KeyCode::Char('s') => Press::NextStyle,
        KeyCode::Char('0') => Press::NoKey,
        KeyCode::Left => Press::KeyByFifths(-1),
        KeyCode::Right => Press::KeyByFifths(1),
        KeyCode::Down | KeyCode::Up => Press::OtherMode,
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn presses(keys: &[KeyCode]) -> Vec<Option<Press>> {
        let mut state = Keys::default();
        let press = |&code| state.press_of(KeyEvent::new(code, KeyModifiers::NONE));
        keys.iter().map(press).collect()
    }

    #[test]
    fn letters_belong_to_the_word_while_one_is_typed_and_only_then() {
        use KeyCode::{Char, Enter, Esc};
        let typed = presses(&[Char('m'), Char('w'), Char('q'), Char('m'), Enter, Char('q')]);
        let expected = [
            Press::Mark,
            Press::Word,
            Press::Letter('q'),
            Press::Letter('m'),
            Press::WordDone { kept: true },
            Press::Quit,
        ];
        assert_eq!(typed, expected.map(Some));
        let left_out = presses(&[Char('m'), Char('w'), Esc, Esc]);
        let end = [Press::WordDone { kept: false }, Press::Quit].map(Some);
        assert_eq!(left_out[2..], end);
        assert_eq!(presses(&[Char('w'), Char('q')]), [None, Some(Press::Quit)]);
    }

    #[test]
    fn control_c_ends_while_a_word_is_typed() {
        let mut keys = Keys::default();
        for letter in ['m', 'w'] {
            keys.press_of(KeyEvent::new(KeyCode::Char(letter), KeyModifiers::NONE));
        }
        let end = KeyEvent::new(KeyCode::Char('c'), KeyModifiers::CONTROL);
        assert_eq!(keys.press_of(end), Some(Press::Quit));
    }
}
