//! The engine: the only place where the stages meet. Live sound and recordings go through it alike.
//!
//! Input: mono samples at [`SampleRate::INTERNAL`], pushed in blocks of any size. Output: [`Event`]s in order of time.
//! Units: times in [`SamplePos`]s at the internal rate, from the first pushed sample.
//! Method: one `step` a hop: spectrum, note evidence, tracks, chord spans. Block sizes change nothing.
//! Limits: a chord is reported closed only once the next one is sure; memory does not grow with the length of the sound. Beliefs can be asked
//! for over the last [`REMEMBERED_SECONDS`](crate::notes::belief::REMEMBERED_SECONDS).

use super::events::{
    Certainty, ChordNote, ChordSpan, ChordState, Event, FrameReport, NoteSpan, StruckKey,
};
use crate::notes::belief::{Beliefs, RecentBeliefs};
use crate::notes::held::{HeldKey, HeldSet, SpanFinder, SpanRules};
use crate::notes::strength::KeyLoudness;
use crate::notes::tracks::{NoteTracker, TrackRules, Tracks};
use crate::notes::{Model, NetworkEstimator, NoteEstimator, NoteEvidence, OwnPianoEstimator};
use crate::piano::PianoProfile;
use crate::spectrum::{Analyser, HOP_SAMPLES, SpectrumFrame, TuningFollower};
use crate::units::{
    Dbfs, Hertz, HopIndex, HopSpan, PIANO_KEYS, PianoKey, SamplePos, SampleRate, SampleSpan, Share,
};
use std::collections::VecDeque;
use std::sync::Arc;

/// How to listen.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ListenerOptions {
    /// Frequency of A4 that the user expects. What is found lies within half a semitone of it.
    pub a4: Option<Hertz>,
    /// Frequency of A4 found beforehand, say by [`crate::spectrum::estimate_a4`] in the first seconds of a recording.
    pub found_a4: Option<Hertz>,
    /// The piano, where its own notes were learned.
    pub piano: Option<Arc<PianoProfile>>,
    /// Judges a moment only once it is known what comes after: for recordings. Events then come some two seconds later, their times the same.
    pub looks_ahead: bool,
}

impl ListenerOptions {
    /// The pitch of A4 around which the piano's is looked for: stated, or as it was when the piano was learned, or 440 Hz.
    pub fn expected_a4(&self) -> Hertz {
        let learned = self.piano.as_ref().map(|piano| piano.a4);
        self.a4.or(learned).unwrap_or(Hertz::CONCERT_A4)
    }
}

/// A frame is judged by what sounds this long before its end: the network was trained so (30 ms).
const LOOK_BACK: u64 = 661;
/// What lies between a moment of the piano and the end of the frame that tells it, in samples.
#[derive(Debug, Clone, Copy)]
struct Lags {
    /// From the fall of a damper to the end of the first frame in which its key is no longer believed.
    damper: u64,
    /// From a strike to the middle of the frames that hear it.
    strike: f64,
    /// From the strike of a chord to the end of the first frame that is taken to be its own: most of its keys must be likelier there than not.
    border: u64,
}

impl Lags {
    /// Of frames that are judged at once: 77, 51 and 95 ms. The network was trained to say 'struck' in the frames that end 30 to 77 ms after a
    /// strike; it judges what sounds 30 ms before the end of a frame, and a string dies away some time after its damper has fallen. Strikes and
    /// dampers were set on clips of practice (`training/README.md`), borders measured on 255 chord changes (nine in ten between 75 and 123 ms).
    const AT_ONCE: Self = Self {
        damper: 1697,
        strike: 1129.0,
        border: 2095,
    };
    /// Of frames that are judged once it is known what comes after: 50, 50 and 95 ms, set in the same way.
    const LATER: Self = Self {
        damper: 1097,
        strike: 1098.0,
        border: 2095,
    };

    /// The end of a note that is no longer believed from this frame on.
    fn of_damper(&self, frame: HopIndex) -> SamplePos {
        sample_of(frame, self.damper)
    }

    /// The border before this frame.
    fn of_border(&self, frame: HopIndex) -> SamplePos {
        sample_of(frame, self.border)
    }

