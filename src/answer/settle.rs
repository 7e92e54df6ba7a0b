//! What stays of a live answer: the smoothing policy, all of it.
//!
//! Input: the listener's [`ChordState`]s and [`FrameReport`]s, and with them the passing of time. Output: the one answer to show.
//! Units: times in frames at the internal rate.
//! Method: our own, six rules. A key is in doubt where the last frame neither believes nor disbelieves it, and the chord would be another one
//! with it, or without it: other pitch classes, or another bass. A doubtful octave of what sounds anyway decides nothing.
//! 1. A chord that was struck anew shows, marked provisional, as soon as no key is in doubt ([`IN_DOUBT`]); else once its name has held for
//!    [`SHOW_HOLD`], and after [`SHOW_LATEST`] in any case: keys struck together are not all heard in the same hop, and what is heard
//!    first makes a wrong name.
//! 2. While provisional, the name changes to one that would be shown by the same rule, but never twice within [`PROVISIONAL_HOLD`].
//! 3. Once its keys have held for [`SETTLE_HOLD`] (octaves aside, over the same bass), or its name has, or the listener calls it settled,
//!    it is marked settled, but not while a key is in doubt ([`UNCLEAR`]), however long that takes.
//! 4. The name of a settled chord changes only if another one holds for [`SETTLED_HOLD`], and for [`FADING_HOLD`] where it
//!    is made of keys of the chord alone: strings die away one after the other, and that is no new chord.
//! 5. Struck anew is what sounds after silence; what has a new key and a strike in the last [`STRIKE_RECENT`], not before [`GATHERING`] is
//!    over; and what shares less than half of its keys with the chord that is shown.
//! 6. In silence the keys clear at once; the name stays, marked let go, until the next chord.
//!
//! What is shown is weighed once for each frame, after all that was told of it ([`Settle::catch_up`]).
//!
//! The holds and both doubts were chosen on 390 held chords rendered from single notes of five pianos, clean, in rooms and over phones, for few
//! changes of name and few wrong names called settled (13 of them; some 25 without the doubts); among values of the doubts that did alike
//! there, the held voicings decided with which `make bench-live` measures them.
//! Limits: the keys on the screen do not wait, only names do; a finger lifted from a chord renames it only after [`FADING_HOLD`]; a key that
//! is not heard at all in the first quarter of a second is not in doubt, and a chord that stays doubtful never settles.

use crate::harmony::{InPlace, Name, Naming};
use crate::listener::{ChordNote, ChordState, FrameReport};
use crate::units::{MidiNote, PIANO_KEYS, SamplePos, SampleRate, SampleSpan};

const fn milliseconds(count: u64) -> SampleSpan {
    SampleSpan::new(count * SampleRate::INTERNAL.get() as u64 / 1000)
}

/// From this probability to as much below 1 a key holds a new name back: it is on its way in or out, since few stay there.
pub const IN_DOUBT: f32 = 0.26;
/// The same for calling a name settled.
pub const UNCLEAR: f32 = 0.2;
/// How long a name must hold before it is shown where a key is in doubt: two hops.
pub const SHOW_HOLD: SampleSpan = milliseconds(40);
/// How long the first name of a chord may be kept waiting at most.
pub const SHOW_LATEST: SampleSpan = milliseconds(90);
/// Shortest time between two provisional names of one chord: below it, an eye at two metres sees flicker.
pub const PROVISIONAL_HOLD: SampleSpan = milliseconds(120);
/// How long a name must hold to be called settled: four hops.
pub const SETTLE_HOLD: SampleSpan = milliseconds(80);
/// How long another name must hold before it takes the place of a settled one; longer than an ornament.
pub const SETTLED_HOLD: SampleSpan = milliseconds(350);
/// The same where no key is new.
pub const FADING_HOLD: SampleSpan = milliseconds(1000);
/// How long the keys of one chord may be struck one after the other.
pub const GATHERING: SampleSpan = milliseconds(250);
/// How long after a strike its chord is still looked for.
pub const STRIKE_RECENT: SampleSpan = milliseconds(350);
/// Probability of a strike from which a key counts as struck: low, since a strike alone changes nothing.
const STRUCK: f32 = 0.3;

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
    /// When the chord was first shown: tells one chord from the next.
    pub struck: SamplePos,
    /// When the chord began, as the listener has it.
    pub start: SamplePos,
    /// The notes it was named from.
    pub notes: Vec<ChordNote>,
    /// The notes that it may have as well.
    pub possible: Vec<ChordNote>,
    /// What it does after the chords before.
    pub place: Option<InPlace>,
    /// Its names and readings.
    pub naming: Naming,
    /// How final it is.
    pub standing: Standing,
    /// When the shown name appeared.
    since: SamplePos,
    /// All keys that were heard as part of the chord.
    keys: Keys,
}

