//! Where the microphone stands and what else it hears.
//!
//! Input: the dry sound of the piano. Output: what the microphone hands over, at the rate at which it is kept.
//! Units: decibels relative to full scale or to the piano, seconds. Method: convolution with a room's impulse
//! response, speech and noise mixed in, and for a phone two band limits and a soft limiter.
//! Limits: the phone does not adapt its gain, and nothing moves in the room.

use crate::error::RenderError;
use crate::sound::{Cut, Sound};
use std::path::{Path, PathBuf};

/// The folders with rooms, noises and voices.
pub struct Surroundings {
    rooms: PathBuf,
    voices: PathBuf,
}

impl Surroundings {
    /// Sounds are read from there when they are needed.
    pub fn in_folders(rooms: &Path, voices: &Path) -> Self {
        Self {
            rooms: rooms.to_owned(),
            voices: voices.to_owned(),
        }
    }
}

/// What was used to record.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Microphone {
    /// File of the room's impulse response; `None`: close to the strings.
    pub room: Option<&'static str>,
    /// Whether it is the microphone of a phone.
    pub phone: bool,
    /// When someone starts to talk (seconds) and which file it is.
    pub talk: &'static [(f64, &'static str)],
    /// Loudness of the talk, in decibels relative to the piano's mean level, or to full scale without a piano.
    pub talk_db: f32,
    /// File of a noise that goes on all the time and its mean level in decibels relative to full scale.
    pub noise: Option<(&'static str, f32)>,
    /// Mean level of the microphone's hiss, in decibels relative to full scale.
    pub hiss_db: f32,
    /// Samples a second of the file.
    pub rate: u32,
}

impl Microphone {
    /// Close to the strings in a quiet room.
    pub const CLOSE: Self = Self {
        room: None,
        phone: false,
        talk: &[],
        talk_db: 0.0,
        noise: None,
        hiss_db: -75.0,
        rate: 22_050,
    };

    /// Peak of a finished recording, in decibels relative to full scale.
    const PEAK_DB: f32 = -6.0;

    /// Records `dry`.
    ///
    /// # Errors
    /// If a room, a noise or a voice cannot be read.
    pub fn record(
        &self,
        dry: &Sound,
        surroundings: &Surroundings,
        seed: u64,
    ) -> Result<Sound, RenderError> {
        let mut heard = dry.clone();
        if let Some(room) = self.room {
            heard.convolve(&Sound::read(&surroundings.rooms.join(room))?)?;
        }
        heard.normalise_peak(Self::PEAK_DB);
        let piano_level = heard.rms();
        let talk_level = linear(self.talk_db) * if piano_level > 0.0 { piano_level } else { 1.0 };
        for (start, file) in self.talk {
            let voice = Sound::read(&surroundings.voices.join(file))?;
            heard.add(
                &voice.samples,
                (start * f64::from(heard.rate)) as usize,
                talk_level / voice.rms(),
            );
        }
        if let Some((file, level_db)) = self.noise {
            let noise = Sound::read(&surroundings.rooms.join(file))?;
            heard.add(&noise.samples, 0, linear(level_db) / noise.rms());
        }
        if self.phone {
            through_a_phone(&mut heard);
        }
        let mut random = fastrand::Rng::with_seed(seed);
        // A uniform value from -a to a has a mean square of a^2 / 3.
        let width = linear(self.hiss_db) * 3.0_f32.sqrt();
        heard
            .samples
            .iter_mut()
            .for_each(|sample| *sample += width * (2.0 * random.f32() - 1.0));
        let mut kept = heard.at_rate(self.rate)?;
        if kept.peak() > linear(Self::PEAK_DB) {
            kept.normalise_peak(Self::PEAK_DB);
        }
        Ok(kept)
    }
}

/// What the small microphone of a phone leaves: little below 150 Hz and above 6.5 kHz, and peaks pressed down.
fn through_a_phone(sound: &mut Sound) {
    for cut in [Cut::Below(150.0), Cut::Above(6_500.0), Cut::Above(6_500.0)] {
        sound.filter(cut);
    }
    // A soft limiter: nearly linear to -12 dB of its own full scale, bent above.
    const DRIVE: f32 = 1.5;
    sound.normalise_peak(0.0);
    sound
        .samples
        .iter_mut()
        .for_each(|sample| *sample = (DRIVE * *sample).tanh() / DRIVE.tanh());
}

fn linear(decibels: f32) -> f32 {
    10.0_f32.powf(decibels / 20.0)
}
