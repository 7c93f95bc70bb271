//! Out of the inbox, by what was read and never by name alone.
//!
//! A file is moved only if the name still holds the file that was read: device, inode, size and time. Somebody
//! may append to it or rename a newer file onto the name just before the move: so what was moved is looked at again, and goes back if it
//! is not the one. Nothing is ever overwritten.

use crate::beneath;
use crate::listing::Stamp;
use crate::names::{self, SET_ASIDE, TAKEN, shown};
use rustix::fd::{AsFd, BorrowedFd, OwnedFd};
use rustix::fs::{AtFlags, FileType, Mode, OFlags, RenameFlags};
use rustix::io::Errno;
use std::fs::File;
use std::io::{self, Write};
use std::path::Path;
use thiserror::Error;

/// Numbers tried for one name.
pub(super) const MOST_NUMBERS: u32 = 1_000_000;

/// Where files go.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Shelf {
    /// `taken/`: files taken in.
    Taken,
    /// `set-aside/`: files that can't be used.
    SetAside,
}

impl Shelf {
    /// Its folder in the inbox.
    pub fn folder(self) -> &'static str {
        match self {
            Self::Taken => TAKEN,
            Self::SetAside => SET_ASIDE,
        }
    }

    /// The folder in it, relative to the inbox, for a file that lay at `path`.
    pub(super) fn folder_for(self, path: &[u8]) -> Vec<u8> {
        match names::folder_of(path) {
            b"" => self.folder().as_bytes().to_vec(),
            folder => [self.folder().as_bytes(), b"/", folder].concat(),
        }
    }
}

/// Why a file was not put away.
#[derive(Debug, Error)]
pub enum PutAwayError {
    /// Its name is gone from the inbox.
    #[error("the file is gone from the inbox; its bytes are kept in the raw archive")]
    Vanished,
    /// Other bytes have its name now; they stay, and are a new input.
    #[error("the file changed, or another took its name, since it was read; it stays and is looked at next")]
    Replaced,
    /// The inbox can't be changed.
    #[error(
        "{path} can't be put away: {source}; give the program the right to write in the inbox, or set `after = \"keep\"`"
    )]
    Unusable {
        /// Relative to the inbox, as shown.
        path: String,
        /// What the system says.
        source: io::Error,
    },
}

/// Moves the file `path` of the inbox, which must still be what was `read`, into a shelf, its folders
/// with it; gives its new path relative to the inbox.
pub fn put_away(inbox: &Path, path: &[u8], read: Stamp, shelf: Shelf) -> Result<Vec<u8>, PutAwayError> {
    move_checked(inbox, path, read, shelf, |_| {})
}

/// The same; `just_before` runs between the first look and the move, for the test of that race.
fn move_checked(
    inbox: &Path,
    path: &[u8],
    read: Stamp,
    shelf: Shelf,
    just_before: impl Fn(&[u8]),
) -> Result<Vec<u8>, PutAwayError> {
    let unusable = |error: Errno| unusable(path, error.into());
    let root = beneath::open_root(inbox).map_err(vanished_or(path))?;
    let (from, name) = beneath::open_folder_of(root.as_fd(), path).map_err(vanished_or(path))?;
    expect_file(&from, name, read, path)?;

    let new_folder = shelf.folder_for(path);
    let to = beneath::make_folder(root.as_fd(), &new_folder).map_err(unusable)?;
    just_before(path);
    let new_name = move_free(&from, name, &to, name, Some(read)).map_err(|error| match error {
        Errno::NOENT => PutAwayError::Vanished,
        Errno::STALE => PutAwayError::Replaced,
        other => unusable(other),
    })?;
    if expect_file(&to, &new_name, read, path).is_err() {
        // Not the one that was read: back to its name, or beside it if that is taken by a newer one still.
        move_free(&to, &new_name, &from, name, None).map_err(unusable)?;
        sync(&from).and_then(|()| sync(&to)).map_err(unusable)?;
        return Err(PutAwayError::Replaced);
    }
    sync(&to).and_then(|()| sync(&from)).map_err(unusable)?;
    Ok([&new_folder[..], b"/", &new_name].concat())
}

