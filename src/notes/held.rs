//! Chord spans: where the set of held notes stays put.
//!
//! Input: one [`NoteEvidence`] a frame and how strongly each key sounds. Output: [`HeldSet`]s, one after another without a gap.
//! Units: times in analysis frames; costs in natural log-odds.
//! Method: our own, on the best segmentation by dynamic programming (Jackson et al. 2005, with pruned candidates as in
//! Killick, Fearnhead, Eckley 2012). Over a span each key is one of three: held, at rest, or moving. What contradicts a held key or
//! one at rest costs its evidence; a moving key, a passing or melody note, costs [`SpanRules::moving`] a frame, whatever it does;
//! each key takes the cheapest. A new span costs, too. So a passing note does not break a chord and two voices that move together
//! do; high keys, where melodies lie, count less. A chord that is gathered key by key joins into one span.
//!
//! Each of the three costs is a sum over frames, so a span never costs less than its two halves (the least of sums is no less than
//! the sum of the leasts). Two things follow. A piece costs in proportion to its length, so that going on is never free, and chords
//! that follow each other become spans of their own however long the playing lasts. And a span that begins at a border costs, once
//! a border at the present frame is cheaper, never again less than one that begins there: forgetting it loses nothing.
//! Limits: a span is final [`SpanRules::lag`] frames after its end, and what lies further back has no other border; melody notes held
//! for most of a chord count as its own; no span lasts longer than [`LONGEST_SPAN`].

use super::belief::{LogOddsSums, MOST_LOG_ODDS, PARTS};
use crate::notes::NoteEvidence;
use crate::units::{HopIndex, HopSpan, PIANO_KEYS, PianoKey, log_odds};

/// Costs and times of the segmentation, in log-odds and frames; set by reasoning: two voices that move together
/// and stay for half a second make a new chord, one does not.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpanRules {
    /// One frame's evidence for or against a key counts at most this.
    pub most_a_frame: f32,
    /// What a key costs a frame that is neither held nor at rest, but moves.
    pub moving: f32,
    /// A new span costs this.
    pub new_span: f32,
    /// The share of `new_span` that is forgiven where three or more keys are struck at once.
    pub struck_relief: f32,
    /// Frames after which the past is final.
    pub lag: HopSpan,
}

impl Default for SpanRules {
    fn default() -> Self {
        Self {
            most_a_frame: 2.0,
            // a key moves where it departs from what it mostly does for more than a quarter of the time, a beat of a bar
            moving: 0.5,
            new_span: 70.0,
            struck_relief: 0.5,
            lag: HopSpan::new(86),
        }
    }
}

/// No span lasts longer than this many frames (101 minutes): the sums of evidence must not run over within one.
pub const LONGEST_SPAN: HopSpan = HopSpan::new(1 << 18);
/// Keys less probable than this are out of the question.
const LEAST_POSSIBLE: f32 = 0.04;

/// How much a key counts in deciding where a span ends: melodies lie high.
fn weight_of(key: PianoKey) -> f32 {
    let midi = f32::from(key.midi().get());
    (1.0 - (midi - 64.0) / 20.0).clamp(0.35, 1.0)
}

/// A key that is part of a held set.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeldKey {
    /// The key.
    pub key: PianoKey,
    /// Probability over the whole span that it is there.
    pub confidence: f32,
    /// Mean strength over the span.
    pub strength: f32,
}

/// A span in which one set of keys is held; the set may be empty.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct HeldSet {
    /// Its first frame.
    pub start: HopIndex,
    /// The first frame after it.
    pub end: HopIndex,
    /// Its keys, lowest first.
    pub keys: Vec<HeldKey>,
    /// Keys that are likelier not there than there, and yet not out of the question, lowest first.
    pub possible: Vec<HeldKey>,
}

const _: () = assert!(LONGEST_SPAN.get() as f32 * MOST_LOG_ODDS * PARTS < i32::MAX as f32);

/// Evidence summed up over frames, in [`PARTS`].
#[derive(Debug, Clone, PartialEq)]
struct Sums {
    /// Log-odds for each key.
    for_key: [i32; PIANO_KEYS],
    /// Log-odds against each key.
    against: [i32; PIANO_KEYS],
    /// Log-odds of each key, with a wider limit: what a key's membership is decided from.
    log_odds: LogOddsSums,
    strength: [i32; PIANO_KEYS],
}

impl Sums {
    const NOTHING: Self = Self {
        for_key: [0; PIANO_KEYS],
        against: [0; PIANO_KEYS],
        log_odds: LogOddsSums::NOTHING,
        strength: [0; PIANO_KEYS],
    };

