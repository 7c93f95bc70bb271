//! Resource limits, and the plain ways in which this process is kept small and short-lived.

use rustix::process::{Pid, Resource, Rlimit, Signal, getppid, set_parent_process_death_signal, setrlimit};
use std::{io, process::ExitCode};
use undim_import::wire::Request;

/// Limits this process for good.
pub(crate) fn set(request: &Request) -> io::Result<()> {
    let exactly = |amount| Rlimit {
        current: Some(amount),
        maximum: Some(amount),
    };
    setrlimit(Resource::As, exactly(request.memory_bytes))?;
    // At the first limit the signal tells what happened; at the second nothing is asked any more.
    let cpu = Rlimit {
        current: Some(request.cpu_seconds),
        maximum: Some(request.cpu_seconds + 1),
    };
    setrlimit(Resource::Cpu, cpu)?;
    setrlimit(Resource::Core, exactly(0))?;
    // Files; pipes are not bound by it.
    setrlimit(Resource::Fsize, exactly(0))?;
    setrlimit(Resource::Nofile, exactly(64))?;
    // Doesn't bind the superuser; the filter of system calls does. A script is started once more.
    if !request.is_script() {
        setrlimit(Resource::Nproc, exactly(0))?;
    }
    set_parent_process_death_signal(Some(Signal::KILL))?;
    // The parent may have gone before the line above.
    if getppid().map(Pid::as_raw_pid) != i32::try_from(request.parent).ok() {
        return Err(io::Error::other("whoever started this worker is gone"));
    }
    rustix::thread::set_no_new_privs(true)?;
    Ok(())
}

/// For the script, between fork and exec: it ends with this process.
pub(crate) fn die_with_the_parent() -> io::Result<()> {
    set_parent_process_death_signal(Some(Signal::KILL))?;
    // Refused by the filter of system calls, which does more; for kernels without one.
    let none = Rlimit {
        current: Some(0),
        maximum: Some(0),
    };
    let _ = setrlimit(Resource::Nproc, none);
    Ok(())
}

/// Ends this process as the script ended, so that undim sees the same.
pub(crate) fn die_of(signal: Option<Signal>) {
    let Some(signal) = signal else { return };
    // The first may meet a handler of this program's runtime, which then steps aside.
    for _ in 0..2 {
        let _ = rustix::process::kill_process(rustix::process::getpid(), signal);
    }
}

/// Closes whatever a careless ancestor left open; from here on there are the file, the pipe and the error output.
#[expect(unsafe_code, reason = "no safe call closes descriptors by number")]
pub(crate) fn close_what_was_left_open() {
    // SAFETY: at the very start of the process nothing in it owns a descriptor beyond the standard three. A kernel
    // older than 5.9 doesn't know the call, and all that undim opens is closed at exec anyway.
    unsafe { libc::syscall(libc::SYS_close_range, 3u32, u32::MAX, 0u32) };
}

/// Ends the process without running what the library registered for its end.
#[expect(unsafe_code, reason = "no safe call ends a process at once")]
pub(crate) fn quit(status: u8) -> ExitCode {
    // SAFETY: all frames are written out; nothing else in this process needs an orderly end.
    unsafe { libc::_exit(status.into()) }
}
