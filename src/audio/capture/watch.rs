//! The rules of live capture: when a stream is dead, what a gap becomes, what of a backlog is heard.
//!
//! Input: what a stream has delivered, and the time, as values. Output: its [`StreamState`]; lengths of silence and of sound to keep.
//! Units: frames at the device's rate; times since the input was opened.
//! Method: our own; no clock is read here, so the rules are tested by the second and not in real time.
//! Limits: a stream that delivers nothing is told dead after [`WATCHDOG`], not before.

use crate::units::SampleRate;
use std::time::Duration;

/// A backlog of more than this is not worked off: a listener at the piano wants what sounds now.
const LATE_SECONDS: f64 = 2.0;
/// What is kept of a backlog: the beginning of the chord that sounds now.
const KEEP_SECONDS: f64 = 0.25;
/// A stream that delivers nothing for this long is dead, even if no error was reported.
pub const WATCHDOG: Duration = Duration::from_secs(2);
/// Reads further apart than this say nothing of the stream: the whole program was held up, and the watchdog starts anew.
const AWAY: Duration = Duration::from_millis(500);
/// Exact zeros for this long are no microphone: even a quiet one has noise in its last bit.
const ZERO_SECONDS: u64 = 2;
/// Longest silence put in the place of one gap; the rest of a longer one is only counted.
const GAP_LIMIT_SECONDS: u64 = 10;

/// How a stream is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StreamState {
    /// Opened; nothing has come yet.
    Starting,
    /// Sound is coming.
    Running,
    /// Only exact zeros have come so far: muted, or the system denies the microphone without saying so.
    AllZero,
    /// The stream is dead; opening its input again may bring it back.
    Lost(Loss),
}

/// Why a stream is dead.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Loss {
    /// The sound system said so.
    Fault(Fault),
    /// Nothing came for two seconds, and no error either.
    Stalled,
}

impl std::fmt::Display for Loss {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Fault(fault) => fault.fmt(f),
            Self::Stalled => write!(
                f,
                "it has delivered nothing for {} seconds",
                WATCHDOG.as_secs()
            ),
        }
    }
}

/// Why a stream died.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fault {
    /// The device was unplugged or switched off.
    DeviceGone,
    /// The sound system changed the device's rate or channels.
    FormatChanged,
    /// The sound system withdrew the permission.
    Denied,
    /// The sound system failed, for example because its server ended.
    SoundSystem,
}

impl Fault {
    const ALL: [Fault; 4] = [
        Fault::DeviceGone,
        Fault::FormatChanged,
        Fault::Denied,
        Fault::SoundSystem,
    ];

    /// A number for an atomic, from 1 on.
    pub fn code(self) -> u8 {
        Self::ALL
            .iter()
            .position(|&fault| fault == self)
            .map_or(0, |index| index as u8 + 1)
    }

    /// The fault of a number; `None` of 0.
    pub fn from_code(code: u8) -> Option<Self> {
        Self::ALL.get(usize::from(code).checked_sub(1)?).copied()
    }
}

impl std::fmt::Display for Fault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::DeviceGone => "it was unplugged or switched off",
            Self::FormatChanged => "its sample rate or channels were changed",
            Self::Denied => "the permission to use it was withdrawn",
            Self::SoundSystem => "the sound system stopped",
        })
    }
}

/// What a stream has delivered since it was opened.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Delivered {
    /// Frames, dropped ones included.
    pub frames: u64,
    /// True once any sample was not exactly zero.
    pub any_sound: bool,
    /// What the sound system has reported, if it has.
    pub fault: Option<Fault>,
    /// Frames a second.
    pub rate: SampleRate,
}

/// Watches one stream. Times are those of any clock that starts before the stream does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Watch {
    lost: Option<Loss>,
    delivered_seen: u64,
    last_delivery: Duration,
    last_look: Duration,
}

impl Watch {
    /// A stream that was opened now.
    pub fn opened(now: Duration) -> Self {
        Self {
            lost: None,
            delivered_seen: 0,
            last_delivery: now,
            last_look: now,
        }
    }

    /// How the stream is now. Once lost, it stays so.
    pub fn look(&mut self, now: Duration, delivered: Delivered) -> StreamState {
        let was_away = now.saturating_sub(self.last_look) > AWAY;
        if delivered.frames != self.delivered_seen || was_away {
            self.delivered_seen = delivered.frames;
            self.last_delivery = now;
        }
        self.last_look = now;
        let stalled = self.nothing_for(now) > WATCHDOG;
        let found = delivered
            .fault
            .map(Loss::Fault)
            .or(stalled.then_some(Loss::Stalled));
        self.lost = self.lost.or(found);
        match self.lost {
            Some(loss) => StreamState::Lost(loss),
            None if delivered.frames == 0 => StreamState::Starting,
            None if !delivered.any_sound
                && delivered.frames >= ZERO_SECONDS * u64::from(delivered.rate.get()) =>
            {
                StreamState::AllZero
            }
            None => StreamState::Running,
        }
    }

    /// How long nothing has come.
    pub fn nothing_for(&self, now: Duration) -> Duration {
        now.saturating_sub(self.last_delivery)
    }
}

/// How many of `waiting` frames are heard where they are too many to be worked off; `None` where all are.
pub fn backlog_kept(waiting: usize, rate: SampleRate) -> Option<usize> {
    (waiting > frames(LATE_SECONDS, rate)).then(|| frames(KEEP_SECONDS, rate))
}

