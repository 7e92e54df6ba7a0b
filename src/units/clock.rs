//! Times as players say them: `1:07.4`, `1:02:03`.
//!
//! Input: text or [`Seconds`]. Output: the other. Units: hours, minutes, seconds with decimals.
//! Method: numbers between colons, the last one seconds; below the first no number reaches 60. Limits: written to tenths of a second.

use super::Seconds;
use std::str::FromStr;

/// A time that is none.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("give a time as 1:20, 1:02:03.5 or in seconds, say 80.5")]
pub struct NoTime;

/// A sixtieth of the place before: minutes of an hour, seconds of a minute.
const SIXTY: f64 = 60.0;
/// Most hours that are taken for a time: some weeks.
const MOST_HOURS: f64 = 1000.0;

/// A time: `1:07.4`, with hours where there are any.
pub fn clock(at: Seconds) -> String {
    let tenths = (at.get().max(0.0) * 10.0).round() as u64;
    let (seconds, tenth) = (tenths / 10, tenths % 10);
    let (hours, minutes, seconds) = (seconds / 3600, seconds / 60 % 60, seconds % 60);
    if hours > 0 {
        format!("{hours}:{minutes:02}:{seconds:02}.{tenth}")
    } else {
        format!("{minutes}:{seconds:02}.{tenth}")
    }
}

/// The time that a text says: `m:ss`, `h:mm:ss`, or seconds.
///
/// # Errors
/// If it says none.
pub fn parse_clock(text: &str) -> Result<Seconds, NoTime> {
    let parts: Vec<&str> = text.trim().split(':').collect();
    let digits = |part: &str, more: &[char]| {
        part.starts_with(|c: char| c.is_ascii_digit())
            && part
                .chars()
                .all(|c| c.is_ascii_digit() || more.contains(&c))
    };
    let (last, before) = parts.split_last().ok_or(NoTime)?;
    if before.len() > 2 || !digits(last, &['.']) || !before.iter().all(|part| digits(part, &[])) {
        return Err(NoTime);
    }
    let mut seconds = 0.0;
    for (place, part) in parts.iter().enumerate() {
        let number = f64::from_str(part).map_err(|_| NoTime)?;
        if place > 0 && number >= SIXTY {
            return Err(NoTime);
        }
        seconds = seconds * SIXTY + number;
    }
    Seconds::new(seconds)
        .ok()
        .filter(|s| s.get() < MOST_HOURS * SIXTY * SIXTY)
        .ok_or(NoTime)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_time_reads_as_it_is_said() {
        for (text, seconds) in [
            ("0", 0.0),
            ("80.5", 80.5),
            ("1:20", 80.0),
            ("1:20.25", 80.25),
            ("75:00", 4500.0),
            ("1:02:03", 3723.0),
            (" 0:07 ", 7.0),
        ] {
            assert_eq!(parse_clock(text).map(Seconds::get), Ok(seconds), "{text}");
        }
        for text in [
            "",
            ":",
            "1:",
            ":20",
            "1:60",
            "1:75:00",
            "-3",
            "+3",
            "1:-2",
            "1.5:00",
            "1:2:3:4",
            "NaN",
            "inf",
            "1e3",
            "soon",
            "99999999999999",
            "1..5",
        ] {
            assert_eq!(parse_clock(text), Err(NoTime), "{text}");
        }
    }

    #[test]
    fn what_is_written_reads_the_same() {
        for tenths in [0, 7, 599, 600, 35_999, 36_000, 123_456] {
            let at = Seconds::new(f64::from(tenths) / 10.0).unwrap();
            assert_eq!(parse_clock(&clock(at)), Ok(at));
        }
    }
}
