//! From surveys to the outbox: judgements, packages, history, alerts, and the notices that go out.

use super::arrive::fingerprint;
use super::package::{self, VERSION};
use super::remind::{as_they_stand, in_order};
use super::round::Round;
use super::sinks::{WaitingNotice, key};
use super::{Engine, EngineError};
use crate::side_by_side::{Around, Taken, of_survey_readings};
use jiff::Timestamp;
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io;
use std::path::Path;
use std::sync::Arc;
use undim_config::Csv;
use undim_drift::{History, Judged, judge};
use undim_emit::{Report, alerts as alerts_of, notice};
use undim_intake::names;
use undim_intake::spool::write_atomically;
use undim_model::{About, Alert, AlertChange, AlertStep, Reading, SideBySide, Survey, Tank, Text};
use undim_store::{Batch, Derived, NewDelivery, StoredChange, StoredSurvey};
use undim_survey::Entry;

/// Readings of a survey that are held against each other; a log of two devices has more than enough in its first hours.
const MOST_SIDE_BY_SIDE: usize = 200_000;

/// The kind under which the fingerprints of written packages stand in the ledger.
pub(super) const PACKAGE: &str = "package";

/// A survey with the contents it is made of and the fingerprint of all it was derived from.
pub(super) type Derivation = (Entry, String, Arc<Survey>);

impl Engine {
    /// Writes what changed in the tanks of a round; the ledger's part is added to its batch.
    pub(super) fn publish(&mut self, round: &mut Round) -> Result<(), EngineError> {
        for tank in std::mem::take(&mut round.tanks) {
            self.publish_tank(&tank, &mut round.batch)?;
        }
        self.fresh.clear();
        self.write_site()
    }

    /// Writes what changed in any tank, and puts it into the ledger.
    pub(super) fn publish_all(&mut self) -> Result<(), EngineError> {
        let mut tanks: BTreeSet<String> = self.book.entries().into_iter().map(|entry| entry.tank).collect();
        tanks.extend(self.store.tanks()?);
        tanks.extend(self.tanks_in_outbox());
        tanks.extend(self.mounted_logs().into_keys().map(|(tank, _)| tank));
        for tank in tanks {
            if self.cancel.asked() {
                return Err(EngineError::Cancelled);
            }
            let mut batch = Batch::default();
            for number in 0..self.held.len() {
                if self.held[number].placed.belongs.tank == tank {
                    batch.derived.push(self.import_record(number)?);
                }
            }
            let before = self.prints_of(&tank);
            self.publish_tank(&tank, &mut batch)?;
            self.fresh.clear();
            self.store.commit(&batch)?;
            self.say_what_was_derived_again(&tank, &before);
        }
        let mut batch = Batch::default();
        self.publish_site(&mut batch)?;
        self.store.commit(&batch)?;
        self.write_site()
    }

    /// What whoever stands at the tank has to know at once, in a line of the log.
    fn say_at_the_tank(&self, key: &(String, String), smallest_loss_percent: Option<f64>) {
        let Some((_, survey)) = self.surveys.get(key) else {
            return;
        };
        let again: Vec<String> = survey
            .read_again
            .iter()
            .map(|again| names::harmless(&format!("{} ({})", again.station, again.why)))
            .collect();
        let read_again = if again.is_empty() {
            "nothing".to_owned()
        } else {
            again.join(", ")
        };
        let smallest = smallest_loss_percent.map_or_else(
            || "not known yet".to_owned(),
            |loss| format!("{} %", undim_emit::number::fixed(loss, 0)),
        );
        let pumps = undim_emit::words::pumps(survey.pumps_on).unwrap_or("The pumps ran.");
        tracing::info!(
            tank = key.0,
            survey = key.1,
            read_again,
            smallest_loss_that_shows = smallest,
            "{pumps}"
        );
    }

    /// The fingerprints under which a tank's surveys were derived last.
    fn prints_of(&self, tank: &str) -> BTreeMap<String, String> {
        let of_tank = self.surveys.iter().filter(|((of, _), _)| of == tank);
        of_tank
            .map(|((_, id), (print, _))| (id.clone(), print.clone()))
            .collect()
    }

