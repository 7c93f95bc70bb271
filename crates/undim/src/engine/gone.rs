//! What is no more goes from the outbox: surveys that joined another, moved to another tank or day, and
//! tanks without any.
//!
//! The outbox itself is asked too, not the ledger alone: a ledger that was lost, or forgot what it had derived,
//! does not know what was written before. Where something could not be derived again nothing is removed.

use super::pages::OF_TANK;
use super::publish::PACKAGE;
use super::{Engine, EngineError};
use std::collections::BTreeSet;
use std::fs;
use std::io;
use std::path::Path;
use undim_intake::spool::hidden_name;
use undim_store::Batch;

impl Engine {
    /// Tanks that something was written of.
    pub(super) fn tanks_in_outbox(&self) -> Vec<String> {
        names_in(&self.site.outbox)
            .into_iter()
            .filter(|name| {
                undim_survey::is_id(name) && self.site.outbox.join(name).join("history.csv").is_file()
            })
            .collect()
    }

    /// Removes the folders of a tank's surveys that are not `present` any more.
    pub(super) fn remove_gone(
        &mut self,
        tank: &str,
        folder: &Path,
        present: &BTreeSet<&str>,
        batch: &mut Batch,
    ) -> Result<(), EngineError> {
        if self.incomplete {
            return Ok(());
        }
        let known = self.surveys.keys().filter(|(of, _)| of == tank);
        let written = names_in(folder)
            .into_iter()
            .filter(|name| !present.contains(name.as_str()) && is_package(folder, tank, name));
        let gone: BTreeSet<String> = known
            .map(|(_, survey)| survey.clone())
            .filter(|survey| !present.contains(survey.as_str()))
            .chain(written)
            .collect();
        for survey in gone {
            let path = folder.join(&survey);
            if path.is_dir() {
                let aside = folder.join(hidden_name(&survey));
                fs::rename(&path, &aside)
                    .and_then(|()| fs::remove_dir_all(&aside))
                    .map_err(|error| EngineError::outbox(&path, &error))?;
            }
            batch
                .derived_gone
                .push((PACKAGE.to_owned(), tank.to_owned(), survey.clone()));
            let key = (tank.to_owned(), survey);
            self.surveys.remove(&key);
            batch.surveys_gone.push(key);
        }
        Ok(())
    }

    /// Removes what was written of a tank that has no survey any more; what a keeper put there stays.
    pub(super) fn remove_tank(
        &mut self,
        tank: &str,
        folder: &Path,
        batch: &mut Batch,
    ) -> Result<(), EngineError> {
        self.remove_gone(tank, folder, &BTreeSet::new(), batch)?;
        if self.incomplete {
            return Ok(());
        }
        let of_each = folder.join("alerts");
        let alerts = names_in(&of_each)
            .into_iter()
            .filter(|name| Path::new(name).extension().is_some_and(|end| end == "json"));
        let files = alerts
            .map(|name| of_each.join(name))
            .chain([folder.join("alerts.jsonl")])
            .chain(OF_TANK.map(|name| folder.join(name)));
        for file in files {
            match fs::remove_file(&file) {
                Err(error) if error.kind() != io::ErrorKind::NotFound => {
                    return Err(EngineError::outbox(&file, &error));
                }
                _ => {}
            }
        }
        // A folder that holds something else stays.
        let _ = fs::remove_dir(&of_each);
        let _ = fs::remove_dir(folder);
        Ok(())
    }
}

/// True for a folder that was written for the survey of its name; a keeper's copy has another name.
fn is_package(folder: &Path, tank: &str, name: &str) -> bool {
    let Ok(text) = fs::read(folder.join(name).join("survey.json")) else {
        return false;
    };
    let Ok(survey) = serde_json::from_slice::<serde_json::Value>(&text) else {
        return false;
    };
    survey["id"] == name && survey["tank"] == tank
}

fn names_in(folder: &Path) -> Vec<String> {
    let Ok(found) = fs::read_dir(folder) else {
        return Vec::new();
    };
    found
        .filter_map(Result::ok)
        .filter_map(|found| found.file_name().into_string().ok())
        .collect()
}