/// For `after = "delete"`: by way of `taken/`, so that a newer file that takes the name meanwhile is safe.
pub fn delete(inbox: &Path, path: &[u8], read: Stamp) -> Result<(), PutAwayError> {
    let moved = put_away(inbox, path, read, Shelf::Taken)?;
    let root = beneath::open_root(inbox).map_err(vanished_or(path))?;
    let (folder, name) = beneath::open_folder_of(root.as_fd(), &moved).map_err(vanished_or(path))?;
    expect_file(&folder, name, read, path)?;
    remove(&folder, name, AtFlags::empty()).map_err(|error| unusable(path, error.into()))?;
    // The folders that this made; one that holds something stays.
    let mut left = names::folder_of(&moved);
    while !left.is_empty() {
        let Ok((parent, name)) = beneath::open_folder_of(root.as_fd(), left) else {
            break;
        };
        if remove(&parent, name, AtFlags::REMOVEDIR).is_err() {
            break;
        }
        left = names::folder_of(left);
    }
    Ok(())
}

pub(super) fn write_in(folder: &OwnedFd, name: &[u8], bytes: &[u8]) -> io::Result<()> {
    let mut file = File::from(create(folder, name)?);
    file.write_all(bytes)?;
    file.sync_all()
}

fn create(folder: &OwnedFd, name: &[u8]) -> Result<OwnedFd, Errno> {
    let flags = OFlags::WRONLY | OFlags::CREATE | OFlags::EXCL | OFlags::NOFOLLOW | OFlags::CLOEXEC;
    rustix::fs::openat(folder, beneath::part(name)?, flags, Mode::from_raw_mode(0o666))
}

/// Renames to the first free numbered name. Onto another file system only what was `read` may go, as a copy.
pub(super) fn move_free(
    from: &OwnedFd,
    name: &[u8],
    to: &OwnedFd,
    wanted: &[u8],
    read: Option<Stamp>,
) -> Result<Vec<u8>, Errno> {
    let name = beneath::part(name)?;
    for number in 1..MOST_NUMBERS {
        let free = names::numbered(wanted, number);
        let new = beneath::part(&free)?;
        match rustix::fs::renameat_with(from, name, to, new, RenameFlags::NOREPLACE) {
            Ok(()) => return Ok(free),
            Err(Errno::EXIST) => {}
            Err(Errno::XDEV) => match copy_over(from.as_fd(), name.as_encoded_bytes(), to, &free, read) {
                Err(Errno::EXIST) => {}
                done => return done.map(|()| free),
            },
            // A file system without that flag: an empty file of ours holds the name, and is replaced.
            Err(Errno::INVAL | Errno::NOSYS | Errno::OPNOTSUPP) => match create(to, &free) {
                Ok(_) => {
                    return rustix::fs::renameat(from, name, to, new)
                        .map(|()| free.clone())
                        .inspect_err(|_| {
                            let _ = remove(to, &free, AtFlags::empty());
                        });
                }
                Err(Errno::EXIST) => {}
                Err(error) => return Err(error),
            },
            Err(error) => return Err(error),
        }
    }
    Err(Errno::EXIST)
}

/// Where the shelf lies on another file system: copy, sync, and only then remove, if it is still the same.
/// `STALE` where it is not.
fn copy_over(
    from: BorrowedFd<'_>,
    name: &[u8],
    to: &OwnedFd,
    new: &[u8],
    read: Option<Stamp>,
) -> Result<(), Errno> {
    let source = beneath::open_in(from, name, OFlags::RDONLY | OFlags::NONBLOCK)?;
    let stat = rustix::fs::fstat(&source)?;
    let stamp = Stamp::of(&stat);
    if !read.is_some_and(|read| read.holds_the_same(stamp))
        || FileType::from_raw_mode(stat.st_mode) != FileType::RegularFile
    {
        return Err(Errno::STALE);
    }
    let mut target = File::from(create(to, new)?);
    let copied = io::copy(&mut File::from(source), &mut target)
        .and_then(|_| target.sync_all())
        .map_err(|error| Errno::from_io_error(&error).unwrap_or(Errno::IO))
        .and_then(|()| {
            let now = rustix::fs::statat(from, beneath::part(name)?, AtFlags::SYMLINK_NOFOLLOW)?;
            if Stamp::of(&now) != stamp {
                return Err(Errno::STALE);
            }
            sync(to)?;
            rustix::fs::unlinkat(from, beneath::part(name)?, AtFlags::empty())
        });
    if copied.is_err() {
        let _ = remove(to, new, AtFlags::empty());
    }
    copied
}

