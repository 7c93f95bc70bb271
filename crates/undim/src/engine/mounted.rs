//! Mounted sensors: `outbox/<tank>/mounted/<station>/`, written anew whole when anything of it has changed.

use super::content::Held;
use super::package::{Hashing, VERSION, written};
use super::{Engine, EngineError};
use crate::engine::arrive::fingerprint;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io;
use std::path::Path;
use std::time::Duration;
use undim_drift::days::{DayOfLight, judge_days};
use undim_emit::datapackage_json::WrittenFile;
use undim_emit::days_csv::{self, DayRow};
use undim_emit::mounted_json::{self, MountedPackage};
use undim_emit::typed_table::{Cells, Kind, TableWriter};
use undim_intake::route::{SILENT_AFTER, first_match};
use undim_intake::spool::{hidden_name, publish_folder};
use undim_model::{Reminder, Subject, Tank};
use undim_store::{Batch, ContentState, Derived};
use undim_survey::{Day, Entry, Minute, Mounted, Span, mounted};

/// The kind under which they stand in the ledger, and the folder's name.
pub(crate) const MOUNTED: &str = "mounted";

/// Minutes of a group of rows: six weeks, some MiB.
const GROUP: usize = 60_480;

/// So many minutes of light in the dark hours of a day are no passing lamp.
const LIT_MINUTES: u32 = 30;

const COLUMNS: [(&str, Kind); 5] = [
    ("time", Kind::Time),
    ("mean", Kind::Number),
    ("median", Kind::Number),
    ("n", Kind::Whole),
    ("rejected", Kind::Whole),
];

/// What a mounted sensor saw last, as reminders and the status want to know it.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub(crate) struct SensorNow {
    /// Its last reading, µs since 1970.
    pub(crate) last_us: Option<i64>,
    /// Days with a reading.
    pub(crate) days: usize,
    /// Since which day there is light in the dark hours, and for how many minutes on it.
    lit_at_night: Option<(String, u32)>,
    /// Since which day there is no light by noon.
    dark_by_noon: Option<String>,
    /// It is silent after so long, seconds.
    silent_after_s: u64,
}

impl SensorNow {
    fn of(mounted: &Mounted, silent_after: Duration) -> Self {
        let days: Vec<&Day> = mounted.days.iter().filter(|day| day.n > 0).collect();
        let lit = |day: &Day| day.lit_at_night.is_some_and(|minutes| minutes >= LIT_MINUTES);
        // The newest day may not be over: it ends nothing yet.
        let last_lit = days.iter().rposition(|day| lit(day));
        let lit_since = last_lit.filter(|at| at + 2 >= days.len()).and_then(|at| {
            let first = days
                .get(..=at)?
                .iter()
                .rposition(|day| !lit(day))
                .map_or(0, |other| other + 1);
            let day = days.get(first)?;
            Some((day.date.to_string(), day.lit_at_night.unwrap_or_default()))
        });
        let mut dark_since = None;
        for day in &days {
            dark_since = match day.dark_by_noon {
                Some(true) => dark_since.or(Some(day.date.to_string())),
                Some(false) => None,
                None => dark_since,
            };
        }
        Self {
            last_us: mounted.last.map(Timestamp::as_microsecond),
            days: days.len(),
            lit_at_night: lit_since,
            dark_by_noon: dark_since,
            silent_after_s: silent_after.as_secs(),
        }
    }

    /// Its last reading.
    pub(crate) fn last(&self) -> Option<Timestamp> {
        Timestamp::from_microsecond(self.last_us?).ok()
    }

