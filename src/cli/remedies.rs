//! What to do about it: the end of each sentence that says why a command stopped.
//!
//! Input: what went wrong below, and the command in which it did. Output: a few words that begin after "; ".
//! Units: none. Method: one table by error and command. What happened is said by the error itself, which knows no commands.
//! Limits: an option stands here only if the command has it (a test walks the command line's own definition).

use crate::audio::AudioError;

/// A command, as its errors need to know it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum InCommand {
    /// `lidprop hear`
    Hear,
    /// `lidprop take`
    Take,
    /// `lidprop name`
    Name,
    /// `lidprop standin`
    Standin,
    /// `lidprop drill`
    Drill,
    /// `lidprop logbook`
    Logbook,
    /// `lidprop soundcheck`
    Soundcheck,
}

impl InCommand {
    /// All commands.
    pub const ALL: [Self; 7] = [
        Self::Hear,
        Self::Take,
        Self::Name,
        Self::Standin,
        Self::Drill,
        Self::Logbook,
        Self::Soundcheck,
    ];

    /// As it is typed.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Hear => "hear",
            Self::Take => "take",
            Self::Name => "name",
            Self::Standin => "standin",
            Self::Drill => "drill",
            Self::Logbook => "logbook",
            Self::Soundcheck => "soundcheck",
        }
    }
}

/// What happened to sound, and what to do about it.
pub fn sentence(error: &AudioError, command: InCommand) -> String {
    format!("{error}; {}", for_sound(error, command))
}

