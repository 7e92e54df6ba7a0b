//! Where a chord goes and how its voices get there.
//!
//! Input: the sounding pitch classes and the chord they go to. Output: [`Resolution`] with one step a voice.
//! Units: half steps, negative is down. Method: every voice takes the nearest note of the next chord and stays where it can; of two equally
//! near ones the lower, as sevenths and flat ninths fall (Levine, The Jazz Theory Book, 1995, ch. 3; Nettles and Graf, 1997).
//! Limits: pitch classes only, so doublings and parallel octaves are not judged.

use super::draft::Scene;
use crate::harmony::chord::Chord;
use crate::harmony::named::{Resolution, VoiceStep};
use crate::harmony::pitch::{Degree, DegreeSet, Key, Mode, PitchClass, PitchSet, Spelled};
use crate::harmony::speller::Speller;

/// The usual target chords of jazz harmony.
pub(crate) const MAJOR_SEVENTH: DegreeSet = DegreeSet::of("1 3 5 7");
pub(crate) const MAJOR_SIXTH: DegreeSet = DegreeSet::of("1 3 5 6");
pub(crate) const MINOR_SEVENTH: DegreeSet = DegreeSet::of("1 b3 5 b7");
pub(crate) const MINOR_SIXTH: DegreeSet = DegreeSet::of("1 b3 5 6");
pub(crate) const DOMINANT: DegreeSet = DegreeSet::of("1 3 5 b7");

/// Half steps a voice starting at `from` moves to reach the nearest note of `target`.
pub(crate) fn nearest(from: PitchClass, target: PitchSet) -> i8 {
    [0, -1, 1, -2, 2, -3, 3, -4, 4, -5, 5, 6]
        .into_iter()
        .find(|&step| target.contains(from.up(step)))
        .unwrap_or(0) as i8
}

/// The step from what sounds, with its names, to `target`; a voice that `rises` goes up a half step whatever lies nearer.
pub(crate) fn resolve(
    sounding: &[(PitchClass, Spelled)],
    target: Chord,
    rises: Option<PitchClass>,
    speller: &Speller,
) -> Resolution {
    let steps = steps(sounding, &target, rises);
    // How these notes were typed says nothing of the next chord's names.
    let next = speller.untyped();
    let voices = sounding
        .iter()
        .zip(steps)
        .map(|(&(class, name), half_steps)| VoiceStep {
            from: name,
            to: next.note(class.up(i32::from(half_steps)), Some(&target)),
            half_steps,
        })
        .collect();
    Resolution { to: target, voices }
}

/// Half steps of every voice. Each takes the nearest note; where that leaves no chord (fewer notes than three, or no third), the voice that can
/// best be spared takes the missing note.
fn steps(sounding: &[(PitchClass, Spelled)], target: &Chord, rises: Option<PitchClass>) -> Vec<i8> {
    let pitches = target.pitches();
    let mut steps: Vec<i8> = sounding
        .iter()
        .map(|&(class, _)| match rises {
            Some(up) if up == class => 1,
            _ => nearest(class, pitches),
        })
        .collect();
    let third = target
        .degrees
        .iter()
        .find(|d| d.number() == 3)
        .map(|d| target.root.class().up(i32::from(d.half_steps())));
    let wanted = sounding.len().min(3) as u32;
    for _ in 0..wanted {
        let landed = |at: usize| sounding[at].0.up(i32::from(steps[at]));
        let all: PitchSet = (0..steps.len()).map(landed).collect();
        let lacks_third = third.filter(|&third| !all.contains(third));
        if all.len() >= wanted && lacks_third.is_none() {
            break;
        }
        let spare = |at: &usize| {
            let doubled = (0..steps.len())
                .filter(|&k| landed(k) == landed(*at))
                .count()
                > 1;
            (doubled || all.len() >= wanted) && rises != Some(sounding[*at].0)
        };
        let missing = pitches.iter().filter(|&p| !all.contains(p));
        let goals: PitchSet = match lacks_third {
            Some(third) => PitchSet::EMPTY.with(third),
            None => missing.collect(),
        };
        let moved = (0..steps.len())
            .filter(spare)
            .map(|at| (at, nearest(sounding[at].0, goals)))
            .min_by_key(|&(_, step)| (step.unsigned_abs(), step > 0));
        let Some((at, step)) = moved.filter(|_| !goals.is_empty()) else {
            break;
        };
        steps[at] = step;
    }
    steps
}

