//! Two performances, or a performance and a chart, beside each other: where they agree and where not.
//!
//! Input: a [`Piece`] and what it is held against: another piece, or a [`TypedChart`]. Output: [`Comparison`]. Units: seconds of the first, bars and beats of a chart.
//! Method: both become sequences of pitch-class sets, aligned by dynamic time warping (Sakoe and Chiba, IEEE Trans. ASSP 26, 1978; for music: Müller, Information Retrieval
//! for Music and Motion, 2007, ch. 4) with one minus the share of common notes as distance, so that tempo and rubato do not matter. Each place of the second is then held against
//! the chords of the first that lie there. Not one name must be met: a chord agrees if any of its good names, or the chord it stands for, has the root, third, fifth and seventh of
//! any chord that is accepted there; a triad accepts what colours it.
//! Limits: both go through the same form once; a chorus that one of them adds is told as extra chords.

use crate::chart::piece::{Piece, PieceChord};
use crate::chart::typed::{ChartChord, TypedChart};
use crate::harmony::{Chord, Degree, DegreeSet, NamedNote, PitchClass, PitchSet, Spelled};
use crate::units::Seconds;

/// Length of a frame (s), and the most frames of a performance: longer ones get longer frames.
const FRAME_SECONDS: f64 = 0.2;
const FRAMES: usize = 4000;
/// Frames of a beat of a chart; fewer where there would be more than [`FRAMES`].
const FRAMES_A_BEAT: f64 = 4.0;
/// Names whose score is this share of the best one's are good.
const GOOD: f32 = 0.2;
/// A chord lies at a place if this share of it, or of the place, does.
const OVERLAP: f64 = 0.4;
/// Shorter chords (s) that match nothing are steps between others.
const PASSING: f64 = 0.4;

/// How a place agrees.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Agreement {
    /// What sounds is accepted there.
    Same,
    /// Another chord sounds.
    Differs,
    /// Nothing sounds there.
    Missing,
    /// Something sounds where nothing is expected.
    Extra,
}

impl Agreement {
    /// In a word.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Same => "same",
            Self::Differs => "differs",
            Self::Missing => "missing",
            Self::Extra => "extra",
        }
    }
}

/// One place of the comparison.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    /// Bar, from 1, and beat, from 1, of a chart.
    pub bar: Option<(usize, f64)>,
    /// When it is in the second performance.
    pub second_at: Option<Seconds>,
    /// When it is in the first; of what is missing, where it should be.
    pub at: Seconds,
    /// Chords that are accepted there, the one that is written first.
    pub accepted: Vec<Chord>,
    /// What sounds there, best name first; empty if nothing does, or it has no good name.
    pub heard: Vec<Chord>,
    /// The keys that sound there.
    pub keys: Vec<NamedNote>,
    /// How it agrees.
    pub agreement: Agreement,
    /// Notes of the accepted chord that do not sound.
    pub missing: Vec<Spelled>,
    /// Notes that sound and have no place in it.
    pub extra: Vec<Spelled>,
}

/// Two performances, or a performance and a chart, beside each other.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// What is compared, as the user named it.
    pub first: String,
    /// What it is held against.
    pub second: String,
    /// The places, in order.
    pub places: Vec<Place>,
    /// House style of chord symbols.
    pub style: crate::harmony::Style,
}

/// What is expected at one place.
struct Expected {
    /// From which frame of the second to which.
    frames: std::ops::Range<usize>,
    bar: Option<(usize, f64)>,
    second_at: Option<Seconds>,
    accepted: Vec<Chord>,
    /// What sounds, or what the chord says.
    pitches: PitchSet,
    /// True where a symbol is written, to which a player adds.
    written: bool,
}

impl Comparison {
    /// Holds one performance against another.
    pub fn of_two(first: &Piece, second: &Piece) -> Self {
        let frames = Frames::of(second);
        let expected = |chord: &PieceChord| Expected {
            frames: frames.number(chord.start)..frames.number(chord.end),
            bar: None,
            second_at: Some(chord.start),
            accepted: good_names(chord),
            pitches: pitches(chord),
            written: false,
        };
        let expected: Vec<Expected> = second.chords.iter().map(expected).collect();
        Self::of(first, &second.file, &frames.sets, &expected)
    }

