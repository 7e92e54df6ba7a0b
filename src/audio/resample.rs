//! Mono samples at any rate to the internal rate, with the resampler's own delay taken out.
//!
//! Input: blocks of mono samples of any size. Output: the same sound at [`SampleRate::INTERNAL`], sample 0 at time 0.
//! Units: full scale ±1; gain 1 in the pass band.
//! Method: rubato's FFT resampler (synchronous, Blackman-Harris² window, one FFT block of about 256 input frames); its
//! `output_delay` is dropped from the start and the tail is flushed with as many zeros. Equal rates are passed through.
//! Limits: the band ends about 5 % below the lower Nyquist frequency; up to one chunk (256 frames) waits for the next block.

use crate::units::SampleRate;
use audioadapter_buffers::direct::SequentialSlice;
use rubato::{Fft, FixedSync, Indexing, Resampler as _};

/// Input frames a resampling step. Small, because live sound waits for a full chunk: 5.3 ms at 48 kHz.
const CHUNK_FRAMES: usize = 256;

/// Brings one mono stream to [`SampleRate::INTERNAL`]; keeps constant memory.
pub struct Resampler {
    from: SampleRate,
    /// `None` where the rates are equal.
    engine: Option<Engine>,
    taken: u64,
    given: u64,
}

struct Engine {
    fft: Fft<f32>,
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
            let fft = Fft::new(
                from.get() as usize,
                to.get() as usize,
                CHUNK_FRAMES,
                1,
                FixedSync::Input,
            )
            .expect("both rates and the chunk are above zero and there is one channel");
            Engine {
                waiting: Vec::with_capacity(CHUNK_FRAMES),
                output: vec![0.0; fft.output_frames_max()],
                delay_left: fft.output_delay(),
                fft,
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
            .fft
            .process_into_buffer(&input, &mut output, None::<&Indexing>)
            .expect("the input is one chunk and the output holds the most a step gives");
        self.waiting.clear();
        let dropped = self.delay_left.min(written);
        self.delay_left -= dropped;
        out.extend_from_slice(&self.output[dropped..written]);
    }
}
