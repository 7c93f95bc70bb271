//! Opening a site's folders and ledger, and reading the configuration again.

use super::reading::{finder_of, worker_of};
use super::restore::restore;
use super::state_of_machine::Clockwork;
use super::status::last_heard;
use super::{Cancel, Engine, EngineError};
use jiff::Timestamp;
use jiff::tz::TimeZone;
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use undim_config::{Severity, Site, load};
use undim_emit::SiteZone;
use undim_import::find::Findings;
use undim_intake::listing::Listing;
use undim_intake::settle::Settler;
use undim_intake::spool::{
    LockError, StateLock, read_noticed, remove_leftovers, remove_unfinished, remove_unfinished_reasons,
    state_lock,
};
use undim_store::{Batch, Store, StoreError};
use undim_survey::Book;

/// Why a site could not be opened.
#[derive(Debug, thiserror::Error)]
pub(crate) enum OpenError {
    /// A folder.
    #[error("{path} could not be used: {error}; make it, or give the program the right to use it")]
    Folder {
        /// Where.
        path: PathBuf,
        /// What the system says.
        error: io::Error,
    },
    /// Another program works on the same state folder.
    #[error(transparent)]
    Lock(#[from] LockError),
    /// The ledger.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The zone.
    #[error("the time zone {0} is not known")]
    Zone(String),
    /// The work at the start.
    #[error(transparent)]
    Engine(#[from] EngineError),
}

/// The machine's time zone: where the site states none it is taken, and that is said.
pub(crate) fn machine_timezone() -> String {
    TimeZone::try_system()
        .ok()
        .and_then(|zone| zone.iana_name().map(str::to_owned))
        .unwrap_or_else(|| "UTC".to_owned())
}

impl Engine {
    /// Opens a site for `what` (`watch`, `sweep`, `rebuild`): folders, lock, ledger, contents.
    pub(crate) fn open(site: Site, what: &str) -> Result<Self, OpenError> {
        let folder = |path: &Path| {
            fs::create_dir_all(path).map_err(|error| OpenError::Folder {
                path: path.to_owned(),
                error,
            })
        };
        folder(&site.state)?;
        let started = Timestamp::now();
        let lock = state_lock(&site.state, what, &started.to_string())?;
        let raw = site.state.join("raw");
        folder(&raw)?;
        folder(&site.outbox)?;
        let unusable = |path: &Path, error| OpenError::Folder {
            path: path.to_owned(),
            error,
        };
        remove_leftovers(&raw).map_err(|error| unusable(&raw, error))?;
        remove_unfinished(&site.outbox).map_err(|error| unusable(&site.outbox, error))?;
        super::rows::remove_unfinished(&site.state).map_err(|error| unusable(&site.state, error))?;
        if let Err(error) = remove_unfinished_reasons(&site.inbox) {
            tracing::warn!(inbox = %site.inbox.display(), %error, "what a killed program left there can't be removed");
        }
        let zone = undim_clean::time::zone(&site.timezone.name)
            .ok_or_else(|| OpenError::Zone(site.timezone.name.clone()))?;
        let site_zone =
            SiteZone::named(&site.timezone.name).map_err(|_| OpenError::Zone(site.timezone.name.clone()))?;
        let mut store = Store::open(&site.state.join("undim.db"))?;
        restore(&mut store, &raw)?;
        let (noticed, damaged) = read_noticed(&raw).map_err(|error| unusable(&raw, error))?;
        for line in damaged {
            tracing::warn!(line, "a line of what was noticed is damaged; the others count");
        }
        if let Err(error) = fs::create_dir_all(&site.inbox) {
            tracing::warn!(inbox = %site.inbox.display(), %error, "the inbox can't be made");
        }
        let zones = (zone, site_zone);
        let mut engine = Self::assemble(site, what, store, Some(lock), zones, started);
        engine.noticed = noticed;
        engine.record_withdrawals()?;
        Ok(engine)
    }

    /// Puts an engine together.
    pub(super) fn assemble(
        site: Site,
        what: &str,
        store: Store,
        lock: Option<StateLock>,
        (zone, site_zone): (TimeZone, SiteZone),
        started: Timestamp,
    ) -> Self {
        Self {
            worker: worker_of(&site),
            settler: Settler::new(site.intake.settle),
            book: Book::new(zone.clone()),
            finder: finder_of(&site),
            clockwork: Clockwork::since(last_heard(&site.outbox)),
            site,
            zone,
            site_zone,
            store,
            _lock: lock,
            cancel: Cancel::default(),
            ready: Vec::new(),
            listing: Listing::default(),
            known: BTreeSet::new(),
            findings: Findings::default(),
            held: Vec::new(),
            upkeep: Vec::new(),
            derived_again: BTreeMap::new(),
            surveys: BTreeMap::new(),
            fresh: BTreeMap::new(),
            judged: BTreeMap::new(),
            of_tanks: BTreeMap::new(),
            outcomes: Vec::new(),
            troubles: Vec::new(),
            sandbox_lacks: None,
            noticed: Vec::new(),
            mounted: BTreeMap::new(),
            again: Vec::new(),
            mistakes: Vec::new(),
            reminded: BTreeSet::new(),
            progress: None,
            held_back: BTreeSet::new(),
            once: what != "watch",
            incomplete: false,
            derived: false,
            inbox_made: None,
            clock: std::time::Instant::now(),
            started,
        }
    }

    /// Derives what the archive and the configuration say now; what has not changed is not written again.
    pub(super) fn derive_all(&mut self) -> Result<(), EngineError> {
        self.findings = self.finder.find(&self.worker, self.cancel.flag());
        for passed in &self.findings.passed_over {
            tracing::warn!(importer = %passed.path.display(), why = passed.why, "an importer was refused");
        }
        self.mistakes.clear();
        self.load_held()?;
        self.note_what_changes()?;
        self.publish_all()?;
        self.keep_derived_from()
    }

    /// Forgets everything derived and derives it again.
    pub(crate) fn rebuild(&mut self) -> Result<usize, EngineError> {
        let rows = self.site.state.join("rows");
        if rows.is_dir() {
            fs::remove_dir_all(&rows).map_err(|error| EngineError::state(&rows, &error))?;
        }
        self.store.commit(&Batch {
            clear_derived: true,
            ..Batch::default()
        })?;
        self.derive_all()?;
        Ok(self.surveys.len())
    }

    /// Reads the configuration again. A faulty one is reported and the old one kept.
    pub(crate) fn reload(&mut self) -> crate::daemon::Pace {
        let loaded = load(&self.site.root, &machine_timezone());
        for mistake in &loaded.mistakes {
            let place = format!("{}:{}:{}", mistake.file.display(), mistake.line, mistake.column);
            let (text, hint) = (&mistake.text, mistake.hint.as_deref().unwrap_or_default());
            match mistake.severity {
                Severity::Mistake => tracing::error!(place, hint, "{text}"),
                Severity::Warning => tracing::warn!(place, hint, "{text}"),
                Severity::Note => tracing::debug!(place, hint, "{text}"),
            }
        }
        let Some(site) = loaded.site else {
            tracing::error!("the configuration has mistakes; the old one is kept");
            return self.pace();
        };
        let folders = |site: &Site| (site.inbox.clone(), site.outbox.clone(), site.state.clone());
        if (folders(&site).1, folders(&site).2) != (folders(&self.site).1, folders(&self.site).2) {
            tracing::error!(
                "outbox and state folders can't change while the program runs; start it again. The old configuration is kept"
            );
            return self.pace();
        }
        let (Some(zone), Ok(site_zone)) = (
            undim_clean::time::zone(&site.timezone.name),
            SiteZone::named(&site.timezone.name),
        ) else {
            return self.pace();
        };
        self.finder = finder_of(&site);
        self.worker = worker_of(&site);
        self.settler.set_settle(site.intake.settle);
        let changed = site.fingerprints.whole != self.site.fingerprints.whole;
        (self.zone, self.site_zone, self.site) = (zone, site_zone, site);
        tracing::info!(changed, "the configuration was read again");
        if changed && let Err(error) = self.derive_all() {
            self.trouble(error.to_string());
        }
        self.write_status();
        self.pace()
    }

    /// Shares a progress teller with the threads that read.
    pub(crate) fn tell_progress(&mut self, tell: impl Fn(&str) + Send + Sync + 'static) {
        self.progress = Some(Arc::new(tell));
    }
}
