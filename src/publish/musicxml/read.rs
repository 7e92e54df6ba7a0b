//! MusicXML read: the chords, melody, key and metre of a lead sheet.
//!
//! Input: the bytes of a partwise score. Output: a [`Tune`], or why there is none ([`NoScore`]), with the measure. Units: beats of the metre.
//! Method: MusicXML 4.0 (W3C Music Notation Community Group, 2021), element by element: kind and degrees by the table of [`super::kind`], by which they are
//! written too. Chords are those of the first part that has some, each until the next; the melody is that of the first part: the first voice of its upper
//! staff, of notes struck together the highest. What comes before the first bar line stands at the end of a bar.
//! Limits: repeats are not gone through; a part for a transposing instrument is taken as it is written; polychords are refused.

use super::read_harmony::chord;
use super::xml::{BadXml, Element, read_xml};
use crate::harmony::standins::{MelodyNote, Tune, TuneBar, TuneChord, TuneError};
use crate::harmony::{Chord, Key, Mode, Spelled};
use crate::units::MidiNote;

/// Larger files are not read: 16 MB, some hundred pages.
pub const LARGEST: u64 = 16 << 20;
/// Places nearer than this are one, in quarters.
const NEAR: f64 = 1e-6;

/// Why there is no tune in a file.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NoScore {
    /// A compressed file.
    #[error(
        "it is compressed (.mxl); unpack it as a ZIP archive, or export it uncompressed (.musicxml)"
    )]
    Compressed,
    /// Too large.
    #[error("it is larger than 16 MB; export the lead sheet alone")]
    TooLarge,
    /// Not in UTF-8.
    #[error("it is not written in UTF-8; export it again as uncompressed MusicXML")]
    NotUtf8,
    /// Not well formed.
    #[error("{0}; export it again as uncompressed MusicXML")]
    BadXml(#[from] BadXml),
    /// Some other kind of file.
    #[error("it is no partwise MusicXML but <{0}>; export it as uncompressed MusicXML")]
    Foreign(String),
    /// No chord symbols.
    #[error("there is no chord symbol in it; stand-ins need at least one")]
    NoChords,
    /// A chord that no symbol says.
    #[error("measure {measure}: {what}; write this chord as a plain symbol")]
    Chord {
        /// As the file numbers it.
        measure: String,
        /// What it is.
        what: String,
    },
    /// A number that cannot be used.
    #[error("measure {measure}: {what}; export the file again")]
    Damaged {
        /// As the file numbers it.
        measure: String,
        /// What it is.
        what: String,
    },
    /// Melody and chords do not fit.
    #[error(transparent)]
    Tune(#[from] TuneError),
}

/// True where a file begins as markup or as a compressed folder does.
pub fn looks_like(head: &[u8]) -> bool {
    let text = head.strip_prefix(b"\xef\xbb\xbf").unwrap_or(head);
    let utf16 = head.starts_with(b"\xff\xfe") || head.starts_with(b"\xfe\xff");
    utf16 || head.starts_with(b"PK\x03\x04") || text.trim_ascii_start().starts_with(b"<")
}

/// Reads a tune.
///
/// # Errors
/// If it is no MusicXML that can be read, or holds no chord.
pub fn read_tune(bytes: &[u8]) -> Result<Tune, NoScore> {
    if bytes.starts_with(b"PK\x03\x04") {
        return Err(NoScore::Compressed);
    }
    if bytes.len() as u64 > LARGEST {
        return Err(NoScore::TooLarge);
    }
    let text = std::str::from_utf8(bytes).map_err(|_| NoScore::NotUtf8)?;
    let root = read_xml(text.trim_start_matches('\u{feff}'))?;
    if root.name != "score-partwise" {
        return Err(NoScore::Foreign(root.name));
    }
    let parts: Vec<Part> = root
        .all("part")
        .map(Part::read)
        .collect::<Result<_, NoScore>>()?;
    let with_chords = parts.iter().find(|part| !part.chords.is_empty());
    let part = with_chords.ok_or(NoScore::NoChords)?;
    let melody = parts.first().map_or(&[][..], |first| &first.melody);
    tune(part, melody)
}

/// A measure in its place.
#[derive(Debug, Clone, Copy)]
struct Bar {
    bar: TuneBar,
    /// Beats from the start of the tune to its bar line.
    at: f32,
    /// Quarters from its bar line to the first thing in it: more than 0 before the first bar line.
    late: f64,
}

/// A note, or a chord, at a place within a measure: its number from 0, and quarters from its beginning.
type Placed = (usize, f64);

/// What is taken of a part.
#[derive(Debug, Default)]
struct Part {
    bars: Vec<Bar>,
    /// `None` where no chord is to be played.
    chords: Vec<(Placed, Option<Chord>)>,
    melody: Vec<Note>,
    keys: Vec<Option<Key>>,
}

/// A melody note: its length in quarters.
#[derive(Debug, Clone, Copy)]
struct Note {
    at: Placed,
    quarters: f64,
    midi: MidiNote,
    tied_from: bool,
}

/// The tune of a part's chords under the melody of another.
fn tune(part: &Part, melody: &[Note]) -> Result<Tune, NoScore> {
    let beats = |(measure, quarters): Placed| {
        let bar = part.bars.get(measure).or(part.bars.last())?;
        let by_unit = f64::from(bar.bar.unit) / 4.0;
        Some(bar.at + ((bar.late + quarters) * by_unit) as f32)
    };
    let end = part
        .bars
        .last()
        .map_or(0.0, |last| last.at + f32::from(last.bar.beats));
    let mut changes: Vec<(f32, usize, Option<Chord>)> = part
        .chords
        .iter()
        .filter_map(|&(at, chord)| Some((beats(at)?, at.0 + 1, chord)))
        .collect();
    changes.sort_by(|a, b| a.0.total_cmp(&b.0));
    // a symbol that is written again says nothing new
    changes.dedup_by(|again, first| again.2 == first.2);
    let ends = changes.iter().skip(1).map(|change| change.0);
    let ends: Vec<f32> = ends.chain([end]).collect();
    let chords: Vec<TuneChord> = changes
        .iter()
        .zip(ends)
        .filter_map(|(&(at, bar, chord), end)| {
            let chord = chord.filter(|_| end - at > 1e-3)?;
            Some(TuneChord {
                chord,
                bar,
                at,
                beats: end - at,
                melody: Vec::new(),
            })
        })
        .collect();
    if chords.is_empty() {
        return Err(NoScore::NoChords);
    }
    let key = match &part.keys[..] {
        [key] => *key,
        _ => None,
    };
    let tune = Tune {
        bars: part.bars.iter().map(|bar| bar.bar).collect(),
        melody: Vec::new(),
        chords,
        key,
    };
    let last = tune.beats();
    let mut sung: Vec<MelodyNote> = Vec::new();
    for note in melody {
        let (measure, quarters) = note.at;
        let (Some(from), Some(to)) = (beats(note.at), beats((measure, quarters + note.quarters)))
        else {
            continue;
        };
        // nothing is said of what is sung after the last chord
        let to = to.min(last);
        match sung.last_mut() {
            Some(held)
                if note.tied_from
                    && held.0 == note.midi
                    && (held.1 + held.2 - from).abs() < 1e-3 =>
            {
                held.2 = to - held.1;
            }
            _ if to - from > 1e-3 => sung.push((note.midi, from, to - from)),
            _ => {}
        }
    }
    Ok(tune.with_melody(&sung)?)
}

/// A measure as it is gone through.
struct Measure<'a> {
    name: &'a str,
    number: usize,
    divisions: f64,
    /// Quarters from its beginning, and the farthest that was reached.
    at: f64,
    reached: f64,
    voice: Option<&'a str>,
}

