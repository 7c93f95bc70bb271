//! `undim sweep`: takes in what lies in the inbox, then ends; the answer stands last.

use super::{not_opened, say, usable_site};
use crate::cli::{Common, Sweep};
use crate::daemon::{self, Ended, Mode};
use crate::engine::{Engine, LeftAloneStatus, Outcome, What};
use crate::exit::Exit;
use indicatif::{ProgressBar, ProgressStyle};
use serde::Serialize;
use std::collections::BTreeSet;
use std::io::IsTerminal;
use std::sync::{Arc, Mutex};
use std::time::Duration;

#[derive(Serialize)]
struct Swept<'a> {
    files: &'a [Outcome],
    left_alone: &'a [LeftAloneStatus],
    surveys: Vec<String>,
    open_alerts: Vec<serde_json::Value>,
    troubles: &'a [String],
}

pub(super) fn run(common: &Common, flags: &Sweep) -> Exit {
    let site = match usable_site(common) {
        Ok(site) => site,
        Err(exit) => return exit,
    };
    let mut engine = match Engine::open(site, "sweep") {
        Ok(engine) => engine,
        Err(error) => return not_opened(&error),
    };
    let bar = progress_bar(common);
    if let Some(bar) = bar.clone() {
        engine.tell_progress(move |file| {
            bar.set_message(file.to_owned());
            bar.inc(1);
        });
    }
    let engine = Arc::new(Mutex::new(engine));
    let ended = daemon::run(Mode::Sweep, &engine);
    if let Some(bar) = bar {
        bar.finish_and_clear();
    }
    match ended {
        Ok(Ended::Cleanly | Ended::WorkLeft) => {}
        Ok(Ended::Fault) => return Exit::Internal,
        Err(error) => {
            say::error(&format!("undim: the sweep could not run: {error}"));
            return Exit::Internal;
        }
    }
    let engine = daemon::lock(&engine);
    engine.write_ended();
    answer(common, flags, &engine)
}

fn progress_bar(common: &Common) -> Option<ProgressBar> {
    if common.json || !std::io::stderr().is_terminal() {
        return None;
    }
    let bar = ProgressBar::new_spinner();
    let style = ProgressStyle::with_template("{spinner} {pos} read, now {wide_msg}");
    bar.set_style(style.unwrap_or_else(|_| ProgressStyle::default_spinner()));
    bar.enable_steady_tick(Duration::from_millis(100));
    Some(bar)
}

fn answer(common: &Common, flags: &Sweep, engine: &Engine) -> Exit {
    let (outcomes, left_alone) = (engine.outcomes(), engine.left_alone());
    let open = engine.open_alerts();
    let exit = if !engine.troubles().is_empty() {
        Exit::Folders
    } else if engine.has_remarks() || (flags.fail_on_alert && !open.is_empty()) {
        Exit::Remarks
    } else {
        Exit::Done
    };
    let touched: BTreeSet<(String, String)> = outcomes
        .iter()
        .filter_map(|outcome| match &outcome.what {
            What::Taken { tank, surveys, .. } => Some(surveys.iter().map(|id| (tank.clone(), id.clone()))),
            _ => None,
        })
        .flatten()
        .collect();
    if common.json {
        say::json(&Swept {
            files: outcomes,
            left_alone: &left_alone,
            surveys: touched.iter().map(|(tank, id)| format!("{tank}/{id}")).collect(),
            open_alerts: open
                .iter()
                .filter_map(|alert| engine.alert_as_json(alert))
                .collect(),
            troubles: engine.troubles(),
        });
        return exit;
    }
    let mut newest = None;
    for (tank, id) in &touched {
        if let Some(text) = engine.answer(tank, id, say::is_unicode()) {
            say::line(text.trim_end());
            say::line("");
            newest = Some(engine.site().outbox.join(tank).join(id).join("report.html"));
        }
    }
    for outcome in outcomes {
        say::line(&told(outcome));
    }
    for left in &left_alone {
        say::line(&format!("{}: {}", left.path, left.why));
    }
    for trouble in engine.troubles() {
        say::line(&format!("Trouble: {trouble}"));
    }
    say::line(&counts(outcomes, left_alone.len()));
    if let Some(page) = newest {
        say::line(&format!("Open {}", page.display()));
    }
    exit
}

/// One file, and what became of it.
fn told(outcome: &Outcome) -> String {
    let path = &outcome.path;
    match &outcome.what {
        What::Taken {
            tank,
            surveys,
            rows,
            importer,
            assumed,
            problems,
        } => {
            let mut text = format!(
                "{path}: {rows} readings into {tank}, {} (read by {importer})",
                surveys.join(", ")
            );
            if *problems > 0 {
                text += &format!("; {problems} lines could not be read as they stood");
            }
            if !assumed.is_empty() {
                text += &format!("\n    assumed: {}", assumed.join("; "));
            }
            text
        }
        What::Known { first } => {
            format!("{path}: the same content was taken in already as {first}; nothing changes")
        }
        What::SetAside {
            why,
            choices,
            moved_to,
        } => {
            let mut text = format!("{path}: set aside: {why}");
            for choice in choices {
                text += &format!("\n    - {choice}");
            }
            if !moved_to.is_empty() {
                text += &format!("\n    it lies in {moved_to}; the .why.txt beside it says what to do");
            }
            text
        }
        What::HeldBack { why } => format!("{path}: left in the inbox: {why}"),
        What::Noted { file } => format!("{path}: taken in as the note of {file}"),
    }
}

fn counts(outcomes: &[Outcome], left_alone: usize) -> String {
    let count = |wanted: fn(&What) -> bool| outcomes.iter().filter(|outcome| wanted(&outcome.what)).count();
    let taken = count(|what| matches!(what, What::Taken { .. } | What::Noted { .. }));
    let known = count(|what| matches!(what, What::Known { .. }));
    let set_aside = count(|what| matches!(what, What::SetAside { .. }));
    let held = count(|what| matches!(what, What::HeldBack { .. })) + left_alone;
    let mut parts = vec![format!("{taken} taken in"), format!("{set_aside} set aside")];
    if known > 0 {
        parts.push(format!("{known} known already"));
    }
    if held > 0 {
        parts.push(format!("{held} left in the inbox"));
    }
    format!("{}.", parts.join(", "))
}