/// Where a dominant on `root` goes: down a fifth, as a substitute down a half step, and, where altered tensions and no key leave it open, down a
/// fifth to the other mode.
pub(crate) fn both_falls(root: Spelled, tensions: DegreeSet, scene: &Scene) -> [Option<Chord>; 3] {
    let (key, speller) = (scene.context.key, scene.speller);
    let to = |fall, tensions| target_of_dominant(root, fall, tensions, key, speller);
    let fifth = to(Fall::Fifth, tensions);
    let other = (key.is_none() && fifth.degrees.contains(Degree::MINOR_THIRD))
        .then(|| to(Fall::Fifth, DegreeSet::EMPTY));
    [
        Some(fifth),
        Some(to(Fall::HalfStep, DegreeSet::EMPTY)),
        other,
    ]
}

/// How the root of a dominant falls into the next chord.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Fall {
    /// Down a fifth.
    Fifth,
    /// Down a half step, as that of a substitute.
    HalfStep,
}

/// The chord that a dominant on `from` with `tensions` goes to: by the key if its scale says so, else minor after altered tensions
/// without a natural 9 or 13, else major. Outside the key its root is spelled from the dominant's: Bb7 goes to Eb, whatever the key.
fn target_of_dominant(
    from: Spelled,
    fall: Fall,
    tensions: DegreeSet,
    key: Option<Key>,
    speller: &Speller,
) -> Chord {
    let goal = Spelled::at_fifths(match fall {
        Fall::Fifth => from.fifths() - 1,
        Fall::HalfStep => from.fifths() + 5,
    });
    let root = goal.class();
    let minor = match key {
        Some(key)
            if key.pitches().contains(root)
                && key.pitches().contains(root.up(3)) != key.pitches().contains(root.up(4)) =>
        {
            key.pitches().contains(root.up(3))
        }
        _ => {
            let altered = !tensions
                .and(const { DegreeSet::of("b9 #9 b13 #5") })
                .is_empty();
            altered && !tensions.contains(Degree::THIRTEENTH) && !tensions.contains(Degree::NINTH)
        }
    };
    // Without a key a minor goal is taken for a tonic, as its sixth chord; in a key only its own tonic is one.
    let tonic = key.is_none_or(|k| k.mode == Mode::Minor && k.tonic.class() == root);
    let degrees = match (minor, tonic) {
        (true, true) => MINOR_SIXTH,
        (true, false) => MINOR_SEVENTH,
        (false, _) => MAJOR_SEVENTH,
    };
    // A fifth below, the goal is on the side of its dominant, unless that was typed so and the goal can hardly be read; a half step below it is
    // what the key calls it. Roots whose chords can be read have at most six accidentals in the signature of a major key, seven in that of a minor one.
    let readable = if minor { -4..=10 } else { -6..=6 };
    let plain = goal.accidentals().abs() < 2 && !goal.is_white_key_with_accidental();
    let on_its_side = plain && (readable.contains(&goal.fifths()) || !speller.is_typed(from));
    let name = if fall == Fall::Fifth && on_its_side {
        goal
    } else if key.is_some_and(|k| k.pitches().contains(root)) {
        speller.untyped().root(root, degrees)
    } else if readable.contains(&goal.fifths()) {
        goal
    } else {
        Spelled::usual(root)
    };
    Chord::new(name, degrees)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn notes(classes: &[i32]) -> PitchSet {
        classes
            .iter()
            .map(|&class| PitchClass::new(class))
            .collect()
    }

    #[test]
    fn a_voice_stays_where_it_can_and_else_takes_the_nearest_note() {
        for from in PitchClass::all() {
            let at = |by: i32| from.up(by);
            let to = |steps: &[i32]| nearest(from, steps.iter().map(|&s| at(s)).collect());
            assert_eq!(to(&[0, 1, -1]), 0);
            assert_eq!(to(&[1, -2]), 1);
            assert_eq!(to(&[3, -2]), -2);
            assert_eq!(to(&[5, -4]), -4);
            assert_eq!(to(&[6]), 6, "a tritone away there is no nearer way");
            assert_eq!(to(&[]), 0, "with nowhere to go it stays");
        }
    }

    #[test]
    fn of_two_equally_near_notes_a_voice_falls_to_the_lower() {
        for from in PitchClass::all() {
            for distance in 1..=5 {
                let around = [from.up(distance), from.up(-distance)];
                assert_eq!(
                    i32::from(nearest(from, around.into_iter().collect())),
                    -distance
                );
            }
        }
        // the seventh of G7 lies between E and G of C, a half step nearer to E; its b9 falls to the fifth
        let c_major = notes(&[0, 4, 7]);
        assert_eq!(nearest(PitchClass::new(5), c_major), -1);
        assert_eq!(nearest(PitchClass::new(8), c_major), -1);
        // D lies a whole step from both C and E: it falls
        assert_eq!(nearest(PitchClass::new(2), c_major), -2);
    }
}
