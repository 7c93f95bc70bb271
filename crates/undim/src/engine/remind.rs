//! Reminders: what is so now, held against what was noticed; what is new is kept, written and told.
//!
//! The archive keeps each notice (`raw/noticed.log`) before anything else is written of it, so that a program
//! killed in between, and a rebuild, say the same again.

use super::mounted::SensorNow;
use super::state_of_machine::{full, room};
use super::{Engine, EngineError, SITE};
use crate::engine::publish::{change_id, stored};
use jiff::Timestamp;
use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::time::Duration;
use undim_drift::reminders;
use undim_intake::names;
use undim_intake::spool::{HIDDEN, keep_noticed};
use undim_model::{Alert, AlertChange, AlertStep, NoticeStep, Reminder, Role, State, Subject};
use undim_store::Batch;

/// More files set aside at once than this are told together.
const TOLD_ALONE: usize = 5;
/// No more files are looked for in `set-aside`.
const MOST_SET_ASIDE: usize = 1000;
/// Of a reason no more is told, characters.
const LONGEST_WHY: usize = 600;

/// What a look for reminders found.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Reminded {
    /// True where notices may wait.
    pub(super) has_news: bool,
    /// When something will be due next.
    pub(super) due_in: Option<Duration>,
}

impl Engine {
    /// Notices what time has brought since the last look.
    pub(super) fn remind(&mut self) -> Reminded {
        // Surveys that could not be derived are not surveys that never came.
        if !self.derived || self.incomplete || self.cancel.asked() {
            return Reminded::default();
        }
        let now = Timestamp::now();
        let so = self.so(now);
        let is_away = reminders::is_away(&self.site.away, now, &self.zone);
        let news = reminders::news(&self.noticed, &so, now, is_away, |reminder| {
            self.over_at(reminder, now)
        });
        if !news.is_empty() {
            let raw = self.raw();
            if let Err(error) = keep_noticed(&raw, &news) {
                self.trouble(EngineError::state(&raw, &error).to_string());
                return Reminded::default();
            }
            for one in &news {
                let step = match one.step {
                    NoticeStep::Opened => "noticed",
                    NoticeStep::Closed => "over",
                };
                tracing::info!(step, what = ?one.reminder.subject, "reminder");
                self.reminded.insert(one.reminder.tank.clone());
            }
            self.noticed.extend(news);
        }
        let has_news = !self.reminded.is_empty();
        if has_news && let Err(error) = self.publish_reminded() {
            self.trouble(error.to_string());
        }
        let due = reminders::next_due(&so, now);
        Reminded {
            has_news,
            due_in: due.and_then(|due| Duration::try_from(due.duration_since(now)).ok()),
        }
    }

    /// Everything that is so now, or will be if nothing comes before.
    fn so(&mut self, now: Timestamp) -> Vec<Reminder> {
        let mut so = Vec::new();
        for tank in self.site.tanks.values() {
            let last = self
                .surveys
                .iter()
                .filter(|((of, _), _)| *of == tank.id)
                .map(|(_, (_, survey))| survey)
                .max_by_key(|survey| survey.start);
            if let (Some(every), Some(last)) = (tank.drift.every_seconds, last) {
                so.extend(reminders::overdue(&tank.id, &last.id, last.start, every));
            }
        }
        for ((tank, station), sensor) in &self.mounted {
            so.extend(sensor.reminders(tank, station, &self.zone));
        }
        let of_site = |subject, since| Reminder {
            tank: None,
            subject,
            since,
        };
        for device in self
            .site
            .devices
            .values()
            .filter(|device| device.role == Role::Reference)
        {
            let over = device.valid_until.and_then(|until| {
                let next = until.tomorrow().ok()?;
                Some((until, self.zone.to_timestamp(next.at(0, 0, 0, 0)).ok()?))
            });
            so.extend(over.map(|(valid_until, since)| {
                let device = device.id.clone();
                of_site(Subject::Expired { device, valid_until }, since)
            }));
        }
        so.extend(self.set_aside_now(now));
        if self.listing.missing {
            let folder = self.site.inbox.display().to_string();
            so.push(of_site(Subject::InboxMissing { folder }, now));
        }
        let mut seen = BTreeSet::new();
        for folder in [&self.site.state, &self.site.outbox] {
            if let Ok((left, disk)) = room(folder)
                && seen.insert(disk)
                && let Some(left_mib) = full(left)
            {
                let folder = folder.display().to_string();
                so.push(of_site(Subject::DiskFull { folder, left_mib }, now));
            }
        }
        if let Some(seconds) = self.clockwork.look() {
            so.push(of_site(Subject::ClockJumped { seconds }, now));
        }
        so
    }

