//! What can go wrong with the ledger, where, and what to do.

use rusqlite::ErrorCode;
use std::path::{Path, PathBuf};
use thiserror::Error;

/// Why the ledger could not be used.
#[derive(Debug, Error)]
pub enum StoreError {
    /// Written by a newer program; nothing was touched.
    #[error(
        "the ledger {} has form {found}, made by a newer undim; this one knows forms up to {known}. It was not touched: \
         use the newer program, or move the ledger away and run `undim rebuild`",
        path.display()
    )]
    Newer {
        /// The ledger.
        path: PathBuf,
        /// Its form.
        found: i64,
        /// The newest form known here.
        known: i64,
    },
    /// Written by an older program, and only looked at.
    #[error(
        "the ledger {} still has form {found}, and this undim works with form {known}: run `undim sweep` or \
         `undim watch` once, which brings it up to date",
        path.display()
    )]
    Older {
        /// The ledger.
        path: PathBuf,
        /// Its form.
        found: i64,
        /// The form needed.
        known: i64,
    },
    /// Some other database.
    #[error(
        "{} is a database, but no ledger of undim; it was not touched. Check `state` under `[folders]`",
        path.display()
    )]
    Foreign {
        /// The file.
        path: PathBuf,
    },
    /// Damaged.
    #[error(
        "the ledger {} is damaged ({why}). Nothing measured is lost: move it away (with its -wal and -shm files) and \
         run `undim rebuild`, which derives everything again from the raw archive",
        path.display()
    )]
    Damaged {
        /// The ledger.
        path: PathBuf,
        /// What was found.
        why: String,
    },
    /// SQLite itself is too old to be trusted.
    #[error(
        "this program was built with SQLite {found}, which can lose writes; it needs {needed} or later: build it with \
         its bundled SQLite"
    )]
    TooOld {
        /// The version linked.
        found: &'static str,
        /// The oldest that is good.
        needed: &'static str,
    },
    /// The folder can't keep a write-ahead log.
    #[error(
        "the ledger {} lies where SQLite can't keep a write-ahead log (journal mode \"{mode}\"), as on a network \
         folder; put `state` under `[folders]` on a disk of this machine",
        path.display()
    )]
    NoWriteAheadLog {
        /// The ledger.
        path: PathBuf,
        /// What SQLite chose.
        mode: String,
    },
    /// Something else.
    #[error("{doing} in the ledger {} failed: {source}; {next}", path.display())]
    Failed {
        /// The ledger.
        path: PathBuf,
        /// What was being done.
        doing: &'static str,
        /// What SQLite says.
        source: rusqlite::Error,
        /// What to do next.
        next: &'static str,
    },
    /// A stored noun that can't be understood.
    #[error("what the ledger holds as {what} can't be understood ({why}); `undim rebuild` derives it again")]
    NotUnderstood {
        /// Which one.
        what: String,
        /// What is wrong with it.
        why: String,
    },
}

impl StoreError {
    /// From what SQLite says.
    pub(crate) fn from_sqlite(path: &Path, doing: &'static str, source: rusqlite::Error) -> Self {
        let path = path.to_owned();
        match source.sqlite_error_code() {
            Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase) => Self::Damaged {
                path,
                why: source.to_string(),
            },
            code => Self::Failed {
                path,
                doing,
                source,
                next: match code {
                    Some(ErrorCode::DiskFull) => {
                        "make room on the disk; the work goes on from where it stood"
                    }
                    Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => {
                        "another program holds it: end that one, then try again"
                    }
                    Some(ErrorCode::CannotOpen | ErrorCode::PermissionDenied | ErrorCode::ReadOnly) => {
                        "check that the state folder exists and may be written"
                    }
                    _ => "nothing of this step was kept; try again, and if it stays, run `undim rebuild`",
                },
            },
        }
    }

    pub(crate) fn not_understood(what: impl Into<String>, why: &impl ToString) -> Self {
        Self::NotUnderstood {
            what: what.into(),
            why: why.to_string(),
        }
    }
}
