//! Whether somebody still writes to a file: asked of the kernel, not guessed from a quiet time.
//!
//! On Linux a read lease (`fcntl` with `F_SETLEASE`, `F_RDLCK`; fcntl(2)) is refused while any process
//! holds the file open for writing or has it mapped shared and writable, and granted as soon as none does.
//! Only the file's owner, or who has `CAP_LEASE`, may ask, and network file systems have no answer.
//!
//! That call has no safe form in any library at hand, and this crate has no unsafe code: the program hands
//! in the question as a [`AskKernel`]. Whoever writes one must first turn the signal that a broken lease
//! sends into one that is ignored (`F_SETSIG`): the usual `SIGIO` would end the program.

use rustix::fd::BorrowedFd;

/// What the kernel says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Lease {
    /// Nobody writes.
    AtRest,
    /// Somebody has it open for writing.
    BeingWritten,
    /// No right to ask, or a file system without an answer.
    CannotTell,
}

/// Asks about a file that is open for reading only.
pub type AskKernel = fn(BorrowedFd<'_>) -> Lease;

/// For machines whose kernel has no leases.
pub fn cannot_tell(_: BorrowedFd<'_>) -> Lease {
    Lease::CannotTell
}
