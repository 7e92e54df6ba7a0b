//! When packets of sound come, so that one can sleep through those that are not yet all that is waited for.
//!
//! Input: what came, and when it was seen. Output: how long to sleep. Units: times of any clock; lengths of sound as times.
//! Method: our own. A server sends packets of one length at that distance, each in two pieces; a reader that waits in the socket is woken by each
//! piece. From the last packet's time the one is foretold that brings all that is missing. A reader that had to wait after all moves the foretold times
//! back by [`LATER`] at most, since it may itself have been woken late; one that had not moves them on by [`EARLIER`], so that they follow both clocks.
//! Limits: packets that come otherwise cost wake-ups: one is never slept past by more than the length of a packet.

use std::time::{Duration, Instant};

/// What a packet may come after its time, and its second piece after the first.
const SLACK: Duration = Duration::from_micros(200);
/// The most by which a packet that was waited for puts off those to come.
const LATER: Duration = Duration::from_micros(300);
/// By how much a packet that was there already is taken for an earlier one: a third of [`LATER`], so one in four is waited for. With less, packets that
/// shake would all be read as late as the latest of them.
const EARLIER: Duration = Duration::from_micros(100);
/// A reading that took longer had to wait.
pub const WAITED: Duration = Duration::from_micros(150);

/// The times of packets.
#[derive(Debug, Default)]
pub struct Arrivals {
    /// When the last one came.
    last: Option<Instant>,
    /// How much sound it brought.
    packet: Duration,
}

impl Arrivals {
    /// `sound` has come in packets, the last of them of this length, and was read at `now`.
    pub fn came(&mut self, sound: Duration, packet: Duration, now: Instant, waited: bool) {
        let foretold = self.last.map_or(now, |last| last + sound);
        self.last = Some(match waited {
            true => now.min(foretold + LATER),
            false => now.min(foretold) - EARLIER,
        });
        self.packet = packet;
    }

    /// How long to sleep at `now` where `missing` is waited for; the packet that completes it is then there, or is about to come.
    pub fn sleep(&self, missing: Duration, now: Instant) -> Duration {
        let (Some(last), false) = (self.last, self.packet.is_zero()) else {
            return Duration::ZERO;
        };
        let packets = missing.as_secs_f64() / self.packet.as_secs_f64();
        let due = last + self.packet.mul_f64(packets.ceil()) + SLACK;
        due.saturating_duration_since(now)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PACKET: Duration = Duration::from_micros(5_170);
    const HOP: Duration = Duration::from_micros(23_220);

    /// Hears so many hops of packets that come at `at` (the nth, from 0); how often the reader was woken each hop, and how late it was at worst in
    /// the second half.
    fn heard(hops: u32, at: impl Fn(u32) -> Duration) -> (f64, Duration) {
        let start = Instant::now() + Duration::from_secs(1);
        let (mut arrivals, mut now) = (Arrivals::default(), start);
        let (mut packets, mut wakes, mut latest) = (0, 0, Duration::ZERO);
        for hop in 1..=hops {
            let needed = (HOP * hop).div_duration_f64(PACKET).ceil() as u32;
            while packets < needed {
                let missing = (HOP * hop).saturating_sub(PACKET * packets);
                let asleep = arrivals.sleep(missing, now);
                now += asleep;
                let there = (packets..).take_while(|&n| start + at(n) <= now).count() as u32;
                let (came, waited) = (there.max(1), there == 0);
                if waited {
                    now = start + at(packets);
                }
                wakes += u32::from(!asleep.is_zero()) + u32::from(waited);
                packets += came;
                arrivals.came(PACKET * came, PACKET, now, waited);
            }
            if hop > hops / 2 {
                latest = latest.max(now - (start + at(needed - 1)));
            }
        }
        (f64::from(wakes) / f64::from(hops), latest)
    }

    #[test]
    fn regular_packets_wake_the_reader_four_times_in_three_hops_and_are_not_slept_past() {
        // a clock that is off by 200 ppm either way
        for ppm in [0.0, 200.0, -200.0] {
            let (wakes, late) = heard(2_000, |n| (PACKET * (n + 1)).mul_f64(1.0 + ppm / 1e6));
            assert!(wakes < 1.4, "{ppm}: {wakes}");
            assert!(late < Duration::from_micros(600), "{ppm}: {late:?}");
        }
    }

    #[test]
    fn packets_that_shake_or_come_in_bursts_are_late_by_less_than_one() {
        let shaking = |n: u32| PACKET * (n + 1) + Duration::from_micros(u64::from(n * 7 % 13) * 40);
        let (wakes, late) = heard(2_000, shaking);
        assert!(
            wakes < 2.0 && late < Duration::from_micros(1_000),
            "{wakes} {late:?}"
        );
        let bursts = |n: u32| PACKET * 4 * (n / 4 + 1);
        let (wakes, late) = heard(2_000, bursts);
        assert!(wakes < 4.0 && late < PACKET, "{wakes} {late:?}");
    }

    #[test]
    fn packets_that_begin_to_come_earlier_are_soon_met() {
        let earlier = |n: u32| PACKET * (n + 2) - if n > 500 { PACKET / 2 } else { Duration::ZERO };
        let (_, late) = heard(1_000, earlier);
        assert!(late < Duration::from_micros(600), "{late:?}");
    }
}
