//! The edge where everything meets: the inbox, the archive, the ledger, the importers and the outbox.
//!
//! Raw files and configuration are the truth, everything else is derived. One round of work is:
//!
//! `arrive` (archive, read by an importer) → `derive` (surveys, judgements) → `publish` (the outbox) →
//! one transaction that marks the inputs done and holds the notices → the inputs are put away.
//!
//! A program killed anywhere in between starts again at the first step and comes to the same end.

mod arrive;
mod changed;
mod content;
mod context;
mod deliver;
mod derive;
mod descriptions;
mod dry;
mod enter;
mod error;
mod gone;
mod mounted;
mod notes;
mod open;
mod outcome;
mod package;
mod pages;
mod publish;
mod reading;
mod remind;
mod restore;
mod round;
mod rows;
mod shelve;
mod show;
mod sinks;
mod state_of_machine;
mod status;
mod upkeep;
mod withdraw;

pub(crate) use changed::Changing;
pub(crate) use content::{Held, Imported, place};
pub(crate) use context::belongs;
pub(crate) use deliver::deliver;
pub(crate) use dry::Dry;
pub(crate) use error::EngineError;
pub(crate) use mounted::{MOUNTED, SensorNow};
pub(crate) use open::{OpenError, machine_timezone};
pub(crate) use outcome::{Outcome, What};
pub(crate) use package::{VERSION, write as write_package};
pub(crate) use reading::{Readers, about_option, finder_of, import, no_importer, worker_of};
use remind::Reminded;
pub(crate) use rows::CachedRows;
pub(crate) use show::alert_json;
pub(crate) use status::{LeftAloneStatus, SITE, StatusFile, open_alerts};
pub(crate) use withdraw::{WithdrawError, Withdrawn};

use crate::daemon::{Looked, Pace};
use jiff::tz::TimeZone;
use state_of_machine::Clockwork;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;
use undim_config::Site;
use undim_drift::Judged;
use undim_emit::SiteZone;
use undim_import::find::{Finder, Findings};
use undim_import::run::Worker;
use undim_intake::listing::{Entry, Listing, Stamp, list};
use undim_intake::settle::Settler;
use undim_intake::spool::StateLock;
use undim_model::{Noticed, Survey};
use undim_store::Store;
use undim_survey::{Book, TakenIn};

/// Where the kernel can't say whether somebody still writes, a file stands still this long at least.
const UNSURE_SETTLE: Duration = Duration::from_secs(10);

/// A file that waits for something else than its writer is looked at again after this.
const TRY_AGAIN: Duration = Duration::from_secs(5);

/// Asks running work to end.
#[derive(Debug, Clone, Default)]
pub(crate) struct Cancel(Arc<AtomicBool>);

impl Cancel {
    /// Asks.
    pub(crate) fn ask(&self) {
        self.0.store(true, Ordering::Relaxed);
    }

    /// True once it was asked.
    pub(crate) fn asked(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }

    /// The flag itself, for those who look at it between steps.
    pub(crate) fn flag(&self) -> &AtomicBool {
        &self.0
    }
}

/// Tells somebody which file is worked on.
pub(crate) type Progress = Arc<dyn Fn(&str) + Send + Sync>;

/// Everything a site's work needs.
pub(crate) struct Engine {
    site: Site,
    zone: TimeZone,
    site_zone: SiteZone,
    store: Store,
    _lock: Option<StateLock>,
    cancel: Cancel,
    settler: Settler,
    /// Files at rest that the last look found.
    ready: Vec<Entry>,
    /// What the last look found.
    listing: Listing,
    /// States of files that are done with and stay where they are.
    known: BTreeSet<Stamp>,
    /// Files that wait for something else than their writer: a note to be mended, an importer, a disk. A
    /// sweep does not wait with them.
    held_back: BTreeSet<Vec<u8>>,
    /// True for a sweep: it ends, and then tells everything that it met.
    once: bool,
    /// True where a content of the ledger could not be derived again: what was written of it may be all that
    /// is left, and stays.
    incomplete: bool,
    /// False until what the archive holds was derived for the first time.
    derived: bool,
    /// When the inbox was made: an inode number alone comes back.
    inbox_made: Option<std::time::SystemTime>,
    finder: Finder,
    worker: Worker,
    /// The importers, and why others were refused; looked for again when a file comes.
    findings: Findings,
    /// Contents in order of arrival.
    held: Vec<Held>,
    /// Lists of upkeep that were dropped, in order of arrival.
    upkeep: Vec<upkeep::HeldUpkeep>,
    book: Book,
    /// Surveys by tank and id, each with the fingerprint of all it was derived from.
    surveys: BTreeMap<(String, String), (String, Arc<Survey>)>,
    /// Surveys taken in during this round, with what their bursts told; dropped once they are published.
    fresh: BTreeMap<(String, String), TakenIn>,
    /// What was derived again because the configuration changed.
    again: Vec<changed::Again>,
    /// Mistakes that only the surveys can tell.
    mistakes: Vec<String>,
    /// The last judgement of each tank that a sweep published, for its answer at the end.
    judged: BTreeMap<String, Judged>,
    /// What the site's page and calendar say of each tank.
    of_tanks: BTreeMap<String, pages::OfTank>,
    /// What became of each file since the engine was opened.
    outcomes: Vec<Outcome>,
    /// How many earlier surveys of each tank were derived again since the engine was opened.
    derived_again: BTreeMap<String, usize>,
    /// Failures of the outbox or the state folder, which no file is to blame for.
    troubles: Vec<String>,
    /// What the sandbox lacks, once an importer has run.
    sandbox_lacks: Option<String>,
    /// What was noticed of what only time shows, as the archive keeps it.
    noticed: Vec<Noticed>,
    /// What each mounted sensor saw last, by tank and station.
    mounted: BTreeMap<(String, String), SensorNow>,
    /// Whose notices were kept and not yet written out: a tank, or the site.
    reminded: BTreeSet<Option<String>>,
    /// The machine's clock, held against time that passes steadily.
    clockwork: Clockwork,
    progress: Option<Progress>,
    /// The clock that settling, holding and pausing go by.
    clock: std::time::Instant,
    started: jiff::Timestamp,
}

