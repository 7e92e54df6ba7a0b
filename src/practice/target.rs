//! What is asked for: a chord in one key, in one form.
//!
//! Input: a chord and a form, or keys that were typed. Output: [`Target`]: which keys must sound, or which pitch classes.
//! Units: half steps above the lowest key; MIDI numbers.
//! Method: close position by degree, tensions above the seventh; the left-hand forms without a root, A from the third and B from the seventh,
//! with the thirteenth in the place of a dominant's fifth and the root in the place of a half-diminished chord's ninth (Levine, The Jazz Piano
//! Book, 1989, ch. 7); drop 2 lowers the second voice from above by an octave (the same, ch. 19).
//! Limits: where no range is stated a form may lie in any octave.

use crate::harmony::pitch::spelled::with_octave;
use crate::harmony::{Chord, Degree, DegreeSet, PitchClass, PitchSet, Spelled, Style};
use crate::units::{MidiNote, PIANO_KEYS};
use std::fmt;
use std::str::FromStr;

/// How a chord is laid on the keys.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Form {
    /// Close position, the root lowest.
    RootPosition,
    /// Close position with so many of its lowest voices an octave higher.
    Inversion(u8),
    /// Without its root, the third lowest.
    RootlessA,
    /// Without its root, the seventh lowest.
    RootlessB,
    /// The second voice from above an octave lower.
    DropTwo,
    /// Root, third and seventh.
    Shell,
    /// Any voicing with these pitch classes and no others.
    Free,
    /// The keys that were typed.
    Typed,
}

impl Form {
    /// The word of each form but [`Form::Typed`], as it is written and read.
    const WORDS: [(&'static str, Form); 9] = [
        ("root position", Form::RootPosition),
        ("first inversion", Form::Inversion(1)),
        ("second inversion", Form::Inversion(2)),
        ("third inversion", Form::Inversion(3)),
        ("rootless A", Form::RootlessA),
        ("rootless B", Form::RootlessB),
        ("drop 2", Form::DropTwo),
        ("shell", Form::Shell),
        ("free", Form::Free),
    ];

    /// All forms that can be asked for by a word.
    pub fn words() -> impl Iterator<Item = &'static str> {
        Self::WORDS.iter().map(|(word, _)| *word)
    }
}

impl fmt::Display for Form {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let word = Self::WORDS.iter().find(|(_, form)| form == self);
        f.write_str(word.map_or("as typed", |(word, _)| word))
    }
}

/// A word that is none of a list.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("'{given}' is no {what}: one of {}", .allowed.join(", "))]
pub struct UnknownWord {
    /// What was given.
    pub given: String,
    /// What it should have been.
    pub what: &'static str,
    /// What there is.
    pub allowed: Vec<&'static str>,
}

/// The same word whatever its case and with `-` or `_` for a space.
pub(super) fn same_word(a: &str, b: &str) -> bool {
    let plain = |text: &str| text.trim().to_lowercase().replace(['-', '_'], " ");
    plain(a) == plain(b)
}

impl FromStr for Form {
    type Err = UnknownWord;
    fn from_str(text: &str) -> Result<Self, UnknownWord> {
        let found = Self::WORDS.iter().find(|(word, _)| same_word(word, text));
        found.map(|&(_, form)| form).ok_or_else(|| UnknownWord {
            given: text.to_owned(),
            what: "form of a chord",
            allowed: Self::words().collect(),
        })
    }
}

/// A stretch of the keyboard in which a voicing has to lie.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct KeyRange {
    /// Its lowest key.
    pub lowest: MidiNote,
    /// Its highest key.
    pub highest: MidiNote,
}

impl KeyRange {
    /// All keys of a piano.
    pub const PIANO: KeyRange = KeyRange {
        lowest: MidiNote::PIANO_LOWEST,
        highest: MidiNote::PIANO_HIGHEST,
    };
    /// Where the left hand has its place: C2 to G4.
    pub const LEFT: KeyRange = KeyRange {
        lowest: MidiNote::from_piano_index(15),
        highest: MidiNote::from_piano_index(46),
    };
    /// Where the right hand has its place: G3 to C7.
    pub const RIGHT: KeyRange = KeyRange {
        lowest: MidiNote::from_piano_index(34),
        highest: MidiNote::from_piano_index(75),
    };

