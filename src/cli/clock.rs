//! What time it is: the one place where commands ask.
//!
//! Input: the clock of the system and its time zone. Output: a [`Moment`]. Units: Unix milliseconds (UTC), days since 1970-01-01 and days of the week
//! (0 is Monday) by the calendar of the place. Method: crate `jiff` with the time-zone database of the system.
//! Limits: a clock that is set wrong is believed.

use jiff::civil::{Date, date};
use jiff::tz::TimeZone;
use jiff::{Timestamp, ZonedDateTime};

/// A moment as the logbook counts it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Moment {
    /// Milliseconds since 1970-01-01, UTC.
    pub unix_ms: i64,
    /// Days since 1970-01-01 by the calendar of the place.
    pub day: i32,
    /// 0 is Monday.
    pub weekday: usize,
}

impl Moment {
    /// Now, here.
    pub fn now() -> Self {
        Self::at(&ZonedDateTime::now())
    }

    fn at(zoned: &ZonedDateTime) -> Self {
        Self {
            unix_ms: zoned.timestamp().as_millisecond(),
            day: day_number(zoned.date()),
            weekday: usize::try_from(zoned.weekday().to_monday_zero_offset()).unwrap_or(0),
        }
    }

    /// So many seconds earlier, in the same place; this moment where that is beyond all time.
    pub fn earlier(self, seconds: f64) -> Self {
        let unix_ms = self.unix_ms - (1000.0 * seconds).round() as i64;
        match Timestamp::from_millisecond(unix_ms) {
            Ok(timestamp) => Self::at(&timestamp.to_zoned_datetime(TimeZone::system())),
            Err(_) => self,
        }
    }
}

fn day_number(day: Date) -> i32 {
    date(1970, 1, 1).duration_until(day).as_hours() as i32 / 24
}

/// A day as it is written: 2026-11-27; `None` beyond the calendar.
pub fn day_text(day: i32) -> Option<String> {
    let timestamp = Timestamp::from_second(i64::from(day) * 86_400).ok()?;
    Some(
        timestamp
            .to_zoned_datetime(TimeZone::UTC)
            .date()
            .to_string(),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn moment(text: &str) -> Moment {
        Moment::at(&text.parse().unwrap())
    }

    #[test]
    fn the_day_changes_at_midnight_of_the_place() {
        let late = moment("2026-11-27T23:59:59[Europe/Berlin]");
        let early = moment("2026-11-28T00:00:01[Europe/Berlin]");
        assert_eq!(early.day, late.day + 1);
        assert_eq!(early.unix_ms - late.unix_ms, 2000);
        assert_eq!((late.weekday, early.weekday), (4, 5));
    }

    #[test]
    fn the_same_moment_is_another_day_elsewhere() {
        let [here, there] = [
            "2026-11-28T00:30:00+01:00[Europe/Berlin]",
            "2026-11-27T18:30:00-05:00[America/New_York]",
        ]
        .map(moment);
        assert_eq!(here.unix_ms, there.unix_ms);
        assert_eq!(here.day, there.day + 1);
    }

    #[test]
    fn days_are_counted_from_1970_and_written_as_dates() {
        assert_eq!(moment("1970-01-02T12:00:00[UTC]").day, 1);
        let day = moment("2026-11-27T12:00:00[UTC]").day;
        assert_eq!(day_text(day).as_deref(), Some("2026-11-27"));
    }

    #[test]
    fn the_night_when_clocks_are_changed_has_one_date() {
        let before = moment("2026-10-25T02:30:00+02:00[Europe/Berlin]");
        let after = moment("2026-10-25T02:30:00+01:00[Europe/Berlin]");
        assert_eq!(
            (before.day, after.unix_ms - before.unix_ms),
            (after.day, 3_600_000)
        );
    }
}
