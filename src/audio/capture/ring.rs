//! The lock-free way from the sound callback to the listener's thread, with exact account of what was lost.
//!
//! Input: interleaved device blocks in the callback ([`Writer::on_block`]). Output: mono samples and gaps ([`Reader::take`]).
//! Units: frames at the device's rate; full scale ±1.
//! Method: a single-producer single-consumer ring (ringbuf). When it is full the newest frames are dropped and counted, and
//! the callback stays in the gap until the ring has been emptied; it publishes the gap's length before it writes again. So
//! all samples in the ring lie on one side of a gap, and the reader knows exactly where the gap belongs.
//! Limits: an overrun costs all sound until the reader has emptied the ring.

use super::watch::Fault;
use crate::audio::downmix::Downmix;
use cpal::{FromSample, Sample};
use ringbuf::traits::{Consumer, Observer, Producer, Split};
use ringbuf::{HeapCons, HeapProd, HeapRb};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU8, AtomicU64, Ordering, fence};
use std::thread::{self, Thread};
use std::time::Duration;

/// What the callbacks tell the other side; only atomics, since neither side may wait.
#[derive(Debug, Default)]
pub struct Counters {
    /// Frames delivered by the device, dropped ones included.
    delivered: AtomicU64,
    /// Frames dropped because the ring was full.
    dropped: AtomicU64,
    /// The longest block delivered, frames.
    longest_block: AtomicU64,
    /// Total length of the gaps that lie before what is in the ring.
    gaps: AtomicU64,
    /// Overruns that the sound system reported.
    overruns: AtomicU64,
    /// Runs of samples at full scale.
    clipped_runs: AtomicU64,
    /// Frames in the ring below which the reader sleeps on.
    awaited: AtomicU64,
    /// True once any sample was not exactly zero.
    any_sound: AtomicBool,
    /// The first error after which the stream is dead, by [`Fault::code`]; 0: none.
    fault: AtomicU8,
}

impl Counters {
    /// Frames delivered so far, dropped ones included.
    pub fn delivered(&self) -> u64 {
        self.delivered.load(Ordering::Relaxed)
    }

    /// Frames dropped so far because nobody took them in time.
    pub fn dropped(&self) -> u64 {
        self.dropped.load(Ordering::Relaxed)
    }

    /// The longest block delivered so far, frames.
    pub fn longest_block(&self) -> u64 {
        self.longest_block.load(Ordering::Relaxed)
    }

    /// Overruns reported by the sound system so far.
    pub fn overruns(&self) -> u64 {
        self.overruns.load(Ordering::Relaxed)
    }

    /// Runs of full-scale samples so far.
    pub fn clipped_runs(&self) -> u64 {
        self.clipped_runs.load(Ordering::Relaxed)
    }

    /// True once any sample was not exactly zero.
    pub fn any_sound(&self) -> bool {
        self.any_sound.load(Ordering::Relaxed)
    }

    /// Why the stream died, if it did.
    pub fn fault(&self) -> Option<Fault> {
        Fault::from_code(self.fault.load(Ordering::Acquire))
    }

    /// For the error callback: counts an overrun. Neither allocates nor blocks.
    pub fn count_overrun(&self) {
        self.overruns.fetch_add(1, Ordering::Relaxed);
    }

    /// For the error callback, which a dead stream may call 400,000 times a second: keeps the first fault.
    pub fn set_fault(&self, fault: Fault) {
        let _ = self
            .fault
            .compare_exchange(0, fault.code(), Ordering::Release, Ordering::Relaxed);
    }
}

/// The callback's side.
pub struct Writer {
    ring: HeapProd<f32>,
    downmix: Downmix,
    counters: Arc<Counters>,
    /// Woken once it has what it waits for: costs an atomic exchange, and a system call that does not wait where it sleeps.
    listener: Thread,
    /// Frames dropped since the ring was last found full, not yet published.
    gap: u64,
}

/// The listener's side.
pub struct Reader {
    ring: HeapCons<f32>,
    counters: Arc<Counters>,
    gaps_seen: u64,
}

/// What [`Reader::take`] found, in order of time: first the gap, then the samples.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Taken {
    /// Frames that were lost before the samples.
    pub gap: u64,
    /// Samples appended.
    pub frames: usize,
}

/// A ring for `capacity` mono frames, fed by frames of `channels` samples. The thread that makes it is the one that may [`Reader::wait`].
///
/// # Panics
/// If either is 0.
pub fn ring(capacity: usize, channels: usize) -> (Writer, Reader, Arc<Counters>) {
    let (producer, consumer) = HeapRb::new(capacity).split();
    let counters = Arc::new(Counters::default());
    let writer = Writer {
        ring: producer,
        downmix: Downmix::new(channels),
        counters: counters.clone(),
        listener: thread::current(),
        gap: 0,
    };
    let reader = Reader {
        ring: consumer,
        counters: counters.clone(),
        gaps_seen: 0,
    };
    (writer, reader, counters)
}

