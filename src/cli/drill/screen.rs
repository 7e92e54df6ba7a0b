//! The screen of a drill.
//!
//! Input: news of the listening thread; keys of the computer, of which none is needed. Output: the screen; the terminal as it was, whatever happens.
//! Units: none. Method: as [`crate::cli::terminal::screen`], whose rules for the terminal it takes; [`DrillScreen`] draws.
//! Limits: draws at most once in [`DRAW_PAUSE`] while nothing changes.

use super::DrillArgs;
use super::leader::Leader;
use super::live::{End, Task, tone_failed};
use crate::cli::error::{CliError, CommandResult};
use crate::cli::terminal::screen::{open_terminal, read_key_events, watch_for_faults};
use crate::session::live::{Listening, ListeningError, News};
use crate::view::drill::{CARE, DrillScreen, Showing, count_words, draw};
use crate::view::ink::Palette;
use ratatui::crossterm::event::{KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use ratatui::{DefaultTerminal, Frame};
use std::sync::mpsc::TryRecvError;
use std::thread;
use std::time::{Duration, Instant};

/// Time between two screens while only time passes.
const DRAW_PAUSE: Duration = Duration::from_millis(100);
/// The news is looked at so often.
const LOOK: Duration = Duration::from_millis(20);

/// Starts to listen and leads through one task.
///
/// # Errors
/// If the input, the output or the logbook fails, or the terminal cannot be drawn on.
pub fn run(
    start: impl FnOnce() -> Result<Listening, ListeningError>,
    leader: Leader,
    task: &Task,
    showing: Showing,
    args: &DrillArgs,
    end: &End,
) -> CommandResult {
    let fault = watch_for_faults();
    let listening = start()?;
    let shown = open_terminal().map_err(|error| {
        CliError::failed(format!(
            "the terminal cannot be drawn on ({error}); use --plain for lines"
        ))
    });
    let shown = shown.and_then(|mut terminal| {
        let shown = show(&mut terminal, &listening, leader, task, showing, args, end);
        ratatui::restore();
        shown
    });
    if let Some(told) = fault.get() {
        eprintln!("{told}");
    }
    println!("{}: {}", task.exercise.title(), count_words(shown?));
    Ok(())
}

/// What a key asks for.
enum Press {
    Quit,
    Skip,
    Reveal,
    Again,
}

fn press_of(key: KeyEvent) -> Option<Press> {
    if key.kind == KeyEventKind::Release {
        return None;
    }
    match key.code {
        KeyCode::Char('c') if key.modifiers.contains(KeyModifiers::CONTROL) => Some(Press::Quit),
        KeyCode::Char('q') | KeyCode::Esc => Some(Press::Quit),
        KeyCode::Char('n') => Some(Press::Skip),
        KeyCode::Char(' ') => Some(Press::Reveal),
        KeyCode::Char('r') => Some(Press::Again),
        _ => None,
    }
}

fn show(
    terminal: &mut DefaultTerminal,
    listening: &Listening,
    mut leader: Leader,
    task: &Task,
    showing: Showing,
    args: &DrillArgs,
    end: &End,
) -> Result<[usize; 3], CliError> {
    let palette = Palette::of_environment();
    let mut screen = DrillScreen::new(task.exercise.title(), showing, args.style, task.tempo);
    screen.notice = Some(CARE.to_owned());
    screen.ascii = args.ascii;
    let keys = read_key_events(|key| matches!(press_of(*key), Some(Press::Quit)));
    let mut drawn: Option<Instant> = None;
    let mut opened = false;
    while !end.is_there() && leader.course().target().is_some() {
        let mut at_once = take_news(listening, &mut leader, &mut screen, &mut opened)?;
        for key in keys.try_iter() {
            let key = key.map_err(|error| {
                CliError::failed(format!(
                    "the keyboard cannot be read ({error}); use --plain"
                ))
            })?;
            at_once = true;
            match key.and_then(press_of) {
                Some(Press::Quit) => end.now(),
                Some(Press::Skip) => leader.skip(),
                Some(Press::Reveal) => screen.hint(leader.course().place()),
                Some(Press::Again) => {
                    if let Err(error) = leader.play(true) {
                        screen.trouble = Some(tone_failed(&error));
                    }
                }
                None => {}
            }
        }
        if opened && let Err(error) = leader.play(false) {
            screen.trouble = Some(tone_failed(&error));
        }
        if leader.wants_rest() {
            screen.notice = Some(CARE.to_owned());
        }
        if at_once || drawn.is_none_or(|drawn| drawn.elapsed() >= DRAW_PAUSE) {
            paint(terminal, &mut screen, &leader, palette)?;
            drawn = Some(Instant::now());
        }
        thread::park_timeout(LOOK);
    }
    leader.finish()?;
    Ok(leader.marked())
}

/// Takes all news there is; true if some of it must be seen at once. `opened` is true from when there is an input.
fn take_news(
    listening: &Listening,
    leader: &mut Leader,
    screen: &mut DrillScreen,
    opened: &mut bool,
) -> Result<bool, CliError> {
    let mut at_once = false;
    loop {
        match listening.news.try_recv() {
            Ok(News::Heard(events)) => {
                at_once |= !leader.hear(&events)?.is_empty();
                at_once |= screen.hear(&events);
                listening.give_back(events);
            }
            Ok(News::Input(name)) => {
                *opened = true;
                screen.input = name;
                screen.trouble = None;
            }
            Ok(News::Trouble(sentence) | News::Fault(sentence)) => screen.trouble = Some(sentence),
            Ok(News::Meter(_) | News::Pace(_) | News::Kept(_)) => {}
            Err(TryRecvError::Empty) => return Ok(at_once),
            Err(TryRecvError::Disconnected) => return Err(ListeningError::Fault.into()),
        }
    }
}

fn paint(
    terminal: &mut DefaultTerminal,
    screen: &mut DrillScreen,
    leader: &Leader,
    palette: Palette,
) -> Result<(), CliError> {
    screen.playing = leader.is_playing();
    screen.by_ear = leader.is_by_ear();
    screen.outcomes.clear();
    screen.outcomes.extend_from_slice(leader.outcomes());
    let course = leader.course();
    let last = leader
        .last()
        .map(|shown| (&shown.target, &shown.given.mark));
    let drawn = terminal.draw(|frame: &mut Frame<'_>| {
        let area = frame.area();
        draw(screen, course, last, palette, area, frame.buffer_mut());
    });
    drawn.map(drop).map_err(|error| {
        CliError::failed(format!(
            "the terminal cannot be drawn on ({error}); use --plain for lines"
        ))
    })
}
