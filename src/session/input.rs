//! The loop that reads a sound input: whoever hears one live is a [`Hearer`] of it.
//!
//! Input: a [`SoundInput`], and a clock. Output: sound, lost time and [`Notice`]s for the hearer.
//! Units: samples at the internal rate and as they were recorded; times since the loop began.
//! Method: our own. It reads whenever as much sound has come as the hearer needs. A lost input is opened again every [`RETRY`] until it is back, and the time between is
//! told as lost. Where the hearer falls behind, [`Pace`] tells it in how many hops to hear notes anew.
//! Limits: no thread of its own; the input is read by the thread that opened it.

use super::pace::Pace;
use crate::audio::AudioError;
use crate::audio::capture::{Block, Capture, Loss, StreamState, Totals};
use crate::audio::level::Meter;
use crate::units::{SampleRate, SampleSpan};
use std::fmt;
use std::time::{Duration, Instant};

/// Longest time between two looks at the input, while no sound comes.
const PAUSE: Duration = Duration::from_millis(50);
/// Time between two attempts to open a lost input again.
pub const RETRY: Duration = Duration::from_secs(1);
/// Longest silence that is heard in the place of lost time; beyond it, the clock stands still.
const SILENCE_LIMIT: SampleSpan = SampleSpan::new(60 * SampleRate::INTERNAL.get() as u64);

/// A sound input as the loop sees it: [`Capture`], or what a test makes up.
pub trait SoundInput {
    /// Its name for people.
    fn name(&self) -> &str;
    /// Frames a second at which it records; may change when it is opened again.
    fn rate(&self) -> SampleRate;
    /// As [`Capture::read`].
    fn read(&mut self, out: &mut Vec<f32>) -> Block;
    /// As [`Capture::device_block`].
    fn as_recorded(&self) -> &[f32];
    /// As [`Capture::reopen`].
    ///
    /// # Errors
    /// If it is not there yet.
    fn reopen(&mut self) -> Result<Block, AudioError>;
    /// As [`Capture::totals`].
    fn totals(&self) -> Totals;
    /// As [`Capture::wait`].
    fn wait(&mut self, sound: SampleSpan, limit: Duration);
}

impl SoundInput for Capture {
    fn name(&self) -> &str {
        &self.info().name
    }

    fn rate(&self) -> SampleRate {
        self.info().rate
    }

    fn read(&mut self, out: &mut Vec<f32>) -> Block {
        Self::read(self, out)
    }

    fn as_recorded(&self) -> &[f32] {
        self.device_block()
    }

    fn reopen(&mut self) -> Result<Block, AudioError> {
        Self::reopen(self)
    }

    fn totals(&self) -> Totals {
        Self::totals(self)
    }

    fn wait(&mut self, sound: SampleSpan, limit: Duration) {
        Self::wait(self, sound, limit);
    }
}

/// What one reading brought.
#[derive(Debug, Clone, Copy)]
pub struct Sound<'a> {
    /// At [`SampleRate::INTERNAL`]; may be empty.
    pub samples: &'a [f32],
    /// The same as it was recorded: mono at `recorded_rate`.
    pub recorded: &'a [f32],
    /// Frames a second of `recorded`.
    pub recorded_rate: SampleRate,
}

/// What a hearer is told of its input.
#[derive(Debug, Clone, PartialEq)]
pub enum Notice {
    /// The input of this name is heard now.
    Open(String),
    /// It is in trouble; the loop goes on and waits.
    Trouble(InputTrouble),
    /// What its meters say has changed.
    Meter(Meter),
    /// Hearing falls behind, or keeps up again: notes are to be heard anew every so many hops.
    Pace(u32),
}

/// What is wrong with an input that is open, or was.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum InputTrouble {
    /// It delivers nothing but zeros.
    AllZero {
        /// The input.
        name: String,
    },
    /// It is gone.
    Lost {
        /// The input.
        name: String,
        /// What was noticed.
        loss: Loss,
    },
}

impl fmt::Display for InputTrouble {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::AllZero { name } => write!(
                f,
                "{name} delivers nothing but zeros: it is muted, or the system denies the microphone to this terminal"
            ),
            Self::Lost { name, loss } => {
                write!(f, "{name} is lost: {loss}; waiting for it to come back")
            }
        }
    }
}

/// Who hears an input.
pub trait Hearer {
    /// Why hearing may end early.
    type Error;

    /// True as long as it wants to hear on; asked before each reading, with the time since the loop began.
    ///
    /// # Errors
    /// If it cannot.
    fn goes_on(&mut self, now: Duration) -> Result<bool, Self::Error>;

