//! Sound out: mono samples to the default loudspeaker.
//!
//! Input: mono samples at the rate of the output. Output: sound; where it stands. Units: full scale ±1.
//! Method: a stream of cpal a sound; its callback copies from shared memory by an atomic position and neither allocates, locks nor
//! prints. The same sample goes to every channel. It is opened once more where the sound system fails in its first moment.
//! Limits: the default output only; a sound that is dropped stops at once.

use crate::audio::AudioError;
use crate::units::SampleRate;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

/// What the callback reads from.
#[derive(Debug)]
pub struct Source {
    samples: Arc<[f32]>,
    position: AtomicUsize,
    #[cfg_attr(
        not(feature = "live"),
        expect(dead_code, reason = "nothing plays without sound")
    )]
    failed: AtomicBool,
}

impl Source {
    /// These samples from their beginning.
    pub fn new(samples: Arc<[f32]>) -> Self {
        Self {
            samples,
            position: AtomicUsize::new(0),
            failed: AtomicBool::new(false),
        }
    }

    /// Fills a block of frames with `channels` samples each; silence after the end. For the sound callback.
    pub fn fill<T: Copy>(&self, block: &mut [T], channels: usize, convert: impl Fn(f32) -> T) {
        let mut position = self.position.load(Ordering::Relaxed);
        for frame in block.chunks_mut(channels.max(1)) {
            let sample = self.samples.get(position).copied().unwrap_or(0.0);
            frame.fill(convert(sample));
            position = position.saturating_add(1);
        }
        self.position.store(position, Ordering::Relaxed);
    }

    /// Frames that were asked for so far.
    pub fn position(&self) -> usize {
        self.position.load(Ordering::Relaxed)
    }

    /// True once all was handed to the sound system.
    pub fn is_over(&self) -> bool {
        self.position() >= self.samples.len()
    }
}

#[cfg(not(feature = "live"))]
pub use absent::{Output, Playing};
#[cfg(feature = "live")]
pub use device::{Output, Playing};

#[cfg(feature = "live")]
mod device {
    use super::{Arc, AtomicBool, AudioError, Ordering, SampleRate, Source};
    use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
    use cpal::{ErrorKind, FromSample, SampleFormat, SizedSample, SupportedStreamConfig};
    use std::time::Duration;

    /// How long the sound system may take to open a stream.
    const OPEN_TIMEOUT: Duration = Duration::from_secs(5);
    /// A stream that fails does so within this time.
    const FIRST_MOMENT: Duration = Duration::from_millis(60);

    /// The default output.
    pub struct Output {
        device: cpal::Device,
        config: SupportedStreamConfig,
        rate: SampleRate,
    }

    /// A sound that is being played; it stops where this is dropped.
    pub struct Playing {
        source: Arc<Source>,
        _stream: cpal::Stream,
    }

    impl Output {
        /// The default output of the system.
        ///
        /// # Errors
        /// If there is none.
        pub fn open() -> Result<Self, AudioError> {
            let device = cpal::default_host()
                .default_output_device()
                .ok_or(AudioError::NoOutput)?;
            let config = device
                .default_output_config()
                .map_err(|error| refusal(&error))?;
            let rate = SampleRate::new(config.sample_rate()).map_err(|error| {
                AudioError::OutputFailed {
                    cause: error.to_string(),
                }
            })?;
            Ok(Self {
                device,
                config,
                rate,
            })
        }

        /// The rate at which it is played.
        pub fn rate(&self) -> SampleRate {
            self.rate
        }

        /// Begins to play.
        ///
        /// # Errors
        /// If the sound system refuses it twice.
        pub fn play(&self, samples: Arc<[f32]>) -> Result<Playing, AudioError> {
            self.start(samples.clone()).or_else(|_| self.start(samples))
        }

