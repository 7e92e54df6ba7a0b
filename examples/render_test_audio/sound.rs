//! Mono sound in memory: reading, resampling, filtering, convolving, writing.
//!
//! Input: WAV and FLAC files, mono. Output: FLAC or WAV, 16 bit, triangular dither of one step (TPDF, as in
//! Lipshitz, Wannamaker and Vanderkooy, "Quantization and Dither", JAES 1992).
//! Units: samples from -1 to 1; everything before the last step is at [`MIX_RATE`].
//! Method: the libraries do the work; only the two filters are written out (W3C "Audio EQ Cookbook").
//! Limits: whole sounds are held in memory; fit for minutes, not for hours.

use crate::error::RenderError;
use audioadapter_buffers::direct::InterleavedSlice;
use realfft::RealFftPlanner;
use rubato::{
    Async, FixedAsync, Resampler, SincInterpolationParameters, SincInterpolationType,
    WindowFunction,
};
use std::f64::consts::{FRAC_1_SQRT_2, TAU};
use std::fs::File;
use std::io::Write as _;
use std::path::Path;
use symphonia::core::formats::TrackType;
use symphonia::core::io::MediaSourceStream;

/// The rate of all source material and of the mix, in samples a second.
pub const MIX_RATE: u32 = 44_100;

/// How many samples before a sample foretell it in FLAC: a piano's many slow partials want more than the encoder's usual ten.
const PREDICTED_FROM: usize = 16;

/// A mono sound.
#[derive(Debug, Clone, PartialEq)]
pub struct Sound {
    /// Samples a second.
    pub rate: u32,
    /// Samples, full scale is 1.
    pub samples: Vec<f32>,
}

impl Sound {
    /// Nothing to hear, at [`MIX_RATE`].
    pub fn silence(seconds: f64) -> Self {
        Self {
            rate: MIX_RATE,
            samples: vec![0.0; (seconds * f64::from(MIX_RATE)).round() as usize],
        }
    }

    /// Reads a mono WAV or FLAC file recorded at [`MIX_RATE`].
    ///
    /// # Errors
    /// If the file is missing, damaged, not mono or at another rate.
    pub fn read(path: &Path) -> Result<Self, RenderError> {
        let fail = |reason: &dyn std::fmt::Display| RenderError::file(path, reason);
        let file = File::open(path).map_err(|e| fail(&e))?;
        let stream = MediaSourceStream::new(Box::new(file), Default::default());
        let mut format = symphonia::default::get_probe()
            .probe(
                &Default::default(),
                stream,
                Default::default(),
                Default::default(),
            )
            .map_err(|e| fail(&e))?;
        let track = format
            .default_track(TrackType::Audio)
            .ok_or_else(|| fail(&"holds no sound"))?;
        let parameters = track
            .codec_params
            .as_ref()
            .and_then(|p| p.audio())
            .ok_or_else(|| fail(&"does not say how it is coded"))?;
        let mut decoder = symphonia::default::get_codecs()
            .make_audio_decoder(parameters, &Default::default())
            .map_err(|e| fail(&e))?;
        let mut samples = Vec::new();
        let mut packet_samples = Vec::new();
        while let Some(packet) = format.next_packet().map_err(|e| fail(&e))? {
            let decoded = decoder.decode(&packet).map_err(|e| fail(&e))?;
            let spec = decoded.spec();
            if spec.rate() != MIX_RATE || spec.channels().count() != 1 {
                return Err(fail(&format!("must be mono at {MIX_RATE} Hz")));
            }
            decoded.copy_to_vec_interleaved(&mut packet_samples);
            samples.extend_from_slice(&packet_samples);
        }
        Ok(Self {
            rate: MIX_RATE,
            samples,
        })
    }

    /// Adds `other` times `gain`, starting at sample `start`; what lies beyond the end is dropped.
    pub fn add(&mut self, other: &[f32], start: usize, gain: f32) {
        for (mixed, &sample) in self.samples.iter_mut().skip(start).zip(other) {
            *mixed += gain * sample;
        }
    }

    /// Multiplies every sample by `gain`.
    pub fn scale(&mut self, gain: f32) {
        self.samples.iter_mut().for_each(|sample| *sample *= gain);
    }

    /// Largest magnitude.
    pub fn peak(&self) -> f32 {
        self.samples
            .iter()
            .fold(0.0, |peak, sample| sample.abs().max(peak))
    }

    /// Root of the mean square; 0 for an empty sound.
    pub fn rms(&self) -> f32 {
        let sum: f64 = self.samples.iter().map(|&s| f64::from(s).powi(2)).sum();
        (sum / self.samples.len().max(1) as f64).sqrt() as f32
    }