    /// Holds a performance against a chart of that name.
    pub fn with_chart(first: &Piece, name: &str, chart: &TypedChart) -> Self {
        let (mut sets, mut expected) = (Vec::new(), Vec::new());
        let beats: f64 = chart
            .bars
            .iter()
            .flat_map(|bar| &bar.chords)
            .map(|chord| chord.beats)
            .sum();
        let a_beat = FRAMES_A_BEAT.min(FRAMES as f64 / beats);
        for (bar, chord) in chart
            .bars
            .iter()
            .enumerate()
            .flat_map(|(nth, bar)| bar.chords.iter().map(move |chord| (nth + 1, chord)))
        {
            let from = sets.len();
            let (accepted, pitches) = match &chord.chord {
                ChartChord::Silent => (Vec::new(), PitchSet::EMPTY),
                ChartChord::Symbol(symbol) => (vec![*symbol], symbol.pitches()),
                ChartChord::Voicing(voicing) => {
                    let naming = crate::harmony::name_chord(
                        voicing,
                        &crate::harmony::Context {
                            key: chart.key,
                            ..Default::default()
                        },
                    );
                    let names = naming.names.iter().map(|name| name.chord);
                    (names.take(3).collect(), voicing.pitches())
                }
            };
            let count = (chord.beats * a_beat).round().max(1.0) as usize;
            sets.resize(from + count, pitches);
            let written = matches!(chord.chord, ChartChord::Symbol(_));
            expected.push(Expected {
                frames: from..sets.len(),
                bar: Some((bar, chord.beat + 1.0)),
                second_at: None,
                accepted,
                pitches,
                written,
            });
        }
        Self::of(first, name, &sets, &expected)
    }

    fn of(first: &Piece, second: &str, sets: &[PitchSet], expected: &[Expected]) -> Self {
        let frames = Frames::of(first);
        let warped = warp(&frames.sets, sets);
        let mut met = vec![false; first.chords.len()];
        let mut places: Vec<Place> = Vec::new();
        for expected in expected {
            let of_place = warped.get(expected.frames.clone()).unwrap_or_default();
            let from = of_place
                .iter()
                .map(|range| range.0)
                .min()
                .unwrap_or_default();
            let to = of_place
                .iter()
                .map(|range| range.1 + 1)
                .max()
                .unwrap_or(from);
            let (from, to) = (frames.time(from), frames.time(to));
            let there: Vec<usize> = (0..first.chords.len())
                .filter(|&at| lies_in(&first.chords[at], from, to))
                .collect();
            there.iter().for_each(|&at| met[at] = true);
            if let Some(place) = place(first, expected, &there, from, to) {
                places.push(place);
            }
        }
        for (chord, _) in first
            .chords
            .iter()
            .zip(met)
            .filter(|(chord, met)| !met && chord.end.get() - chord.start.get() >= PASSING)
        {
            let before = places.partition_point(|place| place.at <= chord.start);
            places.insert(before, extra(chord));
        }
        Self {
            first: first.file.clone(),
            second: second.to_owned(),
            places,
            style: first.style,
        }
    }

    /// How many places agree.
    pub fn agreeing(&self) -> usize {
        self.places
            .iter()
            .filter(|place| place.agreement == Agreement::Same)
            .count()
    }
}

fn lies_in(chord: &PieceChord, from: f64, to: f64) -> bool {
    let overlap = chord.end.get().min(to) - chord.start.get().max(from);
    overlap > OVERLAP * (chord.end.get() - chord.start.get()).min(to - from)
}

fn extra(chord: &PieceChord) -> Place {
    Place {
        bar: None,
        second_at: None,
        at: chord.start,
        accepted: Vec::new(),
        heard: good_names(chord),
        keys: chord.keys.clone(),
        agreement: Agreement::Extra,
        missing: Vec::new(),
        extra: Vec::new(),
    }
}

/// `None` where silence is expected and heard.
fn place(first: &Piece, expected: &Expected, there: &[usize], from: f64, to: f64) -> Option<Place> {
    let agrees = |chord: &PieceChord| {
        let names = good_names(chord);
        let by_name = names.iter().any(|heard| {
            expected
                .accepted
                .iter()
                .any(|wanted| says_the_same(wanted, heard))
        });
        by_name || (!expected.pitches.is_empty() && expected.pitches == pitches(chord))
    };
    let overlap = |at: usize| {
        let chord = &first.chords[at];
        chord.end.get().min(to) - chord.start.get().max(from)
    };
    let longest = |candidates: &mut dyn Iterator<Item = usize>| {
        candidates.max_by(|&a, &b| overlap(a).total_cmp(&overlap(b)))
    };
    let same = longest(
        &mut there
            .iter()
            .copied()
            .filter(|&at| agrees(&first.chords[at])),
    );
    let chord = same
        .or_else(|| longest(&mut there.iter().copied()))
        .map(|at| &first.chords[at]);
    let silent = expected.accepted.is_empty() && expected.pitches.is_empty();
    let agreement = match (same, chord) {
        (Some(_), _) => Agreement::Same,
        (None, Some(_)) if silent => Agreement::Extra,
        (None, Some(_)) => Agreement::Differs,
        (None, None) if silent => return None,
        (None, None) => Agreement::Missing,
    };
    let (missing, extra) = match chord.filter(|_| agreement == Agreement::Differs) {
        Some(chord) => differences(expected, chord),
        None => (Vec::new(), Vec::new()),
    };
    Some(Place {
        bar: expected.bar,
        second_at: expected.second_at,
        at: chord
            .map(|chord| chord.start)
            .or(Seconds::new(from).ok())
            .unwrap_or(Seconds::ZERO),
        accepted: expected.accepted.clone(),
        heard: chord.map(good_names).unwrap_or_default(),
        keys: chord.map(|chord| chord.keys.clone()).unwrap_or_default(),
        agreement,
        missing,
        extra,
    })
}

