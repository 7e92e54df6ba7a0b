//! Exercises: one chord, voicing or progression through the keys in an order.
//!
//! Input: what to practise, in which form, order, range. Output: the [`Target`]s of one round.
//! Units: half steps. Method: the orders are the ways players take through the keys (Levine, The Jazz Piano Book, 1989, ch. 1): an order that
//! closes before it has been in all twelve goes on a half step higher. A random round is drawn with a seed that comes in as a value.
//! Limits: a chart is played in its own key and order.

use super::target::{Form, KeyRange, Target, UnknownWord, same_word};
use crate::harmony::voicing::typed::{Typed, TypedError};
use crate::harmony::{
    Chord, Context, Key, Mode, PitchClass, Sounding, Spelled, SymbolError, Verdict, name_chord,
    note_name,
};
use crate::units::{MidiNote, Semitones};
use std::str::FromStr;

/// The way through the keys.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Order {
    /// Down in fifths, up in fourths: C F Bb Eb.
    Fourths,
    /// Up in fifths: C G D A.
    Fifths,
    /// Up in half steps.
    HalfSteps,
    /// Down in half steps.
    HalfStepsDown,
    /// Down in whole steps: C Bb Ab, then a half step higher.
    WholeSteps,
    /// Up in whole steps.
    WholeStepsUp,
    /// Up in minor thirds: C Eb Gb A, then a half step higher.
    MinorThirds,
    /// Up in major thirds: C E G#, then a half step higher.
    MajorThirds,
    /// Each key once, drawn anew each round.
    Random,
    /// The keys that go worst first, as the logbook has them.
    WeakestFirst,
    /// These keys.
    Own(Vec<Spelled>),
}

impl Order {
    /// Words, orders, and the step of those that have one.
    const WORDS: [(&'static str, Order, Option<i32>); 10] = [
        ("fourths", Order::Fourths, Some(5)),
        ("fifths", Order::Fifths, Some(7)),
        ("half steps", Order::HalfSteps, Some(1)),
        ("half steps down", Order::HalfStepsDown, Some(-1)),
        ("whole steps", Order::WholeSteps, Some(-2)),
        ("whole steps up", Order::WholeStepsUp, Some(2)),
        ("minor thirds", Order::MinorThirds, Some(3)),
        ("major thirds", Order::MajorThirds, Some(4)),
        ("random", Order::Random, None),
        ("weakest first", Order::WeakestFirst, None),
    ];

    /// All words there are.
    pub fn words() -> impl Iterator<Item = &'static str> {
        Self::WORDS.iter().map(|(word, ..)| *word)
    }

    /// The orders that need nothing but a first key.
    pub fn fixed() -> impl Iterator<Item = Order> {
        let fixed = Self::WORDS.iter().filter(|(.., step)| step.is_some());
        fixed.map(|(_, order, _)| order.clone())
    }

    /// The keys of one round from `start`. `weakest` lists the keys that go worst first; those it lacks follow in fourths.
    pub fn keys(&self, start: PitchClass, seed: u64, weakest: &[PitchClass]) -> Vec<PitchClass> {
        let step = |wanted: &Order| {
            let row = Self::WORDS.iter().find(|(_, order, _)| order == wanted);
            row.and_then(|(.., step)| *step)
        };
        match self {
            Self::Own(keys) => keys.iter().map(|key| key.class()).collect(),
            Self::Random => {
                let mut keys: Vec<PitchClass> = PitchClass::all().collect();
                fastrand::Rng::with_seed(seed).shuffle(&mut keys);
                keys
            }
            Self::WeakestFirst => {
                let mut keys = weakest.to_vec();
                let others = in_steps(start, 5);
                keys.extend(others.into_iter().filter(|key| !weakest.contains(key)));
                keys
            }
            fixed => in_steps(start, step(fixed).unwrap_or(5)),
        }
    }
}

