//! The sound inputs of the computer: which there are, and which one a name means.
//!
//! Input: the sound system; part of a name. Output: [`InputInfo`]s, or a device to open.
//! Units: rates in Hz. Method: cpal lists; an input counts only if it answers with a configuration. The Linux sound library
//! lists converters and null devices as inputs, and a card under six names: `NO_INPUTS` and one name a card are kept. What stands behind a
//! sound server is listed by `server`.
//! Limits: an input that another program holds exclusively may be missing.

use super::InputInfo;
#[cfg(target_os = "linux")]
use super::server;
use crate::audio::AudioError;
use crate::units::SampleRate;
use cpal::traits::{DeviceTrait, HostTrait};
use cpal::{Device, ErrorKind, SampleFormat, SupportedStreamConfig};

/// Names (before any colon) of devices that the Linux sound library lists and that are no inputs: converters, and `null`,
/// which delivers endless zeros a thousand times too fast.
const NO_INPUTS: &[&str] = &[
    "null",
    "lavrate",
    "samplerate",
    "speexrate",
    "speex",
    "upmix",
    "vdownmix",
    "jack",
    "oss",
    "dmix",
    "surround21",
    "surround40",
    "surround41",
    "surround50",
    "surround51",
    "surround71",
    "iec958",
    "hdmi",
];

/// Further names of what is already listed as a card's `hw` or `plughw`.
const SAME_CARD: &[&str] = &["sysdefault", "front", "dsnoop", "hw", "usbstream"];

/// A name is suggested where it is at least this alike (Jaro-Winkler, 0 to 1); below, it seems arbitrary.
const ALIKE: f64 = 0.7;

/// An input, ready to be opened.
pub(super) struct Input {
    pub info: InputInfo,
    pub format: SampleFormat,
    /// What the sound library has of it; nothing of a source of a sound server, which is opened by its name.
    pub device: Option<(Device, SupportedStreamConfig)>,
}

/// All sound inputs that answer, the default first.
///
/// # Errors
/// If there is none.
pub fn list_inputs() -> Result<Vec<InputInfo>, AudioError> {
    let inputs = inputs();
    if inputs.is_empty() {
        return Err(AudioError::NoInput);
    }
    Ok(inputs.into_iter().map(|input| input.info).collect())
}

/// The input that `wanted` means: the default for `None`, else the one whose name or identity is that, or contains it
/// (upper and lower case are the same). What the computer plays is meant only where no microphone is.
pub(super) fn find_input(wanted: Option<&str>) -> Result<Input, AudioError> {
    let mut inputs = inputs();
    if inputs.is_empty() {
        return Err(AudioError::NoInput);
    }
    let infos: Vec<InputInfo> = inputs.iter().map(|input| input.info.clone()).collect();
    let index = wanted.map_or(Ok(0), |wanted| choose(wanted, &infos))?;
    Ok(inputs.swap_remove(index))
}

fn choose(wanted: &str, inputs: &[InputInfo]) -> Result<usize, AudioError> {
    let needle = wanted.trim().to_lowercase();
    let names = |info: &InputInfo| [info.name.to_lowercase(), info.id.to_lowercase()];
    let whole = |info: &InputInfo| names(info).contains(&needle);
    let part = |info: &InputInfo| names(info).iter().any(|name| name.contains(&needle));
    let mut fits = fitting(inputs, whole);
    if fits.is_empty() {
        fits = fitting(inputs, |info| !info.is_monitor && part(info));
    }
    if fits.is_empty() {
        fits = fitting(inputs, part);
    }
    match fits[..] {
        [only] => Ok(only),
        [] => Err(no_such(wanted, &needle, inputs)),
        _ => Err(AudioError::AmbiguousInput {
            wanted: wanted.into(),
            matches: fits
                .iter()
                .map(|&i| format!("{} [{}]", inputs[i].name, inputs[i].id))
                .collect(),
        }),
    }
}

