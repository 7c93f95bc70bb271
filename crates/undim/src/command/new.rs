//! `undim new DIR`: a first site from seven questions, each skipped by Enter, each a flag as well.

mod interview;

use self::interview::Interview;
use super::look::{layout, site_at_hand};
use super::say;
use crate::cli::{Common, New};
use crate::daemon::cancel_on_signals;
use crate::engine::{CachedRows, Cancel, machine_timezone};
use crate::exit::Exit;
use crate::look::{self, Failure, LookFile, TemporaryFolder};
use crate::new::{self, Found, MakeError, direction_words};
use serde::Serialize;
use std::io::{self, IsTerminal};
use std::path::Path;
use undim_config::Severity;
use undim_intake::names::harmless;

#[derive(Serialize)]
struct Made<'a> {
    folder: String,
    files: Vec<&'a str>,
    tank: &'a str,
    device: &'a str,
    stations: usize,
    axes_that_fit: Vec<[&'static str; 3]>,
    said: &'a [String],
    next: [String; 2],
}

pub(super) fn run(common: &Common, flags: &New) -> Exit {
    match made(common, flags) {
        Ok(exit) | Err(exit) => exit,
    }
}

fn made(common: &Common, flags: &New) -> Result<Exit, Exit> {
    new::check_place(&flags.dir).map_err(|error| not_made(&error))?;
    let found = flags
        .from
        .as_deref()
        .map(|from| read(common, flags, from))
        .transpose()?;
    let mut interview = Interview {
        flags,
        asks: !flags.yes && !common.json,
        shows_typing: io::stdin().is_terminal(),
        found: found.as_ref(),
        said: Vec::new(),
        fitting: Vec::new(),
        is_settled: false,
    };
    let answers = interview.answers()?;
    let Interview { said, fitting, .. } = interview;
    let (files, assumed) = new::files(&answers, &machine_timezone());
    let loaded = new::make(&flags.dir, &files).map_err(|error| not_made(&error))?;
    let said: Vec<String> = said
        .into_iter()
        .chain(assumed)
        .chain(
            loaded
                .mistakes
                .iter()
                .filter(|mistake| mistake.severity == Severity::Warning)
                .map(|mistake| format!("{}: {}", mistake.file.display(), mistake.text)),
        )
        .collect();
    let site = word(&flags.dir);
    let drop = match &flags.from {
        Some(from) => format!("cp {} {}", word(from), word(&flags.dir.join("inbox"))),
        None => format!("cp FILE {}", word(&flags.dir.join("inbox"))),
    };
    let next = [drop, format!("undim sweep --site {site}")];
    if common.json {
        say::json(&Made {
            folder: flags.dir.display().to_string(),
            files: files.iter().map(|file| file.path.as_str()).collect(),
            tank: answers.tank_id(),
            device: answers.device_id(),
            stations: answers.stations.len(),
            axes_that_fit: fitting.iter().map(|frame| direction_words(frame.axes)).collect(),
            said: &said,
            next,
        });
        return Ok(Exit::Done);
    }
    let screen = say::screen();
    let told = |text: &str| say::line(&screen.wrapped(&harmless(text), "", "  "));
    say::line("");
    told(&format!("Made {}:", flags.dir.display()));
    let widest = files
        .iter()
        .map(|file| file.path.chars().count())
        .max()
        .unwrap_or(0);
    for file in &files {
        let path = if file.text.is_none() {
            format!("{}/", file.path)
        } else {
            file.path.clone()
        };
        let blanks = " ".repeat((widest + 2).saturating_sub(path.chars().count()));
        say::line(&screen.fit(&format!("  {path}{blanks}{}", file.about), screen.width));
    }
    say::line("");
    for sentence in &said {
        told(sentence);
    }
    if !said.is_empty() {
        say::line("");
    }
    told("Next, drop a file of readings (or several) into the inbox, and take it in:");
    for line in &next {
        say::line(&format!("  {line}"));
    }
    told(&format!(
        "Files of another tank or device go into inbox/<tank>/<device>/. `undim plan --blank --site {site}` writes a sheet to take to the tank. What you clean or change goes into upkeep/{}.csv.",
        answers.tank_id()
    ));
    Ok(Exit::Done)
}

/// A path as a shell takes it for one word.
fn word(path: &Path) -> String {
    look::word(path.as_os_str())
}

fn not_made(error: &MakeError) -> Exit {
    if let MakeError::Contradiction(loaded) = error {
        say::error(loaded.render(false, say::width()).trim_end());
    }
    say::error(&format!(
        "undim: {}; nothing was made",
        harmless(&error.to_string())
    ));
    match error {
        MakeError::Unwritable { .. } => Exit::Folders,
        _ => Exit::Usage,
    }
}

fn refused(why: &str) -> Exit {
    say::error(&format!("undim: {}; nothing was made", harmless(why)));
    Exit::Usage
}

/// Reads a first file the way `undim look` does.
fn read(common: &Common, flags: &New, from: &Path) -> Result<Found, Exit> {
    let cancel = Cancel::default();
    cancel_on_signals(&cancel).map_err(|error| {
        say::error(&format!("undim: signals can't be listened to: {error}"));
        Exit::Internal
    })?;
    let file = LookFile::open(from).map_err(|why| refused(&why))?;
    let layout = flags
        .layout
        .as_deref()
        .map(|path| layout(common, path))
        .transpose()?;
    let site = site_at_hand(common)?;
    let folder = TemporaryFolder::new().map_err(|why| {
        say::error(&format!("undim: {why}"));
        Exit::Folders
    })?;
    let rows = CachedRows::at(folder.path(), "rows", "look");
    let read = look::read(&site, layout.as_ref(), &file, Some(&rows), &cancel);
    let shown = harmless(&from.display().to_string());
    let reading = read.map_err(|failure| {
        let look = format!("type `undim look {}` to see more of it", word(from));
        match failure {
            Failure::Asked { text, choices, .. } => refused(&format!(
                "{shown} can be read in more than one way: {text} ({}); write the line that is right into a text file, say layout.toml, and add --layout layout.toml",
                choices.join(" or ")
            )),
            Failure::Unusable { line, column, text, .. } => refused(&format!(
                "{shown} can't be used: {}{text}; {look}, or leave --from out",
                look::place(line, column)
            )),
            Failure::Failed(text) => {
                say::error(&format!("undim: {shown} could not be read: {text}; nothing was made"));
                Exit::Folders
            }
            Failure::Stopped => {
                say::error("undim: stopped; nothing was made");
                Exit::Internal
            }
        }
    })?;
    Found::in_rows(&reading, &rows).map_err(|why| {
        say::error(&format!(
            "undim: {shown} could not be read: {why}; nothing was made"
        ));
        Exit::Folders
    })
}
