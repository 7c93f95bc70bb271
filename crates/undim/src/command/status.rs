//! `undim status`: the inbox, the last surveys, open alerts. Reads only; works beside a running daemon.

use super::{not_opened, say, usable_site};
use crate::cli::{Common, Status};
use crate::engine::{OpenError, StatusFile, alert_json, open_alerts};
use crate::exit::Exit;
use jiff::Timestamp;
use serde::Serialize;
use undim_config::Site;
use undim_emit::SiteZone;
use undim_model::Alert;
use undim_store::{Counts, Reader, StoreError};

/// Surveys shown for each tank.
const SHOWN: usize = 3;

#[derive(Serialize)]
struct Shown {
    site: String,
    /// The daemon's own word, where it has left one.
    daemon: Option<StatusFile>,
    /// Its age, seconds.
    daemon_age_seconds: Option<i64>,
    files: Files,
    tanks: Vec<TankShown>,
}

#[derive(Serialize)]
struct Files {
    taken: u64,
    set_aside: u64,
    superseded: u64,
    withdrawn: u64,
    notices_waiting: u64,
    notices_given_up: u64,
}

#[derive(Serialize)]
struct TankShown {
    tank: String,
    surveys: usize,
    last: Vec<SurveyShown>,
    open_alerts: Vec<serde_json::Value>,
    #[serde(skip)]
    alerts: Vec<Alert>,
}

#[derive(Serialize)]
struct SurveyShown {
    survey: String,
    revision: u32,
    start: String,
    page: String,
}

pub(super) fn run(common: &Common, flags: &Status) -> Exit {
    let site = match usable_site(common) {
        Ok(site) => site,
        Err(exit) => return exit,
    };
    let shown = match gather(&site) {
        Ok(shown) => shown,
        Err(error) => return not_opened(&OpenError::Store(error)),
    };
    let has_alert = shown.tanks.iter().any(|tank| !tank.alerts.is_empty());
    if common.json {
        say::json(&shown);
    } else {
        print(&shown);
    }
    if flags.fail_on_alert && has_alert {
        Exit::Remarks
    } else {
        Exit::Done
    }
}

fn gather(site: &Site) -> Result<Shown, StoreError> {
    let daemon: Option<StatusFile> = std::fs::read(site.outbox.join("status.json"))
        .ok()
        .and_then(|bytes| serde_json::from_slice(&bytes).ok());
    let daemon_age_seconds = daemon.as_ref().and_then(|daemon| {
        let updated: Timestamp = daemon.updated.parse().ok()?;
        Some(Timestamp::now().as_second() - updated.as_second())
    });
    let mut counts = Counts::default();
    let mut tanks = Vec::new();
    if let Some(reader) = Reader::open_read_only(&site.state.join("undim.db"))? {
        counts = reader.counts()?;
        let zone = SiteZone::named(&site.timezone.name).ok();
        for tank in reader.tanks()? {
            let heads = reader.survey_heads(&tank)?;
            let alerts = open_alerts(&reader, &tank)?;
            let last = heads.iter().rev().take(SHOWN).map(|head| SurveyShown {
                survey: head.id.clone(),
                revision: head.revision,
                start: Timestamp::from_microsecond(head.start_us)
                    .ok()
                    .zip(zone.as_ref())
                    .map_or_else(String::new, |(start, zone)| zone.time(start)),
                page: site
                    .outbox
                    .join(&tank)
                    .join(&head.id)
                    .join("report.html")
                    .display()
                    .to_string(),
            });
            let open = alerts
                .iter()
                .filter_map(|alert| alert_json(alert, zone.as_ref()?))
                .collect();
            tanks.push(TankShown {
                surveys: heads.len(),
                last: last.collect(),
                open_alerts: open,
                alerts,
                tank,
            });
        }
    }
    Ok(Shown {
        site: site.name.clone(),
        daemon,
        daemon_age_seconds,
        files: Files {
            taken: counts.taken,
            set_aside: counts.set_aside,
            superseded: counts.superseded,
            withdrawn: counts.withdrawn,
            notices_waiting: counts.deliveries_waiting,
            notices_given_up: counts.deliveries_given_up,
        },
        tanks,
    })
}

fn print(shown: &Shown) {
    say::line(&format!("Site: {}", shown.site));
    match (&shown.daemon, shown.daemon_age_seconds) {
        (Some(daemon), Some(age)) => {
            say::line(&format!(
                "Daemon: {} (process {}), {} ago",
                daemon.state,
                daemon.pid,
                ago(age)
            ));
            if !daemon.inbox.there {
                say::line("  the inbox is missing");
            }
            for path in &daemon.inbox.waiting {
                say::line(&format!("  waits in the inbox: {path}"));
            }
            for left in &daemon.inbox.left_alone {
                say::line(&format!("  {}: {}", left.path, left.why));
            }
            if let Some(lacks) = &daemon.sandbox_lacks {
                say::line(&format!("  importers run without part of their sandbox: {lacks}"));
            }
            for trouble in &daemon.troubles {
                say::line(&format!("  trouble: {trouble}"));
            }
        }
        _ => say::line("Daemon: none has run here yet; `undim watch` starts it, `undim sweep` works once"),
    }
    let files = &shown.files;
    say::line(&format!(
        "Files: {} taken in, {} set aside",
        files.taken + files.superseded,
        files.set_aside
    ));
    if files.notices_waiting + files.notices_given_up > 0 {
        say::line(&format!(
            "Notices: {} wait to be sent, {} were given up",
            files.notices_waiting, files.notices_given_up
        ));
    }
    for tank in &shown.tanks {
        say::line(&format!("\nTank {}: {} surveys", tank.tank, tank.surveys));
        for survey in &tank.last {
            say::line(&format!(
                "  {} (revision {})  {}",
                survey.survey, survey.revision, survey.page
            ));
        }
        for alert in &tank.alerts {
            say::line(&format!(
                "  Open since {}: {}",
                alert_since(alert),
                crate::engine::alert_line(alert)
            ));
        }
        if tank.alerts.is_empty() {
            say::line(
                "  No alert is open; that is no proof that all is well: the page says what a loss would have to be to show.",
            );
        }
    }
    if shown.tanks.is_empty() {
        say::line("No survey yet: drop a file into the inbox.");
    }
}

fn alert_since(alert: &Alert) -> String {
    alert.opened.strftime("%Y-%m-%d").to_string()
}

fn ago(seconds: i64) -> String {
    match seconds.max(0) {
        seconds if seconds < 120 => format!("{seconds} s"),
        seconds if seconds < 7200 => format!("{} min", seconds / 60),
        seconds if seconds < 172_800 => format!("{} h", seconds / 3600),
        seconds => format!("{} days", seconds / 86_400),
    }
}
