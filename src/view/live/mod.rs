//! The live screen: what it knows, apart from how it is drawn.
//!
//! Input: the listener's events, meter readings, trouble of the input, presses of keys. Output: the state that
//! `draw` turns into a screen, and [`Request`]s for what a view cannot do itself.
//! Units: times in frames at the internal rate; levels in dBFS (a full-scale sine has 0).
//! Method: a plain struct; the same calls in the same order give the same screen, so it is tested without a terminal.
//! Limits: names and their smoothing are those of [`crate::answer`].

mod draw;
mod keys;
pub(super) mod large;
mod shapes;

pub use draw::draw;
pub(super) use draw::wrapped;
pub use shapes::Shapes;

use crate::answer::settle::Answer;
use crate::answer::{Answers, StandInsNow};
use crate::audio::level::Meter;
use crate::chart::marked::Marked;
use crate::chart::recording::Wording;
use crate::chart::written;
use crate::harmony::{AnalysisOptions, Key, Mode, Naming, PitchClass, Style};
use crate::listener::{Event, FrameReport};
use crate::units::{Dbfs, Hertz, SamplePos, SampleRate, SampleSpan};
use crate::view::notes::clock;
use std::collections::VecDeque;

/// Chords of the past that are kept for the strip; more than fit on any screen.
const PAST_CHORDS: usize = 64;
/// Chords that stand beside the one on the screen: the one before, and the four before that.
const CHORDS_BEFORE: usize = 5;
/// Letters of a word typed to a mark, at most.
const WORD_LETTERS: usize = 120;
/// How long a notice or a clip mark stays.
const NOTICE_STAYS: SampleSpan = SampleSpan::new(4 * SampleRate::INTERNAL.get() as u64);

/// A chord of the past.
#[derive(Debug, Clone, PartialEq)]
pub struct PastChord {
    /// When it was struck.
    pub at: SamplePos,
    /// Its best name, or its notes where it has none.
    pub name: String,
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
    /// Mark the chord on the screen.
    Mark,
    /// Type a word to the last mark: from now on letters belong to it.
    Word,
    /// A letter of the word.
    Letter(char),
    /// Take the last letter back.
    Rub,
    /// The word is done; kept, or left out.
    WordDone { kept: bool },
    /// Show what every key does, or no longer.
    Help,
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

/// What is heard: held as it is while the screen is.
#[derive(Debug, Clone)]
struct Music {
    answers: Answers,
    chroma: [f32; 12],
    past: VecDeque<PastChord>,
    /// What was on the screen before, the newest last; unlike the past it is known at once.
    before: VecDeque<Answer>,
    /// What is on the screen, as it was last.
    latest: Option<Answer>,
    /// Where stand-ins are asked for.
    stand_ins: Option<StandInsNow>,
}

impl Music {
    /// Keeps what was on the screen where another chord has taken its place.
    fn turn(&mut self) {
        let shown = self.answers.shown().cloned();
        let struck = |answer: &Option<Answer>| answer.as_ref().map(|answer| answer.struck);
        if struck(&shown) != struck(&self.latest)
            && let Some(before) = self.latest.take()
        {
            if self.before.len() == CHORDS_BEFORE {
                self.before.pop_front();
            }
            self.before.push_back(before);
        }
        self.latest = shown;
    }
}

/// How it is shown.
#[derive(Debug, Clone, PartialEq)]
struct Look {
    shapes: Shapes,
    /// House style of the symbols.
    style: Style,
    large: bool,
    guess_first: bool,
    /// The answer that was asked for although answers are hidden: when it was struck.
    shown_anyway: Option<SamplePos>,
}

/// How the listening stands.
#[derive(Debug, Clone, PartialEq)]
struct Status {
    input: String,
    now: SamplePos,
    /// Root-mean-square of the last hop, linear.
    rms: f32,
    a4: Option<Hertz>,
    meter: Meter,
    /// Notes are heard anew every so many hops: 1 unless listening falls behind.
    hops: u32,
    clipped_at: Option<SamplePos>,
    trouble: Option<String>,
    notice: Option<(String, SamplePos)>,
}

impl Status {
    /// True while nothing can be heard.
    fn is_lost(&self) -> bool {
        self.trouble.is_some()
    }

    fn frame(&mut self, frame: &FrameReport) {
        self.now = frame.at;
        self.rms = frame.rms;
        self.a4 = frame.a4;
        let over = |since: SamplePos| frame.at >= since + NOTICE_STAYS;
        self.notice.take_if(|(_, since)| over(*since));
    }

