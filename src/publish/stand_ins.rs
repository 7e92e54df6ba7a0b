//! A progression beside itself with stand-ins: the original first, then each version of it.
//!
//! Input: a [`StandInSheet`]. Output: bytes of one of [`STAND_IN_FORMATS`]. Units: beats of the metre; in MIDI, seconds by the stated tempo.
//! Method: MusicXML has the melody on a staff of its own and a part a version, one below the other, bar over bar; the page has lines of [`COLUMNS`] chords, a row a
//! version; MIDI plays the versions in turn, each under a marker. Hands are those of the voicings.
//! Limits: places are rounded to sixteenths; a MIDI file states no metre where it changes or its beats are no quarters.

use crate::chart::document::Rhythm;
use crate::chart::piece::{Grid, OnStaff, Piece, PieceChord, PieceNote};
use crate::chart::stand_ins::StandInText;
use crate::harmony::speller::{Speller, degrees_of};
use crate::harmony::standins::{MelodyNote, TuneBar};
use crate::harmony::voicing::hands::HandVoicing;
use crate::harmony::{Chord, Context, Key, NamedNote, NotesByDegree, PitchClass, Sounding, Style};
use crate::publish::musicxml::score::{Placed, Score, divisions_of_beat};
use crate::publish::musicxml::{self, write_parts};
use crate::publish::page::{self, degrees, footer, head, keyboard::Keyboard, staff, symbols};
use crate::publish::sheet::{stated_chord, stated_notes};
use crate::publish::{Format, Heeded, WriteOptions, midi, write_json_line};
use crate::units::{MidiNote, Seconds};
use maud::{Markup, PreEscaped, html};
use std::io::{self, Write};

/// Chords of a line of the page.
pub const COLUMNS: usize = 3;

/// A progression beside itself with stand-ins.
#[derive(Debug, Clone, PartialEq)]
pub struct StandInSheet {
    /// What it is, as it was typed.
    pub title: String,
    /// The signature, where a key is known.
    pub key: Option<Key>,
    /// House style of chord symbols.
    pub style: Style,
    /// Beats a minute.
    pub tempo: f64,
    /// The bars it shows.
    pub bars: Vec<TuneBar>,
    /// The number of the first of them in the tune, from 1.
    pub first_bar: usize,
    /// The melody, in beats from the first of these bars.
    pub melody: Vec<MelodyNote>,
    /// The original, then what may stand there instead; each has the same places.
    pub versions: Vec<Version>,
    /// The same as text.
    pub text: StandInText,
}

/// The progression, one way.
#[derive(Debug, Clone, PartialEq)]
pub struct Version {
    /// What it is called.
    pub name: String,
    /// What stands at each place of the original.
    pub places: Vec<Place>,
}

/// What stands in the place of one chord.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    /// Its chords, in time.
    pub chords: Vec<Voiced>,
    /// What it stands for and by which device; `None` where the original stays.
    pub why: Option<String>,
    /// What the melody is to it, a sentence a note; empty where the original stays.
    pub melody: Vec<String>,
}

/// A chord under the hands.
#[derive(Debug, Clone, PartialEq)]
pub struct Voiced {
    /// The chord.
    pub chord: Chord,
    /// Beats from the first bar.
    pub at: f32,
    /// Beats it lasts.
    pub beats: f32,
    /// How it is played.
    pub voicing: HandVoicing,
}

