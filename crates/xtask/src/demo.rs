//! Runs the main job on the demo inbox, month after month, as a keeper would have dropped the files.

use crate::{say, top};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// Lays out the demo site in a new folder and runs the main job on it.
pub(crate) fn run(folder: Option<PathBuf>) -> Result<(), String> {
    say("Building undim and its importers (the first time takes a few minutes) ...");
    let built = crate::build::build("dev")?;
    let site = match folder {
        Some(folder) if folder.exists() => return Err(format!("{} is there already", folder.display())),
        Some(folder) => folder,
        None => free_folder()?,
    };
    copy_tree(&top().join("config/demo"), &site)?;
    for importer in &built.importers {
        crate::dist::copy(importer, &site.join("plugins"))?;
    }
    say(&format!("The demo site lies in {}.", site.display()));
    let inbox = site.join("inbox");
    for month in children(&top().join("demo-inbox"))? {
        let name = month
            .file_name()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned();
        say(&format!("\n=== {name}: the keeper drops what they have ===\n"));
        copy_tree(&month, &inbox)?;
        let status = Command::new(&built.program)
            .arg("sweep")
            .arg("--site")
            .arg(&site)
            .status()
            .map_err(|error| format!("undim could not be run: {error}"))?;
        // 1 says that something was set aside, which one of the months is there to show.
        if !matches!(status.code(), Some(0 | 1)) {
            return Err(format!("undim sweep ended with {status}"));
        }
    }
    say("\n=== where to look ===\n");
    let status = Command::new(&built.program)
        .arg("status")
        .arg("--site")
        .arg(&site)
        .status();
    if !status.is_ok_and(|status| status.success()) {
        return Err("undim status failed".to_owned());
    }
    say("\nOpen the page of the alert first:");
    for (what, page) in alert_pages(&site)? {
        say(&format!("  where it {what}: {}", page.display()));
    }
    say(&format!("  the latest survey: {}", latest_page(&site)?.display()));
    say(&format!(
        "Every value of every survey:  {}",
        site.join("outbox/lantern/history.csv").display()
    ));
    say(&format!(
        "Alerts, one line per change:  {}",
        site.join("outbox/lantern/alerts.jsonl").display()
    ));
    say(&format!(
        "What was set aside, and why:  {}",
        site.join("inbox/set-aside").display()
    ));
    Ok(())
}

fn free_folder() -> Result<PathBuf, String> {
    let here =
        std::env::current_dir().map_err(|error| format!("the current folder is not to be had: {error}"))?;
    (1..1000_u32)
        .map(|number| {
            here.join(if number == 1 {
                "undim-demo".to_owned()
            } else {
                format!("undim-demo-{number}")
            })
        })
        .find(|folder| !folder.exists())
        .ok_or_else(|| "a thousand demo folders lie here already; remove some".to_owned())
}

/// The pages of the surveys that opened and closed alerts about light. A year dropped within a minute is late throughout, so
/// reminders say nothing here.
fn alert_pages(site: &Path) -> Result<Vec<(String, PathBuf)>, String> {
    let tank = site.join("outbox/lantern");
    let path = tank.join("alerts.jsonl");
    let lines = fs::read_to_string(&path).map_err(|error| format!("{}: {error}", path.display()))?;
    let changes = lines
        .lines()
        .filter_map(|line| serde_json::from_str::<serde_json::Value>(line).ok());
    Ok(changes
        .filter(|change| change["about"] == "light")
        .filter_map(|change| {
            let survey = change["survey"].as_str()?;
            let what = change["change"]
                .as_str()
                .filter(|what| matches!(*what, "opened" | "closed"))?;
            Some((what.to_owned(), tank.join(survey).join("report.html")))
        })
        .collect())
}

fn latest_page(site: &Path) -> Result<PathBuf, String> {
    let surveys = children(&site.join("outbox/lantern"))?;
    surveys
        .into_iter()
        .map(|survey| survey.join("report.html"))
        .rfind(|page| page.is_file())
        .ok_or_else(|| "no page was written".to_owned())
}

/// What lies in a folder, by name.
fn children(folder: &Path) -> Result<Vec<PathBuf>, String> {
    let entries =
        fs::read_dir(folder).map_err(|error| format!("{} could not be listed: {error}", folder.display()))?;
    let mut paths = entries
        .map(|entry| {
            entry
                .map(|entry| entry.path())
                .map_err(|error| format!("{}: {error}", folder.display()))
        })
        .collect::<Result<Vec<_>, _>>()?;
    paths.sort();
    Ok(paths)
}

fn copy_tree(from: &Path, to: &Path) -> Result<(), String> {
    fs::create_dir_all(to).map_err(|error| format!("{} could not be made: {error}", to.display()))?;
    for path in children(from)? {
        if path.is_dir() {
            copy_tree(&path, &to.join(path.file_name().unwrap_or_default()))?;
        } else {
            crate::dist::copy(&path, to)?;
        }
    }
    Ok(())
}
