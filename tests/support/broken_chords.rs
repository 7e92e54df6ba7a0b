//! A two-five-one in F, broken over its bass in eighths: what several tests of playing play.

/// The bass and the keys above it, a bar each.
pub const BARS: [(u8, [u8; 4]); 4] = [
    (43, [58, 62, 65, 69]),
    (36, [58, 62, 64, 69]),
    (41, [57, 60, 64, 67]),
    (41, [57, 60, 62, 67]),
];
/// Seconds a beat lasts; four are a bar.
pub const BEAT: f64 = 0.6;

/// The bar with this number, which begins at `from` seconds: keys with their starts and lengths in seconds.
pub fn broken_bar(number: usize, from: f64) -> Vec<(u8, f64, f64)> {
    let (bass, keys) = BARS[number % 4];
    let mut played = vec![(bass, from, 3.9 * BEAT)];
    for (eighth, place) in [0, 1, 2, 3, 2, 1, 2, 3].into_iter().enumerate() {
        let at = from + eighth as f64 * BEAT / 2.0;
        played.push((keys[place], at, 0.45 * BEAT));
    }
    played
}