    /// When something that was noticed was over: a survey's time where one ended it, else now.
    fn over_at(&self, reminder: &Reminder, now: Timestamp) -> Timestamp {
        match &reminder.subject {
            Subject::Overdue { last, .. } => {
                let later = self
                    .surveys
                    .iter()
                    .filter(|((tank, _), _)| Some(tank) == reminder.tank.as_ref())
                    .map(|(_, (_, survey))| survey.start)
                    .filter(|start| start > last);
                later.min().unwrap_or(now)
            }
            Subject::Stopped { station, .. }
            | Subject::LitAtNight { station, .. }
            | Subject::DarkByNoon { station, .. } => {
                let key = (reminder.tank.clone().unwrap_or_default(), station.clone());
                self.mounted.get(&key).and_then(SensorNow::last).unwrap_or(now)
            }
            _ => now,
        }
    }

    /// Files that lie in `set-aside`: those that were told of, and new ones.
    fn set_aside_now(&self, now: Timestamp) -> Vec<Reminder> {
        let inbox = &self.site.inbox;
        let mut lying = Vec::new();
        find_set_aside(&inbox.join("set-aside"), "set-aside", &mut lying);
        lying.sort();
        let mut so = Vec::new();
        for known in reminders::open(&self.noticed) {
            if let Subject::SetAside { paths, .. } = &known.subject
                && paths.iter().any(|path| lying.contains(path))
            {
                lying.retain(|path| !paths.contains(path));
                so.push(known.clone());
            }
        }
        let told: Vec<Vec<String>> = if lying.len() > TOLD_ALONE {
            vec![lying]
        } else {
            lying.into_iter().map(|path| vec![path]).collect()
        };
        so.extend(told.into_iter().map(|paths| {
            Reminder {
                tank: None,
                subject: Subject::SetAside {
                    why: paths
                        .first()
                        .filter(|_| paths.len() == 1)
                        .and_then(|path| why_of(inbox, path))
                        .unwrap_or_default(),
                    paths,
                },
                since: now,
            }
        }));
        so
    }

    /// The alerts that were noticed of a tank, or of the site.
    pub(super) fn reminder_changes(&self, tank: Option<&str>) -> Vec<AlertChange> {
        reminders::changes(&self.noticed, tank, &self.zone)
    }

    /// Reminders of the site and of every tank that are open.
    pub(crate) fn open_reminders(&self) -> Vec<Alert> {
        let tanks: BTreeSet<Option<&str>> = self
            .noticed
            .iter()
            .map(|one| one.reminder.tank.as_deref())
            .collect();
        let all = tanks
            .into_iter()
            .flat_map(|tank| as_they_stand(&self.reminder_changes(tank)).collect::<Vec<_>>());
        all.filter(|alert| alert.state == State::Open).collect()
    }

    /// True for what is open and for the end of what was told.
    pub(super) fn is_news(&self, change: &AlertChange, all: &[&AlertChange]) -> Result<bool, EngineError> {
        let id = &change.alert.id;
        let of_this = |step| {
            all.iter()
                .copied()
                .find(move |other| other.alert.id == *id && other.step == step)
        };
        Ok(match change.step {
            AlertStep::Opened => of_this(AlertStep::Closed).is_none(),
            _ => match of_this(AlertStep::Opened) {
                Some(opened) => self.store.was_told(&change_id(opened))?,
                None => false,
            },
        })
    }

