//! The raw archive: every content once, untouched, under the BLAKE3 hash of its bytes.
//!
//! `raw/ab/abcdef…` is the content, `raw/ab/abcdef….log` what happened to it. Inbox files are read once, by
//! descriptor, and never mapped: a file cut short under a mapping would end the program.

use crate::beneath;
use crate::lease::{AskKernel, Lease};
use crate::listing::{Entry, Stamp};
use rustix::fd::{AsFd, OwnedFd};
use rustix::fs::{FileType, OFlags};
use rustix::io::Errno;
use std::fs::{File, OpenOptions};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use thiserror::Error;

const INCOMING: &str = ".incoming-";
const BLOCK: usize = 256 * 1024;

/// How a file is archived.
#[derive(Debug, Clone, Copy)]
pub struct ArchiveOptions<'a> {
    /// Bytes; a larger file is refused.
    pub max_file: u64,
    /// Read between blocks; true stops the work.
    pub cancel: &'a AtomicBool,
    /// Whether somebody writes.
    pub ask: AskKernel,
    /// Take the file although the kernel can't tell: it has stood still long enough for that.
    pub take_if_unsure: bool,
}

/// A content that now lies in the archive.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Archived {
    /// BLAKE3 of the bytes, lower-case hexadecimal.
    pub hash: String,
    /// Bytes.
    pub bytes: u64,
    /// The file's modification time, µs since 1970.
    pub mtime_us: i64,
    /// The file that was read; what is put away later must be this one.
    pub stamp: Stamp,
    /// True where the archive held the content before.
    pub already_there: bool,
}

/// Why a file must wait.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum NotYet {
    /// Somebody has it open for writing.
    BeingWritten,
    /// The kernel can't tell whether somebody writes.
    Unsure,
    /// It changed, or another took its name, since it was listed.
    Changed,
    /// It is gone.
    Vanished,
}

