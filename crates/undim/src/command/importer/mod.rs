//! `undim importer …`: one file for each of its commands.

mod cases;
mod layout;
mod list;
mod new;
mod through_worker;
mod trial;

use super::{look, say};
use crate::cli::{Common, Importer};
use crate::daemon::cancel_on_signals;
use crate::engine::{Cancel, finder_of, no_importer, worker_of};
use crate::exit::Exit;
use undim_config::Site;
use undim_import::find::{Findings, Found};
use undim_import::run::Worker;

pub(super) fn run(common: &Common, what: &Importer) -> Exit {
    let cancel = Cancel::default();
    if let Err(error) = cancel_on_signals(&cancel) {
        say::error(&format!("undim: signals can't be listened to: {error}"));
        return Exit::Internal;
    }
    let exit = match what {
        Importer::List => list::run(common, &cancel),
        Importer::Try(flags) => trial::run(common, flags, &cancel),
        Importer::Layout(flags) => layout::run(common, flags, &cancel),
        Importer::New(flags) => new::run(flags),
        Importer::Cases(flags) => cases::run(common, flags, &cancel),
    };
    if cancel.asked() {
        say::error("undim: stopped; nothing was kept");
        std::process::exit(look::INTERRUPTED);
    }
    exit.unwrap_or_else(|exit| exit)
}

/// The site at hand, its worker, and the importers that were found.
struct Bench {
    site: Site,
    worker: Worker,
    findings: Findings,
}

impl Bench {
    fn new(common: &Common, cancel: &Cancel) -> Result<Self, Exit> {
        let site = look::site_at_hand(common)?;
        let worker = worker_of(&site);
        let findings = finder_of(&site).find(&worker, cancel.flag());
        Ok(Self {
            site,
            worker,
            findings,
        })
    }

    /// The importer of this name, or the exit after it was said that there is none.
    fn named(&self, name: &str) -> Result<&Found, Exit> {
        self.findings.named(name).ok_or_else(|| {
            say::error(&format!("undim: {}", no_importer(&self.findings, Some(name))));
            Exit::Usage
        })
    }
}
