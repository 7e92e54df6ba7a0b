//! The speller: one set of rules for how roots, basses and chord tones are written in one context.
//!
//! Input: a [`Context`] (key, mode) and how the player typed the notes. Output: [`Spelled`] names.
//! Units: places on the line of fifths. Method: roots by the key where one is known (chromatic steps around the tonic: flat 2, 3, 6, 7 and sharp 4; for
//! diminished chords, which lead upwards, also sharp 1 and 5), else as typed, else by the fewest accidentals in the whole chord;
//! chord tones by their degree, made readable where asked (Brandt and Roemer, 1976; #9 read as a minor third). Limits: see [`super::pitch::spelled`].

use super::chord::Chord;
use super::context::Context;
use super::named::NotesByDegree;
use super::pitch::{Degree, DegreeSet, Key, Mode, PitchClass, PitchSet, Spelled, Spelling};
use super::sounding::Sounding;

/// Spells in one context.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Speller {
    key: Option<Key>,
    spelling: Spelling,
    /// How the player typed roots.
    typed_roots: [Option<Spelled>; 12],
    /// How the player typed the other notes.
    typed_notes: [Option<Spelled>; 12],
}

impl Speller {
    pub(crate) fn new(sounding: &Sounding, context: &Context) -> Self {
        Self {
            key: context.key,
            spelling: context.spelling,
            typed_roots: sounding.typed,
            typed_notes: sounding.typed,
        }
    }

    /// The same with the roots of the likely dominants among these chords as they are written there: one chord has one name in an answer.
    pub(crate) fn keeping(&self, chords: &[(Chord, f32)]) -> Self {
        let mut kept = *self;
        /// A name that costs so much more than the best is not shown, so that it need not agree.
        const HEARD: f32 = 0.7;
        const GUIDE_TONES: DegreeSet = DegreeSet::of("3 b7");
        let dominants = chords
            .iter()
            .filter(|(_, more)| *more < HEARD)
            .filter(|(chord, _)| GUIDE_TONES.minus(chord.degrees).is_empty());
        for (chord, _) in dominants {
            kept.typed_roots[usize::from(chord.root.class().get())].get_or_insert(chord.root);
        }
        kept
    }

    /// True if the player typed this root so.
    pub(crate) fn is_typed(&self, root: Spelled) -> bool {
        self.typed_roots[usize::from(root.class().get())] == Some(root)
    }

    /// The same without regard to how notes were typed.
    pub(crate) fn untyped(&self) -> Self {
        Self {
            typed_roots: [None; 12],
            typed_notes: [None; 12],
            ..*self
        }
    }

    /// For a chord on another root than the one the player thought of when typing: its notes are told by their degrees,
    /// so that the third of E7 is G#, whoever typed Ab.
    pub(crate) fn by_function(&self) -> Self {
        Self {
            typed_notes: [None; 12],
            ..*self
        }
    }

    /// The root of a chord with these degrees.
    pub(crate) fn root(&self, class: PitchClass, degrees: DegreeSet) -> Spelled {
        if let Some(typed) = self.typed_roots[class.get() as usize]
            && typed.accidentals().abs() <= 1
        {
            return typed;
        }
        if let Some(key) = self.key {
            let tonic = key.tonic.fifths();
            let leads_up =
                degrees.contains(Degree::FLAT_FIFTH) && degrees.contains(Degree::MINOR_THIRD);
            let lowest = match (leads_up, key.mode) {
                (true, Mode::Major) => -3,
                (true, Mode::Minor) => -5,
                (false, _) if degrees.contains(Degree::MINOR_THIRD) => -4,
                (false, _) => -5,
            };
            let spelled = Spelled::from_window(class, tonic + lowest);
            return if spelled.accidentals().abs() > 1
                || (self.spelling == Spelling::Readable
                    && spelled.is_white_key_with_accidental()
                    && !key.holds(spelled))
            {
                Spelled::usual(class)
            } else {
                spelled
            };
        }
        if degrees.contains(Degree::FLAT_FIFTH) && degrees.contains(Degree::MINOR_THIRD) {
            // C#, Eb, F#, Ab and Bb are the usual diminished roots.
            return Spelled::from_window(class, -4);
        }
        let usual = Spelled::usual(class);
        let other = Spelled::at_fifths(if usual.accidentals() < 0 {
            usual.fifths() + 12
        } else {
            usual.fifths() - 12
        });
        // Tensions and altered fifths are written as alterations of the chord, so its plain notes decide.
        // Of a minor chord with a major seventh the triad alone: C#m(maj7), whatever its seventh is called.
        let minor_major = const { DegreeSet::of("b3 7") }.minus(degrees).is_empty();
        let in_triad = |d: &Degree| d.number() <= 5 || !minor_major;
        let plain = degrees
            .iter()
            .filter(|d| !d.is_tension() && !d.is_altered() && in_triad(d))
            .collect::<DegreeSet>();
        // An altered dominant leads to a minor chord, which must be readable too: C#7alt before F#m, not Db7alt.
        let to_minor = degrees.contains(Degree::MINOR_SEVENTH)
            && degrees.contains(Degree::THIRD)
            && !degrees.and(const { DegreeSet::of("b9 #9") }).is_empty()
            && degrees.and(const { DegreeSet::of("9 13") }).is_empty();
        let minor = const { DegreeSet::of("1 b3 5") };
        let trouble = |root: Spelled| {
            let on = |root: Spelled, degrees: DegreeSet| {
                degrees
                    .iter()
                    .map(|d| root.degree(d).trouble())
                    .sum::<u32>()
            };
            let goal = Spelled::at_fifths(root.fifths() - 1);
            on(root, plain) + if to_minor { on(goal, minor) } else { 0 }
        };
        if usual.accidentals() != 0 && trouble(other) < trouble(usual) {
            other
        } else {
            usual
        }
    }