/// What to do about trouble with a recording or an input.
pub fn for_sound(error: &AudioError, command: InCommand) -> String {
    let words = match error {
        AudioError::NotFound { .. } => "check the spelling and the folder",
        AudioError::IsDirectory { name } => {
            return format!("name the recordings in it, for example {name}/*.wav");
        }
        AudioError::PermissionDenied { .. } => {
            "change its permissions or copy it to a folder of your own"
        }
        AudioError::Read { .. } => "copy the file to a sound disk and try again",
        AudioError::Empty { .. } => "record or copy it again",
        AudioError::NotAudio { .. } => {
            "give WAV, FLAC, MP3, M4A, OGG, Opus or CAF, or a video as MP4, MOV, MKV or WebM"
        }
        AudioError::UnknownCodec { .. } | AudioError::UnknownContainer { .. } => {
            "convert it first: ffmpeg -i INPUT output.flac"
        }
        AudioError::NoSound { .. } => "give a recording of the sound",
        AudioError::IndexLost { .. } => {
            "copy it again from where it was recorded; without the index nobody can find the sound in it"
        }
        AudioError::Device { .. } => {
            "record into a file and give that, or listen live with `lidprop hear`"
        }
        AudioError::Dash { .. } => "give /dev/stdin, as in: ... | lidprop take /dev/stdin",
        AudioError::Endless { .. } => "store it in a file first and give that",
        AudioError::Damaged { .. } => "copy it again, or try: ffmpeg -i INPUT output.flac",
        AudioError::UnusableRate { .. } | AudioError::NoSamples { .. } => {
            "record or export it again"
        }
        AudioError::EndsBefore { .. } => match command {
            InCommand::Take => "give an earlier time with --from",
            InCommand::Hear
            | InCommand::Name
            | InCommand::Standin
            | InCommand::Drill
            | InCommand::Logbook
            | InCommand::Soundcheck => "give an earlier time",
        },
        AudioError::NoLiveSound => match command {
            InCommand::Soundcheck => {
                "build it with its default features, or learn a piano from a recording with --learn NAME --from FILE"
            }
            InCommand::Drill => {
                "build it with its default features, or mark a recording with --from FILE"
            }
            InCommand::Standin => {
                "build it with its default features, or write the sound with --wav FILE"
            }
            InCommand::Hear | InCommand::Take | InCommand::Name | InCommand::Logbook => {
                "build it with its default features, or read a recording with `lidprop take`"
            }
        },
        AudioError::NoInput => match command {
            InCommand::Soundcheck => {
                "plug a microphone in, check that it is switched on in the system's sound settings, then try again"
            }
            InCommand::Hear
            | InCommand::Take
            | InCommand::Name
            | InCommand::Standin
            | InCommand::Drill
            | InCommand::Logbook => {
                "plug a microphone in, check that it is switched on in the system's sound settings, then run `lidprop soundcheck`"
            }
        },
        AudioError::NoOutput => match command {
            InCommand::Standin => {
                "plug loudspeakers or headphones in and check the system's sound settings, or write the sound with --wav FILE"
            }
            InCommand::Hear
            | InCommand::Take
            | InCommand::Name
            | InCommand::Drill
            | InCommand::Logbook
            | InCommand::Soundcheck => {
                "plug loudspeakers or headphones in and check the system's sound settings, or leave the listening out"
            }
        },
        AudioError::OutputFailed { .. } => {
            "try again, or choose another output in the system's sound settings"
        }
        AudioError::NoSuchInput { nearest, known, .. } => {
            return match (nearest, &known[..]) {
                (Some(near), _) => format!("did you mean \"{near}\"?"),
                (None, []) => "there is none at all, so plug a microphone in".into(),
                (None, known) => format!("there are: {}", known.join(", ")),
            };
        }
        AudioError::AmbiguousInput { .. } => "give more of the name, or what stands in brackets",
        AudioError::InputDenied { .. } => {
            "allow the microphone for this terminal in the privacy settings (on Linux, join the group `audio`)"
        }
        AudioError::InputBusy { .. } => match command {
            InCommand::Hear | InCommand::Drill | InCommand::Soundcheck => {
                "close that program or choose another input with --device"
            }
            InCommand::Take | InCommand::Name | InCommand::Standin | InCommand::Logbook => {
                "close that program"
            }
        },
        AudioError::InputGone { .. } => match command {
            InCommand::Hear | InCommand::Drill | InCommand::Soundcheck => {
                "plug it in again or choose another with --device"
            }
            InCommand::Take | InCommand::Name | InCommand::Standin | InCommand::Logbook => {
                "plug it in again"
            }
        },
        AudioError::UnsupportedInput { .. } => match command {
            InCommand::Hear | InCommand::Drill | InCommand::Soundcheck => {
                "choose another input with --device"
            }
            InCommand::Take | InCommand::Name | InCommand::Standin | InCommand::Logbook => {
                "use another input"
            }
        },
        AudioError::InputFailed { .. } => match command {
            InCommand::Soundcheck => {
                "try again, or choose another of the inputs listed with --seconds 0 by --device"
            }
            InCommand::Hear
            | InCommand::Take
            | InCommand::Name
            | InCommand::Standin
            | InCommand::Drill
            | InCommand::Logbook => "run `lidprop soundcheck` to see which inputs work",
        },
    };
    words.to_owned()
}

/// What to do where standard output takes no more.
pub fn for_standard_output(command: InCommand) -> &'static str {
    match command {
        InCommand::Take => "write to a folder with --write FORMAT --into DIR instead",
        InCommand::Hear
        | InCommand::Name
        | InCommand::Standin
        | InCommand::Drill
        | InCommand::Logbook
        | InCommand::Soundcheck => "send the output to a place that has room",
    }
}

/// What to do where a learned piano cannot be read any more.
pub const LEARN_AGAIN: &str = "learn the piano again with `lidprop soundcheck --learn NAME`";

