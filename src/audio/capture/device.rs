//! An open sound input: the stream, its ring and resampler, read by whoever listens.
//!
//! Input: a sound input of the computer. Output: blocks of mono samples at [`SampleRate::INTERNAL`] and a [`StreamState`].
//! Units: full scale ±1; positions in frames at the internal rate since the start, lost sound included.
//! Method: cpal's callback, or on Linux a thread that reads ALSA (`direct`), folds the channels into a lock-free ring ([`ring`]) and wakes the
//! reader once it has what it waits for; a sound server of Linux (`server`) is read by the waiting reader itself. Everything else is done by whoever calls
//! [`Capture::read`]: the [`Intake`], and the rules of [`super::watch`].
//! Limits: latency is the device's block plus some 160 frames of resampling.

use super::inputs::{self, Input};
use super::intake::Intake;
use super::ring::{self, Counters, Reader, Writer};
#[cfg(target_os = "linux")]
use super::server;
use super::watch::{Delivered, Fault, StreamState, Watch};
use super::{Block, InputInfo, Totals};
#[cfg(target_os = "linux")]
use super::{direct, reading::Reading};
use crate::audio::AudioError;
use crate::units::{SamplePos, SampleRate, SampleSpan, Seconds};
use cpal::traits::{DeviceTrait, StreamTrait};
use cpal::{ErrorKind, FromSample, SampleFormat, SizedSample};
use std::sync::Arc;
use std::time::{Duration, Instant};

/// What the ring holds: long enough for a laptop that hangs for some seconds, 1.5 MB at 48 kHz.
const RING_SECONDS: usize = 8;

/// How long the sound system may take to open a stream.
const OPEN_TIMEOUT: Duration = Duration::from_secs(5);

/// An open sound input.
pub struct Capture {
    info: InputInfo,
    /// `None` once the stream is dead: a dead stream burns a core with error reports.
    stream: Option<Stream>,
    intake: Intake,
    counters: Arc<Counters>,
    watch: Watch,
    /// The watch counts from here.
    begun: Instant,
    /// Totals of streams that are gone.
    earlier: Totals,
}

/// Opens the sound input that `name` means (see [`super::list_inputs`]); the default for `None`. Sound is coming when this returns.
///
/// # Errors
/// If there is no such input, or the sound system refuses it; each says what to do.
pub fn open_input(name: Option<&str>) -> Result<Capture, AudioError> {
    let Started {
        info,
        stream,
        reader,
        counters,
    } = start(inputs::find_input(name)?)?;
    Ok(Capture {
        intake: Intake::new(reader, info.rate),
        stream: Some(stream),
        counters,
        info,
        watch: Watch::opened(Duration::ZERO),
        begun: Instant::now(),
        earlier: Totals::default(),
    })
}

impl Capture {
    /// What is open.
    pub fn info(&self) -> &InputInfo {
        &self.info
    }

    /// The time reached, lost sound included.
    pub fn position(&self) -> SamplePos {
        self.intake.position()
    }

    /// What was lost and clipped so far.
    pub fn totals(&self) -> Totals {
        let mut totals = self.earlier;
        totals.skipped = self.intake.skipped();
        totals.dropped += self.counters.dropped();
        totals.overruns += self.counters.overruns();
        totals.clipped_runs += self.counters.clipped_runs();
        totals
    }

    /// How long the device collects sound before it hands it over: the length of its longest block so far.
    pub fn device_delay(&self) -> Seconds {
        SampleSpan::new(self.counters.longest_block()).seconds(self.info.rate)
    }

    /// Waits until `sound` of new sound is there (zero: any), or for `limit`. To be called by the thread that opened the input, and before each
    /// [`Capture::read`]. May come back early.
    pub fn wait(&mut self, sound: SampleSpan, limit: Duration) {
        let frames = sound.get() * u64::from(self.info.rate.get());
        let frames = (frames / u64::from(SampleRate::INTERNAL.get())) as usize;
        match &mut self.stream {
            #[cfg(target_os = "linux")]
            Some(Stream::Server(recording)) => recording.wait(frames, limit),
            _ => self.intake.wait(frames, limit),
        }
    }

    /// Replaces the contents of `out` by the sound that has come between the last call and the last [`Capture::wait`] or since, at
    /// [`SampleRate::INTERNAL`]; never waits.
    pub fn read(&mut self, out: &mut Vec<f32>) -> Block {
        let (gap, jumped) = self.intake.read(out);
        Block {
            state: self.look(),
            gap,
            jumped,
        }
    }

    /// What the last [`Capture::read`] brought, before it was resampled: mono at the rate of [`Capture::info`], the gap as silence.
    pub fn device_block(&self) -> &[f32] {
        self.intake.device_block()
    }

    /// Opens the same input again after it was lost. The time between is told as [`Block::jumped`].
    ///
    /// # Errors
    /// If it is not there yet; try again every second or so.
    pub fn reopen(&mut self) -> Result<Block, AudioError> {
        self.stream = None;
        let Started {
            info,
            stream,
            reader,
            counters,
        } = start(inputs::find_input(Some(&self.info.id))?)?;
        self.earlier = self.totals();
        self.info = info;
        self.stream = Some(stream);
        self.counters = counters;
        let now = self.begun.elapsed();
        let away = Seconds::new(self.watch.nothing_for(now).as_secs_f64())
            .unwrap_or_default()
            .frames(SampleRate::INTERNAL)
            .since_start();
        self.watch = Watch::opened(now);
        let jumped = self.intake.go_on(reader, self.info.rate, away);
        Ok(Block {
            state: StreamState::Starting,
            gap: SampleSpan::ZERO,
            jumped,
        })
    }

