//! Weighing candidates: how usual, how smooth, how far out, and what the melody says.
//!
//! Input: a tune, the place of a chord, what the player wishes ([`Wish`]). Output: ranked [`StandIn`]s. Units: costs in natural-log units; half steps; steps out 0 to 5.
//! Method: costs are added ([`super::costs`]); what one device gives is one answer with several forms, so that the first few show different ways. How far out: one step each for a root outside the key; for a note
//! outside key and original; for three such notes; for guide tones (else two common tones) not kept; for a function that is left.
//! Limits: a place at a time; for several at once see [`super::path`].

use super::against::{degrees_over, moves, tensions};
use super::candidates::{Candidate, candidates};
use super::costs::COSTS as C;
use super::device::{Device, Idea};
use super::melody::{NoteStanding, SungOver, judge, rejects};
use super::relation::{keeps_guide_tones, single_of};
use super::slot::{Job, Slot, slots};
use super::tune::{Sung, Tune, TuneChord};
use crate::harmony::chord::Chord;
use crate::harmony::named::NotesByDegree;
use crate::harmony::pitch::{DegreeSet, PitchClass, PitchSet, Spelled};
use crate::harmony::progression::best_path::{PathChoice, step};
use crate::harmony::progression::function::{Class, fit};

/// How far out a stand-in can go at most.
pub const FARTHEST: u8 = 5;
/// Forms told beside the first.
const MOST_FORMS: usize = 4;

/// What the player wishes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Wish {
    /// Answers wanted at most.
    pub most: usize,
    /// How far out to go: nothing beyond is told, and what goes as far comes first; `None` for anything, the usual first.
    pub out_to: Option<u8>,
}

impl Default for Wish {
    fn default() -> Self {
        Self {
            most: 5,
            out_to: None,
        }
    }
}

/// What is searched for: how many answers, how far out at most, and how far out is aimed at.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Search {
    pub most: usize,
    pub bound: Option<u8>,
    pub aim: Option<u8>,
}

impl From<&Wish> for Search {
    fn from(wish: &Wish) -> Self {
        Self {
            most: wish.most,
            bound: wish.out_to,
            aim: wish.out_to,
        }
    }
}

/// What of its function a stand-in keeps.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kept {
    /// It is a dominant of this root.
    Dominant(Spelled),
    /// It comes to this root from the side of the subdominant.
    SubdominantTo(Spelled),
    /// It prepares the dominant on this root.
    Prepares(Spelled),
    /// It is at home.
    Tonic,
    /// It is away from home.
    Subdominant,
    /// It leads into the next chord, on this root.
    LeadsTo(Spelled),
    /// It delays the chord that follows on its root.
    Delays,
    /// It colours what is there.
    Same,
    /// It leaves the function and comes back.
    Leaves,
}

impl Kept {
    /// In words.
    pub fn words(self) -> String {
        match self {
            Self::Dominant(goal) => format!("dominant of {goal}"),
            Self::SubdominantTo(goal) => format!("subdominant minor to {goal}"),
            Self::Prepares(dominant) => format!("prepares {dominant}7"),
            Self::Tonic => "tonic".into(),
            Self::Subdominant => "subdominant".into(),
            Self::LeadsTo(next) => format!("leads to {next}"),
            Self::Delays => "delays the tonic".into(),
            Self::Same => "same function".into(),
            Self::Leaves => "leaves the function and comes back".into(),
        }
    }
}

/// One of the chords that take a place.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// The chord.
    pub chord: Chord,
    /// Beats it lasts.
    pub beats: f32,
    /// Each note with its degree over the original, or over the dominant that the original stands for.
    pub degrees: NotesByDegree,
    /// The tensions among them.
    pub tensions: DegreeSet,
}

