//! A score before it is written: measures of two staves.
//!
//! Input: a [`Piece`] and what of it is wanted. Output: [`Score`]. Units: divisions of [`DIVISIONS`] a quarter. Method: where bars are believed, chords are put
//! on the nearest beat and notes on the nearest sixteenth, of swung eighths the second on the half of the beat; a voicing lasts until the next. Without bars each chord is a
//! measure without metre. Staves follow the hands.
//! Limits: one voice a staff, so a note that is held below others ends where the next of its hand begins; no triplets; a beat is a quarter.

use crate::chart::hands::{left_hand_keys, parting};
use crate::chart::piece::{Grid, Hand, OnStaff, Piece, PieceChord, PieceNote, place_among};
use crate::harmony::{Key, NamedNote};
use crate::publish::What;
use crate::units::MidiNote;

/// Divisions of a quarter.
pub const DIVISIONS: u32 = 4;
/// A measure without metre that holds one thing is a whole note.
const WHOLE: u32 = 4 * DIVISIONS;
/// Notes that are struck within this time are struck together (s).
const TOGETHER: f64 = 0.06;

/// A score of one part.
#[derive(Debug, Clone, PartialEq)]
pub struct Score {
    /// Its title.
    pub title: String,
    /// The signature.
    pub key: Option<Key>,
    /// 1 or 2.
    pub staves: usize,
    /// Quarters a minute.
    pub tempo: Option<f64>,
    /// True where eighths are swung.
    pub swung: bool,
    /// The measures.
    pub measures: Vec<Measure>,
}

/// One measure.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Measure {
    /// Its beats, and the note that a beat is (4 for a quarter); `None` without metre.
    pub meter: Option<(u32, u32)>,
    /// Its length in divisions.
    pub length: u32,
    /// True for the beats before the first bar.
    pub pickup: bool,
    /// A new key from here on.
    pub key: Option<Key>,
    /// Chords, each where it begins.
    pub symbols: Vec<(u32, OnStaff)>,
    /// Words below the staves, each where it begins.
    pub words: Vec<(u32, String)>,
    /// What the upper and the lower staff hold, without gaps.
    pub staves: [Vec<Event>; 2],
    /// A new line begins here.
    pub new_line: bool,
}

/// One thing on a staff.
#[derive(Debug, Clone, PartialEq)]
pub struct Event {
    /// Where it begins, in its measure.
    pub at: u32,
    /// How long it is.
    pub length: u32,
    /// What it is.
    pub what: Sign,
    /// True where it goes on from the event before.
    pub tied_from: bool,
    /// True where it goes on in the next event.
    pub tied_to: bool,
}

impl Event {
    /// Silence.
    fn rest(at: u32, length: u32) -> Self {
        Self {
            at,
            length,
            what: Sign::Rest,
            tied_from: false,
            tied_to: false,
        }
    }
}

/// What stands on a staff.
#[derive(Debug, Clone, PartialEq)]
pub enum Sign {
    /// Notes, lowest first.
    Notes(Vec<NamedNote>),
    /// A rest.
    Rest,
    /// A stroke: play the chord above.
    Slash,
    /// Nothing.
    Gap,
}

/// What lasts from one place to another, on its staff; places are in divisions from the first beat.
struct Lasting {
    from: u32,
    to: u32,
    staff: usize,
    notes: Vec<NamedNote>,
}

impl Score {
    /// Of a piece.
    pub fn of(piece: &Piece, what: What, title: &str) -> Self {
        let bars = piece.grid.as_ref().and_then(|grid| Bars::of(grid, piece));
        let measures = match &bars {
            Some(bars) => in_bars(piece, what, bars),
            None => without_metre(piece, what),
        };
        Self {
            title: title.to_owned(),
            key: piece.key,
            staves: if what == What::Harmony { 1 } else { 2 },
            tempo: bars
                .as_ref()
                .and(piece.grid.as_ref())
                .map(|grid| grid.rhythm.bpm),
            swung: bars.is_some() && piece.grid.as_ref().is_some_and(|grid| grid.rhythm.swung()),
            measures,
        }
    }
}

