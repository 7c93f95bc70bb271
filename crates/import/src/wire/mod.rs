//! What passes from a worker to the daemon, and the form in which rows are kept in a file.
//!
//! A stream is seven bytes of mark, a version byte, and frames: one byte of kind, four of length (little
//! endian, like every number here), the payload. The first frames tell what keeps the importer from harm
//! ([`Sandbox`]) and who it is ([`Header`]), in a file only the latter; then rows, facts and problems in any
//! order; and one [`Ending`], after which nothing may follow. A stream without an ending is a broken one,
//! however politely its writer left.
//!
//! Rows travel in columns, up to [`FRAME_ROWS`] a frame: a count (two bytes), a dictionary of the frame's
//! texts (a count of two bytes; each a length of two bytes and UTF-8), and twelve columns in the order of
//! the fields of [`ImportedRow`](undim_model::ImportedRow). A column is one byte of form and its values:
//! nothing, one value for all, one for each, or a mask (one bit a row, least significant first) and a
//! value for each set bit; row numbers may also be a run that is told by its first. Numbers take eight
//! bytes, times nine (kind, microseconds), texts two (a place in the dictionary).
//!
//! The reader trusts nothing: every length is checked and capped before memory is taken, every number is
//! finite, every text UTF-8 and within its limit, every count has to agree.

mod columns;
mod decode;
mod encode;
mod payload;
mod request;
mod text;

pub use decode::{Caps, Decoder, WireError};
pub use encode::{EncodeError, Encoder, RowRef};
pub use request::{ARGUMENT, ImportOption, OptionKind, Request, Task, option_path};
pub use text::printable;
pub use undim_model::ImportedTime;

use undim_model::{Fact, ImportProblem};

/// The first bytes of every stream.
pub const MARK: [u8; 7] = *b"undimrw";
/// The version of this form; another one is refused.
pub const VERSION: u8 = 1;

/// At most so many rows in a frame.
pub const FRAME_ROWS: usize = 4096;
/// At most so many bytes of payload in a frame.
pub const FRAME_BYTES: usize = 1 << 20;
/// At most so many bytes in a unit.
pub const UNIT_BYTES: usize = 64;
/// At most so many bytes in the name of a station or device.
pub const NAME_BYTES: usize = 256;
/// At most so many bytes in a remark; a longer one is cut, and this is said.
pub const REMARK_BYTES: usize = 4096;
/// At most so many bytes in the text of a question or failure; a longer one is cut.
pub const MESSAGE_BYTES: usize = 16 << 10;
/// At most so many bytes in the text of a problem, a fact or a choice; a longer one is cut.
pub const NOTE_BYTES: usize = 1 << 10;
/// So many problems are kept; the others are counted.
pub const PROBLEMS: usize = 1000;
/// At most so many facts.
pub const FACTS: usize = 256;
/// At most so many choices.
pub const CHOICES: usize = 100;

/// What keeps the importer from harm, as the kernel confirmed it before any foreign code was loaded.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Hash)]
pub struct Sandbox {
    /// The version of Landlock that is enforced; 0 where the kernel has none.
    pub landlock: u8,
    /// True where everything that is asked of Landlock is enforced: files, network, signals.
    pub landlock_full: bool,
    /// True where the filter of system calls is on.
    pub seccomp: bool,
}

impl Sandbox {
    /// True where nothing lacks.
    pub fn is_full(self) -> bool {
        self.landlock_full && self.seccomp
    }

    /// What lacks, as half a sentence; `None` where nothing does.
    pub fn lacks(self) -> Option<&'static str> {
        match (self.landlock, self.landlock_full, self.seccomp) {
            (_, true, true) => None,
            (0, _, true) => Some("this kernel has no Landlock, which keeps importers from files and network"),
            (0, _, false) => Some("this kernel has neither Landlock nor a filter of system calls"),
            (_, false, true) => Some(
                "this kernel's Landlock is too old to keep importers from files, network and signals alike",
            ),
            (_, _, false) => Some("this kernel has no filter of system calls"),
        }
    }
}

/// Who the importer says it is.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Header {
    /// Its name: `[a-z0-9-]`, 1 to 64 bytes.
    pub name: String,
    /// Its version, 1 to 64 bytes.
    pub version: String,
    /// What it reads, for people; up to 256 bytes.
    pub reads: String,
    /// The version of the contract that a library was built for, as `1.0`; empty for a script. Up to 32 bytes.
    pub abi: String,
}

impl Header {
    /// True where all four keep their limits.
    pub fn is_valid(&self) -> bool {
        let name_letter = |byte: u8| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'-';
        (1..=64).contains(&self.name.len())
            && self.name.bytes().all(name_letter)
            && (1..=64).contains(&self.version.len())
            && self.reads.len() <= 256
            && self.abi.len() <= 32
    }
}

/// One frame. Rows are handed over beside it.
#[derive(Debug, Clone, PartialEq)]
pub enum Frame {
    /// What is enforced.
    Sandbox(Sandbox),
    /// Who the importer is.
    Importer(Header),
    /// How surely it can read the file, 0 to 100.
    Sure(u8),
    /// Rows, in the vector that was given to [`Decoder::next_frame`].
    Rows,
    /// A fact.
    Fact(Fact),
    /// A problem.
    Problem(ImportProblem),
    /// The end.
    Ended(Ending),
}

/// How a stream ends.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Ending {
    /// The file was read to its end.
    Done {
        /// How many rows were sent.
        rows: u64,
        /// How many problems were counted but not kept.
        more_problems: u64,
    },
    /// The file can't be used.
    Unusable {
        /// Line of the file, from 1; 0: the whole file.
        line: u64,
        /// Field of the line, from 1; 0: the whole line.
        column: u32,
        /// The option at fault, where it is the layout.
        option: Option<u32>,
        /// A sentence.
        text: String,
    },
    /// Only the keeper can tell.
    Question {
        /// What is asked.
        text: String,
        /// The answers.
        choices: Vec<String>,
    },
    /// The importer did what the contract forbids.
    Breach(String),
    /// The library could not be loaded.
    CannotLoad(String),
    /// The library was built for another version of the contract.
    WrongVersion {
        /// The library's, major and minor.
        theirs: (u32, u32),
        /// The worker's, major and minor.
        ours: (u32, u32),
    },
    /// The sandbox was required whole, and something lacks.
    SandboxMissing(String),
}

/// Kinds of frame.
mod kind {
    pub(super) const SANDBOX: u8 = 1;
    pub(super) const IMPORTER: u8 = 2;
    pub(super) const SURE: u8 = 3;
    pub(super) const ROWS: u8 = 4;
    pub(super) const FACT: u8 = 5;
    pub(super) const PROBLEM: u8 = 6;
    pub(super) const DONE: u8 = 16;
    pub(super) const UNUSABLE: u8 = 17;
    pub(super) const QUESTION: u8 = 18;
    pub(super) const BREACH: u8 = 19;
    pub(super) const CANNOT_LOAD: u8 = 20;
    pub(super) const WRONG_VERSION: u8 = 21;
    pub(super) const SANDBOX_MISSING: u8 = 22;
}

/// Forms of a column.
mod form {
    /// No row has a value.
    pub(super) const NOTHING: u8 = 0;
    /// All rows have the same value.
    pub(super) const SAME: u8 = 1;
    /// Each row has its value.
    pub(super) const EACH: u8 = 2;
    /// A mask tells which rows have one.
    pub(super) const MASKED: u8 = 3;
    /// Row numbers that grow by one; the first is told.
    pub(super) const RUN: u8 = 4;
}

#[cfg(test)]
mod tests;