    /// Surveys that came before and are derived from something else now: a tank or device was declared, or
    /// another file of the site, or the program, has changed.
    fn say_what_was_derived_again(&mut self, tank: &str, before: &BTreeMap<String, String>) {
        let again = self
            .prints_of(tank)
            .iter()
            .filter(|(id, print)| before.get(*id).is_some_and(|old| old != *print))
            .count();
        if again > 0 {
            tracing::info!(
                tank,
                surveys = again,
                "derived again, as the site's files say now"
            );
            *self.derived_again.entry(tank.to_owned()).or_default() += again;
        }
    }

    pub(super) fn publish_tank(&mut self, id: &str, batch: &mut Batch) -> Result<(), EngineError> {
        let derivations = self.surveys_of(id);
        let tank = self.tank(id);
        let surveys: Vec<&Survey> = derivations.iter().map(|(_, _, survey)| &**survey).collect();
        let upkeep = self.upkeep_of(id);
        let judged = judge(&History {
            tank: &tank,
            surveys: &surveys,
            upkeep: &upkeep,
        });
        self.check_baseline(id, &derivations);
        let folder = self.site.outbox.join(id);
        let has_mounted = self.publish_mounted(id, &tank, batch)?;
        if derivations.is_empty() && !has_mounted {
            batch.alert_changes.push((id.to_owned(), Vec::new()));
            self.judged.remove(id);
            self.of_tanks.remove(id);
            return self.remove_tank(id, &folder, batch);
        }
        fs::create_dir_all(&folder).map_err(|error| EngineError::outbox(&folder, &error))?;
        self.write_packages(&tank, &folder, &derivations, &judged, batch)?;
        let present = derivations.iter().map(|(entry, _, _)| entry.id.as_str());
        self.remove_gone(id, &folder, &present.collect(), batch)?;

        let reminders = self.reminder_changes(Some(id));
        let of_light = judged
            .judgements
            .iter()
            .flat_map(|judgement| &judgement.alert_changes);
        let changes = in_order(of_light.collect(), &reminders);
        let alerts: Vec<Alert> = judged
            .alerts
            .iter()
            .cloned()
            .chain(as_they_stand(&reminders))
            .collect();
        self.write_alerts(&folder, &changes, &alerts)?;
        self.write_tank(&tank, &folder, &surveys, &judged.judgements, &alerts)?;
        batch.alert_changes.push((id.to_owned(), stored(&changes)));
        self.queue_notices(&tank, &surveys, &judged, &changes, batch)?;
        let mut newest_changed = None;
        for (entry, print, survey) in derivations {
            newest_changed = None;
            let key = (id.to_owned(), entry.id);
            let is_kept = self
                .surveys
                .get(&key)
                .is_some_and(|(kept_print, kept)| *kept_print == print && Arc::ptr_eq(kept, &survey));
            if !is_kept {
                batch.surveys.push(StoredSurvey {
                    survey: Survey::clone(&survey),
                    fingerprint: print.clone(),
                });
                newest_changed = Some(key.clone());
                self.surveys.insert(key, (print, survey));
            }
        }
        if self.once {
            self.judged.insert(id.to_owned(), judged);
        } else if let (Some(key), Some(judgement)) = (newest_changed, judged.judgements.last()) {
            self.say_at_the_tank(&key, judgement.smallest_loss_percent);
        }
        Ok(())
    }