/// A voicing in its place; places are in divisions from the first bar line.
#[derive(Debug, Clone, PartialEq)]
pub struct Placed {
    /// Where it begins.
    pub from: u32,
    /// Where it ends.
    pub to: u32,
    /// Keys of the right and the left hand, lowest first.
    pub hands: [Vec<NamedNote>; 2],
    /// The symbol above.
    pub symbol: Option<OnStaff>,
    /// Words below.
    pub words: Option<String>,
}

impl Score {
    /// Of voicings in bars that are stated, each with its beats and the note that a beat is; in time.
    pub fn of_bars(
        title: &str,
        key: Option<Key>,
        staves: usize,
        bars: &[(u32, u32)],
        placed: &[Placed],
    ) -> Self {
        let lasting: Vec<Lasting> = placed
            .iter()
            .flat_map(|voicing| {
                let hands = voicing.hands.iter().enumerate();
                let sounding = hands.filter(|(_, notes)| !notes.is_empty());
                sounding.map(|(staff, notes)| Lasting {
                    from: voicing.from,
                    to: voicing.to,
                    staff,
                    notes: notes.clone(),
                })
            })
            .collect();
        let mut reached = 0;
        let measure = |&(beats, unit): &(u32, u32)| {
            let (from, to) = (reached, reached + beats * divisions_of_beat(unit));
            reached = to;
            let here = || placed.iter().filter(|one| (from..to).contains(&one.from));
            Measure {
                meter: Some((beats, unit)),
                length: to - from,
                symbols: here()
                    .filter_map(|one| Some((one.from - from, one.symbol?)))
                    .collect(),
                words: here()
                    .filter_map(|one| Some((one.from - from, one.words.clone()?)))
                    .collect(),
                staves: [0, 1].map(|staff| staff_of_bar(&lasting, staff, from, to)),
                ..Measure::default()
            }
        };
        Self {
            title: title.to_owned(),
            key,
            staves,
            tempo: None,
            swung: false,
            measures: bars.iter().map(measure).collect(),
        }
    }
}

/// Divisions of a beat that is such a part of a whole note.
pub fn divisions_of_beat(unit: u32) -> u32 {
    (WHOLE / unit.max(1)).max(1)
}

/// Keys of the right and the left hand.
pub fn hands(keys: &[NamedNote], before: &mut Option<MidiNote>) -> [Vec<NamedNote>; 2] {
    let midi: Vec<MidiNote> = keys.iter().map(|key| key.midi).collect();
    let left = left_hand_keys(&midi, *before);
    *before = parting(&midi, left);
    let (low, high) = keys.split_at(left);
    [high.to_vec(), low.to_vec()]
}

/// The name of what sounds, where the chord above stands for something else.
pub fn words_below(chord: &PieceChord, style: crate::harmony::Style) -> Option<String> {
    let sounds = chord.stands_for.and(chord.best())?;
    Some(sounds.chord.symbol(style))
}

fn whole(what: Sign) -> Event {
    Event {
        at: 0,
        length: WHOLE,
        what,
        tied_from: false,
        tied_to: false,
    }
}

fn notes_or_gap(notes: Vec<NamedNote>) -> Sign {
    match notes.is_empty() {
        true => Sign::Gap,
        false => Sign::Notes(notes),
    }
}

fn without_metre(piece: &Piece, what: What) -> Vec<Measure> {
    let mut before = None;
    let mut measures: Vec<Measure> = Vec::with_capacity(piece.chords.len());
    for chord in &piece.chords {
        let staves = match what {
            What::Harmony => [vec![whole(Sign::Slash)], Vec::new()],
            _ => hands(&chord.keys_on_staff(), &mut before)
                .map(|notes| vec![whole(notes_or_gap(notes))]),
        };
        measures.push(Measure {
            length: WHOLE,
            symbols: chord
                .on_staff()
                .map(|symbol| (0, symbol))
                .into_iter()
                .collect(),
            words: words_below(chord, piece.style)
                .filter(|_| what != What::Harmony)
                .map(|words| (0, words))
                .into_iter()
                .collect(),
            staves,
            ..Measure::default()
        });
    }
    if what == What::Notes {
        strikes_in_measures(piece, &mut measures);
    }
    if measures.is_empty() {
        measures.push(Measure {
            length: WHOLE,
            staves: [vec![whole(Sign::Rest)], vec![whole(Sign::Rest)]],
            ..Measure::default()
        });
    }
    measures
}

