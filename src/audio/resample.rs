//! Mono samples at any rate to the internal rate, with the resampler's own delay taken out.
//!
//! Input: blocks of mono samples of any size. Output: the same sound at [`SampleRate::INTERNAL`], sample 0 at time 0.
//! Units: full scale ±1; gain 1 in the pass band.
//! Method: rubato's windowed sinc of 256 frames, evaluated at any place between two samples, for recordings as for live sound, so that both are
//! heard alike; unlike an FFT it waits for no block. The filter's delay is dropped from the start and the tail is flushed with as many zeros. Equal rates are passed through.
//! Limits: the band ends some 10 % below the lower Nyquist frequency (5.6 dB down at 10 kHz). A live listener waits 3 ms for it, from 48 kHz.

use crate::units::SampleRate;
use audioadapter_buffers::direct::SequentialSlice;
use rubato::{
    Async, FixedAsync, Indexing, Resampler as _, SincInterpolationParameters,
    SincInterpolationType, WindowFunction,
};

/// Input frames a step, which are waited for: 0.7 ms at 48 kHz.
const CHUNK_FRAMES: usize = 32;
/// Input frames that each sample is made of, for each 48 kHz of its rate; half of them are its delay: 2.7 ms.
const FILTER_FRAMES: usize = 256;

/// The sinc is known at so many places between two samples at least.
const FEWEST_PLACES: u32 = 64;
/// Rates that no device has lie at more places; the nearest of so many is 0.001 samples off at most.
const MOST_PLACES: u32 = 512;

/// Brings one mono stream to [`SampleRate::INTERNAL`]; keeps constant memory.
pub struct Resampler {
    from: SampleRate,
    /// `None` where the rates are equal.
    engine: Option<Engine>,
    taken: u64,
    given: u64,
}

struct Engine {
    filter: Async<f32>,
    /// Input that does not fill a chunk yet.
    waiting: Vec<f32>,
    output: Vec<f32>,
    /// Output frames still to be dropped: the resampler's delay.
    delay_left: usize,
}

impl Resampler {
    /// From `from` to [`SampleRate::INTERNAL`]; all memory is taken here.
    #[allow(
        clippy::expect_used,
        reason = "the resampler is given what is made here, from a rate that was checked"
    )]
    pub fn new(from: SampleRate) -> Self {
        let to = SampleRate::INTERNAL;
        let engine = (from != to).then(|| {
            let length = FILTER_FRAMES * from.get().div_ceil(48_000) as usize;
            // Samples of the internal rate lie at so many places between two of the input, and the sinc is known at each of them, or within 1/128.
            let places = to.get() / greatest_divisor(from.get());
            let sinc = SincInterpolationParameters::new(length, WindowFunction::BlackmanHarris2)
                .oversampling_factor(places.clamp(FEWEST_PLACES, MOST_PLACES) as usize)
                .interpolation(SincInterpolationType::Nearest);
            let ratio = f64::from(to.get()) / f64::from(from.get());
            let filter = Async::new_sinc(ratio, 1.0, &sinc, CHUNK_FRAMES, 1, FixedAsync::Input)
                .expect("the ratio is above zero and there is one channel");
            Engine {
                waiting: Vec::with_capacity(CHUNK_FRAMES),
                output: vec![0.0; filter.output_frames_max()],
                // The first sample that comes out is one step after half the filter before the first that goes in.
                delay_left: (0.5 * length as f64 * ratio - 1.0).round() as usize,
                filter,
            }
        });
        Self {
            from,
            engine,
            taken: 0,
            given: 0,
        }
    }

    /// The rate it resamples from.
    pub fn from_rate(&self) -> SampleRate {
        self.from
    }

    /// Resamples `input` and appends what is ready to `out`.
    pub fn process(&mut self, input: &[f32], out: &mut Vec<f32>) {
        self.taken += input.len() as u64;
        let before = out.len();
        match &mut self.engine {
            None => out.extend_from_slice(input),
            Some(engine) => engine.process(input, out),
        }
        self.given += (out.len() - before) as u64;
    }

    /// Appends the tail that is still inside: afterwards as much time has come out as went in.
    pub fn finish(&mut self, out: &mut Vec<f32>) {
        let due = internal_frames(self.taken, self.from);
        let zeros = [0.0; CHUNK_FRAMES];
        let before = out.len();
        if let Some(engine) = &mut self.engine {
            while self.given + ((out.len() - before) as u64) < due {
                engine.process(&zeros, out);
            }
            out.truncate(before + (due - self.given) as usize);
        }
        self.given = due;
    }
}

/// How many frames at [`SampleRate::INTERNAL`] last as long as `frames` at `rate`, rounded to the nearest.
pub fn internal_frames(frames: u64, rate: SampleRate) -> u64 {
    let (to, from) = (
        u128::from(SampleRate::INTERNAL.get()),
        u128::from(rate.get()),
    );
    ((u128::from(frames) * to + from / 2) / from) as u64
}

