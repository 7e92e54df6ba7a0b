//! Hours of capture at many times real time: a made-up sound input drives the ring, the intake, the listening thread and the answers as a real one does.
//!
//! The input's clock runs 200 parts in a million fast. Every five minutes the sound system stalls for a second and a half and then hands over all at once,
//! the listening thread hangs for ten and for twenty seconds, so that the ring overflows, and the input is gone for half a minute.
//! `make soak HOURS=8`; ten minutes without `SOAK_HOURS`.

#![cfg(feature = "live")]

use lidprop::answer::Answers;
use lidprop::audio::AudioError;
use lidprop::audio::capture::intake::Intake;
use lidprop::audio::capture::ring::{Counters, Writer, ring};
use lidprop::audio::capture::watch::{Delivered, Watch};
use lidprop::audio::capture::{Block, StreamState, Totals};
use lidprop::harmony::AnalysisOptions;
use lidprop::listener::{Event, ListenerOptions};
use lidprop::session::input::SoundInput;
use lidprop::session::live::{Listening, News};
use lidprop::spectrum::HOP_SAMPLES;
use lidprop::units::{SampleRate, SampleSpan, Seconds};
use std::collections::VecDeque;
use std::f64::consts::TAU;
use std::ops::Range;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread::sleep;
use std::time::{Duration, Instant};

/// Frames a second that the input says it has.
const RATE: u64 = 48_000;
/// It really has 200 in a million more.
const FAST: u64 = 1_000_200;
/// Frames from strike to strike: 2.5 s.
const STRIKE: u64 = 120_000;
/// What is struck, in turn.
const CHORDS: [[u8; 4]; 3] = [[53, 57, 60, 64], [50, 57, 60, 65], [47, 55, 62, 65]];
/// Samples at the internal rate a frame of the input.
const RATIO: f64 = SampleRate::INTERNAL.get() as f64 / RATE as f64;
/// The input hands over sound, and the loop looks at it, every so many microseconds.
const STEP: u64 = 10_000;
const SECOND: u64 = 1_000_000;
/// The last seconds of each period, in which nothing happens.
const QUIET: u64 = 280 * SECOND;
/// After so long everything happens again.
const PERIOD: u64 = 300 * SECOND;

/// When the sound system hands over nothing, and then all at once; microseconds from the beginning of a period.
const STALLED: Range<u64> = 60 * SECOND..61_500_000;
/// When the input is gone.
const GONE: Range<u64> = 180 * SECOND..210 * SECOND;
/// When the listening thread hangs.
const HANGS: [Range<u64>; 2] = [120 * SECOND..130 * SECOND, 240 * SECOND..260 * SECOND];

/// A chord of plain decaying partials, damped before the next.
fn chords() -> Vec<i16> {
    let sample = |chord: &[u8; 4], n: u64| {
        let t = n as f64 / RATE as f64;
        let damped = (1.0 - (t - 2.0).max(0.0) / 0.1).max(0.0);
        let key = |&midi: &u8| {
            let hertz = 440.0 * ((f64::from(midi) - 69.0) / 12.0).exp2();
            let partial = |k: u32| {
                let k = f64::from(k);
                (-t * (0.5 + 0.3 * k)).exp() * (TAU * k * hertz * t).sin() / k.powf(1.2)
            };
            (1..=8).map(partial).sum::<f64>()
        };
        let attack = (t / 0.002).min(1.0);
        (0.07 * attack * damped * chord.iter().map(key).sum::<f64>() * 32_767.0) as i16
    };
    CHORDS
        .iter()
        .flat_map(|chord| (0..STRIKE).map(move |n| sample(chord, n)))
        .collect()
}

/// Frames of the input's own clock at this time of the computer's.
fn frames_at(time: u64) -> u64 {
    time * RATE / SECOND * FAST / SECOND
}

/// A strike that must be heard.
struct Strike {
    /// When, in samples at the internal rate since listening began.
    at: f64,
    keys: [u8; 4],
}

struct MadeUp {
    clock: Arc<AtomicU64>,
    /// How far the news were taken, in samples.
    taken_to: Arc<AtomicU64>,
    ends: u64,
    stop: Arc<AtomicBool>,
    sound: Vec<i16>,
    writer: Writer,
    counters: Arc<Counters>,
    intake: Intake,
    watch: Watch,
    dropped: u64,
    /// False while the input is gone: what it had is not handed over later.
    open: bool,
    /// The next frame of the input's clock to be handed over.
    next: u64,
    /// From this frame on its strikes are heard from their beginning.
    whole_from: u64,
    /// A frame of the input's clock, and the time that it has for the listener.
    anchor: (u64, f64),
    strikes: Sender<Strike>,
    /// How far the intake lies behind what was handed over, in samples: the least in the quiet time of each period.
    behind: Vec<f64>,
    told: Sender<Vec<f64>>,
}

