//! `undim check`: every mistake of the configuration at once.

use super::{colored, loaded, say};
use crate::cli::Common;
use crate::exit::Exit;
use serde::Serialize;
use undim_config::{Mistake, Severity, Site, timeline};

#[derive(Serialize)]
struct Checked<'a> {
    ok: bool,
    files: Vec<String>,
    findings: Vec<Finding<'a>>,
}

#[derive(Serialize)]
struct Finding<'a> {
    file: String,
    line: usize,
    column: usize,
    severity: &'static str,
    text: &'a str,
    found: Option<&'a str>,
    hint: Option<&'a str>,
}

impl<'a> From<&'a Mistake> for Finding<'a> {
    fn from(mistake: &'a Mistake) -> Self {
        Self {
            file: mistake.file.display().to_string(),
            line: mistake.line,
            column: mistake.column,
            severity: mistake.severity.word(),
            text: &mistake.text,
            found: mistake.found.as_deref(),
            hint: mistake.hint.as_deref(),
        }
    }
}

pub(super) fn run(common: &Common) -> Exit {
    let loaded = match loaded(common) {
        Ok(loaded) => loaded,
        Err(exit) => return exit,
    };
    let exit = if loaded.has_mistakes() {
        Exit::Usage
    } else {
        Exit::Done
    };
    if common.json {
        say::json(&Checked {
            ok: exit == Exit::Done,
            files: loaded
                .files
                .iter()
                .map(|file| file.display().to_string())
                .collect(),
            findings: loaded.mistakes.iter().map(Finding::from).collect(),
        });
        return exit;
    }
    if !loaded.mistakes.is_empty() {
        say::line(loaded.render(colored(common), say::width()).trim_end());
        say::line("");
    }
    if let Some(site) = &loaded.site {
        let screen = say::screen();
        for line in past(site) {
            say::line(&screen.wrapped(&line, "", "  "));
        }
    }
    let count = |severity, one: &str, many: &str| match loaded.count(severity) {
        1 => format!("1 {one}"),
        count => format!("{count} {many}"),
    };
    let files = match loaded.files.len() {
        1 => "1 file".to_owned(),
        files => format!("{files} files"),
    };
    if loaded.mistakes.is_empty() {
        say::line(&format!(
            "The configuration can be used: {files}, nothing to mend."
        ));
        return exit;
    }
    say::line(&format!(
        "The configuration {}: {}, {} in {files}.",
        if exit == Exit::Done {
            "can be used"
        } else {
            "can't be used yet"
        },
        count(Severity::Mistake, "mistake", "mistakes"),
        count(Severity::Warning, "warning", "warnings"),
    ));
    exit
}

/// The blocks of each tank that have dates, and a word on those that reach into the past without any.
fn past(site: &Site) -> Vec<String> {
    let mut lines = Vec::new();
    for tank in site.tanks.values() {
        let epochs = timeline(tank);
        let dated = epochs
            .iter()
            .filter(|epoch| epoch.span.from.is_some() || epoch.span.until.is_some());
        for epoch in dated.clone() {
            let from = epoch
                .span
                .from
                .map_or_else(|| "always".to_owned(), |date| date.to_string());
            let until = epoch
                .span
                .until
                .map_or_else(|| "now".to_owned(), |date| date.to_string());
            lines.push(format!(
                "Tank {}: {} {} holds from {from} until {until}.",
                tank.id, epoch.block, epoch.id
            ));
        }
        if !epochs.is_empty() && dated.count() == 0 {
            lines.push(format!(
                "Tank {}: nothing in its file has dates, so an edit changes past surveys too. `from` and `until` on a block keep the past.",
                tank.id
            ));
        }
    }
    lines
}