    fn holds(self, lowest: i16, highest: i16) -> bool {
        lowest >= i16::from(self.lowest.get()) && highest <= i16::from(self.highest.get())
    }
}

/// What has to sound.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Wanted {
    /// These keys, half steps above the lowest of them (the first is 0), the lowest one of this pitch class.
    Shape {
        /// The pitch class of the lowest key.
        lowest: PitchClass,
        /// Half steps above it, ascending.
        above: Vec<i16>,
    },
    /// All of these pitch classes and no others, in any octave.
    Classes(PitchSet),
}

/// A chord in one key, to be played.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Target {
    /// What it is called.
    pub chord: Chord,
    /// How it is to lie.
    pub form: Form,
    /// What has to sound.
    pub wanted: Wanted,
    /// Where.
    pub range: KeyRange,
    /// What it is in the key of its progression: `V7 in Eb major`.
    pub place: Option<String>,
}

impl Target {
    /// The chord in this form, anywhere in `range`; `None` where the chord has no such form (a triad no third inversion).
    pub fn new(chord: Chord, form: Form, range: KeyRange) -> Option<Self> {
        let wanted = match form {
            Form::Free => Wanted::Classes(chord.pitches()),
            _ => shape(&chord, form)?,
        };
        let target = Self {
            chord,
            form,
            wanted,
            range,
            place: None,
        };
        target.placements().next()?;
        Some(target)
    }

    /// Keys as they were typed, called so.
    ///
    /// `None` if there are none.
    pub fn of_keys(chord: Chord, keys: &[MidiNote], range: KeyRange) -> Option<Self> {
        let mut sorted = keys.to_vec();
        sorted.sort_unstable();
        sorted.dedup();
        let lowest = *sorted.first()?;
        let target = Self {
            chord,
            form: Form::Typed,
            wanted: Wanted::Shape {
                lowest: lowest.into(),
                above: sorted.iter().map(|&key| (key - lowest).0).collect(),
            },
            range,
            place: None,
        };
        target.placements().next()?;
        Some(target)
    }

    /// The same with what it is in its key.
    #[must_use]
    pub fn in_place(self, place: String) -> Self {
        Self {
            place: Some(place),
            ..self
        }
    }

    /// Its root.
    pub fn root(&self) -> PitchClass {
        self.chord.root.class()
    }

    /// The pitch classes that have to sound.
    pub fn classes(&self) -> PitchSet {
        match &self.wanted {
            Wanted::Classes(set) => *set,
            Wanted::Shape { lowest, above } => above
                .iter()
                .fold(PitchSet::EMPTY, |set, &up| set.with(lowest.up(up.into()))),
        }
    }

    /// How many keys have to sound, at least.
    pub fn voices(&self) -> usize {
        match &self.wanted {
            Wanted::Classes(set) => set.len() as usize,
            Wanted::Shape { above, .. } => above.len(),
        }
    }

    /// Every place on the keyboard where its keys can lie, lowest first; none for pitch classes.
    pub fn placements(&self) -> impl Iterator<Item = Vec<MidiNote>> {
        let (lowest, above): (PitchClass, &[i16]) = match &self.wanted {
            Wanted::Shape { lowest, above } => (*lowest, above),
            // any octave will do: one placement, so that there is something to show
            Wanted::Classes(_) => (self.chord.lowest().class(), &[]),
        };
        let range = self.range;
        let span = above.last().copied().unwrap_or(0);
        let first = i16::from(range.lowest.get());
        (first..=i16::from(range.highest.get()))
            .filter(move |&key| {
                PitchClass::new(key.into()) == lowest && range.holds(key, key + span)
            })
            .map(move |key| {
                above
                    .iter()
                    .filter_map(|&up| {
                        u8::try_from(key + up)
                            .ok()
                            .and_then(|n| MidiNote::new(n).ok())
                    })
                    .collect()
            })
    }