    /// Takes one frame more.
    fn add(&mut self, evidence: &NoteEvidence, strength: &[f32; PIANO_KEYS], limit: f32) {
        for (key, (&p, &strength)) in evidence.sounding.iter().zip(strength).enumerate() {
            let log_odds = log_odds(p).clamp(-MOST_LOG_ODDS, MOST_LOG_ODDS);
            let add = |sum: &mut i32, x: f32| *sum = sum.wrapping_add((x * PARTS).round() as i32);
            add(&mut self.for_key[key], log_odds.clamp(0.0, limit));
            add(&mut self.against[key], -log_odds.clamp(-limit, 0.0));
            self.log_odds.add_to(key, log_odds);
            add(&mut self.strength[key], strength);
        }
    }

    /// What a span costs that began when `before` was all there was: for each key the evidence against its being held, that against its
    /// being at rest, or what it costs to be `moving` all the span, whichever is least.
    fn cost_since(&self, before: &Self, moving: f32, weights: &[f32; PIANO_KEYS]) -> f32 {
        // Eight sums side by side, which turn into vector code.
        const LANES: usize = 8;
        const { assert!(PIANO_KEYS.is_multiple_of(LANES)) };
        let mut sums = [0.0; LANES];
        let moving = moving * PARTS;
        for first in (0..PIANO_KEYS).step_by(LANES) {
            for (lane, sum) in sums.iter_mut().enumerate() {
                let key = first + lane;
                let a = self.for_key[key].wrapping_sub(before.for_key[key]) as f32;
                let b = self.against[key].wrapping_sub(before.against[key]) as f32;
                *sum += a.min(b).min(moving) * weights[key];
            }
        }
        sums.iter().sum::<f32>() / PARTS
    }

    /// Fills in the keys of a span at whose start `before` was all there was.
    fn keys_since(&self, before: &Self, span: &mut HeldSet) {
        span.keys.clear();
        span.possible.clear();
        if span.end == span.start {
            return;
        }
        let frames = span.end - span.start;
        let beliefs = self.log_odds.since(&before.log_odds, frames);
        let n = frames.get() as f32 * PARTS;
        for key in PianoKey::all() {
            let strength =
                self.strength[key.index()].wrapping_sub(before.strength[key.index()]) as f32 / n;
            let held = HeldKey {
                key,
                confidence: beliefs.confidence(key),
                strength,
            };
            if held.confidence >= 0.5 {
                span.keys.push(held);
            } else if held.confidence >= LEAST_POSSIBLE {
                span.possible.push(held);
            }
        }
    }
}

/// A frame before which a span may end and the next begin.
#[derive(Debug, Clone)]
struct Border {
    frame: HopIndex,
    /// Cost of the best segmentation up to here.
    cost: f32,
    /// The same until now, if the last span begins here.
    total: f32,
    /// Where the last span of that segmentation begins; `None` where the past is final.
    since: Option<HopIndex>,
    /// What had been heard before it.
    before: Box<Sums>,
    /// False once a span that begins at a younger border is as good for all time to come.
    open: bool,
}

/// Finds the spans as the frames come in.
#[derive(Debug, Clone)]
pub struct SpanFinder {
    rules: SpanRules,
    weights: [f32; PIANO_KEYS],
    /// By frame. The first is where the past is final.
    borders: Vec<Border>,
    frame: HopIndex,
    /// What was heard so far.
    sums: Sums,
    /// Where the last span of the best segmentation begins.
    open_since: HopIndex,
    /// Keys struck in each of the last frames (sum of probabilities).
    struck: [f32; 3],
    /// Memory of borders that are forgotten, for those to come.
    #[expect(
        clippy::vec_box,
        reason = "goes from border to border as it is, without a copy of the sums"
    )]
    spare: Vec<Box<Sums>>,
    /// Frames that [`SpanFinder::close`] looks at.
    path: Vec<HopIndex>,
    possible: Vec<HopIndex>,
}

impl SpanFinder {
    /// A finder that has heard nothing.
    pub fn new(rules: SpanRules) -> Self {
        let mut weights = [0.0; PIANO_KEYS];
        for key in PianoKey::all() {
            weights[key.index()] = weight_of(key);
        }
        let first = Border {
            frame: HopIndex::START,
            cost: 0.0,
            total: 0.0,
            since: None,
            before: Box::new(Sums::NOTHING),
            open: true,
        };
        Self {
            rules,
            weights,
            borders: vec![first],
            frame: HopIndex::START,
            sums: Sums::NOTHING,
            open_since: HopIndex::START,
            struck: [0.0; 3],
            spare: Vec::new(),
            path: Vec::new(),
            possible: Vec::new(),
        }
    }

