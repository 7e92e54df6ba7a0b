//! What stays on the screen: the smoothing policy of the live view, all of it.
//!
//! Input: the listener's [`ChordState`]s and the passing of time. Output: the one answer to show.
//! Units: times in frames at the internal rate.
//! Method: our own, five rules:
//! 1. A chord that was struck anew shows at once, marked provisional.
//! 2. While provisional, its name may change, but never twice within [`PROVISIONAL_HOLD`].
//! 3. Once the listener calls it settled, it shows at once, marked settled.
//! 4. The name of a settled chord changes only if another one holds for [`SETTLED_HOLD`].
//! 5. In silence the keys clear at once; the name stays, marked let go, and clears after [`CLEAR_AFTER`].
//!
//! Limits: how a chord settles is the listener's business; this module only holds what is shown.

use crate::harmony::Naming;
use crate::listener::{ChordNote, ChordState};
use crate::units::{FrameCount, SampleRate};

const fn milliseconds(count: u64) -> FrameCount {
    FrameCount(count * SampleRate::INTERNAL.get() as u64 / 1000)
}

/// Shortest time between two provisional names of one chord: below it, an eye at two metres sees flicker.
pub const PROVISIONAL_HOLD: FrameCount = milliseconds(120);
/// How long another name must hold before it takes the place of a settled one; longer than an ornament.
pub const SETTLED_HOLD: FrameCount = milliseconds(350);
/// How long the last answer stays after the sound has ended.
pub const CLEAR_AFTER: FrameCount = milliseconds(2500);

/// How final the shown answer is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standing {
    /// Said early; may change.
    Provisional,
    /// Final, unless the chord itself changes.
    Settled,
    /// The sound has ended.
    LetGo,
}

/// The answer on the screen.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    /// When the chord was struck: tells one chord from the next.
    pub struck: FrameCount,
    /// The notes it was named from.
    pub notes: Vec<ChordNote>,
    /// Its names and readings.
    pub naming: Naming,
    /// How final it is.
    pub standing: Standing,
    /// When the shown name appeared.
    since: FrameCount,
}

impl Answer {
    /// The best name, as printed; `None` where there is none.
    pub fn best(&self) -> Option<&str> {
        self.naming.names.first().map(|name| name.symbol.as_str())
    }

    fn same_name(&self, other: &Naming) -> bool {
        let label = |naming: &Naming| naming.names.first().map(|name| name.label.clone());
        label(&self.naming) == label(other)
    }
}

/// An answer that waits for its turn.
#[derive(Debug, Clone, PartialEq)]
struct Waiting {
    answer: Answer,
    /// When this name was first heard; it must hold from here on.
    first: FrameCount,
}

/// Holds what is shown.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Settle {
    shown: Option<Answer>,
    waiting: Option<Waiting>,
    silent_since: Option<FrameCount>,
}

impl Settle {
    /// The answer to show now.
    pub fn shown(&self) -> Option<&Answer> {
        self.shown.as_ref()
    }

    /// Takes the listener's opinion of what sounds, and its naming (not looked at where nothing sounds).
    pub fn hear(&mut self, state: &ChordState, naming: Naming) {
        if state.notes.is_empty() {
            self.waiting = None;
            self.silent_since.get_or_insert(state.at);
            if let Some(answer) = &mut self.shown {
                answer.standing = Standing::LetGo;
            }
            return;
        }
        self.silent_since = None;
        let heard = Answer {
            struck: state.start,
            notes: state.notes.clone(),
            naming,
            standing: if state.settled {
                Standing::Settled
            } else {
                Standing::Provisional
            },
            since: state.at,
        };
        match &mut self.shown {
            Some(shown) if shown.struck == heard.struck && shown.standing != Standing::LetGo => {
                if shown.same_name(&heard.naming) {
                    // The same name: notes and odds may be refined at any time, and settled stays settled.
                    let since = shown.since;
                    let settled = shown.standing == Standing::Settled;
                    *shown = Answer { since, ..heard };
                    if settled {
                        shown.standing = Standing::Settled;
                    }
                    self.waiting = None;
                } else if shown.standing == Standing::Provisional
                    && heard.standing == Standing::Settled
                {
                    self.show(heard);
                } else {
                    self.wait(heard);
                    self.tick(state.at);
                }
            }
            _ => self.show(heard),
        }
    }

    /// Names what is shown, and what waits, anew: in another key or style.
    pub fn rename(&mut self, name: impl Fn(&[ChordNote]) -> Naming) {
        for answer in self
            .shown
            .iter_mut()
            .chain(self.waiting.as_mut().map(|waiting| &mut waiting.answer))
        {
            answer.naming = name(&answer.notes);
        }
    }

    /// Time passes.
    pub fn tick(&mut self, now: FrameCount) {
        if let (Some(shown), Some(waiting)) = (&self.shown, &self.waiting) {
            let due = match shown.standing {
                Standing::Settled => waiting.first + SETTLED_HOLD,
                _ => shown.since + PROVISIONAL_HOLD,
            };
            if now >= due {
                let mut answer = waiting.answer.clone();
                answer.since = now;
                self.show(answer);
            }
        }
        if self
            .silent_since
            .is_some_and(|since| now >= since + CLEAR_AFTER)
        {
            self.shown = None;
        }
    }

