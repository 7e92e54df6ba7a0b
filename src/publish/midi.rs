//! A Standard MIDI File.
//!
//! Input: a [`Heard`] recording. Output: a file of format 1: a track of tempo, meter, key and markers, then the notes, in one track or in four voices.
//! Units: without beats a tick is a millisecond (500 ticks a quarter at 120 quarters a minute); with beats 480 ticks a quarter and a tempo for each beat, so that a
//! tick is where the beat was played. Method: Standard MIDI Files 1.0 (MIDI Manufacturers Association, 1996). Chord names and keys are markers in plain ASCII, because the
//! standard states no character set; the pedal is controller 64. What comes before the first downbeat is a first bar of as many beats as fit.
//! Limits: velocities are those of [`crate::chart::velocity`], beside the others of the recording; the pedal is all down or all up.

use crate::chart::piece::{Grid, Piece, PieceNote, Voice, place_among};
use crate::chart::recording::Heard;
use crate::harmony::{Key, Mode, Style};
use crate::publish::WriteOptions;
use crate::units::Seconds;
use crate::view::printable::printable;
use midly::num::{u4, u7, u15, u24, u28};
use midly::{Format, Header, MetaMessage, MidiMessage, Smf, Timing, TrackEvent, TrackEventKind};
use std::io::{self, Write};

/// The text at the head of the file.
pub const MARK: &str = "lidprop ";
/// Ticks a quarter without beats: one a millisecond at [`PLAIN_TEMPO`].
const PLAIN_TICKS: u16 = 500;
/// Ticks a quarter with beats.
const BEAT_TICKS: u16 = 480;
/// Microseconds a quarter without beats.
const PLAIN_TEMPO: u32 = 500_000;
/// The damper pedal.
const DAMPER: u8 = 64;
/// Names of the tracks.
const VOICES: [(Voice, &str); 4] = [
    (Voice::Top, "top voice"),
    (Voice::Right, "right hand"),
    (Voice::Left, "left hand"),
    (Voice::Bass, "bass"),
];

/// Writes the file.
///
/// # Errors
/// If `out` cannot be written to.
pub fn write_midi(heard: &Heard, options: &WriteOptions, out: &mut dyn Write) -> io::Result<()> {
    write_piece(&Piece::of(heard), options, out)
}

/// Writes the file of a piece.
///
/// # Errors
/// If `out` cannot be written to.
pub fn write_piece(piece: &Piece, options: &WriteOptions, out: &mut dyn Write) -> io::Result<()> {
    let texts = Texts::of(piece);
    let clock = Clock::of(piece.grid.as_ref());
    let mut tracks = vec![conductor(piece, &texts, &clock)];
    let of = |wanted: &dyn Fn(&PieceNote) -> bool| {
        piece
            .notes
            .iter()
            .filter(|note| wanted(note))
            .copied()
            .collect::<Vec<_>>()
    };
    if options.voices {
        for (voice, name) in VOICES {
            tracks.push(notes_track(
                name,
                &of(&|note| note.voice == voice),
                piece,
                &clock,
            ));
        }
    } else {
        tracks.push(notes_track("piano", &piece.notes, piece, &clock));
    }
    let timing = Timing::Metrical(u15::new(clock.ticks_a_quarter));
    let smf = Smf {
        header: Header::new(Format::Parallel, timing),
        tracks,
    };
    smf.write_std(out)
}

/// The texts of the file, which its events borrow.
struct Texts {
    about: String,
    title: String,
    chords: Vec<Option<String>>,
    keys: Vec<(Seconds, Key, String)>,
    sections: Vec<(Seconds, String)>,
}

impl Texts {
    fn of(piece: &Piece) -> Self {
        let mut keys: Vec<(Seconds, Key, String)> = Vec::new();
        for chord in &piece.chords {
            if let Some(key) = chord.key
                && keys.last().is_none_or(|last| last.1 != key)
            {
                keys.push((chord.start, key, key.to_string()));
            }
        }
        Self {
            about: format!("{MARK}{}", env!("CARGO_PKG_VERSION")),
            title: ascii(&printable(&piece.file)),
            chords: piece
                .chords
                .iter()
                .map(|chord| chord.best().map(|name| name.chord.symbol(Style::Ascii)))
                .collect(),
            keys,
            sections: piece
                .sections
                .iter()
                .map(|(start, name)| (*start, ascii(name)))
                .collect(),
        }
    }
}

fn ascii(text: &str) -> String {
    text.chars()
        .map(|c| {
            if c.is_ascii() && !c.is_ascii_control() {
                c
            } else {
                '_'
            }
        })
        .collect()
}