    /// Makes the largest magnitude `decibels` relative to full scale; silence stays silence.
    pub fn normalise_peak(&mut self, decibels: f32) {
        let peak = self.peak();
        if peak > 0.0 {
            self.scale(10.0_f32.powf(decibels / 20.0) / peak);
        }
    }

    /// The same sound at another rate.
    ///
    /// # Errors
    /// If the resampler refuses the pair of rates.
    pub fn at_rate(&self, rate: u32) -> Result<Self, RenderError> {
        let samples = stretch(&self.samples, f64::from(rate) / f64::from(self.rate))?;
        Ok(Self { rate, samples })
    }

    /// Filters in place: `y[n] = b0 x[n] + b1 x[n-1] + b2 x[n-2] - a1 y[n-1] - a2 y[n-2]`.
    pub fn filter(&mut self, cut: Cut) {
        let [b0, b1, b2, a1, a2] = cut.coefficients(f64::from(self.rate));
        let [mut x1, mut x2, mut y1, mut y2] = [0.0_f64; 4];
        for sample in &mut self.samples {
            let x0 = f64::from(*sample);
            let y0 = b0 * x0 + b1 * x1 + b2 * x2 - a1 * y1 - a2 * y2;
            [x2, x1, y2, y1] = [x1, x0, y1, y0];
            *sample = y0 as f32;
        }
    }

    /// Convolves with an impulse response whose strongest sample is taken as the direct sound: it is scaled to 1 and
    /// moved to time zero, so that strikes stay where they were and only the room is added. The length is kept.
    ///
    /// # Errors
    /// If the transform refuses the length.
    pub fn convolve(&mut self, response: &Sound) -> Result<(), RenderError> {
        let strongest = |a: &(usize, &f32), b: &(usize, &f32)| a.1.abs().total_cmp(&b.1.abs());
        let (direct_at, direct) = response
            .samples
            .iter()
            .enumerate()
            .max_by(strongest)
            .filter(|(_, direct)| **direct != 0.0)
            .ok_or_else(|| RenderError::signal("an impulse response is empty or silent"))?;
        let length = (self.samples.len() + response.samples.len()).next_power_of_two();
        let mut planner = RealFftPlanner::<f32>::new();
        let forward = planner.plan_fft_forward(length);
        let backward = planner.plan_fft_inverse(length);
        let spectrum_of = |samples: &[f32]| {
            let mut padded = forward.make_input_vec();
            padded[..samples.len()].copy_from_slice(samples);
            let mut spectrum = forward.make_output_vec();
            forward
                .process(&mut padded, &mut spectrum)
                .map_err(RenderError::signal)?;
            Ok::<_, RenderError>(spectrum)
        };
        let mut spectrum = spectrum_of(&self.samples)?;
        // Neither direction of the transform is normalised: a round trip multiplies by the length.
        let gain = 1.0 / (direct * length as f32);
        for (bin, response_bin) in spectrum.iter_mut().zip(spectrum_of(&response.samples)?) {
            *bin *= response_bin * gain;
        }
        let mut convolved = backward.make_output_vec();
        backward
            .process(&mut spectrum, &mut convolved)
            .map_err(RenderError::signal)?;
        let kept = self.samples.len();
        self.samples
            .copy_from_slice(&convolved[direct_at..direct_at + kept]);
        Ok(())
    }
}

/// A second-order filter with Butterworth damping (Q = 1/sqrt 2), 3 dB down at its corner frequency in hertz.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Cut {
    /// Keeps what lies above.
    Below(f64),
    /// Keeps what lies below.
    Above(f64),
}

impl Cut {
    /// `b0 b1 b2 a1 a2`, all divided by `a0`: high-pass and low-pass of the W3C "Audio EQ Cookbook".
    fn coefficients(self, rate: f64) -> [f64; 5] {
        let (Cut::Below(corner) | Cut::Above(corner)) = self;
        let (sin, cos) = (TAU * corner / rate).sin_cos();
        let alpha = sin / (2.0 * FRAC_1_SQRT_2);
        let a0 = 1.0 + alpha;
        let (b0, b1) = match self {
            Cut::Below(_) => ((1.0 + cos) / 2.0, -(1.0 + cos)),
            Cut::Above(_) => ((1.0 - cos) / 2.0, 1.0 - cos),
        };
        [b0, b1, b0, -2.0 * cos, 1.0 - alpha].map(|coefficient| coefficient / a0)
    }
}

