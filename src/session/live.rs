//! The thread that listens: sound input in, news out.
//!
//! Input: a sound input by name. Output: [`News`] for whoever shows it, and the last minute on request.
//! Units: times in frames at the internal rate from the first sample, lost time included as silence.
//! Method: one thread owns the input, the listener and the last minute; it reads whenever sound comes and never waits for a
//! reader of its news. Lists of events go to and fro and are filled again. A lost input is opened again every `RETRY` until it is back.
//! Where it falls behind, [`Pace`] widens the hop; where the listener fails by a fault of its own, a fresh one goes on.
//! Limits: news that nobody takes for about ten seconds is thrown away.

use super::contained::{Fault, contained, please_report};
use super::last_minute::LastMinute;
use super::pace::Pace;
use super::steady_listener::SteadyListener;
use crate::audio::capture::{Capture, StreamState, open_input};
use crate::audio::level::Meter;
use crate::audio::{AudioError, capture};
use crate::harmony::AnalysisOptions;
use crate::listener::{Event, ListenerOptions};
use crate::units::{FrameCount, SampleRate};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, Sender, SyncSender, channel, sync_channel};
use std::thread::{self, JoinHandle, Thread};
use std::time::{Duration, Instant};

/// Longest time between two looks at the input, while no sound comes.
const PAUSE: Duration = Duration::from_millis(50);
/// The name of the thread.
pub const LISTENING: &str = "listening";
/// Time between two attempts to open a lost input again.
const RETRY: Duration = Duration::from_secs(1);
/// News that may wait for a slow reader: about ten seconds of analysis frames.
const NEWS_WAITING: usize = 512;
/// Lists of events that may wait to be filled again.
const LISTS_WAITING: usize = 16;
/// Longest silence that is heard in the place of lost time; beyond it, the clock stands still.
const SILENCE_LIMIT: FrameCount = FrameCount(60 * SampleRate::INTERNAL.get() as u64);

/// What the thread tells.
#[derive(Debug)]
pub enum News {
    /// This input is open now.
    Input(String),
    /// What the listener tells of one reading: all of some frames.
    Heard(Vec<Event>),
    /// What the meters say.
    Meter(Meter),
    /// Listening falls behind, or keeps up again: notes are now heard anew every so many hops.
    Pace(u32),
    /// Something is wrong with the input, in one sentence; the thread waits and goes on.
    Trouble(String),
    /// Something failed by a fault of lidprop, in one sentence; listening has gone on already.
    Fault(String),
    /// The last minute was written to these files, or could not be.
    Kept(Result<Vec<PathBuf>, String>),
}

/// What to listen to, and how.
#[derive(Debug, Clone)]
pub struct ListeningOptions {
    /// The input, or a part of its name.
    pub device: Option<String>,
    /// Which piano it is.
    pub listening: ListenerOptions,
    /// How chords are named in what is kept.
    pub naming: AnalysisOptions,
    /// Where the last minute is written to.
    pub into: PathBuf,
}

/// Why there is nothing to listen to.
#[derive(Debug, thiserror::Error)]
pub enum ListeningError {
    /// The input cannot be opened.
    #[error(transparent)]
    Input(#[from] AudioError),
    /// The thread has ended of itself, which it never does unless it has a fault.
    #[error("listening has ended by a fault of lidprop")]
    Fault,
}

/// What to say where what was heard could not be named by a fault of lidprop; listening goes on.
pub fn naming_failed(fault: &Fault) -> String {
    format!(
        "naming what was heard was ended by {fault}; listening goes on; {}",
        please_report()
    )
}

/// Panics where the environment of a test asks for it; release builds do not have it.
#[cfg(debug_assertions)]
pub fn panic_where_a_test_asks(place: &str) {
    if std::env::var_os("LIDPROP_TEST_PANIC").is_some_and(|asked| asked == place) {
        panic!("a test asked for this");
    }
}

/// The listening thread, seen from outside.
pub struct Listening {
    /// What it tells.
    pub news: Receiver<News>,
    used: SyncSender<Vec<Event>>,
    keep: Sender<()>,
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Listening {
    /// Opens the input and listens. The thread that calls this is unparked by all news.
    ///
    /// # Errors
    /// If the input cannot be opened, or by a fault of the thread that does.
    pub fn start(options: ListeningOptions) -> Result<Self, ListeningError> {
        let (news_sender, news) = sync_channel(NEWS_WAITING);
        let (used, lists) = sync_channel(LISTS_WAITING);
        let (keep, keep_requests) = channel();
        let (opened, first) = channel();
        let stop = Arc::new(AtomicBool::new(false));
        let stopped = stop.clone();
        let reader = thread::current();
        let work = move || {
            #[cfg(debug_assertions)]
            panic_where_a_test_asks("opening");
            // Opened here because on some systems a stream must stay on the thread that made it.
            let capture = match open_input(options.device.as_deref()) {
                Ok(capture) => capture,
                Err(error) => return drop(opened.send(Err(error))),
            };
            let name = capture.info().name.clone();
            let mut ear = Ear::new(capture, options, (news_sender, reader), lists);
            if opened.send(Ok(())).is_ok() {
                ear.tell(News::Input(name));
                ear.listen(&stopped, &keep_requests);
            }
        };
        let thread = thread::Builder::new()
            .name(LISTENING.to_owned())
            .spawn(work)
            .expect("a system that can start one more thread");
        match first.recv() {
            Ok(Ok(())) => Ok(Self {
                news,
                used,
                keep,
                stop,
                thread: Some(thread),
            }),
            Ok(Err(error)) => Err(error.into()),
            Err(_) => Err(ListeningError::Fault),
        }
    }

    /// Hands back a list of events that were taken, to be filled again.
    pub fn give_back(&self, mut events: Vec<Event>) {
        events.clear();
        // One more than can wait is simply freed.
        let _ = self.used.try_send(events);
    }

    /// Asks for the last minute to be written; the answer comes as [`News::Kept`].
    pub fn keep_last_minute(&self) {
        // A thread that is gone has told why already.
        let _ = self.keep.send(());
    }
}

impl Drop for Listening {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

struct Ear {
    capture: Capture,
    listener: SteadyListener,
    last_minute: LastMinute,
    options: ListeningOptions,
    news: SyncSender<News>,
    reader: Thread,
    /// Lists of events that were handed back.
    lists: Receiver<Vec<Event>>,
    events: Vec<Event>,
    meter: Meter,
    pace: Pace,
    in_trouble: bool,
}

impl Ear {
    fn new(
        capture: Capture,
        options: ListeningOptions,
        (news, reader): (SyncSender<News>, Thread),
        lists: Receiver<Vec<Event>>,
    ) -> Self {
        Self {
            listener: SteadyListener::new(options.listening.clone()),
            last_minute: LastMinute::new(capture.info().rate),
            capture,
            options,
            news,
            reader,
            lists,
            events: Vec::new(),
            meter: Meter::default(),
            pace: Pace::default(),
            in_trouble: false,
        }
    }