/// What the test needs to follow a run.
struct Run {
    strikes: Receiver<Strike>,
    told: Receiver<Vec<f64>>,
    clock: Arc<AtomicU64>,
    taken_to: Arc<AtomicU64>,
    stopped: Arc<AtomicBool>,
}

impl MadeUp {
    fn now(&self) -> u64 {
        self.clock.load(Ordering::Relaxed)
    }

    fn time_of(&self, frame: u64) -> f64 {
        self.anchor.1 + (frame as f64 - self.anchor.0 as f64) * RATIO
    }

    /// Hands over all sound up to `time`, of which some may find no room.
    fn hand_over(&mut self, time: u64, heard: bool) {
        let end = frames_at(time);
        let length = self.sound.len() as u64;
        let stereo = (self.next..end).flat_map(|frame| [self.sound[(frame % length) as usize]; 2]);
        let block: Vec<i16> = stereo.collect();
        self.writer.on_block(&block);
        let first = self.next.div_ceil(STRIKE) * STRIKE;
        for frame in (first..end).step_by(STRIKE as usize) {
            if heard && frame >= self.whole_from {
                let strike = Strike {
                    at: self.time_of(frame),
                    keys: CHORDS[(frame / STRIKE) as usize % CHORDS.len()],
                };
                let _ = self.strikes.send(strike);
            }
        }
        self.next = end;
    }

    /// Moves the clock on by one step, or to the end of a hang.
    fn step(&mut self) {
        let (period, within) = (self.now() / PERIOD * PERIOD, self.now() % PERIOD);
        if let Some(hang) = HANGS.iter().find(|hang| hang.start == within) {
            for time in (hang.start..hang.end).step_by(STEP as usize) {
                self.hand_over(period + time + STEP, false);
            }
            self.clock.store(period + hang.end, Ordering::Relaxed);
            self.whole_from = self.next;
            return;
        }
        let now = self.now() + STEP;
        self.open &= !GONE.contains(&within);
        if self.open && !(STALLED.contains(&within) && now % PERIOD < STALLED.end) {
            // Nothing of what is struck right before a hang or a loss is asked for: it is not heard long enough.
            let next_trouble = HANGS.iter().map(|hang| hang.start).chain([GONE.start]);
            let whole = next_trouble
                .into_iter()
                .all(|start| !(start - 3 * SECOND..start).contains(&within));
            self.hand_over(now, whole);
        }
        self.clock.store(now, Ordering::Relaxed);
    }
}

impl SoundInput for MadeUp {
    fn name(&self) -> &str {
        "Lid microphone"
    }

    fn rate(&self) -> SampleRate {
        SampleRate::new(RATE as u32).unwrap()
    }

    fn read(&mut self, out: &mut Vec<f32>) -> Block {
        let (gap, jumped) = self.intake.read(out);
        let state = self.watch.look(
            Duration::from_micros(self.now()),
            Delivered {
                frames: self.counters.delivered(),
                any_sound: self.counters.any_sound(),
                fault: self.counters.fault(),
                rate: self.rate(),
            },
        );
        let behind = self.time_of(self.next) - self.intake.position().get() as f64;
        let period = (self.now() / PERIOD) as usize;
        if self.now() % PERIOD >= QUIET {
            self.behind
                .resize(self.behind.len().max(period + 1), f64::MAX);
            self.behind[period] = self.behind[period].min(behind);
        }
        Block { state, gap, jumped }
    }

    fn as_recorded(&self) -> &[f32] {
        self.intake.device_block()
    }

    fn reopen(&mut self) -> Result<Block, AudioError> {
        if GONE.contains(&(self.now() % PERIOD)) {
            return Err(AudioError::NoInput);
        }
        let now = Duration::from_micros(self.now());
        let away = self.watch.nothing_for(now);
        self.dropped += self.counters.dropped();
        let ended = self.time_of(self.next);
        let (writer, reader, counters) = ring(8 * RATE as usize, 2);
        (self.writer, self.counters, self.watch) = (writer, counters, Watch::opened(now));
        self.open = true;
        self.next = frames_at(self.now());
        self.whole_from = self.next;
        self.anchor = (
            self.next,
            ended + away.as_secs_f64() * f64::from(SampleRate::INTERNAL.get()),
        );
        let away = Seconds::new(away.as_secs_f64())
            .unwrap()
            .frames(SampleRate::INTERNAL)
            .since_start();
        let jumped = self.intake.go_on(reader, self.rate(), away);
        Ok(Block {
            state: StreamState::Starting,
            gap: SampleSpan::ZERO,
            jumped,
        })
    }

