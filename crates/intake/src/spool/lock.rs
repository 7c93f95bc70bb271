//! One program at a time on a state folder.

use std::fs::{File, OpenOptions, TryLockError};
use std::io::{self, Read, Seek, Write};
use std::path::{Path, PathBuf};
use thiserror::Error;

/// Held as long as this value lives; the system lets go of it when the program ends, however it ends.
#[derive(Debug)]
pub struct StateLock {
    _file: File,
}

/// Why the state folder can't be had.
#[derive(Debug, Error)]
pub enum LockError {
    /// Another program has it.
    #[error(
        "{what} already works on {} (process {pid}, since {since}); stop that one first, or let it do the work",
        folder.display()
    )]
    Held {
        /// The state folder.
        folder: PathBuf,
        /// The holder's command.
        what: String,
        /// The holder's process id; 0 where it has not written it yet.
        pid: u32,
        /// When it started, as it wrote it.
        since: String,
    },
    /// The lock can't be used.
    #[error("the lock {} can't be used: {source}; check the folder and its rights", path.display())]
    Unusable {
        /// The lock file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
}

/// Takes the lock of a state folder. `what` names the command and `since` the time, for whoever comes second.
pub fn state_lock(state: &Path, what: &str, since: &str) -> Result<StateLock, LockError> {
    let path = state.join("lock");
    let unusable = |source| LockError::Unusable {
        path: path.clone(),
        source,
    };
    let mut file = OpenOptions::new()
        .read(true)
        .write(true)
        .create(true)
        .truncate(false)
        .open(&path)
        .map_err(unusable)?;
    match file.try_lock() {
        Ok(()) => {}
        Err(TryLockError::WouldBlock) => return Err(held(state, &mut file)),
        Err(TryLockError::Error(source)) => return Err(unusable(source)),
    }
    let text = format!("{}\n{since}\n{what}\n", std::process::id());
    file.set_len(0)
        .and_then(|()| file.rewind())
        .and_then(|()| file.write_all(text.as_bytes()))
        .map_err(unusable)?;
    Ok(StateLock { _file: file })
}

fn held(state: &Path, file: &mut File) -> LockError {
    let mut text = String::new();
    let _ = file.take(1000).read_to_string(&mut text);
    let mut lines = text.lines();
    LockError::Held {
        folder: state.to_owned(),
        pid: lines.next().and_then(|line| line.parse().ok()).unwrap_or(0),
        since: lines.next().unwrap_or("just now").to_owned(),
        what: lines.next().unwrap_or("another run").to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_second_is_told_who_came_first_and_the_next_may_have_it() {
        let state = tempfile::tempdir().expect("a folder");
        let first = state_lock(state.path(), "undim watch", "2026-04-03T10:15:00+01:00").expect("free");
        let refused = state_lock(state.path(), "undim sweep", "later").expect_err("held");
        let LockError::Held { what, pid, since, .. } = &refused else {
            panic!("{refused}");
        };
        assert_eq!((what.as_str(), *pid), ("undim watch", std::process::id()));
        assert_eq!(since, "2026-04-03T10:15:00+01:00");
        drop(first);
        state_lock(state.path(), "undim sweep", "later").expect("free again");
        assert!(matches!(
            state_lock(&state.path().join("none"), "x", "y"),
            Err(LockError::Unusable { .. })
        ));
    }
}