    /// How much more sound it needs before it can tell anything new; zero: it wants all sound as it comes.
    fn needs(&self) -> SampleSpan {
        SampleSpan::ZERO
    }

    /// Hears what a reading brought.
    ///
    /// # Errors
    /// If it cannot.
    fn hear(&mut self, sound: Sound<'_>) -> Result<(), Self::Error>;

    /// Learns that sound of this length, at [`SampleRate::INTERNAL`], was lost (0: none was).
    ///
    /// # Errors
    /// If it cannot.
    fn lost(&mut self, length: SampleSpan) -> Result<(), Self::Error>;

    /// Is told of its input.
    ///
    /// # Errors
    /// If it cannot.
    fn notice(&mut self, notice: Notice) -> Result<(), Self::Error>;
}

/// Silence in the place of lost time, block by block; no more than a minute.
pub fn silence(length: SampleSpan) -> impl Iterator<Item = &'static [f32]> {
    const SILENCE: [f32; 1024] = [0.0; 1024];
    let frames = length.min(SILENCE_LIMIT).get() as usize;
    (0..frames)
        .step_by(SILENCE.len())
        .map(move |at| &SILENCE[..SILENCE.len().min(frames - at)])
}

/// Reads `input` for `hearer` until that has heard enough, by the clock of this computer.
///
/// # Errors
/// Those of the hearer.
pub fn hear_input<H: Hearer>(input: &mut Capture, hearer: &mut H) -> Result<(), H::Error> {
    let begun = Instant::now();
    hear_by(input, hearer, || begun.elapsed())
}

/// The same with any input and by any clock.
pub(super) fn hear_by<H: Hearer>(
    input: &mut impl SoundInput,
    hearer: &mut H,
    now: impl Fn() -> Duration,
) -> Result<(), H::Error> {
    let mut samples = Vec::new();
    let (mut pace, mut meter) = (Pace::default(), Meter::default());
    let (mut in_trouble, mut next_try) = (false, Duration::ZERO);
    hearer.notice(Notice::Open(input.name().to_owned()))?;
    while hearer.goes_on(now())? {
        let block = input.read(&mut samples);
        if let Some(hops) = pace.step(SampleSpan::new(samples.len() as u64)) {
            hearer.notice(Notice::Pace(hops))?;
        }
        // What was lost was lost before what came.
        hearer.lost(block.jumped)?;
        hearer.hear(Sound {
            samples: &samples,
            recorded: input.as_recorded(),
            recorded_rate: input.rate(),
        })?;
        let name = || input.name().to_owned();
        let trouble = match block.state {
            StreamState::Starting => None,
            StreamState::Running => {
                if std::mem::take(&mut in_trouble) {
                    hearer.notice(Notice::Open(name()))?;
                }
                None
            }
            StreamState::AllZero => Some(InputTrouble::AllZero { name: name() }),
            StreamState::Lost(loss) if now() >= next_try => {
                next_try = now() + RETRY;
                let lost = InputTrouble::Lost { name: name(), loss };
                match input.reopen() {
                    Ok(block) => {
                        in_trouble = false;
                        hearer.lost(block.jumped)?;
                        hearer.notice(Notice::Open(input.name().to_owned()))?;
                        None
                    }
                    Err(_) => Some(lost),
                }
            }
            StreamState::Lost(_) => None,
        };
        if let Some(trouble) = trouble
            && !std::mem::replace(&mut in_trouble, true)
        {
            hearer.notice(Notice::Trouble(trouble))?;
        }
        let measured = meter_of(input.totals());
        if std::mem::replace(&mut meter, measured) != measured {
            hearer.notice(Notice::Meter(measured))?;
        }
        input.wait(hearer.needs(), PAUSE);
    }
    Ok(())
}