    fn totals(&self) -> Totals {
        Totals {
            dropped: self.dropped + self.counters.dropped(),
            skipped: self.intake.skipped(),
            ..Totals::default()
        }
    }

    fn wait(&mut self, _sound: SampleSpan, _limit: Duration) {
        while self.intake.position().get()
            > self.taken_to.load(Ordering::Relaxed) + 2 * u64::from(SampleRate::INTERNAL.get())
        {
            if self.stop.load(Ordering::Relaxed) {
                return;
            }
            sleep(Duration::from_micros(200));
        }
        if self.now() >= self.ends {
            if !self.stop.swap(true, Ordering::Relaxed) {
                let _ = self.told.send(std::mem::take(&mut self.behind));
            }
            return sleep(Duration::from_millis(1));
        }
        self.step();
    }
}

fn start(seconds: u64) -> (Listening, Run) {
    let (clock, taken_to) = (Arc::new(AtomicU64::new(0)), Arc::new(AtomicU64::new(0)));
    let stop = Arc::new(AtomicBool::new(false));
    let (strike_sender, strikes) = channel();
    let (told_sender, told) = channel();
    let run = Run {
        strikes,
        told,
        clock: clock.clone(),
        taken_to: taken_to.clone(),
        stopped: stop.clone(),
    };
    let now = clock.clone();
    let open = move || {
        let rate = SampleRate::new(RATE as u32).unwrap();
        let (writer, reader, counters) = ring(8 * RATE as usize, 2);
        Ok(MadeUp {
            clock,
            taken_to,
            ends: seconds * SECOND,
            stop,
            sound: chords(),
            writer,
            counters,
            intake: Intake::new(reader, rate),
            watch: Watch::opened(Duration::ZERO),
            dropped: 0,
            open: true,
            next: 0,
            whole_from: 0,
            anchor: (0, 0.0),
            strikes: strike_sender,
            behind: Vec::new(),
            told: told_sender,
        })
    };
    let listening = Listening::start_at(ListenerOptions::default(), open, move || {
        Duration::from_micros(now.load(Ordering::Relaxed))
    });
    (listening.unwrap(), run)
}

/// Resident memory of this process in MiB, where the system tells it.
fn resident() -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let kib = status
        .lines()
        .find_map(|line| line.strip_prefix("VmRSS:"))?;
    Some(kib.trim().strip_suffix("kB")?.trim().parse::<f64>().ok()? / 1024.0)
}

/// Compares strikes as they were played with those that were heard.
#[derive(Default)]
struct Ears {
    played: VecDeque<Strike>,
    /// Keys that were heard of late, and when.
    heard: VecDeque<(u8, u64)>,
    /// Until when notes were last heard in every second or fourth hop only, as is done to catch up.
    catching_up: f64,
    /// By how much each was heard later than it was played, in samples: least and most.
    late: Option<(f64, f64)>,
    /// The same of those during which listening caught up.
    late_catching_up: Option<(f64, f64)>,
    strikes: usize,
    keys_missing: usize,
}

/// A strike is told within so many samples.
const TOLD_WITHIN: f64 = 2.0 * SampleRate::INTERNAL.get() as f64;
/// The hop of the analysis in samples.
const HOP: f64 = HOP_SAMPLES as f64;
/// No strike is heard so many samples away from where it was played.
const NEAR: f64 = 0.1 * SampleRate::INTERNAL.get() as f64;

impl Ears {
    fn compare(&mut self, now: f64) {
        while self
            .played
            .front()
            .is_some_and(|strike| strike.at + TOLD_WITHIN < now)
        {
            let Some(strike) = self.played.pop_front() else {
                return;
            };
            self.strikes += 1;
            for key in strike.keys {
                let of_key = self.heard.iter().filter(|(heard, _)| *heard == key);
                let nearest = of_key
                    .map(|&(_, at)| at as f64 - strike.at)
                    .min_by(|a, b| a.abs().total_cmp(&b.abs()))
                    .filter(|late| late.abs() < NEAR);
                match nearest {
                    None => self.keys_missing += 1,
                    Some(late) => {
                        let calm = strike.at > self.catching_up + NEAR;
                        let range = if calm {
                            &mut self.late
                        } else {
                            &mut self.late_catching_up
                        };
                        let (least, most) = range.unwrap_or((late, late));
                        *range = Some((least.min(late), most.max(late)));
                    }
                }
            }
        }
        while self
            .heard
            .front()
            .is_some_and(|&(_, at)| (at as f64) + 3.0 * TOLD_WITHIN < now)
        {
            self.heard.pop_front();
        }
    }
}

