//! What an edit of the configuration does to past surveys: found out before anything is written, and told.

use super::package::VERSION;
use super::publish::Derivation;
use super::{Engine, EngineError};
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;
use undim_drift::{History, judge};
use undim_emit::{CsvStyle, stations_csv, survey_json};
use undim_model::{Baseline, Judgement, Survey};
use undim_store::Batch;

/// Where the ledger keeps the fingerprints of all files that everything was derived from last.
const DERIVED_FROM: &str = "derived-from";

/// A survey that comes out otherwise than it was written.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Changing {
    pub(crate) tank: String,
    pub(crate) survey: String,
    /// What of it.
    pub(crate) what: &'static str,
}

/// What was derived again, and why.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Again {
    /// Files that changed.
    pub(crate) because: Vec<String>,
    /// Surveys that came out otherwise.
    pub(crate) surveys: Vec<Changing>,
}

impl Engine {
    /// What came out otherwise since the engine was opened because files of the configuration changed.
    pub(crate) fn changed_by_files(&self) -> &[Again] {
        &self.again
    }

    /// Mistakes that only the surveys themselves can tell.
    pub(crate) fn mistakes(&self) -> &[String] {
        &self.mistakes
    }

    /// Files that changed since everything was derived last; none where that was never kept.
    pub(crate) fn changed_files(&self) -> Result<Vec<String>, EngineError> {
        let Some(kept) = self.store.meta(DERIVED_FROM)? else {
            return Ok(Vec::new());
        };
        let (then, now): (BTreeMap<String, String>, _) = (
            serde_json::from_str(&kept).unwrap_or_default(),
            self.derived_from(),
        );
        let names: BTreeSet<&String> = then.keys().chain(now.keys()).collect();
        Ok(names
            .into_iter()
            .filter(|name| then.get(*name) != now.get(*name))
            .cloned()
            .collect())
    }

    fn derived_from(&self) -> BTreeMap<String, String> {
        let prints = &self.site.fingerprints;
        let folders = [
            ("tanks", "toml", &prints.tanks),
            ("devices", "toml", &prints.devices),
            ("layouts", "toml", &prints.layouts),
            ("upkeep", "csv", &prints.upkeep),
        ];
        let files = folders.into_iter().flat_map(|(folder, ending, files)| {
            files
                .iter()
                .map(move |(id, print)| (format!("{folder}/{id}.{ending}"), print.clone()))
        });
        files
            .chain([
                ("undim.toml".to_owned(), prints.site.clone()),
                ("the program".to_owned(), VERSION.to_owned()),
            ])
            .collect()
    }

    /// Tells what comes out otherwise because files changed, before it is written.
    pub(super) fn note_what_changes(&mut self) -> Result<(), EngineError> {
        let because = self.changed_files()?;
        if because.is_empty() {
            return Ok(());
        }
        let surveys = self.changing()?;
        let files = because.join(", ");
        let mut by_tank: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
        for one in &surveys {
            by_tank.entry(&one.tank).or_default().push(&one.survey);
        }
        for (tank, ids) in &by_tank {
            tracing::info!(
                tank,
                because = files,
                surveys = ids.join(" "),
                "derived again, and comes out otherwise"
            );
        }
        if by_tank.is_empty() {
            tracing::info!(because = files, "derived again; every survey comes out as it was");
        }
        // A daemon tells it in its log alone.
        if self.once {
            self.again.push(Again { because, surveys });
        }
        Ok(())
    }

    /// Keeps what everything was derived from.
    pub(super) fn keep_derived_from(&mut self) -> Result<(), EngineError> {
        let now = serde_json::to_string(&self.derived_from()).unwrap_or_default();
        if self.store.meta(DERIVED_FROM)?.as_ref() != Some(&now) {
            self.store.commit(&Batch {
                meta: vec![(DERIVED_FROM.to_owned(), now)],
                ..Batch::default()
            })?;
        }
        Ok(())
    }

    /// Reads everything and finds out which surveys would come out otherwise; writes nothing.
    pub(crate) fn would_change(&mut self) -> Result<Vec<Changing>, EngineError> {
        self.findings = self.finder.find(&self.worker, self.cancel.flag());
        self.load_held()?;
        self.changing()
    }

