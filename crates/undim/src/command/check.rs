//! `undim check`: every mistake of the configuration at once.

use super::changed::{Changed, changed, tell_changing};
use super::{colored, loaded, say};
use crate::cli::Common;
use crate::engine::{Changing, Dry};
use crate::exit::Exit;
use serde::Serialize;
use undim_config::{Mistake, Severity, Site, timeline};
use undim_model::{Baseline, Tank};

#[derive(Serialize)]
struct Checked<'a> {
    ok: bool,
    files: Vec<String>,
    findings: Vec<Finding<'a>>,
    /// Past surveys that the next start derives otherwise than they stand in the outbox, and files that changed.
    changes: Vec<Changed<'a>>,
    changed_files: &'a [String],
    /// Mistakes that only the surveys can tell.
    mistakes: &'a [String],
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
    let past = loaded.site.as_ref().map(look_back).unwrap_or_default();
    let exit = if loaded.has_mistakes() || !past.mistakes.is_empty() {
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
            changes: changed(&past.changing),
            changed_files: &past.files,
            mistakes: &past.mistakes,
        });
        return exit;
    }
    if !loaded.mistakes.is_empty() {
        say::line(loaded.render(colored(common), say::width()).trim_end());
        say::line("");
    }
    if let Some(site) = &loaded.site {
        let screen = say::screen();
        for line in timeline_of(site) {
            say::line(&screen.wrapped(&line, "", "  "));
        }
    }
    past.tell();
    let count = |severity, one: &str, many: &str| match loaded.count(severity) {
        1 => format!("1 {one}"),
        count => format!("{count} {many}"),
    };
    let files = match loaded.files.len() {
        1 => "1 file".to_owned(),
        files => format!("{files} files"),
    };
    if loaded.mistakes.is_empty() && past.mistakes.is_empty() {
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
        match loaded.count(Severity::Mistake) + past.mistakes.len() {
            1 => "1 mistake".to_owned(),
            count => format!("{count} mistakes"),
        },
        count(Severity::Warning, "warning", "warnings"),
    ));
    exit
}

/// What the surveys that are there say of the configuration.
#[derive(Default)]
struct Past {
    files: Vec<String>,
    changing: Vec<Changing>,
    mistakes: Vec<String>,
    /// Why they could not be looked at.
    trouble: Option<String>,
}

impl Past {
    fn tell(&self) {
        let screen = say::screen();
        let tell = |text: &str| say::line(&screen.wrapped(text, "", "  "));
        if let Some(trouble) = &self.trouble {
            tell(&format!(
                "Whether past surveys change could not be found out: {trouble}"
            ));
        }
        for mistake in &self.mistakes {
            tell(&format!("Mistake: {mistake}"));
        }
        let files = self.files.join(", ");
        if !self.changing.is_empty() {
            tell_changing(
                &self.changing,
                &format!(
                    "Since everything was derived last, {files} changed. The next sweep, watch or rebuild changes past surveys"
                ),
            );
            tell(
                "To keep the past as it was, put the old block back with `until`, and write the new one with `from`.",
            );
            say::line("");
        } else if !self.files.is_empty() && self.trouble.is_none() {
            tell(&format!(
                "Since everything was derived last, {files} changed. No past survey comes out otherwise."
            ));
        }
    }
}

/// Derives the past under this configuration, without writing anything of the site.
fn look_back(site: &Site) -> Past {
    let look = || -> Result<Past, String> {
        let Some(mut dry) = Dry::open(site.clone())? else {
            return Ok(Past::default());
        };
        let engine = &mut dry.engine;
        let files = engine.changed_files().map_err(|error| error.to_string())?;
        let names_a_survey = |tank: &Tank| matches!(tank.drift.baseline, Baseline::Survey(_));
        if files.is_empty() && !site.tanks.values().any(names_a_survey) {
            return Ok(Past::default());
        }
        let changing = engine.would_change().map_err(|error| error.to_string())?;
        Ok(Past {
            changing: if files.is_empty() { Vec::new() } else { changing },
            files,
            mistakes: engine.mistakes().to_vec(),
            trouble: engine.troubles().first().cloned(),
        })
    };
    look().unwrap_or_else(|trouble| Past {
        trouble: Some(trouble),
        ..Past::default()
    })
}

/// The blocks of each tank that have dates, and a word on those that reach into the past without any.
fn timeline_of(site: &Site) -> Vec<String> {
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
