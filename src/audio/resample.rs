//! Mono samples at any rate to the internal rate, with the resampler's own delay taken out.
//!
//! Input: blocks of mono samples of any size. Output: the same sound at [`SampleRate::INTERNAL`], sample 0 at time 0.
//! Units: full scale ±1; gain 1 in the pass band.
//! Method: rubato. For recordings its FFT resampler (synchronous, Blackman-Harris² window, one FFT block of about 256 input frames), which
//! takes the least; for live sound a windowed sinc of [`PROMPT_LENGTH`] frames, evaluated at any place between two samples, which waits for no
//! block. The filter's delay is dropped from the start and the tail is flushed with as many zeros. Equal rates are passed through.
//! Limits: the band ends some 10 % below the lower Nyquist frequency with the FFT (5.6 dB down at 10 kHz), some 5 % with the sinc (0.3 dB down at
//! 10.25 kHz, 39 dB from 11.3 kHz on). What a live listener waits for, from 48 kHz: 8 to 9 ms on average with the FFT, 2 ms with the sinc.

use crate::units::SampleRate;
use audioadapter_buffers::direct::SequentialSlice;
use rubato::{
    Async, Fft, FixedAsync, FixedSync, Indexing, Resampler as Filter, SincInterpolationParameters,
    SincInterpolationType, WindowFunction,
};

/// Input frames a step of the FFT resampler.
const CHUNK_FRAMES: usize = 256;
/// The same for live sound, which waits for a full chunk: 0.7 ms at 48 kHz.
const PROMPT_FRAMES: usize = 32;
/// Input frames that each sample of live sound is made of, for each 48 kHz of its rate; half of them are its delay: 1.3 ms.
const PROMPT_LENGTH: usize = 128;

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
    filter: Box<dyn Filter<f32>>,
    /// Input that does not fill a chunk yet, which has so many frames.
    waiting: Vec<f32>,
    chunk: usize,
    output: Vec<f32>,
    /// Output frames still to be dropped: the resampler's delay.
    delay_left: usize,
}

impl Resampler {
    /// From `from` to [`SampleRate::INTERNAL`], for recordings; all memory is taken here.
    #[allow(
        clippy::expect_used,
        reason = "the resampler is given what is made here, from a rate that was checked"
    )]
    pub fn new(from: SampleRate) -> Self {
        Self::with(from, CHUNK_FRAMES, |from, to| {
            let fft = Fft::new(from, to, CHUNK_FRAMES, 1, FixedSync::Input);
            Box::new(fft.expect("both rates and the chunk are above zero and there is one channel"))
        })
    }

    /// The same for live sound, which waits no longer than it must.
    #[allow(
        clippy::expect_used,
        reason = "the resampler is given what is made here, from a rate that was checked"
    )]
    pub fn prompt(from: SampleRate) -> Self {
        let length = PROMPT_LENGTH * from.get().div_ceil(48_000) as usize;
        // Samples of the internal rate lie at so many places between two of the input, and the sinc is known at each of them.
        let places = SampleRate::INTERNAL.get() / greatest_divisor(from.get());
        let sinc = SincInterpolationParameters::new(length, WindowFunction::Hann)
            .oversampling_factor(places.clamp(2, MOST_PLACES) as usize)
            .interpolation(SincInterpolationType::Nearest);
        Self::with(from, PROMPT_FRAMES, |from, to| {
            let ratio = to as f64 / from as f64;
            let sinc = Async::new_sinc(ratio, 1.0, &sinc, PROMPT_FRAMES, 1, FixedAsync::Input);
            Box::new(sinc.expect("the ratio is above zero and there is one channel"))
        })
    }

    fn with(
        from: SampleRate,
        chunk: usize,
        filter: impl FnOnce(usize, usize) -> Box<dyn Filter<f32>>,
    ) -> Self {
        let to = SampleRate::INTERNAL;
        let engine = (from != to).then(|| {
            let filter = filter(from.get() as usize, to.get() as usize);
            Engine {
                waiting: Vec::with_capacity(chunk),
                chunk,
                output: vec![0.0; filter.output_frames_max()],
                delay_left: filter.output_delay(),
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
            let (now, later) = input.split_at(input.len().min(self.chunk - self.waiting.len()));
            self.waiting.extend_from_slice(now);
            input = later;
            if self.waiting.len() == self.chunk {
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
            SequentialSlice::new(&self.waiting[..], 1, self.chunk).expect("the chunk is full");
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

    const FILTERS: [fn(SampleRate) -> Resampler; 2] = [Resampler::new, Resampler::prompt];
    const RATES: [u32; 5] = [8_000, 22_050, 44_100, 48_000, 96_000];

    fn sine(hertz: f64, rate: u32, frames: usize) -> Vec<f32> {
        let turn = TAU * hertz / f64::from(rate);
        (0..frames)
            .map(|n| (turn * n as f64).sin() as f32)
            .collect()
    }

    /// A second of `hertz`, resampled from `rate` in blocks of so many frames.
    fn second(
        filter: fn(SampleRate) -> Resampler,
        hertz: f64,
        rate: u32,
        block: usize,
    ) -> Vec<f32> {
        let mut resampler = filter(SampleRate::new(rate).unwrap());
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
        for (filter, rate) in FILTERS.iter().flat_map(|f| RATES.map(|rate| (f, rate))) {
            let out = second(*filter, 440.0, rate, 480);
            assert_eq!(out.len(), wanted.len());
            // the ends are cut in the middle of a wave, which no filter follows
            for n in 500..out.len() - 500 {
                let off = (out[n] - wanted[n]).abs();
                // one sample at 440 Hz: delays are rounded down to whole ones
                assert!(off < 0.126, "{rate} Hz, sample {n}: off by {off}");
            }
        }
    }

    #[test]
    fn blocks_of_any_size_give_the_same_sound() {
        for filter in FILTERS {
            let whole = second(filter, 1_000.0, 48_000, 48_000);
            assert_eq!(whole, second(filter, 1_000.0, 48_000, 7));
        }
    }

    #[test]
    fn what_the_note_network_looks_at_passes_and_what_would_fold_back_into_it_does_not() {
        for (filter, rate) in FILTERS
            .iter()
            .flat_map(|f| [44_100, 48_000, 96_000].map(|r| (f, r)))
        {
            let level_db = |hertz| {
                let out = second(*filter, hertz, rate, 480);
                let middle = &out[2_000..20_000];
                let square = middle.iter().map(|x| f64::from(x * x)).sum::<f64>();
                10.0 * (2.0 * square / middle.len() as f64).log10()
            };
            for hertz in [4_186.0, 8_000.0, 9_500.0] {
                assert!(level_db(hertz).abs() < 0.2, "{rate} Hz: {hertz} Hz");
            }
            for hertz in [11_600.0, 13_000.0, 18_000.0] {
                assert!(level_db(hertz) < -40.0, "{rate} Hz: {hertz} Hz");
            }
        }
    }

    #[test]
    fn live_sound_waits_for_half_its_filter_and_one_chunk_and_no_longer() {
        let rate = SampleRate::new(48_000).unwrap();
        let mut resampler = Resampler::prompt(rate);
        let (mut out, mut taken) = (Vec::new(), 0);
        for block in sine(440.0, 48_000, 48_000).chunks(100) {
            resampler.process(block, &mut out);
            taken += block.len();
            let waits = PROMPT_LENGTH / 2 + PROMPT_FRAMES + 3;
            let due = internal_frames(taken.saturating_sub(waits) as u64, rate);
            assert!(out.len() as u64 >= due, "{} of {due}", out.len());
        }
    }
}