impl Engine {
    /// How fast things go.
    pub(crate) fn pace(&self) -> Pace {
        Pace {
            settle: self.site.intake.settle,
            rescan: self.site.intake.rescan,
        }
    }

    /// The flag that asks running work to end.
    pub(crate) fn cancel(&self) -> Cancel {
        self.cancel.clone()
    }

    /// The site's inbox.
    pub(crate) fn inbox(&self) -> &Path {
        &self.site.inbox
    }

    /// The site as it is configured.
    pub(crate) fn site(&self) -> &Site {
        &self.site
    }

    /// What became of each file since the engine was opened.
    pub(crate) fn outcomes(&self) -> &[Outcome] {
        &self.outcomes
    }

    /// How many earlier surveys of each tank were derived again, because the site's files say something else.
    pub(crate) fn derived_again(&self) -> &BTreeMap<String, usize> {
        &self.derived_again
    }

    /// Failures of the outbox or the state folder.
    pub(crate) fn troubles(&self) -> &[String] {
        &self.troubles
    }

    /// Looks at the inbox: the truth that events only hint at.
    pub(crate) fn look(&mut self) -> Looked {
        let now = self.now();
        let began = std::time::Instant::now();
        if !self.derived {
            match self.derive_all() {
                Ok(()) => self.derived = true,
                Err(error) => self.trouble(error.to_string()),
            }
        }
        let before = self.listing.folder_identity;
        let listing = list(&self.site.inbox);
        if listing.missing && !self.listing.missing {
            let trouble = listing.trouble.as_deref().unwrap_or("it is gone");
            let inbox = self.site.inbox.display().to_string();
            if self.once {
                self.trouble(format!("the inbox {inbox} could not be looked into: {trouble}"));
            } else {
                tracing::warn!(
                    inbox,
                    trouble,
                    "the inbox is missing; files are taken in once it is back"
                );
            }
        }
        let made = std::fs::metadata(&self.site.inbox)
            .and_then(|inbox| inbox.created())
            .ok();
        let is_back = self.listing.missing || listing.folder_identity != before || made != self.inbox_made;
        let other_folder = before.is_some() && !listing.missing && is_back;
        if !listing.missing {
            self.inbox_made = made;
        }
        self.known
            .retain(|stamp| listing.entries.iter().any(|entry| entry.stamp == *stamp));
        self.ready = self.settler.observe(now, &listing, &self.known);
        self.listing = Listing {
            folder_identity: listing.folder_identity.or(before),
            ..listing
        };
        self.held_back
            .retain(|path| self.listing.entries.iter().any(|entry| entry.path == *path));
        let lone_notes = self.sort_out_notes();
        let held_back = self
            .held_back
            .iter()
            .filter(|path| !self.ready.iter().any(|entry| entry.path == **path))
            .count();
        let settling = self
            .settler
            .waiting()
            .saturating_sub(self.ready.len() + lone_notes + held_back);
        // What lies in the inbox may be just what was waited for: it is taken in first.
        let is_calm = self.ready.is_empty() && !(self.once && settling > 0);
        let reminded = if is_calm {
            self.remind()
        } else {
            Reminded::default()
        };
        let looked = Looked {
            took: began.elapsed(),
            ready: self.ready.len(),
            settling,
            settled_at: self.settler.next_wake(),
            other_folder,
            has_news: reminded.has_news,
            due_in: reminded.due_in,
        };
        self.write_status();
        looked
    }

    /// Monotonic time since the engine was opened.
    fn now(&self) -> Duration {
        self.clock.elapsed()
    }

    /// A file whose writer is not done is looked at again soon.
    fn hold(&mut self, entry: &Entry, for_time: Duration, now: Duration) {
        self.settler.hold(&entry.path, now + for_time);
    }

    /// A file that waits for something else is looked at again later.
    fn hold_back(&mut self, entry: &Entry, now: Duration) {
        self.settler.hold(&entry.path, now + TRY_AGAIN);
        self.held_back.insert(entry.path.clone());
    }
}