impl Measure<'_> {
    fn damaged(&self, what: impl Into<String>) -> NoScore {
        NoScore::Damaged {
            measure: self.name.to_owned(),
            what: what.into(),
        }
    }

    /// The duration of an element, in quarters.
    fn duration(&self, element: &Element) -> Result<f64, NoScore> {
        let duration = element.number::<f64>("duration");
        let quarters = duration.map(|duration| duration / self.divisions);
        quarters
            .filter(|quarters| (0.0..=1024.0).contains(quarters))
            .ok_or_else(|| self.damaged(format!("a <{}> has no length", element.name)))
    }
}

impl Part {
    fn read(part: &Element) -> Result<Self, NoScore> {
        let mut read = Self::default();
        let mut divisions = 1.0;
        let mut metre = None;
        for (number, element) in part.all("measure").enumerate() {
            let mut measure = Measure {
                name: element.attribute("number").unwrap_or("?"),
                number,
                divisions,
                at: 0.0,
                reached: 0.0,
                voice: None,
            };
            for inside in &element.children {
                read.take(inside, &mut measure, &mut metre)?;
            }
            divisions = measure.divisions;
            let pickup = number == 0 && element.attribute("implicit") == Some("yes");
            read.end_of_bar(&measure, metre, pickup)?;
        }
        read.keys.dedup();
        Ok(read)
    }