/// Why a file could not be archived.
#[derive(Debug, Error)]
pub enum ArchiveError {
    /// Look again later; nothing is wrong.
    #[error("not at rest yet ({0:?}); it is looked at again")]
    NotYet(NotYet),
    /// Told to stop.
    #[error("stopped before the file was read; it is read at the next start")]
    Cancelled,
    /// Larger than allowed.
    #[error(
        "the file holds {bytes} bytes, more than the {max} that are read; split it, or raise `max_file` under `[intake]`"
    )]
    TooLarge {
        /// Bytes.
        bytes: u64,
        /// `max_file`.
        max: u64,
    },
    /// The inbox file can't be read.
    #[error("the file can't be read: {0}; give the program the right to read it, or copy it anew")]
    Unreadable(#[source] io::Error),
    /// The archive can't be written.
    #[error("the raw archive at {} can't be written: {source}; the file stays in the inbox", path.display())]
    Archive {
        /// Where.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
}

/// Where a content lies, by its hash.
pub fn content_path(raw: &Path, hash: &str) -> PathBuf {
    raw.join(hash.get(..2).unwrap_or("00")).join(hash)
}

/// Reads a file of the inbox once and keeps its bytes in `raw`. Doing it twice leaves the same.
pub fn archive(
    inbox: &Path,
    entry: &Entry,
    raw: &Path,
    options: &ArchiveOptions<'_>,
) -> Result<Archived, ArchiveError> {
    let mut file = open_at_rest(inbox, entry, options)?;
    let mut incoming = Incoming::new(raw)?;
    let hash = incoming.fill(&mut file, options)?;
    check_unchanged(&file, entry, options)?;
    if incoming.bytes != entry.stamp.size {
        return Err(ArchiveError::NotYet(NotYet::Changed));
    }
    let bytes = incoming.bytes;
    let already_there = incoming.settle_in(raw, &hash)?;
    Ok(Archived {
        hash,
        bytes,
        mtime_us: entry.stamp.mtime_ns.div_euclid(1000),
        stamp: entry.stamp,
        already_there,
    })
}

/// Reads a small file of the inbox, a note, with the same checks; `options.max_file` is its limit.
pub fn read_small(
    inbox: &Path,
    entry: &Entry,
    options: &ArchiveOptions<'_>,
) -> Result<Vec<u8>, ArchiveError> {
    let mut file = open_at_rest(inbox, entry, options)?;
    let mut bytes = Vec::new();
    Read::take(&mut file, options.max_file)
        .read_to_end(&mut bytes)
        .map_err(ArchiveError::Unreadable)?;
    check_unchanged(&file, entry, options)?;
    Ok(bytes)
}

/// Opens what was listed, and nothing else.
fn open_at_rest(inbox: &Path, entry: &Entry, options: &ArchiveOptions<'_>) -> Result<File, ArchiveError> {
    let root = beneath::open_root(inbox).map_err(cannot_open)?;
    // Only looked at first: opening a FIFO or a device for reading would hang or act.
    let looked_at = beneath::open(root.as_fd(), &entry.path, OFlags::PATH).map_err(cannot_open)?;
    let stat = rustix::fs::fstat(&looked_at).map_err(cannot_open)?;
    if FileType::from_raw_mode(stat.st_mode) != FileType::RegularFile || Stamp::of(&stat) != entry.stamp {
        return Err(ArchiveError::NotYet(NotYet::Changed));
    }
    if entry.stamp.size > options.max_file {
        return Err(ArchiveError::TooLarge {
            bytes: entry.stamp.size,
            max: options.max_file,
        });
    }
    let file = File::from(reopen(&root, &looked_at, entry)?);
    check_unchanged(&file, entry, options)?;
    Ok(file)
}

/// The same file for reading, through its descriptor; by name once more where there is no /proc (the
/// identity is checked after it).
fn reopen(root: &OwnedFd, looked_at: &OwnedFd, entry: &Entry) -> Result<OwnedFd, ArchiveError> {
    let flags = OFlags::RDONLY | OFlags::CLOEXEC | OFlags::NONBLOCK | OFlags::NOCTTY;
    let by_descriptor = format!("/proc/self/fd/{}", std::os::fd::AsRawFd::as_raw_fd(looked_at));
    match rustix::fs::open(by_descriptor, flags, rustix::fs::Mode::empty()) {
        Ok(file) => Ok(file),
        Err(Errno::NOENT) => beneath::open(root.as_fd(), &entry.path, flags).map_err(cannot_open),
        Err(error) => Err(cannot_open(error)),
    }
}

fn check_unchanged(file: &File, entry: &Entry, options: &ArchiveOptions<'_>) -> Result<(), ArchiveError> {
    let not_yet = match (options.ask)(file.as_fd()) {
        Lease::BeingWritten => Some(NotYet::BeingWritten),
        Lease::CannotTell if !options.take_if_unsure => Some(NotYet::Unsure),
        Lease::AtRest | Lease::CannotTell => None,
    };
    if let Some(not_yet) = not_yet {
        return Err(ArchiveError::NotYet(not_yet));
    }
    let stat = rustix::fs::fstat(file).map_err(cannot_open)?;
    if Stamp::of(&stat) == entry.stamp {
        Ok(())
    } else {
        Err(ArchiveError::NotYet(NotYet::Changed))
    }
}

fn cannot_open(error: Errno) -> ArchiveError {
    match error {
        Errno::NOENT | Errno::STALE => ArchiveError::NotYet(NotYet::Vanished),
        Errno::LOOP | Errno::NOTDIR => ArchiveError::NotYet(NotYet::Changed),
        other => ArchiveError::Unreadable(other.into()),
    }
}

/// A content on its way into the archive; removed unless it settles in.
struct Incoming {
    path: PathBuf,
    file: File,
    bytes: u64,
    settled: bool,
}

impl Incoming {
    fn new(raw: &Path) -> Result<Self, ArchiveError> {
        static NEXT: AtomicU64 = AtomicU64::new(0);
        loop {
            let number = NEXT.fetch_add(1, Ordering::Relaxed);
            let path = raw.join(format!("{INCOMING}{}-{number}", std::process::id()));
            match OpenOptions::new().write(true).create_new(true).open(&path) {
                Ok(file) => {
                    return Ok(Self {
                        path,
                        file,
                        bytes: 0,
                        settled: false,
                    });
                }
                Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
                Err(source) => return Err(ArchiveError::Archive { path, source }),
            }
        }
    }

    fn fill(&mut self, from: &mut File, options: &ArchiveOptions<'_>) -> Result<String, ArchiveError> {
        let mut hasher = blake3::Hasher::new();
        let mut block = vec![0_u8; BLOCK];
        loop {
            if options.cancel.load(Ordering::Relaxed) {
                return Err(ArchiveError::Cancelled);
            }
            let count = match from.read(&mut block) {
                Ok(0) => return Ok(hasher.finalize().to_hex().to_string()),
                Ok(count) => count,
                Err(error) if error.kind() == io::ErrorKind::Interrupted => continue,
                Err(error) => return Err(ArchiveError::Unreadable(error)),
            };
            let read = block.get(..count).unwrap_or(&block);
            self.bytes += read.len() as u64;
            if self.bytes > options.max_file {
                return Err(ArchiveError::NotYet(NotYet::Changed));
            }
            hasher.update(read);
            self.file.write_all(read).map_err(|source| self.error(source))?;
        }
    }

    /// Under its hash, synced; true where it was there before.
    fn settle_in(mut self, raw: &Path, hash: &str) -> Result<bool, ArchiveError> {
        let target = content_path(raw, hash);
        let folder = target.parent().unwrap_or(raw);
        if std::fs::symlink_metadata(&target).is_ok_and(|found| found.is_file() && found.len() == self.bytes)
        {
            // Its entry may not have reached the disk before a crash.
            sync_folder(folder).map_err(|source| self.error(source))?;
            return Ok(true);
        }
        self.move_to(raw, folder, &target)
            .map_err(|source| self.error(source))?;
        Ok(false)
    }

    fn move_to(&mut self, raw: &Path, folder: &Path, target: &Path) -> io::Result<()> {
        let mut permissions = self.file.metadata()?.permissions();
        permissions.set_readonly(true);
        self.file.set_permissions(permissions)?;
        self.file.sync_all()?;
        match std::fs::create_dir(folder) {
            Ok(()) => sync_folder(raw)?,
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
            Err(error) => return Err(error),
        }
        // Whatever stands there has the wrong length, so it is no whole content: this replaces it.
        std::fs::rename(&self.path, target)?;
        self.settled = true;
        sync_folder(folder)
    }

    fn error(&self, source: io::Error) -> ArchiveError {
        ArchiveError::Archive {
            path: self.path.clone(),
            source,
        }
    }
}

impl Drop for Incoming {
    fn drop(&mut self) {
        if !self.settled {
            // A leftover is removed at the next start.
            let _ = std::fs::remove_file(&self.path);
        }
    }
}

/// Makes a folder's entries last.
pub(super) fn sync_folder(folder: &Path) -> io::Result<()> {
    OpenOptions::new().read(true).open(folder)?.sync_all()
}

/// Removes what a killed program left unfinished in `raw`. To be called at start, before any [`archive()`].
pub fn remove_leftovers(raw: &Path) -> io::Result<usize> {
    let mut removed = 0;
    for found in std::fs::read_dir(raw)? {
        let found = found?;
        if found
            .file_name()
            .as_encoded_bytes()
            .starts_with(INCOMING.as_bytes())
        {
            std::fs::remove_file(found.path())?;
            removed += 1;
        }
    }
    removed += super::atomic::remove_hidden_files_below(raw)?;
    // A folder made just before a kill may not have reached the disk.
    sync_folder(raw)?;
    Ok(removed)
}
