//! Marks an attempt whose target is known: right, a slip, or unsure.
//!
//! Input: a [`Target`], an [`Attempt`], [`MarkRules`]. Output: a [`Mark`]: its outcome, which keys, what else is worth saying.
//! Units: natural log-odds of a key, the mean over a stretch; seconds.
//! Method: what is expected is weighed against what is believed of each key. A key that has to sound is missing only where its log-odds fall
//! below a bound, and another is extra only where they rise above one; between the bounds the attempt is unsure. A key that can be the
//! ringing of one that is played (an octave, a twelfth above) has to be believed far more strongly to be an extra one, and one that sounded
//! before and was not struck again is none. Where nothing is missing, an extra key has to be believed strongly: talk and noise pass for a weak one. A mark is given over the shortest stretch that is plain, else over the longest there is. The bounds were
//! set on rendered drills (`training/drills.py`, `training/drill_bounds.py`; the tables stand in `training/README.md`): a false "slip" costs more
//! trust than a missed one.
//! Limits: what the listener does not hear at all cannot be weighed; a doubled octave that is played softly is not told.

use super::attempts::{Attempt, Evidence};
use super::target::{Target, Wanted};
use crate::harmony::PitchClass;
use crate::units::{MidiNote, PianoKey, SampleRate, SampleSpan, Seconds};

/// The bounds by which an attempt is marked, in natural log-odds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MarkRules {
    /// A key that has to sound is missing below this.
    pub missing: f32,
    /// It is there above this.
    pub there: f32,
    /// Another key is extra above this, if it was struck.
    pub extra: f32,
    /// Another key that was struck is in doubt above this.
    pub doubted: f32,
    /// Another key is extra above this although no strike of it was heard.
    pub extra_unstruck: f32,
    /// A key that may be the ringing of another is extra above this.
    pub ghost: f32,
    /// Such a key is in doubt above this.
    pub ghost_doubted: f32,
    /// Extra keys beside which nothing is missing are in doubt unless one of them is above this: talk and noise pass for a weak key.
    pub extra_alone: f32,
    /// Over a stretch shorter than [`MarkRules::plain_after`], every bound must be passed by so much more.
    pub early_margin: f32,
    /// Stretches from this length on need no margin.
    pub plain_after: SampleSpan,
    /// No slip is told of a shorter stretch: a key may yet be mended, or rung off.
    pub slip_after: SampleSpan,
}

impl Default for MarkRules {
    fn default() -> Self {
        Self {
            missing: -1.5,
            there: -0.5,
            extra: 1.0,
            doubted: 0.0,
            extra_unstruck: 2.0,
            ghost: 3.0,
            ghost_doubted: 2.0,
            extra_alone: 4.0,
            early_margin: 1.0,
            plain_after: millis(600),
            slip_after: millis(400),
        }
    }
}

const fn millis(ms: u64) -> SampleSpan {
    SampleSpan::new(ms * SampleRate::INTERNAL.get() as u64 / 1000)
}

/// Strikes of one chord further apart than this (70 ms) are not together: melody leads of pianists lie around 30 ms (Goebl, JASA 110, 2001), and of chords
/// that were rendered within 12 ms the listener hears 99.5 % within 41 ms.
const UNEVEN: SampleSpan = millis(70);
/// A chord that is let go sooner than this was held too short to be weighed well.
const SHORT: SampleSpan = millis(350);
/// Overtones that ring along: half steps above a key.
const RINGING: [i16; 7] = [12, 19, 24, 28, 31, 34, 36];

/// What came of an attempt.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Outcome {
    /// What was asked for.
    Right,
    /// Something else; it is known what.
    Slip,
    /// It cannot be told: play it again.
    Unsure,
}

impl Outcome {
    /// All of them.
    pub const ALL: [Outcome; 3] = [Outcome::Right, Outcome::Slip, Outcome::Unsure];

    /// The word for it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Right => "right",
            Self::Slip => "slip",
            Self::Unsure => "unsure",
        }
    }

    /// The outcome of a word.
    pub fn of_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|outcome| outcome.word() == word)
    }
}