    /// The time at which a key was struck whose strike was heard around an analysis frame.
    fn of_strike(&self, frame: f64) -> SamplePos {
        let end = (frame + 1.0) * HOP_SAMPLES as f64;
        SamplePos::new((end - self.strike).max(0.0).round() as u64)
    }
}

/// Quieter frames (root-mean-square, linear; -94 dBFS) hold no sound at all.
const SILENT_RMS: f32 = 2e-5;
/// Fewer keys are notes, not a chord.
const FEWEST_KEYS: usize = 2;
/// A span must last this many frames (116 ms) to be a chord.
const SHORTEST_CHORD: HopSpan = HopSpan::new(5);
/// A set that has lasted this many frames (186 ms) is settled.
const SETTLED: HopSpan = HopSpan::new(8);
/// From this confidence on a note is sure.
const SURE: f32 = 0.9;
/// From this confidence on a note is likely.
const LIKELY: f32 = 0.6;

/// What is measured of a frame besides its notes.
struct Measured {
    at: SamplePos,
    rms: f32,
    loudness: KeyLoudness,
    a4: Option<Hertz>,
}

/// Hears mono sound at [`SampleRate::INTERNAL`] and tells what sounds.
pub struct Listener {
    position: SamplePos,
    analyser: Analyser,
    follower: TuningFollower,
    /// The pitch stays as it stands.
    holds_pitch: bool,
    lags: Lags,
    estimator: Box<dyn NoteEstimator>,
    tracker: NoteTracker,
    finder: SpanFinder,
    beliefs: RecentBeliefs,
    frame: SpectrumFrame,
    evidence: NoteEvidence,
    loudness: KeyLoudness,
    /// The frames that the estimator has not judged yet.
    waiting: VecDeque<Measured>,
    tracks: Tracks,
    spans: Vec<HeldSet>,
    open_span: HeldSet,
    /// Notes are heard anew once in so many frames.
    every: u32,
    /// Frames since they were.
    heard_before: u32,
    /// What was last said to sound.
    said: Option<(HopIndex, bool, [bool; PIANO_KEYS])>,
}

impl Listener {
    /// The rate at which samples must be pushed.
    pub const RATE: SampleRate = SampleRate::INTERNAL;

    /// Makes a listener with the built-in note model; transforms and buffers are made here.
    pub fn new(options: ListenerOptions) -> Self {
        let model = Model::embedded();
        let estimator: Box<dyn NoteEstimator> = match (&options.piano, options.looks_ahead) {
            (Some(piano), true) => Box::new(OwnPianoEstimator::looking_ahead(&model, piano)),
            (Some(piano), false) => Box::new(OwnPianoEstimator::new(&model, piano)),
            (None, true) => Box::new(NetworkEstimator::looking_ahead(&model)),
            (None, false) => Box::new(NetworkEstimator::new(&model)),
        };
        Self::with_estimator(options, estimator)
    }

    /// Makes a listener that hears notes in another way.
    pub fn with_estimator(options: ListenerOptions, estimator: Box<dyn NoteEstimator>) -> Self {
        let expected = options.expected_a4();
        let follower = match options.found_a4 {
            Some(found) => TuningFollower::starting_from(expected, found),
            None => TuningFollower::new(expected),
        };
        Self {
            position: SamplePos::START,
            analyser: Analyser::new(follower.a4().unwrap_or(expected)),
            follower,
            holds_pitch: false,
            lags: match estimator.delay() {
                0 => Lags::AT_ONCE,
                _ => Lags::LATER,
            },
            estimator,
            tracker: NoteTracker::new(TrackRules::default()),
            finder: SpanFinder::new(SpanRules::default()),
            beliefs: RecentBeliefs::new(),
            frame: SpectrumFrame::default(),
            evidence: NoteEvidence::default(),
            loudness: KeyLoudness::default(),
            waiting: VecDeque::with_capacity(1),
            tracks: Tracks::default(),
            spans: Vec::new(),
            open_span: HeldSet::default(),
            every: 1,
            heard_before: 0,
            said: None,
        }
    }

    /// From now on hears notes anew only in every `frames`-th frame, to save work; between, they are taken to sound on.
    /// Times stay true; a note may be told that much later. A listener that looks ahead hears every frame.
    pub fn hear_every(&mut self, frames: u32) {
        self.every = frames.max(1);
    }