impl Writer {
    /// Takes a block of interleaved samples of any format. Real-time safe: no allocation, lock, print or wait.
    pub fn on_block<T: Sample>(&mut self, interleaved: &[T])
    where
        f32: FromSample<T>,
    {
        let frames = (interleaved.len() / self.downmix.channels()) as u64;
        self.counters.delivered.fetch_add(frames, Ordering::Relaxed);
        self.counters
            .longest_block
            .fetch_max(frames, Ordering::Relaxed);
        if self.gap > 0 && self.ring.is_empty() {
            self.counters.gaps.fetch_add(self.gap, Ordering::Release);
            self.gap = 0;
        }
        let room = if self.gap > 0 {
            0
        } else {
            self.ring.vacant_len() as u64
        };
        let kept = room.min(frames);
        let downmix = &mut self.downmix;
        let mono = interleaved
            .iter()
            .filter_map(|&sample| downmix.push(f32::from_sample(sample)));
        self.ring.push_iter(mono.take(kept as usize));
        if kept < frames {
            self.gap += frames - kept;
            self.counters
                .dropped
                .fetch_add(frames - kept, Ordering::Relaxed);
        }
        self.counters
            .clipped_runs
            .store(self.downmix.clipped_runs(), Ordering::Relaxed);
        if self.downmix.peak() > 0.0 {
            self.counters.any_sound.store(true, Ordering::Relaxed);
        }
        // Either the reader sees what was pushed, or it is seen here what the reader waits for.
        fence(Ordering::SeqCst);
        if self.waiting() as u64 >= self.counters.awaited.load(Ordering::Relaxed) {
            self.listener.unpark();
        }
    }

    /// Frames that were not taken yet.
    pub fn waiting(&self) -> usize {
        self.ring.occupied_len()
    }
}

impl Reader {
    /// Frames waiting.
    pub fn waiting(&self) -> usize {
        self.ring.occupied_len()
    }

    /// Waits until `frames` are there (none: any block), or for `limit`. May come back early.
    pub fn wait(&self, frames: usize, limit: Duration) {
        self.counters
            .awaited
            .store(frames as u64, Ordering::Relaxed);
        fence(Ordering::SeqCst);
        if frames == 0 || self.waiting() < frames {
            thread::park_timeout(limit);
        }
    }

    /// Drops the oldest frames until `keep` are left; says how many went.
    pub fn skip_to_newest(&mut self, keep: usize) -> usize {
        let surplus = self.ring.occupied_len().saturating_sub(keep);
        self.ring.skip(surplus)
    }

    /// Appends what is waiting to `out`, and says what was lost before it.
    pub fn take(&mut self, out: &mut Vec<f32>) -> Taken {
        // The order matters: samples seen here were written after any gap published before them, and while they wait
        // no later gap is published.
        let waiting = self.ring.occupied_len();
        let gaps = self.counters.gaps.load(Ordering::Acquire);
        let gap = gaps - self.gaps_seen;
        self.gaps_seen = gaps;
        let start = out.len();
        out.resize(start + waiting, 0.0);
        let frames = self.ring.pop_slice(&mut out[start..]);
        out.truncate(start + frames);
        Taken { gap, frames }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Instant;

    #[test]
    fn stereo_integers_arrive_as_mono_between_minus_one_and_one() {
        let (mut writer, mut reader, _) = ring(16, 2);
        writer.on_block(&[i16::MAX, i16::MAX, i16::MIN, i16::MIN, 0, 16_384]);
        let mut out = Vec::new();
        assert_eq!(reader.take(&mut out), Taken { gap: 0, frames: 3 });
        assert!(
            (out[0] - 1.0).abs() < 1e-4 && out[1] == -1.0 && (out[2] - 0.25).abs() < 1e-6,
            "{out:?}"
        );
    }

    #[test]
    fn unsigned_samples_rest_at_half_range() {
        let (mut writer, mut reader, _) = ring(16, 1);
        writer.on_block(&[32_768u16, 65_535, 0]);
        let mut out = Vec::new();
        reader.take(&mut out);
        assert!(
            out[0] == 0.0 && (out[1] - 1.0).abs() < 1e-4 && out[2] == -1.0,
            "{out:?}"
        );
    }

    #[test]
    fn an_overrun_is_counted_and_its_gap_lies_exactly_where_the_frames_are_missing() {
        let (mut writer, mut reader, counters) = ring(10, 1);
        let block =
            |from: i32| -> Vec<f32> { (from..from + 4).map(|n| n as f32 / 100.0).collect() };
        for start in [0, 4, 8, 12] {
            writer.on_block(&block(start));
        }
        assert_eq!(counters.dropped(), 6);
        let mut out = Vec::new();
        assert_eq!(reader.take(&mut out), Taken { gap: 0, frames: 10 });
        writer.on_block(&block(16));
        let mut later = Vec::new();
        assert_eq!(reader.take(&mut later), Taken { gap: 6, frames: 4 });
        assert_eq!(later, block(16));
        assert_eq!(counters.delivered(), 20);
    }

    #[test]
    fn the_newest_sound_is_what_a_late_reader_keeps() {
        let (mut writer, mut reader, _) = ring(100, 1);
        writer.on_block(&(0..50).map(|n| n as f32 / 100.0).collect::<Vec<f32>>());
        assert_eq!(reader.skip_to_newest(5), 45);
        let mut out = Vec::new();
        reader.take(&mut out);
        assert_eq!(out, [0.45, 0.46, 0.47, 0.48, 0.49]);
    }

    #[test]
    fn a_reader_is_woken_once_all_that_it_waits_for_is_there() {
        let (mut writer, reader, _) = ring(1_000, 1);
        let begun = Instant::now();
        let player = thread::spawn(move || {
            for _ in 0..3 {
                thread::sleep(Duration::from_millis(20));
                writer.on_block(&[0.1; 10]);
            }
        });
        reader.wait(25, Duration::from_secs(60));
        assert!(reader.waiting() >= 25, "{}", reader.waiting());
        reader.wait(30, Duration::from_millis(1));
        player.join().unwrap();
        reader.wait(30, Duration::from_secs(60));
        assert!(begun.elapsed() < Duration::from_secs(30));
    }

    #[test]
    fn the_first_fault_stays() {
        let counters = Counters::default();
        assert_eq!(counters.fault(), None);
        counters.set_fault(Fault::DeviceGone);
        counters.set_fault(Fault::SoundSystem);
        assert_eq!(counters.fault(), Some(Fault::DeviceGone));
    }
}