/// Makes a sound `ratio` times as long by band-limited interpolation; played at the same rate, its pitch falls by `ratio`.
///
/// # Errors
/// If `ratio` is not above zero.
pub fn stretch(samples: &[f32], ratio: f64) -> Result<Vec<f32>, RenderError> {
    if ratio == 1.0 {
        return Ok(samples.to_vec());
    }
    let parameters = SincInterpolationParameters {
        sinc_len: 128,
        f_cutoff: None,
        oversampling_factor: 256,
        interpolation: SincInterpolationType::Cubic,
        window: WindowFunction::BlackmanHarris2,
    };
    let mut resampler = Async::<f32>::new_sinc(ratio, 1.0, &parameters, 1024, 1, FixedAsync::Input)
        .map_err(RenderError::signal)?;
    let input = InterleavedSlice::new(samples, 1, samples.len()).map_err(RenderError::signal)?;
    let stretched = resampler
        .process_all(&input, samples.len(), None)
        .map_err(RenderError::signal)?;
    Ok(stretched.take_data())
}

/// Writes `sound` with 16 bits, as FLAC or WAV by the ending of `path`; written beside, then renamed.
///
/// # Errors
/// If the folder cannot be written to or the encoder refuses the sound.
pub fn write(path: &Path, sound: &Sound, seed: u64) -> Result<(), RenderError> {
    let steps = dithered(&sound.samples, seed);
    let bytes = if path.extension().is_some_and(|e| e == "wav") {
        wav_bytes(&steps, sound.rate)
    } else {
        flac_bytes(&steps, sound.rate)
    }
    .map_err(|reason| RenderError::file(path, reason))?;
    write_bytes(path, &bytes)
}

/// Writes `bytes` beside `path`, then renames.
///
/// # Errors
/// If the folder cannot be written to.
pub fn write_bytes(path: &Path, bytes: &[u8]) -> Result<(), RenderError> {
    let fail = |e: std::io::Error| RenderError::file(path, e);
    let folder = path.parent().unwrap_or(Path::new("."));
    std::fs::create_dir_all(folder).map_err(fail)?;
    let mut beside = tempfile::Builder::new()
        .permissions(world_readable())
        .tempfile_in(folder)
        .map_err(fail)?;
    beside.write_all(bytes).map_err(fail)?;
    beside.persist(path).map_err(|e| fail(e.error))?;
    Ok(())
}

fn world_readable() -> std::fs::Permissions {
    use std::os::unix::fs::PermissionsExt as _;
    std::fs::Permissions::from_mode(0o644)
}

/// Rounds to 16 bits after adding two uniform random values of one step each.
fn dithered(samples: &[f32], seed: u64) -> Vec<i32> {
    let mut random = fastrand::Rng::with_seed(seed);
    samples
        .iter()
        .map(|sample| {
            let dither = random.f32() - random.f32();
            (sample * 32_767.0 + dither)
                .round()
                .clamp(-32_768.0, 32_767.0) as i32
        })
        .collect()
}

fn wav_bytes(steps: &[i32], rate: u32) -> Result<Vec<u8>, String> {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: rate,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut bytes = std::io::Cursor::new(Vec::new());
    let mut writer = hound::WavWriter::new(&mut bytes, spec).map_err(|e| e.to_string())?;
    for &step in steps {
        writer.write_sample(step).map_err(|e| e.to_string())?;
    }
    writer.finalize().map_err(|e| e.to_string())?;
    Ok(bytes.into_inner())
}

fn flac_bytes(steps: &[i32], rate: u32) -> Result<Vec<u8>, String> {
    use flacenc::component::BitRepr as _;
    use flacenc::error::Verify as _;
    let mut config = flacenc::config::Encoder::default();
    config.subframe_coding.qlpc.lpc_order = PREDICTED_FROM;
    let config = config.into_verified().map_err(|(_, e)| e.to_string())?;
    let source = flacenc::source::MemSource::from_samples(steps, 1, 16, rate as usize);
    let block = config.block_size;
    let mut stream =
        flacenc::encode_with_fixed_block_size(&config, source, block).map_err(|e| e.to_string())?;
    // The smallest block must be stated without the last one (RFC 9639, section 8.2); the encoder counts it, and strict
    // decoders then take the stream for one of varying blocks.
    stream
        .stream_info_mut()
        .set_block_sizes(block, block)
        .map_err(|e| e.to_string())?;
    let mut sink = flacenc::bitsink::ByteSink::new();
    stream.write(&mut sink).map_err(|e| e.to_string())?;
    Ok(sink.as_slice().to_vec())
}