impl Answer {
    /// The best name; `None` where there is none.
    pub fn best(&self) -> Option<&Name> {
        self.naming.names.first()
    }

    fn take_from(&mut self, heard: &Pending) {
        self.notes.clone_from(&heard.notes);
        self.possible.clone_from(&heard.possible);
        self.place = heard.place;
        self.naming.clone_from(&heard.naming);
    }

    /// True once it is final and still sounds.
    pub fn is_settled(&self) -> bool {
        self.standing == Standing::Settled
    }

    /// Differs between two answers of another chord, name or standing: when it was struck and when its name appeared.
    pub fn state(&self) -> (SamplePos, SamplePos, Standing) {
        (self.struck, self.since, self.standing)
    }
}

/// A set of keys, a bit for each MIDI number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Keys(u128);

impl Keys {
    fn of(notes: &[ChordNote]) -> Self {
        let bit = |note: &ChordNote| 1 << note.midi.get();
        Self(
            notes
                .iter()
                .map(bit)
                .fold(0, |keys: u128, bit: u128| keys | bit),
        )
    }

    /// True if it would be another chord with this key, or without it where it has it.
    fn hangs_on(self, key: MidiNote) -> bool {
        Self(self.0 ^ 1 << key.get()).chord() != self.chord()
    }

    const fn has(self, key: MidiNote) -> bool {
        self.0 >> key.get() & 1 == 1
    }

    /// The lowest key and all, octaves aside: what a name is made of.
    fn chord(self) -> (u32, u16) {
        let bass = self.0.trailing_zeros() % 12;
        let classes = (0..128)
            .filter(|key| self.0 >> key & 1 == 1)
            .fold(0, |classes: u16, key| classes | 1 << (key % 12));
        (bass, classes)
    }

    const fn with(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    const fn lie_in(self, other: Self) -> bool {
        self.0 & !other.0 == 0
    }

    const fn count(self) -> u32 {
        self.0.count_ones()
    }

    const fn shared_with(self, other: Self) -> u32 {
        (self.0 & other.0).count_ones()
    }
}

/// What is heard now, under the name it has.
#[derive(Debug, Clone, PartialEq)]
struct Pending {
    start: SamplePos,
    notes: Vec<ChordNote>,
    possible: Vec<ChordNote>,
    place: Option<InPlace>,
    naming: Naming,
    keys: Keys,
    /// When this name was first heard; it holds from here on.
    first: SamplePos,
    /// When these keys, octaves aside, were first heard over this bass.
    keys_first: SamplePos,
    /// When what is heard departed from what is shown.
    begun: SamplePos,
    settled: bool,
}

impl Pending {
    /// True if the name has held for so long.
    fn held(&self, hold: SampleSpan, now: SamplePos) -> bool {
        now >= self.first + hold
    }

    /// True if the keys have.
    fn keys_held(&self, hold: SampleSpan, now: SamplePos) -> bool {
        now >= self.keys_first + hold
    }
}

/// Holds what is shown.
#[derive(Debug, Clone, PartialEq)]
pub struct Settle {
    shown: Option<Answer>,
    heard: Option<Pending>,
    /// The time of what was heard last.
    now: SamplePos,
    /// How likely each key sounded in the last frame.
    sounding: [f32; PIANO_KEYS],
    /// When a key was last struck, and how likely each was in the frame before.
    strike: Option<SamplePos>,
    onset_before: [f32; PIANO_KEYS],
}

impl Default for Settle {
    fn default() -> Self {
        Self {
            shown: None,
            heard: None,
            now: SamplePos::START,
            sounding: [0.0; PIANO_KEYS],
            strike: None,
            onset_before: [0.0; PIANO_KEYS],
        }
    }
}

impl Settle {
    /// The answer to show now.
    pub fn shown(&self) -> Option<&Answer> {
        self.shown.as_ref()
    }