    fn take<'a>(
        &mut self,
        element: &'a Element,
        measure: &mut Measure<'a>,
        metre: &mut Option<TuneBar>,
    ) -> Result<(), NoScore> {
        match element.name.as_str() {
            "attributes" => self.attributes(element, measure, metre)?,
            "backup" => measure.at = (measure.at - measure.duration(element)?).max(0.0),
            "forward" => measure.at += measure.duration(element)?,
            "harmony" => {
                let offset = element.number::<f64>("offset").unwrap_or(0.0);
                let at = (measure.at + offset / measure.divisions).max(0.0);
                let chord = chord(element).map_err(|what| NoScore::Chord {
                    measure: measure.name.to_owned(),
                    what,
                })?;
                self.chords.push(((measure.number, at), chord));
            }
            // a grace note takes no time, a cue note is somebody else's
            "note" if element.first("grace").is_some() || element.first("cue").is_some() => {}
            "note" => self.note(element, measure)?,
            _ => {}
        }
        measure.reached = measure.reached.max(measure.at);
        Ok(())
    }

    fn attributes(
        &mut self,
        element: &Element,
        measure: &mut Measure<'_>,
        metre: &mut Option<TuneBar>,
    ) -> Result<(), NoScore> {
        if element.first("divisions").is_some() {
            measure.divisions = element
                .number::<f64>("divisions")
                .filter(|&divisions| divisions > 0.0 && divisions.is_finite())
                .ok_or_else(|| measure.damaged("its divisions are no number above 0"))?;
        }
        if let Some(key) = element.first("key") {
            self.keys.push(read_key(key));
        }
        if let Some(time) = element.first("time") {
            *metre = match time.first("senza-misura") {
                Some(_) => None,
                None => Some(
                    read_metre(time)
                        .ok_or_else(|| measure.damaged("its metre cannot be read, say 3/4"))?,
                ),
            };
        }
        Ok(())
    }

    fn note<'a>(&mut self, element: &'a Element, measure: &mut Measure<'a>) -> Result<(), NoScore> {
        let quarters = measure.duration(element)?;
        let struck_with_last = element.first("chord").is_some();
        let at = if struck_with_last {
            measure.at - quarters
        } else {
            measure.at
        };
        if !struck_with_last {
            measure.at += quarters;
        }
        let upper = element.text_of("staff").is_none_or(|staff| staff == "1");
        let voice = element.text_of("voice").unwrap_or("1");
        if !upper || *measure.voice.get_or_insert(voice) != voice {
            return Ok(());
        }
        let Some(pitch) = element.first("pitch") else {
            return Ok(());
        };
        let midi = read_pitch(pitch).ok_or_else(|| measure.damaged("a note has no pitch"))?;
        let note = Note {
            at: (measure.number, at.max(0.0)),
            quarters,
            midi,
            tied_from: element
                .all("tie")
                .any(|tie| tie.attribute("type") == Some("stop")),
        };
        match self.melody.last_mut() {
            Some(last) if struck_with_last && same_place(last.at, note.at) => {
                if note.midi > last.midi {
                    *last = note;
                }
            }
            _ => self.melody.push(note),
        }
        Ok(())
    }

    fn end_of_bar(
        &mut self,
        measure: &Measure<'_>,
        metre: Option<TuneBar>,
        pickup: bool,
    ) -> Result<(), NoScore> {
        /// Quarters of a bar without metre at most.
        const LONGEST: f64 = 64.0;
        let bar = match metre {
            Some(bar) => bar,
            None if measure.reached > LONGEST => {
                return Err(measure.damaged("it has no metre and is longer than 64 quarters"));
            }
            None => TuneBar::of_quarters(measure.reached.ceil().max(1.0) as u8),
        };
        let quarters = f64::from(bar.beats) * 4.0 / f64::from(bar.unit);
        if measure.reached > quarters + NEAR {
            return Err(measure.damaged(format!(
                "it is {} quarters long and its metre allows {quarters}",
                measure.reached
            )));
        }
        let at = self
            .bars
            .last()
            .map_or(0.0, |last| last.at + f32::from(last.bar.beats));
        let late = if pickup {
            quarters - measure.reached
        } else {
            0.0
        };
        self.bars.push(Bar { bar, at, late });
        Ok(())
    }
}