    /// Takes the next frame and appends the spans that have become final to `closed`.
    pub fn step(
        &mut self,
        evidence: &NoteEvidence,
        strength: &[f32; PIANO_KEYS],
        closed: &mut Vec<HeldSet>,
    ) {
        self.sums.add(evidence, strength, self.rules.most_a_frame);
        self.struck.rotate_left(1);
        self.struck[2] = evidence.onset.iter().filter(|&&p| p > 0.2).sum();
        self.frame += HopSpan::new(1);

        let least = self.find_best_end();
        let struck = self.struck.iter().fold(0.0_f32, |a, &b| a.max(b));
        let relief = self.rules.struck_relief * (struck / 3.0).min(1.0);
        let cost = least + self.rules.new_span * (1.0 - relief);
        self.shut_dearer_than(cost);
        let mut before = self.spare.pop().unwrap_or_else(|| Box::new(Sums::NOTHING));
        before.as_mut().clone_from(&self.sums);
        self.borders.push(Border {
            frame: self.frame,
            cost,
            total: cost,
            since: Some(self.open_since),
            before,
            open: true,
        });
        self.close(self.frame.earlier(self.rules.lag), closed);
    }

    /// Ends the sound: the best segmentation so far is final.
    pub fn finish(&mut self, closed: &mut Vec<HeldSet>) {
        if self.frame == self.borders[0].frame {
            return;
        }
        let mut last = HeldSet::default();
        self.open_span(&mut last);
        self.close(self.frame, closed);
        closed.push(last);
        // sums go on, so that what is asked for later may reach back beyond here
        *self = Self {
            frame: self.frame,
            open_since: self.frame,
            sums: self.sums.clone(),
            ..Self::new(self.rules)
        };
        self.borders[0].frame = self.frame;
        *self.borders[0].before = self.sums.clone();
    }

    /// The log-odds of all frames so far, summed up.
    pub fn heard(&self) -> &LogOddsSums {
        &self.sums.log_odds
    }

    /// Writes the span that lasts until now, by the best segmentation so far, to `span`; it is empty and has no keys before the first frame.
    pub fn open_span(&self, span: &mut HeldSet) {
        (span.start, span.end) = (self.open_since, self.frame);
        self.sums
            .keys_since(&self.border_at(self.open_since).before, span);
    }

    /// The least cost of a segmentation that ends now; notes where its last span begins.
    fn find_best_end(&mut self) -> f32 {
        let (now, moving, weights) = (self.frame, self.rules.moving, &self.weights);
        let mut least = f32::INFINITY;
        for border in self.borders.iter_mut().filter(|border| border.open) {
            let length = now - border.frame;
            border.total = if length <= LONGEST_SPAN {
                let moving = moving * length.get() as f32;
                border.cost + self.sums.cost_since(&border.before, moving, weights)
            } else {
                f32::INFINITY
            };
            if border.total < least {
                (least, self.open_since) = (border.total, border.frame);
            }
        }
        least
    }

    /// Shuts the borders than which one that costs so much now is as good for all time to come. The first stays open, as the past
    /// that is final leads to it alone.
    fn shut_dearer_than(&mut self, cost: f32) {
        for border in self.borders.iter_mut().skip(1) {
            border.open &= border.total <= cost;
        }
    }

    /// The border at a frame of the best segmentation, which keeps its borders.
    fn border_at(&self, frame: HopIndex) -> &Border {
        let index = self
            .borders
            .binary_search_by_key(&frame, |border| border.frame)
            .expect("the best segmentation keeps its borders");
        &self.borders[index]
    }

    /// Makes the best segmentation final up to `until`: appends its spans that have ended, and forgets every border before `until` but
    /// the last of that segmentation, and all that do not lead through that one.
    fn close(&mut self, until: HopIndex, closed: &mut Vec<HeldSet>) {
        let mut path = std::mem::take(&mut self.path);
        self.path_to(self.open_since, &mut path);
        let final_at = path
            .iter()
            .position(|&frame| frame <= until)
            .unwrap_or(path.len() - 1);
        let path_so_far = &path[final_at..];
        for ends in path_so_far.windows(2).rev() {
            let (end, start) = (self.border_at(ends[0]), self.border_at(ends[1]));
            let mut span = HeldSet {
                start: start.frame,
                end: end.frame,
                ..HeldSet::default()
            };
            end.before.keys_since(&start.before, &mut span);
            closed.push(span);
        }
        self.keep_what_leads_through(path_so_far[0], until);
        if path_so_far.len() > 1 {
            self.begin_at_the_first();
        }
        self.path = path;
    }

    /// The borders of the best segmentation whose last span begins at `frame`, newest first.
    fn path_to(&self, frame: HopIndex, path: &mut Vec<HopIndex>) {
        path.clear();
        let mut next = Some(frame);
        while let Some(frame) = next {
            path.push(frame);
            next = self.border_at(frame).since;
        }
    }