/// Every strike within a chord as a quarter, one after another.
fn strikes_in_measures(piece: &Piece, measures: &mut Vec<Measure>) {
    if measures.is_empty() && !piece.notes.is_empty() {
        measures.push(Measure::default());
    }
    let mut strikes: Vec<Vec<&[PieceNote]>> = vec![Vec::new(); measures.len()];
    for strike in together(&piece.notes) {
        let begun = piece
            .chords
            .partition_point(|chord| chord.start.get() <= strike[0].start.get() + TOGETHER);
        strikes[begun.saturating_sub(1)].push(strike);
    }
    for (measure, strikes) in measures
        .iter_mut()
        .zip(strikes)
        .filter(|(_, strikes)| !strikes.is_empty())
    {
        let length = if strikes.len() == 1 { WHOLE } else { DIVISIONS };
        measure.length = length * strikes.len() as u32;
        for (staff, hand) in [Hand::Right, Hand::Left].into_iter().enumerate() {
            measure.staves[staff] = (0..)
                .zip(&strikes)
                .map(|(nth, strike)| {
                    let mut notes: Vec<NamedNote> = strike
                        .iter()
                        .filter(|note| note.hand == hand)
                        .map(|note| note.note)
                        .collect();
                    notes.sort_by_key(|note| note.midi);
                    Event {
                        at: nth * length,
                        length,
                        what: notes_or_gap(notes),
                        tied_from: false,
                        tied_to: false,
                    }
                })
                .collect();
        }
    }
}

/// Notes by strike.
fn together(notes: &[PieceNote]) -> Vec<&[PieceNote]> {
    let mut strikes = Vec::new();
    let mut rest = notes;
    while let Some(first) = rest.first() {
        let count = rest.partition_point(|note| note.start.get() <= first.start.get() + TOGETHER);
        let (strike, after) = rest.split_at(count);
        strikes.push(strike);
        rest = after;
    }
    strikes
}

/// Bars over beats.
struct Bars {
    /// Times of the beats, with those before the first that was heard and those that fill the last bar.
    beats: Vec<f64>,
    /// The beat at which each bar begins, and the end.
    starts: Vec<usize>,
    /// True where the first is no whole bar.
    pickup: bool,
    /// Where the second eighth lies in a beat.
    second_eighth: f64,
}

impl Bars {
    fn of(grid: &Grid, piece: &Piece) -> Option<Self> {
        let (&first_bar, heard) = (grid.downbeats.first()?, &grid.beats);
        if heard.len() < 2 || grid.downbeats.len() < 2 {
            return None;
        }
        let mut beats: Vec<f64> = heard.iter().map(|beat| beat.get()).collect();
        let begins = piece
            .chords
            .iter()
            .map(|chord| chord.start.get())
            .chain(piece.notes.iter().map(|note| note.start.get()))
            .fold(f64::INFINITY, f64::min);
        let mut added = 0;
        while beats[0] - begins > 0.5 * (beats[1] - beats[0]) && beats[0] > beats[1] - beats[0] {
            beats.insert(0, 2.0 * beats[0] - beats[1]);
            added += 1;
        }
        let first_bar = first_bar + added;
        let mut starts: Vec<usize> = grid
            .downbeats
            .iter()
            .map(|downbeat| downbeat + added)
            .collect();
        // Beats before the first bar: whole bars, and what is left over.
        while starts[0] >= grid.meter {
            starts.insert(0, starts[0] - grid.meter);
        }
        let pickup = starts[0] > 0;
        if pickup {
            starts.insert(0, 0);
        }
        let ends = piece
            .chords
            .last()
            .map_or(0.0, |chord| chord.start.get())
            .max(piece.notes.last().map_or(0.0, |note| note.start.get()));
        let mut last = *starts.last().unwrap_or(&first_bar);
        loop {
            let end = last + grid.meter;
            while beats.len() <= end {
                beats.push(2.0 * beats[beats.len() - 1] - beats[beats.len() - 2]);
            }
            starts.push(end);
            if beats[end] > ends {
                break;
            }
            last = end;
        }
        let swung = grid.rhythm.swung();
        let second_eighth = grid
            .rhythm
            .second_eighth
            .filter(|_| swung)
            .map_or(0.5, f64::from);
        Some(Self {
            beats,
            starts,
            pickup,
            second_eighth,
        })
    }

