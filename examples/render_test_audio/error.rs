//! What can go wrong while rendering, one sentence each.

use std::path::PathBuf;

/// Why a take could not be rendered.
#[derive(Debug, thiserror::Error)]
pub enum RenderError {
    /// A file could not be read, decoded or written.
    #[error("{path}: {reason}", path = .path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// What is the matter with it.
        reason: String,
    },
    /// The written part asks for something that cannot be played.
    #[error("the written part: {0}")]
    Part(String),
    /// A library refused a sound.
    #[error("{0}")]
    Signal(String),
}

impl RenderError {
    /// An error about `path`.
    pub fn file(path: impl Into<PathBuf>, reason: impl ToString) -> Self {
        Self::File {
            path: path.into(),
            reason: reason.to_string(),
        }
    }

    /// An error of a signal-processing library.
    pub fn signal(reason: impl ToString) -> Self {
        Self::Signal(reason.to_string())
    }
}
