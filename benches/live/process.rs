//! What a process takes: processor time and resident memory.
//!
//! Input: a process number. Output: [`Taken`]. Units: seconds of one core; KiB.
//! Method: `/proc/PID/stat` and `/proc/PID/status` (Linux). Limits: the kernel's clock ticks, 10 ms.

/// What a process has taken so far.
#[derive(Debug, Clone, Copy)]
pub struct Taken {
    /// Processor time of all its threads, seconds.
    pub seconds: f64,
    /// Resident now, KiB.
    pub resident_kib: f64,
}

/// Looks at a process.
pub fn taken(number: u32) -> Result<Taken, String> {
    let read = |what: &str| {
        let path = format!("/proc/{number}/{what}");
        std::fs::read_to_string(&path).map_err(|e| format!("{path} cannot be read: {e}"))
    };
    let (stat, status) = (read("stat")?, read("status")?);
    let resident = status.lines().find_map(|line| {
        let value = line.strip_prefix("VmRSS:")?.trim().strip_suffix("kB")?;
        value.trim().parse().ok()
    });
    match (seconds_in(&stat), resident) {
        (Some(seconds), Some(resident_kib)) => Ok(Taken {
            seconds,
            resident_kib,
        }),
        _ => Err(format!("/proc/{number} is not written as expected")),
    }
}

/// Processor time that a `stat` file of a process or of one of its threads tells, seconds.
pub fn seconds_in(stat: &str) -> Option<f64> {
    // The name in parentheses may hold spaces; user and system time are the 12th and 13th value after it (proc_pid_stat(5)).
    let after_name = stat.rsplit_once(')').map_or("", |(_, rest)| rest);
    let mut values = after_name.split_whitespace().skip(11);
    let user: u64 = values.next()?.parse().ok()?;
    let system: u64 = values.next()?.parse().ok()?;
    Some((user + system) as f64 / TICKS_A_SECOND)
}

/// `USER_HZ`, 100 on every Linux in use.
const TICKS_A_SECOND: f64 = 100.0;