    fn look(&mut self) -> StreamState {
        let state = self.watch.look(
            self.begun.elapsed(),
            Delivered {
                frames: self.counters.delivered(),
                any_sound: self.counters.any_sound(),
                fault: self.counters.fault(),
                rate: self.info.rate,
            },
        );
        if matches!(state, StreamState::Lost(_)) {
            self.stream = None;
        }
        state
    }
}

/// What keeps sound coming until it is dropped.
enum Stream {
    Callback(#[expect(dead_code, reason = "held only to be dropped")] cpal::Stream),
    #[cfg(target_os = "linux")]
    #[expect(dead_code, reason = "held only to be dropped")]
    Direct(Reading, Option<server::sources::Presence>),
    /// Brings sound while it is waited for.
    #[cfg(target_os = "linux")]
    Server(Box<server::recording::Recording>),
}

/// A stream that runs.
struct Started {
    /// What is open: where a sound server is asked itself, its input's own rate and channels.
    info: InputInfo,
    stream: Stream,
    reader: Reader,
    counters: Arc<Counters>,
}

fn start(input: Input) -> Result<Started, AudioError> {
    #[cfg(target_os = "linux")]
    if let Some(recorded) = server::recording::open(&input.info) {
        let info = recorded.describe(&input.info);
        let started = start_with(info, |writer, counters| {
            let recording = recorded.start(writer, counters);
            Ok(Stream::Server(Box::new(recording)))
        });
        if started.is_ok() {
            return started;
        }
    }
    start_with(input.info.clone(), |writer, counters| {
        start_stream(&input, writer, counters)
    })
}

fn start_with(
    info: InputInfo,
    start: impl FnOnce(Writer, Arc<Counters>) -> Result<Stream, cpal::Error>,
) -> Result<Started, AudioError> {
    let (writer, reader, counters) = ring::ring(
        RING_SECONDS * info.rate.get() as usize,
        info.channels.max(1),
    );
    let refuse = |error: cpal::Error| inputs::refusal(&info.name, &info.format, &error);
    let stream = inputs::quietly(|| start(writer, counters.clone())).map_err(refuse)?;
    Ok(Started {
        info,
        stream,
        reader,
        counters,
    })
}

fn start_stream(
    input: &Input,
    writer: Writer,
    counters: Arc<Counters>,
) -> Result<Stream, cpal::Error> {
    #[cfg(target_os = "linux")]
    if direct::supports(input.format) {
        let Input { info, format, .. } = input;
        let stream = direct::start(info, *format, writer, counters.clone())?;
        let presence = info.behind_server.then(|| info.id.clone());
        let presence = presence.and_then(|id| server::sources::Presence::of(id, counters));
        return Ok(Stream::Direct(stream, presence));
    }
    let stream = build(input, writer, counters)?;
    stream.play()?;
    Ok(Stream::Callback(stream))
}

fn build(
    input: &Input,
    writer: Writer,
    counters: Arc<Counters>,
) -> Result<cpal::Stream, cpal::Error> {
    match input.format {
        SampleFormat::I8 => build_as::<i8>(input, writer, counters),
        SampleFormat::I16 => build_as::<i16>(input, writer, counters),
        SampleFormat::I24 => build_as::<cpal::I24>(input, writer, counters),
        SampleFormat::I32 => build_as::<i32>(input, writer, counters),
        SampleFormat::I64 => build_as::<i64>(input, writer, counters),
        SampleFormat::U8 => build_as::<u8>(input, writer, counters),
        SampleFormat::U16 => build_as::<u16>(input, writer, counters),
        SampleFormat::U24 => build_as::<cpal::U24>(input, writer, counters),
        SampleFormat::U32 => build_as::<u32>(input, writer, counters),
        SampleFormat::U64 => build_as::<u64>(input, writer, counters),
        SampleFormat::F32 => build_as::<f32>(input, writer, counters),
        SampleFormat::F64 => build_as::<f64>(input, writer, counters),
        _ => Err(cpal::Error::new(ErrorKind::UnsupportedConfig)),
    }
}

fn build_as<T>(
    input: &Input,
    mut writer: Writer,
    counters: Arc<Counters>,
) -> Result<cpal::Stream, cpal::Error>
where
    T: SizedSample + Send + 'static,
    f32: FromSample<T>,
{
    let unknown = || cpal::Error::new(ErrorKind::DeviceNotAvailable);
    let (device, config) = input.device.as_ref().ok_or_else(unknown)?;
    device.build_input_stream(
        config.config(),
        move |block: &[T], _: &cpal::InputCallbackInfo| writer.on_block(block),
        move |error: cpal::Error| tell(&counters, error.kind()),
        Some(OPEN_TIMEOUT),
    )
}

/// What an error of the stream means; also the error callback: atomics only.
pub(super) fn tell(counters: &Counters, kind: ErrorKind) {
    match kind {
        ErrorKind::Xrun => counters.count_overrun(),
        // The stream goes on.
        ErrorKind::DeviceChanged | ErrorKind::RealtimeDenied => {}
        ErrorKind::DeviceNotAvailable => counters.set_fault(Fault::DeviceGone),
        ErrorKind::StreamInvalidated | ErrorKind::UnsupportedConfig => {
            counters.set_fault(Fault::FormatChanged)
        }
        ErrorKind::PermissionDenied => counters.set_fault(Fault::Denied),
        _ => counters.set_fault(Fault::SoundSystem),
    }
}
