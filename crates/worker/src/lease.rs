//! The one question to the kernel that has no safe form: does anybody write to this file?

use std::ffi::c_int;
use std::io::{Error, ErrorKind};
use std::os::fd::{AsRawFd, BorrowedFd};

/// True: nobody writes. False: somebody has the file open for writing, or mapped so. `None`: no right to
/// ask (only the owner or CAP_LEASE may), or a file system without leases. The file must be open for
/// reading only. fcntl(2), F_SETLEASE; the numbers are those of Linux's `asm-generic/fcntl.h`.
#[expect(unsafe_code, reason = "no library has a safe call for leases")]
pub fn nobody_writes(file: BorrowedFd<'_>) -> Option<bool> {
    const F_SETSIG: c_int = 10;
    const F_SETLEASE: c_int = 1024;
    const F_RDLCK: c_int = 0;
    const F_UNLCK: c_int = 2;
    // Ignored by default. SIGIO, which a broken lease would send otherwise, ends the program.
    const SIGURG: c_int = 23;
    unsafe extern "C" {
        fn fcntl(descriptor: c_int, command: c_int, ...) -> c_int;
    }
    // SAFETY: all three commands take an int and touch no memory; the descriptor is borrowed, so open.
    let ask = |command, argument: c_int| unsafe { fcntl(file.as_raw_fd(), command, argument) };
    if ask(F_SETSIG, SIGURG) != 0 {
        return None;
    }
    if ask(F_SETLEASE, F_RDLCK) == 0 {
        ask(F_SETLEASE, F_UNLCK);
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
            let storm = scope.spawn(|| (0..50_000).for_each(|_| drop(OpenOptions::new().append(true).open(&path))));
            while !storm.is_finished() {
                let _ = nobody_writes(read.as_fd());
            }
        });
    }
}
