//! Ways to voice a chord: every playable voicing of the usual kinds.
//!
//! Input: a [`Chord`], which hands, their span. Output: [`HandVoicing`]s. Units: MIDI numbers.
//! Method: each kind is a list of chord tones from the bottom up, laid at every octave; what the hands cannot play falls out ([`super::hands`]).
//! Rootless A and B, shells, upper structures, fourths: Levine, The Jazz Piano Book, 1989, ch. 3, 5, 7, 13, 14; drop 2, drop 3 and spread: Pease
//! and Pullig, Modern Jazz Voicings, 2001. A ninth, and over dominants a thirteenth, is added to rootless voicings where the symbol leaves it open, as players do.
//! Limits: no doublings; every third, seventh and stated tension is kept where five voices have room, fifths go first.

use super::hands::{HandVoicing, Hands, RANGE, VoicingKind};
use crate::harmony::chord::Chord;
use crate::harmony::pitch::{Degree, DegreeSet, PitchClass, PitchSet};
use crate::units::MidiNote;

/// The tones of a chord by what they do in a voicing, in half steps above the root it is counted from.
struct Tones {
    root: PitchClass,
    third: Option<u8>,
    fifth: Option<u8>,
    seventh: Option<u8>,
    /// Tensions that the symbol states.
    tensions: Vec<u8>,
    /// The ninth of a rootless voicing: the stated one, else one that the chord takes, else its root.
    ninth: u8,
    /// The fifth of a rootless voicing: a stated thirteenth, of an open dominant the thirteenth, else the fifth.
    colour: Option<u8>,
    /// What a bass of its own adds.
    bass: Option<PitchClass>,
    dominant: bool,
    all: PitchSet,
}

impl Tones {
    fn of(chord: &Chord) -> Self {
        let (root, degrees) = match chord.lower {
            Some((root, lower)) => {
                let upper = chord
                    .sounding()
                    .pitches()
                    .placed_on(chord.root.class())
                    .seen_from(root.class());
                let tensions = DegreeSet::of("b9 9 #9 #11 b13 13");
                let stated = tensions.iter().filter(|t| {
                    upper.bits() & !lower.pitches().bits() & (1 << t.half_steps()) != 0
                });
                (root, stated.fold(lower, DegreeSet::with))
            }
            None => (chord.root, chord.sounding()),
        };
        let first = |names: DegreeSet| degrees.and(names).iter().next().map(Degree::half_steps);
        let third = first(const { DegreeSet::of("3 b3 4 2") });
        let fifth = first(const { DegreeSet::of("5 b5 #5") });
        let seventh = first(const { DegreeSet::of("7 b7 bb7 6") });
        let tensions: Vec<u8> = degrees
            .iter()
            .filter(|d| d.is_tension())
            .map(Degree::half_steps)
            .collect();
        let has = |degree| degrees.contains(degree);
        let dominant = has(Degree::THIRD) && has(Degree::MINOR_SEVENTH);
        let stated_ninth = first(const { DegreeSet::of("9 b9 #9") });
        let diminished = has(Degree::MINOR_THIRD) && has(Degree::FLAT_FIFTH);
        let takes_ninth = seventh.is_some() && !diminished && fifth != Some(8);
        let ninth = stated_ninth.unwrap_or(if takes_ninth { 2 } else { 0 });
        let thirteenth = first(const { DegreeSet::of("13 b13") });
        let open = dominant
            && fifth == Some(7)
            && stated_ninth.is_none_or(|ninth| ninth == 2)
            && thirteenth.is_none();
        Self {
            root: root.class(),
            third,
            fifth,
            seventh,
            ninth,
            colour: thirteenth.or(if open { Some(9) } else { fifth }),
            tensions,
            bass: chord
                .bass
                .map(|bass| bass.class())
                .filter(|&bass| bass != root.class()),
            dominant,
            all: chord.pitches(),
        }
    }

    fn class(&self, half_steps: u8) -> PitchClass {
        self.root.up(i32::from(half_steps))
    }

    /// Root, third, fifth, seventh: those that there are.
    fn plain(&self) -> Vec<u8> {
        [Some(0), self.third, self.fifth, self.seventh]
            .into_iter()
            .flatten()
            .collect()
    }

