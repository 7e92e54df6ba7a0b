//! Readings: what a set of notes stands for, kept apart from what it is called.
//!
//! Input: what sounds, its best name, the context. Output: [`Reading`]s, likeliest first. Units: scores 0 to 1 that add up to 1.
//! Method: each kind below is one function and one entry of `KINDS`. Sources: rootless voicings, upper structures and tritone substitution:
//! Levine, The Jazz Piano Book, 1989, ch. 5, 7, 9 and 14; common-tone, passing and auxiliary diminished chords and the delayed tonic: Nettles and
//! Graf, 1997, and Levine, 1995, ch. 4; the half-whole family: Levine, 1995, ch. 4. Limits: what comes next settles most of it:
//! see [`super::progression`] for the choice in context.

use super::candidates::Heard;
use super::degree::{Degree, DegreeSet};
use super::naming::degree_names;
use super::pitch::{PitchClass, PitchSet};
use super::reading_kinds::{KINDS, TRIADS};
use super::resolution::{DOMINANT, resolve};
use super::speller::Speller;
use super::spelling::Spelled;
use super::symbol::{Chord, Style};
use super::{Context, Reading, Resolution, label};

/// Most readings that are listed.
const MOST_READINGS: usize = 12;

/// What the readings are made from.
pub(crate) struct Scene<'a> {
    pub heard: Heard,
    pub best: Option<Chord>,
    pub speller: &'a Speller,
    pub context: &'a Context,
}

/// A reading before it is written out.
#[derive(Debug, Clone)]
pub(crate) struct Draft {
    pub kind: &'static str,
    /// The chord it stands for.
    pub chord: Chord,
    /// More chords of the same family, roots only.
    pub family: Vec<PitchClass>,
    /// Lower is likelier.
    pub cost: f32,
    /// Where it goes, likeliest first.
    pub targets: [Option<Chord>; 2],
    pub why: Why,
}

/// The reason of a reading, written out only if it is listed.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Why {
    GuideTones,
    Suspended,
    Second,
    ThirdAndTensions,
    SeventhAndTensions,
    TritonePair,
    /// Roots of the major and of the minor triads over the guide tones.
    Upper([PitchSet; 2]),
    TriadOverBass,
    Enriches(PitchClass),
    Delays,
    HalfWhole,
    CommonTone,
    PassingUp,
    PassingDown,
    Auxiliary,
    Rootless,
    Fourths(PitchClass),
}

/// Everything the notes can stand for.
pub(crate) fn readings(
    heard: Heard,
    best: Option<Chord>,
    speller: &Speller,
    context: &Context,
) -> Vec<Reading> {
    let scene = Scene {
        heard,
        best,
        speller,
        context,
    };
    let drafts = drafts(&scene);
    let total: f32 = drafts.iter().map(|d| (-d.cost).exp()).sum();
    drafts
        .into_iter()
        .take(MOST_READINGS)
        .map(|d| write_out(&scene, d, total))
        .collect()
}

/// The readings before they are written out, likeliest first.
pub(crate) fn drafts(scene: &Scene) -> Vec<Draft> {
    let mut drafts = Vec::with_capacity(16);
    for kind in KINDS {
        kind(scene, &mut drafts);
    }
    drafts.sort_by(|a, b| a.cost.total_cmp(&b.cost));
    drafts
}

fn write_out(scene: &Scene, draft: Draft, total: f32) -> Reading {
    let set = scene.heard.set;
    let chord = &draft.chord;
    let root = chord.root.class();
    let relative = set.seen_from(root).bits();
    let heard = |d: &Degree| relative & (1 << d.half_steps()) != 0;
    let tensions = chord
        .degrees
        .iter()
        .filter(|d| (d.is_tension() || d.is_altered()) && heard(d));
    // How the notes were typed tells of the chord they were typed for.
    let own = scene.best.is_some_and(|best| best.root.class() == root);
    let speller = if own {
        *scene.speller
    } else {
        scene.speller.by_function()
    };
    let sounding = speller.notes(set, chord);
    let family = |style| {
        let mut text = String::with_capacity(24);
        for &member in &draft.family {
            if !text.is_empty() {
                text.push(' ');
            }
            Chord::new(scene.speller.root(member, DOMINANT), DOMINANT)
                .write_symbol(&mut text, style);
        }
        text
    };
    let (stands_for, ascii) = if draft.family.len() > 2 {
        (family(scene.context.style), family(Style::Ascii))
    } else {
        (
            chord.symbol(scene.context.style),
            chord.symbol(Style::Ascii),
        )
    };
    Reading {
        kind: draft.kind.into(),
        stands_for,
        ascii,
        label: label::write(chord, chord.degrees.iter().filter(heard).collect()),
        score: (-draft.cost).exp() / total,
        degrees: degree_names(chord, &sounding),
        tensions: tensions.map(|d| d.name().into()).collect(),
        missing: chord
            .degrees
            .iter()
            .filter(|d| !heard(d))
            .map(|d| d.name().into())
            .collect(),
        resolves_to: resolutions(scene, &draft, &sounding),
        why: draft.why.sentence(scene, &speller, &draft),
    }
}

