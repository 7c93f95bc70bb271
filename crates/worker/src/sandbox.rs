//! What the kernel keeps from foreign code: files and network (Landlock), system calls (seccomp).
//!
//! Loading a library runs its code, so all of this is in force before. Loading needs to open and map libraries; once
//! that is done, opening and mapping code are refused as well.
//!
//! A call that is not listed kills the process: what an importer tries beyond reading, computing and writing is no
//! slip. Calls that the C library or a language's runtime tries on its own, and can do without, fail instead. For a
//! script all of them fail instead: interpreters try much at their start that the script never asked for.

mod script;

use landlock::{
    ABI, Access, AccessFs, AccessNet, CompatLevel, Compatible, LandlockStatus, RestrictionStatus, Ruleset,
    RulesetAttr, RulesetCreatedAttr, RulesetError, RulesetStatus, Scope, path_beneath_rules,
};
use seccompiler::{
    BpfProgram, SeccompAction, SeccompCmpArgLen, SeccompCmpOp, SeccompCondition, SeccompFilter, SeccompRule,
    TargetArch, apply_filter,
};
use std::{
    collections::BTreeMap,
    ffi::OsStr,
    os::unix::ffi::OsStrExt as _,
    path::{Path, PathBuf},
};
use undim_import::wire::Sandbox;

/// Where libraries lie that an importer may lean on, and the loader's list of them. Those that don't exist don't
/// matter.
const SYSTEM_LIBRARIES: [&str; 8] = [
    "/lib",
    "/lib64",
    "/usr/lib",
    "/usr/lib64",
    "/usr/local/lib",
    "/nix/store",
    "/gnu/store",
    "/etc/ld.so.cache",
];

/// Enters the sandbox as far as the kernel has one, and tells how far.
pub(crate) fn enter(library: &Path) -> Sandbox {
    let (landlock, landlock_full) = level(restrict_paths(library));
    let seccomp = install(&[
        refused(&ASKED_IN_VAIN, libc::ENOSYS),
        refused(&[(libc::SYS_clone, &[])], libc::EPERM),
        listed(),
    ]);
    Sandbox {
        landlock,
        landlock_full,
        seccomp,
    }
}

/// Refuses to open files and to map code from here on. Its success is not told: without it the rest still holds.
pub(crate) fn close_behind() {
    const EXECUTABLE: u64 = libc::PROT_EXEC as u64;
    let executable = |argument| (argument, SeccompCmpOp::MaskedEq(EXECUTABLE), EXECUTABLE);
    install(&[refused(
        &[
            (libc::SYS_openat, &[]),
            (libc::SYS_mmap, &[executable(2)]),
            (libc::SYS_mprotect, &[executable(2)]),
        ],
        libc::EACCES,
    )]);
}

/// Where a script's interpreter may lie, and what it may read there.
const SYSTEM_PROGRAMS: [&str; 3] = ["/bin", "/usr/bin", "/usr/local/bin"];
const SYSTEM_DATA: [&str; 3] = ["/usr/share", "/dev/null", "/dev/urandom"];

/// The same for a script, whose interpreter has yet to be started: programs of the system can be run, and stay in
/// here. `start` is the script's beginning.
pub(crate) fn enter_for_script(script: &Path, start: &[u8]) -> Sandbox {
    let (landlock, landlock_full) = level(restrict_paths_for_script(script, interpreter(start).as_deref()));
    let seccomp = install(&[refused(&ASKED_IN_VAIN_BY_SCRIPTS, libc::ENOSYS), script::calls()]);
    Sandbox {
        landlock,
        landlock_full,
        seccomp,
    }
}

/// In the process that becomes the script: no other process beside it from here on, and it ends with the worker.
pub(crate) fn close_for_script() {
    let death_signal = [(0, SeccompCmpOp::Eq, libc::PR_SET_PDEATHSIG as u64)];
    let mut calls: Vec<Call> = vec![
        (libc::SYS_clone, &[]),
        // What the worker may send to itself, a script could send to the worker.
        (libc::SYS_kill, &[]),
        (libc::SYS_tgkill, &[]),
        (libc::SYS_prctl, &death_signal),
        (libc::SYS_socketpair, &[]),
    ];
    calls.extend(script::FORKS.map(|call| (call, &[][..])));
    install(&[refused(&calls, libc::EPERM)]);
}

/// In the worker, once the script runs: it opens and starts nothing any more.
pub(crate) fn close_behind_script() {
    let mut calls: Vec<Call> = vec![
        (libc::SYS_clone, &[]),
        (libc::SYS_execve, &[]),
        (libc::SYS_openat, &[]),
        (libc::SYS_socketpair, &[]),
    ];
    calls.extend(script::FORKS.map(|call| (call, &[][..])));
    install(&[refused(&calls, libc::EPERM)]);
}