    /// Four voices that say the most: third and seventh, then tensions, then fifth and root.
    fn four(&self) -> Vec<u8> {
        let mut voices: Vec<u8> = [self.third, self.seventh].into_iter().flatten().collect();
        let rest = self
            .tensions
            .iter()
            .rev()
            .copied()
            .chain([Some(0), self.fifth].into_iter().flatten());
        for tone in rest {
            if voices.len() < 4 && !voices.contains(&tone) {
                voices.push(tone);
            }
        }
        voices.sort_unstable();
        voices
    }

    /// Everything above root and fifth, for a right hand: third, seventh, tensions, then the fifth.
    fn upper(&self, most: usize) -> Vec<u8> {
        let mut voices: Vec<u8> = [self.third, self.seventh].into_iter().flatten().collect();
        let rest = self.tensions.iter().rev().copied().chain(self.fifth);
        for tone in rest {
            if voices.len() < most && !voices.contains(&tone) {
                voices.push(tone);
            }
        }
        voices.sort_unstable();
        voices
    }
}

/// All playable voicings of a chord; `span` is what each hand reaches in half steps.
///
/// ```
/// use lidprop::harmony::Chord;
/// use lidprop::harmony::voicing::hands::{Hands, USUAL_SPAN, VoicingKind};
/// use lidprop::harmony::voicing::shapes::voicings;
///
/// let chord: Chord = "Dm7".parse().unwrap();
/// let found = voicings(&chord, Hands::Left, USUAL_SPAN);
/// let rootless = found.iter().find(|v| v.kind == VoicingKind::RootlessA).unwrap();
/// let keys: Vec<u8> = rootless.keys().map(|key| key.get() % 12).collect();
/// assert_eq!(keys, [5, 9, 0, 4], "F A C E");
/// ```
pub fn voicings(chord: &Chord, hands: Hands, span: u8) -> Vec<HandVoicing> {
    let tones = Tones::of(chord);
    let mut found = Found {
        span,
        out: Vec::with_capacity(64),
    };
    match hands {
        Hands::Left => left_hand(&tones, &mut found),
        Hands::Both => both_hands(&tones, &mut found),
    }
    if found.out.is_empty() {
        found.anything(&tones, hands);
    }
    found.out
}

fn left_hand(tones: &Tones, found: &mut Found) {
    if let Some(bass) = tones.bass {
        // A bass of its own lies at the bottom, whatever is above it.
        for inversion in inversions(&tones.four()) {
            let above = inversion
                .iter()
                .map(|&t| tones.class(t))
                .filter(|&class| class != bass)
                .take(3);
            let classes: Vec<PitchClass> = std::iter::once(bass).chain(above).collect();
            found.lay(VoicingKind::Close, &classes, &[]);
        }
        return;
    }
    rootless(tones, |kind, voices| found.lay(kind, &voices, &[]));
    if let (Some(third), Some(seventh)) = (tones.third, tones.seventh) {
        let of =
            |voices: &[u8]| -> Vec<PitchClass> { voices.iter().map(|&t| tones.class(t)).collect() };
        found.lay(VoicingKind::Shell, &of(&[0, third, seventh]), &[]);
        found.lay(VoicingKind::Shell, &of(&[0, seventh, third]), &[]);
    }
    for inversion in inversions(&tones.four()) {
        let classes: Vec<PitchClass> = inversion.iter().map(|&t| tones.class(t)).collect();
        found.lay(VoicingKind::Close, &classes, &[]);
    }
    for stack in fourths(tones, 3) {
        found.lay(VoicingKind::Quartal, &stack, &[]);
    }
}

