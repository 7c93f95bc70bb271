//! What lies in the inbox: the truth that events only hint at.
//!
//! Links are never followed, and nothing is opened that could hang or act (FIFOs, sockets, devices).

use crate::{beneath, names};
use rustix::fd::{AsFd, OwnedFd};
use rustix::fs::{Access, AtFlags, Dir, FileType, Stat};
use rustix::io::Errno;
use std::path::Path;

/// Folders within folders, at most.
pub const DEEPEST: usize = 64;
/// Files in one listing, at most; the rest are taken in once these are.
pub const MOST_FILES: usize = 500_000;

/// What tells whether a file is still the same one in the same state. Only ever compared as a whole.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Stamp {
    /// Device.
    pub dev: u64,
    /// Inode.
    pub ino: u64,
    /// Bytes.
    pub size: u64,
    /// Time of the last change of its bytes, nanoseconds since 1970.
    pub mtime_ns: i64,
    /// Time of its last change, nanoseconds since 1970.
    pub ctime_ns: i64,
}

impl Stamp {
    /// From what the system says of a file.
    #[expect(
        clippy::useless_conversion,
        clippy::unnecessary_cast,
        reason = "the widths differ between machines"
    )]
    pub(crate) fn of(stat: &Stat) -> Self {
        let nanoseconds =
            |seconds: i64, part: i64| seconds.saturating_mul(1_000_000_000).saturating_add(part);
        Self {
            dev: u64::from(stat.st_dev),
            ino: u64::from(stat.st_ino),
            size: u64::try_from(stat.st_size).unwrap_or(0),
            mtime_ns: nanoseconds(stat.st_mtime as i64, stat.st_mtime_nsec as i64),
            ctime_ns: nanoseconds(stat.st_ctime as i64, stat.st_ctime_nsec as i64),
        }
    }

    /// True for the same file with the same bytes, as far as size and time tell; a move changes `ctime_ns` alone.
    pub fn holds_the_same(self, other: Self) -> bool {
        self.file() == other.file() && self.size == other.size && self.mtime_ns == other.mtime_ns
    }

    /// Device and inode: which file, whatever its state.
    pub fn file(self) -> (u64, u64) {
        (self.dev, self.ino)
    }
}

/// A regular, readable, non-empty file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    /// Relative to the inbox, `/` between folders.
    pub path: Vec<u8>,
    /// Its state at the look.
    pub stamp: Stamp,
}

/// Why something stays where it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Why {
    /// A named pipe.
    Fifo,
    /// A socket.
    Socket,
    /// A device.
    Device,
    /// A symbolic link.
    Link,
    /// The program may not read it.
    Unreadable,
    /// 0 bytes.
    Empty,
    /// More than [`DEEPEST`] folders deep.
    TooDeep,
    /// Past [`MOST_FILES`].
    TooMany,
}

impl Why {
    /// In words, to follow the name.
    pub fn words(self) -> &'static str {
        match self {
            Self::Fifo => "is a named pipe, not a file; left where it is",
            Self::Socket => "is a socket, not a file; left where it is",
            Self::Device => "is a device, not a file; left where it is",
            Self::Link => "is a link; put the file itself into the inbox",
            Self::Unreadable => "can't be read; give the program the right to read it",
            Self::Empty => "holds no bytes yet; it is taken in once it does",
            Self::TooDeep => "lies too many folders deep; put it nearer to the inbox",
            Self::TooMany => "waits, because the inbox holds too many files at once",
        }
    }
}

/// Something in the inbox that is not taken in.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct LeftAlone {
    /// Relative to the inbox.
    pub path: Vec<u8>,
    /// Why.
    pub why: Why,
}

/// One look at the inbox.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Listing {
    /// Device and inode of the inbox itself: other ones mean that it was made again.
    pub folder_identity: Option<(u64, u64)>,
    /// Files, bytewise by path.
    pub entries: Vec<Entry>,
    /// What stays where it is, bytewise by path.
    pub left_alone: Vec<LeftAlone>,
    /// True where there is no such folder, or none that can be looked into.
    pub missing: bool,
    /// What the system says where it is missing.
    pub trouble: Option<String>,
}

