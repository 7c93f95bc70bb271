//! `undim withdraw`: a file out of every judgement, and back; alone it lists what is withdrawn.

use super::{not_opened, say, usable_site};
use crate::cli::{Common, Withdraw};
use crate::engine::{Engine, OpenError, WithdrawError, Withdrawn};
use crate::exit::Exit;
use jiff::Timestamp;
use serde::Serialize;
use undim_config::Site;
use undim_emit::SiteZone;
use undim_emit::terminal;
use undim_intake::names;
use undim_intake::spool::LockError;
use undim_store::{ContentState, Decision, Reader};

#[derive(Serialize)]
struct Listed {
    source: String,
    blake3: String,
    why: String,
    when: String,
}

#[derive(Serialize)]
struct Answer<'a> {
    source: &'a str,
    blake3: &'a str,
    /// `withdrawn` or `reinstated`.
    outcome: &'static str,
    why: &'a str,
    when: String,
    /// The shorter file that counts again, or is replaced again.
    other: Option<&'a str>,
    surveys: Vec<Touched<'a>>,
    alerts_gone: &'a [String],
    alerts_opened: &'a [String],
    troubles: &'a [String],
}

#[derive(Serialize)]
struct Touched<'a> {
    tank: &'a str,
    survey: &'a str,
    /// Null where nothing is left of it.
    revision: Option<u32>,
}

pub(super) fn run(common: &Common, flags: &Withdraw) -> Exit {
    let site = match usable_site(common) {
        Ok(site) => site,
        Err(exit) => return exit,
    };
    let Some(source) = &flags.source else {
        if flags.undo || flags.why.is_some() {
            return refused("name the file too: undim withdraw SOURCE");
        }
        return list(common, &site);
    };
    let why = flags.why.as_deref().unwrap_or_default().trim();
    if why.is_empty() && !flags.undo {
        return refused(&format!(
            "say why, for whoever reads it in a year: undim withdraw \"{}\" --why \"the bag leaked\"",
            names::harmless(source)
        ));
    }
    let what = if flags.undo {
        Decision::Reinstated
    } else {
        Decision::Withdrawn
    };
    let mut engine = match Engine::open(site, "withdraw") {
        Ok(engine) => engine,
        Err(error) => {
            let exit = not_opened(&error);
            if matches!(error, OpenError::Lock(LockError::Held { .. })) {
                say::error("undim: nothing was withdrawn; stop it, withdraw, then start it again");
            }
            return exit;
        }
    };
    // A second is as much as anybody asks for later.
    let now = Timestamp::from_second(Timestamp::now().as_second()).unwrap_or_default();
    match engine.withdraw(source, what, why, now) {
        Ok(withdrawn) => answer(common, &engine, &withdrawn, why),
        Err(WithdrawError::Typed(why)) => refused(&why),
        Err(error @ WithdrawError::Engine(_)) => {
            say::error(&format!("undim: {error}"));
            Exit::Folders
        }
    }
}

fn refused(why: &str) -> Exit {
    say::error(&format!("undim: {why}"));
    Exit::Usage
}

fn answer(common: &Common, engine: &Engine, done: &Withdrawn, why: &str) -> Exit {
    let exit = if engine.troubles().is_empty() {
        Exit::Done
    } else {
        Exit::Folders
    };
    if common.json {
        say::json(&Answer {
            source: &done.content.shown,
            blake3: &done.content.hash,
            outcome: done.what.word(),
            why,
            when: engine.shown_time(done.when),
            other: done.other.as_deref(),
            surveys: done
                .surveys
                .iter()
                .map(|touched| Touched {
                    tank: &touched.tank,
                    survey: &touched.id,
                    revision: touched.revision,
                })
                .collect(),
            alerts_gone: &done.alerts_gone,
            alerts_opened: &done.alerts_opened,
            troubles: engine.troubles(),
        });
        return exit;
    }
    let screen = say::screen();
    let tell = |text: &str| say::line(&screen.wrapped(text, "", "  "));
    let shown = &done.content.shown;
    match done.what {
        Decision::Withdrawn => tell(&format!(
            "{shown} is out of every judgement. Its bytes stay in the archive; `undim withdraw {shown} --undo` takes this back."
        )),
        Decision::Reinstated => tell(&format!("{shown} counts again.")),
    }
    if let Some(other) = &done.other {
        match done.what {
            Decision::Withdrawn => tell(&format!(
                "{other}, which it had replaced, counts again in its place."
            )),
            Decision::Reinstated => tell(&format!("It replaces {other} again.")),
        }
    }
    for touched in &done.surveys {
        let (tank, id) = (&touched.tank, &touched.id);
        match touched.revision {
            Some(revision) => tell(&format!("Survey {id} of {tank} is now at revision {revision}.")),
            None => tell(&format!(
                "Nothing is left of survey {id} of {tank}: its folder and its rows in history.csv are gone, and no other survey gets its id."
            )),
        }
    }
    for alert in &done.alerts_gone {
        tell(&format!("The alert {alert} is open no more."));
    }
    for alert in &done.alerts_opened {
        tell(&format!("The alert {alert} is open now."));
    }
    for trouble in engine.troubles() {
        tell(&format!("Trouble: {trouble}"));
    }
    let last = done
        .surveys
        .iter()
        .rev()
        .find(|touched| touched.revision.is_some());
    if let Some(last) = last
        && let Some(text) = engine.report(&last.tank, &last.id, |report| terminal::answer(report, &screen))
    {
        say::line("");
        say::line(text.trim_end());
    }
    exit
}

/// What is withdrawn, from the ledger; a running watch is not disturbed.
fn list(common: &Common, site: &Site) -> Exit {
    let listed = match listed(site) {
        Ok(listed) => listed,
        Err(error) => {
            say::error(&format!("undim: {error}"));
            return Exit::Folders;
        }
    };
    if common.json {
        say::json(&listed);
        return Exit::Done;
    }
    let screen = say::screen();
    if listed.is_empty() {
        say::line(&screen.wrapped(
            "Nothing is withdrawn. `undim withdraw SOURCE --why TEXT` takes a file out of every judgement.",
            "",
            "  ",
        ));
    }
    for one in listed {
        say::line(&screen.wrapped(&one.source, "", "  "));
        let hash = one.blake3.get(..16).unwrap_or(&one.blake3);
        say::line(&screen.wrapped(
            &format!("BLAKE3 {hash}…, withdrawn {}: {}", one.when, one.why),
            "    ",
            "    ",
        ));
    }
    Exit::Done
}

fn listed(site: &Site) -> Result<Vec<Listed>, Box<dyn std::error::Error>> {
    let Some(reader) = Reader::open_read_only(&site.state.join("undim.db"))? else {
        return Ok(Vec::new());
    };
    let zone = SiteZone::named(&site.timezone.name)?;
    let withdrawals = reader.withdrawals()?;
    let mut listed = Vec::new();
    for content in reader.in_state(ContentState::Withdrawn)? {
        let Some(last) = withdrawals.iter().rev().find(|one| one.content == content.hash) else {
            continue;
        };
        listed.push(Listed {
            source: content.shown,
            blake3: content.hash,
            why: names::harmless(&last.why),
            when: zone.time(Timestamp::from_microsecond(last.when_us).unwrap_or_default()),
        });
    }
    Ok(listed)
}