fn fitting(inputs: &[InputInfo], fits: impl Fn(&InputInfo) -> bool) -> Vec<usize> {
    (0..inputs.len()).filter(|&i| fits(&inputs[i])).collect()
}

fn no_such(wanted: &str, needle: &str, inputs: &[InputInfo]) -> AudioError {
    let likeness = |info: &InputInfo| strsim::jaro_winkler(needle, &info.name.to_lowercase());
    let nearest = inputs
        .iter()
        .max_by(|a, b| likeness(a).total_cmp(&likeness(b)))
        .filter(|info| likeness(info) >= ALIKE);
    AudioError::NoSuchInput {
        wanted: wanted.into(),
        nearest: nearest.map(|info| info.name.clone()),
        known: inputs.iter().map(|info| info.name.clone()).collect(),
    }
}

fn inputs() -> Vec<Input> {
    quietly(|| {
        let host = cpal::default_host();
        let default = host.default_input_device();
        let default_id = default
            .as_ref()
            .and_then(|device| device.id().ok())
            .map(|id| id.id().to_owned());
        let mut found: Vec<Input> = default
            .into_iter()
            .filter_map(|device| probe(device, true))
            .collect();
        for device in host.input_devices().into_iter().flatten() {
            let Ok(id) = device.id() else { continue };
            let known = Some(id.id()) == default_id.as_deref();
            if !known && is_input(id.id()) {
                found.extend(probe(device, false));
            }
        }
        #[cfg(target_os = "linux")]
        if found.iter().any(|input| input.info.id == server::ALSA_NAME) {
            found.extend(server::sources::sources().into_iter().map(of_server));
        }
        found
    })
}

/// A source of the sound server, which gives it in any format.
#[cfg(target_os = "linux")]
fn of_server(source: server::sources::Source) -> Input {
    let format = SampleFormat::F32;
    Input {
        info: InputInfo {
            name: source.description,
            id: source.id,
            is_default: false,
            rate: source.rate,
            channels: source.channels,
            format: format_name(format),
            behind_server: true,
            is_monitor: source.is_monitor,
        },
        format,
        device: None,
    }
}

fn is_input(id: &str) -> bool {
    let kind = id.split(':').next().unwrap_or(id);
    !NO_INPUTS.contains(&kind) && !SAME_CARD.contains(&kind)
}

fn probe(device: Device, is_default: bool) -> Option<Input> {
    let config = device.default_input_config().ok()?;
    let info = InputInfo {
        // The Linux sound library describes over two lines; the first one names.
        name: device
            .to_string()
            .lines()
            .next()
            .unwrap_or_default()
            .to_owned(),
        id: device.id().ok()?.id().to_owned(),
        is_default,
        rate: SampleRate::new(config.sample_rate()).ok()?,
        channels: usize::from(config.channels()),
        format: format_name(config.sample_format()),
        behind_server: false,
        is_monitor: false,
    };
    Some(Input {
        info,
        format: config.sample_format(),
        device: Some((device, config)),
    })
}

fn format_name(format: SampleFormat) -> String {
    let bits = format.bits_per_sample();
    if format.is_float() {
        format!("{bits}-bit float")
    } else if format.is_uint() {
        format!("{bits}-bit unsigned")
    } else {
        format!("{bits}-bit")
    }
}

/// Sorts a refusal of the sound system into what the user can act on.
pub(super) fn refusal(name: &str, format: &str, error: &cpal::Error) -> AudioError {
    let name = name.to_owned();
    match error.kind() {
        ErrorKind::DeviceBusy => AudioError::InputBusy { name },
        ErrorKind::PermissionDenied => AudioError::InputDenied { name },
        ErrorKind::DeviceNotAvailable => AudioError::InputGone {
            name,
            cause: "it does not answer".into(),
        },
        ErrorKind::UnsupportedConfig => AudioError::UnsupportedInput {
            name,
            format: format.into(),
        },
        _ => AudioError::InputFailed {
            name,
            cause: error.to_string(),
        },
    }
}

