//! MusicXML 4.0.
//!
//! Input: a [`Heard`] recording, or a [`Score`]. Output: a partwise score, valid against the published schema: a lead sheet, or a grand staff.
//! Units: [`score::DIVISIONS`] a quarter. Method: MusicXML 4.0 (W3C Music Notation Community Group, 2021). Chord symbols are kind and degrees ([`kind`]), whose
//! text holds the suffix of the kind alone, since readers print the degrees beside it; a voicing that stands for a chord is written under that chord, marked as implied, with its
//! own name in words below. Accidentals are written wherever they are to be read, because some renderers do not work them out.
//! Limits: see [`score`].

pub mod kind;
pub mod read;
mod read_harmony;
pub mod score;
mod xml;

use crate::chart::piece::{OnStaff, Piece};
use crate::chart::recording::Heard;
use crate::harmony::{Key, Mode, NamedNote, Spelled, Style};
use crate::publish::WriteOptions;
use crate::view::printable::printable;
use kind::kind_and_degrees;
use quick_xml::Writer;
use quick_xml::events::{BytesDecl, BytesEnd, BytesStart, BytesText, Event as Xml};
use score::{DIVISIONS, Event, Measure, Score, Sign};
use std::collections::HashMap;
use std::io::{self, Write};

/// By this lidprop knows its own files.
pub const MARK: &str = "<software>lidprop ";
/// The document type, for readers that ask for it.
const DOCTYPE: &str = "score-partwise PUBLIC \"-//Recordare//DTD MusicXML 4.0 Partwise//EN\" \"http://www.musicxml.org/dtds/partwise.dtd\"";

/// Writes a recording.
///
/// # Errors
/// If `out` cannot be written to.
pub fn write_musicxml(
    heard: &Heard,
    options: &WriteOptions,
    out: &mut dyn Write,
) -> io::Result<()> {
    let piece = Piece::of(heard);
    // XML has no place for control characters.
    let score = Score::of(&piece, options.what, &printable(&piece.stem()));
    write_score(&score, piece.style, out)
}

/// Writes a score; the suffixes of chords in this style.
///
/// # Errors
/// If `out` cannot be written to.
pub fn write_score(score: &Score, style: Style, out: &mut dyn Write) -> io::Result<()> {
    write_parts(&[("Piano", score)], style, out)
}

/// Writes scores one below another, each under its name; the title is that of the first.
///
/// # Errors
/// If `out` cannot be written to.
pub fn write_parts(parts: &[(&str, &Score)], style: Style, out: &mut dyn Write) -> io::Result<()> {
    let title = parts.first().map_or("", |(_, score)| &score.title);
    let ids: Vec<String> = (1..=parts.len()).map(|nth| format!("P{nth}")).collect();
    let mut sheet = Sheet {
        xml: Writer::new_with_indent(out, b' ', 1),
        style,
    };
    sheet.event(Xml::Decl(BytesDecl::new("1.0", Some("UTF-8"), Some("no"))))?;
    sheet.event(Xml::DocType(BytesText::from_escaped(DOCTYPE)))?;
    sheet.within("score-partwise", &[("version", "4.0")], |sheet| {
        sheet.within("work", &[], |sheet| sheet.text("work-title", title))?;
        sheet.within("identification", &[], |sheet| {
            sheet.within("encoding", &[], |sheet| {
                sheet.text(
                    "software",
                    &format!("lidprop {}", env!("CARGO_PKG_VERSION")),
                )?;
                sheet.empty("supports", &[("element", "accidental"), ("type", "yes")])
            })
        })?;
        sheet.within("part-list", &[], |sheet| {
            ids.iter().zip(parts).try_for_each(|(id, (name, _))| {
                sheet.within("score-part", &[("id", id)], |sheet| {
                    sheet.text("part-name", name)
                })
            })
        })?;
        ids.iter().zip(parts).try_for_each(|(id, (_, score))| {
            sheet.within("part", &[("id", id)], |sheet| sheet.measures(score))
        })
    })?;
    writeln!(sheet.xml.get_mut())
}

struct Sheet<'a> {
    xml: Writer<&'a mut dyn Write>,
    style: Style,
}

/// Where a letter of an octave stands on a staff, and what it was last altered by.
type Alterations = HashMap<(usize, char, i16), i8>;

