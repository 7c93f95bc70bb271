//! Why a file was not read.

use super::pipe::{Ended, Stop};
use crate::wire::{Ending, WireError};
use rustix::process::Signal;
use std::{fmt, io, os::unix::process::ExitStatusExt};
use thiserror::Error;
use undim_model::Fact;

/// What the taker of rows may answer.
pub type SinkError = Box<dyn std::error::Error + Send + Sync>;

/// Why a file was not read, as a sentence for the keeper.
#[derive(Debug, Error)]
pub enum ImportFailure {
    /// The importer can't use the file.
    #[error("{}{text}", Place(*line, *column))]
    Unusable {
        /// Line of the file, from 1; 0: the whole file.
        line: u64,
        /// Field of the line, from 1; 0: the whole line.
        column: u32,
        /// The option at fault by its position, where it is the layout.
        option: Option<u32>,
        /// A sentence.
        text: String,
        /// What was found out or assumed all the same.
        facts: Vec<Fact>,
    },
    /// Only the keeper can tell.
    #[error("{text}")]
    Question {
        /// What is asked.
        text: String,
        /// The answers.
        choices: Vec<String>,
        /// What was found out or assumed all the same.
        facts: Vec<Fact>,
    },
    /// No importer knows such a file.
    #[error("no importer can read this file; asked were: {}", list(asked))]
    NoImporter {
        /// The names of those that were asked.
        asked: Vec<String>,
    },
    /// The importer was ended by a signal.
    #[error("the importer crashed on this file ({signal}: {})", meaning(signal))]
    Crashed {
        /// The signal's name.
        signal: String,
    },
    /// The importer ended its process.
    #[error("the importer ended by itself with status {code} before the file was read")]
    Exited {
        /// The exit status.
        code: i32,
    },
    /// The importer took too long.
    #[error(
        "the importer was stopped because it took too long (importers.timeout sets how long it may take)"
    )]
    TimedOut,
    /// The importer took too much memory.
    #[error("the importer needs more memory than it may take (importers.memory sets how much)")]
    TooMuchMemory,
    /// The importer sent too much.
    #[error("the importer was stopped because it sent more than {limit} bytes of rows; split the file")]
    TooMuchOutput {
        /// The cap, bytes.
        limit: u64,
    },
    /// The importer did what the contract forbids.
    #[error("the importer broke its contract: {what}")]
    BrokeContract {
        /// Half a sentence.
        what: String,
    },
    /// The library was built for another version of the contract.
    #[error(
        "the importer was built for version {theirs} of the importer contract, this program has version {ours}; get one that fits"
    )]
    WrongVersion {
        /// The library's, as `major.minor`.
        theirs: String,
        /// This program's, as `major.minor`.
        ours: String,
    },
    /// The library could not be loaded.
    #[error("the importer could not be loaded: {text}")]
    CannotLoad {
        /// What the loader said.
        text: String,
    },
    /// It was asked to stop.
    #[error("reading was stopped")]
    Cancelled,
    /// The sandbox is required whole, and something lacks.
    #[error("importers are only to run in a whole sandbox (importers.sandbox = \"required\"), but {what}")]
    SandboxMissing {
        /// What lacks.
        what: String,
    },
    /// The taker of rows failed; the file is not at fault.
    #[error("{0}")]
    Sink(SinkError),
    /// This side failed; the file is not at fault.
    #[error("the importer could not be run: {0}")]
    Internal(#[from] io::Error),
}

impl ImportFailure {
    /// True where trying again may help: neither file nor importer is at fault.
    pub fn is_transient(&self) -> bool {
        matches!(self, Self::Cancelled | Self::Sink(_) | Self::Internal(_))
    }

    /// With what was told before the file was refused.
    pub(super) fn with_facts(mut self, told: Vec<Fact>) -> Self {
        if let Self::Unusable { facts, .. } | Self::Question { facts, .. } = &mut self {
            *facts = told;
        }
        self
    }

