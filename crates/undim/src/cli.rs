//! What can be typed.

mod importer;

pub(crate) use importer::{
    Importer, ImporterCases, ImporterLayout, ImporterNew, ImporterTry, ScriptLanguage,
};

use clap::{Args, Parser, Subcommand, ValueEnum};
use std::path::PathBuf;

/// Keeps watch over the light in a coral tank: a file of readings lands in the inbox; a cleaned survey
/// and, where light has drifted, an alert come out.
#[derive(Debug, Parser)]
#[command(name = "undim", version, max_term_width = 100, arg_required_else_help = true)]
pub(crate) struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub(crate) command: Command,
    /// What holds for every command.
    #[command(flatten)]
    pub(crate) common: Common,
}

/// Flags that every command takes.
#[derive(Debug, Clone, Args)]
pub(crate) struct Common {
    /// The site: its folder or its undim.toml (default: here, then upwards)
    #[arg(long, global = true, value_name = "PATH")]
    pub(crate) site: Option<PathBuf>,
    /// Print facts as JSON
    #[arg(long, global = true)]
    pub(crate) json: bool,
    /// Colour on the terminal
    #[arg(long, global = true, value_enum, default_value_t = Color::Auto, value_name = "WHEN")]
    pub(crate) color: Color,
    /// How log lines are written to standard error
    #[arg(long, global = true, value_enum, default_value_t = LogFormat::Text, value_name = "FORMAT")]
    pub(crate) log: LogFormat,
    /// Log more (-v: each step; -vv: everything)
    #[arg(long, short, global = true, action = clap::ArgAction::Count)]
    pub(crate) verbose: u8,
}

/// When to colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Color {
    /// On a terminal, unless `NO_COLOR` is set
    Auto,
    /// Always
    Always,
    /// Never
    Never,
}

/// The form of log lines.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum LogFormat {
    /// For people
    Text,
    /// One JSON object a line
    Json,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Make a first site from a few questions; overwrites nothing
    New(New),
    /// Look at one file of readings: no site needed, nothing stored
    Look(Look),
    /// Watch the inbox and take in what lands there, until stopped
    Watch,
    /// Take in what lies in the inbox, then end
    Sweep(Sweep),
    /// Read the whole configuration and show every mistake at once
    Check,
    /// Show the inbox, the last surveys and open alerts
    Status(Status),
    /// Derive every output again from the raw archive
    Rebuild,
    /// Write a sheet to take to the tank, filled in by hand
    Plan(Plan),
    /// Take a file out of every judgement, or back; alone it lists what is withdrawn
    Withdraw(Withdraw),
    /// Write completions for a shell to standard output
    Completions(Completions),
    /// Write the manual pages into a folder
    #[command(hide = true)]
    Manual(Manual),
    /// Make a device's correction from readings side by side with a reference
    Fit(Fit),
    /// The importers: which there are, what each makes of a file, and how to add one
    #[command(subcommand)]
    Importer(Importer),
    /// Tell where a value's uncertainty comes from, input by input
    Explain(Explain),
    /// Tell PPFD per lux and per watt of a spectrum, and how far it misleads a device
    Spectrum(Spectrum),
}

/// Flags of `look`.
#[derive(Debug, Clone, Args)]
pub(crate) struct Look {
    /// The file of readings
    pub(crate) file: PathBuf,
    /// Write every row as CSV instead
    #[arg(long)]
    pub(crate) rows: bool,
    /// Read the file as this layout says
    #[arg(long, value_name = "PATH")]
    pub(crate) layout: Option<PathBuf>,
    /// Write page and package into this folder, which must be new or empty
    #[arg(long, value_name = "DIR")]
    pub(crate) out: Option<PathBuf>,
}