/// The greatest number that divides `rate` and the internal rate.
fn greatest_divisor(rate: u32) -> u32 {
    let (mut one, mut other) = (rate, SampleRate::INTERNAL.get());
    while other > 0 {
        (one, other) = (other, one % other);
    }
    one
}

impl Engine {
    fn process(&mut self, mut input: &[f32], out: &mut Vec<f32>) {
        while !input.is_empty() {
            let (now, later) = input.split_at(input.len().min(CHUNK_FRAMES - self.waiting.len()));
            self.waiting.extend_from_slice(now);
            input = later;
            if self.waiting.len() == CHUNK_FRAMES {
                self.step(out);
            }
        }
    }

    #[allow(
        clippy::expect_used,
        reason = "the resampler is given what is made here, from a rate that was checked"
    )]
    fn step(&mut self, out: &mut Vec<f32>) {
        let frames_max = self.output.len();
        let input =
            SequentialSlice::new(&self.waiting[..], 1, CHUNK_FRAMES).expect("the chunk is full");
        let mut output = SequentialSlice::new_mut(&mut self.output[..], 1, frames_max)
            .expect("one channel of that length");
        let (_, written) = self
            .filter
            .process_into_buffer(&input, &mut output, None::<&Indexing>)
            .expect("the input is one chunk and the output holds the most a step gives");
        self.waiting.clear();
        let dropped = self.delay_left.min(written);
        self.delay_left -= dropped;
        out.extend_from_slice(&self.output[dropped..written]);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    const RATES: [u32; 5] = [8_000, 22_050, 44_100, 48_000, 96_000];

    fn sine(hertz: f64, rate: u32, frames: usize) -> Vec<f32> {
        let turn = TAU * hertz / f64::from(rate);
        (0..frames)
            .map(|n| (turn * n as f64).sin() as f32)
            .collect()
    }

    /// A second of `hertz`, resampled from `rate` in blocks of so many frames.
    fn second(hertz: f64, rate: u32, block: usize) -> Vec<f32> {
        let mut resampler = Resampler::new(SampleRate::new(rate).unwrap());
        let mut out = Vec::new();
        for block in sine(hertz, rate, rate as usize).chunks(block) {
            resampler.process(block, &mut out);
        }
        resampler.finish(&mut out);
        out
    }

    #[test]
    fn every_sample_keeps_its_time_and_its_level() {
        let to = SampleRate::INTERNAL.get();
        let wanted = sine(440.0, to, to as usize);
        for rate in RATES {
            let out = second(440.0, rate, 480);
            assert_eq!(out.len(), wanted.len());
            // the ends are cut in the middle of a wave, which no filter follows
            for n in 500..out.len() - 500 {
                let off = (out[n] - wanted[n]).abs();
                // half a sample at 440 Hz: delays are rounded to whole ones
                assert!(off < 0.063, "{rate} Hz, sample {n}: off by {off}");
            }
        }
    }

    #[test]
    fn blocks_of_any_size_give_the_same_sound() {
        let whole = second(1_000.0, 48_000, 48_000);
        assert_eq!(whole, second(1_000.0, 48_000, 7));
    }

    #[test]
    fn what_the_note_network_looks_at_passes_and_what_would_fold_back_into_it_does_not() {
        for rate in [44_100, 48_000, 96_000] {
            let level_db = |hertz| {
                let out = second(hertz, rate, 480);
                let middle = &out[2_000..20_000];
                let square = middle.iter().map(|x| f64::from(x * x)).sum::<f64>();
                10.0 * (2.0 * square / middle.len() as f64).log10()
            };
            for hertz in [4_186.0, 8_000.0, 9_000.0] {
                assert!(level_db(hertz).abs() < 0.2, "{rate} Hz: {hertz} Hz");
            }
            for hertz in [11_600.0, 13_000.0, 18_000.0] {
                assert!(level_db(hertz) < -40.0, "{rate} Hz: {hertz} Hz");
            }
        }
    }

    #[test]
    fn sound_waits_for_half_the_filter_and_one_chunk_and_no_longer() {
        let rate = SampleRate::new(48_000).unwrap();
        let mut resampler = Resampler::new(rate);
        let (mut out, mut taken) = (Vec::new(), 0);
        for block in sine(440.0, 48_000, 48_000).chunks(100) {
            resampler.process(block, &mut out);
            taken += block.len();
            let waits = FILTER_FRAMES / 2 + CHUNK_FRAMES + 3;
            let due = internal_frames(taken.saturating_sub(waits) as u64, rate);
            assert!(out.len() as u64 >= due, "{} of {due}", out.len());
        }
    }
}
