//! The live screen: what it knows, apart from how it is drawn.
//!
//! Input: the listener's events, meter readings, trouble of the input, presses of keys. Output: the state that
//! [`draw`] turns into a screen, and [`Request`]s for what a view cannot do itself.
//! Units: times in frames at the internal rate; levels in dBFS (a full-scale sine has 0).
//! Method: a plain struct; the same calls in the same order give the same screen, so it is tested without a terminal.
//! Limits: names are worked out here on each change of what sounds; smoothing is that of [`crate::answer::settle`].

mod draw;
mod keys;
mod large;
mod shapes;

pub use draw::draw;
pub use shapes::Shapes;

use crate::answer::settle::{Answer, Settle};
use crate::audio::level::Meter;
use crate::chart::entries::sounding;
use crate::harmony::{Context, Key, Mode, PitchClass, Style, name_chord};
use crate::listener::{ChordNote, ChordSpan, Event, FrameReport};
use crate::units::{FrameCount, Hertz, SampleRate};
use std::collections::VecDeque;

/// Chords of the past that are kept for the strip; more than fit on any screen.
const PAST_CHORDS: usize = 64;
/// How long a notice or a clip mark stays.
const NOTICE_STAYS: FrameCount = FrameCount(4 * SampleRate::INTERNAL.get() as u64);

/// A chord of the past.
#[derive(Debug, Clone, PartialEq)]
pub struct PastChord {
    /// When it was struck.
    pub at: FrameCount,
    /// Its best name, or its notes where it has none.
    pub name: String,
    /// True if the player marked it.
    pub marked: bool,
}

/// What a view cannot do itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Request {
    /// Write the last minute to a file.
    Keep,
    /// End.
    Quit,
}

/// What a key asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Press {
    /// Hold the screen, or let it go on.
    Pause,
    /// Hide answers until asked, or show them always.
    GuessFirst,
    /// Show the hidden answer.
    Show,
    /// Write the last minute to a file.
    Keep,
    /// Mark this moment.
    Mark,
    /// The next style of chord symbols.
    NextStyle,
    /// A fifth up or down in the circle of keys.
    KeyByFifths(i8),
    /// Major or minor.
    OtherMode,
    /// No key.
    NoKey,
    /// Large letters, or small ones.
    Large,
    /// End.
    Quit,
}

/// All that the live screen shows.
#[derive(Debug, Clone, PartialEq)]
pub struct Live {
    input: String,
    now: FrameCount,
    settle: Settle,
    /// The keys that sound now; unlike the name they follow at once.
    keys: Vec<ChordNote>,
    /// Their names, as the chord that they make spells them.
    key_names: Vec<String>,
    chroma: [f32; 12],
    /// Root-mean-square of the last hop, linear.
    rms: f32,
    a4: Option<Hertz>,
    meter: Meter,
    /// Notes are heard anew every so many hops: 1 unless listening falls behind.
    hops: u32,
    clipped_at: Option<FrameCount>,
    past: VecDeque<PastChord>,
    context: Context,
    trouble: Option<String>,
    notice: Option<(String, FrameCount)>,
    mark_next: bool,
    guess_first: bool,
    shown_anyway: Option<FrameCount>,
    large: bool,
    shapes: Shapes,
    /// What was on the screen when it was held.
    held: Option<Box<Live>>,
}

impl Live {
    /// Nothing heard yet from `input`.
    pub fn new(input: impl Into<String>, context: Context) -> Self {
        Self {
            input: input.into(),
            now: FrameCount(0),
            settle: Settle::default(),
            keys: Vec::new(),
            key_names: Vec::new(),
            chroma: [0.0; 12],
            rms: 0.0,
            a4: None,
            meter: Meter::default(),
            hops: 1,
            clipped_at: None,
            past: VecDeque::new(),
            context,
            trouble: None,
            notice: None,
            mark_next: false,
            guess_first: false,
            shown_anyway: None,
            large: false,
            shapes: Shapes::BLOCKS,
            held: None,
        }
    }

    /// The same with large letters from the start.
    pub fn with_large_letters(mut self, large: bool) -> Self {
        self.large = large;
        self
    }

    /// The same drawn from other characters.
    pub fn with_shapes(mut self, shapes: Shapes) -> Self {
        self.shapes = shapes;
        self
    }

    /// The same with answers hidden until asked for.
    pub fn with_guess_first(mut self, guess_first: bool) -> Self {
        self.guess_first = guess_first;
        self
    }

    /// Takes what the listener tells: all of some frames. True if the keys or the answer have changed.
    pub fn hear(&mut self, events: &[Event]) -> bool {
        let answer = |live: &Self| live.settle.shown().map(Answer::state);
        let before = answer(self);
        events.iter().for_each(|event| self.take(event));
        self.settle.catch_up();
        answer(self) != before
            || events
                .iter()
                .any(|event| matches!(event, Event::Sounding(_)))
    }

    fn take(&mut self, event: &Event) {
        match event {
            Event::Frame(frame) => self.frame(frame),
            Event::Sounding(state) => {
                let naming = name_chord(&sounding(&state.notes), &self.context);
                self.keys.clone_from(&state.notes);
                self.key_names.clone_from(&naming.notes);
                self.settle.hear(state, naming);
            }
            Event::Chord(span) => self.past(span),
            Event::Note(_) => {}
        }
    }