/// All twelve keys from `start`; where a circle closes early, the next begins a half step above the start of the one before.
fn in_steps(start: PitchClass, step: i32) -> Vec<PitchClass> {
    let mut keys: Vec<PitchClass> = Vec::with_capacity(12);
    let mut first = start;
    while keys.len() < 12 {
        let mut next = first;
        while !keys.contains(&next) {
            keys.push(next);
            next = next.up(step);
        }
        first = first.up(1);
    }
    keys
}

impl FromStr for Order {
    type Err = UnknownWord;
    /// A word of the list, or keys one after another: `C F Bb`.
    fn from_str(text: &str) -> Result<Self, UnknownWord> {
        let found = Self::WORDS.iter().find(|(word, ..)| same_word(word, text));
        if let Some((_, order, _)) = found {
            return Ok(order.clone());
        }
        let keys = text
            .split([' ', ',', '-'])
            .filter(|word| !word.is_empty())
            .map(str::parse);
        match keys.collect::<Result<Vec<Spelled>, _>>() {
            Ok(keys) if !keys.is_empty() => Ok(Self::Own(keys)),
            _ => Err(UnknownWord {
                given: text.to_owned(),
                what: "order of keys",
                allowed: Self::words()
                    .chain(["keys of your own, as C F Bb"])
                    .collect(),
            }),
        }
    }
}

impl std::fmt::Display for Order {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        if let Self::Own(keys) = self {
            let names: Vec<&str> = keys.iter().map(|key| key.name()).collect();
            return f.write_str(&names.join(" "));
        }
        let row = Self::WORDS.iter().find(|(_, order, _)| order == self);
        f.write_str(row.map_or("fourths", |(word, ..)| word))
    }
}

/// Progressions that are practised in all keys.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Progression {
    /// Two-five-one in major, the dominant without its root.
    TwoFiveOne,
    /// A diminished major seventh for the dominant (a whole step below its root: 13(b9) without root), then the tonic.
    DiminishedForDominant,
    /// The diminished major seventh on the key's note as both dominants that it stands for, each resolved.
    BothDominants,
    /// The diminished major sevenths of four dominants that lie minor thirds apart, then the tonic of the first.
    MinorThirdChain,
}

/// What stands on one step of a progression: half steps above the tonic, chord, form, numeral.
type Step = (i32, &'static str, Form, &'static str);

impl Progression {
    const WORDS: [(&'static str, Progression); 4] = [
        ("two-five-one", Progression::TwoFiveOne),
        (
            "diminished for dominant",
            Progression::DiminishedForDominant,
        ),
        ("both dominants", Progression::BothDominants),
        ("minor third chain", Progression::MinorThirdChain),
    ];

    /// All words there are.
    pub fn words() -> impl Iterator<Item = &'static str> {
        Self::WORDS.iter().map(|(word, _)| *word)
    }

    /// The steps. A diminished major seventh X is 13(b9) without root of the root a whole step above X, and 7(#9) without root of the root
    /// a major third below X (see [`crate::harmony`]); the first resolves a fifth below that root, X + 7, the second to X + 1.
    const fn steps(self) -> &'static [Step] {
        use Form::{RootPosition, RootlessA, RootlessB};
        match self {
            Self::TwoFiveOne => &[
                (2, "m7", RootlessA, "ii7"),
                (7, "13", RootlessB, "V13"),
                (0, "maj7", RootlessA, "Imaj7"),
            ],
            Self::DiminishedForDominant => &[
                (5, "dim(maj7)", RootPosition, "iv\u{b0}(maj7) for V13(b9)"),
                (0, "maj7", RootPosition, "Imaj7"),
            ],
            Self::BothDominants => &[
                (
                    0,
                    "dim(maj7)",
                    RootPosition,
                    "for 13(b9) of the key a fifth above",
                ),
                (7, "maj7", RootPosition, "its tonic"),
                (
                    0,
                    "dim(maj7)",
                    RootPosition,
                    "for 7(#9) of the key a half step above",
                ),
                (1, "m7", RootPosition, "its tonic"),
            ],
            Self::MinorThirdChain => &[
                (5, "dim(maj7)", RootPosition, "for V13(b9)"),
                (
                    8,
                    "dim(maj7)",
                    RootPosition,
                    "for the dominant a minor third above",
                ),
                (
                    11,
                    "dim(maj7)",
                    RootPosition,
                    "for the dominant a tritone away",
                ),
                (
                    2,
                    "dim(maj7)",
                    RootPosition,
                    "for the dominant a minor third below",
                ),
                (0, "maj7", RootPosition, "Imaj7"),
            ],
        }
    }
}