    /// The root of a dominant that does not sound: on the flat or the sharp side as its goal a fifth below asks for, where that leaves the dominant
    /// a plain name (C#7 to F#m, not Db7), else as the dominant does (F7 to Bbm, not A#m).
    pub(crate) fn root_of_dominant(&self, class: PitchClass, degrees: DegreeSet) -> Spelled {
        let root = self.root(class, degrees);
        if self.is_typed(root) {
            return root;
        }
        // Goals whose chords can be read have at most six accidentals in their signature.
        let goal = Spelled::at_fifths(root.fifths() - 1);
        let goal = match self.key {
            Some(key) if key.pitches().contains(goal.class()) => key.spell(goal.class()),
            _ if goal.fifths().abs() <= 6 => goal,
            _ => Spelled::usual(goal.class()),
        };
        let above_goal = Spelled::at_fifths(goal.fifths() + 1);
        if above_goal.accidentals().abs() < 2 && !above_goal.is_white_key_with_accidental() {
            above_goal
        } else {
            Spelled::usual(class)
        }
    }

    /// The bass of a chord on `root`: its degree, or the nearest name where it is foreign.
    pub(crate) fn bass(&self, root: Spelled, degrees: DegreeSet, bass: PitchClass) -> Spelled {
        match degrees.at(bass.above(root.class())) {
            Some(degree) => self.degree(root, degree, degrees),
            None => self.foreign(root, bass),
        }
    }

    /// A sounding note beside or within a chord.
    pub(crate) fn note(&self, class: PitchClass, chord: Option<&Chord>) -> Spelled {
        let Some(chord) = chord else {
            return self.typed_notes[class.get() as usize]
                .or(self.key.map(|k| k.spell(class)))
                .unwrap_or(Spelled::usual(class));
        };
        if let Some(bass) = chord.bass.filter(|b| b.class() == class) {
            return bass;
        }
        match chord.degrees.at(class.above(chord.root.class())) {
            Some(degree) => self.degree(chord.root, degree, chord.degrees),
            None => self.foreign(chord.root, class),
        }
    }

    /// All sounding notes beside or within a chord.
    pub(crate) fn notes(&self, set: PitchSet, chord: &Chord) -> Vec<(PitchClass, Spelled)> {
        set.iter()
            .map(|class| (class, self.note(class, Some(chord))))
            .collect()
    }

    /// `degree` of a chord on `root`.
    pub(crate) fn degree(&self, root: Spelled, degree: Degree, degrees: DegreeSet) -> Spelled {
        let theory = root.degree(degree);
        if self.spelling == Spelling::Theory {
            return theory;
        }
        // What the player typed stands where it is the chord's own name for the note, or that of an altered tension which is written both ways.
        if let Some(typed) = self.typed_notes[usize::from(theory.class().get())]
            && (typed == theory || written_both_ways(degree) && typed.trouble() <= 1)
            && typed.accidentals().abs() < 2
        {
            return typed;
        }
        let altered_dominant =
            degrees.contains(Degree::SHARP_NINTH) && degrees.contains(Degree::MINOR_SEVENTH);
        let read_as = match degree {
            Degree::SHARP_NINTH => Degree::MINOR_THIRD,
            Degree::SHARP_FIFTH if altered_dominant => Degree::FLAT_THIRTEENTH,
            degree => degree,
        };
        root.degree(read_as).readable(self.key)
    }

    fn foreign(&self, root: Spelled, class: PitchClass) -> Spelled {
        let spelled = self.typed_notes[class.get() as usize]
            .or(self.key.map(|k| k.spell(class)))
            .unwrap_or_else(|| Spelled::from_window(class, root.fifths() - 5));
        if self.spelling == Spelling::Theory {
            spelled
        } else {
            spelled.readable(self.key)
        }
    }
}

/// Degrees that players write as sharp or flat, whichever reads better: the raised ninth, fifth and eleventh and what sounds alike.
fn written_both_ways(degree: Degree) -> bool {
    const BOTH: DegreeSet = DegreeSet::of("#9 #5 b13 #11 b5 bb7");
    BOTH.contains(degree)
}

/// Each sounding note with its degree, in the order of degrees; a note beside the chord is told by its interval, as a lowered third or
/// fifth where the plain one does not sound: what delays it stands in its place.
pub(crate) fn degrees_of(chord: &Chord, sounding: &[(PitchClass, Spelled)]) -> NotesByDegree {
    let half_steps = |class: PitchClass| class.above(chord.root.class());
    let sounds = |wanted: u8| {
        sounding
            .iter()
            .any(|&(class, _)| half_steps(class) == wanted)
    };
    let beside = |half_steps: u8| match half_steps {
        3 if !sounds(4) => Degree::MINOR_THIRD,
        6 if !sounds(7) => Degree::FLAT_FIFTH,
        other => Degree::ABOVE_A_ROOT[usize::from(other)],
    };
    let mut degrees: NotesByDegree = sounding
        .iter()
        .map(|&(class, name)| {
            let half_steps = half_steps(class);
            let own = chord.degrees.at(half_steps);
            (name, own.unwrap_or_else(|| beside(half_steps)))
        })
        .collect();
    degrees.sort_by_key(|&(_, degree)| degree);
    degrees
}
