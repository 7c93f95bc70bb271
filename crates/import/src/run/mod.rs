//! Runs an importer in a worker process, and takes what it sends.
//!
//! One process for one question about one file. It is this program itself, started with [`ARGUMENT`](crate::wire::ARGUMENT) first; it
//! gets an empty environment, a process group of its own, the opened file as standard input and pipes as
//! outputs. This side holds the deadline, caps what comes, and ends the whole group when anything is not as
//! agreed. The thread that asks also waits: the kernel ends a worker whose parent *thread* is gone.

mod failure;
mod pipe;

pub use crate::wire::{ImportOption, OptionKind, Sandbox, option_path};
pub use failure::{ImportFailure, SinkError};
pub use undim_model::ImportedRow;

use crate::wire::{Caps, Decoder, Ending, Frame, Header, Request, Task, WireError, printable};
use pipe::Running;
use rustix::fs::OFlags;
use std::{
    fs::File,
    io,
    path::{Path, PathBuf},
    process::{Command, Stdio},
    sync::atomic::AtomicBool,
    time::Duration,
};
use undim_model::{Fact, ImportProblem};

/// What a worker may use.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// How long this side waits for it; for a file one second more for each 8 MiB. The time in which rows
    /// are worked on here does not count.
    pub timeout: Duration,
    /// Address space, bytes.
    pub memory_bytes: u64,
    /// What it may send, bytes, where each row counts as at least [`Caps::ROW_BYTES`].
    pub output_bytes: u64,
}

impl Default for Limits {
    /// One minute, 512 MiB, 1 GiB.
    fn default() -> Self {
        Self {
            timeout: Duration::from_mins(1),
            memory_bytes: 512 << 20,
            output_bytes: Caps::default().bytes,
        }
    }
}

/// What to do where the kernel can't keep the importer from everything.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Hash)]
pub enum SandboxPolicy {
    /// Run it with what the kernel has.
    #[default]
    Best,
    /// Don't run it.
    Required,
}

/// How importers are run.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Worker {
    /// The program that runs them; it has to hand [`ARGUMENT`](crate::wire::ARGUMENT) and what follows to the `undim-worker` crate.
    pub program: PathBuf,
    /// What each may use.
    pub limits: Limits,
    /// What to do where the kernel lacks something.
    pub sandbox: SandboxPolicy,
}

impl Default for Worker {
    /// This very program, even if a newer one lies under its name by now.
    fn default() -> Self {
        Self {
            program: PathBuf::from("/proc/self/exe"),
            limits: Limits::default(),
            sandbox: SandboxPolicy::default(),
        }
    }
}

/// A file for an importer.
#[derive(Debug, Clone, Copy)]
pub struct Source<'f> {
    /// Opened for reading only. It is read from its start, wherever the descriptor stands, and the descriptor isn't moved.
    pub file: &'f File,
    /// Its name without its folder; what is no UTF-8 is replaced.
    pub name: &'f str,
}

/// What an importer made of a file.
#[derive(Debug, Clone, PartialEq)]
pub struct ImportReport {
    /// Who read it.
    pub importer: Header,
    /// How many rows were handed over.
    pub rows: u64,
    /// What was found out or assumed.
    pub facts: Vec<Fact>,
    /// What could not be read as it stands; the first [`PROBLEMS`](crate::wire::PROBLEMS).
    pub problems: Vec<ImportProblem>,
    /// How many more there were.
    pub more_problems: u64,
    /// What it wrote to its error output, up to 64 KiB, printable; line ends are kept.
    pub stderr: String,
    /// What kept it from harm.
    pub sandbox: Sandbox,
}

/// Takes the rows, at most [`FRAME_ROWS`](crate::wire::FRAME_ROWS) at a time. If reading fails in the end, what it took
/// is to be thrown away.
pub type Sink<'s> = dyn FnMut(&[ImportedRow]) -> Result<(), SinkError> + 's;

impl Worker {
    /// Asks a library who it is.
    pub fn describe(&self, library: &Path, cancel: &AtomicBool) -> Result<Header, ImportFailure> {
        let nothing = Source {
            file: &File::open("/dev/null")?,
            name: "",
        };
        self.ask(Task::Describe, library, nothing, &[], cancel, &mut |_| Ok(()))
            .map(|answer| answer.report.importer)
    }

    /// Asks an importer how surely it can read a file: 0 to 100.
    pub fn probe(&self, library: &Path, source: Source, cancel: &AtomicBool) -> Result<u8, ImportFailure> {
        self.ask(Task::Probe, library, source, &[], cancel, &mut |_| Ok(()))
            .map(|answer| answer.sure)
    }

    /// Lets an importer read a file.
    pub fn read(
        &self,
        library: &Path,
        source: Source,
        options: &[ImportOption],
        cancel: &AtomicBool,
        sink: &mut Sink,
    ) -> Result<ImportReport, ImportFailure> {
        self.ask(Task::Read, library, source, options, cancel, sink)
            .map(|answer| answer.report)
    }