/// A stand-in for one chord.
#[derive(Debug, Clone, PartialEq)]
pub struct StandIn {
    /// The chords that take the place, in time; mostly one.
    pub parts: Vec<Part>,
    /// By what device.
    pub device: Device,
    /// What of the function is kept.
    pub kept: Kept,
    /// The chord that degrees are counted from.
    pub over: Chord,
    /// Notes shared with the original, as the stand-in spells them.
    pub common: Vec<Spelled>,
    /// Half steps that the voices move from the chord before; `None` at the start.
    pub from_before: Option<u8>,
    /// Half steps that they move to the chord after; `None` at the end.
    pub to_after: Option<u8>,
    /// How far out it goes, 0 to [`FARTHEST`].
    pub out: u8,
    /// What it costs: lower is likelier to be wanted.
    pub cost: f32,
    /// The melody over it.
    pub melody: Vec<SungOver>,
    /// The same in other forms: other colours, or beside the original where it stands alone.
    pub forms: Vec<Vec<Part>>,
}

impl StandIn {
    /// Its chords.
    pub fn chords(&self) -> impl Iterator<Item = Chord> + '_ {
        self.parts.iter().map(|part| part.chord)
    }

    /// The note that weighs most against it.
    pub fn worst(&self) -> Option<&SungOver> {
        let colliding = self.melody.iter().filter(|n| n.weight > 0.0);
        colliding.max_by(|a, b| a.weight.total_cmp(&b.weight))
    }
}

/// Stand-ins for the chord at a place of the tune, the likeliest first; none where there is no such chord.
///
/// ```
/// use lidprop::harmony::standins::{Tune, Wish, stand_ins};
/// use lidprop::harmony::{Chord, Style};
///
/// let bars = ["Dm7", "G7", "Cmaj7"].map(|symbol| vec![symbol.parse::<Chord>().unwrap()]);
/// let tune = Tune::of_bars(&bars, 4, None).unwrap();
/// let found = stand_ins(&tune, 1, &Wish::default());
/// let substitute = found.iter().find(|s| s.parts[0].chord.symbol(Style::Ascii) == "Db7").unwrap();
/// let tensions: Vec<&str> = substitute.parts[0].tensions.iter().map(|t| t.name()).collect();
/// assert_eq!(tensions, ["b9", "#11"]);
/// ```
pub fn stand_ins(tune: &Tune, at: usize, wish: &Wish) -> Vec<StandIn> {
    judged(tune, at, wish, false)
}

/// What would have been proposed but for the melody, the likeliest first.
pub fn rejected(tune: &Tune, at: usize, wish: &Wish) -> Vec<StandIn> {
    judged(tune, at, wish, true)
}

/// The melody over any chords that would share a place of the tune, and whether it rejects them; `None` where there is no such place.
pub fn over_melody(tune: &Tune, at: usize, chords: &[Chord]) -> Option<(Vec<SungOver>, bool)> {
    let melody = melody_over(chords, tune.chords.get(at)?);
    let refused = rejects(&melody);
    Some((melody, refused))
}

fn judged(tune: &Tune, at: usize, wish: &Wish, rejected: bool) -> Vec<StandIn> {
    let slots = slots(tune);
    let (Some(slot), Some(chord)) = (slots.get(at), tune.chords.get(at)) else {
        return Vec::new();
    };
    ranked(slot, chord, &wish.into(), rejected)
}

/// Ranked stand-ins for one slot: those that the melody lets through, or those that it does not.
pub(crate) fn ranked(
    slot: &Slot,
    chord: &TuneChord,
    search: &Search,
    rejected: bool,
) -> Vec<StandIn> {
    let mut weighed: Vec<Weighed> = candidates(slot, chord.beats)
        .into_iter()
        .map(|candidate| Weighed::of(slot, chord, candidate, search))
        .filter(|w| search.bound.is_none_or(|most| w.out <= most) && rejects(&w.melody) == rejected)
        .collect();
    weighed.sort_by(|a, b| a.cost.total_cmp(&b.cost));
    different_first(join_forms(slot, weighed), search.most)
        .into_iter()
        .map(|(weighed, forms)| weighed.told(slot, chord, forms))
        .collect()
}

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

/// An answer with its other forms.
type Answer = (Weighed, Vec<Vec<Chord>>);

