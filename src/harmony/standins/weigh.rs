//! Weighing a candidate: how usual, how smooth, how far out, and what the melody says.
//!
//! Input: a [`Slot`] and a [`Candidate`]. Output: [`Weighed`], and the [`StandIn`] that it becomes. Units: costs in natural-log units; half steps; steps out 0 to 5.
//! Method: costs are added ([`super::costs`]). How far out: one step each for a root outside the key; for a note outside key and original; for
//! three such notes; for guide tones (else two common tones) not kept; for a function that is left. Limits: the neighbours are those of the original.

use super::against::{degrees_over, moves, tensions};
use super::candidates::Candidate;
use super::costs::COSTS as C;
use super::device::Device;
use super::melody::{NoteStanding, SungOver, judge};
use super::relation::{keeps_guide_tones, single_of};
use super::slot::{Job, Slot};
use super::stand_in::{FARTHEST, Kept, Part, Search, StandIn};
use super::tune::{Sung, TuneChord};
use crate::harmony::chord::Chord;
use crate::harmony::function::{Class, fit};
use crate::harmony::pitch::{DegreeSet, PitchClass, PitchSet};
use crate::harmony::progression::best_path::{PathChoice, Taken, step};

/// A candidate with its cost.
pub(crate) struct Weighed {
    pub candidate: Candidate,
    pub cost: f32,
    pub out: u8,
    pub melody: Vec<SungOver>,
}

/// True for devices that lead into the next chord by a dominant of its own.
const fn leads_on(device: Device) -> bool {
    matches!(
        device,
        Device::SecondaryDominant
            | Device::SubstituteSecondary
            | Device::Chain
            | Device::PassingDiminished
    )
}

/// What a device costs in this slot.
fn usage(slot: &Slot, candidate: &Candidate) -> f32 {
    let device = candidate.device;
    let diminished = matches!(slot.class, Class::Diminished | Class::DiminishedMajor);
    let usual = C.usage(device.usage());
    // It leads into the next chord, and the original does not stay before it.
    let into_next = |last: &Chord| {
        device != Device::PassingDiminished
            || slot
                .after
                .is_some_and(|after| after.root.class() == last.root.class().up(1))
    };
    let leaves = !candidate.chords.contains(&slot.original)
        && candidate.chords.last().is_some_and(into_next);
    match (slot.job, device) {
        (_, Device::Backdoor) => usual - C.backdoor_resolves,
        // Over a diminished chord the raised seventh is the nearest colour.
        (_, Device::DiminishedMajorSeventh) if diminished => C.common,
        (Job::Dominant { goal, .. }, Device::DiminishedFamily)
            if candidate.chords[0].root.class() != goal.up(-1) =>
        {
            usual + C.not_from_leading_tone
        }
        (Job::Subdominant | Job::Diminished, _) if leads_on(device) && leaves => {
            usual + C.function_changed
        }
        _ => usual,
    }
}

/// How so many beats are shared: whole beats, the first ones getting what does not divide; less than a beat each is shared evenly.
pub(crate) fn shared(beats: f32, among: usize) -> Vec<f32> {
    let whole = beats.floor() as usize;
    if whole < among || beats.fract() > 0.0 {
        return vec![beats / among as f32; among];
    }
    (0..among)
        .map(|i| (whole / among + usize::from(i < whole % among)) as f32)
        .collect()
}

impl Weighed {
    pub(crate) fn of(
        slot: &Slot,
        place: &TuneChord,
        candidate: Candidate,
        search: &Search,
    ) -> Self {
        let melody = melody_over(&candidate.chords, place);
        let out = how_far_out(slot, &candidate);
        let mut cost = usage(slot, &candidate) + C.rarity * candidate.rarity;
        cost += C.more_chords * (candidate.chords.len() - 1) as f32;
        cost += course(slot, &candidate.chords);
        cost += melody_cost(&melody);
        if let Some(wanted) = search.aim {
            cost += C.too_near * f32::from(wanted.saturating_sub(out));
        }
        Self {
            candidate,
            cost,
            out,
            melody,
        }
    }