    fn frame(&mut self, frame: &FrameReport) {
        self.now = frame.at;
        self.chroma = frame.chroma;
        self.rms = frame.rms;
        self.a4 = frame.a4;
        self.settle.frame(frame);
        if self
            .notice
            .as_ref()
            .is_some_and(|(_, since)| frame.at >= *since + NOTICE_STAYS)
        {
            self.notice = None;
        }
    }

    fn past(&mut self, span: &ChordSpan) {
        let naming = name_chord(&sounding(&span.notes), &self.context);
        let name = match naming.names.first() {
            Some(name) => name.symbol.clone(),
            None => naming.notes.join(" "),
        };
        if self.past.len() == PAST_CHORDS {
            self.past.pop_front();
        }
        self.past.push_back(PastChord {
            at: span.start,
            name,
            marked: std::mem::take(&mut self.mark_next),
        });
    }

    /// Takes what the meters say.
    pub fn measure(&mut self, meter: Meter) {
        if meter.clipped > self.meter.clipped {
            self.clipped_at = Some(self.now);
        }
        self.meter = meter;
    }

    /// Notes are heard anew every so many hops; more than one where the computer is too slow or too busy.
    pub fn keep_pace(&mut self, hops: u32) {
        self.hops = hops;
    }

    /// The input is in trouble (one sentence), or well again.
    pub fn trouble(&mut self, sentence: Option<String>) {
        self.trouble = sentence;
    }

    /// The input that is heard now.
    pub fn listen_to(&mut self, input: impl Into<String>) {
        self.input = input.into();
        self.trouble = None;
    }

    /// Says something for a few seconds.
    pub fn notice(&mut self, sentence: impl Into<String>) {
        let notice = Some((sentence.into(), self.now));
        if let Some(held) = &mut self.held {
            held.notice.clone_from(&notice);
        }
        self.notice = notice;
    }

    /// Does what a key asks for; what the view cannot do is handed back.
    pub fn press(&mut self, press: Press) -> Option<Request> {
        match press {
            Press::Quit => return Some(Request::Quit),
            Press::Keep => return Some(Request::Keep),
            Press::Pause if self.held.is_some() => self.held = None,
            Press::Pause => self.held = Some(Box::new(self.clone())),
            Press::GuessFirst => {
                self.guess_first = !self.guess_first;
                self.shown_anyway = None;
            }
            Press::Show => self.shown_anyway = self.answer().map(|answer| answer.struck),
            Press::Mark => self.mark(),
            Press::NextStyle => {
                let styles = Style::ALL;
                let at = styles
                    .iter()
                    .position(|&style| style == self.context.style)
                    .unwrap_or(0);
                self.name_with(Context {
                    style: styles[(at + 1) % styles.len()],
                    ..self.context.clone()
                });
            }
            Press::KeyByFifths(fifths) => self.name_in(Some(match self.context.key {
                None => Key::usual(PitchClass::new(0), Mode::Major),
                Some(key) => Key::usual(key.tonic.class().up(7 * i32::from(fifths)), key.mode),
            })),
            Press::OtherMode => self.name_in(Some(match self.context.key {
                None => Key::usual(PitchClass::new(9), Mode::Minor),
                Some(key) => Key::usual(key.tonic.class(), other_mode(key.mode)),
            })),
            Press::NoKey => self.name_in(None),
            Press::Large => self.large = !self.large,
        }
        None
    }

    /// Marks the chord that sounds, or the last one where none does.
    fn mark(&mut self) {
        let sounds = !self.keys.is_empty();
        match self.past.back_mut() {
            Some(last) if !sounds => last.marked = true,
            _ => self.mark_next = true,
        }
        self.notice("marked");
    }

    fn name_in(&mut self, key: Option<Key>) {
        self.name_with(Context {
            key,
            ..self.context.clone()
        });
    }

    /// Names from now on with `context`, and what is shown again with it.
    fn name_with(&mut self, context: Context) {
        let rename =
            |settle: &mut Settle| settle.rename(|notes| name_chord(&sounding(notes), &context));
        rename(&mut self.settle);
        if let Some(held) = &mut self.held {
            rename(&mut held.settle);
            held.context = context.clone();
        }
        self.key_names = name_chord(&sounding(&self.keys), &context).notes;
        self.context = context;
    }

    /// The state that is on the screen: this one, or the one that is held.
    fn on_screen(&self) -> &Live {
        self.held.as_deref().unwrap_or(self)
    }

    fn answer(&self) -> Option<&Answer> {
        self.on_screen().settle.shown()
    }

    /// True if the answer must not be seen yet.
    fn hidden(&self) -> bool {
        self.guess_first
            && self
                .answer()
                .is_some_and(|answer| self.shown_anyway != Some(answer.struck))
    }

    /// Level of the last hop in dBFS; `None` in digital silence.
    fn level_dbfs(&self) -> Option<f32> {
        (self.rms > 0.0).then(|| 20.0 * (self.rms * std::f32::consts::SQRT_2).log10())
    }

    /// True while a clip is recent enough to be told.
    fn clips(&self) -> bool {
        self.clipped_at
            .is_some_and(|at| self.now < at + NOTICE_STAYS)
    }
}

fn other_mode(mode: Mode) -> Mode {
    match mode {
        Mode::Major => Mode::Minor,
        Mode::Minor => Mode::Major,
    }
}