    /// Writes the packages that changed. A judgement rests on its survey and those before it only, so a
    /// chain of fingerprints tells which ones can have changed.
    fn write_packages(
        &self,
        tank: &Tank,
        folder: &Path,
        derivations: &[Derivation],
        judged: &Judged,
        batch: &mut Batch,
    ) -> Result<(), EngineError> {
        let prints = &self.site.fingerprints;
        let empty = String::new();
        let mut chain = fingerprint(&[
            VERSION,
            &self.site.name,
            match self.site.csv {
                Csv::Standard => "",
                Csv::SpreadsheetEu => "spreadsheet-eu",
            },
            prints.tanks.get(&tank.id).unwrap_or(&empty),
            prints.upkeep.get(&tank.id).unwrap_or(&empty),
        ]);
        if let Some(dropped) = self.upkeep_fingerprint(&tank.id) {
            chain = fingerprint(&[&chain, &dropped]);
        }
        let mut earlier: Option<&str> = None;
        for ((entry, print, survey), judgement) in derivations.iter().zip(&judged.judgements) {
            chain = fingerprint(&[&chain, print]);
            let written = self.store.derived(PACKAGE, &tank.id, &entry.id)?;
            let is_current = written.is_some_and(|written| written.fingerprint == chain)
                && folder.join(&entry.id).join("datapackage.json").is_file();
            if !is_current {
                let report = Report {
                    site_name: &self.site.name,
                    tank,
                    survey,
                    judgement,
                    earlier,
                    // Filled in once its readings are gone through.
                    side_by_side: &[],
                    in_site: true,
                    software_version: VERSION,
                };
                self.write_package(folder, &report, entry)?;
                batch.derived.push(Derived {
                    kind: PACKAGE.to_owned(),
                    tank: tank.id.clone(),
                    id: entry.id.clone(),
                    fingerprint: chain.clone(),
                    body: String::new(),
                });
            }
            earlier = Some(&entry.id);
        }
        Ok(())
    }

    fn write_package(&self, folder: &Path, report: &Report<'_>, entry: &Entry) -> Result<(), EngineError> {
        let key = (entry.tank.clone(), entry.id.clone());
        let taken_again;
        let taken = match self.fresh.get(&key) {
            Some(taken) => taken,
            None => {
                taken_again = self.take_in(entry)?;
                &taken_again
            }
        };
        let sources = self.sources(entry);
        let view = self.view(report.tank);
        let beside = self.side_by_side(report, |take| taken.each_reading(entry, &sources, view, take))?;
        let report = &Report {
            side_by_side: &beside,
            ..*report
        };
        package::write(folder, report, &self.site_zone, self.site.csv, &|write| {
            taken.each_reading(entry, &sources, view, write)
        })
    }

    /// What a survey that holds a reference and an everyday device says of that device.
    fn side_by_side(
        &self,
        report: &Report<'_>,
        each_reading: impl FnOnce(&mut dyn FnMut(&Reading) -> Result<(), EngineError>) -> Result<(), EngineError>,
    ) -> Result<Vec<SideBySide>, EngineError> {
        let survey = report.survey;
        let is_beside = |reference| {
            survey
                .devices
                .iter()
                .any(|device| device.is_reference == reference)
        };
        if !(is_beside(true) && is_beside(false)) {
            return Ok(Vec::new());
        }
        let scene = survey.scene.as_deref().map(Text::from);
        let mut taken = Vec::new();
        each_reading(&mut |reading| {
            if taken.len() < MOST_SIDE_BY_SIDE {
                taken.push(Taken::of(reading, scene.as_ref()));
            }
            Ok(())
        })?;
        let around = Around {
            devices: &self.site.devices,
            tank: Some((report.tank, survey.water_cm)),
            zone: &self.zone,
        };
        let sources: Vec<String> = survey
            .sources
            .iter()
            .map(|source| source.path.to_string())
            .collect();
        Ok(of_survey_readings(&taken, around, &sources))
    }

    pub(super) fn write_alerts(
        &self,
        folder: &Path,
        changes: &[&AlertChange],
        alerts: &[Alert],
    ) -> Result<(), EngineError> {
        let lines: String = changes
            .iter()
            .map(|change| alerts_of::alerts_jsonl_line(change, &self.site_zone))
            .collect();
        write_if_changed(folder, "alerts.jsonl", lines.as_bytes())?;
        let of_each = folder.join("alerts");
        if alerts.is_empty() && !of_each.exists() {
            return Ok(());
        }
        fs::create_dir_all(&of_each).map_err(|error| EngineError::outbox(&of_each, &error))?;
        let mut present = BTreeSet::new();
        for alert in alerts {
            let name = format!("{}.json", alert.id);
            write_if_changed(
                &of_each,
                &name,
                alerts_of::alert_json(alert, &self.site_zone).as_bytes(),
            )?;
            present.insert(name);
        }
        let listed = fs::read_dir(&of_each).map_err(|error| EngineError::outbox(&of_each, &error))?;
        for found in listed.filter_map(Result::ok) {
            let name = found.file_name().to_string_lossy().into_owned();
            if found.path().extension().is_some_and(|end| end == "json") && !present.contains(&name) {
                fs::remove_file(found.path()).map_err(|error| EngineError::outbox(&found.path(), &error))?;
            }
        }
        if alerts.is_empty() {
            // Left where something else lies in it.
            let _ = fs::remove_dir(&of_each);
        }
        Ok(())
    }