        fn start(&self, samples: Arc<[f32]>) -> Result<Playing, AudioError> {
            let source = Arc::new(Source::new(samples));
            let stream = match self.config.sample_format() {
                SampleFormat::I16 => self.build::<i16>(&source),
                SampleFormat::I32 => self.build::<i32>(&source),
                SampleFormat::U8 => self.build::<u8>(&source),
                SampleFormat::U16 => self.build::<u16>(&source),
                SampleFormat::F32 => self.build::<f32>(&source),
                SampleFormat::F64 => self.build::<f64>(&source),
                _ => Err(cpal::Error::new(ErrorKind::UnsupportedConfig)),
            };
            let stream = stream.map_err(|error| refusal(&error))?;
            stream.play().map_err(|error| refusal(&error))?;
            std::thread::sleep(FIRST_MOMENT);
            if source.failed.load(Ordering::Relaxed) {
                return Err(AudioError::OutputFailed {
                    cause: "it stopped at once".to_owned(),
                });
            }
            Ok(Playing {
                source,
                _stream: stream,
            })
        }

        fn build<T>(&self, source: &Arc<Source>) -> Result<cpal::Stream, cpal::Error>
        where
            T: SizedSample + FromSample<f32> + Send + 'static,
        {
            let channels = usize::from(self.config.channels());
            let (played, failing) = (source.clone(), source.clone());
            self.device.build_output_stream(
                self.config.config(),
                move |block: &mut [T], _: &cpal::OutputCallbackInfo| {
                    played.fill(block, channels, T::from_sample);
                },
                move |error: cpal::Error| tell(&failing.failed, error.kind()),
                Some(OPEN_TIMEOUT),
            )
        }
    }

    impl Playing {
        /// True once all was handed to the sound system; what it holds still sounds for a moment.
        pub fn is_over(&self) -> bool {
            self.source.is_over()
        }
    }

    /// The error callback: atomics only. An overrun, another device or less priority ends nothing.
    fn tell(failed: &AtomicBool, kind: ErrorKind) {
        if !matches!(
            kind,
            ErrorKind::Xrun | ErrorKind::DeviceChanged | ErrorKind::RealtimeDenied
        ) {
            failed.store(true, Ordering::Relaxed);
        }
    }

    fn refusal(error: &cpal::Error) -> AudioError {
        match error.kind() {
            ErrorKind::DeviceNotAvailable | ErrorKind::HostUnavailable => AudioError::NoOutput,
            _ => AudioError::OutputFailed {
                cause: error.to_string(),
            },
        }
    }
}

#[cfg(not(feature = "live"))]
mod absent {
    use super::{Arc, AudioError, SampleRate};

    /// An output, of which a build without live sound has none.
    pub enum Output {}

    /// A sound that is being played, of which there is none.
    pub enum Playing {}

    impl Output {
        /// There is none.
        ///
        /// # Errors
        /// Always: this build has no live sound.
        pub fn open() -> Result<Self, AudioError> {
            Err(AudioError::NoLiveSound)
        }

        /// The rate at which it is played.
        pub fn rate(&self) -> SampleRate {
            match *self {}
        }

        /// Begins to play.
        ///
        /// # Errors
        /// Never run.
        pub fn play(&self, _samples: Arc<[f32]>) -> Result<Playing, AudioError> {
            match *self {}
        }
    }

    impl Playing {
        /// True once all was handed to the sound system.
        pub fn is_over(&self) -> bool {
            match *self {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_channel_gets_each_sample_and_silence_follows() {
        let source = Source::new(Arc::from([0.1_f32, 0.2, 0.3].as_slice()));
        let mut block = [9.0_f32; 8];
        source.fill(&mut block[..4], 2, |x| x);
        assert_eq!(block[..4], [0.1, 0.1, 0.2, 0.2]);
        assert!(!source.is_over());
        source.fill(&mut block, 2, |x| x);
        assert_eq!(block, [0.3, 0.3, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0]);
        assert!(source.is_over());
    }
}