    /// What is so, or will be if no reading comes before.
    pub(crate) fn reminders(&self, tank: &str, station: &str, zone: &TimeZone) -> Vec<Reminder> {
        let reminder = |subject, since| Reminder {
            tank: Some(tank.to_owned()),
            subject,
            since,
        };
        let begin = |day: &str| -> Option<(Date, Timestamp)> {
            let day: Date = day.parse().ok()?;
            Some((day, zone.to_timestamp(day.at(0, 0, 0, 0)).ok()?))
        };
        let station = station.to_owned();
        let stopped = self.last().and_then(|last| {
            let after = SignedDuration::from_secs(i64::try_from(self.silent_after_s).ok()?);
            let subject = Subject::Stopped {
                station: station.clone(),
                last,
            };
            Some(reminder(subject, last.checked_add(after).ok()?))
        });
        let lit = self.lit_at_night.as_ref().and_then(|(day, minutes)| {
            let (day, since) = begin(day)?;
            let subject = Subject::LitAtNight {
                station: station.clone(),
                day,
                minutes: *minutes,
            };
            Some(reminder(subject, since))
        });
        let dark = self.dark_by_noon.as_ref().and_then(|day| {
            let (day, since) = begin(day)?;
            let station = station.clone();
            Some(reminder(Subject::DarkByNoon { station, day }, since))
        });
        [stopped, lit, dark].into_iter().flatten().collect()
    }
}

impl Engine {
    /// The contents of each mounted sensor that count, in order of arrival, by tank and station.
    pub(super) fn mounted_logs(&self) -> BTreeMap<(String, String), Vec<usize>> {
        let mut logs: BTreeMap<(String, String), Vec<usize>> = BTreeMap::new();
        for (number, held) in self.held.iter().enumerate() {
            let belongs = &held.placed.belongs;
            if let (Some(station), ContentState::Taken) = (&belongs.mounted, held.content.state) {
                let key = (belongs.tank.clone(), station.clone());
                logs.entry(key).or_default().push(number);
            }
        }
        logs
    }

    /// Goes through a content of a mounted sensor once: an error concerns the file.
    pub(super) fn check_mounted(&self, number: usize) -> Result<(), EngineError> {
        let belongs = &self.held[number].placed.belongs;
        let Some(station) = &belongs.mounted else {
            return Ok(());
        };
        let entry = self.log_entry(&belongs.tank, station, &[number]);
        let tank = self.tank(&belongs.tank);
        mounted::<EngineError>(&entry, &self.sources(&entry), self.view(&tank), |_| Ok(()))?;
        Ok(())
    }

    /// The files of a station as one log, under the scene of the last of them.
    fn log_entry(&self, tank: &str, station: &str, contents: &[usize]) -> Entry {
        let held = contents.iter().filter_map(|number| self.held.get(*number));
        let spans = held
            .clone()
            .flat_map(|held| held.placed.scan.spans.iter().copied());
        let nothing = Span {
            start: Timestamp::UNIX_EPOCH,
            end: Timestamp::UNIX_EPOCH,
            rows: 0,
        };
        Entry {
            tank: tank.to_owned(),
            id: station.to_owned(),
            scene: held.last().and_then(|held| held.placed.belongs.scene.clone()),
            span: spans.reduce(Span::joined).unwrap_or(nothing),
            contents: contents.to_vec(),
            withdrawn: Vec::new(),
            revision: 1,
            replaces: Vec::new(),
        }
    }