    /// Queues notices for what is news: changes that the newest survey brought, and alerts that are open; of
    /// reminders what is open, and the end of what was told. What opened and closed in a past that is only now
    /// derived is recorded, not told.
    fn queue_notices(
        &self,
        tank: &Tank,
        surveys: &[&Survey],
        judged: &Judged,
        changes: &[&AlertChange],
        batch: &mut Batch,
    ) -> Result<(), EngineError> {
        let newest = surveys.last().map(|survey| survey.id.as_str());
        let open: BTreeSet<&str> = judged.open_alerts().map(|alert| alert.id.as_str()).collect();
        for change in changes {
            let is_newest = change.alert.survey.as_deref() == newest;
            let is_news = match change.step {
                _ if change.alert.about != About::Light => self.is_news(change, changes)?,
                AlertStep::Opened | AlertStep::Raised => is_newest || open.contains(change.alert.id.as_str()),
                AlertStep::Closed => is_newest,
                AlertStep::Changed => false,
            };
            if is_news {
                self.queue(change, &tank.name, batch)?;
            }
        }
        Ok(())
    }

    /// Queues the notice of a change for every receiver; one that was queued before stays as it is.
    pub(super) fn queue(
        &self,
        change: &AlertChange,
        tank_name: &str,
        batch: &mut Batch,
    ) -> Result<(), EngineError> {
        let now_us = Timestamp::now().as_microsecond();
        let id = change_id(change);
        let text = notice(change, tank_name, &self.site_zone);
        let alert = serde_json::from_str(&alerts_of::alert_json(&change.alert, &self.site_zone));
        let waiting = WaitingNotice {
            id: id.clone(),
            tank: change.alert.tank.clone(),
            change: change.step.word().to_owned(),
            title: text.title,
            body: text.body,
            alert: alert.unwrap_or_default(),
        };
        let body = serde_json::to_string(&waiting).map_err(|error| EngineError::State {
            path: id.clone(),
            error: error.to_string(),
        })?;
        batch
            .deliveries
            .extend(self.site.notify.iter().map(|sink| NewDelivery {
                change_id: id.clone(),
                sink: key(sink),
                notice: body.clone(),
                created_us: now_us,
                next_try_us: now_us,
            }));
        Ok(())
    }
}

/// Changes as the ledger keeps them.
pub(super) fn stored(changes: &[&AlertChange]) -> Vec<StoredChange> {
    let stored = changes.iter().map(|change| StoredChange {
        change_id: change_id(change),
        change: (*change).clone(),
    });
    stored.collect()
}

/// The same however often the past is derived, and unique over all tanks.
pub(super) fn change_id(change: &AlertChange) -> String {
    let survey = change.alert.survey.as_deref().unwrap_or_default();
    format!(
        "{}/{}/{}/{survey}",
        change.alert.tank,
        change.alert.id,
        change.step.word()
    )
}

/// Writes a file whole, unless it holds just these bytes.
pub(super) fn write_if_changed(folder: &Path, name: &str, bytes: &[u8]) -> Result<(), EngineError> {
    let path = folder.join(name);
    match fs::read(&path) {
        Ok(old) if old == bytes => return Ok(()),
        Ok(_) => {}
        Err(error) if error.kind() == io::ErrorKind::NotFound => {}
        Err(error) => return Err(EngineError::outbox(&path, &error)),
    }
    write_atomically(folder, name, bytes).map_err(|error| EngineError::outbox(&path, &error))
}
