//! What the outbox holds of a whole tank and of the whole site: the tank's history and page, the page over all
//! tanks, the calendar.
//!
//! Each file is written whole, in one rename, and only where its bytes differ: whoever looks at its time sees
//! when it last said something new.

use super::package::VERSION;
use super::publish::write_if_changed;
use super::remind::as_they_stand;
use super::{Engine, EngineError};
use std::fs;
use std::io;
use std::path::Path;
use undim_config::Csv;
use undim_emit::calendar::{self, Event};
use undim_emit::page::{self, TankLine, TankPage};
use undim_emit::{CsvStyle, history_csv};
use undim_model::{Alert, Judgement, Survey, Tank};

/// What the page and the calendar of the site say of one tank.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct OfTank {
    line: TankLine,
    due: Option<Event>,
}

impl Engine {
    /// Writes a tank's history and page, and keeps what the site's page says of it.
    pub(super) fn write_tank(
        &mut self,
        tank: &Tank,
        folder: &Path,
        surveys: &[&Survey],
        judgements: &[Judgement],
        alerts: &[Alert],
    ) -> Result<(), EngineError> {
        let pairs: Vec<(&Survey, &Judgement)> = surveys.iter().copied().zip(judgements).collect();
        self.write_history(folder, &pairs)?;
        let upkeep = self.upkeep_of(&tank.id);
        let page = TankPage {
            site_name: &self.site.name,
            tank,
            surveys: &pairs,
            alerts,
            upkeep: &upkeep,
            zone: &self.site_zone,
            has_eu: self.site.csv == Csv::SpreadsheetEu,
            software_version: VERSION,
        };
        write_if_changed(folder, "index.html", page::tank(&page).as_bytes())?;
        if let Some(line) = TankLine::of(&page) {
            let due = surveys
                .last()
                .and_then(|last| calendar::survey_due(tank, last, &self.site.away, &self.site_zone));
            self.of_tanks.insert(tank.id.clone(), OfTank { line, due });
        }
        Ok(())
    }

    fn write_history(&self, folder: &Path, pairs: &[(&Survey, &Judgement)]) -> Result<(), EngineError> {
        let failed = |error: io::Error| EngineError::outbox(folder, &error);
        let past = || {
            pairs
                .iter()
                .map(|(survey, judgement)| (*survey, Some(*judgement)))
        };
        let csv = |style: CsvStyle| -> Result<(), EngineError> {
            let mut bytes = Vec::new();
            history_csv::write(&mut bytes, past(), style).map_err(failed)?;
            write_if_changed(folder, &style.file_name("history"), &bytes)
        };
        csv(CsvStyle::Standard)?;
        match self.site.csv {
            Csv::SpreadsheetEu => csv(CsvStyle::SpreadsheetEu)?,
            Csv::Standard => remove(&folder.join(CsvStyle::SpreadsheetEu.file_name("history")))?,
        }
        let parquet = history_csv::write_parquet(Vec::new(), past()).map_err(failed)?;
        write_if_changed(folder, "history.parquet", &parquet)
    }

    /// Writes the page over all tanks and the calendar.
    pub(super) fn write_site(&self) -> Result<(), EngineError> {
        let outbox = &self.site.outbox;
        fs::create_dir_all(outbox).map_err(|error| EngineError::outbox(outbox, &error))?;
        let due = self.of_tanks.values().filter_map(|tank| tank.due.clone());
        let devices = self.site.devices.values().flat_map(calendar::device_due);
        let events: Vec<Event> = due.chain(devices).collect();
        let name = &self.site.name;
        if events.is_empty() {
            // iCalendar has none without events.
            remove(&outbox.join("calendar.ics"))?;
        } else {
            let mut bytes = Vec::new();
            calendar::write(&mut bytes, name, &events, VERSION)
                .map_err(|error| EngineError::outbox(outbox, &error))?;
            write_if_changed(outbox, "calendar.ics", &bytes)?;
        }
        let lines: Vec<TankLine> = self.of_tanks.values().map(|tank| tank.line.clone()).collect();
        let alerts: Vec<Alert> = as_they_stand(&self.reminder_changes(None)).collect();
        let text = page::site(name, &lines, &alerts, !events.is_empty(), VERSION);
        write_if_changed(outbox, "index.html", text.as_bytes())
    }
}

/// The files that stand beside the surveys of a tank, its alerts apart.
pub(super) const OF_TANK: [&str; 4] = ["history.csv", "history.eu.csv", "history.parquet", "index.html"];

fn remove(path: &Path) -> Result<(), EngineError> {
    match fs::remove_file(path) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => Err(EngineError::outbox(path, &error)),
        _ => Ok(()),
    }
}
