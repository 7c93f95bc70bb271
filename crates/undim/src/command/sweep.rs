//! `undim sweep`: takes in what lies in the inbox, then ends; the answer stands last.

use super::changed::{Changed, changed, tell_changing};
use super::{not_opened, say, usable_site};
use crate::cli::{Common, Sweep};
use crate::daemon::{self, Ended, Mode};
use crate::engine::{Engine, LeftAloneStatus, Outcome, What};
use crate::exit::Exit;
use indicatif::{ProgressBar, ProgressStyle};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};
use std::io::IsTerminal;
use std::sync::{Arc, Mutex};
use std::time::Duration;
use undim_emit::terminal::{self, Glyphs, Screen};
use undim_emit::words;
use undim_model::{About, Alert};

#[derive(Serialize)]
struct Swept<'a> {
    files: &'a [Outcome],
    left_alone: &'a [LeftAloneStatus],
    surveys: Vec<String>,
    derived_again: &'a BTreeMap<String, usize>,
    open_alerts: Vec<serde_json::Value>,
    /// What came out otherwise because files of the configuration changed.
    changed_by_files: Vec<ChangedByFiles<'a>>,
    mistakes: &'a [String],
    troubles: &'a [String],
}

#[derive(Serialize)]
struct ChangedByFiles<'a> {
    files: &'a [String],
    surveys: Vec<Changed<'a>>,
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
            bar.set_message(say::screen().text(file));
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
    let style = style.unwrap_or_else(|_| ProgressStyle::default_spinner());
    bar.set_style(match say::screen().glyphs {
        Glyphs::Unicode => style,
        Glyphs::Ascii => style.tick_chars("|/-\\ "),
    });
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
    let touched = touched(outcomes);
    if common.json {
        say::json(&Swept {
            files: outcomes,
            left_alone: &left_alone,
            surveys: touched
                .iter()
                .flat_map(|(tank, ids)| ids.iter().map(move |id| format!("{tank}/{id}")))
                .collect(),
            derived_again: engine.derived_again(),
            open_alerts: open
                .iter()
                .filter_map(|alert| engine.alert_as_json(alert))
                .collect(),
            changed_by_files: engine
                .changed_by_files()
                .iter()
                .map(|again| ChangedByFiles {
                    files: &again.because,
                    surveys: changed(&again.surveys),
                })
                .collect(),
            mistakes: engine.mistakes(),
            troubles: engine.troubles(),
        });
        return exit;
    }
    let screen = say::screen();
    let counts = counts(outcomes, left_alone.len());
    let told = Told { screen };
    for mistake in engine.mistakes() {
        say::line(&screen.wrapped(&format!("Mistake: {mistake}"), "", "  "));
    }
    told.files(outcomes, &left_alone, engine.troubles());
    for (tank, surveys) in engine.derived_again() {
        let count = match surveys {
            1 => "1 earlier survey".to_owned(),
            surveys => format!("{surveys} earlier surveys"),
        };
        say::line(&told.screen.wrapped(
            &format!("{count} of {tank} derived again, as the site's files (or the program) say something else now."),
            "",
            "  ",
        ));
    }
    for again in engine.changed_by_files() {
        tell_changing(
            &again.surveys,
            &format!("Because of {} these come out otherwise", again.because.join(", ")),
        );
    }
    for (tank, ids) in &touched {
        told.details(engine, tank, ids);
    }
    say::line(&counts);
    told.reminders(&open);
    for (tank, ids) in &touched {
        told.answer(engine, tank, ids);
    }
    exit
}

/// Tanks, and the surveys of each that the files went into.
fn touched(outcomes: &[Outcome]) -> BTreeMap<String, BTreeSet<String>> {
    let mut touched: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for outcome in outcomes {
        if let What::Taken { tank, surveys, .. } | What::Noted { tank, surveys, .. } = &outcome.what
            && !surveys.is_empty()
        {
            touched
                .entry(tank.clone())
                .or_default()
                .extend(surveys.iter().cloned());
        }
    }
    touched
}

/// More surveys of one tank than this are told in a line each, all but the newest.
const WITH_TABLE: usize = 3;

/// More files of one kind than this are told in a line each.
const IN_FULL: usize = 6;

/// What is said on a terminal.
struct Told {
    screen: Screen,
}

impl Told {
    fn text(&self, text: &str) {
        say::line(&self.screen.wrapped(text, "  ", "      "));
    }