/// Seconds as ticks.
struct Clock {
    ticks_a_quarter: u16,
    /// Beats before the first one that was heard, in which the time before it passes.
    before: u32,
    beats: Vec<f64>,
}

impl Clock {
    fn of(grid: Option<&Grid>) -> Self {
        let beats: Vec<f64> = grid
            .map(|grid| grid.beats.iter().map(|beat| beat.get()).collect())
            .unwrap_or_default();
        if beats.len() < 2 {
            return Self {
                ticks_a_quarter: PLAIN_TICKS,
                before: 0,
                beats: Vec::new(),
            };
        }
        let before = match beats[0] > 0.0 {
            true => (beats[0] / (beats[1] - beats[0])).round().max(1.0) as u32,
            false => 0,
        };
        Self {
            ticks_a_quarter: BEAT_TICKS,
            before,
            beats,
        }
    }

    /// The tick of the beat of this number.
    fn beat(&self, number: usize) -> u32 {
        (self.before + number as u32) * u32::from(self.ticks_a_quarter)
    }

    fn ticks(&self, at: Seconds) -> u32 {
        let at = at.get();
        let Some(&first) = self.beats.first() else {
            return (at * 1000.0).round() as u32;
        };
        let beats = if at < first {
            f64::from(self.before) * at / first
        } else {
            let (beat, share) = place_among(&self.beats, at);
            f64::from(self.before) + beat as f64 + share
        };
        (beats * f64::from(self.ticks_a_quarter)).round() as u32
    }

    /// Where the tempo changes, and to how many microseconds a quarter: rounded so that the error does not grow.
    fn tempi(&self) -> Vec<(u32, u32)> {
        let Some(&first) = self.beats.first() else {
            return vec![(0, PLAIN_TEMPO)];
        };
        let micros = |seconds: f64| (seconds * 1e6).round() as i64;
        let mut tempi = Vec::new();
        let mut passed = 0;
        if self.before > 0 {
            let tempo = micros(first) / i64::from(self.before);
            tempi.push((0, tempo as u32));
            passed = tempo * i64::from(self.before);
        }
        for (number, &next) in self.beats.iter().enumerate().skip(1) {
            let tempo = (micros(next) - passed).clamp(1, i64::from(u24::max_value().as_int()));
            passed += tempo;
            tempi.push((self.beat(number - 1), tempo as u32));
        }
        tempi
    }
}

/// What happens at a tick; of the same tick, the lower number comes first.
type Timed<'a> = (u32, u8, TrackEventKind<'a>);

fn conductor<'a>(piece: &Piece, texts: &'a Texts, clock: &Clock) -> Vec<TrackEvent<'a>> {
    let meta = |tick, order, message| (tick, order, TrackEventKind::Meta(message));
    let mut events: Vec<Timed<'a>> = vec![
        meta(0, 0, MetaMessage::Text(texts.about.as_bytes())),
        meta(0, 0, MetaMessage::TrackName(texts.title.as_bytes())),
    ];
    events.extend(
        clock
            .tempi()
            .into_iter()
            .map(|(tick, tempo)| meta(tick, 1, MetaMessage::Tempo(u24::new(tempo)))),
    );
    events.extend(
        meters(piece.grid.as_ref(), clock)
            .into_iter()
            .map(|(tick, beats)| meta(tick, 1, MetaMessage::TimeSignature(beats, 2, 24, 8))),
    );
    if let Some(key) = piece.key {
        events.push(meta(0, 2, signature(key)));
    }
    for (start, key, text) in &texts.keys {
        let tick = clock.ticks(*start);
        events.push(meta(tick, 3, signature(*key)));
        events.push(meta(tick, 3, MetaMessage::Marker(text.as_bytes())));
    }
    for (start, name) in &texts.sections {
        let marker = MetaMessage::Marker(name.as_bytes());
        events.push(meta(clock.ticks(*start), 3, marker));
    }
    for (chord, text) in piece.chords.iter().zip(&texts.chords) {
        if let Some(text) = text {
            events.push(meta(
                clock.ticks(chord.start),
                4,
                MetaMessage::Marker(text.as_bytes()),
            ));
        }
    }
    track(events)
}

fn signature(key: Key) -> MetaMessage<'static> {
    MetaMessage::KeySignature(key.signature(), key.mode == Mode::Minor)
}

/// Where the meter changes: the beats before the first bar are a bar of their own.
fn meters(grid: Option<&Grid>, clock: &Clock) -> Vec<(u32, u8)> {
    let Some(grid) = grid.filter(|grid| !grid.downbeats.is_empty()) else {
        return Vec::new();
    };
    let bars = (clock.beat(grid.downbeats[0]), grid.meter as u8);
    let pickup = clock.before as usize + grid.downbeats[0];
    match u8::try_from(pickup) {
        Ok(beats) if beats > 0 => vec![(0, beats), bars],
        _ => vec![bars],
    }
}