/// What the first line names.
fn interpreter(start: &[u8]) -> Option<PathBuf> {
    let line = start.strip_prefix(b"#!")?.split(|byte| *byte == b'\n').next()?;
    let name = line.trim_ascii().split(u8::is_ascii_whitespace).next()?;
    let path = Path::new(OsStr::from_bytes(name));
    path.is_absolute().then(|| path.to_owned())
}

fn restrict_paths_for_script(
    script: &Path,
    interpreter: Option<&Path>,
) -> Result<RestrictionStatus, RulesetError> {
    let abi = ABI::V6;
    let run = AccessFs::ReadFile | AccessFs::Execute;
    let look_and_run = run | AccessFs::ReadDir;
    // An interpreter of the keeper's own, and the libraries beside it.
    let real = interpreter.and_then(|path| path.canonicalize().ok());
    let beside = real
        .as_deref()
        .and_then(|path| Some(path.parent()?.parent()?.join("lib")));
    Ruleset::default()
        .set_compatibility(CompatLevel::BestEffort)
        .handle_access(AccessFs::from_all(abi))?
        .handle_access(AccessNet::from_all(abi))?
        .scope(Scope::from_all(abi))?
        .create()?
        .add_rules(path_beneath_rules(SYSTEM_LIBRARIES, look_and_run))?
        .add_rules(path_beneath_rules(SYSTEM_PROGRAMS, look_and_run))?
        .add_rules(path_beneath_rules(
            SYSTEM_DATA,
            AccessFs::ReadFile | AccessFs::ReadDir,
        ))?
        .add_rules(path_beneath_rules(["/dev/null"], AccessFs::WriteFile))?
        .add_rules(path_beneath_rules(
            interpreter.into_iter().chain(real.as_deref()),
            run,
        ))?
        .add_rules(path_beneath_rules(beside, look_and_run))?
        .add_rules(path_beneath_rules([script], run))?
        .restrict_self()
}

/// How much of Landlock is enforced.
fn level(status: Result<RestrictionStatus, RulesetError>) -> (u8, bool) {
    match status {
        Ok(RestrictionStatus {
            ruleset,
            landlock: LandlockStatus::Available { effective_abi, .. },
            ..
        }) if ruleset != RulesetStatus::NotEnforced => {
            (effective_abi as u8, ruleset == RulesetStatus::FullyEnforced)
        }
        _ => (0, false),
    }
}

/// Only the library and the system's libraries can be read; nothing can be written, connected to or signalled. Binds
/// the calling thread, of which there is only one.
fn restrict_paths(library: &Path) -> Result<RestrictionStatus, RulesetError> {
    // The version that brought the last of what is asked for here: scopes.
    let abi = ABI::V6;
    Ruleset::default()
        .set_compatibility(CompatLevel::BestEffort)
        .handle_access(AccessFs::from_all(abi))?
        .handle_access(AccessNet::from_all(abi))?
        .scope(Scope::from_all(abi))?
        .create()?
        .add_rules(path_beneath_rules(SYSTEM_LIBRARIES, AccessFs::ReadFile))?
        .add_rules(path_beneath_rules([library], AccessFs::ReadFile))?
        .restrict_self()
}

/// An argument's position, how it is compared, and with what.
type Condition = (u8, SeccompCmpOp, u64);
/// A system call, and the conditions that all have to hold.
type Call<'c> = (libc::c_long, &'c [Condition]);

/// Calls that are refused with a plain error: runtimes ask, and have another way.
const ASKED_IN_VAIN: [Call<'static>; 17] = [
    (libc::SYS_rseq, &[]),
    (libc::SYS_clone3, &[]),
    (libc::SYS_set_robust_list, &[]),
    (libc::SYS_statx, &[]),
    (libc::SYS_openat2, &[]),
    (libc::SYS_membarrier, &[]),
    (libc::SYS_sched_getaffinity, &[]),
    (libc::SYS_ioctl, &[]),
    (libc::SYS_fcntl, &[]),
    (libc::SYS_getcwd, &[]),
    (libc::SYS_readlinkat, &[]),
    (libc::SYS_faccessat, &[]),
    (libc::SYS_faccessat2, &[]),
    (libc::SYS_fadvise64, &[]),
    (libc::SYS_getrusage, &[]),
    (libc::SYS_sysinfo, &[]),
    (libc::SYS_uname, &[]),
];