    pub(crate) fn told(self, slot: &Slot, place: &TuneChord, forms: Vec<Vec<Chord>>) -> StandIn {
        let over = slot.reference();
        let chords = &self.candidate.chords;
        let part = |chord: Chord, beats: f32| {
            let degrees = degrees_over(&over, &chord, &slot.speller);
            Part {
                chord,
                beats,
                tensions: tensions(&degrees),
                degrees,
            }
        };
        let parts_of = |chords: &[Chord]| -> Vec<Part> {
            let lengths = shared(place.beats, chords.len());
            chords
                .iter()
                .zip(lengths)
                .map(|(&chord, beats)| part(chord, beats))
                .collect()
        };
        let set = |chord: &Chord| chord.pitches();
        let sounding = chords.iter().map(set).fold(PitchSet::EMPTY, |a, b| {
            PitchSet::from_bits(a.bits() | b.bits())
        });
        let common = PitchSet::from_bits(sounding.bits() & slot.original.pitches().bits());
        let spelled = |class: PitchClass| slot.speller.note(class, Some(&slot.original));
        let distance =
            |a: Option<&Chord>, b: Option<&Chord>| Some(moves(a?.pitches(), b?.pitches()));
        StandIn {
            parts: parts_of(chords),
            device: self.candidate.device,
            kept: kept(slot, self.candidate.device),
            over,
            common: common.iter().map(spelled).collect(),
            from_before: distance(slot.before.as_ref(), chords.first()),
            to_after: distance(chords.last(), slot.after.as_ref()),
            out: self.out,
            cost: self.cost,
            melody: self.melody,
            forms: forms.iter().map(|chords| parts_of(chords)).collect(),
        }
    }
}

/// The melody over chords that share a place: each note over each chord that it sounds over.
pub(crate) fn melody_over(chords: &[Chord], place: &TuneChord) -> Vec<SungOver> {
    let mut out = Vec::with_capacity(place.melody.len());
    let mut from = 0.0;
    for (part, (chord, beats)) in chords
        .iter()
        .zip(shared(place.beats, chords.len()))
        .enumerate()
    {
        for note in &place.melody {
            let start = note.at.max(from);
            let lasts = (note.at + note.beats).min(from + beats) - start;
            if lasts > 1e-3 {
                let cut = Sung {
                    at: start,
                    beats: lasts,
                    ..*note
                };
                out.push(judge(cut, part, chord, &place.chord));
            }
        }
        from += beats;
    }
    out
}

/// What collides costs; what the chord explains takes off.
fn melody_cost(melody: &[SungOver]) -> f32 {
    let beats: f32 = melody.iter().map(|n| n.note.beats).sum();
    if beats <= 0.0 {
        return 0.0;
    }
    let explained: f32 = melody
        .iter()
        .filter(|n| matches!(n.standing, NoteStanding::ChordTone(_)))
        .map(|n| n.note.beats)
        .sum();
    let weight: f32 = melody.iter().map(|n| n.weight).sum();
    C.melody * weight - C.explains_melody * explained / beats
}

fn choice(root: PitchClass, degrees: DegreeSet) -> PathChoice {
    PathChoice {
        root,
        degrees,
        class: Class::of(degrees),
        cost: 0.0,
        taken: Taken::Name,
    }
}

/// The root and degrees by which a chord leads on: a fraction of two chords by its lower one.
pub(crate) fn leading(chord: &Chord) -> PathChoice {
    match chord.lower {
        Some((root, degrees)) => choice(root.class(), degrees),
        None => choice(chord.root.class(), chord.degrees),
    }
}

/// The same of a chord in its place: what holds the guide tones of the dominant leads on as that dominant, unless it is one itself.
pub(crate) fn acting(slot: &Slot, chord: &Chord) -> PathChoice {
    const DOMINANT: DegreeSet = DegreeSet::of("1 3 5 b7");
    let own = leading(chord);
    match slot.job {
        Job::Dominant { root, .. }
            if own.class != Class::Dominant && keeps_guide_tones(chord.pitches(), root) =>
        {
            choice(root, DOMINANT)
        }
        // A raised seventh leaves a passing diminished chord what it is.
        Job::Diminished
            if own.class == Class::DiminishedMajor && slot.class == Class::Diminished =>
        {
            leading(&slot.original)
        }
        _ => own,
    }
}

/// What the way from the chord before, through these, to the chord after costs: roots, voices, key, thickness.
fn course(slot: &Slot, chords: &[Chord]) -> f32 {
    let outside = |chord: &Option<Chord>| chord.map(|chord| (chord, leading(&chord)));
    let inside = chords.iter().map(|chord| (*chord, acting(slot, chord)));
    let way: Vec<(Chord, PathChoice)> = outside(&slot.before)
        .into_iter()
        .chain(inside)
        .chain(outside(&slot.after))
        .collect();
    let mut cost: f32 = way.windows(2).map(|pair| between(&pair[0], &pair[1])).sum();
    let thick = |chord: &Chord| chord.pitches().len();
    for chord in chords {
        let single = acting(slot, chord);
        let mut own = C.fit * fit(single.root, single.class, slot.key);
        own += C.thinner * thick(&slot.original).saturating_sub(thick(chord)) as f32;
        own += C.foreign_note
            * (chord.pitches().bits() & !slot.key.pitches().bits()).count_ones() as f32;
        cost += own / chords.len() as f32;
    }
    cost
}