/// The formats of stand-ins.
pub const STAND_IN_FORMATS: &[Format<StandInSheet>] = &[
    Format {
        name: "json",
        about: "everything: chords, devices with sources, degrees, melody, voicings",
        extension: "json",
        mark: Some("\"lidprop/"),
        heeds: &[],
        write: |sheet, _, out| write_json_line(&sheet.text, out),
    },
    Format {
        name: "musicxml",
        about: "sheet music (MusicXML 4.0): the melody, the original, and below it each version with stand-ins",
        extension: "musicxml",
        mark: Some(musicxml::MARK),
        heeds: &[],
        write: |sheet, _, out| write_musicxml(sheet, out),
    },
    Format {
        name: "midi",
        about: "a MIDI file: the original, then each version with stand-ins",
        extension: "mid",
        mark: Some(midi::MARK),
        heeds: &[Heeded::Voices],
        write: |sheet, options, out| midi::write_piece(&piece(sheet), options, out),
    },
    Format {
        name: "page",
        about: "one HTML file with staves and keyboards, the original over what stands in for it",
        extension: "html",
        mark: Some(page::MARK),
        heeds: &[Heeded::Page],
        write: write_page,
    },
];

/// The format of that name.
pub fn format(name: &str) -> Option<&'static Format<StandInSheet>> {
    STAND_IN_FORMATS.iter().find(|format| format.name == name)
}

impl Version {
    /// Its chords, in time.
    pub fn chords(&self) -> impl Iterator<Item = &Voiced> {
        self.places.iter().flat_map(|place| &place.chords)
    }
}

impl Voiced {
    /// Keys of the right and the left hand under the names that they have in the chord.
    fn hands(&self, key: Option<Key>) -> [Vec<NamedNote>; 2] {
        let mut left = self.voicing.named(&self.chord, key);
        let right = left.split_off(self.voicing.left.len().min(left.len()));
        [right, left]
    }

    fn keys(&self, key: Option<Key>) -> Vec<NamedNote> {
        self.voicing.named(&self.chord, key)
    }
}

impl StandInSheet {
    /// Divisions from the first bar line.
    fn divisions(&self, at: f32) -> u32 {
        let mut passed = (0.0, 0);
        for (nth, bar) in self.bars.iter().enumerate() {
            let beat = divisions_of_beat(u32::from(bar.unit));
            let end = passed.0 + f32::from(bar.beats);
            if at <= end || nth + 1 == self.bars.len() {
                return passed.1 + ((at - passed.0).max(0.0) * beat as f32).round() as u32;
            }
            passed = (end, passed.1 + u32::from(bar.beats) * beat);
        }
        0
    }

    /// Beats of a version and of the bar of rest after it.
    fn beats_with_rest(&self) -> u32 {
        let beats = |bar: &TuneBar| u32::from(bar.beats);
        self.bars.iter().map(beats).sum::<u32>() + self.bars.first().map_or(0, beats)
    }

    fn beats_of_all(&self) -> u32 {
        let rest = self.bars.first().map_or(0, |bar| u32::from(bar.beats));
        (self.versions.len() as u32 * self.beats_with_rest()).saturating_sub(rest)
    }

    fn melody_names(&self) -> Vec<NamedNote> {
        let context = Context {
            key: self.key,
            ..Context::default()
        };
        let speller = Speller::new(&Sounding::default(), &context);
        let name = |&(midi, ..): &MelodyNote| NamedNote {
            midi,
            name: speller.note(PitchClass::from(midi), None),
        };
        self.melody.iter().map(name).collect()
    }
}

fn write_musicxml(sheet: &StandInSheet, out: &mut dyn Write) -> io::Result<()> {
    let bars: Vec<(u32, u32)> = sheet
        .bars
        .iter()
        .map(|bar| (u32::from(bar.beats), u32::from(bar.unit)))
        .collect();
    let score =
        |staves, placed: &[Placed]| Score::of_bars(&sheet.title, sheet.key, staves, &bars, placed);
    let melody = (!sheet.melody.is_empty()).then(|| score(1, &melody_on_staff(sheet)));
    let versions: Vec<Score> = sheet
        .versions
        .iter()
        .map(|version| score(2, &on_staff(sheet, version)))
        .collect();
    let names = sheet.versions.iter().map(|version| version.name.as_str());
    let mut parts: Vec<(&str, &Score)> = melody.iter().map(|score| ("melody", score)).collect();
    parts.extend(names.zip(&versions));
    write_parts(&parts, sheet.style, out)
}

