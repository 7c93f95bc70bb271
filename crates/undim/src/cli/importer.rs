//! What can be typed after `undim importer`.

use clap::{Args, Subcommand, ValueEnum};
use std::path::PathBuf;

/// What to do about importers.
#[derive(Debug, Subcommand)]
pub(crate) enum Importer {
    /// Show every importer: who it is, where it lies, what it reads; and which were refused, and why
    List,
    /// Show what each importer makes of a file: who claims it, the first readings, every problem
    Try(ImporterTry),
    /// Print a layout that reads the file as it is read now, ready to edit
    Layout(ImporterLayout),
    /// Write a first importer that builds, passes its cases and explains itself
    New(ImporterNew),
    /// Hold an importer against the cases of its folder and the usual bad files
    Cases(ImporterCases),
}

/// Flags of `importer try`.
#[derive(Debug, Clone, Args)]
pub(crate) struct ImporterTry {
    /// The file of readings
    pub(crate) file: PathBuf,
    /// Let this importer read it, however sure the others are
    #[arg(long, value_name = "NAME")]
    pub(crate) importer: Option<String>,
    /// Read the file as this layout says
    #[arg(long, value_name = "PATH")]
    pub(crate) layout: Option<PathBuf>,
}

/// Flags of `importer layout`.
#[derive(Debug, Clone, Args)]
pub(crate) struct ImporterLayout {
    /// The file of readings
    pub(crate) file: PathBuf,
}

/// Flags of `importer new`.
#[derive(Debug, Clone, Args)]
pub(crate) struct ImporterNew {
    /// The importer's name: lower-case letters, digits and hyphens
    pub(crate) name: String,
    /// Write a script instead of a crate in Rust
    #[arg(long, value_name = "LANGUAGE")]
    pub(crate) script: Option<ScriptLanguage>,
    /// Use the SDK in this folder (crates/sdk of undim's source) instead of a copy of it
    #[arg(long, value_name = "PATH", conflicts_with = "script")]
    pub(crate) sdk: Option<PathBuf>,
}

/// The languages in which a first script can be written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum ScriptLanguage {
    /// Python 3
    Python,
    /// The shell, with awk
    Sh,
}

/// Flags of `importer cases`.
#[derive(Debug, Clone, Args)]
pub(crate) struct ImporterCases {
    /// The importer's folder, which holds a folder “cases”
    pub(crate) dir: PathBuf,
    /// The importer: its file, or the name of one that undim finds (default: the one that lies in DIR or that cargo built there)
    #[arg(long, value_name = "PATH|NAME")]
    pub(crate) importer: Option<PathBuf>,
    /// Write the expected files anew; look at every line of the difference before you keep it
    #[arg(long)]
    pub(crate) update: bool,
}
