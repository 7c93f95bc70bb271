//! Opening what lies below a folder without ever following a link.

use rustix::fd::{AsFd, BorrowedFd, OwnedFd};
use rustix::fs::{Mode, OFlags};
use rustix::io::Errno;
use std::ffi::OsStr;
use std::os::unix::ffi::OsStrExt;
use std::path::Path;

/// A folder, to look into and to open things below it. The folder itself may be reached by a link: that
/// is the keeper's choice.
pub(crate) fn open_root(folder: &Path) -> Result<OwnedFd, Errno> {
    rustix::fs::open(
        folder,
        OFlags::RDONLY | OFlags::DIRECTORY | OFlags::CLOEXEC,
        Mode::empty(),
    )
}

/// Opens `path` below `root`; no part of it may be a link, empty, `.` or `..`.
pub(crate) fn open(root: BorrowedFd<'_>, path: &[u8], flags: OFlags) -> Result<OwnedFd, Errno> {
    let (folder, name) = open_folder_of(root, path)?;
    open_in(folder.as_fd(), name, flags)
}

/// Opens `name` in a folder.
pub(crate) fn open_in(folder: BorrowedFd<'_>, name: &[u8], flags: OFlags) -> Result<OwnedFd, Errno> {
    rustix::fs::openat(
        folder,
        part(name)?,
        flags | OFlags::NOFOLLOW | OFlags::CLOEXEC,
        Mode::empty(),
    )
}

/// The folder that holds `path`, and the name in it.
pub(crate) fn open_folder_of<'a>(root: BorrowedFd<'_>, path: &'a [u8]) -> Result<(OwnedFd, &'a [u8]), Errno> {
    let name = crate::names::file_name(path);
    Ok((open_folder(root, crate::names::folder_of(path))?, name))
}

/// A folder below `root`; the empty path is the root itself.
pub(crate) fn open_folder(root: BorrowedFd<'_>, path: &[u8]) -> Result<OwnedFd, Errno> {
    let flags = OFlags::RDONLY | OFlags::DIRECTORY;
    let mut folder = rustix::fs::openat(root, ".", flags | OFlags::CLOEXEC, Mode::empty())?;
    if !path.is_empty() {
        for name in path.split(|byte| *byte == b'/') {
            folder = open_in(folder.as_fd(), name, flags)?;
        }
    }
    Ok(folder)
}

/// The same, making the folders that are missing.
pub(crate) fn make_folder(root: BorrowedFd<'_>, path: &[u8]) -> Result<OwnedFd, Errno> {
    let mut folder = open_folder(root, b"")?;
    for name in path.split(|byte| *byte == b'/').filter(|name| !name.is_empty()) {
        match rustix::fs::mkdirat(&folder, part(name)?, Mode::from_raw_mode(0o777)) {
            Ok(()) => rustix::fs::fsync(&folder)?,
            Err(Errno::EXIST) => {}
            Err(error) => return Err(error),
        }
        folder = open_in(folder.as_fd(), name, OFlags::RDONLY | OFlags::DIRECTORY)?;
    }
    Ok(folder)
}

/// A single name as the system takes it.
pub(crate) fn part(name: &[u8]) -> Result<&OsStr, Errno> {
    if matches!(name, b"" | b"." | b"..") || name.contains(&b'/') || name.contains(&0) {
        return Err(Errno::INVAL);
    }
    Ok(OsStr::from_bytes(name))
}