    /// Takes the listener's opinion of what sounds, and its place and naming (not looked at where nothing sounds).
    pub fn hear(&mut self, state: &ChordState, named: (Option<InPlace>, Naming)) {
        let (place, naming) = named;
        self.now = state.at;
        if state.notes.is_empty() {
            self.heard = None;
            if let Some(answer) = &mut self.shown {
                answer.standing = Standing::LetGo;
            }
            return;
        }
        let shown = self
            .shown
            .as_ref()
            .filter(|shown| shown.standing != Standing::LetGo);
        let keys = Keys::of(&state.notes);
        let keys_first = match &self.heard {
            Some(heard) if heard.keys.chord() == keys.chord() => heard.keys_first,
            _ => state.at,
        };
        let (first, begun) = match self.heard.take() {
            Some(heard) if same_name(&heard.naming, &naming) => (heard.first, heard.begun),
            Some(heard) if shown.is_none_or(|shown| !same_name(&shown.naming, &heard.naming)) => {
                (state.at, heard.begun)
            }
            _ => (state.at, state.at),
        };
        self.heard = Some(Pending {
            start: state.start,
            notes: state.notes.clone(),
            possible: state.possible.clone(),
            place,
            naming,
            keys,
            first,
            keys_first,
            begun,
            settled: state.settled,
        });
    }

    /// Takes a frame: its strikes, its keys in doubt, and the time. All of the frames before has been heard.
    pub fn frame(&mut self, frame: &FrameReport) {
        self.catch_up();
        self.now = frame.at;
        self.sounding = frame.evidence.sounding;
        let onset = frame.evidence.onset;
        let struck = |key: usize| onset[key] >= STRUCK && self.onset_before[key] < STRUCK;
        if (0..PIANO_KEYS).any(struck) {
            self.strike = Some(frame.at);
        }
        self.onset_before = onset;
    }

    /// Weighs what was heard so far. To be called once all that was told of the last frame has been taken.
    pub fn catch_up(&mut self) {
        self.tick(self.now);
    }

    /// Names what is shown, and what is heard, anew: in another key.
    pub fn rename(
        &mut self,
        name: impl Fn(&[ChordNote], &[ChordNote]) -> (Option<InPlace>, Naming),
    ) {
        if let Some(answer) = &mut self.shown {
            (answer.place, answer.naming) = name(&answer.notes, &answer.possible);
        }
        if let Some(heard) = &mut self.heard {
            (heard.place, heard.naming) = name(&heard.notes, &heard.possible);
        }
    }

    /// Time passes.
    fn tick(&mut self, now: SamplePos) {
        if let Some(heard) = self.heard.take() {
            self.weigh(&heard, now);
            self.heard = Some(heard);
        }
    }

    fn weigh(&mut self, heard: &Pending, now: SamplePos) {
        if self.is_struck_anew(heard, now) {
            self.begin(heard, now);
        } else {
            self.follow(heard, now);
        }
        // Rule 3.
        let provisional = |shown: &Answer| shown.standing == Standing::Provisional;
        if self.shown.as_ref().is_some_and(provisional)
            && self.is_clear(heard, UNCLEAR)
            && let Some(shown) = &mut self.shown
        {
            let same_keys = Keys::of(&shown.notes).chord() == heard.keys.chord();
            let keys_hold = same_keys && (heard.settled || heard.keys_held(SETTLE_HOLD, now));
            let name_holds = same_name(&shown.naming, &heard.naming)
                && (heard.settled || heard.held(SETTLE_HOLD, now));
            if keys_hold || name_holds {
                shown.standing = Standing::Settled;
            }
            if keys_hold && !name_holds {
                // its neighbours have given the same keys another name meanwhile
                shown.take_from(heard);
                shown.since = now;
            }
        }
    }

    /// Rule 1.
    fn begin(&mut self, heard: &Pending, now: SamplePos) {
        if self.may_show(heard, now) || now >= heard.begun + SHOW_LATEST {
            self.shown = Some(Answer {
                struck: now,
                start: heard.start,
                notes: heard.notes.clone(),
                possible: heard.possible.clone(),
                place: heard.place,
                naming: heard.naming.clone(),
                standing: Standing::Provisional,
                since: now,
                keys: heard.keys,
            });
        }
    }

    /// What rules 1 and 2 have in common.
    fn may_show(&self, heard: &Pending, now: SamplePos) -> bool {
        heard.settled || heard.held(SHOW_HOLD, now) || self.is_clear(heard, IN_DOUBT)
    }

