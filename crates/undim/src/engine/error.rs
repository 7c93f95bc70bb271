//! What goes wrong at the edge.

use std::io;
use std::path::Path;
use undim_store::StoreError;
use undim_survey::{RowsError, TakeInError};

/// Work that could not be done, through no fault of a file.
#[derive(Debug, thiserror::Error)]
pub(crate) enum EngineError {
    /// The outbox.
    #[error("{path} could not be written: {error}; nothing is marked as done, and it is tried again")]
    Outbox {
        /// Where.
        path: String,
        /// What the system says.
        error: String,
    },
    /// The state folder.
    #[error("{path} could not be used: {error}")]
    State {
        /// Where.
        path: String,
        /// What the system says.
        error: String,
    },
    /// The ledger.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// A survey that was taken in before can't be taken in any more.
    #[error(transparent)]
    TakeIn(#[from] TakeInError),
    /// A stop was asked for.
    #[error("stopped before it was done; it is done at the next start")]
    Cancelled,
}

impl EngineError {
    /// The sentence where a file, its note or its route is to blame, and not the state folder.
    pub(crate) fn blames_the_file(self) -> Result<String, Self> {
        match self {
            Self::TakeIn(TakeInError::Rows {
                error: RowsError::Unreadable(_),
                ..
            }) => Err(self),
            Self::TakeIn(error) => Ok(error.to_string()),
            other => Err(other),
        }
    }

    /// Something in the outbox.
    pub(crate) fn outbox(path: &Path, error: &io::Error) -> Self {
        Self::Outbox {
            path: path.display().to_string(),
            error: error.to_string(),
        }
    }

    /// Something in the state folder.
    pub(crate) fn state(path: &Path, error: &io::Error) -> Self {
        Self::State {
            path: path.display().to_string(),
            error: error.to_string(),
        }
    }
}