pub(super) fn remove(folder: &OwnedFd, name: &[u8], flags: AtFlags) -> Result<(), Errno> {
    rustix::fs::unlinkat(folder, beneath::part(name)?, flags)
}

pub(super) fn sync(folder: &OwnedFd) -> Result<(), Errno> {
    rustix::fs::fsync(folder)
}

pub(super) fn expect_file(
    folder: &OwnedFd,
    name: &[u8],
    read: Stamp,
    path: &[u8],
) -> Result<(), PutAwayError> {
    let stat = beneath::part(name)
        .and_then(|name| rustix::fs::statat(folder, name, AtFlags::SYMLINK_NOFOLLOW))
        .map_err(vanished_or(path))?;
    if Stamp::of(&stat).holds_the_same(read) {
        Ok(())
    } else {
        Err(PutAwayError::Replaced)
    }
}

pub(super) fn vanished_or(path: &[u8]) -> impl Fn(Errno) -> PutAwayError + '_ {
    move |error| match error {
        Errno::NOENT | Errno::NOTDIR | Errno::LOOP => PutAwayError::Vanished,
        other => unusable(path, other.into()),
    }
}

pub(super) fn unusable(path: &[u8], source: io::Error) -> PutAwayError {
    PutAwayError::Unusable {
        path: shown(path),
        source,
    }
}

#[cfg(test)]
mod tests {
    #![expect(clippy::disallowed_methods, reason = "tests lay out real files")]

    use super::*;
    use crate::listing::list;
    use std::fs;

    /// The race that can't be timed from outside: a newer file takes the name between the look and the move.
    #[test]
    fn a_newer_file_renamed_onto_the_name_in_between_is_not_lost() {
        let inbox = tempfile::tempdir().expect("a folder");
        fs::write(inbox.path().join("a.csv"), "old").expect("a file");
        let old = list(inbox.path()).entries[0].stamp;
        let result = move_checked(inbox.path(), b"a.csv", old, Shelf::Taken, |_| {
            fs::write(inbox.path().join("new"), "new").expect("a file");
            fs::rename(inbox.path().join("new"), inbox.path().join("a.csv")).expect("renamed");
        });
        assert!(matches!(result, Err(PutAwayError::Replaced)));
        assert_eq!(fs::read(inbox.path().join("a.csv")).expect("there"), b"new");
        assert_eq!(
            fs::read_dir(inbox.path().join("taken"))
                .expect("a folder")
                .count(),
            0
        );
    }

    #[test]
    fn bytes_appended_in_between_go_back_to_be_read() {
        let inbox = tempfile::tempdir().expect("a folder");
        fs::write(inbox.path().join("a.csv"), "old").expect("a file");
        let old = list(inbox.path()).entries[0].stamp;
        let result = move_checked(inbox.path(), b"a.csv", old, Shelf::Taken, |_| {
            fs::write(inbox.path().join("a.csv"), "old and more").expect("appended");
        });
        assert!(matches!(result, Err(PutAwayError::Replaced)));
        assert_eq!(
            fs::read(inbox.path().join("a.csv")).expect("there"),
            b"old and more"
        );
    }

    #[test]
    fn a_copy_to_another_file_system_goes_only_by_what_was_read() {
        let (here, there) = (
            tempfile::tempdir().expect("a folder"),
            tempfile::tempdir().expect("a folder"),
        );
        fs::write(here.path().join("a.csv"), "bytes").expect("a file");
        let read = list(here.path()).entries[0].stamp;
        let from = beneath::open_root(here.path()).expect("a folder");
        let to = beneath::open_root(there.path()).expect("a folder");
        assert_eq!(
            copy_over(from.as_fd(), b"a.csv", &to, b"a.csv", None),
            Err(Errno::STALE)
        );
        assert!(here.path().join("a.csv").exists() && !there.path().join("a.csv").exists());
        copy_over(from.as_fd(), b"a.csv", &to, b"a.csv", Some(read)).expect("copied");
        assert!(!here.path().join("a.csv").exists());
        assert_eq!(fs::read(there.path().join("a.csv")).expect("there"), b"bytes");
        fs::write(here.path().join("a.csv"), "more").expect("a file");
        let read = list(here.path()).entries[0].stamp;
        assert_eq!(
            copy_over(from.as_fd(), b"a.csv", &to, b"a.csv", Some(read)),
            Err(Errno::EXIST)
        );
    }
}