    /// One way to play it: the placement nearest to the middle of the keyboard.
    pub fn example(&self) -> Vec<MidiNote> {
        const MIDDLE: i16 = 62;
        let distance = |keys: &[MidiNote]| -> i16 {
            let sum: i16 = keys.iter().map(|key| i16::from(key.get())).sum();
            (sum / i16::try_from(keys.len().max(1)).unwrap_or(1) - MIDDLE).abs()
        };
        let close = || {
            let root = self.chord.lowest().class();
            let low = 48 + i16::from(root.above(PitchClass::new(0)));
            let mut above: Vec<i16> = self
                .classes()
                .iter()
                .map(|c| c.above(root).into())
                .collect();
            above.sort_unstable();
            let key = |up: i16| {
                u8::try_from(low + up)
                    .ok()
                    .and_then(|n| MidiNote::new(n).ok())
            };
            above.into_iter().filter_map(key).collect()
        };
        match &self.wanted {
            Wanted::Classes(_) => close(),
            Wanted::Shape { .. } => self
                .placements()
                .min_by_key(|keys| distance(keys))
                .unwrap_or_default(),
        }
    }

    /// The same type in the same form on another root.
    pub fn on(&self, root: PitchClass) -> Target {
        let by = i32::from(root.above(self.root()));
        let up = |name: Spelled| Spelled::usual(name.class().up(by));
        let chord = Chord {
            root: up(self.chord.root),
            bass: self.chord.bass.map(up),
            lower: self.chord.lower.map(|(root, degrees)| (up(root), degrees)),
            ..self.chord
        };
        let wanted = match &self.wanted {
            Wanted::Classes(set) => Wanted::Classes(
                set.iter()
                    .fold(PitchSet::EMPTY, |all, c| all.with(c.up(by))),
            ),
            Wanted::Shape { lowest, above } => Wanted::Shape {
                lowest: lowest.up(by),
                above: above.clone(),
            },
        };
        Target {
            chord,
            wanted,
            place: None,
            ..self.clone()
        }
    }

    /// What is practised, whatever the key: the symbol without its root, in plain ASCII; `maj` for a plain major triad.
    pub fn chord_type(&self) -> String {
        type_name(&self.chord)
    }

    /// The name of a key as the chord spells it.
    pub fn note_name(&self, key: MidiNote) -> String {
        let class = PitchClass::from(key);
        let spelled = match self.degree_of(class) {
            Some(degree) => self.chord.root.degree(degree).readable(None),
            None => Spelled::usual(class),
        };
        with_octave(spelled, key)
    }

    /// The degree of the chord that a pitch class is, as `b9`.
    pub fn degree_of(&self, class: PitchClass) -> Option<Degree> {
        self.chord.degrees.at(class.above(self.root()))
    }
}

/// What a chord is whatever its root.
pub fn type_name(chord: &Chord) -> String {
    let on_c = Chord {
        root: Spelled::usual(PitchClass::new(0)),
        bass: None,
        lower: None,
        ..*chord
    };
    match on_c.symbol(Style::Ascii).trim_start_matches('C') {
        "" => "maj".to_owned(),
        body => body.to_owned(),
    }
}

/// The keys of a chord in a form, above the lowest.
fn shape(chord: &Chord, form: Form) -> Option<Wanted> {
    let close = close_position(chord);
    let above_root: Vec<i16> = match form {
        Form::RootPosition => close,
        Form::Inversion(by) => inverted(close, usize::from(by))?,
        Form::DropTwo => dropped(close)?,
        Form::Shell => ascending(&shell(chord)?),
        Form::RootlessA => {
            let [third, fifth, seventh, ninth] = four_parts(chord)?;
            ascending(&[third, fifth, seventh, ninth])
        }
        Form::RootlessB => {
            let [third, fifth, seventh, ninth] = four_parts(chord)?;
            ascending(&[seventh, ninth, third, fifth])
        }
        Form::Free | Form::Typed => return None,
    };
    let lowest = *above_root.first()?;
    Some(Wanted::Shape {
        lowest: chord.root.class().up(lowest.into()),
        above: above_root.iter().map(|up| up - lowest).collect(),
    })
}