    fn show(&mut self, answer: Answer) {
        self.shown = Some(answer);
        self.waiting = None;
    }

    fn wait(&mut self, answer: Answer) {
        let first = match &self.waiting {
            Some(waiting) if waiting.answer.same_name(&answer.naming) => waiting.first,
            _ => answer.since,
        };
        self.waiting = Some(Waiting { answer, first });
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chart::document::Certainty;
    use crate::chart::entries::sounding;
    use crate::harmony::{Context, name_chord};
    use crate::units::{MidiNote, Share};

    fn state(start: u64, at: u64, keys: &[u8], settled: bool) -> ChordState {
        let note = |&key| ChordNote {
            midi: MidiNote::new(key).unwrap(),
            strength: Share::ONE,
            confidence: Share::ONE,
            certainty: Certainty::Sure,
        };
        ChordState {
            start: milliseconds(start),
            at: milliseconds(at),
            notes: keys.iter().map(note).collect(),
            settled,
        }
    }

    fn hear(settle: &mut Settle, state: &ChordState) {
        let naming = name_chord(&sounding(&state.notes), &Context::default());
        settle.hear(state, naming);
        settle.tick(state.at);
    }

    fn shown(settle: &Settle) -> Option<(&str, Standing)> {
        settle
            .shown()
            .map(|answer| (answer.best().unwrap_or("-"), answer.standing))
    }

    const D_MINOR_7: &[u8] = &[50, 60, 65, 69];
    const D_MINOR: &[u8] = &[50, 62, 65, 69];
    const G_7: &[u8] = &[43, 59, 62, 65];

    #[test]
    fn a_new_chord_shows_at_once_and_settles_when_the_listener_says_so() {
        let mut settle = Settle::default();
        hear(&mut settle, &state(0, 100, D_MINOR, false));
        assert_eq!(shown(&settle), Some(("Dm", Standing::Provisional)));
        hear(&mut settle, &state(0, 130, D_MINOR_7, true));
        assert_eq!(shown(&settle), Some(("Dm7", Standing::Settled)));
        hear(&mut settle, &state(900, 980, G_7, false));
        assert_eq!(shown(&settle), Some(("G7", Standing::Provisional)));
    }

    #[test]
    fn provisional_names_do_not_change_faster_than_an_eye_can_follow() {
        let mut settle = Settle::default();
        hear(&mut settle, &state(0, 100, D_MINOR, false));
        hear(&mut settle, &state(0, 150, D_MINOR_7, false));
        assert_eq!(shown(&settle), Some(("Dm", Standing::Provisional)));
        settle.tick(milliseconds(220));
        assert_eq!(shown(&settle), Some(("Dm7", Standing::Provisional)));
    }

    #[test]
    fn an_ornament_does_not_rename_a_settled_chord_and_a_real_change_does() {
        let mut settle = Settle::default();
        hear(&mut settle, &state(0, 150, D_MINOR, true));
        hear(&mut settle, &state(0, 500, D_MINOR_7, true));
        hear(&mut settle, &state(0, 700, D_MINOR, true));
        settle.tick(milliseconds(1200));
        assert_eq!(shown(&settle), Some(("Dm", Standing::Settled)));
        hear(&mut settle, &state(0, 1500, D_MINOR_7, true));
        settle.tick(milliseconds(1849));
        assert_eq!(shown(&settle), Some(("Dm", Standing::Settled)));
        settle.tick(milliseconds(1850));
        assert_eq!(shown(&settle), Some(("Dm7", Standing::Settled)));
    }

    #[test]
    fn a_settled_chord_stays_settled_while_the_listener_wavers_over_the_same_name() {
        let mut settle = Settle::default();
        hear(&mut settle, &state(0, 150, D_MINOR_7, true));
        hear(&mut settle, &state(0, 400, D_MINOR_7, false));
        assert_eq!(shown(&settle), Some(("Dm7", Standing::Settled)));
    }

    #[test]
    fn silence_lets_go_and_clears_after_the_stated_time() {
        let mut settle = Settle::default();
        hear(&mut settle, &state(0, 150, D_MINOR_7, true));
        hear(&mut settle, &state(2000, 2000, &[], false));
        assert_eq!(shown(&settle), Some(("Dm7", Standing::LetGo)));
        settle.tick(milliseconds(2000) + CLEAR_AFTER);
        assert_eq!(shown(&settle), None);
    }

    #[test]
    fn the_same_chord_struck_again_after_silence_shows_again() {
        let mut settle = Settle::default();
        hear(&mut settle, &state(0, 150, D_MINOR_7, true));
        hear(&mut settle, &state(2000, 2000, &[], false));
        hear(&mut settle, &state(2500, 2600, D_MINOR_7, false));
        settle.tick(milliseconds(9000));
        assert_eq!(shown(&settle), Some(("Dm7", Standing::Provisional)));
    }
}