    /// True if no key that the chord hangs on is at least `doubt` from being sure of.
    fn is_clear(&self, heard: &Pending, doubt: f32) -> bool {
        (0..PIANO_KEYS).all(|index| {
            let key = MidiNote::from_piano_index(index);
            let belief = self.sounding[index];
            let sure = if heard.keys.has(key) {
                belief > 1.0 - doubt
            } else {
                belief < doubt
            };
            sure || !heard.keys.hangs_on(key)
        })
    }

    /// Rules 2 and 4.
    fn follow(&mut self, heard: &Pending, now: SamplePos) {
        let may_show = self.may_show(heard, now);
        let Some(shown) = &mut self.shown else {
            return;
        };
        let same = same_name(&shown.naming, &heard.naming);
        let due = match shown.standing {
            Standing::Settled if heard.keys.lie_in(shown.keys) => heard.held(FADING_HOLD, now),
            Standing::Settled => heard.held(SETTLED_HOLD, now),
            _ => heard.settled || may_show && now >= shown.since + PROVISIONAL_HOLD,
        };
        if !same && !due {
            return;
        }
        // under the same name, notes and odds may be refined at any time
        shown.keys = match shown.standing {
            Standing::Provisional => shown.keys.with(heard.keys),
            _ if same => shown.keys,
            _ => heard.keys,
        };
        if !same || shown.standing == Standing::Provisional {
            shown.start = heard.start;
        }
        shown.take_from(heard);
        if !same {
            shown.since = now;
        }
    }