    fn more(&self, text: &str) {
        say::line(&self.screen.wrapped(text, "      ", "      "));
    }

    /// Each file, and what became of it.
    fn files(&self, outcomes: &[Outcome], left_alone: &[LeftAloneStatus], troubles: &[String]) {
        let of = |wanted: fn(&What) -> bool| {
            outcomes
                .iter()
                .filter(|outcome| wanted(&outcome.what))
                .collect::<Vec<_>>()
        };
        let sections: [(&str, Vec<&Outcome>); 4] = [
            (
                "Taken in",
                of(|what| {
                    matches!(
                        what,
                        What::Taken { .. } | What::Noted { .. } | What::Upkeep { .. }
                    )
                }),
            ),
            ("Known already", of(|what| matches!(what, What::Known { .. }))),
            ("Set aside", of(|what| matches!(what, What::SetAside { .. }))),
            (
                "Left in the inbox",
                of(|what| matches!(what, What::HeldBack { .. })),
            ),
        ];
        let mut said = false;
        for (head, outcomes) in sections {
            let alone = if head == "Left in the inbox" {
                left_alone
            } else {
                &[]
            };
            if outcomes.is_empty() && alone.is_empty() {
                continue;
            }
            say::line(&format!("{head}:"));
            said = true;
            let in_short = outcomes.len() > IN_FULL;
            for outcome in outcomes {
                self.file(outcome, in_short);
            }
            for left in alone {
                self.text(&format!("{}: {}", left.path, left.why));
            }
        }
        for trouble in troubles {
            say::line(&self.screen.wrapped(&format!("Trouble: {trouble}"), "", "  "));
            said = true;
        }
        if said {
            say::line("");
        }
    }

    fn file(&self, outcome: &Outcome, in_short: bool) {
        if let What::Taken {
            tank,
            surveys,
            mounted,
            rows,
            problems: 0,
            ..
        } = &outcome.what
            && in_short
        {
            self.text(&format!(
                "{}: {rows} readings, {tank} {}",
                outcome.path,
                mounted
                    .as_ref()
                    .map_or_else(|| surveys.join(", "), |station| format!("mounted at {station}"))
            ));
            return;
        }
        self.text(&outcome.path);
        match &outcome.what {
            What::Taken {
                tank,
                surveys,
                mounted,
                rows,
                importer,
                assumed,
                problems,
            } => {
                let into = match mounted {
                    Some(station) => format!("minutes and days of the sensor mounted at {station}"),
                    None => format!("survey {}", surveys.join(", ")),
                };
                self.more(&format!(
                    "{rows} {} into {tank}, {into} (importer {importer})",
                    if *rows == 1 { "reading" } else { "readings" }
                ));
                if *problems > 0 {
                    self.more(&format!(
                        "{problems} {} not be read; survey.json and the page name each",
                        if *problems == 1 {
                            "line could"
                        } else {
                            "lines could"
                        }
                    ));
                }
                let facts = assumed.iter().filter_map(|fact| fact.split_once(" = "));
                let assumed = words::assumed(&facts);
                if !assumed.is_empty() {
                    self.more(&format!("assumed: {}", assumed.join("; ")));
                }
            }
            What::Known { first, withdrawn: None } => self.more(&format!(
                "the same content came already as {first}: nothing changes"
            )),
            What::Known {
                first,
                withdrawn: Some(why),
            } => self.more(&format!(
                "the same content came as {first} and was withdrawn: {why}. It still counts nowhere; `undim withdraw {first} --undo` takes that back"
            )),
            What::SetAside {
                why,
                choices,
                moved_to,
            } => {
                self.more(why);
                if !choices.is_empty() {
                    self.more("Which is it?");
                }
                for choice in choices {
                    say::line(&self.screen.wrapped(choice, "        - ", "          "));
                }
                if !moved_to.is_empty() {
                    self.more(&format!(
                        "It lies in inbox/{moved_to}; the .why.txt beside it says what to do."
                    ));
                }
            }
            What::HeldBack { why } => self.more(why),
            What::Upkeep {
                tank,
                lines,
                added,
                unknown,
            } => self.upkeep(tank, *lines, *added, unknown),
            What::Noted {
                file,
                tank,
                surveys,
                withdrawn,
            } => self.more(&noted(file, tank, surveys, *withdrawn)),
        }
    }