/// What was played otherwise.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Slip {
    /// This key did not sound.
    Missing(MidiNote),
    /// This key sounded as well.
    Extra(MidiNote),
    /// One key for another that lies a whole step away at most.
    Instead {
        /// What was asked for.
        wanted: MidiNote,
        /// What sounded.
        played: MidiNote,
    },
    /// The right note in another octave.
    WrongOctave {
        /// What was asked for.
        wanted: MidiNote,
        /// What sounded.
        played: MidiNote,
    },
    /// The right notes over another lowest one.
    Inversion {
        /// The lowest that sounded.
        lowest: MidiNote,
    },
    /// All is right but the highest key.
    TopNote {
        /// What was asked for.
        wanted: MidiNote,
        /// What sounded.
        played: MidiNote,
    },
    /// The same type on another root.
    OtherRoot(PitchClass),
}

impl Slip {
    /// The word of its kind, as the logbook counts it.
    pub const fn word(&self) -> &'static str {
        match self {
            Self::Missing(_) => "missing",
            Self::Extra(_) => "extra",
            Self::Instead { .. } => "neighbour",
            Self::WrongOctave { .. } => "octave",
            Self::Inversion { .. } => "inversion",
            Self::TopNote { .. } => "top note",
            Self::OtherRoot(_) => "other root",
        }
    }
}

/// What else is worth saying of an attempt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Remark {
    /// The first try was a slip, and was mended within a moment.
    Corrected,
    /// It took so long, far longer than this player's others.
    Hesitated(Seconds),
    /// From its first key to its last.
    Uneven(Seconds),
    /// It was let go so soon.
    Short(Seconds),
    /// It would be right, but nobody was prompted and another chord was next: which one was meant cannot be told.
    OutOfTurn,
}

impl Remark {
    /// The word for it.
    pub const fn word(&self) -> &'static str {
        match self {
            Self::Corrected => "corrected",
            Self::Hesitated(_) => "hesitated",
            Self::Uneven(_) => "uneven",
            Self::Short(_) => "short",
            Self::OutOfTurn => "out of turn",
        }
    }
}

/// What is made of one key.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Judged {
    /// Asked for, and there.
    There,
    /// Asked for, and not there.
    Missing,
    /// Not asked for, and there.
    Extra,
    /// It cannot be told.
    Doubted,
}

/// A key that was asked for, or sounded, and what is made of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct JudgedKey {
    /// The key.
    pub key: MidiNote,
    /// True if it was asked for.
    pub wanted: bool,
    /// Natural log-odds that it sounded.
    pub log_odds: f32,
    /// What is made of it.
    pub judged: Judged,
}

/// The mark of one attempt.
#[derive(Debug, Clone, PartialEq)]
pub struct Mark {
    /// Right, slip or unsure.
    pub outcome: Outcome,
    /// What was played otherwise, where it is a slip or was one before it was mended.
    pub slips: Vec<Slip>,
    /// What else is worth saying.
    pub remarks: Vec<Remark>,
    /// The keys by which it was marked, lowest first.
    pub keys: Vec<JudgedKey>,
    /// After the last strike, when it could be told.
    pub after: SampleSpan,
}

impl Mark {
    /// The keys that sounded, lowest first.
    pub fn played(&self) -> impl Iterator<Item = MidiNote> {
        let sounded = |key: &&JudgedKey| {
            matches!(key.judged, Judged::There | Judged::Extra)
                || (key.judged == Judged::Doubted && key.wanted)
        };
        self.keys.iter().filter(sounded).map(|key| key.key)
    }

    /// The keys that were asked for, where they were looked for.
    pub fn wanted(&self) -> impl Iterator<Item = MidiNote> {
        self.keys.iter().filter(|key| key.wanted).map(|key| key.key)
    }

    /// True if it is right at the first try.
    pub fn clean(&self) -> bool {
        self.outcome == Outcome::Right
            && self.slips.is_empty()
            && !self.remarks.contains(&Remark::Corrected)
    }

    /// Right for a chord that was not next, and what follows does not say that it was meant.
    pub fn out_of_turn(&mut self) {
        self.outcome = Outcome::Unsure;
        self.remarks.insert(0, Remark::OutOfTurn);
    }

    /// Adds what took too long.
    pub fn hesitated(&mut self, took: Seconds) {
        self.remarks.push(Remark::Hesitated(took));
    }
}