/// Looks into the inbox and the folders in it. Temporary names, `taken/` and `set-aside/` are passed over.
pub fn list(inbox: &Path) -> Listing {
    let mut listing = Listing::default();
    let opened = beneath::open_root(inbox).and_then(|root| Ok((rustix::fs::fstat(&root)?, root)));
    let (stat, root) = match opened {
        Ok(opened) => opened,
        Err(error) => {
            listing.missing = true;
            listing.trouble = Some(error.to_string());
            return listing;
        }
    };
    listing.folder_identity = Some(Stamp::of(&stat).file());
    let mut folders: Vec<(Vec<u8>, usize)> = vec![(Vec::new(), 0)];
    while let Some((path, depth)) = folders.pop() {
        match beneath::open_folder(root.as_fd(), &path) {
            Ok(folder) => look_into(&folder, &path, depth, &mut folders, &mut listing),
            Err(Errno::NOENT) => {}
            Err(_) => listing.leave(path, Why::Unreadable),
        }
    }
    listing.entries.sort_unstable_by(|a, b| a.path.cmp(&b.path));
    listing.left_alone.sort_unstable();
    listing
}

impl Listing {
    fn leave(&mut self, path: Vec<u8>, why: Why) {
        if self.left_alone.len() < MOST_FILES {
            self.left_alone.push(LeftAlone { path, why });
        }
    }
}

fn look_into(
    folder: &OwnedFd,
    path: &[u8],
    depth: usize,
    folders: &mut Vec<(Vec<u8>, usize)>,
    listing: &mut Listing,
) {
    let Ok(names) = Dir::read_from(folder) else {
        listing.leave(path.to_vec(), Why::Unreadable);
        return;
    };
    for found in names {
        let Ok(found) = found else {
            listing.leave(path.to_vec(), Why::Unreadable);
            return;
        };
        let name = found.file_name().to_bytes();
        if names::is_temporary(name) {
            continue;
        }
        let whole = if path.is_empty() {
            name.to_vec()
        } else {
            [path, b"/", name].concat()
        };
        let stat = match rustix::fs::statat(folder, found.file_name(), AtFlags::SYMLINK_NOFOLLOW) {
            Ok(stat) => stat,
            Err(Errno::NOENT) => continue,
            Err(_) => {
                listing.leave(whole, Why::Unreadable);
                continue;
            }
        };
        let why = match FileType::from_raw_mode(stat.st_mode) {
            FileType::Directory => {
                if path.is_empty() && (name == names::TAKEN.as_bytes() || name == names::SET_ASIDE.as_bytes())
                {
                    continue;
                }
                if depth + 1 < DEEPEST && folders.len() < MOST_FILES {
                    folders.push((whole, depth + 1));
                    continue;
                }
                Why::TooDeep
            }
            FileType::RegularFile => {
                let stamp = Stamp::of(&stat);
                let readable =
                    rustix::fs::accessat(folder, found.file_name(), Access::READ_OK, AtFlags::EACCESS);
                if stamp.size == 0 {
                    Why::Empty
                } else if matches!(readable, Err(Errno::ACCESS | Errno::PERM)) {
                    Why::Unreadable
                } else if listing.entries.len() >= MOST_FILES {
                    Why::TooMany
                } else {
                    listing.entries.push(Entry { path: whole, stamp });
                    continue;
                }
            }
            FileType::Symlink => Why::Link,
            FileType::Fifo => Why::Fifo,
            FileType::Socket => Why::Socket,
            FileType::CharacterDevice | FileType::BlockDevice => Why::Device,
            FileType::Unknown => Why::Unreadable,
        };
        listing.leave(whole, why);
    }
}

#[cfg(test)]
mod tests {
    #![expect(clippy::disallowed_methods, reason = "tests lay out real files")]

