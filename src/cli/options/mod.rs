//! Options that several commands share.
//!
//! Input: option texts. Output: values of the stages below. Units: as each states.
//! Method: clap's derive; flattened into the arguments of the commands. Limits: none.

pub mod naming;
pub mod part;
pub mod piano;
pub mod rhythm;

pub use naming::NamingOptions;
pub use part::PartOptions;
pub use piano::PianoOptions;
pub use rhythm::RhythmOptions;