    /// Rule 5.
    fn is_struck_anew(&self, heard: &Pending, now: SamplePos) -> bool {
        let Some(shown) = &self.shown else {
            return true;
        };
        let strike = self.strike.is_some_and(|strike| {
            strike > shown.struck + GATHERING && now < strike + STRIKE_RECENT
        });
        shown.standing == Standing::LetGo
            || strike && !heard.keys.lie_in(shown.keys)
            || 2 * heard.keys.shared_with(shown.keys) < heard.keys.count()
    }
}

/// True if the best names say the same.
fn same_name(one: &Naming, other: &Naming) -> bool {
    match (one.names.first(), other.names.first()) {
        (Some(one), Some(other)) => one.says_the_same_as(other),
        (one, other) => one.is_none() && other.is_none(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::answer::names::sounding;
    use crate::harmony::{Context, Style, name_chord};
    use crate::listener::Certainty;
    use crate::notes::NoteEvidence;
    use crate::units::{MidiNote, Share};

    const D_MINOR_7: &[u8] = &[50, 60, 65, 69];
    const D_MINOR: &[u8] = &[50, 62, 65, 69];
    const G_7: &[u8] = &[43, 59, 62, 65];
    const G_13: &[u8] = &[43, 59, 64, 65];
    const C_MAJOR: &[u8] = &[48, 64, 67, 72];

    /// A key that is in doubt where a test says so.
    const DOUBTFUL: u8 = 100;

    /// A listener that hears a frame a millisecond, and tells the policy what the real one tells it.
    #[derive(Default)]
    struct Player {
        settle: Settle,
        now: u64,
        evidence: NoteEvidence,
        in_doubt: bool,
    }

    fn index(key: u8) -> usize {
        usize::from(key - 21)
    }

    impl Player {
        /// From now on some key is in doubt.
        fn in_doubt() -> Self {
            Self {
                in_doubt: true,
                ..Self::default()
            }
        }

        /// The frame at a millisecond, as it comes before what the listener makes of it.
        fn frame(&mut self, at: u64) {
            self.now = at;
            self.settle.frame(&FrameReport {
                at: SamplePos::START + milliseconds(at),
                rms: 0.1,
                evidence: self.evidence.clone(),
                chroma: [0.0; 12],
                a4: None,
            });
        }

        fn hears(&mut self, at: u64, keys: &[u8], settled: bool) -> &mut Self {
            self.waits_until(at.saturating_sub(1));
            self.evidence.sounding = [0.0; PIANO_KEYS];
            keys.iter()
                .for_each(|&key| self.evidence.sounding[index(key)] = 0.9);
            if self.in_doubt {
                self.evidence.sounding[index(DOUBTFUL)] = 0.4;
            }
            self.frame(at);
            let note = |&key| ChordNote {
                midi: MidiNote::new(key).unwrap(),
                strength: Share::ONE,
                confidence: Share::ONE,
                certainty: Certainty::Sure,
            };
            let state = ChordState {
                start: SamplePos::START + milliseconds(at),
                at: SamplePos::START + milliseconds(at),
                notes: keys.iter().map(note).collect(),
                possible: Vec::new(),
                settled,
            };
            let naming = name_chord(&sounding(&state.notes, &[]), &Context::default());
            self.settle.hear(&state, (None, naming));
            self.settle.catch_up();
            self
        }

        /// The strike of a key is heard from one millisecond until before another.
        fn strikes(&mut self, key: u8, from: u64, until: u64) -> &mut Self {
            self.waits_until(from - 1);
            self.evidence.onset[index(key)] = 0.9;
            self.waits_until(until - 1);
            self.evidence.onset[index(key)] = 0.0;
            self
        }

        /// Time passes, a frame a millisecond.
        fn waits_until(&mut self, at: u64) -> &mut Self {
            while self.now < at {
                self.frame(self.now + 1);
                self.settle.catch_up();
            }
            self
        }

        #[track_caller]
        fn shows(&mut self, name: &str, standing: Standing) -> &mut Self {
            let symbol = |best: &Name| best.chord.symbol(Style::default());
            let shown = self.settle.shown().map(|answer| {
                let name = answer.best().map_or_else(|| "-".to_owned(), symbol);
                (name, answer.standing)
            });
            let expected = Some((name.to_owned(), standing));
            assert_eq!(shown, expected, "after {} ms", self.now);
            self
        }

        #[track_caller]
        fn shows_nothing(&mut self) -> &mut Self {
            assert_eq!(self.settle.shown(), None, "after {} ms", self.now);
            self
        }
    }

    use Standing::{LetGo, Provisional, Settled};

    #[test]
    fn a_new_chord_with_no_key_in_doubt_shows_at_once_and_settles_when_its_name_holds() {
        Player::default()
            .hears(100, D_MINOR_7, false)
            .shows("Dm7", Provisional)
            .waits_until(178)
            .shows("Dm7", Provisional)
            .waits_until(181)
            .shows("Dm7", Settled);
    }

    #[test]
    fn while_a_key_is_in_doubt_a_new_chord_shows_once_its_name_holds() {
        Player::in_doubt()
            .hears(100, D_MINOR_7, false)
            .waits_until(138)
            .shows_nothing()
            .waits_until(141)
            .shows("Dm7", Provisional);
    }

    #[test]
    fn a_chord_settles_only_once_no_key_is_in_doubt() {
        let mut player = Player::in_doubt();
        player.hears(100, D_MINOR_7, false).waits_until(2_000);
        player.shows("Dm7", Provisional);
        player.evidence.sounding[index(DOUBTFUL)] = 0.1;
        player.waits_until(2_010).shows("Dm7", Settled);
    }

    #[test]
    fn a_key_of_the_chord_that_is_hardly_believed_is_in_doubt_too() {
        let mut player = Player::default();
        player.hears(100, D_MINOR_7, false);
        player.evidence.sounding[index(60)] = 0.6;
        player.waits_until(1_000).shows("Dm7", Provisional);
        player.evidence.sounding[index(60)] = 0.9;
        player.waits_until(1_010).shows("Dm7", Settled);
    }

    #[test]
    fn a_doubtful_octave_of_what_sounds_decides_nothing_and_one_below_the_bass_does() {
        for (doubtful, standing) in [
            (72, Settled),
            (84, Settled),
            (38, Settled),
            (36, Provisional),
        ] {
            let mut player = Player::default();
            player.hears(100, D_MINOR_7, false);
            player.evidence.sounding[index(doubtful)] = 0.5;
            player.waits_until(1_000).shows("Dm7", standing);
        }
    }

    #[test]
    fn what_is_heard_of_a_chord_before_all_its_keys_is_not_shown() {
        Player::in_doubt()
            .hears(100, &[50, 65], false)
            .hears(115, D_MINOR_7, false)
            .waits_until(153)
            .shows_nothing()
            .waits_until(156)
            .shows("Dm7", Provisional);
    }

    #[test]
    fn an_answer_comes_early_even_if_the_name_does_not_hold() {
        let mut player = Player::in_doubt();
        for at in [100, 130, 160] {
            player.hears(at, D_MINOR, false);
            player.hears(at + 15, D_MINOR_7, false).shows_nothing();
            player.waits_until(at + 29);
        }
        player
            .shows_nothing()
            .waits_until(191)
            .shows("Dm7", Provisional);
    }

    #[test]
    fn what_the_listener_calls_settled_shows_so_at_once() {
        Player::default()
            .hears(100, D_MINOR_7, true)
            .shows("Dm7", Settled)
            .hears(400, D_MINOR_7, false)
            .waits_until(410)
            .shows("Dm7", Settled);
    }

    #[test]
    fn provisional_names_do_not_change_faster_than_an_eye_can_follow() {
        Player::default()
            .hears(100, D_MINOR, false)
            .hears(150, D_MINOR_7, false)
            .waits_until(215)
            .shows("Dm", Provisional)
            .waits_until(222)
            .shows("Dm7", Provisional)
            .waits_until(232)
            .shows("Dm7", Settled);
    }

    #[test]
    fn an_ornament_does_not_rename_a_settled_chord_and_a_real_change_does() {
        Player::default()
            .hears(0, D_MINOR, true)
            .hears(500, D_MINOR_7, true)
            .hears(700, D_MINOR, true)
            .waits_until(1200)
            .shows("Dm", Settled)
            .hears(1500, D_MINOR_7, true)
            .waits_until(1848)
            .shows("Dm", Settled)
            .waits_until(1851)
            .shows("Dm7", Settled);
    }

    #[test]
    fn a_chord_that_dies_away_string_by_string_keeps_its_name_for_a_second() {
        Player::default()
            .hears(0, G_13, true)
            .hears(1000, &[43, 59, 65], true)
            .waits_until(1990)
            .shows("G13", Settled)
            .waits_until(2010)
            .shows("G7", Settled);
    }

    #[test]
    fn a_chord_of_other_keys_is_a_new_chord() {
        Player::default()
            .hears(0, D_MINOR_7, true)
            .hears(1000, C_MAJOR, false)
            .waits_until(1045)
            .shows("C", Provisional)
            .waits_until(1085)
            .shows("C", Settled);
    }

    #[test]
    fn a_chord_that_keeps_half_of_the_keys_is_a_new_chord_if_a_key_was_struck() {
        let mut struck = Player::default();
        struck
            .hears(0, G_7, true)
            .strikes(64, 1000, 1002)
            .hears(1010, G_13, false);
        struck.waits_until(1055).shows("G13", Provisional);
        let mut ornament = Player::default();
        ornament.hears(0, G_7, true).hears(1010, G_13, false);
        ornament.waits_until(1300).shows("G7", Settled);
    }

    #[test]
    fn a_strike_counts_from_where_it_rises_however_long_it_is_heard() {
        // it began with the chord that is shown, so the key that changes later is no new chord
        let mut player = Player::default();
        player.hears(100, G_7, true).strikes(43, 101, 600);
        player.hears(700, G_13, false).waits_until(760);
        player.shows("G7", Settled);
        // struck while it is heard, it is one at once, and its name has held long enough to be settled
        player.strikes(64, 800, 802).waits_until(805);
        player.shows("G13", Settled);
    }

    #[test]
    fn a_key_that_comes_into_doubt_holds_a_new_name_back() {
        let mut sure = Player::default();
        sure.hears(100, D_MINOR_7, false).shows("Dm7", Provisional);
        let mut doubtful = Player::in_doubt();
        doubtful.hears(100, D_MINOR_7, false).shows_nothing();
    }

    #[test]
    fn silence_lets_go_and_the_name_stays_until_the_next_chord() {
        let mut player = Player::default();
        player.hears(0, D_MINOR_7, true).hears(2000, &[], false);
        player
            .shows("Dm7", LetGo)
            .waits_until(4499)
            .shows("Dm7", LetGo);
        player.waits_until(60_000).shows("Dm7", LetGo);
        player
            .hears(60_100, G_7, true)
            .waits_until(60_200)
            .shows("G7", Settled);
    }

    #[test]
    fn the_same_chord_struck_again_after_silence_shows_again() {
        let mut player = Player::default();
        player.hears(0, D_MINOR_7, true).hears(2000, &[], false);
        player.hears(2500, D_MINOR_7, false).waits_until(2545);
        player
            .shows("Dm7", Provisional)
            .waits_until(9000)
            .shows("Dm7", Settled);
    }
}