    /// Lets an importer read a file if it thinks it can: in one process, for when there is nobody else to ask. `None` where its
    /// answer is 0.
    pub fn probe_and_read(
        &self,
        library: &Path,
        source: Source,
        options: &[ImportOption],
        cancel: &AtomicBool,
        sink: &mut Sink,
    ) -> Result<Option<ImportReport>, ImportFailure> {
        let answer = self.ask(Task::ProbeAndRead, library, source, options, cancel, sink)?;
        Ok((answer.sure > 0).then_some(answer.report))
    }

    fn ask(
        &self,
        task: Task,
        library: &Path,
        source: Source,
        options: &[ImportOption],
        cancel: &AtomicBool,
        sink: &mut Sink,
    ) -> Result<Answer, ImportFailure> {
        let mode = rustix::fs::fcntl_getfl(source.file).map_err(io::Error::from)?;
        if mode & OFlags::ACCMODE != OFlags::RDONLY {
            // The worker could write through the descriptor, whatever its sandbox says about paths.
            return Err(
                io::Error::other("the file for an importer has to be opened for reading only").into(),
            );
        }
        let timeout = self.timeout(task, source.file)?;
        let request = Request {
            task,
            sandbox_required: self.sandbox == SandboxPolicy::Required,
            memory_bytes: self.limits.memory_bytes,
            cpu_seconds: timeout.as_secs() + 1,
            parent: std::process::id(),
            library: library.to_owned(),
            file_name: source.name.to_owned(),
            options: options.to_vec(),
        };
        let mut command = Command::new(&self.program);
        command
            .args(request.to_arguments())
            .env_clear()
            .stdin(Stdio::from(source.file.try_clone()?));
        let running = Running::start(command, timeout, cancel)?;
        let mut decoder = Decoder::new(
            running,
            Caps {
                bytes: self.limits.output_bytes,
            },
        );
        let mut answer = Answer::default();
        let outcome = answer.gather(task, &mut decoder, sink);
        let ended = decoder
            .get_mut()
            .end(matches!(outcome, Err(Fault::Wire(WireError::NoEnd))));
        let stderr = shown(&ended.stderr);
        tracing::debug!(library = %library.display(), rows = answer.report.rows, status = ?ended.status, "worker ended");
        if !stderr.is_empty() {
            tracing::info!(library = %library.display(), "an importer wrote to its error output:\n{stderr}");
        }
        match outcome {
            Ok(()) => {
                answer.report.stderr = stderr;
                Ok(answer)
            }
            Err(Fault::Failure(failure)) => Err(failure),
            Err(Fault::Wire(fault)) => Err(ImportFailure::from_end(fault, &ended)),
        }
    }

    fn timeout(&self, task: Task, file: &File) -> io::Result<Duration> {
        Ok(match task {
            // Loading and looking at 64 KiB takes milliseconds; nobody should wait a minute for each of several importers.
            Task::Describe | Task::Probe => self.limits.timeout.min(Duration::from_secs(10)),
            Task::Read | Task::ProbeAndRead => {
                self.limits.timeout + Duration::from_secs(file.metadata()?.len() / (8 << 20))
            }
        })
    }
}

/// What came from a worker.
struct Answer {
    report: ImportReport,
    sure: u8,
}

/// Why gathering ended early.
enum Fault {
    Failure(ImportFailure),
    Wire(WireError),
}

impl Default for Answer {
    fn default() -> Self {
        Self {
            report: ImportReport {
                importer: Header {
                    name: String::new(),
                    version: String::new(),
                    reads: String::new(),
                },
                rows: 0,
                facts: Vec::new(),
                problems: Vec::new(),
                more_problems: 0,
                stderr: String::new(),
                sandbox: Sandbox::default(),
            },
            sure: 0,
        }
    }
}

impl Answer {
    fn gather(&mut self, task: Task, decoder: &mut Decoder<Running>, sink: &mut Sink) -> Result<(), Fault> {
        let mut rows = Vec::new();
        let report = &mut self.report;
        let mut probed = false;
        while let Some(frame) = decoder.next_frame(&mut rows).map_err(Fault::Wire)? {
            match frame {
                Frame::Sandbox(sandbox) => report.sandbox = sandbox,
                Frame::Importer(header) => report.importer = header,
                Frame::Sure(sure) => (self.sure, probed) = (sure, true),
                Frame::Rows => {
                    report.rows += rows.len() as u64;
                    sink(&rows).map_err(|error| Fault::Failure(ImportFailure::Sink(error)))?;
                }
                Frame::Fact(fact) => report.facts.push(fact),
                Frame::Problem(problem) => report.problems.push(problem),
                Frame::Ended(Ending::Done { more_problems, .. }) => report.more_problems = more_problems,
                Frame::Ended(ending) => {
                    let told = std::mem::take(&mut report.facts);
                    return Err(Fault::Failure(
                        ImportFailure::from_ending(ending).with_facts(told),
                    ));
                }
            }
        }
        if matches!(task, Task::Probe | Task::ProbeAndRead) && !probed {
            return Err(Fault::Wire(WireError::Broken(
                "it did not say how surely it can read the file",
            )));
        }
        Ok(())
    }
}

/// Error output as it can be logged: line by line printable.
fn shown(stderr: &[u8]) -> String {
    let text = String::from_utf8_lossy(stderr);
    text.lines().map(printable).collect::<Vec<_>>().join("\n")
}