fn pitches(chord: &PieceChord) -> PitchSet {
    chord.keys.iter().fold(PitchSet::EMPTY, |set, key| {
        set.with(PitchClass::from(key.midi))
    })
}

/// What a chord can well be called, and what it stands for.
fn good_names(chord: &PieceChord) -> Vec<Chord> {
    let best = chord.best().map_or(1.0, |name| name.score.get());
    let names = chord
        .names
        .iter()
        .filter(|name| chord.best().is_some() && name.score.get() >= GOOD * best)
        .map(|name| name.chord);
    let stands_for = chord.stands_for.or(chord
        .reading
        .as_ref()
        .filter(|reading| reading.missing.contains(Degree::ROOT))
        .map(|reading| reading.chord));
    names.chain(stands_for).collect()
}

/// True if `heard` has the root of `wanted`, its third, fifth and seventh; a plain triad accepts a sixth or a seventh that colours it.
fn says_the_same(wanted: &Chord, heard: &Chord) -> bool {
    const THIRDS: DegreeSet = DegreeSet::of("2 b3 3 4");
    const FIFTHS: DegreeSet = DegreeSet::of("b5 #5");
    const SEVENTHS: DegreeSet = DegreeSet::of("6 bb7 b7 7");
    if wanted.root.class() != heard.root.class() || wanted.lower.is_some() != heard.lower.is_some()
    {
        return false;
    }
    let (wanted, heard) = (wanted.degrees, heard.degrees);
    let part = |part: DegreeSet| (wanted.and(part), heard.and(part));
    let ((third, heard_third), (fifth, heard_fifth), (seventh, heard_seventh)) =
        (part(THIRDS), part(FIFTHS), part(SEVENTHS));
    let major = third.contains(Degree::THIRD);
    let colours = match (seventh.is_empty(), major) {
        (true, true) => !heard_seventh.contains(Degree::MINOR_SEVENTH),
        (true, false) => true,
        // a sixth and a major seventh are one chord to a player
        (false, _) => {
            seventh == heard_seventh
                || (major && plain_tonic(seventh) && plain_tonic(heard_seventh))
        }
    };
    // An altered dominant leaves its fifth open.
    let altered = major && seventh.contains(Degree::MINOR_SEVENTH);
    third == heard_third && colours && (fifth == heard_fifth || altered)
}

fn plain_tonic(seventh: DegreeSet) -> bool {
    const PLAIN: DegreeSet = DegreeSet::of("6 7");
    !seventh.is_empty() && seventh.minus(PLAIN).is_empty()
}

/// Notes that are missing, and those that are not accepted; beside a written symbol a root and a fifth may be left out and plain tensions added.
fn differences(expected: &Expected, chord: &PieceChord) -> (Vec<Spelled>, Vec<Spelled>) {
    let sounds = pitches(chord);
    let Some(wanted) = expected.accepted.first() else {
        return (Vec::new(), Vec::new());
    };
    let optional = const { DegreeSet::of("1 5") };
    let (needed, allowed) = match expected.written {
        true => (
            wanted.degrees.minus(optional),
            wanted.degrees.union(const { DegreeSet::of("1 5 9 13") }),
        ),
        false => (wanted.degrees, wanted.degrees),
    };
    let class = |degree: Degree| wanted.root.degree(degree).class();
    let missing = needed.iter().filter(|&degree| {
        !sounds.contains(class(degree))
            && (expected.written || expected.pitches.contains(class(degree)))
    });
    let missing = missing
        .map(|degree| wanted.root.degree(degree).readable(None))
        .collect();
    let has_place = |at: PitchClass| {
        expected.pitches.contains(at) || allowed.iter().any(|degree| class(degree) == at)
    };
    let mut extra: Vec<Spelled> = Vec::new();
    for key in chord
        .keys
        .iter()
        .filter(|key| !has_place(PitchClass::from(key.midi)))
    {
        if !extra.iter().any(|name| name.class() == key.name.class()) {
            extra.push(key.name);
        }
    }
    (missing, extra)
}

/// A performance as pitch-class sets, one a frame.
struct Frames {
    begins: f64,
    seconds: f64,
    sets: Vec<PitchSet>,
}