/// What it costs to leave the chord as it is.
pub(crate) fn cost_of_original(slot: &Slot) -> f32 {
    course(slot, &[slot.original]) + C.left_alone
}

/// What it costs to take the first or last tonic of a tune away: that is where a listener knows that it is this tune.
pub(crate) fn cost_of_lost_home(slot: &Slot, stand_in: &StandIn) -> f32 {
    let frames = slot.before.is_none() || slot.after.is_none();
    let tonic = matches!(slot.job, Job::Tonic { .. }) || slot.after.is_none();
    let root = slot.original.root.class();
    let kept = stand_in.chords().all(|chord| chord.root.class() == root);
    if frames && tonic && !kept {
        C.lost_home
    } else {
        0.0
    }
}

/// What one step costs: roots and voices.
pub(crate) fn between(from: &(Chord, PathChoice), to: &(Chord, PathChoice)) -> f32 {
    C.root_motion * step(&from.1, &to.1) + C.half_step * movement(&from.0, &to.0)
}

/// Half steps that four voices would move: the distance a voice, so that thin chords are not smoother for being thin.
fn movement(from: &Chord, to: &Chord) -> f32 {
    let (from, to) = (from.pitches(), to.pitches());
    4.0 * f32::from(moves(from, to)) / from.len().max(to.len()).max(1) as f32
}

fn how_far_out(slot: &Slot, candidate: &Candidate) -> u8 {
    let key = slot.key.pitches().bits();
    let original = slot.original.pitches().bits();
    let stays = candidate.chords.contains(&slot.original);
    let mut out = 0;
    for chord in candidate
        .chords
        .iter()
        .filter(|&chord| *chord != slot.original)
    {
        let single = single_of(chord, 0.0);
        let root = leading(chord).root;
        let foreign = (single.set.bits() & !(key | original)).count_ones();
        let common = (single.set.bits() & original).count_ones();
        let leads_the_place = candidate.chords.last() == Some(chord) && !stays;
        let kept = match slot.job {
            Job::Dominant { root, .. } => {
                keeps_guide_tones(single.set, root) || candidate.device == Device::Suspended
            }
            // What leads to the same dominant prepares it as well.
            Job::BeforeDominant { .. } => common >= 2 || leads_on(candidate.device),
            _ => common >= 2,
        };
        let steps = [
            !slot.key.pitches().contains(root),
            foreign >= 1,
            foreign >= 3,
            leads_the_place && !kept,
            candidate.device == Device::SideSlip,
        ];
        out = out.max(steps.iter().filter(|&&step| step).count() as u8);
    }
    out.min(FARTHEST)
}

fn kept(slot: &Slot, device: Device) -> Kept {
    let named = |root: PitchClass| match slot.after {
        Some(after) if after.root.class() == root => after.root,
        _ => slot.chord(root, const { DegreeSet::of("1 3 5") }).root,
    };
    let next = slot.after.map(|after| Kept::LeadsTo(after.root));
    match (device, slot.job) {
        (Device::SideSlip, _) => Kept::Leaves,
        (Device::DelayedTonic, _) => Kept::Delays,
        (Device::ModalInterchange | Device::Backdoor, Job::Dominant { goal, .. }) => {
            Kept::SubdominantTo(named(goal))
        }
        (Device::ExtendedDominant, _) => Kept::Same,
        (_, Job::Dominant { goal, .. }) => Kept::Dominant(named(goal)),
        (
            Device::SecondaryDominant
            | Device::SubstituteSecondary
            | Device::PassingDiminished
            | Device::Chain
            | Device::DominantOfDiminished,
            _,
        ) => next.unwrap_or(Kept::Same),
        (_, Job::BeforeDominant { dominant }) => Kept::Prepares(named(dominant)),
        (_, Job::Tonic { .. }) => Kept::Tonic,
        (_, Job::Subdominant) => Kept::Subdominant,
        (_, Job::Diminished | Job::Other) => Kept::Same,
    }
}
