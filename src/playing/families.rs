//! Families: the kinds of chord that the search tells apart, and which notes go with each.
//!
//! Input: none. Output: [`FAMILIES`]. Units: shares of the weight of all notes while the chord lasts, by half steps above the root.
//! Method: for each family how the weight of notes lies over the twelve intervals; of the families that pop songs are labelled with, as
//! counted by `training/playing_scenes.py` over `performances.jsonl.gz` (13,000 chords) and rounded, sevenths over triads lowered so that a seventh that is played is named; of the
//! others by the same shares for root, third, fifth and seventh, with the tensions that the quality table gives their qualities.
//! Limits: a family is no name: the whole name is found among its qualities.

use crate::harmony::function::Class;
use crate::harmony::{Degree, DegreeSet};

/// One family of chords.
#[derive(Debug)]
pub(crate) struct Family {
    /// Its plainest chord.
    pub degrees: DegreeSet,
    /// Weight of notes by half steps above the root; any scale.
    pub shares: [f32; 12],
    /// What it costs beside a plain triad, in natural-log units.
    pub rarity: f32,
    /// True if the root is left to a bass that is not there.
    pub rootless: bool,
}

const fn family(degrees: &str, shares: [f32; 12], rarity: f32, rootless: bool) -> Family {
    Family {
        degrees: DegreeSet::of(degrees),
        shares,
        rarity,
        rootless,
    }
}

/// All families.
#[rustfmt::skip]
pub(crate) const FAMILIES: &[Family] = &[
    //                       1    b9   9    b3   3    4    #4   5    b6   6    b7   7
    family("1 3 5",       [270., 10., 78., 10., 205., 50., 14., 235., 10., 62., 14., 24.], 0.0, false),
    family("1 b3 5",      [270., 10., 60., 220., 8., 65., 8., 230., 27., 14., 48., 10.], 0.0, false),
    family("1 2 5",       [266., 6., 205., 20., 25., 40., 10., 214., 10., 49., 36., 35.], 0.8, false),
    family("1 4 5",       [273., 8., 64., 22., 22., 204., 6., 214., 21., 50., 55., 10.], 0.8, false),
    family("1 4 5 b7",    [227., 11., 110., 30., 15., 165., 6., 150., 16., 70., 183., 6.], 0.6, false),
    family("1 3 5 b7",    [220., 15., 90., 20., 170., 35., 35., 150., 22., 80., 185., 10.], 0.4, false),
    family("1 3 5 b7 b9", [200., 90., 10., 70., 175., 12., 60., 90., 75., 50., 185., 10.], 0.8, false),
    family("1 3 5 7",     [215., 8., 100., 8., 190., 16., 35., 180., 10., 90., 8., 177.], 0.4, false),
    family("1 b3 5 b7",   [223., 12., 75., 208., 8., 85., 8., 180., 30., 12., 185., 8.], 0.3, false),
    family("1 b3 b5 b7",  [200., 45., 27., 192., 12., 60., 185., 14., 55., 15., 180., 15.], 0.7, false),
    family("1 b3 b5 bb7", [190., 20., 45., 190., 15., 40., 195., 15., 40., 189., 15., 40.], 1.0, false),
    family("1 b3 b5",     [260., 25., 20., 220., 20., 40., 235., 15., 40., 25., 30., 30.], 2.0, false),
    family("1 3 #5",      [250., 15., 50., 20., 230., 20., 40., 20., 240., 20., 45., 30.], 1.4, false),
    family("1 b3 b5 7",   [220., 15., 40., 200., 15., 25., 200., 15., 40., 40., 10., 190.], 1.0, false),
    family("1 b3 5 7",    [220., 10., 75., 210., 10., 50., 10., 190., 20., 35., 10., 170.], 1.3, false),
    family("1 3 5 6",     [225., 8., 105., 8., 180., 30., 20., 180., 8., 175., 8., 30.], 0.8, false),
    family("1 b3 5 6",    [225., 10., 85., 195., 10., 50., 15., 165., 12., 180., 12., 25.], 0.9, false),
    family("1 3 5 b7",    [15., 20., 130., 25., 240., 20., 40., 90., 30., 140., 255., 10.], 2.5, true),
    family("1 3 5 b7 b9", [15., 130., 10., 60., 240., 12., 60., 60., 110., 60., 255., 10.], 2.8, true),
    family("1 3 5 7",     [20., 8., 160., 8., 250., 10., 40., 180., 10., 90., 8., 230.], 2.8, true),
    family("1 b3 5 b7",   [20., 10., 150., 260., 8., 80., 8., 180., 20., 12., 240., 8.], 2.8, true),
];

/// Kinds of chord as far as their moves go: those with a function, and the others.
pub(crate) const CLASSES: usize = Class::NAMED.len() + 1;

/// A class by number, in the order of their definition.
pub(crate) fn class_number(class: Class) -> usize {
    class as usize
}

impl Family {
    /// What it does, as far as function goes.
    pub(crate) fn class(&self) -> Class {
        Class::of(self.degrees)
    }

    /// Probability of each interval in the bass where the chord begins.
    pub(crate) fn bass_shares(&self) -> [f32; 12] {
        // Of 13,000 labelled chords three in four have their root in the bass, one in fifteen the third or the fifth each.
        const ROOT: f32 = 0.74;
        const CHORD_TONE: f32 = 0.065;
        const FOREIGN: f32 = 0.012;
        let mut shares = [FOREIGN; 12];
        for degree in self.degrees.iter() {
            shares[degree.half_steps() as usize] = if degree.is_tension() {
                FOREIGN
            } else {
                CHORD_TONE
            };
        }
        if self.degrees.contains(Degree::DIMINISHED_SEVENTH) {
            // Its four positions sound alike but for the bass, and all are in use: where it leads tells the root (Piston, Harmony, 1941, ch. 20).
            const ANY: f32 = 0.25;
            for degree in self.degrees.iter() {
                shares[degree.half_steps() as usize] = ANY;
            }
        } else if self.rootless {
            // Rootless left hands rest on third or seventh.
            for degree in self.degrees.iter() {
                if matches!(degree.number(), 3 | 7) {
                    shares[degree.half_steps() as usize] = 0.4;
                }
            }
            shares[0] = FOREIGN;
        } else {
            shares[0] = ROOT;
        }
        shares
    }
}
