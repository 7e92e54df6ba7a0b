//! From the strike of an attempt's last key to its mark on the screen of `lidprop drill`, and whether the mark is just.
//!
//! Input: the drills of a labelled corpus. Output: [`Attempted`] a labelled attempt. Units: seconds.
//! Method: each drill is played into the virtual input while `lidprop drill` asks for what it should be; where an attempt is not marked right, the
//! key for the next chord is pressed, as a player would who does not try again. A change of the row with the mark, from the strike on, is its mark.
//! Limits: an attempt without a mark until the next is struck has none. Drills without corrections only.

use crate::clips;
use crate::sound;
use crate::support::{read_all, stereo_wav};
use crate::terminal::Terminal;
use lidprop::harmony::Style;
use lidprop::harmony::chord::label;
use serde::Deserialize;
use std::path::Path;
use std::time::{Duration, Instant};

/// How often the screen is looked at.
const LOOK: Duration = Duration::from_millis(2);
/// The input is open so long after the screen is there.
const OPENS: Duration = Duration::from_secs(1);
/// Strikes of one attempt lie no further after its first.
const STRUCK_WITHIN: f64 = 0.3;

/// What became of an attempt.
#[derive(Debug, Clone, PartialEq)]
pub struct Attempted {
    /// From its last strike to its mark; `None` where it got none.
    pub delay: Option<f64>,
    /// True if it was played right.
    pub right: bool,
    /// The word of its mark, in capitals.
    pub word: String,
}

#[derive(Deserialize)]
struct Drill {
    file: String,
    order: String,
    notes: Vec<Note>,
    attempts: Vec<Attempt>,
}

#[derive(Deserialize)]
struct Note {
    onset: f64,
}

#[derive(Deserialize)]
struct Attempt {
    start: f64,
    target: String,
    right: bool,
}

/// Plays all drills of `corpus`, each to a program of its own.
pub fn attempts(corpus: &Path, folder: &Path) -> Result<Vec<Attempted>, String> {
    let drills = clips::truth::<serde_json::Value>(corpus)?
        .into_iter()
        .filter(|clip| clip["kind"] == "drill");
    let mut all = Vec::new();
    for drill in drills {
        let drill: Drill =
            serde_json::from_value(drill).map_err(|e| format!("{}: {e}", corpus.display()))?;
        all.extend(play(&drill, corpus, folder)?);
    }
    Ok(all)
}

fn play(drill: &Drill, corpus: &Path, folder: &Path) -> Result<Vec<Attempted>, String> {
    let mut source = lidprop::audio::open(corpus.join(&drill.file)).map_err(|e| e.to_string())?;
    let file = stereo_wav(&read_all(&mut source), folder.join("drill.wav"));
    let first = drill.attempts.first().map_or("", |attempt| &attempt.target);
    let chord = label::read(first)
        .ok()
        .flatten()
        .ok_or_else(|| format!("{}: '{first}' is no chord", drill.file))?;
    let symbol = chord.symbol(Style::Ascii);
    let mut terminal = Terminal::start(&["drill", &symbol, "--order", &drill.order, "--unlogged"])?;
    terminal.wait_until_it_listens()?;
    std::thread::sleep(OPENS);
    let begun = Instant::now();
    let mut player = sound::play(&file)?;
    let mut attempted = Vec::new();
    for (n, attempt) in drill.attempts.iter().enumerate() {
        let next = drill.attempts.get(n + 1).map(|next| next.start);
        attempted.push(watch(drill, attempt, next, begun, &mut terminal)?);
    }
    player.wait().map_err(|e| e.to_string())?;
    terminal.quit()?;
    Ok(attempted)
}

/// Looks at the screen from the strike of an attempt to that of the next.
fn watch(
    drill: &Drill,
    attempt: &Attempt,
    next: Option<f64>,
    begun: Instant,
    terminal: &mut Terminal,
) -> Result<Attempted, String> {
    let struck = drill.notes.iter().map(|note| note.onset);
    let last_strike = struck
        .filter(|at| (attempt.start - 0.01..attempt.start + STRUCK_WITHIN).contains(at))
        .fold(attempt.start, f64::max);
    let until = next.unwrap_or(attempt.start + 3.0);
    while begun.elapsed().as_secs_f64() < until {
        for seen in terminal.seen() {
            let at = seen.at.saturating_duration_since(begun).as_secs_f64();
            let Some(mark) = seen.screen.mark.filter(|_| at >= attempt.start) else {
                continue;
            };
            if terminal.last_mark.replace(mark.clone()).as_ref() == Some(&mark) {
                continue;
            }
            let word = mark.split_whitespace().nth(1).unwrap_or_default();
            if word != "RIGHT" {
                terminal.press(b"n")?;
            }
            return Ok(Attempted {
                delay: Some(at - last_strike),
                right: attempt.right,
                word: word.to_owned(),
            });
        }
        std::thread::sleep(LOOK);
    }
    terminal.press(b"n")?;
    Ok(Attempted {
        delay: None,
        right: attempt.right,
        word: String::new(),
    })
}
