//! What was asked of `lidprop standin`, answered: the search, the voicings, and both beside the original.
//!
//! Input: a tune and the arguments. Output: a [`StandInSheet`]. Units: beats. Method: stand-ins for one chord are led from the chord before and to the
//! chord after, a whole tune from its first chord to its last; the original is voiced by the same rule.
//! Limits: of one chord only its neighbours are shown with it.

use super::{HandsWord, StandinArgs};
use crate::chart::document::SCHEMA;
use crate::chart::stand_ins::{StandInText, Writing, WrittenChord, WrittenStandIn, WrittenTune};
use crate::cli::CliError;
use crate::harmony::Chord;
use crate::harmony::standins::{
    MelodyNote, StandIn, Tune, TuneChord, Wish, key_at, reharmonise, rejected, stand_ins,
};
use crate::harmony::voicing::hands::{HandVoicing, Hands};
use crate::harmony::voicing::leading::{Wanted, lead};
use crate::publish::stand_ins::{Place, StandInSheet, Version, Voiced};
use crate::units::MidiNote;
use crate::view::ink::Ink;
use std::ops::Range;

/// How far out a whole progression goes where nothing is said.
const USUAL_OUT: u8 = 2;

/// What was asked.
pub struct Asked<'a> {
    args: &'a StandinArgs,
    tune: Tune,
    writing: Writing,
}

impl<'a> Asked<'a> {
    /// Of this tune.
    pub fn new(args: &'a StandinArgs, tune: Tune) -> Self {
        let at = args.chord.map_or(0, |number| number.saturating_sub(1));
        let writing = Writing {
            // Files hold what was asked for, the text what can be shown.
            style: match args.write {
                Some(_) => args.naming.style,
                None => Ink::for_style(args.naming.style).1,
            },
            key: key_at(&tune, at),
        };
        Self {
            args,
            tune,
            writing,
        }
    }

    /// The answer.
    ///
    /// # Errors
    /// If there is no such chord.
    pub fn sheet(&self) -> Result<StandInSheet, CliError> {
        match self.args.chord {
            Some(number) => self.for_one(number),
            None => Ok(self.for_all()),
        }
    }

    fn for_one(&self, number: usize) -> Result<StandInSheet, CliError> {
        let count = self.tune.chords.len();
        let Some((at, chord)) = number
            .checked_sub(1)
            .and_then(|at| Some((at, self.tune.chords.get(at)?)))
        else {
            return Err(CliError::Usage(format!(
                "there is no chord {number}: the progression has {count}, counted from 1 as they change"
            )));
        };
        let wish = Wish {
            most: self.args.most,
            out_to: self.args.out_to,
        };
        let around = at.saturating_sub(1)..(at + 2).min(count);
        let in_place = |stand_in: Option<&StandIn>| -> Vec<Place> {
            let chosen = around.clone().map(|place| stand_in.filter(|_| place == at));
            self.places(around.clone(), &chosen.collect::<Vec<_>>(), Some(at))
        };
        let mut versions = vec![Version {
            name: ORIGINAL.to_owned(),
            places: in_place(None),
        }];
        let found = stand_ins(&self.tune, at, &wish);
        let mut proposed = Vec::with_capacity(found.len());
        for (nth, stand_in) in found.iter().enumerate() {
            let places = in_place(Some(stand_in));
            proposed.push(self.written(stand_in, &places[at - around.start]));
            versions.push(Version {
                name: format!("{} instead", nth + 1),
                places,
            });
        }
        let refused = self.args.rejected.then(|| {
            let one = |stand_in: &StandIn| {
                let places = in_place(Some(stand_in));
                self.written(stand_in, &places[at - around.start])
            };
            let found = rejected(&self.tune, at, &wish);
            found.iter().map(one).collect()
        });
        let answer = self.writing.stand_ins_for(number, chord, proposed, refused);
        Ok(self.shown(around, versions, StandInText::One(answer)))
    }

    fn for_all(&self) -> StandInSheet {
        let found = reharmonise(
            &self.tune,
            self.args.out_to.unwrap_or(USUAL_OUT),
            self.args.budget,
        );
        let all = 0..self.tune.chords.len();
        let chosen: Vec<Option<&StandIn>> = found.chosen.iter().map(Option::as_ref).collect();
        let places = self.places(all.clone(), &chosen, None);
        let chords = places
            .iter()
            .zip(&self.tune.chords)
            .zip(&chosen)
            .map(|((place, original), chosen)| WrittenChord {
                bar: original.bar,
                beats: original.beats,
                original: original.chord.symbol(self.writing.style),
                stand_in: chosen.map(|stand_in| self.writing.stand_in(stand_in, &[])),
                voicings: place
                    .chords
                    .iter()
                    .map(|voiced| self.writing.voicing(&voiced.voicing, &voiced.chord))
                    .collect(),
            })
            .collect();
        let text = WrittenTune {
            schema: SCHEMA,
            out: found.out,
            already: self.writing.marks(&self.tune),
            chords,
        };
        let nothing = vec![None; all.len()];
        let versions = vec![
            Version {
                name: ORIGINAL.to_owned(),
                places: self.places(all.clone(), &nothing, None),
            },
            Version {
                name: "instead".to_owned(),
                places,
            },
        ];
        self.shown(all, versions, StandInText::Tune(text))
    }

