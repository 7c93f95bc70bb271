//! A look at one file: no site, nothing stored.
//!
//! The file goes the way of every file in the inbox (an importer in its sandbox, cleaning, surveys, judging), but
//! with nothing declared and nothing kept: what it takes in between lies in a temporary folder that is removed.

mod assumed;
mod file;
mod json;
mod package;
mod plan;
mod question;
mod rows;
mod show;
mod surveys;
mod temporary;

pub(crate) use file::LookFile;
pub(crate) use json::{of_failure, of_reading};
pub(crate) use package::{Out, OutError};
pub(crate) use question::{layout_command, word};
pub(crate) use rows::{RowsOutError, write_rows};
pub(crate) use show::{place, show};
pub(crate) use surveys::Surveys;
pub(crate) use temporary::TemporaryFolder;

use crate::engine::{CachedRows, Cancel, Imported, about_option, finder_of, import, no_importer, worker_of};
use undim_config::{Layout, Site, add_described, described};
use undim_import::run::{ImportFailure, ImportedRow, Source};
use undim_model::Fact;

/// The first rows that are kept to be shown.
const SHOWN_ROWS: usize = 5;

/// What an importer made of a file, but for the rows.
pub(crate) struct Reading {
    pub(crate) imported: Imported,
    /// The first rows.
    pub(crate) first: Vec<ImportedRow>,
    /// The last row.
    pub(crate) last: Option<ImportedRow>,
    /// What any row tells of its place.
    pub(crate) told: Told,
    /// What the sandbox lacked.
    pub(crate) lacks: Option<String>,
}

/// Which sorts of thing any row of a file tells.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(crate) struct Told {
    /// Times without an offset.
    pub(crate) wall_times: bool,
    /// Any of x, y, z.
    pub(crate) coordinates: bool,
    /// Names of stations.
    pub(crate) stations: bool,
}

/// Why a file was not read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Failure {
    /// Only the keeper can tell.
    Asked {
        /// What is asked.
        text: String,
        /// The answers.
        choices: Vec<String>,
        /// What was found out or assumed all the same.
        facts: Vec<Fact>,
    },
    /// The file, or the layout for it, is to be mended.
    Unusable {
        /// Line of the file, from 1; 0: the whole file.
        line: u64,
        /// Field of the line, from 1; 0: the whole line.
        column: u32,
        /// A sentence.
        text: String,
        /// What was found out or assumed all the same.
        facts: Vec<Fact>,
    },
    /// Neither file nor importer is at fault.
    Failed(String),
    /// A stop was asked for.
    Stopped,
}

impl Failure {
    /// About the file as a whole.
    pub(crate) fn whole(text: impl Into<String>) -> Self {
        Self::Unusable {
            line: 0,
            column: 0,
            text: text.into(),
            facts: Vec::new(),
        }
    }

    fn of(failure: ImportFailure, layout: Option<&Layout>) -> Self {
        match failure {
            ImportFailure::Cancelled => Self::Stopped,
            ImportFailure::Question { text, choices, facts } => Self::Asked { text, choices, facts },
            ImportFailure::Unusable {
                option: Some(index),
                text,
                ..
            } => Self::whole(about_option(layout, index, &text)),
            ImportFailure::Unusable {
                line,
                column,
                text,
                facts,
                ..
            } => Self::Unusable {
                line,
                column,
                text,
                facts,
            },
            failure if failure.is_transient() => Self::Failed(failure.to_string()),
            failure @ ImportFailure::SandboxMissing { .. } => Self::Failed(failure.to_string()),
            failure => Self::whole(failure.to_string()),
        }
    }
}

/// Has the file read; the rows go to `keep`, where they are wanted.
pub(crate) fn read(
    site: &Site,
    layout: Option<&Layout>,
    file: &LookFile,
    keep: Option<&CachedRows>,
    cancel: &Cancel,
) -> Result<Reading, Failure> {
    let failed = |error: &dyn std::fmt::Display| Failure::Failed(error.to_string());
    if file.bytes == 0 {
        return Err(Failure::whole("it is empty"));
    }
    let worker = worker_of(site);
    let findings = finder_of(site).find(&worker, cancel.flag());
    if findings.importers.is_empty() {
        return Err(Failure::Failed(no_importer(&findings, None)));
    }
    let mut writer = keep
        .map(CachedRows::begin)
        .transpose()
        .map_err(|error| failed(&error))?;
    let mut options = layout.map_or_else(Vec::new, |layout| layout.options.clone());
    for (by, text) in &file.descriptions {
        let told = described(text, &file.name, by)
            .map_err(|why| Failure::whole(format!("{by}, which lies beside it, can't be used: {why}")))?;
        if let Some(told) = told {
            add_described(&mut options, told);
            break;
        }
    }
    let mut first: Vec<ImportedRow> = Vec::new();
    let mut last = None;
    let mut told = Told::default();
    let answer = import(
        &worker,
        &findings.importers,
        Source {
            file: &file.file,
            name: &file.name,
        },
        &options,
        cancel,
        &mut |batch| {
            let room = SHOWN_ROWS.saturating_sub(first.len());
            first.extend(batch.iter().take(room).cloned());
            for row in batch {
                told.add(row);
            }
            last = batch.last().cloned().or(last.take());
            match &mut writer {
                Some(writer) => writer.write(batch),
                None => Ok(()),
            }
        },
    )
    .map_err(|failure| Failure::of(failure, layout))?;
    if let Some(writer) = writer {
        writer.finish().map_err(|error| failed(&error))?;
    }
    if !file.is_unchanged() {
        return Err(Failure::whole(
            "it was written to while it was being read; look again once its writer is done",
        ));
    }
    if answer.imported.rows == 0 {
        return Err(Failure::whole("it holds no readings"));
    }
    Ok(Reading {
        imported: answer.imported,
        first,
        last,
        told,
        lacks: answer.lacks,
    })
}

impl Told {
    fn add(&mut self, row: &ImportedRow) {
        self.wall_times |= matches!(row.time, Some(undim_model::ImportedTime::Wall(_)));
        self.coordinates |= row.x.is_some() || row.y.is_some() || row.z.is_some();
        self.stations |= row.station.is_some();
    }
}