/// What stands for lost frames.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Gap {
    /// Frames of silence.
    pub silence: u64,
    /// Frames beyond those, that are only counted.
    pub beyond: u64,
}

/// What stands for `lost` frames.
pub fn gap(lost: u64, rate: SampleRate) -> Gap {
    let silence = lost.min(GAP_LIMIT_SECONDS * u64::from(rate.get()));
    Gap {
        silence,
        beyond: lost - silence,
    }
}

/// The most frames that one reading brings: a backlog that is worked off, after the longest silence.
pub fn longest_reading(rate: SampleRate) -> usize {
    frames(LATE_SECONDS + GAP_LIMIT_SECONDS as f64, rate)
}

fn frames(seconds: f64, rate: SampleRate) -> usize {
    (seconds * f64::from(rate.get())) as usize
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rate() -> SampleRate {
        SampleRate::new(48_000).unwrap()
    }

    fn milliseconds(count: u64) -> Duration {
        Duration::from_millis(count)
    }

    /// Sound of so many milliseconds has come.
    fn came(count: u64) -> Delivered {
        Delivered {
            frames: 48 * count,
            any_sound: count > 0,
            fault: None,
            rate: rate(),
        }
    }

    /// Looks every 10 ms from `from` to `to` milliseconds while nothing new comes after the first `came` milliseconds of sound.
    fn wait(watch: &mut Watch, from: u64, to: u64, sound: u64) -> StreamState {
        let looks = (from..=to).step_by(10);
        looks.fold(StreamState::Starting, |_, at| {
            watch.look(milliseconds(at), came(sound))
        })
    }

    #[test]
    fn a_stream_that_falls_silent_is_lost_after_two_seconds_and_not_before() {
        let mut watch = Watch::opened(milliseconds(0));
        assert_eq!(watch.look(milliseconds(10), came(0)), StreamState::Starting);
        assert_eq!(watch.look(milliseconds(20), came(10)), StreamState::Running);
        assert_eq!(wait(&mut watch, 30, 2_020, 10), StreamState::Running);
        let lost = StreamState::Lost(Loss::Stalled);
        assert_eq!(wait(&mut watch, 2_030, 2_030, 10), lost);
        assert_eq!(watch.nothing_for(milliseconds(5_020)), milliseconds(5_000));
        // what comes late from the dead stream does not bring it back
        assert_eq!(watch.look(milliseconds(5_030), came(20)), lost);
    }

    #[test]
    fn a_program_that_was_held_up_does_not_blame_the_stream() {
        let mut watch = Watch::opened(milliseconds(0));
        assert_eq!(watch.look(milliseconds(10), came(10)), StreamState::Running);
        // the computer sleeps for an hour, and the stream needs a moment afterwards
        let woken = 3_600_000;
        assert_eq!(wait(&mut watch, woken, woken, 10), StreamState::Running);
        assert_eq!(
            wait(&mut watch, woken + 10, woken + 2_000, 10),
            StreamState::Running
        );
        assert_eq!(
            wait(&mut watch, woken + 2_010, woken + 2_010, 10),
            StreamState::Lost(Loss::Stalled)
        );
    }

    #[test]
    fn what_the_sound_system_reports_is_believed_at_once() {
        let mut watch = Watch::opened(milliseconds(0));
        let pulled = Delivered {
            fault: Some(Fault::DeviceGone),
            ..came(10)
        };
        assert_eq!(
            watch.look(milliseconds(10), pulled),
            StreamState::Lost(Loss::Fault(Fault::DeviceGone))
        );
    }

    #[test]
    fn exact_zeros_are_told_after_two_seconds_of_them() {
        let mut watch = Watch::opened(milliseconds(0));
        let zeros = |count| Delivered {
            any_sound: false,
            ..came(count)
        };
        assert_eq!(
            watch.look(milliseconds(1_990), zeros(1_990)),
            StreamState::Running
        );
        assert_eq!(
            watch.look(milliseconds(2_000), zeros(2_000)),
            StreamState::AllZero
        );
        assert_eq!(
            watch.look(milliseconds(2_010), came(2_010)),
            StreamState::Running
        );
    }

    #[test]
    fn a_backlog_of_two_seconds_is_worked_off_and_of_a_longer_one_the_newest_quarter_is_heard() {
        assert_eq!(backlog_kept(0, rate()), None);
        assert_eq!(backlog_kept(96_000, rate()), None);
        assert_eq!(backlog_kept(96_001, rate()), Some(12_000));
    }

    #[test]
    fn ten_seconds_of_a_gap_become_silence_and_the_rest_is_counted() {
        let whole = |silence, beyond| Gap { silence, beyond };
        assert_eq!(gap(0, rate()), whole(0, 0));
        assert_eq!(gap(480_000, rate()), whole(480_000, 0));
        assert_eq!(gap(480_007, rate()), whole(480_000, 7));
        assert_eq!(
            longest_reading(rate()),
            96_000 + 480_000,
            "what a reading may bring has room from the start"
        );
    }

    #[test]
    fn every_fault_survives_its_number() {
        for fault in Fault::ALL {
            assert_eq!(Fault::from_code(fault.code()), Some(fault));
        }
        assert_eq!(Fault::from_code(0), None);
    }
}
