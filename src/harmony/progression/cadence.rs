//! Cadences and two-five-ones in a chain of chosen chords.
//!
//! Input: roots, classes and local keys of the best path. Output: [`Cadence`]s by first chord. Units: chord numbers from 0.
//! Method: root motion and class (Nettles and Graf, 1997, ch. 3; Levine, 1995, ch. 2); a dominant that is present only as a rootless stand-in counts
//! and is marked. Limits: no metre, so half cadences are not told from passing dominants.

use crate::harmony::function::Class;
use crate::harmony::pitch::{Key, Mode, PitchClass, Spelled};
use std::fmt;

/// What kind of close a cadence is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum CadenceKind {
    /// The second degree, its dominant and what that leads to.
    TwoFiveOne,
    /// The dominant and the tonic.
    Authentic,
    /// The dominant on the flat seventh degree and the tonic.
    Backdoor,
    /// The dominant and another chord than the tonic.
    Deceptive,
    /// The second degree and its dominant, without what they lead to.
    TwoFive,
    /// The subdominant and the tonic.
    Plagal,
}

impl CadenceKind {
    /// In words of the trade.
    pub const fn words(self) -> &'static str {
        match self {
            Self::TwoFiveOne => "two-five-one",
            Self::Authentic => "authentic cadence",
            Self::Backdoor => "backdoor cadence",
            Self::Deceptive => "deceptive cadence",
            Self::TwoFive => "two-five",
            Self::Plagal => "plagal cadence",
        }
    }
}

impl fmt::Display for CadenceKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.words())
    }
}

/// A close of a phrase.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Cadence {
    /// What kind of close.
    pub kind: CadenceKind,
    /// The key or tonic it leads to.
    pub to: Key,
    /// Its first chord.
    pub first: usize,
    /// Its last chord.
    pub last: usize,
    /// True if the dominant is there only as a rootless stand-in.
    pub stand_in: bool,
    /// True if the dominant is the substitute a tritone away.
    pub substitute: bool,
}

/// One chosen chord.
#[derive(Debug, Clone, Copy)]
pub(crate) struct PlacedChord {
    pub root: PitchClass,
    pub class: Class,
    pub stand_in: bool,
    pub key: Key,
}

/// Finds all cadences; `places` are the numbers of the chords in the whole progression.
pub(crate) fn cadences(steps: &[PlacedChord], places: &[usize]) -> Vec<Cadence> {
    let mut found = Vec::new();
    for at in 0..steps.len() {
        let dominant = steps[at];
        let before = at.checked_sub(1).map(|i| steps[i]);
        let next = steps.get(at + 1).copied();
        if matches!(dominant.class, Class::Dominant | Class::Suspended) {
            let two = before.filter(|b| {
                let rises = dominant.root.above(b.root);
                matches!(b.class, Class::Minor | Class::HalfDiminished)
                    && (rises == 5 || rises == 11)
            });
            let first = if two.is_some() { at - 1 } else { at };
            let falls = next.map(|n| (n, dominant.root.above(n.root)));
            let substitute = matches!(falls, Some((_, 1)));
            let rests =
                |class: Class| matches!(class, Class::Major | Class::Minor | Class::MinorTonic);
            let kind = match falls {
                Some((n, 7 | 1)) if rests(n.class) && two.is_some() => {
                    Some((CadenceKind::TwoFiveOne, n.root, n.class))
                }
                Some((n, 7 | 1)) if rests(n.class) && n.root == n.key.tonic.class() => {
                    Some((CadenceKind::Authentic, n.root, n.class))
                }
                Some((n, 10)) if n.root == n.key.tonic.class() && n.class == Class::Major => {
                    Some((CadenceKind::Backdoor, n.root, n.class))
                }
                Some((n, 10))
                    if n.class == Class::Minor && dominant.root.above(n.key.tonic.class()) == 7 =>
                {
                    Some((CadenceKind::Deceptive, n.root, n.class))
                }
                Some((n, 11))
                    if n.class == Class::Major && dominant.root.above(n.key.tonic.class()) == 7 =>
                {
                    Some((CadenceKind::Deceptive, n.root, n.class))
                }
                _ if two.is_some() => {
                    Some((CadenceKind::TwoFive, dominant.root.up(5), Class::Major))
                }
                _ => None,
            };
            if let Some((kind, root, class)) = kind {
                let last = if kind == CadenceKind::TwoFive {
                    at
                } else {
                    at + 1
                };
                found.push(cadence(
                    kind,
                    goal(root, class, dominant.key),
                    places[first],
                    places[last],
                    dominant.stand_in,
                    substitute,
                ));
            }
        } else if let Some(n) = next
            && n.root == n.key.tonic.class()
            && n.class.rests(n.key.mode)
            && dominant.root.above(n.root) == 5
            && matches!(
                dominant.class,
                Class::Major | Class::Minor | Class::MinorTonic
            )
        {
            found.push(cadence(
                CadenceKind::Plagal,
                n.key,
                places[at],
                places[at + 1],
                false,
                false,
            ));
        }
    }
    found
}

fn cadence(
    kind: CadenceKind,
    to: Key,
    first: usize,
    last: usize,
    stand_in: bool,
    substitute: bool,
) -> Cadence {
    Cadence {
        kind,
        to,
        first,
        last,
        stand_in,
        substitute,
    }
}

/// The key of the chord that a cadence leads to.
fn goal(root: PitchClass, class: Class, key: Key) -> Key {
    Key {
        tonic: if key.pitches().contains(root) {
            key.spell(root)
        } else {
            Spelled::usual(root)
        },
        mode: if class == Class::Major {
            Mode::Major
        } else {
            Mode::Minor
        },
    }
}
