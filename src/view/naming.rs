//! Names and readings of one set of notes, printed for reading.
//!
//! Input: a [`Naming`]. Output: lines of text. Units: scores in hundredths, told only where all is told.
//! Method: short first, as on a blackboard: the keys, the names that count, each stand-in on one line with its goal. All the rest, degrees, scores,
//! reasons and voice leading, is told where it is asked for. Players think from symbol to notes, so the keyboard comes before the symbol.
//! Limits: lines are not wrapped.

use super::spelling::Hand;
use crate::chart::written;
use crate::harmony::voicing::all_keys::InKey;
use crate::harmony::{
    Chord, Context, Degree, Name, NamedNote, Naming, Reading, ReadingKind, Scale, Sounding,
    Spelled, Verdict, VoiceStep, Why,
};
use crate::listener::Certainty;
use crate::view::ink::Ink;
use crate::view::keyboard::{KeyRange, one_line};
use std::io::{self, Write};

/// A name less likely than this is not shown at all: its score would read 0.00.
const LEAST_SHOWN: f32 = 0.005;
/// A name less likely than this does not count.
const LEAST_NAME: f32 = 0.1;
/// A reading less likely than this waits for the long answer.
const LEAST_READING: f32 = 0.08;
/// Most readings of a short answer.
const MOST_READINGS: usize = 4;
/// Most goals on a line.
const MOST_GOALS: usize = 2;
/// What the signs of the keyboard say, once an answer.
const LEGEND: &str = "▄ white, ▀ black, numbers mark each C";
const ASCII_LEGEND: &str = "O white, # black, numbers mark each C";

/// What is to be printed of one set of notes.
#[derive(Debug, Clone, Copy)]
pub struct Answer<'a> {
    /// What was typed.
    pub sounding: &'a Sounding,
    /// The chord symbol that was typed, if it was one.
    pub symbol: Option<Chord>,
    /// What it can be called and stand for.
    pub naming: &'a Naming,
    /// Its surroundings.
    pub context: &'a Context,
}

/// Prints the short answer, or with `more` all that is known.
///
/// # Errors
/// If nothing can be written.
pub fn print_naming(
    answer: &Answer,
    more: bool,
    hand: Hand,
    ink: Ink,
    out: &mut dyn Write,
) -> io::Result<()> {
    print_keys(answer, hand, ink, out)?;
    if more {
        print_all(answer, hand, ink, out)
    } else {
        print_short(answer, hand, ink, out)
    }
}

/// The keyboard, its notes, and what was typed.
fn print_keys(answer: &Answer, hand: Hand, ink: Ink, out: &mut dyn Write) -> io::Result<()> {
    let keys = || answer.sounding.notes.iter().map(|note| note.midi);
    let columns = usize::from(ink.columns).saturating_sub(2).max(37);
    let range = KeyRange::around(keys(), columns);
    let sure = keys().map(|key| (key, Certainty::Sure));
    let keyboard = one_line(sure, range, ink.keys());
    let legend = ink.faint(if ink.ascii { ASCII_LEGEND } else { LEGEND });
    writeln!(out, "{}   {legend}", keyboard.trim_end())?;
    if let Some(symbol) = answer.symbol {
        write!(out, "{}  ", ink.strong(hand.chord(&symbol)))?;
    }
    write!(out, "{}", keys_text(&answer.naming.notes, hand))?;
    match answer.sounding.stated_bass {
        Some(bass) => {
            let typed = answer.sounding.typed[usize::from(bass.get())];
            let bass = typed.unwrap_or(Spelled::usual(bass));
            writeln!(out, "   over {}", hand.note(bass))
        }
        None => writeln!(out),
    }
}

fn keys_text(notes: &[NamedNote], hand: Hand) -> String {
    let keys: Vec<String> = notes.iter().map(|note| hand.key(note)).collect();
    keys.join(" ")
}

fn print_short(answer: &Answer, hand: Hand, ink: Ink, out: &mut dyn Write) -> io::Result<()> {
    let best = answer.naming.names.first().map(|name| name.chord);
    let says_no_more = answer.naming.verdict == Verdict::Named && best == answer.symbol;
    if answer.symbol.is_none() || !says_no_more {
        writeln!(out, "{}", names_line(answer, hand, ink))?;
    }
    let readings = &answer.naming.readings;
    let likely = readings.iter().filter(|r| r.score.get() >= LEAST_READING);
    let shown: Vec<&Reading> = likely
        .filter(|reading| !is_told_by_a_name(reading, answer.naming))
        .take(MOST_READINGS)
        .collect();
    for (nth, reading) in shown.iter().enumerate() {
        writeln!(out, "{}", reading_line(reading, answer, hand, ink))?;
        // The way to the chord that was told is always shown.
        if let (0, Some(_), Some(way)) = (nth, answer.context.after, reading.resolves_to.first()) {
            let voices = from_below(&way.voices, &answer.naming.notes);
            writeln!(out, "    {}", hand.voices(&voices))?;
        }
    }
    if shown.len() < readings.len() {
        writeln!(
            out,
            "{}",
            ink.faint("degrees, voice leading and less likely readings: --more")
        )?;
    }
    Ok(())
}