/// The melody note by note: one that is still held when the next begins gives way to it.
fn melody_on_staff(sheet: &StandInSheet) -> Vec<Placed> {
    let starts: Vec<u32> = sheet.melody.iter().map(|n| sheet.divisions(n.1)).collect();
    let note = |(nth, (&(_, at, beats), name)): (usize, (&MelodyNote, NamedNote))| {
        let end = sheet.divisions(at + beats).max(starts[nth] + 1);
        Placed {
            from: starts[nth],
            to: starts.get(nth + 1).map_or(end, |&next| end.min(next)),
            hands: [vec![name], Vec::new()],
            symbol: None,
            words: None,
        }
    };
    let notes = sheet.melody.iter().zip(sheet.melody_names());
    let placed = notes.enumerate().map(note);
    placed.filter(|placed| placed.to > placed.from).collect()
}

fn on_staff(sheet: &StandInSheet, version: &Version) -> Vec<Placed> {
    let placed = |place: &Place| -> Vec<Placed> {
        let chord = |(nth, voiced): (usize, &Voiced)| Placed {
            from: sheet.divisions(voiced.at),
            to: sheet.divisions(voiced.at + voiced.beats),
            hands: voiced.hands(sheet.key),
            symbol: Some(OnStaff {
                chord: voiced.chord,
                implied: false,
            }),
            words: place.why.clone().filter(|_| nth == 0),
        };
        place.chords.iter().enumerate().map(chord).collect()
    };
    version.places.iter().flat_map(placed).collect()
}

/// The versions one after another, as if they were played, a bar of rest between two.
pub fn piece(sheet: &StandInSheet) -> Piece {
    let beat = 60.0 / sheet.tempo;
    let at = |beats: f64| Seconds::new(beats * beat).unwrap_or(Seconds::ZERO);
    let (mut chords, mut notes): (Vec<PieceChord>, Vec<PieceNote>) = Default::default();
    let mut sections = Vec::new();
    for (nth, version) in sheet.versions.iter().enumerate() {
        let begins = nth as f64 * f64::from(sheet.beats_with_rest());
        sections.push((at(begins), version.name.clone()));
        for voiced in version.chords() {
            let from = begins + f64::from(voiced.at);
            let lasts = at(from)..at(from + f64::from(voiced.beats));
            notes.extend(stated_notes(&voiced.hands(sheet.key), lasts.clone()));
            let keys = voiced.keys(sheet.key);
            chords.push(stated_chord(Some(voiced.chord), lasts, keys, Vec::new()));
        }
        for (&(midi, from, beats), name) in sheet.melody.iter().zip(sheet.melody_names()) {
            let begun = |voiced: &&Voiced| (voiced.at - from).abs() < 1e-3;
            let on_top = |voiced: &Voiced| voiced.voicing.melody == Some(midi);
            if version.chords().find(begun).is_some_and(on_top) {
                continue;
            }
            let from = begins + f64::from(from);
            let lasts = at(from)..at(from + f64::from(beats));
            notes.extend(stated_notes(&[vec![name], Vec::new()], lasts));
        }
    }
    notes.sort_by(|a, b| a.start.get().total_cmp(&b.start.get()));
    Piece {
        file: sheet.title.clone(),
        begins: Seconds::ZERO,
        length: at(f64::from(sheet.beats_of_all())),
        a4: None,
        key: sheet.key,
        played: true,
        notes,
        chords,
        pedal: None,
        grid: Some(grid(sheet, &at)),
        style: sheet.style,
        warnings: Vec::new(),
        marks: Vec::new(),
        sections,
    }
}