/// Flags of `new`: an answer to each question, where it is not to be asked.
#[derive(Debug, Clone, Args)]
pub(crate) struct New {
    /// The new site's folder; one that is there must not hold a site yet
    pub(crate) dir: PathBuf,
    /// Ask nothing: what no flag tells is left open
    #[arg(long, short)]
    pub(crate) yes: bool,
    /// Take answers out of this file of readings, and test which axis orders fit inside the tank
    #[arg(long, value_name = "FILE")]
    pub(crate) from: Option<PathBuf>,
    /// Read that file as this layout says
    #[arg(long, value_name = "PATH", requires = "from")]
    pub(crate) layout: Option<PathBuf>,
    /// The tank's name
    #[arg(long, value_name = "NAME")]
    pub(crate) tank: Option<String>,
    /// Its inside size: length, front to back, height, as "120 x 60 x 55 cm"
    #[arg(long, value_name = "SIZE")]
    pub(crate) size: Option<String>,
    /// Its water height, bottom pane to surface, as "50 cm"
    #[arg(long, value_name = "HEIGHT")]
    pub(crate) water: Option<String>,
    /// Its fixtures from left to right, as "west, east" or "west 30 75 30; east 90 75 30" (cm from left,
    /// from bottom, from front)
    #[arg(long, value_name = "NAMES")]
    pub(crate) fixtures: Option<String>,
    /// Their output when measuring, as "60" (percent) or one number for each
    #[arg(long, value_name = "PERCENT")]
    pub(crate) output: Option<String>,
    /// What you read with, as "Phone in a bag" or "Hired sensor, reference" or "Logger, lx"
    #[arg(long, value_name = "NAME")]
    pub(crate) device: Option<String>,
    /// Where your 0, 0, 0 is, as "left bottom front" or "right surface back"
    #[arg(long, value_name = "CORNER")]
    pub(crate) zero: Option<String>,
    /// Where your x, y, z point, as "right up back"; a unit may follow, as "right up back, mm"
    #[arg(long, value_name = "DIRECTIONS")]
    pub(crate) axes: Option<String>,
}

/// Flags of `plan`.
#[derive(Debug, Clone, Args)]
pub(crate) struct Plan {
    /// A blank sheet: a CSV and a page to print, with the tank's stations or empty lines
    #[arg(long, required = true)]
    pub(crate) blank: bool,
    /// The tank (default: the lone one)
    #[arg(long, value_name = "TANK")]
    pub(crate) tank: Option<String>,
    /// Write both into this folder (default: here); nothing is overwritten
    #[arg(long, value_name = "DIR")]
    pub(crate) out: Option<PathBuf>,
}

/// Which shell.
#[derive(Debug, Clone, Args)]
pub(crate) struct Completions {
    /// The shell
    pub(crate) shell: clap_complete::Shell,
}

/// Where to.
#[derive(Debug, Clone, Args)]
pub(crate) struct Manual {
    /// The folder, made if need be
    pub(crate) dir: PathBuf,
}

/// Flags of `withdraw`.
#[derive(Debug, Clone, Args)]
pub(crate) struct Withdraw {
    /// The file: its inbox path, its name, or a beginning of its BLAKE3
    pub(crate) source: Option<String>,
    /// Why, for whoever reads it later
    #[arg(long, value_name = "TEXT")]
    pub(crate) why: Option<String>,
    /// Let a withdrawn file count again
    #[arg(long)]
    pub(crate) undo: bool,
}

/// Flags of `sweep`.
#[derive(Debug, Clone, Args)]
pub(crate) struct Sweep {
    /// Exit with 1 when an alert is open
    #[arg(long)]
    pub(crate) fail_on_alert: bool,
}

/// Flags of `status`.
#[derive(Debug, Clone, Args)]
pub(crate) struct Status {
    /// Exit with 1 when an alert is open
    #[arg(long)]
    pub(crate) fail_on_alert: bool,
    /// Exit with 1 when `undim watch` was last heard of longer ago than this, as 5m, 2h or 1d
    #[arg(long, value_name = "DURATION", value_parser = undim_config::parse_duration)]
    pub(crate) max_age: Option<std::time::Duration>,
}