    /// Writes what changed of a tank's mounted sensors, and removes what is no more; true where there is any.
    pub(super) fn publish_mounted(
        &mut self,
        id: &str,
        tank: &Tank,
        batch: &mut Batch,
    ) -> Result<bool, EngineError> {
        let folder = self.site.outbox.join(id).join(MOUNTED);
        let logs: Vec<(String, Vec<usize>)> = self
            .mounted_logs()
            .into_iter()
            .filter(|((of, _), _)| of == id)
            .map(|((_, station), contents)| (station, contents))
            .collect();
        for (station, contents) in &logs {
            let entry = self.log_entry(id, station, contents);
            let upkeep = self.site.fingerprints.upkeep.get(id).cloned().unwrap_or_default();
            let print = fingerprint(&[&self.survey_fingerprint(&entry), &tank.name, &upkeep]);
            let known = self
                .store
                .derived(MOUNTED, id, station)?
                .filter(|known| known.fingerprint == print)
                .filter(|_| folder.join(station).join("datapackage.json").is_file())
                .and_then(|known| serde_json::from_str::<SensorNow>(&known.body).ok());
            let now = match known {
                Some(now) => now,
                None => {
                    let now = self.write_mounted(&folder, tank, &entry)?;
                    let body = serde_json::to_string(&now)
                        .map_err(|error| EngineError::state(&folder, &io::Error::other(error)))?;
                    batch.derived.push(Derived {
                        kind: MOUNTED.to_owned(),
                        tank: id.to_owned(),
                        id: station.clone(),
                        fingerprint: print,
                        body,
                    });
                    now
                }
            };
            self.mounted.insert((id.to_owned(), station.clone()), now);
        }
        let present: BTreeSet<&str> = logs.iter().map(|(station, _)| station.as_str()).collect();
        self.remove_mounted_gone(id, &folder, &present, batch)?;
        Ok(!logs.is_empty())
    }

    fn remove_mounted_gone(
        &mut self,
        id: &str,
        folder: &Path,
        present: &BTreeSet<&str>,
        batch: &mut Batch,
    ) -> Result<(), EngineError> {
        if self.incomplete {
            return Ok(());
        }
        self.mounted
            .retain(|(tank, station), _| tank != id || present.contains(station.as_str()));
        for known in self.store.derived_of(MOUNTED, id)? {
            if !present.contains(known.id.as_str()) {
                batch
                    .derived_gone
                    .push((MOUNTED.to_owned(), id.to_owned(), known.id));
            }
        }
        let Ok(listed) = fs::read_dir(folder) else {
            return Ok(());
        };
        for found in listed.filter_map(Result::ok) {
            let name = found.file_name().to_string_lossy().into_owned();
            let is_ours = found.path().join("days.csv").is_file();
            if present.contains(name.as_str()) || !is_ours {
                continue;
            }
            let aside = folder.join(hidden_name(&name));
            fs::rename(found.path(), &aside)
                .and_then(|()| fs::remove_dir_all(&aside))
                .map_err(|error| EngineError::outbox(&found.path(), &error))?;
        }
        if present.is_empty() {
            // Left where something else lies in it.
            let _ = fs::remove_dir(folder);
        }
        Ok(())
    }

    fn write_mounted(&self, folder: &Path, tank: &Tank, entry: &Entry) -> Result<SensorNow, EngineError> {
        let hidden = hidden_name(&entry.id);
        let aside = folder.join(&hidden);
        let failed = |error: io::Error| EngineError::outbox(&aside, &error);
        fs::create_dir_all(&aside).map_err(failed)?;
        let written = self.fill_mounted(&aside, tank, entry).and_then(|now| {
            publish_folder(folder, &hidden, &entry.id)
                .map_err(failed)
                .map(|()| now)
        });
        if written.is_err() {
            // What is left of it begins with a dot and goes at the next start too.
            let _ = fs::remove_dir_all(&aside);
        }
        written
    }

    fn fill_mounted(&self, aside: &Path, tank: &Tank, entry: &Entry) -> Result<SensorNow, EngineError> {
        let failed = |error: io::Error| EngineError::outbox(aside, &error);
        let mut minutes = MinutesFiles::new(aside, &self.zone);
        let mounted = mounted(entry, &self.sources(entry), self.view(tank), |minute| {
            if self.cancel.asked() {
                return Err(EngineError::Cancelled);
            }
            minutes.add(minute).map_err(failed)
        })?;
        let minutes = minutes.finish().map_err(failed)?;
        let rows = self.day_rows(tank, entry, &mounted);
        let days = written(aside, "days.csv", |to| days_csv::write(to, &rows))?;
        let held = entry.contents.iter().filter_map(|number| self.held.get(*number));
        let sources: Vec<String> = held.map(|held: &Held| held.content.shown.clone()).collect();
        written(aside, "datapackage.json", |to| {
            let package = MountedPackage {
                tank: &tank.id,
                tank_name: &tank.name,
                station: &entry.id,
                sources: &sources,
                days: &days,
                minutes: &minutes,
                software_version: VERSION,
            };
            mounted_json::write(to, &package)
        })?;
        let last = entry.contents.last().and_then(|number| self.held.get(*number));
        let route = last.and_then(|held| first_match(&self.site.routes, &held.content.path));
        Ok(SensorNow::of(
            &mounted,
            route.map_or(SILENT_AFTER, |route| route.silent_after),
        ))
    }

