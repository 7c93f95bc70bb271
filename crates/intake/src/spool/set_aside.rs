//! Setting a file aside, with the reason beside it: `NAME` and `NAME.why.txt` in `set-aside/`.
//!
//! The reason is written first and the file moved to the name it speaks of. A program killed in between
//! finds the same reason there at the next start and moves the file to it; the other way round a file could
//! lie there for ever and nobody would know why.

use super::put_away::{
    MOST_NUMBERS, PutAwayError, Shelf, expect_file, move_free, remove, sync, unusable, vanished_or, write_in,
};
use crate::beneath;
use crate::listing::Stamp;
use crate::names::{self, shown};
use rustix::fd::{AsFd, OwnedFd};
use rustix::fs::{AtFlags, OFlags};
use rustix::io::Errno;
use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

/// Moves the file `path` of the inbox, which must still be what was `read`, to `set-aside/`, its folders with
/// it, and writes why beside it; gives its new path relative to the inbox. Where the name had to be cut the
/// reason begins with the whole one.
pub fn set_aside(inbox: &Path, path: &[u8], read: Stamp, why: &str) -> Result<Vec<u8>, PutAwayError> {
    let failed = |error: Errno| unusable(path, error.into());
    let root = beneath::open_root(inbox).map_err(vanished_or(path))?;
    let (from, name) = beneath::open_folder_of(root.as_fd(), path).map_err(vanished_or(path))?;
    expect_file(&from, name, read, path)?;
    let new_folder = Shelf::SetAside.folder_for(path);
    let to = beneath::make_folder(root.as_fd(), &new_folder).map_err(failed)?;

    let (free, reason) = write_why(&to, name, why).map_err(|error| unusable(path, error))?;
    let moved = move_free(&from, name, &to, &free, Some(read)).map_err(|error| match error {
        Errno::NOENT => PutAwayError::Vanished,
        Errno::STALE => PutAwayError::Replaced,
        other => failed(other),
    });
    let new_name = match moved {
        Ok(new_name) if expect_file(&to, &new_name, read, path).is_ok() => new_name,
        Ok(other) => {
            // Not the one that was read: back to its name, or beside it if that is taken by a newer one still.
            move_free(&to, &other, &from, name, None).map_err(failed)?;
            let _ = remove(&to, &reason, AtFlags::empty());
            sync(&from).and_then(|()| sync(&to)).map_err(failed)?;
            return Err(PutAwayError::Replaced);
        }
        Err(error) => {
            let _ = remove(&to, &reason, AtFlags::empty());
            return Err(error);
        }
    };
    if new_name != free {
        // Somebody else took the name just now.
        move_free(&to, &reason, &to, &names::why_name(&new_name), None).map_err(failed)?;
    }
    sync(&to).and_then(|()| sync(&from)).map_err(failed)?;
    Ok([&new_folder[..], b"/", &new_name].concat())
}

/// Removes what a killed program left half written there.
pub fn remove_unfinished_reasons(inbox: &Path) -> io::Result<usize> {
    match super::atomic::remove_hidden_files_below(&inbox.join(names::SET_ASIDE)) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(0),
        done => done,
    }
}

/// Writes the reason for a file, or finds it written; gives the name that the file takes and the reason's own.
fn write_why(folder: &OwnedFd, name: &[u8], why: &str) -> io::Result<(Vec<u8>, Vec<u8>)> {
    for number in 1..MOST_NUMBERS {
        let free = names::numbered(name, number);
        if rustix::fs::statat(folder, beneath::part(&free)?, AtFlags::SYMLINK_NOFOLLOW).is_ok() {
            continue;
        }
        let reason = names::numbered_why_name(name, number);
        let text = text_of(name, &reason, why);
        match beneath::open_in(folder.as_fd(), &reason, OFlags::RDONLY | OFlags::NONBLOCK) {
            Ok(found) => {
                if holds(found, text.as_bytes()) {
                    return Ok((free, reason));
                }
                continue;
            }
            Err(Errno::LOOP) => continue,
            Err(Errno::NOENT) => {}
            Err(error) => return Err(error.into()),
        }
        let hidden = super::atomic::hidden_name("why");
        let written = write_in(folder, hidden.as_bytes(), text.as_bytes())
            .and_then(|()| Ok(move_free(folder, hidden.as_bytes(), folder, &reason, None)?))
            .and_then(|reason| {
                sync(folder)?;
                Ok(reason)
            });
        return match written {
            Ok(reason) => Ok((free, reason)),
            Err(error) => {
                let _ = remove(folder, hidden.as_bytes(), AtFlags::empty());
                Err(error)
            }
        };
    }
    Err(Errno::EXIST.into())
}

fn text_of(name: &[u8], reason: &[u8], why: &str) -> String {
    let mut text = String::new();
    if !reason.starts_with(name) {
        text = format!("File: {}\n\n", shown(name));
    }
    text.push_str(why);
    if !text.ends_with('\n') {
        text.push('\n');
    }
    text
}

fn holds(found: OwnedFd, text: &[u8]) -> bool {
    let mut bytes = Vec::new();
    let most = text.len() as u64 + 1;
    File::from(found).take(most).read_to_end(&mut bytes).is_ok() && bytes == text
}