impl Sheet<'_> {
    fn event(&mut self, event: Xml<'_>) -> io::Result<()> {
        self.xml.write_event(event)
    }

    fn within(
        &mut self,
        name: &str,
        attributes: &[(&str, &str)],
        inside: impl FnOnce(&mut Self) -> io::Result<()>,
    ) -> io::Result<()> {
        self.event(Xml::Start(
            BytesStart::new(name).with_attributes(attributes.iter().copied()),
        ))?;
        inside(self)?;
        self.event(Xml::End(BytesEnd::new(name)))
    }

    fn text(&mut self, name: &str, text: &str) -> io::Result<()> {
        self.text_with(name, &[], text)
    }

    fn text_with(&mut self, name: &str, attributes: &[(&str, &str)], text: &str) -> io::Result<()> {
        let element = self
            .xml
            .create_element(name)
            .with_attributes(attributes.iter().copied());
        element.write_text_content(BytesText::new(text)).map(|_| ())
    }

    fn number(&mut self, name: &str, number: impl Into<i64>) -> io::Result<()> {
        self.text(name, &number.into().to_string())
    }

    fn empty(&mut self, name: &str, attributes: &[(&str, &str)]) -> io::Result<()> {
        self.event(Xml::Empty(
            BytesStart::new(name).with_attributes(attributes.iter().copied()),
        ))
    }

    fn measures(&mut self, score: &Score) -> io::Result<()> {
        let mut numbers = 1..;
        let mut before = None;
        for (nth, measure) in score.measures.iter().enumerate() {
            let number = if measure.pickup {
                0
            } else {
                numbers.next().unwrap_or_default()
            };
            self.measure(score, measure, number, (nth == 0).then_some(score), before)?;
            before = Some(measure.meter);
        }
        Ok(())
    }

    fn measure(
        &mut self,
        score: &Score,
        measure: &Measure,
        number: i64,
        first: Option<&Score>,
        before: Option<Option<(u32, u32)>>,
    ) -> io::Result<()> {
        let number = number.to_string();
        let mut attributes = vec![("number", number.as_str())];
        if measure.pickup {
            attributes.push(("implicit", "yes"));
        }
        self.within("measure", &attributes, |sheet| {
            if measure.new_line {
                sheet.empty("print", &[("new-system", "yes")])?;
            }
            let key = first.and(score.key).or(measure.key);
            let meter = (before != Some(measure.meter)).then_some(measure.meter);
            if first.is_some() || key.is_some() || meter.is_some() {
                sheet.attributes(score, first.is_some(), key, meter)?;
            }
            if let Some(score) = first {
                sheet.tempo(score)?;
            }
            let key = measure.key.or(score.key);
            let mut altered = Alterations::new();
            sheet.staff(measure, 0, score.staves, key, &mut altered)?;
            if score.staves > 1 {
                sheet.within("backup", &[], |sheet| {
                    sheet.number("duration", measure.length)
                })?;
                sheet.staff(measure, 1, score.staves, key, &mut altered)?;
            }
            Ok(())
        })
    }

    fn attributes(
        &mut self,
        score: &Score,
        first: bool,
        key: Option<Key>,
        meter: Option<Option<(u32, u32)>>,
    ) -> io::Result<()> {
        self.within("attributes", &[], |sheet| {
            if first {
                sheet.number("divisions", DIVISIONS)?;
            }
            if first || key.is_some() {
                sheet.within("key", &[], |sheet| {
                    sheet.number("fifths", key.map_or(0, Key::signature))?;
                    match key {
                        Some(key) => sheet.text(
                            "mode",
                            if key.mode == Mode::Minor {
                                "minor"
                            } else {
                                "major"
                            },
                        ),
                        None => Ok(()),
                    }
                })?;
            }
            match meter {
                Some(Some((beats, unit))) => sheet.within("time", &[], |sheet| {
                    sheet.number("beats", beats)?;
                    sheet.number("beat-type", unit)
                })?,
                Some(None) => sheet.within("time", &[("print-object", "no")], |sheet| {
                    sheet.empty("senza-misura", &[])
                })?,
                None => {}
            }
            if !first {
                return Ok(());
            }
            if score.staves > 1 {
                sheet.number("staves", score.staves as u32)?;
            }
            for (number, sign, line) in [("1", "G", "2"), ("2", "F", "4")]
                .into_iter()
                .take(score.staves)
            {
                let number: &[(&str, &str)] = &[("number", number)];
                sheet.within(
                    "clef",
                    if score.staves > 1 { number } else { &[] },
                    |sheet| {
                        sheet.text("sign", sign)?;
                        sheet.text("line", line)
                    },
                )?;
            }
            Ok(())
        })
    }

    fn tempo(&mut self, score: &Score) -> io::Result<()> {
        let Some(tempo) = score.tempo else {
            return Ok(());
        };
        let tempo = tempo.round().to_string();
        self.within("direction", &[("placement", "above")], |sheet| {
            if score.swung {
                sheet.within("direction-type", &[], |sheet| sheet.text("words", "swing"))?;
            }
            sheet.within("direction-type", &[], |sheet| {
                sheet.within("metronome", &[], |sheet| {
                    sheet.text("beat-unit", "quarter")?;
                    sheet.text("per-minute", &tempo)
                })
            })?;
            sheet.empty("sound", &[("tempo", &tempo)])
        })
    }

    fn staff(
        &mut self,
        measure: &Measure,
        staff: usize,
        staves: usize,
        key: Option<Key>,
        altered: &mut Alterations,
    ) -> io::Result<()> {
        for event in &measure.staves[staff] {
            let during = |at: u32| (event.at..event.at + event.length).contains(&at);
            if staff == 0 {
                for (at, symbol) in measure.symbols.iter().filter(|(at, _)| during(*at)) {
                    self.harmony(symbol, at - event.at, staves)?;
                }
            }
            if staff + 1 == staves {
                for (at, words) in measure.words.iter().filter(|(at, _)| during(*at)) {
                    self.words(words, at - event.at, staves)?;
                }
            }
            self.on_staff(event, measure, staff, staves, key, altered)?;
        }
        Ok(())
    }

    fn words(&mut self, words: &str, offset: u32, staves: usize) -> io::Result<()> {
        self.within("direction", &[("placement", "below")], |sheet| {
            sheet.within("direction-type", &[], |sheet| sheet.text("words", words))?;
            if offset > 0 {
                sheet.number("offset", offset)?;
            }
            sheet.number("staff", staves as u32)
        })
    }

    fn harmony(&mut self, symbol: &OnStaff, offset: u32, staves: usize) -> io::Result<()> {
        let said = kind_and_degrees(&symbol.chord, self.style);
        let implied: &[(&str, &str)] = &[("type", "implied")];
        self.within(
            "harmony",
            if symbol.implied { implied } else { &[] },
            |sheet| {
                sheet.named("root", said.root)?;
                sheet.text_with("kind", &[("text", &said.text)], said.kind)?;
                if let Some(bass) = said.bass {
                    sheet.named("bass", bass)?;
                }
                for degree in &said.degrees {
                    sheet.within("degree", &[], |sheet| {
                        sheet.number("degree-value", degree.value)?;
                        sheet.number("degree-alter", degree.alter)?;
                        sheet.text("degree-type", degree.change.word())
                    })?;
                }
                if offset > 0 {
                    sheet.number("offset", offset)?;
                }
                match staves {
                    1 => Ok(()),
                    _ => sheet.number("staff", 1),
                }
            },
        )
    }

    /// `root-step` and `root-alter`, and the same of a bass.
    fn named(&mut self, part: &str, note: Spelled) -> io::Result<()> {
        self.within(part, &[], |sheet| {
            sheet.text(&format!("{part}-step"), &note.letter().to_string())?;
            match note.accidentals() {
                0 => Ok(()),
                alter => sheet.number(&format!("{part}-alter"), alter),
            }
        })
    }

    fn on_staff(
        &mut self,
        event: &Event,
        measure: &Measure,
        staff: usize,
        staves: usize,
        key: Option<Key>,
        altered: &mut Alterations,
    ) -> io::Result<()> {
        let voice = if staff == 0 { "1" } else { "5" };
        let whole_measure = event.length == measure.length && event.what == Sign::Rest;
        let ending = |sheet: &mut Self| -> io::Result<()> {
            sheet.text("voice", voice)?;
            if !whole_measure {
                let (value, dots) = note_value(event.length);
                sheet.text("type", value)?;
                (0..dots).try_for_each(|_| sheet.empty("dot", &[]))?;
            }
            Ok(())
        };
        let on = |sheet: &mut Self| match staves {
            1 => Ok(()),
            _ => sheet.number("staff", staff as u32 + 1),
        };
        match &event.what {
            Sign::Gap => self.within("forward", &[], |sheet| {
                sheet.number("duration", event.length)?;
                sheet.text("voice", voice)?;
                on(sheet)
            }),
            Sign::Rest => self.within("note", &[], |sheet| {
                let measure: &[(&str, &str)] = &[("measure", "yes")];
                sheet.empty("rest", if whole_measure { measure } else { &[] })?;
                sheet.number("duration", event.length)?;
                ending(sheet)?;
                on(sheet)
            }),
            Sign::Slash => self.within("note", &[], |sheet| {
                sheet.within("unpitched", &[], |sheet| {
                    sheet.text("display-step", "B")?;
                    sheet.text("display-octave", "4")
                })?;
                sheet.number("duration", event.length)?;
                ending(sheet)?;
                sheet.text("stem", "none")?;
                sheet.text("notehead", "slash")?;
                on(sheet)
            }),
            Sign::Notes(notes) => {
                for (nth, note) in notes.iter().enumerate() {
                    let accidental =
                        accidental(*note, staff, key, altered).filter(|_| !event.tied_from);
                    self.within("note", &[], |sheet| {
                        if nth > 0 {
                            sheet.empty("chord", &[])?;
                        }
                        sheet.pitch(*note)?;
                        sheet.number("duration", event.length)?;
                        let ties = [(event.tied_from, "stop"), (event.tied_to, "start")];
                        let ties = ties.iter().filter(|(tied, _)| *tied);
                        ties.clone()
                            .try_for_each(|(_, end)| sheet.empty("tie", &[("type", end)]))?;
                        sheet.text("voice", voice)?;
                        let (value, dots) = note_value(event.length);
                        sheet.text("type", value)?;
                        (0..dots).try_for_each(|_| sheet.empty("dot", &[]))?;
                        if let Some(accidental) = accidental {
                            sheet.text("accidental", accidental)?;
                        }
                        on(sheet)?;
                        if event.tied_from || event.tied_to {
                            sheet.within("notations", &[], |sheet| {
                                ties.clone()
                                    .try_for_each(|(_, end)| sheet.empty("tied", &[("type", end)]))
                            })?;
                        }
                        Ok(())
                    })?;
                }
                Ok(())
            }
        }
    }

    fn pitch(&mut self, note: NamedNote) -> io::Result<()> {
        self.within("pitch", &[], |sheet| {
            sheet.text("step", &note.name.letter().to_string())?;
            if note.name.accidentals() != 0 {
                sheet.number("alter", note.name.accidentals())?;
            }
            sheet.number("octave", octave(note))
        })
    }
}

