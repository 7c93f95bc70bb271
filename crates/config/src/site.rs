//! A site that is checked and ready.

use crate::layout::Layout;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::Duration;
use undim_intake::route::Route;
use undim_model::{DateSpan, Device, Tank, Upkeep};

/// Everything the keeper has told, without a mistake in it (formats, section 2).
#[derive(Debug, Clone, PartialEq)]
pub struct Site {
    /// The folder with `undim.toml`.
    pub root: PathBuf,
    /// As shown to people.
    pub name: String,
    /// For times without an offset, and for dates.
    pub timezone: Timezone,
    /// Where files land; joined to the root, as the next ones.
    pub inbox: PathBuf,
    /// Where results go.
    pub outbox: PathBuf,
    /// Ledger and raw archive.
    pub state: PathBuf,
    /// Extra places to look for importers.
    pub plugins: Vec<PathBuf>,
    /// How files are taken in.
    pub intake: IntakeSettings,
    /// How importers are held.
    pub importers: ImporterSettings,
    /// Which CSV files are written.
    pub csv: Csv,
    /// In written order; the first match wins.
    pub routes: Vec<Route>,
    /// Where alerts go.
    pub notify: Vec<NotifySink>,
    /// Days on which the keeper is away: reminders wait, losses never.
    pub away: Vec<DateSpan>,
    /// Declared tanks by id.
    pub tanks: BTreeMap<String, Tank>,
    /// Declared devices by id.
    pub devices: BTreeMap<String, Device>,
    /// Layouts by name.
    pub layouts: BTreeMap<String, Layout>,
    /// What was done, by tank id, in written order.
    pub upkeep: BTreeMap<String, Vec<Upkeep>>,
    /// What was read, so that a later load can tell what changed.
    pub fingerprints: Fingerprints,
}

/// The site's time zone.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Timezone {
    /// Its IANA name.
    pub name: String,
    /// False where the keeper states none and it is the machine's.
    pub stated: bool,
}

/// What becomes of a file once it is taken in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Hash)]
pub enum After {
    /// To `inbox/taken`.
    #[default]
    Move,
    /// It stays.
    Keep,
    /// It is removed; its bytes stand in the archive.
    Delete,
}

/// `[intake]`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct IntakeSettings {
    /// A file is taken in once size and time have stood still this long.
    pub settle: Duration,
    /// The inbox is listed again this often.
    pub rescan: Duration,
    /// What becomes of a file taken in.
    pub after: After,
    /// Larger files are set aside, bytes.
    pub max_file: u64,
}

impl Default for IntakeSettings {
    fn default() -> Self {
        Self {
            settle: Duration::from_secs(2),
            rescan: Duration::from_secs(30),
            after: After::Move,
            max_file: 4 << 30,
        }
    }
}

/// How much sandbox an importer needs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Hash)]
pub enum Sandbox {
    /// What the kernel has.
    #[default]
    Best,
    /// All of it, or nothing runs.
    Required,
}

/// `[importers]`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ImporterSettings {
    /// How much sandbox they need.
    pub sandbox: Sandbox,
    /// One file's time; a second more for each 8 MiB of it is added by whoever runs them.
    pub timeout: Duration,
    /// One worker's memory, bytes.
    pub memory_bytes: u64,
}

impl Default for ImporterSettings {
    fn default() -> Self {
        Self {
            sandbox: Sandbox::Best,
            timeout: Duration::from_mins(1),
            memory_bytes: 512 << 20,
        }
    }
}

/// `[outbox] csv`: which CSV files are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Hash)]
pub enum Csv {
    /// The standard ones alone.
    #[default]
    Standard,
    /// Beside each a second copy with semicolons and decimal commas, `*.eu.csv`.
    SpreadsheetEu,
}

/// One `[[notify]]`: where alerts go.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NotifySink {
    /// Appended to a text file.
    File {
        /// Joined to the root.
        path: PathBuf,
    },
    /// Handed to a program on its standard input.
    Command {
        /// The program, then its arguments; never empty, no shell between. It runs in the site's folder.
        command: Vec<String>,
    },
}

impl NotifySink {
    pub(crate) fn joined_to(self, root: &Path) -> Self {
        match self {
            Self::File { path } => Self::File {
                path: root.join(path),
            },
            command @ Self::Command { .. } => command,
        }
    }
}

/// BLAKE3 of what was read, lower-case hexadecimal.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Fingerprints {
    /// Of all files, their paths included.
    pub whole: String,
    /// Of `undim.toml`.
    pub site: String,
    /// Of each tank's file.
    pub tanks: BTreeMap<String, String>,
    /// Of each device's file.
    pub devices: BTreeMap<String, String>,
    /// Of each layout's file.
    pub layouts: BTreeMap<String, String>,
    /// Of each tank's upkeep list.
    pub upkeep: BTreeMap<String, String>,
}
