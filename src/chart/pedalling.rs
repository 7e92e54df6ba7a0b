//! When the sustaining pedal is down, from what each frame tells of it.
//!
//! Input: the probability of each frame of a recording that the pedal is down, as the second look of [`crate::notes`] gives it. Output:
//! [`PedalSpan`]s, by start. Units: seconds; frames of `HOP_SAMPLES`; odds in natural logarithms.
//! Method: the likeliest course of down and up by the Viterbi algorithm (Viterbi 1967); a frame says `SAYS` times its log-odds, since
//! neighbours say much the same, and each move of the foot costs `MOVE`.
//! Limits: hands that hold all they strike sound nearly the same without it; half pedal reads as one or the other; a pedal that changes faster
//! than some 0.15 s is not followed; of a recording that is judged without knowing what comes after (live), nothing is told.

use crate::units::{SamplePos, SampleRate, Seconds, Share, log_odds, probability};

/// A stretch with the pedal down.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PedalSpan {
    /// When it goes down.
    pub start: Seconds,
    /// When it comes up.
    pub end: Seconds,
    /// Probability that it is down between, the mean of the frames.
    pub confidence: Share,
}

/// What a frame tells of the pedal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PedalFrame {
    /// The end of the frame's window.
    pub at: SamplePos,
    /// Probability that the pedal is down.
    pub down: f32,
}

/// Added to the log-odds: a pedal that is missed costs more than one that is told too long. This and the next two were chosen on clips that `training/practice.py`
/// renders (`training/README.md`).
const MORE_OFTEN: f64 = 2.2;
/// A frame says this share of its log-odds.
const SAYS: f64 = 1.0;
/// A move of the foot costs this much, in log-odds.
const MOVE: f64 = 1.0;
/// From a move of the foot to the end of the first frame that is judged by it, in samples: the network was trained to tell the pedal as it is
/// 30 ms before the end of a frame, as it does the keys.
const LAG: u64 = 661;

/// Where the pedal is down; `frames` in order.
pub fn pedal_spans(frames: &[PedalFrame]) -> Vec<PedalSpan> {
    let time = |at: SamplePos| {
        let seconds = SamplePos::new(at.get().saturating_sub(LAG)).seconds(SampleRate::INTERNAL);
        seconds.to_millis_precision()
    };
    let odds: Vec<f64> = frames
        .iter()
        .map(|frame| f64::from(log_odds(frame.down)) + MORE_OFTEN)
        .collect();
    let says: Vec<f64> = odds.iter().map(|odds| SAYS * odds).collect();
    let down = likeliest_course(&says);
    let mut spans = Vec::new();
    let mut first = 0;
    for run in down.chunk_by(|a, b| a == b) {
        let next = first + run.len();
        if run[0] {
            let sum: f32 = odds[first..next]
                .iter()
                .map(|&o| probability(o as f32))
                .sum();
            let after = frames.get(next).unwrap_or(&frames[next - 1]);
            spans.push(PedalSpan {
                start: time(frames[first].at),
                end: time(after.at),
                confidence: Share::clamped(sum / run.len() as f32),
            });
        }
        first = next;
    }
    spans
}

/// Down or up at each moment, so that the sum of what speaks for it, less [`MOVE`] for each change, is largest.
fn likeliest_course(odds: &[f64]) -> Vec<bool> {
    let (mut up, mut down) = (0.0_f64, 0.0_f64);
    let from_other: Vec<[bool; 2]> = odds
        .iter()
        .map(|odds| {
            let half = odds / 2.0;
            let moved = [down - MOVE > up, up - MOVE > down];
            (up, down) = (up.max(down - MOVE) - half, down.max(up - MOVE) + half);
            moved
        })
        .collect();
    let mut is_down = down > up;
    let mut course: Vec<bool> = from_other
        .iter()
        .rev()
        .map(|moved| {
            let here = is_down;
            if moved[usize::from(here)] {
                is_down = !here;
            }
            here
        })
        .collect();
    course.reverse();
    course
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_likeliest_course_is_the_best_of_all_courses() {
        let mut random = fastrand::Rng::with_seed(16);
        for _ in 0..300 {
            let odds: Vec<f64> = (0..9).map(|_| 6.0 * (random.f64() - 0.5)).collect();
            let worth = |course: &[bool]| {
                let said: f64 = course
                    .iter()
                    .zip(&odds)
                    .map(|(&down, &odds)| if down { odds } else { -odds } / 2.0)
                    .sum();
                let moves = course.windows(2).filter(|pair| pair[0] != pair[1]).count();
                said - MOVE * moves as f64
            };
            let best = (0..1 << odds.len())
                .map(|bits: u32| {
                    (0..odds.len())
                        .map(|i| bits >> i & 1 == 1)
                        .collect::<Vec<_>>()
                })
                .map(|course| worth(&course))
                .fold(f64::MIN, f64::max);
            assert!((worth(&likeliest_course(&odds)) - best).abs() < 1e-9);
        }
    }

    #[test]
    fn a_frame_of_doubt_is_no_move_of_the_foot() {
        let frame = |n: u64, down| PedalFrame {
            at: SamplePos::new(512 * n),
            down,
        };
        let frames: Vec<PedalFrame> = (0..100)
            .map(|n| {
                frame(
                    n,
                    match n {
                        50 => 0.05,
                        20..80 => 0.95,
                        _ => 0.02,
                    },
                )
            })
            .collect();
        let spans = pedal_spans(&frames);
        assert_eq!(spans.len(), 1, "{spans:?}");
        assert!((spans[0].start.get() - (20.0 * 512.0 - 661.0) / 22050.0).abs() < 1e-3);
        assert!((spans[0].end.get() - (80.0 * 512.0 - 661.0) / 22050.0).abs() < 1e-3);
    }
}
