//! What a chord keeps of the one whose place it takes: the rules by which a single chord is a stand-in.
//!
//! Input: a [`Slot`] and any chord. Output: the [`Device`] by which it can stand there, or none. Units: half steps above a root.
//! Method: general tests on what sounds. Over a dominant: its third and seventh sound and neither its eleventh nor its major seventh does; at
//! home and away from it: at least three notes are shared and the note that would change the function is absent; parallel keys by their scales; towards
//! the next chord: its dominant, substitute dominant or leading diminished chord. Sources: see [`super::device`].
//! Limits: one device a chord and place, the most usual that applies.

use super::device::Device;
use super::slot::{Job, Slot};
use crate::harmony::chord::Chord;
use crate::harmony::chord::quality::bits;
use crate::harmony::function::Class;
use crate::harmony::pitch::{Degree, DegreeSet, Mode, PitchClass, PitchSet};

/// A chord to be held against the original: everything as bits, since there are many.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Single {
    pub root: PitchClass,
    pub degrees: DegreeSet,
    pub class: Class,
    /// What sounds, absolute.
    pub set: PitchSet,
    /// Rarity of its quality.
    pub rarity: f32,
}

impl Single {
    fn seen_from(&self, root: PitchClass) -> u16 {
        self.set.seen_from(root).bits()
    }
}

const GUIDE_TONES: u16 = bits("3 b7");
/// Notes that undo a dominant: the eleventh hides its third, the major seventh its seventh.
const UNDOING: u16 = bits("11 7");

/// The device by which `single` can stand in this slot by itself.
pub(crate) fn device(slot: &Slot, single: &Single) -> Option<Device> {
    // The same with less is no stand-in.
    if single.root == slot.original.root.class()
        && single.degrees.minus(slot.original.degrees).is_empty()
    {
        return None;
    }
    let own = match slot.job {
        Job::Dominant { root, goal } => for_dominant(slot, single, root, goal),
        Job::BeforeDominant { dominant } => before_dominant(slot, single, dominant),
        Job::Tonic { root } => at_home(slot, single, root),
        Job::Subdominant => away(slot, single),
        Job::Diminished => for_diminished(slot, single),
        Job::Other => colour(slot, single),
    };
    own.or_else(|| match slot.job {
        // What already leads on needs no other way on.
        Job::Dominant { .. } => None,
        _ => towards_next(slot, single),
    })
}

/// The same root, the same third, or, of a dominant, the same guide tones.
fn colour(slot: &Slot, single: &Single) -> Option<Device> {
    let third = |class: Class| match class {
        Class::Minor | Class::MinorTonic => 0,
        Class::Major => 1,
        Class::Dominant => 2,
        Class::HalfDiminished => 3,
        _ => 4,
    };
    (single.root == slot.original.root.class()
        && third(single.class) == third(slot.class)
        && third(slot.class) < 4)
        .then_some(Device::Colour)
}

fn for_dominant(
    slot: &Slot,
    single: &Single,
    root: PitchClass,
    goal: PitchClass,
) -> Option<Device> {
    let from_root = single.seen_from(root);
    let guide_tones = from_root & GUIDE_TONES == GUIDE_TONES && from_root & UNDOING == 0;
    let place = single.root.above(root);
    if guide_tones {
        let diminished = matches!(slot.class, Class::Diminished | Class::DiminishedMajor);
        return Some(match (place, single.class) {
            (0, _) if diminished && single.degrees.contains(Degree::FLAT_NINTH) => {
                Device::DominantOfDiminished
            }
            (0, _) if diminished => return None,
            (0, _) => Device::Colour,
            (6, Class::Dominant) => Device::TritoneSubstitute,
            (_, Class::Diminished) => Device::DiminishedFamily,
            (_, Class::DiminishedMajor) => Device::DiminishedMajorSeventh,
            // A dominant or a suspended chord on a third root is heard as itself.
            (_, Class::Dominant | Class::Suspended) => return None,
            _ => Device::RootlessDominant,
        })
        .filter(|_| single.set != slot.original.pitches());
    }
    const SUSPENDED: u16 = bits("1 4 b7");
    const THIRDS: u16 = bits("b3 3 7");
    if single.class == Class::Suspended
        && from_root & SUSPENDED == SUSPENDED
        && from_root & THIRDS == 0
        && place == 0
    {
        return Some(Device::Suspended);
    }
    const HALF_WHOLE: u16 = bits("1 b9 #9 3 #11 5 13 b7");
    let in_half_whole = from_root & !HALF_WHOLE == 0;
    // In minor the subdominant is minor anyway: neither backdoor nor interchange.
    let to_minor = slot
        .after
        .is_some_and(|after| after.degrees.contains(Degree::MINOR_THIRD));
    match (single.class, place) {
        (Class::Dominant, _) if goal == single.root.up(2) && !to_minor => Some(Device::Backdoor),
        (Class::Dominant, 3 | 9) if in_half_whole => Some(Device::MinorThirdDominant),
        (Class::DiminishedMajor, _) if in_half_whole => Some(Device::DiminishedMajorSeventh),
        (Class::Dominant, 1 | 11) if single.degrees == slot.original.degrees => {
            Some(Device::SideSlip)
        }
        (Class::Major | Class::Minor | Class::MinorTonic | Class::HalfDiminished, _)
            if !to_minor =>
        {
            subdominant_minor(single, goal)
        }
        _ => None,
    }
}