impl Frames {
    fn of(piece: &Piece) -> Self {
        let begins = piece.chords.first().map_or(0.0, |chord| chord.start.get());
        let ends = piece.chords.last().map_or(0.0, |chord| chord.end.get());
        let seconds = FRAME_SECONDS.max((ends - begins) / FRAMES as f64);
        let mut frames = Self {
            begins,
            seconds,
            sets: Vec::new(),
        };
        let count = frames.number(Seconds::new(ends).unwrap_or(Seconds::ZERO));
        frames.sets = vec![PitchSet::EMPTY; count];
        for chord in &piece.chords {
            let (from, to) = (
                frames.number(chord.start).min(count),
                frames.number(chord.end).min(count),
            );
            frames.sets[from..to.max(from)].fill(pitches(chord));
        }
        frames
    }

    fn number(&self, at: Seconds) -> usize {
        ((at.get() - self.begins) / self.seconds).round().max(0.0) as usize
    }

    fn time(&self, frame: usize) -> f64 {
        self.begins + frame as f64 * self.seconds
    }
}

fn distance(a: PitchSet, b: PitchSet) -> f32 {
    let both = (a.bits() & b.bits()).count_ones();
    let either = (a.bits() | b.bits()).count_ones();
    if either == 0 {
        0.0
    } else {
        1.0 - both as f32 / either as f32
    }
}

/// For each frame of `second`, the first and the last frame of `first` that lie beside it.
fn warp(first: &[PitchSet], second: &[PitchSet]) -> Vec<(usize, usize)> {
    if first.is_empty() || second.is_empty() {
        return vec![(0, 0); second.len()];
    }
    let width = first.len();
    // How a cell was reached: from both before, from the first's before, from the second's before.
    let mut came = vec![0_u8; width * second.len()];
    let mut before: Vec<f32> = Vec::new();
    for (row, &of_second) in second.iter().enumerate() {
        let mut costs: Vec<f32> = Vec::with_capacity(width);
        for (at, &of_first) in first.iter().enumerate() {
            let left = at.checked_sub(1).map(|left| costs[left]);
            let up = before.get(at).copied();
            let both = at.checked_sub(1).and_then(|left| before.get(left)).copied();
            let ways = [both, left, up]
                .into_iter()
                .enumerate()
                .filter_map(|(way, cost)| Some((way as u8, cost?)));
            let (way, cost) = ways.min_by(|a, b| a.1.total_cmp(&b.1)).unwrap_or((0, 0.0));
            came[row * width + at] = way;
            costs.push(cost + distance(of_first, of_second));
        }
        before = costs;
    }
    let mut beside = vec![(usize::MAX, 0); second.len()];
    let (mut row, mut at) = (second.len() - 1, width - 1);
    loop {
        beside[row].0 = beside[row].0.min(at);
        beside[row].1 = beside[row].1.max(at);
        if row == 0 && at == 0 {
            return beside;
        }
        match came[row * width + at] {
            1 => at -= 1,
            2 => row -= 1,
            _ => (row, at) = (row - 1, at - 1),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_place_is_found_however_fast_it_is_played() {
        let set = |pitches: &[i32]| {
            pitches.iter().fold(PitchSet::EMPTY, |set, &pitch| {
                set.with(PitchClass::new(pitch))
            })
        };
        let (c, f, g) = (set(&[0, 4, 7]), set(&[5, 9, 0]), set(&[7, 11, 2]));
        let second = [c, c, f, f, g, g];
        let first = [c, f, f, f, f, f, g, g, g];
        let beside = warp(&first, &second);
        for (of_second, (from, to)) in second.iter().zip(&beside) {
            assert!(
                first[*from..=*to]
                    .iter()
                    .all(|of_first| of_first == of_second),
                "{beside:?}"
            );
        }
        assert_eq!((beside[0].0, beside[5].1), (0, 8), "from beginning to end");
    }

    #[test]
    fn a_chord_is_met_by_what_a_player_plays_for_it() {
        let same = |wanted: &str, heard: &str| {
            says_the_same(&wanted.parse().unwrap(), &heard.parse().unwrap())
        };
        for (wanted, heard) in [
            ("Cmaj7", "C6/9"),
            ("C", "Cmaj9"),
            ("Dm7", "Dm11"),
            ("G7", "G7alt"),
            ("G13b9", "G7#5"),
            ("Cm", "Cm6"),
            ("F/C", "F"),
        ] {
            assert!(same(wanted, heard), "{wanted} is met by {heard}");
        }
        for (wanted, heard) in [
            ("C", "C7"),
            ("Cmaj7", "Cm7"),
            ("Dm7", "Dm7b5"),
            ("G7", "Gmaj7"),
            ("G7", "Db7"),
            ("Csus4", "C"),
            ("Cdim7", "Cdim(maj7)"),
        ] {
            assert!(!same(wanted, heard), "{wanted} is not met by {heard}");
        }
    }
}
