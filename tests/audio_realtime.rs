//! The sound callback takes no memory: checked with an allocator that counts.
//!
//! A file of its own, because the allocator serves the whole test binary.

#![cfg(feature = "live")]

use assert_no_alloc::{AllocDisabler, assert_no_alloc, violation_count};
use lidprop::audio::capture::ring::ring;

#[global_allocator]
static ALLOCATOR: AllocDisabler = AllocDisabler;

#[test]
fn the_callback_takes_no_memory_even_when_the_ring_is_full() {
    let (mut writer, mut reader, counters) = ring(4096, 2);
    let (floats, integers) = ([0.25f32; 1024], [1000i16; 1024]);
    writer.on_block(&floats);
    let before = violation_count();
    assert_no_alloc(|| {
        for _ in 0..10 {
            writer.on_block(&floats);
            writer.on_block(&integers);
        }
        counters.count_overrun();
    });
    assert_eq!(violation_count() - before, 0);
    assert_eq!(counters.dropped(), 21 * 512 - 4096);
    let mut taken = Vec::new();
    assert_eq!(reader.take(&mut taken).frames, 4096);

    assert_no_alloc(|| taken.reserve(1 << 20));
    assert!(violation_count() > before, "the guard itself works");
}

#[test]
fn the_callback_of_the_output_takes_no_memory() {
    let source = lidprop::audio::playback::Source::new(vec![0.1_f32; 1000].into());
    let mut block = [0.0_f32; 512];
    let before = violation_count();
    assert_no_alloc(|| {
        for _ in 0..6 {
            source.fill(&mut block, 2, |x| x);
        }
    });
    assert_eq!(violation_count() - before, 0);
    assert!(source.is_over());
    assert_eq!(block[511], 0.0, "silence after the end");
}