    /// Forgets all borders but `last` and those from `until` on whose segmentation has `last` as its last border before `until`.
    fn keep_what_leads_through(&mut self, last: HopIndex, until: HopIndex) {
        let mut possible = std::mem::take(&mut self.possible);
        possible.clear();
        self.forget_but(|border| {
            let leads_through = border.frame == last
                || border.frame >= until && border.since.is_some_and(|at| possible.contains(&at));
            if leads_through {
                possible.push(border.frame);
            }
            leads_through
        });
        self.possible = possible;
    }

    /// The past before the first border is final: costs count from there, so that they stay small however long the sound. A border that
    /// had been shut for the sake of one now forgotten may yet be the best.
    fn begin_at_the_first(&mut self) {
        let base = self.borders[0].cost;
        self.borders[0].since = None;
        for border in &mut self.borders {
            border.cost -= base;
            border.open = true;
        }
    }

    /// Forgets all borders but these, whose order stays, and keeps the memory of the others.
    fn forget_but(&mut self, mut keeps: impl FnMut(&Border) -> bool) {
        let mut kept = 0;
        for at in 0..self.borders.len() {
            if keeps(&self.borders[at]) {
                self.borders.swap(kept, at);
                kept += 1;
            }
        }
        let forgotten = self.borders.drain(kept..).map(|border| border.before);
        self.spare.extend(forgotten);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Feeds `frames` frames in which `keys` sound at 0.95 and all else at 0.02.
    fn hold(finder: &mut SpanFinder, keys: &[u8], frames: usize, closed: &mut Vec<HeldSet>) {
        let mut evidence = NoteEvidence {
            sounding: [0.02; PIANO_KEYS],
            ..NoteEvidence::default()
        };
        for &midi in keys {
            evidence.sounding[usize::from(midi - 21)] = 0.95;
        }
        for _ in 0..frames {
            finder.step(&evidence, &[0.5; PIANO_KEYS], closed);
        }
    }

    fn midi_of(span: &HeldSet) -> Vec<u8> {
        span.keys.iter().map(|held| held.key.midi().get()).collect()
    }

    #[test]
    fn two_chords_and_the_silence_between_are_three_spans_of_the_right_length() {
        let (mut finder, mut closed) = (SpanFinder::new(SpanRules::default()), Vec::new());
        hold(&mut finder, &[48, 59, 64, 67], 60, &mut closed);
        hold(&mut finder, &[], 30, &mut closed);
        hold(&mut finder, &[48, 63, 66, 71], 60, &mut closed);
        finder.finish(&mut closed);
        let found: Vec<_> = closed
            .iter()
            .map(|s| (s.start.get(), s.end.get(), midi_of(s)))
            .collect();
        assert_eq!(
            found,
            [
                (0, 60, vec![48, 59, 64, 67]),
                (60, 90, vec![]),
                (90, 150, vec![48, 63, 66, 71])
            ]
        );
    }

    #[test]
    fn a_melody_note_above_a_held_chord_does_not_break_it() {
        let (mut finder, mut closed) = (SpanFinder::new(SpanRules::default()), Vec::new());
        hold(&mut finder, &[48, 59, 64, 67], 25, &mut closed);
        hold(&mut finder, &[48, 59, 64, 67, 76], 25, &mut closed);
        hold(&mut finder, &[48, 59, 64, 67], 25, &mut closed);
        finder.finish(&mut closed);
        assert_eq!(closed.len(), 1);
        assert_eq!(midi_of(&closed[0]), [48, 59, 64, 67]);
    }

    #[test]
    fn a_rolled_chord_is_gathered_into_one_span() {
        let (mut finder, mut closed) = (SpanFinder::new(SpanRules::default()), Vec::new());
        for n in 1..4 {
            hold(&mut finder, &[43, 53, 59, 64][..n], 4, &mut closed);
        }
        hold(&mut finder, &[43, 53, 59, 64], 60, &mut closed);
        finder.finish(&mut closed);
        assert_eq!(closed.len(), 1);
        assert_eq!(midi_of(&closed[0]), [43, 53, 59, 64]);
    }

    #[test]
    fn hours_of_silence_stay_silent_and_need_no_more_memory_than_a_minute() {
        let (mut finder, mut closed) = (SpanFinder::new(SpanRules::default()), Vec::new());
        hold(&mut finder, &[], 2_600, &mut closed);
        let after_a_minute = finder.borders.len();
        hold(
            &mut finder,
            &[],
            2 * LONGEST_SPAN.get() as usize,
            &mut closed,
        );
        assert!(
            finder.borders.len() <= after_a_minute,
            "{}",
            finder.borders.len()
        );
        finder.finish(&mut closed);
        for span in &closed {
            assert!(span.keys.is_empty() && span.possible.is_empty(), "{span:?}");
            assert!(span.end - span.start <= LONGEST_SPAN);
        }
    }
}