    /// Beats from the first, by the time at which something is played; swung eighths are straightened.
    fn beat(&self, at: f64) -> f64 {
        let (beat, share) = place_among(&self.beats, at);
        let second = self.second_eighth;
        let even = match share < second {
            true => 0.5 * share / second,
            false => 0.5 + 0.5 * (share - second) / (1.0 - second),
        };
        (beat as f64 + even).max(0.0)
    }

    fn on_beat(&self, at: f64) -> u32 {
        (self.beat(at).round() as u32 * DIVISIONS).min(self.end())
    }

    fn on_sixteenth(&self, at: f64) -> u32 {
        ((self.beat(at) * f64::from(DIVISIONS)).round() as u32).min(self.end())
    }

    fn end(&self) -> u32 {
        self.starts
            .last()
            .map_or(0, |&beat| beat as u32 * DIVISIONS)
    }
}

fn in_bars(piece: &Piece, what: What, bars: &Bars) -> Vec<Measure> {
    let mut symbols: Vec<(u32, &PieceChord)> = Vec::new();
    for chord in &piece.chords {
        let at = bars.on_beat(chord.start.get());
        match symbols.last_mut() {
            // of two chords on one beat the longer
            Some(last) if last.0 == at => {
                let lasts = |chord: &PieceChord| chord.end.get() - chord.start.get();
                if lasts(chord) > lasts(last.1) {
                    last.1 = chord;
                }
            }
            _ => symbols.push((at, chord)),
        }
    }
    let lasting = match what {
        What::Harmony => Vec::new(),
        What::Voicings => voicings(&symbols, bars),
        What::Notes => strikes(piece, bars),
    };
    let mut measures = Vec::new();
    for (nth, pair) in bars.starts.windows(2).enumerate() {
        let (from, to) = (pair[0] as u32 * DIVISIONS, pair[1] as u32 * DIVISIONS);
        let within = |at: u32| (from..to).contains(&at);
        let of_bar = symbols.iter().filter(|(at, _)| within(*at));
        let staff = |staff: usize| match what {
            What::Harmony => slashes(to - from),
            _ => staff_of_bar(&lasting, staff, from, to),
        };
        measures.push(Measure {
            meter: Some(((to - from) / DIVISIONS, 4)),
            length: to - from,
            pickup: nth == 0 && bars.pickup,
            symbols: of_bar
                .clone()
                .filter_map(|(at, chord)| Some((at - from, chord.on_staff()?)))
                .collect(),
            words: of_bar
                .filter(|_| what != What::Harmony)
                .filter_map(|(at, chord)| Some((at - from, words_below(chord, piece.style)?)))
                .collect(),
            staves: [
                staff(0),
                if what == What::Harmony {
                    Vec::new()
                } else {
                    staff(1)
                },
            ],
            ..Measure::default()
        });
    }
    measures
}

fn slashes(length: u32) -> Vec<Event> {
    (0..length / DIVISIONS)
        .map(|beat| Event {
            at: beat * DIVISIONS,
            length: DIVISIONS,
            what: Sign::Slash,
            tied_from: false,
            tied_to: false,
        })
        .collect()
}

