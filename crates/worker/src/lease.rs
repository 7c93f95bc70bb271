//! The one question to the kernel that has no safe form: does anybody write to this file?

use std::io::{Error, ErrorKind};
use std::os::fd::{AsRawFd, BorrowedFd};

/// fcntl(2): which signal tells of a broken lease; Linux's `asm-generic/fcntl.h`.
const F_SETSIG: libc::c_int = 10;

/// True: nobody writes. False: somebody has the file open for writing, or mapped so. `None`: no right to
/// ask (only the owner or `CAP_LEASE` may), or a file system without leases. The file must be open for
/// reading only. `fcntl(2)`, `F_SETLEASE`; the numbers are those of Linux's `asm-generic/fcntl.h`.
#[expect(unsafe_code, reason = "no library has a safe call for leases")]
pub fn nobody_writes(file: BorrowedFd<'_>) -> Option<bool> {
    // SAFETY: all three commands take an int and touch no memory; the descriptor is borrowed, so open.
    let ask = |command, argument: libc::c_int| unsafe { libc::fcntl(file.as_raw_fd(), command, argument) };
    // SIGURG is ignored by default. SIGIO, which a broken lease would send otherwise, ends the program.
    if ask(F_SETSIG, libc::SIGURG) != 0 {
        return None;
    }
    if ask(libc::F_SETLEASE, libc::F_RDLCK) == 0 {
        ask(libc::F_SETLEASE, libc::F_UNLCK);
        return Some(true);
    }
    (Error::last_os_error().kind() == ErrorKind::WouldBlock).then_some(false)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs::{File, OpenOptions};
    use std::os::fd::AsFd;

    #[test]
    fn a_writer_is_seen_and_breaking_a_lease_ends_nobody() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("a.csv");
        std::fs::write(&path, "x").expect("a file");
        let read = File::open(&path).expect("opened");
        assert_eq!(nobody_writes(read.as_fd()), Some(true));
        let writer = OpenOptions::new().append(true).open(&path).expect("opened");
        assert_eq!(nobody_writes(read.as_fd()), Some(false));
        drop(writer);
        assert_eq!(nobody_writes(read.as_fd()), Some(true));
        std::thread::scope(|scope| {
            let storm =
                scope.spawn(|| (0..50_000).for_each(|_| drop(OpenOptions::new().append(true).open(&path))));
            while !storm.is_finished() {
                let _ = nobody_writes(read.as_fd());
            }
        });
    }
}
