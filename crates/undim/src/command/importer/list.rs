//! `undim importer list`: which importers there are, and why others are not used.

use super::{Bench, say};
use crate::cli::Common;
use crate::engine::Cancel;
use crate::exit::Exit;
use serde::Serialize;
use undim_emit::text_cell::shown;
use undim_import::find::{Found, Kind, PassedOver};

#[derive(Serialize)]
struct Listed<'a> {
    importers: Vec<One<'a>>,
    refused: Vec<Refused<'a>>,
    searched: Vec<String>,
}

#[derive(Serialize)]
struct One<'a> {
    name: &'a str,
    version: &'a str,
    kind: &'static str,
    path: String,
    abi: Option<&'a str>,
    reads: &'a str,
}

#[derive(Serialize)]
struct Refused<'a> {
    path: String,
    why: &'a str,
}

impl<'a> From<&'a Found> for One<'a> {
    fn from(found: &'a Found) -> Self {
        Self {
            name: &found.header.name,
            version: &found.header.version,
            kind: word(found.kind),
            path: found.path.display().to_string(),
            abi: Some(found.header.abi.as_str()).filter(|abi| !abi.is_empty()),
            reads: &found.header.reads,
        }
    }
}

impl<'a> From<&'a PassedOver> for Refused<'a> {
    fn from(passed: &'a PassedOver) -> Self {
        Self {
            path: passed.path.display().to_string(),
            why: &passed.why,
        }
    }
}

fn word(kind: Kind) -> &'static str {
    match kind {
        Kind::Library => "library",
        Kind::Script => "script",
    }
}

pub(super) fn run(common: &Common, cancel: &Cancel) -> Result<Exit, Exit> {
    let bench = Bench::new(common, cancel)?;
    let findings = &bench.findings;
    if common.json {
        say::json(&Listed {
            importers: findings.importers.iter().map(One::from).collect(),
            refused: findings.passed_over.iter().map(Refused::from).collect(),
            searched: findings
                .searched
                .iter()
                .map(|folder| folder.display().to_string())
                .collect(),
        });
        return Ok(Exit::Done);
    }
    let screen = say::screen();
    let text = |text: &str, first: &str, rest: &str| say::line(&screen.wrapped(text, first, rest));
    for found in &findings.importers {
        let one = One::from(found);
        let abi = one.abi.map(|abi| format!(", ABI {abi}")).unwrap_or_default();
        say::line(&format!(
            "{} {} ({}{abi})",
            shown(one.name),
            shown(one.version),
            one.kind
        ));
        if !one.reads.is_empty() {
            text(&format!("reads {}", shown(one.reads)), "  ", "    ");
        }
        say::line(&format!("  {}", shown(&one.path)));
    }
    if findings.importers.is_empty() {
        say::line("There is no importer.");
    }
    if !findings.passed_over.is_empty() {
        say::line("\nNot used:");
        for passed in &findings.passed_over {
            text(
                &format!("{}: {}", shown(&passed.path.display().to_string()), passed.why),
                "  - ",
                "    ",
            );
        }
    }
    say::line("\nLooked for, in this order, in:");
    for folder in &findings.searched {
        say::line(&format!("  {}", shown(&folder.display().to_string())));
    }
    Ok(Exit::Done)
}