fn voicings(symbols: &[(u32, &PieceChord)], bars: &Bars) -> Vec<Lasting> {
    let mut before = None;
    let mut lasting = Vec::new();
    for (nth, (at, chord)) in symbols.iter().enumerate() {
        let next = symbols.get(nth + 1).map_or(bars.end(), |next| next.0);
        let to = bars
            .on_beat(chord.end.get())
            .clamp(at + DIVISIONS, next.max(at + DIVISIONS));
        for (staff, notes) in hands(&chord.keys_on_staff(), &mut before)
            .into_iter()
            .enumerate()
        {
            if !notes.is_empty() {
                lasting.push(Lasting {
                    from: *at,
                    to,
                    staff,
                    notes,
                });
            }
        }
    }
    lasting
}

fn strikes(piece: &Piece, bars: &Bars) -> Vec<Lasting> {
    let mut lasting: Vec<Lasting> = Vec::new();
    for (staff, hand) in [Hand::Right, Hand::Left].into_iter().enumerate() {
        let mut of_hand: Vec<Lasting> = Vec::new();
        for note in piece.notes.iter().filter(|note| note.hand == hand) {
            let from = bars.on_sixteenth(note.start.get());
            let to = bars.on_sixteenth(note.end.get()).max(from + 1);
            match of_hand.last_mut().filter(|last| last.from == from) {
                Some(last) => {
                    last.to = last.to.max(to);
                    if !last.notes.iter().any(|other| other.midi == note.note.midi) {
                        last.notes.push(note.note);
                    }
                }
                None => of_hand.push(Lasting {
                    from,
                    to,
                    staff,
                    notes: vec![note.note],
                }),
            }
        }
        for at in 1..of_hand.len() {
            of_hand[at - 1].to = of_hand[at - 1].to.min(of_hand[at].from);
        }
        of_hand
            .iter_mut()
            .for_each(|lasting| lasting.notes.sort_by_key(|note| note.midi));
        lasting.extend(of_hand);
    }
    lasting
}

/// What a staff holds from one bar line to the next: notes, tied where they are longer than a note value, and rests between them.
fn staff_of_bar(lasting: &[Lasting], staff: usize, from: u32, to: u32) -> Vec<Event> {
    let mut events = Vec::new();
    let mut reached = from;
    for held in lasting
        .iter()
        .filter(|held| held.staff == staff && held.from < to && held.to > from)
    {
        let (begins, ends) = (held.from.max(from), held.to.min(to));
        pieces(reached - from, begins - from, &mut |at, length| {
            events.push(Event::rest(at, length));
        });
        pieces(begins - from, ends - from, &mut |at, length| {
            events.push(Event {
                at,
                length,
                what: Sign::Notes(held.notes.clone()),
                tied_from: from + at > held.from,
                tied_to: from + at + length < held.to,
            });
        });
        reached = ends.max(reached);
    }
    if reached == from {
        return vec![Event::rest(0, to - from)];
    }
    pieces(reached - from, to - from, &mut |at, length| {
        events.push(Event::rest(at, length));
    });
    events
}

/// A stretch of a bar in note values that do not hide the beat.
fn pieces(from: u32, to: u32, hand_on: &mut dyn FnMut(u32, u32)) {
    let mut at = from;
    while at < to {
        let left = to - at;
        let off_beat = at % DIVISIONS;
        let length = if off_beat != 0 {
            left.min(DIVISIONS - off_beat)
        } else {
            let longest = if at == 0 {
                WHOLE
            } else if at.is_multiple_of(2 * DIVISIONS) {
                2 * DIVISIONS
            } else {
                DIVISIONS
            };
            let values = [16, 12, 8, 6, 4, 3, 2, 1];
            values
                .into_iter()
                .find(|&value| value <= left && value <= longest)
                .unwrap_or(1)
        };
        hand_on(at, length);
        at += length;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn note_values_show_the_beat() {
        let split = |from, to| {
            let mut values = Vec::new();
            pieces(from, to, &mut |at, length| values.push((at, length)));
            values
        };
        assert_eq!(split(0, 16), [(0, 16)]);
        assert_eq!(split(2, 8), [(2, 2), (4, 4)]);
        assert_eq!(split(4, 16), [(4, 4), (8, 8)]);
        assert_eq!(split(3, 5), [(3, 1), (4, 1)]);
        assert!(split(4, 4).is_empty());
    }
}