/// Counted by the letter, so that Cb4 lies beside C4.
pub fn octave(note: NamedNote) -> i16 {
    (i16::from(note.midi.get()) - i16::from(note.name.accidentals())).div_euclid(12) - 1
}

/// The accidental that must be written, where the signature and what stands before in the measure do not say it.
fn accidental(
    note: NamedNote,
    staff: usize,
    key: Option<Key>,
    altered: &mut Alterations,
) -> Option<&'static str> {
    let letter = note.name.letter();
    let alter = note.name.accidentals();
    let now = altered
        .entry((staff, letter, octave(note)))
        .or_insert_with(|| by_signature(letter, key));
    if *now == alter {
        return None;
    }
    *now = alter;
    Some(match alter {
        -3 => "triple-flat",
        -2 => "flat-flat",
        -1 => "flat",
        1 => "sharp",
        2 => "double-sharp",
        3 => "triple-sharp",
        _ => "natural",
    })
}

/// What the signature does to a letter.
pub fn by_signature(letter: char, key: Option<Key>) -> i8 {
    const SHARPS: [char; 7] = ['F', 'C', 'G', 'D', 'A', 'E', 'B'];
    let signature = key.map_or(0, Key::signature);
    let place = SHARPS
        .iter()
        .position(|&sharp| sharp == letter)
        .unwrap_or_default() as i8;
    if place < signature {
        1
    } else if 6 - place < -signature {
        -1
    } else {
        0
    }
}