/// Marks an attempt that is over.
pub fn mark(target: &Target, attempt: &Attempt, rules: &MarkRules) -> Mark {
    mark_early(target, attempt, rules).unwrap_or_else(|| {
        let Some(last) = attempt.heard.last() else {
            return Mark {
                outcome: Outcome::Unsure,
                slips: Vec::new(),
                remarks: remarks(attempt),
                keys: Vec::new(),
                after: SampleSpan::ZERO,
            };
        };
        let weighed = Weighed::new(target, attempt, last, rules);
        weighed.mark(target, attempt, last.after, rules)
    })
}

/// Marks an attempt that lasts, where that is plain already.
pub fn mark_early(target: &Target, attempt: &Attempt, rules: &MarkRules) -> Option<Mark> {
    for heard in &attempt.heard {
        let margin = if heard.after < rules.plain_after {
            rules.early_margin
        } else {
            0.0
        };
        let strict = rules.with_margin(margin);
        let weighed = Weighed::new(target, attempt, heard, &strict);
        let plain = match weighed.outcome() {
            Outcome::Right => true,
            Outcome::Slip => heard.after >= rules.slip_after,
            Outcome::Unsure => false,
        };
        if plain {
            return Some(weighed.mark(target, attempt, heard.after, rules));
        }
    }
    None
}

/// How well an attempt goes with a target, in log-odds summed over keys: each key asked for that is believed counts for it, each that is not, and
/// each other key that was struck, against it. For choosing between targets.
pub fn fit(target: &Target, attempt: &Attempt) -> f32 {
    let Some(heard) = attempt.heard.last() else {
        return 0.0;
    };
    best_placement(target, attempt, heard).1
}

impl MarkRules {
    /// All bounds so much harder to pass: what was plain may be in doubt.
    fn with_margin(&self, margin: f32) -> Self {
        Self {
            missing: self.missing - margin,
            there: self.there + margin,
            extra: self.extra + margin,
            doubted: self.doubted - margin,
            extra_unstruck: self.extra_unstruck + margin,
            ghost: self.ghost + margin,
            ghost_doubted: self.ghost_doubted - 0.5 * margin,
            extra_alone: self.extra_alone + margin,
            ..*self
        }
    }
}

/// Most that one key says for or against a placement.
const MOST_A_KEY: f32 = 3.0;

/// Of placements that go equally well the one nearest to what was struck is meant: so much a half step.
const NEARER: f32 = 0.02;

/// The mean of some keys as MIDI numbers; 0 of none.
fn middle(keys: &[MidiNote]) -> f32 {
    let sum: f32 = keys.iter().map(|key| f32::from(key.get())).sum();
    sum / keys.len().max(1) as f32
}

/// The placement that goes best with what was heard, and how well.
fn best_placement(target: &Target, attempt: &Attempt, heard: &Evidence) -> (Vec<MidiNote>, f32) {
    let said = |key: MidiNote| {
        let index = key.piano_index();
        index.map_or(-MOST_A_KEY, |index| {
            heard.log_odds[index].clamp(-MOST_A_KEY, MOST_A_KEY)
        })
    };
    let against = |wanted: &dyn Fn(MidiNote) -> bool| -> f32 {
        let others = attempt.strikes.iter().map(|strike| strike.key.midi());
        others
            .filter(|&key| !wanted(key))
            .map(|key| said(key).max(0.0))
            .sum()
    };
    let struck: Vec<MidiNote> = attempt.strikes.iter().map(|s| s.key.midi()).collect();
    let struck_about = middle(&struck);
    match &target.wanted {
        Wanted::Shape { .. } => target
            .placements()
            .map(|keys| {
                let own: f32 = keys.iter().map(|&key| said(key)).sum();
                let fit = own - against(&|key| keys.contains(&key));
                let away = NEARER * (middle(&keys) - struck_about).abs();
                (keys, fit - away)
            })
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .unwrap_or_default(),
        Wanted::Classes(set) => {
            // of each pitch class the key that is believed most
            let of_class = |class: PitchClass| {
                let keys = PianoKey::all().map(PianoKey::midi);
                keys.filter(|&key| PitchClass::from(key) == class && in_range(target, key))
                    .max_by(|&a, &b| said(a).total_cmp(&said(b)))
            };
            let mut keys: Vec<MidiNote> = set.iter().filter_map(of_class).collect();
            keys.sort_unstable();
            let own: f32 = keys.iter().map(|&key| said(key)).sum();
            let fit = own - against(&|key| set.contains(PitchClass::from(key)));
            (keys, fit)
        }
    }
}

