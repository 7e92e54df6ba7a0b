//! The thread that listens: sound input in, news out.
//!
//! Input: a sound input by name. Output: [`News`] for whoever shows it, and the last minute on request.
//! Units: times in frames at the internal rate from the first sample, lost time included as silence.
//! Method: one thread owns the input, the listener and the last minute; it runs the loop of [`super::input`] and never waits for a
//! reader of its news. Lists of events go to and fro and are filled again. Where the listener fails by a fault of its own, a fresh one goes on.
//! Limits: news that nobody takes for about ten seconds is thrown away.

use super::contained::{Fault, contained, please_report};
use super::input::{Hearer, Notice, Sound, SoundInput, hear_by, silence};
use super::last_minute::LastMinute;
use super::steady_listener::SteadyListener;
use crate::audio::AudioError;
use crate::audio::capture::open_input;
use crate::audio::level::Meter;
use crate::chart::marked::Marked;
use crate::chart::recording::Wording;
use crate::listener::{Event, ListenerOptions};
use crate::units::SampleSpan;
use std::convert::Infallible;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, Sender, SyncSender, channel, sync_channel};
use std::thread::{self, JoinHandle, Thread};
use std::time::{Duration, Instant};

/// The name of the thread.
pub const LISTENING: &str = "listening";
/// News that may wait for a slow reader: about ten seconds of analysis frames.
const NEWS_WAITING: usize = 512;
/// Lists of events that may wait to be filled again.
const LISTS_WAITING: usize = 16;

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
}

/// How the last minute is kept.
#[derive(Debug, Clone)]
pub struct Keep {
    /// How its chords are named.
    pub naming: Wording,
    /// What the player has marked since listening began.
    pub marks: Vec<Marked>,
    /// The folder that it is written to.
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
#[allow(clippy::panic, reason = "not in release builds")]
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
    keep: Sender<Keep>,
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Listening {
    /// Opens the input and listens. The thread that calls this is unparked by all news.
    ///
    /// # Errors
    /// If the input cannot be opened, or by a fault of the thread that does.
    pub fn start(options: ListeningOptions) -> Result<Self, ListeningError> {
        let begun = Instant::now();
        let ListeningOptions { device, listening } = options;
        Self::start_at(
            listening,
            move || open_input(device.as_deref()),
            move || begun.elapsed(),
        )
    }

    /// The same at the input that `open` gives, by any clock: at many times real time, for one.
    ///
    /// # Errors
    /// If the input cannot be opened, or by a fault of the thread that does.
    pub fn start_at<I: SoundInput>(
        listening: ListenerOptions,
        open: impl FnOnce() -> Result<I, AudioError> + Send + 'static,
        now: impl Fn() -> Duration + Send + 'static,
    ) -> Result<Self, ListeningError> {
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
            let mut input = match open() {
                Ok(input) => input,
                Err(error) => return drop(opened.send(Err(error))),
            };
            let mut ear = Ear {
                listener: SteadyListener::new(listening.clone()),
                last_minute: LastMinute::new(input.rate()),
                listening,
                news: news_sender,
                reader,
                lists,
                events: Vec::new(),
                stop: stopped,
                keep_requests,
            };
            if opened.send(Ok(())).is_ok() {
                let Ok(()) = hear_by(&mut input, &mut ear, now);
                ear.end();
            }
        };
        #[allow(
            clippy::expect_used,
            reason = "without a thread there is nothing to listen with"
        )]
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
    pub fn keep_last_minute(&self, keep: Keep) {
        // A thread that is gone has told why already.
        let _ = self.keep.send(keep);
    }
}

impl Listening {
    /// Ends listening; what was heard until now is then among the news.
    pub fn end(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

impl Drop for Listening {
    fn drop(&mut self) {
        self.end();
    }
}

/// What the thread hears with, and whom it tells.
struct Ear {
    listener: SteadyListener,
    last_minute: LastMinute,
    listening: ListenerOptions,
    news: SyncSender<News>,
    reader: Thread,
    /// Lists of events that were handed back.
    lists: Receiver<Vec<Event>>,
    events: Vec<Event>,
    stop: Arc<AtomicBool>,
    keep_requests: Receiver<Keep>,
}

impl Hearer for Ear {
    type Error = Infallible;

    fn goes_on(&mut self, _now: Duration) -> Result<bool, Infallible> {
        #[cfg(debug_assertions)]
        panic_where_a_test_asks("listening");
        if let Ok(keep) = self.keep_requests.try_recv() {
            self.keep(keep);
        }
        Ok(!self.stop.load(Ordering::Relaxed))
    }

    fn needs(&self) -> SampleSpan {
        self.listener.until_next_frame()
    }

    fn hear(&mut self, sound: Sound<'_>) -> Result<(), Infallible> {
        if sound.recorded_rate != self.last_minute.rate() {
            self.last_minute = LastMinute::new(sound.recorded_rate);
        }
        self.last_minute.push(sound.recorded);
        self.listen(sound.samples);
        Ok(())
    }

    fn lost(&mut self, length: SampleSpan) -> Result<(), Infallible> {
        self.last_minute.push_silence(length);
        silence(length).for_each(|block| self.listen(block));
        Ok(())
    }

    fn notice(&mut self, notice: Notice) -> Result<(), Infallible> {
        let news = match notice {
            Notice::Open(name) => News::Input(name),
            Notice::Trouble(trouble) => News::Trouble(trouble.to_string()),
            Notice::Meter(meter) => News::Meter(meter),
            Notice::Pace(hops) => {
                self.listener.hear_every(hops);
                News::Pace(hops)
            }
        };
        self.tell(news);
        Ok(())
    }
}

impl Ear {
    fn listen(&mut self, samples: &[f32]) {
        let fault = self.listener.push(samples, &mut self.events);
        self.tell_heard(fault);
    }

    fn end(&mut self) {
        let fault = self.listener.finish(&mut self.events);
        self.tell_heard(fault);
    }

    /// Writes on a thread of its own: reading a minute takes longer than the input can wait.
    fn keep(&self, keep: Keep) {
        let (minute, news) = (self.last_minute.clone(), self.news.clone());
        let listening = self.listening.clone();
        let marks = minute.marks_within(&keep.marks, self.listener.position());
        thread::spawn(move || {
            let write = || minute.write(&listening, keep.naming, marks, &keep.into);
            let kept = match contained(write) {
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
