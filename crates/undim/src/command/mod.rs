//! The subcommands, one file each.

mod changed;
mod check;
mod completions;
mod explain;
mod fit;
mod importer;
mod look;
mod manual;
mod new;
mod plan;
mod rebuild;
mod say;
mod spectrum;
mod status;
mod sweep;
mod watch;
mod withdraw;

use crate::cli::{Cli, Command, Common};
use crate::engine::{OpenError, machine_timezone};
use crate::exit::Exit;
use crate::logging;
use std::io::IsTerminal;
use std::path::PathBuf;
use tracing::Level;
use undim_config::{Loaded, SITE_FILE, Site, find_site, load, site_at};

/// Runs a command.
pub(crate) fn run(cli: &Cli) -> Exit {
    let common = &cli.common;
    let level = match cli.command {
        Command::Watch => Level::INFO,
        _ => Level::ERROR,
    };
    logging::set_up(common, level);
    match &cli.command {
        Command::New(flags) => new::run(common, flags),
        Command::Look(flags) => look::run(common, flags),
        Command::Watch => watch::run(common),
        Command::Sweep(flags) => sweep::run(common, flags),
        Command::Check => check::run(common),
        Command::Status(flags) => status::run(common, flags),
        Command::Rebuild => rebuild::run(common),
        Command::Plan(flags) => plan::run(common, flags),
        Command::Withdraw(flags) => withdraw::run(common, flags),
        Command::Completions(flags) => completions::run(flags),
        Command::Manual(flags) => manual::run(flags),
        Command::Fit(flags) => fit::run(common, flags),
        Command::Importer(what) => importer::run(common, what),
        Command::Explain(flags) => explain::run(common, flags),
        Command::Spectrum(flags) => spectrum::run(common, flags),
    }
}

/// The site's folder, or what to type next.
fn site_folder(common: &Common) -> Result<PathBuf, String> {
    match &common.site {
        Some(path) => site_at(path).ok_or_else(|| {
            format!(
                "there is no {SITE_FILE} at {}; `undim new {}` makes a first site, or name another --site",
                path.display(),
                path.display()
            )
        }),
        None => {
            let here = std::env::current_dir()
                .map_err(|error| format!("the current folder is not to be had: {error}"))?;
            find_site(&here).ok_or_else(|| {
                format!("there is no {SITE_FILE} here or in the folders above; name the site with --site PATH, or type `undim new DIR` to make a first one")
            })
        }
    }
}

/// Reads the configuration; a usable site, or the exit after its mistakes were shown.
fn usable_site(common: &Common) -> Result<Site, Exit> {
    let loaded = loaded(common)?;
    let Loaded { site: Some(site), .. } = loaded else {
        say::error(&loaded.render(colored(common), say::width()));
        say::error("undim: the configuration has mistakes; `undim check` shows them again");
        return Err(Exit::Usage);
    };
    Ok(site)
}

fn loaded(common: &Common) -> Result<Loaded, Exit> {
    let folder = site_folder(common).map_err(|why| {
        say::error(&format!("undim: {why}"));
        Exit::Usage
    })?;
    Ok(load(&folder, &machine_timezone()))
}

/// Tells why a site could not be opened.
fn not_opened(error: &OpenError) -> Exit {
    say::error(&format!("undim: {error}"));
    match error {
        OpenError::Zone(_) => Exit::Usage,
        _ => Exit::Folders,
    }
}

fn colored(common: &Common) -> bool {
    logging::colored(common.color, std::io::stdout().is_terminal())
}
