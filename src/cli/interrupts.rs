//! Nothing half-written stays where a command is ended from outside.
//!
//! Input: INT, TERM and HUP. Output: the unfinished files are gone, then the process ends as it would have. Units: none.
//! Method: a thread that waits for these signals (crate `signal-hook`). A signal that was ignored when the program began stays ignored, so that
//! `nohup` and background jobs run on. Limits: KILL cannot be met; the next run into the folder clears what it leaves. Unix only.

/// From now on the unfinished files of this process are removed when a signal ends it.
#[cfg(unix)]
pub fn remove_unfinished_when_ended() {
    use crate::store::file::remove_unfinished;
    use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
    use signal_hook::low_level::emulate_default_handler;

    let ignored = ignored_signals();
    let heeded = [SIGINT, SIGTERM, SIGHUP]
        .into_iter()
        .filter(|&signal| ignored >> (signal - 1) & 1 == 0);
    // Without it everything works as before, except that a temporary file may stay.
    let Ok(mut signals) = signal_hook::iterator::Signals::new(heeded) else {
        return;
    };
    std::thread::spawn(move || {
        for signal in signals.forever() {
            remove_unfinished();
            if emulate_default_handler(signal).is_err() {
                std::process::exit(128 + signal);
            }
        }
    });
}

/// Nothing to do here.
#[cfg(not(unix))]
pub fn remove_unfinished_when_ended() {}

/// The signals that this process ignores, a bit each from 1 on; where the system does not tell, HUP counts as ignored.
#[cfg(unix)]
fn ignored_signals() -> u64 {
    const HANG_UP: u64 = 1;
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let mask = status.lines().find_map(|line| line.strip_prefix("SigIgn:"));
    mask.and_then(|mask| u64::from_str_radix(mask.trim(), 16).ok())
        .unwrap_or(HANG_UP)
}