/// The subdominant of the parallel minor: its flat sixth sounds, its leading tone does not.
fn subdominant_minor(single: &Single, tonic: PitchClass) -> Option<Device> {
    const SCALE: u16 = bits("1 b9 9 b3 11 5 b13 b7");
    const FLAT_SIXTH: u16 = bits("b13");
    let from_tonic = single.seen_from(tonic);
    // iv with its own major seventh or sixth has one note outside the scale.
    let foreign = (from_tonic & !SCALE).count_ones();
    let four = single.root == tonic.up(5) && single.class == Class::MinorTonic;
    let plain = matches!(
        single.class,
        Class::Major | Class::Minor | Class::MinorTonic | Class::HalfDiminished
    );
    let root = plain && matches!(single.root.above(tonic), 1 | 2 | 5 | 8);
    (root
        && from_tonic & FLAT_SIXTH != 0
        && foreign <= u32::from(four)
        && single.degrees.len() >= 4)
        .then_some(Device::ModalInterchange)
}

fn before_dominant(slot: &Slot, single: &Single, dominant: PitchClass) -> Option<Device> {
    colour(slot, single).or_else(|| {
        const SUSPENDED: u16 = bits("1 4 b7");
        let from_dominant = single.seen_from(dominant);
        let tonic = dominant.up(5);
        if single.class == Class::Suspended
            && single.root == dominant
            && from_dominant & SUSPENDED == SUSPENDED
        {
            return Some(Device::Suspended);
        }
        let minor = matches!(single.class, Class::Minor | Class::HalfDiminished);
        if minor && single.root == slot.original.root.class() {
            return Some(Device::ModalInterchange);
        }
        // The second degree of the substitute dominant.
        if minor && single.root == dominant.up(1) {
            return Some(Device::SideSlip);
        }
        shares(slot, single, tonic).or_else(|| subdominant_minor(single, tonic))
    })
}

/// Three notes or more in common with the original, and the function within the key left as it is.
fn shares(slot: &Slot, single: &Single, tonic: PitchClass) -> Option<Device> {
    if !matches!(
        single.class,
        Class::Major | Class::Minor | Class::HalfDiminished | Class::MinorTonic
    ) || single.root == slot.original.root.class()
    {
        return None;
    }
    let common = PitchSet::from_bits(single.set.bits() & slot.original.pitches().bits());
    let enough = common.len() >= 3 || common.len() == 2 && slot.original.pitches().len() == 3;
    // The fourth degree makes a chord leave home.
    let fourth = tonic.up(5);
    let original = slot.original.pitches();
    let keeps = match slot.job {
        Job::Tonic { .. } => !single.set.contains(fourth) || original.contains(fourth),
        // The leading tone makes it want to go on.
        _ => {
            let leading_tone = tonic.up(11);
            (single.set.contains(fourth) || !original.contains(fourth))
                && (!single.set.contains(leading_tone) || original.contains(leading_tone))
        }
    };
    let in_key = single.set.bits() & !slot.key.pitches().bits() == 0;
    (enough && keeps && in_key).then_some(Device::Relative)
}

