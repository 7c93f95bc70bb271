//! A running worker: its pipes, its deadline, its end.

use rustix::{
    event::{PollFd, PollFlags, Timespec, poll},
    process::{Pid, Signal, kill_process_group},
};
use std::{
    io::{self, Read},
    os::{fd::AsFd, unix::process::CommandExt},
    process::{Child, ChildStderr, ChildStdout, Command, ExitStatus, Stdio},
    sync::atomic::{AtomicBool, Ordering},
    time::{Duration, Instant},
};

/// So much of the error output is kept.
const STDERR_BYTES: usize = 64 << 10;
/// How long a cancel may go unseen.
const GLANCE: Duration = Duration::from_millis(50);
/// How long a worker that has closed its output may take to be gone.
const LEAVE: Duration = Duration::from_millis(500);

/// Why this side stopped it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Stop {
    Cancelled,
    TimedOut,
}

/// How it ended.
pub(super) struct Ended {
    /// Why this side stopped it, if it did.
    pub(super) stop: Option<Stop>,
    /// How it ended by itself; `None` where it had to be killed.
    pub(super) status: Option<ExitStatus>,
    /// The beginning of its error output.
    pub(super) stderr: Vec<u8>,
}

/// A running worker. Reading it reads its output, under the deadline; however it is dropped, its group is killed
/// and the process waited for.
pub(super) struct Running<'c> {
    child: Child,
    stdout: ChildStdout,
    stderr: Option<ChildStderr>,
    said: Vec<u8>,
    cancel: &'c AtomicBool,
    stop: Option<Stop>,
    /// How long it may still be waited for.
    left: Duration,
    is_over: bool,
}

impl<'c> Running<'c> {
    pub(super) fn start(mut command: Command, timeout: Duration, cancel: &'c AtomicBool) -> io::Result<Self> {
        command
            .process_group(0)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped());
        let mut child = command.spawn()?;
        let (stdout, stderr) = (child.stdout.take(), child.stderr.take());
        let Some(stdout) = stdout else {
            return Err(io::Error::other("the worker has no output"));
        };
        Ok(Self {
            child,
            stdout,
            stderr,
            said: Vec::new(),
            cancel,
            stop: None,
            left: timeout,
            is_over: false,
        })
    }

    /// Ends it. Its own status is only waited for where that is asked for: it tells why a stream has no ending.
    pub(super) fn end(&mut self, status: bool) -> Ended {
        let status = if status { self.leave() } else { None };
        self.kill();
        // What is left in the pipe; nothing that still holds it can keep this side waiting.
        while self
            .stderr
            .as_ref()
            .is_some_and(|stderr| !ready(stderr).is_empty())
        {
            self.take_stderr();
        }
        Ended {
            stop: self.stop,
            status,
            stderr: std::mem::take(&mut self.said),
        }
    }

    /// Waits a moment for a process that has closed its output to be gone: dying processes close their pipes just before.
    fn leave(&mut self) -> Option<ExitStatus> {
        let start = Instant::now();
        while self.stop.is_none() && ready(&self.stdout).contains(PollFlags::HUP) && start.elapsed() < LEAVE {
            match self.child.try_wait() {
                Ok(None) => std::thread::sleep(Duration::from_micros(200)),
                Ok(Some(status)) => {
                    self.is_over = true;
                    return Some(status);
                }
                Err(_) => return None,
            }
        }
        None
    }

    /// Kills the group and waits for the process.
    fn kill(&mut self) {
        if !self.is_over {
            self.is_over = true;
            // Not waited for yet, so the number is still its own.
            let _ = kill_process_group(Pid::from_child(&self.child), Signal::KILL);
            let _ = self.child.wait();
        }
    }

    /// Reads error output once; it has to be ready. What is beyond the limit is read and forgotten.
    fn take_stderr(&mut self) {
        let mut bytes = [0; 8192];
        let read = self
            .stderr
            .as_mut()
            .map_or(Ok(0), |stderr| stderr.read(&mut bytes));
        match read {
            Ok(0) | Err(_) => self.stderr = None,
            Ok(count) => {
                let room = STDERR_BYTES - self.said.len();
                self.said.extend(bytes.iter().take(count.min(room)));
            }
        }
    }

    /// Waits until there is output, or its end.
    fn wait_for_output(&mut self) -> io::Result<()> {
        loop {
            if self.cancel.load(Ordering::Relaxed) {
                self.stop = Some(Stop::Cancelled);
            } else if self.left.is_zero() {
                self.stop = Some(Stop::TimedOut);
            }
            if self.stop.is_some() {
                return Err(io::ErrorKind::TimedOut.into());
            }
            let start = Instant::now();
            let (output, said) = self.glance()?;
            self.left = self.left.saturating_sub(start.elapsed());
            if said {
                self.take_stderr();
            }
            if output {
                return Ok(());
            }
        }
    }

    /// Waits a moment for either pipe; which one has something.
    fn glance(&self) -> io::Result<(bool, bool)> {
        let timeout = Timespec::try_from(self.left.min(GLANCE)).map_err(io::Error::other)?;
        let has_something = |fd: &PollFd| !fd.revents().is_empty();
        let stdout = PollFd::new(&self.stdout, PollFlags::IN);
        let polled = if let Some(stderr) = &self.stderr {
            let mut fds = [stdout, PollFd::new(stderr, PollFlags::IN)];
            poll(&mut fds, Some(&timeout)).map(|_| (has_something(&fds[0]), has_something(&fds[1])))
        } else {
            let mut fds = [stdout];
            poll(&mut fds, Some(&timeout)).map(|_| (has_something(&fds[0]), false))
        };
        match polled {
            Err(rustix::io::Errno::INTR) => Ok((false, false)),
            other => Ok(other?),
        }
    }
}

/// What a pipe has right now.
fn ready(pipe: &impl AsFd) -> PollFlags {
    let mut fds = [PollFd::new(pipe, PollFlags::IN)];
    let polled = poll(&mut fds, Some(&Timespec::default()));
    fds.first()
        .filter(|_| polled.is_ok())
        .map_or(PollFlags::empty(), PollFd::revents)
}

impl Read for Running<'_> {
    fn read(&mut self, buf: &mut [u8]) -> io::Result<usize> {
        self.wait_for_output()?;
        self.stdout.read(buf)
    }
}

impl Drop for Running<'_> {
    fn drop(&mut self) {
        self.kill();
    }
}
