//! A thread that reads a sound input until it is ended.
//!
//! Input: what the thread does. Output: a running thread.
//! Units: none. Method: a flag, which the thread looks at between two waits. Limits: it ends once the wait does that has begun.

use std::io;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::{self, JoinHandle};

/// Reads until it is dropped.
pub struct Reading {
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Reading {
    /// Does `work` on a thread of its own, which is to return once the flag is set.
    ///
    /// # Errors
    /// If the system has no thread left.
    pub fn start(work: impl FnOnce(&AtomicBool) + Send + 'static) -> io::Result<Self> {
        let stop = Arc::new(AtomicBool::new(false));
        let stopped = stop.clone();
        let thread = thread::Builder::new().name("sound input".to_owned());
        Ok(Self {
            stop,
            thread: Some(thread.spawn(move || work(&stopped))?),
        })
    }
}

impl Drop for Reading {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}