    /// Level of the last hop in dBFS; `None` in digital silence.
    fn level_dbfs(&self) -> Option<f32> {
        (self.rms > 0.0).then(|| Dbfs::from_mean_square(f64::from(self.rms).powi(2)).get() as f32)
    }

    /// True while a clip is recent enough to be told.
    fn clips(&self) -> bool {
        self.clipped_at
            .is_some_and(|at| self.now < at + NOTICE_STAYS)
    }
}

/// All that the live screen shows.
#[derive(Debug, Clone)]
pub struct Live {
    music: Music,
    look: Look,
    status: Status,
    /// What the player has marked, as it was marked.
    marks: Vec<Marked>,
    /// The word that is being typed to the last mark.
    word: Option<String>,
    /// What every key does is on the screen.
    help: bool,
    /// What was on the screen when it was held.
    held: Option<Box<Music>>,
}

impl Live {
    /// Nothing heard yet from `input`.
    pub fn new(input: impl Into<String>, naming: Wording) -> Self {
        Self {
            music: Music {
                answers: Answers::new(naming.analysis),
                chroma: [0.0; 12],
                past: VecDeque::new(),
                before: VecDeque::new(),
                latest: None,
                stand_ins: None,
            },
            look: Look {
                shapes: Shapes::BLOCKS,
                style: naming.style,
                large: true,
                guess_first: false,
                shown_anyway: None,
            },
            status: Status {
                input: input.into(),
                now: SamplePos::START,
                rms: 0.0,
                a4: None,
                meter: Meter::default(),
                hops: 1,
                clipped_at: None,
                trouble: None,
                notice: None,
            },
            marks: Vec::new(),
            word: None,
            help: false,
            held: None,
        }
    }

    /// The same with the name in large letters from the start, or in small ones.
    pub fn with_large_letters(mut self, large: bool) -> Self {
        self.look.large = large;
        self
    }

    /// The same drawn from other characters.
    pub fn with_shapes(mut self, shapes: Shapes) -> Self {
        self.look.shapes = shapes;
        self
    }

    /// The same with stand-ins for the chord that is shown.
    pub fn with_stand_ins(mut self, stand_ins: bool) -> Self {
        self.music.stand_ins = stand_ins.then(StandInsNow::default);
        self
    }

    /// The same with answers hidden until asked for.
    pub fn with_guess_first(mut self, guess_first: bool) -> Self {
        self.look.guess_first = guess_first;
        self
    }

    /// Takes what the listener tells: all of some frames. True if the keys or the answer have changed.
    pub fn hear(&mut self, events: &[Event]) -> bool {
        let answer = |music: &Music| {
            let answers = &music.answers;
            (
                answers.shown().map(Answer::state),
                answers.harmony().readings(),
            )
        };
        let before = answer(&self.music);
        events.iter().for_each(|event| self.take(event));
        self.music.answers.catch_up();
        let Music {
            answers, stand_ins, ..
        } = &mut self.music;
        if let Some(stand_ins) = stand_ins {
            stand_ins.follow(answers.shown(), answers.options());
        }
        let changed = answer(&self.music) != before;
        if changed {
            self.music.turn();
        }
        changed
            || events
                .iter()
                .any(|event| matches!(event, Event::Sounding(_)))
    }

    fn take(&mut self, event: &Event) {
        let ended = self.music.answers.hear(event);
        match (event, ended) {
            (Event::Frame(frame), _) => {
                self.music.chroma = frame.chroma;
                self.status.frame(frame);
            }
            (Event::Chord(span), Some((_, naming))) => {
                self.past(span.start, &naming);
                if let Some(stand_ins) = &mut self.music.stand_ins {
                    stand_ins.ended(&naming);
                }
            }
            _ => {}
        }
    }

    fn past(&mut self, at: SamplePos, naming: &Naming) {
        let name = match naming.names.first() {
            Some(name) => name.chord.symbol(self.look.style),
            None => written::notes(&naming.notes).join(" "),
        };
        let past = &mut self.music.past;
        if past.len() == PAST_CHORDS {
            past.pop_front();
        }
        past.push_back(PastChord { at, name });
    }

    /// Takes what the meters say.
    pub fn measure(&mut self, meter: Meter) {
        if meter.clipped > self.status.meter.clipped {
            self.status.clipped_at = Some(self.status.now);
        }
        self.status.meter = meter;
    }

    /// Notes are heard anew every so many hops; more than one where the computer is too slow or too busy.
    pub fn keep_pace(&mut self, hops: u32) {
        self.status.hops = hops;
    }

    /// The input is in trouble (one sentence), or well again.
    pub fn trouble(&mut self, sentence: Option<String>) {
        self.status.trouble = sentence;
    }