fn in_range(target: &Target, key: MidiNote) -> bool {
    (target.range.lowest..=target.range.highest).contains(&key)
}

/// Every key of an attempt weighed against a target.
struct Weighed {
    wanted: Vec<MidiNote>,
    keys: Vec<JudgedKey>,
}

impl Weighed {
    fn new(target: &Target, attempt: &Attempt, heard: &Evidence, rules: &MarkRules) -> Self {
        let (wanted, _) = best_placement(target, attempt, heard);
        let odds = |key: MidiNote| {
            key.piano_index()
                .map_or(-6.0, |index| heard.log_odds[index])
        };
        let mut keys: Vec<JudgedKey> = wanted
            .iter()
            .map(|&key| JudgedKey {
                key,
                wanted: true,
                log_odds: odds(key),
                judged: match odds(key) {
                    low if low < rules.missing => Judged::Missing,
                    high if high > rules.there => Judged::There,
                    _ => Judged::Doubted,
                },
            })
            .collect();
        let there: Vec<MidiNote> = PianoKey::all()
            .map(PianoKey::midi)
            .filter(|&key| odds(key) > rules.there)
            .collect();
        let missing: Vec<MidiNote> = keys
            .iter()
            .filter(|key| key.judged == Judged::Missing)
            .map(|key| key.key)
            .collect();
        let around = Around {
            there: &there,
            missing: &missing,
        };
        for key in PianoKey::all() {
            let midi = key.midi();
            if wanted.contains(&midi) || allowed_besides(target, midi) {
                continue;
            }
            if let Some(judged) = judge_other(key, attempt, heard, around, rules) {
                keys.push(JudgedKey {
                    key: midi,
                    wanted: false,
                    log_odds: odds(midi),
                    judged,
                });
            }
        }
        keys.sort_by_key(|key| key.key);
        if missing.is_empty() {
            doubt_weak_extras(&mut keys, rules.extra_alone);
        }
        Self { wanted, keys }
    }

    fn with(&self, judged: Judged) -> impl Iterator<Item = &JudgedKey> {
        self.keys.iter().filter(move |key| key.judged == judged)
    }

    fn outcome(&self) -> Outcome {
        let missing = self.with(Judged::Missing).count();
        if missing + self.with(Judged::Extra).count() > 0 {
            Outcome::Slip
        } else if self.with(Judged::Doubted).count() > 0 {
            Outcome::Unsure
        } else {
            Outcome::Right
        }
    }

    fn mark(
        self,
        target: &Target,
        attempt: &Attempt,
        after: SampleSpan,
        rules: &MarkRules,
    ) -> Mark {
        let mut mark = Mark {
            outcome: self.outcome(),
            slips: Vec::new(),
            remarks: remarks(attempt),
            after,
            keys: Vec::new(),
        };
        if mark.outcome == Outcome::Slip {
            mark.slips = self.slips(target);
            if is_mended(target, attempt, rules) {
                mark.outcome = Outcome::Right;
                mark.remarks.insert(0, Remark::Corrected);
            }
        }
        mark.keys = self.keys;
        mark
    }

    /// What was played otherwise, in the words of a teacher: the whole chord moved or turned before single keys.
    fn slips(&self, target: &Target) -> Vec<Slip> {
        let missing: Vec<MidiNote> = self.with(Judged::Missing).map(|key| key.key).collect();
        let extra: Vec<MidiNote> = self.with(Judged::Extra).map(|key| key.key).collect();
        let mut played: Vec<MidiNote> = self
            .keys
            .iter()
            .filter(|key| {
                key.judged == Judged::Extra || (key.wanted && key.judged != Judged::Missing)
            })
            .map(|key| key.key)
            .collect();
        played.sort_unstable();
        let classes = |keys: &[MidiNote]| {
            let mut classes: Vec<PitchClass> = keys.iter().map(|&key| key.into()).collect();
            classes.sort_unstable();
            classes.dedup();
            classes
        };
        let same_classes = classes(&played) == classes(&self.wanted);
        if let (true, Some(&lowest), Some(&wanted)) = (
            same_classes && !missing.is_empty(),
            played.first(),
            self.wanted.first(),
        ) && PitchClass::from(lowest) != PitchClass::from(wanted)
        {
            return vec![Slip::Inversion { lowest }];
        }
        if missing.len() + extra.len() >= 3
            && let Some(root) = other_root(target, &played)
        {
            return vec![Slip::OtherRoot(root)];
        }
        self.paired(&missing, &extra)
    }