fn both_hands(tones: &Tones, found: &mut Found) {
    let classes =
        |voices: &[u8]| -> Vec<PitchClass> { voices.iter().map(|&t| tones.class(t)).collect() };
    let bass = tones.bass.unwrap_or(tones.root);
    let without_bass = |voices: Vec<PitchClass>| -> Vec<PitchClass> {
        voices.into_iter().filter(|&class| class != bass).collect()
    };
    for right in inversions(&tones.upper(4)) {
        let right = without_bass(classes(&right));
        found.lay(VoicingKind::Spread, &[bass], &right);
        for low in [tones.fifth.filter(|&f| f == 7), tones.seventh]
            .into_iter()
            .flatten()
        {
            let low = tones.class(low);
            let rest: Vec<PitchClass> = right
                .iter()
                .copied()
                .filter(|&class| class != low)
                .collect();
            if low != bass && rest.len() >= 2 {
                found.lay(VoicingKind::Spread, &[bass, low], &rest);
            }
        }
    }
    if tones.bass.is_some() {
        return;
    }
    for (low, high) in [(tones.seventh, tones.third), (tones.third, tones.seventh)] {
        if let (Some(low), Some(high)) = (low, high) {
            let mut above: Vec<u8> = tones
                .tensions
                .iter()
                .copied()
                .chain(tones.fifth)
                .filter(|&t| t != low && t != high)
                .take(3)
                .collect();
            above.sort_unstable_by_key(|&t| (t + 12 - high) % 12);
            let right: Vec<u8> = std::iter::once(high).chain(above).collect();
            found.lay(VoicingKind::Shell, &classes(&[0, low]), &classes(&right));
        }
    }
    let four = tones.four();
    if four.len() == 4 {
        for close in inversions(&four) {
            let close = classes(&close);
            // From the bottom up, one voice lowered an octave.
            found.lay(
                VoicingKind::Drop2,
                &[close[2]],
                &[close[0], close[1], close[3]],
            );
            found.lay(
                VoicingKind::Drop3,
                &[close[1]],
                &[close[0], close[2], close[3]],
            );
        }
    }
    if tones.ninth != 0 {
        rootless(tones, |kind, voices| {
            found.lay(kind, &[tones.root], &voices)
        });
    }
    for stack in fourths(tones, 4) {
        found.lay(VoicingKind::Quartal, &stack[..2], &stack[2..]);
    }
    if tones.dominant
        && let (Some(third), Some(seventh)) = (tones.third, tones.seventh)
    {
        for triad in upper_triads(tones) {
            for shell in [[third, seventh], [seventh, third]] {
                found.lay(VoicingKind::UpperStructure, &classes(&shell), &triad);
            }
        }
    }
}

/// The two rootless voicings, bottom up.
fn rootless(tones: &Tones, mut lay: impl FnMut(VoicingKind, Vec<PitchClass>)) {
    let (Some(third), Some(seventh), Some(colour)) = (tones.third, tones.seventh, tones.colour)
    else {
        return;
    };
    let ninth = tones.ninth;
    // In the place of the ninth, the root is that of a half-diminished chord; a diminished seventh is voiced close.
    if ninth == 0 && seventh != 10 {
        return;
    }
    let distinct = [third, colour, seventh, ninth];
    if (0..4).any(|i| distinct[..i].contains(&distinct[i])) {
        return;
    }
    let classes = |voices: [u8; 4]| voices.iter().map(|&t| tones.class(t)).collect();
    lay(
        VoicingKind::RootlessA,
        classes([third, colour, seventh, ninth]),
    );
    lay(
        VoicingKind::RootlessB,
        classes([seventh, ninth, third, colour]),
    );
}

/// All rotations of voices from the bottom up.
fn inversions(voices: &[u8]) -> impl Iterator<Item = Vec<u8>> + '_ {
    (0..voices.len()).map(|at| voices[at..].iter().chain(&voices[..at]).copied().collect())
}

/// Stacks of so many fourths from notes of the chord, and the ninth and thirteenth it takes, that hold its third and seventh.
fn fourths(tones: &Tones, count: usize) -> Vec<Vec<PitchClass>> {
    let (Some(third), Some(seventh)) = (tones.third, tones.seventh) else {
        return Vec::new();
    };
    let telling = [tones.class(third), tones.class(seventh)];
    let taken = tones
        .all
        .with(tones.class(tones.ninth))
        .with(tones.class(tones.colour.unwrap_or(0)));
    let mut stacks = Vec::new();
    for start in taken.iter() {
        let mut stack = vec![start];
        while stack.len() < count {
            let last = stack[stack.len() - 1];
            match [5, 6]
                .into_iter()
                .map(|by| last.up(by))
                .find(|class| taken.contains(*class) && !stack.contains(class))
            {
                Some(next) => stack.push(next),
                None => break,
            }
        }
        if stack.len() == count && telling.iter().all(|class| stack.contains(class)) {
            stacks.push(stack);
        }
    }
    stacks
}