fn same_place(a: Placed, b: Placed) -> bool {
    a.0 == b.0 && (a.1 - b.1).abs() < NEAR
}

/// `None` where the mode is not told, or is neither major nor minor.
fn read_key(key: &Element) -> Option<Key> {
    let fifths = key
        .number::<i8>("fifths")
        .filter(|f| (-7..=7).contains(f))?;
    let (tonic, mode) = match key.text_of("mode")? {
        "major" => (fifths, Mode::Major),
        "minor" => (fifths + 3, Mode::Minor),
        _ => return None,
    };
    Some(Key {
        tonic: Spelled::at_fifths(tonic),
        mode,
    })
}

fn read_metre(time: &Element) -> Option<TuneBar> {
    let beats = time.text_of("beats")?.split('+');
    let beats = beats
        .map(|part| part.trim().parse::<u8>().ok())
        .try_fold(0_u8, |sum, part| sum.checked_add(part?))?;
    let unit = time.number::<u8>("beat-type")?;
    let readable = (1..=32).contains(&beats) && [1, 2, 4, 8, 16].contains(&unit);
    readable.then_some(TuneBar { beats, unit })
}

fn read_pitch(pitch: &Element) -> Option<MidiNote> {
    let step: Spelled = pitch.text_of("step")?.parse().ok()?;
    let alter = pitch.number::<f64>("alter").unwrap_or(0.0).clamp(-3.0, 3.0);
    let octave = pitch
        .number::<i32>("octave")
        .filter(|o| (0..=9).contains(o))?;
    let midi = 12 * (octave + 1) + i32::from(step.class().get()) + alter.round() as i32;
    MidiNote::new(u8::try_from(midi).ok()?).ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chart::piece::OnStaff;
    use crate::harmony::chord::quality::QUALITIES;
    use crate::harmony::{NamedNote, Style};
    use crate::publish::musicxml::score::{Placed, Score};
    use crate::publish::musicxml::write_score;

    const ROOTS: [&str; 12] = [
        "C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B",
    ];

    fn placed(from: u32, to: u32, chord: Option<Chord>, midi: u8, name: &str) -> Placed {
        let note = NamedNote {
            midi: MidiNote::new(midi).unwrap(),
            name: name.parse().unwrap(),
        };
        let symbol = chord.map(|chord| OnStaff {
            chord,
            implied: false,
        });
        Placed {
            from,
            to,
            hands: [vec![note], Vec::new()],
            symbol,
            words: None,
        }
    }

    fn written(key: Option<Key>, bars: &[(u32, u32)], placed: &[Placed], style: Style) -> String {
        let mut bytes = Vec::new();
        let score = Score::of_bars("Reading", key, 1, bars, placed);
        write_score(&score, style, &mut bytes).unwrap();
        String::from_utf8(bytes).unwrap()
    }

    #[test]
    fn every_chord_of_the_vocabulary_is_read_back_as_it_was_written() {
        for style in Style::ALL {
            for quality in QUALITIES {
                let chords = ROOTS.map(|root| {
                    let root: Spelled = root.parse().unwrap();
                    // every other one over its fifth, so that basses are read too
                    let bass = root
                        .class()
                        .get()
                        .is_multiple_of(2)
                        .then(|| Spelled::from_window(root.class().up(7), -5));
                    Chord {
                        bass,
                        ..Chord::new(root, quality.degrees)
                    }
                });
                let bars = [(4, 4); 12];
                let all: Vec<Placed> = (0..)
                    .zip(chords)
                    .map(|(nth, chord)| placed(16 * nth, 16 * nth + 16, Some(chord), 72, "C"))
                    .collect();
                let text = written(None, &bars, &all, style);
                let tune = read_tune(text.as_bytes()).unwrap();
                let back: Vec<Chord> = tune.chords.iter().map(|chord| chord.chord).collect();
                assert_eq!(back, chords, "{} {style:?}", quality.body);
            }
        }
    }

    #[test]
    fn key_metre_melody_and_the_places_of_chords_are_read_back() {
        let symbol = |text: &str| Some(text.parse::<Chord>().unwrap());
        for (key, bars, beat) in [
            ("Eb", [(3, 4); 2], 4),
            ("F# minor", [(6, 8); 2], 2),
            ("C", [(4, 2); 2], 8),
        ] {
            let key: Key = key.parse().unwrap();
            let length = bars[0].0 * beat;
            let all = [
                placed(0, 2 * beat, symbol("Fm7"), 72, "C"),
                placed(2 * beat, length + beat, symbol("Bb7"), 70, "Bb"),
                placed(length + beat, length + 2 * beat, symbol("Ebmaj7"), 67, "G"),
            ];
            let text = written(Some(key), &bars, &all, Style::Letters);
            let tune = read_tune(text.as_bytes()).unwrap();
            assert_eq!(tune.key, Some(key));
            let bar = TuneBar {
                beats: bars[0].0 as u8,
                unit: bars[0].1 as u8,
            };
            assert_eq!(tune.bars, [bar; 2]);
            let beats = bars[0].0 as f32;
            let chords: Vec<(usize, f32, f32)> =
                tune.chords.iter().map(|c| (c.bar, c.at, c.beats)).collect();
            let expected = [
                (1, 0.0, 2.0),
                (1, 2.0, beats - 1.0),
                (2, beats + 1.0, beats - 1.0),
            ];
            assert_eq!(chords, expected, "{key}");
            let melody: Vec<(u8, f32, f32)> =
                tune.melody.iter().map(|n| (n.0.get(), n.1, n.2)).collect();
            let expected = [
                (72, 0.0, 2.0),
                (70, 2.0, beats - 1.0),
                (67, beats + 1.0, 1.0),
            ];
            assert_eq!(melody, expected, "{key}: tied over the bar line");
        }
    }

    /// A score of one part with these measures.
    fn score(measures: &str) -> String {
        format!(
            "<?xml version=\"1.0\"?>\n<score-partwise version=\"3.1\"><part-list/>\n<part id=\"P1\">{measures}</part></score-partwise>"
        )
    }

    const C7: &str =
        "<harmony><root><root-step>C</root-step></root><kind text=\"7\">dominant</kind></harmony>";

    #[test]
    fn what_others_write_is_read_by_the_standard() {
        let note = |step: &str, octave: u8, duration: u8, more: &str| {
            format!(
                "<note>{more}<pitch><step>{step}</step><octave>{octave}</octave></pitch><duration>{duration}</duration><voice>1</voice></note>"
            )
        };
        let lower = "<backup><duration>8</duration></backup><note><pitch><step>C</step><octave>3</octave></pitch><duration>8</duration><voice>5</voice><staff>2</staff></note>";
        let pickup = format!(
            "<measure number=\"0\" implicit=\"yes\"><attributes><divisions>2</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>{}</measure>",
            note("G", 4, 2, "")
        );
        let first = format!(
            "<measure number=\"1\">{C7}{}{}{}<note><grace/><pitch><step>D</step><octave>5</octave></pitch></note>{}{lower}</measure>",
            note("E", 4, 4, ""),
            note("C", 5, 4, "<chord/>"),
            note("B", 4, 4, ""),
            ""
        );
        // altered ninth that the kind does not hold; no chord on the third beat; a kind of its own text
        let second = format!(
            "<measure number=\"2\"><harmony><root><root-step>A</root-step><root-alter>-1</root-alter></root><kind>dominant</kind><degree><degree-value>9</degree-value><degree-alter>-1</degree-alter><degree-type>alter</degree-type></degree></harmony>\
             <harmony><root><root-step>C</root-step></root><kind>none</kind><offset>4</offset></harmony>{}</measure>",
            note("C", 5, 8, "")
        );
        let third = format!(
            "<measure number=\"3\"><harmony><root><root-step>F</root-step></root><kind text=\"m7b5\">other</kind></harmony>{}</measure>",
            note("C", 5, 8, "<tie type=\"stop\"/>")
        );
        let tune = read_tune(score(&(pickup + &first + &second + &third)).as_bytes()).unwrap();
        let chords: Vec<(String, f32, f32)> = tune
            .chords
            .iter()
            .map(|c| (c.chord.symbol(Style::Ascii), c.at, c.beats))
            .collect();
        assert_eq!(
            chords,
            [
                ("C7".to_owned(), 4.0, 4.0),
                ("Ab7b9".to_owned(), 8.0, 2.0),
                ("Fm7b5".to_owned(), 12.0, 4.0)
            ]
        );
        let melody: Vec<(u8, f32, f32)> =
            tune.melody.iter().map(|n| (n.0.get(), n.1, n.2)).collect();
        assert_eq!(
            melody,
            [
                (67, 3.0, 1.0),
                (72, 4.0, 2.0),
                (71, 6.0, 2.0),
                (72, 8.0, 8.0)
            ],
            "the pickup stands before the bar line, of a chord the highest counts, ties are one note"
        );
        assert_eq!(tune.key, None);
    }

    #[test]
    fn what_cannot_be_read_is_told_in_a_sentence_with_its_measure() {
        let told = |text: &str| read_tune(text.as_bytes()).unwrap_err().to_string();
        let whole = score(&format!("<measure number=\"1\">{C7}</measure>"));
        for (text, words) in [
            ("PK\u{3}\u{4}rest", "it is compressed (.mxl)"),
            ("<html><body/></html>", "no partwise MusicXML but <html>"),
            ("<score-timewise/>", "no partwise MusicXML but <score-timewise>"),
            (whole.split("</measure>").next().unwrap(), "it ends in the middle"),
            (&whole.replace("</kind>", "</kind"), "its line 3 is damaged"),
            (&whole.replace("</root>", "</roots>"), "its line 3 is damaged"),
            (&score("<measure number=\"1\"/>"), "there is no chord symbol in it"),
            (&whole.replace("dominant", "Tristan").replace("\"7\"", "\"Tr\""), "measure 1: a chord of the kind 'Tristan'"),
            (&whole.replace(">C<", ">X<"), "measure 1: a chord symbol has no root"),
            (&whole.replace("</harmony>", "<degree><degree-value>5</degree-value><degree-alter>5</degree-alter><degree-type>alter</degree-type></degree></harmony>"), "measure 1: a chord has its degree 5 altered by 5"),
            (&whole.replace("</harmony>", "</harmony><note><rest/></note>"), "measure 1: a <note> has no length"),
            (&whole.replace("<harmony>", "<attributes><divisions>0</divisions></attributes><harmony>"), "measure 1: its divisions"),
            (&whole.replace("<harmony>", "<attributes><time><beats>4</beats><beat-type>5</beat-type></time></attributes><harmony>"), "measure 1: its metre"),
            (&whole.replace("<harmony>", "<attributes><time><beats>2</beats><beat-type>4</beat-type></time></attributes><forward><duration>3</duration></forward><harmony>"), "measure 1: it is 3 quarters long"),
            (&"<a>".repeat(100), "nested too deeply"),
            ("", "it ends in the middle"),
        ] {
            let told = told(text);
            assert!(told.contains(words), "{words}: {told}");
        }
        assert_eq!(read_tune(b"<\xff\xfe").unwrap_err(), NoScore::NotUtf8);
    }

    #[test]
    fn a_file_cut_off_anywhere_is_refused_and_never_panics() {
        let whole = score(&format!(
            "<measure number=\"1\">{C7}<note><pitch><step>E</step><octave>4</octave></pitch><duration>4</duration></note></measure>"
        ));
        for end in 0..whole.len() {
            assert!(read_tune(&whole.as_bytes()[..end]).is_err(), "{end}");
        }
        assert!(read_tune(whole.as_bytes()).is_ok());
    }
}