    /// Missing and extra keys, those that belong together as one slip.
    fn paired(&self, missing: &[MidiNote], extra: &[MidiNote]) -> Vec<Slip> {
        let mut extra = extra.to_vec();
        let mut slips = Vec::new();
        let mut take = |which: &dyn Fn(MidiNote) -> bool| {
            let place = extra.iter().position(|&key| which(key))?;
            Some(extra.remove(place))
        };
        let alone = missing.len() == 1;
        for &wanted in missing {
            let octave = |key: MidiNote| (key - wanted).0.rem_euclid(12) == 0;
            let near = |key: MidiNote| (key - wanted).0.abs() <= 2;
            slips.push(if let Some(played) = take(&octave) {
                Slip::WrongOctave { wanted, played }
            } else if let Some(played) = take(&near) {
                if alone && self.wanted.last() == Some(&wanted) {
                    Slip::TopNote { wanted, played }
                } else {
                    Slip::Instead { wanted, played }
                }
            } else {
                Slip::Missing(wanted)
            });
        }
        slips.extend(extra.into_iter().map(Slip::Extra));
        slips
    }
}

/// Keys that may sound beside those that were looked for: a free voicing may double.
fn allowed_besides(target: &Target, key: MidiNote) -> bool {
    match &target.wanted {
        Wanted::Classes(set) => set.contains(PitchClass::from(key)) && in_range(target, key),
        Wanted::Shape { .. } => false,
    }
}

/// What else is known where a key that was not asked for is judged.
#[derive(Clone, Copy)]
struct Around<'a> {
    /// Keys that sound.
    there: &'a [MidiNote],
    /// Keys that were asked for and do not.
    missing: &'a [MidiNote],
}

impl Around<'_> {
    /// True if the key may be no more than the ringing of another, and stands for none that is missing: a slip takes a neighbour or an octave.
    fn rings_along(self, key: MidiNote) -> bool {
        let is = |other: &MidiNote, steps: &[i16]| steps.contains(&(key - *other).0);
        let stands_for =
            |missing: &MidiNote| is(missing, &[-2, -1, 1, 2]) || (key - *missing).0 % 12 == 0;
        self.there.iter().any(|own| is(own, &RINGING)) && !self.missing.iter().any(stands_for)
    }
}

/// What is made of a key that was not asked for; `None` where there is nothing to it.
fn judge_other(
    key: PianoKey,
    attempt: &Attempt,
    heard: &Evidence,
    around: Around<'_>,
    rules: &MarkRules,
) -> Option<Judged> {
    let odds = heard.log_odds[key.index()];
    let struck = attempt.struck(key);
    let sounded_before = attempt.before[key.index()] > rules.there;
    if !struck && sounded_before {
        return None;
    }
    let (extra, doubted) = match (around.rings_along(key.midi()), struck) {
        (true, true) => (rules.ghost, rules.ghost_doubted),
        (true, false) => (rules.ghost.max(rules.extra_unstruck), f32::INFINITY),
        (false, true) => (rules.extra, rules.doubted),
        (false, false) => (rules.extra_unstruck, f32::INFINITY),
    };
    if odds > extra {
        Some(Judged::Extra)
    } else if odds > doubted {
        Some(Judged::Doubted)
    } else {
        None
    }
}

/// Extra keys are in doubt where none of them is believed strongly.
fn doubt_weak_extras(keys: &mut [JudgedKey], bound: f32) {
    let extra = |key: &&mut JudgedKey| key.judged == Judged::Extra;
    if keys
        .iter_mut()
        .filter(extra)
        .all(|key| key.log_odds < bound)
    {
        keys.iter_mut()
            .filter(extra)
            .for_each(|key| key.judged = Judged::Doubted);
    }
}

/// True if single keys that were struck after the slip made it what was asked for.
fn is_mended(target: &Target, attempt: &Attempt, rules: &MarkRules) -> bool {
    attempt.mended.as_ref().is_some_and(|heard| {
        Weighed::new(target, attempt, heard, rules).outcome() == Outcome::Right
    })
}

