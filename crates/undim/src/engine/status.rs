//! `outbox/status.json`: that the daemon is alive, and how things stand.

use super::package::VERSION;
use super::{Engine, What};
use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use std::fs;
use std::path::Path;
use undim_intake::names;
use undim_intake::spool::hidden_name;
use undim_model::{Alert, State};
use undim_store::{Reader, StoreError};

/// The daemon's state and its age.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub(crate) struct StatusFile {
    /// `watching` or `ended`.
    pub(crate) state: String,
    /// When this was written, RFC 3339.
    pub(crate) updated: String,
    /// When the program started.
    pub(crate) started: String,
    /// Its process.
    pub(crate) pid: u32,
    /// Its version.
    pub(crate) version: String,
    /// The inbox.
    pub(crate) inbox: InboxStatus,
    /// What importers run without, where the kernel lacks something.
    pub(crate) sandbox_lacks: Option<String>,
    /// Failures of the outbox, the state folder or a receiver since the start.
    pub(crate) troubles: Vec<String>,
}

/// What lies in the inbox.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub(crate) struct InboxStatus {
    /// False where there is no such folder.
    pub(crate) there: bool,
    /// Files that wait to be taken in.
    pub(crate) waiting: Vec<String>,
    /// Files that stay where they are, with the reason.
    pub(crate) left_alone: Vec<LeftAloneStatus>,
}

/// A file that stays where it is.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub(crate) struct LeftAloneStatus {
    /// Its inbox path, as shown.
    pub(crate) path: String,
    /// Why.
    pub(crate) why: String,
}

/// What concerns the whole site: no tank's id begins so.
pub(crate) const SITE: &str = "_site";

/// When a program last wrote its state here.
pub(super) fn last_heard(outbox: &Path) -> Option<Timestamp> {
    let bytes = fs::read(outbox.join("status.json")).ok()?;
    let status: StatusFile = serde_json::from_slice(&bytes).ok()?;
    status.updated.parse().ok()
}

/// More names than this are not written; their number is.
const MOST_NAMES: usize = 100;

impl Engine {
    /// What lies in the inbox and stays there, with the reason.
    pub(crate) fn left_alone(&self) -> Vec<LeftAloneStatus> {
        let listed = self.listing.left_alone.iter().map(|left| LeftAloneStatus {
            path: names::shown(&left.path),
            why: left.why.words().to_owned(),
        });
        let lone_notes = self.listing.entries.iter().filter_map(|entry| {
            let file = names::file_of_note(&entry.path).or(names::file_of_metadata(&entry.path))?;
            let is_alone = !self.listing.entries.iter().any(|other| other.path == file)
                && !self.held.iter().any(|held| held.content.path == file);
            is_alone.then(|| LeftAloneStatus {
                path: names::shown(&entry.path),
                why: "is a note that waits for its file".to_owned(),
            })
        });
        listed.chain(lone_notes).collect()
    }

    pub(super) fn write_status(&self) {
        self.write_status_as("watching");
    }

    /// Says that the program has ended.
    pub(crate) fn write_ended(&self) {
        self.write_status_as("ended");
    }

    fn write_status_as(&self, state: &str) {
        let waiting = self
            .listing
            .entries
            .iter()
            .filter(|entry| !self.known.contains(&entry.stamp));
        let status = StatusFile {
            state: state.to_owned(),
            updated: self.shown_time(Timestamp::now()),
            started: self.shown_time(self.started),
            pid: std::process::id(),
            version: VERSION.to_owned(),
            inbox: InboxStatus {
                there: !self.listing.missing,
                waiting: waiting
                    .take(MOST_NAMES)
                    .map(|entry| names::shown(&entry.path))
                    .collect(),
                left_alone: self.left_alone().into_iter().take(MOST_NAMES).collect(),
            },
            sandbox_lacks: self.sandbox_lacks.clone(),
            troubles: self.troubles.clone(),
        };
        if let Err(error) = write(&self.site.outbox, &status) {
            tracing::warn!(%error, "status.json could not be written");
        }
    }

    pub(crate) fn shown_time(&self, time: Timestamp) -> String {
        self.site_zone.time(time)
    }

    /// Files set aside or held back since the engine was opened.
    pub(crate) fn has_remarks(&self) -> bool {
        !self.mistakes.is_empty()
            || self
                .outcomes
                .iter()
                .any(|outcome| matches!(outcome.what, What::SetAside { .. } | What::HeldBack { .. }))
    }
}

/// Written in one rename, not synced: it only speaks of now.
fn write(outbox: &Path, status: &StatusFile) -> std::io::Result<()> {
    fs::create_dir_all(outbox)?;
    let aside = outbox.join(hidden_name("status"));
    let mut text = serde_json::to_string_pretty(status)?;
    text.push('\n');
    let written = fs::write(&aside, text).and_then(|()| fs::rename(&aside, outbox.join("status.json")));
    if written.is_err() {
        let _ = fs::remove_file(&aside);
    }
    written
}

/// The open alerts of a tank, from the ledger.
pub(crate) fn open_alerts(reader: &Reader, tank: &str) -> Result<Vec<Alert>, StoreError> {
    let mut open: Vec<Alert> = Vec::new();
    for stored in reader.alert_changes(tank)? {
        let alert = stored.change.alert;
        open.retain(|other| other.id != alert.id);
        if alert.state == State::Open {
            open.push(alert);
        }
    }
    Ok(open)
}