impl FromStr for Progression {
    type Err = UnknownWord;
    fn from_str(text: &str) -> Result<Self, UnknownWord> {
        let found = Self::WORDS.iter().find(|(word, _)| same_word(word, text));
        found.map(|&(_, it)| it).ok_or_else(|| UnknownWord {
            given: text.to_owned(),
            what: "progression",
            allowed: Self::words().collect(),
        })
    }
}

impl std::fmt::Display for Progression {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let row = Self::WORDS.iter().find(|(_, it)| it == self);
        f.write_str(row.map_or("", |(word, _)| word))
    }
}

/// What is practised.
#[derive(Debug, Clone, PartialEq)]
pub enum Material {
    /// A chord type; the root says where a round begins.
    Chord(Chord),
    /// A voicing as typed.
    Voicing {
        /// What it is called.
        chord: Chord,
        /// Its keys.
        keys: Vec<MidiNote>,
    },
    /// A progression.
    Progression(Progression),
    /// Chords one after another, in their own keys.
    Chart(Vec<ChartStep>),
}

/// A chord of a chart.
#[derive(Debug, Clone, PartialEq)]
pub enum ChartStep {
    /// As a symbol.
    Symbol(Chord),
    /// As keys.
    Keys(Vec<MidiNote>),
}

/// Words that are nothing to practise.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ExerciseError {
    /// No chord.
    #[error(transparent)]
    Symbol(#[from] SymbolError),
    /// No notes.
    #[error(transparent)]
    Typed(#[from] TypedError),
    /// Keys that no chord is called by.
    #[error("these keys have no good name, so they cannot be asked for in other keys: {0}")]
    Unnamed(String),
    /// The form does not go with the chord, or the range is too narrow for it.
    #[error("{symbol} has no {form} between {lowest} and {highest}")]
    NoForm {
        /// The chord.
        symbol: String,
        /// The form.
        form: Form,
        /// MIDI number of the lowest key of the range.
        lowest: u8,
        /// That of the highest.
        highest: u8,
    },
}

/// Where a chord type without a root begins.
const FROM_C: &str = "C";

impl Material {
    /// Reads what was typed: a progression by its word, a chord type (`dim(maj7)`), a symbol (`Dm7`), or a voicing (`D4 F4 Ab4 Db5`).
    ///
    /// # Errors
    /// If it is none of these.
    pub fn read(words: &[String]) -> Result<Self, ExerciseError> {
        let text = words.join(" ");
        if let Ok(progression) = text.parse() {
            return Ok(Self::Progression(progression));
        }
        let begins_with_root = text
            .trim_start()
            .starts_with(|c: char| ('A'..='G').contains(&c));
        if !begins_with_root {
            let chord: Result<Chord, SymbolError> = if same_word(&text, "maj") {
                FROM_C.parse()
            } else {
                format!("{FROM_C}{}", text.trim()).parse()
            };
            // the place is told in what was typed
            return Ok(Self::Chord(chord.map_err(|error| SymbolError {
                text: text.clone(),
                place: error.place.saturating_sub(FROM_C.len()).max(1),
                ..error
            })?));
        }
        let typed = Typed::read(words)?;
        match typed.symbol {
            Some(chord) => Ok(Self::Chord(chord)),
            None => Self::of_keys(typed.sounding.notes.iter().map(|note| note.midi).collect()),
        }
    }

    /// A voicing by its keys, under the best name that they have.
    ///
    /// # Errors
    /// If no chord is called by them.
    pub fn of_keys(keys: Vec<MidiNote>) -> Result<Self, ExerciseError> {
        let chord = name_of(&keys)?;
        Ok(Self::Voicing { chord, keys })
    }
}

/// One thing to practise, through the keys.
#[derive(Debug, Clone, PartialEq)]
pub struct Exercise {
    /// What.
    pub material: Material,
    /// How a chord is to lie; progressions have forms of their own unless one is stated.
    pub form: Option<Form>,
    /// Through which keys.
    pub order: Order,
    /// Where the round begins; without it, at the root of what was typed.
    pub start: Option<PitchClass>,
    /// Where on the keyboard.
    pub range: KeyRange,
}

impl Exercise {
    /// The round's first key.
    fn first_key(&self) -> PitchClass {
        self.start.unwrap_or(match &self.material {
            Material::Chord(chord) | Material::Voicing { chord, .. } => chord.root.class(),
            Material::Progression(_) | Material::Chart(_) => PitchClass::new(0),
        })
    }

    /// The targets of one round.
    ///
    /// # Errors
    /// If a chord has no such form in this range.
    pub fn round(&self, seed: u64, weakest: &[PitchClass]) -> Result<Vec<Target>, ExerciseError> {
        if let Material::Chart(steps) = &self.material {
            return steps.iter().map(|step| self.step(step)).collect();
        }
        let keys = self.order.keys(self.first_key(), seed, weakest);
        let mut targets = Vec::new();
        for key in keys {
            self.in_key(key, &mut targets)?;
        }
        Ok(targets)
    }

    fn in_key(&self, key: PitchClass, targets: &mut Vec<Target>) -> Result<(), ExerciseError> {
        match &self.material {
            Material::Chord(chord) => targets.push(self.target(chord_on(chord, key), None)?),
            Material::Voicing { chord, keys } => targets.push(self.voicing(chord, keys, key)?),
            Material::Progression(progression) => {
                let tonic = Key::usual(key, Mode::Major);
                for &(up, body, form, numeral) in progression.steps() {
                    let root = tonic.spell(key.up(up));
                    let chord = Chord::new(root, chord_of(body).degrees);
                    let target = self.target(chord, Some(form))?;
                    targets.push(target.in_place(format!("{numeral} in {}", tonic.tonic)));
                }
            }
            Material::Chart(_) => {}
        }
        Ok(())
    }

    fn step(&self, step: &ChartStep) -> Result<Target, ExerciseError> {
        match step {
            ChartStep::Symbol(chord) => self.target(*chord, None),
            ChartStep::Keys(keys) => {
                let chord = name_of(keys)?;
                self.voicing(&chord, keys, chord.root.class())
            }
        }
    }

    fn target(&self, chord: Chord, form: Option<Form>) -> Result<Target, ExerciseError> {
        let form = self.form.or(form).unwrap_or(Form::RootPosition);
        Target::new(chord, form, self.range).ok_or_else(|| self.no_form(&chord, form))
    }

    fn voicing(
        &self,
        chord: &Chord,
        keys: &[MidiNote],
        root: PitchClass,
    ) -> Result<Target, ExerciseError> {
        let up = i16::from(root.above(chord.root.class()));
        let by = Semitones(if up > 6 { up - 12 } else { up });
        let moved: Option<Vec<MidiNote>> = keys.iter().map(|key| key.checked_add(by)).collect();
        let chord = chord_on(chord, root);
        moved
            .and_then(|keys| Target::of_keys(chord, &keys, self.range))
            .ok_or_else(|| self.no_form(&chord, Form::Typed))
    }

    fn no_form(&self, chord: &Chord, form: Form) -> ExerciseError {
        ExerciseError::NoForm {
            symbol: chord.symbol(crate::harmony::Style::Letters),
            form,
            lowest: self.range.lowest.get(),
            highest: self.range.highest.get(),
        }
    }

    /// What it is in a few words, for the logbook: `dim(maj7), root position, fourths`.
    pub fn title(&self) -> String {
        match self.material {
            Material::Chart(_) => self.subject(),
            _ => format!("{}, {}", self.subject(), self.order),
        }
    }

    /// The same without the order.
    pub fn subject(&self) -> String {
        let what = match &self.material {
            Material::Chord(chord) | Material::Voicing { chord, .. } => {
                super::target::type_name(chord)
            }
            Material::Progression(progression) => progression.to_string(),
            Material::Chart(_) => "chart".to_owned(),
        };
        let form = match (&self.material, self.form) {
            (Material::Voicing { .. }, _) => Some(Form::Typed),
            (Material::Chord(_), form) => Some(form.unwrap_or(Form::RootPosition)),
            (_, form) => form,
        };
        match form {
            Some(form) => format!("{what}, {form}"),
            None => what,
        }
    }
}

/// What these keys are called.
fn name_of(keys: &[MidiNote]) -> Result<Chord, ExerciseError> {
    let naming = name_chord(&Sounding::sure(keys.iter().copied()), &Context::default());
    let best = naming.names.first();
    let named = best.filter(|_| naming.verdict != Verdict::NoGoodName);
    named.map(|name| name.chord).ok_or_else(|| {
        let names: Vec<String> = keys.iter().map(|&key| note_name(key)).collect();
        ExerciseError::Unnamed(names.join(" "))
    })
}

/// A chord of the tables above.
///
/// # Panics
/// If the table holds what is no chord; the tests read all of it.
#[allow(clippy::expect_used, reason = "the table is a constant")]
fn chord_of(body: &str) -> Chord {
    format!("{FROM_C}{body}")
        .parse()
        .expect("the tables hold chords")
}

/// The same chord on another root; the typed name of the root stays where it is that root.
fn chord_on(chord: &Chord, root: PitchClass) -> Chord {
    if chord.root.class() == root {
        return *chord;
    }
    let by = i32::from(root.above(chord.root.class()));
    let up = |name: Spelled| Spelled::usual(name.class().up(by));
    Chord {
        root: Spelled::usual(root),
        bass: chord.bass.map(up),
        lower: chord.lower.map(|(root, degrees)| (up(root), degrees)),
        ..*chord
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::harmony::Style;

    fn names(order: &Order, start: &str) -> String {
        let start: Spelled = start.parse().unwrap();
        let keys = order.keys(start.class(), 7, &[]);
        let names: Vec<&str> = keys.iter().map(|&key| Spelled::usual(key).name()).collect();
        names.join(" ")
    }

    fn exercise(what: &str) -> Exercise {
        let words: Vec<String> = what.split(' ').map(str::to_owned).collect();
        Exercise {
            material: Material::read(&words).unwrap(),
            form: None,
            order: Order::Fourths,
            start: None,
            range: KeyRange::PIANO,
        }
    }

    fn symbols(exercise: &Exercise) -> Vec<String> {
        let round = exercise.round(1, &[]).unwrap();
        round
            .iter()
            .map(|target| target.chord.symbol(Style::Ascii))
            .collect()
    }

    #[test]
    fn orders_go_the_ways_players_know() {
        assert_eq!(names(&Order::Fourths, "C"), "C F Bb Eb Ab Db F# B E A D G");
        assert_eq!(
            names(&Order::WholeSteps, "C"),
            "C Bb Ab F# E D Db B A G F Eb"
        );
        assert_eq!(
            names(&Order::MinorThirds, "Db"),
            "Db E G Bb D F Ab B Eb F# A C"
        );
        assert_eq!(
            names(&Order::MajorThirds, "C"),
            "C E Ab Db F A D F# Bb Eb G B"
        );
        let own: Order = "F# Bb C".parse().unwrap();
        assert_eq!(names(&own, "C"), "F# Bb C");
    }

    #[test]
    fn every_order_goes_through_all_twelve_keys_once() {
        let drawn = [Order::Random, Order::WeakestFirst];
        for order in Order::fixed().chain(drawn) {
            for start in PitchClass::all() {
                let mut keys = order.keys(start, 3, &[PitchClass::new(6)]);
                keys.sort_unstable();
                assert!(keys.iter().copied().eq(PitchClass::all()), "{order}");
            }
        }
    }

    #[test]
    fn the_weakest_keys_come_first_and_a_seed_draws_the_same_round_again() {
        let weakest = [PitchClass::new(6), PitchClass::new(1)];
        let keys = Order::WeakestFirst.keys(PitchClass::new(0), 0, &weakest);
        assert_eq!(keys[..2], weakest);
        let draw = |seed| Order::Random.keys(PitchClass::new(0), seed, &[]);
        assert_eq!(draw(5), draw(5));
        assert_ne!(draw(5), draw(6));
    }

    #[test]
    fn a_type_a_symbol_a_voicing_and_a_progression_are_told_apart() {
        assert_eq!(
            symbols(&exercise("dim(maj7)"))[..3],
            ["Cdim(maj7)", "Fdim(maj7)", "Bbdim(maj7)"]
        );
        assert_eq!(symbols(&exercise("Dm7"))[..2], ["Dm7", "Gm7"]);
        assert_eq!(
            symbols(&exercise("D4 F4 Ab4 Db5"))[..2],
            ["Ddim(maj7)", "Gdim(maj7)"]
        );
        assert_eq!(
            symbols(&exercise("two-five-one"))[..6],
            ["Dm7", "G13", "Cmaj7", "Gm7", "C13", "Fmaj7"]
        );
        assert_eq!(symbols(&exercise("maj"))[0], "C");
        let read = |text: &str| Material::read(&[text.to_owned()]);
        let told = read("dimq").unwrap_err().to_string();
        assert!(told.contains("'dimq' from place 4"), "{told}");
        assert!(read("C4 H4").is_err());
    }

    #[test]
    fn a_typed_voicing_keeps_its_shape_in_every_key() {
        let round = exercise("D3 F4 Ab4 Db5").round(0, &[]).unwrap();
        for target in &round {
            let keys = target.example();
            let steps: Vec<i16> = keys.windows(2).map(|two| (two[1] - two[0]).0).collect();
            assert_eq!(steps, [15, 3, 5]);
        }
    }

    #[test]
    fn diminished_major_sevenths_resolve_where_their_dominants_do() {
        // Fdim(maj7) is G13(b9) without its root; Cdim(maj7) is D13(b9) and Ab7(#9)
        assert_eq!(
            symbols(&exercise("diminished for dominant"))[..2],
            ["Fdim(maj7)", "Cmaj7"]
        );
        assert_eq!(
            symbols(&exercise("both dominants"))[..4],
            ["Cdim(maj7)", "Gmaj7", "Cdim(maj7)", "Dbm7"]
        );
        let chain = symbols(&exercise("minor third chain"));
        assert_eq!(
            chain[..5],
            [
                "Fdim(maj7)",
                "Abdim(maj7)",
                "Bdim(maj7)",
                "Ddim(maj7)",
                "Cmaj7"
            ]
        );
    }

    #[test]
    fn a_form_that_a_chord_does_not_have_is_told() {
        let mut triad = exercise("maj");
        triad.form = Some(Form::RootlessA);
        let told = triad.round(0, &[]).unwrap_err().to_string();
        assert!(told.contains("C has no rootless A"), "{told}");
    }
}