/// The same for scripts.
const ASKED_IN_VAIN_BY_SCRIPTS: [Call<'static>; 6] = [
    (libc::SYS_rseq, &[]),
    (libc::SYS_clone3, &[]),
    (libc::SYS_openat2, &[]),
    (libc::SYS_membarrier, &[]),
    (libc::SYS_memfd_create, &[]),
    (libc::SYS_io_uring_setup, &[]),
];

/// The same, where the processor has the older calls too.
#[cfg(target_arch = "x86_64")]
const ASKED_IN_VAIN_OLD: [libc::c_long; 3] = [libc::SYS_readlink, libc::SYS_access, libc::SYS_open];
#[cfg(not(target_arch = "x86_64"))]
const ASKED_IN_VAIN_OLD: [libc::c_long; 0] = [];

/// The calls that are not answered with death.
fn listed() -> Option<BpfProgram> {
    let own_process = [(0, SeccompCmpOp::Eq, u64::from(std::process::id()))];
    let no_new_privileges = [(0, SeccompCmpOp::Eq, libc::PR_SET_NO_NEW_PRIVS as u64)];
    // Asking for a limit, not setting one.
    let only_asking = [(2, SeccompCmpOp::Eq, 0)];
    let mut calls: Vec<Call> = [
        libc::SYS_read,
        libc::SYS_pread64,
        libc::SYS_write,
        libc::SYS_writev,
        libc::SYS_lseek,
        libc::SYS_close,
        libc::SYS_fstat,
        libc::SYS_newfstatat,
        libc::SYS_openat,
        libc::SYS_mmap,
        libc::SYS_mprotect,
        libc::SYS_munmap,
        libc::SYS_mremap,
        libc::SYS_madvise,
        libc::SYS_brk,
        libc::SYS_futex,
        libc::SYS_getrandom,
        libc::SYS_clock_gettime,
        libc::SYS_clock_getres,
        libc::SYS_gettimeofday,
        libc::SYS_clock_nanosleep,
        libc::SYS_nanosleep,
        libc::SYS_restart_syscall,
        libc::SYS_sched_yield,
        libc::SYS_rt_sigaction,
        libc::SYS_rt_sigprocmask,
        libc::SYS_rt_sigreturn,
        libc::SYS_sigaltstack,
        libc::SYS_getpid,
        libc::SYS_gettid,
        libc::SYS_exit,
        libc::SYS_exit_group,
        libc::SYS_seccomp,
        libc::SYS_clone,
    ]
    .map(|call| (call, &[][..]))
    .to_vec();
    calls.push((libc::SYS_tgkill, &own_process));
    calls.push((libc::SYS_prctl, &no_new_privileges));
    calls.push((libc::SYS_prlimit64, &only_asking));
    calls.extend(ASKED_IN_VAIN);
    calls.extend(ASKED_IN_VAIN_OLD.map(|call| (call, &[][..])));
    filter(&calls, SeccompAction::KillProcess, SeccompAction::Allow)
}

/// These calls fail with an error number; what other filters say about the rest is untouched.
fn refused(calls: &[Call], errno: i32) -> Option<BpfProgram> {
    filter(calls, SeccompAction::Allow, SeccompAction::Errno(errno as u32))
}

fn filter(calls: &[Call], otherwise: SeccompAction, listed: SeccompAction) -> Option<BpfProgram> {
    let mut rules: BTreeMap<i64, Vec<SeccompRule>> = BTreeMap::new();
    for (call, conditions) in calls {
        let conditions = conditions.iter().map(|(argument, operator, value)| {
            // Length in double words: process numbers and flags are passed so, whatever the upper half holds.
            let width = if *value == 0 {
                SeccompCmpArgLen::Qword
            } else {
                SeccompCmpArgLen::Dword
            };
            SeccompCondition::new(*argument, width, operator.clone(), *value).ok()
        });
        let conditions = conditions.collect::<Option<Vec<_>>>()?;
        let rules = rules.entry(*call).or_default();
        if !conditions.is_empty() {
            rules.push(SeccompRule::new(conditions).ok()?);
        }
    }
    let architecture: TargetArch = std::env::consts::ARCH.try_into().ok()?;
    SeccompFilter::new(rules, otherwise, listed, architecture)
        .ok()?
        .try_into()
        .ok()
}

/// The kernel asks all filters and does what the strictest says. The strictest is installed last, or it would have to
/// allow more.
fn install<const N: usize>(filters: &[Option<BpfProgram>; N]) -> bool {
    filters
        .iter()
        .all(|filter| filter.as_ref().is_some_and(|filter| apply_filter(filter).is_ok()))
}