fn grid(sheet: &StandInSheet, at: &dyn Fn(f64) -> Seconds) -> Grid {
    let count = sheet.beats_of_all();
    let metre = sheet
        .bars
        .first()
        .copied()
        .filter(|first| first.unit == 4 && sheet.bars.iter().all(|bar| bar == first));
    let meter = metre.map(|bar| usize::from(bar.beats));
    Grid {
        beats: (0..=count).map(|beat| at(f64::from(beat))).collect(),
        downbeats: meter.map_or_else(Vec::new, |beats| {
            (0..count as usize).step_by(beats.max(1)).collect()
        }),
        meter: meter.unwrap_or(4),
        rhythm: Rhythm {
            bpm: sheet.tempo,
            beat_confidence: 1.0,
            meter,
            bar_confidence: 1.0,
            second_eighth: None,
        },
    }
}

fn write_page(sheet: &StandInSheet, options: &WriteOptions, out: &mut dyn Write) -> io::Result<()> {
    let all = || sheet.versions.iter().flat_map(Version::chords);
    let keyboard = Keyboard::around(all().flat_map(|voiced| voiced.voicing.keys()));
    let title = options.page.title.as_ref().unwrap_or(&sheet.title);
    let places = sheet.versions.first().map_or(0, |first| first.places.len());
    let page = html! {
        (head(title, false))
        (symbols(keyboard))
        header {
            h1 { (title) }
            @if let Some(key) = sheet.key { p.facts { "in " (page::signs(&key.to_string(), sheet.style)) } }
            @if let Some(note) = &options.page.note { p.note { (note) } }
        }
        main {
            @for from in (0..places).step_by(COLUMNS) { (line(sheet, from, keyboard)) }
        }
        (footer(false))
        (PreEscaped("</body></html>"))
    };
    writeln!(out, "{}", page.into_string())
}

/// A line of the page: all versions of a few places.
fn line(sheet: &StandInSheet, from: usize, keyboard: Keyboard) -> Markup {
    html! {
        section {
            h2 { (bars_of(sheet, from)) }
            @for version in &sheet.versions {
                p.soft { (version.name) }
                div.sheet {
                    @for place in version.places.iter().skip(from).take(COLUMNS) { (cell(place, sheet, keyboard)) }
                }
            }
        }
    }
}

/// `bar 3` or `bars 3 to 5`.
fn bars_of(sheet: &StandInSheet, from: usize) -> String {
    let mut ends = [0.0_f32; 2];
    if let Some(original) = sheet.versions.first() {
        let mut shown = original.places.iter().skip(from).take(COLUMNS);
        let at = |place: Option<&Place>| place.and_then(|p| Some(p.chords.first()?.at));
        ends[0] = at(shown.next()).unwrap_or(0.0);
        ends[1] = at(shown.next_back()).unwrap_or(ends[0]);
    }
    let bar = |at: f32| {
        let passed = sheet.bars.iter().scan(0.0, |end, bar| {
            *end += f32::from(bar.beats);
            Some(*end)
        });
        sheet.first_bar + passed.take_while(|&end| end <= at + 1e-3).count()
    };
    match ends.map(bar) {
        [first, last] if first == last => format!("bar {first}"),
        [first, last] => format!("bars {first} to {last}"),
    }
}

fn cell(place: &Place, sheet: &StandInSheet, keyboard: Keyboard) -> Markup {
    html! {
        section.cell.tall {
            @for voiced in &place.chords {
                h2 { (voiced.chord.symbol(sheet.style)) }
                (staff::picture(&voiced.hands(sheet.key)))
                @let keys: Vec<MidiNote> = voiced.voicing.keys().collect();
                (keyboard.picture(&keys, &described(voiced, sheet)))
                p.d { (degrees(&by_degree(voiced, sheet), sheet.style)) }
                p.d.soft { (voiced.voicing.kind.words()) }
            }
            @if let Some(why) = &place.why { p.diff { (why) } }
            @for sung in &place.melody { p.soft { (sung) } }
        }
    }
}