/// Triads, in all inversions, that the chord's own notes make over its guide tones, with two tensions or more.
fn upper_triads(tones: &Tones) -> Vec<Vec<PitchClass>> {
    const TRIADS: [[i32; 3]; 2] = [[0, 4, 7], [0, 3, 7]];
    let is_tension = |class: PitchClass| tones.tensions.contains(&class.above(tones.root));
    let mut found = Vec::new();
    for root in tones.all.iter() {
        for triad in TRIADS {
            let notes = triad.map(|step| root.up(step));
            let inside = notes.iter().all(|&note| tones.all.contains(note));
            if inside && notes.iter().filter(|&&note| is_tension(note)).count() >= 2 {
                found.extend(
                    (0..3).map(|at| vec![notes[at], notes[(at + 1) % 3], notes[(at + 2) % 3]]),
                );
            }
        }
    }
    found
}

/// Voicings as they are found.
struct Found {
    span: u8,
    out: Vec<HandVoicing>,
}

impl Found {
    /// Lays voices from the bottom up at every octave; the right hand begins above the left, also an octave higher.
    fn lay(&mut self, kind: VoicingKind, left: &[PitchClass], right: &[PitchClass]) {
        let Some(&lowest) = left.first() else {
            return;
        };
        let first = u8::try_from(i32::from(RANGE.0)).unwrap_or(0);
        let start = first + lowest.above(PitchClass::new(i32::from(first)));
        for low in (start..RANGE.1).step_by(12) {
            let left = stacked(left, low);
            let Some(&top) = left.last() else { continue };
            if right.is_empty() {
                self.keep(kind, left, Vec::new());
                continue;
            }
            for gap in [1, 13] {
                let from = top.saturating_add(gap);
                let begin = from + right[0].above(PitchClass::new(i32::from(from)));
                self.keep(kind, left.clone(), stacked(right, begin));
            }
        }
    }

    fn keep(&mut self, kind: VoicingKind, left: Vec<u8>, right: Vec<u8>) {
        let keys = |numbers: Vec<u8>| -> Option<Vec<MidiNote>> {
            numbers.into_iter().map(|n| MidiNote::new(n).ok()).collect()
        };
        let (Some(left), Some(right)) = (keys(left), keys(right)) else {
            return;
        };
        let voicing = HandVoicing {
            kind,
            left,
            right,
            melody: None,
        };
        let known =
            |other: &HandVoicing| other.left == voicing.left && other.right == voicing.right;
        if voicing.playable(self.span).is_ok() && !self.out.iter().any(known) {
            self.out.push(voicing);
        }
    }

    /// Whatever can be played of a chord that no usual kind fits: fewer voices until it does.
    fn anything(&mut self, tones: &Tones, hands: Hands) {
        let lowest = tones.bass.into_iter().chain(
            [tones.third, tones.seventh]
                .into_iter()
                .flatten()
                .map(|t| tones.class(t)),
        );
        let rest = tones
            .plain()
            .into_iter()
            .chain(tones.tensions.iter().copied())
            .map(|t| tones.class(t));
        let mut voices: Vec<PitchClass> = Vec::new();
        lowest.chain(rest).for_each(|class| {
            if !voices.contains(&class) {
                voices.push(class);
            }
        });
        for count in (1..=voices.len().min(4)).rev() {
            for at in 0..count {
                let own: Vec<PitchClass> = (0..count).map(|i| voices[(at + i) % count]).collect();
                match hands {
                    Hands::Left => self.lay(VoicingKind::Close, &own, &[]),
                    Hands::Both => self.lay(VoicingKind::Close, &own[..1], &own[1..]),
                }
            }
            if !self.out.is_empty() {
                return;
            }
        }
    }
}