    fn listen(&mut self, stop: &AtomicBool, keep_requests: &Receiver<()>) {
        let mut samples = Vec::new();
        let mut next_try = Instant::now();
        while !stop.load(Ordering::Relaxed) {
            let block = self.capture.read(&mut samples);
            self.keep_pace(FrameCount(samples.len() as u64));
            self.last_minute.push(self.capture.device_block());
            self.hear(&samples);
            self.hear_silence(block.jumped);
            match block.state {
                StreamState::Starting => {}
                StreamState::Running => self.well_again(),
                StreamState::AllZero => {
                    let name = self.capture.info().name.clone();
                    self.in_trouble_with(format!(
                        "{name} delivers nothing but zeros: it is muted, or the system denies the microphone to this terminal"
                    ));
                }
                StreamState::Lost(loss) if Instant::now() >= next_try => {
                    next_try = Instant::now() + RETRY;
                    self.come_back(loss);
                }
                StreamState::Lost(_) => {}
            }
            self.measure();
            #[cfg(debug_assertions)]
            panic_where_a_test_asks("listening");
            if keep_requests.try_recv().is_ok() {
                self.keep();
            }
            self.capture.wait(PAUSE);
        }
        let fault = self.listener.finish(&mut self.events);
        self.tell_heard(fault);
    }

    fn keep_pace(&mut self, reading: FrameCount) {
        if let Some(hops) = self.pace.step(reading) {
            self.listener.hear_every(hops);
            self.tell(News::Pace(hops));
        }
    }

    fn hear(&mut self, samples: &[f32]) {
        let fault = self.listener.push(samples, &mut self.events);
        self.tell_heard(fault);
    }

    fn hear_silence(&mut self, length: FrameCount) {
        self.last_minute.push_silence(length);
        const SILENCE: [f32; 1024] = [0.0; 1024];
        let mut left = length.min(SILENCE_LIMIT).0 as usize;
        while left > 0 {
            let now = left.min(SILENCE.len());
            self.hear(&SILENCE[..now]);
            left -= now;
        }
    }

    fn come_back(&mut self, loss: capture::Loss) {
        let name = self.capture.info().name.clone();
        match self.capture.reopen() {
            Ok(block) => {
                let rate = self.capture.info().rate;
                if rate != self.last_minute.rate() {
                    self.last_minute = LastMinute::new(rate);
                }
                self.hear_silence(block.jumped);
                self.in_trouble = false;
                self.tell(News::Input(name));
            }
            Err(_) => self.in_trouble_with(format!(
                "{name} is lost: {loss}; waiting for it to come back"
            )),
        }
    }

    fn in_trouble_with(&mut self, sentence: String) {
        if !self.in_trouble {
            self.in_trouble = true;
            self.tell(News::Trouble(sentence));
        }
    }

    fn well_again(&mut self) {
        if self.in_trouble {
            self.in_trouble = false;
            let name = self.capture.info().name.clone();
            self.tell(News::Input(name));
        }
    }

    fn measure(&mut self) {
        let totals = self.capture.totals();
        let meter = Meter {
            dropped: totals.dropped + totals.skipped,
            clipped: totals.clipped_runs,
        };
        if meter != self.meter {
            self.meter = meter;
            self.tell(News::Meter(meter));
        }
    }

    /// Writes on a thread of its own: reading a minute takes longer than the input can wait.
    fn keep(&self) {
        let (minute, news) = (self.last_minute.clone(), self.news.clone());
        let (listening, naming, into) = (
            self.options.listening.clone(),
            self.options.naming,
            self.options.into.clone(),
        );
        thread::spawn(move || {
            let kept = match contained(|| minute.write(&listening, naming, &into)) {
                Ok(kept) => kept.map_err(|error| error.to_string()),
                Err(fault) => Err(format!(
                    "keeping the last minute was ended by {fault}; {}",
                    please_report()
                )),
            };
            let _ = news.send(News::Kept(kept));
        });
    }

    fn tell_heard(&mut self, fault: Option<String>) {
        if let Some(sentence) = fault {
            self.tell(News::Fault(sentence));
        }
        if !self.events.is_empty() {
            let list = self.lists.try_recv().unwrap_or_default();
            let events = std::mem::replace(&mut self.events, list);
            self.tell(News::Heard(events));
        }
    }

    /// Never waits: who does not take news in time misses some.
    fn tell(&self, news: News) {
        let _ = self.news.try_send(news);
        self.reader.unpark();
    }
}