/// The voices in the order of the keys, lowest first; a stated bass before them.
fn from_below(voices: &[VoiceStep], notes: &[NamedNote]) -> Vec<VoiceStep> {
    let mut sorted = voices.to_vec();
    let place = |voice: &VoiceStep| {
        let is_it = |note: &NamedNote| note.name.class() == voice.from.class();
        notes.iter().position(is_it).map_or(0, |at| at + 1)
    };
    sorted.sort_by_key(place);
    sorted
}

/// True of a slash chord that stands among the names already.
fn is_told_by_a_name(reading: &Reading, naming: &Naming) -> bool {
    let counts = |name: &&Name| name.score.get() >= LEAST_SHOWN;
    reading.kind == ReadingKind::TriadOverBass
        && naming
            .names
            .iter()
            .filter(counts)
            .any(|name| name.chord == reading.chord)
}

/// `undecided: G13 without root, C♯7alt without root or Fmaj7(♭5)`, or `Cmaj7`.
fn names_line(answer: &Answer, hand: Hand, ink: Ink) -> String {
    let naming = answer.naming;
    let counting = naming
        .names
        .iter()
        .filter(|name| name.score.get() >= LEAST_NAME);
    let names: Vec<String> = counting.map(|name| name_text(name, hand, ink)).collect();
    let joined = match &names[..] {
        [] => String::new(),
        [one] => one.clone(),
        [others @ .., last] => format!("{} or {last}", others.join(", ")),
    };
    match naming.verdict {
        Verdict::Named => joined,
        Verdict::Undecided => format!("undecided: {joined}"),
        Verdict::NoGoodName => match naming.names.first() {
            None => "no name: the notes are the answer".to_owned(),
            Some(nearest) => format!("no good name; nearest {}", hand.chord(&nearest.chord)),
        },
    }
}

fn name_text(name: &Name, hand: Hand, ink: Ink) -> String {
    let chord = name.chord;
    if chord.lower.is_some() {
        return ink.strong(hand.chord(&chord)).to_string();
    }
    let chart = chord.on_chart();
    let rootless = chord.omitted.contains(Degree::ROOT);
    if rootless {
        return format!("{} without root", ink.strong(hand.chord(&chart)));
    }
    let symbol = ink.strong(hand.chord(&chord)).to_string();
    if chart.degrees == chord.degrees {
        symbol
    } else {
        format!("{symbol} (on a chart {})", hand.chord(&chart))
    }
}

/// `= B♭7(♯9) without root, V7 in E♭ minor -> E♭m6`.
fn reading_line(reading: &Reading, answer: &Answer, hand: Hand, ink: Ink) -> String {
    let mut parts = vec![what_it_is(reading, hand, ink)];
    match (&reading.function, key_text(answer.context)) {
        (Some(function), Some(key)) => {
            parts.push(ink.signs(format!("{} in {key}", function.numeral)))
        }
        _ if reading.kind == ReadingKind::RelatedTwo => parts.push("ii".to_owned()),
        _ => {}
    }
    let also = reading.also.iter();
    parts.extend(also.filter_map(|(kind, why)| also_text(*kind, why, reading, hand)));
    let mut line = format!("= {}", parts.join(", "));
    let most = match answer.context.after {
        Some(_) => 1,
        None => MOST_GOALS,
    };
    let ways = reading.resolves_to.iter().take(most);
    let goals: Vec<String> = ways.map(|way| hand.chord(&way.to)).collect();
    if !goals.is_empty() {
        line.push_str(&format!(" -> {}", goals.join(" or ")));
    }
    line
}

/// The key as it was stated: `D dorian`, `F major`.
fn key_text(context: &Context) -> Option<String> {
    let key = context.key?;
    let word = |scale: Scale| {
        Scale::ALL
            .iter()
            .find(|(_, s)| *s == scale)
            .map(|(word, _)| word)
    };
    Some(match context.scale.and_then(word) {
        Some(word) => format!("{} {word}", key.tonic),
        None => key.to_string(),
    })
}

/// What a player would want to hear beside the first thing that a chord is.
fn also_text(kind: ReadingKind, why: &Why, reading: &Reading, hand: Hand) -> Option<String> {
    let rootless = |kind| {
        matches!(
            kind,
            ReadingKind::RootlessDominant | ReadingKind::RootlessVoicing
        )
    };
    match (kind, why) {
        (ReadingKind::UpperStructure, Why::Upper { triads, .. }) => {
            let triads: Vec<String> = triads.iter().map(|triad| hand.chord(triad)).collect();
            Some(format!("upper structure {}", triads.join(" ")))
        }
        (ReadingKind::Function | ReadingKind::Dominant, _) => None,
        // What has no root says nothing more by being a substitute for the other dominant that has none.
        _ if rootless(kind) || kind == ReadingKind::TritonePair && rootless(reading.kind) => None,
        _ => Some(kind.words().to_owned()),
    }
}