/// Voices from `low` up, each the next of its name.
fn stacked(voices: &[PitchClass], low: u8) -> Vec<u8> {
    let mut keys = Vec::with_capacity(voices.len());
    let mut from = low;
    for &class in voices {
        let key = from.saturating_add(class.above(PitchClass::new(i32::from(from))));
        keys.push(key);
        from = key.saturating_add(1);
    }
    keys
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::harmony::chord::quality::QUALITIES;
    use crate::harmony::pitch::Spelled;
    use crate::harmony::voicing::hands::USUAL_SPAN;

    fn named(symbol: &str, hands: Hands, kind: VoicingKind) -> Vec<Vec<&'static str>> {
        let chord: Chord = symbol.parse().unwrap();
        let found = voicings(&chord, hands, USUAL_SPAN);
        let name = |key: MidiNote| Spelled::usual(PitchClass::from(key)).name();
        found
            .iter()
            .filter(|v| v.kind == kind)
            .map(|v| v.keys().map(name).collect())
            .collect()
    }

    #[test]
    fn the_usual_left_hand_voicings_of_a_two_five_one_are_there() {
        for (symbol, a, b) in [
            ("Dm7", ["F", "A", "C", "E"], ["C", "E", "F", "A"]),
            ("G7", ["B", "E", "F", "A"], ["F", "A", "B", "E"]),
            ("Cmaj7", ["E", "G", "B", "D"], ["B", "D", "E", "G"]),
            ("G7b9", ["B", "D", "F", "Ab"], ["F", "Ab", "B", "D"]),
            ("C6", ["E", "G", "A", "D"], ["A", "D", "E", "G"]),
            ("Dm7b5", ["F", "Ab", "C", "D"], ["C", "D", "F", "Ab"]),
        ] {
            assert!(
                named(symbol, Hands::Left, VoicingKind::RootlessA).contains(&a.to_vec()),
                "{symbol} A"
            );
            assert!(
                named(symbol, Hands::Left, VoicingKind::RootlessB).contains(&b.to_vec()),
                "{symbol} B"
            );
        }
        assert!(named("Dm7", Hands::Both, VoicingKind::Drop2).contains(&vec!["A", "D", "F", "C"]));
        assert!(named("Dm7", Hands::Both, VoicingKind::Spread).contains(&vec!["D", "A", "C", "F"]));
        assert!(
            named("A|G7", Hands::Both, VoicingKind::UpperStructure)
                .iter()
                .any(|v| v[..2] == ["F", "B"])
        );
        assert!(named("Dm11", Hands::Left, VoicingKind::Quartal).contains(&vec!["G", "C", "F"]));
    }

    #[test]
    fn every_symbol_on_every_root_can_be_played_and_keeps_what_tells_it() {
        for quality in QUALITIES {
            for root in PitchClass::all() {
                let chord = Chord::new(Spelled::usual(root), quality.degrees);
                let tones = Tones::of(&chord);
                let taken = chord
                    .pitches()
                    .with(tones.class(tones.ninth))
                    .with(tones.class(tones.colour.unwrap_or(0)));
                for hands in [Hands::Left, Hands::Both] {
                    for span in [12, USUAL_SPAN, 16] {
                        let found = voicings(&chord, hands, span);
                        assert!(!found.is_empty(), "{} on {root:?}, {hands:?}", quality.body);
                        for voicing in found {
                            assert_eq!(
                                voicing.playable(span),
                                Ok(()),
                                "{} {voicing:?}",
                                quality.body
                            );
                            assert!(hands == Hands::Both || voicing.right.is_empty());
                            let sounds: PitchSet = voicing.keys().map(PitchClass::from).collect();
                            assert_eq!(
                                sounds.bits() & !taken.bits(),
                                0,
                                "{} {voicing:?}",
                                quality.body
                            );
                            let telling = [tones.third, tones.seventh].into_iter().flatten();
                            let kept = telling.filter(|&t| sounds.contains(tones.class(t))).count();
                            let wanted = [tones.third, tones.seventh].into_iter().flatten().count();
                            assert_eq!(kept, wanted, "{} {voicing:?}", quality.body);
                        }
                    }
                }
            }
        }
    }

    #[test]
    fn a_bass_of_its_own_lies_at_the_bottom() {
        for symbol in ["C/E", "Dm7/G", "F/G", "G7/B", "Cmaj7/D"] {
            let chord: Chord = symbol.parse().unwrap();
            for hands in [Hands::Left, Hands::Both] {
                for voicing in voicings(&chord, hands, USUAL_SPAN) {
                    let lowest = voicing.keys().next().map(PitchClass::from);
                    assert_eq!(lowest, Some(chord.lowest().class()), "{symbol} {voicing:?}");
                }
            }
        }
    }
}