    fn publish_reminded(&mut self) -> Result<(), EngineError> {
        while let Some(tank) = self.reminded.first().cloned() {
            let mut batch = Batch::default();
            match &tank {
                Some(tank) => self.publish_tank(tank, &mut batch)?,
                None => self.publish_site(&mut batch)?,
            }
            self.fresh.clear();
            self.store.commit(&batch)?;
            self.reminded.remove(&tank);
        }
        self.write_site()
    }

    /// Writes the alerts that belong to no tank, to `outbox/_site/`.
    pub(super) fn publish_site(&mut self, batch: &mut Batch) -> Result<(), EngineError> {
        let folder = self.site.outbox.join(SITE);
        let reminders = self.reminder_changes(None);
        if reminders.is_empty() && !folder.exists() {
            return Ok(());
        }
        fs::create_dir_all(&folder).map_err(|error| EngineError::outbox(&folder, &error))?;
        let changes: Vec<&AlertChange> = reminders.iter().collect();
        self.write_alerts(&folder, &changes, &as_they_stand(&reminders).collect::<Vec<_>>())?;
        batch.alert_changes.push((String::new(), stored(&changes)));
        for change in &changes {
            if self.is_news(change, &changes)? {
                self.queue(change, &self.site.name, batch)?;
            }
        }
        Ok(())
    }
}

/// Each alert as it stands now, in order of opening.
pub(super) fn as_they_stand(changes: &[AlertChange]) -> impl Iterator<Item = Alert> {
    let mut alerts: Vec<Alert> = Vec::new();
    for change in changes {
        match alerts.iter_mut().find(|alert| alert.id == change.alert.id) {
            Some(alert) => *alert = change.alert.clone(),
            None => alerts.push(change.alert.clone()),
        }
    }
    alerts.into_iter()
}

/// Changes of light and reminders by their time; each kind keeps its own order.
pub(super) fn in_order<'a>(
    light: Vec<&'a AlertChange>,
    reminders: &'a [AlertChange],
) -> Vec<&'a AlertChange> {
    let mut ordered = Vec::with_capacity(light.len() + reminders.len());
    let mut reminders = reminders.iter().peekable();
    for change in light {
        while let Some(reminder) = reminders.next_if(|reminder| reminder.alert.updated < change.alert.updated)
        {
            ordered.push(reminder);
        }
        ordered.push(change);
    }
    ordered.extend(reminders);
    ordered
}

/// Files below a folder that were set aside, as shown: no reasons, no notes, nothing unfinished.
fn find_set_aside(folder: &Path, shown: &str, found: &mut Vec<String>) {
    let Ok(listed) = fs::read_dir(folder) else { return };
    let mut listed: Vec<_> = listed.filter_map(Result::ok).collect();
    listed.sort_by_key(fs::DirEntry::file_name);
    for entry in listed {
        if found.len() >= MOST_SET_ASIDE {
            return;
        }
        let name = entry.file_name();
        let bytes = name.as_encoded_bytes();
        let is_beside = bytes.ends_with(b".why.txt") || names::file_of_note(bytes).is_some();
        if is_beside || bytes.starts_with(HIDDEN.as_bytes()) {
            continue;
        }
        let path = format!("{shown}/{}", names::shown(bytes));
        match entry.file_type() {
            Ok(kind) if kind.is_dir() => find_set_aside(&entry.path(), &path, found),
            Ok(_) => found.push(path),
            Err(_) => {}
        }
    }
}

/// The reason that lies beside a file: the second paragraph of its text.
fn why_of(inbox: &Path, shown: &str) -> Option<String> {
    use std::os::unix::ffi::OsStrExt as _;
    let path = names::unshown(shown)?;
    let (folder, name) = match path.iter().rposition(|byte| *byte == b'/') {
        Some(at) => (path.get(..at)?, path.get(at + 1..)?),
        None => (&[][..], &path[..]),
    };
    let reason = inbox
        .join(std::ffi::OsStr::from_bytes(folder))
        .join(std::ffi::OsStr::from_bytes(&names::why_name(name)));
    let text = fs::read(reason).ok()?;
    let text = String::from_utf8_lossy(text.get(..64 << 10).unwrap_or(&text)).into_owned();
    let why = text.split("\n\n").nth(1)?.trim();
    Some(why.chars().take(LONGEST_WHY).collect())
}