    /// From now on takes the pitch as it stands and no longer follows it: where notes are played one by one over the whole keyboard,
    /// the stretch of bass and treble would carry it along.
    pub fn hold_pitch(&mut self) {
        self.holds_pitch = true;
    }

    /// Hears `samples` (mono, -1 to 1, finite) and appends what they tell to `events`.
    pub fn push(&mut self, mut samples: &[f32], events: &mut Vec<Event>) {
        self.position += SampleSpan::new(samples.len() as u64);
        while self.analyser.next_frame(&mut samples, &mut self.frame) {
            let heard = self.position.get() - samples.len() as u64;
            self.step(SamplePos::new(heard), events);
        }
    }

    /// Ends the sound: closes notes and chords that are still open.
    pub fn finish(&mut self, events: &mut Vec<Event>) {
        while let Some(measured) = self.waiting.pop_front() {
            self.estimator.step_past_end(&mut self.evidence);
            self.hear(&measured, events);
        }
        self.tracker.finish(&mut self.tracks);
        self.finder.finish(&mut self.spans);
        self.tell_struck(events);
        self.tell_ended(events);
    }

    /// What is believed of each key over the time between two positions: over the frames that judge a moment from `from` to before `to`.
    ///
    /// `None` where no frame does so (one comes every [`HOP_SAMPLES`]), where some of them are not heard yet (they come up to 53 ms after
    /// the moment), or lie back further than [`REMEMBERED_SECONDS`](crate::notes::belief::REMEMBERED_SECONDS). Where notes are heard in fewer frames
    /// ([`Listener::hear_every`]), the others repeat what was heard.
    pub fn belief(&self, from: SamplePos, to: SamplePos) -> Option<Beliefs> {
        self.beliefs.over(first_judging(from), first_judging(to))
    }

    /// Frequency of A4 as followed so far; `None` until enough has sounded.
    pub fn a4(&self) -> Option<Hertz> {
        self.follower.a4()
    }

    /// How many more samples complete the next analysis frame; none of them tells anything by itself.
    pub fn until_next_frame(&self) -> SampleSpan {
        self.analyser.until_next_frame()
    }

    /// How many samples were heard.
    pub fn position(&self) -> SamplePos {
        self.position
    }

    /// One analysis frame through all stages.
    fn step(&mut self, at: SamplePos, events: &mut Vec<Event>) {
        if !self.holds_pitch {
            self.follower.step(self.analyser.long_power());
            if let Some(a4) = self.follower.a4() {
                self.analyser.retune(a4);
            }
        }
        self.heard_before += 1;
        let delay = self.estimator.delay();
        if self.heard_before >= self.every || delay > 0 {
            self.heard_before = 0;
            self.estimator.step(&self.frame, &mut self.evidence);
        }
        self.loudness.measure(&self.frame);
        self.waiting.push_back(Measured {
            at,
            rms: self.frame.rms,
            loudness: self.loudness.clone(),
            a4: self.follower.a4(),
        });
        if self.waiting.len() > delay
            && let Some(measured) = self.waiting.pop_front()
        {
            self.hear(&measured, events);
        }
    }

    /// What the evidence at hand, which is that of a frame `measured` before, tells.
    fn hear(&mut self, measured: &Measured, events: &mut Vec<Event>) {
        if measured.rms < SILENT_RMS {
            self.evidence = NoteEvidence::default();
        }
        let loudness = &measured.loudness;
        self.tracker
            .step(&self.evidence, loudness, &mut self.tracks);
        self.finder
            .step(&self.evidence, &loudness.shares, &mut self.spans);
        self.beliefs.push(self.finder.heard());
        events.push(Event::Frame(FrameReport {
            at: measured.at,
            rms: measured.rms,
            chroma: self.evidence.chroma(),
            evidence: self.evidence.clone(),
            a4: measured.a4,
        }));
        self.tell_struck(events);
        self.tell_what_sounds(measured, events);
        self.tell_ended(events);
    }