    pub(super) fn from_ending(ending: Ending) -> Self {
        match ending {
            // Handled as a success before.
            Ending::Done { .. } => Self::BrokeContract {
                what: "it ended twice".to_owned(),
            },
            Ending::Unusable {
                line,
                column,
                option,
                text,
            } => Self::Unusable {
                line,
                column,
                option,
                text,
                facts: Vec::new(),
            },
            Ending::Question { text, choices } => Self::Question {
                text,
                choices,
                facts: Vec::new(),
            },
            Ending::Breach(what) => Self::BrokeContract { what },
            Ending::CannotLoad(text) => Self::CannotLoad { text },
            Ending::WrongVersion { theirs, ours } => {
                let version = |(major, minor): (u32, u32)| format!("{major}.{minor}");
                Self::WrongVersion {
                    theirs: version(theirs),
                    ours: version(ours),
                }
            }
            Ending::SandboxMissing(what) => Self::SandboxMissing { what },
        }
    }

    /// What a stream that did not end as agreed means, given how the process ended.
    pub(super) fn from_end(fault: WireError, ended: &Ended) -> Self {
        match ended.stop {
            Some(Stop::Cancelled) => return Self::Cancelled,
            Some(Stop::TimedOut) => return Self::TimedOut,
            None => {}
        }
        match fault {
            WireError::Io(error) => Self::Internal(error),
            WireError::TooMuch { limit } => Self::TooMuchOutput { limit },
            WireError::NoEnd => Self::from_status(ended),
            fault @ (WireError::NoStream | WireError::Version { .. } | WireError::Broken(_)) => {
                Self::BrokeContract {
                    what: fault.to_string(),
                }
            }
        }
    }

    fn from_status(ended: &Ended) -> Self {
        let Some(status) = ended.status else {
            return Self::BrokeContract {
                what: "it closed its output before the end".to_owned(),
            };
        };
        let Some(signal) = status.signal() else {
            return Self::Exited {
                code: status.code().unwrap_or_default(),
            };
        };
        match Signal::from_named_raw(signal) {
            Some(Signal::XCPU) => Self::TimedOut,
            Some(Signal::KILL) => Self::TooMuchMemory,
            Some(Signal::ABORT) if ran_out_of_memory(&ended.stderr) => Self::TooMuchMemory,
            known => Self::Crashed {
                signal: known
                    .and_then(name)
                    .map_or_else(|| format!("signal {signal}"), str::to_owned),
            },
        }
    }
}

/// What the allocators of Rust and C++ say before they give up; C has no such word.
fn ran_out_of_memory(stderr: &[u8]) -> bool {
    let said = |words: &[u8]| stderr.windows(words.len()).any(|window| window == words);
    said(b"memory allocation of ") || said(b"std::bad_alloc")
}

fn name(signal: Signal) -> Option<&'static str> {
    [
        (Signal::SEGV, "SIGSEGV"),
        (Signal::BUS, "SIGBUS"),
        (Signal::ILL, "SIGILL"),
        (Signal::FPE, "SIGFPE"),
        (Signal::ABORT, "SIGABRT"),
        (Signal::SYS, "SIGSYS"),
        (Signal::TERM, "SIGTERM"),
        (Signal::INT, "SIGINT"),
        (Signal::TRAP, "SIGTRAP"),
        (Signal::XFSZ, "SIGXFSZ"),
    ]
    .into_iter()
    .find_map(|(known, name)| (known == signal).then_some(name))
}

fn meaning(signal: &str) -> &'static str {
    match signal {
        "SIGSEGV" | "SIGBUS" => "it touched memory that is not its own",
        "SIGABRT" => "it gave up; its error output may tell why",
        "SIGSYS" => "it asked the system for something that importers may not do",
        "SIGILL" | "SIGTRAP" => "it ran into code that can't be run",
        "SIGFPE" => "it divided by zero",
        _ => "it was ended from outside",
    }
}

fn list(names: &[String]) -> String {
    if names.is_empty() {
        "none, for there are none".to_owned()
    } else {
        names.join(", ")
    }
}

/// `line 3, column 2: `, as far as known.
struct Place(u64, u32);

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        match self {
            Self(0, _) => Ok(()),
            Self(line, 0) => write!(f, "line {line}: "),
            Self(line, column) => write!(f, "line {line}, column {column}: "),
        }
    }
}