/// The keys in words: left hand, then right.
fn described(voiced: &Voiced, sheet: &StandInSheet) -> String {
    let names = |keys: &[NamedNote]| {
        let names: Vec<String> = keys
            .iter()
            .map(|key| page::signs(&key.to_string(), sheet.style))
            .collect();
        names.join(" ")
    };
    let [right, left] = voiced.hands(sheet.key);
    match right.is_empty() {
        true => format!("Keyboard: left hand {}", names(&left)),
        false => format!(
            "Keyboard: left hand {}, right hand {}",
            names(&left),
            names(&right)
        ),
    }
}

fn by_degree(voiced: &Voiced, sheet: &StandInSheet) -> NotesByDegree {
    let mut sounding: Vec<_> = voiced
        .keys(sheet.key)
        .iter()
        .map(|key| (PitchClass::from(key.midi), key.name))
        .collect();
    sounding.sort_by_key(|(class, _)| *class);
    sounding.dedup_by_key(|(class, _)| *class);
    degrees_of(&voiced.chord, &sounding)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chart::stand_ins::StandInsFor;
    use crate::harmony::voicing::hands::VoicingKind;
    use std::collections::BTreeSet;

    fn midi(number: u8) -> MidiNote {
        MidiNote::new(number).unwrap()
    }

    /// A bar of 3/4 and one of 6/8 under a melody whose notes overlap.
    fn sheet() -> StandInSheet {
        let voiced = |symbol: &str, at, beats| Voiced {
            chord: symbol.parse().unwrap(),
            at,
            beats,
            voicing: HandVoicing {
                kind: VoicingKind::Shell,
                left: vec![midi(48), midi(52)],
                right: vec![midi(59), midi(64)],
                melody: None,
            },
        };
        let version = |name: &str| Version {
            name: name.to_owned(),
            places: vec![Place {
                chords: vec![voiced("Cmaj7", 0.0, 3.0), voiced("C6", 3.0, 6.0)],
                why: None,
                melody: Vec::new(),
            }],
        };
        StandInSheet {
            title: "Two metres".to_owned(),
            key: None,
            style: Style::Ascii,
            tempo: 60.0,
            bars: vec![TuneBar { beats: 3, unit: 4 }, TuneBar { beats: 6, unit: 8 }],
            first_bar: 1,
            melody: vec![
                (midi(76), 0.0, 2.5),
                (midi(74), 2.0, 4.0),
                (midi(72), 2.05, 1.0),
            ],
            versions: vec![version("original"), version("instead")],
            text: StandInText::One(StandInsFor {
                schema: crate::chart::document::SCHEMA,
                chord: 1,
                bar: 1,
                symbol: String::new(),
                key: None,
                stand_ins: Vec::new(),
                rejected: None,
            }),
        }
    }

    #[test]
    fn beats_of_every_metre_have_their_place_and_melody_notes_never_overlap() {
        let sheet = sheet();
        let divisions: Vec<u32> = [0.0, 2.5, 3.0, 4.0, 9.0]
            .map(|at| sheet.divisions(at))
            .to_vec();
        assert_eq!(divisions, [0, 10, 12, 14, 24]);
        let melody = melody_on_staff(&sheet);
        let lasts: Vec<(u32, u32)> = melody.iter().map(|note| (note.from, note.to)).collect();
        assert_eq!(lasts, [(0, 8), (8, 12)]);
    }

    #[test]
    fn versions_are_played_in_turn_with_a_bar_of_rest_between() {
        let sheet = sheet();
        let piece = piece(&sheet);
        let sections: Vec<(f64, &str)> = piece
            .sections
            .iter()
            .map(|(at, name)| (at.get(), name.as_str()))
            .collect();
        assert_eq!(sections, [(0.0, "original"), (12.0, "instead")]);
        assert_eq!(piece.length.get(), 21.0);
        let struck: BTreeSet<u64> = piece
            .notes
            .iter()
            .map(|note| note.start.get() as u64)
            .collect();
        assert_eq!(struck, BTreeSet::from([0, 2, 3, 12, 14, 15]));
        assert!(
            piece.grid.unwrap().downbeats.is_empty(),
            "no metre is stated where it changes"
        );
    }
}