    fn tell_struck(&mut self, events: &mut Vec<Event>) {
        let lags = self.lags;
        events.extend(self.tracks.struck.drain(..).map(|strike| {
            Event::Struck(StruckKey {
                key: strike.key.midi(),
                at: lags.of_strike(strike.struck),
                probability: Share::clamped(strike.probability),
                level: level_of(strike.power),
            })
        }));
    }

    /// The set of the open span once it has lasted and the keys that sound agree with it; until then, those keys.
    fn tell_what_sounds(&mut self, measured: &Measured, events: &mut Vec<Event>) {
        let sounding = self.tracker.sounding();
        self.finder.open_span(&mut self.open_span);
        let span = &self.open_span;
        let mut held = [false; PIANO_KEYS];
        span.keys
            .iter()
            .for_each(|key| held[key.key.index()] = true);
        let differing = (0..PIANO_KEYS)
            .filter(|&key| held[key] != sounding[key])
            .count();
        let settled = span.end - span.start >= SETTLED && differing < 2;
        let keys = if settled { held } else { sounding };
        let start = match self.said {
            // an early answer keeps its start until the span is there
            Some((start, false, _)) if !settled => start,
            _ if settled => span.start,
            _ => span.end,
        };
        if self
            .said
            .is_some_and(|(_, was, said)| was == settled && said == keys)
        {
            return;
        }
        self.said = Some((start, settled, keys));
        let sounds = PianoKey::all().filter(|key| keys[key.index()]);
        let notes = sounds.map(|key| {
            let of_span = span.keys.iter().find(|held| held.key == key);
            match of_span {
                Some(held) if settled => chord_note(key, held.confidence, held.strength),
                _ => chord_note(
                    key,
                    self.evidence.sounding[key.index()],
                    measured.loudness.shares[key.index()],
                ),
            }
        });
        let possible = span.possible.iter().filter(|_| settled);
        events.push(Event::Sounding(ChordState {
            start: self.lags.of_border(start),
            at: measured.at,
            notes: notes.collect(),
            possible: possible
                .map(|held| chord_note(held.key, held.confidence, held.strength))
                .collect(),
            settled,
        }));
    }

    fn tell_ended(&mut self, events: &mut Vec<Event>) {
        let lags = self.lags;
        events.extend(self.tracks.ended.drain(..).map(|note| {
            Event::Note(NoteSpan {
                note: chord_note(note.key, note.confidence, note.strength),
                start: lags.of_strike(note.struck),
                end: lags.of_damper(note.end).max(lags.of_strike(note.struck)),
                level: level_of(note.power),
            })
        }));
        let chords = self.spans.drain(..).filter(|span| {
            span.keys.len() >= FEWEST_KEYS && span.end - span.start >= SHORTEST_CHORD
        });
        events.extend(chords.map(|span| {
            let notes = |keys: &[HeldKey]| {
                keys.iter()
                    .map(|held| chord_note(held.key, held.confidence, held.strength))
                    .collect()
            };
            Event::Chord(ChordSpan {
                start: lags.of_border(span.start),
                end: lags.of_border(span.end),
                notes: notes(&span.keys),
                possible: notes(&span.possible),
            })
        }));
    }
}

/// The time so many samples before the end of an analysis frame.
fn sample_of(frame: HopIndex, lag: u64) -> SamplePos {
    SamplePos::new(((frame.get() + 1) * HOP_SAMPLES as u64).saturating_sub(lag))
}

/// The first analysis frame that judges a moment at or after this time.
fn first_judging(at: SamplePos) -> HopIndex {
    let end = at
        .get()
        .saturating_add(LOOK_BACK)
        .div_ceil(HOP_SAMPLES as u64);
    HopIndex::new(end - 1)
}

/// The level of this power, in squares of linear amplitude.
fn level_of(power: f32) -> Dbfs {
    Dbfs::from_peak(f64::from(power).sqrt())
}

fn chord_note(key: PianoKey, confidence: f32, strength: f32) -> ChordNote {
    ChordNote {
        midi: key.midi(),
        strength: Share::clamped(strength),
        confidence: Share::clamped(confidence),
        certainty: match confidence {
            c if c >= SURE => Certainty::Sure,
            c if c >= LIKELY => Certainty::Likely,
            _ => Certainty::Inferred,
        },
    }
}