/// Runs `f` while the Linux sound library's own messages, which would spoil the screen, are kept off standard error.
#[cfg(target_os = "linux")]
pub(super) fn quietly<T>(f: impl FnOnce() -> T) -> T {
    let _kept = alsa::Output::local_error_handler();
    f()
}

/// Runs `f`; other systems' sound libraries print nothing.
#[cfg(not(target_os = "linux"))]
pub(super) fn quietly<T>(f: impl FnOnce() -> T) -> T {
    f()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn known(names: &[&str]) -> Vec<InputInfo> {
        let info = |(i, name): (usize, &&str)| InputInfo {
            name: (*name).into(),
            id: format!("plughw:CARD={i},DEV=0"),
            is_default: i == 0,
            rate: SampleRate::INTERNAL,
            channels: 1,
            format: "16-bit".into(),
            behind_server: false,
            is_monitor: name.starts_with("Monitor of"),
        };
        names.iter().enumerate().map(info).collect()
    }

    #[test]
    fn part_of_a_name_in_any_case_is_enough() {
        let inputs = known(&["Built-in Microphone", "Lid Microphone USB"]);
        assert_eq!(choose("lid", &inputs).unwrap(), 1);
        assert_eq!(choose("plughw:card=0,dev=0", &inputs).unwrap(), 0);
    }

    #[test]
    fn a_part_that_fits_two_inputs_is_refused_with_both_names() {
        let refused = choose(
            "microphone",
            &known(&["Built-in Microphone", "Lid Microphone USB"]),
        )
        .unwrap_err()
        .to_string();
        assert!(
            refused.contains("Built-in Microphone") && refused.contains("Lid Microphone USB"),
            "{refused}"
        );
    }

    #[test]
    fn one_of_two_inputs_of_the_same_name_is_chosen_by_its_identity() {
        let twins = known(&["Lid Microphone", "Lid Microphone"]);
        let refused = choose("Lid Microphone", &twins).unwrap_err().to_string();
        assert!(
            refused.contains("[plughw:CARD=0,DEV=0]") && refused.contains("[plughw:CARD=1,DEV=0]"),
            "{refused}"
        );
        assert_eq!(choose("CARD=1", &twins).unwrap(), 1);
    }

    #[test]
    fn what_the_computer_plays_is_meant_only_where_no_microphone_is() {
        let inputs = known(&[
            "Monitor of Lid Speaker",
            "Lid Microphone",
            "Monitor of Desk",
        ]);
        assert_eq!(choose("lid", &inputs).unwrap(), 1);
        assert_eq!(choose("desk", &inputs).unwrap(), 2);
    }

    #[test]
    fn a_misspelt_name_brings_the_nearest_one() {
        let inputs = known(&["Built-in Microphone", "Lid Microphone USB"]);
        let nearest_to = |wanted| match choose(wanted, &inputs) {
            Err(AudioError::NoSuchInput { nearest, known, .. }) => {
                assert_eq!(known, ["Built-in Microphone", "Lid Microphone USB"]);
                nearest
            }
            other => panic!("{other:?}"),
        };
        let nearest = nearest_to("Bilt-in Mikrophone");
        assert_eq!(nearest.as_deref(), Some("Built-in Microphone"));
        assert_eq!(nearest_to("zzz"), None);
    }

    #[test]
    fn converters_and_null_devices_are_no_inputs() {
        for id in [
            "null",
            "speexrate",
            "hw:CARD=0,DEV=0",
            "sysdefault:CARD=PCH",
            "oss",
        ] {
            assert!(!is_input(id), "{id}");
        }
        for id in ["default", "pulse", "pipewire", "plughw:CARD=0,DEV=0"] {
            assert!(is_input(id), "{id}");
        }
    }
}