fn notes_track<'a>(
    name: &'static str,
    notes: &[PieceNote],
    piece: &Piece,
    clock: &Clock,
) -> Vec<TrackEvent<'a>> {
    let midi = |message| TrackEventKind::Midi {
        channel: u4::new(0),
        message,
    };
    let mut events: Vec<Timed<'a>> = vec![
        (
            0,
            0,
            TrackEventKind::Meta(MetaMessage::TrackName(name.as_bytes())),
        ),
        (
            0,
            0,
            midi(MidiMessage::ProgramChange {
                program: u7::new(0),
            }),
        ),
    ];
    for (at, note) in notes.iter().enumerate() {
        let key = u7::new(note.note.midi.get());
        let start = clock.ticks(note.start);
        // The same key struck again ends it.
        let again = notes[at + 1..]
            .iter()
            .take_while(|next| next.start < note.end)
            .find(|next| next.note.midi == note.note.midi);
        let end = again.map_or(note.end, |again| again.start);
        let end = clock.ticks(end).max(start + 1);
        events.push((
            end,
            0,
            midi(MidiMessage::NoteOff {
                key,
                vel: u7::new(64),
            }),
        ));
        events.push((
            start,
            2,
            midi(MidiMessage::NoteOn {
                key,
                vel: u7::try_from(note.velocity).unwrap_or(u7::max_value()),
            }),
        ));
    }
    let damper = |down: bool| MidiMessage::Controller {
        controller: u7::new(DAMPER),
        value: u7::new(if down { 127 } else { 0 }),
    };
    for (start, end) in pedalled(piece) {
        let (down, up) = (clock.ticks(start), clock.ticks(end));
        events.push((down, 3, midi(damper(true))));
        events.push((up.max(down + 1), 1, midi(damper(false))));
    }
    track(events)
}

/// When the damper pedal is down: as it was heard, else where two hands cannot hold a chord.
fn pedalled(piece: &Piece) -> Vec<(Seconds, Seconds)> {
    match &piece.pedal {
        Some(heard) => heard.iter().map(|span| (span.start, span.end)).collect(),
        None => {
            let held = piece.chords.iter().filter(|chord| chord.pedal);
            held.map(|chord| (chord.start, chord.end)).collect()
        }
    }
}

fn track(mut events: Vec<Timed<'_>>) -> Vec<TrackEvent<'_>> {
    events.sort_by_key(|&(tick, order, _)| (tick, order));
    let mut reached = 0;
    let mut track: Vec<TrackEvent<'_>> = Vec::with_capacity(events.len() + 1);
    for (tick, _, kind) in events {
        let delta = u28::new((tick - reached).min(u28::max_value().as_int()));
        track.push(TrackEvent { delta, kind });
        reached = tick;
    }
    let end = TrackEventKind::Meta(MetaMessage::EndOfTrack);
    track.push(TrackEvent {
        delta: u28::new(0),
        kind: end,
    });
    track
}

#[cfg(test)]
mod tests {
    use super::*;

    fn clock(beats: &[f64]) -> Clock {
        Clock {
            ticks_a_quarter: BEAT_TICKS,
            before: 2,
            beats: beats.to_vec(),
        }
    }

    #[test]
    fn a_tick_is_a_millisecond_without_beats_and_lies_on_the_beat_with_them() {
        let at = |seconds| Seconds::new(seconds).unwrap();
        assert_eq!(Clock::of(None).ticks(at(2.7)), 2700);
        let clock = clock(&[1.0, 1.5, 2.1, 2.6]);
        let ticks: Vec<u32> = [0.0, 0.5, 1.0, 1.5, 1.8, 2.1, 3.1]
            .map(|seconds| clock.ticks(at(seconds)))
            .to_vec();
        assert_eq!(ticks, [0, 480, 960, 1440, 1680, 1920, 2880]);
    }

    #[test]
    fn the_tempi_add_up_to_the_times_of_the_beats() {
        let clock = clock(&[1.000_000_7, 1.333_333_3, 1.777_777_7, 2.1]);
        let tempi = clock.tempi();
        let mut at = 0_u64;
        let mut told = Vec::new();
        for pair in tempi.windows(2) {
            at += u64::from(pair[0].1) * u64::from((pair[1].0 - pair[0].0) / u32::from(BEAT_TICKS));
            told.push(at);
        }
        assert_eq!(told, [1_000_000, 1_333_333, 1_777_778]);
    }
}
