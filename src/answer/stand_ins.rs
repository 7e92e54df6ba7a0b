//! What could stand in the place of the chord that is shown.
//!
//! Input: the answer now, the chords that have ended. Output: the chords of each stand-in, the likeliest first. Units: none.
//! Method: [`nearest`], asked once a chord. Limits: at most `SHOWN`; the chord before is the last that has ended for sure,
//! so right after a change it may be the one before that.

use super::settle::Answer;
use crate::harmony::standins::nearest;
use crate::harmony::{AnalysisOptions, Chord, Naming, Verdict};
use crate::units::SamplePos;

/// Stand-ins that are told of one chord.
const SHOWN: usize = 3;

/// Stand-ins for the chord that is shown.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct StandInsNow {
    /// The chord that has ended last.
    before: Option<Chord>,
    /// The chord they are for, and when it was struck.
    of: Option<(SamplePos, Chord)>,
    found: Vec<Vec<Chord>>,
}

impl StandInsNow {
    /// A chord has ended.
    pub fn ended(&mut self, naming: &Naming) {
        self.before = believed(naming);
    }

    /// From now on for this answer.
    pub fn follow(&mut self, answer: Option<&Answer>, options: AnalysisOptions) {
        let of = answer.and_then(|answer| Some((answer.struck, believed(&answer.naming)?)));
        if of != self.of {
            self.of = of;
            self.found = of.map_or_else(Vec::new, |(_, chord)| self.of_chord(chord, options));
        }
    }

    /// For a chord that was named.
    pub fn of_naming(&self, naming: &Naming, options: AnalysisOptions) -> Vec<Vec<Chord>> {
        believed(naming).map_or_else(Vec::new, |chord| self.of_chord(chord, options))
    }

    /// The chords of each.
    pub fn chords(&self) -> &[Vec<Chord>] {
        &self.found
    }

    fn of_chord(&self, chord: Chord, options: AnalysisOptions) -> Vec<Vec<Chord>> {
        let before = self.before.filter(|before| *before != chord);
        nearest(before, chord, options.key, SHOWN)
    }
}

/// The best name, unless none is good.
fn believed(naming: &Naming) -> Option<Chord> {
    let good = naming.verdict != Verdict::NoGoodName;
    naming.names.first().filter(|_| good).map(|name| name.chord)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::harmony::{Context, Style, name_chord, voicing::typed::Typed};

    fn naming(symbol: &str) -> Naming {
        let typed = Typed::read(&[symbol.to_owned()]).unwrap();
        name_chord(&typed.sounding, &Context::default())
    }

    #[test]
    fn three_stand_ins_are_told_of_a_dominant_and_none_of_a_cluster() {
        let mut now = StandInsNow::default();
        now.ended(&naming("Dm7"));
        let found = now.of_naming(&naming("G7"), AnalysisOptions::default());
        let symbols: Vec<String> = found.iter().map(|c| c[0].symbol(Style::Ascii)).collect();
        assert_eq!(symbols.len(), SHOWN);
        assert!(symbols.contains(&"Db7".to_owned()), "{symbols:?}");
        let cluster = ["C4", "Db4", "D4", "Eb4", "E4"].map(str::to_owned);
        let cluster = Typed::read(&cluster).unwrap().sounding;
        let unnamed = name_chord(&cluster, &Context::default());
        assert!(
            now.of_naming(&unnamed, AnalysisOptions::default())
                .is_empty()
        );
    }
}