/// The root on which these keys are exactly what was asked for on another.
fn other_root(target: &Target, played: &[MidiNote]) -> Option<PitchClass> {
    let others = PitchClass::all().filter(|&root| root != target.root());
    others.into_iter().find(|&root| {
        let moved = target.on(root);
        match &moved.wanted {
            Wanted::Shape { .. } => moved.placements().any(|keys| keys == played),
            Wanted::Classes(set) => played
                .iter()
                .map(|&key| PitchClass::from(key))
                .eq(set.iter()),
        }
    })
}

fn remarks(attempt: &Attempt) -> Vec<Remark> {
    let seconds = |span: SampleSpan| span.seconds(SampleRate::INTERNAL);
    let mut remarks = Vec::new();
    if attempt.spread() > UNEVEN {
        remarks.push(Remark::Uneven(seconds(attempt.spread())));
    }
    if attempt.held() < SHORT {
        remarks.push(Remark::Short(seconds(attempt.held())));
    }
    remarks
}

#[cfg(test)]
mod tests {
    use super::super::attempts::Strike;
    use super::super::target::{Form, KeyRange};
    use super::*;
    use crate::units::{PIANO_KEYS, SamplePos};

    /// An attempt in which these keys were struck and are believed so.
    fn attempt(keys: &[(u8, f32)]) -> Attempt {
        let mut log_odds = [-5.0; PIANO_KEYS];
        let mut strikes = Vec::new();
        for &(midi, odds) in keys {
            let key = PianoKey::new(usize::from(midi) - 21).unwrap();
            log_odds[key.index()] = odds;
            if odds > -1.0 {
                strikes.push(Strike {
                    key,
                    at: SamplePos::new(22_050),
                });
            }
        }
        let heard = [250, 400, 600, 900].map(|ms| Evidence {
            after: millis(ms),
            log_odds,
        });
        Attempt {
            start: SamplePos::new(22_050),
            last_strike: SamplePos::new(22_050),
            end: SamplePos::new(60_000),
            strikes,
            later: Vec::new(),
            before: [-6.0; PIANO_KEYS],
            heard: heard.to_vec(),
            mended: None,
        }
    }

    fn target(symbol: &str) -> Target {
        Target::new(symbol.parse().unwrap(), Form::RootPosition, KeyRange::PIANO).unwrap()
    }

    fn marked(symbol: &str, keys: &[(u8, f32)]) -> Mark {
        mark(&target(symbol), &attempt(keys), &MarkRules::default())
    }

    fn note(midi: u8) -> MidiNote {
        MidiNote::new(midi).unwrap()
    }

    fn sure(keys: &[u8]) -> Vec<(u8, f32)> {
        keys.iter().map(|&key| (key, 5.0)).collect()
    }

    #[test]
    fn what_was_asked_for_is_right_in_any_octave_and_at_once() {
        for octave in [0, 12, 24] {
            let keys = sure(&[36 + octave, 39 + octave, 42 + octave, 47 + octave]);
            let mark = marked("Cdim(maj7)", &keys);
            assert_eq!((mark.outcome, mark.slips.len()), (Outcome::Right, 0));
            assert_eq!(mark.after, millis(250));
            assert!(
                mark.played()
                    .map(MidiNote::get)
                    .eq(keys.iter().map(|key| key.0))
            );
        }
    }

    #[test]
    fn slips_are_told_by_the_key_as_a_teacher_would() {
        let slips = |keys: &[u8]| marked("C7", &sure(keys)).slips;
        assert_eq!(slips(&[48, 52, 58]), [Slip::Missing(note(55))]);
        assert_eq!(slips(&[48, 52, 54, 55, 58]), [Slip::Extra(note(54))]);
        assert_eq!(
            slips(&[48, 51, 55, 58]),
            [Slip::Instead {
                wanted: note(52),
                played: note(51)
            }]
        );
        assert_eq!(
            slips(&[48, 52, 55, 59]),
            [Slip::TopNote {
                wanted: note(58),
                played: note(59)
            }]
        );
        assert_eq!(
            slips(&[48, 55, 58, 64]),
            [Slip::WrongOctave {
                wanted: note(52),
                played: note(64)
            }]
        );
        assert_eq!(
            slips(&[52, 55, 58, 60]),
            [Slip::Inversion { lowest: note(52) }]
        );
        assert_eq!(
            slips(&[50, 54, 57, 60]),
            [Slip::OtherRoot(PitchClass::new(2))]
        );
    }