/// Flags of `fit`.
#[derive(Debug, Clone, Args)]
pub(crate) struct Fit {
    /// The survey that holds both, by its id, its folder or TANK/SURVEY; or files of readings
    #[arg(
        value_name = "SURVEY|FILE",
        required_unless_present = "pairs",
        conflicts_with = "pairs"
    )]
    pub(crate) from: Vec<PathBuf>,
    /// A CSV file of pairs instead: `station,device,reference,u_device,u_reference,correlation`
    #[arg(long, value_name = "FILE")]
    pub(crate) pairs: Option<PathBuf>,
    /// The device to be corrected, by its id or name (default: the only everyday one)
    #[arg(long, value_name = "ID")]
    pub(crate) device: Option<String>,
    /// The reference (default: the only one)
    #[arg(long, value_name = "ID")]
    pub(crate) reference: Option<String>,
    /// Only readings of this scene
    #[arg(long, value_name = "ID")]
    pub(crate) scene: Option<String>,
    /// This form and no other
    #[arg(long, value_enum, value_name = "FORM")]
    pub(crate) model: Option<FitModel>,
    /// Device values at which to tell the corrected one (default: 50,200,500)
    #[arg(long, value_name = "V", value_delimiter = ',', allow_negative_numbers = true)]
    pub(crate) at: Vec<f64>,
    /// Leave out no pair for lying far off the others
    #[arg(long)]
    pub(crate) all_pairs: bool,
    /// Write the correction into the device's file
    #[arg(long)]
    pub(crate) accept: bool,
    /// The correction's first day (default: that of the readings)
    #[arg(long, value_name = "DATE")]
    pub(crate) valid_from: Option<jiff::civil::Date>,
    /// Draw the pairs, the fit and what is left over: a page (.html) or a drawing (.svg)
    #[arg(long, value_name = "FILE")]
    pub(crate) out: Option<PathBuf>,
}

/// Flags of `explain`.
#[derive(Debug, Clone, Args)]
pub(crate) struct Explain {
    /// The survey, by its id or TANK/SURVEY
    pub(crate) survey: String,
    /// The station
    pub(crate) station: String,
}

/// Flags of `spectrum`.
#[derive(Debug, Clone, Args)]
pub(crate) struct Spectrum {
    /// A CSV file of wavelength (nm) and value, or a built-in name as D65, LED-B3 or G173
    #[arg(
        value_name = "FILE|NAME",
        required_unless_present_any = ["mix", "list"],
        conflicts_with_all = ["mix", "list"]
    )]
    pub(crate) from: Option<String>,
    /// A mix of channels instead, each with its level: --mix blue.csv=0.8 --mix white.csv=0.3
    #[arg(long, value_name = "FILE|NAME=LEVEL", conflicts_with = "list")]
    pub(crate) mix: Vec<String>,
    /// A device's relative response, as CSV: tells its spectral mismatch factor under this light
    #[arg(long, value_name = "FILE")]
    pub(crate) response: Option<String>,
    /// What that device was calibrated under (default: A)
    #[arg(long, value_name = "FILE|NAME", requires = "response")]
    pub(crate) calibrated_under: Option<String>,
    /// Draw it: a page (.html) or a drawing (.svg)
    #[arg(long, value_name = "FILE")]
    pub(crate) out: Option<PathBuf>,
    /// Name the built-in spectra
    #[arg(long)]
    pub(crate) list: bool,
}

/// A form of correction.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum FitModel {
    /// v + a
    Offset,
    /// b·v
    Gain,
    /// a + b·v
    Line,
    /// a + b·v + c·max(0, v − knot)
    Hinge,
}

#[cfg(test)]
mod tests {
    use super::Cli;
    use clap::CommandFactory;

    #[test]
    fn the_definitions_hold_together() {
        Cli::command().debug_assert();
    }
}
