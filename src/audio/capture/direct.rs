//! A sound input of Linux, read without a detour: at each wake-up all that is there.
//!
//! Input: an input's name, rate, channels and sample format. Output: blocks for the [`Writer`], faults for the [`Counters`].
//! Units: frames at the device's rate; microseconds where ALSA counts so.
//! Method: one thread waits until ALSA has about [`PERIOD`] of sound and takes all of it.
//! cpal's own thread takes whole periods only and leaves the rest, which makes it spin behind a sound server: ALSA's plugin for the server
//! says "ready" while a packet is not wholly taken, and cpal, which finds less than a period, asks again at once. That took 3.5 % of a core
//! with server packets of 5 ms and periods of 512 frames, and up to 99 % where another program had asked the server for other packets.
//! Limits: the formats of [`supports`]; cpal takes the others.

use super::InputInfo;
use super::device::tell;
use super::inputs::quietly;
use super::reading::Reading;
use super::ring::{Counters, Writer};
use alsa::pcm::{Access, Format, HwParams, IO, IoFormat, State};
use alsa::{Direction, PCM, ValueOr};
use cpal::{ErrorKind, FromSample, Sample, SampleFormat};
use std::io;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::Duration;

/// Sound that is waited for. Behind a sound server `lidprop hear` took 5.3 % of a core with 10 ms, 6.2 % with 7 ms and 7.6 % with 5 ms (dev build,
/// nothing played), and the server 1.9 %, 2.7 % and 3.7 %.
pub(super) const PERIOD: Duration = Duration::from_millis(7);
/// What ALSA keeps while the thread gets no processor. It adds nothing to the latency.
const BUFFER: Duration = Duration::from_millis(500);
/// How often the end is looked for while nothing comes.
const PATIENCE: Duration = Duration::from_millis(100);
/// Rest after a wake-up that brought nothing: whatever a driver says, no core is burnt.
const REST: Duration = Duration::from_millis(2);

/// True if samples of this format are read here.
pub fn supports(format: SampleFormat) -> bool {
    matches!(
        format,
        SampleFormat::F32 | SampleFormat::I32 | SampleFormat::I16
    )
}

/// Opens an input whose format is one that is read here, and starts it.
///
/// # Errors
/// If ALSA refuses.
pub fn start(
    info: &InputInfo,
    format: SampleFormat,
    writer: Writer,
    counters: Arc<Counters>,
) -> Result<Reading, cpal::Error> {
    match format {
        SampleFormat::F32 => start_as::<f32>(info, writer, counters),
        SampleFormat::I32 => start_as::<i32>(info, writer, counters),
        SampleFormat::I16 => start_as::<i16>(info, writer, counters),
        _ => Err(cpal::Error::new(ErrorKind::UnsupportedConfig)),
    }
}

fn start_as<T>(
    info: &InputInfo,
    mut writer: Writer,
    counters: Arc<Counters>,
) -> Result<Reading, cpal::Error>
where
    T: IoFormat + Sample + Send + 'static,
    f32: FromSample<T>,
{
    let pcm = open(info, T::FORMAT)?;
    pcm.start()?;
    let longest_block = info.rate.get() as usize * BUFFER.as_millis() as usize / 1000;
    let mut block = vec![T::EQUILIBRIUM; longest_block * info.channels];
    let work = move |stopped: &AtomicBool| {
        quietly(|| {
            while !stopped.load(Ordering::Relaxed) {
                if let Err(error) = take(&pcm, &mut block, &mut writer)
                    .or_else(|error| recover(&pcm, error, &counters))
                {
                    // The stream is dead.
                    tell(&counters, cpal::Error::from(error).kind());
                    return;
                }
            }
        });
    };
    Reading::start(work).map_err(|_| cpal::Error::new(ErrorKind::ResourceExhausted))
}

fn open(info: &InputInfo, format: Format) -> alsa::Result<PCM> {
    let microseconds = |time: Duration| time.as_micros() as u32;
    let pcm = PCM::new(&info.id, Direction::Capture, true)?;
    {
        let wanted = HwParams::any(&pcm)?;
        wanted.set_access(Access::RWInterleaved)?;
        wanted.set_format(format)?;
        wanted.set_channels(info.channels as u32)?;
        wanted.set_rate(info.rate.get(), ValueOr::Nearest)?;
        wanted.set_period_time_near(microseconds(PERIOD), ValueOr::Nearest)?;
        wanted.set_buffer_time_near(microseconds(BUFFER), ValueOr::Nearest)?;
        pcm.hw_params(&wanted)?;
        let waking = pcm.sw_params_current()?;
        waking.set_avail_min(wanted.get_period_size()?)?;
        pcm.sw_params(&waking)?;
    }
    Ok(pcm)
}

/// Waits for sound and hands on all there is. Takes no memory and no lock of ours.
fn take<T>(pcm: &PCM, block: &mut [T], writer: &mut Writer) -> alsa::Result<()>
where
    T: IoFormat + Sample,
    f32: FromSample<T>,
{
    if !pcm.wait(Some(PATIENCE.as_millis() as u32))? {
        return Ok(());
    }
    let io: IO<'_, T> = pcm.io_checked()?;
    let mut came = false;
    loop {
        let there = usize::try_from(pcm.avail_update()?).unwrap_or(0);
        let length = pcm.frames_to_bytes(there as i64) as usize / size_of::<T>();
        let wanted = length.min(block.len());
        if wanted == 0 {
            break;
        }
        let frames = io.readi(&mut block[..wanted])?;
        if frames == 0 {
            break;
        }
        let samples = pcm.frames_to_bytes(frames as i64) as usize / size_of::<T>();
        writer.on_block(&block[..samples]);
        came = true;
    }
    if !came {
        thread::sleep(REST);
    }
    Ok(())
}

/// Goes on after an overrun or a sleep of the computer; gives back what there is no going on after.
fn recover(pcm: &PCM, error: alsa::Error, counters: &Counters) -> alsa::Result<()> {
    let kind = io::Error::from_raw_os_error(error.errno()).kind();
    if matches!(kind, io::ErrorKind::Interrupted | io::ErrorKind::WouldBlock) {
        thread::sleep(REST);
        return Ok(());
    }
    match pcm.state() {
        State::XRun => counters.count_overrun(),
        State::Suspended => {}
        _ => return Err(error),
    }
    pcm.try_recover(error, true)?;
    pcm.start()
}