/// What one device gives as one answer, in the order of the likeliest: first its best chords, then the next best on other roots where it is a family,
/// else in other colours, and forms in which the original stays beside it.
fn join_forms(slot: &Slot, sorted: Vec<Weighed>) -> Vec<Answer> {
    let mut answers: Vec<Answer> = Vec::new();
    let new = |chords: &[Chord]| -> Vec<Chord> {
        chords
            .iter()
            .filter(|chord| **chord != slot.original)
            .copied()
            .collect()
    };
    for weighed in sorted {
        let chords = &weighed.candidate.chords;
        let told =
            |(first, forms): &Answer| first.candidate.chords == *chords || forms.contains(chords);
        // By another device the same chords are no other answer.
        if answers.iter().any(told) {
            continue;
        }
        let device = weighed.candidate.device.answers_as();
        let own = new(chords);
        let same_answer = |(first, _): &&mut Answer| {
            let last = |chords: &[Chord]| chords.last().map(|chord| chord.root.class());
            let other = new(&first.candidate.chords);
            let same_roots = other.len() == own.len()
                && other
                    .iter()
                    .zip(&own)
                    .all(|(a, b)| a.root.class() == b.root.class());
            let idea = first.candidate.device.idea();
            // A dominant of the next chord, or a substitute, with its second degree or without.
            let leads_alike = idea == device.idea() && idea == Idea::IntoTheNext
                || device == Device::TritoneSubstitute;
            let one_device = first.candidate.device.answers_as() == device;
            one_device && (device.is_family() || same_roots)
                || leads_alike
                    && (one_device || idea == Idea::IntoTheNext)
                    && last(&other) == last(&own)
        };
        match answers.iter_mut().find(same_answer) {
            Some((first, forms)) => {
                let pair_beside_single = chords.len() > first.candidate.chords.len();
                let alike = forms
                    .iter()
                    .filter(|form| form.len() == chords.len() && new(form).len() == own.len())
                    .count();
                let known = device.is_family() && {
                    let so_far = std::iter::once(&first.candidate.chords).chain(forms.iter());
                    so_far
                        .filter(|form| form.len() == chords.len())
                        .any(|form| same_chord_otherwise_named(&new(form), &own))
                };
                if alike < if pair_beside_single { 1 } else { MOST_FORMS } && !known {
                    forms.push(weighed.candidate.chords);
                }
            }
            None => answers.push((weighed, Vec::new())),
        }
    }
    answers
}

/// True if two new chords hold the same notes, or stand on one root as one class: no two members of a family.
fn same_chord_otherwise_named(a: &[Chord], b: &[Chord]) -> bool {
    let same = |a: &Chord, b: &Chord| {
        let on_one_root =
            a.root.class() == b.root.class() && Class::of(a.degrees) == Class::of(b.degrees);
        a.pitches() == b.pitches() || on_one_root && Class::of(a.degrees) != Class::Suspended
    };
    a.len() == b.len() && a.iter().zip(b).all(|(a, b)| same(a, b))
}

/// The first `most` answers, those of a kind that was given already at a higher price.
fn different_first(mut left: Vec<Answer>, most: usize) -> Vec<Answer> {
    let mut told: Vec<Answer> = Vec::new();
    while told.len() < most && !left.is_empty() {
        let price = |(weighed, _): &Answer| {
            let idea = weighed.candidate.device.idea();
            let given = idea != Idea::OfItsOwn
                && told.iter().any(|(t, _)| t.candidate.device.idea() == idea);
            weighed.cost + if given { C.same_idea } else { 0.0 }
        };
        let Some(best) =
            (0..left.len()).min_by(|&a, &b| price(&left[a]).total_cmp(&price(&left[b])))
        else {
            break;
        };
        told.push(left.remove(best));
    }
    told
}

/// The melody over chords that share a place: each note over each chord that it sounds over.
fn melody_over(chords: &[Chord], place: &TuneChord) -> Vec<SungOver> {
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
        stand_in: false,
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
    let tonic = matches!(slot.job, Job::Tonic { .. });
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