/// Half steps above the root, ascending, tensions above the seventh; over a bass of its own the rest is stacked from there.
fn close_position(chord: &Chord) -> Vec<i16> {
    let place = |d: Degree| i16::from(d.half_steps()) + 12 * i16::from(d.is_tension());
    let mut above: Vec<i16> = chord.sounding().iter().map(place).collect();
    above.sort_unstable();
    if let Some(bass) = chord.bass {
        let bass = i16::from(bass.class().above(chord.root.class()));
        above.retain(|up| up.rem_euclid(12) != bass);
        for up in &mut above {
            *up = bass + (*up - bass).rem_euclid(12);
        }
        above.push(bass);
        above.sort_unstable();
    }
    above
}

/// The lowest `by` voices an octave higher, as often as it takes to lie above the others.
fn inverted(mut above: Vec<i16>, by: usize) -> Option<Vec<i16>> {
    if by >= above.len() {
        return None;
    }
    above.rotate_left(by);
    Some(ascending(&above))
}

fn dropped(mut above: Vec<i16>) -> Option<Vec<i16>> {
    let second = above.len().checked_sub(2).filter(|_| above.len() >= 4)?;
    above[second] -= 12;
    above.sort_unstable();
    Some(above)
}

/// Each of these pitch classes as near above the one before as it goes.
fn ascending(half_steps: &[i16]) -> Vec<i16> {
    let mut above: Vec<i16> = Vec::with_capacity(half_steps.len());
    for &up in half_steps {
        let up = up.rem_euclid(12);
        above.push(match above.last() {
            Some(&last) => last + 1 + (up - last - 1).rem_euclid(12),
            None => up,
        });
    }
    above
}

/// The first of these degrees that the chord has, in half steps.
fn first_of(degrees: DegreeSet, wanted: &str) -> Option<i16> {
    let wanted = wanted.split(' ').map(DegreeSet::of);
    wanted
        .filter_map(|one| degrees.and(one).iter().next())
        .next()
        .map(|degree| degree.half_steps().into())
}

fn shell(chord: &Chord) -> Option<[i16; 3]> {
    let third = first_of(chord.degrees, "3 b3 4 2")?;
    let seventh = first_of(chord.degrees, "7 b7 bb7 6")?;
    Some([0, third, seventh])
}

/// Third, fifth or what stands for it, seventh, ninth or what stands for it.
fn four_parts(chord: &Chord) -> Option<[i16; 4]> {
    let degrees = chord.degrees;
    let third = first_of(degrees, "3 b3 4")?;
    let seventh = first_of(degrees, "7 b7 bb7 6")?;
    let dominant = degrees.contains(Degree::MINOR_SEVENTH)
        && (degrees.contains(Degree::THIRD) || degrees.contains(Degree::FOURTH));
    let fifth = match first_of(degrees, "13 b13 #5 b5 #11") {
        Some(altered) => altered,
        None if dominant => Degree::THIRTEENTH.half_steps().into(),
        None => first_of(degrees, "5")?,
    };
    let keeps_root = degrees.contains(Degree::FLAT_FIFTH) && degrees.contains(Degree::MINOR_THIRD);
    let ninth = match first_of(degrees, "b9 #9 9") {
        Some(ninth) => ninth,
        None if keeps_root => 0,
        None => Degree::NINTH.half_steps().into(),
    };
    Some([third, fifth, seventh, ninth])
}

