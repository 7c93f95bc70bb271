//! `undim importer cases DIR`: an importer held against the cases of its folder and the usual bad files.

use super::through_worker::{ThroughWorker, limits};
use super::{Bench, say};
use crate::cli::{Common, ImporterCases};
use crate::engine::Cancel;
use crate::exit::Exit;
use crate::look::TemporaryFolder;
use serde::Serialize;
use std::env::consts::DLL_EXTENSION;
use std::fs;
use std::path::{Path, PathBuf};
use undim_emit::text_cell::shown;
use undim_import::find::is_candidate;
use undim_import::run::Worker;
use undim_sdk::cases::{self, Checked, Report};

#[derive(Serialize)]
struct Told<'a> {
    importer: &'a str,
    version: &'a str,
    path: String,
    ok: bool,
    cases: Vec<One<'a>>,
    bad_files: Vec<One<'a>>,
}

#[derive(Serialize)]
struct One<'a> {
    name: &'a str,
    outcome: &'a str,
    wrong: &'a [String],
}

impl<'a> From<&'a Checked> for One<'a> {
    fn from(checked: &'a Checked) -> Self {
        Self {
            name: &checked.name,
            outcome: &checked.outcome,
            wrong: &checked.wrong,
        }
    }
}

pub(super) fn run(common: &Common, flags: &ImporterCases, cancel: &Cancel) -> Result<Exit, Exit> {
    let refused = |exit: Exit| {
        move |why: String| {
            say::error(&format!("undim: {why}"));
            exit
        }
    };
    let bench = Bench::new(common, cancel)?;
    let importer = importer(&bench, flags).map_err(refused(Exit::Usage))?;
    let worker = Worker {
        limits: limits(bench.worker.limits),
        ..bench.worker.clone()
    };
    let header = worker
        .describe(&importer, cancel.flag())
        .map_err(|failure| refused(Exit::Remarks)(format!("{}: {failure}", importer.display())))?;
    let folder = TemporaryFolder::new().map_err(refused(Exit::Folders))?;
    let mut reader = ThroughWorker {
        worker: &worker,
        importer: &importer,
        folder: folder.path(),
        cancel,
    };
    let cases_folder = flags.dir.join("cases");
    let report = cases::run(&mut reader, &cases_folder, flags.update).map_err(refused(Exit::Usage))?;
    let ok = report.wrong().is_empty() && !report.cases.is_empty();
    if common.json {
        say::json(&Told {
            importer: &header.name,
            version: &header.version,
            path: importer.display().to_string(),
            ok,
            cases: report.cases.iter().map(One::from).collect(),
            bad_files: report.bad_files.iter().map(One::from).collect(),
        });
    } else {
        say::line(&format!(
            "{} {}, {}",
            shown(&header.name),
            shown(&header.version),
            shown(&importer.display().to_string())
        ));
        tell(&report, &cases_folder);
    }
    Ok(if ok { Exit::Done } else { Exit::Remarks })
}

fn tell(report: &Report, folder: &Path) {
    let screen = say::screen();
    for (head, all) in [("Cases:", &report.cases), ("Bad files:", &report.bad_files)] {
        say::line(&format!("\n{head}"));
        for checked in all {
            let is_well = checked.wrong.is_empty();
            let outcome = if checked.outcome.is_empty() {
                String::new()
            } else {
                format!(": {}", shown(&checked.outcome))
            };
            let mark = if is_well { "ok    " } else { "BROKE " };
            let line = format!("{mark}{}{outcome}", shown(&checked.name));
            say::line(&screen.wrapped(&line, "  ", "          "));
            for wrong in &checked.wrong {
                for line in wrong.lines() {
                    say::line(&screen.wrapped(&shown(line), "          ", "            "));
                }
            }
        }
    }
    let wrong = |all: &[Checked]| all.iter().filter(|checked| !checked.wrong.is_empty()).count();
    let (cases, bad) = (wrong(&report.cases), wrong(&report.bad_files));
    say::line("");
    say::line(&match (report.cases.len(), cases + bad) {
        (0, _) => format!(
            "There is no case in {}; make a folder there with input.txt, expected.csv and note.md.",
            folder.display()
        ),
        (count, 0) => format!(
            "{count} cases and {} bad files: the contract holds.",
            report.bad_files.len()
        ),
        (count, _) => format!(
            "The contract is broken by {cases} of {count} cases and {bad} of {} bad files.",
            report.bad_files.len()
        ),
    });
}

/// A name without a folder would be looked for among the system's libraries.
fn whole(path: &Path) -> Result<PathBuf, String> {
    path.canonicalize()
        .map_err(|error| format!("{} can't be read: {error}", path.display()))
}

/// The importer's file: the one that is named, or the one that lies in the folder or that cargo built there.
fn importer(bench: &Bench, flags: &ImporterCases) -> Result<PathBuf, String> {
    if let Some(named) = &flags.importer {
        if named.is_file() {
            return whole(named);
        }
        let found = named.to_str().and_then(|name| bench.findings.named(name));
        return found.map(|found| found.path.clone()).ok_or_else(|| {
            format!(
                "{} is neither a file nor the name of an importer; `undim importer list` shows those that are found",
                named.display()
            )
        });
    }
    let folders = [
        flags.dir.clone(),
        flags.dir.join("target/release"),
        flags.dir.join("target/debug"),
    ];
    for folder in &folders {
        let mut found: Vec<PathBuf> = fs::read_dir(folder)
            .into_iter()
            .flatten()
            .filter_map(Result::ok)
            .map(|entry| entry.path())
            .filter(|path| is_candidate(path))
            .collect();
        found.sort();
        match found.as_slice() {
            [] => {}
            [one] => return whole(one),
            several => {
                let names: Vec<String> = several.iter().map(|path| path.display().to_string()).collect();
                return Err(format!(
                    "there are several importers, {}; name one with --importer",
                    names.join(", ")
                ));
            }
        }
    }
    Err(format!(
        "there is no importer in {}: neither a script that may be run nor a library (.{DLL_EXTENSION}); build it, or name it with --importer PATH",
        flags.dir.display()
    ))
}