    /// The input that is heard now.
    pub fn listen_to(&mut self, input: impl Into<String>) {
        self.status.input = input.into();
        self.status.trouble = None;
    }

    /// Says something for a few seconds.
    pub fn notice(&mut self, sentence: impl Into<String>) {
        self.status.notice = Some((sentence.into(), self.status.now));
    }

    /// Does what a key asks for; what the view cannot do is handed back.
    pub fn press(&mut self, press: Press) -> Option<Request> {
        match press {
            Press::Quit => return Some(Request::Quit),
            Press::Keep => return Some(Request::Keep),
            Press::Pause if self.held.is_some() => self.held = None,
            Press::Pause => self.held = Some(Box::new(self.music.clone())),
            Press::GuessFirst => {
                self.look.guess_first = !self.look.guess_first;
                self.look.shown_anyway = None;
            }
            Press::Show => self.look.shown_anyway = self.answer().map(|answer| answer.struck),
            Press::Mark => self.mark(),
            Press::Help => self.help = !self.help,
            Press::Word => self.word = self.marks.last().map(|_| String::new()),
            Press::Letter(letter) => {
                let typed = self.word.as_mut();
                if let Some(word) = typed.filter(|word| word.chars().count() < WORD_LETTERS) {
                    word.push(letter);
                }
            }
            Press::Rub => _ = self.word.as_mut().and_then(String::pop),
            Press::WordDone { kept } => self.word_done(kept),
            Press::NextStyle => {
                let styles = Style::ALL;
                let at = styles
                    .iter()
                    .position(|&style| style == self.look.style)
                    .unwrap_or(0);
                self.look.style = styles[(at + 1) % styles.len()];
            }
            Press::KeyByFifths(fifths) => self.name_in(Some(match self.naming().key {
                None => Key::usual(PitchClass::new(0), Mode::Major),
                Some(key) => Key::usual(key.tonic.class().up(7 * i32::from(fifths)), key.mode),
            })),
            Press::OtherMode => self.name_in(Some(match self.naming().key {
                None => Key::usual(PitchClass::new(9), Mode::Minor),
                Some(key) => Key::usual(key.tonic.class(), other_mode(key.mode)),
            })),
            Press::NoKey => self.name_in(None),
            Press::Large => self.look.large = !self.look.large,
        }
        None
    }

    /// Marks the chord on the screen, or this moment where there is none.
    fn mark(&mut self) {
        let answer = self.answer();
        let at = answer.map_or(self.status.now, |answer| answer.start);
        let name = answer
            .filter(|_| !self.hidden())
            .and_then(Answer::best)
            .map(|name| format!("{} ", name.chord.symbol(self.look.style)));
        let before = self.marks.iter().position(|mark| mark.at == at);
        let mark = before.map_or(Marked { at, word: None }, |place| self.marks.remove(place));
        self.marks.push(mark);
        self.notice(format!(
            "marked {}at {}; w types a word to it",
            name.unwrap_or_default(),
            clock(at.seconds(SampleRate::INTERNAL))
        ));
    }

    fn word_done(&mut self, kept: bool) {
        let word = self
            .word
            .take()
            .filter(|word| kept && !word.trim().is_empty());
        if let (Some(word), Some(mark)) = (word, self.marks.last_mut()) {
            mark.word = Some(word.trim().to_owned());
        }
    }

    /// What the player has marked, by time.
    pub fn marks(&self) -> Vec<Marked> {
        let mut marks = self.marks.clone();
        marks.sort_by_key(|mark| mark.at);
        marks
    }

    /// How chords are named.
    fn naming(&self) -> AnalysisOptions {
        self.music.answers.options()
    }

    fn name_in(&mut self, key: Option<Key>) {
        self.name_with(AnalysisOptions {
            key,
            ..self.naming()
        });
    }

    /// Names from now on so, and what is shown again.
    fn name_with(&mut self, naming: AnalysisOptions) {
        self.music.answers.name_with(naming);
        if let Some(held) = &mut self.held {
            held.answers.name_with(naming);
        }
    }

    /// The music that is on the screen: what is heard, or what is held.
    fn on_screen(&self) -> &Music {
        self.held.as_deref().unwrap_or(&self.music)
    }

    fn answer(&self) -> Option<&Answer> {
        self.on_screen().answers.shown()
    }

    /// True if the answer must not be seen yet.
    fn hidden(&self) -> bool {
        self.look.guess_first
            && self
                .answer()
                .is_some_and(|answer| self.look.shown_anyway != Some(answer.struck))
    }
}

fn other_mode(mode: Mode) -> Mode {
    match mode {
        Mode::Major => Mode::Minor,
        Mode::Minor => Mode::Major,
    }
}