fn meter_of(totals: Totals) -> Meter {
    Meter {
        dropped: totals.dropped + totals.skipped,
        clipped: totals.clipped_runs,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::cell::Cell;
    use std::convert::Infallible;
    use std::rc::Rc;

    /// An input that hands over 10 ms of sound every 10 ms, but for the times at which it is pulled out.
    struct MadeUp {
        clock: Rc<Cell<Duration>>,
        /// Milliseconds from and until which it is pulled out.
        out: std::ops::Range<u128>,
        lost: bool,
        tries: Vec<u128>,
    }

    const BLOCK: usize = 220;

    impl MadeUp {
        fn is_out(&self) -> bool {
            self.out.contains(&self.clock.get().as_millis())
        }
    }

    impl SoundInput for MadeUp {
        fn name(&self) -> &str {
            "Lid microphone"
        }

        fn rate(&self) -> SampleRate {
            SampleRate::INTERNAL
        }

        fn read(&mut self, out: &mut Vec<f32>) -> Block {
            out.clear();
            self.lost |= self.is_out();
            if !self.lost {
                out.resize(BLOCK, 0.1);
            }
            Block {
                state: if self.lost {
                    StreamState::Lost(Loss::Stalled)
                } else {
                    StreamState::Running
                },
                gap: SampleSpan::ZERO,
                jumped: SampleSpan::ZERO,
            }
        }

        fn as_recorded(&self) -> &[f32] {
            &[]
        }

        fn reopen(&mut self) -> Result<Block, AudioError> {
            self.tries.push(self.clock.get().as_millis());
            if self.is_out() {
                return Err(AudioError::NoInput);
            }
            self.lost = false;
            Ok(Block {
                state: StreamState::Starting,
                gap: SampleSpan::ZERO,
                jumped: SampleSpan::new(22_050),
            })
        }

        fn totals(&self) -> Totals {
            Totals::default()
        }

        fn wait(&mut self, sound: SampleSpan, limit: Duration) {
            assert_eq!(sound, SampleSpan::ZERO);
            assert!(limit >= Duration::from_millis(10));
            self.clock.set(self.clock.get() + Duration::from_millis(10));
        }
    }

    #[derive(Default)]
    struct Ears {
        until: Duration,
        heard: usize,
        lost: u64,
        notices: Vec<Notice>,
    }

    impl Hearer for Ears {
        type Error = Infallible;

        fn goes_on(&mut self, now: Duration) -> Result<bool, Infallible> {
            Ok(now < self.until)
        }

        fn hear(&mut self, sound: Sound<'_>) -> Result<(), Infallible> {
            self.heard += sound.samples.len();
            Ok(())
        }

        fn lost(&mut self, length: SampleSpan) -> Result<(), Infallible> {
            self.lost += length.get();
            Ok(())
        }

        fn notice(&mut self, notice: Notice) -> Result<(), Infallible> {
            self.notices.push(notice);
            Ok(())
        }
    }

    /// Hears an input for ten seconds that is pulled out for a while.
    fn ten_seconds(out: std::ops::Range<u128>) -> (MadeUp, Ears) {
        let clock = Rc::new(Cell::new(Duration::ZERO));
        let mut input = MadeUp {
            clock: clock.clone(),
            out,
            lost: false,
            tries: Vec::new(),
        };
        let mut ears = Ears {
            until: Duration::from_secs(10),
            ..Ears::default()
        };
        let Ok(()) = hear_by(&mut input, &mut ears, || clock.get());
        (input, ears)
    }

    fn open() -> Notice {
        Notice::Open("Lid microphone".into())
    }

    #[test]
    fn an_input_that_stays_is_heard_to_the_end() {
        let (input, ears) = ten_seconds(0..0);
        assert_eq!((ears.heard, ears.lost), (1_000 * BLOCK, 0));
        assert_eq!(ears.notices, [open()]);
        assert!(input.tries.is_empty());
    }

    #[test]
    fn a_lost_input_is_told_once_tried_every_second_and_told_again_when_it_is_back() {
        let (input, ears) = ten_seconds(2_000..5_500);
        assert_eq!(input.tries, [2_000, 3_000, 4_000, 5_000, 6_000]);
        let lost = InputTrouble::Lost {
            name: "Lid microphone".into(),
            loss: Loss::Stalled,
        };
        assert_eq!(ears.notices, [open(), Notice::Trouble(lost), open()]);
        assert_eq!(ears.lost, 22_050, "the time between is told");
        // 2 s before, and 4 s less one block after
        assert_eq!(ears.heard, (200 + 399) * BLOCK);
    }

    #[test]
    fn an_input_that_does_not_come_back_does_not_end_the_hearing() {
        let (input, ears) = ten_seconds(2_000..u128::MAX);
        assert_eq!(input.tries.len(), 8);
        assert_eq!((ears.heard, ears.notices.len()), (200 * BLOCK, 2));
    }

    #[test]
    fn silence_for_lost_time_is_as_long_and_at_most_a_minute() {
        let length = |frames| {
            silence(SampleSpan::new(frames))
                .map(<[f32]>::len)
                .sum::<usize>() as u64
        };
        for frames in [0, 1, 1_024, 22_050, SILENCE_LIMIT.get()] {
            assert_eq!(length(frames), frames);
        }
        assert_eq!(length(SILENCE_LIMIT.get() + 5), SILENCE_LIMIT.get());
    }
}