/// Reads a stretch of the keyboard: `C3-C6`.
impl FromStr for KeyRange {
    type Err = String;
    fn from_str(text: &str) -> Result<Self, String> {
        let refused = || {
            format!(
                "'{text}' is no stretch of the keyboard: write its lowest and highest key, say C3-C6"
            )
        };
        let (low, high) = text.split_once('-').ok_or_else(refused)?;
        let words = [low.trim(), high.trim()];
        let read = crate::harmony::voicing::typed::Typed::read(&words).map_err(|_| refused())?;
        let keys: Vec<MidiNote> = read.sounding.notes.iter().map(|note| note.midi).collect();
        let on_piano = |key: &MidiNote| key.piano_index().is_some_and(|index| index < PIANO_KEYS);
        match keys[..] {
            [lowest, highest] if lowest < highest && keys.iter().all(on_piano) => {
                Ok(Self { lowest, highest })
            }
            _ => Err(refused()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn target(symbol: &str, form: Form) -> Option<Target> {
        Target::new(symbol.parse().unwrap(), form, KeyRange::PIANO)
    }

    fn keys(symbol: &str, form: Form) -> Vec<u8> {
        let target = target(symbol, form).unwrap();
        let keys = target
            .placements()
            .find(|keys| keys[0].get() >= 48)
            .unwrap();
        keys.iter().map(|key| key.get()).collect()
    }

    #[test]
    fn forms_lie_as_a_pianist_lays_them() {
        use Form::*;
        assert_eq!(keys("Cdim(maj7)", RootPosition), [48, 51, 54, 59]);
        assert_eq!(keys("Cmaj7", Inversion(1)), [52, 55, 59, 60]);
        assert_eq!(keys("Cmaj7", Inversion(3)), [59, 60, 64, 67]);
        assert_eq!(keys("Cmaj7", DropTwo), [55, 60, 64, 71]);
        assert_eq!(keys("C7", Shell), [48, 52, 58]);
        // two-five-one by the nearest way: A, B, A
        assert_eq!(keys("Dm7", RootlessA), [53, 57, 60, 64]);
        assert_eq!(keys("G7", RootlessB), [53, 57, 59, 64]);
        assert_eq!(keys("Cmaj7", RootlessA), [52, 55, 59, 62]);
        assert_eq!(keys("G13b9", RootlessB), [53, 56, 59, 64]);
        assert_eq!(keys("Dm7b5", RootlessA), [53, 56, 60, 62]);
        assert_eq!(keys("C/E", RootPosition), [52, 55, 60]);
    }

    #[test]
    fn a_chord_without_the_voices_of_a_form_has_none() {
        assert_eq!(target("C", Form::Inversion(3)), None);
        assert_eq!(target("C", Form::RootlessA), None);
        assert_eq!(target("C", Form::DropTwo), None);
    }

    #[test]
    fn on_another_root_everything_moves_alike() {
        for (_, form) in Form::WORDS {
            let Some(c) = target("Cm7b5", form) else {
                panic!("{form}")
            };
            for root in PitchClass::all() {
                let moved = c.on(root);
                let stated = Chord {
                    root: Spelled::usual(root),
                    ..c.chord
                };
                let made = Target::new(stated, form, KeyRange::PIANO).unwrap();
                assert_eq!(moved.wanted, made.wanted, "{form} on {root:?}");
            }
        }
    }

    #[test]
    fn words_of_forms_are_read_back_and_a_wrong_one_is_told_with_all_there_are() {
        for word in Form::words() {
            assert_eq!(word.parse::<Form>().unwrap().to_string(), word);
        }
        assert_eq!("drop-2".parse(), Ok(Form::DropTwo));
        let told = "drop 9".parse::<Form>().unwrap_err().to_string();
        assert!(
            told.contains("'drop 9' is no form") && told.contains("rootless A"),
            "{told}"
        );
    }

    #[test]
    fn the_range_bounds_the_placements() {
        let range: KeyRange = "C3-C5".parse().unwrap();
        let chord = "Cmaj7".parse().unwrap();
        let target = Target::new(chord, Form::RootPosition, range).unwrap();
        let lowest: Vec<u8> = target.placements().map(|keys| keys[0].get()).collect();
        assert_eq!(lowest, [48, 60]);
        assert!("C5-C3".parse::<KeyRange>().is_err() && "C3".parse::<KeyRange>().is_err());
        let narrow = KeyRange {
            lowest: MidiNote::new(60).unwrap(),
            highest: MidiNote::new(64).unwrap(),
        };
        assert_eq!(Target::new(chord, Form::RootPosition, narrow), None);
    }

    #[test]
    fn the_type_of_a_chord_has_no_root() {
        let name = |symbol: &str| type_name(&symbol.parse().unwrap());
        assert_eq!(name("F#dim(maj7)"), "dim(maj7)");
        assert_eq!(name("Bb"), "maj");
        assert_eq!(name("Ebm7"), "m7");
    }
}