fn at_home(slot: &Slot, single: &Single, tonic: PitchClass) -> Option<Device> {
    colour(slot, single)
        .or_else(|| shares(slot, single, tonic))
        .or_else(|| {
            // A sixth chord by another name: #iv half-diminished holds the tonic triad's sixth, root and third.
            const SIXTH: u16 = bits("1 3 6");
            let from_tonic = single.seen_from(tonic);
            (slot.key.mode == Mode::Major
                && single.class == Class::HalfDiminished
                && single.root == tonic.up(6)
                && from_tonic & SIXTH == SIXTH)
                .then_some(Device::Relative)
        })
        .or_else(|| {
            let parallel = match slot.key.mode {
                Mode::Major => const { bits("1 b9 9 b3 11 5 b13 b7") },
                Mode::Minor => const { bits("1 9 3 11 5 13 7") },
            };
            let from_tonic = single.seen_from(tonic);
            let home = from_tonic & const { bits("1 5") } != 0;
            let major =
                single.class == Class::Major && single.degrees.contains(Degree::MAJOR_SEVENTH);
            let minor_home = single.root == tonic
                && matches!(
                    single.class,
                    Class::Minor | Class::MinorTonic | Class::Major
                );
            let fits = from_tonic & !parallel == 0 || minor_home;
            (fits && home && (major || minor_home)).then_some(Device::ModalInterchange)
        })
}

fn away(slot: &Slot, single: &Single) -> Option<Device> {
    let tonic = slot.key.tonic.class();
    colour(slot, single)
        .or_else(|| shares(slot, single, tonic))
        .or_else(|| subdominant_minor(single, tonic))
        .or_else(|| {
            let backdoor = single.class == Class::Dominant
                && single.root == tonic.up(10)
                && slot.after.is_some_and(|a| a.root.class() == tonic);
            backdoor.then_some(Device::Backdoor)
        })
        .or_else(|| {
            let raised = matches!(single.class, Class::HalfDiminished | Class::Diminished)
                && single.root == tonic.up(6);
            let over_four = slot.original.root.class() == tonic.up(5);
            (raised && over_four && single.degrees.len() >= 4).then_some(Device::PassingDiminished)
        })
}

fn for_diminished(slot: &Slot, single: &Single) -> Option<Device> {
    let root = slot.original.root.class();
    let apart = single.root.above(root);
    let full = |degrees: DegreeSet| {
        degrees.contains(Degree::DIMINISHED_SEVENTH) || degrees.contains(Degree::MAJOR_SEVENTH)
    };
    match single.class {
        Class::DiminishedMajor if apart.is_multiple_of(3) => Some(Device::DiminishedMajorSeventh),
        Class::Diminished
            if apart.is_multiple_of(3)
                && full(single.degrees)
                && single.set != slot.original.pitches() =>
        {
            Some(Device::DiminishedFamily)
        }
        Class::Dominant if apart % 3 == 2 && single.degrees.contains(Degree::FLAT_NINTH) => {
            Some(Device::DominantOfDiminished)
        }
        _ => None,
    }
}

/// A chord that leads into the next one instead.
pub(crate) fn towards_next(slot: &Slot, single: &Single) -> Option<Device> {
    let next = slot.after?.root.class();
    if next == slot.original.root.class() {
        return None;
    }
    leads_to(single, next)
}

/// By which device a chord leads to a root.
pub(crate) fn leads_to(single: &Single, next: PitchClass) -> Option<Device> {
    match (single.class, next.above(single.root)) {
        (Class::Dominant, 5) => Some(Device::SecondaryDominant),
        (Class::Dominant, 11) => Some(Device::SubstituteSecondary),
        (Class::Diminished, 1) if single.degrees.contains(Degree::DIMINISHED_SEVENTH) => {
            Some(Device::PassingDiminished)
        }
        _ => None,
    }
}

/// True if the chord holds both guide tones of this dominant.
pub(crate) fn keeps_guide_tones(set: PitchSet, root: PitchClass) -> bool {
    set.seen_from(root).bits() & GUIDE_TONES == GUIDE_TONES
}

/// The triads whose notes over a dominant are two tensions or more and undo nothing of it.
pub(crate) fn is_upper_structure(triad: PitchSet, root: PitchClass) -> bool {
    const PLAIN: u16 = bits("1 3 5 b7");
    let from_root = triad.seen_from(root).bits();
    from_root & UNDOING == 0 && (from_root & !PLAIN).count_ones() >= 2
}

/// What of a chord is held against the original.
pub(crate) fn single_of(chord: &Chord, rarity: f32) -> Single {
    Single {
        root: chord.root.class(),
        degrees: chord.degrees,
        class: Class::of(chord.degrees),
        set: chord.pitches(),
        rarity,
    }
}