    fn day_rows(&self, tank: &Tank, entry: &Entry, mounted: &Mounted) -> Vec<DayRow> {
        let judged: Vec<DayOfLight> = mounted
            .days
            .iter()
            .map(|day| DayOfLight {
                date: day.date,
                dli: day.dli,
                flag: day.flag,
                correction: day.correction.clone(),
                u_shared: day.u_shared,
            })
            .collect();
        let upkeep = self
            .site
            .upkeep
            .get(&tank.id)
            .map(Vec::as_slice)
            .unwrap_or_default();
        let changes = judge_days(&judged, tank, entry.scene.as_deref(), upkeep);
        let rows = mounted.days.iter().zip(changes).map(|(day, change)| DayRow {
            date: day.date,
            dli: day.dli,
            peak: day.peak,
            n: day.n,
            rejected: day.rejected,
            flag: day.flag,
            change_percent: change.change_percent,
            u_change_percent: change.u_change_percent,
            baseline: change.baseline,
        });
        rows.collect()
    }
}

/// `minutes-<year>.parquet`, a file for each year of the site's zone.
struct MinutesFiles<'a> {
    folder: &'a Path,
    zone: &'a TimeZone,
    present: Option<(i16, TableWriter<Hashing>)>,
    waiting: Vec<Minute>,
    done: Vec<(i16, WrittenFile)>,
}

impl<'a> MinutesFiles<'a> {
    fn new(folder: &'a Path, zone: &'a TimeZone) -> Self {
        Self {
            folder,
            zone,
            present: None,
            waiting: Vec::new(),
            done: Vec::new(),
        }
    }

    fn add(&mut self, minute: &Minute) -> io::Result<()> {
        let year = self.zone.to_datetime(minute.time).year();
        if self.present.as_ref().is_none_or(|(present, _)| *present != year) {
            self.end_year()?;
            let path = self.folder.join(format!("minutes-{year}.parquet"));
            self.present = Some((year, TableWriter::new(Hashing::create(&path)?, &COLUMNS)?));
        }
        self.waiting.push(*minute);
        if self.waiting.len() >= GROUP {
            self.write_group()?;
        }
        Ok(())
    }

    fn write_group(&mut self) -> io::Result<()> {
        let Some((_, table)) = &mut self.present else {
            return Ok(());
        };
        let count = |count: u64| i64::try_from(count).ok();
        let minutes = &self.waiting;
        table.append(&[
            Cells::Time(minutes.iter().map(|minute| Some(minute.time)).collect()),
            Cells::Number(minutes.iter().map(|minute| minute.mean).collect()),
            Cells::Number(minutes.iter().map(|minute| minute.median).collect()),
            Cells::Whole(minutes.iter().map(|minute| count(minute.n)).collect()),
            Cells::Whole(minutes.iter().map(|minute| count(minute.rejected)).collect()),
        ])?;
        self.waiting.clear();
        Ok(())
    }

    fn end_year(&mut self) -> io::Result<()> {
        self.write_group()?;
        if let Some((year, table)) = self.present.take() {
            self.done.push((year, table.finish()?.finish()?));
        }
        Ok(())
    }

    fn finish(mut self) -> io::Result<Vec<(i16, WrittenFile)>> {
        self.end_year()?;
        Ok(self.done)
    }
}
