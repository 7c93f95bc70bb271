//! An importer behind the worker, as the case kit asks it.

use crate::engine::Cancel;
use std::fs::{self, File};
use std::path::{Path, PathBuf};
use undim_import::run::{
    ImportFailure, ImportOption, ImportReport, ImportedRow, Limits, OptionKind, Sink, Source, Worker,
};
use undim_model::ImportedTime;
use undim_sdk::cases::Reader;
use undim_sdk::testing::{Fact, Outcome, OwnedRow, Problem, Setting};
use undim_sdk::{Failure, Time};

/// The importer, and a folder for the files that it is given.
pub(super) struct ThroughWorker<'a> {
    pub(super) worker: &'a Worker,
    pub(super) importer: &'a Path,
    pub(super) folder: &'a Path,
    pub(super) cancel: &'a Cancel,
}

impl ThroughWorker<'_> {
    fn put(&self, file: &[u8]) -> Result<File, String> {
        let path: PathBuf = self.folder.join("input");
        let failed = |error: std::io::Error| format!("undim: {} can't be used: {error}", path.display());
        fs::write(&path, file).map_err(failed)?;
        File::open(&path).map_err(failed)
    }

    fn run(
        &self,
        file: &[u8],
        file_name: &str,
        settings: &[Setting],
        sink: &mut Sink<'_>,
    ) -> Result<Result<ImportReport, Failure>, String> {
        let file = self.put(file)?;
        let source = Source {
            file: &file,
            name: file_name,
        };
        let options: Vec<ImportOption> = settings.iter().map(option).collect();
        let read = self
            .worker
            .read(self.importer, source, &options, self.cancel.flag(), sink);
        match read {
            Ok(report) => Ok(Ok(report)),
            Err(ImportFailure::Unusable {
                option: Some(index),
                text,
                ..
            }) => Ok(Err(Failure::option(index, text))),
            Err(ImportFailure::Unusable {
                line, column, text, ..
            }) => Ok(Err(Failure::unusable(line, column, text))),
            Err(ImportFailure::Question { text, choices, .. }) => Ok(Err(Failure::question(text, choices))),
            Err(breach) => Err(breach.to_string()),
        }
    }
}

impl Reader for ThroughWorker<'_> {
    fn read(&mut self, file: &[u8], file_name: &str, settings: &[Setting]) -> Result<Outcome, String> {
        let mut rows = Vec::new();
        let read = self.run(file, file_name, settings, &mut |batch| {
            rows.extend(batch.iter().map(owned));
            Ok(())
        })?;
        Ok(match read {
            Ok(report) => Outcome {
                rows,
                facts: report
                    .facts
                    .into_iter()
                    .map(|fact| Fact {
                        key: fact.key,
                        value: fact.value,
                        assumed: fact.assumed,
                    })
                    .collect(),
                problems: report
                    .problems
                    .into_iter()
                    .map(|problem| Problem {
                        line: problem.line,
                        column: problem.column,
                        text: problem.text,
                    })
                    .collect(),
                result: Ok(()),
            },
            Err(failure) => Outcome {
                rows,
                facts: Vec::new(),
                problems: Vec::new(),
                result: Err(failure),
            },
        })
    }

    fn probe(&mut self, file: &[u8], file_name: &str) -> Result<u8, String> {
        let file = self.put(file)?;
        let source = Source {
            file: &file,
            name: file_name,
        };
        self.worker
            .probe(self.importer, source, self.cancel.flag())
            .map_err(|failure| failure.to_string())
    }

    fn survive(&mut self, file: &[u8], file_name: &str) -> Result<Result<u64, Failure>, String> {
        self.probe(file, file_name)?;
        let read = self.run(file, file_name, &[], &mut |_| Ok(()))?;
        Ok(read.map(|report| report.rows))
    }
}

/// Short limits: a bad file that takes a minute is a breach for the keeper who waits for it.
pub(super) fn limits(of_site: Limits) -> Limits {
    Limits {
        timeout: of_site.timeout.min(std::time::Duration::from_secs(20)),
        ..of_site
    }
}

fn option((path, kind, text): &Setting) -> ImportOption {
    ImportOption {
        path: (*path).to_owned(),
        kind: match kind {
            undim_sdk::OptionKind::Text => OptionKind::Text,
            undim_sdk::OptionKind::Integer => OptionKind::Integer,
            undim_sdk::OptionKind::Float => OptionKind::Float,
            undim_sdk::OptionKind::Boolean => OptionKind::Boolean,
            undim_sdk::OptionKind::Date => OptionKind::Date,
            undim_sdk::OptionKind::Empty => OptionKind::Empty,
        },
        text: (*text).to_owned(),
    }
}

fn owned(row: &ImportedRow) -> OwnedRow {
    let text = |text: &Option<undim_model::Text>| text.as_deref().map(str::to_owned);
    OwnedRow {
        row: row.row,
        time: row.time.map(|time| match time {
            ImportedTime::Instant(micros) => Time::Instant(micros),
            ImportedTime::Wall(micros) => Time::Wall(micros),
        }),
        value: row.value,
        unit: text(&row.unit),
        x: row.x,
        y: row.y,
        z: row.z,
        station: text(&row.station),
        device: text(&row.device),
        tilt_deg: row.tilt_deg,
        temperature_c: row.temperature_c,
        remark: text(&row.remark),
    }
}