    #[test]
    fn the_ringing_of_an_octave_and_what_lasts_from_before_are_no_slips() {
        let mut ringing = sure(&[48, 52, 55, 58]);
        ringing.push((60, 1.5));
        assert_eq!(marked("C7", &ringing).outcome, Outcome::Right);
        let mut lasting = attempt(&sure(&[48, 52, 55, 58]));
        let key = 62 - 21;
        lasting
            .heard
            .iter_mut()
            .for_each(|heard| heard.log_odds[key] = 4.0);
        lasting.before[key] = 4.0;
        let rules = MarkRules::default();
        assert_eq!(
            mark(&target("C7"), &lasting, &rules).outcome,
            Outcome::Right
        );
        lasting.before[key] = -4.0;
        assert_eq!(
            mark(&target("C7"), &lasting, &rules).slips,
            [Slip::Extra(note(62))]
        );
    }

    #[test]
    fn between_the_bounds_it_is_unsure_and_never_a_slip() {
        let rules = MarkRules::default();
        let mut keys = sure(&[48, 52, 55, 58]);
        keys[2].1 = 0.5 * (rules.missing + rules.there);
        let mark = marked("C7", &keys);
        assert_eq!((mark.outcome, mark.slips.len()), (Outcome::Unsure, 0));
        assert_eq!(mark.after, millis(900), "all there is was listened to");
    }

    #[test]
    fn a_weak_extra_key_beside_a_whole_chord_is_unsure_and_beside_a_missing_one_a_slip() {
        let mut keys = sure(&[48, 52, 55, 58]);
        keys.push((61, 2.6));
        assert_eq!(marked("C7", &keys).outcome, Outcome::Unsure);
        keys[4].1 = 5.5;
        assert_eq!(marked("C7", &keys).slips, [Slip::Extra(note(61))]);
        // the third moved down a half step, played softly
        let moved = [(48, 5.0), (51, 2.6), (55, 5.0), (58, 5.0)];
        let slip = Slip::Instead {
            wanted: note(52),
            played: note(51),
        };
        assert_eq!(marked("C7", &moved).slips, [slip]);
    }

    #[test]
    fn a_slip_that_is_mended_within_a_moment_is_right_and_still_told() {
        let mut mended = attempt(&sure(&[48, 52, 58]));
        let mut log_odds = mended.heard[0].log_odds;
        log_odds[55 - 21] = 5.0;
        mended.mended = Some(Evidence {
            after: millis(450),
            log_odds,
        });
        let mark = mark(&target("C7"), &mended, &MarkRules::default());
        assert_eq!(mark.outcome, Outcome::Right);
        assert_eq!(mark.remarks, [Remark::Corrected]);
        assert_eq!(mark.slips, [Slip::Missing(note(55))]);
        assert!(!mark.clean());
    }

    #[test]
    fn transposing_changes_no_mark() {
        for by in 0..12_u8 {
            let root = PitchClass::new(i32::from(by));
            let moved = target("Cm7").on(root);
            let keys: Vec<u8> = [48, 51, 54, 58].iter().map(|key| key + by).collect();
            let mark = mark(&moved, &attempt(&sure(&keys)), &MarkRules::default());
            let wanted = Slip::Instead {
                wanted: note(55 + by),
                played: note(54 + by),
            };
            assert_eq!(mark.slips, [wanted]);
        }
    }

    #[test]
    fn a_free_voicing_may_double_and_lie_anywhere() {
        let free = Target::new("C7".parse().unwrap(), Form::Free, KeyRange::PIANO).unwrap();
        let rules = MarkRules::default();
        let outcome = |keys: &[u8]| mark(&free, &attempt(&sure(keys)), &rules).outcome;
        assert_eq!(outcome(&[36, 58, 64, 67, 72]), Outcome::Right);
        assert_eq!(outcome(&[36, 58, 64, 67, 73]), Outcome::Slip);
        assert_eq!(outcome(&[36, 58, 67]), Outcome::Slip);
    }
}