    /// The chords of this part of the tune, or what was chosen for them, led from one to the next; the melody lies on top, or only on that of the chord `over`.
    fn places(
        &self,
        part: Range<usize>,
        chosen: &[Option<&StandIn>],
        over: Option<usize>,
    ) -> Vec<Place> {
        let originals = &self.tune.chords[part.clone()];
        let sounding: Vec<Vec<(Chord, f32)>> = originals
            .iter()
            .zip(chosen)
            .map(|(original, chosen)| match chosen {
                Some(stand_in) => {
                    let parts = stand_in.parts.iter();
                    parts.map(|part| (part.chord, part.beats)).collect()
                }
                None => vec![(original.chord, original.beats)],
            })
            .collect();
        let wanted: Vec<Wanted> = sounding
            .iter()
            .zip(part.zip(originals))
            .flat_map(|(chords, (at, original))| {
                let sung = over.is_none_or(|over| over == at);
                let top = first_note(original).filter(|_| sung);
                let one = move |(nth, &(chord, _)): (usize, &(_, f32))| Wanted {
                    chord,
                    top: top.filter(|_| nth == 0),
                };
                chords.iter().enumerate().map(one)
            })
            .collect();
        let mut led = self.lead(&wanted).into_iter();
        let place = |((chords, original), chosen): ((_, &TuneChord), &Option<&StandIn>)| {
            let chords: Vec<(Chord, f32)> = chords;
            let mut at = original.at;
            let voiced = chords.into_iter().zip(led.by_ref());
            let chords = voiced.map(|((chord, beats), voicing)| {
                at += beats;
                Voiced {
                    chord,
                    at: at - beats,
                    beats,
                    voicing,
                }
            });
            let chords = chords.collect();
            let written = chosen.map(|stand_in| self.writing.stand_in(stand_in, &[]));
            Place {
                chords,
                why: written.as_ref().map(|w| self.why(original, w)),
                melody: written.iter().flat_map(melody_words).collect(),
            }
        };
        let originals = sounding.into_iter().zip(originals);
        originals.zip(chosen).map(place).collect()
    }

    fn why(&self, original: &TuneChord, written: &WrittenStandIn) -> String {
        format!(
            "for {}: {} ({}), {} out",
            original.chord.symbol(self.writing.style),
            written.device,
            written.usage,
            written.out
        )
    }

    fn written(&self, stand_in: &StandIn, place: &Place) -> WrittenStandIn {
        let voicings: Vec<HandVoicing> = place
            .chords
            .iter()
            .map(|voiced| voiced.voicing.clone())
            .collect();
        self.writing.stand_in(stand_in, &voicings)
    }

    /// The bars over which this part of the tune lies, with places counted from the first of them.
    fn shown(
        &self,
        part: Range<usize>,
        mut versions: Vec<Version>,
        text: StandInText,
    ) -> StandInSheet {
        let chords = &self.tune.chords[part];
        let begins = chords.first().map_or(0.0, |first| first.at);
        let ends = chords.last().map_or(0.0, |last| last.at + last.beats);
        let first = self.tune.place(begins).0;
        let last = self.tune.place(ends - 1e-2).0.max(first);
        let beats = |bars: Range<usize>| -> f32 {
            let bars = self.tune.bars.get(bars).unwrap_or_default();
            bars.iter().map(|bar| f32::from(bar.beats)).sum()
        };
        let from = beats(0..first);
        let voiced = versions.iter_mut().flat_map(|version| &mut version.places);
        for chord in voiced.flat_map(|place| &mut place.chords) {
            chord.at -= from;
        }
        let over = |&(midi, at, lasts): &MelodyNote| {
            let (at, end) = (at.max(begins), (at + lasts).min(ends));
            (end - at > 1e-3).then_some((midi, at - from, end - at))
        };
        StandInSheet {
            title: self.title(),
            key: self.writing.key,
            style: self.writing.style,
            tempo: self.args.tempo.unwrap_or(super::USUAL_TEMPO),
            bars: self
                .tune
                .bars
                .get(first..=last)
                .unwrap_or_default()
                .to_vec(),
            first_bar: first + 1,
            melody: self.tune.melody.iter().filter_map(over).collect(),
            versions,
            text,
        }
    }

    fn title(&self) -> String {
        let file = self.args.chart.as_ref().or(self.args.from.as_ref());
        let stem = file.and_then(|path| path.file_stem());
        match (stem, &self.args.progression) {
            (Some(stem), _) => stem.to_string_lossy().into_owned(),
            (None, Some(typed)) => typed.trim().to_owned(),
            (None, None) => "Stand-ins".to_owned(),
        }
    }

    fn lead(&self, wanted: &[Wanted]) -> Vec<HandVoicing> {
        let hands = match self.args.hands {
            HandsWord::Left => Hands::Left,
            HandsWord::Both => Hands::Both,
        };
        lead(wanted, hands, self.args.span)
    }
}

/// What the version without a stand-in is called.
const ORIGINAL: &str = "original";

/// What each melody note is to a stand-in, where there is something to say.
fn melody_words(written: &WrittenStandIn) -> Vec<String> {
    let told = written.melody.iter().filter(|note| note.is.contains(' '));
    told.map(|note| format!("melody {}: {} (over {})", note.note, note.is, note.over))
        .collect()
}

/// The melody note with which a chord begins.
fn first_note(chord: &TuneChord) -> Option<MidiNote> {
    chord
        .melody
        .first()
        .filter(|sung| sung.at < 1e-3)
        .map(|sung| sung.midi)
}
