//! The system calls of a script and its interpreter.

use super::{ASKED_IN_VAIN_BY_SCRIPTS, Call, SeccompAction, SeccompCmpOp, filter};
use seccompiler::BpfProgram;

/// Calls that make a process or thread, beside `clone`.
#[cfg(target_arch = "x86_64")]
pub(super) const FORKS: [libc::c_long; 2] = [libc::SYS_fork, libc::SYS_vfork];
#[cfg(not(target_arch = "x86_64"))]
pub(super) const FORKS: [libc::c_long; 0] = [];

/// Calls that only processors with the older ones have.
#[cfg(target_arch = "x86_64")]
const OLD: [libc::c_long; 14] = [
    libc::SYS_access,
    libc::SYS_arch_prctl,
    libc::SYS_dup2,
    libc::SYS_fork,
    libc::SYS_getpgrp,
    libc::SYS_getrlimit,
    libc::SYS_lstat,
    libc::SYS_open,
    libc::SYS_pipe,
    libc::SYS_poll,
    libc::SYS_readlink,
    libc::SYS_select,
    libc::SYS_stat,
    libc::SYS_vfork,
];
#[cfg(not(target_arch = "x86_64"))]
const OLD: [libc::c_long; 0] = [];

/// Reading, computing, writing to what is open, asking about itself, becoming another program. No socket can be made but
/// the one that is spoken of below.
const PLAIN: [libc::c_long; 70] = [
    libc::SYS_brk,
    libc::SYS_clock_getres,
    libc::SYS_clock_gettime,
    libc::SYS_clock_nanosleep,
    libc::SYS_clone,
    libc::SYS_close,
    libc::SYS_close_range,
    libc::SYS_dup,
    libc::SYS_dup3,
    libc::SYS_execve,
    libc::SYS_exit,
    libc::SYS_exit_group,
    libc::SYS_faccessat,
    libc::SYS_faccessat2,
    libc::SYS_fadvise64,
    libc::SYS_fstat,
    libc::SYS_futex,
    libc::SYS_getcwd,
    libc::SYS_getdents64,
    libc::SYS_getegid,
    libc::SYS_geteuid,
    libc::SYS_getgid,
    libc::SYS_getgroups,
    libc::SYS_getpgid,
    libc::SYS_getpid,
    libc::SYS_getppid,
    libc::SYS_getrandom,
    libc::SYS_getresgid,
    libc::SYS_getresuid,
    libc::SYS_getrusage,
    libc::SYS_gettid,
    libc::SYS_gettimeofday,
    libc::SYS_getuid,
    libc::SYS_lseek,
    libc::SYS_madvise,
    libc::SYS_mmap,
    libc::SYS_mprotect,
    libc::SYS_mremap,
    libc::SYS_munmap,
    libc::SYS_nanosleep,
    libc::SYS_newfstatat,
    libc::SYS_openat,
    libc::SYS_pipe2,
    libc::SYS_ppoll,
    libc::SYS_pread64,
    libc::SYS_pselect6,
    libc::SYS_read,
    libc::SYS_readlinkat,
    libc::SYS_readv,
    libc::SYS_recvfrom,
    libc::SYS_restart_syscall,
    libc::SYS_rt_sigaction,
    libc::SYS_rt_sigpending,
    libc::SYS_rt_sigprocmask,
    libc::SYS_rt_sigreturn,
    libc::SYS_sched_getaffinity,
    libc::SYS_sched_yield,
    libc::SYS_seccomp,
    libc::SYS_sendto,
    libc::SYS_set_robust_list,
    libc::SYS_set_tid_address,
    libc::SYS_sigaltstack,
    libc::SYS_statx,
    libc::SYS_sysinfo,
    libc::SYS_times,
    libc::SYS_umask,
    libc::SYS_uname,
    libc::SYS_wait4,
    libc::SYS_write,
    libc::SYS_writev,
];

/// Asking about a descriptor, and nothing that would send signals: `ioctl` and `fcntl` by their second argument.
const IOCTLS: [u64; 5] = [
    libc::TCGETS,
    libc::TIOCGWINSZ,
    libc::FIONREAD,
    libc::FIOCLEX,
    libc::FIONCLEX,
];
const FCNTLS: [libc::c_int; 6] = [
    libc::F_DUPFD,
    libc::F_DUPFD_CLOEXEC,
    libc::F_GETFD,
    libc::F_SETFD,
    libc::F_GETFL,
    libc::F_SETFL,
];

/// The calls that are not refused. Starting a process is among them for as long as the script has not been started.
pub(super) fn calls() -> Option<BpfProgram> {
    let second = |value: u64| [(1, SeccompCmpOp::Eq, value)];
    let ioctls = IOCTLS.map(second);
    let fcntls = FCNTLS.map(|command| second(command as u64));
    let own_process = [(0, SeccompCmpOp::Eq, u64::from(std::process::id()))];
    let no_new_privileges = [(0, SeccompCmpOp::Eq, libc::PR_SET_NO_NEW_PRIVS as u64)];
    let death_signal = [(0, SeccompCmpOp::Eq, libc::PR_SET_PDEATHSIG as u64)];
    let only_asking = [(2, SeccompCmpOp::Eq, 0)];
    // The standard library makes one on its way to starting a program; it goes nowhere but to the program.
    let pair = [(0, SeccompCmpOp::Eq, libc::AF_UNIX as u64)];
    let mut calls: Vec<Call> = PLAIN.iter().chain(&OLD).map(|call| (*call, &[][..])).collect();
    calls.extend(ioctls.iter().map(|asked| (libc::SYS_ioctl, &asked[..])));
    calls.extend(fcntls.iter().map(|asked| (libc::SYS_fcntl, &asked[..])));
    calls.push((libc::SYS_kill, &own_process));
    calls.push((libc::SYS_tgkill, &own_process));
    calls.push((libc::SYS_prctl, &no_new_privileges));
    calls.push((libc::SYS_prctl, &death_signal));
    calls.push((libc::SYS_prlimit64, &only_asking));
    calls.push((libc::SYS_socketpair, &pair));
    calls.extend(ASKED_IN_VAIN_BY_SCRIPTS);
    filter(
        &calls,
        SeccompAction::Errno(libc::EPERM as u32),
        SeccompAction::Allow,
    )
}