/// The value of a note of this length, and its dots.
fn note_value(length: u32) -> (&'static str, u32) {
    match length {
        16.. => ("whole", 0),
        12.. => ("half", 1),
        8.. => ("half", 0),
        6.. => ("quarter", 1),
        4.. => ("quarter", 0),
        3 => ("eighth", 1),
        2 => ("eighth", 0),
        _ => ("16th", 0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_accidental_is_written_where_signature_and_measure_do_not_say_it() {
        let note = |midi: u8, name: &str| NamedNote {
            midi: crate::units::MidiNote::new(midi).unwrap(),
            name: name.parse().unwrap(),
        };
        let key = Some("Eb".parse().unwrap());
        let mut altered = Alterations::new();
        let mut write = |midi, name| accidental(note(midi, name), 0, key, &mut altered);
        assert_eq!(write(63, "Eb"), None);
        assert_eq!(write(64, "E"), Some("natural"));
        assert_eq!(write(64, "E"), None);
        assert_eq!(write(76, "E"), Some("natural"));
        assert_eq!(write(63, "Eb"), Some("flat"));
        assert_eq!(write(66, "F#"), Some("sharp"));
        assert_eq!(octave(note(59, "Cb")), 4);
    }

    #[test]
    fn a_signature_alters_the_letters_it_holds() {
        let altered = |key: &str| -> String {
            let key = Some(key.parse().unwrap());
            "CDEFGAB"
                .chars()
                .filter(|&letter| by_signature(letter, key) != 0)
                .collect()
        };
        assert_eq!(altered("C"), "");
        assert_eq!(altered("Eb"), "EAB");
        assert_eq!(altered("E"), "CDFG");
        assert_eq!(altered("F# minor"), "CFG");
    }
}
