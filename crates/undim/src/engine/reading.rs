//! Has one file read by the surest importer: what a round of the inbox and a look at a single file share.

use super::Cancel;
use super::content::Imported;
use std::path::Path;
use undim_config::{Layout, Site};
use undim_import::find::{Finder, Findings, Found, read_by_name, read_with_surest};
use undim_import::run::{
    ImportFailure, ImportOption, ImportReport, Limits, SandboxPolicy, Sink, Source, Worker,
};

/// What an importer may send about one file, bytes.
const OUTPUT_BYTES: u64 = 2 << 30;

/// The worker that a site's settings ask for.
pub(crate) fn worker_of(site: &Site) -> Worker {
    Worker {
        limits: Limits {
            timeout: site.importers.timeout,
            memory_bytes: site.importers.memory_bytes,
            output_bytes: OUTPUT_BYTES,
        },
        sandbox: match site.importers.sandbox {
            undim_config::Sandbox::Best => SandboxPolicy::Best,
            undim_config::Sandbox::Required => SandboxPolicy::Required,
        },
        ..Worker::default()
    }
}

/// Looks for importers in a site's plugin folders and where the program lies.
pub(crate) fn finder_of(site: &Site) -> Finder {
    let program = std::env::current_exe().unwrap_or_default();
    Finder::new(site.plugins.clone(), program.parent().unwrap_or(Path::new(".")))
}

/// What an importer made of a file.
pub(crate) struct Answer {
    /// All but the rows.
    pub(crate) imported: Imported,
    /// What the sandbox lacked.
    pub(crate) lacks: Option<String>,
}

/// Who is to read a file.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Readers<'a> {
    /// The surest of these.
    Surest(&'a [Found]),
    /// This one, which somebody named.
    Named(&'a Found),
}

/// Has a file read. The rows go to the sink, and are to be thrown away
/// where it fails.
pub(crate) fn import(
    worker: &Worker,
    readers: Readers<'_>,
    source: Source<'_>,
    options: &[ImportOption],
    cancel: &Cancel,
    sink: &mut Sink<'_>,
) -> Result<Answer, ImportFailure> {
    let report = match readers {
        Readers::Surest(importers) => {
            read_with_surest(worker, importers, source, options, cancel.flag(), sink)?
        }
        Readers::Named(importer) => read_by_name(worker, importer, source, options, cancel.flag(), sink)?,
    };
    if !report.stderr.trim().is_empty() {
        tracing::debug!(
            file = source.name,
            importer = report.importer.name,
            text = report.stderr,
            "said by the importer"
        );
    }
    let lacks = report.sandbox.lacks().map(str::to_owned);
    Ok(Answer {
        imported: imported(report),
        lacks,
    })
}

/// That there is no importer, or none of this name, and where they were looked for.
pub(crate) fn no_importer(findings: &Findings, asked: Option<&str>) -> String {
    let searched: Vec<String> = findings
        .searched
        .iter()
        .map(|folder| folder.display().to_string())
        .collect();
    let refused: String = findings
        .passed_over
        .iter()
        .map(|passed| format!("; {} was refused: {}", passed.path.display(), passed.why))
        .collect();
    let which = asked.map_or_else(
        || "no importer".to_owned(),
        |name| format!("no importer named “{name}”"),
    );
    format!("{which} found; searched were {}{refused}", searched.join(", "))
}

/// What an importer says of one option of a layout, with the option's place in its file; the text alone
/// where there is no such option.
pub(crate) fn about_option(layout: Option<&Layout>, index: u32, text: &str) -> String {
    match layout.and_then(|layout| Some((layout, layout.option(index as usize)?))) {
        Some((layout, (option, place))) => format!(
            "{}, line {}, column {}: {}: {text}",
            layout.file.display(),
            place.line,
            place.column,
            option.path
        ),
        None => text.to_owned(),
    }
}

fn imported(report: ImportReport) -> Imported {
    Imported {
        importer: report.importer.name,
        version: report.importer.version,
        rows: report.rows,
        facts: report
            .facts
            .into_iter()
            .map(|fact| (fact.key, fact.value, fact.assumed))
            .collect(),
        problems: report
            .problems
            .into_iter()
            .map(|p| (p.line, p.column, p.text))
            .collect(),
        more_problems: report.more_problems,
    }
}