    fn upkeep(&self, tank: &str, lines: usize, added: usize, unknown: &[String]) {
        let count = if lines == 1 {
            "1 line".to_owned()
        } else {
            format!("{lines} lines")
        };
        let known = match lines - added.min(lines) {
            0 => String::new(),
            known => format!(", {known} of them known already"),
        };
        self.more(&format!("{count} of upkeep for {tank}{known}"));
        if !unknown.is_empty() {
            self.more(&format!(
                "nothing of {tank} is called {}: if that is a slip, put it right in a new list",
                unknown.join(" or ")
            ));
        }
    }

    /// The tables of a tank's newest surveys, the others in a line each.
    fn details(&self, engine: &Engine, tank: &str, ids: &BTreeSet<String>) {
        let ordered: Vec<String> = engine
            .survey_ids(tank)
            .into_iter()
            .filter(|id| ids.contains(id))
            .collect();
        let (short, long) = ordered.split_at(ordered.len().saturating_sub(WITH_TABLE));
        if !short.is_empty() {
            say::line(&format!("Earlier surveys of {tank}:"));
        }
        for id in short {
            if let Some(text) = engine.report(tank, id, |report| terminal::brief(report, &self.screen)) {
                say::line(&text);
            }
        }
        if !short.is_empty() {
            say::line("");
        }
        for (number, id) in long.iter().enumerate() {
            let is_last = number + 1 == long.len();
            let text = engine.report(tank, id, |report| {
                let mut text = terminal::title(report, &self.screen)
                    + "\n"
                    + &terminal::table(report, &self.screen)
                    + &terminal::said(report, &self.screen);
                if !is_last {
                    text += &self.screen.wrapped(&words::headline(report).sentence, "", "");
                    text.push('\n');
                }
                text
            });
            say::line(&text.unwrap_or_default());
        }
    }

    /// What only time or the machine shows, and is so now.
    fn reminders(&self, open: &[Alert]) {
        let reminders = open.iter().filter(|alert| alert.about != About::Light);
        for alert in reminders {
            let tank = Some(alert.tank.as_str()).filter(|tank| !tank.is_empty());
            let whose = tank.map_or_else(String::new, |tank| format!("{tank}: "));
            say::line("");
            let what = format!("Reminder: {whose}{}.", words::what(alert));
            say::line(&self.screen.wrapped(&what, "", "  "));
            for line in &alert.evidence {
                self.text(line);
            }
        }
    }

    /// What the newest of a tank's surveys comes down to, and the page to open.
    fn answer(&self, engine: &Engine, tank: &str, ids: &BTreeSet<String>) {
        let Some(id) = engine.survey_ids(tank).into_iter().rfind(|id| ids.contains(id)) else {
            return;
        };
        if let Some(text) = engine.report(tank, &id, |report| terminal::answer(report, &self.screen)) {
            say::line("");
            say::line(text.trim_end());
        }
        let page = engine.site().outbox.join(tank).join(&id).join("report.html");
        say::line(&format!("\nOpen {}", page.display()));
    }
}

fn noted(file: &str, tank: &str, surveys: &[String], withdrawn: bool) -> String {
    if withdrawn {
        format!("is now the note of {file}, of {tank}, which is withdrawn and counts nowhere")
    } else if surveys.is_empty() {
        format!("is now the note of {file}: {tank}")
    } else {
        format!("is now the note of {file}: {tank}, survey {}", surveys.join(", "))
    }
}

fn counts(outcomes: &[Outcome], left_alone: usize) -> String {
    let count = |wanted: fn(&What) -> bool| outcomes.iter().filter(|outcome| wanted(&outcome.what)).count();
    let taken = count(|what| {
        matches!(
            what,
            What::Taken { .. } | What::Noted { .. } | What::Upkeep { .. }
        )
    });
    let known = count(|what| matches!(what, What::Known { .. }));
    let set_aside = count(|what| matches!(what, What::SetAside { .. }));
    let held = count(|what| matches!(what, What::HeldBack { .. })) + left_alone;
    if taken + known + set_aside + held == 0 {
        return "The inbox holds nothing new.".to_owned();
    }
    let mut parts = vec![
        format!("{taken} {} taken in", if taken == 1 { "file" } else { "files" }),
        format!("{set_aside} set aside"),
    ];
    if known > 0 {
        parts.push(format!("{known} known already"));
    }
    if held > 0 {
        parts.push(format!("{held} left in the inbox"));
    }
    format!("{}.", parts.join(", "))
}
