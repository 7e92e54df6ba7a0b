//! Options that several commands share.
//!
//! Input: option texts. Output: values of the stages below. Units: as each states.
//! Method: clap's derive; flattened into the arguments of the commands. Limits: none.

pub mod archive;
pub mod loudspeaker;
pub mod naming;
pub mod part;
pub mod piano;
pub mod publish;
pub mod rhythm;
pub mod tempo;
pub mod typed;

pub use archive::ArchiveOptions;
pub use loudspeaker::LoudspeakerOptions;
pub use naming::{NamingOptions, style_parser};
pub use part::PartOptions;
pub use piano::PianoOptions;
pub use publish::PublishOptions;
pub use rhythm::RhythmOptions;
pub use tempo::parse_tempo;