/// What to do where no piano is kept at all.
pub fn learn_it(name: &str) -> String {
    format!("none is kept yet; learn it with `lidprop soundcheck --learn \"{name}\"`")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cli::CommandLine;
    use crate::units::Seconds;
    use clap::CommandFactory;
    use std::io;

    /// One of each error.
    fn errors() -> Vec<AudioError> {
        let name = || "x".to_owned();
        let all = vec![
            AudioError::NotFound { name: name() },
            AudioError::IsDirectory { name: name() },
            AudioError::PermissionDenied { name: name() },
            AudioError::Read {
                name: name(),
                cause: io::Error::other("x"),
            },
            AudioError::Empty { name: name() },
            AudioError::NotAudio { name: name() },
            AudioError::UnknownCodec {
                name: name(),
                codec: name(),
            },
            AudioError::UnknownContainer {
                name: name(),
                container: name(),
            },
            AudioError::NoSound {
                name: name(),
                what: name(),
            },
            AudioError::IndexLost { name: name() },
            AudioError::Device { name: name() },
            AudioError::Dash { name: name() },
            AudioError::Endless {
                name: name(),
                limit: "x",
            },
            AudioError::Damaged {
                name: name(),
                what: name(),
            },
            AudioError::UnusableRate {
                name: name(),
                rate: 1,
            },
            AudioError::NoSamples { name: name() },
            AudioError::EndsBefore {
                name: name(),
                end: Seconds::ZERO,
                wanted: Seconds::ZERO,
            },
            AudioError::NoLiveSound,
            AudioError::NoInput,
            AudioError::NoSuchInput {
                wanted: name(),
                nearest: None,
                known: Vec::new(),
            },
            AudioError::NoSuchInput {
                wanted: name(),
                nearest: Some(name()),
                known: vec![name()],
            },
            AudioError::AmbiguousInput {
                wanted: name(),
                matches: vec![name()],
            },
            AudioError::InputBusy { name: name() },
            AudioError::InputDenied { name: name() },
            AudioError::InputGone {
                name: name(),
                cause: name(),
            },
            AudioError::UnsupportedInput {
                name: name(),
                format: name(),
            },
            AudioError::InputFailed {
                name: name(),
                cause: name(),
            },
        ];
        let kinds = all.iter().map(std::mem::discriminant);
        let kinds: std::collections::HashSet<_> = kinds.collect();
        assert_eq!(
            kinds.len(),
            26,
            "an error that is new in the table belongs in this list too"
        );
        all
    }

    /// True if the command of this word has this long option.
    fn has(command: &str, option: &str) -> bool {
        let definition = CommandLine::command();
        let command = definition
            .find_subcommand(command)
            .unwrap_or_else(|| panic!("there is no command {command}"));
        command
            .get_arguments()
            .any(|argument| argument.get_long() == Some(option))
    }

    /// Options in `text` that are none of their command: the one named between the same backticks, or else `own`.
    fn strange_options(text: &str, own: &str) -> Vec<String> {
        let mut strange = Vec::new();
        for (place, part) in text.split('`').enumerate() {
            let quoted = place % 2 == 1;
            let command = match part.strip_prefix("lidprop ").filter(|_| quoted) {
                Some(call) => call.split(' ').next().unwrap_or_default(),
                None => own,
            };
            let words = part.split_whitespace();
            let options = words.filter_map(|word| word.strip_prefix("--"));
            let names = options.map(|option| option.trim_end_matches([',', '.', ';']));
            strange.extend(
                names
                    .filter(|option| !has(command, option))
                    .map(|option| format!("{command} --{option}")),
            );
        }
        strange
    }

    #[test]
    fn remedies_name_only_options_that_the_command_has() {
        for command in InCommand::ALL {
            let mut remedies: Vec<String> = errors()
                .iter()
                .map(|error| for_sound(error, command))
                .collect();
            remedies.push(for_standard_output(command).to_owned());
            remedies.push(LEARN_AGAIN.to_owned());
            remedies.push(learn_it("parlour"));
            for remedy in remedies {
                let strange = strange_options(&remedy, command.word());
                assert!(strange.is_empty(), "{strange:?} in: {remedy}");
            }
        }
    }

    #[test]
    fn an_option_of_another_command_is_noticed() {
        assert_eq!(strange_options("use --into DIR", "name"), ["name --into"]);
        assert_eq!(
            strange_options("run `lidprop name --into DIR`", "take"),
            ["name --into"]
        );
        assert!(strange_options("use --into DIR", "take").is_empty());
    }

    #[test]
    fn what_happened_is_told_without_a_command_or_an_option() {
        for error in errors() {
            let told = error.to_string();
            assert!(!told.contains("--") && !told.contains('`'), "{told}");
        }
    }
}