fn what_it_is(reading: &Reading, hand: Hand, ink: Ink) -> String {
    let symbol = |chord: &Chord| {
        let plain = Chord {
            omitted: chord.omitted.without(Degree::ROOT),
            ..*chord
        };
        ink.strong(hand.chord(&plain)).to_string()
    };
    let chord = symbol(&reading.chord);
    match reading.kind {
        ReadingKind::RootlessDominant | ReadingKind::RootlessVoicing => {
            format!("{chord} without root")
        }
        ReadingKind::Function | ReadingKind::RelatedTwo => chord,
        ReadingKind::HalfWholeFamily => {
            let family: Vec<String> = reading.family.iter().map(symbol).collect();
            format!("{}: {}", reading.kind, family.join(" "))
        }
        ReadingKind::DelayedTonic => reading.kind.to_string(),
        ReadingKind::EnrichedDiminishedSeventh => format!("{chord} with a note raised"),
        kind => format!("{chord}, {kind}"),
    }
}

/// Names with scores and degrees, readings with their reasons and ways.
fn print_all(answer: &Answer, hand: Hand, ink: Ink, out: &mut dyn Write) -> io::Result<()> {
    let naming = answer.naming;
    let names: Vec<&Name> = naming
        .names
        .iter()
        .filter(|name| name.score.get() >= LEAST_SHOWN)
        .collect();
    let heading = match naming.verdict {
        Verdict::Named => "names",
        Verdict::Undecided if names.len() == 1 => "undecided; the one name that may do",
        Verdict::Undecided => "undecided; the likeliest names",
        Verdict::NoGoodName if names.is_empty() => "no name: the notes are the answer",
        Verdict::NoGoodName => "no good name: the notes are the answer; the least bad names",
    };
    writeln!(out, "\n{heading}")?;
    let symbols: Vec<String> = names.iter().map(|name| hand.chord(&name.chord)).collect();
    let width = symbols.iter().map(|s| s.chars().count()).max().unwrap_or(0);
    for (name, symbol) in names.iter().zip(symbols) {
        let padded = format!("{symbol:<width$}");
        writeln!(
            out,
            "  {}  {:.2}  {}",
            ink.strong(padded),
            name.score.get(),
            hand.degrees(&name.degrees)
        )?;
    }
    if !naming.readings.is_empty() {
        writeln!(out, "\nwhat it can stand for")?;
    }
    for reading in &naming.readings {
        print_reading(reading, answer, hand, ink, out)?;
    }
    Ok(())
}

fn print_reading(
    reading: &Reading,
    answer: &Answer,
    hand: Hand,
    ink: Ink,
    out: &mut dyn Write,
) -> io::Result<()> {
    let line = reading_line(reading, answer, hand, ink);
    writeln!(out, "  {line}  {:.2}", reading.score.get())?;
    let missing = if reading.missing.is_empty() {
        String::new()
    } else {
        let missing: Vec<String> = reading.missing.iter().map(|d| hand.degree(d)).collect();
        format!("; without {}", missing.join(" "))
    };
    writeln!(out, "      {}{missing}", hand.degrees(&reading.degrees))?;
    let also = reading.also.iter().map(|(_, why)| why);
    for why in [&reading.why].into_iter().chain(also) {
        writeln!(out, "      {}", ink.faint(written::why(why, hand.style)))?;
    }
    for way in &reading.resolves_to {
        let voices = from_below(&way.voices, &answer.naming.notes);
        writeln!(
            out,
            "      to {}: {}",
            hand.chord(&way.to),
            hand.voices(&voices)
        )?;
    }
    Ok(())
}

/// Prints a voicing in all keys, a line for each.
///
/// # Errors
/// If nothing can be written.
pub fn print_all_keys(keys: &[InKey], hand: Hand, ink: Ink, out: &mut dyn Write) -> io::Result<()> {
    let written: Vec<(String, String)> = keys
        .iter()
        .map(|key| {
            let symbol = key.chord.map(|chord| hand.chord(&chord));
            (symbol.unwrap_or_default(), keys_text(&key.notes, hand))
        })
        .collect();
    let columns = |text: &String| text.chars().count();
    let width = written.iter().map(|(symbol, _)| columns(symbol)).max();
    let notes_width = written.iter().map(|(_, notes)| columns(notes)).max();
    let (width, notes_width) = (width.unwrap_or(0), notes_width.unwrap_or(0));
    for (key, (symbol, notes)) in keys.iter().zip(written) {
        let symbol = format!("{symbol:<width$}");
        writeln!(
            out,
            "{}  {notes:<notes_width$}  {}",
            ink.strong(symbol),
            hand.degrees(&key.degrees)
        )?;
    }
    Ok(())
}