#[test]
fn hours_of_listening_keep_time_and_memory() {
    let hours: f64 = std::env::var("SOAK_HOURS").map_or(1.0 / 6.0, |hours| {
        hours.parse().expect("SOAK_HOURS is a number")
    });
    let periods = ((hours * 12.0).round() as u64).max(2);
    let begun = Instant::now();
    let (mut listening, run) = start(periods * PERIOD / SECOND);
    let mut answers = Answers::new(AnalysisOptions::default());
    let mut ears = Ears::default();
    let (mut meters, mut lost, mut named) = (0, 0, 0_u64);
    let (mut memory, mut last_frame, mut hops) = (Vec::new(), 0, 1);
    while !run.stopped.load(Ordering::Relaxed) {
        ears.played.extend(run.strikes.try_iter());
        match listening.news.recv_timeout(Duration::from_millis(50)) {
            Ok(News::Heard(events)) => {
                for event in &events {
                    match event {
                        Event::Frame(frame) => {
                            let at = frame.at.get();
                            assert!(
                                at > last_frame || last_frame == 0,
                                "time goes on: {at} after {last_frame}"
                            );
                            last_frame = at;
                        }
                        Event::Struck(strike) => {
                            ears.heard.push_back((strike.key.get(), strike.at.get()))
                        }
                        _ => {}
                    }
                    named += u64::from(answers.hear(event).is_some());
                }
                listening.give_back(events);
                if hops > 1 {
                    ears.catching_up = last_frame as f64;
                }
                run.taken_to.store(last_frame, Ordering::Relaxed);
                ears.compare(last_frame as f64);
            }
            Ok(News::Trouble(sentence)) => {
                assert!(sentence.contains("is lost"), "{sentence}");
                lost += 1;
            }
            Ok(News::Meter(_)) => meters += 1,
            Ok(News::Pace(now)) => hops = now,
            Ok(News::Fault(sentence)) => panic!("{sentence}"),
            Ok(_) | Err(_) => {}
        }
        let period = run.clock.load(Ordering::Relaxed) / PERIOD;
        if memory.len() < period as usize {
            memory.push(resident());
            let resident = resident().unwrap_or(f64::NAN);
            println!(
                "{:.2} h listened in {:.0} s, {resident:.1} MiB, {} strikes, late by {:?} samples, catching up {:?}, keys missing {}",
                (period * PERIOD / SECOND) as f64 / 3600.0,
                begun.elapsed().as_secs_f64(),
                ears.strikes,
                ears.late,
                ears.late_catching_up,
                ears.keys_missing
            );
        }
    }
    listening.end();
    let behind = run.told.recv().unwrap();
    println!(
        "the intake lay behind by at least, period by period, in samples: {behind:.2?}; {named} chords named"
    );

    assert_eq!(
        lost, periods,
        "one loss a period is told, and nothing else is taken for one"
    );
    assert_eq!(
        meters,
        2 * periods,
        "what each hang has dropped and skipped is told"
    );
    // 120 strikes a period, less those that fall into or right before its troubles.
    assert!(
        ears.strikes as u64 > 85 * periods,
        "{} strikes",
        ears.strikes
    );
    assert_eq!(ears.keys_missing, 0, "of {} strikes", ears.strikes);
    let spread = |late: Option<(f64, f64)>| late.map_or(0.0, |(least, most)| most - least);
    assert!(
        ears.late.is_some() && spread(ears.late) <= 2.0 * HOP,
        "a hop either way: {:?}",
        ears.late
    );
    assert!(
        spread(ears.late_catching_up) <= 8.0 * HOP,
        "four hops either way: {:?}",
        ears.late_catching_up
    );
    // Each loss rounds two lengths to a sample: what the stream had brought, and how long it was away.
    let (first, last) = (behind[0], behind[periods as usize - 1]);
    assert!(
        (first - last).abs() <= (periods - 1) as f64,
        "no sample is gained or lost but by rounding: {behind:?}"
    );
    let known: Vec<f64> = memory.into_iter().flatten().collect();
    if known.len() > 1 {
        // It goes up and down by 4 MiB with what is kept of the harmony; so the least of each half counts.
        let least = |part: &[f64]| part.iter().copied().fold(f64::MAX, f64::min);
        let (early, late) = known.split_at(known.len() / 2);
        let (early, late) = (least(early), least(late));
        assert!(
            late - early < 4.0,
            "memory stays: {early:.1} and then {late:.1} MiB"
        );
    }
}