    /// Surveys that come out otherwise than they stand in the outbox.
    fn changing(&mut self) -> Result<Vec<Changing>, EngineError> {
        let mut tanks: BTreeSet<String> = self.book.entries().into_iter().map(|entry| entry.tank).collect();
        tanks.extend(self.store.tanks()?);
        let mut changing = Vec::new();
        for id in tanks {
            let derivations = self.surveys_of(&id);
            self.fresh.clear();
            let tank = self.tank(&id);
            self.check_baseline(&id, &derivations);
            let surveys: Vec<&Survey> = derivations.iter().map(|(_, _, survey)| &**survey).collect();
            let upkeep = self.upkeep_of(&id);
            let judged = judge(&History {
                tank: &tank,
                surveys: &surveys,
                upkeep: &upkeep,
            });
            let mut add = |survey: &str, what| {
                changing.push(Changing {
                    tank: id.clone(),
                    survey: survey.to_owned(),
                    what,
                });
            };
            let folder = self.site.outbox.join(&id);
            for (survey, judgement) in surveys.iter().zip(&judged.judgements) {
                if let Some(what) = self.difference(&folder.join(&survey.id), survey, judgement)? {
                    add(&survey.id, what);
                }
            }
            let gone = self.surveys.keys().filter(|(of, _)| *of == id);
            for (_, survey) in gone.filter(|(_, known)| !surveys.iter().any(|one| one.id == *known)) {
                add(survey, "goes");
            }
        }
        changing.sort();
        Ok(changing)
    }

    /// How a survey differs from what stands in its folder.
    fn difference(
        &self,
        folder: &Path,
        survey: &Survey,
        judgement: &Judgement,
    ) -> Result<Option<&'static str>, EngineError> {
        let failed = |error| EngineError::outbox(folder, &error);
        let Ok(old) = fs::read_to_string(folder.join("stations.csv")) else {
            return Ok(Some("is new"));
        };
        let mut new = Vec::new();
        stations_csv::write(&mut new, survey, Some(judgement), CsvStyle::Standard).map_err(failed)?;
        let new = String::from_utf8_lossy(&new);
        if old != new {
            return Ok(Some(if values(&old).eq(values(&new)) {
                "its change against the baseline"
            } else {
                "its values"
            }));
        }
        let mut json = Vec::new();
        survey_json::write(&mut json, survey, Some(judgement), &[], &self.site_zone, VERSION)
            .map_err(failed)?;
        let told = |bytes: &[u8]| {
            let mut value: serde_json::Value = serde_json::from_slice(bytes).unwrap_or_default();
            if let Some(keys) = value.as_object_mut() {
                keys.remove("software");
                // Asks for every reading; what it rests on shows in the values.
                keys.remove("fit");
            }
            value
        };
        let old = fs::read(folder.join("survey.json")).unwrap_or_default();
        Ok((told(&old) != told(&json)).then_some("what is told of it"))
    }

    /// A baseline that names no survey of its tank, with those that there are.
    pub(super) fn check_baseline(&mut self, tank: &str, derivations: &[Derivation]) {
        let surveys: Vec<&Survey> = derivations.iter().map(|(_, _, survey)| &**survey).collect();
        let Some(declared) = self.site.tanks.get(tank) else {
            return;
        };
        let Some(text) = unknown_baseline(tank, &declared.drift.baseline, &surveys) else {
            return;
        };
        tracing::error!("{text}");
        if !self.mistakes.contains(&text) {
            self.mistakes.push(text);
        }
    }
}

/// As many ids as a sentence can hold.
const MOST_IDS: usize = 20;

fn unknown_baseline(tank: &str, baseline: &Baseline, surveys: &[&Survey]) -> Option<String> {
    let Baseline::Survey(named) = baseline else {
        return None;
    };
    let is_it = |survey: &&Survey| survey.id == *named || survey.replaces.contains(named);
    if surveys.is_empty() || surveys.iter().any(is_it) {
        return None;
    }
    let newest: Vec<&str> = surveys
        .iter()
        .rev()
        .take(MOST_IDS)
        .map(|one| one.id.as_str())
        .collect();
    let more = surveys.len().saturating_sub(MOST_IDS);
    let more = if more > 0 {
        format!(" and {more} older ones")
    } else {
        String::new()
    };
    Some(format!(
        "tanks/{tank}.toml: baseline = \"{named}\" names no survey of this tank, so nothing is held against it; there are {}{more}. Write one of them, or \"since-change\" or \"first\".",
        newest.join(", ")
    ))
}

/// The columns that hold values: all but the last three, of the change.
fn values(csv: &str) -> impl Iterator<Item = &str> {
    csv.lines()
        .map(|line| line.rsplitn(4, ',').last().unwrap_or(line))
}