/// The steps from what sounds to the next chords, likeliest first; the chord that does come next is written as it is given.
fn resolutions(
    scene: &Scene,
    draft: &Draft,
    sounding: &[(PitchClass, Spelled)],
) -> Vec<Resolution> {
    let mut targets: Vec<Chord> = draft.targets.iter().flatten().copied().collect();
    if let Some(after) = scene.context.after {
        let before = targets.len();
        targets.retain(|to| to.root.class() != after.root.class());
        if targets.len() < before {
            targets.insert(0, after);
        }
    }
    let rises = matches!(draft.why, Why::PassingUp).then_some(draft.chord.root.class());
    targets
        .into_iter()
        .map(|to| resolve(sounding, to, rises, scene.speller, scene.context))
        .collect()
}

/// The root of an upper structure as the chord below spells it, unless the triad then holds a double accidental: Eb over A7, not D#.
fn triad_root(of_chord: Spelled, triad: DegreeSet) -> Spelled {
    let doubled = triad
        .iter()
        .any(|d| of_chord.degree(d).accidentals().abs() > 1);
    if doubled {
        Spelled::usual(of_chord.class())
    } else {
        of_chord
    }
}

impl Why {
    fn sentence(self, scene: &Scene, speller: &Speller, draft: &Draft) -> String {
        let chord = &draft.chord;
        let style = scene.context.style;
        let at = |degree: Degree| speller.degree(chord.root, degree, chord.degrees);
        let class = |c: PitchClass| speller.note(c, Some(chord));
        match self {
            Why::GuideTones => format!("{} and {} are its third and seventh", at(Degree::THIRD), at(Degree::MINOR_SEVENTH)),
            Why::Suspended => format!("{} stands in place of the third and falls to it", at(Degree::FOURTH)),
            Why::Second => format!("its root rises a fourth to the dominant, its seventh {} falls to the dominant's third", at(Degree::MINOR_SEVENTH)),
            Why::ThirdAndTensions => format!("{} is its third, the other notes are telling tensions", at(Degree::THIRD)),
            Why::SeventhAndTensions => format!("{} is its seventh, the other notes are telling tensions", at(Degree::MINOR_SEVENTH)),
            Why::TritonePair => {
                format!("the tritone {}-{} is third and seventh of both dominants, a tritone apart", at(Degree::THIRD), at(Degree::MINOR_SEVENTH))
            }
            Why::Upper(roots) => {
                let triads: Vec<String> = roots
                    .iter()
                    .zip(TRIADS)
                    .flat_map(|(roots, triad)| roots.iter().map(move |root| (root, triad)))
                    .map(|(root, triad)| Chord::new(triad_root(class(root), triad), triad).symbol(style))
                    .collect();
                let plural = if triads.len() > 1 { "s" } else { "" };
                format!("the triad{plural} {} over the guide tones {} and {}", triads.join(", "), at(Degree::THIRD), at(Degree::MINOR_SEVENTH))
            }
            Why::TriadOverBass => "a complete triad over a bass that does not belong to it".to_owned(),
            Why::Enriches(replaced) => {
                format!("{} stands a whole step above {}, in place of the diminished seventh", class(replaced.up(2)), class(replaced))
            }
            Why::Delays => "the diminished chord on the tonic falls to the tonic: third and fifth rise a half step".to_owned(),
            Why::HalfWhole => "all notes lie in one half-whole diminished scale, whose four dominants lie minor thirds apart".to_owned(),
            Why::CommonTone => "it shares a note with the chord it goes to; the other voices step".to_owned(),
            Why::PassingUp => "its root passes up a half step into the next root".to_owned(),
            Why::PassingDown => "its root passes down a half step into the next root".to_owned(),
            Why::Auxiliary => "it leaves a chord and returns to it over the same root".to_owned(),
            Why::Rootless => "third, seventh and tensions sound, the root is left to the bass".to_owned(),
            Why::Fourths(low) => format!("the notes lie in fourths from {} upwards", class(low)),
        }
    }
}
