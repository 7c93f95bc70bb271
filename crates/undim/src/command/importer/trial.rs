//! `undim importer try FILE`: who claims the file and how surely, the first readings, every problem.

use super::{Bench, look as looking, say};
use crate::cli::{Common, ImporterTry};
use crate::engine::{Cancel, Readers};
use crate::exit::Exit;
use crate::look::{self, Chosen, Failure, LookFile, LookJson, Reading, RowJson};
use jiff::tz::TimeZone;
use serde::Serialize;
use undim_emit::text_cell::shown;
use undim_import::find::{Found, Kind};
use undim_import::run::Source;
use undim_model::ImportedRow;

/// How surely one importer says that it can read the file.
#[derive(Serialize)]
struct Claim<'a> {
    importer: &'a str,
    version: &'a str,
    kind: &'static str,
    /// Percent; `None` where it failed at being asked.
    sure: Option<u8>,
    /// Why it failed.
    failed: Option<String>,
}

#[derive(Serialize)]
struct Tried<'a> {
    claims: Vec<Claim<'a>>,
    #[serde(flatten)]
    look: LookJson<'a>,
    rows: Vec<RowJson<'a>>,
}

pub(super) fn run(common: &Common, flags: &ImporterTry, cancel: &Cancel) -> Result<Exit, Exit> {
    let file = LookFile::open(&flags.file).map_err(|why| {
        say::error(&format!("undim: {why}"));
        Exit::Usage
    })?;
    let loaded = flags
        .layout
        .as_deref()
        .map(|path| looking::layout(common, path))
        .transpose()?;
    let layout = loaded.as_ref().and_then(|loaded| loaded.layout.as_ref());
    let bench = Bench::new(common, cancel)?;
    let wanted = flags
        .importer
        .as_deref()
        .map(|name| bench.named(name))
        .transpose()?;
    let claims = claims(&bench, &file, cancel);
    let reader = wanted.or_else(|| surest(&bench, &claims));
    if !common.json {
        tell_claims(&claims, reader, wanted.is_some());
    }
    let options = layout.map_or(&[][..], |layout| layout.options.as_slice());
    let read = match reader {
        None => Err(Failure::whole(nobody(&bench))),
        Some(found) => {
            let chosen = Chosen {
                readers: Readers::Named(found),
                options,
                layout,
            };
            look::read_by(&bench.worker, chosen, &file, None, cancel)
        }
    };
    match read {
        Ok(reading) => {
            tell(common, &bench, &file, claims, &reading);
            Ok(Exit::Done)
        }
        Err(failure) => {
            let exit = looking::exit_of(&failure);
            if common.json && exit == Exit::Remarks {
                say::json(&Tried {
                    claims,
                    look: look::of_failure(&failure),
                    rows: Vec::new(),
                });
            } else {
                let layout_path = flags.layout.as_deref();
                looking::tell_failure(
                    common,
                    &flags.file,
                    layout_path,
                    loaded.as_ref(),
                    &failure,
                    say::line,
                );
            }
            Err(exit)
        }
    }
}

fn claims<'b>(bench: &'b Bench, file: &LookFile, cancel: &Cancel) -> Vec<Claim<'b>> {
    let source = Source {
        file: &file.file,
        name: &file.name,
    };
    let ask = |found: &'b Found| {
        let answer = bench.worker.probe(&found.path, source, cancel.flag());
        Claim {
            importer: &found.header.name,
            version: &found.header.version,
            kind: match found.kind {
                Kind::Library => "library",
                Kind::Script => "script",
            },
            sure: answer.as_ref().ok().copied(),
            failed: answer.err().map(|failure| failure.to_string()),
        }
    };
    bench.findings.importers.iter().map(ask).collect()
}

/// Of equally sure ones the first, as everywhere.
fn surest<'b>(bench: &'b Bench, claims: &[Claim<'_>]) -> Option<&'b Found> {
    let mut surest: Option<(u8, &Found)> = None;
    for (claim, found) in claims.iter().zip(&bench.findings.importers) {
        let sure = claim.sure.unwrap_or(0);
        if sure > surest.map_or(0, |(sure, _)| sure) {
            surest = Some((sure, found));
        }
    }
    surest.map(|(_, found)| found)
}

fn nobody(bench: &Bench) -> String {
    let script = bench
        .findings
        .importers
        .iter()
        .find(|found| found.kind == Kind::Script);
    let hint = script
        .map(|found| {
            format!(
                "; one that claims no files reads what it is given by name: --importer {}",
                found.header.name
            )
        })
        .unwrap_or_default();
    format!("no importer claims it{hint}")
}

fn tell_claims(claims: &[Claim<'_>], reader: Option<&Found>, named: bool) {
    if claims.is_empty() {
        say::line("There is no importer; `undim importer list` tells where they are looked for.");
        return;
    }
    say::line("How surely each importer can read it (0 to 100):");
    let width = claims.iter().map(|claim| claim.importer.len()).max().unwrap_or(0);
    for claim in claims {
        let is_reader = reader.is_some_and(|found| found.header.name == claim.importer);
        let sure = claim
            .sure
            .map_or_else(|| "  -".to_owned(), |sure| format!("{sure:>3}"));
        let remark = match (&claim.failed, is_reader, named) {
            (Some(failed), ..) => format!("  failed at being asked: {failed}"),
            (None, true, true) => "  reads it, because you named it".to_owned(),
            (None, true, false) => "  reads it".to_owned(),
            (None, false, _) => String::new(),
        };
        let line = format!("  {sure}  {:<width$}{remark}", shown(claim.importer));
        say::line(line.trim_end());
    }
    say::line("");
}

fn tell(common: &Common, bench: &Bench, file: &LookFile, claims: Vec<Claim<'_>>, reading: &Reading) {
    // A zone that the file names counts; one that nobody knows is told when the file is taken in.
    let zone = reading
        .imported
        .fact("timezone")
        .or(Some(bench.site.timezone.name.as_str()))
        .and_then(undim_clean::time::zone)
        .unwrap_or(TimeZone::UTC);
    let time = |row: &ImportedRow| row.time.and_then(|time| look::zoned(time, &zone));
    if common.json {
        say::json(&Tried {
            claims,
            look: look::of_reading(reading),
            rows: reading
                .first
                .iter()
                .map(|row| RowJson::from(row).with_time(time(row)))
                .collect(),
        });
        return;
    }
    if let Some(lacks) = &reading.lacks {
        say::error(&format!(
            "undim: the importer ran without part of its sandbox: {lacks}"
        ));
    }
    let text = look::show_reading(
        &file.name,
        reading,
        &bench.site.timezone,
        &|row| time(row).unwrap_or_default(),
        &say::screen(),
    );
    say::line(text.trim_end());
    say::line(
        "\nNothing was stored. `undim importer layout` prints a layout that reads it so; `undim look` shows what undim makes of it.",
    );
}
