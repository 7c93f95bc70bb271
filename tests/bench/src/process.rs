//! What a process and its children take: time on the clock, time on the processors, memory.

use crate::Result;
use rustix::process::{Pid, WaitId, WaitIdOptions, waitid};
use std::fs;
use std::process::{Child, Command, ExitStatus};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// Linux tells processor time in hundredths of a second (`proc_pid_stat(5)`, `_SC_CLK_TCK`).
const TICK: Duration = Duration::from_millis(10);

/// Memory is looked at this often.
const LOOK: Duration = Duration::from_millis(2);

pub(crate) struct Usage {
    pub(crate) status: ExitStatus,
    pub(crate) wall: Duration,
    /// User and system time, its children's too.
    pub(crate) cpu: Duration,
    /// The most that it and its children held in memory at one moment; pages they share count for each.
    pub(crate) peak_mib: f64,
}

/// Runs a command to its end.
pub(crate) fn run(command: &mut Command) -> Result<Usage> {
    let began = Instant::now();
    let mut child = command
        .spawn()
        .map_err(|error| format!("{command:?} could not be started: {error}"))?;
    let done = AtomicBool::new(false);
    let (waited, wall, peak_kib) = std::thread::scope(|scope| {
        let watcher = scope.spawn(|| {
            let mut peak_kib = 0;
            while !done.load(Ordering::Relaxed) {
                peak_kib = peak_kib.max(resident_kib(child.id()));
                std::thread::sleep(LOOK);
            }
            peak_kib
        });
        let waited = wait_without_taking(&child);
        let wall = began.elapsed();
        done.store(true, Ordering::Relaxed);
        (waited, wall, watcher.join().unwrap_or(0))
    });
    waited?;
    let cpu = cpu(child.id())?;
    let status = child.wait().map_err(|error| error.to_string())?;
    Ok(Usage {
        status,
        wall,
        cpu,
        peak_mib: peak_kib as f64 / 1024.0,
    })
}

/// Waits for the end but leaves the process to be asked about.
fn wait_without_taking(child: &Child) -> Result<()> {
    let pid = Pid::from_child(child);
    waitid(WaitId::Pid(pid), WaitIdOptions::EXITED | WaitIdOptions::NOWAIT)
        .map(drop)
        .map_err(|error| error.to_string())
}

/// User and system time that a process and the children it has waited for took so far.
pub(crate) fn cpu(pid: u32) -> Result<Duration> {
    let stat = fs::read_to_string(format!("/proc/{pid}/stat")).map_err(|error| error.to_string())?;
    // The second field, the name in brackets, may hold blanks; utime is the 14th, cstime the 17th.
    let after_name = stat.rsplit_once(')').map_or("", |(_, rest)| rest);
    let ticks = after_name
        .split_whitespace()
        .skip(11)
        .take(4)
        .filter_map(|field| field.parse::<u32>().ok())
        .sum::<u32>();
    Ok(TICK * ticks)
}

/// What a process and its children hold in memory now.
pub(crate) fn resident_kib(pid: u32) -> u64 {
    let status = fs::read_to_string(format!("/proc/{pid}/status")).unwrap_or_default();
    let own = status.lines().find_map(|line| {
        let kib = line.strip_prefix("VmRSS:")?.trim().strip_suffix("kB")?;
        kib.trim().parse::<u64>().ok()
    });
    let threads = fs::read_dir(format!("/proc/{pid}/task"))
        .into_iter()
        .flatten()
        .flatten();
    let children = threads.filter_map(|thread| fs::read_to_string(thread.path().join("children")).ok());
    let pids: Vec<u32> = children
        .flat_map(|list| {
            list.split_whitespace()
                .filter_map(|pid| pid.parse().ok())
                .collect::<Vec<u32>>()
        })
        .collect();
    own.unwrap_or(0) + pids.into_iter().map(resident_kib).sum::<u64>()
}