    use super::*;
    use rustix::fs::{CWD, Mode};
    use std::fs;
    use std::os::unix::ffi::OsStrExt;

    #[test]
    fn lists_files_of_any_name_and_names_what_it_leaves_alone() {
        let inbox = tempfile::tempdir().expect("a folder");
        let at = |path: &[u8]| inbox.path().join(std::ffi::OsStr::from_bytes(path));
        for folder in ["reef/phone", "taken/reef", "set-aside", ".hidden", "reef/taken"] {
            fs::create_dir_all(at(folder.as_bytes())).expect("a folder");
        }
        let files: [&[u8]; 9] = [
            b"reef/phone/may.csv",
            b"reef-2.csv",
            b"b\nc.csv",
            b"\xff.csv",
            b"reef/taken/x.csv",
            b"taken/reef/old.csv",
            b"set-aside/bad.csv",
            b".hidden/x.csv",
            b"half.csv.part",
        ];
        for file in files {
            fs::write(at(file), "x").expect("a file");
        }
        fs::write(at(b"empty.csv"), "").expect("a file");
        std::os::unix::fs::symlink("/etc", at(b"linked")).expect("a link");
        std::os::unix::fs::symlink("reef-2.csv", at(b"linked.csv")).expect("a link");
        let _socket = std::os::unix::net::UnixListener::bind(at(b"talk")).expect("a socket");
        rustix::fs::mknodat(
            CWD,
            at(b"pipe.csv"),
            FileType::Fifo,
            Mode::from_raw_mode(0o600),
            0,
        )
        .expect("a pipe");

        let listing = list(inbox.path());
        let paths: Vec<&[u8]> = listing
            .entries
            .iter()
            .map(|entry| entry.path.as_slice())
            .collect();
        let wanted: [&[u8]; 5] = [
            b"b\nc.csv",
            b"reef-2.csv",
            b"reef/phone/may.csv",
            b"reef/taken/x.csv",
            b"\xff.csv",
        ];
        assert_eq!(paths, wanted);
        assert!(
            listing
                .entries
                .iter()
                .all(|entry| entry.stamp.size == 1 && entry.stamp.mtime_ns > 0)
        );
        let left: Vec<(&[u8], Why)> = listing
            .left_alone
            .iter()
            .map(|left| (left.path.as_slice(), left.why))
            .collect();
        assert_eq!(
            left,
            [
                (&b"empty.csv"[..], Why::Empty),
                (b"linked", Why::Link),
                (b"linked.csv", Why::Link),
                (b"pipe.csv", Why::Fifo),
                (b"talk", Why::Socket),
            ]
        );
        assert!(!listing.missing && listing.trouble.is_none());
    }

    #[test]
    fn a_missing_inbox_is_said_and_one_made_again_is_another() {
        let place = tempfile::tempdir().expect("a folder");
        let inbox = place.path().join("inbox");
        assert!(list(&inbox).missing);
        fs::create_dir(&inbox).expect("a folder");
        let first = list(&inbox).folder_identity;
        assert!(first.is_some());
        // A second folder held at the same time can't get the first one's inode.
        fs::rename(&inbox, place.path().join("gone")).expect("renamed");
        fs::create_dir(&inbox).expect("a folder");
        assert_ne!(list(&inbox).folder_identity, first);
    }

    #[test]
    fn folders_nested_without_end_are_cut_off() {
        let inbox = tempfile::tempdir().expect("a folder");
        let deep = vec!["d"; DEEPEST + 3].join("/");
        fs::create_dir_all(inbox.path().join(&deep)).expect("folders");
        fs::write(inbox.path().join(&deep).join("x.csv"), "x").expect("a file");
        let listing = list(inbox.path());
        assert!(listing.entries.is_empty());
        assert_eq!(listing.left_alone.len(), 1);
        assert_eq!(listing.left_alone[0].why, Why::TooDeep);
    }
}
